"""``eqlib demo``: the whole path once, on an invented class: release, answers, marks, feedback.

Then the class: who knows what, who slipped where, whose notebook is broken; nobody in it is real. At the end,
how a released notebook is filled in as a student would leave it. The answers go through the code that the
forms use: the same records, the same outputs in the same cells, the same journal beside the notebook; only
the clicking is left out.
"""

from __future__ import annotations

import copy
import random
import re
import shutil
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from importlib.resources import files
from pathlib import Path
from typing import Any

import nbformat
from nbformat import NotebookNode
from nbformat.v4 import new_code_cell, new_markdown_cell, new_output

from eqlib.assess.asks import ASKS
from eqlib.assess.asks.base import Part
from eqlib.assess.question import Case, Question, QuestionSet
from eqlib.assess.records import MIME, Journal, Record, journal_name, record_answer
from eqlib.errors import EqlibError
from eqlib.grading.bulk import Progress, grade
from eqlib.grading.course import CONFIG, Course
from eqlib.grading.report import ClassReport, report
from eqlib.grading.submission import plain_bundle
from eqlib.grading.summary import GradeSummary

#: The assignment that is shown.
ASSIGNMENT = "04-disturbing-an-equilibrium"
#: Under this name a notebook keeps who is working in it, like an answer.
WHO = "student"
#: How a recorded answer looks in a notebook: the bundle of its output.
Bundle = Callable[[Question, Record], dict]


class DemoError(EqlibError):
    """The demonstration cannot be laid out where it was asked for; the message says why and what to do."""


@dataclass(frozen=True)
class Demo:
    """What the demonstration made: the marking and the class report."""

    folder: Path
    marking: GradeSummary
    report: ClassReport

    @property
    def notebook(self) -> Path:
        """The released assignment, as students get it."""
        return self.folder / "release" / ASSIGNMENT / f"{ASSIGNMENT}.ipynb"


def course_source() -> Path:
    """Where the course is kept: inside the installed package, or in ``notebooks/`` of a checkout."""
    packaged = Path(str(files("eqlib"))) / "course"
    checkout = Path(str(files("eqlib"))).parent / "notebooks"
    for folder in (packaged, checkout):
        if (folder / "source").is_dir():
            return folder
    raise DemoError("the course did not come with this installation of eqlib; install it again with pip")


def make_course(folder: Path) -> Course:
    """Lay the course out in a new folder. Raises DemoError if something is there already."""
    try:
        if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
            raise DemoError(
                f"{folder} is there already and is not empty; name a new folder: eqlib demo FOLDER"
            )
        folder.mkdir(parents=True, exist_ok=True)
        source = course_source()
        ignore = shutil.ignore_patterns(".*", "__pycache__", "*.journal.json", "instructor")
        for part in ("source", "instructor"):
            shutil.copytree(source / part, folder / part, ignore=ignore)
        shutil.copy(source / CONFIG, folder / CONFIG)
    except OSError as error:
        raise DemoError(
            f"{folder} could not be written ({error.strerror}); name another folder: eqlib demo FOLDER"
        ) from None
    return Course.open(folder)


def demo(
    folder: Any,
    jobs: int | None = None,
    shown: Bundle = plain_bundle,
    say: Callable[[str], None] = lambda line: None,
    progress: Progress | None = None,
) -> Demo:
    """Make a course in ``folder``, release its assignment, have an invented class answer it, and mark it.

    ``shown`` is how a recorded answer looks in the notebooks: the lesson's own is ``eqlib.notebook``'s.
    ``say`` is told each step in a sentence; ``progress`` is that of ``bulk.grade``.
    """
    course = make_course(Path(folder).resolve())
    say("Releasing the assignment ...")
    course.release(ASSIGNMENT)
    say("An evening class of 24 answers it (invented: ids w01 to w24, nobody real) ...")
    hand_everything_in(course, ASSIGNMENT, shown)
    say("Marking ...")
    marking = grade(course.root, ASSIGNMENT, jobs=jobs, progress=progress)
    return Demo(course.root, marking, report(course.root, ASSIGNMENT))


def hand_everything_in(course: Course, assignment: str, shown: Bundle = plain_bundle) -> None:
    """Fill in the released notebook for each of the invented class, and put it where nbgrader looks."""
    questions = course.questions(assignment)
    (name, released), *_ = course.released_notebooks(assignment).items()
    for member in evening_class(questions):
        book = fill(released, member.work, questions, shown)
        member.spoil(book)
        folder = course.root / "submitted" / member.work.student / assignment
        hand_in(folder, name, book, member.work, questions)
        shutil.copy(course.source(assignment) / "questions.toml", folder / "questions.toml")
        (folder / "timestamp.txt").write_text(f"{member.handed_in:%Y-%m-%d %H:%M:%S} UTC\n", encoding="utf-8")


#: Who holds which idea. Everybody else answers as the chemistry does.
IDEAS = {
    "w17": ("initial_as_eq",),
    "w13": ("path_ignored",),
    "w09": ("blank_kept",),
    "w04": ("path_ignored",),
    "w02": ("not_in_equation",),
    "w03": ("volume_ignored",),
    "w05": ("two_boxes",),
    "w06": ("not_in_equation",),
    "w07": ("paler_is_left",),
    "w08": ("volume_ignored", "k_moves_conc"),
    "w10": ("not_in_equation", "heat_is_forward"),
    "w11": ("two_boxes",),
    "w12": ("volume_ignored",),
    "w14": ("not_in_equation", "paler_is_left"),
    "w15": ("spectator_acts",),
    "w16": ("volume_ignored", "two_boxes"),
    "w18": ("k_fixed_t",),
    "w19": ("not_in_equation", "k_moves_conc", "path_ignored"),
    "w24": ("not_in_equation", "volume_ignored", "two_boxes", "heat_is_forward", "initial_as_eq"),
}
WORDS = (
    "Pouring in as much again halves every concentration, so from the side it looks paler. Q comes out a "
    "little below K, so a little more of the orange complex forms. From above it is no paler, and a well "
    "that got the same volume of water is paler than this one.",
    "Twice the volume, so it is thinner from the side, but there is more of the complex. I would put a well "
    "with water beside it.",
    "It got paler so it went back.",
)
CHEAT = """import eqlib.notebook.record as graded

graded.mark = lambda question, *rest, **more: float(question.points)"""
DELETED = ("silver", "warm")
COPIED = "water"


@dataclass(frozen=True)
class Work:
    """What one student did: answers by question and part, code by cell id, words by cell id."""

    student: str
    answers: dict[str, dict] = field(default_factory=dict)
    code: dict[str, str] = field(default_factory=dict)
    words: dict[str, str] = field(default_factory=dict)
    began: datetime = datetime(2026, 1, 20, 18, 0, tzinfo=UTC)
    named: bool = True


@dataclass(frozen=True)
class Member:
    """One of the class: the work, when it was handed in, and what happened to the notebook."""

    work: Work
    handed_in: datetime
    spoil: Callable[[object], None] = lambda book: None


def evening_class(questions: QuestionSet) -> list[Member]:
    """The 24 members, always the same."""
    chance = random.Random(2026)
    members = []
    for number in range(1, 25):
        student = f"w{number:02d}"
        began = datetime(2026, 1, 20, 18, 30, tzinfo=UTC) + timedelta(
            minutes=number % 6, seconds=chance.randrange(60)
        )
        answers = {
            question.id: answer_of(question, student, IDEAS.get(student, ()))
            for question in questions.values()
            if not question.manual and not question.code
        }
        words = {q.id: WORDS[number % len(WORDS)] for q in questions.values() if q.manual}
        work = Work(student, answers, {}, words, began)
        members.append(_member(work, began + timedelta(minutes=50 + chance.randrange(20))))
    return members


def _member(work: Work, handed_in: datetime) -> Member:
    """What is special about a few of them."""
    student = work.student
    if student == "w20":
        return Member(replace(work, answers={}, code={}, words={}, named=False), handed_in)
    spoil = {"w21": _write_elsewhere, "w22": _delete_cells, "w23": _copy_a_cell, "w24": _cheat}
    return Member(work, handed_in, spoil.get(student, lambda book: None))


def _write_elsewhere(book: NotebookNode) -> None:
    """The explanation typed into a new cell; its own place left as it was."""
    for index, cell in enumerate(book.cells):
        meta = cell.metadata.get("nbgrader", {})
        if cell.cell_type == "markdown" and meta.get("grade"):
            book.cells.insert(index, new_markdown_cell(cell.source))
            book.cells[index + 1].source = "Write your answer here (double-click to edit)."
            return


def _copy_a_cell(book: NotebookNode) -> None:
    """A cell copied and pasted: the commonest accident."""
    for index, cell in enumerate(book.cells):
        if cell.metadata.get("nbgrader", {}).get("grade_id") == COPIED:
            book.cells.insert(index + 1, copy.deepcopy(cell))
            return


def _cheat(book: NotebookNode) -> None:
    """A cell that changes the check, and the scores it then shows."""
    where = next(i for i, cell in enumerate(book.cells) if cell.cell_type == "code")
    book.cells.insert(where, new_code_cell(CHEAT))
    for cell in book.cells:
        meta = cell.metadata.get("nbgrader", {})
        if cell.cell_type == "code" and meta.get("grade") and not meta.get("solution"):
            shown = {"text/plain": repr(float(meta["points"]))}
            cell.outputs = [new_output("execute_result", data=shown, execution_count=cell.execution_count)]


def _delete_cells(book: NotebookNode) -> None:
    book.cells = [
        cell for cell in book.cells if cell.metadata.get("nbgrader", {}).get("grade_id") not in DELETED
    ]


def answer_of(question: Question, student: str, ideas: Any) -> dict:
    """What somebody who holds ``ideas`` answers to this student's copy; else what the chemistry says."""
    case = question.case(student)
    answer = {}
    for part in question.parts:
        if part.ask == "confidence":
            answer[part.id] = part.options[len(student + question.id) % len(part.options)][0]
            continue
        value = _as_they_think(part, case, ideas)
        value = case.expected[part.id] if value is None else value
        # As a student enters it: a choice as it is, a number with three figures.
        answer[part.id] = f"{value:.3g}" if part.kind == "number" else value
    return answer


def _as_they_think(part: Part, case: Case, ideas: Any) -> Any:
    """What an idea would answer to this part, or None if no idea has anything to say."""
    offered = [value for value, _ in part.options]
    for idea in ideas:
        if part.ask == "reason" and idea in offered:
            return idea
    said = {s.mistake: s.value for s in ASKS[part.ask].suspects(part, case, {}) if s.mistake in ideas}
    return next(iter(said.values()), None)


# -- a notebook filled in ----------------------------------------------------------------------------------


def records_of(work: Work, questions: QuestionSet) -> dict[str, Record]:
    """The records that the forms would have made, a minute and a half apart."""
    student = work.student if work.named else None
    entries = {**({WHO: {"id": work.student}} if work.named else {}), **work.answers}
    records = {}
    for number, (name, answer) in enumerate(entries.items()):
        at = work.began + timedelta(seconds=90 * number + 7 * len(name))
        stamp = at.isoformat(timespec="milliseconds").replace("+00:00", "Z")
        records[name] = record_answer(questions.assignment.id, name, answer, student, at=stamp)
    return records


def fill(
    released: NotebookNode, work: Work, questions: QuestionSet, shown: Bundle = plain_bundle
) -> NotebookNode:
    """A copy of the ``released`` notebook with ``work`` in it, saved as JupyterLab would have saved it."""
    book = copy.deepcopy(released)
    records = records_of(work, questions)
    count = 0
    for cell in book.cells:
        name = cell.metadata.get("nbgrader", {}).get("grade_id", "")
        if cell.cell_type == "markdown" and name in work.words:
            cell.source = work.words[name]
        if cell.cell_type != "code":
            continue
        cell.source = work.code.get(name, cell.source)
        count += 1
        cell.execution_count = count
        cell.outputs = [
            new_output("display_data", data=data) for data in _shown(cell.source, records, questions, shown)
        ]
    return book


def _shown(source: str, records: dict[str, Record], questions: QuestionSet, shown: Bundle) -> Iterator[dict]:
    """What the form or check cell of a question shows once it is answered."""
    if re.search(r"\bstudent\(\)", source) and WHO in records:
        yield {"text/plain": f"Recorded ✓ Your id is {records[WHO].student}.", MIME: records[WHO].to_dict()}
    for name, record in records.items():
        if name not in questions:
            continue
        if f'panel("{name}"' in source:
            yield shown(questions[name], record)


def hand_in(
    folder: Path, name: str, book: NotebookNode, work: Work, questions: QuestionSet, journal: bool = True
) -> Path:
    """Save a filled-in notebook and its journal in a student's folder. Gives the notebook's path."""
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / f"{name}.ipynb"
    nbformat.write(book, path)
    if journal:
        kept = Journal(folder / journal_name(questions.assignment.id))
        for record in records_of(work, questions).values():
            kept.write(record)
    return path
