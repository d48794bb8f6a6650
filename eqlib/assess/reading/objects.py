"""Reduce any object to a plain value without trusting it.

A student's code may hand over anything: a NumPy scalar, a SymPy number, an object whose methods lie or raise.
Only the *storage* of types we know is read, by the base type's own methods; nothing the object overrides is
ever called. A library (NumPy, SymPy, uncertainties, pint) is looked at only if the process has loaded it
already: no answer makes us import anything.
"""

import math
import sys
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from types import GetSetDescriptorType

from eqlib.assess.reading.text import Unreadable, one_line, too_long

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


_VARS = type.__dict__["__dict__"].__get__


def from_libraries(raw, kind, bases, depth):
    """Numbers of NumPy, SymPy, uncertainties and pint, if the library that makes them is loaded at all."""
    for library, reduce in (
        ("numpy", _numpy),
        ("sympy", _sympy),
        ("uncertainties", _uncertain),
        ("pint", _quantity),
    ):
        module = sys.modules.get(library)
        if module is not None:
            found = reduce(module, raw, kind, bases, depth)
            if found is not None:
                return found
    return None


def _numpy(np, raw, kind, bases, depth):
    if any(b is np.generic for b in bases):
        item = (
            np.longdouble.__float__(raw) if any(b is np.longdouble for b in bases) else np.generic.item(raw)
        )
        if type(item) in (bool, int, float, complex, str):
            return plain(item, depth + 1)
    if kind is np.ndarray:
        size, dims = np.ndarray.size.__get__(raw), np.ndarray.ndim.__get__(raw)
        check_size(size, min(depth + dims - 1, MAX_DEPTH))
        return plain(np.ndarray.item(raw) if size == 1 else np.ndarray.tolist(raw), depth + 1)
    return None


def _sympy(sympy, raw, kind, bases, _depth):
    if not any(b is sympy.Basic for b in bases):
        return None
    return finite(_sympy_value(sympy, raw, [0]))


def _sympy_value(sympy, raw, seen):
    """A constant made of SymPy's own numbers, sums, products and powers, worked out in plain floats."""
    seen[0] += 1
    kind = type(raw)
    if seen[0] > 200:
        raise Unreadable(
            "This SymPy expression is very long. Hand over its value, for example float(result)."
        )
    if kind is sympy.Float:
        return _binary_float(raw._mpf_)
    if kind in _rationals(sympy):
        return ratio(raw.p, raw.q)
    if kind is type(sympy.pi):
        return math.pi
    if kind is type(sympy.E):
        return math.e
    if kind in (sympy.Add, sympy.Mul, sympy.Pow, sympy.exp, sympy.log) and type(raw._args) is tuple:
        return _combine(sympy, kind, [_sympy_value(sympy, a, seen) for a in raw._args])
    raise Unreadable(
        "This SymPy answer is not a plain number (a symbol may still be in it). "
        "Put numbers in for the symbols, then hand over float(result)."
    )


def _binary_float(stored):
    """A SymPy Float from its stored (sign, mantissa, exponent, bits)."""
    if type(stored) is tuple and len(stored) == 4 and all(type(n) is int for n in stored):
        sign, mantissa, exponent, _ = stored
        if mantissa and abs(exponent) <= MAX_BITS and mantissa.bit_length() <= MAX_BITS:
            size = ratio(mantissa << max(exponent, 0), 1 << max(-exponent, 0))
            return -size if sign else size
        if not mantissa and not exponent:
            return 0.0
    raise Unreadable(
        "This SymPy number is not an ordinary one (it may be nan or infinite). A plain number is wanted."
    )


def _combine(sympy, kind, parts):
    try:
        if kind is sympy.Add:
            return math.fsum(parts)
        if kind is sympy.Mul:
            return math.prod(parts)
        if kind is sympy.Pow:
            value = parts[0] ** parts[1]
        else:
            value = math.exp(parts[0]) if kind is sympy.exp else math.log(parts[0])
    except (ArithmeticError, ValueError):
        value = math.nan
    return finite(value.real if isinstance(value, complex) and value.imag == 0 else _real(value))


def _real(value):
    if isinstance(value, complex):
        raise Unreadable(
            "This SymPy answer is a complex number; a real one is wanted. Choose the root that makes sense."
        )
    return value


def _rationals(sympy):
    return {
        sympy.Integer,
        sympy.Rational,
        *(type(sympy.Rational(n, d)) for n, d in ((0, 1), (1, 1), (-1, 1), (1, 2))),
    }


def _uncertain(uncertainties, raw, kind, bases, depth):
    core = sys.modules.get("uncertainties.core")
    if core is None or not any(b is core.AffineScalarFunc for b in bases):
        return None
    return plain(slot(core.AffineScalarFunc, "_nominal_value", raw), depth + 1)


def _quantity(_pint, raw, _kind, bases, depth):
    quantity, util = sys.modules.get("pint.facets.plain.quantity"), sys.modules.get("pint.util")
    if quantity is None or util is None or not any(b is quantity.PlainQuantity for b in bases):
        return None
    fields = _stored_fields(bases, raw)
    units = fields.get("_units")
    number = plain(fields.get("_magnitude"), depth + 1)
    powers = plain(units._d, depth + 1) if type(units) is util.UnitsContainer else None
    if type(number) not in (int, float) or not isinstance(powers, dict):
        raise Unreadable("This quantity could not be taken apart. Hand over the number and its unit as text.")
    return f"{number!r} " + " ".join(f"{name}^{power}" for name, power in powers.items())


def _stored_fields(bases, raw):
    """An object's own attributes, by the interpreter's accessor rather than the object's."""
    for base in bases:
        accessor = _VARS(base).get("__dict__")
        if type(accessor) is GetSetDescriptorType:
            return accessor.__get__(raw)
    return {}
