"""Plan the practical: which tubes, what they will read, how well they will give Kc, and what limits that.

The proposal keeps every absorbance between ``low`` and ``high``, keeps one reactant of the standards in large
excess and says how much of the other is converted, and works out the expected uncertainty of Kc from the
tolerances by the same weighted fit that will be used on the readings.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
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

# An excess smaller than this leaves too much unconverted for a standard (common practice, no source).
LEAST_EXCESS = 50.0
# A pipette of 5 mL is graduated in steps of this many mL.
STEP_ML = 0.25
STANDARDS, TESTS = 7, 5  # tubes of each set


@dataclass(frozen=True)
class Bench:
    """What there is: stocks (mol/L), the volume of a tube, the cell, the instrument's range, and tolerances.

    ``metal_standard`` and ``metal_test`` are the two iron stocks, ``ligand_standard`` and ``ligand_test`` the
    thiocyanate ones; ``metal_mL`` of iron goes into every tube of ``total_mL``. ``K`` and ``epsilon`` are the
    values expected. ``fading`` is the share of colour lost per minute; ``have_mL`` limits a stock, by name.
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
    have_mL: tuple[tuple[str, float], ...] = ()


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
    if min(t.metal / t.ligand for t in own) < LEAST_EXCESS:
        raise EqlibError(
            f"in the strongest standard the iron is only {min(t.metal / t.ligand for t in own):.0f} "
            f"times the thiocyanate; "
            f"take a stronger iron stock or a weaker thiocyanate stock, for an excess of {LEAST_EXCESS:.0f}"
        )
    fit = fit_all(tubes, bench.path_cm, bench.reading_sd, bench.volume_sd)
    ignored = tube_by_tube([t for t in tubes if t.role != "repeat"], bench.path_cm, all_converted=True).mean
    limits, advice = _limits(bench, tubes, fit.se_K / fit.K)
    needs = _needs(bench, rows)
    return Plan(
        bench,
        rows,
        min(shares),
        ignored,
        fit.se_K / fit.K,
        limits,
        _minutes(bench),
        (*advice, *_short(bench, needs)),
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
    shares = budget(own, bench.path_cm, bench.reading_sd, bench.volume_sd).shares
    by_tube: dict[str, float] = {}
    for name, share in shares.items():
        label = name.split(", ")[-1]
        by_tube[label] = by_tube.get(label, 0.0) + share
    limits = max(by_tube, key=lambda label: by_tube[label])
    better = {
        "halve the error of the volumes (burettes or a balance instead of graduated pipettes)": fit_all(
            own, bench.path_cm, bench.reading_sd, bench.volume_sd / 2
        ),
        "read every tube four times and take the mean": fit_all(
            own, bench.path_cm, bench.reading_sd / 2, bench.volume_sd
        ),
        "make every tube twice": None,
    }
    gains = {words: (fit.se_K / fit.K if fit else now / 2**0.5) for words, fit in better.items()}
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


def _short(bench: Bench, needs: Sequence[tuple[str, float]]) -> tuple[str, ...]:
    have = dict(bench.have_mL)
    unknown = set(have) - {name for name, _ in needs}
    if unknown:
        raise EqlibError(
            f"{min(unknown)!r} is no stock of this practical; the stocks are {', '.join(n for n, _ in needs)}"
        )
    return tuple(
        f"{name}: {mL:.0f} mL are needed with a fifth to spare, {have[name]:.0f} mL are there; make "
        f"more or form fewer groups"
        for name, mL in needs
        if name in have and have[name] < mL
    )
