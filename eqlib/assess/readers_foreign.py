"""Numbers made by NumPy, SymPy, uncertainties and pint, reduced to plain ones by what they store.

A library is looked at only if the process has loaded it already: no answer makes us import anything.
"""

import math
import sys
from types import GetSetDescriptorType

from eqlib.assess.readers_base import Unreadable
from eqlib.assess.readers_plain import MAX_BITS, MAX_DEPTH, check_size, finite, plain, ratio, slot

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
