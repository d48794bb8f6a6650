"""The steps of an equilibrium calculation, each with the faults it can have.

Reading -> concentration -> x -> equilibrium row -> K, and back from K to x: plain arithmetic on floats. This
is the only arithmetic of its own that the marker has, and for wrong answers alone; right values come from
``eqlib.chem``.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping

LN10 = math.log(10)
Conc = Mapping[str, float]


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
    coefficients: Conc, start: Conc, x: float, *, sign: float = 1.0, ignore_coefficients: bool = False
) -> dict[str, float]:
    """The equilibrium row for an extent x. ``sign`` -1 lets the reactants grow."""
    out = {}
    for name, nu in coefficients.items():
        nu = float(nu)
        step = math.copysign(1.0, nu) if ignore_coefficients else nu
        out[name] = start.get(name, 0.0) + (step * x if nu > 0 else sign * step * x)
    return out


def limits(coefficients: Conc, start: Conc) -> tuple[float, float]:
    """(lowest, highest) extent that leaves nothing negative."""
    highest = min((start.get(n, 0.0) / -float(c) for n, c in coefficients.items() if c < 0), default=math.inf)
    lowest = -min((start.get(n, 0.0) / float(c) for n, c in coefficients.items() if c > 0), default=math.inf)
    return lowest, highest


def solve_extent(
    coefficients: Conc,
    start: Conc,
    K: float,
    *,
    form: str = "right",
    ignore_coefficients: bool = False,
    sign: float = 1.0,
) -> float | None:
    """The extent at which the quotient of the row equals K, by bisection; None if there is none.

    Only species of the row that stand in K count. With ``sign`` -1 the quotient need not reach K.
    """
    powers = in_K(coefficients)
    unit = (
        {n: math.copysign(1.0, c) for n, c in coefficients.items()} if ignore_coefficients else coefficients
    )
    low, high = limits({n: unit[n] for n in powers}, start)
    if sign < 0:
        low, high = 0.0, 1e3 * max(start.values(), default=0.0)
    if not (math.isfinite(low) and math.isfinite(high) and high > low and K > 0):
        return None

    def gap(x: float) -> float | None:
        q = quotient(
            powers, row(coefficients, start, x, sign=sign, ignore_coefficients=ignore_coefficients), form=form
        )
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
