"""Sweeps: titration curves, temperature, fixed pH and totals."""

import math

import numpy as np
import pytest
from scipy.optimize import brentq

import eqlib as eq

ACETIC = eq.Reaction("CH3CO2H <=> H^+ + CH3CO2^-", K=1.8e-5)
IRON = eq.Reaction("Fe^3+ + SCN^- <=> FeSCN^2+", K=140, dH=-6000)


def acid():
    return eq.Mixture({"CH3CO2H": 0.1}, [ACETIC, eq.water()], volume=0.025)


def pH_by_charge_balance(volume, Kw):
    """The titration by one equation in [H^+], solved with scipy: an independent way."""
    total, sodium = 0.1 * 0.025 / (0.025 + volume), 0.1 * volume / (0.025 + volume)

    def charge(pH):
        h = 10.0**-pH
        return h + sodium - Kw / h - total * 1.8e-5 / (1.8e-5 + h)

    return brentq(charge, 0, 14, xtol=1e-13)


def test_titration_curve():
    volumes = np.linspace(0, 0.05, 41)
    curve = eq.sweep(acid(), over="volume", values=volumes, titrant={"NaOH": 0.1})
    Kw = 10**-13.995
    assert curve.pH == pytest.approx([pH_by_charge_balance(v, Kw) for v in volumes], abs=1e-8)
    assert curve.volume == pytest.approx(0.025 + volumes)
    assert (np.diff(curve.pH) > 0).all()


def test_water_alone_dilutes():
    r = eq.sweep(eq.Mixture({"Fe^3+": 1e-3, "SCN^-": 1e-3}, [IRON]), "volume", [0.0, 1.0, 3.0])
    assert r["Fe^3+"] + r["FeSCN^2+"] == pytest.approx([1e-3, 5e-4, 2.5e-4], rel=1e-12)
    assert (np.diff(r.amount("FeSCN^2+")) < 0).all()


def test_temperature():
    m = eq.Mixture({"Fe^3+": 1e-3, "SCN^-": 1e-3}, [IRON])
    warm = eq.sweep(m, over="T", values=np.linspace(278, 348, 8))
    K = warm["FeSCN^2+"] / (warm["Fe^3+"] * warm["SCN^-"])
    slope = np.polyfit(1 / warm.values, np.log(K), 1)[0]
    assert slope == pytest.approx(6000 / 8.314462618, rel=1e-9)


def test_fixed_pH():
    """Share of the acid form at a held pH: 1/(1 + Ka/[H^+])."""
    r = eq.sweep(acid(), over="pH", values=[2.0, 4.7447, 7.0])
    h = 10.0 ** -np.array([2.0, 4.7447, 7.0])
    assert r["CH3CO2H"] == pytest.approx(0.1 / (1 + 1.8e-5 / h), rel=1e-9)
    assert r.pH == pytest.approx([2.0, 4.7447, 7.0], abs=1e-9)


def test_a_start_from_another_pH_does_not_hold_on_to_it():
    m = acid()
    at_two = m.equilibrate(fixed_pH=2.0)
    assert m.equilibrate(fixed_pH=7.0, start=at_two).pH == pytest.approx(7.0, abs=1e-9)
    assert m.equilibrate(start=at_two).pH == pytest.approx(m.equilibrate().pH, abs=1e-9)


def test_total_of_one_species():
    m = eq.Mixture({"Fe^3+": 1e-3, "SCN^-": 0.0}, [IRON])
    totals = np.array([1e-4, 1e-3, 1e-2])
    r = eq.sweep(m, over="SCN^-", values=totals)
    b = 1e-3 + totals + 1 / 140
    assert r["FeSCN^2+"] == pytest.approx((b - np.sqrt(b * b - 4e-3 * totals)) / 2, rel=1e-6)


def test_solids_appear_on_the_way():
    salt = eq.Reaction("AgCl(s) <=> Ag^+ + Cl^-", K=1.8e-10)
    m = eq.Mixture({"Cl^-": 0.01, "Na^+": 0.01}, [salt], volume=0.020)
    r = eq.sweep(m, "volume", [0.0, 0.010, 0.020, 0.030], titrant={"AgNO3": 0.01})
    assert r["AgCl(s)"][0] == 0
    assert r["Ag^+"][2] == pytest.approx(math.sqrt(1.8e-10), rel=1e-6)
    assert r["Ag^+"][3] == pytest.approx(0.01 * 0.010 / 0.050, rel=1e-3)


@pytest.mark.parametrize("over", ["volume", "T", "SCN^-"])
def test_batch_agrees_with_one_at_a_time(over):
    m = eq.Mixture({"Fe^3+": 1e-3, "SCN^-": 1e-3, "K^+": 1e-3}, [IRON, eq.water()], volume=0.01)
    values = {"volume": [0.0, 0.002], "T": [290.0, 330.0], "SCN^-": [1e-4, 1e-2]}[over]
    r = eq.sweep(m, over, values)
    for i, state in enumerate(r.states):
        for name in state:
            assert r[name][i] == pytest.approx(state[name], rel=1e-9, abs=1e-300), name
            assert r.amount(name)[i] == pytest.approx(state.amounts[name], rel=1e-9, abs=1e-300), name


def test_gases():
    m = eq.Mixture({"NO2(g)": 0.1}, [eq.Reaction("2 NO2(g) <=> N2O4(g)", K=160, dH=-57200)])
    r = eq.sweep(m, "T", [280.0, 320.0, 360.0])
    assert (np.diff(r["NO2(g)"] * r.T) > 0).all()  # in proportion to its pressure


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (lambda: eq.sweep(acid(), "volume", []), "one row"),
        (lambda: eq.sweep(acid(), "volume", ["a"]), "numbers"),
        (lambda: eq.sweep(acid(), "volume", [math.nan]), "finite"),
        (lambda: eq.sweep(acid(), "volume", [-1.0]), "negative"),
        (lambda: eq.sweep(acid(), "colour", [1.0]), "a sweep is over"),
        (lambda: eq.sweep(acid(), "T", [300.0], titrant={"NaOH": 0.1}), "titrant"),
        (lambda: eq.sweep(acid(), "T", [-5.0]), "temperature"),
        (lambda: eq.sweep(acid(), "pH", [7.0])["CH3CO2"], "not in this mixture"),
    ],
)
def test_bad_input_is_one_plain_line(make, says):
    with pytest.raises(eq.EqlibError) as caught:
        make()
    assert says in str(caught.value)
    assert "\n" not in str(caught.value)
