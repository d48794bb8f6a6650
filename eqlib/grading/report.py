"""The class at a glance: marks by question, misconceptions to teach against, wrong answers nobody explained.

Made from what the last marking wrote; marks given by hand since then are read from the gradebook. Kc of each
group comes from the table of readings that was handed in (``class_handed_in``).
"""

from __future__ import annotations

import contextlib
import csv
import io
import os
import statistics
from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from html import escape
from pathlib import Path
from typing import Any

from rich.table import Table

from eqlib.assess.asks.practical import simulated
from eqlib.assess.confront import pictured
from eqlib.assess.mistakes import MISTAKES
from eqlib.assess.question import Question, QuestionSet
from eqlib.assess.records import Collected
from eqlib.assess.scene import scene_of
from eqlib.errors import EqlibError
from eqlib.grading import summary
from eqlib.grading.course import Course
from eqlib.grading.intake import UnreadableNotebook, collect_files, read_notebook, submitted
from eqlib.grading.page import drawn, markdown_to_html
from eqlib.grading.submission import answers_in
from eqlib.grading.summary import StudentRow
from eqlib.lab.practical.faults import Group, group_of, marked
from eqlib.writing import page

#: How many misconceptions come with a demonstration.
TOP = 3


@dataclass(frozen=True)
class QuestionLine:
    """One question over the class: ``mean`` of those marked (None: nobody's is), ``share`` of its points, how
    many had full marks or none, how many are to be read or were not run.
    """

    question: str
    title: str
    max_points: float
    marked: int
    mean: float | None
    share: float | None
    full: int
    none: int
    to_read: int
    not_run: int

    @property
    def cells(self) -> tuple[str, ...]:
        """Mean, of, full marks, no marks, still to read, not run: as every table shows them."""
        counts = (self.full, self.none, self.to_read, self.not_run)
        return (shown(self.mean, ".2f"), f"{self.max_points:g}", *map(str, counts))


@dataclass(frozen=True)
class MistakeLine:
    """One misconception over the class."""

    id: str
    title: str
    students: tuple[str, ...]
    questions: tuple[str, ...]
    remedy: str

    @property
    def count(self) -> int:
        return len(self.students)


@dataclass(frozen=True)
class OddAnswer:
    """A wrong answer that fits no known mistake, and who gave it."""

    question: str
    part: str
    answer: str
    students: tuple[str, ...]


@dataclass(frozen=True)
class ClassReport:
    """Everything the report shows. ``rows`` are the students."""

    course: Path
    assignment: str
    title: str
    rows: tuple[StudentRow, ...]
    questions: tuple[QuestionLine, ...]
    mistakes: tuple[MistakeLine, ...]
    odd: tuple[OddAnswer, ...]
    notices: tuple[str, ...] = ()

    @property
    def top(self) -> tuple[MistakeLine, ...]:
        """The commonest misconceptions, for the next lesson."""
        return self.mistakes[:TOP]

    @property
    def folder(self) -> Path:
        return summary.reports_folder(self.course, self.assignment)


def report(course: str | Path, assignment: str) -> ClassReport:
    """The report of the last marking, written as ``class.csv``, ``class.md`` and, with drawings,
    ``class.html`` too. Raises CourseError.
    """
    opened = Course.open(course)
    opened.source(assignment)
    questions = opened.questions(assignment) if opened.has_questions(assignment) else {}
    rows = summary.up_to_date(opened, assignment, summary.marked_rows(opened, assignment))
    notices = summary.refresh(opened.root, assignment, rows)
    made = ClassReport(
        opened.root,
        assignment,
        questions.assignment.title if isinstance(questions, QuestionSet) else assignment,
        rows,
        tuple(_question_lines(rows, questions)),
        tuple(mistake_lines(rows)),
        tuple(_odd_answers(rows)),
        notices if any(row.not_run for row in rows) else (),
    )
    summary.private_folder(made.folder)
    summary.write_atomically(made.folder / "class.csv", as_csv(made))
    summary.write_atomically(made.folder / "class.md", as_markdown(made))
    summary.write_atomically(made.folder / "class.html", as_html(made, questions))
    return made


def _question_lines(rows: Sequence[StudentRow], questions: Mapping[str, Question]) -> Iterator[QuestionLine]:
    seen = defaultdict(list)
    for row in rows:
        for question in row.questions:
            seen[question.question].append(question)
    for name, theirs in seen.items():
        points = [q.points for q in theirs if q.points is not None]
        most = theirs[0].max_points
        # While answers are still to be read, the mean of those that needed no reading says nothing.
        unread = any(q.points is None and q.state != "not found" for q in theirs)
        mean = statistics.fmean(points) if points and not unread else None
        yield QuestionLine(
            name,
            questions[name].title if name in questions else name,
            most,
            len(points),
            mean,
            mean / most if mean is not None and most else None,
            sum(p >= most for p in points),
            sum(p <= 0 for p in points),
            sum(q.to_read for q in theirs),
            sum(q.state == "not run" and q.points is None for q in theirs),
        )


def mistake_lines(rows: Sequence[StudentRow]) -> list[MistakeLine]:
    """The misconceptions of a class, the commonest first (by the number of students, then by id)."""
    who: dict[str, dict[str, bool]] = defaultdict(dict)
    where: dict[str, dict[str, bool]] = defaultdict(dict)
    for row in rows:
        for question in row.questions:
            for mistake in question.mistakes:
                who[mistake][row.student] = True
                where[mistake][question.question] = True
    lines = [
        MistakeLine(name, _about(name, "title"), tuple(who[name]), tuple(where[name]), _about(name, "remedy"))
        for name in who
    ]
    return sorted(lines, key=lambda line: (-line.count, line.id))


def _about(name: str, what: str) -> str:
    """What the registry says of a mistake; an old marking may name one that is no longer there."""
    return getattr(MISTAKES[name], what) if name in MISTAKES else ""


def _odd_answers(rows: Sequence[StudentRow]) -> list[OddAnswer]:
    who = defaultdict(list)
    for row in rows:
        for question in row.questions:
            for part, answer in question.wrong_parts.items():
                who[question.question, part, answer].append(row.student)
    lines = [OddAnswer(*key, tuple(students)) for key, students in who.items()]
    return sorted(lines, key=lambda line: (-len(line.students), line.question, line.part, line.answer))


def shown(value: float | None, how: str) -> str:
    """A number in print; a dash where there is none."""
    return "–" if value is None else f"{value:{how}}"


def as_csv(made: ClassReport) -> str:
    """One line for each question and one for each misconception, for a spreadsheet."""
    out = io.StringIO()
    table = csv.writer(out, lineterminator="\n")
    counts = ("mean points", "out of", "full marks", "no marks", "to read", "not run")
    table.writerow(["kind", "id", "title", "students", *counts, "who"])
    for line in made.questions:
        about = [summary.cell(line.question), summary.cell(line.title), line.marked]
        table.writerow(["question", *about, *line.cells, ""])
    for mistake in made.mistakes:
        about = [mistake.id, mistake.title, mistake.count]
        table.writerow(["misconception", *about, *[""] * len(counts), " ".join(mistake.students)])
    return out.getvalue()


def as_markdown(made: ClassReport) -> str:
    """The report as a page of Markdown."""
    parts = (f"## {heading}\n\n{body}" if heading else body for heading, body in _sections(made))
    return "\n\n".join([f"# {made.title}: the class", *parts]) + "\n"


def as_html(made: ClassReport, questions: Mapping[str, Question]) -> str:
    """The report as a page, with what there was to see in each question about a change."""
    body = f"<h1>{escape(made.title)}: the class</h1>"
    for heading, words in _sections(made):
        body += f"<h2>{heading}</h2>" if heading else ""
        body += markdown_to_html(words)
        if heading == "Questions":
            body += "".join(_seen(made, questions))
    return page(f"{made.title}: the class", body)


def _seen(made: ClassReport, questions: Mapping[str, Question]) -> Iterator[str]:
    """The vessels of each question about a change, the most often missed first, and beside them the one that
    its commonest misconception would have (the commonest of those that can be seen).
    """
    for line in sorted(made.questions, key=lambda line: 1.0 if line.share is None else line.share):
        question = questions.get(line.question)
        case = question.case() if question is not None and question.kind != "explanation" else None
        if question is None or case is None or (scene := scene_of(question, case)) is None:
            continue
        said = Counter(
            mistake
            for row in made.rows
            for one in row.questions
            if one.question == question.id
            for mistake in one.mistakes
        )
        common = [name for name, _ in sorted(said.items(), key=lambda item: (-item[1], item[0]))]
        told = "" if line.share is None else f" {line.share:.0%} of the points."
        told += "".join(f" “{_about(name, 'title')}”: {said[name]}." for name in common[:2])
        yield f"<h3>{escape(question.title)}</h3><p>{escape(told.strip())}</p>"
        yield drawn(scene, question.title, pictured(case, common))


def _sections(made: ClassReport) -> Iterator[tuple[str, str]]:
    """(heading, Markdown) of the parts of the report."""
    heads = ("Question", "Mean", "Of", "Full marks", "No marks", "Still to read", "Not run")
    questions = [(f"{_cell(q.title)} (`{q.question}`)", *q.cells) for q in made.questions]
    mistakes = [
        (f"`{m.id}`", _cell(m.title), str(m.count), ", ".join(m.questions), ", ".join(m.students))
        for m in made.mistakes
    ]
    next_lesson = [f"{n}. **{m.title}** ({m.count}). {m.remedy}" for n, m in enumerate(made.top, start=1)]
    odd = [f"- {o.question}, {o.part}: {_code(o.answer)} ({', '.join(o.students)})" for o in made.odd]
    yield "", "\n\n".join([_in_all(made), *made.notices])
    yield "Questions", "\n".join(_table(heads, questions))
    table = _table(("Id", "What they seem to think", "Students", "In", "Who"), mistakes)
    said = "Answers were consistent with these; what a person thinks, only they can say."
    yield "Misconceptions", "\n".join([said, "", *table])
    yield "For the next lesson", "\n".join(next_lesson or ["Nothing stands out."])
    yield "Wrong answers that fit no known mistake", "\n".join(odd or ["None."])


def _in_all(made: ClassReport) -> str:
    """How many are marked, and their mean."""
    marked = [row for row in made.rows if row.total is not None]
    unread = sum(row.to_read for row in marked)
    left = f"; {unread} answer{'s' * (unread != 1)} in words still to be read" if unread else ""
    said = f"{len(marked)} of {len(made.rows)} submissions marked{left}."
    shares = [(row.points or 0.0) / row.could_be for row in marked if row.could_be]
    if not shares:
        return said
    return (
        f"{said} Mean {statistics.fmean(shares):.0%} of the points of what is marked so far; "
        f"there are {marked[0].max_points:g} in all."
    )


def _table(heads: tuple[str, ...], rows: Iterable[tuple[str, ...]]) -> list[str]:
    return [f"| {' | '.join(line)} |" for line in (heads, ("-",) * len(heads), *rows)]


def _code(answer: str) -> str:
    """What a student wrote, as it stands: nothing in it is set."""
    return f"`{answer.replace('`', chr(39))}`"


def _cell(text: str) -> str:
    return text.replace("|", "\\|")


def questions_table(made: ClassReport) -> Any:
    """How each question went."""
    marked = sum(row.total is not None for row in made.rows)
    title = f"{made.title}: {marked} of {len(made.rows)} submissions marked"
    table = Table(title=title, title_justify="left")
    left = ("Question", "Id")
    for heading in (*left, "Mean", "Of", "Share", "Full marks", "No marks", "Still to read", "Not run"):
        table.add_column(heading, justify="left" if heading in left else "right")
    for line in made.questions:
        mean, of, *counts = line.cells
        table.add_row(line.title, line.question, mean, of, shown(line.share, ".0%"), *counts)
    return table


def mistakes_table(made: ClassReport) -> Any:
    """The misconceptions of the class, the commonest first."""
    table = Table(title="Answers were consistent with", title_justify="left")
    for heading in ("Misconception", "What they seem to think", "Students", "In", "Who"):
        table.add_column(heading, justify="right" if heading == "Students" else "left")
    for line in made.mistakes:
        table.add_row(
            line.id, line.title, str(line.count), ", ".join(line.questions), ", ".join(line.students)
        )
    return table


# -- Kc of the class ---------------------------------------------------------------------------------------


def class_handed_in(course: str | Path, assignment: str) -> tuple[tuple[Group, ...], int]:
    """(the groups with readings of their own, how many worked on the simulated instrument's).

    Simulated readings are left out: each student's have another Kc on purpose. Raises EqlibError when the
    assignment asks for no readings or nobody has handed in any.
    """
    opened = Course.open(course)
    asked = [
        (question, part)
        for question in opened.questions(assignment).values()
        for part in question.parts
        if part.ask == "readings"
    ]
    if not asked:
        raise EqlibError(f"{assignment} asks for no table of readings, so there are no values to compare")
    question, part = asked[0]
    groups, on_simulated = [], 0
    for student, places in submitted(opened.root, assignment):
        record = _records(student, places, assignment).get(question.id)
        table = record.answer.get(part.id) if record is not None else None
        if not isinstance(table, str) or not table.strip():
            continue
        if table.split() == simulated(question.case(student)).split():
            on_simulated += 1
        else:
            groups.append(group_of(student, table))
    if not groups and not on_simulated:
        raise EqlibError(f"submitted/ holds no readings for {assignment}; were its notebooks collected?")
    return marked(groups), on_simulated


def _records(student: str, places: list[Path], assignment: str) -> Collected:
    """What is recorded in a student's notebook, the one with most answers, and in the journals beside it."""
    files = collect_files(student, places).files
    books: list[dict] = [{}]
    for name, data in files.items():
        if name.endswith(".ipynb"):
            with contextlib.suppress(UnreadableNotebook):  # its marking says so; here only readings count
                books.append(read_notebook(os.path.basename(name), data))
    return max((answers_in(book, files, assignment) for book in books), key=len)
