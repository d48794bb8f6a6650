"""Is a question about rates, speeds or a pick of species well posed for these numbers?"""

from __future__ import annotations

import math
from itertools import pairwise

from eqlib.assess.outcome_rates import rate_ratio

#: A rate changes clearly when it does by this share.
CLEAR = 0.05


def picked_doubts(part, outcome):
    """One line for each thing that is not safe in a part that asks a rate, graph, speed or species."""
    if part.ask == "speed":
        yield from _speeds(part, outcome.problem)
    elif part.ask in ("bound", "cause"):
        if outcome.expected[part.id] is None:
            yield f"none of the options of {part.id} (or more than one) is right; add or take out some"
    elif getattr(outcome.problem.stress, "kind", "") not in ("heat_to", "catalyse") or part.ask == "graph":
        yield from _ratio(part, outcome.problem)


def _ratio(part, problem):
    moments = ("before", part.when) if part.ask == "rate" else _way(part.when)
    ratio = rate_ratio(problem, part.side, *(getattr(problem, moment) for moment in moments))
    if math.isfinite(ratio) and 1e-6 < abs(ratio - 1) < CLEAR:
        yield f"the {part.side} rate changes by less than {100 * CLEAR:g} %; make the change nil or larger"


def _way(when):
    return ("mixed", "before") if when == "before" else ("at_once", "after")


def _speeds(part, problem):
    from eqlib.assess.outcome_setting import value_of

    items = [(value_of(i["seconds"], problem.numbers), value_of(i["K"], problem.numbers)) for i in part.items]
    for at, what in ((0, "seconds"), (1, "K")):
        values = sorted(item[at] for item in items)
        if any(high < 1.2 * low for low, high in pairwise(values)):
            yield f"two items of {part.id} have nearly the same {what}; set them further apart"
    if sorted(items) == sorted(items, key=lambda item: -item[1]):
        yield f"{part.id}: the fastest also have the largest K, so nobody can show a confusion of the two"
