"""What the notebook shows of what is recorded: each answer as data and to read, with the last picture; its points,
where notebooks are marked; the receipt of them all, with what is missing and whether the saved notebook holds it.

nbgrader reads the number that a graded cell ends with, and takes a cell without a number for full marks. So the
number is left out only in a person's own session (``marks_hidden``), where nothing is marked.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from eqlib.assess.asks.base import Part, in_unicode
from eqlib.assess.mark import mark, read_part
from eqlib.assess.question import Question
from eqlib.assess.records import MIME, Record, standing
from eqlib.errors import EqlibError
from eqlib.lab.drawing import as_image
from eqlib.notebook.output import (
    KEPT,
    UNMARKED,
    Slot,
    box,
    bundle,
    lead,
    paragraph,
    show_data,
    table,
    text,
)
from eqlib.notebook.store import Store, marking, marks_hidden, restored

COUNTS = {
    "first": "Your first answer is the one that counts; later changes are kept beside it.",
    "before-reveal": "You can change it until you have seen what happens, or hand in.",
    "last": "You can change it until you hand in; the last answer counts.",
    "best": "You can change it until you hand in; the best answer counts.",
}
GO_ON = "To go on with this question, click on this line and press Shift + Enter: its panel opens again."


def has_outcome(question: Question) -> bool:
    """Is there something to watch, and may it be seen?"""
    return question.setting.stress is not None and question.reveal == "after-answer"


def what_counts(question: Question, locked: bool) -> str:
    """Which answer counts, and until when it can be changed. ``locked``: the outcome was seen."""
    if locked:
        return "You have seen what happens, so your prediction stands as it was recorded."
    rule = question.policy.attempts
    if rule == "before-reveal" and not has_outcome(question):
        return "You can change it until you hand in."
    return COUNTS[rule]


def kept_bundle(
    question: Question,
    record: Record | None,
    *,
    picture: str = "",
    words: str = "",
    note: str = "",
    locked: bool = False,
) -> dict[str, Any]:
    """The output that holds one answer: what stands there when the panel is not running.

    ``picture`` (SVG without text) is the last one that was seen, ``words`` the same in words; ``note`` is one
    more plain line. ``locked``: the answer can no longer be changed. A notebook that is not trusted may not
    draw, and an image passes there.
    """
    if record is None:
        inner, more = lead(f"{question.title}.", "Not recorded yet."), {}
    else:
        inner, more = _recorded(question, record, locked), {MIME: record.to_dict()}
    if picture:  # grey lines are seen in a light theme and in a dark one
        inner += picture + as_image(picture.replace('style="', 'style="color:#7b7b7b;', 1), words)
    inner += "".join(paragraph(line) for line in (words, note) if line)
    inner += f"<p class='{UNMARKED}' style='margin:.25em 0'>{text(GO_ON)}</p>"
    return bundle(box(inner, mark=KEPT, label=f"Your answer to {question.title}"), more)


def _recorded(question: Question, record: Record, locked: bool) -> str:
    page = (
        f"<p style='margin:.25em 0'><strong>{text(question.title)}. Recorded ✓</strong> {text(time_of(record))}, "
        f"receipt <code>{text(record.receipt)}</code></p>"
    )
    rows = answer_rows(question, record.answer)
    if rows:
        page += table("Your answer, as it was read", rows)
    if question.mode == "assessed":
        words = f"It will be marked after you hand in. {what_counts(question, locked)}"
        page += f"<p class='{UNMARKED}' style='margin:.25em 0'>{text(words)}</p>"
        if question.policy.attempts == "first" and dict(record.first) != dict(record.answer):
            page += table("Your first answer, which counts", answer_rows(question, record.first))
    return page


def answer_rows(question: Question, answer: Mapping[str, Any]) -> list[tuple[str, str]]:
    """(what was asked, what was read) for every part that holds something."""
    rows: list[tuple[str, str]] = []
    for part in question.parts:
        if part.id not in answer or answer[part.id] is None:
            continue
        found = read_part(part, answer[part.id])
        if part.kind == "table" and found.ok:
            rows.extend(_table_rows(part, found.value))
        else:
            rows.append((part.label, _read_words(part, found)))
    return rows


def _read_words(part: Part, found: Any) -> str:
    """A reading in words: the option's own label, or what was read of something typed."""
    if not found.ok:
        return f"could not be read: {found.message}"
    if part.kind == "choice":
        return next((label for value, label in part.options if value == found.value), found.shown)
    shown = found.shown
    return shown[8:] if shown.lower().startswith("read as ") else shown


def _table_rows(part: Part, value: Any) -> Iterator[tuple[str, str]]:
    for row in part.rows:
        cells = value.get(row, {}) if isinstance(value, dict) else {}
        filled = [(in_unicode(c), cells[c]) for c in part.columns if cells.get(c) is not None]
        # A place holds a number, or an expression in x as it was read.
        shown = ", ".join(f"{name} {v if isinstance(v, str) else f'{v:.4g}'}" for name, v in filled)
        yield row.capitalize(), shown or "empty"


def time_of(record: Record) -> str:
    """When an answer was recorded, in the clock of this computer."""
    when: datetime = record.when.astimezone()
    return f"{when.day} {when:%B %Y, %H:%M}"


# -- the points --------------------


def ended(question: Question, store: Store, given: tuple[object, ...]) -> float | None:
    """The points of what is recorded, or None in a person's own session.

    ``given`` is () or (value,): what code worked out. While marking, the record is shown with its feedback.
    nbgrader's own validation is told of an empty answer by a 0. Raises EqlibError for a question that cannot be
    computed.
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
            said = problem or _unread(question) or "Nothing is recorded for this question."
            _slot(question, store).show(bundle(lead(said)))
        return 0.0
    made = mark(question, record, released=True)
    if marking():
        _slot(question, store).show(kept_bundle(question, record, note=problem))
        words = made.feedback + (f"\n\n**The working**\n\n{made.working}" if made.working else "")
        if words.strip():
            show_data({"text/markdown": words, "text/plain": words})
    return made.points


def _slot(question: Question, store: Store) -> Slot:
    return Slot(f"eqlib-{store.assignment}-{question.id}-kept")


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


# -- the receipt --------------------

#: What an empty answer cell holds in a released notebook; see the course's nbgrader settings.
_STUBS = ("YOUR ANSWER HERE", "Write your answer here")


@dataclass(frozen=True)
class Line:
    """One question's line of the receipt. ``record`` is None for a question a person reads."""

    title: str
    points: float
    done: bool
    recorded: str
    receipt: str
    on_disk: str


def receipt_page(store: Store) -> str:
    """The receipt as HTML."""
    lines = receipt_lines(store)
    missing = [line.title for line in lines if not line.done]
    unsaved = any(line.on_disk == "not yet" for line in lines)
    rows = [(line.title, f"{line.points:g}", line.recorded, line.receipt, line.on_disk) for line in lines]
    head = ("Question", "Worth up to", "Recorded", "Receipt", "In the saved notebook")
    student = store.student
    handed_in = any(question.mode == "assessed" for question in store.questions.values())
    words = f"{len(lines) - len(missing)} of {len(lines)} questions are answered."
    if handed_in:
        words += " What they earn is worked out after you hand in. "
        words += f"Student id: {student}." if student else "No student id has been given."
    inner = paragraph(words)
    inner += table(f"What is recorded for “{store.questions.assignment.title}”", rows, head)
    if missing:
        inner += paragraph(f"Still to do: {', '.join(missing)}.")
    if unsaved:
        inner += paragraph(
            "“not yet” means that the file on the disk is older than your answer: "
            "save the notebook (Ctrl + S) and run this cell again."
        )
    if not missing and not unsaved:
        ready = ", ready to be handed in" if handed_in else ""
        inner += paragraph(f"Everything is recorded and saved{ready}.")
    return box(inner, label="What is recorded")


def receipt_lines(store: Store) -> list[Line]:
    """One line for each question, in the assignment's order."""
    on_disk, written = store.on_disk(), _written(store)
    return [
        _manual_line(question, written.get(question.id))
        if question.manual
        else _line(question, store.record_of(question.id), on_disk.get(question.id, ()))
        for question in store.questions.values()
    ]


def _line(question: Question, record: Record | None, saved: Sequence[Record]) -> Line:
    if record is None:
        return Line(question.title, question.points, False, "no, still to do", "none", "nothing yet")
    on_disk = "yes ✓" if any(other.receipt == record.receipt for other in saved) else "not yet"
    missing = standing(question, record).missing
    said = f"yes ✓ {time_of(record)}"
    if missing:
        said = f"in part, {time_of(record)}; blank: {', '.join(question.part(n).label for n in missing)}"
    return Line(question.title, question.points, not missing, said, record.receipt, on_disk)


def _manual_line(question: Question, words: int | None) -> Line:
    if words:
        count = f"{words} word{'s' if words != 1 else ''}"
        return Line(question.title, question.points, True, f"written, {count}", "not read yet", "yes ✓")
    said = "not found in a saved notebook" if words is None else "no, still to write"
    return Line(question.title, question.points, False, said, "not read yet", "nothing yet")


def _written(store: Store) -> dict[str, int]:
    """Question id -> words in its answer cell, as the saved notebooks have it (the longest counts)."""
    found: dict[str, int] = {}
    for content in store.notebooks():
        cells = content.get("cells")
        for cell in cells if isinstance(cells, list) else ():
            meta = cell.get("metadata", {}) if isinstance(cell, dict) else {}
            grading = meta.get("nbgrader") if isinstance(meta, dict) else None
            name = str(grading.get("grade_id")) if isinstance(grading, dict) else ""
            if name not in store.questions or not store.questions[name].manual:
                continue
            source = cell.get("source", "")
            source = "".join(source) if isinstance(source, list) else str(source)
            count = 0 if any(stub in source for stub in _STUBS) else len(source.split())
            found[name] = max(count, found.get(name, 0))
    return found
