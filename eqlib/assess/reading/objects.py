"""Reduce whatever code hands over (a NumPy scalar, a SymPy number, a table) to plain values.

A library (NumPy, SymPy, uncertainties, pint) is looked at only if the process has loaded it already: no
answer makes us import anything. Sizes are limited, and an object that cannot be reduced is one line, never a
traceback.
"""

import math
import sys
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from eqlib.assess.reading.text import Unreadable, one_line, too_long

MAX_DEPTH = 4
_MAX_INTEGER_BITS = 1000  # below the largest float
_MAX_ITEMS = 200
_MAX_TERMS = 200  # of a SymPy expression


@dataclass(frozen=True)
class Typed:
    """A number that came with digits worth counting (a Decimal): value and its text."""

    value: float
    text: str


def plain(raw, depth: int = 0):
    """``raw`` as None, bool, int, float, str, Typed, or a list / dict of these.

    Errors: Unreadable, with one line that names the type and what would do.
    """
    try:
        return _reduced(raw, depth)
    except (Unreadable, RecursionError):
        raise
    except Exception:  # noqa: BLE001 - somebody's object may raise anything when it is looked at
        raise Unreadable(
            f"This Python object of type {type_name(raw)} could not be read. "
            "Hand over the number itself, for example float(result)."
        ) from None


def type_name(raw) -> str:
    """The name of an object's type, fit to print."""
    return one_line(str(type.__dict__["__name__"].__get__(type(raw))), 40) or "unknown"


def _reduced(raw, depth):
    if raw is None or isinstance(raw, bool):
        return raw
    for kind, reduce in _REDUCERS:
        if isinstance(raw, kind):
            return reduce(raw, depth)
    for library, reduce in _LIBRARIES:
        module = sys.modules.get(library)
        if module is not None:
            found = reduce(module, raw, depth)
            if found is not None:
                return found
    raise Unreadable(
        f"An answer here is a number or a few words, and this is a Python object of type {type_name(raw)}. "
        "Hand over the number itself, for example float(result)."
    )


def _finite(value: float) -> float:
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
    return _finite(float.__float__(raw))


def _decimal(raw, _depth):
    if raw.is_finite() and raw.adjusted() > 307:
        raise Unreadable("This number is far too large to be an answer here. Please check the last step.")
    value = _finite(float(raw))
    return value if len(raw.as_tuple().digits) > 40 else Typed(value, str(raw))


def _fraction(raw, _depth):
    return _finite(raw.numerator / raw.denominator)


def _complex(raw, _depth):
    value = complex(raw)
    if value.imag == 0:
        return _finite(value.real)
    raise Unreadable(
        "The answer is a complex number; a real one is wanted. Choose the root that makes chemical sense."
    )


def _sequence(raw, depth):
    _check_size(len(raw), depth)
    return [plain(item, depth + 1) for item in raw]


def _mapping(raw, depth):
    _check_size(len(raw), depth)
    out = {}
    for key, value in raw.items():
        name = plain(key, depth + 1)
        if not isinstance(name, str | int):
            raise Unreadable("The names in a table of answers are words. Please write them as text.")
        out[str(name)] = plain(value, depth + 1)
    return out


def _check_size(count, depth):
    if depth >= MAX_DEPTH:
        raise Unreadable(
            "The answer is a list inside a list inside a list. A flat list or a single value is wanted."
        )
    if count > _MAX_ITEMS:
        raise Unreadable(
            f"The answer holds {count:,} values, more than can be read. A "
            f"single value or a short list is wanted."
        )


def _numpy(np, raw, depth):
    if isinstance(raw, np.longdouble):
        return _finite(float(raw))
    if isinstance(raw, np.generic):
        item = raw.item()
        return plain(item, depth + 1) if isinstance(item, bool | int | float | complex | str) else None
    if isinstance(raw, np.ndarray):
        _check_size(raw.size, min(depth + raw.ndim - 1, MAX_DEPTH))
        values = raw.tolist()  # a masked value becomes None here, and 0.0 with item()
        while isinstance(values, list) and len(values) == 1:
            values = values[0]
        return plain(values, depth + 1)
    return None


def _sympy(sympy, raw, _depth):
    if not isinstance(raw, sympy.Basic):
        return None
    if raw.count_ops() > _MAX_TERMS:
        raise Unreadable(
            "This SymPy expression is very long. Hand over its value, for example float(result)."
        )
    if not getattr(raw, "is_number", False):
        raise Unreadable(
            "This SymPy answer is not a plain number (a symbol may still be in it). "
            "Put numbers in for the symbols, then hand over float(result)."
        )
    return _complex(complex(raw.evalf(17)), 0)


def _uncertain(core, raw, depth):
    return plain(raw.nominal_value, depth + 1) if isinstance(raw, core.AffineScalarFunc) else None


def _quantity(pint, raw, depth):
    if not isinstance(raw, pint.Quantity):
        return None
    number = plain(raw.magnitude, depth + 1)
    return f"{number!r} " + " ".join(f"{name}^{power}" for name, power in raw.unit_items())


# bool is an int, and a NumPy float is a float: the order matters only for bool, which comes before all.
_REDUCERS = (
    (str, _string),
    (int, _integer),
    (float, _float),
    (Decimal, _decimal),
    (Fraction, _fraction),
    (complex, _complex),
    ((list, tuple), _sequence),
    (dict, _mapping),
)
_LIBRARIES = (
    ("numpy", _numpy),
    ("sympy", _sympy),
    ("uncertainties.core", _uncertain),
    ("pint", _quantity),
)
