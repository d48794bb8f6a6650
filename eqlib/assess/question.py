"""Questions as data: what is asked, of which mixture, for how many points, and how strictly it is marked; and
one student's copy of one: their numbers, the chemistry of these, and the right value of each part.

No right answer is stored: it is computed when it is asked for.

A number in a question file is fixed (``2.00``) or a range ``[low, high, step]``; a range gives every student
one of its steps. Arithmetic is decimal, so 0.80 + 3 x 0.05 is 0.95 on every machine and is shown as "0.95".
The hash of (course, assignment, question, draw, student) seeds nothing; it *is* the draw: the same on any
machine and in any version of Python. Each number takes its own eight bytes of a SHA-256, so adding a number
to a question leaves the others as they were.
"""

from __future__ import annotations

import hashlib
import math
import unicodedata
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, fields, replace
from decimal import Decimal
from fractions import Fraction
from functools import lru_cache
from pathlib import Path
from string import Formatter
from types import MappingProxyType
from typing import Any, TypeVar

import numpy as np

from eqlib.assess.asks import ASKS
from eqlib.assess.asks.base import Part
from eqlib.assess.asks.carry import moved
from eqlib.assess.asks.number import worked_extent
from eqlib.assess.setting import KELVIN, MeasuredTable, Portion, Setting
from eqlib.assess.tables import QuestionError, value_of
from eqlib.chem.disturb import Disturbance, disturb
from eqlib.chem.mixture import Mixture
from eqlib.chem.reactions import Reaction, balance
from eqlib.chem.state import State
from eqlib.chem.stress import Stress
from eqlib.errors import EqlibError
from eqlib.lab.look import Look, compare_disturbance
from eqlib.writing import as_written

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


# -- the numbers of one student --------------------------------------------------------------------------

MOST_STEPS = 10_000
#: The natural order of choices; darker before paler, so that the first of every row is no story of its own
#: (to reactants, paler).
_ORDER = (
    *("reverse", "darker", "smaller", "lower", "down", "none", "same"),
    *("up", "forward", "paler", "larger", "higher", "zero", "yes", "no"),
)


class VariantError(EqlibError):
    """A number or range that cannot be used; the message says which and how to mend it."""


@dataclass(frozen=True)
class Range:
    """A number that may differ between students: ``low``, ``low + step``, ... up to ``high``."""

    name: str
    low: Decimal
    high: Decimal
    step: Decimal

    @property
    def choices(self) -> int:
        """How many different values there are."""
        return 1 if self.step == 0 else int((self.high - self.low) / self.step) + 1

    def value(self, choice: int) -> Decimal:
        """The value of one choice, written with the decimals the question file uses."""
        return self.low + choice * self.step


@dataclass(frozen=True)
class Variant:
    """One student's numbers. ``numbers``: name -> float; ``shown``: name -> the text in the prompt.

    ``student`` is the normalised id ('' for nobody: the mid-range numbers); ``retry`` counts fresh sets in
    practice.
    """

    student: str
    numbers: Mapping[str, float]
    shown: Mapping[str, str]
    retry: int = 0


def read_range(name: str, given: Any) -> Range:
    """A fixed number or ``[low, high, step]`` from a question file. Raises VariantError."""
    if isinstance(given, (int, Decimal)) and not isinstance(given, bool):
        value = _finite(name, given)
        return Range(name, value, value, Decimal(0))
    if not isinstance(given, list) or len(given) != 3:
        said = f"[{', '.join(map(str, given))}]" if isinstance(given, list) else repr(given)
        raise VariantError(f"number {name!r} is {said}; write a number, or a range as [low, high, step]")
    low, high, step = (_finite(name, item) for item in given)
    if step <= 0 or high < low:
        raise VariantError(f"number {name!r}: [{low}, {high}, {step}] needs low <= high and a step above 0")
    places = min(int(item.as_tuple().exponent) for item in (low, high, step))
    low, high, step = (item.quantize(Decimal(1).scaleb(places)) for item in (low, high, step))
    if (high - low) % step != 0:
        raise VariantError(
            f"number {name!r}: steps of {step} from {low} do not land on {high}; change one of them"
        )
    found = Range(name, low, high, step)
    if found.choices > MOST_STEPS:
        raise VariantError(
            f"number {name!r} has {found.choices:,} steps; use a larger step (at most {MOST_STEPS:,})"
        )
    return found


def _finite(name: str, value: Any) -> Decimal:
    plain = isinstance(value, (int, Decimal)) and not isinstance(value, bool)
    number = Decimal(value if plain else "nan")
    if not number.is_finite() or not -30 <= number.adjusted() <= 30:
        raise VariantError(f"number {name!r} holds {value}, which is not an ordinary number")
    return number


def normal_id(student: object) -> str:
    """A student id without case, spaces or typographical variants: "S 01" and "s01" are one person. None is
    ''.
    """
    if student is None:
        return ""
    text = unicodedata.normalize("NFKC", str(student)).casefold()
    return "".join(text.split())


def _drawn(*names: str) -> bytes:
    """The SHA-256 of names joined by the unit separator (U+001F): the same for the same names, always."""
    return hashlib.sha256("\x1f".join(names).encode("utf-8")).digest()


def options_for(part: Part, question: Question, student: object) -> tuple[tuple[str, str], ...]:
    """The options of ``part`` (of ``question``) in the order in which ``student`` meets them.

    Reasons, rules, species to pick and things to put in order are shuffled, so that no place is the right one
    for a whole class. Direction, more or less, yes or no keep their natural order; every other student meets
    it from its other end, the same in the whole course. Forms, feedback and reports of one student use this;
    records hold the options' values, so that the order changes no mark.
    """
    course, who = question.assignment.course, normal_id(student)

    order = ASKS[part.ask].order
    if order == "ranked":
        place = {name: number for number, name in enumerate(_ORDER)}
        ranked = sorted(part.options, key=lambda option: place.get(option[0], len(place)))
        return tuple(reversed(ranked) if who and _drawn(course, who)[0] % 2 else ranked)
    if order == "listed":
        return tuple(part.options)
    names = course, question.assignment.id, question.id, part.id, who
    return tuple(sorted(part.options, key=lambda option: _drawn(*names, option[0])))


# -- one student's copy ----------------------------------------------------------------------------------

Conc = Mapping[str, float]
_T = TypeVar("_T")


@dataclass(frozen=True, eq=False)
class Case:
    """One student's copy of a question.

    Concentrations are mol/L by canonical species name, aqueous and gaseous species together.
    ``portions``   what was poured together to make the start (empty when the start is given as totals);
                   ``start`` the Mixture they make, ``volume`` (L) and ``temperature`` (K) its own.
    ``mixed``      concentrations after mixing, before any reaction (row I of the ICE table).
    ``before``     at equilibrium, before the stress.  ``at_once``  just after it.  ``after``  at the new
    equilibrium. ``states`` are the eqlib States of these four moments.
    ``equilibrium`` the concentrations that go into K for this question (from what was measured, where
    something was).
    ``measured``   readings by name: "absorbance", "epsilon", "path", "blank", "nm"; or "concentration"; or
                   "K1", "T1", "K2", "T2" (kelvin); or "run1", "run2" ... (repeated results);
                   or "acid", "base", "between" (absorbances of an indicator) and "pH".
                   ``observed`` is the species the reading belongs to, ``extent`` (mol/L) how far the first
                   reaction went, by the reading or, alone, by K.
    ``stress``     what is done, or None.  ``disturbance`` what it did, or None.
    ``look``       the change of appearance, where the question asks for it.
    ``parts``      all parts of the question; ``expected`` their right values by part id (parts that a person
                   marks have none).
    """

    parts: tuple[Part, ...]
    expected: Mapping[str, Any] = field(default_factory=dict)
    setting: Setting = field(default_factory=Setting)
    numbers: Conc = field(default_factory=dict)
    reactions: tuple[Reaction, ...] = ()
    portions: tuple[Portion, ...] = ()
    start: Mixture | None = None
    volume: float = 0.0
    temperature: float = 298.15
    mixed: Conc = field(default_factory=dict)
    before: Conc = field(default_factory=dict)
    at_once: Conc = field(default_factory=dict)
    after: Conc = field(default_factory=dict)
    equilibrium: Conc = field(default_factory=dict)
    measured: Conc = field(default_factory=dict)
    observed: str = ""
    extent: float | None = None
    stress: Stress | None = None
    disturbance: Disturbance | None = None
    look: Look | None = None
    states: Mapping[str, State] = field(default_factory=dict)

    @property
    def reaction(self) -> Reaction:
        """The first reaction: the one a direction, Q, K or ICE table is about."""
        return self.reactions[0]

    @property
    def direction(self) -> str | None:
        """Which way the first reaction goes after the stress; None without one."""
        return None if self.disturbance is None else self.disturbance.direction

    @property
    def done(self) -> Stress:
        """What is done. Raises QuestionError where nothing is, as the next two do."""
        return _there(self.stress)

    @property
    def change(self) -> Disturbance:
        """What it did."""
        return _there(self.disturbance)

    @property
    def appearance(self) -> Look:
        """What is seen of it."""
        return _there(self.look)

    @property
    def net(self) -> Reaction | None:
        """The net equation that a part asks for, with the K it has as a sum of the reactions; None where none
        is asked or it is no such sum.
        """
        part = next((part for part in self.parts if part.ask == "equation"), None)
        if part is None or len(self.reactions) < 2 or not all(r.has_K for r in self.reactions):
            return None
        net = balance(part.skeleton)
        times = self.times_in(net)
        if not times:
            return None
        return net.with_K(
            math.prod(r.require_K() ** float(n) for r, n in zip(self.reactions, times, strict=True))
        )

    def times_in(self, net: Reaction) -> list[Fraction]:
        """How many times each reaction goes into ``net``; [] where it is no sum of them."""
        names = list(dict.fromkeys(n for r in (net, *self.reactions) for n in r.coefficients))
        columns = np.array([[float(r.coefficients.get(n, 0)) for r in self.reactions] for n in names])
        wanted = np.array([float(net.coefficients.get(n, 0)) for n in names])
        times = np.linalg.lstsq(columns, wanted, rcond=None)[0]
        return (
            [Fraction(n).limit_denominator(12) for n in times] if np.allclose(columns @ times, wanted) else []
        )


def _there(found: _T | None) -> _T:
    if found is None:
        raise QuestionError("nothing is done to the mixture; add [question.stress]")
    return found


def case_for(setting: Setting, parts: tuple[Part, ...], numbers: Conc) -> Case:
    """The Case of these numbers. Raises EqlibError where there is none."""
    case = _computed(setting, parts, numbers)
    if setting.measured is not None:
        case = _with_reading(case, setting.measured)
    elif case.reactions:
        case = replace(case, extent=_extent_alone(case))
    expected = {part.id: ASKS[part.ask].expected(part, case, {}) for part in parts if ASKS[part.ask].computed}
    return replace(case, expected=MappingProxyType(expected))


def _computed(setting: Setting, parts: tuple[Part, ...], numbers: Conc) -> Case:
    """The states of the mixture, before anything is read off it."""
    reactions = setting.reactions_for(numbers)
    mixture = setting.mixture(reactions, numbers)
    stress = setting.stress_for(numbers)
    states: dict[str, State] = {}
    disturbance = None
    if mixture is not None and reactions and all(reaction.has_K for reaction in reactions):
        states["mixed"] = mixture.as_mixed()
        if stress is None:
            states["before"] = mixture.equilibrate()
        else:
            disturbance = disturb(mixture, stress)
            states["before"], states["at_once"] = disturbance.before, disturbance.at_once
            states["after"] = disturbance.after
    moments = {moment: MappingProxyType(_dissolved(state, reactions)) for moment, state in states.items()}
    return Case(
        parts=parts,
        setting=setting,
        numbers=MappingProxyType(dict(numbers)),
        reactions=reactions,
        portions=setting.portions(numbers),
        start=mixture,
        volume=0.0 if mixture is None else mixture.volume,
        temperature=298.15 if mixture is None else mixture.T,
        stress=stress,
        disturbance=disturbance,
        look=_look(parts, disturbance),
        states=MappingProxyType(states),
        mixed=moments.get("mixed", {}),
        before=moments.get("before", {}),
        at_once=moments.get("at_once", {}),
        after=moments.get("after", {}),
        equilibrium=moments.get("before", {}),
    )


def _look(parts: tuple[Part, ...], disturbance: Disturbance | None) -> Look | None:
    """The change of appearance, where some part asks for it."""
    if disturbance is None or not any(ASKS[part.ask].needs_look for part in parts):
        return None
    return compare_disturbance(disturbance)


def _with_reading(case: Case, table: MeasuredTable) -> Case:
    """With what was measured; from then on it is the reading, not the engine, that K is worked from."""
    numbers, setting = case.numbers, case.setting
    if table.reading == "temperatures":
        known = {"K1": table.K1, "K2": table.K2} if table.K1 is not None else setting.constants(numbers)
        measured = {name: value_of(value, numbers) for name, value in known.items() if value is not None}
        for n in (1, 2):
            measured[f"T{n}"] = value_of(getattr(table, f"celsius{n}"), numbers) + KELVIN
        return replace(case, measured=MappingProxyType(measured))
    if table.reading == "runs":
        measured = {f"run{n}": value_of(item, numbers) for n, item in enumerate(table.runs, start=1)}
        return replace(case, measured=MappingProxyType(measured))
    if table.reading == "indicator":
        measured = {key: value_of(getattr(table, key), numbers) for key in ("acid", "base", "pH")}
        measured["between"] = float(table.between(numbers))
        return replace(case, measured=MappingProxyType(measured))
    assert table.species is not None
    measured = {table.reading: float(table.read(case.states["before"], numbers)), **table.optics(numbers)}
    if table.nm is not None:
        measured["nm"] = value_of(table.nm, numbers)
    case = replace(case, measured=MappingProxyType(measured), observed=table.species)
    return _read_off(case, worked_extent(case))


def _read_off(case: Case, extent: float) -> Case:
    """Before and at once as the student can know them: from the rounded reading, not from the engine's
    digits.
    """
    equilibrium = moved(case, case.mixed, extent)
    before = {**case.before, **equilibrium}
    at_once = dict(case.at_once)
    if case.disturbance is not None:
        share = case.disturbance.before.volume / case.disturbance.at_once.volume
        for name, value in equilibrium.items():
            at_once[name] += share * (value - case.before[name])
    return replace(
        case,
        extent=extent,
        equilibrium=MappingProxyType(equilibrium),
        before=MappingProxyType(before),
        at_once=MappingProxyType(at_once),
    )


def _extent_alone(case: Case) -> float | None:
    """How far the first reaction went from mixing to ``before``, when it is the only one."""
    if len(case.reactions) != 1 or not case.before:
        return None
    name, nu = next(iter(case.reaction.quotient_species.items()))
    return (case.before.get(name, 0.0) - case.mixed.get(name, 0.0)) / float(nu)


def _dissolved(state: State, reactions: tuple[Reaction, ...]) -> dict[str, float]:
    """Concentrations of everything that is not a solid or the solvent; what stands in a K and is absent is
    0.
    """
    found = {name: float(value) for name, value in state.concentrations.items()}
    for reaction in reactions:
        for name in reaction.quotient_species:
            found.setdefault(name, 0.0)
    return found


# -- the question ----------------------------------------------------------------------------------------


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
        return all(ASKS[part.ask].by_person for part in self.parts if part.scored)

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
        who, values = normal_id(student), {}
        for name, span in self.ranges.items():
            names = (self.assignment.course, self.assignment.id, self.id, name, str(retry), who)
            drawn = int.from_bytes(_drawn(*names)[:8], "big") % span.choices
            values[name] = span.value(drawn if who or retry else span.choices // 2)
        numbers = {name: float(value) for name, value in values.items()}
        return Variant(who, numbers, {name: as_written(value) for name, value in values.items()}, retry)

    def prompt_for(self, student: object = None, retry: int = 0) -> str:
        """The prompt, in markdown, with the student's numbers and readings. Raises QuestionError."""
        variant = self.variant(student, retry)
        shown = dict(variant.shown)
        for name in self.placeholders - shown.keys():
            shown[name] = as_written(_printed(self, name, tuple(variant.numbers.items())))
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
