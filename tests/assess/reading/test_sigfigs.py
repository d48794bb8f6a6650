"""Significant figures, counted by the rules as taught (common practice, no source)."""

import pytest

from eqlib.assess.asks.base import Part
from eqlib.assess.mark import read_part
from eqlib.assess.reading.numbers import figures_of_value


@pytest.mark.parametrize(
    ("text", "least", "most", "decimals"),
    [
        ("140", 2, 3, 0),
        ("140.", 3, 3, 0),
        ("140.0", 4, 4, 1),
        ("0.0140", 3, 3, 4),
        ("1.40e2", 3, 3, 0),
        ("1.40e-2", 3, 3, 4),
        ("4700", 2, 4, 0),
        ("0", 1, 1, 0),
        ("0.00", 2, 2, 2),
        (".5", 1, 1, 1),
        ("-0.325", 3, 3, 3),
        ("1000", 1, 4, 0),
        ("1002", 4, 4, 0),
        # The last nought of 60 may count or not; with a power of ten there is no doubt.
        ("60", 1, 2, 0),
        ("6e1", 1, 1, 0),
        ("6.0e1", 2, 2, 0),
    ],
)
def test_counts(text, least, most, decimals):
    found = read_part(Part("n", "number", "number", "n"), text)
    assert (found.figures, found.decimals) == ((least, most), decimals)


def test_a_number_worked_out_by_code_has_at_least_the_figures_that_write_it():
    assert figures_of_value(0.00714) == 3
    assert figures_of_value(67.0) == 2
    assert figures_of_value(0.0) == 1
    assert figures_of_value(1.5e-7) == 2
