"""Which mistake a wrong number is consistent with.

The window is narrow on purpose, and narrower where suspects are crowded: the windows together cover about
3 % of the numbers within a factor of two at most, so that a random number is seldom named. A number typed
to few figures is given the half unit of its last figure instead, where that is more, since the person
rounded it.
"""

import math
from dataclasses import dataclass

from eqlib.assess.reading.numbers import figures_of_value

WINDOW = 0.005
WIDEST = 0.02  # rounding never widens the window beyond this
_CROWD = 0.0195  # windows of n suspects within a factor of two: n * 2 * _CROWD / n = 2.8 % of ln 4


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
    told_apart = [s for s in map(_parts, suspects) if _tells(s[1], expected, min(tolerance, window))]
    crowd = sum(0.5 < value / guess < 2 for _, guess, _ in told_apart if guess)
    reach = max(min(window, _CROWD / max(crowd, 1)), min(_half_unit(value, figures), WIDEST))
    near = {}
    for name, guess, why in told_apart:
        distance = _distance(value, guess)
        if distance <= reach and distance < near.get(name, (math.inf, ""))[0]:
            near[name] = (distance, why)
    if not near:
        return Match()
    ranked = sorted(near, key=lambda name: near[name][0])
    return Match(False, ranked[0], tuple(ranked[1:]), near[ranked[0]][1])


def _tells(guess, expected, least):
    """Can this suspect be told from the right answer?"""
    return _is_number(guess) and not (_is_number(expected) and _distance(guess, expected) <= least)


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
    if value == 0:
        return 0.0
    count = figures[1] if figures else max(figures_of_value(value), len(f"{abs(value):.0f}"), 2)
    if count > 15:
        return 0.0
    mantissa = 10.0 ** (math.log10(abs(value)) % 1.0)
    return 0.5 * 10.0 ** (1 - count) / mantissa
