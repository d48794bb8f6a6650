"""What marking a class came to: plain data, written beside the course as CSV and JSON."""

from __future__ import annotations

import csv
import glob
import io
import json
import os
import shlex
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from eqlib.grading.course import Course, CourseError
from eqlib.grading.intake import printable
from eqlib.writing import write_atomically

FORMAT = 2
#: How many lines about one student an instructor is shown.
MOST_NOTES = 3


@dataclass(frozen=True)
class QuestionRow:
    """One question of one student. ``points`` is None while it is to be read, was not run or was not found
    (``state`` says which).
    """

    question: str
    points: float | None
    max_points: float
    mistakes: tuple[str, ...] = ()
    answer: dict | None = None
    wrong_parts: dict = field(default_factory=dict)
    audit: str = ""
    state: str = ""
    book: str = ""

    @property
    def to_read(self) -> bool:
        return self.points is None and self.state not in ("not run", "not found")


@dataclass(frozen=True)
class StudentRow:
    """One student. ``points``: the score in the gradebook, penalty taken off; None: nothing could be marked.

    ``could_be``: the points of what could be marked; ``max_points``: of everything.
    """

    student: str
    points: float | None
    max_points: float
    questions: tuple[QuestionRow, ...] = ()
    penalty: float = 0.0
    late: float = 0.0
    notes: tuple[str, ...] = ()
    seconds: float = 0.0

    @property
    def could_be(self) -> float:
        return sum(q.max_points for q in self.questions if q.points is not None)

    @property
    def total(self) -> float | None:
        """The score, where there was anything to mark."""
        return self.points if self.could_be or not self.max_points else None

    @property
    def to_read(self) -> int:
        return sum(q.to_read for q in self.questions)

    @property
    def not_run(self) -> int:
        return sum(q.state == "not run" for q in self.questions)


@dataclass(frozen=True)
class GradeSummary:
    """The result of ``bulk.grade``. ``problems``: lines for the instructor, each begun by its student.

    ``absent``: ids that the course knows and that handed nothing in; ``kept``: how many were marked already
    and
    have not changed since; ``stopped``: why the marking could not be finished, or "".
    """

    course: Path
    assignment: str
    rows: tuple[StudentRow, ...]
    problems: tuple[str, ...] = ()
    notices: tuple[str, ...] = ()
    seconds: float = 0.0
    absent: tuple[str, ...] = ()
    kept: int = 0
    stopped: str = ""

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
        return tuple(row for row in self.rows if row.total is not None)


def reports_folder(course: Path, assignment: str) -> Path:
    return course / "reports" / assignment


def private_folder(folder: Path) -> Path:
    """Make a folder that only its owner may look into."""
    folder.mkdir(parents=True, exist_ok=True)
    os.chmod(folder, 0o700)
    return folder


def write(summary: GradeSummary) -> None:
    """Write ``marks.csv`` (for a spreadsheet) and ``marks.json`` (for ``eqlib report``), each whole."""
    private_folder(summary.folder)
    write_atomically(summary.marks_csv, marks_table(summary.rows, summary.notices))
    data = {
        "format": FORMAT,
        "assignment": summary.assignment,
        "rows": [_plain(row) for row in summary.rows],
        "problems": list(summary.problems),
        "notices": list(summary.notices),
        "absent": list(summary.absent),
    }
    write_atomically(summary.folder / "marks.json", json.dumps(data, ensure_ascii=False, allow_nan=False))


def marks_table(rows: Sequence[StudentRow], notices: Sequence[str] = ()) -> str:
    """The marks as CSV: a line a student, a column a question. What was not marked says so; never 0."""
    names: list[str] = []
    for row in rows:
        names += [q.question for q in row.questions if q.question not in names]
    out = io.StringIO()
    table = csv.writer(out, lineterminator="\n")
    heads = [
        "late penalty",
        "total",
        "of what could be marked",
        "out of",
        "still to read",
        "not run",
        *(f"to look at {number}" for number in range(1, MOST_NOTES + 1)),
    ]
    table.writerow(["student", *map(cell, names), *heads])
    for row in rows:
        points = {q.question: shown_points(q) for q in row.questions}
        total = "" if row.total is None else f"{row.total:g}"
        lines = [*(notices if row.not_run else ()), *row.notes]
        table.writerow(
            [
                cell(row.student),
                *(points.get(name, "") for name in names),
                f"{row.penalty:g}",
                total,
                f"{row.could_be:g}" if total else "",
                f"{row.max_points:g}",
                row.to_read or "",
                row.not_run or "",
                *(cell(line) for line in (*lines, *[""] * MOST_NOTES)[:MOST_NOTES]),
            ]
        )
    return out.getvalue()


def shown_points(question: QuestionRow) -> str:
    """A question's points as they are shown everywhere."""
    return (question.state or "to read") if question.points is None else f"{question.points:g}"


def cell(text: str) -> str:
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


def marked_rows(course: Course, assignment: str) -> list[StudentRow]:
    """The rows of the last marking. Raises CourseError saying what to do where there is none."""
    rows = read(course.root, assignment)
    if rows is None:
        course.source(assignment)
        root = shlex.quote(str(course.root))
        if not any((course.root / "submitted").glob(f"*/{glob.escape(assignment)}")):
            raise CourseError(
                f"{course.root}: nothing of {assignment} is handed in yet; put it under "
                f"submitted/<student id>/{assignment}/, then run `eqlib grade {root} {assignment}`"
            )
        raise CourseError(
            f"{course.root}: {assignment} is not marked yet; run `eqlib grade {root} {assignment}` first"
        )
    return rows


def read_notices(course: Path, assignment: str) -> list[str]:
    """What the last marking had to say about the whole class."""
    try:
        data = json.loads((reports_folder(course, assignment) / "marks.json").read_text("utf-8"))
        return [str(line) for line in data.get("notices", [])]
    except (OSError, ValueError):
        return []


def refresh(course: Path, assignment: str, rows: Sequence[StudentRow]) -> tuple[str, ...]:
    """Write ``marks.csv`` anew from ``rows``, which hold the marks by hand given since the last marking.
    Returns what that marking had to say about the whole class.
    """
    notices = tuple(read_notices(course, assignment))
    write_atomically(reports_folder(course, assignment) / "marks.csv", marks_table(rows, notices))
    return notices


def _plain(row: StudentRow) -> dict:
    return {**vars(row), "questions": [vars(question) for question in row.questions]}


def _row(entry: dict) -> StudentRow:
    questions = tuple(QuestionRow(**{**q, "mistakes": tuple(q["mistakes"])}) for q in entry["questions"])
    return StudentRow(**{**entry, "questions": questions, "notes": tuple(entry["notes"])})


class Kept:
    """What was marked already, by student: the row and the fingerprint of what it was made from.

    One small private file each, written last: where it stands, the marks, the notebook and the page stand
    too.
    """

    def __init__(self, course: Path, assignment: str) -> None:
        self.folder = reports_folder(course, assignment) / "marked"

    def row(self, student: str, fingerprint: str) -> StudentRow | None:
        """The row of a student whose submission is what it was; None if it has to be marked."""
        try:
            data = json.loads(self._path(student).read_text("utf-8"))
            return (
                _row(data["row"]) if data["fingerprint"] == fingerprint and data["format"] == FORMAT else None
            )
        except (OSError, ValueError, KeyError, TypeError):
            return None

    def keep(self, row: StudentRow, fingerprint: str) -> None:
        if not self.folder.is_dir():
            private_folder(self.folder)
        data = {"format": FORMAT, "fingerprint": fingerprint, "row": _plain(row)}
        path = self._path(row.student)
        fresh = path.with_name(f".{path.name}.new")
        # Not forced onto the disk: a row that a power cut takes is a submission marked once more.
        with open(os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600), "w", encoding="utf-8") as out:
            json.dump(data, out, ensure_ascii=False, allow_nan=False)
        os.replace(fresh, path)

    def drop(self, student: str) -> None:
        self._path(student).unlink(missing_ok=True)

    def _path(self, student: str) -> Path:
        return self.folder / f"{student}.json"


def terminal_table(made: GradeSummary, title: str) -> Any:
    """Everybody's marks, a column for each question."""
    from rich.table import Table

    table = Table(title=title, title_justify="left")
    table.add_column("Id", no_wrap=True)
    names: list[str] = []
    for row in made.rows:
        names += [q.question for q in row.questions if q.question not in names]
    for name in names:
        table.add_column(name, justify="right")
    if late := any(row.late for row in made.rows):
        table.add_column("Late", justify="right")
    if unread := any(row.points is not None and row.could_be < row.max_points for row in made.rows):
        table.add_column("Still open", justify="right")
    table.add_column("Points of what is marked" if unread else "Points", justify="right")
    for row in made.rows:
        points = {
            q.question: shown_points(q) if q.points is None else f"{round(q.points, 2):g}"
            for q in row.questions
        }
        total = "not marked" if row.total is None else f"{round(row.total, 2):g} / {row.could_be:g}"
        taken = [f"late, -{row.penalty:g}" if row.late else ""] if late else []
        left = row.max_points - row.could_be
        still = [f"{left:g}" if left and row.points is not None else ""] if unread else []
        table.add_row(
            printable(row.student), *(points.get(name, "") for name in names), *taken, *still, total
        )
    return table
