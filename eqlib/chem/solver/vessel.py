"""One vessel: gas at constant volume or pressure, and activities that agree with the ionic strength.

The gas phase is at constant volume one more place for a species to be, at constant pressure a phase that
may form.
At constant pressure the volume of gas v (per litre of mixture) is the unknown: the sum of the partial
pressures falls steadily as v grows, so the one v at which it equals the pressure is found between brackets.
When it stays below the pressure even for a vanishing volume, there is no gas phase.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping
from typing import TYPE_CHECKING

import numpy as np

from eqlib.chem.activity import NAMES, VALID_TO, check_model, ln_gamma
from eqlib.chem.solver.single import NoSolution, Solution, solve_network
from eqlib.chem.species import species
from eqlib.chem.thermo import R_BAR
from eqlib.errors import EqlibError

if TYPE_CHECKING:
    from eqlib.chem.mixture import Mixture

Found = tuple[Solution, float, tuple[str, ...]]
"""The equilibrium, litres of gas per litre of mixture, remarks."""
_ROUNDS = 100


def solve(
    mixture: Mixture,
    ln_K: np.ndarray,
    amounts: np.ndarray,
    others: Mapping[str, float],
    held: dict[int, float],
    start: Solution | None = None,
) -> Found:
    """Equilibrate the network of a mixture.

    Returns (Solution, litres of gas per litre of mixture, remarks).
    """
    network = mixture.network
    if mixture.pressure is None:
        space = mixture.gas_space
        return solve_network(network, ln_K, amounts, space, held, start), space, ()
    inert = math.fsum(v for n, v in others.items() if species(n).phase == "g")
    return _AtPressure(mixture, ln_K, amounts, inert, held).solve(start)


class _AtPressure:
    def __init__(
        self,
        mixture: Mixture,
        ln_K: np.ndarray,
        amounts: np.ndarray,
        inert: float,
        held: dict[int, float],
    ):
        self.network, self.ln_K, self.amounts, self.held = mixture.network, ln_K, amounts, held
        self.inert = inert
        self.target = (mixture.pressure or 0.0) / (R_BAR * mixture.T)  # mol of gas per litre of gas space
        self.put_in = float(amounts.sum()) + inert
        self.last: Solution | None = None

    def excess(self, ln_v: float) -> float:
        """ln(pressure / wanted pressure) at gas volume exp(ln_v)."""
        v = math.exp(ln_v)
        self.last = solve_network(self.network, self.ln_K, self.amounts, v, self.held, self.last)
        total = float(self.last.c[self.network.gas].sum()) + self.inert / v
        return math.log(total / self.target) if total > 0.0 else -math.inf

    def solve(self, start: Solution | None) -> Found:
        self.last = start
        usual = max(self.put_in, 1e-9) / self.target
        low, high = math.log(usual) - 30.0, math.log(usual) + 2.0
        at_low = self.excess(low)
        if at_low <= 0.0:
            return self.without_gas()
        at_high = self.excess(high)
        while at_high > 0.0:
            low, at_low = high, at_high
            high += 3.0
            if high > math.log(usual) + 60.0:
                raise NoSolution(
                    "at this pressure everything turns to gas without end (the liquid boils); "
                    "raise the pressure"
                )
            at_high = self.excess(high)
        ln_v = self.between(low, at_low, high, at_high)
        self.excess(ln_v)
        assert self.last is not None  # excess has just found it
        return self.last, math.exp(ln_v), ()

    def between(self, low: float, at_low: float, high: float, at_high: float) -> float:
        """Root by the Illinois form of false position, then bisection where a step in pressure makes that
        slow.
        """
        side = 0
        for turn in range(200):
            bounded = math.isfinite(at_high) and turn < 60
            guess = low + (high - low) * at_low / (at_low - at_high) if bounded else 0.5 * (low + high)
            value = self.excess(guess)
            if abs(value) < 1e-15 or high - low < 4e-16 * max(1.0, abs(guess)):
                return guess
            if value > 0.0:
                low, at_low = guess, value
                if side == 1:
                    at_high *= 0.5
                side = 1
            else:
                high, at_high = guess, value
                if side == -1:
                    at_low *= 0.5
                side = -1
        return 0.5 * (low + high)

    def without_gas(self) -> Found:
        solution = solve_network(self.network, self.ln_K, self.amounts, 0.0, self.held)
        return solution, 0.0, ("No gas phase forms at this pressure.",)


# -- activities --------------------


def solve_with_activities(
    mixture: Mixture,
    model: str,
    amounts: np.ndarray,
    others: Mapping[str, float],
    held: dict[int, float],
    by_activity: Collection[int] = frozenset(),
    start: Solution | None = None,
) -> tuple[Found, dict[str, float], tuple[str, ...]]:
    """Equilibrate with activity coefficients at the mixture's own ionic strength.

    ``held``: {row: ln concentration}, or ln activity for the rows in ``by_activity``. Returns ((Solution, gas
    space, remarks), {ion: gamma}, remarks). The root I = I(composition(I)) is followed by false position
    between bounds, so it cannot wander off.
    """
    check_model(model)
    loop = _Consistent(mixture, model, amounts, others, held, by_activity, start)
    strength, gap = 0.0, loop.gap(0.0)
    low = (0.0, gap)
    high: tuple[float, float] | None = None
    for _ in range(_ROUNDS):
        if abs(gap) <= 1e-13 * max(strength, 1e-12):
            return loop.finished(strength)
        if gap > 0.0:
            low = (strength, gap)
        else:
            high = (strength, gap)
        strength = _next(low, high, strength, gap)
        gap = loop.gap(strength)
        if high is not None and high[0] - low[0] <= 1e-14 * high[0]:
            return loop.finished(strength)
    raise EqlibError(f"no ionic strength agrees with itself under the {NAMES[model]}; use activity='ideal'")


def _next(low: tuple[float, float], high: tuple[float, float] | None, strength: float, gap: float) -> float:
    if high is None:
        return strength + gap
    step = strength + gap
    secant = low[0] + (high[0] - low[0]) * low[1] / (low[1] - high[1])
    width = high[0] - low[0]
    for guess in (secant, step):
        if low[0] + 1e-3 * width < guess < high[0] - 1e-3 * width:
            return guess
    return secant if low[0] < secant < high[0] else 0.5 * (low[0] + high[0])


class _Consistent:
    def __init__(
        self,
        mixture: Mixture,
        model: str,
        amounts: np.ndarray,
        others: Mapping[str, float],
        held: dict[int, float],
        by_activity: Collection[int],
        start: Solution | None,
    ):
        self.mixture, self.model = mixture, model
        self.amounts, self.others, self.held, self.start = amounts, others, held, start
        self.network = mixture.network
        self.square = np.where(self.network.gas, 0.0, self.network.charge**2)
        self.spectators = math.fsum(
            v * species(n).charge ** 2 for n, v in others.items() if species(n).phase == "aq"
        )
        self.by_activity = by_activity
        self.found: Found | None = None

    def ln_gammas(self, strength: float) -> np.ndarray:
        pairs = zip(self.network.names, self.network.charge, strict=True)
        return np.array([ln_gamma(n, z, strength, self.model, self.mixture.T) for n, z in pairs])

    def gap(self, strength: float) -> float:
        """Ionic strength of the composition found with gammas at ``strength``, less ``strength``."""
        shift = self.ln_gammas(strength)
        ln_K = self.mixture.ln_K - self.network.nu @ shift
        held = {
            row: value - (shift[row] if row in self.by_activity else 0.0) for row, value in self.held.items()
        }
        self.found = solve(self.mixture, ln_K, self.amounts, self.others, held, self.start)
        solution = self.found[0]
        self.start = solution
        there = solution.n > 0.0
        return 0.5 * (float(self.square[there] @ solution.c[there]) + self.spectators) - strength

    def finished(self, strength: float) -> tuple[Found, dict[str, float], tuple[str, ...]]:
        names = [*self.network.names, *self.others]
        gamma = {}
        for name in names:
            one = species(name)
            if one.charge and one.phase == "aq":
                gamma[name] = float(np.exp(ln_gamma(name, one.charge, strength, self.model, self.mixture.T)))
        remarks = [f"Activities by the {NAMES[self.model]} at ionic strength {strength:.3g} mol/L."]
        if strength > VALID_TO[self.model]:
            remarks.append(
                f"The ionic strength {strength:.3g} mol/L is beyond the range of the {NAMES[self.model]} "
                f"(about {VALID_TO[self.model]:g} mol/L); take the numbers as a rough guide."
            )
        assert self.found is not None  # gap has found it
        return self.found, gamma, tuple(remarks)
