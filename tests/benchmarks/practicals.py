"""Ten thousand simulated practicals: how often the 95 % interval covers the true K, faults flagged, false
alarms.

    python tests/benchmarks/practicals.py [HOW_MANY]

Seeded. The readings come from the simulated instrument with the stated tolerances (1 % a volume, 0.003 a
reading).
"""

import sys
import time
from collections import Counter
from dataclasses import replace

import numpy as np

from eqlib.lab.practical.analysis import fit_all, tube_by_tube
from eqlib.lab.practical.faults import faults_of
from eqlib.lab.practical.plan import Bench, Instrument, read_tubes, rows_of

TUBES = [row.tube for row in rows_of(Bench())]
FIRST_TEST = next(i for i, t in enumerate(TUBES) if t.role == "test")


def read(K, rng, **how):
    return list(
        read_tubes(TUBES, K, lambda nm: 4700 * np.exp(-(((nm - 447) / 60) ** 2)), 447, rng, Instrument(**how))
    )


def changed(tubes, change):
    return [replace(t, absorbance=round(change(t.absorbance), 3)) for t in tubes]


def swapped(K, rng):
    tubes = read(K, rng)
    i = int(rng.choice([*range(1, FIRST_TEST - 1), *range(FIRST_TEST, len(TUBES) - 2)]))
    a, b = tubes[i].absorbance, tubes[i + 1].absorbance
    tubes[i], tubes[i + 1] = replace(tubes[i], absorbance=b), replace(tubes[i + 1], absorbance=a)
    return tubes


def one_off(K, rng):
    tubes = read(K, rng)
    i = int(rng.integers(1, len(TUBES) - 1))
    off = rng.choice([-1, 1]) * rng.uniform(0.06, 0.15)
    tubes[i] = replace(tubes[i], absorbance=tubes[i].absorbance + off)
    return tubes


def doubled(K, rng):
    tubes = read(K, rng)
    i = int(rng.integers(FIRST_TEST + 1, len(TUBES) - 1))
    tubes[i] = replace(tubes[i - 1], label=tubes[i].label)
    return tubes


FAULTS = {
    "percent_as_absorbance": lambda K, rng: changed(read(K, rng), lambda a: 100 * 10**-a),
    "transmittance_as_absorbance": lambda K, rng: changed(read(K, rng), lambda a: 10**-a),
    "millimolar_as_molar": lambda K, rng: [
        replace(t, metal=1e3 * t.metal, ligand=1e3 * t.ligand) for t in read(K, rng)
    ],
    "saturated": lambda K, rng: changed(read(K, rng), lambda a: 3.2 if a > 0.5 else a),
    "negative": lambda K, rng: changed(read(K, rng), lambda a: a - 0.05),
    "swapped": swapped,
    "doubled": doubled,
    "blank_kept": lambda K, rng: read(K, rng, blank=0.03),
    "wavelength": lambda K, rng: read(K, rng, wavelength_off=40),
    "outlier": one_off,
    "drift": lambda K, rng: read(K, rng, fading=0.006),
}


def main(how_many):
    rng = np.random.default_rng(1)
    start = time.perf_counter()
    covered = usual = alarms = 0
    for _ in range(how_many):
        K = rng.uniform(90, 300)
        tubes = read(K, rng)
        fit = fit_all(tubes)
        covered += fit.low <= K <= fit.high
        mean = tube_by_tube([t for t in tubes if t.role != "repeat"])
        usual += mean.low <= K <= mean.high
        alarms += bool(faults_of(tubes, epsilon=4700))
    spent = time.perf_counter() - start
    print(
        f"{how_many} good sets in {spent:.0f} s: the 95 % interval of the fit covers K in "
        f"{covered / how_many:.1%};"
    )
    print(f"  that of the tubes' own spread in {usual / how_many:.1%}; false alarms {alarms / how_many:.2%}")
    for kind, spoil in FAULTS.items():
        n = max(how_many // 20, 20)
        found = [faults_of(spoil(rng.uniform(90, 300), rng), epsilon=4700) for _ in range(n)]
        named = Counter("+".join(sorted({f.kind for f in faults})) or "nothing" for faults in found)
        flagged = sum(bool(faults) for faults in found) / n
        by_name = sum(kind in {f.kind for f in faults} for faults in found) / n
        print(
            f"  {kind}: flagged in {flagged:.1%} of {n}, by its name in {by_name:.1%} "
            f"{dict(named.most_common(3))}"
        )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 10_000)
