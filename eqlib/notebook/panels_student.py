"""The form for the student's id. An id only: no name is asked for, and none is kept."""

from __future__ import annotations

from collections.abc import Callable

from eqlib.assess.records import MIME
from eqlib.assess.variants import normal_id
from eqlib.errors import EqlibError
from eqlib.notebook.display import bundle
from eqlib.notebook.display_record import asleep_line
from eqlib.notebook.panels import Panel
from eqlib.notebook.records import WHO, Store
from eqlib.notebook.records_session import marking
from eqlib.notebook.style import RECORD, SHEET, box, lead, paragraph, text


class StudentForm(Panel):
    """Asks for the id once; changing it later is possible, and what that means is said first."""

    def __init__(self, store: Store, tell: Callable[[], None] = lambda: None):
        super().__init__(store.assignment, WHO, "(The form for your id opens in Jupyter.)")
        self.store = store
        self.tell = tell
        self.warned_for = ""
        self.problem = ""

    def build(self):
        import ipywidgets as widgets

        fixed = self.store.fixed_student
        if fixed:
            return [
                widgets.HTML(
                    f"<p>You are logged in as <strong>{text(fixed)}</strong>; nothing to fill in.</p>"
                )
            ]
        self.line = widgets.Text(
            value=self.store.student or "",
            description="Your student id (not your name)",
            tooltip="Your student id",
            placeholder="for example s01",
            continuous_update=False,
            style={"description_width": "initial"},
        )
        self.button = widgets.Button(
            description="Record my id", tooltip="Record the id typed above", button_style="primary"
        )
        self.button.on_click(lambda _button: self.record())
        self.answer = widgets.HTML()
        return [self.line, self.button, self.answer]

    def record(self) -> None:
        """Keep the id; before changing one that has answers, say what that means and wait for a second
        press.
        """
        wanted, now = " ".join(self.line.value.split()), self.store.student
        if not wanted:
            self.announce("Nothing was recorded yet. Please type your id first.")
            return
        if " " in wanted and not any(sign.isdigit() for sign in wanted):
            self.announce(
                f"Nothing was recorded yet. “{wanted}” looks like a name; "
                "please type the id that you were given, such as s01."
            )
            return
        answered = self.store.named_answers(now) if now else 0
        if answered and normal_id(wanted) not in (normal_id(now), self.warned_for):
            self.warned_for = normal_id(wanted)
            count = "1 answer is" if answered == 1 else f"{answered} answers are"
            self.announce(
                f"{count} recorded under {now}. They stay there, but {wanted} has other numbers. "
                f"If {wanted} is right, press the button once more; otherwise type {now} again."
            )
            return
        try:
            self.problem = self.store.choose_student(wanted).problem
        except EqlibError as error:
            self.announce(f"Nothing was recorded yet. {error}")
            return
        self.warned_for = ""
        self.refresh()
        self.announce(
            f"Recorded. The questions on this page now use the numbers of {self.store.student}. "
            "If you had run other cells already, choose Run, Run All Cells."
        )
        self.tell()

    def announce(self, words: str) -> None:
        """Say something in the form, in words a screen reader speaks."""
        self.answer.value = f'<div role="status">{text(words)}</div>'

    def record_output(self):
        student = self.store.student
        if student is None:
            inner = lead("No id yet.", "Until there is one, everyone sees the same numbers.")
            return bundle(
                self._page(
                    inner,
                    "dashed",
                    "To give your id, run the first cell of this page and then the one above this line.",
                )
            )
        inner = lead("Recorded ✓", f"Your id is {student}.")
        inner += paragraph(self.problem) if self.problem else ""
        own = self.store.record_of(WHO)
        return bundle(
            self._page(
                inner,
                "solid",
                "To change it, run the first cell of this page and then the one above this line.",
            ),
            {} if own is None else {MIME: own.to_dict()},
        )

    def _page(self, inner: str, kind: str, line: str) -> str:
        page = box(inner, kind=kind, mark=RECORD, label="Your id", status=True)
        return page if marking() else SHEET + page + asleep_line(line)
