"""Free energy, enthalpy, entropy and K; the constant at another temperature; Kc and Kp.

Energies in J/mol, entropies in J/(mol K), temperatures in K. K here is the thermodynamic constant: gases
in bar (standard pressure 1 bar), solutes in mol/L. Equations: IUPAC Green Book, 3rd ed., section 2.11
(from memory).
"""

from __future__ import annotations

import math
from fractions import Fraction
from functools import partial

from eqlib.errors import EqlibError, finite, positive

R_J = 8.31446261815324
"""Gas constant, J/(mol K): exact since the 2019 SI (CODATA)."""
R_BAR = R_J / 100
"""Gas constant, L bar/(mol K)."""
_LARGEST = math.log(1.7e308)


class ThermoError(EqlibError):
    """A temperature, energy or constant that cannot be used."""


_finite = partial(finite, error=ThermoError)
_positive = partial(positive, error=ThermoError)


def K_from_dG(dG: float, T: float = 298.15) -> float:
    """K = exp(-dG°/RT)."""
    return _K(-_finite(dG, "dG in J/mol") / (R_J * _kelvin(T)), f"dG = {dG:g} J/mol at {T:g} K")


def dG_from_K(K: float, T: float = 298.15) -> float:
    """dG° = -RT ln K, J/mol."""
    return -R_J * _kelvin(T) * math.log(_positive(K, "K"))


def dG_from_Q(dG0: float, Q: float, T: float = 298.15) -> float:
    """dG = dG° + RT ln Q, J/mol; minus infinity when Q is 0."""
    standard, temperature = _finite(dG0, "dG0 in J/mol"), _kelvin(T)
    if Q == 0:
        return -math.inf
    if math.inf == Q:
        return math.inf
    return standard + R_J * temperature * math.log(_positive(Q, "Q"))


def K_from_dH_dS(dH: float, dS: float, T: float = 298.15) -> float:
    """K = exp(dS°/R - dH°/RT)."""
    return K_from_dG(_finite(dH, "dH in J/mol") - _kelvin(T) * _finite(dS, "dS in J/(mol K)"), T)


def vant_hoff(K1: float, dH: float, T1: float, T2: float) -> float:
    """K at ``T2`` from ``K1`` at ``T1``, with dH° (J/mol) constant between them.

    ln(K2/K1) = -(dH°/R)(1/T2 - 1/T1). For a reaction with a change in moles of gas this is the constant in
    bar.
    """
    change = -_finite(dH, "dH in J/mol") / R_J * (1 / _kelvin(T2) - 1 / _kelvin(T1))
    return _K(math.log(_positive(K1, "K1")) + change, f"K at {T2:g} K")


def _kelvin(T: float) -> float:
    number = _finite(T, "the temperature in kelvin")
    if number <= 0:
        raise ThermoError(f"the temperature must be above 0 K, not {T!r:.40}; add 273.15 to degrees Celsius")
    return number


def _K(ln_K: float, where: str) -> float:
    if abs(ln_K) > _LARGEST:
        raise ThermoError(f"{where}: K would be 10^{ln_K / math.log(10):.0f}, outside what a number can hold")
    return math.exp(ln_K)


# -- constants kept within what a float can hold --------------------


def exp(exponent: float) -> float:
    """e to a power; infinity where a float ends."""
    return math.exp(exponent) if exponent < 709 else math.inf


def power(base: float, exponent: float | Fraction, where: str) -> float:
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
