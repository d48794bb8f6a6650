"""The colour of a mixture, computed: concentrations -> spectrum -> eye -> screen, with words and a number.

Light from a white panel crosses the mixture once. From the side the path is the width of the vessel; from
above it is the depth, volume over area, so that water added to a dish makes it deeper as well as weaker.

Molar absorptivities are decadic, in L mol^-1 cm^-1. Where only a maximum is published the catalogue draws a
Gaussian in wavenumber and says so. A species without a spectrum in the catalogue is taken as colourless.

Source for the steps: CIE 015:2018 (observer, Lab), IEC 61966-2-1 (sRGB); see ``light``.
"""

from __future__ import annotations

import math
import os
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from eqlib.chem import catalogue
from eqlib.chem.catalogue.load import OWN_FOLDER
from eqlib.chem.catalogue.records import Spectrum
from eqlib.chem.species import canonical
from eqlib.chem.state import State
from eqlib.errors import EqlibError
from eqlib.lab.light import (
    GRID_NM,
    Array,
    adapt_to_screen,
    ciede2000,
    decode_srgb,
    encode_srgb,
    linear_to_lab,
    rgb_to_lab,
    xyz_to_linear,
)
from eqlib.lab.light import (
    light as lamp_called,
)

Seen = State | Mapping[str, float]

VIEWS = ("side", "above")
# A dish in which 10 mL stands 1 cm deep.
DISH_AREA_CM2 = 10.0
# Light outside 400-700 nm hardly reaches the eye: the number that sums up a colour is taken inside.
VISIBLE = (GRID_NM >= 400.0) & (GRID_NM <= 700.0)
# Half of one of the 256 steps of a screen, near white, in linear light: further outside 0..1 than this, no
# screen shows the colour.
_ROUNDING = 0.0045
# This share of the light taken out is nearly all of it, for naming a hue.
_NEARLY_ALL = 0.8
_HEX = re.compile(r"#?[0-9a-fA-F]{6}")


# A solid present in a smaller amount than this (mol per L of mixture) is not expected to be noticed.
# Common practice, no source.
SEEN_FROM = 1e-5
# Cloud share -> words.
_WORDS = ((0.03, ""), (0.25, "faintly cloudy"), (0.7, "cloudy"), (1.01, "very cloudy"))


@dataclass(frozen=True)
class Cloud:
    """A suspended precipitate.

    ``share`` is the part of the light (0 to 1) that meets a particle; ``body`` is the linear sRGB of the
    solids, mixed by how much each scatters; ``words`` such as "cloudy (white)", "" when there is nothing to
    notice; ``solids`` names.
    """

    share: float
    body: tuple[float, float, float]
    words: str
    solids: tuple[str, ...] = ()


CLEAR = Cloud(0.0, (1.0, 1.0, 1.0), "")


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
    def hex(self) -> str:
        """The sRGB colour as "#rrggbb"."""
        return "#{:02x}{:02x}{:02x}".format(*self.rgb)

    @property
    def lightness(self) -> float:
        """CIE L*: 100 for clear water, 0 for black."""
        return self.lab[0]

    def __str__(self) -> str:
        return f"{self.words} (absorbance {self.absorbance:.2f} at {self.peak_nm:.0f} nm)"

    def _repr_html_(self) -> str:
        swatch = "display:inline-block;width:2.5em;height:1.4em;vertical-align:middle;border:1px solid #555"
        style = f"{swatch};background:{self.hex}"
        return f'<span style="{style}" role="img" aria-label="{self.words}"></span> {self}'


def colour_of(
    state: Seen,
    path_cm: float = 1.0,
    view: str = "side",
    light: str = "daylight",
    area_cm2: float | None = None,
    cloudy: bool = True,
) -> Colour:
    """The ``Colour`` of a State (or of a mapping species -> mol/L, which can be seen from the side only).

    ``path_cm``: width looked through from the side, cm. ``view`` "above": the path is the State's volume
    over ``area_cm2`` (10 cm2 unless given), and ``path_cm`` is not used. ``light``: "daylight", "tungsten",
    "warm LED", "neutral LED", "cool fluorescent" or a CIE illuminant name. ``cloudy=False`` leaves a
    precipitate out.
    """
    dissolved, solids = _contents(state)
    path = path_length(state, path_cm, view, area_cm2)
    cloud = cloud_of(solids, path) if cloudy else CLEAR
    spectrum = absorbance_spectrum(dissolved, path)
    return colour_from_absorbance(spectrum, path, view, light, cloud, called=_called(dissolved))


def colour_from_absorbance(
    absorbances: ArrayLike,
    path_cm: float = 1.0,
    view: str = "side",
    light: str = "daylight",
    cloud: Cloud = CLEAR,
    called: str = "",
) -> Colour:
    """The ``Colour`` of a decadic absorbance spectrum (81 numbers on the 380-780 nm grid of 5 nm).

    ``called`` is the hue's name where chemists have one for the substance.
    """
    absorbances = np.asarray(absorbances, dtype=float)
    transmittance = 10.0**-absorbances
    clear = linear = _linear(transmittance, light)
    if cloud.share > 0:
        linear = stirred(clear, _linear(np.sqrt(transmittance), light), cloud)
    rgb, excess = into_gamut(linear)
    lab, clear_lab = linear_to_lab(np.stack([linear, clear]))
    peak = int(np.argmax(np.where(VISIBLE, absorbances, -np.inf)))
    words = words_for(lab, called)
    return Colour(
        rgb=_three(np.rint(255.0 * encode_srgb(rgb)).astype(int)),
        lab=_three(lab),
        words=f"{words}, {cloud.words}" if cloud.words else words,
        hue=hue_name(lab, called),
        clipped=excess > _ROUNDING,
        excess=excess,
        absorbance=float(absorbances[peak]),
        peak_nm=float(GRID_NM[peak]),
        absorbed=float(1.0 - transmittance[VISIBLE].mean()),
        path_cm=float(path_cm),
        view=view,
        light=light,
        clear_lab=_three(clear_lab),
        cloud=cloud,
    )


def _three(values: Any) -> Any:
    """An array of three as a tuple of plain numbers."""
    return tuple(values.tolist())


def path_length(
    state: Seen, path_cm: float = 1.0, view: str = "side", area_cm2: float | None = None
) -> float:
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


def into_gamut(linear: ArrayLike) -> tuple[Array, float]:
    """Linear sRGB brought inside 0..1, channel by channel, and how far outside it was.

    Among clipping, dimming the whole colour and mixing in grey, clipping came nearest to the computed
    colour on the catalogue's solutions (CIEDE2000); mixing in grey washed bright yellows out.
    """
    linear = np.asarray(linear, dtype=float)
    excess = float(max(linear.max() - 1.0, -linear.min(), 0.0))
    return np.clip(linear, 0.0, 1.0), excess


def absorbance(state: Seen, nm: ArrayLike, path_cm: float = 1.0) -> Any:
    """Decadic absorbance of a State (or a mapping species -> mol/L) at ``nm``, through ``path_cm``.

    ``nm`` is a number, which gives a number, or an array, which gives an array. Scatter by solids is left
    out.
    """
    return absorbance_at(_contents(state)[0], nm, _positive(path_cm, "path_cm"))


def delta_e(c1: Any, c2: Any) -> float:
    """The CIEDE2000 difference of two colours; each a ``Colour``, an (L*, a*, b*) triple or a hex string.

    Below about 1 no one sees a difference, above 2 anyone does who looks; see ``look`` for sources.
    """
    return float(ciede2000(_lab(c1), _lab(c2)))


def _lab(colour: Any) -> Array:
    if isinstance(colour, Colour):
        return np.array(colour.lab)
    if isinstance(colour, str):
        if not _HEX.fullmatch(colour):
            raise EqlibError(f"{colour!r} is not a colour; write a hex string such as '#c05030'")
        return rgb_to_lab(_channels(colour))
    try:
        lab = np.asarray(colour, dtype=float)
    except (TypeError, ValueError):
        lab = np.array([])
    if lab.shape != (3,) or not np.all(np.isfinite(lab)):
        raise EqlibError(f"{colour!r} is not a colour; give a Colour, an (L*, a*, b*) triple or a hex string")
    return lab


def _linear(transmittance: Array, lamp: str) -> Array:
    return transmittance @ _spectrum_to_linear(lamp)


@lru_cache(maxsize=32)
def _spectrum_to_linear(name: str) -> Array:
    """(81, 3): a transmittance times this is linear sRGB, for an eye used to the lamp."""
    lamp = lamp_called(name)
    return xyz_to_linear(adapt_to_screen(lamp.weights.T, lamp.white))


def _contents(state: Seen) -> tuple[dict[str, float], dict[str, float]]:
    """What is dissolved and what is solid, each a mapping to mol/L."""
    if isinstance(state, Mapping):
        named = {canonical(name): _amount(name, amount) for name, amount in state.items()}
        solids = {name: amount for name, amount in named.items() if name.endswith("(s)")}
        return {name: amount for name, amount in named.items() if name not in solids}, solids
    return seen_through(state), dict(state.solids)


def _amount(name: str, amount: Any) -> float:
    value = _float(amount)
    if not 0.0 <= value < float("inf"):
        raise EqlibError(f"the concentration of {name} is {amount!r}; write a number of mol/L, zero or more")
    return value


def _positive(value: Any, name: str) -> float:
    number = _float(value)
    if not 0.0 < number < float("inf"):
        raise EqlibError(f"{name} is {value!r}; write a positive number, in the unit its name ends with")
    return number


def _float(value: Any) -> float:
    """A number, or nan for what is none."""
    try:
        return float(value)
    except (TypeError, ValueError):
        return float("nan")


# -- absorbance (Beer-Lambert) -------------------------------------------------------------------------------


def absorbance_spectrum(concentrations: Mapping[str, float], path_cm: float = 1.0) -> Array:
    """Decadic absorbance on ``GRID_NM`` of a mapping species -> mol/L, through ``path_cm`` of it."""
    names, matrix = coloured(concentrations)
    amounts = np.array([concentrations[name] for name in names], dtype=float)
    return path_cm * (amounts @ matrix)


def absorbance_at(concentrations: Mapping[str, float], nm: ArrayLike, path_cm: float = 1.0) -> Any:
    """Decadic absorbance at ``nm`` (a number or an array) of a mapping species -> mol/L."""
    try:
        nm = np.asarray(nm, dtype=float)
    except (TypeError, ValueError):
        raise EqlibError(f"a wavelength must be a positive number of nm, not {nm!r:.40}") from None
    if not np.all(np.isfinite(nm)) or np.any(nm <= 0):
        raise EqlibError(f"a wavelength must be a positive number of nm, not {nm.tolist()!r}")
    total = np.zeros(nm.shape)
    for name, spectrum in _spectra(concentrations).items():
        total = total + path_cm * concentrations[name] * spectrum.epsilon(nm)
    return total if total.ndim else float(total)


def coloured(names: Iterable[str]) -> tuple[tuple[str, ...], Array]:
    """Those of ``names`` that have a spectrum, and their molar absorptivities on ``GRID_NM`` as rows."""
    spectra, rows = _read(tuple(names), os.environ.get(OWN_FOLDER, ""))
    return tuple(spectra), rows


def _called(concentrations: Mapping[str, float]) -> str:
    """The hue that chemists name for the one substance that takes out nearly all of the light taken out."""
    names, rows = coloured(concentrations)
    taken = {
        name: concentrations[name] * float(row[VISIBLE].sum()) for name, row in zip(names, rows, strict=True)
    }
    most = max(taken, key=lambda name: taken[name], default="")
    if not most or taken[most] < _NEARLY_ALL * sum(taken.values()):
        return ""
    return _spectra(names)[most].called


def _spectra(names: Iterable[str]) -> dict[str, Spectrum]:
    return _read(tuple(names), os.environ.get(OWN_FOLDER, ""))[0]


@lru_cache(maxsize=256)
def _read(names: tuple[str, ...], _own_folder: str) -> tuple[dict[str, Spectrum], Array]:
    """Spectra by name and as rows; kept for each folder of own systems, which may bring its own spectra."""
    found = {name: spectrum for name in names if (spectrum := catalogue.spectrum(name)) is not None}
    rows = np.array([spectrum.epsilon(GRID_NM) for spectrum in found.values()], dtype=float)
    rows = rows.reshape(len(found), GRID_NM.size)
    rows.setflags(write=False)
    return found, rows


def seen_through(state: Any) -> dict[str, float]:
    """Species -> mol/L that light meets on its way through a State: the solution, or the gas where there is
    none.

    Gas above a solution is left out: one looks through the liquid.
    """
    if not hasattr(state, "concentrations"):
        raise EqlibError(
            f"a {type(state).__name__} has no colour of its own; give a State, such as mixture.equilibrate()"
        )
    everything = {name: float(amount) for name, amount in state.concentrations.items()}
    gases = {name: amount for name, amount in everything.items() if name.endswith("(g)")}
    dissolved = {name: c for name, c in everything.items() if not name.endswith(("(g)", "(s)", "(l)"))}
    return dissolved or gases


# -- a precipitate stirred up ------------------------------------------------------------------------------
# Illustrative only. Scatter depends on particle size and on how long ago the tube was shaken, which no
# catalogue knows. So this is a picture and never a measurement: the share of the light that meets a particle
# is 1 - exp(-scatter x amount x path), and that share comes back with the solid's own body colour, tinted by
# half the path of solution. No mark rests on it.


def cloud_of(solids: Mapping[str, float], path_cm: float = 1.0) -> Cloud:
    """The ``Cloud`` of a mapping solid -> mol per L of mixture, through ``path_cm``."""
    found = {name: catalogue.solid_look(name) for name, amount in solids.items() if amount >= SEEN_FROM}
    looks = {name: look for name, look in found.items() if look is not None}
    extinction = {name: look.scatter * solids[name] * path_cm for name, look in looks.items()}
    total = sum(extinction.values())
    if total <= 0:
        return CLEAR
    share = 1.0 - float(np.exp(-total))
    parts = [x * decode_srgb(_channels(looks[name].hex)) for name, x in extinction.items()]
    body = np.sum(parts, axis=0) / total
    names = tuple(sorted(extinction, key=lambda name: extinction[name], reverse=True))
    degree = next(words for limit, words in _WORDS if share < limit)
    words = f"{degree} ({looks[names[0]].words})" if degree else ""
    red, green, blue = body.tolist()
    return Cloud(share, (red, green, blue), words, names)


def stirred(clear_linear: ArrayLike, tinted_linear: ArrayLike, cloud: Cloud) -> Array:
    """Linear sRGB of a cloudy mixture from that of its clear solution, and of half the path of it."""
    body = np.asarray(tinted_linear) * np.asarray(cloud.body)
    return (1.0 - cloud.share) * np.asarray(clear_linear) + cloud.share * body


def _channels(hex_colour: str) -> Array:
    digits = hex_colour.lstrip("#")
    return np.array([int(digits[i : i + 2], 16) for i in (0, 2, 4)]) / 255.0


# -- words ---------------------------------------------------------------------------------------------------
# How strong a colour is, then a hue name as an extra. The bounds are this project's own, chosen by eye on a
# contact sheet; there is no source for them. No mark rests on a hue name: see ``look``.

# Hue angle in CIE Lab (degrees) up to which a name holds, for a light colour and for a dark one.
_HUES = (
    (20, "pink", "crimson"),
    (45, "salmon pink", "red"),
    (60, "peach", "orange-red"),
    (74, "apricot", "orange"),
    (84, "straw", "amber"),
    (111, "straw yellow", "yellow"),
    (122, "yellow-green", "yellow-green"),
    (168, "green", "green"),
    (208, "blue-green", "blue-green"),
    (300, "blue", "blue"),
    (314, "violet", "violet"),
    (335, "purple-pink", "purple"),
    (360, "pink", "crimson"),
)
_COLOURLESS, _FAINT, _PALE, _DEEP = 2.5, 12.0, 38.0, 85.0
_BLACK_BELOW, _BROWN_BELOW = 6.0, 52.0
_PALE_ABOVE, _DEEP_BELOW = 76.0, 45.0  # lightness, for a hue that has a name of its own


def strength(lab: tuple[float, ...]) -> float:
    """Distance in Lab from clear water: 0 for none, about 100 for a strong colour."""
    lightness, a, b = lab
    return math.sqrt((100.0 - lightness) ** 2 + a * a + b * b)


def hue_name(lab: tuple[float, ...], called: str = "") -> str:
    """The name of the hue alone, such as "straw yellow"; "" for a grey or a clear solution; ``called``, if
    given, for any colour that is more than pale.
    """
    lightness, a, b = lab
    chroma = math.hypot(a, b)
    if chroma < _COLOURLESS:
        return ""
    if called and strength(lab) >= _PALE:
        return called
    angle = math.degrees(math.atan2(b, a)) % 360.0
    if 30.0 <= angle < 90.0 and lightness < _BROWN_BELOW and chroma < 55.0:
        return "brown"
    if 300.0 < angle < 310.0 and chroma > 60.0:  # Lab bends a vivid blue towards violet
        return "blue"
    pinkish = (angle < 20.0 or angle > 314.0) and lightness > 55.0
    soft = pinkish or (lightness > 62.0 and (chroma < 45.0 or angle < 45.0))
    return next(pale if soft else full for limit, pale, full in _HUES if angle <= limit)


def words_for(lab: tuple[float, ...], called: str = "") -> str:
    """A short description such as "pale straw yellow" or "deep red"; "colourless" for a clear solution."""
    depth, hue = strength(lab), hue_name(lab, called)
    if lab[0] < _BLACK_BELOW:
        return "almost black"
    if not hue:
        return "colourless" if depth < 6.0 else ("pale grey" if lab[0] > 70 else "grey")
    if hue == called:
        strong = "pale " if lab[0] > _PALE_ABOVE else "deep " if lab[0] < _DEEP_BELOW else ""
        return f"{strong}{hue}"
    if depth < _FAINT:
        return f"very pale {hue}"
    if depth < _PALE:
        return f"pale {hue}"
    if depth > _DEEP or lab[0] < 30.0:
        return f"deep {hue}"
    return hue
