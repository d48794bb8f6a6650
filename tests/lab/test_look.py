"""Darker, paler or the same. Expected numbers are worked out here by the quadratic formula, not by eqlib."""

from dataclasses import dataclass, field, replace
from math import sqrt

import pytest
from hypothesis import given
from hypothesis import strategies as st

import eqlib as eq
from eqlib.lab.look import SAME_BELOW, compare, compare_disturbance, why_not_ask

K = 140.0


@dataclass(frozen=True)
class Vessel:
    """What compare reads of a State."""

    concentrations: dict
    volume: float = 0.010
    solids: dict = field(default_factory=dict)


def complex_by_quadratic(metal, ligand):
    b = metal + ligand + 1 / K
    return (b - sqrt(b * b - 4 * metal * ligand)) / 2


def iron_thiocyanate(metal, ligand, volume):
    reaction = eq.Reaction("Fe^3+ + SCN^- <=> FeSCN^2+", K=K)
    return eq.Mixture({"Fe^3+": metal, "SCN^-": ligand}, [reaction], volume=volume).equilibrate()


# 1 mmol/L of each; then an equal volume of water, or of 1 mmol/L iron. The four ratios to two figures are
# an own calculation of the bench notes, done again here.
@pytest.mark.parametrize(
    ("metal", "side", "above"), [(0.5e-3, 0.28, 0.56), (1.0e-3, 0.53, 1.05)], ids=["water", "iron"]
)
def test_diluting_is_paler_from_the_side_and_deeper_from_above(metal, side, above):
    ratio = complex_by_quadratic(metal, 0.5e-3) / complex_by_quadratic(1e-3, 1e-3)
    assert (ratio, 2 * ratio) == pytest.approx((side, above), abs=0.006)
    before, after = iron_thiocyanate(1e-3, 1e-3, 0.010), iron_thiocyanate(metal, 0.5e-3, 0.020)
    for view, expected in (("side", ratio), ("above", 2 * ratio)):
        look = compare(before, after, view=view)
        assert eq.absorbance(after, 480, look.after.path_cm) / eq.absorbance(
            before, 480, look.before.path_cm
        ) == (pytest.approx(expected, rel=1e-3))
        assert look.absorbance_after / look.absorbance_before == pytest.approx(expected, rel=0.02)
    assert compare(before, after).lightness == "paler"
    assert compare(before, after, view="above").lightness == ("paler" if metal < 1e-3 else "same")


def test_pure_dilution_halves_the_side_and_leaves_the_view_from_above():
    before, after = Vessel({"FeSCN^2+": 2e-4}, 0.010), Vessel({"FeSCN^2+": 1e-4}, 0.020)
    side, above = compare(before, after), compare(before, after, view="above")
    assert side.absorbance_after / side.absorbance_before == pytest.approx(0.50)
    assert above.absorbance_after / above.absorbance_before == pytest.approx(1.00)
    assert (side.lightness, above.lightness) == ("paler", "same")
    assert above.delta_e == pytest.approx(0.0, abs=1e-9)


@given(st.floats(1e-5, 1e-3), st.floats(0.02, 50))
def test_one_coloured_substance_follows_its_concentration(c, factor):
    look = compare(Vessel({"FeSCN^2+": c}), Vessel({"FeSCN^2+": c * factor}))
    assert look.lightness in (("darker", "same") if factor >= 1 else ("paler", "same"))
    assert (look.lightness == "same") == (look.delta_e < SAME_BELOW)
    back = compare(Vessel({"FeSCN^2+": c * factor}), Vessel({"FeSCN^2+": c}))
    assert {look.lightness, back.lightness} in ({"same"}, {"darker", "paler"})


@pytest.mark.parametrize(
    "species", ["FeSCN^2+", "Cu(NH3)4^2+", "CuCl4^2-", "CoCl4^2-", "Cr2O7^2-", "CrO4^2-", "NO2(g)"]
)
def test_twice_as_much_is_darker_and_half_as_much_paler_for_every_coloured_substance(species):
    for absorbance in (0.3, 0.6, 1.0):
        c = absorbance / max(eq.absorbance({species: 1.0}, nm) for nm in range(400, 701, 5))
        one, two = Vessel({species: c}), Vessel({species: 2 * c})
        assert compare(one, two).lightness == "darker", (species, absorbance)
        assert compare(two, one).lightness == "paler", (species, absorbance)


def test_a_drop_of_water_is_the_same_and_called_borderline_only_near_the_threshold():
    # Two per cent of dilution on A = 0.5: 0.500 to 0.490.
    base = {"FeSCN^2+": 1.064e-4}
    look = compare(Vessel(base), Vessel({"FeSCN^2+": 1.064e-4 / 1.02}))
    assert look.lightness == "same"
    assert not look.borderline
    near = compare(Vessel(base), Vessel({"FeSCN^2+": 1.064e-4 / 1.13}))
    assert near.borderline


def test_a_precipitate_is_reported_apart_from_the_solution():
    before = Vessel({"FeSCN^2+": 2e-4})
    after = Vessel({"FeSCN^2+": 2e-5}, solids={"AgSCN(s)": 1e-3})
    look = compare(before, after)
    assert (look.lightness, look.precipitate, look.redissolved) == ("paler", True, False)
    assert look.solids_formed == ("AgSCN(s)",)
    assert "AgSCN(s) precipitates" in look.words
    back = compare(after, before)
    assert (back.lightness, back.precipitate, back.redissolved) == ("darker", False, True)


def test_a_brown_cloud_does_not_make_the_solution_darker():
    look = compare(Vessel({"FeSCN^2+": 2e-4}), Vessel({}, solids={"Fe(OH)3(s)": 1e-2}))
    assert look.lightness == "paler"
    assert look.after.lightness < look.before.lightness  # the cloud itself is the darker thing to look at


def test_a_solid_put_in_is_no_precipitate():
    before = Vessel({"FeSCN^2+": 1e-4}, solids={"AgSCN(s)": 1e-3})
    put_in = Vessel({"FeSCN^2+": 1e-4}, solids={"AgSCN(s)": 5e-3})
    assert compare(before, put_in).precipitate
    assert not compare(before, put_in, at_once=put_in).precipitate
    assert compare(before, put_in).lightness == "same"


def test_diluting_a_suspension_dissolves_nothing():
    look = compare(Vessel({}, 0.010, {"AgSCN(s)": 2e-3}), Vessel({}, 0.020, {"AgSCN(s)": 1e-3}))
    assert (look.precipitate, look.redissolved) == (False, False)


def test_a_yellow_that_deepens_with_hardly_a_change_of_lightness_is_darker():
    look = compare(Vessel({"CrO4^2-": 1e-3}), Vessel({"CrO4^2-": 3e-3}))
    assert abs(look.delta_lightness) < 1.0
    assert look.lightness == "darker"


def test_disturbances_are_read_with_their_moment_of_mixing():
    reaction = eq.Reaction("Fe^3+ + SCN^- <=> FeSCN^2+", K=K)
    mixture = eq.Mixture({"Fe^3+": 1e-3, "SCN^-": 1e-3}, [reaction], volume=0.010)
    more = compare_disturbance(eq.disturb(mixture, eq.Stress.add_solution({"Fe^3+": 0.1}, volume=0.0005)))
    water = compare_disturbance(eq.disturb(mixture, eq.Stress.dilute(0.010)))
    nothing = compare_disturbance(eq.disturb(mixture, eq.Stress.catalyse()))
    assert (more.lightness, water.lightness, nothing.lightness) == ("darker", "paler", "same")
    assert "darker" in str(more)


@pytest.mark.parametrize("threshold", [0, -1, 200, float("nan")])
def test_a_bad_threshold_is_named(threshold):
    with pytest.raises(eq.EqlibError, match="threshold"):
        compare(Vessel({}), Vessel({}), threshold=threshold)


# -- where people would not agree on a word --------------------


@pytest.mark.parametrize(
    ("name", "key", "words"),
    [
        (
            "cobalt-chloride",
            "acid",
            "violet to blue",
        ),  # an intense blue out of violet: nobody calls that paler
        ("bromothymol-blue", "acid", "green to yellow"),
    ],
)
def test_another_colour_that_is_lighter_and_more_vivid_is_not_asked_as_paler(name, key, words):
    system = eq.system(name)
    change = eq.disturb(system.before(key), system.steps[key].stress)
    look = compare_disturbance(change, path_cm=system.recipe.path_cm)
    assert look.lightness == "paler"
    assert words in why_not_ask(look)
    assert "deeper in colour" in why_not_ask(look)


@given(
    st.sampled_from(["FeSCN^2+", "NO2(g)", "CoCl4^2-", "Cu(NH3)4^2+", "CrO4^2-", "In^-", "C20H12O4^2-"]),
    st.floats(0.02, 30),
    st.floats(0.02, 50),
)
def test_one_substance_thinner_or_thicker_is_always_a_fair_question(species, absorbance, factor):
    """Less of one dye is paler to everybody, however dark the start (Beer and Lambert)."""
    c = absorbance / max(eq.absorbance({species: 1.0}, nm) for nm in range(400, 701, 10))
    look = compare(Vessel({species: c}), Vessel({species: factor * c}))
    assert why_not_ask(look) == ""
    assert look.one_way


def test_another_hue_without_a_change_of_lightness_is_not_asked_either():
    """Made by hand: the same L*, a* and b* turned round."""
    look = compare(Vessel({"FeSCN^2+": 1e-4}), Vessel({"FeSCN^2+": 1e-4}))
    assert why_not_ask(look) == ""
    turned = replace(look, hue_changed=True, lightness="same")
    assert "neither lighter nor darker" in why_not_ask(turned)
