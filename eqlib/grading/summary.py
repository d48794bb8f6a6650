"""What marking a class came to: plain data, written beside the course as CSV and JSON."""

from __future__ import annotations

import csv
import io
import json
import os
import tempfile
from dataclasses import asdict, dataclass, field
from pathlib import Path

FORMAT = 1


@dataclass(frozen=True)
class QuestionRow:
    """One question of one student. ``points`` is None until a person has marked it."""

    question: str
    points: float | None
    max_points: float
    mistakes: tuple[str, ...] = ()
    answer: dict | None = None
    wrong_parts: dict = field(default_factory=dict)
    audit: str = ""


@dataclass(frozen=True)
class StudentRow:
    """One student. ``points`` is the score in the gradebook, penalty taken off; None if nothing could be
    marked.
    """

    student: str
    points: float | None
    max_points: float
    questions: tuple[QuestionRow, ...] = ()
    penalty: float = 0.0
    to_read: int = 0
    notes: tuple[str, ...] = ()
    seconds: float = 0.0


@dataclass(frozen=True)
class GradeSummary:
    """The result of ``bulk.grade``. ``problems`` are lines for the instructor, each beginning with its
    student.
    """

    course: Path
    assignment: str
    rows: tuple[StudentRow, ...]
    problems: tuple[str, ...] = ()
    notices: tuple[str, ...] = ()
    seconds: float = 0.0

    @property
    def folder(self) -> Path:
        """Where the marks are written."""
        return reports_folder(self.course, self.assignment)

    @property
    def marks_csv(self) -> Path:
        return self.folder / "marks.csv"

    @property
    def marked(self) -> tuple[StudentRow, ...]:
        """The submissions that have a score."""
        return tuple(row for row in self.rows if row.points is not None)


def reports_folder(course: Path, assignment: str) -> Path:
    return course / "reports" / assignment


def write(summary: GradeSummary) -> None:
    """Write ``marks.csv`` (for a spreadsheet) and ``marks.json`` (for ``eqlib report``), each whole or not
    at all.
    """
    summary.folder.mkdir(parents=True, exist_ok=True)
    write_atomically(summary.marks_csv, marks_table(summary.rows))
    data = {
        "format": FORMAT,
        "assignment": summary.assignment,
        "rows": [asdict(row) for row in summary.rows],
        "problems": list(summary.problems),
    }
    write_atomically(
        summary.folder / "marks.json", json.dumps(data, ensure_ascii=False, indent=1, allow_nan=False)
    )


def marks_table(rows) -> str:
    """The marks as CSV: one line a student, one column a question."""
    names: list[str] = []
    for row in rows:
        names += [q.question for q in row.questions if q.question not in names]
    out = io.StringIO()
    table = csv.writer(out, lineterminator="\n")
    table.writerow(["student", *names, "late penalty", "total", "out of", "still to read", "notes"])
    for row in rows:
        points = {q.question: q.points for q in row.questions}
        cells = ["" if points.get(name) is None else f"{points[name]:g}" for name in names]
        total = "" if row.points is None else f"{row.points:g}"
        table.writerow(
            [
                _cell(row.student),
                *cells,
                f"{row.penalty:g}",
                total,
                f"{row.max_points:g}",
                row.to_read or "",
                _cell("; ".join(row.notes)),
            ]
        )
    return out.getvalue()


def _cell(text: str) -> str:
    """A spreadsheet must not take a cell's text for a formula."""
    return f"'{text}" if text.startswith(("=", "+", "-", "@", "\t", "\r")) else text


def read(course: Path, assignment: str) -> list[StudentRow] | None:
    """The rows of the last marking, or None if there is none that can be read."""
    path = reports_folder(course, assignment) / "marks.json"
    try:
        data = json.loads(path.read_text("utf-8"))
        if data["format"] != FORMAT:
            return None
        return [_row(entry) for entry in data["rows"]]
    except (OSError, ValueError, KeyError, TypeError):
        return None


def _row(entry: dict) -> StudentRow:
    questions = tuple(QuestionRow(**{**q, "mistakes": tuple(q["mistakes"])}) for q in entry["questions"])
    return StudentRow(**{**entry, "questions": questions, "notes": tuple(entry["notes"])})


def write_atomically(path: Path, text: str) -> None:
    """Replace a file whole: whatever happens, the old or the new one is there."""
    handle, spare = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}-")
    try:
        with os.fdopen(handle, "w", encoding="utf-8", newline="") as stream:
            stream.write(text)
            stream.flush()
            os.fsync(stream.fileno())
        os.chmod(spare, 0o644)
        os.replace(spare, path)
    except BaseException:
        Path(spare).unlink(missing_ok=True)
        raise
