"""The eye, the lamp, the screen and the difference of colours, against published numbers and an independent
library (colour-science, which only the tests use).

The 34 pairs of CIEDE2000: G. Sharma, W. Wu and E. N. Dalal, "The CIEDE2000 color-difference formula:
implementation notes, supplementary test data, and mathematical observations", Color Research and
Application 30 (2005) 21-30, table 1. They are typed from memory of that table; colour-science gives the
same values, which a test shows.
"""

import contextlib
import io
import subprocess
import sys
import warnings

import numpy as np
import pytest

import eqlib as eq
from eqlib.errors import EqlibError
from eqlib.lab.light import (
    GRID_NM,
    KINDS,
    LIGHTS,
    adapt_to_screen,
    ciede2000,
    decode_srgb,
    encode_srgb,
    light,
    linear_to_lab,
    linear_to_xyz,
    rgb_to_lab,
    simulate,
    xyz_to_lab,
    xyz_to_linear,
)

# Illuminants of the table beside those that have a name of their own.
OTHERS = ("D50", "D55", "D75", "FL7", "FL11", "E")


def spectrum_to_xyz(transmittance, lamp="daylight"):
    return transmittance @ light(lamp).weights.T


@contextlib.contextmanager
def unremarked():
    """Keeps the library's notices (missing optional packages, the limits of a model) out of the tests."""
    with warnings.catch_warnings(), contextlib.redirect_stderr(io.StringIO()):
        warnings.simplefilter("ignore")
        yield


def colour_science():
    with unremarked():
        import colour
    return colour


def observer_table():
    """Rows of (nm, x, y, z, then each illuminant): how eqlib/lab/colour_observer.csv was made."""
    library = colour_science()
    observer = library.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    columns = [GRID_NM]
    columns += [np.interp(GRID_NM, observer.wavelengths, observer.values[:, i]) for i in range(3)]
    for name in (*LIGHTS.values(), *OTHERS):
        spectrum = library.SDS_ILLUMINANTS[name]
        columns.append(np.interp(GRID_NM, spectrum.wavelengths, spectrum.values, left=0.0, right=0.0))
    return np.column_stack(columns)


# Tristimulus values of the perfect reflector or transmitter, 1931 observer: ASTM E308, table 5 (from
# memory). The 5 nm sum over 380-780 nm differs from the 1 nm sum over 360-830 nm in the third decimal.
PUBLISHED_WHITES = {
    "D65": (95.047, 100.0, 108.883),
    "A": (109.850, 100.0, 35.585),
    "FL2": (99.186, 100.0, 67.393),
    "D50": (96.422, 100.0, 82.521),
}


@pytest.mark.parametrize("name", PUBLISHED_WHITES)
def test_a_perfect_transmitter_has_the_published_white_point(name):
    got = spectrum_to_xyz(np.ones(GRID_NM.size), name)
    assert np.allclose(got, PUBLISHED_WHITES[name], rtol=0, atol=0.01)


def test_the_shipped_table_is_what_the_library_tabulates():
    library = observer_table()
    shipped = np.column_stack([light(name).power for name in (*LIGHTS.values(), *OTHERS)])
    assert np.allclose(shipped, library[:, 4:], rtol=1e-9)
    weights = library[:, 1:4] * library[:, [4]]
    assert np.allclose(light("daylight").weights.T, 100 * weights / weights[:, 1].sum(), rtol=1e-8)


def test_known_points_of_the_observer():
    # CIE 1931: y-bar is 1 at 555 nm and x-bar 1.0622 at 600 nm (CIE 015:2018, table of 5 nm values, from
    # memory).
    table = observer_table()
    at = {nm: i for i, nm in enumerate(GRID_NM)}
    assert table[at[555.0], 2] == pytest.approx(1.0, abs=1e-6)
    assert table[at[600.0], 1] == pytest.approx(1.0622, abs=1e-6)


def test_a_coloured_spectrum_gives_what_the_library_integrates():
    transmittance = 10 ** -np.exp(-(((GRID_NM - 460.0) / 60.0) ** 2))
    library = colour_science()
    spectrum = library.SpectralDistribution(dict(zip(GRID_NM, transmittance, strict=True)))
    observer = library.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    with library.utilities.suppress_warnings(colour_runtime_warnings=True):
        theirs = library.sd_to_XYZ(spectrum, observer, library.SDS_ILLUMINANTS["D65"])
    assert np.allclose(spectrum_to_xyz(transmittance), theirs, rtol=0, atol=0.02)


def test_a_grey_filter_keeps_the_white_and_scales_it():
    assert np.allclose(spectrum_to_xyz(np.full(81, 0.25)), 0.25 * light().white)


def test_screen_encoding_and_lab_agree_with_the_library():
    rng = np.random.default_rng(5)
    library = colour_science()
    linear = rng.uniform(0, 1, (500, 3))
    assert np.allclose(encode_srgb(linear), library.cctf_encoding(linear), atol=1e-12)
    assert np.allclose(decode_srgb(encode_srgb(linear)), linear, atol=1e-6)
    xyz = rng.uniform(0, 1, (500, 3))
    white = light("D65").white / 100
    assert np.allclose(xyz_to_lab(xyz, white), library.XYZ_to_Lab(xyz, library.XYZ_to_xy(white)), atol=1e-9)
    assert np.allclose(
        encode_srgb(np.clip(xyz_to_linear(xyz), 0, 1)),
        np.clip(library.XYZ_to_sRGB(xyz), 0, 1),
        atol=2e-3,  # the standard prints its matrix to four decimals, the library uses those
    )


def test_srgb_primaries_have_their_published_lab():
    # IEC 61966-2-1 red and blue under D65, as widely tabulated (from memory).
    assert np.allclose(rgb_to_lab(np.array([1.0, 0.0, 0.0])), (53.24, 80.09, 67.20), atol=0.02)
    assert np.allclose(rgb_to_lab(np.array([0.0, 0.0, 1.0])), (32.30, 79.19, -107.86), atol=0.02)
    assert np.allclose(linear_to_lab(np.ones(3)), (100, 0, 0), atol=1e-9)


@pytest.mark.parametrize("name", [*LIGHTS, *OTHERS])
def test_a_white_sheet_is_white_in_every_light(name):
    lamp = light(name)
    assert np.allclose(xyz_to_linear(adapt_to_screen(lamp.white, lamp.white)), 1.0)
    assert lamp.white[1] == pytest.approx(100.0)


@pytest.mark.parametrize("name", ["candle", "", None, 65])
def test_an_unknown_light_is_named_with_the_ones_there_are(name):
    with pytest.raises(EqlibError, match="daylight"):
        light(name)


def test_the_24_measured_patches_of_a_colour_chart_come_out_as_published():
    # Spectra and D50 coordinates of 24 patches averaged over 30 charts, published by D. Pascale
    # (BabelColor), as carried by colour-science. Spectra are given every 10 nm to two figures, hence the
    # tolerance.
    library = colour_science()
    spectra = library.SDS_COLOURCHECKERS["BabelColor Average"]
    published = library.CCS_COLOURCHECKERS["BabelColor Average"]
    assert len(spectra) == 24
    for name, spectrum in spectra.items():
        values = np.interp(GRID_NM, spectrum.wavelengths, spectrum.values)
        ours = xyz_to_lab(spectrum_to_xyz(values, "D50"), light("D50").white)
        theirs = library.XYZ_to_Lab(library.xyY_to_XYZ(published.data[name]), published.illuminant)
        assert library.delta_E(ours, theirs, method="CIE 2000") < 0.25, name


def test_the_colour_library_waits_for_the_first_colour_and_says_nothing():
    code = (
        "import sys, eqlib, eqlib.lab.look; assert 'coloraide' not in sys.modules; "
        "print(eqlib.colour_of({'FeSCN^2+': 1e-4}).hex, eqlib.delta_e('#000000', '#0000ff')); "
        "assert 'coloraide' in sys.modules; assert not {'skimage', 'colour'} & set(sys.modules)"
    )
    done = subprocess.run(
        [sys.executable, "-W", "error", "-c", code], capture_output=True, text=True, timeout=120, check=False
    )
    assert (done.stderr, done.returncode) == ("", 0)


def test_whites_and_blacks_are_exact_and_arrays_keep_their_shape():
    ends = np.array([[0.0, 0.0, 0.0], [1.0, 1.0, 1.0]])
    assert np.allclose(encode_srgb(ends), ends, rtol=0, atol=1e-12)
    assert np.allclose(decode_srgb(ends), ends, rtol=0, atol=1e-12)
    assert np.allclose(rgb_to_lab(ends), [(0, 0, 0), (100, 0, 0)], rtol=0, atol=1e-9)
    grid = np.full((4, 5, 3), 0.5)
    kept = grid.copy()
    for convert in (encode_srgb, decode_srgb, linear_to_lab, rgb_to_lab, xyz_to_linear):
        assert convert(grid).shape == grid.shape
        assert np.array_equal(grid, kept)


def test_a_colour_outside_the_screens_range_is_not_cut_off_before_lab():
    # IEC 61966-2-1, XYZ to linear sRGB, as printed to four decimals (from memory): a spectral green has less
    # than no red.
    printed = np.array([[3.2406, -1.5372, -0.4986], [-0.9689, 1.8758, 0.0415], [0.0557, -0.2040, 1.0570]])
    green = np.array([0.20, 0.60, 0.05])
    linear = xyz_to_linear(green)
    assert linear.min() < -0.25
    assert np.allclose(linear, printed @ green, rtol=0, atol=1e-3)
    white = linear_to_xyz(np.ones(3))
    assert np.allclose(linear_to_lab(linear), xyz_to_lab(green, white), rtol=0, atol=1e-9)


# -- differences --------------------

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
    assert np.allclose(ciede2000(first, second), theirs, rtol=0, atol=1e-9)


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


# -- eyes that see fewer differences --------------------


@pytest.mark.parametrize("kind", KINDS)
def test_deficiencies_are_the_published_matrices(kind):
    """Machado, Oliveira and Fernandes 2009, as colour-science tabulates them, applied to linear sRGB."""
    name = {"protan": "Protanomaly", "deutan": "Deuteranomaly", "tritan": "Tritanomaly"}[kind]
    with unremarked():
        matrix = np.asarray(colour_science().matrix_cvd_Machado2009(name, 1.0))
    rgb = np.random.default_rng(3).integers(0, 256, (200, 3))
    linear = decode_srgb(rgb / 255.0)
    theirs = np.rint(255.0 * encode_srgb(np.clip(linear @ matrix.T, 0, 1)))
    assert np.abs(simulate(rgb, kind) - theirs).max() <= 1
