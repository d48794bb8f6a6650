"""The cautions a student sees: what is in the vessel, the gravest first. What is grave is a fact of the trade
(GHS statements and common school practice, from memory), written here by hand.
"""

import pytest

import eqlib as eq
from eqlib.chem.catalogue.ghs import CHECK_SDS, STATEMENTS
from eqlib.chem.mixture import Mixture
from eqlib.lab.cautions import MOST_DANGERS, cautions_for, statements

NAMES = eq.systems()

# system: words that its gravest caution must hold, and its place on the page is the first
GRAVEST = {
    "ammonia-indicator": ["ammonia", "eyes", "fume cupboard"],
    "bismuth-chloride": ["hydrochloric acid", "fume cupboard"],
    "bromothymol-blue": ["eye protection"],
    "carbonic-acid": ["plunger", "spray"],
    "chromate-dichromate": ["cancer", "recorded"],
    "cobalt-chloride": ["cancer", "closed tubes", "trained staff"],
    "copper-ammonia": ["acid", "burns"],
    "copper-chloride": ["hydrochloric acid", "fume cupboard", "trained staff"],
    "iron-thiocyanate": ["sodium hydroxide", "eyes", "gloves"],
    "iron-thiocyanate-fluoride": ["hydrogen fluoride", "recorded"],
    "iron-thiocyanate-hydroxide": ["acid", "burns"],
    "iron-thiocyanate-oxalate": ["poisonous gas", "staff", "ventilation"],
    "iron-thiocyanate-phosphate": ["thiocyanate", "bleach"],
    "iron-thiocyanate-silver": ["silver", "stain", "gloves"],
    "iron-thiocyanate-temperature": ["60 °C", "scalds"],
    "nitrogen-dioxide": ["poisonous", "sealed tube", "fume cupboard", "trained staff"],
    "silver-chloride-ammonia": ["never keep silver in ammonia", "explodes", "silver bottle"],
}


def words_of(cautions):
    return [caution.words.lower() for caution in cautions]


@pytest.mark.parametrize("name", NAMES)
def test_a_system_leads_with_its_gravest(name):
    first = words_of(cautions_for(name))[0]
    for word in GRAVEST[name]:
        assert word.lower() in first


@pytest.mark.parametrize("name", NAMES)
def test_every_stress_shows_a_few_cautions_gravest_first(name):
    system = eq.system(name)
    for key, step in system.steps.items():
        shown = cautions_for(system, system.before(key), step.stress)
        assert 2 <= len(shown) <= MOST_DANGERS + 3, key
        gravities = [caution.gravity for caution in shown]
        assert gravities == sorted(gravities)
        assert shown[-1].words == CHECK_SDS
        assert not any(code in caution.words for caution in shown for code in STATEMENTS)


def test_silver_and_ammonia_in_one_well():
    system = eq.system("silver-chloride-ammonia")
    shown = cautions_for(system, system.before("ammonia"), system.steps["ammonia"].stress)
    assert shown[0].key == "ammoniacal-silver"
    assert shown[0].gravity == 1
    assert "silver bottle, acidified the same day" in shown[-2].words
    alone = cautions_for(system, system.mixture(), system.steps["chloride"].stress)
    assert "ammoniacal-silver" not in {caution.key for caution in alone}


@pytest.mark.parametrize("silver", ["AgNO3", "Ag^+", "Ag(NH3)2^+"])
def test_ammoniacal_silver_is_found_without_a_system(silver):
    """A question of one's own: substances typed in, no catalogue system named."""
    mixture = Mixture({silver: 0.01, "NH3": 0.5}, reactions=[], volume=0.002)
    shown = cautions_for((), mixture, None)
    assert shown[0].key == "ammoniacal-silver"


def test_what_is_not_in_the_vessel_is_not_said():
    system = eq.system("iron-thiocyanate")
    shown = " ".join(words_of(cautions_for(system, system.mixture(), system.steps["water"].stress)))
    for absent in ("silver", "oxalate", "sodium hydroxide", "15.8", "concentrated nitric"):
        assert absent not in shown
    with_silver = " ".join(words_of(cautions_for(system, system.mixture(), system.steps["silver"].stress)))
    assert "silver bottle" in with_silver
    assert "gloves" in with_silver


def test_a_hot_bath_scalds_and_an_ice_bath_does_not():
    system = eq.system("iron-thiocyanate-temperature")
    hot = cautions_for(system, system.mixture(), eq.Stress.heat_to(333.15))
    cold = cautions_for(system, system.mixture(), eq.Stress.heat_to(274.15))
    assert hot[0].key == "hot-bath"
    assert "hot-bath" not in {caution.key for caution in cold}


@pytest.mark.parametrize(
    ("bottle", "key"),
    [
        # CLP annex VI: nitric acid 5 % is 0.8 mol/L, sodium hydroxide 2 % is 0.5 mol/L (from memory).
        ({"HNO3": 1.0}, "strong-acid"),
        ({"HNO3": 0.5}, "irritating-acid"),
        ({"HCl": 1.0}, None),
        ({"HCl": 12.0}, "fuming-acid"),
        ({"NaOH": 1.0}, "strong-alkali"),
        ({"NaOH": 0.2}, "irritating-alkali"),
        ({"NaOH": 0.1}, None),
        ({"NH3": 2.0}, "ammonia"),
        ({"NH3": 0.02}, None),
    ],
)
def test_strength_decides(bottle, key):
    mixture = Mixture({"K^+": 0.001, "NO3^-": 0.001}, reactions=[], volume=0.002)
    found = {c.key for c in cautions_for("bromothymol-blue", mixture, eq.Stress.add_solution(bottle, 0.0001))}
    strong = {
        "fuming-acid",
        "strong-acid",
        "irritating-acid",
        "strong-alkali",
        "irritating-alkali",
        "ammonia",
    }
    assert found & strong == ({key} if key else set())


def test_thiocyanate_beside_acid_says_why_it_is_safe():
    """EUH032 is about concentrated acid; the well's own 0.05 mol/L is another thing, and the page says so."""
    shown = cautions_for("iron-thiocyanate", None, eq.Stress.dilute(0.001))
    (line,) = [caution.words for caution in shown if caution.key == "thiocyanate"]
    assert "far too weak" in line
    assert "bleach" in line


def test_nothing_known_is_nothing_said():
    assert cautions_for((), None, None) == ()


@pytest.mark.parametrize("name", NAMES)
def test_the_full_table_has_every_bottle(name):
    hazards = eq.system(name).hazards
    assert len({hazard.reagent for hazard in hazards}) == len(hazards)
    for hazard in hazards:
        for code, words in zip(hazard.codes, statements(hazard.codes), strict=True):
            assert words.startswith(f"{code} ")
        assert hazard.source


def test_nobody_is_told_to_stand_a_vessel_of_400_degrees_in_hot_water():
    ammonia = eq.Reaction("N2(g) + 3 H2(g) <=> 2 NH3(g)", K=0.5, T=673.15)
    works = Mixture({"N2(g)": 0.3, "H2(g)": 0.7}, reactions=[ammonia], volume=1.0, T=673.15)
    (hot, *_) = words_of(cautions_for((), works, None))
    assert "400 °c" in hot
    assert "burst" in hot
    assert not any("tongs" in words or "scalds" in words for words in words_of(cautions_for((), works, None)))


def test_nobody_is_told_to_hold_the_piston_of_a_vessel_of_450_degrees():
    hydrogen_iodide = eq.Reaction("H2(g) + I2(g) <=> 2 HI(g)", K=50)
    hot = Mixture({"H2(g)": 0.01, "I2(g)": 0.01}, reactions=[hydrogen_iodide], volume=1.0, T=723.15)
    said = words_of(cautions_for((), hot, eq.Stress.change_volume(0.5)))
    assert any("450 °c" in words for words in said)
    assert not any("plunger" in words for words in said)


# Vessels of other people's questions: what is gravest in them (GHS classes and school practice, from memory).
VESSELS = [
    ("Pb^2+ + 2 I^- <=> PbI2(s)", {"Pb^2+": 0.01, "I^-": 0.02}, "unborn child"),
    ("HgI4^2- <=> Hg^2+ + 4 I^-", {"HgI4^2-": 0.01}, "mercury"),
    ("Ni^2+ + 6 NH3 <=> Ni(NH3)6^2+", {"Ni^2+": 0.01, "NH3": 0.2}, "cancer"),
    ("PCl5(g) <=> PCl3(g) + Cl2(g)", {"PCl5(g)": 0.01}, "chlorine is very poisonous"),
    ("H2S <=> 2 H^+ + S^2-", {"H2S": 0.1}, "nose soon stops"),
    ("CO(g) + H2O(g) <=> CO2(g) + H2(g)", {"CO2(g)": 0.1, "H2(g)": 0.1}, "carbon monoxide"),
    ("Ag^+ + 2 CN^- <=> Ag(CN)2^-", {"Ag^+": 0.01, "CN^-": 0.03}, "nobody mixes"),
    ("I2(aq) + I^- <=> I3^-", {"I2": 0.001, "I^-": 0.1}, "iodine"),
    ("HF <=> H^+ + F^-", {"HF": 0.1}, "hydrogen fluoride"),
    ("2 SO2(g) + O2(g) <=> 2 SO3(g)", {"SO3(g)": 0.1}, "fume cupboard"),
    ("CH3COOH + C2H5OH <=> CH3COOC2H5 + H2O(aq)", {"CH3COOH": 3.0, "C2H5OH": 3.0}, "no flame"),
]


@pytest.mark.parametrize(("equation", "totals", "word"), VESSELS)
def test_a_vessel_of_no_system_leads_with_its_gravest_too(equation, totals, word):
    shown = cautions_for((), Mixture(totals, eq.Reaction(equation, K=1.0), T=298.15))
    assert word in shown[0].words.lower()
    assert shown[-1].words == CHECK_SDS


def test_thiocyanate_is_no_cyanide_and_chloride_no_chlorine():
    shown = cautions_for((), Mixture({"SCN^-": 0.001, "Cl^-": 0.1}, T=298.15))
    assert [c.key for c in shown] == ["thiocyanate", "wear", "waste", "check"]


def test_the_gas_that_burns_is_named_and_a_trace_of_silver_is_no_silver_solution():
    """A saturated solution of AgCl holds about 1e-5 mol/L of silver (Ksp 1.8e-10, from memory)."""
    shift = eq.Reaction("CO(g) + H2O(g) <=> CO2(g) + H2(g)", K=12)
    gas = cautions_for((), Mixture({"CO(g)": 0.04, "H2O(g)": 0.04}, reactions=[shift]))
    assert any(str(one).startswith("Hydrogen burns") for one in gas)
    for silver, said in ((1.3e-5, False), (8.4e-5, False), (0.02, True)):
        found = cautions_for((), Mixture({"Ag^+": silver, "NO3^-": silver}))
        assert ("silver" in {one.key for one in found}) is said
