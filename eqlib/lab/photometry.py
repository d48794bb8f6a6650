"""Beer and Lambert at the bench: conversions, a calibration line, and a concentration read back from it.

Absorbance is decadic. Readings are never repaired: ``photometry_faults`` names what looks wrong, and the
numbers are worked from what was given.

Sources: linear regression and inverse prediction, J. N. Miller and J. C. Miller, Statistics and
Chemometrics for Analytical Chemistry, chapter 5 (from memory).
"""

from dataclasses import dataclass, field

import numpy as np

from eqlib.errors import EqlibError
from eqlib.lab.photometry_faults import Fault, calibration_faults, extrapolation_fault, numbers

CONFIDENCE = 0.95


def absorbance_from_transmittance(transmittance):
    """A = -log10 T, for T between 0 and 1 (number or array)."""
    return _minus_log10(
        transmittance, 1.0, "transmittance", "a fraction above 0 and up to 1 (or use percent)"
    )


def absorbance_from_percent(percent_transmittance):
    """A = 2 - log10 %T, for %T between 0 and 100 (number or array)."""
    return _minus_log10(
        percent_transmittance, 100.0, "percent transmittance", "a number above 0 and up to 100"
    )


def transmittance_from_absorbance(absorbance):
    """T = 10^-A, a fraction (number or array)."""
    return _plain(10.0 ** -np.asarray(absorbance, dtype=float))


def percent_from_absorbance(absorbance):
    """%T = 100 x 10^-A (number or array)."""
    return _plain(100.0 * 10.0 ** -np.asarray(absorbance, dtype=float))


def epsilon_from_reading(absorbance, concentration, path_cm=1.0, blank=0.0):
    """Molar absorptivity, L/(mol cm), from one reading of a solution of known ``concentration``, mol/L."""
    return (absorbance - blank) / (
        _above_zero(concentration, "concentration") * _above_zero(path_cm, "path_cm")
    )


def concentration_from_reading(absorbance, epsilon, path_cm=1.0, blank=0.0):
    """Concentration, mol/L, from one reading; ``epsilon`` in L/(mol cm), ``blank`` the cell's own
    absorbance.
    """
    return (absorbance - blank) / (_above_zero(epsilon, "epsilon") * _above_zero(path_cm, "path_cm"))


def epsilon_from_specific(specific_absorbance, molar_mass):
    """Molar absorptivity from a pharmacopoeia's A(1 %, 1 cm), that of 1 g in 100 mL; ``molar_mass`` in
    g/mol.
    """
    return specific_absorbance * _above_zero(molar_mass, "molar_mass") / 10.0


def diluted(stock, volume, total_volume):
    """Concentration after ``volume`` of a ``stock`` is made up to ``total_volume`` (same units of volume)."""
    if not 0.0 <= volume <= _above_zero(total_volume, "total_volume"):
        raise EqlibError(
            f"a volume of {volume!r} cannot be part of a total of {total_volume!r}; check the two volumes"
        )
    return stock * volume / total_volume


@dataclass(frozen=True)
class Estimate:
    """A number read from a calibration: ``value``, its ``standard_error``, and the interval ``low`` to
    ``high``.
    """

    value: float
    standard_error: float
    low: float
    high: float
    faults: tuple[Fault, ...] = ()


@dataclass(frozen=True)
class Calibration:
    """A straight line, absorbance against concentration, by least squares with an intercept.

    ``slope`` (L/mol, for the path used) and ``intercept`` with standard errors; ``residuals`` in the order
    given and their standard deviation ``s`` (n - 2 degrees of freedom); ``r_squared``, which says little
    about straightness; ``epsilon`` = slope / path. ``faults`` lists what looks wrong with the readings.
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
    faults: tuple[Fault, ...] = field(default=())

    @property
    def n(self):
        """Number of standards."""
        return len(self.concentrations)

    @property
    def epsilon(self):
        """Molar absorptivity, L/(mol cm)."""
        return self.slope / self.path_cm

    @property
    def intercept_differs_from_zero(self):
        """Whether zero lies outside the 95 % interval of the intercept: a blank not taken off, perhaps."""
        return abs(self.intercept) > student_t(self.n - 2) * self.se_intercept

    def absorbance(self, concentration):
        """The line's absorbance at a concentration (number or array)."""
        return _plain(self.intercept + self.slope * np.asarray(concentration, dtype=float))

    def concentration(self, absorbance, readings=1):
        """The ``Estimate`` of a concentration from an absorbance, the mean of ``readings`` readings.

        Its standard error is s/|b| sqrt(1/m + 1/n + (A - mean A)^2 / (b^2 Sxx)); the interval uses
        Student's t. Outside the standards the line is an extrapolation, which comes back as a fault.
        """
        absorbance, readings = (
            float(numbers([absorbance], "absorbance")[0]),
            _above_zero(readings, "readings"),
        )
        x, y = np.array(self.concentrations), np.array(self.absorbances)
        spread = float(((x - x.mean()) ** 2).sum())
        share = 1.0 / readings + 1.0 / self.n + (absorbance - y.mean()) ** 2 / (self.slope**2 * spread)
        error = float(self.s / abs(self.slope) * np.sqrt(share))
        value = float((absorbance - self.intercept) / self.slope)
        half = student_t(self.n - 2) * error
        faults = extrapolation_fault(absorbance, self.absorbances)
        return Estimate(value, error, value - half, value + half, faults)


def calibrate(concentrations, absorbances, path_cm=1.0):
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
        faults=calibration_faults(x, y, residuals),
    )


def components(epsilons, absorbances, path_cm=1.0):
    """Concentrations (mol/L) of several absorbers from readings at several wavelengths.

    ``epsilons`` has one row for each wavelength and one column for each component; at least as many
    wavelengths as components. More wavelengths than components are fitted by least squares. Raises
    EqlibError where the components cannot be told apart.
    """
    matrix = np.asarray(epsilons, dtype=float) * _above_zero(path_cm, "path_cm")
    readings = numbers(absorbances, "absorbance")
    if matrix.ndim != 2 or matrix.shape[0] != len(readings) or matrix.shape[0] < matrix.shape[1]:
        raise EqlibError(
            f"epsilons has shape {matrix.shape} for {len(readings)} readings; give a row for each wavelength "
            "and a column for each component, no fewer rows than columns"
        )
    size = np.linalg.norm(matrix, axis=0)
    if np.any(size == 0) or np.linalg.cond(matrix / size) > 1e6:
        raise EqlibError("the components absorb alike at these wavelengths; choose others to tell them apart")
    return np.linalg.lstsq(matrix, readings, rcond=None)[0]


def student_t(degrees_of_freedom, confidence=CONFIDENCE):
    """Student's t for a two-sided interval, such as 2.78 for 4 degrees of freedom at 95 %."""
    from scipy.special import stdtrit

    return float(stdtrit(degrees_of_freedom, 0.5 + confidence / 2.0))


def _minus_log10(value, whole, name, allowed):
    array = np.asarray(value, dtype=float) / whole
    if not np.all((array > 0.0) & (array <= 1.0)):
        raise EqlibError(f"{name} is {value!r}; write {allowed}")
    return _plain(-np.log10(array) + 0.0)


def _above_zero(value, name):
    number = float(numbers([value], name)[0])
    if number <= 0.0:
        raise EqlibError(f"{name} is {value!r}; write a positive number")
    return number


def _plain(array):
    return array if np.ndim(array) else float(array)
