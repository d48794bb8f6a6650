"""Facts of one line each, worked by hand, about what is read, counted and told."""

from dataclasses import replace

import pytest

from eqlib.assess.asks import ASKS
from eqlib.assess.asks.base import Part
from eqlib.assess.asks.design import PIECES
from eqlib.assess.asks.slips import Facts, amount_made, small_x
from eqlib.assess.question import Case
from eqlib.assess.reading.equations import write_equation
from eqlib.assess.reading.plain import Unreadable, plain
from eqlib.assess.reading.species import named
from eqlib.assess.records.journal import read_journal
from eqlib.assess.records.record import record_answer
from eqlib.chem.disturb import disturb
from eqlib.chem.mixture import Mixture
from eqlib.chem.reactions import Reaction
from eqlib.chem.stress import Stress
from eqlib.lab.demonstration import judge, some_plan


def test_an_equation_has_its_reactants_on_the_left():
    assert write_equation({"A": -2.0, "B": 1.0}) == "2 A ⇌ B"
    assert write_equation({"B": 1.0}) == "nothing ⇌ B"


def test_lists_in_lists_are_read_four_deep_and_no_deeper():
    assert plain([[[[1]]]]) == [[[[1]]]]
    with pytest.raises(Unreadable, match="list inside a list"):
        plain([[[[[1]]]]])


@pytest.mark.parametrize(("said", "meant"), [("dichromate", "Cr2O7^2-"), ("chromate", "CrO4^2-")])
def test_two_ions_of_chromium_are_told_apart_by_name(said, meant):
    assert named(said, ["CrO4^2-", "H^+", "Cr2O7^2-", "H2O(l)"]) == (meant, "")


def test_how_sure_somebody_is_never_earns_points():
    sure = ASKS["confidence"]
    assert not sure.part(sure.Table(ask="confidence"), "q").scored
    with pytest.raises(ValueError, match="is never marked; leave it out"):
        sure.Table(ask="confidence", weight=1)
    assert Part("c", "choice", "direction", "", weight=1).scored


def test_each_requirement_of_a_plan_is_paid_for_by_one_part():
    plan = some_plan(20.0)
    judged = [one.key for one in judge(plan, 20.0).requirements]
    paid = [key for _, _, keys in PIECES.values() for key in keys]
    assert sorted(paid) == sorted(judged)


def test_a_pupil_whose_answers_cannot_be_read_hides_nobody_elses():
    mine = record_answer("04", "water", {"direction": "none"}, "s02", at="2026-01-31T18:05:00+00:00")
    journal = {"format": 1, "records": {"s01": 5, "s02": {"water": mine.to_dict()}}}
    found, problems = read_journal(journal)
    assert list(found["s02"]) == ["water"]
    assert len(problems) == 1


def test_a_small_x_needs_a_product_in_k():
    """AgCl from its ions: no dissolved product, so no x in the upper line of K."""
    assert small_x({"Ag^+": -1, "Cl^-": -1, "AgCl(s)": 1}, {"Ag^+": 0.1, "Cl^-": 0.1}, 5e9) is None
    assert small_x({"HF": -1, "H^+": 1, "F^-": 1}, {"HF": 0.1}, 1e-5) == pytest.approx(1e-3)


def test_the_first_product_is_the_one_that_is_made():
    """A to B and 2 C: as much B as x, whatever C does; where something is observed, that."""
    case = Case(())
    facts = Facts(Part("n", "number", "number", ""), case, 0.0, {"A": -1.0, "B": 1.0, "C": 2.0})
    assert amount_made(case, facts, 0.1) == 0.1
    assert amount_made(replace(case, observed="C"), facts, 0.1) == 0.2


def test_water_dilutes_what_is_dissolved_and_no_gas_above_it():
    dissolving = Reaction("CO2(g) <=> CO2", K=0.034)
    above = disturb(Mixture({"CO2": 0.03}, [dissolving], volume=1.0, headspace=1.0), Stress.dilute(1.0))
    assert "dilutes every dissolved substance at once to 0.5 of what it was" in above.explanation
    binding = Reaction("Fe^3+ + SCN^- <=> FeSCN^2+", K=140)
    mixed = disturb(Mixture({"Fe^3+": 1e-3, "SCN^-": 1e-3}, [binding], volume=1.0), Stress.dilute(1.0))
    assert "dilutes every concentration at once to 0.5 of what it was" in mixed.explanation
