"""A question file with a slip in it: one line that names the file, the question, the key and the mend."""

import pytest

from eqlib.assess.load import load_questions, read_questions
from eqlib.assess.tables import QuestionError

GOOD = """
[assignment]
id = "a1"
title = "T"
course = "c1"
mode = "practice"

[[question]]
id = "squeeze"
kind = "mixed"
points = 4
title = "t"
prompt = "A vessel of {v} L"
reactions = [{ text = "2 NO2(g) <=> N2O4(g)", K = 6.8, basis = "p", dH_kJ = -57.2 }]
[question.numbers]
v = [1.0, 2.0, 0.5]
[question.start]
totals = { "NO2(g)" = 0.04 }
volume_L = "v"
[question.stress]
kind = "change_volume"
L = 0.25
[[question.part]]
ask = "direction"
[[question.part]]
ask = "reason"
options = ["q_below_K", "q_above_K", "dn_zero"]
[[question.part]]
ask = "number"
quantity = "concentration"
species = "N2O4(g)"
when = "after"
weight = 2
"""


def test_the_good_file_loads_and_says_what_it_holds():
    found = read_questions(GOOD)
    assert list(found) == ["squeeze"]
    assert found.points == 4.0
    assert found.assignment.mode == "practice"
    question = found["squeeze"]
    assert [(part.id, part.kind) for part in question.parts] == [
        ("direction", "choice"),
        ("reason", "choice"),
        ("concentration", "number"),
    ]
    assert question.parts[2].unit == "mol/L"
    assert not question.manual


SLIPS = {
    "a wrong key, with the near one": ('title = "t"', 'titel = "t"', "squeeze.*titel.*did you mean 'title'"),
    "a wrong key in a part": ("weight = 2", "wieght = 2", "squeeze.*part number 3.*wieght.*weight"),
    "a wrong key in the header": ('course = "c1"', 'cuorse = "c1"', "assignment.*cuorse.*course"),
    "a missing key": ("points = 4\n", "", "squeeze.*points is missing"),
    "text where a number belongs": ("points = 4", 'points = "4"', "squeeze.*points.*write a number"),
    "no points": ("points = 4", "points = 0", "squeeze.*points is 0"),
    "an unknown kind": ('kind = "mixed"', 'kind = "prediktion"', "squeeze.*prediktion.*'prediction'"),
    "an unknown ask": ('ask = "direction"', 'ask = "dirction"', "squeeze.*dirction.*'direction'"),
    "an unknown quantity": ('quantity = "concentration"', 'quantity = "conc"', "squeeze.*quantity.*conc"),
    "an unknown moment": ('when = "after"', 'when = "afterwards"', "squeeze.*afterwards.*'after'"),
    "an unknown reason": ('"dn_zero"', '"dn_zreo"', "squeeze.*dn_zreo.*'dn_zero'"),
    "an unreadable species": ('species = "N2O4(g)"', 'species = "N2O4(x)"', "squeeze.*N2O4"),
    "an unreadable reaction": ("2 NO2(g) <=> N2O4(g)", "2 NO2(g) N2O4(g)", "squeeze"),
    "an unknown stress": (
        'kind = "change_volume"',
        'kind = "change_volumn"',
        "squeeze.*change_volumn.*'change_volume'",
    ),
    "a stress without its amount": ("L = 0.25\n", "", "squeeze', stress.*new volume once"),
    "a range that does not land": ("[1.0, 2.0, 0.5]", "[1.0, 2.0, 0.3]", "squeeze.*'v'.*land"),
    "a name that is no number": ('volume_L = "v"', 'volume_L = "w"', "squeeze.*volume_L.*'w'"),
    "a placeholder that is no number": ("{v} L", "{volume} L", "squeeze.*prompt.*volume"),
    "a brace left open": ("{v} L", "{v L", "squeeze.*prompt"),
    "an unknown system": (
        'reactions = [{ text = "2 NO2(g) <=> N2O4(g)", K = 6.8, basis = "p", dH_kJ = -57.2 }]',
        'system = "iron-thiocyanat"',
        "squeeze.*iron-thiocyanat.*iron-thiocyanate",
    ),
    "a system and reactions": ('title = "t"', 'title = "t"\nsystem = "iron-thiocyanate"', "squeeze.*both"),
    "no chemistry": (
        'reactions = [{ text = "2 NO2(g) <=> N2O4(g)", K = 6.8, basis = "p", dH_kJ = -57.2 }]',
        "",
        "squeeze.*no chemistry",
    ),
    "a question asked twice over": (
        'ask = "reason"',
        'ask = "direction"\nid = "direction"',
        "squeeze.*options|two parts",
    ),
    "a negative weight": ("weight = 2", "weight = -2", "squeeze.*weight is -2"),
    "an answer key": (
        'ask = "direction"',
        'ask = "direction"\nanswer = "forward"',
        "squeeze.*no key 'answer'",
    ),
    "a tolerance in per cent": (
        'when = "after"',
        'when = "after"\ntolerance = 2',
        "squeeze.*tolerance is 2.*0.02",
    ),
    "figures the wrong way round": ('when = "after"', 'when = "after"\nfigures = [4, 2]', "squeeze.*figures"),
    "an unknown policy rule": (
        "points = 4",
        "points = 4\npolicy = { tolerence = 0.1 }",
        "squeeze.*tolerence",
    ),
    "a policy value that cannot be": (
        "points = 4",
        'points = 4\npolicy = { attempts = "any" }',
        "squeeze.*attempts.*first",
    ),
    "a mode that is none": ('mode = "practice"', 'mode = "pratice"', "mode is 'pratice'.*'practice'"),
    "an unbalanced reaction": ("2 NO2(g) <=> N2O4(g)", "NO2(g) <=> N2O4(g)", "squeeze.*not balanced"),
    "a constant of nothing": ("K = 6.8", "K = 0", "squeeze.*K"),
    "a negative constant": ("K = 6.8", "K = -6.8", "squeeze.*K"),
    "a negative concentration": ('"NO2(g)" = 0.04', '"NO2(g)" = -0.04', "squeeze.*NO2"),
    "a vessel of nothing": ("L = 0.25", "L = 0", "squeeze.*volume"),
    "a typing slip in a formula": ('"NO2(g)" = 0.04', '"N02(g)" = 0.04', "squeeze.*N02"),
    "TOML that is none": ("[assignment]", "[assignment", "not readable as TOML"),
    "a species that is not there": ('species = "N2O4(g)"', 'species = "N2O5(g)"', "squeeze.*N2O5.*N2O4"),
    "a unit that nobody knows": (
        'when = "after"',
        'when = "after"\nunit = "mol/furlong"',
        "squeeze.*furlong",
    ),
    "a unit of something else": ('when = "after"', 'when = "after"\nunit = "bar"', "squeeze.*'bar'.*mol/L"),
    "a hint that is no text": ("points = 4", "points = 4\nhints = [1]", "squeeze.*hints.*texts"),
    "a dissolved solid": ('volume_L = "v"', 'volume_L = "v"\nsolids = { "Na^+" = 1 }', "squeeze.*solids.*Na"),
    "a format in the prompt": ("{v} L", "{v:.2f} L", "squeeze.*prompt.*{v} alone"),
    "a range of two": ("[1.0, 2.0, 0.5]", "[1.0, 2.0]", r"squeeze.*'v' is \[1.0, 2.0\]; write"),
    "no question at all": ("[[question]]", "[[querstion]]", "querstion|no question"),
}


@pytest.mark.parametrize("slip", SLIPS)
def test_a_slip_is_one_line_with_its_mend(slip):
    before, after, says = SLIPS[slip]
    assert GOOD.count(before) >= 1
    with pytest.raises(QuestionError, match=says) as caught:
        read_questions(GOOD.replace(before, after, 1))
    message = str(caught.value)
    assert "\n" not in message
    assert message.startswith("questions:")


def test_the_file_is_named(tmp_path):
    path = tmp_path / "05-gases" / "questions.toml"
    path.parent.mkdir()
    path.write_text(GOOD.replace("points = 4", "pionts = 4"))
    with pytest.raises(
        QuestionError, match=r"05-gases/questions\.toml: question 'squeeze': there is no key 'pionts'"
    ):
        load_questions(path)
    with pytest.raises(QuestionError, match="is not there"):
        load_questions(tmp_path / "nothing")
    path.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(QuestionError, match="could not be read"):
        load_questions(path.parent)


def test_a_question_or_part_that_is_not_there_is_named():
    found = read_questions(GOOD)
    with pytest.raises(QuestionError, match=r"no question 'silver'.*squeeze"):
        found["silver"]
    assert "silver" not in found
    with pytest.raises(QuestionError, match=r"no part 'x'.*direction"):
        found["squeeze"].part("x")


def test_two_questions_of_one_id_are_refused():
    second = GOOD[GOOD.index("[[question]]") :]
    with pytest.raises(QuestionError, match="stands twice"):
        read_questions(GOOD + second)


def test_the_order_of_reasons_in_the_file_gives_nothing_away():
    first = read_questions(GOOD)["squeeze"].part("reason").options
    other = GOOD.replace('"q_below_K", "q_above_K", "dn_zero"', '"dn_zero", "q_above_K", "q_below_K"')
    assert read_questions(other)["squeeze"].part("reason").options == first


def test_warming_a_reaction_of_unknown_heat_is_refused():
    """Without dH nothing would change on warming, and "no shift" would be marked right."""
    warmed = GOOD.replace('kind = "change_volume"\nL = 0.25', 'kind = "heat_to"\ncelsius = 60')
    assert read_questions(warmed)["squeeze"].case("s01").expected["direction"] == "reverse"  # exothermic
    with pytest.raises(QuestionError, match=r"squeeze.*heat_to.*add dH_kJ"):
        read_questions(warmed.replace(", dH_kJ = -57.2", ""))


BOTTLES = """
[assignment]
id = "a1"
title = "T"
course = "c1"
[[question]]
id = "bottles"
kind = "number"
points = 1
title = "t"
prompt = "a reading of {concentration}"
reactions = [{ text = "Fe^3+ + SCN^- <=> FeSCN^2+", K = 140 }]
[question.start]
portions = [
  { of_mM = { "Fe(NO3)3" = 2.00 }, mL = 5.00 },
  { of_mM = { KSCN = 2.00 }, mL = 3.00 },
  { to_mL = 10.00 },
]
[question.measured]
reading = "concentration"
species = "FeSCN^2+"
figures = 3
[[question.part]]
ask = "number"
quantity = "K"
unit = "L/mol"
"""
READING_SLIPS = {
    "a bottle described twice": (
        "of_mM = { KSCN = 2.00 }",
        "of = { KSCN = 1 }, of_mM = { KSCN = 2 }",
        "once",
    ),
    "less than nothing poured": ("mL = 3.00", "mL = -3.00", "-3 mL; write a volume"),
    "a reading of no figures": ("figures = 3", "figures = 0", "measured.*figures.*from 1"),
    "a reading of half a figure": ("figures = 3", "figures = 2.5", "measured.*figures.*whole"),
    "a reading of what is not there": ('"FeSCN^2+"\nfig', '"CoSCN^+"\nfig', r"measured: CoSCN\^\+ is not in"),
    "a reading without a constant": (", K = 140", "", "give every reaction its K"),
    "the unit of another reaction": ('unit = "L/mol"', 'unit = "mol/L"', "'kc'|'K': unit is 'mol/L'.*L/mol"),
}


@pytest.mark.parametrize("slip", READING_SLIPS)
def test_a_slip_around_a_reading_is_one_line_with_its_mend(slip):
    before, after, says = READING_SLIPS[slip]
    assert BOTTLES.count(before) == 1
    with pytest.raises(QuestionError, match=says) as caught:
        read_questions(BOTTLES.replace(before, after))
    assert str(caught.value).startswith("questions: question 'bottles'")


def test_a_reading_needs_a_mixture():
    start = BOTTLES[BOTTLES.index("[question.start]") : BOTTLES.index("[question.measured]")]
    with pytest.raises(QuestionError, match=r"bottles.*add \[question\.start\]"):
        read_questions(BOTTLES.replace(start, ""))
