"""Reactions: reading, balance, the algebra of K, Q and the direction of change."""

import math
import pickle
import subprocess
import sys
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

import eqlib as eq
from eqlib.chem.equations import ReactionError

SAMPLES = [
    "Fe^3+ + SCN^- <=> FeSCN^2+",
    "2 NO2(g) <=> N2O4(g)",
    "N2(g) + 3 H2(g) <=> 2 NH3(g)",
    "1/2 N2(g) + 3/2 H2(g) <=> NH3(g)",
    "AgCl(s) <=> Ag^+ + Cl^-",
    "NH3 + H2O(l) <=> NH4^+ + OH^-",
    "Ca3(PO4)2(s) <=> 3 Ca^2+ + 2 PO4^3-",
    "CoO(s) + CO(g) <=> Co(s) + CO2(g)",
    "Co(H2O)6^2+ + 4 Cl^- <=> CoCl4^2- + 6 H2O(l)",
    "MnO4^- + 8 H^+ + 5 e^- <=> Mn^2+ + 4 H2O(l)",
    "Na2SO4.10H2O(s) <=> Na2SO4(s) + 10 H2O(g)",
]
texts = st.sampled_from(SAMPLES)
constants = st.floats(1e-30, 1e30)
factors = st.fractions(Fraction(-3), Fraction(3), max_denominator=4).filter(bool)


@pytest.mark.parametrize("arrow", ["<=>", "->", "=", "⇌", "→", "⇄", "<->", "↔"])
def test_arrows(arrow):
    assert eq.Reaction(f"2NO2(g) {arrow} N2O4(g)") == eq.Reaction("2 NO2(g) <=> N2O4(g)")


def test_coefficients_are_exact():
    r = eq.Reaction("½ N2(g) + 1.5 H2(g) ⇌ NH3(g)")
    assert r.coefficients == {"N2(g)": Fraction(-1, 2), "H2(g)": Fraction(-3, 2), "NH3(g)": 1}
    assert r.reactants == {"N2(g)": Fraction(1, 2), "H2(g)": Fraction(3, 2)}
    assert type(r.coefficients["NH3(g)"]) is int


@given(texts, constants)
def test_text_reads_back(text, K):
    r = eq.Reaction(text, K=K)
    assert eq.Reaction(str(r), K=K) == r
    assert eq.Reaction(r.unicode, K=K) == r
    assert hash(eq.Reaction(str(r), K=K)) == hash(r)
    assert pickle.loads(pickle.dumps(r)) == r


@given(texts, constants)
def test_reversing_inverts(text, K):
    r = eq.Reaction(text, K=K, dH=1000.0)
    back = r.reversed()
    assert pytest.approx(1 / K, rel=1e-12) == back.K
    assert back.dH == -1000.0
    assert back.reactants == r.products
    assert back.reversed().coefficients == r.coefficients
    assert -r == back


@given(texts, constants, factors)
def test_scaling_is_a_power(text, K, n):
    r = eq.Reaction(text, K=K, dH=1000.0)
    assert math.log((n * r).K) == pytest.approx(float(n) * math.log(K), rel=1e-9, abs=1e-9)
    assert (r * n).coefficients == {name: number * n for name, number in r.coefficients.items()}
    assert (n * r).dH == pytest.approx(1000.0 * float(n))


@given(constants, constants, factors)
def test_hess_additivity(K1, K2, n):
    """The route does not matter: steps added in any grouping give the same K and equation."""
    first = eq.Reaction("Ag^+ + NH3 <=> Ag(NH3)^+", K=K1, dH=-10.0)
    second = eq.Reaction("Ag(NH3)^+ + NH3 <=> Ag(NH3)2^+", K=K2, dH=-20.0)
    third = eq.Reaction("AgCl(s) <=> Ag^+ + Cl^-", K=1e-3)
    assert (first + second).coefficients == {"Ag^+": -1, "NH3": -2, "Ag(NH3)2^+": 1}
    assert pytest.approx(K1 * K2) == (first + second).K
    assert (first + second).dH == -30.0
    assert math.log((n * (first + second)).K) == pytest.approx(math.log((n * first + n * second).K), abs=1e-6)
    left, right = (first + second) + third, first + (second + third)
    assert left.coefficients == right.coefficients
    assert pytest.approx(right.K) == left.K
    assert (first + second - second).coefficients == first.coefficients


def test_factors_of_many_kinds():
    r = eq.Reaction("2 NO2(g) <=> N2O4(g)", K=4.0)
    assert (0.5 * r).K == (r * Fraction(1, 2)).K == (r / 2).K == 2.0
    assert (np.int64(2) * r).K == (r * np.float64(2)).K == 16.0
    assert sum([r, r]).K == 16.0
    assert (r * (1 / 3)).coefficients["N2O4(g)"] == Fraction(1, 3)


def test_units_must_agree():
    gas = eq.Reaction("2 NO2(g) <=> N2O4(g)", K=7.0, basis="p")
    other = eq.Reaction("N2O4(g) <=> 2 NO(g) + O2(g)", K=2.0)
    with pytest.raises(ReactionError, match="bar"):
        gas + other
    assert (gas + other.as_basis("p")).basis == "p"
    with pytest.raises(ReactionError, match="temperature"):
        gas + eq.Reaction("2 NO2(g) <=> N2O4(g)", K=1.0, basis="p", T=310.0)
    # A reaction without a change in moles of gas has the same K on either basis.
    swap = eq.Reaction("H2(g) + I2(g) <=> 2 HI(g)", K=50.0)
    assert (gas + swap).basis == "p"


def test_expressions_leave_out_what_does_not_count():
    assert eq.Reaction(SAMPLES[0]).expression == "Kc = [FeSCN^2+] / ([Fe^3+] [SCN^-])"
    assert eq.Reaction(SAMPLES[4]).expression == "Kc = [Ag^+] [Cl^-]"
    assert eq.Reaction(SAMPLES[5]).expression == "Kc = [NH4^+] [OH^-] / [NH3]"
    assert eq.Reaction(SAMPLES[2], basis="p").expression == "Kp = P(NH3)^2 / (P(N2) P(H2)^3)"
    assert eq.Reaction(SAMPLES[3]).expression == "Kc = [NH3] / ([N2]^(1/2) [H2]^(3/2))"
    assert "CoO" not in eq.Reaction(SAMPLES[7]).expression


@given(texts, st.data())
def test_shift_agrees_with_Q_and_K(text, data):
    r = eq.Reaction(text, K=data.draw(constants))
    conc = {name: data.draw(st.floats(1e-6, 10), label=name) for name in r.quotient_species}
    by_hand = math.prod(conc[name] ** float(n) for name, n in r.quotient_species.items())
    assert r.quotient(conc) == pytest.approx(by_hand, rel=1e-9)
    ratio = by_hand / r.K
    assume(abs(ratio - 1) > 0.006)
    assert r.shift(conc) == ("forward" if ratio < 1 else "reverse")


def test_quotient_at_the_edges():
    r = eq.Reaction("Fe^3+ + SCN^- <=> FeSCN^2+", K=140)
    assert r.quotient({"Fe^3+": 1, "SCN^-": 1, "FeSCN^2+": 0}) == 0.0
    assert r.quotient({"Fe^3+": 0, "SCN^-": 1, "FeSCN^2+": 1}) == math.inf
    assert r.shift({"Fe^3+": 0, "SCN^-": 1, "FeSCN^2+": 1}) == "reverse"
    assert r.shift({"Fe^3+": 0, "SCN^-": 1, "FeSCN^2+": 0}) == "none"
    assert r.shift({"Fe^3+": 0.1, "SCN^-": 0.1, "FeSCN^2+": 1.4}) == "none"
    with pytest.raises(ReactionError, match="no value"):
        r.quotient({"Fe^3+": 0, "SCN^-": 1, "FeSCN^2+": 0})
    salt = eq.Reaction("AgCl(s) <=> Ag^+ + Cl^-", K=1.6e-10)
    dilute = {"Ag^+": 1e-6, "Cl^-": 1e-6}
    assert salt.shift(dilute) == "forward"
    assert salt.shift({**dilute, "AgCl(s)": 0}) == "none"  # nothing there to dissolve
    assert salt.shift({"Ag^+": 1e-3, "Cl^-": 1e-3, "AgCl(s)": 0}) == "reverse"


def test_names_without_phase_and_hydronium():
    r = eq.Reaction("2 NO2(g) <=> N2O4(g)", K=160)
    assert r.quotient({"NO2": 0.1, "N2O4(g)": 0.2}) == pytest.approx(20.0)
    acid = eq.Reaction("HNO2 + H2O <=> H3O^+ + NO2^-", K=4.5e-4)
    assert acid.quotient({"H^+": 1e-3, "NO2^-": 1e-3, "HNO2": 0.1}) == pytest.approx(1e-5)


def test_solve_for():
    r = eq.Reaction("AgCl(s) <=> Ag^+ + Cl^-", K=1.6e-10)
    assert r.solve_for("Ag^+", {"Cl^-": 0.025}) == pytest.approx(6.4e-9)
    with pytest.raises(ReactionError, match="does not stand in K"):
        r.solve_for("AgCl(s)", {"Cl^-": 0.025})


def test_kc_and_kp():
    # By hand: RT at 673.15 K is 0.0831446 x 673.15 = 55.9688 L bar/mol; dn = -2.
    r = eq.Reaction("N2(g) + 3 H2(g) <=> 2 NH3(g)", K=0.5, T=673.15)
    assert r.kp() == pytest.approx(0.5 / 55.9688**2, rel=1e-5)
    assert r.as_basis("p").kc() == pytest.approx(0.5)
    # Solids and liquids are no moles of gas.
    assert eq.Reaction("CaCO3(s) <=> CaO(s) + CO2(g)", K=1.0).dn_gas == 1
    assert eq.Reaction("Fe^3+ + SCN^- <=> FeSCN^2+", K=140).kp(310) == 140


def test_other_temperatures():
    # By hand: ln(K2/K1) = 6000/8.314463 x (1/333.15 - 1/298.15) = -0.254279.
    r = eq.Reaction("Fe^3+ + SCN^- <=> FeSCN^2+", K=140.0, dH=-6000.0)
    assert pytest.approx(140 * math.exp(-0.254279), rel=1e-5) == r.at(333.15).K
    assert pytest.approx(140.0) == r.at(333.15).at(298.15).K
    gas = eq.Reaction("2 NO2(g) <=> N2O4(g)", K=160.0, dH=-57200.0)
    assert gas.at(350).kp() == pytest.approx(gas.as_basis("p").at(350).K)
    with pytest.raises(ReactionError, match="enthalpy is not known"):
        eq.Reaction("2 NO2(g) <=> N2O4(g)", K=160.0).at(350)


def test_water():
    assert -math.log10(eq.water().K) == pytest.approx(13.995)
    # IAPWS release R11-07 (from memory): 14.95 at 0 °C and 13.02 at 60 °C.
    assert -math.log10(eq.water(273.15).K) == pytest.approx(14.95, abs=0.03)
    assert -math.log10(eq.water(333.15).K) == pytest.approx(13.02, abs=0.03)


def test_unbalanced_may_be_written_but_not_used():
    r = eq.Reaction("Fe^3+ + 2 SCN^- <=> FeSCN^2+", K=140)
    assert not r.is_balanced
    for use in (
        lambda: r.quotient({}),
        lambda: r.shift({}),
        lambda: eq.ice(r, {"Fe^3+": 1}),
        lambda: eq.Mixture({"Fe^3+": 1}, [r]),
    ):
        with pytest.raises(eq.EqlibError) as caught:
            use()
        assert "balanced" in str(caught.value)
        assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (lambda: eq.Reaction("Fe^3+ + SCN^-"), "no arrow"),
        (lambda: eq.Reaction("A <=> "), "right"),
        (lambda: eq.Reaction("H2 <=> H2"), "both sides"),
        (lambda: eq.Reaction("H2 + + O2 <=> H2O"), "plus sign"),
        (lambda: eq.Reaction("H2+I2 <=> 2 HI"), "space"),
        (lambda: eq.Reaction("Ag^+ +Cl^- <=> AgCl(s)"), "space"),
        (lambda: eq.Reaction("Fe3+ + SCN^- <=> FeSCN^2+"), "Fe^3+"),
        (lambda: eq.Reaction("Xx <=> H2"), "Xx"),
        (lambda: eq.Reaction("0 H2 <=> H2O"), "more than 0"),
        (lambda: eq.Reaction("A <=> B <=> C"), "2 arrows"),
        (lambda: eq.Reaction(None), "written as text"),
        (lambda: eq.Reaction("H2O <=> H^+ + OH^-", K=0), "K must be more than 0"),
        (lambda: eq.Reaction("H2O <=> H^+ + OH^-", K=-1e-14), "K must be more than 0"),
        (lambda: eq.Reaction("H2O <=> H^+ + OH^-", K=math.nan), "finite"),
        (lambda: eq.Reaction("H2O <=> H^+ + OH^-", K=math.inf), "finite"),
        (lambda: eq.Reaction("H2O <=> H^+ + OH^-", K="1e-14"), "finite number"),
        (lambda: eq.Reaction("H2O <=> H^+ + OH^-", T=0), "temperature"),
        (lambda: eq.Reaction("H2O <=> H^+ + OH^-", basis="x"), "basis"),
        (lambda: eq.Reaction("H2O <=> H^+ + OH^-").kc(), "K=..."),
        (lambda: eq.Reaction("H2O <=> H^+ + OH^-").shift({"H^+": 1, "OH^-": 1}), "K=..."),
        (lambda: 0 * eq.water(), "nothing"),
        (lambda: eq.water() * "two", "number"),
        (lambda: eq.water() - eq.water(), "cancel"),
        (lambda: 1000 * eq.water(), "range"),
        (lambda: eq.water().quotient({"H^+": 1e-7}), "OH^-"),
        (lambda: eq.water().quotient({"H^+": -1e-7, "OH^-": 1}), "negative"),
        (lambda: eq.water().quotient({"H^+": math.nan, "OH^-": 1}), "finite"),
        (lambda: eq.water().quotient([1, 2]), "written"),
        (
            lambda: eq.Reaction(SAMPLES[0]).quotient({"Fe^3+": 1, "SNC^-": 1, "FeSCN^2+": 1}),
            "no value is given for SCN^-; is SNC^- a slip for it?",
        ),
    ],
)
def test_bad_input_is_one_plain_line(make, says):
    with pytest.raises(eq.EqlibError) as caught:
        make()
    message = str(caught.value)
    assert says in message
    assert "\n" not in message


def test_reading_a_reaction_loads_no_heavy_library():
    code = (
        "import sys, eqlib as eq\n"
        "eq.Reaction('AgCl(s) <=> Ag^+ + Cl^-', K=1e-10).quotient({'Ag^+': 1, 'Cl^-': 1})\n"
        "heavy = ('sympy', 'scipy', 'matplotlib', 'molmass', 'colour', 'IPython')\n"
        "print([name for name in heavy if name in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
    assert done.stderr == ""
