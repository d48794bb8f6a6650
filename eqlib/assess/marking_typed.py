"""Typed chemistry compared by meaning: balanced equations and equilibrium expressions."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction

from eqlib.assess import feedback
from eqlib.assess.reading.judge import judge_expression
from eqlib.errors import EqlibError


def same_equation(expected: str, given: Mapping[str, float]) -> float:
    """How many times the usual numbers the given coefficients are; 0 when they are others or do not
    balance.
    """
    from eqlib.chem.reactions import Reaction

    right = Reaction(expected).coefficients
    own = {name: Fraction(number).limit_denominator(10_000) for name, number in given.items() if number}
    if right.keys() != own.keys():
        return 0.0
    ratios = {own[name] / Fraction(right[name]) for name in right}
    factor = ratios.pop()
    return float(factor) if not ratios and factor > 0 else 0.0


def runs_backwards(expected: str, given: Mapping[str, float]) -> bool:
    """Is it the right equation with its sides exchanged?"""
    return bool(same_equation(expected, {name: -number for name, number in given.items()}))


def unequal_count(skeleton: str, given: Mapping[str, float]) -> str:
    """A sentence about the first element (or the charge) that the two sides do not share, or ""."""
    from eqlib.chem.equations import sides
    from eqlib.chem.species import species

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


def expression_verdict(problem, given: str):
    """(is it right, the mistake it shows or None) for an equilibrium expression."""
    try:
        verdict = judge_expression(given, problem.reaction.coefficients)
    except EqlibError:
        return False, None
    return verdict.right, (verdict.mistakes[0] if verdict.mistakes else None)
