"""From XYZ to a screen and to CIE Lab.

The formulas of sRGB and of CIE Lab are scikit-image's; here is only what it lacks: the eye's getting used
to a lamp, Lab relative to any white, and linear sRGB that is not cut off at the edge of the screen's range.
Everything takes and gives arrays whose last axis has length 3. scikit-image is loaded at the first colour
(about a fifth of a second), not with this module; colour-science, which takes some two seconds, is what the
tests compare with.

Sources: IEC 61966-2-1 (sRGB); CIE 015:2018 (Lab); the Bradford matrix, Lam 1985, as tabulated by
colour-science.
"""

from functools import lru_cache

import numpy as np

from eqlib.lab.colour_lights import light

_BRADFORD = np.array([[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]])


@lru_cache(maxsize=1)
def _screen():
    """Matrices (3, 3) that linear sRGB is multiplied by to give XYZ and back, and the XYZ of the screen's
    white.
    """
    from skimage.color import rgb2xyz

    # Full on and full off are the two values that linear and encoded sRGB share: this reads the library's
    # matrix off it.
    to_xyz = rgb2xyz(np.eye(3))
    from_xyz, white = np.linalg.inv(to_xyz), to_xyz.sum(axis=0)
    for array in (to_xyz, from_xyz, white):
        array.setflags(write=False)
    return to_xyz, from_xyz, white


def adapt_to_screen(xyz, white):
    """XYZ (Y of white = 100) seen under a lamp of the given ``white`` -> XYZ (Y of white = 1) for a D65
    screen.

    The Bradford transform: a white sheet stays white whatever the lamp, as it does for someone in the room.
    """
    lamp = _BRADFORD @ (np.asarray(white) / 100.0)
    screen = _BRADFORD @ _screen()[2]
    matrix = np.linalg.solve(_BRADFORD, (screen / lamp)[:, None] * _BRADFORD)
    return np.asarray(xyz) / 100.0 @ matrix.T


def xyz_to_linear(xyz):
    """XYZ (Y of the screen's white = 1) -> linear sRGB, below 0 or above 1 where no screen shows it."""
    return np.asarray(xyz, dtype=float) @ _screen()[1]


def linear_to_xyz(linear):
    """Linear sRGB (any range) -> XYZ, with Y = 1 for the screen's white."""
    return np.asarray(linear, dtype=float) @ _screen()[0]


def encode_srgb(linear):
    """Linear red, green, blue -> the values a screen is sent, in [0, 1]; what lies outside is cut off."""
    from skimage.color import xyz2rgb

    return xyz2rgb(linear_to_xyz(linear))


def decode_srgb(encoded):
    """The inverse of ``encode_srgb``."""
    from skimage.color import rgb2xyz

    return xyz_to_linear(rgb2xyz(np.asarray(encoded, dtype=float)))


def xyz_to_lab(xyz, white):
    """CIE 1976 L*, a*, b* of XYZ relative to ``white`` (both with the same scale)."""
    from skimage.color import xyz2lab

    # The library knows a few whites by name. Relative to its own white every white is E, (1, 1, 1).
    return xyz2lab(np.asarray(xyz, dtype=float) / np.asarray(white, dtype=float), illuminant="E")


def linear_to_lab(linear):
    """Linear sRGB (any range) -> L*, a*, b* relative to the screen's own white."""
    return xyz_to_lab(linear_to_xyz(linear), _screen()[2])


def rgb_to_lab(rgb):
    """Screen red, green, blue in [0, 1] -> L*, a*, b* relative to the screen's own white."""
    from skimage.color import rgb2xyz

    return xyz_to_lab(rgb2xyz(np.asarray(rgb, dtype=float)), _screen()[2])


def spectrum_to_xyz(transmittance, lamp="daylight"):
    """X, Y, Z (Y = 100 for a perfect transmitter) of a transmittance on the 380-780 nm, 5 nm grid.

    ``transmittance`` has shape (..., 81); ``lamp`` is a name that ``colour_lights.light`` knows.
    """
    return np.asarray(transmittance, dtype=float) @ light(lamp).weights.T
