"""What marking a class came to: rows of plain data, and tables of them: ``marks.csv``, in the terminal, an
export for a learning platform. What was not marked says so, or is empty; never 0.
"""

from __future__ import annotations

import csv
import glob
import io
import json
import os
import shlex
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from nbgrader.api import Student
from rich.table import Table
from sqlalchemy import select

from eqlib.grading.course import Course, CourseError
from eqlib.grading.gradebook import Ledger, Standing
from eqlib.grading.intake import printable
from eqlib.grading.submission import MOST_NOTES, TO_READ, gravest_first
from eqlib.writing import write_atomically

FORMAT = 2
#: So many answers recorded at the same moments are no coincidence.
_SAME_AT_LEAST = 3
#: What a column of an export can be. ``questions`` becomes one column for each question.
COLUMNS: tuple[str, ...] = (
    *("id", "name", "first", "last", "email", "platform", "assignment"),
    *("points", "of", "percent", "penalty", "to_read", "not_run", "questions"),
)
USUAL = ("id", "name", "points", "of", "percent", "to_read", "questions")


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
    and have not changed since; ``stopped``: why the marking could not be finished, or "".
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
    names = question_names(rows)
    out = io.StringIO()
    table = csv.writer(out, lineterminator="\n")
    heads = ["late penalty", "total", "of what could be marked", "out of", "still to read", "not run"]
    heads += [f"to look at {number}" for number in range(1, MOST_NOTES + 1)]
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


def question_names(rows: Sequence[StudentRow]) -> list[str]:
    """The questions of all rows, each once."""
    return list(dict.fromkeys(q.question for row in rows for q in row.questions))


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


def refresh(course: Path, assignment: str, rows: Sequence[StudentRow]) -> tuple[str, ...]:
    """Write ``marks.csv`` anew from ``rows``, which hold the marks by hand given since the last marking.
    Returns what that marking had to say about the whole class.
    """
    folder = reports_folder(course, assignment)
    try:
        said = json.loads((folder / "marks.json").read_text("utf-8")).get("notices", [])
    except (OSError, ValueError):
        said = []
    notices = tuple(map(str, said))
    write_atomically(folder / "marks.csv", marks_table(rows, notices))
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
    table = Table(title=title, title_justify="left")
    table.add_column("Id", no_wrap=True)
    names = question_names(made.rows)
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


def with_marks_by_hand(row: StudentRow, standing: Standing) -> StudentRow:
    """A row brought up to date: a person may have marked explanations, or changed a mark, since."""
    if row.points is None:
        return row
    questions = []
    for question in row.questions:
        points = standing.score(question.book, question.question)
        state = "" if points is not None else question.state or TO_READ
        questions.append(replace(question, points=points, state=state))
    penalty = standing.taken_off
    points = round(sum(q.points for q in questions if q.points is not None) - penalty, 6)
    return replace(row, questions=tuple(questions), points=points, penalty=penalty)


def up_to_date(course: Course, assignment: str, rows: Iterable[StudentRow]) -> tuple[StudentRow, ...]:
    """The rows of the last marking, with the marks that the gradebook has now."""
    ledger = Ledger(course, assignment)
    try:
        return tuple(with_marks_by_hand(row, ledger.standing.get(row.student, Standing())) for row in rows)
    finally:
        ledger.close()


def flag_copies(rows: list[StudentRow]) -> list[StudentRow]:
    """Say gently when submissions hold answers recorded at the very same moments."""
    stamps: dict[tuple, list[str]] = defaultdict(list)
    for row in rows:
        for question in row.questions:
            if question.answer and question.answer.get("at"):
                stamps[question.question, question.answer["at"], _key(question.answer)].append(row.student)
    shared: dict[tuple[str, str], int] = defaultdict(int)
    for first, *others in stamps.values():
        for other in others:
            shared[first, other] += 1
    same: dict[str, list[str]] = defaultdict(list)
    most: dict[str, int] = defaultdict(int)
    for (one, other), count in shared.items():
        if count >= _SAME_AT_LEAST:
            for student, twin in ((one, other), (other, one)):
                same[student].append(twin)
                most[student] = max(most[student], count)
    return [
        replace(row, notes=tuple(gravest_first([*row.notes, _same(most[row.student], same[row.student])])))
        if row.student in same
        else row
        for row in rows
    ]


def _same(count: int, others: list[str]) -> str:
    named = ", ".join(others[:3]) + (f" and {len(others) - 3} more" if len(others) > 3 else "")
    return f"{count} answers were recorded at the same moments as those of {named}; one file handed in twice?"


def _key(answer: dict) -> str:
    return json.dumps(answer.get("answer"), sort_keys=True)


# -- for a learning platform: columns chosen, formulas neutralised -----------------------------------------


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
    rows = up_to_date(opened, assignment, marked_rows(opened, assignment))
    with opened.gradebook() as gradebook:
        people = {person.id: person for person in gradebook.db.execute(select(Student)).scalars()}
        text = _as_csv(rows, columns, people, assignment)
    folder = private_folder(reports_folder(opened.root, assignment))
    path = folder / "export.csv" if out is None else out
    write_atomically(path, text)
    refresh(opened.root, assignment, rows)
    return path, len(rows)


def _as_csv(rows: Sequence[StudentRow], columns: Sequence[str], people: Any, assignment: str) -> str:
    """The table: one line a student, in the order of the ids."""
    names = question_names(rows)
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
