"""Turn whatever was handed in into plain JSON values, calling none of its own code.

A student's cell may hand over any object at all: one whose ``__eq__`` says True to everything, a float that
lies about its size, a list that contains itself. Only the built-in value underneath is kept; anything without
one becomes ``Unreadable``, which every reader turns into a message.
"""

from __future__ import annotations

import math
import sys
from dataclasses import dataclass

#: Longest text kept, deepest nesting and most items: generous for any form, small enough to be harmless.
MAX_TEXT = 20_000
MAX_DEPTH = 6
MAX_ITEMS = 500
MAX_DIGITS = 400

_TYPE_NAME = type.__dict__["__name__"]


@dataclass(frozen=True)
class Unreadable:
    """Stands in for a value that is not plain data. ``why`` says what it was, in words."""

    why: str


def type_name(value) -> str:
    """The name of ``value``'s true type, whatever it claims to be."""
    return _TYPE_NAME.__get__(type(value))[:60]


def plain(value, depth: int = 0):
    """``value`` as None, bool, int, float, str, list or dict of those, or ``Unreadable``. Never raises."""
    kind = type(value)
    if value is None or kind is bool or kind is Unreadable:
        return value
    if issubclass(kind, str):
        return _text(value)
    if issubclass(kind, int):
        return _whole(int.__int__(value))
    if issubclass(kind, float):
        return float.__float__(value)
    if issubclass(kind, (bytes, bytearray)):
        return Unreadable("raw bytes")
    if depth >= MAX_DEPTH and issubclass(kind, (list, tuple, dict)):
        return Unreadable("lists inside lists, too deep to read")
    if issubclass(kind, dict):
        return _mapping(value, depth)
    if issubclass(kind, list):
        return _sequence(list.__iter__(value), list.__len__(value), depth)
    if issubclass(kind, tuple):
        return _sequence(tuple.__iter__(value), tuple.__len__(value), depth)
    return _library_number(value)


def _text(value):
    if str.__len__(value) > MAX_TEXT:
        return Unreadable(f"a text of {str.__len__(value):,} characters")
    return str.__str__(value)


def _whole(value: int):
    if value.bit_length() > 4 * MAX_DIGITS:
        return Unreadable("a whole number of several hundred digits")
    return value


def _mapping(value, depth):
    if dict.__len__(value) > MAX_ITEMS:
        return Unreadable(f"a table of {dict.__len__(value):,} entries")
    out = {}
    for key, item in dict.items(value):
        name = plain(key)
        if type(name) in (int, float):
            name = repr(name)
        if type(name) is not str:
            return Unreadable("a table whose row names are not text")
        out[name] = plain(item, depth + 1)
    return out


def _sequence(items, length, depth):
    if length > MAX_ITEMS:
        return Unreadable(f"a list of {length:,} values")
    return [plain(item, depth + 1) for item in items]


def _library_number(value):
    """A number of NumPy, SymPy, fractions or decimal, by exact type; its own library does the conversion."""
    kind = type(value)
    for module, names in (("fractions", ("Fraction",)), ("decimal", ("Decimal",))):
        library = sys.modules.get(module)
        if library is not None and kind in [getattr(library, name) for name in names]:
            return _as_float(value)
    numpy = sys.modules.get("numpy")
    if numpy is not None:
        if kind in _numpy_scalars(numpy):
            return plain(value.item())
        if kind is numpy.ndarray and value.size <= MAX_ITEMS and value.dtype.kind in "fiub":
            return plain(value.tolist())
    sympy = sys.modules.get("sympy")
    if sympy is not None and issubclass(kind, sympy.Number) and _true_module(kind).startswith("sympy."):
        return _as_float(value)
    return Unreadable(f"an object of type {type_name(value)}")


def _true_module(kind) -> str:
    module = type.__dict__["__dict__"].__get__(kind).get("__module__", "")
    return module if type(module) is str else ""


def _numpy_scalars(numpy):
    return {numpy.dtype(code).type for code in "bBhHiIlLqQefdg?"}


def _as_float(value):
    try:
        return float(value)
    except (OverflowError, ValueError, TypeError):
        return Unreadable(f"a {type_name(value)} that is not an ordinary number")


def is_jsonable(value) -> bool:
    """Is this plain value one that JSON can hold (no nan, no infinity, nothing unreadable)?"""
    if type(value) is float:
        return math.isfinite(value)
    if type(value) is list:
        return all(is_jsonable(item) for item in value)
    if type(value) is dict:
        return all(is_jsonable(item) for item in value.values())
    return value is None or type(value) in (bool, int, str)
