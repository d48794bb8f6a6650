"""Whatever was typed or computed, made plain: what every reader shares.

Nothing that a person types is ever evaluated. Text is cut to a size first, then tidied into a small alphabet,
then matched by the readers' own grammars. What code hands over (a NumPy scalar, a SymPy number, a table) is
reduced to plain values; a library is looked at only if the process has loaded it already: no answer makes us
import anything. An object that cannot be reduced is one line, never a traceback.
"""

from __future__ import annotations

import math
import sys
import unicodedata
from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from types import ModuleType
from typing import Any, TypeAlias

from eqlib.errors import EqlibError

MAX_TEXT = 10_000  # characters and bytes of one typed answer

_SUPER = dict(zip("⁰¹²³⁴⁵⁶⁷⁸⁹⁺⁻⁽⁾", "0123456789+-()", strict=True))
_SUB = dict(zip("₀₁₂₃₄₅₆₇₈₉₊₋₍₎", "0123456789+-()", strict=True))
_SAME = {
    **dict.fromkeys("‐‑‒–—―−﹣－", "-"),
    **dict.fromkeys("×✕✖⨯∗＊⨉", "*"),
    **dict.fromkeys("·⋅∙•‧・", "·"),
    **dict.fromkeys("’‘ʼ′`", "'"),
    **dict.fromkeys("“”„«»", '"'),
    **dict.fromkeys("→⟶➔➜⟹⇒➡", "→"),
    **dict.fromkeys("←⟵⟸⇐⬅", "←"),
    **dict.fromkeys("⇌⇋⇄⇆↔⟷⟺⇔", "⇌"),
    **dict.fromkeys("⁄∕÷", "/"),
    "٫": ".",
    "٬": "'",
    "µ": "μ",
    "ℓ": "L",
    "≃": "≈",
    "≅": "≈",
    "∼": "~",
}


class Unreadable(EqlibError):
    """An answer that cannot be read; the text says what was seen and what would do."""


@dataclass(frozen=True)
class Reading:
    """One answer as read.

    ok: whether it could be read.  value: a plain JSON value (``None`` if not ok), in the part's unit; reading
    ``value`` again gives the same value.  shown: what was read, in words, for the person to check.
    message: if not ok, one line with what was seen and what would do; else "".
    figures: (fewest, most) significant figures typed, or None when nothing was typed as digits.
    decimals: digits typed after the decimal mark of the value as shown (for pH and other logarithms), or
    None.
    notes: short remarks on what was taken for granted ("unit taken as mol/L").
    """

    ok: bool
    value: Any = None
    shown: str = ""
    message: str = ""
    figures: tuple[int, int] | None = None
    decimals: int | None = None
    notes: tuple[str, ...] = ()


def refused(message: str) -> Reading:
    """A reading that was not possible, with the one line that says why and what would do."""
    return Reading(False, message=one_line(message))


def one_line(text: str, limit: int = 400) -> str:
    """``text`` without line breaks or invisible characters, cut to ``limit`` characters."""
    text = " ".join("".join(c if c.isprintable() else " " for c in text[: 4 * limit]).split())
    return text if len(text) <= limit else text[: limit - 1] + "…"


def quote(text: str, limit: int = 40) -> str:
    """What was typed, in quotation marks, short enough to stand in a message."""
    return f"“{one_line(text, limit)}”"


def too_long(text: str) -> bool:
    """True if the text is above the size cap, measured in characters or in UTF-8 bytes."""
    return len(text) > MAX_TEXT or len(text.encode("utf-8", "replace")) > MAX_TEXT


def tidy(text: str) -> str:
    """Typed text in a small alphabet: raised figures become ``^``, the many dashes one, odd spaces a blank.

    "1,4·10²" -> "1,4·10^2";  "Fe³⁺" -> "Fe^3+";  "6.9 × 10⁻⁵" -> "6.9 * 10^-5".
    """
    out, raised = [], False
    for c in text[:MAX_TEXT]:
        if c in _SUPER:
            out.append(_SUPER[c] if raised else "^" + _SUPER[c])
            raised = True
            continue
        raised = False
        out.append(_plain_character(c))
    text = "".join(out).replace("^^", "^")
    return " ".join(text.split())


def _plain_character(c: str) -> str:
    if c in _SUB:
        return _SUB[c]
    if c in _SAME:
        return _SAME[c]
    if c < "\x7f":
        return c if c >= " " else " "
    digit = unicodedata.decimal(c, None)
    if digit is not None:
        return str(digit)
    kind = unicodedata.category(c)
    if kind in ("Zs", "Zl", "Zp", "Cc"):
        return " "
    if kind in ("Cf", "Cs", "Co", "Cn", "Mn"):
        return ""
    return "".join(_SAME.get(d, d) for d in unicodedata.normalize("NFKC", c))


# -- objects ----

MAX_DEPTH = 4
_MAX_INTEGER_BITS = 1000  # below the largest float
_MAX_ITEMS = 200
_MAX_TERMS = 200  # of a SymPy expression


@dataclass(frozen=True)
class Typed:
    """A number that came with digits worth counting (a Decimal): value and its text."""

    value: float
    text: str


#: What is left of an answer when it has been made plain.
Plain: TypeAlias = "bool | int | float | str | Typed | list[Plain] | dict[str, Plain] | None"


def plain(raw: object, depth: int = 0) -> Plain:
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


def type_name(raw: object) -> str:
    """The name of an object's type, fit to print."""
    return one_line(str(type.__dict__["__name__"].__get__(type(raw))), 40) or "unknown"


def _reduced(raw: object, depth: int) -> Plain:
    if raw is None or isinstance(raw, bool):
        return raw
    for kind, reduce in _REDUCERS:
        if isinstance(raw, kind):
            return reduce(raw, depth)
    for library, taken in _LIBRARIES:
        module = sys.modules.get(library)
        if module is not None:
            found = taken(module, raw, depth)
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


def _string(raw: str, _depth: int) -> str:
    text = str.__str__(raw)
    if too_long(text):
        raise Unreadable(
            f"The answer has {len(text):,} characters, more than can be read "
            f"(10,000). Please type a shorter one."
        )
    return text


def _integer(raw: int, _depth: int) -> int:
    value = int.__int__(raw)
    if value.bit_length() > _MAX_INTEGER_BITS:
        raise Unreadable(
            "This whole number is far too large to be an answer here. Please check the last step."
        )
    return value


def _float(raw: float, _depth: int) -> float:
    return _finite(float.__float__(raw))


def _decimal(raw: Decimal, _depth: int) -> float | Typed:
    if raw.is_finite() and raw.adjusted() > 307:
        raise Unreadable("This number is far too large to be an answer here. Please check the last step.")
    value = _finite(float(raw))
    return value if len(raw.as_tuple().digits) > 40 else Typed(value, str(raw))


def _fraction(raw: Fraction, _depth: int) -> float:
    return _finite(raw.numerator / raw.denominator)


def _complex(raw: complex, _depth: int) -> float:
    value = complex(raw)
    if value.imag == 0:
        return _finite(value.real)
    raise Unreadable(
        "The answer is a complex number; a real one is wanted. Choose the root that makes chemical sense."
    )


def _sequence(raw: list[Any] | tuple[Any, ...], depth: int) -> list[Plain]:
    _check_size(len(raw), depth)
    return [plain(item, depth + 1) for item in raw]


def _mapping(raw: dict[Any, Any], depth: int) -> dict[str, Plain]:
    _check_size(len(raw), depth)
    out: dict[str, Plain] = {}
    for key, value in raw.items():
        name = plain(key, depth + 1)
        if not isinstance(name, str | int):
            raise Unreadable("The names in a table of answers are words. Please write them as text.")
        out[str(name)] = plain(value, depth + 1)
    return out


def _check_size(count: int, depth: int) -> None:
    if depth >= MAX_DEPTH:
        raise Unreadable(
            "The answer is a list inside a list inside a list. A flat list or a single value is wanted."
        )
    if count > _MAX_ITEMS:
        raise Unreadable(
            f"The answer holds {count:,} values, more than can be read. A "
            f"single value or a short list is wanted."
        )


def _numpy(np: ModuleType, raw: object, depth: int) -> Plain:
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


def _sympy(sympy: ModuleType, raw: object, _depth: int) -> float | None:
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


def _uncertain(core: ModuleType, raw: object, depth: int) -> Plain:
    return plain(raw.nominal_value, depth + 1) if isinstance(raw, core.AffineScalarFunc) else None


def _quantity(pint: ModuleType, raw: object, depth: int) -> str | None:
    if not isinstance(raw, pint.Quantity):
        return None
    number = plain(raw.magnitude, depth + 1)
    return f"{number!r} " + " ".join(f"{name}^{power}" for name, power in raw.unit_items())


# bool is an int, and a NumPy float is a float: the order matters only for bool, which comes before all.
_REDUCERS: tuple[tuple[type | tuple[type, ...], Callable[[Any, int], Plain]], ...] = (
    (str, _string),
    (int, _integer),
    (float, _float),
    (Decimal, _decimal),
    (Fraction, _fraction),
    (complex, _complex),
    ((list, tuple), _sequence),
    (dict, _mapping),
)
_LIBRARIES: tuple[tuple[str, Callable[[ModuleType, object, int], Plain]], ...] = (
    ("numpy", _numpy),
    ("sympy", _sympy),
    ("uncertainties.core", _uncertain),
    ("pint", _quantity),
)
