"""Errors a person can act on, one plain line each; and values checked on the way in."""

from __future__ import annotations

import difflib
import math
from collections.abc import Iterable
from numbers import Real


class EqlibError(ValueError):
    """Bad input. ``str(error)`` is one line: what was read, where, and how to mend it."""


def did_you_mean(name: str, choices: Iterable[str]) -> str:
    """ "; did you mean SCN^-?" or nothing."""
    close = nearest(name, choices)
    return f"; did you mean {close}?" if close else ""


def nearest(name: str, choices: Iterable[str]) -> str | None:
    """The choice most like ``name`` but not it, or None where none is like it."""
    choices = [choice for choice in choices if choice != name]
    longer = [choice for choice in choices if len(name) > 2 and choice.lower().startswith(name.lower())]
    if longer:  # a name that was not finished: the plainest of those it begins
        return min(longer, key=len)
    close = difflib.get_close_matches(name, choices, n=1, cutoff=0.5)
    if not close:  # letters swapped, as in SNC^-
        close = [choice for choice in choices if sorted(choice) == sorted(name)][:1]
    return close[0] if close else None


def finite(value: object, what: str, where: str = "", error: type[EqlibError] = EqlibError) -> float:
    """``value`` as a float; raises ``error`` unless it is a finite real number (True and False are not)."""
    if isinstance(value, bool) or not isinstance(value, Real) or not _is_finite(value):
        raise error(f"{_place(where)}{what} must be a finite number, not {_short(value)}")
    return float(value)


def positive(value: object, what: str, where: str = "", error: type[EqlibError] = EqlibError) -> float:
    """The same, and more than 0."""
    number = finite(value, what, where, error)
    if number <= 0:
        raise error(f"{_place(where)}{what} must be more than 0, not {value!r:.40}")
    return number


def _is_finite(value: Real) -> bool:
    try:
        return math.isfinite(value)
    except OverflowError:  # a whole number or a fraction beyond what a float can hold
        return False


def _short(value: object) -> str:
    try:
        return f"{value!r:.40}"
    except ValueError:  # Python refuses to write out a whole number of thousands of digits
        return "one of thousands of digits"


def _place(where: str) -> str:
    return f"{where}: " if where else ""
