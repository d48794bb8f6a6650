"""Balancing: exact, unique, and honest about what cannot be done."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

import eqlib as eq
from eqlib.chem.equations import ReactionError

# Coefficients as in textbooks of redox chemistry (from memory); each is checked again for atoms and charge.
BALANCED = [
    (
        "MnO4^- + Fe^2+ + H^+ -> Mn^2+ + Fe^3+ + H2O(l)",
        "MnO4^- + 5 Fe^2+ + 8 H^+ <=> Mn^2+ + 5 Fe^3+ + 4 H2O(l)",
    ),
    ("Cr2O7^2- + H^+ + e^- -> Cr^3+ + H2O", "Cr2O7^2- + 14 H^+ + 6 e^- <=> 2 Cr^3+ + 7 H2O(l)"),
    ("C3H8(g) + O2(g) -> CO2(g) + H2O(g)", "C3H8(g) + 5 O2(g) <=> 3 CO2(g) + 4 H2O(g)"),
    ("Cu + NO3^- + H^+ -> Cu^2+ + NO(g) + H2O", "3 Cu + 2 NO3^- + 8 H^+ <=> 3 Cu^2+ + 2 NO(g) + 4 H2O(l)"),
    ("CrO4^2- + H^+ -> Cr2O7^2- + H2O", "2 CrO4^2- + 2 H^+ <=> Cr2O7^2- + H2O(l)"),
    ("I^- + S2O8^2- -> I3^- + SO4^2-", "3 I^- + S2O8^2- <=> I3^- + 2 SO4^2-"),
    ("7 NO2(g) -> 3 N2O4(g)", "2 NO2(g) <=> N2O4(g)"),
    ("CuSO4.5H2O(s) -> CuSO4(s) + H2O(g)", "CuSO4.5H2O(s) <=> CuSO4(s) + 5 H2O(g)"),
    ("CaSO4.1/2H2O(s) + H2O -> CaSO4.2H2O(s)", "2 CaSO4.1/2H2O(s) + 3 H2O(l) <=> 2 CaSO4.2H2O(s)"),
]


@pytest.mark.parametrize(("text", "answer"), BALANCED)
def test_balances(text, answer):
    r = eq.balance(text)
    assert r == eq.Reaction(answer)
    assert r.is_balanced


@given(st.integers(1, 4), st.integers(0, 9), st.integers(1, 9), st.integers(0, 5))
def test_any_combustion(c, h, scale, o):
    """C_c H_h O_o burns: x = c + h/4 - o/2 moles of oxygen, by counting atoms."""
    fuel = "C" + (str(c) if c > 1 else "") + (f"H{h}" if h > 1 else "H" * h) + (f"O{o}" if o > 1 else "O" * o)
    oxygen = 4 * c + h - 2 * o
    if h == 0 or oxygen <= 0:
        return
    r = eq.balance(f"{scale} {fuel}(g) + O2(g) -> CO2(g) + H2O(g)")
    fuel_count = r.reactants[f"{fuel}(g)"]
    assert r.is_balanced
    assert r.products["CO2(g)"] == c * fuel_count
    assert 4 * r.reactants["O2(g)"] == oxygen * fuel_count


def test_passes_on_K():
    assert eq.balance("NO2(g) -> N2O4(g)", K=160, T=300).K == 160


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("MnO4^- + Fe^2+ -> Mn^2+ + Fe^3+", "O occurs only on the left"),
        ("H2 + O2 -> N2", "only on the"),
        ("Fe^2+ -> Fe^3+", "charge"),
        ("H2O2 + KMnO4 -> O2 + MnO2 + KOH + H2O", "2 independent ways"),
        ("H2O -> H2 + O2 + He", "He"),
        ("H2 + H2O -> O2", "other side"),
        ("H2 + O2 -> H2O + H2", "both sides"),
        ("H2 -> Xx", "Xx"),
        ("H2 O2", "no arrow"),
    ],
)
def test_says_why_not(text, says):
    with pytest.raises(eq.EqlibError) as caught:
        eq.balance(text)
    assert says in str(caught.value)
    assert "\n" not in str(caught.value)


def test_idle_species_is_named():
    with pytest.raises(ReactionError, match=r"takes no part|independent"):
        eq.balance("H2 + O2 + Cl^- -> H2O + Na^+")
