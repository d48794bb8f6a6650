"""Derivatives of a composition, against closed forms and central differences of 40-digit solutions."""

import math

import mpmath
import pytest

import eqlib as eq
from eqlib.chem.sweeps import sensitivity

R = eq.Reaction
IRON = R("Fe^3+ + SCN^- <=> FeSCN^2+", K=140)
SILVER = R("AgSCN(s) <=> Ag^+ + SCN^-", K=1.0e-12)


def _iron(K, a, b):
    """[FeSCN^2+] from the quadratic."""
    s = a + b + 1 / K
    return (s - mpmath.sqrt(s * s - 4 * a * b)) / 2


def test_one_reaction_against_40_digit_differences():
    found = sensitivity(eq.Mixture({"Fe^3+": 1e-3, "SCN^-": 2e-3}, [IRON]))
    with mpmath.workdps(40):
        K, a, b, h = mpmath.mpf(140), mpmath.mpf(1e-3), mpmath.mpf(2e-3), mpmath.mpf(10) ** -12
        x = _iron(K, a, b)
        by_K = (mpmath.log(_iron(K * (1 + h), a, b)) - mpmath.log(_iron(K * (1 - h), a, b))) / (2 * h)
        by_a = (_iron(K, a * (1 + h), b) - _iron(K, a * (1 - h), b)) / (2 * h * a)
        free = (mpmath.log(a - _iron(K * (1 + h), a, b)) - mpmath.log(a - _iron(K * (1 - h), a, b))) / (2 * h)
    assert found.of_K("FeSCN^2+", IRON) == pytest.approx(float(by_K), rel=1e-10)
    assert found.of_total("FeSCN^2+", "Fe^3+") == pytest.approx(float(by_a), rel=1e-10)
    assert found.of_K("Fe^3+", IRON) == pytest.approx(float(free), rel=1e-10)
    assert found.state["FeSCN^2+"] == pytest.approx(float(x), rel=1e-12)


def _cubic(Ksp, K, iron, silver, thiocyanate):
    """[SCN^-] with AgSCN(s) present: iron and silver follow from it."""

    def balance(s):
        solid = silver - Ksp / s
        return s + iron * K * s / (1 + K * s) + solid - thiocyanate

    return mpmath.findroot(
        balance, (mpmath.mpf(10) ** -6, mpmath.mpf(10) ** -2), solver="anderson", tol=1e-60
    )


def test_with_a_solid_present():
    totals = {"Fe^3+": 1e-3, "SCN^-": 1e-3, "Ag^+": 4e-4}
    found = sensitivity(eq.Mixture(totals, [IRON, SILVER]))
    with mpmath.workdps(40):
        values = [mpmath.mpf(v) for v in (1.0e-12, 140.0, 1e-3, 4e-4, 1e-3)]
        h = mpmath.mpf(10) ** -12

        def slope(position, of):
            up, down = list(values), list(values)
            up[position] *= 1 + h
            down[position] *= 1 - h
            return (of(up) - of(down)) / (2 * h)

        def ln_s(v):
            return mpmath.log(_cubic(*v))

        def solid(v):
            return v[3] - v[0] / _cubic(*v)

        expected = {
            "K": slope(1, ln_s),
            "Ksp": slope(0, ln_s),
            "iron": slope(2, lambda v: _cubic(*v)) / values[2],
            "solid by silver": slope(3, solid) / values[3],
            "solid by K": slope(1, lambda v: mpmath.log(solid(v))),
        }
    assert found.of_K("SCN^-", IRON) == pytest.approx(float(expected["K"]), rel=1e-8)
    assert found.of_K("SCN^-", SILVER) == pytest.approx(float(expected["Ksp"]), rel=1e-8)
    assert found.of_total("SCN^-", "Fe^3+") == pytest.approx(float(expected["iron"]), rel=1e-8)
    assert found.of_total("AgSCN(s)", "Ag^+") == pytest.approx(float(expected["solid by silver"]), rel=1e-8)
    assert found.of_K("AgSCN(s)", IRON) == pytest.approx(float(expected["solid by K"]), rel=1e-8)


def test_pH_of_a_weak_acid():
    """For [H+] = sqrt(Ka c): d pH / d ln Ka = -1 / (2 ln 10); the quadratic corrects it slightly."""
    acid = R("CH3COOH <=> H^+ + CH3COO^-", K=1.8e-5)
    found = sensitivity(eq.Mixture({"CH3COOH": 0.1}, [acid]), "pH")
    x, Ka = (-1.8e-5 + math.sqrt(1.8e-5**2 + 4 * 1.8e-6)) / 2, 1.8e-5
    slope = (0.1 - x) * Ka / (2 * x + Ka) / x
    assert found.of_K("pH", acid) == pytest.approx(-slope / math.log(10), rel=1e-10)
    assert list(found.to_K) == ["pH"]


def test_gas_at_constant_pressure_has_the_closed_form():
    """n(NO2) = 2 n0 sqrt(K / (K + 4 P)): d ln n / d ln K = 2 P / (K + 4 P); the pressure of NO2 follows."""
    r = R("N2O4(g) <=> 2 NO2(g)", K=0.15, basis="p")
    found = sensitivity(eq.Mixture({"N2O4(g)": 0.04}, [r], pressure=2.0), "NO2(g)")

    def pressure(K):
        a = math.sqrt(K / (K + 8.0))
        return 2.0 * 2 * a / (1 + a)

    h = 1e-6
    slope = (math.log(pressure(0.15 * (1 + h))) - math.log(pressure(0.15 * (1 - h)))) / (2 * h)
    assert found.of_K("NO2(g)", r) == pytest.approx(slope, rel=1e-7)
    assert found.of_total("NO2(g)", "N2O4(g)") == pytest.approx(0.0, abs=1e-12)


def test_what_cannot_be_asked():
    m = eq.Mixture({"Fe^3+": 1e-3, "SCN^-": 1e-3}, [IRON, SILVER])
    with pytest.raises(eq.EqlibError, match="not reacted"):
        sensitivity(m.as_mixed())
    with pytest.raises(eq.EqlibError, match="AgSCN\\(s\\)"):
        sensitivity(m, "AgSCN(s)")
    with pytest.raises(eq.EqlibError, match="ideal"):
        sensitivity(m.equilibrate("davies"))
    with pytest.raises(eq.EqlibError, match="there are"):
        sensitivity(m).of_K("Fe^3+", eq.water())
