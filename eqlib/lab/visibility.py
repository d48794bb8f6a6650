"""Will a class see it? A change of colour against a stated threshold, in colour, in grey and with a
deficiency.

Thresholds are CIEDE2000 differences. "From 2 to 3.5 an unpractised observer notices a difference, above 5
the observer sees two different colours": W. Mokrzycki and M. Tatol, Colour difference Delta E, a survey,
Machine Graphics and Vision 20 (2011) 383-411 (from memory). The survey has a person with two samples side
by side in mind; twice the upper limit for a back row is common practice, no source. The light and the
distance of a real room decide in the end: try it there.
"""

from dataclasses import dataclass

from eqlib.errors import EqlibError
from eqlib.lab.colour import Colour, colour_of, path_length
from eqlib.lab.colour_difference import ciede2000
from eqlib.lab.deficiency import KINDS, difference
from eqlib.writing import number

AUDIENCES = {
    "bench": (2.0, "someone with both tubes in hand"),
    "class": (5.0, "a class looking at two tubes side by side"),
    "back row": (10.0, "the back row of a room"),
}
# Tried in order of how little they change; strengths and depths a bench can offer.
_FACTORS = (
    1.25, 0.8, 1.5, 0.67, 2.0, 0.5, 2.5, 0.4, 3.0, 0.33, 4.0, 0.25, 5.0, 0.2, 8.0, 0.125, 10.0, 0.1,
    15.0, 20.0, 30.0, 50.0, 100.0,
)  # fmt: skip
_SHALLOWEST_CM, _DEEPEST_CM = 0.1, 20.0
# Beyond ten times, or 6 mol/L of anything, it is another experiment (common practice, no source).
_MOST_TIMES, _STRONGEST = 10.0, 6.0
# A difference that is only rounding: nothing has changed.
_NOTHING = 1e-6
# A precipitate that stops this share of the light hides print held behind the tube: seen whatever its
# colour. Common practice, no source, and as illustrative as the scatter it rests on.
CLOUDED = 0.25


@dataclass(frozen=True)
class Suggestion:
    """The nearest recipe that is visible: ``kind`` "depth" or "strength", the ``factor`` on it and its
    numbers.

    ``path_cm`` is the depth then; ``totals`` the starting mixture in mol/L then (unchanged for a depth);
    ``delta_e`` and ``delta_e_grey`` what is then seen.
    """

    kind: str
    factor: float
    path_cm: float
    totals: dict[str, float]
    delta_e: float
    delta_e_grey: float
    words: str


@dataclass(frozen=True)
class Visibility:
    """Whether a change is seen. ``delta_e`` in colour, ``delta_e_grey`` in lightness alone, against
    ``threshold``.

    ``by_deficiency`` gives the difference for "protan", "deutan" and "tritan"; ``for_everyone`` is true
    when all of these, and grey, reach the threshold. ``suggestion`` is None when the change is visible in
    colour and in grey, and when no depth or strength that was tried helps; ``words`` says which.
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
    suggestion: Suggestion | None
    words: str

    def __str__(self):
        return self.words


def visibility(change, depth_cm=1.0, light="daylight", audience="class", view="side", suggest=True):
    """The ``Visibility`` of a change: a Disturbance, or a pair of States (before, after).

    ``depth_cm`` is the path looked through (from above: the depth before the change). ``audience`` is
    "bench", "class" or "back row", or a CIEDE2000 difference of your own. ``suggest=False`` skips the
    search for a recipe.
    """
    before, after = _pair(change)
    threshold, who = _audience(audience)
    colours = _look(before, after, depth_cm, light, view)
    delta, grey = _differences(*colours)
    clouds = abs(colours[0].cloud.share - colours[1].cloud.share) >= CLOUDED
    by_deficiency = {kind: difference(colours[0].rgb, colours[1].rgb, kind) for kind in KINDS}
    enough = clouds or (delta >= threshold and grey >= threshold)
    suggestion = (
        None
        if enough or not suggest or delta < _NOTHING
        else _suggest(before, after, depth_cm, light, view, threshold, delta)
    )
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
        suggestion=suggestion,
        words=_words(delta, grey, threshold, who, clouds, suggestion, suggest),
    )


def _pair(change):
    if hasattr(change, "before") and hasattr(change, "after"):
        return change.before, change.after
    if isinstance(change, tuple) and len(change) == 2:
        return change
    raise EqlibError("give a disturbance, or a pair of states (before, after)")


def _audience(audience):
    if audience in AUDIENCES:
        return AUDIENCES[audience]
    if isinstance(audience, int | float) and not isinstance(audience, bool) and 0 < audience < 100:
        return float(audience), f"an observer who needs a CIEDE2000 difference of {audience:g}"
    raise EqlibError(
        f"audience is {audience!r}; write {', '.join(map(repr, AUDIENCES))} or a CIEDE2000 difference"
    )


def _look(before, after, depth_cm, light, view):
    area = None if view == "side" else 1000.0 * before.volume / path_length(before, depth_cm)
    return tuple(colour_of(state, depth_cm, view, light, area) for state in (before, after))


def _differences(first, second):
    """CIEDE2000 in colour, and in lightness alone."""
    greys = [(colour.lightness, 0.0, 0.0) for colour in (first, second)]
    return float(ciede2000(first.lab, second.lab)), float(ciede2000(*greys))


def _suggest(before, after, depth_cm, light, view, threshold, delta):
    """The first factor, in order of how little it changes, that is visible in grey too; else in colour
    only.
    """
    in_colour = None
    for factor in _FACTORS:
        for found in (
            _with_depth(before, after, depth_cm, light, view, factor),
            _with_strength(before, after, depth_cm, light, view, factor),
        ):
            if found is None or found.delta_e < threshold:
                continue
            if found.delta_e_grey >= threshold:
                return found
            in_colour = in_colour or found
    return in_colour if delta < threshold else None


def _with_depth(before, after, depth_cm, light, view, factor):
    depth = depth_cm * factor
    if not _SHALLOWEST_CM <= depth <= _DEEPEST_CM:
        return None
    delta, grey = _differences(*_look(before, after, depth, light, view))
    words = f"look through {depth:.3g} cm instead of {depth_cm:.3g} cm"
    return Suggestion("depth", factor, depth, dict(before.mixture.totals), delta, grey, words)


def _with_strength(before, after, depth_cm, light, view, factor):
    if factor > _MOST_TIMES:
        return None
    mixtures = [_stronger(state.mixture, factor) for state in (before, after)]
    if factor > 1 and any(_too_strong(m) for m in mixtures):
        return None
    delta, grey = _differences(*_look(*(m.equilibrate() for m in mixtures), depth_cm, light, view))
    numbers = ", ".join(f"{name} {_strength(c)}" for name, c in mixtures[0].totals.items() if c > 0)
    words = f"make every solution {factor:g} times as strong (start from {numbers})"
    if factor > 1:
        words += "; check the hazards at that strength"
    return Suggestion("strength", factor, depth_cm, dict(mixtures[0].totals), delta, grey, words)


def _too_strong(mixture):
    return any(c > _STRONGEST for name, c in mixture.totals.items() if _is_solute(name))


def _strength(conc):
    return f"{number(conc)} mol/L" if conc >= 1 else f"{number(1000 * conc)} mmol/L"


def _is_solute(name):
    return not name.endswith(("(g)", "(s)", "(l)"))


def _stronger(mixture, factor):
    """The mixture with every solute ``factor`` times as strong; gases, solids and water as they were."""
    totals = {n: factor * c if _is_solute(n) else c for n, c in mixture.totals.items()}
    return mixture.with_(totals=totals)


def _words(delta, grey, threshold, who, clouds, suggestion, suggest):
    against = f"CIEDE2000 {delta:.1f} in colour and {grey:.1f} in grey, against {threshold:g} for {who}"
    if clouds:
        return f"visible as a cloud that comes or goes ({against})"
    if delta >= threshold and grey >= threshold:
        return f"visible, in colour and in grey ({against})"
    verdict = "visible in colour, not in grey" if delta >= threshold else "not visible"
    if delta < _NOTHING:
        return f"not visible ({against}): it looks the same before and after"
    if suggestion is None:
        end = (
            "; no depth or strength that a bench can offer mends that: show an absorbance reading"
            if suggest
            else ""
        )
        return f"{verdict} ({against}){end}"
    then = f"(then {suggestion.delta_e:.1f} in colour, {suggestion.delta_e_grey:.1f} in grey)"
    return f"{verdict} ({against}); nearest that is: {suggestion.words} {then}"
