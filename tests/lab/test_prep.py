"""The prep sheet: masses, dilutions, totals, labels and cautions.

Masses per 250 mL of 0.100 mol/L are those every prep room knows; they follow from molar masses (IUPAC 2021
standard atomic weights) times 0.0250 mol, worked out here by hand.
"""

import pytest

import eqlib as eq
from eqlib.chem import catalogue
from eqlib.chem.catalogue.ghs import CHECK_SDS
from eqlib.errors import EqlibError
from eqlib.lab import prep


@pytest.mark.parametrize(
    ("formula", "grams"),
    [
        ("Fe(NO3)3.9H2O", 10.1),  # 404.0
        ("Fe(NO3)3", 6.05),  # 241.9
        ("KSCN", 2.43),  # 97.18
        ("AgNO3", 4.25),  # 169.9
        ("Na2HPO4", 3.55),  # 142.0
        ("Na2HPO4.7H2O", 6.70),  # 268.1
        ("Na2HPO4.12H2O", 8.95),  # 358.1
        ("NaF", 1.05),  # 41.99
        ("Na2C2O4", 3.35),  # 134.0
    ],
)
def test_grams_for_250_ml_of_a_tenth_molar(formula, grams):
    assert prep.mass_for(formula, 0.100, 0.250) == pytest.approx(grams, abs=0.006 if grams < 10 else 0.06)


def test_the_dry_mass_of_iron_nitrate_gives_sixty_per_cent():
    dry = prep.mass_for("Fe(NO3)3", 0.1, 0.25)
    right = prep.mass_for("Fe(NO3)3.9H2O", 0.1, 0.25)
    assert dry / right == pytest.approx(0.599, abs=0.001)
    stock = next(s for s in eq.prep_sheet("iron-thiocyanate").stocks if s.key == "iron")
    assert stock.weigh[0].dry_trap[0] == "Fe(NO3)3"
    assert stock.weigh[0].dry_trap[2] == pytest.approx(0.599, abs=0.001)
    assert "60%" in eq.prep_sheet("iron-thiocyanate").to_text()


def test_dilution_of_a_concentrate():
    # 250 mL of 0.10 mol/L from 15.8 mol/L: 0.025 mol / 15.8 = 1.582 mL.
    assert prep.concentrate_for(0.10, 0.250, 15.8) == pytest.approx(0.001582, rel=1e-3)
    assert prep.concentrate_for(12, 0.1, 12) == pytest.approx(0.1)
    with pytest.raises(EqlibError, match="stronger bottle"):
        prep.concentrate_for(16, 0.1, 12)


@pytest.mark.parametrize(
    ("litres", "flask"),
    [
        (0.0004, 0.010),
        (0.010, 0.010),
        (0.0101, 0.025),
        (0.130, 0.250),
        (0.6, 1),
        (2.0, 2),
        (2.01, 3),
        (4.2, 5),
    ],
)
def test_the_next_flask(litres, flask):
    assert prep.flask_for(litres) == pytest.approx(flask)


def test_volumes_of_one_group_by_hand():
    """Copper: one chain of three stresses, so 1 + 2 wells of 0.25 mL copper; 0.025 + 1.0 mL ammonia; 1.2
    mL acid.
    """
    litres, wells = prep.volumes_per_group(catalogue.system("copper-ammonia"))
    assert wells == 3
    assert litres == pytest.approx({"copper": 0.00075, "ammonia-2M": 0.001025, "nitric-2M": 0.0012})


def test_totals_of_the_class_by_hand():
    """Iron: 8 stresses and 2 controls, 1.0 mL a well, 10 mL a group; 10 groups x 1.2 and one
    demonstration: 130 mL.
    """
    sheet = eq.prep_sheet("iron-thiocyanate", groups=10, reserve=0.2)
    stock = next(s for s in sheet.stocks if s.key == "iron")
    assert stock.per_group == pytest.approx(0.010)
    assert stock.needed == pytest.approx(0.130)
    assert stock.make == pytest.approx(0.250)
    assert stock.weigh[0].grams == pytest.approx(0.0050 * 0.250 * 404.0, rel=1e-3)
    assert stock.measure[0].litres == pytest.approx(0.10 * 0.250 / 15.8)


def test_a_dropper_bottle_holds_at_least_two_millilitres():
    """0.10 mL of strong iron is used; 2 mL x (12 + 1) = 26 mL are needed, so 50 mL are made: 2.02 g."""
    stock = next(s for s in eq.prep_sheet("iron-thiocyanate").stocks if s.key == "iron-strong")
    assert stock.needed == pytest.approx(0.026)
    assert stock.make == pytest.approx(0.050)
    assert stock.weigh[0].grams == pytest.approx(0.10 * 0.050 * 404.0, rel=1e-3)


def test_other_hydrates_are_offered():
    stock = next(s for s in eq.prep_sheet("iron-thiocyanate-phosphate").stocks if s.key == "phosphate")
    forms = dict(stock.weigh[0].others)
    assert set(forms) == {"Na2HPO4.7H2O", "Na2HPO4.12H2O"}
    assert forms["Na2HPO4.12H2O"] / stock.weigh[0].grams == pytest.approx(358.14 / 141.96, rel=1e-3)


def test_a_trace_of_dye_is_not_weighed_directly():
    text = eq.prep_sheet("ammonia-indicator").to_text()
    assert "too little to weigh well" in text
    # 40 micromolar in 100 mL: 4.0e-6 mol x 318.3 g/mol = 1.27 mg.
    stock = eq.prep_sheet("ammonia-indicator").stocks[0]
    assert stock.weigh[0].grams == pytest.approx(1.27e-3, rel=0.01)


def test_a_stronger_stock_may_be_diluted():
    stock = next(s for s in eq.prep_sheet("iron-thiocyanate").stocks if s.key == "thiocyanate")
    # 250 mL of 2.0 mM from 0.10 M: 5.0 mL.
    assert any("5 mL of 0.10 M potassium thiocyanate" in note for note in stock.notes)


def test_strength_on_the_label_counts():
    weak = eq.prep_sheet("copper-ammonia", strengths={"ammonia": 6.0})
    ammonia = next(s for s in weak.stocks if s.key == "ammonia-2M")
    assert ammonia.measure[0].litres == pytest.approx(ammonia.make / 3)
    with pytest.raises(EqlibError, match="no concentrate 'amonia'"):
        eq.prep_sheet("copper-ammonia", strengths={"amonia": 6.0})
    with pytest.raises(EqlibError, match="stronger bottle"):
        eq.prep_sheet("copper-ammonia", strengths={"ammonia": 1.0})


@pytest.mark.parametrize("name", catalogue.systems())
def test_every_sheet_carries_its_cautions(name):
    system = catalogue.system(name)
    sheet = eq.prep_sheet(system, groups=3, made_on="2025-01-31")
    for text in (sheet.to_text(), sheet.to_markdown()):
        assert system.title in text
        assert CHECK_SDS in text
        for words in (*system.ppe, *system.waste, *system.spill, *system.pitfalls):
            assert words in text
        for hazard in system.hazards:
            assert hazard.reagent in text
            assert all(code in text for code in hazard.codes)
    for stock in sheet.stocks:
        assert stock.make >= stock.needed - 1e-12
        assert stock.weigh or stock.measure
        assert stock.label.name == stock.name
        assert stock.label.made_on == "2025-01-31"
        assert "2025-01-31" in sheet.to_text()
        codes = {
            c
            for made in system.stocks[stock.key].made_from
            for c in system.reagents[made.reagent].hazard.codes
        }
        assert set(stock.label.codes) == codes


@pytest.mark.parametrize("name", ["iron-thiocyanate-fluoride", "chromate-dichromate"])
def test_what_is_kept_off_the_bench_has_no_recipe(name):
    sheet = eq.prep_sheet(name)
    assert sheet.stocks == ()
    text = sheet.to_text()
    assert "Not for the bench" in text
    assert "recorded data or images only" in text
    assert "weigh" not in text


def test_cobalt_is_for_the_front_bench_only():
    sheet = eq.prep_sheet("cobalt-chloride", groups=10, reserve=0.2)
    assert (sheet.groups, sheet.demonstrations) == (0, 1)
    cobalt = next(s for s in sheet.stocks if s.key == "cobalt")
    # Six tubes of 1.0 mL, one set, a fifth more: 7.2 mL.
    assert cobalt.needed == pytest.approx(0.0072)
    assert "the class watches" in sheet.to_text()


def test_alkali_in_the_dye_comes_from_the_alkali_stock():
    dye = next(s for s in eq.prep_sheet("bromothymol-blue").stocks if s.key == "dye")
    # 50 mL at 0.21 mM from 0.10 M: 0.105 mL.
    assert any("in place of the sodium hydroxide: 0.105 mL of 0.10 M" in note for note in dye.notes)


def test_a_sealed_gas_needs_no_stock():
    sheet = eq.prep_sheet("nitrogen-dioxide")
    assert sheet.stocks == ()
    assert "No stock to make" in sheet.to_text()
    assert "H330" in sheet.to_text()


def test_labels_leave_a_line_for_the_date():
    assert "made on ____-__-__" in eq.prep_sheet("iron-thiocyanate").to_text()


def test_a_dry_salt_is_on_the_sheet_too():
    assert "potassium nitrate" in eq.prep_sheet("iron-thiocyanate").to_text()


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ({"groups": 0}, "groups is 0"),
        ({"groups": 2.5}, "groups is 2.5"),
        ({"groups": "ten"}, "groups is 'ten'"),
        ({"reserve": -0.1}, "reserve is -0.1"),
        ({"reserve": float("nan")}, "reserve is nan"),
        ({"demonstrations": -1}, "demonstrations is -1"),
        ({"strengths": 14.8}, "strengths is written like"),
    ],
)
def test_bad_requests_get_one_line(arguments, words):
    with pytest.raises(EqlibError) as caught:
        eq.prep_sheet("copper-ammonia", **arguments)
    assert words in str(caught.value)
    assert "\n" not in str(caught.value)


def test_an_unknown_system_is_named():
    with pytest.raises(EqlibError, match="did you mean 'copper-ammonia'"):
        eq.prep_sheet("copper-amonia")
