"""What each mistake would give for a concentration, for x, or for an absorbance.

Generators of (mistake id, value, why), likeliest first; see mistakes_number.
"""

import math

from eqlib.assess import mistakes_steps as steps
from eqlib.assess.mistakes_facts import amount_made, extent_from, room, slips_of_reading
from eqlib.assess.mistakes_starts import added_undiluted, stock_starts


def concentration(problem, facts):
    name, when = problem.part.species, problem.part.when or "before"
    right = getattr(problem, when).get(name, 0.0)
    if when == "mixed":
        for mistake, other, why in stock_starts(problem, facts.coefficients | {name: -1.0}):
            yield mistake, other.get(name, 0.0), why
    elif when == "at_once":
        for other, why in added_undiluted(problem):
            yield "stock_conc", other.get(name, 0.0), why
    elif name in facts.coefficients:
        yield from _at_equilibrium(problem, facts, name, when)
    if right and problem.volume > 0 and problem.volume != 1:
        yield "moles_as_conc", right * problem.volume, "moles"


def _at_equilibrium(problem, facts, name, when):
    start, nu = problem.mixed if when == "before" else problem.at_once, facts.coefficients[name]
    if when == "after" and problem.before and _was_added(problem, name):
        yield "full_cancel", problem.before.get(name, 0.0), "back to the value before the change"
    if name not in start:
        return
    for mistake, x, why in _wrong_extents(problem, facts, start, when):
        if x is not None:
            yield mistake, start[name] + nu * x, why
    x = _solved(problem, facts, start, when)
    if x is None:
        return
    if nu < 0:
        yield "change_sign", start[name] - nu * x, "reactant grows"
        if _read_off(problem, when):
            for mistake, other, why in stock_starts(problem, facts.coefficients):
                yield mistake, other.get(name, 0.0) + nu * x, why
    if any(abs(c) != 1 for c in facts.coefficients.values()):
        amount = amount_made(problem, facts, x)
        yield "change_coeff", start[name] + math.copysign(amount, nu * x), "all change alike"
    yield "initial_as_eq", start[name], "starting value"


def _read_off(problem, when):
    """Does x come from a reading (rather than from K)?"""
    return when == "before" and bool(problem.measured) and problem.part.quantity != "absorbance"


def _was_added(problem, name):
    return problem.at_once.get(name, 0.0) > problem.before.get(name, 0.0) * 1.005


def _solved(problem, facts, start, when):
    """The right extent from ``start``, where the reaction stands alone or was measured."""
    if when == "before" and problem.extent is not None:
        return problem.extent
    end = problem.after if when == "after" else problem.before or problem.equilibrium
    name = next((n for n in facts.powers if n in end), None)
    if name is None:
        return None
    x = (end[name] - start.get(name, 0.0)) / facts.coefficients[name]
    row = facts.row(start, x)
    alone = all(math.isclose(row[n], end.get(n, 0.0), rel_tol=1e-4, abs_tol=1e-12) for n in facts.powers)
    return x if alone else None


def _wrong_extents(problem, facts, start, when):
    """(mistake, x, why): extents that a mistake leads to, from a reading or from K."""
    if _read_off(problem, when):
        for mistake, amount, why in slips_of_reading(problem):
            yield mistake, extent_from(problem, facts, amount), why
        most = room(facts, start)
        yield "goes_complete", min(most, default=None), "limiting reactant used up"
        K = facts.Kc(problem.equilibrium)
        yield "unchecked_small_x", steps.small_x(facts.coefficients, start, K), "reactants taken as unchanged"
        return
    x = _solved(problem, facts, start, when)
    if x is None:
        return
    K = facts.Kc(facts.row(start, x))
    if not (math.isfinite(K) and K > 0):
        return
    most, coefficients = room(facts, start), facts.coefficients
    if x > 0:
        yield "goes_complete", min(most, default=None), "limiting reactant used up"
        if len(set(most)) > 1:
            yield "limiting_swapped", max(most), "reactant in excess used up"
        yield "unchecked_small_x", steps.small_x(coefficients, start, K), "reactants taken as unchanged"
        yield "equal_amounts", _halfway(facts, start), "as much product as limiting reactant"
    yield "k_inverted", steps.solve_extent(coefficients, start, 1 / K), "solved with K upside down"
    if any(abs(c) != 1 for c in coefficients.values()):
        yield (
            "powers_missing",
            steps.solve_extent(coefficients, start, K, form="dropped"),
            "solved without powers",
        )
        yield (
            "change_coeff",
            steps.solve_extent(coefficients, start, K, ignore_coefficients=True),
            "change row without coefficients",
        )
    if when == "before":
        for mistake, other, why in stock_starts(problem, coefficients):
            yield mistake, steps.solve_extent(coefficients, other, K), why
    yield "change_sign", steps.solve_extent(coefficients, start, K, sign=-1.0), "reactants grow"


def _halfway(facts, start):
    """The extent at which the first product has the concentration of the reactant that is limiting."""
    reactants = [n for n, p in facts.powers.items() if p < 0]
    product = next((n for n, p in facts.powers.items() if p > 0), None)
    if product is None or not reactants:
        return None
    scarce = min(reactants, key=lambda n: start.get(n, 0.0) / -facts.coefficients[n])
    gap = start.get(scarce, 0.0) - start.get(product, 0.0)
    return gap / (facts.coefficients[product] - facts.coefficients[scarce])


def extent(problem, facts):
    start = problem.mixed
    yield from _wrong_extents(problem, facts, start, "before")
    if problem.volume > 0 and problem.volume != 1 and problem.extent is not None:
        yield "moles_as_conc", problem.extent * problem.volume, "moles"


def absorbance(problem, facts):
    m, when = problem.measured, problem.part.when or "before"
    if "epsilon" not in m:
        return
    name = problem.part.species or problem.observed
    conc, per = getattr(problem, when).get(name, 0.0), m["epsilon"] * m.get("path", 1.0)
    if not conc:
        return
    if m.get("path", 1.0) != 1.0:
        yield "path_ignored", m["epsilon"] * conc, "cell taken as 1 cm"
    yield "log_slip", 10.0 ** -(per * conc), "transmittance given"
    yield "log_slip", per * conc * steps.LN10, "natural logarithm"
    if "concentration" in m and name == problem.observed:
        return  # it stands in the question, so there is nothing to get wrong on the way to it
    if when in ("before", "after") and name in facts.coefficients:
        for mistake, amount, why in _at_equilibrium(problem, facts, name, when):
            yield mistake, per * amount, why
