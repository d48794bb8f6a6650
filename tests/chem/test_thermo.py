"""Free energy and K: round trips, signs, and a few values worked by hand."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

import eqlib as eq
from eqlib.chem import thermo

energies = st.floats(-2e5, 2e5)
OZONE = eq.Reaction("2 O3(g) <=> 3 O2(g)")
temperatures = st.floats(200, 1500)


@given(energies, temperatures)
def test_dG_and_K_are_inverse(dG, T):
    assert eq.dG_from_K(eq.K_from_dG(dG, T), T) == pytest.approx(dG, rel=1e-9, abs=1e-6)


@given(st.floats(-30, 30), energies, temperatures, temperatures)
def test_vant_hoff_there_and_back(log_K, dH, T1, T2):
    K1 = 10.0**log_K
    K2 = thermo.vant_hoff(K1, dH, T1, T2)
    assert thermo.vant_hoff(K2, dH, T2, T1) == pytest.approx(K1, rel=1e-9)


def test_by_hand():
    # RT ln 10 at 298.15 K is 5.708 kJ/mol.
    assert eq.K_from_dG(-5708.0) == pytest.approx(10.0, rel=1e-4)
    assert eq.dG_from_K(1.0) == 0
    assert thermo.dG_from_Q(-5708.0, 10.0) == pytest.approx(0, abs=1)
    assert thermo.dG_from_Q(-5708.0, 0) == -math.inf
    # -92.22 kJ/mol + 298.15 K x 198.75 J/(mol K) is -32.96 kJ/mol.
    K = eq.K_from_dH_dS(-92.22e3, -198.75, 298.15)
    assert math.log(K) == pytest.approx(32.96e3 / (8.31446 * 298.15), rel=1e-3)


@given(st.floats(-20, 20), st.integers(-3, 3), temperatures)
def test_kc_kp(log_K, dn, T):
    made = dn * OZONE if dn else eq.Reaction("H2(g) + I2(g) <=> 2 HI(g)")
    Kp = made.with_K(10.0**log_K).kp(T)
    assert Kp == pytest.approx(10.0**log_K * (0.08314462618 * T) ** dn, rel=1e-8)


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (lambda: eq.K_from_dG(1000, -5), "273.15"),
        (lambda: eq.K_from_dG(-1e9), "outside what a number can hold"),
        (lambda: eq.dG_from_K(0), "more than 0"),
        (lambda: eq.K_from_dG("5 kJ"), "finite number"),
        (lambda: thermo.vant_hoff(1.0, 1e4, 300, 0), "above 0 K"),
    ],
)
def test_bad_input_is_one_plain_line(make, says):
    with pytest.raises(eq.EqlibError) as caught:
        make()
    assert says in str(caught.value)
    assert "\n" not in str(caught.value)
