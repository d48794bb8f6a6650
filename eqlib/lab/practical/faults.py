"""What looks wrong with a set of readings, and in a class whose Kc stands apart. It is named and never
repaired.

First what no fit can survive (units, transmittance, a saturated reading, a tube twice), each by a plain
rule. Then the whole set is fitted with the stated uncertainties; where the fit is poor, each of a few
single causes is tried in turn (a blank left in, two tubes swapped, fading, one outlier), and the one that
mends the fit best is named, so that one fault has one name.

The limits are common practice, no source: an ordinary colorimeter is linear up to about A = 2, and above 3
less than a thousandth of the light comes through. The outlier test is that of the largest studentised
residual with Bonferroni's correction (R. D. Cook and S. Weisberg, Residuals and Influence in Regression,
1982, section 2.2, from memory).

A group's Kc stands apart by the modified z-score (0.6745 times its distance from the median over the median
absolute deviation) beyond 3.5: B. Iglewicz and D. C. Hoaglin, How to Detect and Handle Outliers, 1993 (from
memory).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from html import escape
from itertools import combinations
from pathlib import Path
from statistics import NormalDist, median

import numpy as np

from eqlib.errors import EqlibError
from eqlib.lab.curves import dots
from eqlib.lab.practical.analysis import READING_SD, VOLUME_SD, Fit, Tube, fit_all
from eqlib.lab.practical.plan import Bench, stocks_of
from eqlib.lab.practical.readings import Fault, read_readings
from eqlib.writing import page

LINEAR_TO = 2.0
IMPOSSIBLE_FROM = 3.0
# An absorbance standard or test of more than this many mol/L was probably meant in mmol/L.
STRONG = 1.0
# How rarely chance alone may give what is called a fault: one set in a thousand for each of the tests.
RARE = 1e-3
# A molar absorptivity further from the expected one than this share is no matter of pipettes.
FAR_OFF = 0.15
# A class's values: how far off is apart, and the fewest that can be compared.
APART, FEWEST = 3.5, 4


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
    first = {t.label: t for t in tubes if t.role != "repeat"}
    for again in tubes:
        before = first.get(again.label) if again.role == "repeat" else None
        if before is None or before.absorbance <= 0:
            continue
        change = again.absorbance - before.absorbance
        if abs(change) > _normal(RARE) * 2**0.5 * reading_sd:
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
    limit = _normal(RARE)
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
    if fit.chi2 > _chi2(RARE, fit.freedom):
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
        if new.chi2 < _chi2(0.01, new.freedom) and gain > 20 and (best is None or gain > best[0]):
            names = f"{a.label or f'tube {i + 1}'} and {b.label or f'tube {j + 1}'}"
            best = (
                gain,
                Fault("swapped", names, "each would fit with the other's reading: were they swapped?"),
            )
    return [best] if best else []


def _outlier(tubes: Sequence[Tube], fit: Fit, again: Mapping[str, float]) -> Iterable[tuple[float, Fault]]:
    """One tube off the others: the largest residual, left out and compared with what the others predict."""
    i = int(np.argmax(np.abs(fit.z)))
    others = [t for k, t in enumerate(tubes) if k != i]
    try:
        new = fit_all(others, **again)
    except EqlibError:
        return []  # without this tube nothing can be fitted, so nothing is said against it
    gain = fit.chi2 - new.chi2
    if gain < _normal(RARE / len(tubes)) ** 2:
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


def _normal(chance: float) -> float:
    """How many standard deviations off, to either side, a value lies with this chance."""
    return -NormalDist().inv_cdf(chance / 2)


def _chi2(chance: float, freedom: int) -> float:
    """The sum of squares that is exceeded with this chance."""
    from scipy.special import chdtri  # heavy: loaded only where a set is judged

    return float(chdtri(freedom, chance))


def _correlation(x: Sequence[float], y: Sequence[float]) -> float:
    return 0.0 if np.ptp(y) == 0 else float(np.corrcoef(x, y)[0, 1])


# -- a class --------------------


@dataclass(frozen=True)
class Group:
    """One group's table: ``K`` with its 95 % interval (None where none comes out), its faults, and whether K
    stands ``apart`` from the others.
    """

    name: str
    K: float | None
    low: float | None
    high: float | None
    faults: tuple[Fault, ...]
    apart: bool = False

    @property
    def likely(self) -> str:
        """The first thing to ask this group about, or ""."""
        if self.faults:
            return str(self.faults[0])
        return "stands apart from the others; no fault found in its table" if self.apart else ""


def group_of(name: str, table: str | bytes) -> Group:
    """One group's value and faults. What cannot be read at all is a fault of its own, never an error."""
    bench = Bench()
    try:
        readings = read_readings(table, stocks_of(bench))
    except EqlibError as error:
        return Group(name, None, None, None, (Fault("unreadable", "", str(error)),))
    faults = [
        *readings.faults,
        *faults_of(readings.tubes, bench.path_cm, None, bench.reading_sd, bench.volume_sd),
    ]
    try:
        fit = fit_all(readings.tubes, bench.path_cm, bench.reading_sd, bench.volume_sd)
    except EqlibError as error:
        if not faults:
            faults.append(Fault("unfit", "", str(error)))
        return Group(name, None, None, None, tuple(faults))
    return Group(name, fit.K, fit.low, fit.high, tuple(faults))


def marked(groups: Sequence[Group]) -> tuple[Group, ...]:
    """The same groups, those whose K stands apart marked so."""
    values = np.array([g.K for g in groups if g.K is not None])
    if len(values) < FEWEST:
        return tuple(groups)
    middle = float(np.median(values))
    spread = float(np.median(np.abs(values - middle))) or 1e-12 * middle
    return tuple(
        replace(g, apart=g.K is not None and 0.6745 * abs(g.K - middle) / spread > APART) for g in groups
    )


def class_in(folder: str | Path) -> tuple[Group, ...]:
    """The groups whose tables lie in ``folder`` as ``<group>.csv``, by name; where at least four have a
    value, those that stand apart are marked. Raises EqlibError when there is none.
    """
    files = sorted(Path(folder).glob("*.csv"))
    if not files:
        raise EqlibError(
            f"there is no .csv file in {Path(folder).name or folder}; put one table there for each "
            f"group, such as bench-1.csv"
        )
    return marked([group_of(file.stem, file.read_bytes()) for file in files])


def class_text(groups: Sequence[Group]) -> str:
    """A line for each group, and the class's middle value."""
    wide = max(len(g.name) for g in groups)
    lines = [f"{g.name:<{wide}}  {_value(g):<22}{'apart  ' if g.apart else ''}{g.likely}" for g in groups]
    return "\n".join([*(line.rstrip() for line in lines), class_words(groups)]) + "\n"


def class_words(groups: Sequence[Group]) -> str:
    """The class in one sentence."""
    values = [g.K for g in groups if g.K is not None]
    if not values:
        return "No table gives a Kc."
    return (
        f"{len(values)} of {len(groups)} tables give a Kc, from {min(values):.0f} to {max(values):.0f}, "
        f"half of them under {median(values):.0f}."
    )


def class_page(groups: Sequence[Group]) -> str:
    """The class as a page: dots along one scale, a row for each group."""
    rows = "".join(
        f"<tr><th scope=row>{escape(g.name)}</th><td>{escape(_value(g))}</td><td>{escape(g.likely)}</td></tr>"
        for g in groups
    )
    shown = [(g.name, [g.K]) for g in groups if g.K is not None]
    picture = dots(shown, class_words(groups), "Kc of each group") if shown else ""
    head = "<tr><th scope=col>group</th><th scope=col>Kc, L/mol</th><th scope=col>ask about</th></tr>"
    return page(
        "Kc of the class",
        f"<h1>Kc of the class</h1>{picture}<p>{escape(class_words(groups))}</p><table>{head}{rows}</table>",
    )


def _value(group: Group) -> str:
    return "no Kc" if group.K is None else f"{group.K:.0f} ({group.low:.0f} to {group.high:.0f})"
