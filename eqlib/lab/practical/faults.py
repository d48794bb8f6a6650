"""What looks wrong with a set of readings. A fault is named and never repaired: the student decides.

First what no fit can survive (units, transmittance, a saturated reading, a tube twice), each by a plain
rule. Then the whole set is fitted with the stated uncertainties; where the fit is poor, each of a few single
causes is tried in turn (a blank left in, two tubes swapped, fading, one outlier), and the one that mends the
fit best is named, so that one fault has one name.

The limits are common practice, no source: an ordinary colorimeter is linear up to about A = 2, and above 3
less than a thousandth of the light comes through. The outlier test is that of the largest studentised
residual with Bonferroni's correction (R. D. Cook and S. Weisberg, Residuals and Influence in Regression,
1982, section 2.2, from memory).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np

from eqlib.errors import EqlibError
from eqlib.lab.practical.analysis import READING_SD, VOLUME_SD, Fit, Tube, fit_all

LINEAR_TO = 2.0
IMPOSSIBLE_FROM = 3.0
# An absorbance standard or test of more than this many mol/L was probably meant in mmol/L.
STRONG = 1.0
# How rarely chance alone may give what is called a fault: one set in a thousand for each of the tests.
RARE = 1e-3
# A molar absorptivity further from the expected one than this share is no matter of pipettes.
FAR_OFF = 0.15


@dataclass(frozen=True)
class Fault:
    """One thing to look at: ``kind`` a short name, ``where`` which tube or "", ``words`` one line with
    the mend.
    """

    kind: str
    where: str
    words: str

    def __str__(self) -> str:
        return f"{self.where}: {self.words}" if self.where else self.words


def faults_of(
    tubes: Sequence[Tube],
    path_cm: float = 1.0,
    epsilon: float | None = None,
    reading_sd: float = READING_SD,
    volume_sd: float = VOLUME_SD,
) -> tuple[Fault, ...]:
    """The faults of a whole set (standards and tests); ``epsilon`` is the molar absorptivity expected, if
    known.

    Nothing that looks wrong gives an empty tuple, which is no proof that nothing is.
    """
    units = tuple(_units(tubes))
    if units:
        return units
    gross = [*_one_by_one(tubes, reading_sd), *_twice(tubes), *_drift(tubes, reading_sd)]
    if gross:
        return tuple(gross)
    own = [t for t in tubes if t.role != "repeat"]
    try:
        fit = fit_all(own, path_cm, reading_sd, volume_sd)
    except EqlibError as error:
        return (Fault("unfit", "", str(error)),)
    return (*_cause(own, path_cm, reading_sd, volume_sd, fit), *_wavelength(fit, epsilon))


def _units(tubes: Sequence[Tube]) -> Iterable[Fault]:
    highest = max(t.absorbance for t in tubes)
    if highest > 5.0:
        yield Fault(
            "percent_as_absorbance",
            "",
            f"values up to {highest:g} look like percent transmittance: write %T in the heading, or A = "
            f"2 - log10(%T)",
        )
        return
    for role in ("standard", "test"):
        own = [t for t in tubes if t.role == role]
        amounts = [min(t.metal, t.ligand) for t in own]
        if len(own) > 2 and np.ptp(amounts) > 0 and _correlation(amounts, [t.absorbance for t in own]) < -0.8:
            yield Fault(
                "transmittance_as_absorbance",
                "",
                f"the {role}s read lower the stronger they are: that is transmittance; write T in the "
                f"heading, or A = -log10 T",
            )
            return
    strongest = max(max(t.metal, t.ligand) for t in tubes)
    if strongest > STRONG:
        yield Fault(
            "millimolar_as_molar",
            "",
            f"{strongest:g} mol/L is too strong for a reading: was it mmol/L? Write the unit in the heading",
        )


def _one_by_one(tubes: Sequence[Tube], reading_sd: float) -> Iterable[Fault]:
    for i, tube in enumerate(tubes, start=1):
        where = tube.label or f"tube {i}"
        if tube.absorbance < -4 * reading_sd:
            yield Fault(
                "negative",
                where,
                f"absorbance {tube.absorbance:g} is below zero: was the blank darker? Zero the "
                f"instrument and read again",
            )
        elif tube.absorbance >= IMPOSSIBLE_FROM:
            yield Fault(
                "saturated",
                where,
                f"absorbance {tube.absorbance:g}: almost no light is left; dilute the tube and read again",
            )
        elif tube.absorbance > LINEAR_TO:
            yield Fault(
                "nonlinear",
                where,
                f"absorbance {tube.absorbance:g} is above {LINEAR_TO:g}, where most instruments no "
                f"longer read true; dilute it",
            )
        if min(tube.metal, tube.ligand) < 0:
            yield Fault("negative_concentration", where, "a concentration is below zero; check the volumes")


def _twice(tubes: Sequence[Tube]) -> Iterable[Fault]:
    seen: dict[tuple, str] = {}
    for i, tube in enumerate(tubes, start=1):
        where = tube.label or f"tube {i}"
        key = (tube.role, tube.metal, tube.ligand, tube.absorbance)
        if key in seen:
            yield Fault(
                "doubled", where, f"the same as {seen[key]} to the last digit: was a line copied twice?"
            )
        seen.setdefault(key, where)


def _drift(tubes: Sequence[Tube], reading_sd: float) -> Iterable[Fault]:
    """A tube read twice whose reading has changed by more than two readings may differ by chance."""
    from scipy.stats import norm  # heavy: loaded only where a set is judged

    first = {t.label: t for t in tubes if t.role != "repeat"}
    for again in tubes:
        before = first.get(again.label) if again.role == "repeat" else None
        if before is None or before.absorbance <= 0:
            continue
        change = again.absorbance - before.absorbance
        if abs(change) > norm.isf(RARE / 2) * 2**0.5 * reading_sd:
            yield Fault(
                "drift",
                again.label,
                f"read {before.absorbance:g} and later {again.absorbance:g}: the colour "
                f"{'fades' if change < 0 else 'grows'}, or one was misread; "
                "read every tube at one fixed time after mixing",
            )


def _cause(
    tubes: Sequence[Tube], path_cm: float, reading_sd: float, volume_sd: float, fit: Fit
) -> Iterable[Fault]:
    """The single cause that explains a poor fit best, if any does."""
    from scipy.stats import chi2, norm  # heavy: loaded only where a set is judged

    limit = norm.isf(RARE / 2)
    found: list[tuple[float, Fault]] = []
    if abs(fit.blank) > limit * max(fit.se_blank, reading_sd / 2):
        found.append(
            (
                (fit.blank / fit.se_blank) ** 2,
                Fault(
                    "blank_kept",
                    "",
                    f"with no complex the tubes would still read {fit.blank:.3f}: was the blank taken off?",
                ),
            )
        )
    again = {"path_cm": path_cm, "reading_sd": reading_sd, "volume_sd": volume_sd}
    if fit.chi2 > chi2.isf(RARE, fit.freedom):
        found += [*_swap(tubes, fit, again), *_outlier(tubes, fit, again)]
        if not found:
            found.append(
                (
                    0.0,
                    Fault(
                        "scatter",
                        "",
                        f"the tubes scatter {(fit.chi2 / fit.freedom) ** 0.5:.1f} times as much as the "
                        f"stated tolerances explain",
                    ),
                )
            )
    if found:
        yield max(found, key=lambda item: item[0])[1]


def _swap(tubes: Sequence[Tube], fit: Fit, again: Mapping[str, float]) -> Iterable[tuple[float, Fault]]:
    """The exchange of two readings of one set that mends the fit most, when it mends it wholly."""
    from scipy.stats import chi2

    worst = np.argsort(-np.abs(fit.z))[:6]
    best: tuple[float, Fault] | None = None
    for i, j in combinations(sorted(worst), 2):
        a, b = tubes[i], tubes[j]
        if a.role != b.role:
            continue
        tried = list(tubes)
        tried[i], tried[j] = replace(a, absorbance=b.absorbance), replace(b, absorbance=a.absorbance)
        try:
            new = fit_all(tried, **again)
        except EqlibError:
            continue  # an exchange that gives no K is no explanation
        gain = fit.chi2 - new.chi2
        if new.chi2 < chi2.isf(0.01, new.freedom) and gain > 20 and (best is None or gain > best[0]):
            names = f"{a.label or f'tube {i + 1}'} and {b.label or f'tube {j + 1}'}"
            best = (
                gain,
                Fault("swapped", names, "each would fit with the other's reading: were they swapped?"),
            )
    return [best] if best else []


def _outlier(tubes: Sequence[Tube], fit: Fit, again: Mapping[str, float]) -> Iterable[tuple[float, Fault]]:
    """One tube off the others: the largest residual, left out and compared with what the others predict."""
    from scipy.stats import norm

    i = int(np.argmax(np.abs(fit.z)))
    others = [t for k, t in enumerate(tubes) if k != i]
    try:
        new = fit_all(others, **again)
    except EqlibError:
        return []  # without this tube nothing can be fitted, so nothing is said against it
    gain = fit.chi2 - new.chi2
    if gain < norm.isf(RARE / 2 / len(tubes)) ** 2:
        return []
    where = tubes[i].label or f"tube {i + 1}"
    words = (
        f"its absorbance {tubes[i].absorbance:g} is off what the other tubes predict: read or mix it again"
    )
    return [(gain - 1e-9, Fault("outlier", where, words))]


def _wavelength(fit: Fit, epsilon: float | None) -> Iterable[Fault]:
    if epsilon and abs(fit.epsilon / epsilon - 1) > FAR_OFF + 2 * fit.se_epsilon / epsilon:
        yield Fault(
            "wavelength",
            "",
            f"the molar absorptivity comes out as {fit.epsilon:.0f} where about {epsilon:.0f} L/(mol "
            f"cm) is usual: "
            "check the wavelength, the path and the stock of the standards",
        )


def _correlation(x: Sequence[float], y: Sequence[float]) -> float:
    return 0.0 if np.ptp(y) == 0 else float(np.corrcoef(x, y)[0, 1])
