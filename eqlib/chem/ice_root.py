"""The one extent of reaction at which Q equals K, to full relative precision in the smallest amount.

Q rises from 0 to infinity as the extent runs over the interval in which no amount is negative, so there is
exactly one root there. It is sought from the nearer end of the interval, as the logarithm of the distance
from that end: an amount of 1e-40 then never comes out as a difference of two large numbers.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction

from eqlib.chem.equations import Number

INFINITE = math.inf


@dataclass(frozen=True)
class Root:
    """Extent, amounts at that extent, the physical interval, and what ran out first (or None)."""

    extent: float
    amounts: Mapping[str, float]
    limits: tuple[float, float]
    used_up: str | None


@dataclass(frozen=True)
class Problem:
    """Start amounts (exact) and coefficients of every species that can run out; ``powers`` are those in K."""

    start: Mapping[str, Fraction]
    coefficients: Mapping[str, Number]
    powers: Mapping[str, Number]
    ln_K: float

    @property
    def lower(self) -> Fraction | float:
        """How far back the reaction could go, 0 or negative."""
        ends = [-self.start[name] / Fraction(n) for name, n in self.coefficients.items() if n > 0]
        return max(ends, default=-INFINITE)

    @property
    def upper(self) -> Fraction | float:
        """How far forward it could go, 0 or positive."""
        ends = [self.start[name] / Fraction(-n) for name, n in self.coefficients.items() if n < 0]
        return min(ends, default=INFINITE)

    def ln_Q_at_start(self) -> float:
        """ln Q of the start; -inf or inf where a product or reactant in K is 0."""
        total = 0.0
        for name, power in self.powers.items():
            if self.start[name] == 0:
                return -INFINITE if power > 0 else INFINITE
            total += float(power) * math.log(self.start[name])
        return total


@dataclass(frozen=True)
class _End:
    """The view from one end of the interval: amounts there, and their change per unit of distance from it."""

    position: Fraction
    sign: int
    amounts: Mapping[str, Fraction]
    slopes: Mapping[str, float]
    powers: Mapping[str, Number]

    def amount(self, name: str, distance: float) -> float:
        return max(float(self.amounts[name]) + self.slopes[name] * distance, 0.0)

    def ln_Q(self, log_distance: float) -> tuple[float, float]:
        """ln Q and its derivative with respect to the logarithm of the distance."""
        distance = math.exp(log_distance)
        value = slope = 0.0
        for name, power in self.powers.items():
            there, rate = float(self.amounts[name]), self.slopes[name]
            if there == 0:
                value += float(power) * (math.log(abs(rate)) + log_distance)
                slope += float(power)
            else:
                amount = there + rate * distance
                value += float(power) * math.log(amount)
                slope += float(power) * rate * distance / amount
        return value, slope

    def finite_ln_Q(self) -> float | None:
        """ln Q at the end itself, or None where a species in K vanishes there."""
        if any(self.amounts[name] == 0 for name in self.powers):
            return None
        return math.fsum(float(power) * math.log(self.amounts[name]) for name, power in self.powers.items())


def solve(problem: Problem) -> Root:
    """The extent at equilibrium. Both limits of the interval must not be infinite, nor both 0."""
    lower, upper = problem.lower, problem.upper
    limits = (float(lower), float(upper))
    if abs(problem.ln_Q_at_start() - problem.ln_K) < 1e-13 * max(1.0, abs(problem.ln_K)):
        return Root(0.0, {name: float(value) for name, value in problem.start.items()}, limits, None)
    ends = {
        -1: None if lower == -INFINITE else _end(problem, lower, 1),
        1: None if upper == INFINITE else _end(problem, upper, -1),
    }
    for way, end in ends.items():
        there = end.finite_ln_Q() if end else None
        # At an end where only a solid has run out, Q may still be on the far side of K: then the solid is
        # used up.
        if there is not None and (there - problem.ln_K) * way <= 0:
            return _at_end(problem, end, limits)
    end, farthest = _nearer(problem, ends, lower, upper)
    log_distance = _log_root(end, problem.ln_K, farthest)
    distance = math.exp(log_distance)
    amounts = {name: end.amount(name, distance) for name in problem.start}
    extent = float(end.position + end.sign * Fraction(distance))
    return Root(extent, amounts, limits, None)


def _end(problem: Problem, position: Fraction, sign: int) -> _End:
    amounts = {name: value + problem.coefficients[name] * position for name, value in problem.start.items()}
    slopes = {name: float(sign * problem.coefficients[name]) for name in problem.start}
    return _End(position, sign, amounts, slopes, problem.powers)


def _at_end(problem: Problem, end: _End, limits: tuple[float, float]) -> Root:
    used_up = next(name for name, value in end.amounts.items() if value == 0)
    return Root(float(end.position), {k: float(v) for k, v in end.amounts.items()}, limits, used_up)


def _nearer(problem: Problem, ends, lower, upper) -> tuple[_End, float | None]:
    """The end to start from, and the logarithm of the farthest distance needed (None: no bound)."""
    if ends[1] is None:
        return ends[-1], None
    if ends[-1] is None:
        return ends[1], None
    half = math.log((upper - lower) / 2)
    return (ends[-1] if ends[-1].ln_Q(half)[0] >= problem.ln_K else ends[1]), half


def _log_root(end: _End, ln_K: float, farthest: float | None) -> float:
    """Guarded Newton on the logarithm of the distance; the bracket halves whenever Newton would leave it."""

    def gap(t):
        value, slope = end.ln_Q(t)
        return end.sign * (value - ln_K), end.sign * slope

    high = 0.0 if farthest is None else farthest
    step = 1.0
    while farthest is None and gap(high)[0] < 0 and high < 700:
        high, step = min(high + step, 700.0), 2 * step
    low, step = high - 1.0, 2.0
    while gap(low)[0] > 0 and low > -2e4:
        low, step = low - step, 2 * step
    t = (low + high) / 2
    for _ in range(200):
        value, slope = gap(t)
        low, high = (t, high) if value < 0 else (low, t)
        newton = t - value / slope if slope > 0 else math.nan
        following = newton if low < newton < high else (low + high) / 2
        if abs(following - t) <= 4e-16 * max(1.0, abs(t)):
            return following
        t = following
    return t
