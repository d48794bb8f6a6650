"""Kc of a 1:1 complex from absorbances, tube by tube, and the mending of the "all converted" assumption.

M + L <=> ML, where only ML absorbs at the wavelength read. In the standards one reactant is in large
excess, and it is usual to take the other as all converted; with 0.100 mol/L iron and K = 140 it is 93 %
converted, so that the line is too shallow and K comes out too high. ``kc_iterated`` works the standards out
again from each K until K stands still.
"""

from dataclasses import dataclass

import numpy as np

from eqlib.errors import EqlibError
from eqlib.lab.photometry import Calibration, calibrate, concentration_from_reading, student_t
from eqlib.lab.photometry_faults import Fault, numbers, reading_faults


@dataclass(frozen=True)
class Tube:
    """One tube: the two reactants as mixed, before reacting (mol/L), and the absorbance read."""

    metal: float
    ligand: float
    absorbance: float


@dataclass(frozen=True)
class TubeResult:
    """One tube worked out: ``complex_`` (mol/L) and ``Kc`` (L/mol), or None with the ``faults`` that say
    why.
    """

    tube: Tube
    complex_: float
    Kc: float | None
    faults: tuple[Fault, ...] = ()


@dataclass(frozen=True)
class KcResult:
    """Kc of a set of tubes: ``mean``, standard deviation ``s``, ``n`` used and the 95 % interval ``low`` to
    ``high``.

    ``trend`` is the correlation of Kc with the complex formed (-1 to 1), or None with fewer than 3 tubes; a
    clear one comes with a fault, for it signals bias. ``s`` and the interval are None with one tube.
    """

    tubes: tuple[TubeResult, ...]
    mean: float
    s: float | None
    n: int
    low: float | None
    high: float | None
    trend: float | None
    faults: tuple[Fault, ...]


@dataclass(frozen=True)
class IteratedKc:
    """``first`` takes the standards as all converted, ``final`` does not; ``rounds`` it took, and both
    lines.
    """

    first: KcResult
    final: KcResult
    first_line: Calibration
    final_line: Calibration
    rounds: int


def kc_of_tube(tube, complex_):
    """Kc of one tube in which ``complex_`` mol/L has formed; EqlibError where that is more than there was."""
    metal, ligand = tube.metal - complex_, tube.ligand - complex_
    if metal <= 0.0 or ligand <= 0.0:
        least = min(tube.metal, tube.ligand)
        raise EqlibError(
            f"{complex_:.3g} mol/L of complex cannot form from {least:.3g} mol/L; check epsilon and A"
        )
    return complex_ / (metal * ligand)


def kc_from_absorbance(tubes, epsilon=None, path_cm=1.0, calibration=None, blank=0.0):
    """The ``KcResult`` of ``tubes`` (Tube, or (metal, ligand, absorbance) triples in mol/L).

    Give either ``epsilon``, L/(mol cm), with ``path_cm`` and ``blank``, or a ``Calibration`` made in the
    same cell.
    """
    if (epsilon is None) == (calibration is None):
        raise EqlibError("give either epsilon or a calibration, one of the two")
    tubes = _read(tubes)
    if calibration is None:
        amounts = [(concentration_from_reading(t.absorbance, epsilon, path_cm, blank), ()) for t in tubes]
    else:
        estimates = [calibration.concentration(t.absorbance) for t in tubes]
        amounts = [(e.value, e.faults) for e in estimates]
    worked = tuple(
        _work(i, t, x, f) for i, (t, (x, f)) in enumerate(zip(tubes, amounts, strict=True), start=1)
    )
    return _summary(worked, reading_faults([t.absorbance for t in tubes]))


def kc_iterated(standards, tests, path_cm=1.0, rel_tol=1e-9, most_rounds=200):
    """The ``IteratedKc`` of ``tests`` read against ``standards`` (both Tube or triples), in one cell.

    In a standard with no ligand the complex is zero. Raises EqlibError when K will not stand still.
    """
    standards, tests = _read(standards), _read(tests)
    readings = [tube.absorbance for tube in standards]
    first_line = line = calibrate([min(t.metal, t.ligand) for t in standards], readings, path_cm)
    first = result = kc_from_absorbance(tests, calibration=line)
    for rounds in range(1, most_rounds + 1):
        K = result.mean
        line = calibrate([complex_at(t.metal, t.ligand, K) for t in standards], readings, path_cm)
        result = kc_from_absorbance(tests, calibration=line)
        if abs(result.mean - K) <= rel_tol * abs(K):
            return IteratedKc(first, result, first_line, line, rounds)
    raise EqlibError(
        f"K has not settled after {most_rounds} rounds; check the standards and the tests for a swap"
    )


def complex_at(metal, ligand, K):
    """Equilibrium complex (mol/L) of M + L <=> ML from totals: the smaller root, in the form that keeps its
    digits.
    """
    if K <= 0.0:
        raise EqlibError(f"K has come out as {K:.3g}; check the standards and the tests for a swap")
    b = metal + ligand + 1.0 / K
    return 2.0 * metal * ligand / (b + float(np.sqrt(max(b * b - 4.0 * metal * ligand, 0.0))))


def _read(tubes):
    read = []
    for i, tube in enumerate(tubes, start=1):
        triple = (tube.metal, tube.ligand, tube.absorbance) if isinstance(tube, Tube) else tuple(tube)
        if len(triple) != 3:
            raise EqlibError(f"tube {i} has {len(triple)} numbers; give metal, ligand and absorbance")
        metal, ligand, absorbance = numbers(triple, f"in tube {i}, number").tolist()
        if metal < 0.0 or ligand < 0.0:
            raise EqlibError(f"tube {i} has a concentration below zero; check metal and ligand")
        read.append(Tube(metal, ligand, absorbance))
    if not read:
        raise EqlibError("no tubes are given; give at least one")
    return tuple(read)


def _work(number, tube, complex_, faults):
    where = f"tube {number}"
    faults = tuple(Fault(f.kind, where, f.words) for f in faults)
    if complex_ <= 0.0:
        nothing = Fault("no_complex", where, "the reading is not above the blank, so there is no Kc for it")
        return TubeResult(tube, complex_, None, (*faults, nothing))
    try:
        return TubeResult(tube, complex_, kc_of_tube(tube, complex_), faults)
    except EqlibError as error:
        return TubeResult(tube, complex_, None, (*faults, Fault("impossible", where, str(error))))


def _summary(worked, faults):
    used = [w for w in worked if w.Kc is not None]
    if not used:
        raise EqlibError(f"no tube gives a Kc; first reason: {worked[0].faults[-1]}")
    values = np.array([w.Kc for w in used])
    mean, n = float(values.mean()), len(values)
    faults = [*faults, *(f for w in worked for f in w.faults)]
    s = low = high = trend = None
    if n > 1:
        s = float(values.std(ddof=1))
        half = student_t(n - 1) * s / n**0.5
        low, high = mean - half, mean + half
    if n > 2:
        trend = _correlation(np.array([w.complex_ for w in used]), values)
        # Student's t of a correlation, two-sided at 95 %; a spread under 1 % of the mean is nobody's concern.
        if n > 3 and s > 0.01 * mean and abs(trend) > _significant(n):
            faults.append(
                Fault("trend", "", "Kc drifts with the amount of complex: a systematic error is likely")
            )
    return KcResult(worked, mean, s, n, low, high, trend, tuple(faults))


def _correlation(x, y):
    x, y = x - x.mean(), y - y.mean()
    size = float(np.sqrt((x**2).sum() * (y**2).sum()))
    return float((x * y).sum() / size) if size > 0 else 0.0


def _significant(n):
    t = student_t(n - 2)
    return t / (n - 2 + t * t) ** 0.5
