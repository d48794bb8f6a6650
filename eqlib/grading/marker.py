"""nbgrader's own autograde and feedback, a submission at a time, with the running of student code taken out.

``prepare`` does what ``nbgrader autograde`` does before it executes, ``finish`` what it does after. In
between the cells run in a sandbox. Everything is written in a spare folder and moved into place when whole.
"""

from __future__ import annotations

import json
import os
import re
import shutil
from html import escape
from pathlib import Path

import nbformat
from nbconvert.exporters import HTMLExporter, NotebookExporter
from nbconvert.writers import FilesWriter
from nbgrader.converters import Autograde, GenerateFeedback
from nbgrader.converters.base import BaseConverter
from nbgrader.preprocessors import Execute
from nbgrader.utils import parse_utc, rmtree
from traitlets.utils.importstring import import_item

from eqlib.assess.question import QuestionSet
from eqlib.grading.course import Course, quiet_log
from eqlib.grading.intake import Submission


class Stage:
    """A spare folder that looks like a course to nbgrader: submitted, autograded and feedback, not yet in
    place.
    """

    def __init__(self, folder: Path, course: Course, assignment: str):
        self.folder = folder
        self.course = course
        self.assignment = assignment

    def path(self, step: str, student: str) -> Path:
        return self.folder / step / student / self.assignment

    def lay_out(self, submission: Submission) -> None:
        """Write a submission as nbgrader expects to find it."""
        target = self.path("submitted", submission.student)
        target.mkdir(parents=True)
        for name, book in submission.notebooks.items():
            nbformat.write(book, target / f"{name}.ipynb")
        for name, data in submission.files.items():
            if name == "timestamp.txt" and not _is_time(data):
                continue
            path = target / name
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(data)

    def put_in_place(self, step: str, student: str) -> None:
        """Move what a step made into the course, in the place of what stood there."""
        target = self.course.root / step / student / self.assignment
        target.parent.mkdir(parents=True, exist_ok=True)
        fresh = target.with_name(f".{target.name}.new")
        if fresh.exists():
            rmtree(str(fresh))
        shutil.move(self.path(step, student), fresh)
        if target.exists():
            rmtree(str(target))
        os.replace(fresh, target)

    def clear(self, student: str) -> None:
        """Forget a submission's spare files."""
        for step in ("submitted", "autograded", "feedback"):
            if self.path(step, student).exists():
                rmtree(str(self.path(step, student)))

    def directory(self):
        """The course with its steps in this folder; the source and the gradebook stay the course's own."""
        return self.course.directory(
            assignment_id=self.assignment,
            submitted_directory=str(self.folder / "submitted"),
            autograded_directory=str(self.folder / "autograded"),
            feedback_directory=str(self.folder / "feedback"),
        )


def _is_time(data: bytes) -> bool:
    try:
        return parse_utc(data.decode("utf-8").strip()) is not None
    except (ValueError, OverflowError):
        return False


class Marker(Autograde):
    """``nbgrader autograde`` in two halves. ``between`` are the steps that stand in for the execution."""

    def __init__(self, stage: Stage):
        super().__init__(coursedir=stage.directory(), config=stage.course.config, log=quiet_log())
        self.stage = stage
        self.between: list = []
        self.seen: dict = {}
        self.writer = FilesWriter(parent=self, config=self.config)
        self.exporter = NotebookExporter(parent=self, config=self.config)
        self.configured = list(self.autograde_preprocessors)

    def prepare(self, student: str) -> dict[str, dict]:
        """Sanitise; by notebook name, what came of it: the notebook as data, and nbgrader's resources."""
        self._of(student)
        self.run_pre_convert_hook()
        self.init_assignment(self.stage.assignment, student)
        prepared = {}
        for path in self.notebooks:
            self._sanitizing = True
            self._init_preprocessors()
            BaseConverter.convert_single_notebook(self, path)
            name = Path(path).stem
            book = nbformat.read(self.stage.path("autograded", student) / f"{name}.ipynb", as_version=4)
            prepared[name] = {"notebook": json.loads(json.dumps(book)), **self.seen}
        return prepared

    def finish(self, student: str, name: str, between: list) -> None:
        """Score one notebook and save its scores; ``between`` replaces nbgrader's Execute."""
        self._of(student)
        self.between = between
        self._sanitizing = False
        try:
            self._init_preprocessors()
            BaseConverter.convert_single_notebook(
                self, str(self.stage.path("autograded", student) / f"{name}.ipynb")
            )
        finally:
            self._sanitizing = True

    def close(self, student: str) -> None:
        """After the last notebook: permissions, hooks, and the folder into its place."""
        self._of(student)
        self.set_permissions(self.stage.assignment, student)
        self.run_post_convert_hook()
        self.stage.put_in_place("autograded", student)

    def _of(self, student: str) -> None:
        self.coursedir.student_id = student
        self.notebooks = sorted(str(path) for path in self.stage.path("submitted", student).glob("*.ipynb"))

    def _init_preprocessors(self) -> None:
        self.exporter._preprocessors = []
        for step in self.sanitize_preprocessors if self._sanitizing else self.configured:
            kind = import_item(step) if isinstance(step, str) else step
            if not self._sanitizing and isinstance(kind, type) and issubclass(kind, Execute):
                for ours in self.between:
                    self.exporter.register_preprocessor(ours, enabled=True)
            else:
                self.exporter.register_preprocessor(step)

    def write_single_notebook(self, output, resources) -> None:
        self.seen = dict(resources.get("eqlib", {}))
        super().write_single_notebook(output, resources)


class FeedbackMaker(GenerateFeedback):
    """``nbgrader generate_feedback`` for one submission after another, with one exporter."""

    def __init__(self, stage: Stage, questions: QuestionSet):
        directory = stage.directory()
        directory.autograded_directory = "autograded"
        super().__init__(coursedir=directory, config=stage.course.config, log=quiet_log())
        self.stage = stage
        self.questions = questions
        self.writer = FilesWriter(parent=self, config=self.config)
        self.exporter = HTMLExporter(parent=self, config=self.config)
        for step in self.preprocessors:
            self.exporter.register_preprocessor(step)

    def make(self, student: str) -> None:
        """Write the pages of one student and put them in place."""
        self.coursedir.student_id = student
        folder = self.stage.course.root / "autograded" / student / self.stage.assignment
        self.notebooks = sorted(str(path) for path in folder.glob("*.ipynb"))
        self.init_assignment(self.stage.assignment, student)
        for path in self.notebooks:
            self.convert_single_notebook(path)
        self.set_permissions(self.stage.assignment, student)
        self.stage.put_in_place("feedback", student)

    def write_single_notebook(self, output, resources) -> None:
        """The page says which question is which, where nbgrader calls each a test cell."""
        super().write_single_notebook(with_titles(output, self.questions), resources)


def with_titles(page: str, questions: QuestionSet) -> str:
    """nbgrader's feedback page with the questions' titles in its list and above each mark."""
    for name, question in questions.items():
        title = escape(question.title)
        page = re.sub(
            rf'(<a href="#{re.escape(name)}">)(?:Test cell|Written response)(</a>)',
            lambda found, title=title: found[1] + title + found[2],
            page,
        )
        page = page.replace(f"Grade cell: <code>{escape(name)}</code>", f"Marked: {title}")
        page = page.replace(
            f'<a href="#comment-answer-{escape(name)}">Comment</a>',
            f'<a href="#comment-answer-{escape(name)}">Comment on {title}</a>',
        ).replace(
            f'<a href="#comment-{escape(name)}">Comment</a>',
            f'<a href="#comment-{escape(name)}">Comment on {title}</a>',
        )
    return page
