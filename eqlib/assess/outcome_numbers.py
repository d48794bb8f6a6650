"""The right value of every number that can be asked, from one student's Problem.

``own`` carries the student's earlier values forward: a later number is worked from what the student had, so
that one slip is penalised once.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Mapping
from decimal import Decimal

from eqlib.assess.kinds import Part, Problem
from eqlib.assess.outcome_readings import round_to
from eqlib.assess.outcome_units import part_scale
from eqlib.assess.questions_schema import QuestionError

R_J = 8.31446261815324  # J/(mol K), exact by the 2019 definition of the SI


def reading_of(table, state) -> Decimal:
    """The reading a student is given, rounded as printed: an absorbance or a concentration of ``state``."""
    amount = float(state[table["species"]])
    if table["reading"] == "absorbance":
        value = float(table.get("blank", 0)) + float(table["epsilon"]) * float(table["path_cm"]) * amount
        return round_to(value, decimals=int(table.get("decimals", 3)))
    return round_to(amount, figures=int(table.get("figures", 3)))


def worked_extent(problem: Problem) -> float:
    """x (mol/L) from the reading: Beer-Lambert for an absorbance, then the observed species' coefficient."""
    measured = problem.measured
    if "absorbance" in measured:
        amount = (measured["absorbance"] - measured["blank"]) / (measured["epsilon"] * measured["path"])
    else:
        amount = measured["concentration"]
    nu = problem.reaction.coefficients.get(problem.observed)
    if nu is None:
        raise QuestionError(
            f"measured: {problem.observed} is not in {problem.reaction}; observe one of its species"
        )
    return (amount - problem.mixed.get(problem.observed, 0.0)) / float(nu)


def moved(problem: Problem, extent: float) -> dict[str, float]:
    """Concentrations after the first reaction has gone ``extent`` mol/L from the mixed ones."""
    wanted = problem.reaction.quotient_species
    return {name: problem.mixed.get(name, 0.0) + float(nu) * extent for name, nu in wanted.items()}


def number_expected(part: Part, problem: Problem, own: Mapping[str, object]) -> float:
    """The right value of a number part, in the part's unit. Raises QuestionError when it cannot be worked
    out.
    """
    value = _VALUES[part.quantity](part, problem, own)
    if not math.isfinite(value):
        raise QuestionError(f"part {part.id!r} has no finite value with these numbers")
    return _in_unit(value, part)


def _in_unit(value: float, part: Part) -> float:
    """From mol/L (or J/mol) to the unit the part asks for."""
    return value * part_scale(part)


def _from_unit(value: float, part: Part) -> float:
    return value / _in_unit(1.0, part)


def own_concentrations(problem: Problem, own, skip: str = "") -> dict[str, float]:
    """Equilibrium concentrations as the student has them: their own x and concentrations where they gave
    any.
    """
    found = dict(problem.equilibrium)
    for part in problem.parts:
        if part.id in own and part.id != skip and part.quantity == "extent":
            x = _from_unit(own[part.id], part)
            for name, nu in problem.reaction.quotient_species.items():
                found[name] = problem.mixed.get(name, 0.0) + float(nu) * x
    for part in problem.parts:
        if part.id not in own or part.id == skip:
            continue
        if part.quantity == "concentration" and part.when == "before":
            found[part.species] = _from_unit(own[part.id], part)
        if part.ask == "ice":
            cells = own[part.id].get("equilibrium", {})
            found.update({name: cell for name, cell in cells.items() if type(cell) in (int, float)})
    return found


def _K(part, problem, own):
    return _quotient(problem, own_concentrations(problem, own, part.id))


def _Q(part, problem, own):
    return _quotient(problem, own_at(part.when, problem, own, part.id))


def own_at(when: str, problem: Problem, own, skip: str = "") -> dict[str, float]:
    """Concentrations at a moment as the student has them. What they had before the change is carried into
    it, diluted.
    """
    found = dict(getattr(problem, when))
    if when == "at_once" and problem.disturbance is not None:
        share = problem.disturbance.before.volume / problem.disturbance.at_once.volume
        theirs = own_concentrations(problem, own, skip)
        for name in problem.reaction.quotient_species:
            if theirs.get(name) != problem.equilibrium.get(name):
                found[name] = found.get(name, 0.0) + share * (theirs[name] - problem.equilibrium[name])
    for other in problem.parts:
        if other.id in own and other.id != skip and other.quantity == "concentration" and other.when == when:
            found[other.species] = _from_unit(own[other.id], other)
    return found


def _quotient(problem, concentrations) -> float:
    """Q; gases in bar when the reaction's K is a Kp, as its own temperature says."""
    reaction = problem.reaction
    if reaction.basis == "p":
        T = problem.temperature
        return reaction.as_basis("c", T).quotient(concentrations) * reaction.kp(T) / reaction.kc(T)
    return reaction.quotient(concentrations)


def _concentration(part, problem, own):
    if part.when == "before":
        return own_concentrations(problem, own, part.id).get(part.species, 0.0)
    return own_at(part.when, problem, own, part.id).get(part.species, 0.0)


def _extent(part, problem, own):
    if problem.extent is None:
        raise QuestionError(f"part {part.id!r}: x needs one reaction, or a reading to work it out from")
    return problem.extent


def _absorbance(part, problem, own):
    measured = problem.measured
    if "epsilon" in measured:
        species = part.species or problem.observed
        return measured["epsilon"] * measured["path"] * getattr(problem, part.when).get(species, 0.0)
    raise QuestionError(
        f"part {part.id!r}: an absorbance needs epsilon and path_cm under [question.measured]"
    )


def _dH(part, problem, own):
    """van 't Hoff between two temperatures: ln(K2/K1) = -(dH/R) (1/T2 - 1/T1)."""
    m = problem.measured
    return -R_J * math.log(m["K2"] / m["K1"]) / (1.0 / m["T2"] - 1.0 / m["T1"])


def _Kp(part, problem, own):
    reaction, T = problem.reaction, problem.temperature
    if not problem.measured:
        return reaction.kp(T)
    asked = [p for p in problem.parts if p.quantity == "K" and p.id in own]
    kc = _from_unit(own[asked[0].id], asked[0]) if asked else _K(part, problem, own)
    if reaction.basis == "p":
        return kc
    return reaction.as_basis("c", T).with_K(kc).kp(T)


def limiting(problem: Problem) -> tuple[str, float]:
    """The reactant of the mixed solution that runs out first, and its concentration in mol/L."""
    most = {
        name: problem.mixed.get(name, 0.0) / -float(nu)
        for name, nu in problem.reaction.quotient_species.items()
        if nu < 0
    }
    scarce = min(most, key=most.get, default=None)
    if scarce is None or most[scarce] <= 0:
        raise QuestionError("epsilon needs reactants that were poured together")
    return scarce, most[scarce]


def _epsilon(part, problem, own):
    """Beer-Lambert for a standard in which all of the limiting reactant is taken as complex."""
    measured = problem.measured
    if problem.reaction.coefficients.get(problem.observed) != 1:
        raise QuestionError("epsilon needs an observed species that is formed one by one (coefficient 1)")
    return (measured["absorbance"] - measured["blank"]) / (measured["path"] * limiting(problem)[1])


def runs_of(problem: Problem) -> list[float]:
    """The repeated results the student is given, in the file's order."""
    return [value for name, value in problem.measured.items() if name.startswith("run")]


def _mean(part, problem, own):
    return statistics.fmean(runs_of(problem))


def _s(part, problem, own):
    return statistics.stdev(runs_of(problem))


def _n(part, problem, own):
    return float(len(runs_of(problem)))


_VALUES = {
    "epsilon": _epsilon,
    "mean": _mean,
    "s": _s,
    "n": _n,
    "K": _K,
    "Kp": _Kp,
    "Q": _Q,
    "concentration": _concentration,
    "extent": _extent,
    "absorbance": _absorbance,
    "dH": _dH,
}
