"""What looks wrong with a set of readings. Faults are named and never repaired.

The limits are common practice, no source: an ordinary colorimeter is linear up to about A = 2, and an
absorbance above 3 lets through less than a thousandth of the light.
"""

from dataclasses import dataclass

import numpy as np

from eqlib.errors import EqlibError

LINEAR_TO = 2.0
IMPOSSIBLE_FROM = 3.5
# A blank may read this much below zero through noise alone.
NOISE = 0.01
# A stock of more than this many mol/L in an absorbance standard is probably a value in mmol/L.
STRONG = 1.0


@dataclass(frozen=True)
class Fault:
    """One thing to look at: ``kind`` a short name, ``where`` which reading (from 1) or "", ``words`` one
    line.
    """

    kind: str
    where: str
    words: str

    def __str__(self):
        return f"{self.where}: {self.words}" if self.where else self.words


def numbers(values, name):
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


def reading_faults(absorbances):
    """Faults of absorbances one by one: below zero, saturated, or percent transmittance written as
    absorbance.
    """
    faults = []
    if len(absorbances) and max(absorbances) > 5.0 and max(absorbances) <= 100.0:
        return (
            Fault(
                "percent_as_absorbance",
                "",
                f"values up to {max(absorbances):g} look like percent transmittance",
            ),
        )
    for i, value in enumerate(absorbances, start=1):
        where = f"reading {i}"
        if value < -NOISE:
            faults.append(Fault("negative", where, f"absorbance {value:g} is below zero; check the blank"))
        elif value >= IMPOSSIBLE_FROM:
            faults.append(
                Fault("saturated", where, f"absorbance {value:g} cannot be read; almost no light is left")
            )
        elif value > LINEAR_TO:
            faults.append(
                Fault("nonlinear", where, f"absorbance {value:g} is above {LINEAR_TO:g}; dilute it")
            )
    return tuple(faults)


def calibration_faults(concentrations, absorbances, residuals):
    """Faults of a set of standards, those of each reading and those of the set."""
    faults = list(reading_faults(absorbances))
    if np.any(concentrations < 0):
        faults.append(Fault("negative_concentration", "", "a concentration is below zero"))
    if concentrations.max() > STRONG:
        faults.append(
            Fault(
                "millimolar",
                "",
                f"a standard of {concentrations.max():g} mol/L is strong; was it meant in mmol/L?",
            )
        )
    order = np.argsort(concentrations, kind="stable")
    rising = np.diff(absorbances[order])
    if len(rising) > 2 and np.all(rising <= 0) and np.any(rising < 0):
        faults.append(
            Fault("falling", "", "absorbance falls as the standards get stronger; is it transmittance?")
        )
    elif np.any(rising < -3 * NOISE):
        faults.append(
            Fault("swapped", "", "a stronger standard reads lower than a weaker one; were tubes swapped?")
        )
    pairs = list(zip(concentrations.tolist(), absorbances.tolist(), strict=True))
    if len(set(pairs)) < len(pairs):
        faults.append(
            Fault("duplicated", "", "two standards have the same concentration and reading; copied twice?")
        )
    faults.extend(_curved(concentrations[order], residuals[order], absorbances))
    return tuple(faults)


def _curved(concentrations, residuals, absorbances):
    """Residuals that bend: a quadratic term over three times its standard error, and one that matters."""
    n = len(concentrations)
    if n < 5 or concentrations[0] == concentrations[-1]:
        return []
    x = (concentrations - concentrations.mean()) / np.ptp(concentrations)
    design = np.column_stack([np.ones(n), x, x**2])
    fit, *_ = np.linalg.lstsq(design, residuals, rcond=None)
    left = residuals - design @ fit
    inverse = np.linalg.pinv(design.T @ design)
    error = float(np.sqrt((left**2).sum() / (n - 3) * inverse[2, 2]))
    if abs(fit[2]) > 3 * error and abs(fit[2]) > 0.02 * np.ptp(absorbances):
        return [Fault("curved", "", "the residuals bend: the line is not straight over these standards")]
    return []


def extrapolation_fault(absorbance, standards):
    """A fault when a reading lies outside the standards by more than noise, otherwise nothing."""
    if min(standards) - NOISE <= absorbance <= max(standards) + NOISE:
        return ()
    return (
        Fault(
            "extrapolated",
            "",
            f"absorbance {absorbance:g} is outside the standards, {min(standards):g} to {max(standards):g}",
        ),
    )


def _is_number(value):
    try:
        return bool(np.isfinite(float(value))) and not isinstance(value, bool)
    except (TypeError, ValueError):
        return False
