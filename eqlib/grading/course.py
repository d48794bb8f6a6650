"""An nbgrader course on disk: its settings, what it released, its gradebook, the folders of marked work.

A ``Paper`` is an assignment as marking needs it, plain data taken once from the course, so that a submission
is marked from it and from its own files alone: in this process, in a worker, or on another machine.
"""

from __future__ import annotations

import ast
import json
import logging
import os
import shutil
import sysconfig
import tempfile
from collections.abc import Mapping
from contextlib import chdir, suppress
from dataclasses import dataclass, field
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
from eqlib.assess.question import Question, QuestionSet
from eqlib.errors import EqlibError, did_you_mean
from eqlib.grading.run.sandbox import CELL_SECONDS, Limits
from eqlib.grading.settings import configure

CONFIG = "nbgrader_config.py"
#: What a notebook calls that only shows something, or asks for an answer that is data.
_SHOWS = frozenset(["bench", "explore", "panel", "prompt", "receipt", "student"])


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
        lacks = "" if (root / "source").is_dir() else "no source folder in it"
        lacks = lacks if root.is_dir() else "there is no such folder"
        if lacks:
            raise CourseError(f"{path}: {lacks}; write the folder that holds {CONFIG} and source/")
        # nbgrader starts ``alembic`` by name: have ours found, activated environment or not.
        scripts, paths = sysconfig.get_path("scripts"), os.environ.get("PATH", os.defpath).split(os.pathsep)
        if scripts not in paths:
            os.environ["PATH"] = os.pathsep.join([scripts, *paths])
        return cls(root)

    @classmethod
    def at_gradebook(cls, db_url: str) -> Course:
        """The course whose gradebook this is: the one that nbgrader is working in. Raises CourseError."""
        for folder in (Path(db_url.removeprefix("sqlite:///")).parent, Path.cwd()):
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

    def gradebook(self) -> Gradebook:
        """The open gradebook; use it in a ``with`` statement."""
        return Gradebook(self.db_url, self.directory().course_id or "default_course")

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
                cells = released[source.name].cells if source.name in released else []
                given = tuple(json.loads(json.dumps(cells)))
                spec = json.loads(source.kernelspec) if source.kernelspec else {}
                books[source.name] = Book(source.name, spec, _wanted_cells(source), given)
            for other in gradebook.assignments:
                if other.name != assignment:
                    others[other.name] = {cell.name for book in other.notebooks for cell in book.source_cells}
        for name in self.assignments():
            if name != assignment and name not in others:  # never released: its own file may be handed in
                books_there = _notebooks(self.source(name)).values()
                ids = {meta_of(cell).get("grade_id", "") for book in books_there for cell in book.cells}
                others[name] = ids - {""}
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
        files = {}
        for path in sorted(folder.rglob("*")):
            inside = path.relative_to(folder)
            hidden = any(part.startswith(".") or part == "__pycache__" for part in inside.parts)
            if path.is_file() and not hidden and not path.name.endswith((".ipynb", ".journal.json")):
                files[inside.as_posix()] = path.read_bytes()
        return files


def _notebooks(folder: Path) -> dict[str, Any]:
    return {path.stem: nbformat.read(path, as_version=4) for path in sorted(folder.glob("*.ipynb"))}


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


# -- an assignment as data ---------------------------------------------------------------------------------


@dataclass(frozen=True)
class Book:
    """One notebook of an assignment.

    ``wanted``: by grade id, in order, cell type, source and nbgrader metadata of every cell the gradebook
    knows. ``released``: the cells as students got them (type, source, metadata).
    """

    name: str
    kernelspec: dict
    wanted: Mapping[str, dict]
    released: tuple[dict, ...] = ()

    def points(self, name: str) -> float:
        return float(self.wanted[name]["nbgrader"].get("points", 0.0))

    def graded(self) -> list[str]:
        """The cells that carry points, in order; nbgrader's tasks are among them."""
        return [
            name
            for name, cell in self.wanted.items()
            if cell["nbgrader"]["grade"] or cell["nbgrader"]["task"]
        ]

    def key(self, cell: dict) -> tuple[str, str]:
        """A cell by its grade id and its text."""
        return str(meta_of(cell).get("grade_id", "")), cell["source"].strip()

    @property
    def texts(self) -> dict[str, str]:
        """By grade id, the text that students got: without the hidden tests that marking puts back."""
        released = {str(meta_of(cell).get("grade_id", "")): cell["source"].strip() for cell in self.released}
        return {name: released.get(name, cell["source"].strip()) for name, cell in self.wanted.items()}

    @property
    def given(self) -> set[tuple[str, str]]:
        """The code cells that students were given."""
        return {self.key(cell) for cell in self.released if cell["cell_type"] == "code"}


@dataclass(frozen=True)
class Paper:
    """An assignment to be marked. ``files``: the course's, laid beside every submission as nbgrader does."""

    assignment: str
    questions: Mapping[str, Question]
    books: Mapping[str, Book]
    config: Config
    limits: Limits = field(default_factory=Limits)
    files: Mapping[str, bytes] = field(default_factory=dict)
    others: Mapping[str, set[str]] = field(default_factory=dict)

    @property
    def own_id(self) -> str:
        """The assignment's name in recorded answers."""
        return self.questions.assignment.id if isinstance(self.questions, QuestionSet) else self.assignment

    def from_data(self, book: Book) -> bool:
        """Does everything that earns points come from recorded answers, or from a person who reads?

        Then nothing has to be run. Decided from what was released, never from what was handed in.
        """
        for name, cell in book.wanted.items():
            earns = cell["nbgrader"]["grade"] or cell["nbgrader"]["solution"]
            by_hand = cell["cell_type"] == "markdown"
            if earns and not by_hand and (name not in self.questions or self.questions[name].code):
                return False
        return True

    def to_run(self, book: Book, cells: list[dict]) -> list[int]:
        """The numbers of the code cells that have to run.

        All of them, except those that the course itself put there, unchanged, and that only show something:
        what they showed is saved in the notebook.
        """
        given = book.given
        code = [i for i, cell in enumerate(cells) if cell["cell_type"] == "code" and cell["source"].strip()]
        return [i for i in code if book.key(cells[i]) not in given or not self.only_shows(cells[i]["source"])]

    def only_shows(self, source: str) -> bool:
        """Is ``source`` one call such as ``panel("silver")``, from which no answer can come?"""
        try:
            body = ast.parse(source).body
        except (SyntaxError, ValueError, RecursionError, MemoryError):
            return False
        if body and isinstance(body[0], ast.ImportFrom) and body[0].module == "eqlib.notebook":
            body = body[1:]
        if len(body) != 1 or not isinstance(body[0], ast.Expr) or not isinstance(body[0].value, ast.Call):
            return False
        call = body[0].value
        name = ""
        if isinstance(call.func, ast.Name):
            name = call.func.id
        elif isinstance(call.func, ast.Attribute) and isinstance(call.func.value, ast.Name):
            name = call.func.attr
        given = [arg.value for arg in call.args if isinstance(arg, ast.Constant)]
        if name not in _SHOWS or call.keywords or len(given) < len(call.args):
            return False
        asked = str(given[0]) if len(given) == 1 else ""
        return name != "panel" or (asked in self.questions and not self.questions[asked].code)


def meta_of(cell: dict) -> dict:
    """nbgrader's metadata of a cell (plain data)."""
    meta = cell.get("metadata", {}).get("nbgrader")
    return meta if isinstance(meta, dict) else {}


# -- the folders of marked work: written beside their place, private, moved there when whole ---------------


def prepare(target: Path, files: dict[str, bytes]) -> Path:
    """Write a folder that ``settle`` will move to ``target``. Raises OSError."""
    fresh = target.with_name(f".{target.name}.new")
    remove(fresh)
    target.parent.mkdir(parents=True, exist_ok=True)
    os.chmod(target.parent, 0o700)
    fresh.mkdir(mode=0o700)
    for name, data in files.items():
        path = fresh / name
        path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
        with os.fdopen(handle, "wb") as stream:
            stream.write(data)
    return fresh


def settle(target: Path) -> None:
    """Put what was prepared in the place of what stood there. Raises OSError."""
    fresh, old = target.with_name(f".{target.name}.new"), target.with_name(f".{target.name}.old")
    remove(old)
    if target.exists():
        os.replace(target, old)
    os.replace(fresh, target)
    remove(old)


def remove(folder: Path) -> None:
    """Remove a folder and what is in it, whatever its permissions."""
    if folder.exists():
        for path in (folder, *folder.rglob("*")):
            if path.is_dir() and not path.is_symlink():
                path.chmod(0o700)
        shutil.rmtree(folder)


def clear_left_over(root: Path) -> None:
    """Remove what a marking that was killed left behind: half-written folders in the course, and work
    folders, with the copies of student work in them.
    """
    for step in ("autograded", "feedback"):
        for pattern in ("*/.*.new", "*/.*.old"):
            for folder in (root / step).glob(pattern):
                target = folder.with_name(folder.name[1:].rsplit(".", 1)[0])
                if folder.name.endswith(".old") and not target.exists():
                    os.replace(folder, target)
                else:
                    remove(folder)
    for folder in Path(tempfile.gettempdir()).glob("eqlib-*-pid*-*"):
        with suppress(OSError, ValueError):
            owner = int(folder.name.split("-pid", 1)[1].split("-", 1)[0])
            if folder.stat().st_uid == os.getuid() and not _alive(owner):
                remove(folder)


def _alive(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except OSError as error:
        return isinstance(error, PermissionError)
    return True
