"""Extents of several reactions at once, recovered from amounts that were made with known ones."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

import eqlib as eq
from eqlib.chem.state import extents

REACTIONS = [
    eq.Reaction("Fe^3+ + SCN^- <=> FeSCN^2+", K=140),
    eq.Reaction("FeSCN^2+ + SCN^- <=> Fe(SCN)2^+", K=16),
    eq.Reaction("AgSCN(s) <=> Ag^+ + SCN^-", K=1e-12),
    eq.Reaction("Fe^3+ + H2O <=> FeOH^2+ + H^+", K=2e-3),
    eq.water(),
]
NAMES = sorted({name for r in REACTIONS for name in r.coefficients if name != "H2O(l)"})


@given(
    st.lists(st.floats(-1.0, 1.0), min_size=5, max_size=5),
    st.lists(st.floats(-9.0, -1.0), min_size=len(NAMES), max_size=len(NAMES)),
)
def test_known_extents_are_found(shares, logs):
    """Each true extent is up to 1 % of the smallest amount, so that nothing goes negative."""
    once = {name: 10.0**log for name, log in zip(NAMES, logs, strict=True)}
    true = []
    for r, share in zip(REACTIONS, shares, strict=True):
        smallest = min(once[name] for name in r.coefficients if name != "H2O(l)")
        true.append(0.01 * share * smallest)
    after = dict(once)
    for r, x in zip(REACTIONS, true, strict=True):
        for name, number in r.coefficients.items():
            if name != "H2O(l)":
                after[name] += number * x
    found = extents(REACTIONS, once, after)
    assert all(one.determined for one in found)
    for one, wanted in zip(found, true, strict=True):
        assert one.mol == pytest.approx(wanted, abs=max(one.doubt, 1e-9 * abs(wanted)))
        if abs(wanted) > 10 * one.doubt:
            assert one.direction == ("forward" if wanted > 0 else "reverse")


def test_nothing_changed():
    once = dict.fromkeys(NAMES, 1e-3)
    assert [one.direction for one in extents(REACTIONS, once, once)] == ["none"] * 5


def test_a_sum_of_the_others_is_not_determined():
    both = [REACTIONS[0] + REACTIONS[1], *REACTIONS]
    once = dict.fromkeys(NAMES, 1e-3)
    assert [one.determined for one in extents(both, once, once)] == [False, False, False, True, True, True]
