"""Slips in a calculation: what each known mistake would give for a number, from one student's case.

First the steps of an equilibrium calculation, each with the faults it can have (reading -> concentration -> x
-> equilibrium row -> K, and back from K to x): plain arithmetic on floats, the only one of its own that the
marker has, and for wrong answers alone; right values come from ``eqlib.chem``. Then, for each quantity, a
builder that yields (mistake id, value) in mol/L, J/mol or without unit, likeliest first; RARE follows where
it is seldom made in this way. The number of suspects is bounded, so that a random number seldom meets one.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from eqlib.assess.asks import data
from eqlib.assess.asks.base import Part
from eqlib.assess.asks.data import LN10
from eqlib.assess.mistakes import Suspect
from eqlib.chem.salts import dissolved
from eqlib.chem.stress import Stress
from eqlib.chem.thermo import R_BAR

if TYPE_CHECKING:
    from eqlib.assess.question import Case

Conc = Mapping[str, float]
MOST = 20
#: Said of a slip that is seldom made in this way: another one that gives the same number is likelier.
RARE = True
_IN_UNITS = ("K", "Q", "concentration", "extent", "dH", "epsilon")
Slips = Iterator[tuple[Any, ...]]

# -- the steps of a calculation -------------------------------------------------------------------------


def in_K(coefficients: Conc) -> dict[str, float]:
    """Species that stand in K, with their powers: no solids, liquids or electrons."""
    return {n: float(c) for n, c in coefficients.items() if not n.endswith(("(s)", "(l)")) and n != "e^-"}


def quotient(
    powers: Conc, conc: Conc, *, inverted: bool = False, form: str = "right", joined: str = "product"
) -> float:
    """K or Q from concentrations. ``form``: "right", "dropped" or "times" (coefficients used as multipliers);
    ``joined``: "product", "bottom" or "both" (the terms of that line added). NaN where it has no value.
    """
    lines: dict[bool, list[float]] = {True: [], False: []}
    for name, power in powers.items():
        c, n = conc.get(name, 0.0), abs(power)
        try:
            term = c**n if form == "right" else c if form == "dropped" else n * c
        except (OverflowError, ZeroDivisionError):
            return math.nan
        if isinstance(term, complex):
            return math.nan
        lines[power > 0].append(term)
    top = sum(lines[True]) if joined == "both" and lines[True] else math.prod(lines[True])
    bottom = sum(lines[False]) if joined != "product" and lines[False] else math.prod(lines[False])
    if inverted:
        top, bottom = bottom, top
    return top / bottom if bottom else math.nan


def row(
    coefficients: Conc, start: Conc, x: float, *, sign: float = 1.0, alike: bool = False
) -> dict[str, float]:
    """The equilibrium row for an extent x. ``sign`` -1 lets the reactants grow."""
    out = {}
    for name, nu in coefficients.items():
        nu = float(nu)
        step = math.copysign(1.0, nu) if alike else nu
        out[name] = start.get(name, 0.0) + (step * x if nu > 0 else sign * step * x)
    return out


def solve_extent(
    coefficients: Conc, start: Conc, K: float, *, form: str = "right", alike: bool = False, sign: float = 1.0
) -> float | None:
    """The extent at which the quotient of the row equals K, by bisection; None if there is none.

    Only species of the row that stand in K count. With ``sign`` -1 the quotient need not reach K.
    """
    powers = in_K(coefficients)
    unit = {n: math.copysign(1.0, c) for n, c in coefficients.items()} if alike else coefficients
    # The extents between which nothing is negative.
    high = min((start.get(n, 0.0) / -unit[n] for n in powers if unit[n] < 0), default=math.inf)
    low = -min((start.get(n, 0.0) / unit[n] for n in powers if unit[n] > 0), default=math.inf)
    if sign < 0:
        low, high = 0.0, 1e3 * max(start.values(), default=0.0)
    if not (math.isfinite(low) and math.isfinite(high) and high > low and K > 0):
        return None

    def gap(x: float) -> float | None:
        q = quotient(powers, row(coefficients, start, x, sign=sign, alike=alike), form=form)
        return math.log(q / K) if q > 0 and math.isfinite(q) else None

    return _bisect(gap, low, high)


def _bisect(gap: Callable[[float], float | None], low: float, high: float) -> float | None:
    """Zero of a rising function whose value is None at the very ends (a logarithm of 0 or of infinity)."""
    width = high - low
    a, b = low + 1e-15 * width, high - 1e-15 * width
    at_a, at_b = gap(a), gap(b)
    if (at_a is not None and at_a > 0) or (at_b is not None and at_b < 0):
        return None
    for _ in range(200):
        middle = 0.5 * (a + b)
        value = gap(middle)
        if value is None or middle in (a, b):
            break
        a, b = (middle, b) if value < 0 else (a, middle)
    return 0.5 * (a + b)


def small_x(coefficients: Conc, start: Conc, K: float) -> float | None:
    """x if the reactants are taken as unchanged; None if some product is there at the start or a power is
    odd.
    """
    powers = in_K(coefficients)
    total = sum(c for c in powers.values() if c > 0)
    if total <= 0 or any(start.get(n, 0.0) for n, c in powers.items() if c > 0):
        return None
    rest = K * math.prod(start.get(n, 0.0) ** -c for n, c in powers.items() if c < 0)
    rest /= math.prod(c**c for c in powers.values() if c > 0)
    return rest ** (1 / total) if rest > 0 else None


def complex_from_absorbance(
    measured: Conc, *, path: bool = True, blank: bool = True, scale: str = "absorbance"
) -> float:
    """Concentration of the absorbing species. ``scale``: "absorbance", "transmittance" (10^-A used in its
    place) or "natural" (A taken with the natural logarithm).
    """
    reading = measured["absorbance"] - (measured.get("blank", 0.0) if blank else 0.0)
    if scale == "transmittance":
        reading = 10.0**-reading
    elif scale == "natural":
        reading *= LN10
    return reading / (measured["epsilon"] * (measured.get("path", 1.0) if path else 1.0))


# -- what each slip gives -------------------------------------------------------------------------------


@dataclass(frozen=True)
class Facts:
    """A case reduced to what the steps need. Concentrations in mol/L by species."""

    part: Part
    case: Case
    right: float
    coefficients: dict[str, float]
    powers: dict[str, float] = field(default_factory=dict)
    in_bar: float = 1.0  # factor from mol/L to the unit K is in, for gases of a Kp

    def activity(self, conc: Conc) -> dict[str, float]:
        """Concentrations in the unit that K is in."""
        if self.in_bar == 1.0:
            return dict(conc)
        return {n: c * self.in_bar if n.endswith("(g)") else c for n, c in conc.items()}

    def K(self, conc: Conc, **faults: Any) -> float:
        """The quotient of ``conc`` with these faults."""
        return quotient(self.powers, self.activity(conc), **faults)

    def Kc(self, conc: Conc) -> float:
        """The quotient in mol/L, whatever unit K is in."""
        return quotient(self.powers, conc)

    def row(self, start: Conc, x: float, **faults: Any) -> dict[str, float]:
        """The equilibrium row."""
        return row(self.coefficients, start, x, **faults)


def facts_of(part: Part, case: Case, scale: float = 1.0) -> Facts:
    right = case.expected.get(part.id)
    right = right / scale if isinstance(right, (int, float)) else math.nan
    if not case.reactions:
        return Facts(part, case, right, {})
    # Where the net equation is asked for, a concentration is worked out from that and not from the first.
    reaction = (case.net if part.quantity == "concentration" else None) or case.reaction
    coefficients = {n: float(c) for n, c in reaction.coefficients.items()}
    in_bar = R_BAR * case.temperature if reaction.basis == "p" else 1.0
    return Facts(part, case, right, coefficients, in_K(coefficients), in_bar)


def slips_of_reading(case: Case) -> Slips:
    """Concentrations of the observed species that a slip in reading the instrument gives."""
    m = case.measured
    if "absorbance" not in m or "epsilon" not in m:
        return
    conc = complex_from_absorbance
    yield "log_slip", conc(m, scale="transmittance")  # transmittance taken as absorbance
    yield "log_slip", conc(m, scale="natural")  # natural logarithm
    if m.get("path", 1.0) != 1.0:
        yield "path_ignored", conc(m, path=False)  # cell taken as 1 cm
    if m.get("blank"):
        yield "blank_kept", conc(m, blank=False)  # blank not taken off


def extent_from(case: Case, facts: Facts, amount: float) -> float:
    nu = facts.coefficients.get(case.observed)
    return (amount - case.mixed.get(case.observed, 0.0)) / nu if nu else math.nan


def amount_made(case: Case, facts: Facts, x: float) -> float:
    """How much the observed species (else the first product) changed."""
    name = case.observed or next((n for n, c in facts.coefficients.items() if c > 0), "")
    return abs(facts.coefficients.get(name, 1.0)) * x


def room(facts: Facts, start: Conc) -> list[float]:
    """For each reactant in K, the extent that would use it up."""
    return [start.get(n, 0.0) / -facts.coefficients[n] for n, p in facts.powers.items() if p < 0]


def stock_starts(case: Case, coefficients: Conc) -> Iterator[tuple[str, dict[str, float]]]:
    """(mistake, start) for each way of forgetting the dilution.

    All reactants at bottle strength; one of them alone; the water left out of the total volume. Nothing when
    the start was not poured together.
    """
    bottles: dict[str, float] = {}
    filled = 0.0
    for portion in case.portions:
        for name, conc in portion.concentrations.items():
            bottles[name] = max(conc, bottles.get(name, 0.0))
        filled += portion.volume if any(portion.concentrations.values()) else 0.0
    total = sum(p.volume for p in case.portions)
    poured = [n for n, c in coefficients.items() if c < 0 and bottles.get(n, 0.0) > 0]
    if not poured or total <= 0:
        return
    start = dict(case.mixed)
    yield "stock_conc", {**start, **{n: bottles[n] for n in poured}}  # bottle strength for all
    if 0 < filled < total * (1 - 1e-9):
        share = total / filled
        yield "stock_conc", {n: c * share for n, c in start.items()}  # water left out of the volume
    if len(poured) > 1:
        for name in poured:
            yield "stock_conc", {**start, name: bottles[name]}  # bottle strength for this one


def added_undiluted(case: Case) -> Iterator[dict[str, float]]:
    """Concentrations just after a solution was added, with the dilution by it forgotten.

    Either what was there is not thinned, or what comes in keeps its bottle strength.
    """
    added, volume = solution_added(case.stress)
    if not added or not case.before or case.volume <= 0:
        return
    before = case.before
    kept = {n: c + added.get(n, 0.0) * volume / case.volume for n, c in before.items()}
    kept |= {n: c * volume / case.volume for n, c in added.items() if n not in before}
    yield kept  # volume of the added solution left out
    strong = {n: before.get(n, 0.0) + c for n, c in added.items()}
    yield {**before, **strong}  # bottle strength for what was added


def solution_added(stress: Stress | None) -> tuple[dict[str, float], float]:
    """(ion or molecule -> mol/L in the bottle, litres) of an added solution; ({}, 0) for any other stress."""
    if stress is None or stress.kind != "add_solution":
        return {}, 0.0
    return dict(dissolved(dict(stress.amounts))), stress.litres


def concentration(case: Case, facts: Facts) -> Slips:
    name, when = facts.part.species, facts.part.when or "before"
    right = getattr(case, when).get(name, 0.0)
    if when == "mixed":
        for mistake, other in stock_starts(case, facts.coefficients | {name: -1.0}):
            yield mistake, other.get(name, 0.0)
    elif when == "at_once":
        for other in added_undiluted(case):
            yield "stock_conc", other.get(name, 0.0)
    elif name in facts.coefficients:
        yield from _at_equilibrium(case, facts, name, when)
        yield from _beside_the_net(case, facts, name)
    if right and case.volume > 0 and case.volume != 1:
        yield "moles_as_conc", right * case.volume  # moles
        yield "moles_as_conc", 1e3 * right * case.volume, RARE  # millimoles
        yield "moles_as_conc", 1e6 * right * case.volume, RARE  # micromoles


def _at_equilibrium(case: Case, facts: Facts, name: str, when: str) -> Slips:
    start, nu = case.mixed if when == "before" else case.at_once, facts.coefficients[name]
    if when == "after" and case.before and _was_added(case, name):
        yield "full_cancel", case.before.get(name, 0.0)  # back to the value before the change
    if name not in start:
        return
    for mistake, x in _wrong_extents(case, facts, start, when):
        if x is not None:
            yield mistake, start[name] + nu * x
    x = _solved(case, facts, start, when)
    if x is None:
        return
    if nu < 0:
        yield "change_sign", start[name] - nu * x  # reactant grows
        if _read_off(facts, when):
            for mistake, other in stock_starts(case, facts.coefficients):
                yield mistake, other.get(name, 0.0) + nu * x
    for size in {1.0, *map(abs, facts.coefficients.values())} - {abs(nu)}:
        yield "change_coeff", start[name] + math.copysign(size * x, nu * x)  # another coefficient, or none
    yield "initial_as_eq", start[name]  # starting value


def _beside_the_net(case: Case, facts: Facts, name: str) -> Slips:
    """Where the end is worked out from a net equation: one of its reactions taken alone, or its K misused."""
    net = case.net
    if net is None:
        return
    start, nu, K = case.mixed, facts.coefficients[name], net.require_K()
    for reaction in case.reactions:
        coefficients = {name: float(nu) for name, nu in reaction.coefficients.items()}
        x = small_x(coefficients, {}, reaction.require_K())
        if x is not None and reaction.coefficients.get(name, 0) > 0:
            yield "not_in_equation", float(reaction.coefficients[name]) * x  # the other reaction left out
    yield "k_is_conc", K  # K itself
    inverted = small_x(facts.coefficients, start, 1 / K)
    yield "k_inverted", None if inverted is None else start[name] + nu * inverted  # upside down, x left out


def _read_off(facts: Facts, when: str) -> bool:
    """Does x come from a reading (rather than from K)?"""
    return when == "before" and bool(facts.case.measured) and facts.part.quantity != "absorbance"


def _was_added(case: Case, name: str) -> bool:
    return case.at_once.get(name, 0.0) > case.before.get(name, 0.0) * 1.005


def _solved(case: Case, facts: Facts, start: Conc, when: str) -> float | None:
    """The right extent from ``start``, where the reaction stands alone or was measured."""
    if when == "before" and case.extent is not None:
        return case.extent
    end = case.after if when == "after" else case.before or case.equilibrium
    name = next((n for n in facts.powers if n in end), None)
    if name is None:
        return None
    x = (end[name] - start.get(name, 0.0)) / facts.coefficients[name]
    row = facts.row(start, x)
    alone = all(
        math.isclose(row[n], end.get(n, 0.0), rel_tol=1e-4, abs_tol=1e-12 + 1e-5 * start.get(n, 0.0))
        for n in facts.powers
    )
    return x if alone else None


def _wrong_extents(case: Case, facts: Facts, start: Conc, when: str) -> Slips:
    """(mistake, x): extents that a mistake leads to, from a reading or from K."""
    if _read_off(facts, when):
        for mistake, amount in slips_of_reading(case):
            yield mistake, extent_from(case, facts, amount)
        most = room(facts, start)
        yield "goes_complete", min(most, default=None)  # limiting reactant used up
        K = facts.Kc(case.equilibrium)
        yield "unchecked_small_x", small_x(facts.coefficients, start, K)  # reactants taken as unchanged
        return
    x = _solved(case, facts, start, when)
    if x is None:
        return
    K = facts.Kc(facts.row(start, x))
    if not (math.isfinite(K) and K > 0):
        return
    most, coefficients = room(facts, start), facts.coefficients
    if x > 0:
        yield "goes_complete", min(most, default=None)  # limiting reactant used up
        if len(set(most)) > 1:
            yield "limiting_swapped", max(most)  # reactant in excess used up
        yield "unchecked_small_x", small_x(coefficients, start, K)  # reactants taken as unchanged
        yield "equal_amounts", _halfway(facts, start)  # as much product as limiting reactant
    yield "k_inverted", solve_extent(coefficients, start, 1 / K)  # solved with K upside down
    if any(abs(c) != 1 for c in coefficients.values()):
        yield "powers_missing", solve_extent(coefficients, start, K, form="dropped")
        yield "change_coeff", solve_extent(coefficients, start, K, alike=True)
    if when == "before":
        for mistake, other in stock_starts(case, coefficients):
            yield mistake, solve_extent(coefficients, other, K)
    grown, short = solve_extent(coefficients, start, K, sign=-1.0), small_x(coefficients, start, K)
    # Where x is small beside what it is added to or taken from, nobody can tell which of the two was done.
    if grown is None or short is None or not math.isclose(grown, short, rel_tol=0.02):
        yield "change_sign", grown  # reactants grow


def _halfway(facts: Facts, start: Conc) -> float | None:
    """The extent at which the first product has the concentration of the reactant that is limiting."""
    reactants = [n for n, p in facts.powers.items() if p < 0]
    product = next((n for n, p in facts.powers.items() if p > 0), None)
    if product is None or not reactants:
        return None
    scarce = min(reactants, key=lambda n: start.get(n, 0.0) / -facts.coefficients[n])
    gap = start.get(scarce, 0.0) - start.get(product, 0.0)
    return gap / (facts.coefficients[product] - facts.coefficients[scarce])


def extent(case: Case, facts: Facts) -> Slips:
    start = case.mixed
    yield from _wrong_extents(case, facts, start, "before")
    if case.volume > 0 and case.volume != 1 and case.extent is not None:
        yield "moles_as_conc", case.extent * case.volume  # moles
        yield "moles_as_conc", 1e3 * case.extent * case.volume, RARE  # millimoles


def absorbance(case: Case, facts: Facts) -> Slips:
    m, when = case.measured, facts.part.when or "before"
    if "epsilon" not in m:
        return
    name = facts.part.species or case.observed
    conc, per = getattr(case, when).get(name, 0.0), m["epsilon"] * m.get("path", 1.0)
    if not conc:
        return
    if m.get("path", 1.0) != 1.0:
        yield "path_ignored", m["epsilon"] * conc  # cell taken as 1 cm
    yield "log_slip", 10.0 ** -(per * conc)  # transmittance given
    yield "log_slip", per * conc * LN10  # natural logarithm
    if "concentration" in m and name == case.observed:
        return  # it stands in the question, so there is nothing to get wrong on the way to it
    if when in ("before", "after") and name in facts.coefficients:
        for mistake, amount in _at_equilibrium(case, facts, name, when):
            yield mistake, per * amount


def number_suspects(part: Part, case: Case, scale: float) -> list[Suspect]:
    """Suspects of a number part, in the part's unit: ``scale`` times what is worked out in mol/L."""
    facts = facts_of(part, case, scale)
    if part.quantity in data.SLIPS:
        build = data.SLIPS[part.quantity](case, facts.right)
    elif part.quantity in _BUILDERS and case.reactions:
        build = _BUILDERS[part.quantity](case, facts)
    else:
        return []
    out: list[Suspect] = []
    right = facts.right * scale
    for name, value, *rare in (*build, *_thousandfold(facts)):
        if value is None or isinstance(value, complex) or not math.isfinite(value):
            continue
        value *= scale
        if value < 0 <= right and name != "unchecked_small_x" and part.quantity != "dH":
            continue  # nobody hands in a negative amount
        if right and math.isclose(value, right, rel_tol=1e-6):
            continue  # no mistake with these numbers
        if not any(
            name in (s.mistake, "unit_prefix") and math.isclose(value, s.value, rel_tol=1e-6, abs_tol=1e-300)
            for s in out
        ):
            out.append(Suspect(name, value, bool(rare)))
    return out[:MOST]


def _thousandfold(facts: Facts) -> Slips:
    """J for kJ, mmol for mol: the unit is another than the one that is asked for."""
    if facts.part.quantity in _IN_UNITS and math.isfinite(facts.right):
        yield "unit_prefix", 1000.0 * facts.right, RARE
        yield "unit_prefix", facts.right / 1000.0, RARE


def _writings(facts: Facts, conc: Conc) -> Slips:
    """Slips in writing K or Q down, with the right concentrations."""
    yield "k_inverted", facts.K(conc, inverted=True)  # upside down
    if any(abs(p) != 1 for p in facts.powers.values()):
        yield "powers_missing", facts.K(conc, form="dropped")  # no powers
        yield "powers_missing", facts.K(conc, form="times")  # coefficients as multipliers
    if sum(p < 0 for p in facts.powers.values()) > 1:
        yield "sum_not_product", facts.K(conc, joined="bottom")  # lower line added
    elif sum(p > 0 for p in facts.powers.values()) > 1:
        yield "sum_not_product", facts.K(conc, joined="both")  # upper line added
    water = facts.coefficients.get("H2O(l)")
    if water:
        yield "solid_in_k", facts.K(conc) * 55.5**water  # water put in


def _amounts(facts: Facts, conc: Conc, volume: float) -> Slips:
    """Amounts instead of concentrations (only where the powers do not cancel), in ``volume`` litres."""
    if volume > 0 and volume != 1:
        yield "moles_as_conc", facts.K({n: c * volume for n, c in conc.items()})  # moles
        yield "moles_as_conc", facts.K({n: 1e3 * c * volume for n, c in conc.items()}), RARE  # millimoles
    yield "moles_as_conc", facts.K({n: 1e3 * c for n, c in conc.items()})  # millimoles per litre


def _K(case: Case, facts: Facts) -> Slips:
    yield from _writings(facts, case.equilibrium)
    for mistake, wrong in _wrong_rows(case, facts):
        yield mistake, _positive(facts, wrong)
    yield from _amounts(facts, case.equilibrium, case.volume)


def _wrong_rows(case: Case, facts: Facts) -> Iterator[tuple[str, dict[str, float]]]:
    """(mistake, equilibrium row): rows that a slip in a start, a change or a reading leads to."""
    x, start, right = case.extent, case.mixed, case.equilibrium
    if x is None or not start:
        return
    for mistake, other in stock_starts(case, facts.coefficients):
        yield mistake, facts.row(other, x)
    reactants_kept = {
        n: start.get(n, 0.0) if c < 0 else right.get(n, 0.0) for n, c in facts.coefficients.items()
    }
    yield "initial_as_eq", reactants_kept
    yield "change_sign", facts.row(start, x, sign=-1.0)
    if any(abs(c) != 1 for c in facts.coefficients.values()):
        yield "change_coeff", facts.row(start, amount_made(case, facts, x), alike=True)
    for mistake, amount in slips_of_reading(case):
        yield mistake, facts.row(start, extent_from(case, facts, amount))


def _positive(facts: Facts, conc: Conc) -> float:
    """K of a row, or NaN if the row holds a negative concentration (nobody would go on from there)."""
    return math.nan if any(conc.get(n, 0.0) < 0 for n in facts.powers) else facts.K(conc)


def _Q(case: Case, facts: Facts) -> Slips:
    when = facts.part.when or "at_once"
    conc = getattr(case, when)
    later = case.after or case.equilibrium or case.before
    kind = getattr(case.stress, "kind", "")
    if kind == "dilute" and when == "at_once" and case.before:
        yield "volume_ignored", facts.K(case.before)  # concentrations as before the water
    if later:
        yield "q_is_k", facts.K(later)  # K given for Q
    if when == "mixed":
        for name, other in stock_starts(case, facts.coefficients):
            yield name, facts.K(other)
    if when == "at_once" and case.before:
        for other in added_undiluted(case):
            yield "stock_conc", facts.K(other)
        yield from _slips_before(case, facts)
    yield from _writings(facts, conc)
    disturbed = case.disturbance if when in ("at_once", "after") else None
    yield from _amounts(facts, conc, disturbed.at_once.volume if disturbed else case.volume)


def _slips_before(case: Case, facts: Facts) -> Slips:
    """Slips in the concentrations before the change, carried into it by the right dilution."""
    if case.disturbance is None:
        return
    share = case.disturbance.before.volume / case.disturbance.at_once.volume
    for mistake, wrong in _wrong_rows(case, facts):
        later = {
            n: case.at_once.get(n, 0.0) + share * (wrong[n] - case.equilibrium.get(n, 0.0))
            for n in facts.powers
        }
        yield mistake, _positive(facts, later), RARE


def _Kp(case: Case, facts: Facts) -> Slips:
    """Kp from a Kc: a slip in Kc goes through with the same factor."""
    if not facts.right:
        return
    if not case.measured:
        yield "k_inverted", 1 / facts.right  # upside down
        yield from _RT(case, facts.right, case.reaction.kc(case.temperature))
        return
    right = facts.Kc(case.equilibrium)
    if not (math.isfinite(right) and right):
        return
    plain = Facts(facts.part, case, facts.right, facts.coefficients, facts.powers)
    factor = facts.right / right
    for mistake, value, *rare in _K(case, plain):
        yield mistake, value * factor if mistake != "k_inverted" else 1 / facts.right, *rare
    yield from _RT(case, facts.right, right)


def _RT(case: Case, kp: float, kc: float) -> Slips:
    """RT on the wrong side, or left out."""
    if case.reaction.dn_gas:
        yield "rt_wrong_side", kc * kc / kp  # RT on the wrong side
        yield "rt_wrong_side", kc  # RT left out


def _epsilon(case: Case, facts: Facts) -> Slips:
    """The absorptivity from one standard, whose complex is set by the reactant that runs out first."""
    m = case.measured
    net = m["absorbance"] - m.get("blank", 0.0)
    path, most = m.get("path", 1.0), sorted(room(facts, case.mixed))
    if not most or not most[0]:
        return
    yield "limiting_swapped", net / (path * most[-1]) if len(set(most)) > 1 else None  # reactant in excess
    if path != 1.0:
        yield "path_ignored", net / most[0]  # cell taken as 1 cm
    if m.get("blank"):
        yield "blank_kept", m["absorbance"] / (path * most[0])  # blank not taken off
    yield "log_slip", 10.0**-net / (path * most[0])  # transmittance taken as absorbance
    yield "log_slip", net * LN10 / (path * most[0])  # natural logarithm
    for mistake, start in stock_starts(case, facts.coefficients):
        there = room(facts, start)
        yield mistake, net / (path * min(there)) if min(there) > 0 else None


_BUILDERS = {
    "K": _K,
    "Kp": _Kp,
    "Q": _Q,
    "concentration": concentration,
    "extent": extent,
    "absorbance": absorbance,
    "epsilon": _epsilon,
}
