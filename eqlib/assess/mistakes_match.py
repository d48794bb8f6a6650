"""Which mistake a wrong number is consistent with.

The window is narrow on purpose: with about ten suspects, half a per cent either side keeps the share of
random numbers that hit one of them below 3 %. A number typed to few figures is given the half unit of its
last figure instead, where that is more, since the person rounded it.
"""

import math
from dataclasses import dataclass

from eqlib.assess.sigfigs import figures_of_value

WINDOW = 0.005
WIDEST = 0.02  # rounding never widens the window beyond this


@dataclass(frozen=True)
class Suspect:
    """The value (number, or option) that a mistake would have given; ``why`` says in which way."""

    mistake: str
    value: object
    why: str = ""


@dataclass(frozen=True)
class Match:
    """What a number is consistent with.

    right: it is the right value.  mistake: id of the nearest suspect, or None.  others: further ids it fits
    as well.
    """

    right: bool = False
    mistake: str | None = None
    others: tuple[str, ...] = ()
    why: str = ""

    @property
    def words(self):
        """ "consistent with a or b", or "" """
        named = [self.mistake, *self.others] if self.mistake else []
        return f"consistent with {' or '.join(named)}" if named else ""


def name_mistake(value, suspects, expected, tolerance=0.02, window=WINDOW, figures=None):
    """The Match of a number: right first, then the nearest suspect within the window.

    ``suspects``: Suspect objects or (id, value) pairs. ``tolerance``, ``window``: relative. ``figures``: the
    (fewest, most) significant figures typed; default, those that the value itself shows.
    """
    if not _is_number(value):
        return Match()
    if _is_number(expected) and _distance(value, expected) <= tolerance:
        return Match(right=True)
    reach = max(window, min(_half_unit(value, figures), WIDEST))
    near = {}
    for suspect in suspects:
        name, guess, why = _parts(suspect)
        if not _is_number(guess) or (
            _is_number(expected) and _distance(guess, expected) <= min(tolerance, window)
        ):
            continue  # this mistake cannot be told from the right answer here
        distance = _distance(value, guess)
        if distance <= reach and distance < near.get(name, (math.inf, ""))[0]:
            near[name] = (distance, why)
    if not near:
        return Match()
    ranked = sorted(near, key=lambda name: near[name][0])
    return Match(False, ranked[0], tuple(ranked[1:]), near[ranked[0]][1])


def _parts(suspect):
    if isinstance(suspect, Suspect):
        return suspect.mistake, suspect.value, suspect.why
    return suspect[0], suspect[1], ""


def _is_number(value):
    return type(value) in (int, float) and math.isfinite(value)


def _distance(value, other):
    """Relative distance from ``other``; for zero, only zero itself is near."""
    if other == 0:
        return 0.0 if value == 0 else math.inf
    return abs(value / other - 1)


def _half_unit(value, figures):
    """Half a unit of the last figure, relative to the value."""
    count = figures[0] if figures else figures_of_value(value)
    if value == 0 or count > 15:
        return 0.0
    mantissa = abs(value) / 10.0 ** math.floor(math.log10(abs(value)))
    return 0.5 * 10.0 ** (1 - count) / mantissa
