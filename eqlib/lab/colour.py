"""The colour of a mixture, computed: concentrations -> spectrum -> eye -> screen, with words and a number.

Light from a white panel crosses the mixture once. From the side the path is the width of the vessel; from
above it is the depth, volume over area, so that water added to a dish makes it deeper as well as weaker.
Source for the steps: CIE 015:2018 (observer, Lab), IEC 61966-2-1 (sRGB); see ``colour_lights`` and
``colour_spaces``.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from eqlib.chem.species import canonical
from eqlib.errors import EqlibError
from eqlib.lab.colour_difference import ciede2000
from eqlib.lab.colour_lights import GRID_NM, light
from eqlib.lab.colour_spaces import (
    adapt_to_screen,
    encode_srgb,
    linear_to_lab,
    rgb_to_lab,
    xyz_to_linear,
)
from eqlib.lab.colour_words import hue_name, words_for
from eqlib.lab.spectra import absorbance_at, absorbance_spectrum, seen_through
from eqlib.lab.turbidity import CLEAR, Cloud, cloud_of, stirred

VIEWS = ("side", "above")
# A dish in which 10 mL stands 1 cm deep.
DISH_AREA_CM2 = 10.0
# Light outside 400-700 nm hardly reaches the eye: the number that sums up a colour is taken inside.
VISIBLE = (GRID_NM >= 400.0) & (GRID_NM <= 700.0)
# Half of one of the 256 steps of a screen, near white, in linear light: further outside 0..1 than this, no
# screen shows the colour.
_ROUNDING = 0.0045
_HEX = re.compile(r"#?[0-9a-fA-F]{6}")


@dataclass(frozen=True)
class Colour:
    """What an eye sees of a mixture, as numbers and words.

    ``rgb`` three integers 0-255 and ``hex`` for a screen; ``lab`` CIE L*, a*, b* with the eye used to the
    lamp, before clipping; ``words`` such as "pale straw yellow", with ``hue`` alone as an extra;
    ``clipped`` when no sRGB screen can show the colour, which is then shown as near as it can (``excess``:
    how far outside, as a share of full scale). ``absorbance`` is the highest one between 400 and 700 nm, at
    ``peak_nm``, through ``path_cm``; ``absorbed`` the mean share of visible light taken out (0 to 1). These
    and ``clear_lab`` describe the solution itself; ``cloud`` describes a stirred-up precipitate, which
    ``rgb``, ``lab`` and ``words`` include.
    """

    rgb: tuple[int, int, int]
    lab: tuple[float, float, float]
    words: str
    hue: str
    clipped: bool
    excess: float
    absorbance: float
    peak_nm: float
    absorbed: float
    path_cm: float
    view: str
    light: str
    clear_lab: tuple[float, float, float]
    cloud: Cloud = CLEAR

    @property
    def hex(self):
        """The sRGB colour as "#rrggbb"."""
        return "#{:02x}{:02x}{:02x}".format(*self.rgb)

    @property
    def lightness(self):
        """CIE L*: 100 for clear water, 0 for black."""
        return self.lab[0]

    def __str__(self):
        return f"{self.words} (absorbance {self.absorbance:.2f} at {self.peak_nm:.0f} nm)"

    def _repr_html_(self):
        swatch = "display:inline-block;width:2.5em;height:1.4em;vertical-align:middle;border:1px solid #555"
        style = f"{swatch};background:{self.hex}"
        return f'<span style="{style}" role="img" aria-label="{self.words}"></span> {self}'


def colour_of(state, path_cm=1.0, view="side", light="daylight", area_cm2=None, cloudy=True):
    """The ``Colour`` of a State (or of a mapping species -> mol/L, which can be seen from the side only).

    ``path_cm``: width looked through from the side, cm. ``view`` "above": the path is the State's volume
    over ``area_cm2`` (10 cm2 unless given), and ``path_cm`` is not used. ``light``: "daylight", "tungsten",
    "warm LED", "neutral LED", "cool fluorescent" or a CIE illuminant name. ``cloudy=False`` leaves a
    precipitate out.
    """
    dissolved, solids = _contents(state)
    path = path_length(state, path_cm, view, area_cm2)
    cloud = cloud_of(solids, path) if cloudy else CLEAR
    return colour_from_absorbance(absorbance_spectrum(dissolved, path), path, view, light, cloud)


def colour_from_absorbance(absorbances, path_cm=1.0, view="side", light="daylight", cloud=CLEAR):
    """The ``Colour`` of a decadic absorbance spectrum (81 numbers on the 380-780 nm grid of 5 nm)."""
    absorbances = np.asarray(absorbances, dtype=float)
    transmittance = 10.0**-absorbances
    clear = linear = _linear(transmittance, light)
    if cloud.share > 0:
        linear = stirred(clear, _linear(np.sqrt(transmittance), light), cloud)
    rgb, excess = into_gamut(linear)
    lab, clear_lab = linear_to_lab(np.stack([linear, clear]))
    peak = int(np.argmax(np.where(VISIBLE, absorbances, -np.inf)))
    words = words_for(lab)
    return Colour(
        rgb=tuple(int(v) for v in np.rint(255.0 * encode_srgb(rgb))),
        lab=tuple(lab.tolist()),
        words=f"{words}, {cloud.words}" if cloud.words else words,
        hue=hue_name(lab),
        clipped=excess > _ROUNDING,
        excess=excess,
        absorbance=float(absorbances[peak]),
        peak_nm=float(GRID_NM[peak]),
        absorbed=float(1.0 - transmittance[VISIBLE].mean()),
        path_cm=float(path_cm),
        view=view,
        light=light,
        clear_lab=tuple(clear_lab.tolist()),
        cloud=cloud,
    )


def path_length(state, path_cm=1.0, view="side", area_cm2=None):
    """The path of light in cm: ``path_cm`` from the side, volume over area from above."""
    if view not in VIEWS:
        raise EqlibError(f"view is {view!r}; write 'side' or 'above'")
    if view == "side":
        return _positive(path_cm, "path_cm")
    if isinstance(state, Mapping):
        raise EqlibError(
            "a view from above needs the volume of a State; concentrations alone have a side view only"
        )
    return 1000.0 * state.volume / _positive(DISH_AREA_CM2 if area_cm2 is None else area_cm2, "area_cm2")


def into_gamut(linear):
    """Linear sRGB brought inside 0..1, channel by channel, and how far outside it was.

    Among clipping, dimming the whole colour and mixing in grey, clipping came nearest to the computed
    colour on the catalogue's solutions (CIEDE2000); mixing in grey washed bright yellows out.
    """
    linear = np.asarray(linear, dtype=float)
    excess = float(max(linear.max() - 1.0, -linear.min(), 0.0))
    return np.clip(linear, 0.0, 1.0), excess


def absorbance(state, nm, path_cm=1.0):
    """Decadic absorbance of a State (or a mapping species -> mol/L) at ``nm``, through ``path_cm``.

    ``nm`` is a number, which gives a number, or an array, which gives an array. Scatter by solids is left
    out.
    """
    return absorbance_at(_contents(state)[0], nm, _positive(path_cm, "path_cm"))


def delta_e(c1, c2):
    """The CIEDE2000 difference of two colours; each a ``Colour``, an (L*, a*, b*) triple or a hex string.

    Below about 1 no one sees a difference, above 2 anyone does who looks; see ``visibility`` for sources.
    """
    return float(ciede2000(_lab(c1), _lab(c2)))


def _lab(colour):
    if isinstance(colour, Colour):
        return np.array(colour.lab)
    if isinstance(colour, str):
        if not _HEX.fullmatch(colour):
            raise EqlibError(f"{colour!r} is not a colour; write a hex string such as '#c05030'")
        digits = colour.lstrip("#")
        return rgb_to_lab(np.array([int(digits[i : i + 2], 16) for i in (0, 2, 4)]) / 255.0)
    try:
        lab = np.asarray(colour, dtype=float)
    except (TypeError, ValueError):
        lab = np.array([])
    if lab.shape != (3,) or not np.all(np.isfinite(lab)):
        raise EqlibError(f"{colour!r} is not a colour; give a Colour, an (L*, a*, b*) triple or a hex string")
    return lab


def _linear(transmittance, lamp):
    return transmittance @ _spectrum_to_linear(lamp)


@lru_cache(maxsize=32)
def _spectrum_to_linear(lamp):
    """(81, 3): a transmittance times this is linear sRGB, for an eye used to the lamp."""
    lamp = light(lamp)
    return xyz_to_linear(adapt_to_screen(lamp.weights.T, lamp.white))


def _contents(state):
    """What is dissolved and what is solid, each a mapping to mol/L."""
    if isinstance(state, Mapping):
        named = {canonical(name): _amount(name, amount) for name, amount in state.items()}
        solids = {name: amount for name, amount in named.items() if name.endswith("(s)")}
        return {name: amount for name, amount in named.items() if name not in solids}, solids
    return seen_through(state), dict(state.solids)


def _amount(name, amount):
    try:
        value = float(amount)
    except (TypeError, ValueError):
        value = float("nan")
    if not 0.0 <= value < float("inf"):
        raise EqlibError(f"the concentration of {name} is {amount!r}; write a number of mol/L, zero or more")
    return value


def _positive(value, name):
    try:
        number = float(value)
    except (TypeError, ValueError):
        number = float("nan")
    if not 0.0 < number < float("inf"):
        raise EqlibError(f"{name} is {value!r}; write a positive number, in the unit its name ends with")
    return number
