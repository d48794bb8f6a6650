"""What the catalogue says happens does happen: every stress of every system, in the engine and to the eye."""

import pytest

from eqlib.chem import catalogue
from eqlib.chem.catalogue.rules import NOTICED
from eqlib.chem.disturb import disturb
from eqlib.chem.mixture import Mixture
from eqlib.chem.stress import Stress

CLAIMS = [(name, key) for name in catalogue.systems() for key in catalogue.system(name).steps]


@pytest.fixture(scope="module", params=CLAIMS, ids=["/".join(claim) for claim in CLAIMS])
def claim(request):
    name, key = request.param
    system = catalogue.system(name)
    return system, system.steps[key], catalogue.outcome_of(system, key)


def test_the_first_reaction_goes_the_stated_way(claim):
    _, stress, outcome = claim
    assert outcome.direction == stress.direction


def test_solids_come_and_go_as_stated(claim):
    _, stress, outcome = claim
    if stress.solid:
        assert outcome.after.solids[stress.solid] > NOTICED
    if stress.solid_gone:
        assert outcome.before.solids[stress.solid_gone] > NOTICED
        assert outcome.after.solids[stress.solid_gone] < NOTICED
    if not stress.solid:
        assert not any(amount > NOTICED for amount in outcome.after.solids.values())


def test_what_is_seen_is_what_is_stated(claim):
    from eqlib.lab.look import compare_disturbance

    system, stress, outcome = claim
    look = compare_disturbance(outcome, path_cm=system.recipe.path_cm)
    seen = "other colour" if look.hue_changed else look.lightness
    assert seen == stress.seen, look.words


def test_a_stated_change_can_be_seen(claim):
    """CIEDE2000 of at least 3, half as much again as the difference that look.py calls the same."""
    from eqlib.lab.look import compare_disturbance

    system, stress, outcome = claim
    look = compare_disturbance(outcome, path_cm=system.recipe.path_cm)
    if stress.seen != "same":
        assert look.delta_e >= 3.0
    elif not (stress.solid or stress.solid_gone):
        assert look.delta_e < 1.0


def test_every_system_has_a_change_that_can_be_seen():
    for name in catalogue.systems():
        stresses = catalogue.system(name).steps.values()
        assert any(s.seen != "same" or s.solid or s.solid_gone for s in stresses), name


@pytest.mark.parametrize("name", catalogue.systems())
def test_directions_do_not_hang_on_which_book_is_right(name):
    """With any other listed value of any constant, and with the I = 0 set, every stress goes the same way."""
    system = catalogue.system(name)
    others = [{key: v} for key, c in system.constants.items() for v in c.values if v != c.default.key]
    for options in [{"at_zero_ionic_strength": True}, *({"constants": other} for other in others)]:
        for key, stress in system.steps.items():
            assert disturb(before(system, key, options), stress.stress).direction == stress.direction, options


def before(system, key, options):
    earlier = system.steps[key].after
    if earlier is None:
        return system.mixture(**options)
    return disturb(before(system, earlier, options), system.steps[earlier].stress).mixture


# -- numbers worked out apart from the engine --------------------


def test_compressed_nitrogen_dioxide_ends_half_way_back():
    """Halving the volume at 1 bar and 25 degrees C: NO2 from the side x2 at once, then x1.46; along the
    barrel x0.73.

    By hand, K 6.9 per bar: p + 6.9 p^2 = 1 gives p 0.315 bar; p + 13.8 p^2 = 2 (0.315 + 2 x 0.685) gives
    0.459.
    """
    outcome = catalogue.outcome_of(catalogue.system("nitrogen-dioxide"), "compress")
    before, once, after = (s["NO2(g)"] for s in (outcome.before, outcome.at_once, outcome.after))
    assert outcome.before.total_pressure == pytest.approx(1.0, rel=0.01)
    assert once / before == pytest.approx(2.0)
    assert after / before == pytest.approx(0.459 / 0.315, rel=0.005)
    assert after / before / 2 == pytest.approx(0.73, abs=0.005)


def test_equal_water_to_one_millimolar_each():
    """1 mM each with as much water, one reaction, K 139: from the side x0.28, from above x0.56.

    By hand: x = (b - sqrt(b^2 - 4 c^2)) / 2 with b = 2 c + 1/139; c 1.0e-3 gives 1.101e-4, c 0.5e-3 gives
    3.06e-5.
    """
    system = catalogue.system("iron-thiocyanate")
    mixture = Mixture({"Fe^3+": 1e-3, "SCN^-": 1e-3}, reactions=[system.reactions[0]], volume=0.010)
    outcome = disturb(mixture, Stress.dilute(0.010))
    assert outcome.before["FeSCN^2+"] == pytest.approx(1.101e-4, rel=0.001)
    assert outcome.after["FeSCN^2+"] == pytest.approx(3.06e-5, rel=0.002)
    assert outcome.after["FeSCN^2+"] / outcome.before["FeSCN^2+"] == pytest.approx(0.28, abs=0.005)


def test_hydrolysis_of_iron_at_zero_ionic_strength():
    """FeOH2+/Fe3+ is 10^(pH - 2.19): 0.065 at pH 1 and 0.65 at pH 2 (Baes and Mesmer, from memory)."""
    reaction = catalogue.system("iron-thiocyanate").constants["hydrolysis"].values["baes-mesmer"]
    assert pytest.approx(0.065, abs=0.001) == reaction.K / 10**-1.0
    assert pytest.approx(0.65, abs=0.01) == reaction.K / 10**-2.0


def test_the_plunger_pulls_the_right_share_of_gas():
    """By hand: of 0.030 M CO2, 5 mL water and 45 mL gas, 1 / (1 + 9 / (0.034 x 24.79)) = 8.6 % stays
    dissolved.
    """
    outcome = catalogue.outcome_of(catalogue.system("carbonic-acid"), "plunger")
    assert outcome.after["CO2"] / 0.030 == pytest.approx(0.086, rel=0.02)


@pytest.mark.parametrize("name", catalogue.systems())
def test_what_is_listed_as_a_stress_holds_for_the_recipe_as_mixed(name):
    """A person tries ``disturb(system.mixture(), stress)``; follow-ups are kept apart."""
    system = catalogue.system(name)
    assert set(system.stresses) | set(system.follow_ups) == set(system.steps)
    assert system.stresses
    for stress in system.stresses.values():
        assert disturb(system.mixture(), stress.stress).direction == stress.direction
