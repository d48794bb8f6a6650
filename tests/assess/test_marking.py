"""What a mark is: finite, within bounds, repeatable, explained; and nothing handed in can make it
otherwise.
"""

import json
import math
import random
import string
from fractions import Fraction

import numpy as np
import pytest
import sympy

from eqlib.assess.load import read_questions
from eqlib.assess.mark import Mark, mark
from eqlib.assess.question import PolicyError
from eqlib.assess.records import record_answer

# R: 5.00 mL of 2.00 mM Fe3+, 3.00 mL of 2.00 mM SCN-, 2.00 mL of water; A 0.325 in 1.00 cm with 4700 L/(mol
# cm).
FE, SCN, X = 1.00e-3, 6.00e-4, 0.325 / 4700
KC = X / ((FE - X) * (SCN - X))  # 140

FILE = """
[assignment]
id = "a1"
title = "T"
course = "c1"
mode = "practice"

[[question]]
id = "kc"
kind = "number"
points = 4
title = "Kc"
prompt = "A = {absorbance}"
reactions = [{ text = "Fe^3+ + SCN^- <=> FeSCN^2+", K = 140 }]
hints = ["First hint.", "Second hint."]
[question.start]
portions = [
  { of_mM = { "Fe(NO3)3" = 2.00 }, mL = 5.00 },
  { of_mM = { KSCN = 2.00 }, mL = 3.00 },
  { to_mL = 10.00 },
]
[question.measured]
reading = "absorbance"
species = "FeSCN^2+"
epsilon = 4700
path_cm = 1.00
[[question.part]]
ask = "number"
id = "kc"
quantity = "K"
unit = "L/mol"

[[question]]
id = "steps"
kind = "mixed"
points = 6
title = "steps"
prompt = "A = {absorbance}"
reactions = [{ text = "Fe^3+ + SCN^- <=> FeSCN^2+", K = 140 }]
[question.start]
portions = [
  { of_mM = { "Fe(NO3)3" = 2.00 }, mL = 5.00 },
  { of_mM = { KSCN = 2.00 }, mL = 3.00 },
  { to_mL = 10.00 },
]
[question.measured]
reading = "absorbance"
species = "FeSCN^2+"
epsilon = 4700
path_cm = 1.00
[[question.part]]
ask = "number"
id = "x"
quantity = "extent"
[[question.part]]
ask = "ice"
[[question.part]]
ask = "expression"
[[question.part]]
ask = "number"
id = "kc"
quantity = "K"
[[question.part]]
ask = "confidence"

[[question]]
id = "balance"
kind = "equation"
points = 2
title = "balance"
prompt = "balance it"
[[question.part]]
ask = "equation"
skeleton = "MnO4^- + Fe^2+ + H^+ -> Mn^2+ + Fe^3+ + H2O(l)"

[[question]]
id = "heat"
kind = "number"
points = 1
title = "heat"
prompt = "K is {k1} at 25 degrees and {k2} at 45"
[question.numbers]
k1 = 140
k2 = [110, 130, 5]
[question.measured]
reading = "temperatures"
K1 = "k1"
K2 = "k2"
celsius1 = 25
celsius2 = 45
[[question.part]]
ask = "number"
quantity = "dH"

[[question]]
id = "rank"
kind = "order"
points = 3
title = "rank"
prompt = "most complex first"
reactions = [{ text = "Fe^3+ + SCN^- <=> FeSCN^2+", K = 140 }]
[question.start]
totals = { "Fe^3+" = 0.001, "SCN^-" = 0.001 }
volume_L = 0.002
[question.stress]
kind = "dilute"
mL = 1
[[question.part]]
ask = "order"
species = "FeSCN^2+"
items = [
  { label = "water added", stress = { kind = "dilute", mL = 2 } },
  { label = "iron added", stress = { kind = "add", species = "Fe^3+", mmol = 0.01 } },
  { label = "left alone" },
]

[[question]]
id = "words"
kind = "explanation"
points = 2
title = "words"
prompt = "why?"
[[question.part]]
ask = "explain"
rubric = ["one", "two"]
"""


@pytest.fixture(scope="module")
def questions():
    return read_questions(FILE)


def points(question, answer, **options):
    return mark(question, answer, **options).points


# -- numbers: right, figures, the reference item --------------------


@pytest.mark.parametrize(
    "answer", [KC, 140, "140", "1.4e2", "1,40·10²", "140 M^-1", "137.5", "142.7 L/mol", "0.140 L/mmol"]
)
def test_right_within_two_per_cent_however_it_is_written(questions, answer):
    assert points(questions["kc"], answer) == 4.0


@pytest.mark.parametrize("answer", [KC * 1.0205, KC * 0.9795, -KC, 0, "200", "14"])
def test_wrong_beyond_two_per_cent(questions, answer):
    given = mark(questions["kc"], answer)
    assert given.points == 0.0
    assert "Not right yet" in given.feedback


# The values published for item R, each with its mistake; to three figures, as students write them.
REFERENCE = [
    (0.00714, "k_inverted"),
    (0.0473, "sum_not_product"),
    (18.6, "stock_conc"),
    (67.5, "stock_conc"),
    (86.1, "stock_conc"),
    (115, "initial_as_eq"),
    (96.7, "change_sign"),
    (224, "log_slip"),
    (430, "log_slip"),
    (14000, "moles_as_conc"),
]


@pytest.mark.parametrize(("value", "mistake"), REFERENCE)
def test_reference_item_all_published_wrong_values_are_named(questions, value, mistake):
    for written in (value, f"{value}"):
        given = mark(questions["kc"], written)
        assert (given.points, given.mistake) == (0.0, mistake)
        assert "consistent with" in given.feedback


@pytest.mark.parametrize(
    ("reading", "path", "blank", "value", "mistake"),
    [("0.650", "2.00", 0, 348, "path_ignored"), ("0.345", "1.00", "0.020", 151, "blank_kept")],
)
def test_reference_item_with_another_cell_or_a_blank(reading, path, blank, value, mistake):
    text = FILE.replace("path_cm = 1.00", f"path_cm = {path}\nblank = {blank}", 1)
    question = read_questions(text)["kc"]
    assert question.prompt_for() == f"A = {reading}"
    assert points(question, 140) == 4.0
    given = mark(question, value)
    assert (given.points, given.mistake) == (0.0, mistake)


@pytest.mark.parametrize(("x", "mistake"), [(6.0e-4, "goes_complete"), (8.4e-5, "unchecked_small_x")])
def test_reference_item_wrong_extents(questions, x, mistake):
    given = mark(questions["steps"], {"x": x})
    assert given.parts[0].mistake == mistake


def test_figures_cost_once_and_it_is_said(questions):
    given = mark(questions["kc"], "139.9327")
    assert given.points == pytest.approx(3.6)
    assert given.mistake == "excess_digits"
    assert "figures" in given.feedback
    assert "less figures" in given.audit
    assert points(questions["kc"], "1.e2", policy={"tolerance": 0.4}) == pytest.approx(3.6), "too few"
    both = mark(questions["steps"], {"x": "6.914894e-5", "kc": "139.9327"})
    lost = [p.figures_lost for p in both.parts if p.id in ("x", "kc")]
    assert lost == [True, False]
    assert points(questions["kc"], 139.9327) == 4.0, "a number from code has no typed figures"


def test_a_value_properly_rounded_is_right(questions):
    """0.0115 rounded to two figures is 0.012, 4 % off; it is what the rules of rounding give."""
    exact = KC / 10**4  # 0.01400
    assert points(questions["kc"], "1.4e2") == 4.0
    assert exact == pytest.approx(0.0140, rel=0.01)
    heat = questions["heat"]
    right = (
        -8.314462618 * math.log(heat.variant("s01").numbers["k2"] / 140) / (1 / 318.15 - 1 / 298.15) / 1000
    )
    assert points(heat, f"{right:.1f} kJ/mol", student="s01") == 1.0
    assert points(heat, f"{1000 * right:.4g} J/mol", student="s01") == 1.0
    assert points(heat, -right, student="s01") == 0.0


# -- several parts: weights, carrying forward, tables, expressions --------------------


def ice(fe=FE, scn=SCN, x=X):
    return {
        "initial": {"Fe^3+": fe, "SCN^-": scn, "FeSCN^2+": 0},
        "change": {"Fe^3+": -x, "SCN^-": -x, "FeSCN^2+": x},
        "equilibrium": {"Fe^3+": fe - x, "SCN^-": scn - x, "FeSCN^2+": x},
    }


EXPRESSION = "[FeSCN2+]/([Fe3+][SCN-])"
FULL = {"x": X, "ice": ice(), "expression": EXPRESSION, "kc": KC, "confidence": "certain"}


def test_all_parts_right_is_exactly_full_marks(questions):
    given = mark(questions["steps"], FULL)
    assert given.points == 6.0
    assert [p.points for p in given.parts] == [1.5, 1.5, 1.5, 1.5, 0.0]
    assert mark(questions["steps"], {**FULL, "confidence": "guess"}).points == 6.0, (
        "confidence is never scored"
    )


def test_own_earlier_value_is_carried_forward_and_penalised_once(questions):
    x = 8.4e-5
    own = x / ((FE - x) * (SCN - x))
    given = mark(questions["steps"], {"x": x, "expression": EXPRESSION, "kc": own})
    assert [p.note for p in given.parts[:4]] == ["wrong", "", "right", "carried"]
    assert given.points == 3.0
    assert points(questions["steps"], {"x": x, "kc": own}, policy={"carry_forward": False}) == 0.0
    assert points(questions["steps"], {"kc": own}) == 0.0, "without the earlier value it is simply wrong"


def test_whatever_stands_in_earlier_parts_the_later_ones_are_marked(questions):
    """1,000 patchworks of odd values, cells in x, negative and empty ones: a mark each time, never above its
    part.
    """
    dice = random.Random(5)
    pieces = [
        X,
        -X,
        0,
        "x",
        "-x",
        "0.001 - x",
        None,
        "",
        "1e-300",
        1e300,
        "abc",
        KC,
        "140 M",
        -1,
        "1/0",
        [1],
        {"a": 1},
    ]
    species = ["Fe^3+", "SCN^-", "FeSCN^2+"]
    for _ in range(1000):
        rows = dice.sample(["initial", "change", "equilibrium"], dice.randrange(4))
        table = {row: {name: dice.choice(pieces) for name in species} for row in rows}
        answer = {
            "x": dice.choice(pieces),
            "ice": dice.choice([table, table, "x"]),
            "kc": dice.choice(pieces),
        }
        answer["expression"] = dice.choice([EXPRESSION, "[x]", "1", None])
        given = mark(questions["steps"], answer, policy={"attempts": "best"})
        assert all(0.0 <= part.points <= part.max_points for part in given.parts)


def test_a_table_counts_place_by_place(questions):
    table = ice()
    table["initial"]["Fe^3+"] = 2e-3  # the bottle's concentration ...
    table["equilibrium"]["Fe^3+"] = 2e-3 - X  # ... and what follows from it
    part = mark(questions["steps"], {"ice": table}).parts[1]
    assert part.points == pytest.approx(1.5 * 8 / 9)
    table["equilibrium"]["Fe^3+"] = 2e-3
    assert mark(questions["steps"], {"ice": table}).parts[1].points == pytest.approx(1.5 * 7 / 9)
    in_x = {"change": {"Fe^3+": "-x", "SCN^-": "-x", "FeSCN^2+": "+x"}}
    assert mark(questions["steps"], {"ice": in_x}).parts[1].points == pytest.approx(1.5 * 3 / 9)


@pytest.mark.parametrize(
    ("typed", "right", "mistake"),
    [
        ("[FeSCN^2+]/([Fe^3+][SCN^-])", True, None),
        ("K = [FeSCN2+] / [SCN-] / [Fe3+]", True, None),
        ("([Fe3+]·[SCN-]/[FeSCN2+])^-1", True, None),
        ("[Fe3+][SCN-]/[FeSCN2+]", False, "k_inverted"),
        ("[FeSCN2+]/([Fe3+]+[SCN-])", False, "sum_not_product"),
        ("[FeSCN2+]", False, None),
        ("__import__('os')", False, None),
    ],
)
def test_expressions_are_compared_by_meaning(questions, typed, right, mistake):
    part = next(p for p in mark(questions["steps"], {"expression": typed}).parts if p.id == "expression")
    assert (part.right, part.mistake) == (right, mistake)


@pytest.mark.parametrize(
    ("typed", "full"),
    [
        ("MnO4^- + 5 Fe^2+ + 8 H^+ -> Mn^2+ + 5 Fe^3+ + 4 H2O", True),
        ("2 MnO4- + 10 Fe2+ + 16 H+ -> 2 Mn2+ + 10 Fe3+ + 8 H2O", True),
        ("1, 5, 8, 1, 5, 4", True),
        ("MnO4^- + Fe^2+ + 8 H^+ -> Mn^2+ + Fe^3+ + 4 H2O", False),
        ("Mn^2+ + 5 Fe^3+ + 4 H2O -> MnO4^- + 5 Fe^2+ + 8 H^+", False),
    ],
)
def test_equations_are_right_when_they_balance(questions, typed, full):
    assert points(questions["balance"], typed) == (2.0 if full else 0.0)


def test_an_order_earns_what_is_in_order(questions):
    """More iron gives most complex, water takes concentration away: 3, 2, 1 by any solver."""
    right = ["iron added", "left alone", "water added"]
    assert points(questions["rank"], right) == 3.0
    assert 0 < points(questions["rank"], ["left alone", "iron added", "water added"]) < 3.0
    assert points(questions["rank"], right[::-1]) == 0.0


# -- nothing, too much, and the wrong thing --------------------


@pytest.mark.parametrize("answer", [None, "", "  ", {}, {"kc": None}, {"kc": " "}])
def test_no_answer_scores_nothing_and_says_so(questions, answer):
    given = mark(questions["kc"], answer)
    assert given.points == 0.0
    assert "No answer was recorded" in given.feedback


def test_one_value_for_several_parts_says_what_is_asked(questions):
    given = mark(questions["steps"], 140)
    assert given.points == 0.0
    assert "x, ice, expression, kc" in given.feedback


def test_a_written_answer_waits_for_a_person(questions):
    assert questions["words"].manual
    for answer in (None, {"explain": "Because."}, "Because."):
        given = mark(questions["words"], answer)
        assert (given.points, given.max_points) == (0.0, 2.0)
        assert "read by a person" in given.feedback


class Liar(float):
    def __eq__(self, other):
        return True

    def __hash__(self):
        return 0

    def __float__(self):
        return KC

    def __sub__(self, other):
        return 0.0

    def __abs__(self):
        return 0.0


class Yes:
    def __eq__(self, other):
        return True

    def __hash__(self):
        return hash("kc")

    def __getattr__(self, name):
        raise KeyboardInterrupt

    __class__ = property(lambda self: float)


class Sneaky(dict):
    def get(self, *_):
        return KC

    def __getitem__(self, _):
        return KC

    def items(self):
        return [("kc", KC)]

    def keys(self):
        raise RuntimeError


class Shouting(str):
    __slots__ = ()

    def strip(self, *_):
        raise SystemExit

    def lstrip(self, *_):
        return "{"


def nested(depth):
    value = []
    for _ in range(depth):
        value = [value, {"kc": value}]
    return value


def itself():
    value = {}
    value["kc"] = value
    return value


HOSTILE = [
    Liar(7),
    Yes(),
    Sneaky(kc=7),
    Shouting("7"),
    {"kc": Yes()},
    {Yes(): KC},
    {1: 2, "kc": [Yes()]},
    nested(10_000),
    itself(),
    "7" * 10_000_000,
    {"kc": "9" * 10_000_000},
    10**5000,
    float("nan"),
    float("inf"),
    -float("inf"),
    np.nan,
    np.array([KC, 1]),
    np.zeros(10**6),
    complex(KC, 1),
    sympy.Symbol("x"),
    Fraction(7),
    b"140",
    lambda: KC,
    Mark,
    object,
    True,
    json.dumps({"receipt": "x", "answer": {"kc": KC}, "question": "kc"}),
    '{"receipt": ' + "[" * 100_000,
]


@pytest.mark.parametrize("answer", HOSTILE, ids=lambda a: type(a).__name__)
def test_hostile_objects_are_the_plain_values_they_are_or_refused(questions, answer):
    for question in questions.values():
        for handed in (answer, {part.id: answer for part in question.parts}):
            given = mark(question, handed)
            assert type(given.points) is float
            assert 0.0 <= given.points < given.max_points or given.points == 0.0


@pytest.mark.parametrize(
    "answer", [np.float64(KC), np.float32(140), sympy.Integer(140), Fraction(140), np.array(140.0)]
)
def test_numbers_of_common_libraries_are_read(questions, answer):
    assert points(questions["kc"], answer) == 4.0


def test_no_full_mark_for_junk(questions):
    """Arbitrary text, in 3,000 tries a question: no crash, no mark above the maximum, no full mark by
    luck.
    """
    dice = random.Random(7)
    alphabet = string.printable + "⁻²·−×→⇌[]{}¼Ω٣"
    for question in questions.values():
        for _ in range(3000 if question.id == "kc" else 200):
            text = "".join(dice.choice(alphabet) for _ in range(dice.randrange(12)))
            given = mark(question, {part.id: text for part in question.parts})
            assert 0.0 <= given.points <= given.max_points
            if question.id == "kc" and given.points > 0:
                raise AssertionError(f"{text!r} earned {given.points}")


# -- attempts, purity, records, modes --------------------


def changed(*answers, question="kc", student="s01"):
    made = None
    for minute, answer in enumerate(answers):
        at = f"2026-01-31T18:{minute:02d}:00Z"
        made = record_answer("a1", question, answer, student, at=at, previous=made)
    return made


def test_which_attempt_counts_is_the_instructors_choice(questions):
    record = changed({"kc": "115"}, {"kc": "140"}, {"kc": "18.6"})
    for which, full in (("first", 0.0), ("best", 4.0), ("last", 0.0)):
        given = mark(questions["kc"], record, policy={"attempts": which})
        assert given.points == full
        assert f"{which} of 3 attempts" in given.audit
    assert mark(questions["kc"], record).mistake == "stock_conc"
    assert (
        mark(questions["kc"], json.dumps(record.to_dict()))
        == mark(questions["kc"], record.to_dict())
        == mark(questions["kc"], record)
    )


def test_a_prediction_changed_after_its_outcome_was_shown_wins_nothing(questions):
    """Two answers, then the outcome at 18:01:30, then the right one."""
    assessed = read_questions(FILE.replace('mode = "practice"', 'mode = "assessed"'))["kc"]
    record = changed({"kc": "115"}, {"kc": "18.6"}, {"kc": "140"})
    shown = record.revealed("2026-01-31T18:01:30Z")
    assert mark(assessed, record).points == 4.0
    assert "last of 3 attempts" in mark(assessed, record).audit
    given = mark(assessed, shown)
    assert (given.points, given.mistake) == (0.0, "stock_conc")
    assert "attempt 2 of 3 counts, 1 made after the outcome was shown left aside" in given.audit
    assert mark(assessed, json.dumps(shown.to_dict())) == given
    assert mark(assessed, shown, policy={"attempts": "last"}).points == 4.0
    assert mark(assessed, shown, policy={"attempts": "best"}).points == 4.0
    assert mark(assessed, record.revealed("2026-01-31T17:00:00Z")).mistake == "initial_as_eq", (
        "a clock that was set back leaves the first answer"
    )
    assert mark(questions["kc"], shown).points == 4.0, "practice goes on"


def test_a_record_of_another_question_or_a_broken_one_scores_nothing(questions):
    other = changed({"kc": 140}, question="steps")
    assert "belongs to question 'steps'" in mark(questions["kc"], other).feedback
    broken = {**changed({"kc": "115"}).to_dict(), "answer": {"kc": "140"}}
    given = mark(questions["kc"], broken)
    assert given.points == 0.0
    assert "receipt" in given.feedback


def test_marks_do_not_depend_on_what_was_marked_before(questions):
    answers = [FULL, {"x": 8.4e-5}, None, {"ice": ice(x=6e-4)}, {"expression": "[Fe3+]"}]
    once = [mark(questions["steps"], a, "s01") for a in answers]
    fresh = read_questions(FILE)["steps"]
    again = [mark(fresh, a, "s01") for a in reversed(answers)][::-1]
    assert once == again


def test_re_marking_after_a_correction_changes_the_mark(questions):
    corrected = read_questions(FILE.replace("K = 140", "K = 98"))["kc"]
    record = changed({"kc": f"{KC:.3g}"})
    assert mark(questions["kc"], record).points == 4.0
    assert mark(corrected, record).points == 0.0
    assert mark(corrected, changed({"kc": "98.1"})).points == 4.0
    harder = read_questions(FILE.replace("points = 4", "points = 10"))["kc"]
    assert mark(harder, record).points == 10.0


def test_working_is_shown_only_when_it_is_allowed(questions):
    kc = questions["kc"]
    assert mark(kc, "115").working == "", "practice: not after one wrong attempt"
    twice = changed({"kc": "115"}, {"kc": "97"})
    assert "140" in mark(kc, twice).working
    assert mark(kc, "140").working != "", "a right answer may be compared with the working"
    assessed = read_questions(FILE.replace('mode = "practice"', 'mode = "assessed"'))["kc"]
    assert mark(assessed, "115", released=False).working == ""
    assert mark(assessed, "115").working == "", "not before it is said that marks go back"
    assert "6.91 × 10⁻⁵" in mark(assessed, "115", released=True).working
    assert mark(assessed, "115", policy={"working": False}, released=True).working == ""


def test_feedback_never_holds_the_answer(questions):
    for answer in ("115", "18.6", 7, "97"):
        assert "140" not in mark(questions["kc"], answer).feedback
    for wrong in ({"x": 6e-4}, {"kc": 1.0}, {"expression": "[Fe3+]"}):
        said = mark(questions["steps"], wrong).feedback
        assert "6.91" not in said
        assert "140" not in said


def test_the_audit_line_says_how_the_mark_came_about(questions):
    audit = mark(questions["steps"], {**FULL, "x": 8.4e-5}, "S 01").audit
    for piece in (
        "steps for s01",
        "x 8.4e-05: wrong (consistent with unchecked_small_x), 0 of 1.5",
        "total 4.5 of 6",
    ):
        assert piece in audit
    assert "\n" not in audit


def test_fresh_numbers_in_practice_only():
    """A new set of numbers is marked with the numbers of that set; assessed work keeps to the first set."""
    text = FILE.replace("mL = 5.00", 'mL = "fe"').replace(
        "[question.start]", ("[question.numbers]\nfe = [4.50, 5.50, 0.05]\n[question.start]"), 1
    )
    text = text.replace('mL = "fe"', "mL = 5.00").replace("mL = 5.00", 'mL = "fe"', 1)
    practice = read_questions(text)["kc"]
    assessed = read_questions(text.replace('mode = "practice"', 'mode = "assessed"'))["kc"]
    sets = [practice.variant("s01", retry=n).shown["fe"] for n in range(4)]
    assert len(set(sets)) > 1
    for n, fe_mL in enumerate(sets):
        A = float(practice.prompt_for("s01", retry=n).removeprefix("A = "))
        fe, x = 2e-3 * float(fe_mL) / 10, A / 4700
        stock = x / ((2e-3 - x) * (2e-3 - x))
        given = mark(practice, {"kc": x / ((fe - x) * (SCN - x)), "_set": n}, "s01")
        assert given.points == 4.0
        assert f"fe = {fe_mL}" in given.audit
        assert mark(practice, {"kc": stock, "_set": n}, "s01").mistake == "stock_conc"
        assert f"fe = {sets[0]}" in mark(assessed, {"kc": 1.0, "_set": n}, "s01").audit
    for odd in (-1, 10**9, "2", 1.5, None, True):
        assert f"fe = {sets[0]}" in mark(practice, {"kc": 1.0, "_set": odd}, "s01").audit


def test_an_answer_recorded_under_another_id_is_said_in_the_audit(questions):
    record = changed({"kc": "140"}, student="s02")
    assert "recorded under the id 's02'" in mark(questions["kc"], record, student="s01").audit
    assert "recorded under" not in mark(questions["kc"], record, student="S 02").audit
    assert "kc for s02" in mark(questions["kc"], record).audit


def test_a_policy_rule_that_is_none_is_refused(questions):
    with pytest.raises(PolicyError, match="tolerence"):
        mark(questions["kc"], 140, policy={"tolerence": 0.5})
    assert points(questions["kc"], KC * 1.05, policy={"tolerance": 0.1}) == 4.0


def written(value, dice):
    """A number as some student might write it: many notations, units and decorations."""
    figures = dice.randrange(2, 8)
    text = dice.choice(
        [f"{value:.{figures}g}", f"{value:.{figures - 1}e}", f"{value:.{figures}f}", repr(value)]
    )
    if dice.random() < 0.3:
        text = text.replace(".", ",")
    if "e" in text and dice.random() < 0.5:
        mantissa, power = text.split("e")
        raised = str(int(power)).translate(str.maketrans("-0123456789", "⁻⁰¹²³⁴⁵⁶⁷⁸⁹"))
        text = f"{mantissa} {dice.choice('·×*')} 10{raised if dice.random() < 0.5 else '^' + str(int(power))}"
    unit = dice.choice(
        ["", "", " M^-1", " L/mol", " L mol^-1", " mM^-1", " L mmol^-1", " M", " mM", " banana"]
    )
    before, after = dice.choice(["", "", "K = ", "Kc=", "~", "+", "("]), dice.choice(["", "", ".", ")", " "])
    return f"{before}{text}{unit}{after}"


def test_no_wrong_value_earns_full_marks_however_it_is_written(questions):
    """20,000 wrong values in every notation. A unit may scale a value; those that then meet the right one
    are spared.
    """
    question, dice = questions["kc"], random.Random(11)
    read = 0
    for _ in range(20_000):
        value = KC * 10 ** dice.uniform(-4, 4)
        if any(abs(value * scale / KC - 1) < 0.07 for scale in (1, 1e3, 1e-3)):
            continue
        given = mark(question, written(value, dice))
        assert given.points == 0.0, given.audit
        read += given.parts[0].shown != ""
    assert read > 8000, "most of it is readable, so that it is the value and not the wording that was refused"
