"""Readings in, a constant with its uncertainty out: Beer and Lambert's law, a line of standards, Kc, other
constants.

Kc is that of a 1:1 complex M + L <=> ML. The usual way: a line through the standards gives the complex in
each test tube, an ICE table the rest, and Kc is averaged. In the standards one reactant is in large excess
and the other is usually taken as all converted; with 0.100 mol/L iron and K = 140 it is 93 % converted, the
line is too shallow and K comes out too high. So the standards are worked out again from each K until K
stands still.

The better way: K, the molar absorptivity and the blank are fitted to all readings together, each weighted
by the uncertainty of its reading and of its volumes. Its interval is the one to quote: the spread of the
tubes alone leaves out what the calibration adds to all of them.

Absorbance is decadic. Readings are never repaired: ``faults`` names what looks wrong.

Sources: linear regression, J. N. Miller and J. C. Miller, Statistics and Chemometrics for Analytical
Chemistry, chapter 5 (from memory); weighted least squares and the effective variance of errors in x, J.
Orear, Am. J. Phys. 50 (1982) 912 (from memory); propagation of uncertainty, JCGM 100:2008, clause 5.
"""

from __future__ import annotations

import warnings
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from eqlib.chem.thermo import R_J
from eqlib.errors import EqlibError

READING_SD = 0.003
VOLUME_SD = 0.01
# The two-sided 95 % point of the normal distribution.
Z95 = 1.959964


# -- one reading, and a line through several --------------------


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
    given and their standard deviation ``s`` (n - 2 degrees of freedom); ``epsilon`` = slope / path.
    """

    concentrations: tuple[float, ...]
    absorbances: tuple[float, ...]
    slope: float
    intercept: float
    se_slope: float
    se_intercept: float
    s: float
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
    return Calibration(
        concentrations=tuple(x.tolist()),
        absorbances=tuple(y.tolist()),
        slope=slope,
        intercept=intercept,
        se_slope=s / spread**0.5,
        se_intercept=float(s * np.sqrt((x**2).sum() / (len(x) * spread))),
        s=s,
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
    from scipy.special import stdtrit  # heavy: loaded only where an interval is worked out

    return float(stdtrit(degrees_of_freedom, 0.975))


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


# -- Kc of a 1:1 complex --------------------


@dataclass(frozen=True)
class Tube:
    """One tube: the reactants as mixed, before reacting (``metal``, ``ligand``; mol/L), and ``absorbance``.

    ``role`` is "standard" (one reactant in large excess), "test", or "repeat": one read again at the end,
    under the same ``label``, which shows whether the colour fades; repeats take no part in any fit.
    ``minutes`` is the time between mixing and reading, where it was noted.
    """

    metal: float
    ligand: float
    absorbance: float
    role: str = "test"
    label: str = ""
    minutes: float | None = None


@dataclass(frozen=True)
class TubeResult:
    """One test tube worked out: ``complex_``, the free reactants (mol/L) and ``Kc`` (L/mol).

    ``Kc`` is None where none exists, and ``why`` says why.
    """

    tube: Tube
    complex_: float
    Kc: float | None
    why: str = ""

    @property
    def free_metal(self) -> float:
        """What is left of the metal ion, mol/L."""
        return self.tube.metal - self.complex_

    @property
    def free_ligand(self) -> float:
        """What is left of the ligand, mol/L."""
        return self.tube.ligand - self.complex_


@dataclass(frozen=True)
class TubeByTube:
    """The usual way: ``line`` through the standards, each test tube, the ``mean`` of Kc over ``n`` tubes, its
    standard deviation ``s`` and 95 % interval ``low`` to ``high`` (None with one tube).

    ``trend`` is the correlation of Kc with the complex formed, and ``trend_p`` how often chance alone gives
    so strong a one (None with fewer than 4 tubes): a small one is a sign of bias. ``converted`` is the share
    of the scarce reactant converted in the strongest standard.
    """

    line: Calibration
    tubes: tuple[TubeResult, ...]
    mean: float
    s: float | None
    low: float | None
    high: float | None
    trend: float | None
    trend_p: float | None
    converted: float

    @property
    def n(self) -> int:
        """Number of tubes that give a Kc."""
        return sum(tube.Kc is not None for tube in self.tubes)


@dataclass(frozen=True)
class Fit:
    """All tubes at once: ``K`` (L/mol), ``epsilon`` (L/(mol cm)) and ``blank`` with standard errors, the 95 %
    interval of K, and per tube the residual over its own uncertainty (``z``, about -2 to 2 when all is well).
    ``chi2`` should be about ``freedom``.
    """

    K: float
    epsilon: float
    blank: float
    se_K: float
    se_epsilon: float
    se_blank: float
    z: tuple[float, ...]
    chi2: float
    freedom: int

    @property
    def low(self) -> float:
        """Lower end of the 95 % interval of K (symmetric in log K, in which the fit is nearly linear)."""
        return self.K * float(np.exp(-Z95 * self.se_K / self.K))

    @property
    def high(self) -> float:
        """Upper end of the 95 % interval of K."""
        return self.K * float(np.exp(Z95 * self.se_K / self.K))


def complex_at(metal: Any, ligand: Any, K: Any) -> Any:
    """Equilibrium complex (mol/L) of M + L <=> ML from totals (numbers or arrays): the smaller root, in the
    form that keeps its digits. Raises EqlibError when K is not positive.
    """
    if not np.all(np.asarray(K) > 0):
        raise EqlibError(f"K has come out as {K:.3g}; check the standards and the tests for a swap")
    b = metal + ligand + 1.0 / K
    root = (b * b - 4.0 * metal * ligand) ** 0.5
    return 2.0 * metal * ligand / (b + root)


def tube_by_tube(tubes: Sequence[Tube], path_cm: float = 1.0, all_converted: bool = False) -> TubeByTube:
    """The usual way (see ``TubeByTube``); ``all_converted`` takes the scarce reactant of every standard as
    used up.

    Raises EqlibError when no tube gives a Kc, or K will not stand still.
    """
    standards, tests = ([t for t in tubes if t.role == role] for role in ("standard", "test"))
    if len(standards) < 3:
        raise EqlibError(f"{len(standards)} standards are too few for a line and its error; give at least 3")
    if not tests:
        raise EqlibError("no test tubes are given; give at least one tube that is not a standard")
    scarce = [min(t.metal, t.ligand) for t in standards]
    readings = [t.absorbance for t in standards]
    result = _with_line(calibrate(scarce, readings, path_cm), tests, 1.0)
    if all_converted:
        return result
    for _ in range(200):
        K = result.mean
        formed = [float(complex_at(t.metal, t.ligand, K)) for t in standards]
        result = _with_line(calibrate(formed, readings, path_cm), tests, max(formed) / max(scarce))
        if abs(result.mean - K) <= 1e-9 * abs(K):
            return result
    raise EqlibError("K has not settled after 200 rounds; check the standards and the tests for a swap")


def _with_line(line: Calibration, tests: Sequence[Tube], converted: float) -> TubeByTube:
    worked = tuple(_work(tube, line) for tube in tests)
    used = [(w.complex_, w.Kc) for w in worked if w.Kc is not None]
    if not used:
        raise EqlibError(f"no tube gives a Kc; first reason: {worked[0].why}")
    formed, values = np.array(used).T
    kc, trend, p = of_values(values), None, None
    if len(values) > 3 and kc.s:
        trend, p = _trend(formed, values)
    return TubeByTube(line, worked, kc.mean, kc.s, kc.low, kc.high, trend, p, converted)


def _trend(x: np.ndarray, y: np.ndarray) -> tuple[float, float]:
    """Correlation, and its two-sided p by Student's t with n - 2 degrees of freedom."""
    from scipy.special import stdtr  # heavy, as above

    r = float(np.corrcoef(x, y)[0, 1])
    t = abs(r) * ((len(x) - 2) / max(1.0 - r * r, 1e-300)) ** 0.5
    return r, float(2.0 * stdtr(len(x) - 2, -t))


def _work(tube: Tube, line: Calibration) -> TubeResult:
    formed, least = (tube.absorbance - line.intercept) / line.slope, min(tube.metal, tube.ligand)
    if formed <= 0.0:
        return TubeResult(tube, formed, None, "the reading is not above the blank")
    if formed >= least:
        return TubeResult(
            tube,
            formed,
            None,
            f"{formed:.3g} mol/L of complex cannot form from {least:.3g} mol/L; "
            "check the molar absorptivity and the absorbance",
        )
    return TubeResult(tube, formed, float(formed / ((tube.metal - formed) * (tube.ligand - formed))))


def fit_all(
    tubes: Sequence[Tube], path_cm: float = 1.0, reading_sd: float = READING_SD, volume_sd: float = VOLUME_SD
) -> Fit:
    """K, molar absorptivity and blank from all standards and tests together (see ``Fit``).

    ``reading_sd`` is the standard deviation of one absorbance, ``volume_sd`` that of one measured volume over
    the volume. Raises EqlibError when the readings do not determine K.
    """
    from scipy.optimize import OptimizeWarning, curve_fit  # heavy: loaded only where a fit is made

    own = [t for t in tubes if t.role != "repeat"]
    if len(own) < 5:
        raise EqlibError(
            f"{len(own)} tubes are too few to fit K, the molar absorptivity and the blank; give 5 or more"
        )
    metal, ligand, read = _columns(own)
    start = tube_by_tube(own, path_cm)

    # K is fitted by its logarithm, which keeps it positive without bounds.
    def model(_: Any, log_K: float, epsilon: float, blank: float) -> np.ndarray:
        return blank + epsilon * path_cm * complex_at(metal, ligand, np.exp(log_K))

    def slopes(_: Any, log_K: float, epsilon: float, blank: float) -> np.ndarray:
        K = np.exp(log_K)
        x, _, _, dK = _changes(metal, ligand, K)
        return np.column_stack([epsilon * path_cm * dK * K, path_cm * x, np.ones_like(x)])

    p = np.array([np.log(max(start.mean, 1e-3)), start.line.epsilon, start.line.intercept])
    try:
        # A search that runs away is caught below by its result; on the way its overflows are nobody's
        # concern.
        with np.errstate(all="ignore"), warnings.catch_warnings():
            warnings.simplefilter("ignore", OptimizeWarning)
            for _ in range(3):
                _, dM, dL, _ = _changes(metal, ligand, np.exp(p[0]))
                sd = np.hypot(reading_sd, volume_sd * p[1] * path_cm * np.hypot(dM * metal, dL * ligand))
                p, covariance = curve_fit(
                    model, np.arange(len(read)), read, p, sd, absolute_sigma=True, jac=slopes
                )
    except (RuntimeError, ValueError, np.linalg.LinAlgError) as error:
        raise EqlibError(
            f"these readings do not determine K ({error}); check units, standards and tests"
        ) from None
    if not (np.all(np.isfinite(covariance)) and np.all(np.isfinite(p))):
        raise EqlibError("these readings do not determine K; check units, standards and tests")
    z = (read - model(None, *p)) / sd
    se = np.sqrt(np.diag(covariance))
    K, epsilon, blank = float(np.exp(p[0])), float(p[1]), float(p[2])
    errors = float(K * se[0]), float(se[1]), float(se[2])
    return Fit(K, epsilon, blank, *errors, tuple(z), float(z @ z), len(read) - 3)


def _changes(metal: Any, ligand: Any, K: Any) -> tuple[Any, Any, Any, Any]:
    """The complex x and its derivatives by metal, ligand and K, from x = K (M - x)(L - x)."""
    x = complex_at(metal, ligand, K)
    m, l = metal - x, ligand - x
    whole = 1.0 + K * (m + l)
    return x, K * l / whole, K * m / whole, m * l / whole


def budget(
    tubes: Sequence[Tube],
    path_cm: float = 1.0,
    reading_sd: float = READING_SD,
    volume_sd: float = VOLUME_SD,
) -> tuple[float, dict[str, float]]:
    """The standard uncertainty (L/mol) of the mean Kc of the usual way, and the share (0 to 1) of its square
    that each reading and volume brings, by name, largest first: to first order, all correlations kept.
    """
    from uncertainties import ufloat, wrap  # heavy: loaded only where a plan is made

    own = [t for t in tubes if t.role != "repeat"]
    named: list[tuple[str, float, float]] = []
    for i, t in enumerate(own, start=1):
        name = t.label or f"tube {i}"
        named.append((f"reading, {name}", t.absorbance, reading_sd))
        named.append((f"metal volume, {name}", 1.0, volume_sd))
        named.append((f"ligand volume, {name}", 1.0, volume_sd))
    M, L, _ = _columns(own)
    standard = np.array([t.role == "standard" for t in own])

    def mean(*values: float) -> float:
        read, metal, ligand = np.array(values).reshape(-1, 3).T
        return _mean_K(M * metal, L * ligand, read, standard)

    result = wrap(mean)(*(ufloat(value, sd, name) for name, value, sd in named))
    parts = {variable.tag: error**2 for variable, error in result.error_components().items()}
    total = sum(parts.values())
    shares = {name: part / total for name, part in sorted(parts.items(), key=lambda item: -item[1])}
    return float(result.std_dev), shares


def _columns(tubes: Sequence[Tube]) -> np.ndarray:
    return np.array([(t.metal, t.ligand, t.absorbance) for t in tubes], dtype=float).T


def _mean_K(M: np.ndarray, L: np.ndarray, A: np.ndarray, standard: np.ndarray) -> float:
    """The mean Kc of ``tube_by_tube`` as one plain function of its numbers, for derivatives."""
    formed, K = np.minimum(M, L)[standard], 0.0
    for _ in range(100):
        centred = formed - formed.mean()
        slope = (centred @ A[standard]) / (centred @ centred)
        x = (A[~standard] - A[standard].mean()) / slope + formed.mean()
        before, K = K, float(np.mean(x / ((M[~standard] - x) * (L[~standard] - x))))
        if abs(K - before) <= 1e-12 * abs(K):
            break
        formed = complex_at(M[standard], L[standard], K)
    return K


# -- other constants --------------------


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
    """pKa of an indicator from all readings at once, with its 95 % interval, and the absorbances of the pure
    acid and base forms that go with it.
    """

    pKa: float
    low: float
    high: float
    acid: float
    base: float


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
    from scipy.optimize import OptimizeWarning, curve_fit  # heavy: loaded only where a fit is made

    h, a = np.array(list(_pairs(pH, absorbance, "pH", "absorbance"))).T
    if len(h) < 5:
        raise EqlibError(f"{len(h)} readings are too few to fit pKa and both ends; give 5 or more")
    order = np.argsort(h)
    start = (float(np.median(h)), float(a[order[0]]), float(a[order[-1]]))
    try:
        with warnings.catch_warnings():  # what is not determined is said below, in one line
            warnings.simplefilter("ignore", OptimizeWarning)
            p, cov = curve_fit(_indicator, h, a, start)
    except RuntimeError:
        raise EqlibError("these readings do not determine a pKa; read over a wider range of pH") from None
    if not np.all(np.isfinite(cov)):
        raise EqlibError("these readings do not determine a pKa; read over a wider range of pH")
    pKa, acid, base = p.tolist()
    half = student_t(len(h) - 3) * float(np.sqrt(cov[0, 0]))
    return IndicatorFit(pKa, pKa - half, pKa + half, acid, base)


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


def at_time_zero(minutes: Sequence[float], absorbances: Sequence[float]) -> tuple[float, float, float]:
    """Absorbance at the moment of mixing of a complex that fades by first order: ``(A0, its standard error,
    share lost per minute)``, from a line of ln A against time. Three readings or more, all above zero.
    """
    if any(a <= 0 for a in absorbances):
        raise EqlibError("an absorbance is not above zero, so it has no logarithm; take the blank off first")
    line = calibrate(minutes, np.log(absorbances))
    start = float(np.exp(line.intercept))
    return start, start * line.se_intercept, -line.slope


@dataclass(frozen=True)
class VantHoff:
    """Enthalpy (J/mol) and entropy (J/(mol K)) of reaction with standard errors, from ln K against 1/T."""

    dH: float
    se_dH: float
    dS: float
    se_dS: float
    line: Calibration


def van_t_hoff(temperatures: Sequence[float], constants: Sequence[float]) -> VantHoff:
    """ΔH and ΔS from K at three temperatures (kelvin) or more: ln K = -ΔH/R (1/T) + ΔS/R."""
    if any(t <= 0 for t in temperatures) or any(k <= 0 for k in constants):
        raise EqlibError("every temperature (in kelvin) and every K must be above zero")
    line = calibrate([1.0 / t for t in temperatures], np.log(constants))
    return VantHoff(
        -R_J * line.slope, R_J * line.se_slope, R_J * line.intercept, R_J * line.se_intercept, line
    )
