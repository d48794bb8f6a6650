"""The catalogue: what is on the shelf, what each system must say, the sharing of constants, a person's own
files.

Expected numbers stand in the books named beside them or are worked out here with pencil arithmetic.
"""

import math
import pickle
import textwrap

import pytest

from eqlib.chem import catalogue
from eqlib.chem.catalogue.ghs import CHECK_SDS, STATEMENTS
from eqlib.chem.species import species
from eqlib.errors import EqlibError

NAMES = (
    "ammonia-indicator",
    "bismuth-chloride",
    "bromothymol-blue",
    "carbonic-acid",
    "chromate-dichromate",
    "cobalt-chloride",
    "copper-ammonia",
    "copper-chloride",
    "iron-thiocyanate",
    "iron-thiocyanate-fluoride",
    "iron-thiocyanate-hydroxide",
    "iron-thiocyanate-oxalate",
    "iron-thiocyanate-phosphate",
    "iron-thiocyanate-silver",
    "iron-thiocyanate-temperature",
    "nitrogen-dioxide",
    "silver-chloride-ammonia",
)


def test_the_shelf():
    assert set(NAMES) <= set(catalogue.systems())
    assert catalogue.systems() == sorted(catalogue.systems())
    assert not any(name.startswith("_") for name in catalogue.systems())


def test_no_mercury():
    for name in NAMES:
        text = catalogue.system(name).path.read_text(encoding="utf-8")
        assert "mercury" not in text.lower()
        assert "Hg" not in text


@pytest.mark.parametrize("name", NAMES)
def test_each_system_says_what_a_bench_needs(name):
    system = catalogue.system(name)
    assert system.name == name
    for part in (
        system.title,
        system.about,
        system.ppe,
        system.waste,
        system.spill,
        system.pitfalls,
        system.sources,
    ):
        assert part
    assert system.hazards
    assert all(set(h.codes) <= set(STATEMENTS) for h in system.hazards)
    assert all(h.source and h.words.endswith(CHECK_SDS) for h in system.hazards)
    assert "supplier's safety data sheet" in CHECK_SDS
    assert "local rules" in CHECK_SDS
    assert system.recipe.steps
    assert system.recipe.vessel
    assert system.steps
    for stress in system.steps.values():
        assert stress.title
        assert stress.why
        assert stress.caution
        assert stress.reversal
        assert stress.direction in ("forward", "reverse", "none")


@pytest.mark.parametrize("name", NAMES)
def test_every_constant_has_value_conditions_and_source(name):
    for choice in catalogue.system(name).constants.values():
        assert choice.why_default
        assert choice.default in choice.values.values()
        assert choice.reaction.is_balanced
        assert choice.reaction.K == choice.default.K
        for constant in choice.values.values():
            assert constant.K > 0
            assert 273 < constant.T < 320
            assert constant.medium in ("not stated", "gas phase") or constant.medium >= 0
            assert len(constant.source) > 10
            assert isinstance(constant.from_memory, bool)
            assert not (constant.illustrative and "published" not in constant.source), constant
        if choice.heat:
            assert choice.heat.source
            assert choice.reaction.dH == choice.heat.dH


def test_only_effective_constants_are_illustrative():
    found = {
        (name, key)
        for name in NAMES
        for key, choice in catalogue.system(name).constants.items()
        if choice.default.illustrative
    }
    assert found == {("cobalt-chloride", "tetrachloride"), ("copper-chloride", "tetrachloride")}


def test_only_fluoride_and_chromate_are_kept_off_the_bench():
    off = {name: catalogue.system(name).data_only for name in NAMES if catalogue.system(name).data_only}
    words = "recorded data or images only"
    assert off == {"iron-thiocyanate-fluoride": words, "chromate-dichromate": words}
    for name in off:
        assert not any(stress.on_bench for stress in catalogue.system(name).steps.values())


# -- values, against the books --------------------


def test_the_values_of_the_thiocyanate_complex_stand_side_by_side():
    values = catalogue.system("iron-thiocyanate").constants["complex"].values
    # de Berg, Maeder and Clifford 2016 and 2017 (abstracts); OpenStax 1e appendix K; Frank and Oswalt 1947
    # (from memory).
    assert values["de-berg-2016"].K == 98
    assert values["de-berg-2016"].medium == 0.5
    assert pytest.approx(10**2.85) == values["de-berg-2017"].K
    assert values["de-berg-2017"].medium == 0
    assert values["openstax"].K == 890
    assert values["openstax"].medium == "not stated"
    assert values["frank-oswalt"].K == 139
    assert values["frank-oswalt"].from_memory


@pytest.mark.parametrize(
    ("name", "key", "value", "expected"),
    [
        # OpenStax Chemistry 2e, appendices H, I and J; 1e appendix K for the complexes.
        ("iron-thiocyanate", "silver-thiocyanate", "openstax", 1.0e-12),
        ("iron-thiocyanate", "iron-hydroxide", "openstax", 4e-38),
        ("iron-thiocyanate", "oxalic-1", "openstax", 0.060),
        ("iron-thiocyanate", "oxalic-2", "openstax", 6.1e-5),
        ("iron-thiocyanate", "phosphoric-1", "openstax", 7.5e-3),
        ("iron-thiocyanate", "phosphoric-2", "openstax", 6.2e-8),
        ("iron-thiocyanate", "phosphoric-3", "openstax", 4.2e-13),
        # Principles of General Chemistry, appendix C: pKa 3.20.
        ("iron-thiocyanate", "hydrofluoric", "averill", 6.3e-4),
        ("iron-thiocyanate", "hydrofluoric", "openstax", 3.5e-4),
        ("iron-thiocyanate", "silver-chloride", "openstax", 1.6e-10),
        ("silver-chloride-ammonia", "silver-diammine", "openstax", 1.7e7),
        ("copper-ammonia", "tetraammine", "openstax", 1.7e13),
        ("copper-ammonia", "copper-hydroxide", "openstax", 2.2e-20),
        ("ammonia-indicator", "ammonia", "openstax", 1.8e-5),
        ("carbonic-acid", "carbonic", "openstax", 4.3e-7),
        ("chromate-dichromate", "barium-chromate", "openstax", 8.5e-11),
    ],
)
def test_values_read_in_print(name, key, value, expected):
    constant = catalogue.system(name).constants[key].values[value]
    assert pytest.approx(expected, rel=1e-12) == constant.K
    assert not constant.from_memory


def test_nitrogen_dioxide_follows_from_its_enthalpy_and_entropy():
    choice = catalogue.system("nitrogen-dioxide").constants["pairing"]
    # dH -57.2 kJ/mol, dS -175.8 J/(mol K), NIST/CRC (from memory); R 8.31446 J/(mol K).
    assert (
        pytest.approx(math.exp((57200 - 298.15 * 175.8) / (8.31446 * 298.15)), rel=0.01) == choice.default.K
    )
    # OpenStax 2e section 13.2, Kc 1.6e2, over RT in L bar/mol.
    assert pytest.approx(160 / (0.0831446 * 298.15), rel=0.01) == choice.values["openstax"].K


def test_chromate_steps_add_up():
    constants = catalogue.system("chromate-dichromate").constants
    # 2 HCrO4- <=> Cr2O7 2- + H2O has K 33 to 36 (Baes and Mesmer, from memory).
    pairing = constants["dichromate"].default.K * constants["hydrogenchromate"].default.K ** 2
    assert 33 <= pairing <= 36


# -- recipes --------------------


def test_the_recipe_of_the_red_well():
    mixture = catalogue.system("iron-thiocyanate").mixture()
    # 1.0 mL of 5.0 mM iron in 0.10 M acid and 1.0 mL of 2.0 mM thiocyanate.
    assert mixture.volume == pytest.approx(0.0020)
    assert mixture.totals["Fe^3+"] == pytest.approx(0.0025)
    assert mixture.totals["SCN^-"] == pytest.approx(0.0010)
    assert mixture.totals["H^+"] == pytest.approx(0.050)
    assert mixture.reactions[0].coefficients == {"Fe^3+": -1, "SCN^-": -1, "FeSCN^2+": 1}


@pytest.mark.parametrize("name", NAMES)
def test_every_recipe_is_neutral_and_solvable(name):
    mixture = catalogue.system(name).mixture()
    charge = sum(species(n).charge * value for n, value in mixture.totals.items())
    assert abs(charge) < 1e-9
    mixture.equilibrate()


def test_overrides():
    system = catalogue.system("iron-thiocyanate")
    mixture = system.mixture({"Fe+3": 0.001, "K^+": 0.2})
    assert mixture.totals["Fe^3+"] == 0.001
    assert mixture.totals["SCN^-"] == pytest.approx(0.0010)
    assert mixture.totals["K^+"] == 0.2


def test_choosing_constants():
    system = catalogue.system("iron-thiocyanate")
    assert system.mixture().reactions[0].K == 139
    assert system.mixture(constants={"complex": "de-berg-2016"}).reactions[0].K == 98
    with pytest.raises(EqlibError, match="did you mean 'complex'"):
        system.mixture(constants={"complx": "de-berg-2016"})
    with pytest.raises(EqlibError, match="did you mean 'frank-oswalt'"):
        system.mixture(constants={"complex": "frank-oswald"})
    with pytest.raises(EqlibError, match="totals are written"):
        system.mixture(3)


def test_a_system_travels_to_another_process():
    system = catalogue.system("copper-ammonia")
    again = pickle.loads(pickle.dumps(system))
    assert again.mixture() == system.mixture()


def test_before_follows_the_chain():
    system = catalogue.system("copper-ammonia")
    assert system.before("little-ammonia").volume == pytest.approx(0.00050)
    assert system.before("more-ammonia").volume == pytest.approx(0.000525)
    assert system.before("acid").volume == pytest.approx(0.001525)
    with pytest.raises(EqlibError, match="did you mean 'acid'"):
        system.before("acd")


# -- sharing --------------------


def test_variants_share_the_constant_of_the_complex():
    for name in NAMES:
        if name.startswith("iron-thiocyanate-"):
            choice = catalogue.system(name).constants["complex"]
            assert choice.home == "iron-thiocyanate"
            assert 'key = "complex"' not in catalogue.system(name).path.read_text(encoding="utf-8")


def test_the_first_reaction_is_the_one_under_study():
    first = {name: catalogue.system(name).reactions[0].products for name in NAMES}
    assert all("FeSCN^2+" in first[name] for name in NAMES if name.startswith("iron"))
    assert "CoCl4^2-" in first["cobalt-chloride"]
    assert "Cu(NH3)4^2+" in first["copper-ammonia"]
    assert "N2O4(g)" in first["nitrogen-dioxide"]
    assert "BiOCl(s)" in first["bismuth-chloride"]
    assert "HCO3^-" in first["carbonic-acid"]


@pytest.mark.parametrize(
    ("name", "formula", "codes"),
    [
        # Suppliers' sheets (excerpts) and memory; see hazard_source in _reagents.toml.
        ("iron-thiocyanate", "KSCN", {"H302", "H312", "H318", "H332", "H412", "EUH032"}),
        ("iron-thiocyanate", "AgNO3", {"H272", "H290", "H314", "H410"}),
        ("iron-thiocyanate", "Na2C2O4", {"H302", "H312", "H318"}),
        ("iron-thiocyanate-fluoride", "NaF", {"H301", "EUH032"}),
        ("cobalt-chloride", "CoCl2.6H2O", {"H302", "H317", "H334", "H341", "H350i", "H360F", "H410"}),
        ("copper-ammonia", "CuSO4.5H2O", {"H302", "H318", "H410"}),
        ("copper-ammonia", "NH3", {"H314", "H335", "H400"}),
        ("copper-chloride", "HCl", {"H314", "H335"}),
        ("nitrogen-dioxide", "NO2", {"H270", "H280", "H314", "H330"}),
    ],
)
def test_hazard_codes(name, formula, codes):
    (bottle,) = (h for h in catalogue.system(name).hazards if h.formula == formula)
    assert codes <= set(bottle.codes)


def test_reagents_fit_their_stocks():
    """Each stock's metal or anion is really in what it is made from, in the right amount."""
    for name in NAMES:
        system = catalogue.system(name)
        for stock in system.stocks.values():
            wanted, got = {}, {}
            for ion, molar in stock.species.items():
                for element, count in species(ion).elements.items():
                    wanted[element] = wanted.get(element, 0.0) + float(count) * molar
            for made in stock.made_from:
                for element, count in species(system.reagents[made.reagent].formula).elements.items():
                    got[element] = got.get(element, 0.0) + float(count) * made.M
            for element in set(wanted) - {"H", "O", "C", "Na", "In"}:  # water, soft water, the dye HIn
                assert got.get(element, 0.0) == pytest.approx(wanted[element], rel=1e-6), (
                    name,
                    stock.key,
                    element,
                )


# -- spectra and solids --------------------


def test_a_spectrum_stands_in_one_file_only():
    places = {}
    for path in sorted(catalogue.system("iron-thiocyanate").path.parent.glob("*.toml")):
        for line in path.read_text(encoding="utf-8").split("[[spectrum]]")[1:]:
            name = line.split('species = "')[1].split('"')[0]
            assert name not in places, (name, path.name, places.get(name))
            places[name] = path.name
    assert len(places) > 20


def test_a_band_reaches_its_maximum_and_its_half_width():
    spectrum = catalogue.spectrum("FeSCN+2")
    assert float(spectrum.epsilon(447)) == pytest.approx(4700)
    edge = 1e7 / (1e7 / 447 - 6500 / 2)
    assert float(spectrum.epsilon(edge)) == pytest.approx(2350, rel=1e-9)


@pytest.mark.parametrize(
    ("name", "nm", "epsilon", "within"),
    [
        # Published maxima, all from memory: textbooks and indicator literature named in the files.
        ("CoCl4^2-", 691, 575, 0.10),
        ("Co(H2O)6^2+", 511, 4.8, 0.05),
        ("Cu^2+", 810, 12, 0.01),
        ("Cu(NH3)4^2+", 605, 55, 0.10),
        ("NO2(g)", 400, 157, 0.01),
        ("In^-", 616, 35000, 0.15),
        ("HIn", 433, 17500, 0.15),
        ("C20H12O4^2-", 553, 30000, 0.10),
        ("C15H15N3O2", 520, 40000, 0.10),
        # Haupt, J. Res. NBS 48 (1952) 414: 4830 L/(mol cm) at 373 nm.
        ("CrO4^2-", 373, 4830, 0.03),
        # European Pharmacopoeia, A(1 %, 1 cm) 107.3 at 350 nm, M 294.18 g/mol.
        ("Cr2O7^2-", 350, 107.3 * 29.418, 0.001),
    ],
)
def test_spectra_reach_their_published_maxima(name, nm, epsilon, within):
    assert float(catalogue.spectrum(name).epsilon(nm)) == pytest.approx(epsilon, rel=within)


def test_a_table_is_zero_outside():
    spectrum = catalogue.spectrum("CrO4^2-")
    assert list(spectrum.epsilon([600, 700])) == [0, 0]


def test_unknown_looks_are_none():
    assert catalogue.spectrum("K^+") is None
    assert catalogue.solid_look("BaSO4(s)") is None
    assert catalogue.solid_look("AgSCN(s)").words == "white"


def test_every_coloured_system_finds_its_spectra():
    for name in NAMES:
        if name not in ("silver-chloride-ammonia", "bismuth-chloride"):
            assert catalogue.system(name).spectra
    solids = {"AgSCN(s)", "AgCl(s)", "Ag2C2O4(s)", "Ag3PO4(s)", "Fe(OH)3(s)"}
    assert set(catalogue.system("iron-thiocyanate").solids) == solids


# -- names and a person's own files --------------------


@pytest.mark.parametrize("wrong", ["iron-thiocynate", "iron_thiocyanate", "Iron-Thiocyanate"])
def test_a_near_name_is_suggested(wrong):
    with pytest.raises(EqlibError, match="did you mean 'iron-thiocyanate'") as caught:
        catalogue.system(wrong)
    assert "cobalt-chloride" in str(caught.value)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("wrong", ["", None, 3, "zzzz", "_common"])
def test_other_wrong_names_list_what_there_is(wrong):
    with pytest.raises(EqlibError, match="iron-thiocyanate"):
        catalogue.system(wrong)


MINE = """
title = "My own"
uses = "iron-thiocyanate"
ppe = ["eye protection"]
waste = ["sink"]
[recipe]
vessel = "tube"
celsius = 25
portions = [{ stock = "iron", mL = 3.0 }, { stock = "thiocyanate", mL = 1.0 }]
steps = ["mix"]
[[stock]]
key = "iron"
name = "1 mM iron"
species = { "Fe^3+" = 0.001, "NO3^-" = 0.103, "H^+" = 0.1 }
[[stress]]
key = "dilute"
title = "Water"
does = { kind = "dilute", mL = 4.0 }
direction = "reverse"
seen = "paler"
seen_words = "paler"
why = "Q above K"
caution = "none"
reversal = "more iron"
[[spectrum]]
species = "AgSCN"
bands = [{ max_nm = 500, epsilon = 10, width_cm1 = 3000 }]
source = "invented for this test"
from_memory = false
illustrative = true
shape = "one band"
"""


def test_a_file_dropped_in_a_folder_is_a_system(tmp_path, monkeypatch):
    (tmp_path / "mine.toml").write_text(MINE, encoding="utf-8")
    assert "mine" in catalogue.systems(tmp_path)
    assert "iron-thiocyanate" in catalogue.systems(tmp_path)
    assert "mine" not in catalogue.systems()
    system = catalogue.system("mine", folder=tmp_path)
    assert system.mixture().totals["Fe^3+"] == pytest.approx(0.00075)
    assert system.reactions[0].K == 139  # from the file it uses
    catalogue.check_file(tmp_path / "mine.toml")
    monkeypatch.setenv("EQLIB_SYSTEMS", str(tmp_path))
    assert "mine" in catalogue.systems()
    assert catalogue.system("mine").title == "My own"
    assert catalogue.spectrum("AgSCN").epsilon(500) == pytest.approx(10)


def test_the_example_in_the_docstring_is_a_system(tmp_path):
    example = textwrap.dedent(catalogue.__doc__.split("::", 1)[1])
    path = tmp_path / "magnesium-hydroxide.toml"
    path.write_text(example, encoding="utf-8")
    state = catalogue.check_file(path).mixture().equilibrate()
    # Pure water on the solid, Ksp = 4 s^3: s = (8.9e-12 / 4)^(1/3).
    assert state["Mg^2+"] == pytest.approx((8.9e-12 / 4) ** (1 / 3), rel=1e-6)


def test_a_path_opens_and_lends_its_colours(tmp_path):
    path = tmp_path / "mine.toml"
    path.write_text(MINE.replace("AgSCN", "FeC15H15"), encoding="utf-8")
    assert catalogue.spectrum("FeC15H15") is None
    assert catalogue.system(path).title == "My own"
    assert catalogue.system(str(path)).title == "My own"
    assert catalogue.spectrum("FeC15H15") is not None


def test_an_edited_file_is_read_again(tmp_path):
    path = tmp_path / "mine.toml"
    path.write_text(MINE, encoding="utf-8")
    assert catalogue.system(path).title == "My own"
    path.write_text(MINE.replace("My own", "My own, second edition"), encoding="utf-8")
    assert catalogue.system(path).title == "My own, second edition"


def test_ones_own_file_stands_before_ours(tmp_path):
    (tmp_path / "cobalt-chloride.toml").write_text(MINE, encoding="utf-8")
    assert catalogue.system("cobalt-chloride", folder=tmp_path).title == "My own"
    assert catalogue.system("cobalt-chloride").title != "My own"


def test_a_folder_that_is_not_there(tmp_path, monkeypatch):
    monkeypatch.setenv("EQLIB_SYSTEMS", str(tmp_path / "absent"))
    with pytest.raises(EqlibError, match=r"absent.*EQLIB_SYSTEMS"):
        catalogue.systems()
