"""Other constants by the same path: readings in, a constant with its uncertainty out.

An indicator's pKa from absorbances at several pH; a weak acid's Ka from the pH of its solutions; Kc of an
esterification by titration, where water is a solute and counts; Ksp of a silver salt by titration.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from eqlib.errors import EqlibError
from eqlib.lab.photometry import student_t


@dataclass(frozen=True)
class Constant:
    """A constant from several measurements: each ``value``, their ``mean``, ``s`` and 95 % interval.

    ``s``, ``low`` and ``high`` are None with one measurement.
    """

    values: tuple[float, ...]
    mean: float
    s: float | None
    low: float | None
    high: float | None


@dataclass(frozen=True)
class IndicatorFit:
    """pKa of an indicator from all readings at once, with its standard error and 95 % interval, and the
    absorbances of the pure acid and base forms that go with it.
    """

    pKa: float
    se_pKa: float
    low: float
    high: float
    acid: float
    base: float
    residuals: tuple[float, ...]


def of_values(values: Sequence[float]) -> Constant:
    """The mean of repeated determinations, their standard deviation, and Student's 95 % interval."""
    v = np.asarray(values, dtype=float)
    if not len(v) or not np.all(np.isfinite(v)):
        raise EqlibError("no determination gives a value; check the readings")
    if len(v) == 1:
        return Constant((float(v[0]),), float(v[0]), None, None, None)
    s = float(v.std(ddof=1))
    half = student_t(len(v) - 1) * s / len(v) ** 0.5
    return Constant(tuple(v.tolist()), float(v.mean()), s, float(v.mean() - half), float(v.mean() + half))


def fit_indicator(pH: Sequence[float], absorbance: Sequence[float]) -> IndicatorFit:
    """pKa and the two end absorbances fitted together to five readings or more, which should reach both
    ends.
    """
    from scipy.optimize import curve_fit  # heavy: loaded only where a fit is made

    h, a = np.array(list(_pairs(pH, absorbance, "pH", "absorbance"))).T
    if len(h) < 5:
        raise EqlibError(f"{len(h)} readings are too few to fit pKa and both ends; give 5 or more")
    order = np.argsort(h)
    start = (float(np.median(h)), float(a[order[0]]), float(a[order[-1]]))
    try:
        p, cov = curve_fit(_indicator, h, a, start)
    except RuntimeError:
        raise EqlibError("these readings do not determine a pKa; read over a wider range of pH") from None
    if not np.all(np.isfinite(cov)):
        raise EqlibError("these readings do not determine a pKa; read over a wider range of pH")
    se = float(np.sqrt(cov[0, 0]))
    half = student_t(len(h) - 3) * se
    return IndicatorFit(
        float(p[0]),
        se,
        float(p[0] - half),
        float(p[0] + half),
        float(p[1]),
        float(p[2]),
        tuple(a - _indicator(h, *p)),
    )


def _indicator(h: np.ndarray, pKa: float, acid: float, base: float) -> np.ndarray:
    return acid + (base - acid) / (1.0 + 10.0 ** (pKa - h))


def weak_acid_Ka(pH: Sequence[float], concentration: Sequence[float]) -> Constant:
    """Ka of a weak acid from the pH of solutions of known total concentration (mol/L): h²/(c - h)."""
    found = []
    for i, (p, c) in enumerate(_pairs(pH, concentration, "pH", "concentration"), start=1):
        h = 10.0**-p
        if h >= c:
            raise EqlibError(
                f"solution {i} of {c:g} mol/L cannot have pH {p:g}: more H⁺ than acid; check the two"
            )
        found.append(h * h / (c - h))
    return of_values(found)


def ester_Kc(acid: float, alcohol: float, left: Sequence[float]) -> Constant:
    """Kc of acid + alcohol <=> ester + water from the moles of acid ``left``, found by titration of the whole
    mixture or scaled up to it; ``acid`` and ``alcohol`` are moles put in. Water is a solute here like the
    others and counts; the volume cancels.
    """
    found = []
    for i, n in enumerate(left, start=1):
        formed = acid - n
        if not (0 < n < acid and formed < alcohol):
            raise EqlibError(
                f"titration {i}: {n:g} mol of acid left of {acid:g} is not possible with {alcohol:g} "
                f"mol of alcohol"
            )
        found.append(formed * formed / (n * (alcohol - formed)))
    return of_values(found)


def silver_Ksp(silver: Sequence[float]) -> Constant:
    """Ksp of AgX from [Ag+] (mol/L) of saturated solutions in water, by titration."""
    if any(s <= 0 for s in silver):
        raise EqlibError("a silver concentration is not above zero; leave that titration out")
    return of_values([s * s for s in silver])


def _pairs(
    first: Sequence[float], second: Sequence[float], name: str, other: str
) -> Iterator[tuple[float, float]]:
    if len(first) != len(second):
        raise EqlibError(f"{len(first)} values of {name} and {len(second)} of {other}; give one for each")
    return zip(map(float, first), map(float, second), strict=True)
