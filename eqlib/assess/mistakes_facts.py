"""A Problem reduced to what the steps of a calculation need, and the readings that a slip at the instrument
gives.
"""

import math
from dataclasses import dataclass, field

from eqlib.assess import mistakes_steps as steps

R_BAR = 0.0831446261815324  # L bar/(mol K), CODATA 2018, exact
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


def facts_of(problem):
    if not problem.reactions:
        return Facts(problem, {})
    reaction = problem.reaction
    coefficients = {n: float(c) for n, c in reaction.coefficients.items()}
    in_bar = R_BAR * problem.temperature if getattr(reaction, "basis", "c") == "p" else 1.0
    return Facts(problem, coefficients, steps.in_K(coefficients), in_bar)


def slips_of_reading(problem):
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


def extent_of(problem, facts):
    if problem.extent is not None:
        return problem.extent
    name = problem.observed if problem.observed in facts.coefficients else next(iter(facts.powers), None)
    if name is None or name not in problem.equilibrium or not problem.mixed:
        return None
    return (problem.equilibrium[name] - problem.mixed.get(name, 0.0)) / facts.coefficients[name]


def extent_from(problem, facts, amount):
    nu = facts.coefficients.get(problem.observed)
    return (amount - problem.mixed.get(problem.observed, 0.0)) / nu if nu else math.nan


def amount_made(problem, facts, x):
    """How much the observed species (else the first product) changed."""
    name = problem.observed or next((n for n, c in facts.coefficients.items() if c > 0), "")
    return abs(facts.coefficients.get(name, 1.0)) * x


def room(facts, start):
    """For each reactant in K, the extent that would use it up."""
    return [start.get(n, 0.0) / -facts.coefficients[n] for n, p in facts.powers.items() if p < 0]
