"""ICE tables: the physical root, to full precision, from either side and with solids."""

import math

import mpmath
import pytest
from hypothesis import given
from hypothesis import strategies as st

import eqlib as eq
from eqlib.chem.ice import ice_from_measured

TEXTS = [
    "Fe^3+ + SCN^- <=> FeSCN^2+",
    "2 NO2(g) <=> N2O4(g)",
    "N2(g) + 3 H2(g) <=> 2 NH3(g)",
    "HCN <=> H^+ + CN^-",
    "Cu^2+ + 4 NH3 <=> Cu(NH3)4^2+",
    "H2(g) + I2(g) <=> 2 HI(g)",
    "1/2 N2(g) + 3/2 H2(g) <=> NH3(g)",
    "Co(NH3)6^3+ <=> Co^3+ + 6 NH3",
]


def by_bisection(r, start, digits=60):
    """Amounts at equilibrium, by bisection at many digits: an independent way."""
    with mpmath.workdps(digits):
        n = {k: mpmath.mpf(repr(start.get(k, 0.0))) for k in r.coefficients}
        nu = {k: mpmath.mpf(v.numerator) / v.denominator for k, v in r.coefficients.items()}
        low = max(-n[k] / nu[k] for k in nu if nu[k] > 0)
        high = min(n[k] / -nu[k] for k in nu if nu[k] < 0)

        def gap(x):
            total = -mpmath.log(mpmath.mpf(repr(r.K)))
            for k in nu:
                amount = n[k] + nu[k] * x
                if amount <= 0:
                    return mpmath.inf if nu[k] < 0 else -mpmath.inf
                total += nu[k] * mpmath.log(amount)
            return total

        for _ in range(int(digits * 3.4)):
            middle = (low + high) / 2
            low, high = (middle, high) if gap(middle) < 0 else (low, middle)
        return {k: float(n[k] + nu[k] * low) for k in nu}


amounts = st.one_of(st.just(0.0), st.floats(1e-8, 10.0))


@given(st.sampled_from(TEXTS), st.floats(-40, 40), st.data())
def test_agrees_with_bisection_at_sixty_digits(text, log_K, data):
    r = eq.Reaction(text, K=10.0**log_K)
    start = {name: data.draw(amounts, label=name) for name in r.coefficients}
    no_left = any(start[name] == 0 for name in r.reactants)
    no_right = any(start[name] == 0 for name in r.products)
    if no_left and no_right:
        return
    table = eq.ice(r, start)
    exact = by_bisection(r, start, digits=140)
    for name, value in exact.items():
        assert table.equilibrium[name] == pytest.approx(value, rel=1e-10, abs=0), name


@given(st.sampled_from(TEXTS), st.floats(-20, 20), st.data())
def test_Q_equals_K_and_matter_is_conserved(text, log_K, data):
    r = eq.Reaction(text, K=10.0**log_K)
    start = {name: data.draw(st.floats(1e-6, 10.0)) for name in r.reactants}
    table = eq.ice(r, start)
    assert math.log(r.quotient(table.equilibrium)) == pytest.approx(math.log(r.K), abs=1e-8)
    for name, value in table.equilibrium.items():
        assert value >= 0
        moved = table.initial[name] + float(r.coefficients[name]) * table.extent
        assert value == pytest.approx(moved, rel=1e-9, abs=1e-12 * max(table.initial.values()))
    low, high = table.limits
    assert low <= table.extent <= high


@given(st.floats(-6, 6), st.floats(1e-4, 1.0), st.floats(1e-4, 1.0))
def test_either_side_leads_to_the_same_place(log_K, iron, thiocyanate):
    r = eq.Reaction(TEXTS[0], K=10.0**log_K)
    mixed = eq.ice(r, {"Fe^3+": iron, "SCN^-": thiocyanate})
    formed = min(iron, thiocyanate)
    back = eq.ice(r, {"Fe^3+": iron - formed, "SCN^-": thiocyanate - formed, "FeSCN^2+": formed})
    for name, value in mixed.equilibrium.items():
        assert back.equilibrium[name] == pytest.approx(value, rel=1e-8, abs=1e-15)


def test_reference_mixture():
    """5.00 mL 2.00 mM Fe^3+ and 3.00 mL 2.00 mM SCN^- in 10.00 mL with K = 140: x = 6.92e-5 M (by hand)."""
    table = eq.ice(eq.Reaction(TEXTS[0], K=140), {"Fe^3+": 1.00e-3, "SCN^-": 6.00e-4})
    b = 1.00e-3 + 6.00e-4 + 1 / 140
    x = (b - math.sqrt(b * b - 4 * 6.00e-7)) / 2
    assert x == pytest.approx(6.92e-5, rel=1e-3)
    assert table.extent == pytest.approx(x, rel=1e-9)
    assert table.small_x.extent == pytest.approx(140 * 6.00e-7, rel=1e-12)
    assert not table.small_x.valid
    assert table.small_x.error == pytest.approx(8.4e-5 / x - 1, rel=1e-9)
    assert "14 %" in table.small_x.assumption


def test_exact_roots():
    import sympy

    table = eq.ice(eq.Reaction(TEXTS[0], K=140), {"Fe^3+": 1e-3, "SCN^-": 6e-4})
    x = sympy.Symbol("x")
    thousand = sympy.Rational(1, 1000)
    wanted = sympy.solve(140 * (thousand - x) * (sympy.Rational(6, 10000) - x) - x, x)
    for root, other in zip(table.exact, sorted(wanted), strict=True):
        assert sympy.simplify(root - other) == 0
    assert len(table.exact) == 2
    assert float(table.exact[0]) == pytest.approx(table.extent, rel=1e-12)


@pytest.mark.parametrize("text", TEXTS[:6])
def test_exact_agrees_with_the_number(text):
    r = eq.Reaction(text, K=3.7e-3)
    table = eq.ice(r, dict.fromkeys(r.reactants, 0.25))
    if text.startswith("Cu"):
        assert table.exact == ()  # degree five: no closed form
    else:
        assert min(abs(float(root) / table.extent - 1) for root in table.exact) < 1e-12


def test_perfect_square_by_hand():
    """2x/(1-x) = sqrt(49) gives x = 7/9."""
    table = eq.ice(eq.Reaction("H2(g) + I2(g) <=> 2 HI(g)", K=49), {"H2": 1, "I2": 1})
    assert table.extent == pytest.approx(7 / 9, rel=1e-14)
    assert any(root == 7 / type(root)(9) for root in table.exact)


def test_solids_limit_the_extent():
    salt = eq.Reaction("PbI2(s) <=> Pb^2+ + 2 I^-", K=1.4e-8)
    plenty = eq.ice(salt, {})
    assert plenty.extent == pytest.approx((1.4e-8 / 4) ** (1 / 3), rel=1e-12)
    assert plenty.in_plenty == ("PbI2(s)",)
    little = eq.ice(salt, {"PbI2(s)": 1e-4})
    assert little.extent == 1e-4
    assert little.used_up == "PbI2(s)"
    assert little.equilibrium["PbI2(s)"] == 0
    enough = eq.ice(salt, {"PbI2(s)": 0.01})
    assert enough.equilibrium["PbI2(s)"] == pytest.approx(0.01 - plenty.extent)


def test_no_solid_no_dissolving():
    forming = eq.Reaction("Ag^+ + Cl^- <=> AgCl(s)", K=1 / 1.6e-10)
    table = eq.ice(forming, {"Ag^+": 1e-6, "Cl^-": 1e-6})
    assert table.extent == 0
    falls = eq.ice(forming, {"Ag^+": 1e-3, "Cl^-": 1e-3})
    assert falls.equilibrium["Ag^+"] == pytest.approx(math.sqrt(1.6e-10), rel=1e-12)


def test_pressures():
    """Kp and bar: CaCO3 gives its own decomposition pressure; solids stay in mol/L."""
    r = eq.Reaction("CaCO3(s) <=> CaO(s) + CO2(g)", K=0.22, basis="p", T=1100)
    table = eq.ice(r, {"CaCO3(s)": 1.0})
    assert table.equilibrium["CO2(g)"] == pytest.approx(0.22)
    assert table.equilibrium["CaO(s)"] == pytest.approx(0.22 / (0.0831446 * 1100), rel=1e-5)


def test_a_little_liquid_can_run_out():
    r = eq.Reaction("H2O(l) <=> H2O(g)", K=1.3e-3)
    assert eq.ice(r, {}).extent == pytest.approx(1.3e-3)
    little = eq.ice(r, {"H2O(l)": 1e-4})
    assert little.extent == pytest.approx(1e-4)
    assert little.used_up == "H2O(l)"


def test_already_there_and_nothing_possible():
    r = eq.Reaction("H2(g) + I2(g) <=> 2 HI(g)", K=49)
    there = eq.ice(r, {"H2": 1, "I2": 1, "HI": 7})
    assert there.extent == 0
    alone = eq.ice(r, {"H2": 1})
    assert alone.extent == 0


def test_display():
    table = eq.ice(eq.Reaction("NH3 + H2O <=> NH4^+ + OH^-", K=1.8e-5), {"NH3": 0.25})
    text, page = str(table), table._repr_html_()
    assert "Change" in text
    assert "H2O(l)" in text
    assert "<caption>" in page
    assert page.count('scope="row"') == 3
    assert page.count('scope="col"') == 4


def test_amounts_by_name():
    table = eq.ice(eq.Reaction("2 NO2(g) <=> N2O4(g)", K=160), {"NO2": 0.1})
    assert table["NO2"] == table["NO2(g)"] == table.equilibrium["NO2(g)"]
    with pytest.raises(eq.EqlibError, match="no column"):
        _ = table["NO"]


def test_measured():
    r = eq.Reaction("PCl5(g) <=> PCl3(g) + Cl2(g)")
    assert pytest.approx(0.4**2 / 0.32) == ice_from_measured(r, {"PCl5": 0.72}, {"PCl3": 0.4}).K
    with pytest.raises(eq.EqlibError, match="more PCl5"):
        ice_from_measured(r, {"PCl5": 0.72}, {"PCl3": 0.8})


R = eq.Reaction("Fe^3+ + SCN^- <=> FeSCN^2+", K=140)


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (lambda: eq.ice(R, {}), "nothing to start from"),
        (lambda: eq.ice(R, {"Fe^3+": 0.0}), "nothing to start from"),
        (lambda: eq.ice(R, {"Fe^3+": 1, "SNC^-": 1}), "did you mean SCN^-?"),
        (lambda: eq.ice(R, {"Fe^3+": -1}), "negative"),
        (lambda: eq.ice(R, {"Fe^3+": math.inf}), "finite"),
        (lambda: eq.ice(R, {"Fe^3+": "1"}), "number"),
        (lambda: eq.ice(R, {"Fe3+": 1}), "Fe^3+"),
        (lambda: eq.ice(R, [1]), "written"),
        (lambda: eq.ice("Fe", {}), "Reaction"),
        (lambda: eq.ice(eq.Reaction("A <=> M"), {"A": 1}), "not balanced"),
        (lambda: eq.ice(eq.Reaction("n-C4H10 <=> iso-C4H10"), {"n-C4H10": 1}), "K=..."),
        (lambda: eq.ice(eq.Reaction("CO2(g) <=> CO2", K=1), {"CO2(g)": 1}), "headspace"),
        (lambda: eq.ice(R, {"Fe^3+": 1, "Fe+3": 2}), "twice"),
    ],
)
def test_bad_input_is_one_plain_line(make, says):
    with pytest.raises(eq.EqlibError) as caught:
        make()
    assert says in str(caught.value)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("share", "valid", "words"), [(0.049, True, "within the 5 %"), (0.051, False, "more than the 5 %")]
)
def test_the_5_percent_rule_turns_at_5_percent(share, valid, words):
    """For HA the shortcut gives x = sqrt(K c), so x/c = sqrt(K/c): the textbook rule (from memory)."""
    acid = eq.Reaction("HA <=> H^+ + A^-", K=0.1 * share**2)
    small = eq.ice(acid, {"HA": 0.1}).small_x
    assert small.largest_share == pytest.approx(share, rel=1e-9)
    assert small.valid is valid
    assert words in small.assumption
