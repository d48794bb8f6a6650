"""A bench for the tests: the tubes of a common Kc practical, and readings made without eqlib."""

from math import sqrt

import numpy as np
import pytest

from eqlib.lab.practical.analysis import Tube

EPSILON = 4700.0  # FeSCN2+ at 447 nm: Frank and Oswalt, J. Am. Chem. Soc. 69 (1947) 1321 (from memory)


def complex_by_quadratic(metal, ligand, K):
    """x of K = x / ((m - x)(l - x)), the root below both totals."""
    if not ligand:
        return 0.0
    b = metal + ligand + 1 / K
    return (b - sqrt(b * b - 4 * metal * ligand)) / 2


def made_set(K, rng=None, reading_sd=0.003, volume_sd=0.01, blank=0.0, fading=0.0, repeat=True):
    """Seven standards, five tests and the last standard read again, one a minute, written "
    "independently of eqlib."""
    wanted = [("standard", 0.100, v * 4e-5, f"S{i}") for i, v in enumerate([0, 0.5, 1, 1.5, 2, 2.5, 3])]
    wanted += [("test", 1e-3, v * 2e-4, f"T{v}") for v in (1, 2, 3, 4, 5)]
    tubes, last = [], {}
    for i, (role, m, l, label) in enumerate([*wanted, ("repeat", 0.100, 1.2e-4, "S6")] if repeat else wanted):
        if role == "repeat":
            metal, ligand = last["S6"]
        elif rng is None:
            metal, ligand = m, l
        else:
            metal, ligand = m * (1 + volume_sd * rng.normal()), l * (1 + volume_sd * rng.normal())
        last[label] = metal, ligand
        a = EPSILON * complex_by_quadratic(metal, ligand, K) * np.exp(-fading * (2 + i)) + blank
        a += 0.0 if rng is None else reading_sd * rng.normal()
        tubes.append(Tube(m, l, round(a, 3) if rng is not None else a, role, label, 2.0 + i))
    return tubes


@pytest.fixture
def rng():
    return np.random.default_rng(20261126)


@pytest.fixture
def made():
    """The function that makes a set of readings."""
    return made_set


@pytest.fixture
def formed():
    """The function that gives the complex formed, by the quadratic formula."""
    return complex_by_quadratic
