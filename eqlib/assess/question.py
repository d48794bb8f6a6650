"""Questions as data: what is asked, of which mixture, for how many points. The right answers are computed."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from functools import lru_cache
from pathlib import Path
from string import Formatter

from eqlib.assess.asks.base import Part
from eqlib.assess.case import Case, case_for
from eqlib.assess.policy import DEFAULT, Policy
from eqlib.assess.setting import Setting
from eqlib.assess.tables import QuestionError
from eqlib.assess.variants import Range, Variant, make_variant, show
from eqlib.errors import EqlibError

_CACHED = 4096


@dataclass(frozen=True)
class Assignment:
    """The header of a question file."""

    id: str
    title: str
    course: str
    mode: str = "assessed"
    policy: Policy = DEFAULT


@dataclass(frozen=True, eq=False)
class Question:
    """One question. ``setting`` is its chemistry, with names where ``ranges`` give every student a number."""

    id: str
    kind: str
    title: str
    points: float
    prompt: str
    parts: tuple[Part, ...]
    assignment: Assignment
    ranges: Mapping[str, Range] = field(default_factory=dict)
    setting: Setting = field(default_factory=Setting)
    policy: Policy = DEFAULT
    mode: str = "assessed"
    reveal: str = "after-answer"
    hints: tuple[str, ...] = ()

    @property
    def manual(self) -> bool:
        """Is all of this question marked by a person?"""
        return all(part.ask == "explain" for part in self.parts if part.scored)

    @property
    def placeholders(self) -> frozenset[str]:
        """The names in braces of the prompt."""
        return frozenset(name for _, name, _, _ in Formatter().parse(self.prompt) if name)

    @property
    def code(self) -> bool:
        """Is it answered by a number worked out in a code cell?"""
        return any(part.code for part in self.parts)

    def part(self, name: str) -> Part:
        """The part called ``name``. Raises QuestionError."""
        for part in self.parts:
            if part.id == name:
                return part
        raise QuestionError(
            f"question {self.id!r} has no part {name!r}; its parts are {', '.join(p.id for p in self.parts)}"
        )

    def variant(self, student: object = None, retry: int = 0) -> Variant:
        """The numbers of ``student``; None gives the fixed mid-range ones. ``retry`` counts fresh sets in
        practice.
        """
        return make_variant(
            self.ranges,
            course=self.assignment.course,
            assignment=self.assignment.id,
            question=self.id,
            student=student,
            retry=retry,
        )

    def prompt_for(self, student: object = None, retry: int = 0) -> str:
        """The prompt, in markdown, with the student's numbers and readings. Raises QuestionError."""
        variant = self.variant(student, retry)
        shown = dict(variant.shown)
        for name in self.placeholders - shown.keys():
            shown[name] = show(_printed(self, name, tuple(variant.numbers.items())))
        return self.prompt.format_map(shown)

    def case(self, student: object = None, retry: int = 0) -> Case:
        """This student's copy: numbers, chemistry, right answers (cached). Raises QuestionError."""
        return self.case_of(self.variant(student, retry).numbers)

    def case_of(self, numbers: Mapping[str, float]) -> Case:
        """The copy with these numbers. Students with the same ones share it: it depends on nothing else."""
        return _case(self, tuple(numbers.items()))


@lru_cache(maxsize=_CACHED)
def _case(question: Question, pairs: tuple[tuple[str, float], ...]) -> Case:
    try:
        return case_for(question.setting, question.parts, dict(pairs))
    except QuestionError as error:
        raise QuestionError(f"question {question.id!r}: {error}") from None
    except EqlibError as error:
        raise QuestionError(f"question {question.id!r} with {dict(pairs)}: {error}") from None


@lru_cache(maxsize=_CACHED)
def _printed(question: Question, name: str, pairs: tuple[tuple[str, float], ...]) -> Decimal:
    try:
        return question.setting.printed(name, dict(pairs))
    except EqlibError as error:
        raise QuestionError(f"question {question.id!r}: {error}") from None


class QuestionSet(Mapping[str, Question]):
    """The questions of one file, by id, in the file's order. ``assignment``, ``points`` (their sum) and
    ``path``.
    """

    def __init__(self, assignment: Assignment, questions: Iterable[Question], path: Path | None = None):
        self.assignment = assignment
        self.path = path
        self._questions = {question.id: question for question in questions}

    def __getitem__(self, name: str) -> Question:
        try:
            return self._questions[name]
        except (KeyError, TypeError):
            known = ", ".join(self._questions)
            raise QuestionError(
                f"no question {name!r} in assignment {self.assignment.id!r}; it has {known}"
            ) from None

    def __contains__(self, name: object) -> bool:
        return isinstance(name, str) and name in self._questions

    def __iter__(self) -> Iterator[str]:
        return iter(self._questions)

    def __len__(self) -> int:
        return len(self._questions)

    @property
    def points(self) -> float:
        """All points of the assignment."""
        return float(sum(question.points for question in self.values()))
