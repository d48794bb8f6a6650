"""An nbgrader course on disk: its settings, what it released, and its gradebook."""

from __future__ import annotations

import json
import logging
import os
import sysconfig
import tempfile
from contextlib import chdir
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

import nbformat
from nbgrader.api import Gradebook, MissingEntry
from nbgrader.converters import GenerateAssignment
from nbgrader.converters.base import NbGraderException
from nbgrader.coursedir import CourseDirectory
from traitlets.config import Config
from traitlets.config.loader import PyFileConfigLoader

from eqlib.assess.load import load_questions
from eqlib.assess.question import QuestionSet
from eqlib.errors import EqlibError, did_you_mean
from eqlib.grading.paper import Book, Paper
from eqlib.grading.run.sandbox import CELL_SECONDS, Limits
from eqlib.grading.settings import configure

CONFIG = "nbgrader_config.py"


class CourseError(EqlibError):
    """A course folder that cannot be used as it stands; the message names what is missing and the mend."""


class _Remember(logging.Handler):
    """Keeps the last lines that nbgrader would have printed as errors."""

    def __init__(self) -> None:
        super().__init__(logging.ERROR)
        self.lines: list[str] = []

    def emit(self, record: Any) -> None:
        said = [line for line in record.getMessage().splitlines() if line.strip()]
        self.lines = [*self.lines, *said[-1:]][-3:]


_remembered = _Remember()


def quiet_log() -> logging.Logger:
    """A log for nbgrader's parts that prints nothing; the last errors are kept for ``last_error``."""
    log = logging.getLogger("eqlib.grading")
    log.propagate = False
    log.setLevel(logging.ERROR)
    if _remembered not in log.handlers:
        log.addHandler(_remembered)
    return log


def last_error() -> str:
    """What nbgrader's parts last complained of, in one line."""
    reasons = [
        line for line in _remembered.lines if not line.startswith(("There was an error", "Please see"))
    ]
    return reasons[-1].strip()[:300] if reasons else "no reason given"


def own_scripts_first() -> None:
    """nbgrader starts ``alembic`` by name: have ours found, activated environment or not."""
    scripts = sysconfig.get_path("scripts")
    paths = os.environ.get("PATH", os.defpath).split(os.pathsep)
    if scripts not in paths:
        os.environ["PATH"] = os.pathsep.join([scripts, *paths])


@dataclass(frozen=True)
class Course:
    """The course in folder ``root``."""

    root: Path

    @classmethod
    def open(cls, path: str | Path) -> Course:
        """The course in a folder (or the one its ``nbgrader_config.py`` lies in). Raises CourseError."""
        root = Path(path).resolve()
        if root.name == CONFIG:
            root = root.parent
        if not root.is_dir():
            raise CourseError(
                f"{path}: there is no such folder; write the folder that holds {CONFIG} and source/"
            )
        own_scripts_first()
        if not (root / "source").is_dir():
            raise CourseError(
                f"{path}: no source folder in it; write the folder that holds {CONFIG} and source/"
            )
        return cls(root)

    @classmethod
    def at_gradebook(cls, db_url: str) -> Course:
        """The course whose gradebook this is: the one that nbgrader is working in. Raises CourseError."""
        beside = (
            Path(db_url.removeprefix("sqlite:///")).parent if db_url.startswith("sqlite:///") else Path.cwd()
        )
        for folder in (beside, Path.cwd()):
            if (folder / "source").is_dir():
                return cls.open(folder)
        raise CourseError(
            f"{Path.cwd()}: run nbgrader in the course folder, the one that holds {CONFIG} and source/"
        )

    @cached_property
    def config(self) -> Config:
        """The settings in the course's ``nbgrader_config.py``; ours if it has none. Raises CourseError."""
        config = Config()
        if (self.root / CONFIG).is_file():
            try:
                config = PyFileConfigLoader(CONFIG, path=str(self.root)).load_config()
            except Exception as error:  # noqa: BLE001 - the file is a program and may raise anything
                raise CourseError(
                    f"{self.root / CONFIG}: {type(error).__name__}: {error}; mend that file"
                ) from None
        else:
            configure(config, root=self.root)
        config.CourseDirectory.root = str(self.root)
        return config

    @property
    def lacks(self) -> str:
        """What its settings lack for nbgrader's own command and button to mark as ``eqlib grade``, or ""."""
        steps = self.config.get("Autograde", {}).get("autograde_preprocessors", ())
        if "eqlib.grading.preprocessors.MarkSubmission" in steps:
            return ""
        return (
            f"{CONFIG} does not set eqlib up: eqlib grade marks as it should, but nbgrader autograde and "
            f"formgrader's button would run submissions unprotected. Add to it, after get_config(): "
            "from eqlib.grading.settings import configure; configure(c, __file__)"
        )

    def directory(self, **changes: Any) -> CourseDirectory:
        """nbgrader's own view of the folder, with some of its settings changed."""
        return CourseDirectory(config=self.config, log=quiet_log(), **changes)

    @cached_property
    def db_url(self) -> str:
        return self.directory().db_url

    @property
    def course_id(self) -> str:
        return self.directory().course_id or "default_course"

    def gradebook(self) -> Gradebook:
        """The open gradebook; use it in a ``with`` statement."""
        return Gradebook(self.db_url, self.course_id)

    def assignments(self) -> list[str]:
        """The assignments that have a source."""
        return sorted(
            p.name for p in (self.root / "source").iterdir() if p.is_dir() and any(p.glob("*.ipynb"))
        )

    def source(self, assignment: str) -> Path:
        """The source folder of an assignment. Raises CourseError naming what there is."""
        folder = self.root / "source" / assignment
        if assignment not in self.assignments():
            there = ", ".join(self.assignments()) or "none"
            raise CourseError(
                f"{self.root}: no assignment {assignment!r} in source/"
                + (did_you_mean(assignment, self.assignments()) or f"; there is {there}")
            )
        return folder

    def questions(self, assignment: str) -> QuestionSet:
        """The questions of an assignment."""
        return load_questions(self.source(assignment))

    def has_questions(self, assignment: str) -> bool:
        """Does the assignment ask questions of ours? A course of nbgrader's own kind does not."""
        return (self.source(assignment) / "questions.toml").is_file()

    def register(self, assignment: str) -> bool:
        """Make sure that the gradebook knows the assignment's cells. True if it had to be told now."""
        self.source(assignment)
        with self.gradebook() as gradebook:
            try:
                if gradebook.find_assignment(assignment).notebooks:
                    return False
            except MissingEntry:
                pass
        with tempfile.TemporaryDirectory(prefix="eqlib-release-") as spare:
            self.release(assignment, into=Path(spare))
        return True

    def release(self, assignment: str, into: Path | None = None) -> Path:
        """nbgrader's generate_assignment, into ``release`` or the folder ``into``. Gives the folder."""
        source = self.source(assignment)
        changes = {"assignment_id": assignment}
        if into is not None:
            changes["release_directory"] = str(into)
        directory = self.directory(**changes)
        converter = GenerateAssignment(coursedir=directory, config=self.config, log=quiet_log())
        converter.force = True
        target = Path(directory.format_path(directory.release_directory, ".", assignment))
        try:
            with chdir(self.root):
                converter.start()
        except NbGraderException:
            raise CourseError(f"{source}: nbgrader could not release it: {last_error()}") from None
        return target.resolve()

    def released_notebooks(self, assignment: str) -> dict[str, Any]:
        """What students were given, by notebook name: from ``release``, or made again from the source."""
        folder = self.root / "release" / assignment
        if folder.is_dir() and any(folder.glob("*.ipynb")):
            return _notebooks(folder)
        with tempfile.TemporaryDirectory(prefix="eqlib-release-") as spare:
            return _notebooks(self.release(assignment, into=Path(spare)))

    def paper(self, assignment: str, limits: Limits | None = None) -> Paper:
        """All that marking needs of an assignment, as data. The gradebook must know it (``register``)."""
        released = self.released_notebooks(assignment)
        books, others = {}, {}
        with self.gradebook() as gradebook:
            for source in gradebook.find_assignment(assignment).notebooks:
                cells = json.loads(json.dumps(released[source.name].cells)) if source.name in released else []
                given = tuple({**cell, "metadata": dict(cell["metadata"])} for cell in cells)
                spec = json.loads(source.kernelspec) if source.kernelspec else {}
                books[source.name] = Book(source.name, spec, _wanted_cells(source), given)
            for other in gradebook.assignments:
                if other.name != assignment:
                    others[other.name] = {cell.name for book in other.notebooks for cell in book.source_cells}
        for name in self.assignments():
            if name != assignment and name not in others:  # never released: its own file may be handed in
                others[name] = _source_cells(self.source(name))
        seconds = self.config.get("Execute", {}).get("timeout") or CELL_SECONDS
        kept = {name: self.config[name] for name in ("LimitOutput", "IgnorePattern") if name in self.config}
        return Paper(
            assignment,
            self.questions(assignment) if self.has_questions(assignment) else {},
            books,
            Config(kept),
            limits or Limits(cell_seconds=float(seconds)),
            self._files(assignment),
            others,
        )

    def _files(self, assignment: str) -> dict[str, bytes]:
        """The course's own files, which lie beside every submission when it runs."""
        folder = self.source(assignment)
        return {
            path.relative_to(folder).as_posix(): path.read_bytes()
            for path in sorted(folder.rglob("*"))
            if path.is_file()
            and path.suffix != ".ipynb"
            and not any(
                part.startswith(".") or part == "__pycache__" for part in path.relative_to(folder).parts
            )
            and not path.name.endswith(".journal.json")
        }


def _notebooks(folder: Path) -> dict[str, Any]:
    return {path.stem: nbformat.read(path, as_version=4) for path in sorted(folder.glob("*.ipynb"))}


def _source_cells(folder: Path) -> set[str]:
    """The ids of the cells of an assignment's source."""
    books = _notebooks(folder).values()
    return {
        cell.metadata.get("nbgrader", {}).get("grade_id", "") for book in books for cell in book.cells
    } - {""}


def _wanted_cells(source: Any) -> dict[str, dict]:
    """By grade id, in order: cell type, source and nbgrader metadata of every cell the gradebook knows."""
    points = {cell.name: float(cell.max_score) for cell in (*source.grade_cells, *source.task_cells)}
    grades = {cell.name for cell in source.grade_cells}
    solutions = {cell.name for cell in source.solution_cells}
    tasks = {cell.name for cell in source.task_cells}
    wanted = {}
    for cell in source.source_cells:
        meta = {
            "schema_version": 3,
            "grade_id": cell.name,
            "grade": cell.name in grades,
            "solution": cell.name in solutions,
            "locked": bool(cell.locked),
            "task": cell.name in tasks,
            "checksum": cell.checksum,
            "cell_type": cell.cell_type,
        }
        if cell.name in points:
            meta["points"] = points[cell.name]
        wanted[cell.name] = {"cell_type": cell.cell_type, "source": cell.source, "nbgrader": meta}
    return wanted
