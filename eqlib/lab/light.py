"""The eye, the lamp and the screen: from a spectrum to XYZ, to CIE Lab and to sRGB; how far apart two colours
look; how they look with a colour-vision deficiency.

The formulas of sRGB, of Lab, of the Bradford transform, of CIEDE2000 and of the deficiencies are
coloraide's, loaded at the first colour; here is what it lacks: spectra, lamps, and arrays.
``colour_observer.csv`` holds the CIE 1931 2 degree colour-matching functions and CIE illuminants every 5 nm
from 380 to 780 nm, as colour-science tabulates them; the tests compare all of this with that library.

Arrays of colours have a last axis of length 3. Sources: CIE 015:2018 (observer, Lab); IEC 61966-2-1 (sRGB);
Lam 1985 (Bradford); G. Sharma, W. Wu and E. N. Dalal, Color Research and Application 30 (2005) 21-30
(CIEDE2000, with kL, kC and kH 1); G. M. Machado, M. M. Oliveira and L. A. F. Fernandes, IEEE Transactions on
Visualization and Computer Graphics 15 (2009) 1291-1298 (deficiencies).
"""

from __future__ import annotations

import csv
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from eqlib.errors import EqlibError

Array = NDArray[np.float64]

GRID_NM = np.arange(380.0, 781.0, 5.0)
GRID_NM.setflags(write=False)

# What a person calls the lamp -> its CIE name. All but the names are data.
LIGHTS = {
    "daylight": "D65",
    "tungsten": "A",
    "warm LED": "LED-B1",
    "neutral LED": "LED-B3",
    "cool fluorescent": "FL2",
}

#: Colour-vision deficiencies that can be simulated; about 8 % of men have one.
KINDS = ("protan", "deutan", "tritan")
GREY = "grey"


@dataclass(frozen=True, eq=False)
class Light:
    """An illuminant seen by the standard observer.

    ``weights`` has shape (3, 81): multiplied by a transmittance on ``GRID_NM`` it gives X, Y, Z with Y =
    100 for a perfect transmitter. ``white`` is that perfect transmitter's XYZ, ``name`` the CIE name,
    ``power`` the relative spectral power on ``GRID_NM``.
    """

    name: str
    weights: Array
    white: Array
    power: Array


@lru_cache(maxsize=32)
def light(name: str = "daylight") -> Light:
    """The ``Light`` called ``name``: a key of ``LIGHTS``, or the CIE name of an illuminant of the table.

    Raises EqlibError for any other name.
    """
    header, table = _shipped()
    cie_name = LIGHTS.get(name, name)
    if cie_name not in header[4:]:
        ours, others = ", ".join(repr(one) for one in LIGHTS), ", ".join(header[4:])
        raise EqlibError(f"no light is called {name!r}; write {ours}, or a CIE illuminant: {others}")
    power = table[:, header.index(cie_name)]
    raw = table[:, 1:4].T * power
    weights = 100.0 * raw / raw[1].sum()
    white = weights.sum(axis=1)
    for array in (weights, white, power):
        array.setflags(write=False)
    return Light(cie_name, weights, white, power)


@lru_cache(maxsize=1)
def _shipped() -> tuple[list[str], Array]:
    text = resources.files("eqlib.lab").joinpath("colour_observer.csv").read_text(encoding="utf-8")
    rows = list(csv.reader(line for line in text.splitlines() if not line.startswith("#")))
    return rows[0], np.array(rows[1:], dtype=float)


# -- screen and Lab ------------------------------------------------------------------------------------------


def adapt_to_screen(xyz: ArrayLike, white: ArrayLike) -> Array:
    """XYZ (Y of white = 100) seen under a lamp of the given ``white`` -> XYZ (Y of white = 1) for a D65
    screen.

    The Bradford transform: a white sheet stays white whatever the lamp, as it does for someone in the room.
    """
    from coloraide import cat  # heavy: loaded at the first colour

    bradford = np.array(cat.Bradford.MATRIX)
    lamp = bradford @ (np.asarray(white) / 100.0)
    screen = bradford @ _screen()[2]
    matrix = np.linalg.solve(bradford, (screen / lamp)[:, None] * bradford)
    return np.asarray(xyz) / 100.0 @ matrix.T


def xyz_to_linear(xyz: ArrayLike) -> Array:
    """XYZ (Y of the screen's white = 1) -> linear sRGB, below 0 or above 1 where no screen shows it."""
    return np.asarray(xyz, dtype=float) @ _screen()[1]


def linear_to_xyz(linear: ArrayLike) -> Array:
    """Linear sRGB (any range) -> XYZ, with Y = 1 for the screen's white."""
    return np.asarray(linear, dtype=float) @ _screen()[0]


def encode_srgb(linear: ArrayLike) -> Array:
    """Linear red, green, blue -> the values a screen is sent, in [0, 1]; what lies outside is cut off."""
    return np.clip(_converted(linear, "srgb-linear", "srgb"), 0.0, 1.0)


def decode_srgb(encoded: ArrayLike) -> Array:
    """The inverse of ``encode_srgb``."""
    return _converted(encoded, "srgb", "srgb-linear")


def xyz_to_lab(xyz: ArrayLike, white: ArrayLike) -> Array:
    """CIE 1976 L*, a*, b* of XYZ relative to ``white`` (both with the same scale)."""
    # Lab looks only at the ratio to the white: put onto the library's white it is the library's Lab.
    relative = np.asarray(xyz, dtype=float) / np.asarray(white, dtype=float)
    return _converted(relative * _screen()[2], "xyz-d65", "lab-d65")


def linear_to_lab(linear: ArrayLike) -> Array:
    """Linear sRGB (any range) -> L*, a*, b* relative to the screen's own white."""
    return xyz_to_lab(linear_to_xyz(linear), _screen()[2])


def rgb_to_lab(rgb: ArrayLike) -> Array:
    """Screen red, green, blue in [0, 1] -> L*, a*, b* relative to the screen's own white."""
    return linear_to_lab(decode_srgb(rgb))


@lru_cache(maxsize=1)
def _screen() -> tuple[Array, Array, Array]:
    """Matrices (3, 3) that linear sRGB is multiplied by to give XYZ and back, and the XYZ of the screen's
    white.
    """
    to_xyz = _converted(np.eye(3), "srgb-linear", "xyz-d65")
    white = _converted([100.0, 0.0, 0.0], "lab-d65", "xyz-d65")
    # The sum of the primaries is the white but for the last digits; Lab wants white exactly white.
    to_xyz = to_xyz * (white / to_xyz.sum(axis=0))
    from_xyz = np.linalg.inv(to_xyz)
    for array in (to_xyz, from_xyz, white):
        array.setflags(write=False)
    return to_xyz, from_xyz, white


def _converted(colours: ArrayLike, space: str, to: str) -> Array:
    """Colours, each the last axis of an array, from one of coloraide's spaces to another."""
    return _each(lambda colour: _color()(space, colour).convert(to).coords(), colours)


def _color() -> Any:
    """coloraide's colour."""
    from coloraide import Color  # heavy: loaded at the first colour

    return Color


def _each(change: Callable[[list[float]], Any], colours: ArrayLike) -> Array:
    flat = np.asarray(colours, dtype=float)
    changed = [change(colour) for colour in flat.reshape(-1, 3).tolist()]
    return np.array(changed, dtype=float).reshape(flat.shape)


# -- differences, and eyes that see fewer --------------------------------------------------------------------


def ciede2000(lab1: ArrayLike, lab2: ArrayLike) -> Any:
    """The CIEDE2000 difference of L*, a*, b* (a number), or of two arrays of them, broadcast together."""
    Color = _color()
    first, second = np.broadcast_arrays(np.asarray(lab1, dtype=float), np.asarray(lab2, dtype=float))
    pairs = zip(first.reshape(-1, 3).tolist(), second.reshape(-1, 3).tolist(), strict=True)
    found = [Color("lab-d65", a).delta_e(Color("lab-d65", b), method="2000") for a, b in pairs]
    return np.array(found, dtype=float).reshape(first.shape[:-1]) if first.ndim > 1 else found[0]


def simulate(rgb: ArrayLike, kind: str) -> NDArray[np.int_]:
    """Screen colours (integers 0-255, last axis 3) as someone with the deficiency ``kind`` sees them.

    ``kind`` is "protan", "deutan" or "tritan" (that cone type is missing), or "grey" for a copy without
    colour. Returns integers 0-255 of the same shape. It shows which differences are lost; it does not show
    what anyone feels. For tritan its authors call it an approximation.
    """
    linear = decode_srgb(np.asarray(rgb, dtype=float) / 255.0)
    if kind == GREY:
        changed = np.repeat(linear_to_xyz(linear)[..., 1:2], 3, axis=-1)
    else:
        changed = linear @ _deficiency(kind)
    return np.rint(255.0 * encode_srgb(np.clip(changed, 0.0, 1.0))).astype(int)


def difference(first: ArrayLike, second: ArrayLike, kind: str) -> float:
    """CIEDE2000 between two screen colours as seen with the deficiency ``kind`` (or "grey")."""
    return float(ciede2000(*(rgb_to_lab(simulate(rgb, kind) / 255.0) for rgb in (first, second))))


@lru_cache(maxsize=4)
def _deficiency(kind: str) -> Array:
    """(3, 3): linear sRGB times this is linear sRGB as seen; read off the library's filter."""
    if kind not in KINDS:
        raise EqlibError(f"no colour-vision deficiency is called {kind!r}; write {', '.join([*KINDS, GREY])}")
    space = "srgb-linear"
    options: dict[str, Any] = {"method": "machado", "space": space, "out_space": space}
    return _each(lambda primary: _color()(space, primary).filter(kind, 1.0, **options).coords(), np.eye(3))
