"""Marks follow the student's own reasoning: causes that agree, slips that cost once, nonsense that earns
nothing, and wrong ideas named only where they explain the answer.

The numbers are worked out here by hand, with constants written down in this file.
"""

from pathlib import Path

import pytest

from eqlib.assess.load import load_questions, read_questions
from eqlib.assess.mark import mark
from eqlib.assess.tables import QuestionError

COURSE = Path(__file__).parents[2] / "notebooks" / "source"
HEAD = """
[assignment]
id = "t"
title = "t"
course = "c"
"""
ACID = (
    HEAD
    + """
[[question]]
id = "acid"
kind = "prediction"
points = 2
title = "t"
prompt = "t"
reactions = [
  { text = "Fe^3+ + SCN^- <=> FeSCN^2+", K = 140 },
  { text = "Fe^3+ + F^- <=> FeF^2+", K = 2e5 },
  { text = "HF <=> H^+ + F^-", K = 6.8e-4 },
]
[question.start]
portions = [{ of_mM = { "Fe^3+" = 2, "SCN^-" = 2, "F^-" = 2 }, mL = 10 }]
[question.stress]
kind = "add_solution"
of = { "H^+" = 5.0 }
mL = 1.0
[[question.part]]
ask = "direction"
[[question.part]]
ask = "reason"
options = ["frees:Fe^3+", "binds:SCN^-", "q_above_K", "q_below_K", "not_in_equation"]
"""
)
DETERMINED = (
    HEAD
    + """
[[question]]
id = "kc"
kind = "mixed"
points = 4
title = "t"
prompt = "{absorbance}"
reactions = [{ text = "Fe^3+ + SCN^- <=> FeSCN^2+", K = 140 }]
[question.start]
portions = [{ of_mM = { "Fe^3+" = 4.00 }, mL = 5 }, { of_mM = { "SCN^-" = 3.00 }, mL = 5 }]
[question.measured]
reading = "absorbance"
species = "FeSCN^2+"
epsilon = 4700
path_cm = 1.00
blank = 0.060
[[question.part]]
ask = "number"
id = "complex"
quantity = "concentration"
species = "FeSCN^2+"
[[question.part]]
ask = "number"
id = "fe"
quantity = "concentration"
species = "Fe^3+"
[[question.part]]
ask = "number"
id = "scn"
quantity = "concentration"
species = "SCN^-"
[[question.part]]
ask = "number"
id = "kc"
quantity = "K"
"""
)
TABLE = DETERMINED[: DETERMINED.index("[[question.part]]")] + (
    '[[question.part]]\nask = "ice"\n[[question.part]]\nask = "number"\nid = "kc"\nquantity = "K"\n'
)
F, S = 2.0e-3, 1.5e-3  # mol/L after mixing


def reading():
    """The absorbance as printed: x of F, S and K 140 by the quadratic formula, plus the blank."""
    b = F + S + 1 / 140
    x = (b - (b * b - 4 * F * S) ** 0.5) / 2
    return round(0.060 + 4700 * x, 3)


def test_where_a_rival_lets_go_the_reason_is_the_rival_and_not_Q():
    """Strong acid takes fluoride from the iron: iron is set free, so the red reaction goes forward, although
    the dilution alone had put Q above K.
    """
    question = read_questions(ACID)["acid"]
    assert mark(question, {"direction": "forward", "reason": "frees:Fe^3+"}).points == 2.0
    given = mark(question, {"direction": "forward", "reason": "q_above_K"})
    assert given.points == 1.0
    assert mark(question, {"direction": "reverse", "reason": "q_above_K"}).points == 0.0


def numbers(x, fe=F, scn=S, plus=False):
    sign = 1 if plus else -1
    a, b = fe + sign * x, scn + sign * x
    return {"complex": f"{x:.3g}", "fe": f"{a:.3g}", "scn": f"{b:.3g}", "kc": f"{x / (a * b):.3g}"}


def test_a_blank_left_in_costs_once_along_the_whole_path():
    question = read_questions(DETERMINED)["kc"]
    A = reading()
    assert mark(question, numbers((A - 0.060) / 4700)).points == 4.0
    kept = mark(question, numbers(A / 4700))
    assert kept.points == 3.0
    assert [part.mistake for part in kept.parts] == ["blank_kept", None, None, None]
    assert kept.parts[0].note == "wrong"
    assert {part.note for part in kept.parts[1:]} <= {"right", "carried"}
    assert kept.parts[3].note == "carried"


@pytest.mark.parametrize("slip", [1.6, 0.7])
def test_a_slip_without_a_name_is_carried_as_well(slip):
    question = read_questions(DETERMINED)["kc"]
    x = slip * (reading() - 0.060) / 4700
    assert mark(question, numbers(x)).points == 3.0


def table_of(x, fe=F, scn=S, sign=-1):
    return {
        "initial": {"Fe^3+": f"{fe:.4g}", "SCN^-": f"{scn:.4g}", "FeSCN^2+": "0"},
        "change": {"Fe^3+": f"{sign * x:.4g}", "SCN^-": f"{sign * x:.4g}", "FeSCN^2+": f"{x:.4g}"},
        "equilibrium": {
            "Fe^3+": f"{fe + sign * x:.4g}",
            "SCN^-": f"{scn + sign * x:.4g}",
            "FeSCN^2+": f"{x:.4g}",
        },
    }


def test_in_a_table_a_slip_costs_its_row_and_nothing_after_it():
    """Nine places of two points; what a slip touches in its own row is lost, the last row and Kc follow."""
    question = read_questions(TABLE)["kc"]
    A = reading()
    x = (A - 0.060) / 4700
    assert mark(question, {"ice": table_of(x), "kc": numbers(x)["kc"]}).points == 4.0
    kept = A / 4700
    given = mark(question, {"ice": table_of(kept), "kc": numbers(kept)["kc"]})
    assert given.points == pytest.approx(2 * 6 / 9 + 2), "the blank kept: three changes are wrong"
    grown = mark(question, {"ice": table_of(x, sign=1), "kc": numbers(x, plus=True)["kc"]})
    assert grown.points == pytest.approx(2 * 7 / 9 + 2), "two reactants that grow"
    fe, scn = 4.00e-3, 3.00e-3  # the bottles' concentrations, as if nothing had been mixed
    stock = mark(question, {"ice": table_of(x, fe, scn), "kc": f"{x / ((fe - x) * (scn - x)):.4g}"})
    assert stock.points == pytest.approx(2 * 6 / 9 + 2), "starts before mixing; the nought needs no work"
    small = {
        row: {n: f"{1e3 * float(c):.4g}" for n, c in cells.items()} for row, cells in table_of(x).items()
    }
    milli = mark(question, {"ice": small, "kc": f"{1e-3 * float(numbers(x)['kc']):.4g}"})
    assert milli.points == pytest.approx(2 * 6 / 9 + 2), "mmol/L all along: one row of three"


NONSENSE = [
    {"complex": "1e300", "fe": "0.00", "scn": "0.00", "kc": "0.00"},
    {"complex": "1e300", "fe": "-1e300", "scn": "-1e300", "kc": "1e-300"},
    {"complex": "0", "fe": "0", "scn": "0", "kc": "0"},
    {"complex": "1.00", "fe": "1.00", "scn": "1.00", "kc": "1.00"},
    {"complex": "1e-5", "fe": "1e-5", "scn": "1e-5", "kc": "1e5"},
    {"complex": "1e-9", "fe": "2.00e-3", "scn": "1.50e-3", "kc": "3.33e-4"},
    {"complex": "nan", "fe": "inf", "scn": "1e-400", "kc": "1"},
]


@pytest.mark.parametrize("answer", NONSENSE)
def test_nonsense_earns_nothing(answer):
    assert mark(read_questions(DETERMINED)["kc"], answer).points == 0.0


@pytest.mark.parametrize("cell", ["0", "1.00", "1e-5", "1e300"])
def test_a_table_of_one_number_earns_nothing(cell):
    names = ("Fe^3+", "SCN^-", "FeSCN^2+")
    table = {row: dict.fromkeys(names, cell) for row in ("initial", "change", "equilibrium")}
    answer = {"ice": table, "kc": {"1.00": "1.00", "1e-5": "1e5"}.get(cell, "1")}
    given = mark(read_questions(TABLE)["kc"], answer)
    assert given.points == 0


def test_a_table_of_ones_and_noughts_with_K_1_earns_nothing():
    """The nought of the product at the start is right, and known without any work."""
    names = ("Fe^3+", "SCN^-", "FeSCN^2+")
    rows = (("initial", ("1.00", "1.00", "0")), ("change", ("0", "0", "1.00")))
    table = {row: dict(zip(names, cells, strict=True)) for row, cells in rows}
    table["equilibrium"] = dict.fromkeys(names, "1.00")
    assert mark(read_questions(TABLE)["kc"], {"ice": table, "kc": "1.00"}).points == 0


IRON = (
    HEAD
    + """
[[question]]
id = "iron"
kind = "prediction"
points = 3
title = "t"
prompt = "t"
system = "iron-thiocyanate"
use = [0]
[question.start]
portions = [{ of_mM = { "Fe(NO3)3" = 5.0 }, mL = 1 }, { of_mM = { KSCN = 2.0 }, mL = 1 }]
[question.stress]
kind = "add_solution"
of_mM = { KSCN = 100 }
mL = 0.1
[[question.part]]
ask = "direction"
[[question.part]]
ask = "seen"
[[question.part]]
ask = "reason"
options = ["q_below_K", "q_above_K", "two_boxes", "k_moves_conc"]
"""
)


def test_a_coherent_wrong_prediction_is_one_wrong_idea():
    question = read_questions(IRON)["iron"]
    given = mark(question, {"direction": "reverse", "seen": "paler", "reason": "q_above_K"})
    assert given.points == 0.0
    assert given.mistake is None
    assert given.feedback.count("It goes with the direction chosen above") == 2


def test_a_wrong_direction_alone_is_not_the_rule_of_Q_turned_round():
    question = read_questions(IRON)["iron"]
    assert mark(question, {"direction": "reverse"}).mistake is None
    against = mark(question, {"direction": "reverse", "seen": "darker", "reason": "q_below_K"})
    assert against.mistake == "q_reversed"
    assert "which way does that reason point" in against.feedback or "top line of Q" in against.feedback


def test_a_number_after_a_change_needs_a_change():
    for when in ("after", "at_once"):
        text = DETERMINED.replace('species = "Fe^3+"', f'species = "Fe^3+"\nwhen = "{when}"')
        with pytest.raises(
            QuestionError, match=r"part 'fe' asks what a change does.*add \[question.stress\]"
        ):
            read_questions(text)


def test_all_faults_of_a_file_are_told_at_once():
    text = DETERMINED.replace("points = 4", "points = -4").replace('quantity = "K"', 'quantity = "KK"')
    with pytest.raises(QuestionError) as caught:
        read_questions(text.replace('species = "SCN^-"', 'speceis = "SCN^-"'))
    lines = caught.value.faults
    assert len(lines) == 3
    assert any("points is -4" in line for line in lines)
    assert any("quantity is 'KK'" in line for line in lines)
    assert any("did you mean 'species'" in line for line in lines)


IODINE = (
    HEAD
    + """
[[question]]
id = "kc"
kind = "number"
points = 6
title = "t"
prompt = "{absorbance}"
reactions = [{ text = "I2 + I^- <=> I3^-", K = 710 }]
[question.start]
portions = [{ of_mM = { I2 = 1.0 }, mL = 6.0 }, { of_mM = { KI = 4.0 }, mL = 3.0 }, { to_mL = 12.0 }]
[question.measured]
reading = "absorbance"
species = "I3^-"
epsilon = 26000
path_cm = 0.1
blank = 0.05
decimals = 3
"""
    + "".join(
        f'[[question.part]]\nask = "number"\nid = "{name}"\nquantity = "concentration"\n'
        f'species = "{species}"\nwhen = "before"\n'
        for name, species in (("c", "I3^-"), ("i2", "I2"), ("i", "I^-"))
    )
    + '[[question.part]]\nask = "number"\nid = "k"\nquantity = "K"\nweight = 3\n'
)
# 0.5 mmol/L of iodine and 1 mmol/L of iodide after mixing; (A - 0.05) / (26000 × 0.1) of triiodide.


@pytest.mark.parametrize(
    ("slip", "factor", "iodine", "iodide", "per"),
    [
        ("path_ignored", 0.1, 5e-4, 1e-3, 1),  # the cell taken as 1 cm; what is left is close to the start
        ("stock_conc", 1, 1e-3, 4e-3, 1),  # bottle strength, in both reactants
        ("unit_prefix", 1, 5e-4, 1e-3, 1000),  # mmol/L typed all along without saying so
    ],
)
def test_one_slip_in_several_numbers_costs_the_first_of_them(slip, factor, iodine, iodide, per):
    question = read_questions(IODINE)["kc"]
    x = factor * (question.case().measured["absorbance"] - 0.05) / 2600
    c, i2, i = (per * value for value in (x, iodine - x, iodide - x))
    answer = {"c": f"{c:.4g}", "i2": f"{i2:.4g}", "i": f"{i:.4g}", "k": f"{c / (i2 * i):.4g}"}
    given = mark(question, answer)
    assert (given.points, given.mistake) == (5, slip)


def test_numbers_copied_from_the_start_are_no_work():
    """Each of the two is wrong by the same slip, but nothing was worked out: neither is forgiven."""
    question = read_questions(IODINE)["kc"]
    x = (question.case().measured["absorbance"] - 0.05) / 2600
    given = mark(question, {"c": f"{x:.4g}", "i2": "0.0005", "i": "0.001", "k": f"{x / 5e-7:.4g}"})
    assert [part.note for part in given.parts] == ["right", "wrong", "wrong", "carried"]


def test_no_shift_is_not_a_rule_of_Q_turned_round():
    """Whoever says that nothing shifts has not read Q against K the wrong way."""
    question = read_questions(IRON)["iron"]
    assert mark(question, {"direction": "none", "seen": "paler"}).mistake != "q_reversed"


PLUNGER = (
    HEAD
    + """
[[question]]
id = "plunger"
title = "The plunger"
kind = "mixed"
points = 3
prompt = "Kc, then Q."
reactions = [{ text = "2 NO2(g) <=> N2O4(g)", K = 40 }]
[question.start]
totals = { "NO2(g)" = 0.08 }
volume_L = 0.020
[question.stress]
kind = "change_volume"
mL = 28.0
[[question.part]]
ask = "number"
quantity = "K"
[[question.part]]
ask = "number"
quantity = "Q"
weight = 2
"""
)


@pytest.mark.parametrize("own", [80.0, 0.025])  # the change of N2O4 not halved; the quotient upside down
def test_q_after_a_move_of_the_plunger_goes_on_from_an_own_kc(own):
    """Each concentration becomes 20/28 of itself; Q of 2 A = B then is Kc times 28/20, whatever Kc was."""
    question = read_questions(PLUNGER)["plunger"]
    given = mark(question, {"K": own, "Q": own * 28 / 20})
    assert given.points == pytest.approx(2.0)
    assert given.parts[1].note == "carried"
    assert mark(question, {"K": own, "Q": own}).parts[1].points == 0


def test_no_shift_with_a_reason_of_its_own_is_that_reason():
    question = read_questions(IRON)["iron"]
    given = mark(question, {"direction": "none", "seen": "same", "reason": "k_moves_conc"})
    assert given.mistake == "k_moves_conc"
    assert all(part.mistake != "static_stop" for part in given.parts)


def test_no_idea_is_named_that_another_row_contradicts():
    """Whoever sees the cause has not the idea that nothing could happen; whoever sees the way not another."""
    question = read_questions(IRON)["iron"]
    beside = mark(question, {"direction": "none", "seen": "darker", "reason": "q_below_K"})
    assert beside.mistake is None
    assert "does not go with the reason" in beside.feedback
    silver = (
        IRON.replace("KSCN = 100", "AgNO3 = 100")
        .replace("use = [0]\n", "")
        .replace("-thiocyanate", "-thiocyanate-silver")
    )
    silver = silver.replace('"q_below_K", ', '"binds:SCN^-", "q_below_K", ')
    question = read_questions(silver)["iron"]
    bound = mark(question, {"direction": "none", "seen": "paler", "reason": "binds:SCN^-"})
    assert bound.mistake is None, "he said what silver does"
    assert mark(question, {"direction": "none", "seen": "same"}).mistake == "not_in_equation"


WARM = IRON.replace(
    'system = "iron-thiocyanate"\nuse = [0]', 'system = "iron-thiocyanate-temperature"'
).replace('kind = "add_solution"\nof_mM = { KSCN = 100 }\nmL = 0.1', 'kind = "heat_to"\ncelsius = 60')
WARM = WARM.replace('options = ["q_below_K"', 'options = ["k_falls", "heat_is_forward", "q_below_K"')


def test_the_right_way_with_the_wrong_colour_is_no_belief_in_heat():
    """The reaction gives heat out and goes to reactants: who says so does not think that heat helps it on."""
    question = read_questions(WARM)["iron"]
    given = mark(question, {"direction": "reverse", "seen": "darker", "reason": "k_falls"})
    assert given.mistake is None
    believed = mark(question, {"direction": "forward", "seen": "darker", "reason": "heat_is_forward"})
    assert believed.mistake == "heat_is_forward"


ONE = HEAD + '[[question]]\nid = "q"\nkind = "mixed"\npoints = 2\ntitle = "t"\nprompt = "t"\n'
SPLIT = (
    ONE
    + """reactions = [{ text = "N2O4(g) <=> 2 NO2(g)", K = 0.0020 }]
[question.start]
totals = { "N2O4(g)" = 0.006 }
volume_L = 1.0
[[question.part]]
ask = "number"
quantity = "concentration"
species = "NO2(g)"
"""
)
SILVER = (
    ONE
    + """reactions = [{ text = "AgSCN(s) <=> Ag^+ + SCN^-", K = 1e-12 }]
[question.start]
portions = [{ of_mM = { "Ag^+" = 4.0 }, mL = 1.0 }, { of_mM = { "SCN^-" = 2.0 }, mL = 1.0 }]
[[question.part]]
ask = "number"
id = "silver"
quantity = "concentration"
species = "Ag^+"
[[question.part]]
ask = "number"
id = "scn"
quantity = "concentration"
species = "SCN^-"
"""
)


def test_the_coefficient_forgotten_in_the_change_row_is_named():
    """4 x^2 / (0.006 - x) = 0.0020 has x = 0.0015: [NO2] is 0.0030, and x = 0.0015 the slip."""
    question = read_questions(SPLIT)["q"]
    assert mark(question, {"concentration": "0.00300"}).points == 2
    assert mark(question, {"concentration": "0.00150"}).mistake == "change_coeff"


@pytest.mark.parametrize(
    ("own", "left", "mistake"),
    [
        ("2.00e-3", "5.0e-10", "initial_as_eq"),  # the reaction forgotten: 4.0 mM in twice the volume
        ("2.0", "5.0e-13", "moles_as_conc"),  # 4.0 - 2.0 = 2.0 micromoles
        ("8.0e-4", "1.25e-9", None),
    ],
)
def test_what_ksp_leaves_goes_on_from_an_own_concentration(own, left, mistake):
    """4.0 and 2.0 micromoles in 2 mL leave 1.00e-3 mol/L of silver, and 1e-12 / 1.00e-3 of the other."""
    question = read_questions(SILVER)["q"]
    assert mark(question, {"silver": "1.00e-3", "scn": "1.00e-9"}).points == 2
    given = mark(question, {"silver": own, "scn": left})
    assert (given.points, given.mistake, given.parts[1].note) == (1, mistake, "carried")


def test_a_volume_the_wrong_way_round_is_told_so_and_nothing_is_poured_into_a_syringe():
    """From 20 to 28 mL: 0.0280 mol/L becomes 0.0200; upside down it would be 0.0392."""
    moved = PLUNGER.replace(
        'ask = "number"\nquantity = "K"',
        'ask = "number"\nquantity = "concentration"\nspecies = "NO2(g)"\nwhen = "at_once"',
    )
    question = read_questions(moved)["plunger"]
    there = question.case().before["NO2(g)"]
    said = {way: mark(question, {"concentration": there * way}).parts[0].feedback for way in (1.0, 1.4, 0.5)}
    assert "before the change" in said[1.0]
    assert "volumes exchanged" in said[1.4]
    assert "poured together" not in said[0.5]
    assert mark(question, {"concentration": there / 1.4}).parts[0].note == "right"


RUNS = (
    ONE
    + """[question.measured]
reading = "runs"
runs = [130, 146, 138, 268]
[[question.part]]
ask = "number"
quantity = "mean"
[[question.part]]
ask = "number"
quantity = "s"
[[question.part]]
ask = "number"
quantity = "n"
"""
)


def test_an_outlier_left_out_is_no_single_run_taken_for_the_truth():
    """Mean 170.5; squares 1640.25 + 600.25 + 1056.25 + 9506.25 = 12803: s = 65.3, with n 56.6, s² 4268.
    Without 268: mean 138, squares 64 + 64 + 0 = 128, s = 8.
    """
    question = read_questions(RUNS)["q"]
    assert mark(question, {"mean": "170.5", "s": "65.3", "n": "4"}).points == pytest.approx(2)
    without = mark(question, {"mean": "138", "s": "8.0", "n": "3"})
    assert without.mistake is None
    assert all("left out" in part.feedback for part in without.parts)
    assert "divided by n" in mark(question, {"s": "56.6"}).parts[1].feedback
    assert "the square" in mark(question, {"s": "4268"}).parts[1].feedback
    assert mark(question, {"mean": "268"}).mistake == "single_truth"


@pytest.mark.parametrize("mistake", ["blank_kept", "path_ignored"])
def test_a_slip_in_the_reading_is_named_in_the_table_too(mistake):
    """Beer-Lambert, with 4700 L/(mol cm), 2.00 cm a blank of 0.110; the reading is on the page."""
    question = read_questions(
        TABLE.replace("path_cm = 1.00\nblank = 0.060", "path_cm = 2.00\nblank = 0.110")
    )["kc"]
    shown = question.case().measured["absorbance"]
    x = {"blank_kept": shown / (4700 * 2.00), "path_ignored": (shown - 0.110) / 4700}[mistake]
    rows = {
        "initial": {"Fe^3+": F, "SCN^-": S, "FeSCN^2+": 0},
        "change": {"Fe^3+": -x, "SCN^-": -x, "FeSCN^2+": x},
        "equilibrium": {"Fe^3+": F - x, "SCN^-": S - x, "FeSCN^2+": x},
    }
    assert mark(question, {"ice": rows}).parts[0].mistake == mistake


@pytest.mark.parametrize("student", ["k12", "s01", "w31"])
def test_who_has_Q_upside_down_has_K_upside_down_too(student):
    """K is worked out from the same reading: where both stand on their heads, 1/Q is above 1/K, and the way
    back follows. That is one idea, not two.
    """
    question = load_questions(COURSE / "04-disturbing-an-equilibrium")["q"]
    n = {key: float(value) for key, value in question.variant(student).numbers.items()}
    x = question.case(student).measured["concentration"]
    V = n["fe_mL"] + n["scn_mL"]
    fe, scn = n["fe_mL"] * n["fe_mM"] / V / 1e3 - x, n["scn_mL"] * 2.00 / V / 1e3 - x
    later = V + n["drop_mL"]
    at_once = [fe * V / later + n["strong_mM"] * n["drop_mL"] / later / 1e3, scn * V / later, x * V / later]
    Q = at_once[2] / (at_once[0] * at_once[1])
    assert mark(question, {"fe": fe, "Q": Q, "direction": "forward"}, student).points == 2
    upside_down = mark(question, {"fe": fe, "Q": f"{1 / Q:.3g}", "direction": "reverse"}, student)
    assert [part.mistake for part in upside_down.parts] == [None, "k_inverted", None]
    assert mark(question, {"Q": f"{Q:.3g}", "direction": "reverse"}, student).parts[2].mistake == "q_reversed"


@pytest.mark.parametrize(
    ("notebook", "name", "answer", "mistake"),
    [  # pairing of NO2 gives heat out, the cobalt tube takes it up: warmed, one goes back, the other on
        ("06-heat-and-squeeze", "warm", {"direction": "reverse", "K": "smaller", "reason": "k_rises"}, None),
        ("06-heat-and-squeeze", "warm", {"direction": "reverse", "K": "larger", "reason": "k_rises"}, None),
        (
            "06-heat-and-squeeze",
            "warm",
            {"direction": "forward", "K": "larger", "reason": "k_rises"},
            "heat_is_forward",
        ),
        ("06-heat-and-squeeze", "warm", {"K": "larger", "reason": "k_rises"}, "heat_is_forward"),
        ("06-heat-and-squeeze", "cobalt", {"direction": "forward", "reason": "k_falls"}, None),
    ],
)
def test_who_sends_a_warmed_mixture_back_does_not_hold_that_heat_helps_forward(
    notebook, name, answer, mistake
):
    found = mark(load_questions(COURSE / notebook)[name], answer)
    assert found.mistake == mistake
    assert {part.mistake for part in found.parts if part.mistake} == ({mistake} if mistake else set())


def test_less_than_none_is_told_so():
    """x is what has reacted; here the reactants go on to the product, so it is above 0."""
    question = read_questions(DETERMINED)["kc"]
    for name in ("complex", "fe", "kc"):
        (part,) = [p for p in mark(question, {name: "-1.9e-5"}).parts if p.id == name]
        assert "less than none" in part.feedback
    (heat,) = mark(load_questions(COURSE / "06-heat-and-squeeze")["enthalpy"], {"dH": "-99"}).parts
    assert "less than none" not in heat.feedback
