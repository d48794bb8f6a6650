"""Typed chemistry compared by meaning: balanced equations and equilibrium expressions."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from fractions import Fraction
from functools import lru_cache
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from eqlib.assess import feedback
from eqlib.assess.asks.base import Answered, Ask, Part, PartTable, Verdict, in_unicode
from eqlib.assess.reading.equations import read_equation
from eqlib.assess.reading.expressions import read_expression
from eqlib.assess.reading.judge import judge_expression
from eqlib.assess.reading.plain import Reading
from eqlib.chem.equations import sides
from eqlib.chem.reactions import Reaction, balance
from eqlib.chem.species import species
from eqlib.errors import EqlibError
from eqlib.writing import raised

if TYPE_CHECKING:
    from eqlib.assess.case import Case
    from eqlib.assess.question import Policy


class EquationTable(PartTable):
    ask: Literal["equation"]
    skeleton: str


class Equation(Ask):
    """The balanced equation of ``skeleton``."""

    kind = "equation"
    Table = EquationTable
    label = "Balance the equation"
    help = "Type the whole equation, with an arrow in the middle."
    keys = ("skeleton",)

    def needs_reaction(self, part: Part) -> bool:
        return False

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


def net_of(case: Case) -> Reaction | None:
    """The net equation that a part asks for, with the K it has as a sum of the case's reactions; None where
    none is asked or it is no such sum.
    """
    part = next((part for part in case.parts if part.ask == "equation"), None)
    if part is None or len(case.reactions) < 2 or not all(r.has_K for r in case.reactions):
        return None
    net = balance(part.skeleton)
    times = made_of(net, case)
    if not times:
        return None
    K = math.prod(r.require_K() ** float(n) for r, n in zip(case.reactions, times, strict=True))
    return net.with_K(K)


def made_of(net: Reaction, case: Case) -> list[Fraction]:
    """How many times each reaction of the case goes into ``net``; [] where it is no sum of them."""
    names = list(dict.fromkeys(n for r in (net, *case.reactions) for n in r.coefficients))
    columns = np.array([[float(r.coefficients.get(n, 0)) for r in case.reactions] for n in names])
    wanted = np.array([float(net.coefficients.get(n, 0)) for n in names])
    times = np.linalg.lstsq(columns, wanted, rcond=None)[0]
    return [Fraction(n).limit_denominator(12) for n in times] if np.allclose(columns @ times, wanted) else []


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


class ExpressionTable(PartTable):
    ask: Literal["expression"]


class Expression(Ask):
    """The equilibrium expression of the first reaction."""

    kind = "expression"
    Table = ExpressionTable
    label = "Write the equilibrium expression K"
    help = "For example [C]^2/([A]*[B])."

    def read(self, part: Part, raw: Any, species: tuple[str, ...]) -> Reading:
        return read_expression(raw, species)

    def expected(self, part: Part, case: Case, own: Mapping[str, Any]) -> str:
        return case.reaction.expression

    def judge(self, part: Part, case: Case, reading: Reading, answered: Answered, policy: Policy) -> Verdict:
        try:
            verdict = judge_expression(reading.value, case.reaction.coefficients)
        except EqlibError:
            return Verdict(0.0, "wrong")
        if verdict.right:
            return Verdict(1.0, "right")
        return Verdict(0.0, "wrong", verdict.mistakes[0] if verdict.mistakes else None)

    def words(self, part: Part, case: Case, value: Any) -> str:
        return with_unicode(str(value), case.reaction)


def with_unicode(text: str, reaction: Reaction) -> str:
    """Species and powers of an expression with real sub- and superscripts."""
    for name in sorted(reaction.coefficients, key=len, reverse=True):
        for phase in ("", "(g)", "(aq)"):
            plain, printed = name.removesuffix(phase), in_unicode(name).removesuffix(phase)
            text = text.replace(f"[{plain}]", f"[{printed}]").replace(f"P({plain})", f"P({printed})")
    return re.sub(r"\^(\d+)", lambda found: raised(found[1]), text)
