"""The roots of the equilibrium polynomial in closed form, from the decimal text of the numbers given."""

from __future__ import annotations

import math
from collections.abc import Mapping
from fractions import Fraction

from eqlib.chem.equations import Number

HIGHEST_DEGREE = 4
NAMES = {0: "constant", 1: "linear", 2: "quadratic", 3: "cubic", 4: "quartic"}


def polynomial(start: Mapping[str, Fraction], powers: Mapping[str, Number], K: Fraction):
    """K times the reactants minus the products, as a SymPy polynomial in x with exact rational coefficients.

    Fractional coefficients are cleared first: the equation is raised to their common denominator.
    """
    import sympy

    scale = math.lcm(*(Fraction(power).denominator for power in powers.values()))
    x = sympy.Symbol("x")
    left = sympy.Rational(K.numerator, K.denominator) ** scale
    right = sympy.Integer(1)
    for name, power in powers.items():
        whole = int(power * scale)
        amount = sympy.Rational(start[name].numerator, start[name].denominator)
        rate = sympy.Rational(Fraction(power).numerator, Fraction(power).denominator)
        if whole > 0:
            right *= (amount + rate * x) ** whole
        else:
            left *= (amount + rate * x) ** -whole
    return sympy.Poly(left - right, x)


def real_roots(start: Mapping[str, Fraction], powers: Mapping[str, Number], K: Fraction) -> tuple:
    """Distinct real roots in rising order, as exact SymPy numbers; empty above degree four."""
    poly = polynomial(start, powers, K)
    if not 0 < poly.degree() <= HIGHEST_DEGREE:
        return ()
    return tuple(dict.fromkeys(poly.real_roots()))


def degree(powers: Mapping[str, Number]) -> int:
    """Degree of the polynomial before any cancelling of leading terms."""
    scale = math.lcm(*(Fraction(power).denominator for power in powers.values()))
    forward = sum(power for power in powers.values() if power > 0)
    backward = -sum(power for power in powers.values() if power < 0)
    return int(max(forward, backward) * scale)
