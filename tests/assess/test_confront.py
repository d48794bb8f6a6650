"""What a prediction is answered with: each sentence is recomputed from the numbers of the bottles."""

import math
import re
from pathlib import Path

import pytest

from eqlib.assess.confront import confront
from eqlib.assess.load import load_questions

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
