"""Who is working: an id only, no name is asked for and none is kept."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from eqlib.assess.records import MIME
from eqlib.assess.variants import normal_id
from eqlib.errors import EqlibError
from eqlib.notebook.form import KEYS
from eqlib.notebook.output import KEPT, Slot, box, bundle, lead, paragraph, text
from eqlib.notebook.record import GO_ON
from eqlib.notebook.sheet import Sheet
from eqlib.notebook.store import WHO, Store


class Who(Sheet):
    """Asks for the id once; what a later change means is said before it is made."""

    def __init__(self, store: Store, tell: Callable[[], None]) -> None:
        super().__init__(f"eqlib-{store.assignment}-{WHO}")
        self.store, self.tell = store, tell
        self.warned_for = self.news = ""
        self.kept = Slot(f"{self.model_id}-kept")

    def sections(self) -> list[tuple[str, str]]:
        fixed = self.store.fixed_student
        if fixed:
            return [
                ("who", f"<p>You are logged in as <strong>{text(fixed)}</strong>; nothing to fill in.</p>")
            ]
        return [
            (
                "who",
                '<div class="head"><h3>Your id</h3><small>not your name; it decides which numbers you get</small></div>'
                f'<div class="go"><input type="text" name="who" value="{text(self.store.student or "")}" aria-label="Your student id, not your name" '
                f'placeholder="for example s01" autocomplete="off" spellcheck="false" {KEYS}><button type="button" data-do="record">Record my id</button>'
                '<span class="state" role="status" data-say="state"></span></div>',
            )
        ]

    def draw(self, **more: Any) -> None:
        now = self.store.student
        state = self.news or (
            f"Recorded: {now}." if now else "No id yet: without one, everybody sees the same numbers."
        )
        self.put(say={"state": state}, **more)

    def on_record(self, values: dict[str, Any], name: str) -> None:
        """Keep the id; before leaving one that has answers, say what that means and wait for a second press."""
        wanted, now = " ".join(str(values.get("who") or "").split()), self.store.student
        self.news = self._objection(wanted, now)
        if not self.news:
            try:
                self.news = self.store.choose_student(wanted).problem
            except EqlibError as error:
                self.news = f"Nothing was recorded yet. {error}"
                return self.draw()
            self.warned_for = ""
            self.keep()
            self.tell()
        return self.draw()

    def _objection(self, wanted: str, now: str | None) -> str:
        if not wanted:
            return "Nothing was recorded yet. Please type your id first."
        if " " in wanted and not any(sign.isdigit() for sign in wanted):
            return f"Nothing was recorded yet. “{wanted}” looks like a name; please type the id that you were given, such as s01."
        answered = self.store.named_answers(now) if now else 0
        if answered and normal_id(wanted) not in (normal_id(now), self.warned_for):
            self.warned_for = normal_id(wanted)
            count = "1 answer is" if answered == 1 else f"{answered} answers are"
            return (
                f"{count} recorded under {now}. They stay there, but {wanted} has other numbers. "
                f"If {wanted} is right, press the button once more; otherwise type {now} again."
            )
        return ""

    def keep(self, show: bool = False) -> None:
        """Put the id where the notebook is saved."""
        own, now = self.store.record_of(WHO), self.store.student
        inner = (
            lead("Recorded ✓", f"Your id is {now}.")
            if now
            else lead("No id yet.", "Without one, everybody sees the same numbers.")
        )
        data = bundle(
            box(inner + paragraph(GO_ON), mark=KEPT, label="Your id"),
            {} if own is None else {MIME: own.to_dict()},
        )
        self.kept.show(data) if show else self.kept.put(data)


def cell(store: Store, tell: Callable[[], None]) -> None:
    """What the cell shows outside marking."""
    made = Who(store, tell)
    made.show("(The line for your id opens in Jupyter.)")
    made.keep(show=True)
