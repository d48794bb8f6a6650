"""CIEDE2000 against its published test pairs, and against an independent library.

The 34 pairs: G. Sharma, W. Wu and E. N. Dalal, "The CIEDE2000 color-difference formula: implementation
notes, supplementary test data, and mathematical observations", Color Research and Application 30 (2005)
21-30, table 1. They are typed from memory of that table; colour-science gives the same values, which the
second test shows.
"""

import numpy as np
import pytest

import eqlib as eq
from eqlib.lab.colour_difference import ciede2000
from eqlib.lab.colour_lights import colour_science

# L1, a1, b1, L2, a2, b2, published difference to four decimals.
PAIRS = np.array(
    [
        [50.0000, 2.6772, -79.7751, 50.0000, 0.0000, -82.7485, 2.0425],
        [50.0000, 3.1571, -77.2803, 50.0000, 0.0000, -82.7485, 2.8615],
        [50.0000, 2.8361, -74.0200, 50.0000, 0.0000, -82.7485, 3.4412],
        [50.0000, -1.3802, -84.2814, 50.0000, 0.0000, -82.7485, 1.0000],
        [50.0000, -1.1848, -84.8006, 50.0000, 0.0000, -82.7485, 1.0000],
        [50.0000, -0.9009, -85.5211, 50.0000, 0.0000, -82.7485, 1.0000],
        [50.0000, 0.0000, 0.0000, 50.0000, -1.0000, 2.0000, 2.3669],
        [50.0000, -1.0000, 2.0000, 50.0000, 0.0000, 0.0000, 2.3669],
        [50.0000, 2.4900, -0.0010, 50.0000, -2.4900, 0.0009, 7.1792],
        [50.0000, 2.4900, -0.0010, 50.0000, -2.4900, 0.0010, 7.1792],
        [50.0000, 2.4900, -0.0010, 50.0000, -2.4900, 0.0011, 7.2195],
        [50.0000, 2.4900, -0.0010, 50.0000, -2.4900, 0.0012, 7.2195],
        [50.0000, -0.0010, 2.4900, 50.0000, 0.0009, -2.4900, 4.8045],
        [50.0000, -0.0010, 2.4900, 50.0000, 0.0010, -2.4900, 4.8045],
        [50.0000, -0.0010, 2.4900, 50.0000, 0.0011, -2.4900, 4.7461],
        [50.0000, 2.5000, 0.0000, 50.0000, 0.0000, -2.5000, 4.3065],
        [50.0000, 2.5000, 0.0000, 73.0000, 25.0000, -18.0000, 27.1492],
        [50.0000, 2.5000, 0.0000, 61.0000, -5.0000, 29.0000, 22.8977],
        [50.0000, 2.5000, 0.0000, 56.0000, -27.0000, -3.0000, 31.9030],
        [50.0000, 2.5000, 0.0000, 58.0000, 24.0000, 15.0000, 19.4535],
        [50.0000, 2.5000, 0.0000, 50.0000, 3.1736, 0.5854, 1.0000],
        [50.0000, 2.5000, 0.0000, 50.0000, 3.2972, 0.0000, 1.0000],
        [50.0000, 2.5000, 0.0000, 50.0000, 1.8634, 0.5757, 1.0000],
        [50.0000, 2.5000, 0.0000, 50.0000, 3.2592, 0.3350, 1.0000],
        [60.2574, -34.0099, 36.2677, 60.4626, -34.1751, 39.4387, 1.2644],
        [63.0109, -31.0961, -5.8663, 62.8187, -29.7946, -4.0864, 1.2630],
        [61.2901, 3.7196, -5.3901, 61.4292, 2.2480, -4.9620, 1.8731],
        [35.0831, -44.1164, 3.7933, 35.0232, -40.0716, 1.5901, 1.8645],
        [22.7233, 20.0904, -46.6940, 23.0331, 14.9730, -42.5619, 2.0373],
        [36.4612, 47.8580, 18.3852, 36.2715, 50.5065, 21.2231, 1.4146],
        [90.8027, -2.0831, 1.4410, 91.1528, -1.6435, 0.0447, 1.4441],
        [90.9257, -0.5406, -0.9208, 88.6381, -0.8985, -0.7239, 1.5381],
        [6.7747, -0.2908, -2.4247, 5.8714, -0.0985, -2.2286, 0.6377],
        [2.0776, 0.0795, -1.1350, 0.9033, -0.0636, -0.5514, 0.9082],
    ]
)


def test_all_34_published_pairs_to_four_decimals():
    assert len(PAIRS) == 34
    got = ciede2000(PAIRS[:, :3], PAIRS[:, 3:6])
    assert np.abs(got - PAIRS[:, 6]).max() < 0.5e-4 + 1e-6


def test_the_public_name_takes_each_pair_in_either_order():
    for row in PAIRS:
        first, second = tuple(row[:3]), tuple(row[3:6])
        assert eq.delta_e(first, second) == pytest.approx(row[6], abs=5.1e-5)
        assert eq.delta_e(second, first) == pytest.approx(row[6], abs=5.1e-5)


def test_the_table_as_typed_is_what_an_independent_library_gives():
    theirs = colour_science().delta_E(PAIRS[:, :3], PAIRS[:, 3:6], method="CIE 2000")
    assert np.abs(theirs - PAIRS[:, 6]).max() < 0.5e-4 + 1e-6


def test_thousands_of_random_pairs_agree_with_the_independent_library():
    rng = np.random.default_rng(20)
    first = rng.uniform([0, -100, -100], [100, 100, 100], (5000, 3))
    second = first + rng.normal(0, [5, 20, 20], first.shape)
    first[:200, 1:] = 0.0  # greys have no hue: the published notes single them out
    theirs = colour_science().delta_E(first, second, method="CIE 2000")
    assert np.allclose(ciede2000(first, second), theirs, rtol=0, atol=1e-10)


def test_arrays_broadcast_and_a_colour_does_not_differ_from_itself():
    grid = np.random.default_rng(1).uniform(0, 80, (4, 5, 3))
    assert ciede2000(grid, grid[0, 0]).shape == (4, 5)
    assert np.all(ciede2000(grid, grid) == 0.0)


@pytest.mark.parametrize("bad", ["red", "#12", "", None, (1, 2), (1, 2, float("nan")), "#ggffff", {"a": 1}])
def test_what_is_not_a_colour_gives_one_plain_line(bad):
    with pytest.raises(eq.EqlibError) as caught:
        eq.delta_e(bad, "#ffffff")
    assert "\n" not in str(caught.value)
    assert "colour" in str(caught.value)


def test_hex_strings_with_and_without_the_hash():
    assert eq.delta_e("#ffffff", "FFFFFF") == 0.0
    # Black against white differ by the whole lightness scale: 100 / S_L with S_L = 1 at mean L* = 50.
    assert eq.delta_e("#000000", "#ffffff") == pytest.approx(100.0, abs=1e-3)
