"""Typed chemistry compared by meaning: balanced equations and equilibrium expressions."""

from __future__ import annotations

from fractions import Fraction

from eqlib.assess.readers_judge import judge_expression
from eqlib.chem.errors import EqlibError


def same_equation(expected: str, given: str) -> float:
    """How many times the usual set of numbers the given balanced equation is; 0 when it is another or not balanced."""
    from eqlib.chem.reactions import Reaction

    try:
        found = Reaction(given)
    except EqlibError:
        return 0.0
    right, own = Reaction(expected).coefficients, found.coefficients
    if right.keys() != own.keys():
        return 0.0
    ratios = {Fraction(own[name]) / Fraction(right[name]) for name in right}
    factor = ratios.pop()
    return float(factor) if not ratios and factor > 0 else 0.0


def expression_verdict(problem, given: str):
    """(is it right, the mistake it shows or None) for an equilibrium expression."""
    try:
        verdict = judge_expression(given, problem.reaction.coefficients)
    except EqlibError:
        return False, None
    return verdict.right, (verdict.mistakes[0] if verdict.mistakes else None)
