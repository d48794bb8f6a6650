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

Lightness and depth of colour may disagree: violet that turns into an intense blue gets lighter and yet
deeper, and people do not agree on a word for it. ``why_not_ask`` then says why darker, paler or same is no
fair question.

Will a class see it? ``visibility`` holds a change against a stated threshold, in colour, in grey and with a
deficiency. Thresholds are CIEDE2000 differences: from 2 to 3.5 an unpractised observer notices a
difference, above 5 the observer sees two different colours (Mokrzycki and Tatol 2011, from memory). The
survey has a person with two samples side by side in mind; twice the upper limit for a back row is common
practice, no source. The light and the distance of a real room decide in the end: try it there.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from eqlib.chem.disturb import Disturbance
from eqlib.chem.state import State
from eqlib.errors import EqlibError
from eqlib.lab.colour import (
    SEEN_FROM,
    VISIBLE,
    Colour,
    absorbance_at,
    absorbance_spectrum,
    colour_of,
    path_length,
    seen_through,
)
from eqlib.lab.light import GRID_NM, KINDS, ciede2000, difference

SAME_BELOW = 2.0
LIGHTNESS_STEP = 1.0
ABSORBED_STEP = 0.01
#: CIE Lab chroma that rose by this much is a deeper colour.
VIVID_STEP = 3.0
#: Absorbance that rises and falls by more than this share of its largest change is another colour coming.
_BOTH_WAYS = 0.1


@dataclass(frozen=True)
class Look:
    """The change of appearance from ``before`` to ``after``, both ``Colour``.

    ``lightness`` is "darker", "paler" or "same", of the solution. ``precipitate``: a solid forms, or more
    of it; ``redissolved``: a solid goes, wholly or in part; ``solids_formed`` and ``solids_gone`` name
    them. ``delta_e`` is the CIEDE2000 difference of the clear solutions. ``absorbance_before`` and
    ``absorbance_after`` are taken at ``nm``, the wavelength where they differ most, each through the path of
    its own view. ``one_way``: the absorbance goes up, or down, at every wavelength.
    """

    lightness: str
    precipitate: bool
    redissolved: bool
    delta_e: float
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
    one_way: bool = True

    def __str__(self) -> str:
        return self.words


def compare(
    before: State,
    after: State,
    path_cm: float = 1.0,
    view: str = "side",
    light: str = "daylight",
    area_cm2: float | None = None,
    at_once: State | None = None,
    threshold: float = SAME_BELOW,
) -> Look:
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
    lightness = _lightness(seen[0], seen[1], delta, threshold)
    formed = _solids_growing(before if at_once is None else at_once, after)
    gone = _solids_growing(after, before if at_once is None else at_once)
    nm, a_before, a_after, one_way = _numbers(before, after, seen)
    return Look(
        lightness=lightness,
        precipitate=bool(formed),
        redissolved=bool(gone),
        delta_e=delta,
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
        words=_words(lightness, delta >= threshold, formed, gone, (nm, a_before, a_after), seen),
        one_way=one_way,
    )


def why_not_ask(look: Look) -> str:
    """Why darker, paler or same is no fair question about this change, in one clause; "" when it is fair.

    Not fair: the hue alone changes; or the solution gets lighter and yet more vivid (chroma up by at least
    ``VIVID_STEP``) because one colour gives way to another, so that observers disagree (common practice, no
    source). Where less light is taken out at every wavelength, lighter is paler to everybody.
    """
    turns = f"the solution turns from {look.before.words} to {look.after.words}"
    if look.hue_changed:
        return f"{turns}, neither lighter nor darker"
    chroma = [math.hypot(colour.clear_lab[1], colour.clear_lab[2]) for colour in (look.before, look.after)]
    if look.lightness == "paler" and not look.one_way and chroma[1] - chroma[0] >= VIVID_STEP:
        return f"{turns}: lighter, yet deeper in colour"
    return ""


def compare_disturbance(disturbance: Disturbance, **options: Any) -> Look:
    """The ``Look`` of a Disturbance, from its equilibrium before to its equilibrium after; options as
    ``compare``.
    """
    return compare(disturbance.before, disturbance.after, at_once=disturbance.at_once, **options)


def control_of(disturbance: Disturbance) -> State:
    """The control that a change is seen beside: it got as much water as solution was added, or nothing."""
    before, stress = disturbance.before, disturbance.stress
    if stress.kind != "add_solution":
        return before
    mixture = before.mixture
    volume = mixture.volume + stress.litres
    weaker = {name: total * mixture.volume / volume for name, total in mixture.totals.items()}
    return mixture.with_(totals=weaker, volume=volume).equilibrate(start=before)


def lightness(before: Colour, after: Colour, threshold: float = SAME_BELOW) -> str:
    """ "darker", "paler" or "same": the clear solution of two Colours, as in ``Look``."""
    return _lightness(before, after, float(ciede2000(before.clear_lab, after.clear_lab)), threshold)


def _lightness(before: Colour, after: Colour, delta: float, threshold: float) -> str:
    if delta < threshold:
        return "same"
    lighter = after.clear_lab[0] - before.clear_lab[0]
    if abs(lighter) >= LIGHTNESS_STEP:
        return "paler" if lighter > 0 else "darker"
    more = after.absorbed - before.absorbed
    if abs(more) >= ABSORBED_STEP:
        return "darker" if more > 0 else "paler"
    return "same"


def _solids_growing(first: State, second: State) -> tuple[str, ...]:
    """Solids of which ``second`` holds noticeably more, in mol, than ``first``."""
    old = {name: amount * first.volume for name, amount in first.solids.items()}
    new = {name: amount * second.volume for name, amount in second.solids.items()}
    return tuple(name for name in new if new[name] - old.get(name, 0.0) >= SEEN_FROM * second.volume)


def _numbers(before: State, after: State, seen: list[Colour]) -> tuple[float, float, float, bool]:
    spectra = [
        absorbance_spectrum(seen_through(s), c.path_cm) for s, c in zip((before, after), seen, strict=True)
    ]
    change = np.where(VISIBLE, spectra[1] - spectra[0], 0.0)
    one_way = min(change.max(), -change.min()) <= _BOTH_WAYS * abs(change).max()
    nm = float(GRID_NM[int(np.argmax(np.where(VISIBLE, abs(change), -1.0)))])
    pair = [absorbance_at(seen_through(s), nm, c.path_cm) for s, c in zip((before, after), seen, strict=True)]
    return nm, float(pair[0]), float(pair[1]), bool(one_way)


def _words(
    lightness: str,
    differs: bool,
    formed: tuple[str, ...],
    gone: tuple[str, ...],
    numbers: tuple[float, float, float],
    seen: list[Colour],
) -> str:
    first = f"the solution is {lightness}"
    if lightness == "same":
        first = f"the solution {'changes hue, neither darker nor paler' if differs else 'looks the same'}"
    nm, a_before, a_after = numbers
    parts = [
        f"{first} from {'above' if seen[0].view == 'above' else 'the side'} "
        f"(absorbance at {nm:.0f} nm {a_before:.3g} before, {a_after:.3g} after)"
    ]
    parts += [f"{' and '.join(formed)} precipitates"] if formed else []
    parts += [f"{' and '.join(gone)} dissolves"] if gone else []
    return "; ".join(parts)


# -- will a class see it? ------------------------------------------------------------------------------------

AUDIENCES = {
    "bench": (2.0, "someone with both tubes in hand"),
    "class": (5.0, "a class looking at two tubes side by side"),
    "back row": (10.0, "the back row of a room"),
}
# A difference that is only rounding: nothing has changed.
_NOTHING = 1e-6
# A precipitate that stops this share of the light hides print held behind the tube: seen whatever its
# colour. Common practice, no source, and as illustrative as the scatter it rests on.
CLOUDED = 0.25


@dataclass(frozen=True)
class Visibility:
    """Whether a change is seen. ``delta_e`` in colour, ``delta_e_grey`` in lightness alone, against
    ``threshold``.

    ``by_deficiency`` gives the difference for "protan", "deutan" and "tritan"; ``for_everyone`` is true
    when all of these, and grey, reach the threshold.
    """

    visible: bool
    visible_in_grey: bool
    delta_e: float
    delta_e_grey: float
    threshold: float
    audience: str
    light: str
    path_cm: float
    by_deficiency: dict[str, float]
    clouds: bool
    for_everyone: bool
    before: Colour
    after: Colour
    words: str

    def __str__(self) -> str:
        return self.words


def visibility(
    change: Any,
    depth_cm: float = 1.0,
    light: str = "daylight",
    audience: str | float = "class",
    view: str = "side",
) -> Visibility:
    """The ``Visibility`` of a change: a Disturbance, or a pair of States (before, after).

    ``depth_cm`` is the path looked through (from above: the depth before the change). ``audience`` is
    "bench", "class" or "back row", or a CIEDE2000 difference of your own.
    """
    before, after = _pair(change)
    threshold, who = _audience(audience)
    area = None if view == "side" else 1000.0 * before.volume / path_length(before, depth_cm)
    colours = [colour_of(state, depth_cm, view, light, area) for state in (before, after)]
    delta = float(ciede2000(colours[0].lab, colours[1].lab))
    grey = float(ciede2000(*((colour.lightness, 0.0, 0.0) for colour in colours)))
    clouds = abs(colours[0].cloud.share - colours[1].cloud.share) >= CLOUDED
    by_deficiency = {kind: difference(colours[0].rgb, colours[1].rgb, kind) for kind in KINDS}
    enough = clouds or (delta >= threshold and grey >= threshold)
    return Visibility(
        visible=clouds or delta >= threshold,
        visible_in_grey=clouds or grey >= threshold,
        delta_e=delta,
        delta_e_grey=grey,
        threshold=threshold,
        audience=who,
        light=light,
        path_cm=depth_cm,
        by_deficiency=by_deficiency,
        clouds=clouds,
        for_everyone=clouds or (enough and min(by_deficiency.values()) >= threshold),
        before=colours[0],
        after=colours[1],
        words=_verdict(delta, grey, threshold, who, clouds),
    )


def _pair(change: Any) -> tuple[State, State]:
    if hasattr(change, "before") and hasattr(change, "after"):
        return change.before, change.after
    if isinstance(change, tuple) and len(change) == 2:
        return change
    raise EqlibError("give a disturbance, or a pair of states (before, after)")


def _audience(audience: str | float) -> tuple[float, str]:
    if isinstance(audience, str) and audience in AUDIENCES:
        return AUDIENCES[audience]
    if isinstance(audience, int | float) and not isinstance(audience, bool) and 0 < audience < 100:
        return float(audience), f"an observer who needs a CIEDE2000 difference of {audience:g}"
    raise EqlibError(
        f"audience is {audience!r}; write {', '.join(map(repr, AUDIENCES))} or a CIEDE2000 difference"
    )


def _verdict(delta: float, grey: float, threshold: float, who: str, clouds: bool) -> str:
    against = f"CIEDE2000 {delta:.1f} in colour and {grey:.1f} in grey, against {threshold:g} for {who}"
    if clouds:
        return f"visible as a cloud that comes or goes ({against})"
    if delta >= threshold and grey >= threshold:
        return f"visible, in colour and in grey ({against})"
    verdict = "visible in colour, not in grey" if delta >= threshold else "not visible"
    if delta < _NOTHING:
        return f"not visible ({against}): it looks the same before and after"
    return f"{verdict} ({against})"
