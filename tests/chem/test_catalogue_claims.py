"""What the catalogue says happens does happen: every stress of every system, in the engine and to the eye."""

import math

import pytest

from eqlib.chem import catalogue
from eqlib.chem.catalogue.one_system import NOTICED
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
    from eqlib.lab.look import compare_disturbance, why_not_ask

    system, stress, outcome = claim
    look = compare_disturbance(outcome, path_cm=system.recipe.path_cm)
    seen = "other colour" if why_not_ask(look) else look.lightness
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
    for chosen in [at_zero_ionic_strength(system), *others]:
        for key, stress in system.steps.items():
            assert disturb(before(system, key, chosen), stress.stress).direction == stress.direction, chosen


def at_zero_ionic_strength(system):
    """The first value listed for I = 0 of every constant that has one."""
    listed = {key: [v.key for v in c.values.values() if v.medium == 0] for key, c in system.constants.items()}
    return {key: values[0] for key, values in listed.items() if values}


def before(system, key, chosen):
    earlier = system.steps[key].after
    if earlier is None:
        return system.mixture(constants=chosen)
    return disturb(before(system, earlier, chosen), system.steps[earlier].stress).mixture


# -- numbers worked out apart from the engine --------------------


def test_compressed_nitrogen_dioxide_ends_half_way_back():
    """Halving the volume at 25 degrees C: NO2 from the side x2 at once, then x1.48; along the barrel x0.74.

    By hand, K 6.9 per bar, 0.52 mmol in 20 mL: p + 13.8 p^2 = 0.0260 x 24.79 = 0.6445 gives p 0.1829 bar,
    in all 0.414; p + 13.8 p^2 = 1.289 gives 0.2715.
    """
    outcome = catalogue.outcome_of(catalogue.system("nitrogen-dioxide"), "compress")
    before, once, after = (s["NO2(g)"] for s in (outcome.before, outcome.at_once, outcome.after))
    assert outcome.before.total_pressure == pytest.approx(0.414, rel=0.005)
    assert once / before == pytest.approx(2.0)
    assert after / before == pytest.approx(0.2715 / 0.1829, rel=0.005)
    assert after / before / 2 == pytest.approx(0.742, abs=0.005)


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
    """By hand: of 0.10 M CO2, 5 mL water and 45 mL gas, 1 / (1 + 9 / (0.034 x 24.79)) = 8.6 % stays
    dissolved.
    """
    outcome = catalogue.outcome_of(catalogue.system("carbonic-acid"), "plunger")
    assert outcome.after["CO2"] / 0.100 == pytest.approx(0.086, rel=0.02)


@pytest.mark.parametrize("name", catalogue.systems())
def test_what_is_listed_as_a_stress_holds_for_the_recipe_as_mixed(name):
    """A person tries ``disturb(system.mixture(), stress)``; follow-ups are kept apart."""
    system = catalogue.system(name)
    assert system.stresses
    for stress in system.stresses.values():
        assert disturb(system.mixture(), stress.stress).direction == stress.direction


# -- values and recipes, against the literature and the bench --------------------


def test_the_ionic_strength_of_the_red_well_and_the_k_to_expect_there():
    """By hand: 1/2 (0.050 H+ + 0.0575 NO3- + 9 x 0.0025 Fe3+ + 0.001 K+ + 0.001 SCN-) = 0.066 mol/L. De
    Berg 2017 (abstract): log K0 2.85 +/- 0.08, interaction -0.29; change of squared charges 4 - 9 - 1 = -6.
    """
    system = catalogue.system("iron-thiocyanate")
    strength = system.mixture().as_mixed().ionic_strength
    assert strength == pytest.approx(0.066, abs=0.0005)
    debye = 0.509 * strength**0.5 / (1 + 1.5 * strength**0.5)
    log_k = 2.85 - 6 * debye + 0.29 * strength
    listed = system.constants["complex"].values["class-well"]
    assert pytest.approx(10**log_k, rel=0.05) == listed.K
    assert listed.medium == pytest.approx(strength, abs=0.005)
    assert system.constants["complex"].default.medium == 0.5
    assert "0.07" in system.recipe.note
    assert "200" in system.recipe.note


def test_oxychloride_from_free_energies():
    """NBS tables (from memory): -322.1 - (82.8 - 131.2 - 237.1) = -36.6 kJ/mol; exp(36600 / (8.314 x
    298.15)).
    """
    choice = catalogue.system("bismuth-chloride").constants["oxychloride"]
    assert pytest.approx(math.exp(36600 / (8.3145 * 298.15)), rel=0.05) == choice.default.K


def test_the_bismuth_stock_is_clear_and_weaker_acid_would_not_do():
    """Bench recipes dissolve 0.1 to 0.17 mol/L of bismuth salt in about 2 mol/L hydrochloric acid (from
    memory); in 0.5 mol/L it stays cloudy.
    """
    system = catalogue.system("bismuth-chloride")
    assert system.mixture().equilibrate().solids["BiOCl(s)"] == 0
    weak = system.mixture({"H^+": 0.5, "Cl^-": 0.5}).equilibrate()
    assert weak.solids["BiOCl(s)"] > 0.05


def test_a_published_demonstration_of_bismuth_and_water():
    """University of Washington lecture demonstration (seen): 25 mL of 0.1 M BiCl3 in acid and 150 mL of
    water: white; 15 mL of concentrated hydrochloric acid: clear.
    """
    reactions = list(catalogue.system("bismuth-chloride").reactions)
    acid = 2.0  # of the stock, which the sheet does not state
    stock = Mixture({"Bi^3+": 0.1, "Cl^-": 0.3 + acid, "H^+": acid}, reactions=reactions, volume=0.025)
    cloudy = disturb(stock, Stress.dilute(0.150))
    assert cloudy.after.solids["BiOCl(s)"] > 0.005
    clear = disturb(cloudy.mixture, Stress.add_solution({"HCl": 12.0}, volume=0.015))
    assert clear.after.solids["BiOCl(s)"] == 0


def test_soda_from_deionised_water_shows_nothing():
    """Methyl red turns near pH 5: without hydrogencarbonate the plunger leaves the soda red (over 80 % acid
    form).
    """
    system = catalogue.system("carbonic-acid")
    bare = system.mixture({"HCO3^-": 0.0, "Na^+": 2.0e-5})
    stress = system.steps["plunger"].stress
    assert disturb(bare, stress).after["C15H15N3O2"] / 2.0e-5 > 0.8
    assert catalogue.outcome_of(system, "plunger").after["C15H15N3O2"] / 2.0e-5 < 0.35


@pytest.mark.parametrize("key", catalogue.system("nitrogen-dioxide").steps)
def test_the_gas_stays_a_gas(key):
    """Dinitrogen tetroxide: 0.348 bar over the liquid at 0 degrees C, 1.013 bar at 21.15 (CRC Handbook,
    from memory); between and beyond by a straight line of ln p against 1 / T.
    """
    after = catalogue.outcome_of(catalogue.system("nitrogen-dioxide"), key).after
    slope = math.log(1.013 / 0.348) / (1 / 273.15 - 1 / 294.30)
    over_liquid = 0.348 * math.exp(slope * (1 / 273.15 - 1 / after.T))
    assert after.pressures["NO2(g)"] + after.pressures["N2O4(g)"] < over_liquid
