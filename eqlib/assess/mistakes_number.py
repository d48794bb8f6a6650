"""What each mistake would give for a number, from one student's Problem.

Every builder yields (mistake id, value, why) in mol/L, J/mol or without unit, likeliest first; ``number_suspects`` turns
them into the part's unit and drops what has no value. The number of suspects is bounded, so that a random number
seldom meets one.
"""

import math
from dataclasses import dataclass, field

from eqlib.assess import mistakes_steps as steps
from eqlib.assess.mistakes_match import Suspect
from eqlib.assess.mistakes_starts import added_undiluted, stock_starts

MOST = 14
_R_BAR = 0.0831446261815324  # L bar/(mol K), CODATA 2018, exact
_GAS = "(g)"


@dataclass(frozen=True)
class Facts:
    """A Problem reduced to what the steps need. Concentrations in mol/L by species."""

    problem: object
    coefficients: dict
    powers: dict = field(default_factory=dict)
    in_bar: float = 1.0  # factor from mol/L to the unit K is in, for gases of a Kp

    def activity(self, conc):
        """Concentrations in the unit that K is in."""
        if self.in_bar == 1.0:
            return dict(conc)
        return {n: c * self.in_bar if n.endswith(_GAS) else c for n, c in conc.items()}

    def K(self, conc, **faults):
        """The quotient of ``conc`` with these faults (see mistakes_steps.quotient)."""
        return steps.quotient(self.powers, self.activity(conc), **faults)

    def Kc(self, conc):
        """The quotient in mol/L, whatever unit K is in."""
        return steps.quotient(self.powers, conc)

    def row(self, start, x, **faults):
        """The equilibrium row."""
        return steps.row(self.coefficients, start, x, **faults)


def number_suspects(problem):
    """Suspects of a number part, in the part's unit. See mistakes.suspects."""
    build = _BUILDERS.get(problem.part.quantity)
    if build is None or (not problem.reactions and problem.part.quantity != "dH"):
        return []
    scale, out = unit_scale(problem.part.unit), []
    for name, value, why in build(problem, _facts(problem)):
        if value is None or isinstance(value, complex) or not math.isfinite(value):
            continue
        value *= scale
        if not any(
            name == s.mistake and math.isclose(value, s.value, rel_tol=1e-6, abs_tol=1e-300) for s in out
        ):
            out.append(Suspect(name, value, why))
    return out[:MOST]


def unit_scale(unit):
    """From mol/L (or J/mol, or no unit) to ``unit``."""
    from eqlib.assess.readers_units import parse_unit

    found = parse_unit(unit)
    if found.dims[3] == 1 and found.dims[0] == -3:
        return float(1000 / found.size)
    return 1.0 if unit == "" else float(1 / found.size)


def _facts(problem):
    if not problem.reactions:
        return Facts(problem, {})
    reaction = problem.reaction
    coefficients = {n: float(c) for n, c in reaction.coefficients.items()}
    in_bar = _R_BAR * problem.temperature if getattr(reaction, "basis", "c") == "p" else 1.0
    return Facts(problem, coefficients, steps.in_K(coefficients), in_bar)


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


def _amounts(facts, conc):
    """Amounts instead of concentrations (only where the powers do not cancel)."""
    problem = facts.problem
    if problem.volume > 0 and problem.volume != 1:
        yield "moles_as_conc", facts.K({n: c * problem.volume for n, c in conc.items()}), "moles"
    yield "moles_as_conc", facts.K({n: 1e3 * c for n, c in conc.items()}), "millimoles per litre"


def _K(problem, facts):
    conc, start, x = problem.equilibrium, problem.mixed, _extent_of(problem, facts)
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
            made = _made(problem, facts, x)
            yield (
                "change_coeff",
                _positive(facts, facts.row(start, made, ignore_coefficients=True)),
                "all change alike",
            )
        for name, amount, why in _readings(problem):
            yield name, _positive(facts, facts.row(start, _extent_from(problem, facts, amount))), why
    yield from _amounts(facts, conc)


def _positive(facts, conc):
    """K of a row, or NaN if the row holds a negative concentration (nobody would go on from there)."""
    return math.nan if any(conc.get(n, 0.0) < 0 for n in facts.powers) else facts.K(conc)


def _readings(problem):
    """Concentrations of the observed species that a slip in reading the instrument gives."""
    m = problem.measured
    if "absorbance" not in m or "epsilon" not in m:
        return
    conc = steps.complex_from_absorbance
    yield "log_slip", conc(m, scale="transmittance"), "transmittance taken as absorbance"
    yield "log_slip", conc(m, scale="natural"), "natural logarithm"
    if m.get("path", 1.0) != 1.0:
        yield "path_ignored", conc(m, path=False), "cell taken as 1 cm"
    if m.get("blank"):
        yield "blank_kept", conc(m, blank=False), "blank not taken off"


def _extent_of(problem, facts):
    if problem.extent is not None:
        return problem.extent
    name = problem.observed if problem.observed in facts.coefficients else next(iter(facts.powers), None)
    if name is None or name not in problem.equilibrium or not problem.mixed:
        return None
    return (problem.equilibrium[name] - problem.mixed.get(name, 0.0)) / facts.coefficients[name]


def _extent_from(problem, facts, amount):
    nu = facts.coefficients.get(problem.observed)
    return (amount - problem.mixed.get(problem.observed, 0.0)) / nu if nu else math.nan


def _made(problem, facts, x):
    """How much the observed species (else the first product) changed: what is then taken for every species."""
    name = problem.observed or next((n for n, c in facts.coefficients.items() if c > 0), "")
    return abs(facts.coefficients.get(name, 1.0)) * x


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
    yield from _amounts(facts, conc)


def _concentration(problem, facts):
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
    start = problem.mixed if when == "before" else problem.at_once
    if when == "after" and problem.before and _was_added(problem, name):
        yield "full_cancel", problem.before.get(name, 0.0), "back to the value before the change"
    if name in start:
        for mistake, x, why in _wrong_extents(problem, facts, start, when):
            if x is not None:
                yield mistake, start.get(name, 0.0) + facts.coefficients[name] * x, why
        x = _solved(problem, facts, start, when)
        if x is not None and facts.coefficients[name] < 0:
            yield "change_sign", start[name] - facts.coefficients[name] * x, "reactant grows"
        if x is not None and abs(facts.coefficients[name]) != 1:
            yield (
                "change_coeff",
                start[name] + math.copysign(x, facts.coefficients[name] * x),
                "changed by x alone",
            )
        yield "initial_as_eq", start[name], "starting value"


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
    if when == "before" and "absorbance" in problem.measured and problem.part.quantity != "absorbance":
        for mistake, amount, why in _readings(problem):
            yield mistake, _extent_from(problem, facts, amount), why
        most = _room(facts, start)
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
    most, coefficients = _room(facts, start), facts.coefficients
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


def _room(facts, start):
    """For each reactant in K, the extent that would use it up."""
    return [start.get(n, 0.0) / -facts.coefficients[n] for n, p in facts.powers.items() if p < 0]


def _halfway(facts, start):
    """The extent at which the first product has the concentration of the reactant that is limiting."""
    reactants = [n for n, p in facts.powers.items() if p < 0]
    product = next((n for n, p in facts.powers.items() if p > 0), None)
    if product is None or not reactants:
        return None
    scarce = min(reactants, key=lambda n: start.get(n, 0.0) / -facts.coefficients[n])
    gap = start.get(scarce, 0.0) - start.get(product, 0.0)
    return gap / (facts.coefficients[product] - facts.coefficients[scarce])


def _extent(problem, facts):
    start = problem.mixed
    yield from _wrong_extents(problem, facts, start, "before")
    if problem.volume > 0 and problem.volume != 1 and problem.extent is not None:
        yield "moles_as_conc", problem.extent * problem.volume, "moles"


def _absorbance(problem, facts):
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
    if when in ("before", "after") and name in facts.coefficients:
        for mistake, amount, why in _at_equilibrium(problem, facts, name, when):
            yield mistake, per * amount, why


def _Kp(problem, facts):
    """Kp from a Kc: a slip in Kc goes through with the same factor."""
    if not problem.measured:
        yield "k_inverted", 1 / problem.expected if problem.expected else None, "upside down"
        return
    right = facts.Kc(problem.equilibrium)
    if not (math.isfinite(right) and right):
        return
    plain = Facts(problem, facts.coefficients, facts.powers)
    factor = problem.expected / right
    for mistake, value, why in _K(problem, plain):
        yield mistake, value * factor if mistake != "k_inverted" else 1 / problem.expected, why


def _dH(problem, _facts):
    right, scale = problem.expected, unit_scale(problem.part.unit)
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
    path, most = m.get("path", 1.0), sorted(_room(facts, problem.mixed))
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
        room = _room(facts, start)
        yield mistake, net / (path * min(room)) if min(room) > 0 else None, why


_BUILDERS = {
    "K": _K,
    "Kp": _Kp,
    "Q": _Q,
    "concentration": _concentration,
    "extent": _extent,
    "absorbance": _absorbance,
    "dH": _dH,
    "epsilon": _epsilon,
}
