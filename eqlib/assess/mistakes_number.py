"""What each mistake would give for a number, from one student's Problem.

Every builder yields (mistake id, value, why) in mol/L, J/mol or without unit, likeliest first;
``number_suspects`` turns them into the part's unit and drops what has no value. The number of suspects is
bounded, so that a random number seldom meets one.
"""

import math

from eqlib.assess import mistakes_steps as steps
from eqlib.assess.mistakes_concentration import absorbance, concentration, extent
from eqlib.assess.mistakes_facts import (
    Facts,
    amount_made,
    extent_from,
    extent_of,
    facts_of,
    room,
    slips_of_reading,
)
from eqlib.assess.mistakes_match import Suspect
from eqlib.assess.mistakes_starts import added_undiluted, stock_starts
from eqlib.assess.outcome_units import part_scale

MOST = 14


def number_suspects(problem):
    """Suspects of a number part, in the part's unit. See mistakes.suspects."""
    build = _BUILDERS.get(problem.part.quantity)
    if build is None or (not problem.reactions and problem.part.quantity not in _OF_DATA):
        return []
    scale, out = part_scale(problem.part), []
    right = problem.expected if type(problem.expected) in (int, float) else math.nan
    for name, value, why in build(problem, facts_of(problem)):
        if value is None or isinstance(value, complex) or not math.isfinite(value):
            continue
        value *= scale
        if value < 0 <= right and name != "unchecked_small_x":
            continue  # nobody hands in a negative amount
        if right and math.isclose(value, right, rel_tol=1e-6):
            continue  # no mistake with these numbers
        if not any(
            name == s.mistake and math.isclose(value, s.value, rel_tol=1e-6, abs_tol=1e-300) for s in out
        ):
            out.append(Suspect(name, value, why))
    return out[:MOST]


def _writings(facts, conc):
    """Slips in writing K or Q down, with the right concentrations."""
    yield "k_inverted", facts.K(conc, inverted=True), "upside down"
    if any(abs(p) != 1 for p in facts.powers.values()):
        yield "powers_missing", facts.K(conc, form="dropped"), "no powers"
        yield "powers_missing", facts.K(conc, form="times"), "coefficients as multipliers"
    if sum(p < 0 for p in facts.powers.values()) > 1:
        yield "sum_not_product", facts.K(conc, joined="bottom"), "lower line added"
    elif sum(p > 0 for p in facts.powers.values()) > 1:
        yield "sum_not_product", facts.K(conc, joined="both"), "upper line added"
    water = facts.coefficients.get("H2O(l)")
    if water:
        yield "solid_in_k", facts.K(conc) * 55.5**water, "water put in"


def _amounts(facts, conc, volume):
    """Amounts instead of concentrations (only where the powers do not cancel), in ``volume`` litres."""
    if volume > 0 and volume != 1:
        yield "moles_as_conc", facts.K({n: c * volume for n, c in conc.items()}), "moles"
    yield "moles_as_conc", facts.K({n: 1e3 * c for n, c in conc.items()}), "millimoles per litre"


def _K(problem, facts):
    conc, start, x = problem.equilibrium, problem.mixed, extent_of(problem, facts)
    yield from _writings(facts, conc)
    if x is not None and start:
        for name, other, why in stock_starts(problem, facts.coefficients):
            yield name, _positive(facts, facts.row(other, x)), why
        reactants_unchanged = {
            n: start.get(n, 0.0) if c < 0 else conc.get(n, 0.0) for n, c in facts.coefficients.items()
        }
        yield "initial_as_eq", facts.K(reactants_unchanged), "reactants not reduced"
        yield "change_sign", facts.K(facts.row(start, x, sign=-1.0)), "reactants grow"
        if any(abs(c) != 1 for c in facts.coefficients.values()):
            amount = amount_made(problem, facts, x)
            yield (
                "change_coeff",
                _positive(facts, facts.row(start, amount, ignore_coefficients=True)),
                "all change alike",
            )
        for name, amount, why in slips_of_reading(problem):
            yield name, _positive(facts, facts.row(start, extent_from(problem, facts, amount))), why
    yield from _amounts(facts, conc, problem.volume)


def _positive(facts, conc):
    """K of a row, or NaN if the row holds a negative concentration (nobody would go on from there)."""
    return math.nan if any(conc.get(n, 0.0) < 0 for n in facts.powers) else facts.K(conc)


def _Q(problem, facts):
    when = problem.part.when or "at_once"
    conc = getattr(problem, when)
    later = problem.after or problem.equilibrium or problem.before
    kind = getattr(problem.stress, "kind", "")
    if kind == "dilute" and when == "at_once" and problem.before:
        yield "volume_ignored", facts.K(problem.before), "concentrations as before the water"
    if later:
        yield "q_is_k", facts.K(later), "K given for Q"
    if when == "mixed":
        for name, other, why in stock_starts(problem, facts.coefficients):
            yield name, facts.K(other), why
    if when == "at_once" and problem.before:
        for other, why in added_undiluted(problem):
            yield "stock_conc", facts.K(other), why
    yield from _writings(facts, conc)
    disturbed = problem.disturbance if when in ("at_once", "after") else None
    yield from _amounts(facts, conc, disturbed.at_once.volume if disturbed else problem.volume)


def _Kp(problem, facts):
    """Kp from a Kc: a slip in Kc goes through with the same factor."""
    if not problem.expected:
        return
    if not problem.measured:
        yield "k_inverted", 1 / problem.expected, "upside down"
        return
    right = facts.Kc(problem.equilibrium)
    if not (math.isfinite(right) and right):
        return
    plain = Facts(problem, facts.coefficients, facts.powers)
    factor = problem.expected / right
    for mistake, value, why in _K(problem, plain):
        yield mistake, value * factor if mistake != "k_inverted" else 1 / problem.expected, why


def _dH(problem, _facts):
    right, scale = problem.expected, part_scale(problem.part)
    if not right:
        return
    right = right / scale
    yield "log_slip", right / steps.LN10, "logarithm to base ten"
    if right < 0:
        yield "heat_is_forward", -right, "sign of a reaction that takes up heat"
    yield "k_inverted", -right, "ratio of the constants upside down"


def _epsilon(problem, facts):
    """The absorptivity from one standard, whose complex is set by the reactant that runs out first."""
    m = problem.measured
    net = m["absorbance"] - m.get("blank", 0.0)
    path, most = m.get("path", 1.0), sorted(room(facts, problem.mixed))
    if not most or not most[0]:
        return
    yield "limiting_swapped", net / (path * most[-1]) if len(set(most)) > 1 else None, "reactant in excess"
    if path != 1.0:
        yield "path_ignored", net / most[0], "cell taken as 1 cm"
    if m.get("blank"):
        yield "blank_kept", m["absorbance"] / (path * most[0]), "blank not taken off"
    yield "log_slip", 10.0**-net / (path * most[0]), "transmittance taken as absorbance"
    yield "log_slip", net * steps.LN10 / (path * most[0]), "natural logarithm"
    for mistake, start, why in stock_starts(problem, facts.coefficients):
        there = room(facts, start)
        yield mistake, net / (path * min(there)) if min(there) > 0 else None, why


def _runs(problem, _facts):
    """One run taken for the whole: as the mean, without a spread, or counted once."""
    if problem.part.quantity != "mean":
        yield "single_truth", 0.0 if problem.part.quantity == "s" else 1.0, "a single run"
        return
    for name, value in problem.measured.items():
        yield "single_truth", value, f"{name} alone"


#: Numbers that are worked out of data, without a reaction.
_OF_DATA = ("dH", "mean", "s", "n")

_BUILDERS = {
    "mean": _runs,
    "s": _runs,
    "n": _runs,
    "K": _K,
    "Kp": _Kp,
    "Q": _Q,
    "concentration": concentration,
    "extent": extent,
    "absorbance": absorbance,
    "dH": _dH,
    "epsilon": _epsilon,
}
