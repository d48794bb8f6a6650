"""Line diagrams: every value stands where the axes say, and nothing is told by colour alone."""

import re
from xml.etree import ElementTree

import numpy as np
import pytest

from eqlib.errors import EqlibError
from eqlib.lab.curves import curves, numbers

X = np.linspace(0.0, 20.0, 41)


def points(svg):
    return [
        np.array([[float(v) for v in pair.split(",")] for pair in found.split()])
        for found in re.findall(r'polyline points="([^"]+)"', svg)
    ]


def test_each_curve_is_drawn_to_scale():
    svg = curves(X, {"a": 0.1 * X, "b": np.full(41, 1.0)}, "time / s", "mmol/L", "Two")
    a, b = points(svg)
    assert np.allclose(np.diff(a[:, 0], 2), 0, atol=0.11)  # evenly spaced, as X is (rounded to a tenth)
    floor, ceiling = a[0, 1], a[-1, 1]  # 0 and 2.0: the ends of the axis
    assert np.allclose(b[:, 1], (floor + ceiling) / 2, atol=0.11)  # SVG counts downwards; 1.0 is half of 2.0
    assert ceiling < floor


def test_curves_are_told_apart_without_colour_and_the_picture_has_words():
    svg = curves(
        X, {"forward": X, "reverse": 2 * X}, "time / s", "rate", "Rates", "Both rise.", [(5, "drops")]
    )
    dashes = re.findall(r'<polyline[^>]*stroke-dasharray="([^"]*)"', svg)
    assert len(set(dashes)) == 2
    for word in (
        "forward",
        "reverse",
        "drops",
        "time / s",
        "<title>Rates</title>",
        "<desc>Both rise.</desc>",
    ):
        assert word in svg
    ElementTree.fromstring(svg)


def test_markup_in_a_name_is_shown_and_not_obeyed():
    svg = curves(X, {"<script>": X}, "a & b", "y", "t")
    ElementTree.fromstring(svg)
    assert "<script>" not in svg


def test_the_numbers_are_a_table_with_headers():
    table = numbers(X, {"forward": X + 1}, "time / s", "mmol/L")
    cells = re.findall(r"<td>([^<]+)</td>", table)
    assert [float(c) for c in cells] == [1, 4.5, 7.5, 11, 14.5, 17.5, 21]
    assert table.count('scope="row"') == 7


def test_curves_of_another_length_are_refused():
    with pytest.raises(EqlibError, match="as long as x"):
        curves(X, {"a": [1, 2]}, "x", "y", "t")
