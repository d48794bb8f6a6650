"""The same equations given to scipy.optimize.root: where that converges, the answers agree."""

import numpy as np
import pytest
from scipy.optimize import root

import eqlib as eq

R = eq.Reaction

# name: (reactions, totals, free species, {species: (ln beta, powers of the free species)}), the last
# written by hand.
SYSTEMS = {
    "iron-thiocyanate": (
        [R("Fe^3+ + SCN^- <=> FeSCN^2+", K=140), R("FeSCN^2+ + SCN^- <=> Fe(SCN)2^+", K=16)],
        {"Fe^3+": 2e-3, "SCN^-": 5e-3},
        ["Fe^3+", "SCN^-"],
        {"FeSCN^2+": (140.0, (1, 1)), "Fe(SCN)2^+": (140.0 * 16.0, (1, 2))},
    ),
    "copper-ammonia": (
        [
            R("Cu^2+ + NH3 <=> CuNH3^2+", K=1.9e4),
            R("CuNH3^2+ + NH3 <=> Cu(NH3)2^2+", K=3.6e3),
            R("Cu(NH3)2^2+ + NH3 <=> Cu(NH3)3^2+", K=7.9e2),
            R("Cu(NH3)3^2+ + NH3 <=> Cu(NH3)4^2+", K=1.5e2),
        ],
        {"Cu^2+": 1e-2, "NH3": 3e-2},
        ["Cu^2+", "NH3"],
        {
            "CuNH3^2+": (1.9e4, (1, 1)),
            "Cu(NH3)2^2+": (1.9e4 * 3.6e3, (1, 2)),
            "Cu(NH3)3^2+": (1.9e4 * 3.6e3 * 7.9e2, (1, 3)),
            "Cu(NH3)4^2+": (1.9e4 * 3.6e3 * 7.9e2 * 1.5e2, (1, 4)),
        },
    ),
    "phosphoric acid": (
        [
            R("H3PO4 <=> H^+ + H2PO4^-", K=7.1e-3),
            R("H2PO4^- <=> H^+ + HPO4^2-", K=6.3e-8),
            R("HPO4^2- <=> H^+ + PO4^3-", K=4.5e-13),
            R("H2O(l) <=> H^+ + OH^-", K=1.0e-14),
        ],
        {"H3PO4": 0.02, "HPO4^2-": 0.03},
        ["H^+", "PO4^3-"],
        {
            "HPO4^2-": (1 / 4.5e-13, (1, 1)),
            "H2PO4^-": (1 / 4.5e-13 / 6.3e-8, (2, 1)),
            "H3PO4": (1 / 4.5e-13 / 6.3e-8 / 7.1e-3, (3, 1)),
            "OH^-": (1.0e-14, (-1, 0)),
        },
    ),
}


@pytest.mark.parametrize("name", SYSTEMS)
def test_composition_agrees_with_a_general_root_finder(name):
    reactions, totals, free, formed = SYSTEMS[name]
    everything = {f: (1.0, tuple(int(f == g) for g in free)) for f in free} | formed
    names = list(everything)
    A = np.array([everything[n][1] for n in names], dtype=float)
    ln_beta = np.log([everything[n][0] for n in names])
    T = sum(v * np.array(everything[n][1], dtype=float) for n, v in totals.items())

    def balance(x):
        return A.T @ np.exp(ln_beta + A @ x) - T

    state = eq.Mixture(totals, reactions).equilibrate()
    rng = np.random.default_rng(3)
    agreed = 0
    for _ in range(20):
        start = np.log([state[f] for f in free]) + rng.uniform(-2.0, 2.0, len(free))
        found = root(lambda x: balance(x) / np.abs(T), start, tol=1e-14)
        if not found.success or np.abs(balance(found.x)).max() > 1e-12:
            continue
        c = np.exp(ln_beta + A @ found.x)
        assert [state[n] for n in names] == pytest.approx(list(c), rel=1e-8)
        agreed += 1
    assert agreed >= 3
