"""What a prediction is answered with: each sentence is recomputed from the numbers of the bottles."""

import math
import re
from pathlib import Path

import pytest
from one_question import TUBE, question, stress

from eqlib.assess import feedback
from eqlib.assess.confront import confront
from eqlib.assess.load import load_questions
from eqlib.assess.mark import mark

COURSE = Path(__file__).parents[2] / "notebooks" / "source" / "04-disturbing-an-equilibrium"
K = 139.0  # the constant printed on the students' bench page


@pytest.fixture(scope="module")
def questions():
    return load_questions(COURSE)


def rows(questions, name, answer, student="s01"):
    question = questions[name]
    return {row.part.id: row for row in confront(question, question.case(student), answer)}


def complexed(fe, scn):
    """[FeSCN2+] by the quadratic formula."""
    b = fe + scn + 1 / K
    return (b - math.sqrt(b * b - 4 * fe * scn)) / 2


def test_two_boxes_is_answered_with_the_fall_of_the_partner(questions):
    numbers = questions["iron"].variant("s01").numbers
    V = numbers["fe_mL"] + numbers["scn_mL"]
    W = V + numbers["drop_mL"]
    fe, scn = 0.005 * numbers["fe_mL"] / V, 0.002 * numbers["scn_mL"] / V
    fe2 = (fe * V + numbers["strong_mM"] / 1000 * numbers["drop_mL"]) / W
    before, after = scn - complexed(fe, scn), scn * V / W - complexed(fe2, scn * V / W)
    told = rows(questions, "iron", {"scn": "same", "reason": "two_boxes"})
    for value in (before, after):
        assert f"{value * 1e4:.3g} × 10⁻⁴" in told["scn"].answer
    assert told["reason"].idea == told["scn"].idea == "two_boxes"


def test_k_is_answered_with_what_it_was_and_is(questions):
    told = rows(questions, "water", {"K": "smaller", "reason": "k_moves_conc"})
    assert "K was 139 and is 139" in told["K"].answer
    assert told["K"].agrees is False


def test_paler_is_left_is_answered_with_the_amount_and_the_look_from_above(questions):
    numbers = questions["weak"].variant("s01").numbers
    V = 2 * numbers["half_mL"]
    W = V + numbers["add_mL"]
    old = complexed(0.001, 0.001) * V
    new = complexed((0.001 * V + 0.002 * numbers["add_mL"]) / W, 0.001 * V / W) * W
    assert new > old
    told = rows(questions, "weak", {"direction": "reverse", "reason": "paler_is_left"})["reason"].answer
    said = float(re.search(r"grows by ([\d.]+) µmol", told).group(1))
    assert said == pytest.approx(1000 * (new - old), rel=0.01)
    assert "From above" in told


def test_an_idea_is_pictured_only_where_it_looks_different(questions):
    told = rows(questions, "silver", {"direction": "none", "reason": "not_in_equation"})
    pictured = [row.if_right for row in told.values() if row.if_right is not None]
    assert len(pictured) == 1
    start = 0.002 * questions["silver"].variant("s01").numbers["scn_mL"]
    state = pictured[0].state
    held = state.amounts["FeSCN^2+"] + state.amounts["SCN^-"]
    assert held * 1000 == pytest.approx(start, rel=1e-6), "the picture keeps the atoms that are there"
    assert "SCN⁻" in pictured[0].test
    right = {
        part: value for part, value in questions["silver"].case("s01").expected.items() if value is not None
    }
    assert all(row.agrees and row.if_right is None for row in rows(questions, "silver", right).values())


def test_nothing_said_is_not_called_wrong(questions):
    assert all(row.agrees is None and not row.answer for row in rows(questions, "warm", {}).values())


def test_a_reversed_direction_is_pictured_with_as_much_reacted_the_other_way(questions):
    numbers = questions["iron"].variant("s03").numbers
    V = numbers["fe_mL"] + numbers["scn_mL"]
    W = V + numbers["drop_mL"]
    fe, scn = 0.005 * numbers["fe_mL"] / V, 0.002 * numbers["scn_mL"] / V
    fe2 = (fe * V + numbers["strong_mM"] / 1000 * numbers["drop_mL"]) / W
    once = complexed(fe, scn) * V
    extent = complexed(fe2, scn * V / W) * W - once
    told = rows(questions, "iron", {"direction": "reverse", "reason": "q_above_K"}, "s03")
    (picture,) = [row.if_right for row in told.values() if row.if_right is not None]
    expected = max(once - extent, 0.0) * 1e-3
    assert picture.state.amounts["FeSCN^2+"] == pytest.approx(expected, rel=1e-5, abs=1e-12)
    assert "would have gone to reactants" in picture.words


def test_what_is_seen_is_answered_with_the_concentration_or_that_none_is_left(questions):
    numbers = questions["iron"].variant("s02").numbers
    V = numbers["fe_mL"] + numbers["scn_mL"]
    W = V + numbers["drop_mL"]
    fe, scn = 0.005 * numbers["fe_mL"] / V, 0.002 * numbers["scn_mL"] / V
    fe2 = (fe * V + numbers["strong_mM"] / 1000 * numbers["drop_mL"]) / W
    told = rows(questions, "iron", {"seen": "paler"}, "s02")["seen"].answer
    assert told.startswith("From the side the eye meets concentration")
    for value in (complexed(fe, scn), complexed(fe2, scn * V / W)):
        assert f"{value * 1e4:.3g} × 10⁻⁴" in told


def test_ions_that_came_along_are_named(questions):
    """Nitrate comes with silver and takes part in nothing; silver itself does."""
    told = rows(questions, "silver", {"reason": "spectator_acts"})["reason"].answer
    assert told.startswith("NO₃⁻ stands in none of the equilibria of this mixture")


def test_an_idea_is_named_only_where_the_mark_names_it(questions):
    """A right reason is no idea, whatever is wrong beside it; a plain wrong direction is pictured too."""
    right = {"direction": "forward", "seen": "darker", "reason": "q_below_K"}  # more of a reactant
    slipped = rows(questions, "iron", {**right, "scn": "same"})
    assert slipped["reason"].agrees
    assert slipped["reason"].idea is None
    assert slipped["scn"].idea == "two_boxes"
    plain = rows(questions, "iron", {"direction": "reverse", "seen": "paler", "reason": "q_above_K"})
    assert not any(row.idea for row in plain.values()), "one wrong direction and what follows from it"
    assert plain["direction"].if_right.words.startswith(
        "If it were as you said, it would have gone to reactants"
    )


# -- whole answers: every sentence about one tube, with the numbers of its quadratic equation ----------------

REASONS = [
    "q_below_K",
    "q_above_K",
    "q_equals_K",
    "static_stop",
    "two_boxes",
    "k_moves_conc",
    "full_cancel",
    "spectator_acts",
    "volume_ignored",
    "heat_is_forward",
    "paler_is_left",
    "goes_complete",
    "rate_is_extent",
    "k_fixed_t",
    "one_up_one_down",
    "equal_amounts",
    "not_in_equation",
    "more_always_right",
]
ASKED = f"""
[[question.part]]
ask = "direction"
[[question.part]]
ask = "K"
[[question.part]]
ask = "change"
id = "scn"
species = "SCN^-"
[[question.part]]
ask = "seen"
[[question.part]]
ask = "reason"
options = {REASONS}
"""
DONE = {
    "iron": 'kind = "add_solution"\nof_mM = { "Fe(NO3)3" = 100 }\nmL = 0.5',
    "water": 'kind = "dilute"\nmL = 10',
    "bath": 'kind = "heat_to"\ncelsius = 60',
    "salt": 'kind = "add_solution"\nof_mM = { NaCl = 100 }\nmL = 5',
    "drop": 'kind = "remove"\nspecies = "Fe^3+"\nmmol = 0.01',
}


@pytest.fixture(scope="module")
def tubes():
    return {name: question(TUBE, stress(done), ASKED) for name, done in DONE.items()}


def in_print(value):
    """To three figures; below a thousandth as a power of ten."""
    if value >= 1e-3:
        return f"{float(f'{value:.2e}'):g}"
    mantissa, power = f"{value:.2e}".split("e")
    return f"{float(mantissa):g} × 10⁻" + "⁰¹²³⁴⁵⁶⁷⁸⁹"[-int(power)]


def made_by(fe, scn, K=140):
    b = fe + scn + 1 / K
    return (b - math.sqrt(b * b - 4 * fe * scn)) / 2


X0 = made_by(2e-3, 1e-3)
V1 = 10.5  # mL with the iron; 50 µmol of it came in
X1, FE1, SCN1 = made_by(70e-3 / V1, 10e-3 / V1), 70e-3 / V1, 10e-3 / V1
X2 = made_by(1e-3, 0.5e-3)  # in twice the volume
K60 = 140 * math.exp(6000 / 8.314 * (1 / 333.15 - 1 / 298.15))  # van 't Hoff
X3 = made_by(2e-3, 1e-3, K60)
Q1 = X0 * 10 / V1 / ((20e-3 - 10 * X0 + 50e-3) / V1 * (10e-3 - 10 * X0) / V1)
BELOW = (
    f"Right after the change Q = {in_print(Q1)} and K = 140; Q is smaller, so its top has to "
    "grow: product forms."
)
ABOVE = (
    "Right after the change Q = {} and K = {}; Q is larger, so its top has to shrink: some "
    "product turns back into reactants."
)
FIXED = "K was 140 and is 140: amounts change Q, only the temperature changes K."
WARMED = f"K was 140 at 25 °C and is {K60:.0f} at 60 °C: the temperature is the one thing that changes it."
FALL = f"[SCN⁻] goes from {in_print(1e-3 - X0)} to {in_print(SCN1 - X1)} mol/L"
SIDE = (
    "Look from above, before and after: there mixing alone changes nothing, so any change of "
    "colour is the shift."
)
BACK = "Bring it back to the first temperature: the first colour comes again, so nothing was used up."


@pytest.mark.parametrize(
    ("tube", "answer", "told"),
    [
        ("iron", {"direction": "reverse"}, BELOW),
        ("iron", {"direction": "none"}, BELOW),
        ("iron", {"direction": "forward"}, ""),
        ("iron", {"K": "larger"}, FIXED),
        ("iron", {"scn": "higher"}, f"{FALL}."),
        (
            "iron",
            {"seen": "same"},
            (
                f"From the side the eye meets concentration: [FeSCN²⁺] goes from {in_print(X0)} to "
                f"{in_print(X1)} mol/L."
            ),
        ),
        ("iron", {"reason": "q_below_K"}, f"Yes. {BELOW}"),
        ("iron", {"reason": "q_above_K"}, BELOW),
        (
            "iron",
            {"reason": "two_boxes"},
            (f"{FALL}: each FeSCN²⁺ that forms uses up one of either reactant, whichever was added."),
        ),
        (
            "iron",
            {"reason": "goes_complete"},
            (f"Not all of it: {FALL}, for with nothing left of a reactant Q would be infinite."),
        ),
        (
            "iron",
            {"reason": "k_moves_conc"},
            (f"{FIXED} What the change moved is Q, to {in_print(Q1)}, and the shift brings it back to K."),
        ),
        ("iron", {"reason": "k_fixed_t"}, FIXED),
        (
            "iron",
            {"reason": "rate_is_extent"},
            (f"K says how far a reaction goes, not how fast: it holds no time. {FIXED}"),
        ),
        ("iron", {"reason": "more_always_right"}, BELOW),
        (
            "iron",
            {"reason": "full_cancel"},
            (
                f"[Fe³⁺] was {in_print(2e-3 - X0)} mol/L before, {in_print((70e-3 - 10 * X0) / V1)} right "
                f"after the change and is {in_print(FE1 - X1)} now: part of the change stays."
            ),
        ),
        (
            "iron",
            {"reason": "spectator_acts"},
            (
                "NO₃⁻ stands in none of the equilibria of this mixture: alone, it would do only what as "
                f"much water does. {BELOW}"
            ),
        ),
        (
            "iron",
            {"reason": "volume_ignored"},
            (
                "Water is not in the equation, but the volume is in every concentration. Mixing alone "
                f"multiplies every concentration by {in_print(10 / V1)}. {BELOW}"
            ),
        ),
        (
            "iron",
            {"reason": "heat_is_forward"},
            (f"Warming helps the direction that takes heat up; here forming FeSCN²⁺ gives heat out. {FIXED}"),
        ),
        (
            "iron",
            {"reason": "one_up_one_down"},
            (
                "At once, apart from the dilution, only what was added has changed, so only one of the "
                "two rates has jumped up; the other follows as FeSCN²⁺ changes."
            ),
        ),
        ("water", {"direction": "none"}, ABOVE.format(280, 140)),  # half of everything: Q doubles
        (
            "water",
            {"reason": "volume_ignored"},
            (
                "Water is not in the equation, but the volume is in every concentration. Mixing alone "
                "multiplies every concentration by 0.5; Q has one of them above its line and two below, "
                "so it goes from 140 to 280."
            ),
        ),
        (
            "water",
            {"reason": "spectator_acts"},
            (
                "What came along stands in none of the equilibria of this mixture: alone, it would do "
                "only what as much water does. "
            )
            + ABOVE.format(280, 140),
        ),
        (
            "salt",
            {"reason": "spectator_acts"},
            (
                "Na⁺ and Cl⁻ stand in none of the equilibria of this mixture: alone, they would do only "
                "what as much water does. "
            )
            + ABOVE.format(210, 140),
        ),
        ("bath", {"direction": "none"}, ABOVE.format(140, f"{K60:.0f}")),
        ("bath", {"K": "same"}, WARMED),
        ("bath", {"scn": "same"}, f"[SCN⁻] goes from {in_print(1e-3 - X0)} to {in_print(1e-3 - X3)} mol/L."),
        (
            "bath",
            {"reason": "heat_is_forward"},
            (
                "Warming helps the direction that takes heat up; here forming FeSCN²⁺ gives heat out. "
                f"{WARMED}"
            ),
        ),
    ],
    ids=lambda value: str(value)[:40],
)
def test_the_answer_to_a_choice(tubes, tube, answer, told):
    (row,) = [row for row in confront(tubes[tube], tubes[tube].case(), answer) if row.part.id in answer]
    assert row.answer == told


@pytest.mark.parametrize(
    ("tube", "part", "happened"),
    [
        ("iron", "K", "the same (140)"),
        ("bath", "K", f"smaller (140, then {K60:.0f})"),
        ("iron", "scn", f"lower ({in_print(1e-3 - X0)} → {in_print(SCN1 - X1)} mol/L)"),
        ("water", "scn", f"lower ({in_print(1e-3 - X0)} → {in_print(0.5e-3 - X2)} mol/L)"),
        ("iron", "direction", "to products →"),
        ("bath", "direction", "← to reactants"),
        ("iron", "seen", "darker"),
    ],
)
def test_what_happened_is_said_with_its_numbers(tubes, tube, part, happened):
    rows = {row.part.id: row for row in confront(tubes[tube], tubes[tube].case(), {part: "none"})}
    assert rows[part].happened == happened


def micromoles(words):
    return [float(found) for found in re.findall(r"[\d.]+(?=,| µmol| to )", words)]


@pytest.mark.parametrize(
    ("tube", "reason", "starts", "verb", "ends"),
    [
        (
            "iron",
            "static_stop",
            ("Both reactions went on all the time, equally fast; the change put them out of step, and "),
            "grows",
            (10 * X0, V1 * X1),
        ),
        (
            "water",
            "paler_is_left",
            (
                "Here it did go back, but paleness does not show it: mixing alone leaves 0.5 of the "
                "colour from the side. What shows it is that "
            ),
            "falls",
            (10 * X0, 20 * X2),
        ),
        (
            "iron",
            "paler_is_left",
            ("Paler from the side, yes: mixing alone leaves 0.952 of the colour there. But "),
            "grows",
            (10 * X0, V1 * X1),
        ),
        ("water", "full_cancel", "Only in part: ", "falls", (10 * X0, 20 * X2)),
        (
            "drop",
            "paler_is_left",
            (
                "Nothing was diluted here; where something is, paleness alone does not show which way it "
                "went. What shows it is that "
            ),
            "falls",
            (10 * X0, 10 * made_by(1e-3, 1e-3)),
        ),
    ],
)
def test_how_much_moved_is_told_as_an_amount(tubes, tube, reason, starts, verb, ends):
    rows = confront(tubes[tube], tubes[tube].case(), {"reason": reason})
    told = next(row.answer for row in rows if row.part.id == "reason")
    assert told.startswith(f"{starts}the amount of FeSCN²⁺ {verb} by ")
    by, old, new = map(float, re.search(r"by ([\d.]+) µmol, from ([\d.]+) to ([\d.]+) µmol", told).groups())
    old_end, new_end = (1000 * end for end in ends)
    assert (by, old, new) == pytest.approx((abs(new_end - old_end), old_end, new_end), rel=2e-3)


@pytest.mark.parametrize(
    ("tube", "answer", "words", "test"),
    [
        (
            "iron",
            {"direction": "reverse"},
            "If it were as you said, it would have gone to reactants, and",
            SIDE,
        ),
        (
            "water",
            {"direction": "forward"},
            "If it were as you said, it would have gone to products, and",
            SIDE,
        ),
        ("iron", {"direction": "none"}, "nothing but mixing would happen, and", SIDE),
        ("bath", {"direction": "none"}, "nothing would happen, and", ""),
        (
            "iron",
            {"reason": "goes_complete"},
            "it would have gone on until a reactant was used up, and",
            SIDE,
        ),
        ("iron", {"reason": "full_cancel"}, "[Fe³⁺] would be back where it was, and", ""),
        (
            "bath",
            {"reason": "goes_complete"},
            "it would have gone on until a reactant was used up, and",
            BACK,
        ),
        ("bath", {"reason": "heat_is_forward"}, "it would have gone to products, and", BACK),
        ("iron", {"reason": "q_reversed"}, None, ""),
        ("water", {"reason": "full_cancel"}, None, ""),  # nothing of the reaction was added
        ("water", {"reason": "paler_is_left"}, None, ""),  # it did go to reactants
        ("iron", {"reason": "more_always_right"}, None, ""),  # here it is true
        ("iron", {"direction": "forward"}, None, ""),
    ],
)
def test_the_vessel_as_an_idea_would_have_it(tubes, tube, answer, words, test):
    pictures = [row.if_right for row in confront(tubes[tube], tubes[tube].case(), answer) if row.if_right]
    if words is None:
        assert pictures == []
    else:
        (picture,) = pictures
        assert words in picture.words
        assert picture.words.endswith(", and it would look like the last vessel.")
        assert picture.test == test
        assert picture.told == f"{picture.words} {test}".strip()


@pytest.mark.parametrize(
    ("tube", "answer", "complex_umol"),
    [
        ("iron", {"reason": "goes_complete"}, 10.0),  # all the thiocyanate
        (
            "iron",
            {"reason": "full_cancel"},
            10.0,
        ),  # the iron cannot come back to 1.8 mM: thiocyanate runs out
        ("iron", {"reason": "static_stop"}, 1e4 * X0),
        ("iron", {"direction": "reverse"}, 0.0),  # 2.6 µmol back from 2.0 µmol
        ("bath", {"direction": "forward"}, 1e4 * (2 * X0 - X3)),
    ],
)
def test_the_picture_holds_as_much_complex_as_the_idea_says(tubes, tube, answer, complex_umol):
    (picture,) = [row.if_right for row in confront(tubes[tube], tubes[tube].case(), answer) if row.if_right]
    held = picture.state.amounts
    assert 1e6 * held["FeSCN^2+"] == pytest.approx(complex_umol, rel=1e-4, abs=1e-6)
    assert held["FeSCN^2+"] + held["SCN^-"] == pytest.approx(10e-6)


BULB = """
reactions = [{ text = "N2O4(g) <=> 2 NO2(g)", K = 0.00588, dH_kJ = 57.2 }]
[question.start]
totals = { "N2O4(g)" = 0.02 }
volume_L = 0.1
"""


@pytest.mark.parametrize(
    ("done", "answer", "apart"),
    [
        ('kind = "heat_to"\ncelsius = 80', {"direction": "reverse"}, 0.0),  # less than 1 mmol to go back
        ('kind = "heat_to"\ncelsius = 80', {"reason": "goes_complete"}, 4.0),  # 2 mmol, each two
        ('kind = "heat_to"\ncelsius = 5', {"reason": "goes_complete"}, 4.0),
    ],
)
def test_a_picture_stops_where_a_gas_is_used_up(done, answer, apart):
    parts = ASKED.replace('species = "SCN^-"', 'species = "NO2(g)"')
    made = question(BULB, stress(done), parts)
    (picture,) = [row.if_right for row in confront(made, made.case(), answer) if row.if_right]
    held = picture.state.amounts
    assert 1e3 * held["NO2(g)"] == pytest.approx(apart, abs=1e-6)
    assert 1e3 * held["N2O4(g)"] == pytest.approx(2 - apart / 2, abs=1e-6)


# -- the answer as a whole: what is one idea, what follows from what ------------------------------------

R, FOLLOWS, PLAIN, BESIDE = feedback.RIGHT, feedback.FOLLOWS, feedback.NOT_YET, feedback.NOT_WITH_REASON
ASK = "Not right yet. A question that may help:"


@pytest.mark.parametrize(
    ("tube", "said", "marked", "named"),
    [
        # Iron in: to products, K the same, thiocyanate lower, darker, Q below K.
        ("iron", "forward same lower darker q_below_K", [R, R, R, R, R], None),
        ("iron", "forward same same same q_below_K", [R, R, "two_boxes", ASK, R], "two_boxes"),
        ("iron", "reverse same higher paler q_above_K", [PLAIN, R, FOLLOWS, FOLLOWS, FOLLOWS], None),
        ("iron", "reverse same higher darker q_above_K", [PLAIN, R, FOLLOWS, R, FOLLOWS], None),
        (
            "iron",
            "reverse larger higher paler q_above_K",
            [PLAIN, "k_moves_conc", FOLLOWS, FOLLOWS, FOLLOWS],
            "k_moves_conc",
        ),
        ("iron", "reverse same lower paler q_below_K", ["q_reversed", R, R, "q_reversed", R], "q_reversed"),
        ("iron", "none same lower darker q_below_K", [BESIDE, R, R, R, R], None),
        ("iron", "none same same same q_equals_K", ["static_stop", R, *["static_stop"] * 3], "static_stop"),
        (
            "iron",
            "none same lower darker static_stop",
            ["static_stop", R, R, R, "static_stop"],
            "static_stop",
        ),
        (
            "iron",
            "reverse same higher darker static_stop",
            [PLAIN, R, FOLLOWS, R, "static_stop"],
            "static_stop",
        ),
        ("iron", "forward same lower darker q_equals_K", [R, R, R, R, "q_is_k"], "q_is_k"),
        ("iron", "forward larger lower darker q_below_K", [R, "k_moves_conc", R, R, R], "k_moves_conc"),
        ("iron", "forward same lower paler q_below_K", [R, R, R, ASK, R], None),
        # Water in: to reactants, thiocyanate lower and paler all the same.
        ("water", "forward same lower paler q_below_K", [PLAIN, R, R, R, FOLLOWS], None),
        ("water", "forward same lower paler q_above_K", ["q_reversed", R, R, R, R], "q_reversed"),
        (
            "water",
            "none same same same volume_ignored",
            ["volume_ignored", R, *["volume_ignored"] * 3],
            "volume_ignored",
        ),
        (
            "water",
            "none same lower paler q_equals_K",
            ["volume_ignored", R, R, R, "volume_ignored"],
            "volume_ignored",
        ),
        (
            "water",
            "none same lower same q_below_K",
            ["volume_ignored", R, R, "volume_ignored", PLAIN],
            "volume_ignored",
        ),
        ("water", "none same lower paler q_above_K", [BESIDE, R, R, R, R], None),
        ("water", "none same lower same static_stop", [PLAIN, R, R, FOLLOWS, "static_stop"], "static_stop"),
        ("water", "reverse same lower paler q_below_K", [R, R, R, R, PLAIN], None),
        # Warmed: to reactants, K smaller, thiocyanate higher, paler.
        ("bath", "forward larger lower darker heat_is_forward", ["heat_is_forward"] * 5, "heat_is_forward"),
        ("bath", "none same same same k_fixed_t", ["k_fixed_t"] * 5, "k_fixed_t"),
        (
            "bath",
            "forward larger lower same heat_is_forward",
            ["heat_is_forward"] * 3 + [ASK, "heat_is_forward"],
            "heat_is_forward",
        ),
        # Who sends it back does not hold that heat helps forward, whatever they say of K.
        ("bath", "reverse larger higher paler k_fixed_t", [R, ASK, R, R, "k_fixed_t"], None),
    ],
)
def test_the_parts_of_an_answer_are_read_together(tubes, tube, said, marked, named):
    parts = ("direction", "K", "scn", "seen", "reason")
    found = mark(tubes[tube], dict(zip(parts, said.split(), strict=True)))
    assert found.points == pytest.approx(4 * marked.count(R) / 5)
    told = [part.mistake or (ASK if part.feedback.startswith(ASK) else part.feedback) for part in found.parts]
    assert told == marked
    if named is not None:
        assert found.mistake == named


def test_a_squeezed_gas_is_not_said_to_be_diluted():
    """Half the room: 2 NO2 takes less of it, so the squeeze sends it back to N2O4 (Le Chatelier)."""
    parts = ASKED.replace('species = "SCN^-"', 'species = "NO2(g)"')
    done = 'kind = "change_volume"\nmL = 50'
    made = question(BULB, stress(done), parts)
    rows = {row.part.id: row for row in confront(made, made.case(), {"reason": "paler_is_left"})}
    assert rows["reason"].answer.startswith(
        "The same amount now stands in less room, so the colour alone does not show which way it went. "
        "What shows it is that the amount of NO₂(g) falls by "
    )
