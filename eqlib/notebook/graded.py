"""What the cell of a question ends in: the points, wherever notebooks are marked.

nbgrader reads the number a graded cell ends with, and takes a cell without a number for full marks. So the
number is left out only in a person's own session (``session.marks_hidden``), where nothing is marked.
"""

from __future__ import annotations

import os

from eqlib.assess.asks import read_part
from eqlib.assess.mark import Mark, mark
from eqlib.assess.question import Question
from eqlib.errors import EqlibError
from eqlib.notebook.output import Slot, bundle, lead
from eqlib.notebook.record import kept_bundle
from eqlib.notebook.session import marking, marks_hidden, restored
from eqlib.notebook.store import Store

_NOTHING = "Nothing is recorded for this question."


def ended(question: Question, store: Store, given: tuple[object, ...]) -> float | None:
    """The points of what is recorded, or None in a person's own session.

    ``given`` is () or (value,): what code worked out. While marking, the record is shown with its feedback. nbgrader's own validation is told of an empty answer
    by a 0. Raises EqlibError for a question that cannot be computed.
    """
    if question.manual:
        return None
    problem = _take_value(question, store, given[0]) if given else ""
    record = store.record_of(question.id)
    if marks_hidden():
        empty = record is None and os.environ.get("NBGRADER_EXECUTION") == "validate"
        return 0.0 if empty else None
    if record is None:
        if marking():
            Slot(f"eqlib-{store.assignment}-{question.id}-kept").show(
                bundle(lead(problem or _unread(question) or _NOTHING))
            )
        return 0.0
    made = mark(question, record, released=True)
    if marking():
        Slot(f"eqlib-{store.assignment}-{question.id}-kept").show(kept_bundle(question, record, note=problem))
        _show_feedback(made)
    return made.points


def _take_value(question: Question, store: Store, value: object) -> str:
    """Keep a value from code as this question's answer; what is wrong with it, or "". Raises EqlibError."""
    coded = [part for part in question.parts if part.code] or [part for part in question.parts if part.scored]
    if len(coded) != 1:
        raise EqlibError(f"question {question.id!r} asks for several things; record them in its panel")
    if value is None or value is ...:
        return ""
    part, found = coded[0], read_part(coded[0], value)
    if not found.ok:
        return f"{part.label}: {found.message}"
    record = store.record_of(question.id)
    return store.save(question.id, {**(record.answer if record else {}), part.id: found.value}).problem


def _unread(question: Question) -> str:
    """While marking: the line about a recorded answer of this question that could not be read."""
    handed = restored()
    found = [line for line in handed.problems if repr(question.id) in line] if handed else []
    return found[0] if found else ""


def _show_feedback(made: Mark) -> None:
    from IPython.display import display

    words = made.feedback + (f"\n\n**The working**\n\n{made.working}" if made.working else "")
    if words.strip():
        display({"text/markdown": words, "text/plain": words}, raw=True)
