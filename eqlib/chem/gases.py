"""The gas phase: at constant volume one more place for a species to be, at constant pressure a phase that may
form.

At constant pressure the volume of gas v (per litre of mixture) is the unknown: the sum of the partial
pressures falls steadily as v grows, so the one v at which it equals the pressure is found between brackets.
When it stays below the pressure even for a vanishing volume, there is no gas phase.
"""

import math

from eqlib.chem.equilibrium import NoSolution, solve_network
from eqlib.chem.reactions import R_BAR
from eqlib.chem.species import species


def solve(mixture, ln_K, amounts, others, held, start=None):
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
    def __init__(self, mixture, ln_K, amounts, inert, held):
        self.network, self.ln_K, self.amounts, self.held = mixture.network, ln_K, amounts, held
        self.inert = inert
        self.target = mixture.pressure / (R_BAR * mixture.T)  # mol of gas per litre of gas space
        self.put_in = float(amounts.sum()) + inert
        self.last = None

    def excess(self, ln_v):
        """ln(pressure / wanted pressure) at gas volume exp(ln_v)."""
        v = math.exp(ln_v)
        self.last = solve_network(self.network, self.ln_K, self.amounts, v, self.held, self.last)
        total = float(self.last.c[self.network.gas].sum()) + self.inert / v
        return math.log(total / self.target) if total > 0.0 else -math.inf

    def solve(self, start):
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
        return self.last, math.exp(ln_v), ()

    def between(self, low, at_low, high, at_high):
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

    def without_gas(self):
        solution = solve_network(self.network, self.ln_K, self.amounts, 0.0, self.held)
        return solution, 0.0, ("No gas phase forms at this pressure.",)
