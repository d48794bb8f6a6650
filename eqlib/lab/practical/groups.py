"""A whole class's Kc from the tables that the groups handed in: each value, what is odd about it, which
stand apart.

A value stands apart by the modified z-score (0.6745 times its distance from the median over the median
absolute deviation) beyond 3.5: B. Iglewicz and D. C. Hoaglin, How to Detect and Handle Outliers, 1993 (from
memory). It is named, not dropped.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from eqlib.errors import EqlibError
from eqlib.lab.practical.analysis import fit_all
from eqlib.lab.practical.faults import Fault, faults_of
from eqlib.lab.practical.plan import Bench
from eqlib.lab.practical.readings import read_readings

APART = 3.5
FEWEST = 4


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
        return (
            str(self.faults[0])
            if self.faults
            else "stands apart from the others; no fault found in its table"
            if self.apart
            else ""
        )


def stocks_of(bench: Bench) -> dict[str, dict[str, float]]:
    """The strengths of the stocks (mol/L) by the set they are for, as ``read_readings`` takes them."""
    return {
        role: {"metal": getattr(bench, f"metal_{role}"), "ligand": getattr(bench, f"ligand_{role}")}
        for role in ("standard", "test")
    }


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
