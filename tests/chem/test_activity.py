"""Activity coefficients, and mixtures solved with them."""

import math

import numpy as np
import pytest

import eqlib as eq
from eqlib.chem.activity import activity_coefficient, debye_huckel_A, permittivity

R = eq.Reaction
ACID = R("CH3COOH <=> H^+ + CH3COO^-", K=1.8e-5)


def test_water_and_the_constant_A():
    """78.3 and 0.509 at 25 °C, textbook values (Debye-Hückel A; from memory)."""
    assert permittivity(298.15) == pytest.approx(78.30, abs=0.02)
    assert debye_huckel_A() == pytest.approx(0.509, abs=0.003)
    assert debye_huckel_A(323.15) > debye_huckel_A()


@pytest.mark.parametrize(
    ("ion", "strength", "gamma"),
    [
        # Kielland's table, J. Am. Chem. Soc. 59 (1937) 1675 (from memory).
        ("H^+", 0.1, 0.83),
        ("K^+", 0.1, 0.755),
        ("Ca^2+", 0.1, 0.405),
        ("SO4^2-", 0.01, 0.66),
        ("Fe^3+", 0.01, 0.445),
        ("Ag^+", 0.001, 0.964),
    ],
)
def test_extended_debye_huckel_against_kielland(ion, strength, gamma):
    assert activity_coefficient(ion, strength, "debye-huckel") == pytest.approx(gamma, abs=0.007)


def test_davies_by_hand():
    root = math.sqrt(0.1)
    log_gamma = -0.509 * 4 * (root / (1 + root) - 0.03)
    assert activity_coefficient("Mg^2+", 0.1) == pytest.approx(10**log_gamma, rel=0.01)
    assert activity_coefficient("NH3", 0.1) == 1.0
    assert activity_coefficient("Mg^2+", np.array([0.0, 0.1])).shape == (2,)


@pytest.mark.parametrize("model", ["davies", "debye-huckel"])
def test_the_ionic_strength_agrees_with_itself(model):
    """Constants hold in activities at the ionic strength of the very composition returned."""
    m = eq.Mixture({"CH3COOH": 0.1, "CH3COO^-": 0.05, "Na^+": 0.05}, [ACID, eq.water()])
    s = m.equilibrate(model)
    g = {n: activity_coefficient(n, s.ionic_strength, model) for n in ("H^+", "CH3COO^-", "OH^-")}
    K = g["H^+"] * s["H^+"] * g["CH3COO^-"] * s["CH3COO^-"] / s["CH3COOH"]
    assert pytest.approx(1.8e-5, rel=1e-10) == K
    assert s.Q(ACID) == pytest.approx(1.8e-5, rel=1e-10)
    assert s.pH == pytest.approx(-math.log10(g["H^+"] * s["H^+"]), rel=1e-12)
    assert s.gamma["Na^+"] < 1.0


def test_salt_makes_silver_chloride_more_soluble():
    """[Ag+] = sqrt(Ksp) / gamma in 0.1 mol/L of a salt that shares no ion."""
    r = R("AgCl(s) <=> Ag^+ + Cl^-", K=1.8e-10)
    s = eq.Mixture({"AgCl(s)": 0.01, "Na^+": 0.1, "NO3^-": 0.1}, [r]).equilibrate("davies")
    gamma = activity_coefficient("Ag^+", s.ionic_strength)
    assert s["Ag^+"] == pytest.approx(math.sqrt(1.8e-10) / gamma, rel=1e-10)
    assert s.ionic_strength == pytest.approx(0.1, rel=1e-3)


def test_beyond_the_range_is_said():
    s = eq.Mixture({"CH3COOH": 0.1, "Na^+": 1.0, "Cl^-": 1.0}, [ACID, eq.water()]).equilibrate("davies")
    assert any("beyond the range" in n for n in s.notes)
    low = eq.Mixture({"CH3COOH": 0.1, "Na^+": 0.1, "Cl^-": 0.1}, [ACID, eq.water()]).equilibrate("davies")
    assert not [n for n in low.notes if "beyond" in n]


def test_a_held_pH_is_an_activity():
    s = eq.Mixture({"CH3COOH": 0.1, "Na^+": 0.1, "Cl^-": 0.1}, [ACID, eq.water()]).equilibrate(
        "davies", fixed_pH=4.0
    )
    assert s.pH == pytest.approx(4.0, abs=1e-12)
    assert s["H^+"] == pytest.approx(1e-4 / s.gamma["H^+"], rel=1e-10)


@pytest.mark.parametrize("strength", [1e-9, 1e-4, 0.3, 5.0, 10.0])
def test_consistency_is_reached_at_any_strength(strength):
    m = eq.Mixture(
        {"Fe^3+": strength, "SCN^-": strength, "Cl^-": 2 * strength}, [R("Fe^3+ + SCN^- <=> FeSCN^2+", K=900)]
    )
    s = m.equilibrate("davies")
    g = {n: activity_coefficient(n, s.ionic_strength) for n in ("Fe^3+", "SCN^-", "FeSCN^2+")}
    K = s["FeSCN^2+"] * g["FeSCN^2+"] / (s["Fe^3+"] * g["Fe^3+"] * s["SCN^-"] * g["SCN^-"])
    assert pytest.approx(900, rel=1e-9) == K


def test_an_unknown_model():
    with pytest.raises(eq.EqlibError, match="davies"):
        eq.Mixture({"CH3COOH": 0.1}, [ACID]).equilibrate("pitzer")
