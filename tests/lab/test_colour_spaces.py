"""Spectrum to XYZ, to Lab and to the screen, against published numbers and an independent library."""

import subprocess
import sys

import numpy as np
import pytest

from eqlib.errors import EqlibError
from eqlib.lab.colour_lights import GRID_NM, LIGHTS, colour_science, light, observer_table
from eqlib.lab.colour_spaces import (
    adapt_to_screen,
    decode_srgb,
    encode_srgb,
    linear_to_lab,
    linear_to_xyz,
    rgb_to_lab,
    spectrum_to_xyz,
    xyz_to_lab,
    xyz_to_linear,
)

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
    shipped = np.column_stack([light(name).power for name in LIGHTS.values()])
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
    off = np.abs(xyz_to_lab(xyz, white) - library.XYZ_to_Lab(xyz, library.XYZ_to_xy(white)))
    # The straight foot of the Lab curve has slope (29/6)^2 / 3 = 7.787037 in CIE 015, which scikit-image
    # rounds to four digits, 7.787: below (6/29)^3 = 0.008856 f is low by up to 0.000037 x 0.008856 = 3.3e-7,
    # and a* is off by 500 times that. On the curve the two agree as closely as ever.
    curved = np.all(xyz / white > 0.0089, axis=-1)
    assert 400 < curved.sum() < 500
    assert off[curved].max() < 1e-9
    assert off.max() < 500 * 3.3e-7
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


@pytest.mark.parametrize("name", [*LIGHTS, "D50", "FL11"])
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


def test_scikit_image_waits_for_the_first_colour_and_says_nothing():
    code = (
        "import sys, eqlib, eqlib.lab.look, eqlib.lab.visibility; assert 'skimage' not in sys.modules; "
        "print(eqlib.colour_of({'FeSCN^2+': 1e-4}).hex, eqlib.delta_e('#000000', '#0000ff')); "
        "assert 'skimage' in sys.modules"
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
