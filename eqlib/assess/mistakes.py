"""Misconceptions and errors: the registry, and which of them a wrong number is consistent with.

A wrong answer is named when it is what a known mistake would have given *for this student's numbers*. The
right answer is always tested first. A match never says more than "consistent with", and lists the other
mistakes it fits as well.

The window around what a mistake gives is narrow on purpose, and narrower where suspects are crowded: the
windows together cover about 3 % of the numbers within a factor of two at most, so that a random number is
seldom named. A number typed to few figures is given the half unit of its last figure instead, where that is
more, since the person rounded it.
"""

from __future__ import annotations

import math
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from types import MappingProxyType
from typing import Any

from eqlib.assess.reading.numbers import figures_of_value

WINDOW = 0.005
WIDEST = 0.02  # rounding never widens the window beyond this
_CROWD = 0.0195  # windows of n suspects within a factor of two: n * 2 * _CROWD / n = 2.8 % of ln 4


@dataclass(frozen=True)
class Mistake:
    """One misconception or error.

    title: what the person seems to think.  hint: a question that makes them think, never the answer.
    source: where it is reported.  remedy: a contrasting demonstration for the instructor.
    """

    id: str
    title: str
    hint: str
    source: str
    remedy: str


@lru_cache(maxsize=1)
def _load() -> Mapping[str, Mistake]:
    table = tomllib.loads((files("eqlib.assess") / "mistakes.toml").read_text("utf-8"))
    sources = table.pop("sources")
    return MappingProxyType(
        {
            name: Mistake(
                name, m["title"], m["hint"], "; ".join(sources[s] for s in m["source"]), m["remedy"]
            )
            for name, m in table.items()
        }
    )


MISTAKES: Mapping[str, Mistake] = _load()


@dataclass(frozen=True)
class Suspect:
    """The value (number, or option) that a mistake would have given; ``why`` says in which way.

    ``rare``: seldom made in this way, so that another mistake that gives the same is the likelier one.
    """

    mistake: str
    value: Any
    why: str = ""
    rare: bool = False


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
    def words(self) -> str:
        """ "consistent with a or b", or "" """
        named = [self.mistake, *self.others] if self.mistake else []
        return f"consistent with {' or '.join(named)}" if named else ""


def name_mistake(
    value: Any,
    suspects: Iterable[Suspect | tuple[str, Any]],
    expected: Any,
    tolerance: float = 0.02,
    window: float = WINDOW,
    figures: tuple[int, int] | None = None,
) -> Match:
    """The Match of a number: right first, then the nearest suspect within the window.

    ``suspects``: Suspect objects or (id, value) pairs. ``tolerance``, ``window``: relative. ``figures``: the
    (fewest, most) significant figures typed; default, those that the value itself shows.
    """
    if not _is_number(value):
        return Match()
    if _is_number(expected) and _distance(value, expected) <= tolerance:
        return Match(right=True)
    told_apart = [s for s in map(_parts, suspects) if _tells(s[1], expected, min(tolerance, window))]
    crowd = sum(0.5 < value / guess < 2 for _, guess, _, _ in told_apart if guess)
    reach = max(min(window, _CROWD / max(crowd, 1)), min(_half_unit(value, figures), WIDEST))
    near: dict[str, tuple[bool, float, str]] = {}
    for name, guess, why, rare in told_apart:
        found = (rare, _distance(value, guess), why)
        if found[1] <= reach and (name not in near or found < near[name]):
            near[name] = found
    if not near:
        return Match()
    ranked = sorted(near, key=lambda name: near[name][:2])
    return Match(False, ranked[0], tuple(ranked[1:]), near[ranked[0]][2])


def _tells(guess: Any, expected: Any, least: float) -> bool:
    """Can this suspect be told from the right answer?"""
    return _is_number(guess) and not (_is_number(expected) and _distance(guess, expected) <= least)


def _parts(suspect: Suspect | tuple[str, Any]) -> tuple[str, Any, str, bool]:
    if isinstance(suspect, Suspect):
        return suspect.mistake, suspect.value, suspect.why, suspect.rare
    return suspect[0], suspect[1], "", False


def _is_number(value: Any) -> bool:
    return type(value) in (int, float) and math.isfinite(value)


def _distance(value: float, other: float) -> float:
    """Relative distance from ``other``; for zero, only zero itself is near."""
    if other == 0:
        return 0.0 if value == 0 else math.inf
    return abs(value / other - 1)


def _half_unit(value: float, figures: tuple[int, int] | None) -> float:
    """Half a unit of the last figure, relative to the value."""
    if value == 0:
        return 0.0
    count = figures[1] if figures else max(figures_of_value(value), len(f"{abs(value):.0f}"), 2)
    if count > 15:
        return 0.0
    mantissa = 10.0 ** (math.log10(abs(value)) % 1.0)
    return 0.5 * 10.0 ** (1 - count) / mantissa
