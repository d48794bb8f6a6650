"""Balanced equations: "Fe3+ + SCN- -> FeSCN2+", "2Fe^3+ + ...", or just the coefficients in order.

The species are those of the question, so they are matched loosely and the plus signs of charges are told from
the plus signs between species by trying which pieces make a species that is on the list.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from fractions import Fraction

from eqlib.assess.reading.numbers import COUNTED, read_number
from eqlib.assess.reading.plain import Reading, Unreadable, plain, quote, tidy
from eqlib.assess.reading.species import match_species, stranger

MAX_LENGTH = 300
MAX_COEFFICIENT = 1000

_ARROW = re.compile(r"<=+>|<-+>|-+>|=+>|→|⇌|=+|(?<=[\s)])(?:gives?|yields?|forms?|to|becomes?)(?=[\s(])")
_COEFFICIENT = re.compile(
    r"\(?\s*(\d{1,4}\s*/\s*\d{1,3}|\d{1,4}(?:[.,]\d{1,4})?)\s*\)?\s*(?:[*·]|[xX](?=\s))?\s*"
)
_COUNTED = re.compile(rf"\b({'|'.join(COUNTED[1:])})\b(?=\s+\S)", re.IGNORECASE)
_CHARGE = re.compile(r"\(\s*(\d?\s*[+-])\s*\)")  # "NO3(-)", "Cu(2+)"

#: One term of a typed equation: its coefficient, its species, and whether it was H3O+ for H^+.
Found = tuple[Fraction, str, bool]


def read_equation(raw: object, species: Sequence[str], reactants: int) -> Reading:
    """Read an equation. The Reading's value maps each species to its signed coefficient, products positive.

    ``species``: canonical names in the order of the question. ``reactants``: how many of them stand on the
    left, to read a bare list of coefficients. Errors: Unreadable.
    """
    value = plain(raw)
    if isinstance(value, dict):  # as it was read before
        found = {name: _coefficient(number, name, signed=True) for name, number in value.items()}
        strange = next((name for name in found if name not in species), None)
        if strange is not None:
            raise stranger(quote(strange), "none", species)
    elif isinstance(value, str) and value.strip():
        found = _from_text(value, species, reactants)
    else:
        raise Unreadable(
            "The equation is still empty, or no text. Please type it with an arrow, such as A + B -> C."
        )
    if not any(found.values()):
        raise Unreadable("All coefficients are zero. Please give each species a number; 1 may be left out.")
    numbers = {n: int(c) if c.denominator == 1 else float(c) for n, c in found.items()}
    return Reading(True, numbers, f"read as {write_equation(numbers)}")


def write_equation(coefficients: Mapping[str, float]) -> str:
    """Signed coefficients as an equation: {"A": -2, "B": 1} -> "2 A ⇌ B"."""

    def side(sign: int) -> str:
        terms = [(abs(c), n) for n, c in coefficients.items() if c * sign > 0]
        return " + ".join(n if c == 1 else f"{c:g} {n}" for c, n in terms) or "nothing"

    return f"{side(-1)} ⇌ {side(1)}"


def _from_list(value: Sequence[str], species: Sequence[str], reactants: int) -> dict[str, Fraction]:
    if len(value) != len(species):
        raise Unreadable(f"A list of {len(value)} numbers was given. Please give {len(species)}, "
                         f"one for each of {', '.join(species)}, or type the whole equation.")  # fmt: skip
    numbers = [_coefficient(number, name) for number, name in zip(value, species, strict=True)]
    return {n: -c if i < reactants else c for i, (n, c) in enumerate(zip(species, numbers, strict=True))}


def _coefficient(number: object, name: str, signed: bool = False) -> Fraction:
    if isinstance(number, str) and "/" in number:
        found = _COEFFICIENT.fullmatch(tidy(number))
        number = float(_fraction(found.group(1))) if found else number
    value = read_number(number, name=f"The coefficient of {name}").value
    if abs(value) > MAX_COEFFICIENT or (value < 0 and not signed):
        raise Unreadable(
            f"The coefficient of {name} reads as {value:g}. A number from 1 to {MAX_COEFFICIENT} is wanted."
        )
    return Fraction(value).limit_denominator(1000)


def _fraction(text: str) -> Fraction:
    try:
        return Fraction(text.replace(",", ".").replace(" ", ""))
    except ZeroDivisionError:
        raise Unreadable(f"The coefficient {quote(text)} divides by zero. Please check it.") from None


def _from_text(text: str, species: Sequence[str], reactants: int) -> dict[str, Fraction]:
    typed = _CHARGE.sub(r"^\1", _COUNTED.sub(lambda found: str(COUNTED.index(found[1].lower())), tidy(text)))
    if len(typed) > MAX_LENGTH:
        raise Unreadable(
            f"{quote(text)} is longer than an equation can be here. Please type only the equation."
        )
    numbers = re.split(r"\s*[,;:]\s*|\s+", typed.strip("[]() "))
    if all(_COEFFICIENT.fullmatch(n) for n in numbers):
        return _from_list(numbers, species, reactants)
    sides = _ARROW.split(typed)
    if len(sides) != 2:
        count = "no arrow" if len(sides) < 2 else "more than one arrow"
        raise Unreadable(
            f"{quote(text)} has {count}. Please type the equation with one arrow, such as A + B -> C."
        )
    found = {n: Fraction(0) for n in species}
    water = Fraction(0)
    for sign, side in ((-1, sides[0]), (1, sides[1])):
        for number, name, hydrated in _side(side.strip(), species):
            water += sign * number if hydrated else 0
            if found[name] * sign < 0:
                raise Unreadable(
                    f"{name} stands on both sides of {quote(text)}. Please write it once, with its number."
                )
            found[name] += sign * number  # NO2 + NO2 are two
    if "H2O(l)" in found:  # H3O+ typed where the list has H^+ brings a water with it
        found["H2O(l)"] += water
    return {n: c for n, c in found.items() if c}


def _side(side: str, species: Sequence[str]) -> list[Found]:
    """The terms of one side. The plus signs that separate are found by trying."""
    pieces = side.split("+")
    if len(pieces) > 40 or not side:
        raise Unreadable("One side of the equation is empty or very long. Please type it as A + B -> C.")
    terms = _divide(pieces, species)
    if terms is None:
        odd = next((p for p in re.split(r"\s\+\s", side) if _term(p, species) is None), side)
        _, name = _leading(odd.strip())
        raise stranger(quote(name), match_species(name, species)[1], species)
    return terms


def _divide(pieces: list[str], species: Sequence[str]) -> list[Found] | None:
    """Join neighbouring pieces so that every joint is a species of the list; None if that cannot be done."""
    best: dict[int, list[Found]] = {0: []}  # how many pieces are used -> the terms they make
    for end in range(1, len(pieces) + 1):
        for start in range(max(0, end - 5), end):
            if start in best and end not in best:
                term = _term("+".join(pieces[start:end]), species)
                if term is not None:
                    best[end] = [*best[start], term]
    return best.get(len(pieces))


def _leading(text: str) -> tuple[Fraction, str]:
    found = _COEFFICIENT.match(text)
    if found is None:
        return Fraction(1), text
    return _fraction(found.group(1)), text[found.end() :].strip()


def _term(text: str, species: Sequence[str]) -> Found | None:
    number, name = _leading(text.strip())
    if not name or number == 0:
        return None
    known, note = match_species(name, species)
    if known is None or note:
        return None
    return number, known, known == "H^+" and "H3O" in tidy(name)
