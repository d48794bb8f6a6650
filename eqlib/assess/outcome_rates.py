"""Rates beside each other: the forward or reverse rate of the first reaction at two moments.

Only the ratio of a rate to itself is needed, never a rate constant. Each rate is taken as proportional to
the concentrations of its own side, each to the power of its coefficient, as in the law of mass action; which
way a rate goes is the same for any positive orders.
"""

from __future__ import annotations

import math

from eqlib.assess.questions_schema import QuestionError

#: A ratio this close to 1 passes for "the same".
_SAME = 0.005


def rate_ratio(problem, side: str, start, end) -> float:
    """The rate with the concentrations ``end``, over that with ``start``. Infinite when it begins at zero."""
    own = problem.reaction.quotient_species
    powers = {n: abs(float(nu)) for n, nu in own.items() if (side == "forward") is (nu < 0)}
    if not powers:
        raise QuestionError(f"the {side} rate depends on no concentration here; ask about the other side")
    ratio = 1.0
    for name, power in powers.items():
        was, now = start.get(name, 0.0), end.get(name, 0.0)
        if was <= 0:
            return math.inf
        ratio *= (now / was) ** power
    return ratio


def rate_after_change(problem, side: str, when: str) -> str:
    """ "up", "down" or "same": a rate at once (or at the new equilibrium) beside that before the change."""
    kind = problem.stress.kind
    if kind in ("heat_to", "catalyse"):
        if when != "at_once":
            raise QuestionError('rates after a change of temperature or a catalyst need when = "at_once"')
        return "down" if kind == "heat_to" and problem.temperature > problem.stress.T else "up"
    ratio = rate_ratio(problem, side, problem.before, getattr(problem, when))
    return "up" if ratio > 1 + _SAME else "down" if ratio < 1 - _SAME else "same"


def rate_on_the_way(problem, side: str, when: str) -> str:
    """ "falls", "rises" or "level": a rate from mixing (or from the change) to equilibrium."""
    start, end = (problem.mixed, problem.before) if when == "before" else (problem.at_once, problem.after)
    ratio = rate_ratio(problem, side, start, end)
    return "rises" if ratio > 1 + _SAME else "falls" if ratio < 1 - _SAME else "level"
