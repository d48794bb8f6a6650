"""Random mixtures: solved, balanced, every constant met, no solid both undersaturated and present."""

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

import eqlib as eq


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow], derandomize=True)
@given(
    seed=st.integers(0, 2**32 - 1),
    components=st.integers(2, 8),
    species=st.integers(6, 25),
    solids=st.integers(0, 8),
    log_K=st.sampled_from([3.0, 12.0, 40.0]),
)
def test_any_mixture_is_solved(random_mixtures, seed, components, species, solids, log_K):
    rng = np.random.default_rng(seed)
    totals, reactions = random_mixtures.draw(rng, components, species, solids, log_K)
    mixture = eq.Mixture(totals, reactions)
    assert random_mixtures.faults(mixture, mixture.equilibrate()) == []


def test_a_seeded_run_is_solved(random_mixtures):
    solved, wrong = random_mixtures.solve_at_random(seed=7, count=400, solids=10)
    assert (solved, wrong) == (400, [])


@pytest.mark.parametrize("kind", ["amount", "constant", "solid"])
def test_the_check_itself_notices_what_is_wrong(random_mixtures, kind):
    """A state that is off by one part in a million, or lacks its solid, must not pass."""
    mixture = eq.Mixture({"Ag^+": 1e-3, "Cl^-": 2e-3}, [eq.Reaction("AgCl(s) <=> Ag^+ + Cl^-", K=1.8e-10)])
    state = mixture.equilibrate()
    assert random_mixtures.faults(mixture, state) == []
    amounts, fine = dict(state.amounts), dict(state.fine)
    if kind == "amount":
        amounts["AgCl(s)"] *= 1 + 1e-6
    elif kind == "constant":
        fine["Ag^+"] *= 1 + 1e-6
    else:
        amounts["AgCl(s)"], amounts["Ag^+"], amounts["Cl^-"] = 0.0, 1e-3, 2e-3
        fine["Ag^+"], fine["Cl^-"] = 1e-3, 2e-3
    broken = type(state)(mixture, amounts, state.volume, state.gas_volume, state.T, fine=fine)
    assert random_mixtures.faults(mixture, broken)
