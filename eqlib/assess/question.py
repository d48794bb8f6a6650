"""Questions as data: what is asked, of which mixture, for how many points, and how strictly it is marked. The
right answers are computed.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, fields, replace
from decimal import Decimal
from functools import lru_cache
from pathlib import Path
from string import Formatter
from typing import Any

from eqlib.assess.asks.base import Part
from eqlib.assess.case import Case, case_for
from eqlib.assess.setting import Setting
from eqlib.assess.tables import QuestionError
from eqlib.assess.variants import Range, Variant, make_variant, show
from eqlib.errors import EqlibError

_CACHED = 4096
#: Which of several recorded answers counts.
ATTEMPTS = ("before-reveal", "first", "last", "best")


class PolicyError(EqlibError):
    """A marking policy that cannot be used; the message says which value and how to mend it."""


@dataclass(frozen=True)
class Policy:
    """Rules of marking; every value can be set per assignment and per question.

    The defaults are common practice, no source: 2 % on a number worked out from one's own data, two to four
    figures, one deduction for figures, a slip penalised once and carried forward.

    ``tolerance``       relative: a number within it is right.
    ``window``          relative: how close a wrong number must be to what a mistake gives, to be "consistent
    with" it.
    ``figures``         fewest and most significant figures of a typed number; outside costs
    ``figures_deduction``
                        (a fraction of the part's points), once per question. Numbers from code are not
                        counted.
    ``carry_forward``   mark a later part from the student's own earlier value.
    ``attempts``        which recorded answer counts: "before-reveal" (the last one recorded before the
                        outcome was first shown; in practice, where nothing is handed in, the last),
                        "first", "last" or "best" (the last two whether or not the outcome was seen).
    ``working_after``   attempts after which practice shows the worked solution.
    ``working``         may the worked solution be shown at all (in assessed work: once marked)?
    """

    tolerance: float = 0.02
    window: float = 0.005
    figures: tuple[int, int] = (2, 4)
    figures_deduction: float = 0.1
    carry_forward: bool = True
    attempts: str = "before-reveal"
    working_after: int = 2
    working: bool = True

    def __post_init__(self) -> None:
        for name in ("tolerance", "window", "figures_deduction"):
            value = getattr(self, name)
            if type(value) not in (int, float) or not 0 <= value <= 1:
                raise PolicyError(
                    f"policy {name} is {value!r}; write a fraction from 0 to 1, such as 0.02 for 2 %"
                )
        low, high = self.figures
        if not 1 <= low <= high:
            raise PolicyError(f"policy figures is {list(self.figures)}; write [fewest, most], such as [2, 4]")
        if self.attempts not in ATTEMPTS:
            raise PolicyError(f"policy attempts is {self.attempts!r}; write one of {', '.join(ATTEMPTS)}")
        if type(self.working_after) is not int or self.working_after < 1:
            raise PolicyError(
                f"policy working_after is {self.working_after!r}; write a whole number from 1 up"
            )

    def changed(self, **settings: Any) -> Policy:
        """This policy with some rules replaced. Raises PolicyError for a name or value that is not one."""
        known = [field.name for field in fields(self)]
        for name, value in settings.items():
            if name not in known:
                raise PolicyError(f"policy has no rule {name!r}; the rules are {', '.join(known)}")
            if name in ("carry_forward", "working") and type(value) is not bool:
                raise PolicyError(f"policy {name} is {value!r}; write true or false")
        if "figures" in settings:
            given = settings["figures"]
            if not isinstance(given, (list, tuple)) or len(given) != 2 or {type(n) for n in given} != {int}:
                raise PolicyError(f"policy figures is {given!r}; write [fewest, most], such as [2, 4]")
            settings["figures"] = tuple(given)
        return replace(self, **settings)


DEFAULT = Policy()


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
