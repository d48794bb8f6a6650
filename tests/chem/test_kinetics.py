"""Time courses: conservation, equal rates at the end, agreement with closed solutions and with the solver."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import eqlib as eq

S = eq.Stress
IRON = eq.Reaction("Fe^3+ + SCN^- <=> FeSCN^2+", K=140, dH=-6000)
SILVER = eq.Reaction("AgSCN(s) <=> Ag^+ + SCN^-", K=1.0e-12)


def tube(*others):
    return eq.Mixture({"Fe^3+": 1e-3, "SCN^-": 1e-3}, [IRON, *others], volume=0.010)


def at_rest():
    """The same tube, put in as what it has become."""
    made = tube()
    return made.with_(totals=dict(made.equilibrate().concentrations))


def atoms(course, element):
    total = 0.0
    for name, moles in course.amounts.items():
        total = total + eq.species(name).elements.get(element, 0) * moles
    return total


def test_first_order_has_a_closed_solution():
    """A <=> B with k = 0.3 and K = 3: A relaxes with 1/s constant 0.3 + 0.1 (worked by hand)."""
    r = eq.Reaction("n-C4H10(g) <=> iso-C4H10(g)", K=3.0)
    course = eq.time_course(eq.Mixture({"n-C4H10(g)": 2.0}, [r]), until=12.0, rates=0.3)
    wanted = 0.5 + 1.5 * np.exp(-0.4 * course.t)
    assert course["n-C4H10(g)"] == pytest.approx(wanted, rel=1e-6)
    assert course.forward[0] == pytest.approx(0.3 * wanted, rel=1e-6)


def test_second_order_has_a_closed_solution():
    """Equal amounts, almost irreversible: 1/c = 1/c0 + k t."""
    r = eq.Reaction("Ag^+ + Cl^- <=> AgCl", K=1e12)
    course = eq.time_course(eq.Mixture({"Ag^+": 0.01, "Cl^-": 0.01}, [r]), until=50.0, rates=20.0)
    assert course["Ag^+"] == pytest.approx(1 / (100 + 20.0 * course.t), rel=1e-5)


def test_ends_at_equilibrium_with_equal_rates():
    m = tube(SILVER)
    course = eq.time_course(m, until=200.0, stresses=[(60.0, S.add_solution({"AgNO3": 0.05}, volume=0.0001))])
    end = course.mixture.equilibrate()
    for name in ("Fe^3+", "FeSCN^2+", "AgSCN(s)"):
        assert course[name][-1] == pytest.approx(
            end.amounts[name] if name.endswith("(s)") else end[name], rel=1e-4
        )
    # The precipitation runs at a rate so small by now that it is compared with the other one.
    last = course.forward[:, -1]
    assert last - course.reverse[:, -1] == pytest.approx([0, 0], abs=1e-3 * last[0])
    assert course.forward[0, -1] > 0  # equal, but not stopped


@settings(max_examples=15)
@given(st.floats(0.5, 3.0), st.floats(1e-4, 1e-2))
def test_atoms_are_conserved_exactly(log_K, iron):
    r = eq.Reaction("Fe^3+ + SCN^- <=> FeSCN^2+", K=10.0**log_K)
    m = eq.Mixture({"Fe^3+": iron, "SCN^-": 1e-3}, [r])
    course = eq.time_course(m, until=50.0, points=60)
    for element in ("Fe", "S", "N"):
        total = atoms(course, element)
        assert np.ptp(total) <= 1e-14 * total.max()


def test_rates_cross_after_a_stress():
    """Adding a reactant lifts the forward rate at once, not the reverse one; they meet again higher up."""
    course = eq.time_course(at_rest(), until=100.0, stresses=[(20.0, S.add("KSCN", 1e-5))])
    jump = int(np.flatnonzero(np.diff(course.t) == 0)[0])
    assert course.forward[0, jump] == pytest.approx(course.reverse[0, jump], rel=1e-6)
    assert course.forward[0, jump + 1] > 1.5 * course.forward[0, jump]
    assert course.reverse[0, jump + 1] == pytest.approx(course.reverse[0, jump], rel=1e-9)
    assert course.forward[0, -1] > course.forward[0, jump]
    assert course.events == ((20.0, "add 10 µmol of KSCN"),)


def test_catalyst_speeds_up_both_and_shifts_nothing():
    course = eq.time_course(at_rest(), until=50.0, stresses=[(10.0, S.catalyse())])
    assert np.ptp(course["FeSCN^2+"]) < 1e-9 * course["FeSCN^2+"].max()
    assert course.k_forward[1] == pytest.approx(10 * course.k_forward[0])
    assert course.k_reverse[1] == pytest.approx(10 * course.k_reverse[0])
    assert course.forward[0, -1] == pytest.approx(10 * course.forward[0, 0])


def test_constants_agree_with_K():
    course = eq.time_course(tube(SILVER), until=10.0, rates={str(IRON): 7.0, str(SILVER): 1e-3})
    assert course.k_forward[0] == pytest.approx([7.0, 1e-3])
    assert course.k_forward[0] / course.k_reverse[0] == pytest.approx([140.0, 1e-12])


def test_heating_changes_K():
    course = eq.time_course(at_rest(), until=80.0, stresses=[(20.0, S.heat_to(333.15))])
    assert course["FeSCN^2+"][-1] == pytest.approx(
        eq.disturb(tube(), S.heat_to(333.15)).after["FeSCN^2+"], rel=1e-6
    )
    assert course.k_forward[1, 0] == course.k_forward[0, 0]


def test_gas_at_constant_pressure():
    r = eq.Reaction("2 NO2(g) <=> N2O4(g)", K=160)
    course = eq.time_course(eq.Mixture({"NO2(g)": 0.1}, [r], pressure=1.0), until=40.0)
    end = course.mixture.equilibrate()
    assert course["N2O4(g)"][-1] == pytest.approx(end["N2O4(g)"], rel=1e-5)


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (lambda: eq.time_course("tube", 1.0), "Mixture"),
        (lambda: eq.time_course(tube(), 0), "more than 0"),
        (lambda: eq.time_course(tube(), math.nan), "finite"),
        (lambda: eq.time_course(tube(), 1.0, rates=-1), "more than 0"),
        (lambda: eq.time_course(tube(SILVER), 1.0, rates={str(IRON): 1.0}), "AgSCN(s)"),
        (lambda: eq.time_course(tube(), 1.0, stresses=[S.catalyse()]), "pair"),
        (lambda: eq.time_course(tube(), 1.0, stresses=[(2.0, S.catalyse())]), "outside"),
        (lambda: eq.time_course(tube(), 1.0, points=3), "points"),
        (lambda: eq.time_course(tube(), 1.0)["SNC^-"], "did you mean SCN^-?"),
    ],
)
def test_bad_input_is_one_plain_line(make, says):
    with pytest.raises(eq.EqlibError) as caught:
        make()
    assert says in str(caught.value)
    assert "\n" not in str(caught.value)
