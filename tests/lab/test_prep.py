"""The prep sheet: masses, dilutions, totals, labels and cautions.

Masses per 250 mL of 0.100 mol/L are those every prep room knows; they follow from molar masses (IUPAC 2021
standard atomic weights) times 0.0250 mol, worked out here by hand.
"""

import re

import pytest

import eqlib as eq
from eqlib.chem import catalogue
from eqlib.chem.catalogue.ghs import CHECK_SDS
from eqlib.errors import EqlibError
from eqlib.lab import prep
from eqlib.lab.cautions import cautions_for


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


def test_a_trace_of_dye_is_weighed_into_a_first_solution():
    """20 micromolar methyl red, 291.3 g/mol, in 500 mL is 2.9 mg; two hundred times as strong, 100 mL take
    0.117 g, and 2.5 mL of that go into the bottle.
    """
    sheet = eq.prep_sheet("carbonic-acid")
    dye = sheet.stocks[0].weigh[0]
    assert dye.grams == pytest.approx(2.0e-5 * 0.5 * 291.3, rel=0.001)
    assert dye.via.amount == pytest.approx(0.117, abs=0.001)
    assert dye.via.made_up == pytest.approx(0.1)
    assert dye.via.take == pytest.approx(0.0025)
    assert "weigh 0.117 g methyl red" in sheet.to_text()
    assert "2.91 mg" not in sheet.to_text()


def test_a_stronger_stock_is_diluted_where_the_mass_is_too_small():
    """250 mL of 2.0 mM thiocyanate would be 49 mg: 5.0 mL of the 0.10 M stock, of which so much more is
    made.
    """
    stocks = {s.key: s for s in eq.prep_sheet("iron-thiocyanate").stocks}
    weak, strong = stocks["thiocyanate"].weigh[0], stocks["thiocyanate-strong"]
    assert weak.via.stock == "thiocyanate-strong"
    assert weak.via.take == pytest.approx(0.0050)
    assert strong.needed == pytest.approx(0.026 + 0.0050)


def test_a_stronger_stock_may_be_diluted():
    """The acid of the bismuth stock may come from the 6.0 mol/L bottle."""
    stock = next(s for s in eq.prep_sheet("bismuth-chloride").stocks if s.key == "bismuth")
    # 50 mL at 2.0 mol/L from 6.0 mol/L: 16.7 mL.
    assert any("16.7 mL of 6.0 M hydrochloric acid" in note for note in stock.notes)


@pytest.mark.parametrize("name", catalogue.systems())
@pytest.mark.parametrize("groups", [1, 3, 10, 40])
def test_nothing_is_weighed_or_measured_that_is_too_little(name, groups):
    """A balance that shows 0.01 g weighs from 0.1 g on; a pipette takes from 0.5 mL on."""
    for stock in eq.prep_sheet(name, groups=groups).stocks:
        for item in stock.weigh:
            assert (
                item.via.amount if item.via and not item.via.stock else item.grams
            ) >= 0.1 or item.via.stock
        for item in stock.measure:
            assert (
                item.via.amount if item.via and not item.via.stock else item.litres
            ) >= 0.0005 or item.via.stock
        for item in (*stock.weigh, *stock.measure):
            assert item.via is None or item.via.take >= 0.0005


@pytest.mark.parametrize("name", catalogue.systems())
def test_every_sheet_carries_its_cautions(name):
    system = catalogue.system(name)
    sheet = eq.prep_sheet(system, groups=3)
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


@pytest.mark.parametrize(
    ("name", "stock", "codes"),
    [
        # What suppliers print on bottles of these strengths (from memory), and by hand from the limits of the
        # CLP regulation: nitric acid 5 % is 0.8 mol/L, sodium hydroxide 2 % is 0.5, hydrochloric acid 10
        # and 25 % are 2.9 and 7.9 mol/L, ammonia counts as corrosive (5, 3 and 1 %).
        ("iron-thiocyanate", "alkali", {"H290", "H314"}),
        ("iron-thiocyanate", "iron", {"H290"}),
        ("iron-thiocyanate", "silver", {"H290", "H315", "H319", "H410"}),
        ("iron-thiocyanate", "oxalate", {"H319"}),
        ("iron-thiocyanate", "phosphate", set()),
        ("iron-thiocyanate", "thiocyanate", set()),
        ("iron-thiocyanate", "thiocyanate-strong", {"EUH032"}),
        ("bromothymol-blue", "alkali", {"H290"}),
        ("bromothymol-blue", "acid", {"H290"}),
        ("ammonia-indicator", "acid", {"H290"}),
        ("ammonia-indicator", "ammonia-2M", {"H315", "H318"}),
        ("ammonia-indicator", "ammonia-dilute", set()),
        ("ammonia-indicator", "ammonium", {"H319"}),
        ("bismuth-chloride", "hydrochloric", {"H290", "H315", "H319", "H335"}),
        ("copper-chloride", "strong-hydrochloric", {"H290", "H314", "H335"}),
        ("copper-chloride", "brine", set()),
        ("copper-ammonia", "nitric-2M", {"H290", "H314"}),
        # 9.5 % of cobalt dichloride: carcinogen from 0.01, mutagen and sensitiser from 1, harm to
        # reproduction from 0.3, water life with M = 10 from 2.5 %; swallowed only from 25 %.
        ("cobalt-chloride", "cobalt", {"H317", "H334", "H341", "H350i", "H360F", "H410"}),
    ],
)
def test_a_label_says_what_is_in_the_bottle(name, stock, codes):
    label = next(s.label for s in eq.prep_sheet(name).stocks if s.key == stock)
    assert set(label.codes) == codes


def test_a_label_has_its_signal_word_and_pictograms():
    labels = {s.key: s.label for s in eq.prep_sheet("iron-thiocyanate").stocks}
    assert labels["alkali"].signal == "Danger"
    assert labels["silver"].signal == "Warning"
    assert labels["thiocyanate"].signal == ""
    assert set(labels["silver"].pictograms) == {"corrosion", "exclamation mark", "environment"}
    assert labels["phosphate"].pictograms == ()


@pytest.mark.parametrize("name", catalogue.systems())
def test_a_code_about_acid_beside_acid_is_explained(name):
    """EUH032 on a bottle, acid in another: the sheet says why the well gives off nothing."""
    system = catalogue.system(name)
    sheet = eq.prep_sheet(name)
    acid = any(stock.species.get("H^+", 0) > 0 for stock in system.stocks.values())
    for stock in sheet.stocks:
        if acid and "EUH032" in stock.label.codes:
            assert "no gas" in stock.label.safe_here
            assert stock.label.safe_here in sheet.to_text()


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


def test_the_trace_of_alkali_in_the_dye_can_be_measured():
    """50 mL at 0.21 mM is 0.42 mg of sodium hydroxide, and 0.105 mL of the 0.10 M stock: neither can be
    measured. Fifty times as strong, 250 mL take 0.105 g, and 1.0 mL of that goes into the dye.
    """
    dye = next(s for s in eq.prep_sheet("bromothymol-blue").stocks if s.key == "dye")
    alkali = next(item for item in dye.weigh if item.reagent == "sodium-hydroxide")
    assert alkali.via.amount == pytest.approx(0.105, abs=0.001)
    assert alkali.via.made_up == pytest.approx(0.25)
    assert alkali.via.take == pytest.approx(0.001)


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


@pytest.mark.parametrize("name", catalogue.systems())
def test_a_sheet_starts_with_what_to_take_care_of(name):
    """Before any mass comes the gravest caution of the system (explosive silver, scalds ...)."""
    lines = eq.prep_sheet(name).to_text().splitlines()
    first = next(i for i, line in enumerate(lines) if line == "Take care first of all")
    assert first < next(i for i, line in enumerate(lines) if line in ("Stocks", "Not for the bench"))
    assert lines[first + 2] == cautions_for(name)[0].words


@pytest.mark.parametrize("name", catalogue.systems())
def test_the_page_draws_what_is_shown_on_the_bench(name):
    """One drawing a stress, before and after, told in words to whoever does not see it; nothing comes from
    outside the page.
    """
    system, page = eq.system(name), eq.prep_sheet(name).to_html()
    shown = [stress for stress in system.steps.values() if stress.on_bench] if not system.data_only else []
    said = re.findall(r'<img alt="before: ([^"]+); after: ([^"]+)" src="data:image/svg\+xml;base64,', page)
    assert len(said) == len(shown) == page.count("<img")
    assert not re.search(r"""(?:src|href)=["'](?!data:)|@import|url\(|<script""", page)
    for stress, (_, after) in zip(shown, said, strict=True):
        if "a white cloud comes" in stress.seen_words:
            assert "white solid" in after, (stress.title, after)
    assert "Take care first of all" in page
    assert "supplier" in page
