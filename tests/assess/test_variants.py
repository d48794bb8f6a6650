"""Everybody's numbers: the same on any machine, recomputed here from the documented hash alone."""

import hashlib
from decimal import Decimal

import pytest

from eqlib.assess.load import read_questions
from eqlib.assess.question import VariantError, normal_id, options_for, read_range
from eqlib.writing import as_written

FILE = """
[assignment]
id = "a1"
title = "T"
course = "c1"
mode = "practice"
[[question]]
id = "q1"
kind = "number"
points = 1
title = "t"
prompt = "{v_mL} mL, {k}, {fixed}"
reactions = [{ text = "n-C4H10(g) <=> iso-C4H10(g)", K = "k" }]
[question.numbers]
v_mL = [0.80, 1.20, 0.05]
k = [10, 90, 10]
fixed = 2.00
[question.start]
totals = { "n-C4H10(g)" = 0.1 }
[[question.part]]
ask = "number"
quantity = "concentration"
species = "iso-C4H10(g)"
"""


def drawn(name, student, low, step, count, retry=0):
    text = "\x1f".join(["c1", "a1", "q1", name, str(retry), student])
    number = int.from_bytes(hashlib.sha256(text.encode()).digest()[:8], "big") % count
    return Decimal(low) + number * Decimal(step)


@pytest.fixture(scope="module")
def question():
    return read_questions(FILE)["q1"]


@pytest.mark.parametrize("number", range(50))
def test_numbers_come_from_the_documented_hash(question, number):
    student = f"s{number:02d}"
    made = question.variant(student)
    assert made.shown["v_mL"] == str(drawn("v_mL", student, "0.80", "0.05", 9))
    assert made.numbers["v_mL"] == float(made.shown["v_mL"])
    assert made.shown["k"] == str(drawn("k", student, "10", "10", 9))
    again = question.variant(student, retry=3)
    assert again.shown["k"] == str(drawn("k", student, "10", "10", 9, retry=3))


def test_these_numbers_never_change(question):
    """Worked out once with sha256sum and bc; a change here would change a class's numbers in mid-term."""
    shown = [
        (question.variant(s).shown["v_mL"], question.variant(s).shown["k"]) for s in ("s01", "s02", "s24")
    ]
    assert shown == [("1.00", "30"), ("0.80", "70"), ("1.00", "90")]


@pytest.mark.parametrize("spelling", ["S01", " s01 ", "s 01", "ｓ０１", "S\u00a001"])
def test_spelling_of_an_id_does_not_matter(question, spelling):
    assert normal_id(spelling) == "s01"
    assert question.variant(spelling) == question.variant("s01")


def test_without_an_id_the_numbers_are_the_middle_ones(question):
    for nobody in (None, "", "  "):
        assert dict(question.variant(nobody).shown) == {"v_mL": "1.00", "k": "50", "fixed": "2.00"}
    assert question.prompt_for() == "1.00 mL, 50, 2.00"


def test_every_step_is_reached_and_about_equally_often(question):
    shown = [question.variant(f"s{n}").shown["v_mL"] for n in range(1800)]
    counts = {value: shown.count(value) for value in set(shown)}
    assert sorted(counts) == ["0.80", "0.85", "0.90", "0.95", "1.00", "1.05", "1.10", "1.15", "1.20"]
    assert all(140 < count < 260 for count in counts.values()), (
        "200 expected; 60 is more than four deviations"
    )


@pytest.mark.parametrize(
    ("given", "says"),
    [
        (["a", 1, 1], "ordinary number"),
        ([1, 2], r"\[low, high, step\]"),
        ([Decimal("1"), Decimal("2"), Decimal("0.3")], "do not land"),
        ([2, 1, 1], "low <= high"),
        ([1, 2, 0], "above 0"),
        ([0, 1, Decimal("0.00001")], "larger step"),
        ([Decimal("nan"), 2, 1], "ordinary number"),
        ("x", "number"),
        (True, "number"),
        (Decimal("inf"), "ordinary number"),
    ],
)
def test_a_bad_range_is_refused_by_name(given, says):
    with pytest.raises(VariantError, match=says) as caught:
        read_range("v_mL", given)
    assert "v_mL" in str(caught.value)


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("0.95", "0.95"),
        ("140", "140"),
        ("2.00", "2.00"),
        ("1.8e-10", "1.8 × 10⁻¹⁰"),
        ("0.0002", "0.0002"),
        ("0", "0"),
    ],
)
def test_numbers_are_shown_as_people_write_them(text, shown):
    assert as_written(Decimal(text)) == shown


PICK = FILE.replace('kind = "number"', 'kind = "prediction"').replace(
    """
ask = "number"
quantity = "concentration"
species = "iso-C4H10(g)"
""",
    """
id = "why"
ask = "reason"
options = ["q_below_K", "q_above_K", "two_boxes", "q_is_k"]
[[question.part]]
ask = "direction"
[question.stress]
kind = "dilute"
mL = 1.0
""",
)


def test_reasons_stand_in_another_order_for_every_student_and_the_same_one_every_time():
    question = read_questions(PICK)["q1"]
    part = question.part("why")
    orders, first = set(), []
    for number in range(200):
        student = f"s{number}"
        shown = options_for(part, question, student)
        names = ["c1", "a1", "q1", "why", student]
        wanted = sorted(
            part.options,
            key=lambda option, names=names: hashlib.sha256(
                "\x1f".join([*names, option[0]]).encode()
            ).digest(),
        )
        assert list(shown) == wanted, "as documented, recomputed here"
        assert options_for(part, question, student.upper() + " ") == shown
        orders.add(shown)
        first.append(shown[0][0])
    assert len(orders) == 24, "200 students meet all 4! orders"
    for name, _ in part.options:  # a fair place has 50 of 200; five standard deviations are 31
        assert 19 < first.count(name) < 81


def test_choices_with_an_order_of_their_own_keep_it_from_either_end():
    questions = read_questions(PICK)
    part = questions["q1"].part("direction")
    shown = [[name for name, _ in options_for(part, questions["q1"], f"s{n}")] for n in range(200)]
    one, other = ["reverse", "none", "forward"], ["forward", "none", "reverse"]
    assert shown.count(one) + shown.count(other) == 200
    assert 65 < shown.count(one) < 135  # a fair coin: 100, five standard deviations are 35
    assert [name for name, _ in options_for(part, questions["q1"], None)] == one


def test_a_range_of_one_value_is_a_range():
    assert read_range("n", [Decimal(5), Decimal(5), Decimal(1)]).choices == 1
