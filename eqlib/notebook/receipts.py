"""The receipt: what is recorded, what is missing, and whether the saved notebook holds it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from eqlib.assess.question import Question
from eqlib.assess.records import Record, standing
from eqlib.notebook.output import box, paragraph, table
from eqlib.notebook.record import time_of
from eqlib.notebook.store import Store

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
