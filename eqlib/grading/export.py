"""Marks as a table for a learning platform's import.

The columns are chosen, formulas are neutralised, and what was not marked is empty.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from nbgrader.api import Student
from sqlalchemy import select

from eqlib.grading import summary
from eqlib.grading.bulk import up_to_date
from eqlib.grading.course import Course, CourseError
from eqlib.grading.summary import StudentRow, cell

#: What a column can be. ``questions`` becomes one column for each question.
COLUMNS: tuple[str, ...] = (
    *("id", "name", "first", "last", "email", "platform", "assignment"),
    *("points", "of", "percent", "penalty", "to_read", "not_run", "questions"),
)
USUAL = ("id", "name", "points", "of", "percent", "to_read", "questions")


def export(
    course: str | Path, assignment: str, columns: Sequence[str] = USUAL, out: Path | None = None
) -> tuple[Path, int]:
    """Write the marks of ``assignment``, those given by hand since included. Gives the file and its number of
    students. Raises CourseError when nothing is marked, or for a column that there is not.
    """
    opened = Course.open(course)
    unknown = [name for name in columns if name not in COLUMNS]
    if unknown:
        raise CourseError(f"there is no column {unknown[0]!r}; choose among {', '.join(COLUMNS)}")
    rows = up_to_date(opened, assignment, summary.marked_rows(opened, assignment))
    with opened.gradebook() as gradebook:
        people = {person.id: person for person in gradebook.db.execute(select(Student)).scalars()}
        text = as_csv(rows, columns, people, assignment)
    folder = summary.private_folder(summary.reports_folder(opened.root, assignment))
    path = folder / "export.csv" if out is None else out
    summary.write_atomically(path, text)
    summary.refresh(opened.root, assignment, rows)
    return path, len(rows)


def as_csv(rows: Sequence[StudentRow], columns: Sequence[str], people: Any, assignment: str) -> str:
    """The table: one line a student, in the order of the ids."""
    names = list(dict.fromkeys(q.question for row in rows for q in row.questions))
    out = io.StringIO()
    table = csv.writer(out, lineterminator="\n")
    heads = [head for name in columns for head in (names if name == "questions" else [name])]
    table.writerow([cell(head) for head in heads])
    for row in rows:
        facts = _facts(row, people.get(row.student), assignment)
        points = {q.question: "" if q.points is None else f"{q.points:g}" for q in row.questions}
        line: list[str] = []
        for name in columns:
            line += [points.get(q, "") for q in names] if name == "questions" else [cell(facts[name])]
        table.writerow(line)
    return out.getvalue()


def _facts(row: StudentRow, person: Any, assignment: str) -> dict[str, str]:
    first, last = (getattr(person, name, None) or "" for name in ("first_name", "last_name"))
    marked = row.total is not None
    share = 100 * (row.total or 0.0) / row.could_be if row.could_be else None
    return {
        "id": row.student,
        "name": f"{first} {last}".strip(),
        "first": first,
        "last": last,
        "email": getattr(person, "email", None) or "",
        "platform": getattr(person, "lms_user_id", None) or "",
        "assignment": assignment,
        "points": f"{row.total:g}" if marked else "",
        "of": f"{row.could_be:g}" if marked else "",
        "percent": "" if share is None else f"{share:.1f}",
        "penalty": f"{row.penalty:g}",
        "to_read": str(row.to_read or ""),
        "not_run": str(row.not_run or ""),
    }
