"""Reduce any object to a plain value without trusting it.

A student's code may hand over anything: a NumPy scalar, a SymPy number, an object whose methods lie or raise.
Only the *storage* of types we know is read, by the base type's own methods; nothing the object overrides is
ever called.
"""

import math
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from eqlib.assess.readers_base import Unreadable, one_line, too_long

MAX_BITS = 4096  # of the parts of a fraction or of a SymPy number
_MAX_INTEGER_BITS = 1000  # below the largest float
_MAX_ITEMS = 200
MAX_DEPTH = 4
_MRO = type.__dict__["__mro__"].__get__
_NAME = type.__dict__["__name__"].__get__


@dataclass(frozen=True)
class Typed:
    """A number that came with digits worth counting (a Decimal): value and its text."""

    value: float
    text: str


def plain(raw, depth=0):
    """``raw`` as None, bool, int, float, str, Typed, or a list / dict of these.

    Errors: Unreadable, with one line that names the type and what would do.
    """
    kind = type(raw)
    if raw is None or kind is bool:
        return raw
    bases = _MRO(kind)
    for base, reduce in _REDUCERS:
        if any(b is base for b in bases):
            return reduce(raw, depth)
    from eqlib.assess.readers_foreign import from_libraries

    reduced = from_libraries(raw, kind, bases, depth)
    if reduced is not None:
        return reduced
    raise Unreadable(
        f"An answer here is a number or a few words, and this is a Python object of type {type_name(raw)}. "
        "Hand over the number itself, for example float(result)."
    )


def type_name(raw):
    """The name of an object's type, read from the type itself and fit to print."""
    return one_line(_NAME(type(raw)), 40) or "unknown"


def finite(value):
    """``value`` if it is an ordinary number. Errors: Unreadable for nan and infinity."""
    if math.isnan(value):
        raise Unreadable(
            "The answer is “nan” (not a number): a step before it had no result. A plain number is wanted."
        )
    if math.isinf(value):
        raise Unreadable(
            "The answer is infinite: perhaps something was divided by zero on "
            "the way. A plain number is wanted."
        )
    return value


def _string(raw, _depth):
    text = str.__str__(raw)
    if too_long(text):
        raise Unreadable(
            f"The answer has {len(text):,} characters, more than can be read "
            f"(10,000). Please type a shorter one."
        )
    return text


def _integer(raw, _depth):
    value = int.__int__(raw)
    if value.bit_length() > _MAX_INTEGER_BITS:
        raise Unreadable(
            "This whole number is far too large to be an answer here. Please check the last step."
        )
    return value


def _float(raw, _depth):
    return finite(float.__float__(raw))


def _decimal(raw, _depth):
    if not Decimal.is_finite(raw):
        return finite(math.nan if Decimal.is_nan(raw) else math.inf)
    exponent = Decimal.adjusted(raw)
    if exponent > 307:
        raise Unreadable("This number is far too large to be an answer here. Please check the last step.")
    value = Decimal.__float__(raw)
    if len(Decimal.as_tuple(raw).digits) > 40:
        return value
    return Typed(value, Decimal.__str__(raw))


def _fraction(raw, depth):
    # Fraction is written in Python: its two slots are read, its methods are not called.
    top = plain(slot(Fraction, "_numerator", raw), depth + 1)
    bottom = plain(slot(Fraction, "_denominator", raw), depth + 1)
    return ratio(top, bottom)


def slot(base, name, raw):
    try:
        return base.__dict__[name].__get__(raw)
    except AttributeError:
        raise Unreadable(f"This {base.__name__} is empty inside. Hand over a plain number.") from None


def ratio(top, bottom):
    if type(top) is not int or type(bottom) is not int:
        raise Unreadable("This fraction is not made of two whole numbers. Hand over a plain number.")
    try:
        return top / bottom
    except (ZeroDivisionError, OverflowError):
        raise Unreadable(
            "This fraction has no ordinary size as a number. Please check the last step."
        ) from None


def _complex(raw, _depth):
    value = complex.__complex__(raw)
    if value.imag == 0:
        return finite(value.real)
    raise Unreadable(
        "The answer is a complex number; a real one is wanted. Choose the root that makes chemical sense."
    )


def _sequence(base):
    def reduce(raw, depth):
        check_size(base.__len__(raw), depth)
        return [plain(item, depth + 1) for item in base.__iter__(raw)]

    return reduce


def _mapping(raw, depth):
    check_size(dict.__len__(raw), depth)
    out = {}
    for key, value in dict.items(raw):
        name = plain(key, depth + 1)
        if not isinstance(name, str | int):
            raise Unreadable("The names in a table of answers are words. Please write them as text.")
        out[str(name)] = plain(value, depth + 1)
    return out


def check_size(count, depth):
    if depth >= MAX_DEPTH:
        raise Unreadable(
            "The answer is a list inside a list inside a list. A flat list or a single value is wanted."
        )
    if count > _MAX_ITEMS:
        raise Unreadable(
            f"The answer holds {count:,} values, more than can be read. A "
            f"single value or a short list is wanted."
        )


# Order matters only for bool (handled before: it is an int).
_REDUCERS = (
    (str, _string),
    (int, _integer),
    (float, _float),
    (Decimal, _decimal),
    (Fraction, _fraction),
    (complex, _complex),
    (list, _sequence(list)),
    (tuple, _sequence(tuple)),
    (dict, _mapping),
)
