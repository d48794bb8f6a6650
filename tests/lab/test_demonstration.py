"""A planned demonstration is mixed and held against what a demonstration must do."""

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from eqlib.errors import EqlibError
from eqlib.lab.demonstration import REQUIREMENTS, VESSELS, Plan, demonstrations, judge, some_plan

SILVER = "iron-thiocyanate-silver/silver"
GOOD = Plan(SILVER, "cylinder", 20.0, 1.5, 3.0)


def not_met(plan, least_mL=20.0):
    """The keys of the requirements that a plan misses."""
    return {one.key for one in judge(plan, least_mL).requirements if not one.met}


def test_every_requirement_is_judged_once_and_in_order():
    assert tuple(one.key for one in judge(GOOD, 20.0).requirements) == REQUIREMENTS


def test_only_what_may_be_mixed_and_can_be_turned_back_is_on_offer():
    """Chromate and acid fluoride are recorded data, nitrogen dioxide has no bottle (facts of the trade)."""
    names = {key.split("/")[0] for key in demonstrations()}
    assert len(names) >= 8
    assert not names & {"chromate-dichromate", "iron-thiocyanate-fluoride", "nitrogen-dioxide"}


def test_a_sound_plan_meets_everything():
    assert not_met(GOOD) == set()


@pytest.mark.parametrize(
    ("change", "missed"),
    [
        ({"vessel": "well"}, {"large enough"}),
        ({"start_mL": 90.0, "add_mL": 8.0, "back_mL": 16.0}, {"large enough", "amount"}),
        ({"start_mL": 3.0, "add_mL": 0.3, "back_mL": 0.6}, {"large enough", "amount"}),
        ({"back_mL": 0.1}, {"turned back"}),
    ],
    ids=[
        "a well is too small",
        "it runs over",
        "hardly filled",
        "one drop back does nothing",
    ],
)
def test_one_thing_changed_is_what_is_missed(change, missed):
    assert missed <= not_met(replace(GOOD, **change))
    assert not_met(replace(GOOD, **change)) <= missed | {"grey"}


def test_a_trace_of_silver_is_seen_by_nobody():
    assert {"seen", "grey", "more than dilution"} <= not_met(replace(GOOD, add_mL=0.002))


def test_silver_in_ammonia_is_not_for_an_open_bench():
    """Ammoniacal silver can form an explosive solid on standing (a fact of the trade)."""
    plan = Plan("silver-chloride-ammonia/ammonia", "cylinder", 20.0, 5.0, 6.0)
    assert "safe" in not_met(plan)


def test_fuming_acid_is_not_for_an_open_bench_and_what_burns_is_said():
    """12 mol/L hydrochloric acid is H314 and fumes; 1 mol/L sodium hydroxide is H314 (CLP, from memory)."""
    plan = Plan("copper-chloride/acid", "cylinder", 20.0, 10.0, 10.0)
    (safe,) = [one for one in judge(plan, 20.0).requirements if one.key == "safe"]
    assert not safe.met
    assert "fume cupboard" in safe.words
    plan = Plan("iron-thiocyanate-hydroxide/hydroxide", "cylinder", 20.0, 2.0, 3.0)
    (safe,) = [one for one in judge(plan, 20.0).requirements if one.key == "safe"]
    assert "burns skin" in safe.words


@given(st.floats(0.5, 3.0))
@settings(max_examples=10, deadline=None)
def test_from_the_side_only_the_proportions_count(factor):
    """Beer and Lambert: the width of the vessel is the path, however much stands in it."""
    bigger = Plan(SILVER, "cylinder", 20.0 * factor, 1.5 * factor, 3.0 * factor)
    assert judge(bigger, 20.0).seen.delta_e == pytest.approx(judge(GOOD, 20.0).seen.delta_e, rel=1e-6)


@given(st.floats(1, 80), st.floats(0.1, 10), st.floats(0.1, 10))
@settings(max_examples=10, deadline=None)
def test_enough_and_hardly_more_is_left(start, add, back):
    judged = judge(Plan(SILVER, "cylinder", start, add, back), 20.0)
    assert judged.met("amount") == (20.0 <= start + add + back <= 28.0,)


@pytest.mark.parametrize("limit", [20.0, 30.0, 45.0])
def test_a_plan_can_be_found_for_every_amount(limit):
    found = some_plan(limit)
    assert found is not None
    assert not_met(found, limit) == set()


@pytest.mark.parametrize(
    "plan",
    [
        replace(GOOD, demo="iron/gold"),
        replace(GOOD, vessel="bucket"),
        replace(GOOD, add_mL=0.0),
        replace(GOOD, back_mL=-1.0),
    ],
)
def test_a_plan_that_cannot_be_is_refused_in_one_line(plan):
    with pytest.raises(EqlibError) as refused:
        judge(plan, 40.0)
    assert "\n" not in str(refused.value)


def test_every_vessel_can_be_filled_high_enough():
    for vessel in VESSELS.values():
        assert vessel.least_cm * vessel.area_cm2 < vessel.capacity_mL
