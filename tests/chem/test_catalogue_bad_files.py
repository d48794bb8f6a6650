"""Files with one fault each: the complaint is one line that names the file, the place and the mend."""

import pytest

from eqlib.chem import catalogue
from eqlib.errors import EqlibError

GOOD = """\
title = "A test system"
main = "complex"
ppe = ["eye protection"]
waste = ["sink"]

[[reaction]]
key = "complex"
equation = "Fe^3+ + SCN^- <=> FeSCN^2+"
default = "one"
why_default = "the only one"
[[reaction.constant]]
key = "one"
K = 140
T = 298.15
ionic_strength = 0.5
source = "a book"
from_memory = true

[[stock]]
key = "iron"
name = "iron stock"
species = { "Fe^3+" = 0.002, "NO3^-" = 0.006 }
from = [{ reagent = "iron-nitrate", M = 0.002 }]

[[stock]]
key = "thiocyanate"
name = "thiocyanate stock"
species = { "K^+" = 0.002, "SCN^-" = 0.002 }

[recipe]
vessel = "a well"
celsius = 25
portions = [{ stock = "iron", mL = 1.0 }, { stock = "thiocyanate", mL = 1.0 }]
steps = ["mix"]

[[stress]]
key = "more"
title = "More iron"
does = { kind = "add_solution", stock = "iron", mL = 0.5 }
direction = "forward"
seen = "darker"
seen_words = "darker"
why = "more of a reactant"
caution = "none"
reversal = "water"

[[spectrum]]
species = "FeSCN^2+"
bands = [{ max_nm = 447, epsilon = 4700, width_cm1 = 6500 }]
source = "a paper"
from_memory = true
shape = "one Gaussian"

[[solid]]
species = "Fe(OH)3(s)"
words = "brown"
hex = "#8a4a20"
scatter = 1000
source = "a book"
from_memory = true
"""

SECOND_STRESS = GOOD[GOOD.index("[[stress]]") : GOOD.index("[[spectrum]]")]
SECOND_SPECTRUM = GOOD[GOOD.index("[[spectrum]]") : GOOD.index("[[solid]]")]
TABLE = "nm = [400, 500, 600]\nepsilon = [10, 20]"
BANDS = "bands = [{ max_nm = 447, epsilon = 4700, width_cm1 = 6500 }]"
DOES = 'does = { kind = "add_solution", stock = "iron", mL = 0.5 }'

# what is wrong: (text taken out, text put in, words the complaint must hold)
FAULTS = {
    "title missing": ('title = "A test system"', "", ["title", "missing", "add title"]),
    "ppe missing": ('ppe = ["eye protection"]', "", ["ppe", "missing"]),
    "waste missing": ('waste = ["sink"]', "", ["waste", "missing"]),
    "recipe key missing": ('vessel = "a well"\n', "", ["recipe", "vessel", "missing"]),
    "source missing": (
        'source = "a book"\nfrom_memory = true\n\n[[stock]]',
        "from_memory = true\n\n[[stock]]",
        ["reaction 'complex'", "constant 'one'", "source", "missing"],
    ),
    "empty source": (
        'source = "a book"\nfrom_memory = true\n\n[[stock]]',
        'source = " "\nfrom_memory = true\n\n[[stock]]',
        ["constant 'one', source", "not empty"],
    ),
    "temperature missing": (
        "T = 298.15\nionic_strength",
        "ionic_strength",
        ["constant 'one', T", "missing", "kelvin"],
    ),
    "temperature in Celsius": (
        "T = 298.15\nionic_strength",
        "T = 25\nionic_strength",
        ["constant 'one', T", "kelvin"],
    ),
    "ionic strength missing": ("ionic_strength = 0.5\n", "", ["ionic_strength", "missing", "not stated"]),
    "from_memory missing": (
        "from_memory = true\n\n[[stock]]",
        "\n[[stock]]",
        ["from_memory", "missing", "true or false"],
    ),
    "no reason for the default": ('why_default = "the only one"\n', "", ["why_default", "missing"]),
    "unknown key": (
        "mL = 1.0 }, {",
        "ml = 1.0 }, {",
        ["portion 'iron', ml", "did you mean 'mL'"],
    ),
    "unknown top key": (
        'waste = ["sink"]',
        'waste = ["sink"]\npitfals = ["x"]',
        ["pitfals", "did you mean 'pitfalls'"],
    ),
    "wrong type": ("K = 140", 'K = "140"', ["constant 'one', K", "'140'", "number greater than 0"]),
    "text where list": ('ppe = ["eye protection"]', 'ppe = "eye protection"', ["ppe", "list of texts"]),
    "yes/no as text": (
        "from_memory = true\n\n[[stock]]",
        'from_memory = "yes"\n\n[[stock]]',
        ["from_memory", "true or false"],
    ),
    "unbalanced atoms": (
        "<=> FeSCN^2+",
        "<=> Fe(SCN)2^2+",
        ["reaction 'complex', equation", "does not balance"],
    ),
    "unbalanced charge": ("<=> FeSCN^2+", "<=> FeSCN^3+", ["does not balance"]),
    "unreadable species": (
        "<=> FeSCN^2+",
        "<=> FeScN^2+",
        ["reaction 'complex', equation", "does not balance"],
    ),
    "no such element": (
        'species = { "Fe^3+" = 0.002,',
        'species = { "Xq^3+" = 0.002,',
        ["stock 'iron', species", "Xq"],
    ),
    "ambiguous charge": (
        'species = { "Fe^3+" = 0.002,',
        'species = { "Fe3+" = 0.002,',
        ["stock 'iron'", "Fe^3+"],
    ),
    "no arrow": ("<=> FeSCN^2+", "FeSCN^2+", ["reaction 'complex', equation", "cannot be read"]),
    "K is zero": ("K = 140", "K = 0", ["constant 'one', K", "is 0", "greater than 0"]),
    "K is negative": ("K = 140", "K = -3.5", ["constant 'one', K", "-3.5"]),
    "K is nan": ("K = 140", "K = nan", ["constant 'one', K", "nan"]),
    "K is infinite": ("K = 140", "K = inf", ["constant 'one', K", "inf"]),
    "K twice": ("K = 140", "K = 140\nlog10_K = 2.1", ["both K and log10_K"]),
    "K nowhere": ("K = 140\n", "", ["neither K nor log10_K"]),
    "log K absurd": ("K = 140", "log10_K = 4000", ["log10_K", "4000"]),
    "default not listed": (
        'default = "one"',
        'default = "ine"',
        ["reaction 'complex', default", "did you mean 'one'"],
    ),
    "main unknown": ('main = "complex"', 'main = "komplex"', ["main", "did you mean 'complex'"]),
    "basis unknown": ('default = "one"', 'basis = "x"\ndefault = "one"', ["basis", "one of: c, p"]),
    "stress kind unknown": (
        DOES,
        'does = { kind = "ad_solution" }',
        ["stress 'more', does, kind", "'add_solution'"],
    ),
    "stress kind missing": (DOES, 'does = { stock = "iron" }', ["stress 'more', does, kind", "missing"]),
    "stress names absent species": (
        DOES,
        'does = { kind = "add", species = "Ag^+", mmol = 1e-2 }',
        ["stress 'more', does, species", "Ag^+", "no reaction, stock or recipe"],
    ),
    "stress removes absent species": (
        DOES,
        'does = { kind = "remove", species = "Cl^-", mmol = 1e-2 }',
        ["Cl^-"],
    ),
    "stress names absent stock": (
        DOES,
        'does = { kind = "add_solution", stock = "silver", mL = 0.5 }',
        ["stress 'more', does, stock", "'silver'", "iron, thiocyanate"],
    ),
    "stress volume negative": (
        "mL = 0.5 }",
        "mL = -0.5 }",
        ["stress 'more', does, mL", "-0.5"],
    ),
    "stress solid absent": (
        'reversal = "water"',
        'reversal = "water"\nsolid = "AgSCN(s)"',
        ["stress 'more', solid", "AgSCN"],
    ),
    "stress after unknown": (
        'reversal = "water"',
        'reversal = "water"\nafter = "mroe"',
        ["after", "did you mean 'more'"],
    ),
    "stress after itself": ('reversal = "water"', 'reversal = "water"\nafter = "more"', ["after", "circle"]),
    "stress without caution": ('caution = "none"\n', "", ["stress 'more', caution", "missing"]),
    "direction in other words": (
        'direction = "forward"',
        'direction = "right"',
        ["stress 'more', direction", "forward, reverse, none"],
    ),
    "seen in other words": ('seen = "darker"', 'seen = "redder"', ["stress 'more', seen", "darker, paler"]),
    "stress twice": ("[[spectrum]]", SECOND_STRESS + "\n[[spectrum]]", ["stress 'more'", "twice"]),
    "spectrum twice": ("[[solid]]", SECOND_SPECTRUM + "\n[[solid]]", ["spectrum 'FeSCN^2+'", "twice"]),
    "negative epsilon": (
        "epsilon = 4700",
        "epsilon = -4700",
        ["spectrum 'FeSCN^2+', band number 1, epsilon", "-4700"],
    ),
    "wavelength out of range": ("max_nm = 447", "max_nm = 4470", ["max_nm", "4470", "150 and 1500"]),
    "width zero": ("width_cm1 = 6500", "width_cm1 = 0", ["width_cm1"]),
    "table lengths differ": (BANDS, TABLE, ["spectrum 'FeSCN^2+', epsilon", "nm has 3", "epsilon has 2"]),
    "table not rising": (BANDS, "nm = [500, 400]\nepsilon = [1, 2]", ["nm", "do not rise"]),
    "table negative": (BANDS, "nm = [400, 500]\nepsilon = [1, -2]", ["epsilon", "-2"]),
    "neither bands nor table": (BANDS + "\n", "", ["neither bands nor a table"]),
    "solid not a solid": (
        'species = "Fe(OH)3(s)"',
        'species = "Fe^3+"',
        ["solid 'Fe^3+'", "not a solid", "(s)"],
    ),
    "colour not a colour": ('hex = "#8a4a20"', 'hex = "brown"', ["hex", "#rrggbb"]),
    "recipe volume negative": (
        "mL = 1.0 }, {",
        "mL = -1.0 }, {",
        ["portion 'iron', mL", "-1.0"],
    ),
    "recipe names absent stock": (
        '{ stock = "iron", mL = 1.0 }',
        '{ stock = "irn", mL = 1.0 }',
        ["portion 'irn'", "did you mean 'iron'"],
    ),
    "recipe empty": (
        'portions = [{ stock = "iron", mL = 1.0 }, { stock = "thiocyanate", mL = 1.0 }]',
        "portions = []",
        ["recipe", "nothing is put in"],
    ),
    "stock without species": (
        'species = { "K^+" = 0.002, "SCN^-" = 0.002 }',
        "species = {}",
        ["stock 'thiocyanate'", "no species"],
    ),
    "stock not neutral": (
        '"NO3^-" = 0.006',
        '"NO3^-" = 0.002',
        ["stock 'iron', species", "charges", "+0.004"],
    ),
    "stock negative": ('"NO3^-" = 0.006', '"NO3^-" = -0.006', ["stock 'iron', species", "0 or more"]),
    "stock from unknown reagent": (
        "iron-nitrate",
        "iron-nitrat",
        ["stock 'iron', from", "did you mean 'iron-nitrate'"],
    ),
    "uses unknown": (
        'main = "complex"',
        'main = "complex"\nuses = "iron-tiocyanate"',
        ["uses", "did you mean 'iron-thiocyanate'"],
    ),
    "uses unknown reaction": (
        'main = "complex"',
        'main = "complex"\nuses = "_common/watr"',
        ["_common/watr", "did you mean 'water'"],
    ),
    "uses itself": ('main = "complex"', 'main = "complex"\nuses = "mine"', ["uses", "itself"]),
    "not TOML": ("K = 140", "K = = 140", ["not TOML", "line"]),
    "quote left open": ('title = "A test system"', 'title = "A test system', ["not TOML", "line 1"]),
    "key twice": ("K = 140", "K = 140\nK = 141", ["not TOML"]),
}


def complaint_about(path):
    with pytest.raises(EqlibError) as caught:
        catalogue.system(path)
    lines = str(caught.value).splitlines()
    assert all(path.name in line for line in lines)
    assert all(len(line) < 900 for line in lines)
    return "\n".join(lines)


def test_the_file_without_a_fault_is_a_system(tmp_path):
    path = tmp_path / "mine.toml"
    path.write_text(GOOD, encoding="utf-8")
    system = catalogue.system(path)
    assert system.title == "A test system"
    assert system.mixture().totals["Fe^3+"] == pytest.approx(0.001)
    assert system.constants["complex"].default.K == 140


@pytest.mark.parametrize("name", FAULTS)
def test_one_fault_gives_one_clear_line(name, tmp_path):
    old, new, wanted = FAULTS[name]
    assert GOOD.count(old) >= 1, "the fault must really change the file"
    path = tmp_path / "mine.toml"
    path.write_text(GOOD.replace(old, new, 1), encoding="utf-8")
    text = complaint_about(path)
    assert "\n" not in text
    for words in wanted:
        assert words in text


def test_every_fault_of_a_file_is_told_at_once(tmp_path):
    """Four slips of shape in four tables, then four of meaning: a line each, in the order of the file."""
    path = tmp_path / "mine.toml"
    shape = GOOD.replace("K = 140", "K = -1").replace('vessel = "a well"', 'vesel = "a well"')
    shape = shape.replace('direction = "forward"', 'direction = "right"').replace(
        "max_nm = 447", "max_nm = 4470"
    )
    path.write_text(shape, encoding="utf-8")
    lines = complaint_about(path).splitlines()
    assert len(lines) == 4
    for line, words in zip(
        lines, ["constant 'one', K", "did you mean 'vessel'", "direction", "max_nm"], strict=True
    ):
        assert words in line
    meaning = GOOD.replace('default = "one"', 'default = "two"').replace("<=> FeSCN^2+", "<=> FeSCN^3+")
    meaning = meaning.replace('"NO3^-" = 0.006', '"NO3^-" = 0.002').replace("Fe(OH)3(s)", "Fe^3+")
    path.write_text(meaning, encoding="utf-8")
    assert len(complaint_about(path).splitlines()) == 4


def test_the_dialect_of_a_stress_is_that_of_a_question_file(tmp_path):
    path = tmp_path / "mine.toml"
    written = 'does = { kind = "add_solution", of_mM = { "Fe(NO3)3" = 2.0 }, mL = 0.5 }'
    path.write_text(GOOD.replace(DOES, written), encoding="utf-8")
    stress = catalogue.system(path).steps["more"].stress
    assert dict(stress.amounts) == pytest.approx({"Fe^3+": 0.002, "NO3^-": 0.006})
    assert stress.volume == pytest.approx(0.0005)
    path.write_text(GOOD.replace(DOES, 'does = { kind = "heat_to", celsius = 60 }'), encoding="utf-8")
    assert pytest.approx(333.15) == catalogue.system(path).steps["more"].stress.T
    path.write_text(GOOD.replace(DOES, 'does = { kind = "add_solution", mL = 0.5 }'), encoding="utf-8")
    assert "stock, of, of_mM" in complaint_about(path)


def test_unknown_hazard_code_and_a_concentrate_without_strength(tmp_path):
    reagent = '\n[[reagent]]\nkey = "x"\nname = "x"\nformula = "KSCN"\nstate = "solid"\nhazard_source = "y"\n'
    path = tmp_path / "mine.toml"
    path.write_text(GOOD + reagent + 'codes = ["H3O2"]\n', encoding="utf-8")
    text = complaint_about(path)
    assert "reagent 'x', codes" in text
    assert "'H3O2'" in text
    assert "did you mean 'H302'" in text
    path.write_text(GOOD + reagent.replace('"solid"', '"concentrate"'), encoding="utf-8")
    assert "molarity" in complaint_about(path)


def test_not_utf8(tmp_path):
    path = tmp_path / "mine.toml"
    path.write_bytes(GOOD.replace("A test system", "Fällung").encode("latin-1"))
    text = complaint_about(path)
    assert "line 1" in text
    assert "UTF-8" in text


@pytest.mark.parametrize("content", ["", "   \n\n", "﻿"])
def test_empty_file(tmp_path, content):
    path = tmp_path / "mine.toml"
    path.write_text(content, encoding="utf-8")
    assert "empty" in complaint_about(path)


def test_a_file_with_only_a_title(tmp_path):
    path = tmp_path / "mine.toml"
    path.write_text('title = "x"\n', encoding="utf-8")
    text = complaint_about(path)
    assert "there is no reaction" in text
    assert "[[reaction]]" in text


def test_uses_in_a_circle(tmp_path):
    for name, other in (("one", "two"), ("two", "one")):
        own = GOOD.replace('main = "complex"', f'main = "complex"\nuses = "{other}"', 1)
        (tmp_path / f"{name}.toml").write_text(own, encoding="utf-8")
    text = complaint_about(tmp_path / "one.toml")
    assert "circle (one -> two -> one)" in text


def test_a_fault_in_a_used_file_names_both(tmp_path):
    (tmp_path / "other.toml").write_text(GOOD.replace("K = 140", "K = -1"), encoding="utf-8")
    own = GOOD.replace('main = "complex"', 'main = "complex"\nuses = "other"', 1)
    (tmp_path / "mine.toml").write_text(own, encoding="utf-8")
    text = complaint_about(tmp_path / "mine.toml")
    assert "other.toml" in text
    assert "constant 'one', K" in text


def test_no_file_a_folder_and_a_giant(tmp_path):
    assert "no such file" in complaint_about(tmp_path / "absent.toml")
    (tmp_path / "folder.toml").mkdir()
    assert "folder" in complaint_about(tmp_path / "folder.toml")
    giant = tmp_path / "giant.toml"
    giant.write_text("#" * 1_100_000, encoding="utf-8")
    assert "1000000 bytes" in complaint_about(giant)


def test_a_broken_link_in_the_folder_is_only_its_own_fault(tmp_path):
    (tmp_path / "good.toml").write_text(GOOD, encoding="utf-8")
    (tmp_path / "gone.toml").symlink_to(tmp_path / "nowhere.toml")
    assert catalogue.system("good", folder=tmp_path).title == "A test system"
    assert "no such file" in complaint_about(tmp_path / "gone.toml")


def test_faults_lists_every_bad_file_of_a_folder(tmp_path):
    (tmp_path / "good.toml").write_text(GOOD, encoding="utf-8")
    (tmp_path / "bad.toml").write_text(GOOD.replace("K = 140", "K = 0"), encoding="utf-8")
    (tmp_path / "worse.toml").write_text("=", encoding="utf-8")
    found = [str(e) for e in catalogue.faults(tmp_path)]
    assert len(found) == 2
    assert "bad.toml" in found[0]
    assert "worse.toml" in found[1]


def test_a_bad_neighbour_does_not_spoil_a_good_system(tmp_path):
    (tmp_path / "good.toml").write_text(GOOD, encoding="utf-8")
    (tmp_path / "bad.toml").write_text("=", encoding="utf-8")
    assert catalogue.system("good", folder=tmp_path).title == "A test system"


@pytest.mark.parametrize(
    ("old", "new", "wanted"),
    [
        (
            'direction = "forward"',
            'direction = "reverse"',
            ["stress 'more', direction", "says reverse", "goes forward"],
        ),
        (
            'reversal = "water"',
            'reversal = "water"\nsolid = "AgSCN(s)"',
            ["stress 'more', solid", "hardly there"],
        ),
        (
            DOES,
            'does = { kind = "remove", species = "FeSCN^2+", mmol = 1000 }',
            ["stress 'more'", "cannot be done"],
        ),
        (
            DOES,
            'does = { kind = "add_inert", mmol = 1000, constant = "volume" }',
            ["stress 'more'", "cannot be done"],
        ),
    ],
)
def test_check_file_tries_the_claims(tmp_path, old, new, wanted):
    silver = 'uses = "iron-thiocyanate-silver/silver-thiocyanate"\nmain = "complex"'
    path = tmp_path / "mine.toml"
    path.write_text(GOOD.replace('main = "complex"', silver, 1).replace(old, new, 1), encoding="utf-8")
    catalogue.system(path)  # well formed
    with pytest.raises(EqlibError) as caught:
        catalogue.check_file(path)
    for words in wanted:
        assert words in str(caught.value)


@pytest.mark.parametrize(
    "value", ["9" * 400, "9" * 6000, "1979-05-27", "{}", "[]", "true", '""', "[" * 2000 + "]" * 2000]
)
def test_strange_values_still_give_one_line(tmp_path, value):
    path = tmp_path / "mine.toml"
    path.write_text(GOOD.replace("K = 140", f"K = {value}"), encoding="utf-8")
    complaint_about(path)


@pytest.mark.parametrize(
    "key", ["reaction", "stock", "recipe", "stress", "spectrum", "solid", "uses", "reagent"]
)
@pytest.mark.parametrize("value", ["3", "[1]", '""', "[[]]"])
def test_a_plain_value_where_tables_belong(tmp_path, key, value):
    if key == "recipe":
        body = GOOD.replace("[recipe]", "[other]")
    else:
        body = GOOD.replace(f"[[{key}]]", "[[other]]").replace("[[reaction.constant]]", "[[constant]]")
    path = tmp_path / "mine.toml"
    path.write_text(f"{key} = {value}\n{body}", encoding="utf-8")
    complaint_about(path)
