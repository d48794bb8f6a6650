"""The class at a glance: marks by question, misconceptions to teach against, wrong answers nobody explained.

Made from what the last marking wrote; marks given by hand since then are read from the gradebook.
"""

from __future__ import annotations

import csv
import io
import statistics
from collections import defaultdict
from dataclasses import dataclass, replace
from pathlib import Path

from eqlib.assess.mistakes import MISTAKES
from eqlib.grading import summary
from eqlib.grading.course import Course, CourseError
from eqlib.grading.gradebook import scores
from eqlib.grading.marks import Judged
from eqlib.grading.summary import StudentRow

#: How many misconceptions come with a demonstration.
TOP = 3


@dataclass(frozen=True)
class QuestionLine:
    """One question over the class: ``mean`` of those marked, ``share`` of its points, how many had full
    marks or none.
    """

    question: str
    title: str
    max_points: float
    marked: int
    mean: float
    share: float
    full: int
    none: int
    to_read: int


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

    @property
    def top(self) -> tuple[MistakeLine, ...]:
        """The commonest misconceptions, for the next lesson."""
        return self.mistakes[:TOP]

    @property
    def folder(self) -> Path:
        return summary.reports_folder(self.course, self.assignment)


def report(course, assignment: str) -> ClassReport:
    """The report of the last marking; it is written as ``class.csv`` and ``class.md`` too. Raises
    CourseError.
    """
    opened = Course.open(course)
    questions = opened.questions(assignment)
    rows = summary.read(opened.root, assignment)
    if rows is None:
        raise CourseError(
            f"{summary.reports_folder(opened.root, assignment)}: nothing marked yet; "
            f"run `eqlib grade {course} {assignment}` first"
        )
    rows = tuple(_brought_up_to_date(opened, assignment, row, questions) for row in rows)
    made = ClassReport(
        opened.root,
        assignment,
        questions.assignment.title,
        rows,
        tuple(_question_lines(rows, questions)),
        tuple(mistake_lines(rows)),
        tuple(_odd_answers(rows)),
    )
    made.folder.mkdir(parents=True, exist_ok=True)
    summary.write_atomically(made.folder / "class.csv", as_csv(made))
    summary.write_atomically(made.folder / "class.md", as_markdown(made))
    return made


def _brought_up_to_date(course: Course, assignment: str, row: StudentRow, questions) -> StudentRow:
    """A person may have marked the explanations, or changed a mark, since."""
    if row.points is None:
        return row
    now = scores(course, assignment, row.student, questions, Judged())
    points = {question.question: question.points for question in now.questions}
    kept = tuple(replace(q, points=points.get(q.question, q.points)) for q in row.questions)
    return replace(row, points=now.points, penalty=now.penalty, to_read=now.to_read, questions=kept)


def _question_lines(rows, questions):
    seen = defaultdict(list)
    for row in rows:
        for question in row.questions:
            seen[question.question].append(question)
    for name, theirs in seen.items():
        points = [q.points for q in theirs if q.points is not None]
        most = theirs[0].max_points
        mean = statistics.fmean(points) if points else 0.0
        yield QuestionLine(
            name,
            questions[name].title if name in questions else name,
            most,
            len(points),
            mean,
            mean / most if most else 0.0,
            sum(p >= most for p in points),
            sum(p <= 0 for p in points),
            sum(q.points is None for q in theirs),
        )


def mistake_lines(rows) -> list[MistakeLine]:
    """The misconceptions of a class, the commonest first (by the number of students, then by id)."""
    who, where = defaultdict(dict), defaultdict(dict)
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


def _odd_answers(rows) -> list[OddAnswer]:
    who = defaultdict(list)
    for row in rows:
        for question in row.questions:
            for part, answer in question.wrong_parts.items():
                who[question.question, part, answer].append(row.student)
    lines = [OddAnswer(*key, tuple(students)) for key, students in who.items()]
    return sorted(lines, key=lambda line: (-len(line.students), line.question, line.part, line.answer))


def as_csv(made: ClassReport) -> str:
    """One line for each question and one for each misconception, for a spreadsheet."""
    out = io.StringIO()
    table = csv.writer(out, lineterminator="\n")
    table.writerow(
        ["kind", "id", "title", "students", "mean points", "out of", "full marks", "no marks", "who"]
    )
    for line in made.questions:
        table.writerow(
            [
                "question",
                line.question,
                line.title,
                line.marked,
                f"{line.mean:.2f}",
                f"{line.max_points:g}",
                line.full,
                line.none,
                "",
            ]
        )
    for line in made.mistakes:
        table.writerow(
            ["misconception", line.id, line.title, line.count, "", "", "", "", " ".join(line.students)]
        )
    return out.getvalue()


def as_markdown(made: ClassReport) -> str:
    """The report as a page of Markdown."""
    marked = [row for row in made.rows if row.points is not None]
    lines = [f"# {made.title}: the class", "", f"{len(marked)} of {len(made.rows)} submissions marked."]
    if marked:
        mean = statistics.fmean(row.points for row in marked)
        lines[-1] += f" Mean {mean:.1f} of {marked[0].max_points:g}."
    lines += [
        "",
        "## Questions",
        "",
        "| Question | Mean | Of | Full marks | No marks | Still to read |",
        "|-|-|-|-|-|-|",
    ]
    lines += [
        f"| {_cell(q.title)} (`{q.question}`) | {q.mean:.2f} | {q.max_points:g} | {q.full} | {q.none} "
        f"| {q.to_read} |"
        for q in made.questions
    ]
    lines += [
        "",
        "## Misconceptions",
        "",
        "Answers were consistent with these; what a person thinks, only they can say.",
        "",
    ]
    lines += ["| Id | What they seem to think | Students | In | Who |", "|-|-|-|-|-|"]
    lines += [
        f"| `{m.id}` | {_cell(m.title)} | {m.count} | {', '.join(m.questions)} | {', '.join(m.students)} |"
        for m in made.mistakes
    ]
    lines += ["", "## For the next lesson", ""]
    lines += [f"{n}. **{m.title}** ({m.count}). {m.remedy}" for n, m in enumerate(made.top, start=1)] or [
        "Nothing stands out."
    ]
    lines += ["", "## Wrong answers that fit no known mistake", ""]
    lines += [f"- {o.question}, {o.part}: {o.answer} ({', '.join(o.students)})" for o in made.odd] or [
        "None."
    ]
    return "\n".join(lines) + "\n"


def _cell(text: str) -> str:
    return text.replace("|", "\\|")
