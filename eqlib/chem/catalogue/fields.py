"""The kinds of value a catalogue file may hold, each with one small test and the words for what is wanted."""

import math
from dataclasses import dataclass


@dataclass(frozen=True)
class Field:
    """One key of a table: the kind of its value, whether it must be there, and the words it may take."""

    kind: str
    needed: bool = False
    words: tuple[str, ...] = ()


def _is_number(value):
    return isinstance(value, int | float) and not isinstance(value, bool)


def _finite(value):
    try:
        return _is_number(value) and math.isfinite(value)
    except OverflowError:  # a whole number of more than 308 digits
        return False


def _text(value):
    return isinstance(value, str) and bool(value.strip())


def _all(test):
    return lambda value: isinstance(value, list) and bool(value) and all(test(v) for v in value)


def _amounts(value):
    return isinstance(value, dict) and all(_finite(v) and v >= 0 for v in value.values())


# kind -> (test, what is wanted)
KINDS = {
    "text": (_text, "a piece of text in quotes that is not empty"),
    "any text": (lambda v: isinstance(v, str), "a piece of text in quotes"),
    "yes/no": (lambda v: isinstance(v, bool), "true or false, without quotes"),
    "number": (_finite, "an ordinary number (not nan, not inf)"),
    "above zero": (lambda v: _finite(v) and v > 0, "a number greater than 0"),
    "zero or more": (lambda v: _finite(v) and v >= 0, "a number that is 0 or more"),
    "whole": (lambda v: isinstance(v, int) and not isinstance(v, bool), "a whole number"),
    "ionic strength": (
        lambda v: v in ("not stated", "gas phase") or (_finite(v) and v >= 0),
        'a number in mol/L that is 0 or more, or "not stated", or "gas phase"',
    ),
    "kelvin": (
        lambda v: _finite(v) and 200 <= v <= 500,
        "a temperature in kelvin between 200 and 500, such as 298.15",
    ),
    "texts": (_all(_text), 'a list of texts, such as ["gloves", "goggles"]'),
    "texts or none": (lambda v: v == [] or _all(_text)(v), "a list of texts, or [] for none"),
    "text or texts": (lambda v: _text(v) or _all(_text)(v), "a text or a list of texts"),
    "numbers": (_all(_finite), "a list of ordinary numbers"),
    "amounts": (_amounts, 'a table of species and numbers that are 0 or more, such as { "Fe^3+" = 0.002 }'),
    "table": (lambda v: isinstance(v, dict), "a table, such as [recipe]"),
    "tables": (
        lambda v: isinstance(v, list) and all(isinstance(t, dict) for t in v),
        "tables, such as [[reaction]]",
    ),
    "portions": (
        lambda v: isinstance(v, list) and all(isinstance(t, dict) for t in v),
        "a list of { stock, volume_mL }",
    ),
}


def fits(field, value):
    """None when ``value`` suits ``field``; otherwise what is wanted, in words."""
    test, wanted = KINDS[field.kind]
    if not test(value):
        return wanted
    if field.words and value not in field.words:
        return "one of: " + ", ".join(field.words)
    return None
