"""``eqlib demo``: the whole path once, on an invented class: release, answers, marks, feedback."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path
from typing import Any

from eqlib.errors import EqlibError
from eqlib.grading import class_of
from eqlib.grading.bulk import Progress, grade
from eqlib.grading.course import CONFIG, Course
from eqlib.grading.demo_class import evening_class
from eqlib.grading.report import ClassReport, report
from eqlib.grading.summary import GradeSummary

#: The assignment that is shown.
ASSIGNMENT = "04-disturbing-an-equilibrium"


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
    display: class_of.Display | None = None,
    say: Callable[[str], None] = lambda line: None,
    progress: Progress | None = None,
) -> Demo:
    """Make a course in ``folder``, release its assignment, have an invented class answer it, and mark it.

    ``display`` is how recorded answers look in the notebooks (see ``class_of.Display``).
    ``say`` is told each step in a sentence; ``progress`` is that of ``bulk.grade``.
    """
    course = make_course(Path(folder).resolve())
    say("Releasing the assignment ...")
    course.release(ASSIGNMENT)
    say("An evening class of 24 answers it (invented: ids w01 to w24, nobody real) ...")
    hand_everything_in(course, ASSIGNMENT, display)
    say("Marking ...")
    marking = grade(course.root, ASSIGNMENT, jobs=jobs, progress=progress)
    return Demo(course.root, marking, report(course.root, ASSIGNMENT))


def hand_everything_in(course: Course, assignment: str, display: class_of.Display | None = None) -> None:
    """Fill in the released notebook for each of the invented class, and put it where nbgrader looks."""
    questions = course.questions(assignment)
    (name, released), *_ = course.released_notebooks(assignment).items()
    for member in evening_class(questions):
        book = class_of.fill(released, member.work, questions, display)
        member.spoil(book)
        folder = course.root / "submitted" / member.work.student / assignment
        class_of.hand_in(folder, name, book, member.work, questions)
        shutil.copy(course.source(assignment) / "questions.toml", folder / "questions.toml")
        (folder / "timestamp.txt").write_text(f"{member.handed_in:%Y-%m-%d %H:%M:%S} UTC\n", encoding="utf-8")
