"""What of an answer can be recorded: plain JSON values, taken from whatever was handed over without trusting
it.
"""

from __future__ import annotations

from eqlib.assess.readers_base import Unreadable
from eqlib.assess.readers_plain import Typed
from eqlib.assess.readers_plain import plain as plain_value


def plain(value):
    """``value`` as None, bool, int, float, str, list or dict of those, ready for JSON. Raises Unreadable.

    A decimal keeps the digits it was written with, so that its figures can still be counted.
    """
    return _without_typed(plain_value(value))


def _without_typed(value):
    if isinstance(value, Typed):
        return value.text
    if type(value) is list:
        return [_without_typed(item) for item in value]
    if type(value) is dict:
        return {name: _without_typed(item) for name, item in value.items()}
    return value


def has_text(value) -> bool:
    """Is there any text in this value?"""
    try:
        value = plain(value)
    except (Unreadable, RecursionError):
        return False
    return type(value) is str and bool(value.strip())
