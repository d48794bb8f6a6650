"""Salts, acids and bases split into ions."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

import eqlib as eq
from eqlib.chem.salts import ANIONS, CATIONS, SaltError, dissolved, ions_of


@pytest.mark.parametrize(
    ("salt", "ions"),
    [
        ("Na2HPO4", {"Na^+": 2, "HPO4^2-": 1}),
        ("Na2HPO4.7H2O", {"Na^+": 2, "HPO4^2-": 1}),
        ("AgNO3", {"Ag^+": 1, "NO3^-": 1}),
        ("Fe(NO3)3.9H2O", {"Fe^3+": 1, "NO3^-": 3}),
        ("FeCl2", {"Fe^2+": 1, "Cl^-": 2}),
        ("FeCl3", {"Fe^3+": 1, "Cl^-": 3}),
        ("KSCN", {"K^+": 1, "SCN^-": 1}),
        ("NH4SCN", {"NH4^+": 1, "SCN^-": 1}),
        ("(NH4)2SO4", {"NH4^+": 2, "SO4^2-": 1}),
        ("(NH4)2Fe(SO4)2.6H2O", {"NH4^+": 2, "Fe^2+": 1, "SO4^2-": 2}),
        ("KAl(SO4)2.12H2O", {"K^+": 1, "Al^3+": 1, "SO4^2-": 2}),
        ("K4[Fe(CN)6]", {"K^+": 4, "Fe(CN)6^4-": 1}),
        ("K3Fe(CN)6", {"K^+": 3, "Fe(CN)6^3-": 1}),
        ("[Co(NH3)6]Cl3", {"Co(NH3)6^3+": 1, "Cl^-": 3}),
        ("CH3COONa", {"Na^+": 1, "CH3COO^-": 1}),
        ("Pb(CH3COO)2", {"Pb^2+": 1, "CH3COO^-": 2}),
        ("Hg2(NO3)2", {"Hg2^2+": 1, "NO3^-": 2}),
        ("NaOH", {"Na^+": 1, "OH^-": 1}),
        ("HNO3", {"H^+": 1, "NO3^-": 1}),
        ("H2SO4", {"H^+": 2, "SO4^2-": 1}),
        ("NH3", {"NH3": 1}),
        ("CH3COOH", {"CH3COOH": 1}),
        ("Ag^+", {"Ag^+": 1}),
        ("CO2(g)", {"CO2(g)": 1}),
        ("H2O", {"H2O(l)": 1}),
    ],
)
def test_known_salts(salt, ions):
    assert ions_of(salt) == ions


@given(st.sampled_from(sorted(CATIONS)), st.sampled_from(sorted(ANIONS)))
def test_any_simple_salt_is_neutral_and_whole(cation, anion):
    """Built from the tables by cross-multiplying the charges, then split again."""
    charge, minus = CATIONS[cation][0], -ANIONS[anion]
    divisor = 2 if charge % 2 == minus % 2 == 0 else 3 if charge == minus == 3 else 1
    m, n = minus // divisor, charge // divisor
    part = cation if m == 1 else f"({cation}){m}"
    formula = part + (anion if n == 1 else f"({anion}){n}")
    try:
        ions = ions_of(formula)
    except SaltError:
        return  # a pair such as O with a metal that reads as something else is refused, not guessed
    total = {}
    for ion, number in ions.items():
        for element, count in eq.species(ion).elements.items():
            total[element] = total.get(element, 0) + count * number
    assert total == dict(eq.species(formula).elements)
    assert sum(eq.species(ion).charge * number for ion, number in ions.items()) == 0


def test_unknown_salt_says_what_to_do():
    with pytest.raises(SaltError, match=r"BiOCl.*name them yourself"):
        ions_of("BiOCl")


def test_amounts_add_up():
    assert dissolved({"AgNO3": 0.1, "KNO3": 0.2}) == pytest.approx({"Ag^+": 0.1, "K^+": 0.2, "NO3^-": 0.3})
