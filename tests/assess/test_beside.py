"""The colour beside a control with as much water, worked by hand: K = 140 L/mol, one coloured complex."""

import math
import re

import pytest
from one_question import TUBE, part, question, stress

from eqlib.assess.asks import ASKS
from eqlib.assess.mark import mark

IRON = 'kind = "add_solution"\nof_mM = { "Fe(NO3)3" = 2.0 }\nmL = 14'
SILVER = 'kind = "add_solution"\nof_mM = { AgNO3 = 20 }\nmL = 0.5'
NITRATE = 'kind = "add_solution"\nof_mM = { NaNO3 = 100 }\nmL = 10'
ASKED = part('ask = "direction"') + part('ask = "beside"')
RIVAL = TUBE.replace("dH_kJ = -6 }", 'dH_kJ = -6 }, { text = "Ag^+ + SCN^- <=> AgSCN(s)", K = 1e12 }')


def made(iron, thiocyanate, K=140.0):
    """mol/L of the complex: x = K (iron - x) (thiocyanate - x)."""
    b = iron + thiocyanate + 1 / K
    return (b - math.sqrt(b * b - 4 * iron * thiocyanate)) / 2


@pytest.mark.parametrize(
    ("tube", "done", "colour"),
    [
        (TUBE, IRON, "darker"),  # paler than before, for 14 mL came to 10; but the control is paler still
        (RIVAL, SILVER, "paler"),  # some of the thiocyanate is gone
        (TUBE, NITRATE, "same"),  # neither ion takes part
    ],
)
def test_dilution_is_taken_away(tube, done, colour):
    asked = question(tube, stress(done), ASKED)
    assert asked.case().expected["beside"] == colour


def test_what_is_told_is_how_many_times_the_control_it_absorbs():
    """10 mL of 2.00 mM iron and 1.00 mM thiocyanate; 14 mL of 2.00 mM iron or of water."""
    asked = question(TUBE, stress(IRON), ASKED)
    told = ASKS["beside"].because(asked.part("beside"), asked.case())
    times = float(re.search(r"\d\.\d", told)[0])
    share = 10 / 24
    more = made(2.00e-3, share * 1.00e-3)
    assert times == pytest.approx(more / made(share * 2.00e-3, share * 1.00e-3), abs=0.06)


def test_who_takes_paling_for_the_way_back_is_met():
    asked = question(TUBE, stress(IRON), ASKED)
    right = dict(asked.case().expected)
    assert mark(asked, right).points == asked.points
    wrong = mark(asked, right | {"beside": "paler"})
    assert wrong.parts[1].mistake == "paler_is_left"
    assert (
        mark(asked, right | {"beside": "same"})
        .parts[1]
        .feedback.endswith("in which is there more of the coloured substance?")
    )


def test_there_is_a_control_only_where_a_solution_is_added():
    warmed = question(TUBE, stress('kind = "heat_to"\ncelsius = 60'), ASKED)
    assert "none is" in next(ASKS["beside"].doubts(warmed.part("beside"), warmed.case()))
