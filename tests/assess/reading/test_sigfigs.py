"""Significant figures, counted by the rules as taught (common practice, no source)."""

import pytest

from eqlib.assess.reading.numbers import (
    compare_decimals,
    compare_figures,
    figures_of_value,
    round_to,
    show,
    sigfigs,
    supported,
)
from eqlib.errors import EqlibError


@pytest.mark.parametrize(
    ("text", "least", "most", "decimals"),
    [
        ("140", 2, 3, 0),
        ("140.", 3, 3, 0),
        ("140.0", 4, 4, 1),
        ("0.0140", 3, 3, 4),
        ("1.40e2", 3, 3, 2),
        ("4700", 2, 4, 0),
        ("0", 1, 1, 0),
        ("0.00", 2, 2, 2),
        (".5", 1, 1, 1),
        ("-0.325", 3, 3, 3),
        ("1000", 1, 4, 0),
        ("1002", 4, 4, 0),
    ],
)
def test_counts(text, least, most, decimals):
    found = sigfigs(text)
    assert (found.least, found.most, found.decimals) == (least, most, decimals)


@pytest.mark.parametrize("text", ["", "1,4", "x", "1 2", "1e", None, 3])
def test_only_one_plain_number_is_counted(text):
    with pytest.raises(EqlibError, match="one plain number"):
        sigfigs(text)


def test_what_the_data_support():
    assert supported("0.325", "4700", "1.00") == 3
    assert supported("0.32", "5.00") == 2
    with pytest.raises(EqlibError):
        supported()


def test_comparison_gives_the_benefit_of_the_doubt():
    assert compare_figures(sigfigs("140"), 3) == "fits"
    assert compare_figures((2, 3), 3, slack=0) == "fits"
    assert compare_figures(sigfigs("139.9370169"), 3) == "too many"
    assert compare_figures(sigfigs("0.1"), 3) == "too few"
    assert compare_decimals(2, 2) == "fits"
    assert compare_decimals(7, 2) == "too many"
    assert compare_decimals(0, 2) == "too few"


def test_rounding_and_printing():
    assert round_to(139.937, 3) == 140.0
    assert round_to(0.0, 3) == 0.0
    assert show(139.937, 3) == "140"
    assert show(0.0473071, 3) == "0.0473"
    assert show(6.9149e-5, 3) == "6.91 × 10⁻⁵"
    assert show(1234567.0, 3) == "1.23 × 10⁶"
    assert show(-0.5, 1) == "-0.5"
    assert figures_of_value(0.00714) == 3
    assert figures_of_value(67.0) == 2
    assert figures_of_value(0.0) == 1
