"""Numbers checked on the way in, and kept within what a float can hold."""

from __future__ import annotations

import math
from fractions import Fraction
from numbers import Real

from eqlib.chem.errors import EqlibError


def finite(value, what: str, where: str = "", error: type[EqlibError] = EqlibError) -> float:
    """``value`` as a float; raises ``error`` unless it is a finite real number (True and False are not)."""
    if isinstance(value, bool) or not isinstance(value, Real) or not _is_finite(value):
        raise error(f"{_place(where)}{what} must be a finite number, not {_short(value)}")
    return float(value)


def _is_finite(value: Real) -> bool:
    try:
        return math.isfinite(value)
    except OverflowError:  # a whole number or a fraction beyond what a float can hold
        return False


def _short(value) -> str:
    try:
        return f"{value!r:.40}"
    except ValueError:  # Python refuses to write out a whole number of thousands of digits
        return "one of thousands of digits"


def positive(value, what: str, where: str = "", error: type[EqlibError] = EqlibError) -> float:
    """The same, and more than 0."""
    number = finite(value, what, where, error)
    if number <= 0:
        raise error(f"{_place(where)}{what} must be more than 0, not {value!r:.40}")
    return number


def _place(where: str) -> str:
    return f"{where}: " if where else ""


def exp(exponent: float) -> float:
    """e to a power; infinity where a float ends."""
    return math.exp(exponent) if exponent < 709 else math.inf


def power(base: float, exponent: int | float | Fraction, where: str) -> float:
    """A constant to a power; raises EqlibError where the result leaves what a float can hold."""
    exact = int(exponent) if exponent == int(exponent) else float(exponent)
    try:
        return within(base**exact, where)
    except OverflowError:
        return within(math.inf, where)


def product(first: float, second: float, where: str) -> float:
    """Two factors of a constant, with the same check."""
    return within(first * second, where)


def within(value: float, where: str) -> float:
    """``value``, unless it is 0 or infinite, which no constant can be."""
    if value == 0 or not math.isfinite(value):
        raise EqlibError(f"{where}: K leaves the range a number can hold (about 1e-308 to 1e308)")
    return value
