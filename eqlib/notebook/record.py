"""What the notebook shows of what is recorded: each answer as data and to read, with the last picture; the receipt
of them all, with what is missing and whether the saved notebook holds it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from eqlib.assess.asks import read_part
from eqlib.assess.asks.base import Part, in_unicode
from eqlib.assess.question import Question
from eqlib.assess.records import MIME, Record, standing
from eqlib.lab.drawing import as_image
from eqlib.notebook.output import KEPT, UNMARKED, box, bundle, lead, paragraph, table, text
from eqlib.notebook.store import Store

COUNTS = {
    "first": "Your first answer is the one that counts; later changes are kept beside it.",
    "before-reveal": "You can change it until you have seen what happens, or hand in.",
    "last": "You can change it until you hand in; the last answer counts.",
    "best": "You can change it until you hand in; the best answer counts.",
}
STANDS = "You have seen what happens, so your prediction stands as it was recorded."
UNSEEN = "You can change it until you hand in."
_SEEN = "color:#7b7b7b;"  # grey lines are seen in a light theme and in a dark one
GO_ON = "To go on with this question, click on this line and press Shift + Enter: its panel opens again."


def has_outcome(question: Question) -> bool:
    """Is there something to watch, and may it be seen?"""
    return question.setting.stress is not None and question.reveal == "after-answer"


def what_counts(question: Question, locked: bool) -> str:
    """Which answer counts, and until when it can be changed. ``locked``: the outcome was seen."""
    if locked:
        return STANDS
    rule = question.policy.attempts
    return UNSEEN if rule == "before-reveal" and not has_outcome(question) else COUNTS[rule]


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
    inner += (
        picture
        + (as_image(picture.replace('style="', f'style="{_SEEN}', 1), words) if picture else "")
        + (paragraph(words) if words else "")
        + (paragraph(note) if note else "")
    )
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
            rows.append((part.label, read_words(part, found)))
    return rows


def read_words(part: Part, found: Any) -> str:
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
        shown = ", ".join(
            f"{in_unicode(column)} {_cell(cells[column])}"
            for column in part.columns
            if cells.get(column) is not None
        )
        yield row.capitalize(), shown or "empty"


def _cell(value: Any) -> str:
    """A place of a table: a number, or an expression in x as it was read."""
    return value if isinstance(value, str) else f"{value:.4g}"


def time_of(record: Record) -> str:
    """When an answer was recorded, in the clock of this computer."""
    when: datetime = record.when.astimezone()
    return f"{when.day} {when:%B %Y, %H:%M}"


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
    done = [line for line in lines if line.done]
    unsaved = any(line.on_disk == "not yet" for line in lines)
    rows = [(line.title, f"{line.points:g}", line.recorded, line.receipt, line.on_disk) for line in lines]
    head = ("Question", "Worth up to", "Recorded", "Receipt", "In the saved notebook")
    student = store.student
    handed_in = any(question.mode == "assessed" for question in store.questions.values())
    words = f"{len(done)} of {len(lines)} questions are answered."
    if handed_in:
        words += " What they earn is worked out after you hand in. "
        words += f"Student id: {student}." if student else "No student id has been given."
    inner = paragraph(words)
    inner += table(f"What is recorded for “{store.questions.assignment.title}”", rows, head)
    missing = [line.title for line in lines if not line.done]
    if missing:
        inner += paragraph(f"Still to do: {', '.join(missing)}.")
    if unsaved:
        inner += paragraph(
            "“not yet” means that the file on the disk is older than your answer: "
            "save the notebook (Ctrl + S) and run this cell again."
        )
    if not missing and not unsaved:
        inner += paragraph(
            f"Everything is recorded and saved{', ready to be handed in' if handed_in else ''}."
        )
    return box(inner, label="What is recorded")


def receipt_lines(store: Store) -> list[Line]:
    """One line for each question, in the assignment's order."""
    on_disk = store.on_disk()
    written = _written(store)
    lines = []
    for question in store.questions.values():
        if question.manual:
            words = written.get(question.id)
            lines.append(_manual_line(question, words))
            continue
        record = store.record_of(question.id)
        lines.append(_line(question, record, on_disk.get(question.id, ())))
    return lines


def _line(question: Question, record: Record | None, saved: Sequence[Record]) -> Line:
    if record is None:
        return Line(question.title, question.points, False, "no, still to do", "none", "nothing yet")
    here = any(other.receipt == record.receipt for other in saved)
    missing = standing(question, record).missing
    parts = {part.id: part.label for part in question.parts}
    said = (
        f"in part, {time_of(record)}; blank: {', '.join(parts[name] for name in missing)}" if missing else ""
    )
    return Line(
        question.title,
        question.points,
        not missing,
        said or f"yes ✓ {time_of(record)}",
        record.receipt,
        "yes ✓" if here else "not yet",
    )


def _manual_line(question: Question, words: int | None) -> Line:
    if words:
        count = f"{words} word{'s' if words != 1 else ''}"
        return Line(question.title, question.points, True, f"written, {count}", "not read yet", "yes ✓")
    said = "not found in a saved notebook" if words is None else "no, still to write"
    return Line(question.title, question.points, False, said, "not read yet", "nothing yet")


def _written(store: Store) -> dict[str, int]:
    """Question id -> words in its answer cell, as the saved notebooks have it (the longest counts)."""
    found: dict[str, int] = {}
    for _, content in store.notebooks():
        cells = content.get("cells")
        for cell in cells if isinstance(cells, list) else ():
            meta = cell.get("metadata", {}) if isinstance(cell, dict) else {}
            grading = meta.get("nbgrader") if isinstance(meta, dict) else None
            if not isinstance(grading, dict) or grading.get("grade_id") not in store.questions:
                continue
            if not store.questions[grading["grade_id"]].manual:
                continue
            source = cell.get("source", "")
            source = "".join(source) if isinstance(source, list) else str(source)
            count = 0 if any(stub in source for stub in _STUBS) else len(source.split())
            found[grading["grade_id"]] = max(count, found.get(grading["grade_id"], 0))
    return found
