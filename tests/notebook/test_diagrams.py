"""The panels without marks of the notebooks 01 to 03: what they say is checked against hand calculation."""

import math
import re
import shutil
from pathlib import Path

import numpy as np
import pytest

from eqlib.notebook import diagrams
from eqlib.notebook.explorer import Explorer
from eqlib.notebook.lesson import store_here

K = 139.0  # Fe3+ + SCN- = FeSCN2+: the constant shown; its source stands in the catalogue


def rates(said):
    """The four rates named in the first two sentences, mmol/L per second."""
    return [float(v) for v in re.findall(r"(?:forward|reverse) (\d+(?:\.\d+)?)", said.split(" When ")[0])]


def by_hand(iron, thiocyanate):
    """x of the 1:1 table from the quadratic equation (mol/L)."""
    roots = np.roots([K, -(K * (iron + thiocyanate) + 1), K * iron * thiocyanate])
    return next(r for r in roots.real if 0 <= r <= min(iron, thiocyanate))


@pytest.mark.parametrize("start", list(diagrams.STARTS))
def test_both_rates_are_equal_at_the_end_and_those_of_the_law_of_mass_action(start):
    _, said = diagrams.rates_at(start, "nothing", 10)
    there = diagrams.STARTS[start]
    red = there.get("FeSCN^2+", 0)
    x = by_hand(there["Fe^3+"] + red, there.get("SCN^-", 0) + red)
    first_forward, first_reverse, forward, reverse = rates(said)
    free = (there["Fe^3+"] + red - x) * (there.get("SCN^-", 0) + red - x)
    assert forward == pytest.approx(reverse, abs=0.0011)
    assert forward == pytest.approx(1e3 * diagrams.FORWARD * free, rel=0.01)
    assert first_forward == pytest.approx(
        1e3 * diagrams.FORWARD * there["Fe^3+"] * there.get("SCN^-", 0), abs=6e-4
    )
    assert first_reverse == pytest.approx(1e3 * diagrams.FORWARD / K * red, abs=6e-4)


def jumps(change):
    """After over before, of the forward and of the reverse rate, at the moment of the change."""
    _, said = diagrams.rates_at("the reactants alone", change, 16)
    found = re.findall(r"(\d+\.\d+) → (\d+\.\d+)", said)
    return [float(after) / float(before) for before, after in found]


def test_grains_lift_the_forward_rate_only_water_lowers_both_a_catalyst_lifts_both_alike():
    free = 1.0e-3 - by_hand(2.5e-3, 1.0e-3)
    added = 1.5e-6 / 0.002
    forward, reverse = jumps("grains of KSCN")
    assert forward == pytest.approx((free + added) / free, rel=0.02)
    assert reverse == pytest.approx(1, rel=0.02)
    forward, reverse = jumps("as much water again")
    assert (forward, reverse) == (pytest.approx(1 / 4, rel=0.03), pytest.approx(1 / 2, rel=0.03))
    forward, reverse = jumps("an (imagined) catalyst")
    assert forward == pytest.approx(reverse, rel=0.02)
    assert forward > 2


@pytest.mark.parametrize("minutes", [0, 1, 17, 60])
def test_no_labelled_ion_is_lost_and_the_amounts_stay(minutes):
    picture, said = diagrams.ions_at(minutes)
    dissolved, labelled, solid, left, out, back = map(int, re.findall(r"\d+", said.split("min: ")[1]))
    assert (dissolved, solid) == (diagrams.DISSOLVED, diagrams.SOLID)
    assert labelled + left == diagrams.LABELLED
    assert out == back == minutes * diagrams.PER_MINUTE
    assert picture.count("<circle cx") == diagrams.DISSOLVED + diagrams.SOLID
    assert len(re.findall(r'r="8" fill="currentColor"', picture)) == diagrams.LABELLED


def test_the_label_spreads_over_both_places():
    late = [int(re.findall(r"(\d+) of them", diagrams.ions_at(m)[1])[0]) for m in range(40, 61)]
    fair = diagrams.LABELLED * diagrams.DISSOLVED / (diagrams.DISSOLVED + diagrams.SOLID)
    assert np.mean(late) == pytest.approx(fair, abs=1.5)


def test_q_on_the_line_is_the_quotient():
    _, said = diagrams.now((2.0, 0.5, 0.1))
    assert "Q = 100" in said  # 1e-4 / (2e-3 x 5e-4)
    assert "it goes to products" in said
    assert "to reactants" in diagrams.now((1.0, 1.0, 0.5))[1]


@pytest.mark.parametrize(
    ("share", "way"),
    [(20, "to products"), (35, "to products"), (55, "to reactants"), (90, "to reactants")],
)
def test_more_nitrogen_at_constant_pressure_turns_near_one_half(share, way):
    """For N2 + 3 H2 = 2 NH3 with more N2 at constant p and T: forward below half N2, reverse above (a
    result of the
    trade that Le Chatelier's rule misses; from d ln Q = (1/n - 2/N) dn, which changes sign at n/N = 1/2).
    """
    _, said = diagrams.let_in(float(share))
    assert way in said
    nitrogen, others = (float(v) for v in re.findall(r"× ([0-9.]+)", said)[:2])
    Q = float(re.search(r"Q = ([0-9.]+)", said)[1])
    expected = 0.50 / (nitrogen * others)  # of [NH3]² / ([N2][H2]³) all but N2 change by one factor
    assert pytest.approx(expected, rel=0.01) == Q


@pytest.mark.parametrize(("iron", "thiocyanate"), [(3.0, 3.0), (5.0, 0.5), (1.0, 4.0)])
def test_x_found_by_hand_is_the_root_of_the_quadratic(iron, thiocyanate):
    fe, scn = 5.00e-3 * iron / 10, 2.00e-3 * thiocyanate / 10
    share = 100 * by_hand(fe, scn) / min(fe, scn)
    assert "as near as" in diagrams.table_at(iron, thiocyanate, share)[1]
    assert "too small" in diagrams.table_at(iron, thiocyanate, 0.8 * share)[1]
    assert "too large" in diagrams.table_at(iron, thiocyanate, min(1.2 * share, 99))[1]
    assert "nothing" in diagrams.table_at(iron, thiocyanate, 100)[1]


@pytest.mark.parametrize("power", [-1.0, -2.5, -3.5, -5.0, -6.0])
def test_the_short_cut_beside_the_exact_root(power):
    acid, c = 4.3e-7, 10.0**power  # the constant shown; its source stands in the catalogue
    short, true = math.sqrt(acid * c), (-acid + math.sqrt(acid**2 + 4 * acid * c)) / 2
    _, said = diagrams.short_cut_at(power)
    share, error = (float(v) for v in re.findall(r"([0-9.]+) %", said))
    assert share == pytest.approx(100 * short / c, rel=0.06)
    assert error == pytest.approx(100 * (short / true - 1), rel=0.06)
    assert ("not allowed" in said) is (short / c > 0.05)


def test_a_picture_waits_for_the_prediction(tmp_path, monkeypatch):
    source = Path(__file__).parents[2] / "notebooks" / "source" / "01-dynamic-equilibrium"
    shutil.copy(source / "questions.toml", tmp_path)
    monkeypatch.chdir(tmp_path)
    store = store_here()
    made = Explorer(
        lambda at: ("<svg/>", "Both are equal."), [], "Rates for a test", after=("approach",), store=store
    )
    ((_, head),) = made.sections()
    assert "“From the reactants” first" in head
    assert "Both are equal" not in head
    store.save("approach", {"forward-graph": "falls"})
    made.on_look({}, "")
    assert dict(made.page["sections"])["picture"] == "<svg/>"
