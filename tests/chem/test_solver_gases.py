"""Random chemistry with gases: in closed vessels, above a solution, under a piston, with an inert gas."""

import math

import numpy as np
import pytest

import eqlib as eq


def _vapours(random_mixtures, rng, share):
    """A random mixture without ions, some or all of its solutes turned into gases."""
    while True:
        totals, reactions = random_mixtures.draw(rng, 5, 14, 3, 12.0, (-6.0, 0.0), water=0.0)
        names = {n for r in reactions for n in r.coefficients} | set(totals)
        if not any(eq.species(n).charge for n in names):
            break
    new = {n: n if n.endswith("(s)") or rng.random() > share else f"{n}(g)" for n in sorted(names)}
    changed = [
        eq.Reaction({new[n]: v for n, v in r.coefficients.items()}, K=r.K, basis=str(rng.choice(["c", "p"])))
        for r in reactions
    ]
    return {new[n]: v for n, v in totals.items()}, changed


def _check(random_mixtures, mixture, state):
    for what, gap in random_mixtures.balance_gaps(mixture, state):
        assert gap < 1e-10, what
    for r in mixture.reactions:
        there = [state.concentrations[n] for n in r.coefficients if n in state.concentrations]
        if any(v < 1e-280 for v in there):
            continue
        gap = math.log(state.Q(r) / r.K)
        missing = [
            float(v) for n, v in r.coefficients.items() if n in state.solids and state.solids[n] == 0.0
        ]
        if not missing:
            assert abs(gap) < 1e-8, r
        elif len(missing) == 1:
            assert gap * missing[0] > -1e-8, f"{r}: a solid is missing"


@pytest.mark.parametrize("seed", range(20))
def test_closed_vessels(seed, random_mixtures):
    rng = np.random.default_rng(300 + seed)
    totals, reactions = _vapours(random_mixtures, rng, share=1.0 if seed % 2 else 0.4)
    mixture = eq.Mixture(totals, reactions)
    if mixture.has_solution:
        mixture = mixture.with_(headspace=float(10 ** rng.uniform(-2, 1)))
    _check(random_mixtures, mixture, mixture.equilibrate())


@pytest.mark.parametrize("seed", range(20))
def test_under_a_piston(seed, random_mixtures):
    rng = np.random.default_rng(400 + seed)
    totals, reactions = _vapours(random_mixtures, rng, share=1.0 if seed % 2 else 0.4)
    if seed % 3 == 0:
        totals |= {"He(g)": 0.01}
    pressure = float(10 ** rng.uniform(-2, 1))
    mixture = eq.Mixture(totals, reactions, pressure=pressure)
    state = mixture.equilibrate()
    if state.gas_volume > 0.0:
        assert state.total_pressure == pytest.approx(pressure, rel=1e-9)
        _check(random_mixtures, mixture, state)
    else:
        assert not any(n.endswith("(g)") and v > 0.0 for n, v in state.amounts.items())
