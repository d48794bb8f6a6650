"""Where one constant or one comparison decides: each is held from both sides, with numbers worked by hand."""

import math

import pytest

import eqlib as eq
from eqlib.assess import feedback
from eqlib.assess.asks import ASKS
from eqlib.assess.asks.base import Part
from eqlib.assess.asks.rule import RULES
from eqlib.assess.check.course import check_course
from eqlib.assess.confront import confront
from eqlib.assess.load import load_questions, read_questions
from eqlib.assess.mark import mark
from eqlib.assess.mistakes import name_mistake
from eqlib.assess.reading import read_part
from eqlib.assess.reading.species import match_species, named
from eqlib.assess.reading.tables import read_order, read_table
from eqlib.assess.reading.text import Unreadable, one_line, tidy
from eqlib.assess.reading.units import is_power_of_concentration, parse_unit, without_filler
from eqlib.assess.records import collect, record_answer
from eqlib.assess.records.record import MIME
from eqlib.assess.tables import QuestionError
from eqlib.assess.working import worked
from eqlib.errors import EqlibError

HEAD = """
[assignment]
id = "edges"
title = "E"
course = "evening-class"
[[question]]
id = "q"
kind = "mixed"
points = 4
title = "Q"
prompt = "A question."
"""
IRON = 'reactions = [{ text = "Fe^3+ + SCN^- <=> FeSCN^2+", K = 140, dH_kJ = -6 }]\n'
TUBE = '[question.start]\ntotals = { "Fe^3+" = 2e-3, "SCN^-" = 1e-3 }\nvolume_L = 0.01\n'
DIOXIDE = 'reactions = [{ text = "2 NO2(g) <=> N2O4(g)", K = 170, dH_kJ = -57.2 }]\n'
BULB = '[question.start]\ntotals = { "NO2(g)" = 0.04 }\nvolume_L = 0.1\n'


def question(*text):
    return read_questions(HEAD + "".join(text))["q"]


def part(text):
    return f"[[question.part]]\n{text}\n"


def stress(text):
    return f"[question.stress]\n{text}\n"


# -- small x: the verdict turns at 5 % and not elsewhere --------------------------------------------------


@pytest.mark.parametrize(
    ("share", "verdict"), [(0.040, "small_x_fine"), (0.046, None), (0.07, "small_x_fails")]
)
def test_the_five_per_cent_rule(share, verdict):
    """x² = K c by the short cut, so x is the share s of c where c = K / s²."""
    acid = 'reactions = [{ text = "HA <=> H^+ + A^-", K = 1e-6 }]\n[question.start]\nvolume_L = 1\n'
    start = f"totals = {{ HA = {1e-6 / share**2:.9g} }}\n"
    made = question(
        acid, start, part('ask = "true"\noptions = ["small_x_fine", "small_x_fails", "goes_complete"]')
    )
    doubts = list(ASKS["true"].doubts(made.parts[0], made.case()))
    if verdict is None:
        assert "at the edge of the 5 % rule" in doubts[0]
    else:
        assert doubts == []
        assert made.case().expected["true"] == verdict


def test_an_equation_without_two_roots_is_not_asked_about():
    made = question(DIOXIDE, BULB, part('ask = "root"'))
    assert made.case().expected["root"] in ("smaller", "larger")
    assert not [d for d in ASKS["root"].doubts(made.parts[0], made.case()) if "real roots" in d]
    cubic = 'reactions = [{ text = "PbCl2 <=> Pb^2+ + 2 Cl^-", K = 1e-3 }]\n'
    begin = "[question.start]\ntotals = { PbCl2 = 0.1 }\nvolume_L = 1\n"
    made = question(cubic, begin, part('ask = "root"'))
    assert "the equation has 1 real roots" in next(ASKS["root"].doubts(made.parts[0], made.case()))


# -- windows around what a mistake gives ------------------------------------------------------------------


def test_a_crowd_of_suspects_narrows_the_window():
    """Eight suspects within a factor of two leave 0.0195 / 8 = 0.24 % to each; two leave the usual 0.5 %."""
    few = [("a", 100.0), ("b", 110.0)]
    many = [*few, *((f"s{n}", 112.0 + 3 * n) for n in range(6))]
    typed = {"figures": (5, 5)}
    assert name_mistake(100.45, few, 140.0, **typed).mistake == "a"
    assert name_mistake(100.45, many, 140.0, **typed).mistake is None
    assert name_mistake(100.22, many, 140.0, **typed).mistake == "a"
    assert name_mistake(100.27, many, 140.0, **typed).mistake is None


# -- rules, rates, labels ---------------------------------------------------------------------------------


def test_fewer_gas_molecules_by_taking_gas_out():
    """The rule says: less gas, so towards more molecules. For 2 NO2 to N2O4 that is back."""
    mixture = eq.Mixture({"NO2(g)": 0.04}, [eq.Reaction("2 NO2(g) <=> N2O4(g)", K=170)], volume=0.1)
    out = eq.disturb(mixture, eq.Stress.remove("NO2(g)", 1e-4))
    assert RULES["fewer_gas"].says(out) == "reverse" == out.direction
    more = eq.disturb(mixture, eq.Stress.add("NO2(g)", 1e-4))
    assert RULES["fewer_gas"].says(more) == "forward" == more.direction


def test_rates_at_the_new_equilibrium_need_concentrations():
    hot = stress('kind = "heat_to"\ncelsius = 60')
    with pytest.raises(QuestionError, match='need when = "at_once"'):
        question(DIOXIDE, BULB, hot, part('ask = "rate"\nwhen = "after"')).case()
    made = question(DIOXIDE, BULB, hot, part('ask = "rate"'))
    assert list(ASKS["rate"].doubts(made.parts[0], made.case())) == []
    assert made.case().expected["forward-rate"] == "up"
    cold = question(DIOXIDE, BULB, stress('kind = "heat_to"\ncelsius = 5'), part('ask = "rate"'))
    assert cold.case().expected["forward-rate"] == "down"


def test_a_graph_says_from_where_it_runs():
    squeeze = stress('kind = "change_volume"\nmL = 50')
    made = question(
        DIOXIDE, BULB, squeeze, part('ask = "graph"'), part('ask = "graph"\nid = "b"\nwhen = "after"')
    )
    assert "from mixing to equilibrium" in made.parts[0].label
    assert "from the change to equilibrium" in made.parts[1].label


def test_confidence_is_recorded_under_the_same_four_words():
    """Journals and notebooks hold these words: changing one would lose what was recorded."""
    asked = question(
        IRON, TUBE, part('ask = "confidence"'), part('ask = "K"'), stress('kind = "dilute"\nmL = 1')
    ).parts[0]
    for word in ("guess", "unsure", "fairly", "certain"):
        assert read_part(asked, word).value == word


# -- ideas in choices -------------------------------------------------------------------------------------


def test_product_put_in_does_not_go_back_to_what_it_was():
    more = stress('kind = "add"\nspecies = "FeSCN^2+"\nmmol = 0.004')
    made = question(IRON, TUBE, more, part('ask = "change"\nspecies = "FeSCN^2+"'))
    assert made.case().expected["change"] == "higher"
    assert mark(made, {"change": "same"}).mistake == "full_cancel"


def test_no_shift_and_no_change_of_colour_are_one_answer():
    """Iron added: "nothing shifts, so the colour stays" is one wrong idea; the colour follows from it."""
    more = stress('kind = "add_solution"\nof_mM = { "Fe(NO3)3" = 100 }\nmL = 0.5')
    made = question(
        'system = "iron-thiocyanate"\nuse = [0]\n',
        TUBE,
        more,
        part('ask = "direction"'),
        part('ask = "seen"'),
    )
    given = mark(made, {"direction": "none", "seen": "same"})
    assert given.points == 0
    assert given.parts[1].mistake in (given.parts[0].mistake, None)
    assert given.parts[1].mistake or given.parts[1].feedback == feedback.FOLLOWS


# -- numbers ----------------------------------------------------------------------------------------------

PKA = (
    'numbers = { a = 0.10, b = 0.90, p = 7.0, s = 0.30 }\n[question.measured]\nreading = "indicator"\n'
    'acid = "a"\nbase = "b"\npH = "p"\nshare = "s"\ndecimals = 3\n' + part('ask = "number"\nquantity = "pKa"')
)


@pytest.mark.parametrize(
    ("mistake", "slip"),
    [
        ("k_inverted", lambda up, down, between: 7.0 + math.log10(up / down)),
        ("log_slip", lambda up, down, between: 7.0 - math.log(up / down)),
        ("blank_kept", lambda up, down, between: 7.0 - math.log10(between / down)),
        ("equal_amounts", lambda up, down, between: 7.0),
    ],
)
def test_slips_in_a_pKa(mistake, slip):
    made = question(PKA)
    between = made.case().measured["between"]
    up, down = between - 0.10, 0.90 - between
    right = 7.0 - math.log10(up / down)
    assert mark(made, f"{right:.3f}").points == 4
    assert mark(made, f"{slip(up, down, between):.4f}").mistake == mistake


STEPS = "".join(
    part(f'ask = "number"\nid = "{name}"\nquantity = "concentration"\nspecies = "{species}"\nwhen = "before"')
    for name, species in (("c", "I3^-"), ("i2", "I2"), ("i", "I^-"))
)
IODINE = (
    'reactions = [{ text = "I2 + I^- <=> I3^-", K = 710 }]\n[question.start]\n'
    "portions = [{ of_mM = { I2 = 1.0 }, mL = 6.0 }, { of_mM = { KI = 4.0 }, mL = 3.0 }, { to_mL = 12.0 }]\n"
    '[question.measured]\nreading = "concentration"\nspecies = "I3^-"\nfigures = 3\n'
)


def test_more_complex_than_there_was_of_anything_is_not_gone_on_from():
    """1.2 mmol/L out of 0.5 and 1: two negative numbers multiply to a Kc above zero all the same."""
    made = question(IODINE, STEPS, part('ask = "number"\nquantity = "K"'))
    given = mark(made, {"c": "0.0012", "i2": "-0.0007", "i": "-0.0002", "K": f"{0.0012 / 1.4e-7:.4g}"})
    assert given.points == 0


@pytest.mark.parametrize(("own", "points"), [(0.019, 2), (0.0019, 0)])
def test_a_Kc_is_gone_on_from_within_a_factor_of_a_hundred(own, points):
    """Kp = Kc (RT)^-1 from one's own Kc: 1/50 of the right one is a slip, 1/500 is nonsense."""
    gas = 'reactions = [{ text = "2 NO2(g) <=> N2O4(g)", K = 170 }]\n' + BULB.replace(
        "0.1\n", "0.1\ncelsius = 25\n"
    )
    read = '[question.measured]\nreading = "concentration"\nspecies = "NO2(g)"\nfigures = 3\n'
    made = question(
        gas, read, part('ask = "number"\nquantity = "K"'), part('ask = "number"\nquantity = "Kp"')
    )
    kc = own * made.case().expected["K"]
    given = mark(made, {"K": f"{kc:.4g}", "Kp": f"{kc / (0.08314462618 * 298.15):.4g}"})
    assert given.points == points


def test_a_question_about_x_is_worked_with_its_table():
    made = question(IODINE, part('ask = "number"\nquantity = "extent"'))
    assert "| Equilibrium |" in worked(made, made.case())


# -- what is said -----------------------------------------------------------------------------------------


def test_the_label_of_a_lone_part_is_not_repeated_in_practice():
    made = question(IODINE, part('ask = "number"\nquantity = "extent"'))
    given = mark(made, "7")
    assert given.parts[0].label not in feedback.ladder(made, given, 2)


def test_every_part_of_a_written_answer_is_worth_what_it_says():
    text = HEAD.replace('kind = "mixed"', 'kind = "explanation"') + part('ask = "explain"')
    made = read_questions(text)["q"]
    given = mark(made, {"explain": "Because."})
    assert [p.max_points for p in given.parts] == [4]
    assert given.points == 0


# -- reading ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("row", "names"),
    [
        ("initial", "I initial start Initially before beginning mixed"),
        ("change", "C change changes delta Δ shift"),
        ("equilibrium", "E equilibrium eq at_equilibrium end final after"),
    ],
)
def test_a_row_of_a_table_goes_by_many_names(row, names):
    for name in names.split():
        read = read_table({name: {"Ag^+": "0.1"}}, ["Ag^+"]).value
        assert read[row] == {"Ag^+": 0.1}


def test_an_order_with_a_sign_between_is_asked_for_again():
    with pytest.raises(Unreadable, match="from either end"):
        read_order("b < a < c", [("a", "a"), ("b", "b"), ("c", "c")])
    assert read_order("pH < 7, pH > 7", [("acid", "pH < 7"), ("base", "pH > 7")]).value == ["acid", "base"]


@pytest.mark.parametrize(
    ("many", "one"),
    [
        ("mole moles mols", "mol"),
        ("litre litres liter liters l", "L"),
        ("metre metres meter meters", "m"),
        ("gram grams gramme", "g"),
        ("sec secs second seconds", "s"),
        ("mins minute minutes", "min"),
        ("hr hour hours", "h"),
        ("kelvin kelvins", "K"),
        ("joule joules j", "J"),
        ("kj kilojoule kilojoules", "kJ"),
        ("pascal pascals", "Pa"),
        ("kpa kilopascal", "kPa"),
        ("bars", "bar"),
        ("percent", "%"),
        ("cc ml", "mL"),
        ("atmosphere atmospheres", "atm"),
        ("mmhg", "mmHg"),
        ("molar", "M"),
    ],
)
def test_a_unit_in_words_is_its_symbol(many, one):
    wanted = parse_unit(one)
    for word in many.split():
        assert (parse_unit(word).size, parse_unit(word).dims) == (wanted.size, wanted.dims)


def test_the_size_of_units():
    """NIST SP 811: an atmosphere is 101 325 Pa, a minute 60 s; 25 °C is 298.15 K."""
    assert parse_unit("atm").size / parse_unit("Pa").size == 101325
    assert parse_unit("min").size / parse_unit("s").size == 60
    assert parse_unit("h").size / parse_unit("min").size == 60
    assert [parse_unit(text).text for text in ("°C", "celsius", "degrees C")] == ["°C"] * 3
    assert float(parse_unit("°C").offset) == 273.15


# -- files ------------------------------------------------------------------------------------------------


def test_a_folder_in_place_of_a_file_is_named_by_what_the_system_says(tmp_path):
    (tmp_path / "questions.toml").mkdir()
    with pytest.raises(QuestionError, match="could not be read: Is a directory"):
        load_questions(tmp_path)


def test_a_fault_in_a_reaction_is_found_by_its_place_in_the_list():
    bad = 'reactions = [{ text = "A <=> B", K = 1 }, { K = 2 }]\n'
    with pytest.raises(QuestionError, match="reaction number 2: text is missing"):
        question(bad, TUBE, part('ask = "K"'))


def test_of_two_peoples_answers_the_later_one_is_taken():
    early, late = "2026-01-31T18:05:00Z", "2026-01-31T18:07:00Z"
    for first, second in ((("s01", early), ("s02", late)), (("s02", late), ("s01", early))):
        made = [
            record_answer("04", "silver", {"direction": "none"}, who, at=at) for who, at in (first, second)
        ]
        cells = [
            {"cell_type": "code", "outputs": [{"output_type": "display_data", "data": {MIME: r.to_dict()}}]}
            for r in made
        ]
        assert collect({"cells": cells, "metadata": {}})["silver"].student == "s02"


def test_a_mistake_that_rounding_hides_is_reported(tmp_path):
    """A blank of 0.001 in an absorbance of about 0.5 is 0.2 %: within the tolerance of 2 % on Kc."""
    text = (
        HEAD.replace('kind = "mixed"', 'kind = "number"')
        + 'reactions = [{ text = "Fe^3+ + SCN^- <=> FeSCN^2+", K = 140 }]\n'
        + '[question.start]\nportions = [{ of_mM = { "Fe(NO3)3" = 2.5 }, mL = 5 }, '
        + "{ of_mM = { KSCN = 2 }, mL = 5 }]\n"
        + '[question.measured]\nreading = "absorbance"\nspecies = "FeSCN^2+"\nepsilon = 4700\n'
        + "path_cm = 1\nblank = 0.001\n"
        + part('ask = "number"\nquantity = "K"')
    )
    folder = tmp_path / "source" / "edges"
    folder.mkdir(parents=True)
    (folder / "questions.toml").write_text(text, encoding="utf-8")
    lines = [str(line) for line in check_course(tmp_path)]
    assert any("the mistake blank_kept can never be told" in line for line in lines), lines


def test_a_sign_of_an_enthalpy_that_two_ideas_share_is_no_fault(tmp_path):
    """For a reaction that gives out heat, +57 is both "heat is forward" and a sign the wrong way round."""
    text = (
        HEAD.replace('kind = "mixed"', 'kind = "number"')
        + "numbers = { a = 8.6, b = 0.76 }\n"
        + '[question.measured]\nreading = "temperatures"\ncelsius1 = 25\ncelsius2 = 60\nK1 = "a"\nK2 = "b"\n'
        + part('ask = "number"\nquantity = "dH"')
    )
    folder = tmp_path / "source" / "edges"
    folder.mkdir(parents=True)
    (folder / "questions.toml").write_text(text, encoding="utf-8")
    assert [str(line) for line in check_course(tmp_path) if "heat_sign" in str(line)] == []


@pytest.mark.parametrize(
    ("said", "species"),
    [
        ("triiodide", "I3^-"),
        ("iodine", "I2"),
        ("acid", "H^+"),
        ("proton", "H^+"),
        ("water", "H2O(l)"),
        ("nitrogen dioxide", "NO2(g)"),
        ("dinitrogen tetroxide", "N2O4(g)"),
        ("ammonia", "NH3"),
        ("hydrogen fluoride", "HF"),
        ("carbon dioxide", "CO2"),
        ("thiocyanatoiron(III)", "FeSCN^2+"),
        ("silver thiocyanate", "AgSCN(s)"),
        ("silver chloride", "AgCl(s)"),
        ("diamminesilver(I)", "Ag(NH3)2^+"),
        ("chromate", "CrO4^2-"),
        ("dichromate", "Cr2O7^2-"),
        ("ferric ion", "Fe^3+"),
        ("ferrous", "Fe^2+"),
    ],
)
def test_species_by_their_names(said, species):
    """IUPAC Nomenclature of Inorganic Chemistry 2005, from memory."""
    all_of_them = [
        "H^+",
        "H2O(l)",
        "NO2(g)",
        "N2O4(g)",
        "NH3",
        "I2",
        "I3^-",
        "HF",
        "CO2",
        "FeSCN^2+",
        "AgSCN(s)",
        "AgCl(s)",
        "Ag(NH3)2^+",
        "CoCl4^2-",
        "CrO4^2-",
        "Cr2O7^2-",
        "Fe^3+",
        "Fe^2+",
    ]
    assert named(said, all_of_them) == (species, "")


def test_a_misspelt_system_is_told_its_neighbour():
    with pytest.raises(EqlibError, match="did you mean 'iron-thiocyanate'"):
        question('system = "iron-thiocyanat"\n', TUBE, part('ask = "direction"')).case()


@pytest.mark.parametrize(
    "typed",
    [
        "140 in units of M^-1",
        "140 (unit written as M^-1)",
        "140 in the unit M^-1",
        "140 with the standard unit M^-1",
        "140 without unit",
        "140 without a unit",
        "140 with no unit",
        "140 no units",
    ],
)
def test_words_around_a_unit_say_nothing(typed):
    assert read_part(Part("k", "number", "number", "Kc", unit="L/mol", quantity="K"), typed).value == 140


@pytest.mark.parametrize(
    "typed", ["< 140", "> 140", "≤ 140", "≥ 140", "smaller than 140", "greater than 140"]
)
def test_a_limit_is_no_value(typed):
    read = read_part(Part("k", "number", "number", "Kc", unit="L/mol", quantity="K"), typed)
    assert "gives a limit" in read.message


@pytest.mark.parametrize(
    ("charge", "roman"), list(enumerate(("I", "II", "III", "IV", "V", "VI", "VII"), start=1))
)
def test_a_charge_in_roman_figures(charge, roman):
    name = f"Mn^{charge}+" if charge > 1 else "Mn^+"
    others = [f"Mn^{n}+" for n in range(2, 8) if n != charge] + (["Mn^+"] if charge > 1 else [])
    assert named(f"manganese({roman})", [*others, name]) == (name, "")


def test_water_put_into_K_is_named():
    """55.5 mol/L of water below the line of Kc = [H+] [HCO3-] / [CO2]."""
    soda = 'reactions = [{ text = "CO2 + H2O(l) <=> H^+ + HCO3^-", K = 4.5e-7 }]\n'
    begin = "[question.start]\ntotals = { CO2 = 0.034 }\nvolume_L = 0.5\n"
    read = '[question.measured]\nreading = "concentration"\nspecies = "H^+"\nfigures = 3\n'
    made = question(soda, begin, read, part('ask = "number"\nquantity = "K"'))
    x = made.case().measured["concentration"]
    K = x * x / (0.034 - x)
    assert mark(made, f"{K:.4g}").points == 4
    assert mark(made, f"{K / 55.5:.4g}").mistake == "solid_in_k"


def test_hints_of_assessed_work_come_back_with_the_marks(tmp_path):
    """They are not released; once marks go back, whoever lost some has them."""
    folder = tmp_path / "source" / "edges"
    folder.mkdir(parents=True)
    (tmp_path / "instructor").mkdir()
    (folder / "questions.toml").write_text(HEAD + IODINE + part('ask = "number"\nquantity = "extent"'))
    (tmp_path / "instructor" / "edges.toml").write_text('[q]\nhints = ["Which row is x in?"]\n')
    made = load_questions(folder)["q"]
    right = f"{made.case().extent:.3g}"
    assert "Which row is x in?" in mark(made, "7", released=True).feedback
    assert "Which row is x in?" not in mark(made, "7").feedback
    assert "Which row is x in?" not in mark(made, right, released=True).feedback


# -- sizes of units, and small limits --------------------------------------------------------------------


@pytest.mark.parametrize(
    ("unit", "size"),  # SI units: NIST Special Publication 811, from memory
    [
        ("nL", 1e-12), ("dL", 1e-4), ("mm", 1e-3), ("km", 1e3), ("mJ", 1e-3), ("MJ", 1e6), ("mbar", 100.0),
        ("kPa", 1e3), ("min", 60.0), ("h", 3600.0), ("cal", 4.184), ("atm", 101325.0),
        ("torr", 133.322368), ("mmHg", 133.322387), ("bar", 1e5),
    ],
)  # fmt: skip
def test_a_unit_has_its_published_size(unit, size):
    assert float(parse_unit(unit).size) == pytest.approx(size, rel=1e-8)


@pytest.mark.parametrize(("unit", "yes"), [
    ("L/mol", True), ("mol^2/L^2", True), ("bar^-1", True), ("Pa^2", True),
    ("J", False), ("Pa s", False), ("mol/(L K)", False), ("L", False), ("mol", False), ("kg/m", False),
])  # fmt: skip
def test_what_units_a_constant_may_have(unit, yes):
    assert is_power_of_concentration(parse_unit(unit)) is yes


def test_a_question_without_a_temperature_is_at_25_degrees():
    asked = question(IRON, TUBE, stress('kind = "dilute"\nmL = 10'), part('ask = "direction"'))
    assert asked.case("s1").temperature == 298.15


def test_a_record_of_sixty_parts_is_kept_and_of_more_is_refused():
    parts = {f"p{n}": "1" for n in range(60)}
    assert dict(record_answer("a", "q", parts, "s1").answer) == parts
    with pytest.raises(EqlibError, match="not a small table"):
        record_answer("a", "q", {**parts, "more": "1"}, "s1")


@pytest.mark.parametrize(("name", "formula"), [("ammonia", "NH3"), ("silver", "Ag^+"), ("chloride", "Cl^-")])
def test_a_particle_by_its_name(name, formula):
    choices = tuple((one, one) for one in ("NH3", "Ag^+", "Cl^-"))
    asked = Part("p", "choice", "bound", "x", options=choices)
    assert read_part(asked, name, ("NH3", "Ag^+", "Cl^-")).value == formula


# -- small rules, each seen from outside ------------------------------------------------------------------


def test_a_rule_that_sees_only_the_equation_says_nothing_of_silver():
    silver = eq.system("iron-thiocyanate-silver")
    d = eq.disturb(silver.mixture(), silver.steps["silver"].stress)
    assert RULES["only_named"].says(d) == "none"
    assert RULES["binds_there"].says(d) == "reverse" == d.direction


def test_a_rule_about_gas_says_nothing_where_there_is_none():
    iron = eq.Mixture(
        {"Fe^3+": 2e-3, "SCN^-": 1e-3}, eq.Reaction("Fe^3+ + SCN^- <=> FeSCN^2+", K=140), volume=0.01
    )
    assert RULES["fewer_gas"].says(eq.disturb(iron, eq.Stress.dilute(0.01))) == "none"


def test_rates_asked_as_a_graph_are_worked_too():
    asked = question(IRON, TUBE, part('ask = "graph"'))
    told = worked(asked, asked.case())
    assert "**Rates.**" in told
    assert "the forward reaction goes" in told


def test_a_right_table_is_right_and_not_carried():
    """x of 2.00 and 1.00 mmol/L at K = 140, by the quadratic formula."""
    b = 2e-3 + 1e-3 + 1 / 140
    x = (b - math.sqrt(b * b - 4 * 2e-6)) / 2
    names = ("Fe^3+", "SCN^-", "FeSCN^2+")
    rows = {
        "initial": (2e-3, 1e-3, 0.0),
        "change": (-x, -x, x),
        "equilibrium": (2e-3 - x, 1e-3 - x, x),
    }
    table = {row: dict(zip(names, cells, strict=True)) for row, cells in rows.items()}
    given = mark(question(IRON, TUBE, part('ask = "ice"')), {"ice": table})
    assert (given.points, given.parts[0].note) == (4.0, "right")


def test_private_characters_and_long_lines():
    assert tidy("1.4\ue000e2") == "1.4e2"
    assert len(one_line("x" * 500)) == 400
    assert without_filler("units, M^-1") == "M^-1"


def test_the_phase_decides_between_two_of_one_name():
    assert match_species("h2o(g)", ["H2O(l)", "H2O(g)"])[0] == "H2O(g)"


def test_a_spectator_that_is_thought_to_act_is_named_in_the_colour_too():
    asked = question(
        IRON,
        TUBE,
        stress('kind = "add_solid"\nformula = "KNO3"\nmmol = 0.5'),
        part('ask = "direction"'),
        part('ask = "seen"'),
    )
    given = mark(asked, {"direction": "forward", "seen": "darker"})
    assert {one.mistake for one in given.parts} == {"spectator_acts"}


def test_what_would_be_cancelled_is_back_at_its_old_concentration():
    """[Fe3+] of 2.00 and 1.00 mmol/L at K = 140 by the quadratic formula; the picture holds it again."""
    b = 2e-3 + 1e-3 + 1 / 140
    x = (b - math.sqrt(b * b - 4 * 2e-6)) / 2
    asked = question(
        IRON,
        TUBE,
        stress('kind = "add_solution"\nof_mM = { "Fe^3+" = 6 }\nmL = 0.5'),
        part('ask = "direction"'),
        part('ask = "change"\nid = "fe"\nspecies = "Fe^3+"'),
    )
    rows = confront(asked, asked.case(), {"direction": "forward", "fe": "same"})
    (picture,) = [row.if_right for row in rows if row.if_right is not None]
    assert picture.state.concentrations["Fe^3+"] == pytest.approx(2e-3 - x, rel=1e-6)


def test_a_wrong_way_beside_a_right_reason_is_asked_which_way_that_reason_points():
    silver = 'system = "iron-thiocyanate-silver"\n'
    asked = question(
        silver,
        '[question.start]\ntotals = { "Fe^3+" = 2e-3, "SCN^-" = 1e-3 }\nvolume_L = 0.002\n',
        stress('kind = "add_solution"\nof_mM = { AgNO3 = 100 }\nmL = 0.1'),
        part('ask = "direction"'),
        part('ask = "reason"\noptions = ["binds:SCN^-", "k_moves_conc", "q_below_K"]'),
    )
    given = mark(asked, {"direction": "forward", "reason": "binds:SCN^-"})
    assert "which way does that reason point" in given.parts[0].feedback
