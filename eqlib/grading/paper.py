"""An assignment as marking needs it: what the gradebook says of its cells, what was released, its questions.

Plain data, taken once from the course, so that a submission is marked from it and from its own files alone:
in this process, in a worker, or on another machine.
"""

from __future__ import annotations

import ast
from collections.abc import Mapping
from dataclasses import dataclass, field

from traitlets.config import Config

from eqlib.assess.question import Question, QuestionSet
from eqlib.grading.run.sandbox import Limits

#: What a notebook calls that only shows something, or asks for an answer that is data.
_SHOWS = frozenset(
    ["ask", "bench", "check", "explore", "intro", "panel", "prompt", "receipt", "reveal", "student", "try_it"]
)


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

    @property
    def ids(self) -> set[str]:
        return set(self.wanted)

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
        return str(_meta(cell).get("grade_id", "")), cell["source"].strip()

    @property
    def texts(self) -> dict[str, str]:
        """By grade id, the text that students got: without the hidden tests that marking puts back."""
        released = {str(_meta(cell).get("grade_id", "")): cell["source"].strip() for cell in self.released}
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

    @property
    def expected(self) -> dict[str, set[str]]:
        return {name: book.ids for name, book in self.books.items()}

    def from_data(self, book: Book) -> bool:
        """Does everything that earns points come from recorded answers, or from a person who reads?

        Then nothing has to be run. Decided from what was released, never from what was handed in.
        """
        for name, cell in book.wanted.items():
            meta = cell["nbgrader"]
            by_hand = cell["cell_type"] == "markdown"
            if (
                (meta["grade"] or meta["solution"])
                and not by_hand
                and (name not in self.questions or self._in_code(name))
            ):
                return False
        return True

    def _in_code(self, name: str) -> bool:
        return bool(self.questions[name].code)

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
        if name not in ("check", "panel"):
            return True
        asked = str(given[0]) if len(given) == 1 else ""
        return asked in self.questions and not self._in_code(asked)


def _meta(cell: dict) -> dict:
    meta = cell.get("metadata", {}).get("nbgrader")
    return meta if isinstance(meta, dict) else {}
