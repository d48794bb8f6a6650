"""Misconceptions and errors: the registry, and which of them a wrong number is consistent with.

A wrong answer is named when it is what a known mistake would have given *for this student's numbers*. The
right answer is always tested first, and what is said is never more than "consistent with".

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
    """The value (number, or option) that a mistake would have given.

    ``rare``: seldom made in this way, so that another mistake that gives the same is the likelier one.
    """

    mistake: str
    value: Any
    rare: bool = False


def name_mistake(
    value: Any,
    suspects: Iterable[Suspect],
    expected: Any,
    tolerance: float = 0.02,
    window: float = WINDOW,
    figures: tuple[int, int] | None = None,
) -> str | None:
    """The mistake that a wrong number is consistent with: the nearest suspect within the window, or None.

    ``tolerance``, ``window``: relative. ``figures``: the (fewest, most) significant figures typed; default,
    those that the value itself shows.
    """
    if not _is_number(value) or (_is_number(expected) and _distance(value, expected) <= tolerance):
        return None
    told_apart = [s for s in suspects if _tells(s.value, expected, min(tolerance, window))]
    crowd = sum(0.5 < value / s.value < 2 for s in told_apart if s.value)
    reach = max(min(window, _CROWD / max(crowd, 1)), min(_half_unit(value, figures), WIDEST))
    near = [(s.rare, _distance(value, s.value), s.mistake) for s in told_apart]
    near = [found for found in near if found[1] <= reach]
    return min(near, key=lambda found: found[:2])[2] if near else None


def _tells(guess: Any, expected: Any, least: float) -> bool:
    """Can this suspect be told from the right answer?"""
    return _is_number(guess) and not (_is_number(expected) and _distance(guess, expected) <= least)


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
