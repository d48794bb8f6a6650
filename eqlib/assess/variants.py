"""The numbers of one student's copy of a question.

A number in a question file is fixed (``2.00``) or a range ``[low, high, step]``; a range gives every student
one of its steps. Arithmetic is decimal, so 0.80 + 3 x 0.05 is 0.95 on every machine and is shown as "0.95".

The hash of (course, assignment, question, draw, student) seeds nothing; it *is* the draw: the same on any
machine and in any version of Python. Each number takes its own eight bytes of a SHA-256, so adding a number
to a question leaves the others as they were.
"""

from __future__ import annotations

import hashlib
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from typing import TYPE_CHECKING, Any

from eqlib.errors import EqlibError
from eqlib.writing import power_of_ten

if TYPE_CHECKING:
    from eqlib.assess.asks.base import Part
    from eqlib.assess.question import Question

MOST_STEPS = 10_000
#: Choices without an order of their own: every student meets them in another one.
SHUFFLED = frozenset(["reason", "true", "rule", "bound", "cause"])
#: Choices that have one, and what it is; darker before paler, so that the first of every row is no story of
#: its own (to reactants, paler).
RANKED = frozenset(["direction", "seen", "precipitate", "K", "change", "rate"])
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
    try:
        if isinstance(value, bool) or not isinstance(value, (int, Decimal)):
            raise InvalidOperation
        number = Decimal(value)
        if not number.is_finite() or not -30 <= number.adjusted() <= 30:
            raise InvalidOperation
    except InvalidOperation:
        raise VariantError(f"number {name!r} holds {value}, which is not an ordinary number") from None
    return number


def make_variant(
    ranges: Mapping[str, Range],
    *,
    course: str,
    assignment: str,
    question: str,
    student: object,
    retry: int = 0,
) -> Variant:
    """The Variant of ``student`` (None: mid-range). Depends only on the names given here, never on the
    machine.
    """
    who = normal_id(student)
    values = {}
    for name, span in ranges.items():
        if not who and not retry:
            choice = span.choices // 2
        else:
            choice = draw(
                span.choices,
                course=course,
                assignment=assignment,
                question=question,
                number=name,
                student=who,
                retry=retry,
            )
        values[name] = span.value(choice)
    return Variant(
        who,
        {name: float(value) for name, value in values.items()},
        {name: show(value) for name, value in values.items()},
        retry,
    )


def show(value: Decimal) -> str:
    """A decimal as a reader expects it: "0.95", "140", "1.8e-10" -> "1.8 × 10⁻¹⁰"."""
    if value != 0 and not -5 < value.adjusted() < 6:
        mantissa, exponent = f"{value:e}".split("e")
        return power_of_ten(mantissa, exponent)
    return f"{value:f}"


SEPARATOR = "\x1f"


def normal_id(student: object) -> str:
    """A student id without case, spaces or typographical variants: "S 01" and "s01" are one person. None is
    ''.
    """
    if student is None:
        return ""
    text = unicodedata.normalize("NFKC", str(student)).casefold()
    return "".join(text.split())


def draw(
    choices: int, *, course: str, assignment: str, question: str, number: str, student: str, retry: int = 0
) -> int:
    """A whole number in [0, choices): which step of a range this student gets.

    The first eight bytes, big-endian, of the SHA-256 of the six names joined by the unit separator (U+001F),
    modulo
    ``choices``. ``retry`` counts fresh sets of numbers in practice.
    """
    names = (course, assignment, question, number, str(retry), normal_id(student))
    digest = hashlib.sha256(SEPARATOR.join(names).encode("utf-8")).digest()
    return int.from_bytes(digest[:8], "big") % choices


def options_for(part: Part, question: Question, student: object) -> tuple[tuple[str, str], ...]:
    """The options of ``part`` (of ``question``) in the order in which ``student`` meets them.

    Reasons, rules, species to pick and things to put in order are shuffled, so that no place is the right one
    for a whole class. Direction, more or less, yes or no keep their natural order; every other student meets
    it from its other end, the same in the whole course. Forms, feedback and reports of one student use this;
    records hold the options' values, so that the order changes no mark.
    """
    course, who = question.assignment.course, normal_id(student)

    def drawn(*names: str) -> bytes:
        return hashlib.sha256(SEPARATOR.join(names).encode("utf-8")).digest()

    if part.ask in RANKED:
        place = {name: number for number, name in enumerate(_ORDER)}
        ranked = sorted(part.options, key=lambda option: place.get(option[0], len(place)))
        return tuple(reversed(ranked) if who and drawn(course, who)[0] % 2 else ranked)
    if part.ask not in SHUFFLED and part.kind != "order":
        return tuple(part.options)
    names = course, question.assignment.id, question.id, part.id, who
    return tuple(sorted(part.options, key=lambda option: drawn(*names, option[0])))
