"""Names and amounts typed by people, matched with the species of a reaction."""

from __future__ import annotations

import difflib
import math
from collections.abc import Iterable, Mapping
from numbers import Real

from eqlib.chem.equations import ReactionError
from eqlib.chem.species import species

_PROTONS = {"H^+": "H3O^+", "H3O^+": "H^+"}


def match(given: Mapping[str, float], wanted: Iterable[str], where: str) -> dict[str, float]:
    """Values for those of ``wanted`` that are given, whatever their spelling, checked to be amounts.

    ``NO2`` also answers for NO2(g) where no other species of the formula is meant, and H^+ for H3O^+.
    """
    values: dict[str, float] = {}
    for name, value in given.items():
        key = species(name).name
        if key in values:
            raise ReactionError(f"{where}: {key} is given twice")
        values[key] = amount(value, key, where)
    taken: dict[str, float] = {}
    wanted = list(wanted)
    for name in wanted:
        if (key := source_name(name, values, wanted)) is not None:
            taken[name] = values[key]
    return taken


def source_name(name: str, given: Iterable[str], wanted: Iterable[str]) -> str | None:
    """Which of the given names stands for ``name``."""
    given = set(given)
    if name in given:
        return name
    if (other := _PROTONS.get(name)) in given and other not in wanted:
        return other
    one = species(name)
    bare = "H2O(l)" if one.key == "H2O" else one.key
    rivals = [w for w in wanted if species(w).key == one.key]
    return bare if bare in given and len(rivals) == 1 and bare not in wanted else None


def amount(value, key: str, where: str) -> float:
    """A finite number, 0 or more."""
    if isinstance(value, bool) or not isinstance(value, Real):
        raise ReactionError(f"{where}: the amount of {key} must be a number, not {value!r:.40}")
    if not math.isfinite(value):
        raise ReactionError(f"{where}: the amount of {key} must be finite, not {value!r:.40}")
    if value < 0:
        raise ReactionError(f"{where}: the amount of {key} is {value:g}; it cannot be negative")
    return float(value)


def near_hint(name: str, choices: Iterable[str]) -> str:
    """ "; did you mean SCN^-?" or nothing."""
    close = nearest(name, choices)
    return f"; did you mean {close}?" if close else ""


def nearest(name: str, choices: Iterable[str]) -> str | None:
    """The choice most like ``name`` but not it, or None where none is like it."""
    choices = [choice for choice in choices if choice != name]
    close = difflib.get_close_matches(name, choices, n=1, cutoff=0.5)
    if not close:  # letters swapped, as in SNC^-
        close = [choice for choice in choices if sorted(choice) == sorted(name)][:1]
    return close[0] if close else None
