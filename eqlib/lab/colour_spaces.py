"""From XYZ to a screen and to CIE Lab.

Everything takes and gives arrays whose last axis has length 3. The colour-science package is the reference
these few lines are tested against; they are written out so that a slider costs microseconds.

Sources: IEC 61966-2-1 (sRGB); CIE 015:2018 (Lab); the Bradford matrix, Lam 1985, as tabulated by
colour-science.
"""

import numpy as np

from eqlib.lab.colour_lights import light

# IEC 61966-2-1: chromaticities of the red, green and blue primaries and of the white.
_PRIMARIES_XY = ((0.64, 0.33), (0.30, 0.60), (0.15, 0.06))
_WHITE_XY = (0.3127, 0.3290)


def _from_xy(x, y):
    return np.array([x / y, 1.0, (1.0 - x - y) / y])


def _rgb_to_xyz_matrix():
    primaries = np.column_stack([_from_xy(*xy) for xy in _PRIMARIES_XY])
    return primaries * np.linalg.solve(primaries, _from_xy(*_WHITE_XY))


RGB_TO_XYZ = _rgb_to_xyz_matrix()
XYZ_TO_RGB = np.linalg.inv(RGB_TO_XYZ)
_SCREEN_WHITE = _from_xy(*_WHITE_XY)

_BRADFORD = np.array([[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]])


def adapt_to_screen(xyz, white):
    """XYZ (Y of white = 100) seen under a lamp of the given ``white`` -> XYZ (Y of white = 1) for a D65
    screen.

    The Bradford transform: a white sheet stays white whatever the lamp, as it does for someone in the room.
    """
    lamp = _BRADFORD @ (np.asarray(white) / 100.0)
    screen = _BRADFORD @ _SCREEN_WHITE
    matrix = np.linalg.solve(_BRADFORD, (screen / lamp)[:, None] * _BRADFORD)
    return np.asarray(xyz) / 100.0 @ matrix.T


def encode_srgb(linear):
    """Linear red, green, blue in [0, 1] -> the values a screen is sent, in [0, 1]."""
    linear = np.asarray(linear, dtype=float)
    return np.where(
        linear <= 0.0031308, 12.92 * linear, 1.055 * np.maximum(linear, 0.0031308) ** (1 / 2.4) - 0.055
    )


def decode_srgb(encoded):
    """The inverse of ``encode_srgb``."""
    encoded = np.asarray(encoded, dtype=float)
    return np.where(encoded <= 0.04045, encoded / 12.92, ((encoded + 0.055) / 1.055) ** 2.4)


def xyz_to_lab(xyz, white):
    """CIE 1976 L*, a*, b* of XYZ relative to ``white`` (both with the same scale)."""
    ratio = np.asarray(xyz, dtype=float) / np.asarray(white, dtype=float)
    delta = 6.0 / 29.0
    f = np.where(ratio > delta**3, np.cbrt(ratio), ratio / (3 * delta**2) + 4.0 / 29.0)
    return np.stack(
        [116.0 * f[..., 1] - 16.0, 500.0 * (f[..., 0] - f[..., 1]), 200.0 * (f[..., 1] - f[..., 2])], axis=-1
    )


def linear_to_lab(linear):
    """Linear sRGB (any range) -> L*, a*, b* relative to the screen's own white."""
    return xyz_to_lab(np.asarray(linear) @ RGB_TO_XYZ.T, _SCREEN_WHITE)


def rgb_to_lab(rgb):
    """Screen red, green, blue in [0, 1] -> L*, a*, b* relative to the screen's own white."""
    return linear_to_lab(decode_srgb(rgb))


def spectrum_to_xyz(transmittance, lamp="daylight"):
    """X, Y, Z (Y = 100 for a perfect transmitter) of a transmittance on the 380-780 nm, 5 nm grid.

    ``transmittance`` has shape (..., 81); ``lamp`` is a name that ``colour_lights.light`` knows.
    """
    return np.asarray(transmittance, dtype=float) @ light(lamp).weights.T
