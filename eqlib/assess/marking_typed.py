"""Typed chemistry compared by meaning: balanced equations and equilibrium expressions."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction

from eqlib.assess.readers_judge import judge_expression
from eqlib.chem.errors import EqlibError


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


def expression_verdict(problem, given: str):
    """(is it right, the mistake it shows or None) for an equilibrium expression."""
    try:
        verdict = judge_expression(given, problem.reaction.coefficients)
    except EqlibError:
        return False, None
    return verdict.right, (verdict.mistakes[0] if verdict.mistakes else None)
