"""What a question file says in numbers, and each of its faults in one line: the place, the key, the mend."""

import pytest

from eqlib.assess.load import read_questions
from eqlib.assess.setting import round_to
from eqlib.assess.tables import QuestionError

TOP = '[assignment]\nid = "files"\ntitle = "F"\ncourse = "evening-class"\n'
HEAD = '[[question]]\nid = "q"\nkind = "mixed"\npoints = 4\ntitle = "Q"\nprompt = "A question."\n'
IRON = 'reactions = [{ text = "Fe^3+ + SCN^- <=> FeSCN^2+", K = 140, dH_kJ = -6 }]\n'
TUBE = '[question.start]\ntotals = { "Fe^3+" = 2e-3, "SCN^-" = 1e-3 }\nvolume_L = 0.01\n'
BULB = (
    'reactions = [{ text = "2 NO2(g) <=> N2O4(g)", K = 170, dH_kJ = -57.2 }]\n'
    '[question.start]\ntotals = { "NO2(g)" = 0.04 }\nvolume_L = 0.1\n'
)
WATER = '[question.stress]\nkind = "dilute"\nmL = 10\n'
WAY = '[[question.part]]\nask = "direction"\n'
K = '[[question.part]]\nask = "number"\nquantity = "K"\n'


def read(*text, head=HEAD, top=TOP):
    return read_questions(top + head + "".join(text))["q"]


def faults(*text, head=HEAD, top=TOP):
    with pytest.raises(QuestionError) as told:
        read_questions(top + head + "".join(text))
    return list(told.value.faults)


@pytest.mark.parametrize(
    ("stress", "kind", "amounts", "volume", "T", "constant"),
    [
        ('kind = "add_solution"\nof = { KSCN = 0.2 }\nmL = 0.5', "add_solution", {"SCN^-": 0.2, "K^+": 0.2}, 5e-4, None, ""),
        ('kind = "add_solution"\nof_mM = { "Fe(NO3)3" = 20 }\nmL = 0.5', "add_solution", {"Fe^3+": 0.02, "NO3^-": 0.06}, 5e-4, None, ""),
        ('kind = "dilute"\nmL = 10', "dilute", {}, 0.01, None, ""),
        ('kind = "add"\nspecies = "SCN^-"\nmmol = 0.02', "add", {"SCN^-": 2e-5}, None, None, ""),
        ('kind = "remove"\nspecies = "SCN^-"\nmmol = 0.001', "remove", {"SCN^-": 1e-6}, None, None, ""),
        ('kind = "heat_to"\ncelsius = 60', "heat_to", {}, None, 333.15, ""),
        ('kind = "catalyse"', "catalyse", {}, None, None, ""),
    ],
)  # fmt: skip
def test_a_stress_in_the_units_of_the_bench(stress, kind, amounts, volume, T, constant):
    made = read(IRON, TUBE, f"[question.stress]\n{stress}\n", WAY).setting.stress_for({})
    assert made.kind == kind
    held = dict(made.amounts)
    for name, value in amounts.items():
        assert held.get(name, held.get("KSCN", held.get("Fe(NO3)3"))) == pytest.approx(value)
    if volume is not None:
        assert made.volume == pytest.approx(volume)
    if T is not None:
        assert pytest.approx(T) == made.T


@pytest.mark.parametrize(
    ("stress", "litres"),
    [('kind = "change_volume"\nmL = 50', 0.05), ('kind = "change_volume"\nL = 0.2', 0.2)],
)
def test_a_plunger_in_litres_or_millilitres(stress, litres):
    made = read(BULB, f"[question.stress]\n{stress}\n", WAY).setting.stress_for({})
    assert made.volume == pytest.approx(litres)
    inert = read(BULB, '[question.stress]\nkind = "add_inert"\nmmol = 4\nconstant = "pressure"\n', WAY)
    made = inert.setting.stress_for({})
    assert (dict(made.amounts), made.constant) == ({"Ar(g)": pytest.approx(4e-3)}, "pressure")


def test_what_is_poured_together():
    start = (
        '[question.start]\nportions = [{ of_mM = { "Fe(NO3)3" = 5 }, mL = 2 }, { of = { KSCN = 0.002 }, mL = 1 }, '
        "{ to_mL = 10 }]\ncelsius = 40\n"
    )
    made = read(IRON, start, K)
    case = made.case()
    assert [portion.volume for portion in case.portions] == pytest.approx([2e-3, 1e-3, 7e-3])
    assert case.volume == pytest.approx(0.01)
    assert case.temperature == pytest.approx(313.15)
    assert (case.mixed["Fe^3+"], case.mixed["SCN^-"]) == pytest.approx((1e-3, 2e-4))


@pytest.mark.parametrize(
    ("value", "how", "text"),
    [
        (0.32549, {"decimals": 3}, "0.325"),
        (0.3255, {"decimals": 3}, "0.326"),  # half to even
        (0.3245, {"decimals": 3}, "0.324"),
        (139.6, {"figures": 3}, "140"),
        (0.00013996, {"figures": 3}, "0.000140"),
        (1234.0, {"figures": 3}, "1.23E+3"),
        (0.0, {"figures": 3}, "0"),
    ],
)
def test_a_reading_is_rounded_as_it_is_printed(value, how, text):
    assert str(round_to(value, **how)) == text


Q = "questions: question 'q'"


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ((IRON, TUBE, WATER, WAY.replace("direction", "direktion")), (
            f"{Q}, part number 1: ask is 'direktion'; did you mean 'direction'?"
        )),
        ((IRON, TUBE, WATER), f"{Q}: part is missing; add at least one [[question.part]]"),
        ((IRON, TUBE, WATER, "[[question.part]]\n"), f"{Q}, part number 1: ask is missing; add a line ask = ..."),
        ((IRON, TUBE, WATER.replace("dilute", "dilude"), WAY), f"{Q}, stress: kind is 'dilude'; did you mean 'dilute'?"),
        ((IRON, TUBE, WATER.replace("kind", "kid"), WAY), f"{Q}, stress: kind is missing; add a line kind = ..."),
        ((IRON, TUBE, WATER.replace("mL", "ml"), WAY), f"{Q}, stress: there is no key 'ml'; did you mean 'mL'?"),
        ((IRON, TUBE, WATER.replace("mL = 10", ""), WAY), f"{Q}, stress: mL is missing; add a line mL = ..."),
        ((IRON, TUBE, WATER + 'mL2 = 3\n', WAY), f"{Q}, stress: there is no key 'mL2'; did you mean 'mL'?"),
        ((IRON, TUBE.replace("volume_L", "volume_mL"), WATER, WAY), (
            f"{Q}, start: there is no key 'volume_mL'; did you mean 'volume_L'?"
        )),
        (("colour = 1\n", IRON, TUBE, WATER, WAY), f"{Q}: there is no key 'colour'"),
        ((IRON, TUBE, WATER, WAY + "weight = -1\n"), (
            f"{Q}, part number 1 (direction): weight is -1; write 0 or more"
        )),
        ((IRON, TUBE, WATER, WAY + 'id = "a b"\n'), (
            f"{Q}, part number 1 (direction): id is 'a b'; write letters, digits, dots, dashes and "
            "underscores"
        )),
        ((IRON, TUBE, WATER, WAY + "weight = 0\n"), (
            f"{Q}: no part earns points; give one of them a weight above 0"
        )),
        ((IRON, TUBE, WATER, WAY, WAY), (
            f"{Q}: two parts are called 'direction'; give one of them another id"
        )),
        (("hints = [\" \"]\n", IRON, TUBE, WATER, WAY), f"{Q}: hints should be a list of texts"),
        (("hints = [1]\n", IRON, TUBE, WATER, WAY), f"{Q}: hints should be a list of texts"),
        (('system = "iron-thiocyanate"\n', IRON, TUBE, WATER, WAY), f"{Q}: has both system and reactions; keep one"),
        (("reactions = []\n", TUBE, WATER, WAY), f"{Q}: reactions is empty; write at least one"),
        ((TUBE, WATER, WAY), f"{Q}: there is no chemistry; add system = ... or reactions = [...]"),
        ((IRON, TUBE, '[[question.part]]\nask = "K"\n'), (
            f"{Q}: part 'K' asks what a change does, but there is no stress; add [question.stress]"
        )),
        ((IRON, TUBE, '[question.stress]\nkind = "heat_to"\ncelsius = "t"\n', WAY), (
            f"{Q}: celsius is 't', which is not one of the question's numbers; add it under "
            "[question.numbers]"
        )),
        (('prompt2 = 1\n', IRON, TUBE, WATER, WAY), f"{Q}: there is no key 'prompt2'; did you mean 'prompt'?"),
        ((IRON, TUBE.replace("totals", 'portions = [{ mL = 3 }]\ntotals'), WATER, WAY), f"{Q}, start: has both portions and totals; keep one"),
        ((IRON, '[question.start]\nportions = [{ mL = 3, to_mL = 4 }]\n', WATER, WAY), (
            f"{Q}, start, portion number 1: say how much once, as mL (this portion) or to_mL (water "
            "up to this volume)"
        )),
        ((IRON, '[question.start]\nportions = [{ of = { KSCN = 1 }, of_mM = { KSCN = 1 }, mL = 4 }]\n', WATER, WAY), (
            f"{Q}, start, portion number 1: say what is in it once, as of (mol/L) or of_mM (mmol/L)"
        )),
        ((IRON, '[question.start]\nportions = [{ of = { KSCN = 1 }, mL = 4 }, { to_mL = 3 }]\n', WATER, WAY), f"{Q}: start: the portions already pass 3 mL; raise it"),
        ((IRON, '[question.start]\nportions = [{ of = { KSCN = 1 }, mL = -4 }]\n', WATER, WAY), (
            f"{Q}: start: a portion has -4 mL; write a volume of 0 or more"
        )),
        ((IRON, '[question.start]\nportions = [{ of = { KSCN = 1 }, mL = 0 }]\n', WATER, WAY), (
            f"{Q}: start: the portions have no volume; give at least one a volume above 0"
        )),
        ((IRON, TUBE + 'solids = { "Fe^3+" = 1 }\n', WATER, WAY), (
            f"{Q}, start: solids holds 'Fe^3+', which is not a solid; pour it in under portions"
        )),
        ((IRON, TUBE, '[question.stress]\nkind = "add_solution"\nmL = 1\n', WAY), (
            f"{Q}, stress: write what is in the solution once, as of (mol/L) or of_mM (mmol/L)"
        )),
        ((IRON, TUBE, '[question.stress]\nkind = "change_volume"\n', WAY), f"{Q}, stress: write the new volume once, as L or as mL"),
        ((IRON.replace(", dH_kJ = -6", ""), TUBE, '[question.stress]\nkind = "heat_to"\ncelsius = 60\n', WAY), (
            f"{Q}: stress heat_to: whether Fe^3+ + SCN^- <=> FeSCN^2+ gives out heat is not known; "
            "add dH_kJ to that reaction"
        )),
        (('stress = "silver"\n', IRON, TUBE, WAY), (
            f"{Q}: stress 'silver' is a name, but there is no system to look it up in"
        )),
        (('system = "iron-thiocyanate"\nstress = "irn"\n', WAY), (
            f"{Q}: system 'iron-thiocyanate' has no stress 'irn'; did you mean 'iron'?"
        )),
        (('system = "iron-thiocyanate"\nuse = [99]\n', WATER, WAY), f"{Q}: use holds 99; the system has reactions 0 to "),
        (('system = "iron-thiocyanat"\n', WATER, WAY), (
            f"{Q}: there is no system 'iron-thiocyanat' in the catalogue; did you mean "
            "'iron-thiocyanate'?"
        )),
        ((IRON, TUBE, '[question.measured]\nreading = "absorbance"\nspecies = "FeSCN^2+"\nepsilon = 4700\n', K), (
            f"{Q}, measured: path_cm is missing; add a line path_cm = ..."
        )),
        ((IRON, TUBE, '[question.measured]\nreading = "runs"\nruns = [140]\n', K), (
            f"{Q}, measured: runs needs at least two of the question's numbers"
        )),
        ((IRON, TUBE, '[question.measured]\nreading = "concentration"\nspecies = "FeSCN^2+"\nfigures = 0\n', K), (
            f"{Q}, measured: figures is 0; write a whole number from 1 to 9"
        )),
        ((IRON, TUBE, '[question.measured]\nreading = "concentration"\nspecies = "FeSCN^2+"\nfigures = 10\n', K), (
            f"{Q}, measured: figures is 10; write a whole number from 1 to 9"
        )),
        ((IRON, TUBE, '[question.measured]\nreading = "concentration"\nspecies = "FeSCN^2+"\ndecimals = 10\n', K), (
            f"{Q}, measured: decimals is 10; write a whole number from 0 to 9"
        )),
        ((IRON, TUBE, '[question.measured]\nreading = "concentration"\nspecies = "Cu^2+"\n', K), (
            f"{Q}: measured: Cu^2+ is not in this mixture; did you mean 'FeSCN^2+'?"
        )),
        ((IRON, '[question.measured]\nreading = "concentration"\nspecies = "FeSCN^2+"\n', K), (
            f"{Q}, measured: there is no mixture to read; add [question.start]"
        )),
        ((IRON, TUBE, '[question.measured]\nreading = "absorbance"\nspecies = "FeSCN^2+"\nepsilon = "catalogue"\npath_cm = 1\n', K), (
            f"{Q}, measured: epsilon = 'catalogue' needs nm = ... and a species with a spectrum in "
            "the catalogue"
        )),
        ((IRON, TUBE, '[question.measured]\nreading = "absorbance"\nspecies = "FeSCN^2+"\nepsilon = "catalogue"\nnm = 2000\npath_cm = 1\n', K), f"{Q}, measured: FeSCN^2+ does not absorb at 2000 nm"),
    ],
    ids=lambda value: value[-50:] if isinstance(value, str) else "",
)  # fmt: skip
def test_a_fault_is_one_line_with_its_place_and_mend(text, line):
    found = faults(*text)
    assert any(fault.startswith(line) for fault in found), found
    assert len(found) == 1, found


@pytest.mark.parametrize(
    ("head", "line"),
    [
        (HEAD.replace('points = 4', "points = 0"), f"{Q}: points is 0; write a number above 0"),
        (HEAD.replace('points = 4', "points = 1001"), f"{Q}: points is 1001; write a number above 0"),
        (HEAD.replace('id = "q"', 'id = "a question"'), (
            "questions: question 'a question': id 'a question' should be letters"
        )),
        (HEAD.replace('id = "q"', ""), "questions: question number 1: id is missing; add a line id = ..."),
        (HEAD.replace("mixed", "mix"), f"{Q}: kind is 'mix'; did you mean 'mixed'?"),
        (HEAD.replace("mixed", "number"), (
            f"{Q}: kind is 'number' but no part asks 'number'; add one or change the kind"
        )),
        (HEAD.replace("A question.", "{drop} mL"), (
            f"{Q}: prompt: {{drop}} is not one of the question's numbers"
        )),
        (HEAD.replace("A question.", "{ mL"), f"{Q}: prompt: "),
        (HEAD.replace("A question.", "{K:.3f}"), (
            f"{Q}: prompt: write {{K}} alone; numbers are shown as they stand in the file"
        )),
        (HEAD + "numbers = { \"a b\" = 1 }\n", (
            f"{Q}: numbers 'a b' needs a name of letters, digits and underscores"
        )),
        (HEAD + 'reveal = "now"\n', f"{Q}: reveal is 'now'; it can be "),
        (HEAD + 'mode = "assesed"\n', f"{Q}: mode is 'assesed'; did you mean 'assessed'?"),
        (HEAD + "policy = { tolerence = 0.1 }\n", f"{Q}: "),
        (HEAD.replace('"Q"', "3"), f"{Q}: title is 3; write text in quotes"),
    ],
    ids=lambda value: value[-40:],
)  # fmt: skip
def test_a_fault_in_the_head_of_a_question(head, line):
    found = faults(IRON, TUBE, WATER, WAY, head=head)
    assert any(fault.startswith(line) for fault in found), found


def test_a_thousand_points_are_allowed():
    assert read(IRON, TUBE, WATER, WAY, head=HEAD.replace("points = 4", "points = 1000")).points == 1000


@pytest.mark.parametrize(
    ("top", "line"),
    [
        ("", "questions: assignment is missing; add a table [assignment]"),
        (
            TOP.replace('id = "files"', 'id = "two words"'),
            "questions: [assignment]: id 'two words' should be letters",
        ),
        (TOP + "[other]\n", "questions: there is no key 'other'"),
        (TOP + "policy = { tolerance = 3 }\n", "questions: [assignment]: "),
        (
            TOP.replace('title = "F"\n', ""),
            ("questions: [assignment]: title is missing; add a line title = ..."),
        ),
    ],
)
def test_a_fault_in_the_head_of_the_file(top, line):
    found = faults(IRON, TUBE, WATER, WAY, top=top)
    assert any(fault.startswith(line) for fault in found), found


def test_a_file_without_questions_and_one_with_the_same_twice():
    with pytest.raises(QuestionError, match="there is no question; add at least one"):
        read_questions(TOP)
    one = HEAD + IRON + TUBE + WATER + WAY
    with pytest.raises(QuestionError, match="question 'q' stands twice; give one of them another id"):
        read_questions(TOP + one + one)
    with pytest.raises(QuestionError, match="not readable as TOML"):
        read_questions("[assignment")


def test_a_written_explanation_has_a_question_of_its_own():
    words = '[[question.part]]\nask = "explain"\n'
    assert faults(IRON, TUBE, WATER, WAY, words) == [
        f"{Q}: a written explanation is marked by a person; give it a question of its own"
    ]


@pytest.mark.parametrize("nm", [447, 480, 500, 520])
def test_an_absorptivity_looked_up_is_printed_to_three_figures(nm):
    read_off = f'[question.measured]\nreading = "absorbance"\nspecies = "FeSCN^2+"\nepsilon = "catalogue"\nnm = {nm}\npath_cm = 1\n'
    setting = read(IRON, TUBE, read_off, K).setting
    digits = f"{setting.measured.printed_absorptivity():f}".replace(".", "").strip("0")
    assert 1 <= len(digits) <= 3
    assert setting.measured.absorptivity({}) == float(setting.measured.printed_absorptivity())
