"""The check cell: what is recorded, how it was read, and, where it may be seen, what it scores.

nbgrader reads the number a check cell ends with, and takes a cell without a number for full marks. So the
number is left out only where nothing is marked and the marks are not to be seen yet: see
``records_session.marks_hidden``.
"""

from __future__ import annotations

from eqlib.assess.marking import mark
from eqlib.assess.reading import read_part
from eqlib.errors import EqlibError
from eqlib.notebook.display import Slot, bundle
from eqlib.notebook.display_record import record_bundle
from eqlib.notebook.records import Store
from eqlib.notebook.records_session import marking, marks_hidden, restored
from eqlib.notebook.style import notice

_NOTHING = "Nothing is recorded for this question yet. Answer it in the form above, then run this cell again."
_NO_VALUE = "There is no value yet. Fill in the cell above, run it (Shift + Enter), then run this one."


def check_answer(question, store: Store, slot: Slot, given=()):
    """Show what is recorded and return the points, or None where assessed marks stay hidden.

    ``given`` is () or (value,): what the student's code worked out. Raises EqlibError for a question that
    cannot be computed.
    """
    problem = ""
    if given or question.code:
        problem = _take_value(question, store, given)
    record = store.record_of(question.id)
    hidden = question.mode == "assessed" and marks_hidden()
    if record is None:
        slot.show(bundle(notice(problem or _unread(question) or (_NO_VALUE if question.code else _NOTHING))))
        return None if hidden and not _validating() else 0.0
    slot.show(receipt_bundle(question, store, problem))
    if hidden:
        return None
    made = mark(question, record, released=marking())
    _show_feedback(made)
    return made.points


def receipt_bundle(question, store: Store, problem: str = "") -> dict:
    """What a check cell shows of the recorded answer."""
    record = store.record_of(question.id)
    if record is None:
        return bundle(notice(_NO_VALUE if question.code else _NOTHING))
    locked = store.locked(question)
    return record_bundle(question, record, note=problem, form=False, locked=locked, brief=not question.code)


def waiting(recorded: bool) -> str:
    """What a reveal cell shows before the outcome."""
    if recorded:
        return notice("Your prediction is recorded. Run this cell (Shift + Enter) to see what happens.")
    return notice(
        "Record your prediction in the form above first; "
        "then run this cell (Shift + Enter) to see what happens."
    )


def _take_value(question, store: Store, given) -> str:
    """Keep a value from code as this question's answer; what is wrong with it, or ""."""
    part = _code_part(question)
    value = given[0] if given else _variable(question, part)
    if value is None or value is ...:
        return ""
    found = read_part(part, value)
    if not found.ok:
        return f"{part.label}: {found.message}"
    record = store.record_of(question.id)
    answer = {} if record is None else dict(record.answer)
    return store.save(question.id, {**answer, part.id: found.value}).problem


def _code_part(question):
    coded = [part for part in question.parts if part.code] or [part for part in question.parts if part.scored]
    if len(coded) != 1:
        raise EqlibError(
            f"question {question.id!r} asks for several things; "
            f"record them in its form and write check({question.id!r})"
        )
    return coded[0]


def _variable(question, part):
    """The notebook's variable called like the question or the part, whatever its capitals; None if there is
    none.
    """
    from IPython import get_ipython

    shell = get_ipython()
    names = shell.user_ns if shell is not None else {}
    wanted = {question.id.casefold(), part.id.casefold()}
    for name in sorted(names, key=lambda name: name.casefold() != question.id.casefold()):
        if name.casefold() in wanted and not name.startswith("_") and not callable(names[name]):
            return names[name]
    return None


def _validating() -> bool:
    """nbgrader's own check before handing in: an empty answer should be pointed out there."""
    import os

    return os.environ.get("NBGRADER_EXECUTION") == "validate"


def _unread(question) -> str:
    """While marking: the line about a recorded answer of this question that could not be read."""
    handed = restored()
    found = [line for line in handed.problems if repr(question.id) in line] if handed else []
    return found[0] if found else ""


def _show_feedback(made) -> None:
    from IPython.display import display

    words = made.feedback + (f"\n\n**The working**\n\n{made.working}" if made.working else "")
    if words.strip():
        display({"text/markdown": words, "text/plain": words}, raw=True)
