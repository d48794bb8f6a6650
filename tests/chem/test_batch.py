"""Many mixtures at once: every row as if solved alone, whatever the shapes, solids and constants."""

import math

import numpy as np
import pytest

import eqlib as eq
from eqlib.chem.solver.batch import careful_totals
from eqlib.chem.solver.network import eliminated

R = eq.Reaction
IRON = R("Fe^3+ + SCN^- <=> FeSCN^2+", K=140)
SILVER = R("AgSCN(s) <=> Ag^+ + SCN^-", K=1.0e-12)


def _one_by_one(reactions, totals, found, rel=1e-9, **more):
    for row in range(len(next(iter(totals.values())))):
        s = eq.Mixture({n: float(v[row]) for n, v in totals.items()}, reactions, **more).equilibrate()
        for name, values in found.items():
            assert values[row] == pytest.approx(s[name], rel=rel, abs=1e-300), (row, name)


def test_quadratic_over_a_grid():
    iron = np.geomspace(1e-5, 1e-1, 7)[:, None]
    thiocyanate = np.geomspace(1e-5, 1e-1, 5)
    found = eq.equilibrate_many([IRON], {"Fe^3+": iron, "SCN^-": thiocyanate})
    b = iron + thiocyanate + 1 / 140
    expected = 2 * iron * thiocyanate / (b + np.sqrt(b * b - 4 * iron * thiocyanate))
    assert found["FeSCN^2+"].shape == (7, 5)
    assert found["Fe^3+"].shape == (7, 5)
    np.testing.assert_allclose(found["FeSCN^2+"], expected, rtol=1e-10)


def test_scalars_give_arrays_without_dimensions():
    found = eq.equilibrate_many(IRON, {"Fe^3+": 1e-3, "SCN^-": 1e-3, "NO3^-": 3e-3})
    assert found["FeSCN^2+"].shape == ()
    assert float(found["NO3^-"]) == 3e-3


def test_solids_come_and_go_along_a_titration():
    reactions = [
        eq.water(),
        R("Al(OH)3(s) <=> Al^3+ + 3 OH^-", K=1.3e-33),
        R("Al(OH)3(s) + OH^- <=> Al(OH)4^-", K=1.3),
    ]
    base = np.linspace(0.0, 0.6, 240)
    totals = {"Al^3+": np.full(240, 0.1), "OH^-": base, "Na^+": base, "Cl^-": np.full(240, 0.3)}
    found = eq.equilibrate_many(reactions, totals)
    solid = found["Al(OH)3(s)"]
    assert solid[0] >= 0
    assert solid[120] > 0.09
    assert solid[-1] == 0.0
    np.testing.assert_allclose(found["Al^3+"] + found["Al(OH)4^-"] + solid, 0.1, rtol=1e-12)
    charge = (
        found["H^+"] + found["Na^+"] + 3 * found["Al^3+"] - found["OH^-"] - found["Al(OH)4^-"] - found["Cl^-"]
    )
    np.testing.assert_allclose(charge, 0.0, atol=1e-12)
    _one_by_one(reactions, {n: v[::24] for n, v in totals.items()}, {n: v[::24] for n, v in found.items()})


@pytest.mark.parametrize("seed", range(12))
def test_random_systems_row_by_row(seed, random_mixtures):
    """The same random chemistry with the amounts scattered over orders of magnitude, exact zeros among
    them.
    """
    rng = np.random.default_rng(900 + seed)
    totals, reactions = random_mixtures.draw(rng, components=6, species=18, solids=4, log_K=20.0, water=1.0)
    scattered = {n: v * 10 ** rng.uniform(-2, 2, 150) * (rng.random(150) > 0.05) for n, v in totals.items()}
    found = eq.equilibrate_many(reactions, scattered)
    for row in range(150):
        mixture = eq.Mixture({n: float(v[row]) for n, v in scattered.items()}, reactions)
        amounts = {n: float(v[row]) for n, v in found.items()}
        fine = {n: v for n, v in amounts.items() if not n.endswith("(s)")}
        state = eq.State(mixture, amounts, 1.0, 0.0, 298.15, fine=fine)
        assert random_mixtures.faults(mixture, state) == [], row


def test_temperature_as_an_array():
    r = R("N2O4(g) <=> 2 NO2(g)", K=0.15, basis="p", dH=57.2e3)
    T = np.linspace(273.15, 373.15, 30)
    found = eq.equilibrate_many(r, {"N2O4(g)": 0.04}, T=T)
    K = 0.15 * np.exp(-57.2e3 / 8.31446261815324 * (1 / T - 1 / 298.15)) / (8.31446261815324e-2 * T)
    x = (-K + np.sqrt(K * K + 16 * 0.04 * K)) / 8
    np.testing.assert_allclose(found["NO2(g)"], 2 * x, rtol=1e-10)
    few = eq.equilibrate_many(r, {"N2O4(g)": 0.04}, T=T[[0, 7]])
    np.testing.assert_allclose(few["NO2(g)"], found["NO2(g)"][[0, 7]], rtol=1e-12)


def test_temperature_with_a_constant_in_concentrations():
    r = R("N2O4(g) <=> 2 NO2(g)", K=0.006, dH=57.2e3)
    T = np.linspace(273.15, 373.15, 20)
    many = eq.equilibrate_many(r, {"N2O4(g)": 0.04}, T=T)["NO2(g)"]
    for row in (0, 9, 19):
        alone = eq.Mixture({"N2O4(g)": 0.04}, [r], T=float(T[row])).equilibrate()["NO2(g)"]
        assert many[row] == pytest.approx(alone, rel=1e-10)


@pytest.mark.parametrize("key", [0, IRON, "Fe^3+ + SCN^- <=> FeSCN^2+"])
def test_constants_as_an_array(key):
    K = np.geomspace(1.0, 1e6, 40)
    found = eq.equilibrate_many([IRON, SILVER], {"Fe^3+": 1e-3, "SCN^-": 1e-3}, K={key: K})
    b = 2e-3 + 1 / K
    np.testing.assert_allclose(found["FeSCN^2+"], 2e-6 / (b + np.sqrt(b * b - 4e-6)), rtol=1e-10)


def test_a_gas_above_the_solution():
    henry = R("CO2(g) <=> CO2", K=0.034, basis="p")
    total = np.geomspace(1e-3, 0.1, 20)
    found = eq.equilibrate_many([henry], {"CO2": total}, headspace=0.5)
    RT = 8.31446261815324e-2 * 298.15
    np.testing.assert_allclose(found["CO2(g)"] * RT, total / (0.034 + 0.5 / RT), rtol=1e-10)


@pytest.mark.parametrize(
    ("more", "word"),
    [
        (
            {"totals": {"Fe^3+": np.array([1e-3, -1.0])}},
            "Fe\\^3\\+ in mol/L must be finite and 0 or more, not -1",
        ),
        ({"totals": {"Fe^3+": [1e-3, math.nan]}}, "nan"),
        ({"totals": {"Fe^3+": np.ones(3), "SCN^-": np.ones(4)}}, "do not fit together"),
        ({"T": np.array([300.0, -1.0])}, "temperature"),
        ({"K": {0: np.array([1.0, 0.0])}}, "more than 0"),
        ({"K": {7: 1.0}}, "none of the reactions"),
    ],
)
def test_bad_arrays(more, word):
    given = {"reactions": [IRON], "totals": {"Fe^3+": 1e-3, "SCN^-": 1e-3}, **more}
    with pytest.raises(eq.EqlibError, match=word) as caught:
        eq.equilibrate_many(**given)
    assert "\n" not in str(caught.value)


def test_totals_keep_what_ordinary_sums_lose():
    """1 + 1e-20 - 1 is 1e-20, not 0; three times a number is exact too."""
    table, _ = eliminated(np.array([[1, -1, 0], [0, -3, 1]]))
    table = table.exchange(0, table.basis[0])
    share = table.A[:, 0]
    amounts = np.array([[1.0], [0.1], [0.3]])
    exact = math.fsum(float(s) * float(a) for s, a in zip(share, amounts[:, 0], strict=True))
    assert careful_totals(table, amounts)[0, 0] == pytest.approx(exact, rel=1e-15)
    assert len(table.basis) == 1
