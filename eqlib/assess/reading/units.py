"""Units, from a small table of our own: typed unit -> size and dimensions, and nothing else is understood.

A unit is read as a product of powers: "mol/L", "M^-1 cm^-1", "L mol-1", "kJ per mole". Factors are exact
fractions, so that 0.14 mM is 0.00014 mol/L to the last bit.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction

from eqlib.assess.reading.plain import Unreadable, quote, tidy

#: Dimensions: powers of (length, mass, time, amount, temperature). A litre is a length cubed.
Dims = tuple[int, ...]
_LENGTH, _MASS, _TIME, _AMOUNT, _TEMPERATURE = (
    (1, 0, 0, 0, 0),
    (0, 1, 0, 0, 0),
    (0, 0, 1, 0, 0),
    (0, 0, 0, 1, 0),
    (0, 0, 0, 0, 1),
)
_NONE: Dims = (0, 0, 0, 0, 0)
_VOLUME, _CONCENTRATION = (3, 0, 0, 0, 0), (-3, 0, 0, 1, 0)
ENERGY, _PRESSURE = (2, 1, -2, 0, 0), (-1, 1, -2, 0, 0)
ENERGY_PER_AMOUNT = (2, 1, -2, -1, 0)

_PREFIXES: dict[str, int | Fraction] = {
    "k": 1000,
    "d": Fraction(1, 10),
    "c": Fraction(1, 100),
    "m": Fraction(1, 1000),
    "μ": Fraction(1, 10**6),
    "u": Fraction(1, 10**6),
    "n": Fraction(1, 10**9),
    "p": Fraction(1, 10**12),
}
_LONG_PREFIXES = {"kilo": "k", "deci": "d", "centi": "c", "milli": "m", "micro": "μ", "nano": "n"}

# name -> (size in SI, dimensions, prefixes allowed)
_UNITS: dict[str, tuple[int | Fraction, Dims, str]] = {
    "mol": (1, _AMOUNT, "kmμunp"),
    "M": (1000, _CONCENTRATION, "mμunp"),
    "L": (Fraction(1, 1000), _VOLUME, "dcmμun"),
    "m": (1, _LENGTH, "kdcmμunp"),
    "g": (Fraction(1, 1000), _MASS, "kmμun"),
    "s": (1, _TIME, "mμun"),
    "min": (60, _TIME, ""),
    "h": (3600, _TIME, ""),
    "K": (1, _TEMPERATURE, "m"),
    "J": (1, ENERGY, "km"),
    "cal": (Fraction(4184, 1000), ENERGY, "k"),
    "Pa": (1, _PRESSURE, "k"),
    "MPa": (10**6, _PRESSURE, ""),
    "MJ": (10**6, ENERGY, ""),
    "bar": (10**5, _PRESSURE, "m"),
    "atm": (101325, _PRESSURE, ""),
    "torr": (Fraction(101325, 760), _PRESSURE, ""),
    "mmHg": (Fraction(133322387415, 10**9), _PRESSURE, ""),
    "%": (Fraction(1, 100), _NONE, ""),
    "1": (1, _NONE, ""),
}

# Other spellings, in lower case. One letter alone is never here: m and M, k and K differ.
_SPELLINGS = {
    "mole": "mol", "moles": "mol", "mols": "mol", "molar": "M", "l": "L", "litre": "L", "litres": "L",
    "liter": "L", "liters": "L", "metre": "m", "metres": "m", "meter": "m", "meters": "m", "gram": "g",
    "grams": "g", "gramme": "g", "sec": "s", "secs": "s", "second": "s", "seconds": "s", "mins": "min",
    "minute": "min", "minutes": "min", "hr": "h", "hour": "h", "hours": "h", "kelvin": "K",
    "kelvins": "K", "joule": "J", "joules": "J", "kj": "kJ", "j": "J", "pascal": "Pa", "pascals": "Pa",
    "kpa": "kPa", "bars": "bar", "percent": "%", "cc": "mL", "ml": "mL", "atmosphere": "atm",
    "atmospheres": "atm", "mmhg": "mmHg", "unitless": "1", "dimensionless": "1", "none": "1",
    "abs": "1", "au": "1", "absorbance": "1", "delta": "1",
}  # fmt: skip
_CELSIUS = {"°c", "degc", "deg c", "celsius", "degrees c", "degrees celsius", "degree celsius", "deg. c",
            "degree_celsius", "c"}  # fmt: skip
_FILLER = {"unit", "units", "written", "in", "as", "the", "of", "a", "standard", "with", "no", "without"}
_FACTOR = re.compile(r"(%|1(?![\d.])|[A-Za-zμ°]+)(?:\s*(?:\^|\*\*)?\s*\(?\s*([+-]?\d{1,2})(?:\.0)?\s*\)?)?")


_POWER = re.compile(r"\s*(?:\^|\*\*)\s*\(?\s*([+-]?\d{1,2})\s*\)?")


@dataclass(frozen=True)
class Unit:
    """A unit: ``size`` (exact, in SI), ``dims`` and ``offset`` (kelvin, for a Celsius temperature)."""

    size: Fraction
    dims: Dims
    offset: Fraction = Fraction(0)
    text: str = ""


def parse_unit(text: str) -> Unit:
    """The unit meant by ``text``; "" is the unit one. Errors: Unreadable, naming what was not understood."""
    return readings_of_unit(text)[0]


def readings_of_unit(text: str) -> tuple[Unit, ...]:
    """Every sensible reading of a unit. "L/mol cm" has two: people write it for L/(mol cm).

    Errors: Unreadable.
    """
    typed = tidy(text)
    cleaned = without_filler(typed)
    if cleaned.lower() in _CELSIUS:
        return (Unit(Fraction(1), _TEMPERATURE, Fraction(27315, 100), "°C"),)
    if cleaned.lower() == "a.u":  # absorbance units
        cleaned = "1"
    if len(cleaned) > 60:
        raise Unreadable(f"The unit {quote(text)} is too long to read. Please type it like mol/L or M^-1.")
    factors = _factors(cleaned, typed)
    readings = [_product(factors, typed, spread=False)]
    if any(f[2] for f in factors):
        spread = _product(factors, typed, spread=True)
        if spread.dims != readings[0].dims:
            readings.append(spread)
    return tuple(readings)


def without_filler(text: str) -> str:
    """A typed unit without brackets and words around it: "(unit written M^-1)" -> "M^-1"."""
    text = text.strip(" .,;:?[]").strip()
    while text.startswith("(") and text.endswith(")") and text.count("(") == text.count(")") == 1:
        text = text[1:-1].strip()
    if text.count("(") != text.count(")"):
        text = text.strip("()").strip()
    words = [w for w in re.split(r"\s+", text) if w.lower().strip(":,") not in _FILLER]
    return " ".join(words)


def _factors(text: str, typed: str) -> list[tuple[str, int, bool]]:
    """[(name, power, comes right after a slash)] of a cleaned unit; brackets are multiplied out."""
    text = re.sub(r"\b[Pp]er\b", "/", text.replace("{", "(").replace("}", ")"))
    out, i, after = [], 0, False
    while i < len(text):
        if text[i] in " ·*./":
            after = after or text[i] == "/"
            i += 1
            continue
        if text[i] == "(":
            found, end = _group(text, i, typed), _closing(text, i, typed)
        else:
            match = _FACTOR.match(text, i)
            if match is None:
                raise _unknown(typed)
            found, end = [(match.group(1), int(match.group(2) or 1))], match.end()
        power = _POWER.match(text, end) if text[i] == "(" else None
        if power is not None:
            found, end = [(name, n * int(power.group(1))) for name, n in found], power.end()
        out += [(name, n, after) for name, n in found]
        i, after = end, False
        if len(out) > 8:
            raise _unknown(typed)
    return out


def _group(text: str, start: int, typed: str) -> list[tuple[str, int]]:
    """[(name, power)] of what stands in the brackets that open at ``start``."""
    inner = _factors(text[start + 1 : _closing(text, start, typed) - 1], typed)
    return [(name, -power if after else power) for name, power, after in inner]


def _closing(text: str, start: int, typed: str) -> int:
    """Where the brackets that open at ``start`` end (one past the closing one)."""
    depth = 0
    for i in range(start, len(text)):
        depth += (text[i] == "(") - (text[i] == ")")
        if depth == 0:
            return i + 1
    raise _unknown(typed)


def _product(factors: list[tuple[str, int, bool]], typed: str, spread: bool) -> Unit:
    size, dims, below = Fraction(1), _NONE, False
    for name, power, after in factors:
        below = after or (spread and below)
        unit = _named(name, typed)
        power = -power if below else power
        if abs(power) > 12:
            raise _unknown(typed)
        size *= unit[0] ** power
        dims = tuple(d + power * u for d, u in zip(dims, unit[1], strict=True))
    return Unit(size, dims, text=typed)


def _named(name: str, typed: str) -> tuple[Fraction, Dims]:
    for candidate in (name, _SPELLINGS.get(name.lower()), *_long(name.lower())):
        if candidate is not None:
            found = _prefixed(candidate)
            if found is not None:
                return found
    raise _unknown(typed)


def _long(word: str) -> Iterator[str]:
    """ "millimolar" -> "mM", "kilojoules" -> "kJ", "mmol" typed as "MMOL" -> "mmol"."""
    for prefix, short in _LONG_PREFIXES.items():
        if word.startswith(prefix):
            rest = word[len(prefix) :]
            yield short + _SPELLINGS.get(rest, rest)
    if len(word) > 2:
        yield word
        if word[0] in _PREFIXES and word[1:] in _SPELLINGS:
            yield word[0] + _SPELLINGS[word[1:]]


def _prefixed(name: str) -> tuple[Fraction, Dims] | None:
    for i in (0, 1):
        unit = _UNITS.get(name[i:])
        if unit is not None and (i == 0 or name[0] in unit[2]):
            return Fraction(unit[0]) * (_PREFIXES[name[0]] if i else 1), unit[1]
    return None


def _unknown(typed: str) -> Unreadable:
    return Unreadable(
        f"The unit {quote(typed)} is not one that is known here. "
        "Please use units such as mol/L, mM, M^-1, L/mol, cm, K, kJ/mol or bar, or leave the unit out."
    )


def is_power_of_concentration(unit: Unit) -> bool:
    """Is this a whole power of a concentration or of a pressure, as a K with units has?"""
    length, mass, time, amount, temperature = unit.dims
    if temperature:
        return False
    if mass == 0 and time == 0:
        return amount != 0 and length == -3 * amount
    return amount == 0 and length == -mass and time == -2 * mass


def standard_size(unit: Unit) -> Fraction:
    """What one such unit is in powers of the standard state (1 mol/L or 1 bar), as a Fraction."""
    if unit.dims[1]:
        return unit.size / Fraction(10**5) ** unit.dims[1]
    return unit.size / Fraction(1000) ** unit.dims[3]
