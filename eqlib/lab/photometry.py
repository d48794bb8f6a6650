"""Beer and Lambert at the bench: conversions, and a calibration line with its errors.

Absorbance is decadic. Readings are never repaired: ``eqlib.lab.practical.faults`` names what looks wrong, and
the numbers are worked from what was given.

Sources: linear regression, J. N. Miller and J. C. Miller, Statistics and
Chemometrics for Analytical Chemistry, chapter 5 (from memory).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from eqlib.errors import EqlibError

CONFIDENCE = 0.95


def absorbance_from_transmittance(transmittance: ArrayLike) -> Any:
    """A = -log10 T, for T between 0 and 1 (number or array)."""
    return _minus_log10(
        transmittance, 1.0, "transmittance", "a fraction above 0 and up to 1 (or use percent)"
    )


def absorbance_from_percent(percent_transmittance: ArrayLike) -> Any:
    """A = 2 - log10 %T, for %T between 0 and 100 (number or array)."""
    return _minus_log10(
        percent_transmittance, 100.0, "percent transmittance", "a number above 0 and up to 100"
    )


def epsilon_from_reading(
    absorbance: float, concentration: float, path_cm: float = 1.0, blank: float = 0.0
) -> float:
    """Molar absorptivity, L/(mol cm), from one reading of a solution of known ``concentration``, mol/L."""
    return (absorbance - blank) / (
        _above_zero(concentration, "concentration") * _above_zero(path_cm, "path_cm")
    )


def concentration_from_reading(
    absorbance: float, epsilon: float, path_cm: float = 1.0, blank: float = 0.0
) -> float:
    """Concentration, mol/L, from one reading; ``epsilon`` in L/(mol cm), ``blank`` the cell's own
    absorbance.
    """
    return (absorbance - blank) / (_above_zero(epsilon, "epsilon") * _above_zero(path_cm, "path_cm"))


@dataclass(frozen=True)
class Calibration:
    """A straight line, absorbance against concentration, by least squares with an intercept.

    ``slope`` (L/mol, for the path used) and ``intercept`` with standard errors; ``residuals`` in the order
    given and their standard deviation ``s`` (n - 2 degrees of freedom); ``r_squared``, which says little
    about straightness; ``epsilon`` = slope / path.
    """

    concentrations: tuple[float, ...]
    absorbances: tuple[float, ...]
    slope: float
    intercept: float
    se_slope: float
    se_intercept: float
    s: float
    r_squared: float
    residuals: tuple[float, ...]
    path_cm: float

    @property
    def n(self) -> int:
        """Number of standards."""
        return len(self.concentrations)

    @property
    def epsilon(self) -> float:
        """Molar absorptivity, L/(mol cm)."""
        return self.slope / self.path_cm

    @property
    def intercept_differs_from_zero(self) -> bool:
        """Whether zero lies outside the 95 % interval of the intercept: a blank not taken off, perhaps."""
        return abs(self.intercept) > student_t(self.n - 2) * self.se_intercept


def calibrate(
    concentrations: Iterable[float], absorbances: Iterable[float], path_cm: float = 1.0
) -> Calibration:
    """The ``Calibration`` of standards: concentrations in mol/L and their absorbances, three pairs or more.

    Raises EqlibError where a line cannot be drawn: too few standards, all alike, or something that is no
    number.
    """
    x, y = numbers(concentrations, "concentration"), numbers(absorbances, "absorbance")
    path_cm = _above_zero(path_cm, "path_cm")
    if len(x) != len(y):
        raise EqlibError(
            f"{len(x)} concentrations and {len(y)} absorbances; give one absorbance for each standard"
        )
    if len(x) < 3:
        raise EqlibError(f"{len(x)} standards are too few for a line and its error; give at least 3")
    spread = float(((x - x.mean()) ** 2).sum())
    if spread == 0.0:
        raise EqlibError(
            "every standard has the same concentration; a line needs at least two different ones"
        )
    slope = float(((x - x.mean()) * (y - y.mean())).sum() / spread)
    intercept = float(y.mean() - slope * x.mean())
    residuals = y - intercept - slope * x
    s = float(np.sqrt((residuals**2).sum() / (len(x) - 2)))
    if slope == 0.0:
        raise EqlibError(
            "the absorbance does not change with the concentration; check the wavelength and the blank"
        )
    total = float(((y - y.mean()) ** 2).sum())
    return Calibration(
        concentrations=tuple(x.tolist()),
        absorbances=tuple(y.tolist()),
        slope=slope,
        intercept=intercept,
        se_slope=s / spread**0.5,
        se_intercept=float(s * np.sqrt((x**2).sum() / (len(x) * spread))),
        s=s,
        r_squared=1.0 - float((residuals**2).sum()) / total,
        residuals=tuple(residuals.tolist()),
        path_cm=path_cm,
    )


def numbers(values: Iterable[Any], name: str) -> np.ndarray:
    """A list of numbers as an array; EqlibError names the first that is none, and a decimal comma as such."""
    found = []
    for i, value in enumerate(values, start=1):
        if isinstance(value, str) and value.count(",") == 1 and _is_number(value.replace(",", ".")):
            point = value.replace(",", ".")
            raise EqlibError(f"{name} {i} is {value!r} with a decimal comma; write {point.strip()}")
        if not _is_number(value):
            raise EqlibError(
                f"{name} {i} is {value!r}; write a number, and leave out a tube that was not read"
            )
        found.append(float(value))
    return np.array(found)


def student_t(degrees_of_freedom: int) -> float:
    """Student's t for a two-sided interval, such as 2.78 for 4 degrees of freedom at 95 %."""
    from scipy.special import stdtrit

    return float(stdtrit(degrees_of_freedom, 0.5 + CONFIDENCE / 2.0))


def _minus_log10(value: ArrayLike, whole: float, name: str, allowed: str) -> Any:
    array = np.asarray(value, dtype=float) / whole
    if not np.all((array > 0.0) & (array <= 1.0)):
        raise EqlibError(f"{name} is {value!r}; write {allowed}")
    found = -np.log10(array) + 0.0
    return found if np.ndim(found) else float(found)


def _above_zero(value: Any, name: str) -> float:
    number = float(numbers([value], name)[0])
    if number <= 0.0:
        raise EqlibError(f"{name} is {value!r}; write a positive number")
    return number


def _is_number(value: Any) -> bool:
    try:
        return bool(np.isfinite(float(value))) and not isinstance(value, bool)
    except (TypeError, ValueError):
        return False
