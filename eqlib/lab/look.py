"""Darker, paler or the same: what a prediction about appearance is marked against.

The rule, on the solution itself (a precipitate is reported apart, for a brown or white cloud is not the
solution):

1. "same" when the CIEDE2000 difference before and after is below ``SAME_BELOW`` = 2.0. Up to about 2 only a
   practised eye sees a difference at all (Mokrzycki and Tatol, Machine Graphics and Vision 20 (2011)
   383-411, from memory; dental studies put the limit that half of observers accept at 1.8: Paravina et al.,
   J. Esthet. Restor. Dent. 27 (2015) S1-S9, from memory).
2. Otherwise "darker" or "paler" by CIE lightness L*, when it moved by at least ``LIGHTNESS_STEP`` = 1.
3. Otherwise by the mean share of light absorbed between 400 and 700 nm, when that moved by at least
   ``ABSORBED_STEP`` = 0.01: a yellow may deepen with hardly any change of lightness.
4. Otherwise the hue alone has changed: "same", and ``hue_changed`` says so.

For one coloured substance all three move together, so that the rule is Beer and Lambert's law with a
threshold. ``borderline`` is true within a factor of two of the threshold, where a marker may wish to accept
either answer.
"""

from dataclasses import dataclass

import numpy as np

from eqlib.errors import EqlibError
from eqlib.lab.colour import VISIBLE, Colour, colour_of, path_length
from eqlib.lab.colour_difference import ciede2000
from eqlib.lab.colour_lights import GRID_NM
from eqlib.lab.spectra import absorbance_at, absorbance_spectrum, seen_through
from eqlib.lab.turbidity import SEEN_FROM

SAME_BELOW = 2.0
LIGHTNESS_STEP = 1.0
ABSORBED_STEP = 0.01


@dataclass(frozen=True)
class Look:
    """The change of appearance from ``before`` to ``after``, both ``Colour``.

    ``lightness`` is "darker", "paler" or "same", of the solution. ``precipitate``: a solid forms, or more
    of it; ``redissolved``: a solid goes, wholly or in part; ``solids_formed`` and ``solids_gone`` name
    them. ``delta_e`` is the CIEDE2000 difference of the clear solutions, ``delta_e_cloudy`` that with the
    solid stirred up. ``absorbance_before`` and ``absorbance_after`` are taken at ``nm``, the wavelength
    where they differ most, each through the path of its own view.
    """

    lightness: str
    precipitate: bool
    redissolved: bool
    delta_e: float
    delta_e_cloudy: float
    delta_lightness: float
    absorbance_before: float
    absorbance_after: float
    nm: float
    borderline: bool
    hue_changed: bool
    solids_formed: tuple[str, ...]
    solids_gone: tuple[str, ...]
    before: Colour
    after: Colour
    words: str

    def __str__(self):
        return self.words


def compare(
    before,
    after,
    path_cm=1.0,
    view="side",
    light="daylight",
    area_cm2=None,
    at_once=None,
    threshold=SAME_BELOW,
):
    """The ``Look`` of two States, as ``colour_of`` sees each of them.

    ``view`` "above" keeps the area: that in which ``before`` stands ``path_cm`` deep, unless ``area_cm2``
    is given. ``at_once`` is the mixture just after the stress and before it reacts; with it, a solid that
    was put in as a solid does not count as a precipitate. ``threshold`` is the CIEDE2000 difference below
    which the two look the same.
    """
    if not 0.0 < threshold < 100.0:
        raise EqlibError(
            f"threshold is {threshold!r}; write a CIEDE2000 difference between 0 and 100, such as 2"
        )
    for state in (before, after):
        seen_through(state)  # says what to give instead, where this is no State
    if view == "above" and area_cm2 is None:
        area_cm2 = 1000.0 * before.volume / path_length(before, path_cm)
    seen = [colour_of(state, path_cm, view, light, area_cm2) for state in (before, after)]
    delta = float(ciede2000(seen[0].clear_lab, seen[1].clear_lab))
    lightness = _lightness(*seen, delta, threshold)
    formed = _solids_growing(before if at_once is None else at_once, after)
    gone = _solids_growing(after, before if at_once is None else at_once)
    nm, a_before, a_after = _numbers(before, after, seen)
    return Look(
        lightness=lightness,
        precipitate=bool(formed),
        redissolved=bool(gone),
        delta_e=delta,
        delta_e_cloudy=float(ciede2000(seen[0].lab, seen[1].lab)),
        delta_lightness=seen[1].clear_lab[0] - seen[0].clear_lab[0],
        absorbance_before=a_before,
        absorbance_after=a_after,
        nm=nm,
        borderline=threshold / 2.0 < delta < threshold * 2.0,
        hue_changed=lightness == "same" and delta >= threshold,
        solids_formed=formed,
        solids_gone=gone,
        before=seen[0],
        after=seen[1],
        words=_words(lightness, delta >= threshold, formed, gone, nm, a_before, a_after, seen),
    )


def compare_disturbance(disturbance, **options):
    """The ``Look`` of a Disturbance, from its equilibrium before to its equilibrium after; options as
    ``compare``.
    """
    return compare(disturbance.before, disturbance.after, at_once=disturbance.at_once, **options)


def _lightness(before, after, delta, threshold):
    if delta < threshold:
        return "same"
    lighter = after.clear_lab[0] - before.clear_lab[0]
    if abs(lighter) >= LIGHTNESS_STEP:
        return "paler" if lighter > 0 else "darker"
    more = after.absorbed - before.absorbed
    if abs(more) >= ABSORBED_STEP:
        return "darker" if more > 0 else "paler"
    return "same"


def _solids_growing(first, second):
    """Solids of which ``second`` holds noticeably more, in mol, than ``first``."""
    old = {name: amount * first.volume for name, amount in first.solids.items()}
    new = {name: amount * second.volume for name, amount in second.solids.items()}
    return tuple(name for name in new if new[name] - old.get(name, 0.0) >= SEEN_FROM * second.volume)


def _numbers(before, after, seen):
    spectra = [
        absorbance_spectrum(seen_through(s), c.path_cm) for s, c in zip((before, after), seen, strict=True)
    ]
    nm = float(GRID_NM[int(np.argmax(np.where(VISIBLE, abs(spectra[1] - spectra[0]), -1.0)))])
    pair = [absorbance_at(seen_through(s), nm, c.path_cm) for s, c in zip((before, after), seen, strict=True)]
    return nm, float(pair[0]), float(pair[1])


def _words(lightness, differs, formed, gone, nm, a_before, a_after, seen):
    if lightness == "same":
        first = (
            "the solution changes hue, neither darker nor paler" if differs else "the solution looks the same"
        )
    else:
        first = f"the solution is {lightness}"
    first = (
        f"{first} from {'above' if seen[0].view == 'above' else 'the side'} "
        f"(absorbance at {nm:.0f} nm {a_before:.3g} before, {a_after:.3g} after)"
    )
    parts = [first]
    parts += [f"{' and '.join(formed)} precipitates"] if formed else []
    parts += [f"{' and '.join(gone)} dissolves"] if gone else []
    return "; ".join(parts)
