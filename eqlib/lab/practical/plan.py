"""Before the practical: which tubes, how well they will give Kc, on paper; and what a simulated instrument
reads.

The proposal keeps every absorbance between ``low`` and ``high``, keeps one reactant of the standards in
large excess and says how much of the other is converted, and works out the expected uncertainty of Kc from
the tolerances by the same weighted fit that will be used on the readings.

The simulated colorimeter and bench are for those without one. Every departure from the ideal is one field,
zero when it is absent, so that a lesson or a test can put one in on purpose. Stray light and a wide band
bend Beer's law as they do in a real instrument: stray light, A = -log10((T + s)/(1 + s)); a band of light,
the mean of T over it (D. A. Skoog, Principles of Instrumental Analysis, chapter 13, from memory).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from html import escape
from math import inf, log

import numpy as np

from eqlib.errors import EqlibError
from eqlib.lab.practical.analysis import (
    READING_SD,
    VOLUME_SD,
    Tube,
    budget,
    complex_at,
    fit_all,
    tube_by_tube,
)
from eqlib.writing import page

# An excess smaller than this leaves too much unconverted for a standard (common practice, no source).
LEAST_EXCESS = 50.0
# A pipette of 5 mL is graduated in steps of this many mL.
STEP_ML = 0.25
STANDARDS, TESTS = 7, 5  # tubes of each set
CHECK = (
    "Acid, iron and thiocyanate: gloves, eye protection, the iron/thiocyanate bottle; "
    "check your supplier's safety data sheet and local rules."
)
LEAST_LIGHT = 10.0**-3.5


@dataclass(frozen=True)
class Bench:
    """What there is: stocks (mol/L), the volume of a tube, the cell, the instrument's range, and tolerances.

    ``metal_standard`` and ``metal_test`` are the two iron stocks, ``ligand_standard`` and ``ligand_test`` the
    thiocyanate ones; ``metal_mL`` of iron goes into every tube of ``total_mL``. ``K`` and ``epsilon`` are the
    values expected. ``fading`` is the share of colour lost per minute.
    ``acid`` is the nitric acid that stands in every tube.
    """

    metal_standard: float = 0.200
    ligand_standard: float = 4.00e-4
    metal_test: float = 2.00e-3
    ligand_test: float = 2.00e-3
    metal_mL: float = 5.00
    total_mL: float = 10.00
    acid: float = 0.50
    path_cm: float = 1.00
    nm: float = 447.0
    K: float = 139.0
    epsilon: float = 4700.0
    low: float = 0.10
    high: float = 1.00
    reading_sd: float = READING_SD
    volume_sd: float = VOLUME_SD
    fading: float = 0.001
    groups: int = 1


@dataclass(frozen=True)
class Row:
    """One line of the dilution table: volumes in mL, the ``tube`` they give (its absorbance the one
    expected).
    """

    tube: Tube
    metal_mL: float
    ligand_mL: float
    water_mL: float


@dataclass(frozen=True)
class Plan:
    """The tubes and what to expect of them.

    ``converted`` is the lowest share of the scarce reactant converted in a standard; ``if_ignored`` is the K
    that taking them as all converted would give; ``relative_sd`` the expected standard uncertainty of K over
    K; ``limits`` the tube that adds most to it; ``advice`` what would help most, one line each; ``minutes``
    how soon after mixing to read.
    """

    bench: Bench
    rows: tuple[Row, ...]
    converted: float
    if_ignored: float
    relative_sd: float
    limits: str
    minutes: float
    advice: tuple[str, ...]
    needs_mL: tuple[tuple[str, float], ...]

    @property
    def tubes(self) -> tuple[Tube, ...]:
        """The tubes in the order in which they are read."""
        return tuple(row.tube for row in self.rows)


def plan(bench: Bench | None = None) -> Plan:
    """The ``Plan`` for a ``bench``. Raises EqlibError when the stocks cannot give readings in range."""
    bench = bench or Bench()
    rows = rows_of(bench)
    tubes = [r.tube for r in rows]
    own = [t for t in tubes if t.role == "standard" and t.ligand > 0]
    shares = [float(complex_at(t.metal, t.ligand, bench.K)) / min(t.metal, t.ligand) for t in own]
    excess = min(t.metal / t.ligand for t in own)
    if excess < LEAST_EXCESS:
        raise EqlibError(
            f"in the strongest standard the iron is only {excess:.0f} times the thiocyanate; "
            f"take a stronger iron stock or a weaker thiocyanate stock, for an excess of {LEAST_EXCESS:.0f}"
        )
    fit = fit_all(tubes, bench.path_cm, bench.reading_sd, bench.volume_sd)
    ignored = tube_by_tube([t for t in tubes if t.role != "repeat"], bench.path_cm, all_converted=True).mean
    relative_sd = fit.se_K / fit.K
    limits, advice = _limits(bench, tubes, relative_sd)
    needs = _needs(bench, rows)
    return Plan(
        bench,
        rows,
        min(shares),
        ignored,
        relative_sd,
        limits,
        _minutes(bench),
        advice,
        needs,
    )


def rows_of(bench: Bench) -> tuple[Row, ...]:
    """The tubes alone, in the order of reading; the strongest standard is read again at the end."""
    room = bench.total_mL - bench.metal_mL
    if room <= 0:
        raise EqlibError("the iron alone fills the tube; take less iron or a larger tube")
    rows = [
        *_series(bench, "standard", bench.metal_standard, bench.ligand_standard, STANDARDS, room, blank=True),
        *_series(bench, "test", bench.metal_test, bench.ligand_test, TESTS, room, blank=False),
    ]
    strongest = max((r for r in rows if r.tube.role == "standard"), key=lambda r: r.tube.absorbance)
    return (*rows, replace(strongest, tube=replace(strongest.tube, role="repeat")))


def ionic_strength(bench: Bench, role: str) -> float:
    """The highest ionic strength of a tube of this ``role`` as mixed, mol/L: iron(III) nitrate counts six
    times, potassium thiocyanate and nitric acid once.
    """
    tubes = [row.tube for row in rows_of(bench)]
    return max(bench.acid + 6 * t.metal + t.ligand for t in tubes if t.role == role)


def stocks_of(bench: Bench) -> dict[str, dict[str, float]]:
    """The strengths of the stocks (mol/L) by the set they are for, as ``read_readings`` takes them."""
    return {
        role: {"metal": getattr(bench, f"metal_{role}"), "ligand": getattr(bench, f"ligand_{role}")}
        for role in ("standard", "test")
    }


def _series(
    bench: Bench, role: str, metal: float, ligand: float, n: int, room: float, blank: bool
) -> list[Row]:
    """Tubes of rising thiocyanate whose readings are spread evenly over the range the instrument reads
    well."""
    m = metal * bench.metal_mL / bench.total_mL

    def reading(mL: float) -> float:
        return bench.epsilon * bench.path_cm * float(complex_at(m, ligand * mL / bench.total_mL, bench.K))

    most = max((v for v in _steps(room) if reading(v) <= bench.high), default=0.0)
    least = min((v for v in _steps(room) if reading(v) >= bench.low), default=inf)
    which = f"thiocyanate stock of the {role}s ({ligand:g} mol/L)"
    if most == 0.0:
        raise EqlibError(
            f"the {which} is too strong: {STEP_ML:g} mL already reads {reading(STEP_ML):.2f}; dilute it"
        )
    count = n - blank
    volumes = sorted({_rounded(v) for v in np.linspace(least, most, count)}) if least < most else []
    if len(volumes) < count:
        raise EqlibError(
            f"the {which} does not give {count} different readings from {bench.low:g} to "
            f"{bench.high:g}; take one of another strength"
        )
    rows = []
    for i, v in enumerate([0.0] * blank + volumes, start=0 if blank else 1):
        tube = Tube(
            m, ligand * v / bench.total_mL, round(reading(v), 3) if v else 0.0, role, f"{role[0].upper()}{i}"
        )
        rows.append(Row(tube, bench.metal_mL, v, round(bench.total_mL - bench.metal_mL - v, 4)))
    return rows


def _steps(room: float) -> list[float]:
    return [STEP_ML * i for i in range(1, int(room / STEP_ML + 1e-9) + 1)]


def _rounded(mL: float) -> float:
    return round(round(mL / STEP_ML) * STEP_ML, 4)


def _minutes(bench: Bench) -> float:
    """Minutes until fading takes as much as one reading is uncertain by, at the top of the range."""
    if bench.fading <= 0:
        return inf
    return -log(1 - bench.reading_sd / bench.high) / bench.fading if bench.reading_sd < bench.high else inf


def _limits(bench: Bench, tubes: Sequence[Tube], now: float) -> tuple[str, tuple[str, ...]]:
    own = [t for t in tubes if t.role != "repeat"]
    _, shares = budget(own, bench.path_cm, bench.reading_sd, bench.volume_sd)
    by_tube: dict[str, float] = {}
    for name, share in shares.items():
        label = name.split(", ")[-1]
        by_tube[label] = by_tube.get(label, 0.0) + share
    limits = max(by_tube, key=lambda label: by_tube[label])
    r, v = bench.reading_sd, bench.volume_sd
    halved = fit_all(own, bench.path_cm, r, v / 2), fit_all(own, bench.path_cm, r / 2, v)
    gains = {
        "halve the error of the volumes (burettes or a balance instead of graduated pipettes)": halved[0].se_K
        / halved[0].K,
        "read every tube four times and take the mean": halved[1].se_K / halved[1].K,
        "make every tube twice": now / 2**0.5,
    }
    best = min(gains, key=lambda words: gains[words])
    return limits, (
        f"what helps most: {best}; the uncertainty of K falls from {now:.1%} to {gains[best]:.1%}",
    )


def _needs(bench: Bench, rows: Sequence[Row]) -> tuple[tuple[str, float], ...]:
    made = [r for r in rows if r.tube.role != "repeat"]
    needs = {}
    for role in ("standard", "test"):
        own = [r for r in made if r.tube.role == role]
        needs[f"iron stock of the {role}s"] = sum(r.metal_mL for r in own)
        needs[f"thiocyanate stock of the {role}s"] = sum(r.ligand_mL for r in own)
    return tuple((name, mL * bench.groups * 1.2) for name, mL in needs.items())


# -- on paper --------------------


def plan_words(made: Plan) -> str:
    """What to expect, in a few sentences."""
    sd, K = made.relative_sd, made.bench.K
    helps = made.advice[0][:1].upper() + made.advice[0][1:]
    return (
        f"K near {K:.0f} would come out to about ±{sd * K:.0f} (one standard deviation, {sd:.1%}); "
        f"tube {made.limits} limits it most. {helps}. At least {made.converted:.0%} of a standard's "
        f"thiocyanate is converted; taken as all, K would read {made.if_ignored:.0f}. "
        f"Read within {made.minutes:.0f} minutes of mixing, each tube equally long after it. With "
        f"{made.bench.acid:.2f} M nitric acid throughout the ionic strength is about "
        f"{ionic_strength(made.bench, 'test'):.2f} mol/L in a test and "
        f"{ionic_strength(made.bench, 'standard'):.1f} in a standard: report it with K."
    )


def plan_table(made: Plan) -> str:
    """The dilution table, to print and take to the bench."""
    rows = "".join(
        f"<tr><th scope=row>{escape(('again ' if r.tube.role == 'repeat' else '') + r.tube.label)}</th>"
        f"<td>{r.metal_mL:.2f}</td><td>{r.ligand_mL:.2f}</td><td>{r.water_mL:.2f}</td><td>{r.tube.absorbance:.2f}</td></tr>"
        for r in made.rows
    )
    b = made.bench
    return (
        "<table><thead><tr><th scope=col>tube</th><th scope=col>iron(III) / mL</th><th "
        "scope=col>thiocyanate / mL</th>"
        "<th scope=col>acid / mL</th><th scope=col>A, about</th></tr></thead>"
        f"<tbody>{rows}</tbody></table><p class=soft>S: {1000 * b.metal_standard:g} mM iron(III) and "
        f"{1000 * b.ligand_standard:g} mM "
        f"thiocyanate. T: {1000 * b.metal_test:g} mM and {1000 * b.ligand_test:g} mM. {escape(CHECK)}</p>"
    )


def plan_text(made: Plan) -> str:
    """The same for a terminal."""
    head = ("tube", "iron/mL", "SCN/mL", "acid/mL", "A about")
    lines = ["  ".join(f"{word:>8}" for word in head)]
    for r in made.rows:
        name = ("again " if r.tube.role == "repeat" else "") + r.tube.label
        cells = (f"{v:.2f}" for v in (r.metal_mL, r.ligand_mL, r.water_mL, r.tube.absorbance))
        lines.append("  ".join(f"{word:>8}" for word in (name, *cells)))
    needs = "; ".join(f"{name} {mL:.0f} mL" for name, mL in made.needs_mL)
    told = [plan_words(made), *made.advice[1:], f"Stocks for all groups, a fifth to spare: {needs}.", CHECK]
    return "\n".join([*lines, "", *told]) + "\n"


def plan_page(made: Plan) -> str:
    """The same as a page to print."""
    body = f"<h1>The Kc practical: tubes</h1>{plan_table(made)}<p>{escape(plan_words(made))}</p>"
    return page("The Kc practical: tubes", body)


# -- a simulated instrument --------------------


@dataclass(frozen=True)
class Instrument:
    """What happens between mixing and the number written down.

    ``reading_sd`` (absorbance) and ``volume_sd`` (relative, each measured volume) are random; ``stray`` is
    the share of light that misses the sample, ``wavelength_off`` and ``band`` are in nm, ``metal_bias`` and
    ``ligand_bias`` are relative errors of a pipette used throughout, ``blank`` is an absorbance not taken
    off, ``dirty`` is added to the readings from the third tube of each set on, ``fading`` is the share of
    complex lost per minute, and the tubes are read ``pace`` minutes apart, the first after ``first``.
    """

    reading_sd: float = READING_SD
    volume_sd: float = VOLUME_SD
    stray: float = 0.0
    wavelength_off: float = 0.0
    band: float = 0.0
    metal_bias: float = 0.0
    ligand_bias: float = 0.0
    blank: float = 0.0
    dirty: float = 0.0
    fading: float = 0.0
    first: float = 2.0
    pace: float = 1.0


def read_tubes(
    tubes: Sequence[Tube],
    K: float,
    epsilon: Callable[[float], float],
    nm: float,
    rng: np.random.Generator,
    instrument: Instrument | None = None,
    path_cm: float = 1.0,
    decimals: int = 3,
) -> tuple[Tube, ...]:
    """The planned ``tubes`` with the absorbance that this instrument shows, and the minutes of each reading.

    ``epsilon`` gives the molar absorptivity, L/(mol cm), at a wavelength in nm.
    """
    how = instrument or Instrument()
    read: list[Tube] = []
    mixed: dict[str, tuple[float, float]] = {}
    number = {"standard": 0, "test": 0, "repeat": 0}
    for i, tube in enumerate(tubes):
        if tube.role == "repeat" and tube.label in mixed:
            metal, ligand = mixed[tube.label]
        else:
            metal, ligand = _pipetted(tube, how, rng)
        mixed[tube.label] = metal, ligand
        minutes = how.first + how.pace * i
        formed = float(complex_at(metal, ligand, K)) * np.exp(-how.fading * minutes) if ligand else 0.0
        shown = _absorbance(formed * path_cm, epsilon, nm, how) + how.blank
        shown += how.dirty * (number[tube.role] >= 2) + how.reading_sd * rng.standard_normal()
        number[tube.role] += 1
        read.append(replace(tube, absorbance=round(float(shown), decimals), minutes=minutes))
    return tuple(read)


def _pipetted(tube: Tube, how: Instrument, rng: np.random.Generator) -> tuple[float, float]:
    metal = tube.metal * (1 + how.metal_bias) * (1 + how.volume_sd * rng.standard_normal())
    return metal, tube.ligand * (1 + how.ligand_bias) * (1 + how.volume_sd * rng.standard_normal())


def _absorbance(amount: float, epsilon: Callable[[float], float], nm: float, how: Instrument) -> float:
    centre = nm + how.wavelength_off
    band = centre + how.band * np.linspace(-0.5, 0.5, 9) if how.band else [centre]
    light = float(np.mean([10.0 ** (-epsilon(at) * amount) for at in band]))
    light = (light + how.stray) / (1.0 + how.stray)
    return float(-np.log10(max(light, LEAST_LIGHT)))
