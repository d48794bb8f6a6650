"""A plan is judged as a whole, requirement by requirement; no plan is the right one."""

import pytest

from eqlib.assess.load import read_questions
from eqlib.assess.mark import mark

TEXT = """
[assignment]
id = "a"
title = "A"
course = "c"
[[question]]
id = "plan"
kind = "mixed"
points = 7
title = "A plan"
prompt = "At least {least_mL} mL."
numbers = { least_mL = [20, 40, 1] }
part = [
  { ask = "design", of = "demo" },
  { ask = "design", of = "vessel" },
  { ask = "design", of = "start" },
  { ask = "design", of = "add", weight = 3 },
  { ask = "design", of = "back" },
]
"""
#: Nobody in particular: 30 mL wanted.
SILVER = {
    "demo": "iron-thiocyanate-silver/silver",
    "vessel": "cylinder",
    "start": "27 mL",
    "add": 2,
    "back": 4,
}
PINK = {"demo": "ammonia-indicator/ammonium", "vessel": "cylinder", "start": 30, "add": 1.5, "back": 1.5}


@pytest.fixture(scope="module")
def question():
    return read_questions(TEXT)["plan"]


@pytest.mark.parametrize("plan", [SILVER, PINK], ids=["silver", "phenolphthalein"])
def test_quite_different_plans_earn_everything(question, plan):
    assert mark(question, plan).points == 7.0


@pytest.mark.parametrize(
    ("change", "points"),
    [({"vessel": "well"}, 6.0), ({"back": 0.01}, 5.0), ({"start": 60}, 6.0)],
    ids=["too small", "not turned back, and too little in the end", "too much to collect"],
)
def test_each_requirement_missed_costs_its_point(question, change, points):
    assert mark(question, SILVER | change).points == points


def test_half_a_plan_earns_nothing_and_is_told_what_is_missing(question):
    made = mark(question, {"demo": SILVER["demo"], "vessel": "cylinder"})
    assert made.points == 0.0
    assert "start with" in made.parts[0].feedback


def test_a_plan_that_cannot_be_mixed_is_told_so(question):
    made = mark(question, SILVER | {"add": -1})
    assert made.points == 0.0
    assert "could not be mixed" in made.parts[0].feedback


@pytest.mark.parametrize("student", ["s01", "s02", "s03"])
def test_some_plan_meets_everything_for_everybody(question, student):
    expected = question.case(student).expected
    assert mark(question, dict(expected), student=student).points == 7.0
