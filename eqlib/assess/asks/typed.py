"""Typed chemistry compared by meaning: balanced equations and equilibrium expressions."""

from __future__ import annotations

import itertools
import math
import random
import re
from collections.abc import Iterator, Mapping
from fractions import Fraction
from functools import lru_cache
from typing import TYPE_CHECKING, Any, Literal

from eqlib.assess import feedback
from eqlib.assess.asks.base import Answered, Ask, Part, PartTable, Verdict, in_unicode
from eqlib.assess.asks.slips import in_K, quotient
from eqlib.assess.reading.equations import read_equation
from eqlib.assess.reading.expressions import parse_expression, read_expression, resolve, value_at
from eqlib.assess.reading.plain import Reading
from eqlib.chem.equations import sides
from eqlib.chem.reactions import Reaction, balance
from eqlib.chem.species import species
from eqlib.errors import EqlibError
from eqlib.writing import raised

if TYPE_CHECKING:
    from eqlib.assess.question import Case, Policy


class EquationTable(PartTable):
    ask: Literal["equation"]
    skeleton: str


class Equation(Ask):
    """The balanced equation of ``skeleton``."""

    kind = "equation"
    Table = EquationTable
    of_chemistry = False
    label = "Balance the equation"
    help = "Type the whole equation, with an arrow in the middle."
    keys = ("skeleton",)

    def read(self, part: Part, raw: Any, species: tuple[str, ...]) -> Reading:
        left, right = _sides(part.skeleton)
        return read_equation(raw, (*left, *right), len(left))

    def expected(self, part: Part, case: Case, own: Mapping[str, Any]) -> str:
        return str(balance(part.skeleton))

    def judge(self, part: Part, case: Case, reading: Reading, answered: Answered, policy: Policy) -> Verdict:
        factor = same_equation(case.expected[part.id], reading.value)
        if factor:
            return Verdict(1.0, "right", None, "" if factor == 1 else feedback.MULTIPLE)
        said = unequal_count(part.skeleton, reading.value)
        backwards = {name: -number for name, number in reading.value.items()}
        if not said and same_equation(case.expected[part.id], backwards):
            said = feedback.OTHER_WAY_ROUND
        return Verdict(0.0, "wrong", None, said)

    def words(self, part: Part, case: Case, value: Any) -> str:
        return Reaction(value).unicode.replace("⇌", "→") if isinstance(value, str) else str(value)


_sides = lru_cache(maxsize=256)(sides)


def same_equation(expected: str, given: Mapping[str, float]) -> float:
    """How many times the usual numbers the given coefficients are; 0 when they are others or do not
    balance.
    """
    right = Reaction(expected).coefficients
    own = {name: Fraction(number).limit_denominator(10_000) for name, number in given.items() if number}
    if right.keys() != own.keys():
        return 0.0
    ratios = {own[name] / Fraction(right[name]) for name in right}
    factor = ratios.pop()
    return float(factor) if not ratios and factor > 0 else 0.0


def unequal_count(skeleton: str, given: Mapping[str, float]) -> str:
    """A sentence about the first element (or the charge) that the two sides do not share, or ""."""
    left, right = ([(species(name), abs(given.get(name, 0.0))) for name in side] for side in sides(skeleton))
    for element in dict.fromkeys(e for s, _ in (*left, *right) for e in s.elements):
        counts = [sum(n * s.elements.get(element, 0) for s, n in side) for side in (left, right)]
        if abs(counts[0] - counts[1]) > 1e-9:
            return feedback.COUNT.format(what=f"atoms of {element}", left=_g(counts[0]), right=_g(counts[1]))
    charges = [sum(n * s.charge for s, n in side) for side in (left, right)]
    if abs(charges[0] - charges[1]) > 1e-9:
        what = "charge in all"
        return feedback.COUNT.format(what=what, left=_g(charges[0], "+"), right=_g(charges[1], "+"))
    return ""


def _g(value: float, sign: str = "") -> str:
    return f"{value:{sign}g}".replace("-", "−")


class Expression(Ask):
    """The equilibrium expression of the first reaction."""

    kind = "expression"
    label = "Write the equilibrium expression K"
    help = "For example [C]^2/([A]*[B])."

    def read(self, part: Part, raw: Any, species: tuple[str, ...]) -> Reading:
        return read_expression(raw, species)

    def expected(self, part: Part, case: Case, own: Mapping[str, Any]) -> str:
        return case.reaction.expression

    def judge(self, part: Part, case: Case, reading: Reading, answered: Answered, policy: Policy) -> Verdict:
        try:
            slips = slips_in(reading.value, case.reaction.coefficients)
        except EqlibError:
            return Verdict(0.0, "wrong")  # another species stands in it
        return Verdict(1.0, "right") if slips == () else Verdict(0.0, "wrong", slips[0] if slips else None)

    def words(self, part: Part, case: Case, value: Any) -> str:
        return with_unicode(str(value), case.reaction)


#: Expressions of so low a degree that agree at all of these places are the same: J. T. Schwartz, J. ACM 27
#: (1980) 701; from memory.
_PLACES = 5


def slips_in(written: str, coefficients: Mapping[str, float | Fraction]) -> tuple[str, ...] | None:
    """The slips (one or two) that lead to this expression for a reaction with these coefficients: () for the
    right one, in any form; None where none leads to it. Raises Unreadable where it names another species.
    """
    tree, _ = resolve(parse_expression(written), list(coefficients))
    drawn = random.Random(12)
    places = [{name: drawn.uniform(0.3, 3.0) for name in coefficients} for _ in range(_PLACES)]
    everything = {name: float(nu) for name, nu in coefficients.items()}
    try:
        found = [value_at(tree, place) for place in places]
    except (ZeroDivisionError, OverflowError):
        return None
    for slips, with_solids, how in _WAYS:
        powers = everything if with_solids else in_K(everything)
        values = (quotient(powers, place, **how) for place in places)
        if all(math.isclose(a, b, rel_tol=1e-9) for a, b in zip(found, values, strict=True)):
            return slips
    return None


def _ways() -> Iterator[tuple[tuple[str, ...], bool, dict[str, Any]]]:
    """(slips, with solids, how K is put together) of at most two slips."""
    for inverted, form, joined, solids in itertools.product(
        (False, True), ("right", "dropped", "times"), ("product", "bottom", "both"), (False, True)
    ):
        made = {
            "k_inverted": inverted,
            "powers_missing": form != "right",
            "sum_not_product": joined != "product",
            "solid_in_k": solids,
        }
        slips = tuple(name for name, is_made in made.items() if is_made)
        if len(slips) <= 2:
            yield slips, solids, {"inverted": inverted, "form": form, "joined": joined}


#: Single slips first: where one explains an expression, two are not suspected.
_WAYS = sorted(_ways(), key=lambda way: len(way[0]))


def with_unicode(text: str, reaction: Reaction) -> str:
    """Species and powers of an expression with real sub- and superscripts."""
    for name in sorted(reaction.coefficients, key=len, reverse=True):
        for phase in ("", "(g)", "(aq)"):
            plain, printed = name.removesuffix(phase), in_unicode(name).removesuffix(phase)
            text = text.replace(f"[{plain}]", f"[{printed}]").replace(f"P({plain})", f"P({printed})")
    return re.sub(r"\^(\d+)", lambda found: raised(found[1]), text)
