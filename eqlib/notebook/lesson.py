"""What the cells of a notebook call. Each call stands alone: any cell may be run first.

``panel("iron")`` is one question, ``student()`` asks who is working, ``bench(system)`` says what stands on the
bench, ``prompt("explain")`` shows a question that is answered in a cell of its own, ``explore(draw, ...)`` puts
sliders over a picture, ``receipt()`` lists what is recorded.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from eqlib.assess.load import load_questions
from eqlib.assess.question import Question, normal_id
from eqlib.assess.records import MIME, rescue
from eqlib.chem.catalogue import system
from eqlib.errors import EqlibError
from eqlib.lab.cautions import cautions_for, statements
from eqlib.notebook.explorer import Control, Draw, Explorer
from eqlib.notebook.output import KEPT, KEYS, box, bundle, lead, paragraph, show_data, table, text, words_of
from eqlib.notebook.panels import Panel, first_said
from eqlib.notebook.record import GO_ON, ended, receipt_page
from eqlib.notebook.sheet import Sheet, form_id, live
from eqlib.notebook.store import WHO, Store, marking
from eqlib.writing import number

#: The store of each version of a question file: the cells of a notebook share one.
_stores: dict[tuple[Path, int], Store] = {}


def store_here() -> Store:
    """The answers of the assignment whose ``questions.toml`` lies beside this notebook. Raises EqlibError."""
    path = next((file for folder in folders() if (file := folder / "questions.toml").is_file()), None)
    if path is None:
        raise EqlibError(
            f"The file questions.toml that was handed out with this notebook is not in the folder {folders()[0].name or folders()[0]}. "
            "Take it from the folder you were given and put it beside this notebook; what you recorded is safe."
        )
    path = path.resolve()
    version = (path, path.stat().st_mtime_ns)
    if version not in _stores:
        _stores[version] = Store(load_questions(path), path.parent)
    return _stores[version]


def folders() -> list[Path]:
    """The working folder and, where it is known, that of the notebook."""
    session = os.environ.get("JPY_SESSION_NAME", "")
    return list(dict.fromkeys([Path.cwd(), *([Path(session).parent] if os.path.isabs(session) else [])]))


def panel(question: str, *value: object) -> float | None:
    """The panel of one question; where notebooks are marked, its points: a built-in float in [0, points].

    ``value``: what the notebook's own code worked out, for a question that is answered in code.
    """
    with safely(question):
        store = store_here()
        asked = store.questions[question]
        if not marking():
            Panel(asked, store).show(f"(The panel of “{asked.title}” opens in Jupyter.)")
        return ended(asked, store, value)


def student() -> None:
    """Who is working: an id, never a name."""
    with safely(WHO):
        store = store_here()
        if not marking():
            Who(store).show("(The line for your id opens in Jupyter.)")


def explore(draw: Draw, *controls: Control, title: str, words: str = "", after: Sequence[str] = ()) -> None:
    """Show ``draw``'s picture with ``controls`` (Slider, Switch, Choose) over it. Shows nothing while marking.

    ``draw(at)`` takes {name: value} and returns a picture (SVG or HTML text), or (picture, one sentence); an
    EqlibError it raises is shown as the sentence. ``title`` is also its lasting name: no two alike in a
    notebook. ``words`` is one line under the title. ``after`` names questions that must have been answered
    before it shows anything: a picture is no prediction.
    """
    with safely():
        if not marking():
            store = store_here() if after else None
            Explorer(draw, controls, title, words, after, store).show(f"(“{title}” opens in Jupyter.)")


def prompt(question: str) -> None:
    """A question that is answered in the next cell, with this student's numbers."""
    with safely():
        store = store_here()
        show_data(prompt_bundle(store.questions[question], store.student))


def receipt() -> None:
    """What is recorded, what is missing, and whether the saved notebook holds it."""
    with safely():
        show_data(bundle(receipt_page(store_here())))


def bench(system: str) -> None:
    """What stands on the bench: the reaction, the few cautions that matter, the rest folded away."""
    with safely():
        show_data(bundle(bench_page(system)))


@contextmanager
def safely(question: str = "") -> Iterator[None]:
    """A student meets one plain line, never a traceback; where the output that it replaces may have held the record
    of ``question``, that stands with it. While marking, an error stays an error: it scores 0.
    """
    here = [rescue(folder) for folder in folders()] if question and not marking() else []
    try:
        yield
    except EqlibError as error:
        if marking():
            raise
        kept = next((data for found in here if (data := found.bundle(question))), {})
        inner = lead("Please note:", str(error))
        if kept:
            inner += paragraph(
                "Your recorded answer to this question is kept here and in the file of answers beside this notebook."
            )
        inner += "".join(paragraph(line) for found in here for line in found.problems)
        show_data(bundle(box(inner), kept))


def prompt_bundle(question: Question, student: str | None = None, retry: int = 0) -> dict[str, Any]:
    """The question as its student meets it: title, points, numbers."""
    whose = f" · numbers for {student}" if student and question.ranges else ""
    points = f"{question.points:g} point{'s' if question.points != 1 else ''}"
    words = f"### {question.title}\n\n*{points}{whose}*\n\n{question.prompt_for(student, retry).strip()}\n"
    return {"text/markdown": words, "text/plain": words_of(words)}


def numbers(question: str) -> dict[str, float]:
    """A student's numbers of one question by name, with what was measured: for a calculation of one's own."""
    store = store_here()
    own = store.questions[question]
    asked = {part.quantity for part in own.parts}
    measured = own.case(store.student).measured
    found = {name: float(value) for name, value in measured.items() if name not in asked}
    return {**found, **own.variant(store.student).numbers}


def bench_page(name: str) -> str:
    """A system of the catalogue, without anything that would give a prediction away."""
    found = system(name)
    reaction = found.reactions[0]
    cautions = cautions_for(found)
    for caution in cautions:
        first_said(caution.key, "bench")
    inner = lead(found.title + ".")
    inner += f"<p style='margin:.25em 0'>{text(reaction.unicode)} &nbsp; K = {number(reaction.require_K())} at {found.recipe.T - 273.15:.0f} °C</p>"
    listed = "".join(f"<li>{text(caution.words)}</li>" for caution in cautions)
    inner += "<p style='margin:.25em 0'>Take care:</p>"
    inner += f"<ul style='margin:.2em 0 .2em 1.2em;padding:0'>{listed}</ul>"
    rows = [(row.reagent, "; ".join(statements(row.codes)), row.note) for row in found.hazards]
    bottles = table("The bottles as bought", rows, ("Bottle", "Statements", "Note"))
    sheet = [("Wear", found.ppe), ("Waste", found.waste), ("If something is spilt", found.spill)]
    bottles += table("At the bench", [(name, "; ".join(lines)) for name, lines in sheet])
    summary = "Everything about the bottles, protection, spills and waste"
    inner += (
        f"<details><summary style='cursor:pointer;display:list-item'>{summary}</summary>{bottles}</details>"
    )
    if found.data_only:
        inner += paragraph(found.data_only)
    return box(inner, label=found.title)


class Who(Sheet):
    """Asks for the id once, and for no name; what a later change means is said before it is made."""

    def __init__(self, store: Store) -> None:
        super().__init__(form_id(store.assignment, WHO))
        self.store, self.warned_for, self.news = store, "", ""

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
            for sheet in live():  # other numbers and other answers in every panel of the page
                if isinstance(sheet, Panel):
                    sheet.open_up()
                    sheet.keep()
                    sheet.draw()
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

    def kept_data(self) -> dict[str, Any]:
        own, now = self.store.record_of(WHO), self.store.student
        inner = (
            lead("Recorded ✓", f"Your id is {now}.")
            if now
            else lead("No id yet.", "Without one, everybody sees the same numbers.")
        )
        more = {} if own is None else {MIME: own.to_dict()}
        return bundle(box(inner + paragraph(GO_ON), mark=KEPT, label="Your id"), more)
