"""Tables of numbers, of which one may be unknown: ICE tables (rows initial, change, equilibrium).

A cell is a number in mol/L or a straight-line expression in x, such as "-x", "2x", "0.10 - x"; it is kept as
the pair (constant, multiple of x), so that every way of writing it compares equal.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

from eqlib.assess.reading.numbers import number_at, read_number
from eqlib.assess.reading.plain import Reading, Typed, Unreadable, plain, quote, tidy
from eqlib.assess.reading.species import match_species
from eqlib.assess.reading.units import parse_unit

_EMPTY = {"", "?", "—", "-", "--", "n/a", "empty"}
_UNIT = re.compile(r"\s*(mol/L|mol\s?L\^-1|mol/dm\^?3|m?M|mmol/L)(?![A-Za-z^])")
_LETTER = re.compile(r"\s*[*·]?\s*([xXyYsξ])(?![A-Za-z])")


@dataclass(frozen=True)
class Linear:
    """constant + multiple * x, in the unit of the table."""

    constant: float
    multiple: float = 0.0

    def __str__(self) -> str:
        if not self.multiple:
            return f"{self.constant!r}"
        size = abs(self.multiple)
        term = "x" if size == 1 else f"{size:g}x" if float(f"{size:g}") == size else f"{size!r}x"
        if not self.constant:
            return f"-{term}" if self.multiple < 0 else term
        return f"{self.constant!r} {'-' if self.multiple < 0 else '+'} {term}"


def read_table(
    raw: object,
    columns: Sequence[str],
    rows: Sequence[str] = ("initial", "change", "equilibrium"),
    unit: str = "mol/L",
    units: Mapping[str, str] | None = None,
) -> Reading:
    """Read a table, {row: {column: cell}}. The Reading's value has a number, "0.1 - 2x" or None in each.

    ``units``: columns in another unit than the table's. Errors: Unreadable, naming the cell.
    """
    value, units = plain(raw), units or {}
    table: dict[str, dict[str, float | str | None]] = {row: dict.fromkeys(columns) for row in rows}
    for row, cells in value.items() if isinstance(value, dict) else ():
        if row not in table:
            raise Unreadable(f"{quote(row, 20)} is not a row of this table, which has {', '.join(rows)}.")
        if not isinstance(cells, dict):
            raise Unreadable(
                f"Row {quote(row, 20)} does not hold cells. Please give one cell for each species."
            )
        for name, cell in cells.items():
            column = _column(name, columns)
            table[row][column] = _shown_cell(cell, row, column, units.get(column, unit))
    blank = sum(cell is None for row in table.values() for cell in row.values())
    if blank == len(columns) * len(rows):
        raise Unreadable(
            "The table is still empty. Please fill in its cells with numbers, or with x such as 0.10 - x."
        )
    notes = (f"{blank} cell{'s are' if blank > 1 else ' is'} still empty",) if blank else ()
    said = "; ".join(f"{row}: {', '.join(map(_said, cells.values()))}" for row, cells in table.items())
    return Reading(True, table, f"read as {said}", notes=notes)


def _said(cell: float | str | None) -> str:
    return "empty" if cell is None else cell if isinstance(cell, str) else f"{cell:g}"


def _column(name: str, columns: Sequence[str]) -> str:
    found = match_species(name, columns)[0]
    if found is None:
        raise Unreadable(f"{quote(name, 20)} is not a column of this table, which has {', '.join(columns)}.")
    return found


def _shown_cell(content: object, row: str, column: str, unit: str) -> float | str | None:
    try:
        cell = read_cell(content, unit)
    except Unreadable as problem:
        raise Unreadable(f"Row {row}, {column}: {problem}") from None
    if cell is None:
        return None
    return str(cell) if cell.multiple else cell.constant


def read_cell(raw: object, unit: str = "mol/L") -> Linear | None:
    """One cell as a Linear, or None if empty. Errors: Unreadable."""
    value = plain(raw)
    if isinstance(value, Typed):
        value = value.text
    if value is None or (isinstance(value, str) and tidy(value) in _EMPTY):
        return None
    if not isinstance(value, str) or not _LETTER.search(tidy(value)):
        return Linear(read_number(value, unit, "A cell").value)
    return _linear(re.sub(r"\bplus\b\s*", "+ ", re.sub(r"\bminus\b\s*", "- ", tidy(value))), value, unit)


def _linear(text: str, typed: str, unit: str) -> Linear:
    """Scan terms "sign number unit x / number" of a sum."""
    if len(text) > 100:
        raise Unreadable(f"{quote(typed)} is too long for one cell. Something like 0.10 - x would do.")
    outer = re.fullmatch(r"\(([^()]*)\)\s*(.*)", text)
    text = text if outer is None else f"{outer.group(1).strip()} {outer.group(2)}".strip()
    text = (
        _UNIT.sub("", text)
        if text.endswith(("M", "L", "L^-1")) and unit == "mol/L" and "mM" not in text
        else text
    )
    constant, multiple, i = Fraction(0), Fraction(0), 0
    letters: set[str] = set()
    while i < len(text):
        size, has_letter, end = _term(text, i, typed, unit, letters)
        if has_letter:
            multiple += size
        else:
            constant += size
        i = end
    if len(letters) > 1:
        raise Unreadable(f"{quote(typed)} has more than one unknown. Please use x alone, such as 0.10 - x.")
    return Linear(float(constant), float(multiple))


def _term(text: str, start: int, typed: str, unit: str, letters: set[str]) -> tuple[Fraction, bool, int]:
    i = _after_blanks(text, start)
    sign = text[i : i + 1] if text[i : i + 1] in ("+", "-") else ""
    if start and not sign:
        raise _not_linear(typed)
    i, size, seen = _after_blanks(text, i + len(sign)), Fraction(1), False
    if i < len(text) and (text[i].isdigit() or text[i] in ".,"):
        digits, length = number_at(text[i:], typed, "A cell")
        i, size, seen = i + length, digits.value, True
        given = _UNIT.match(text, i)
        if given:
            size *= parse_unit(given.group(1)).size / parse_unit(unit).size
            i = given.end()
    letter = _LETTER.match(text, i)
    if letter:
        letters.add(letter.group(1).lower())
        i = letter.end()
    elif not seen:
        raise _not_linear(typed)
    below = re.compile(r"\s*/\s*(\d{1,4})").match(text, i)
    if below:
        if int(below.group(1)) == 0:
            raise Unreadable(f"{quote(typed)} divides by zero. Please check it.")
        size, i = size / int(below.group(1)), below.end()
        late = _LETTER.match(text, i)
        if late and not letter:
            letters.add(late.group(1).lower())
            letter, i = late, late.end()
    return (-size if sign == "-" else size), bool(letter), _after_blanks(text, i)


def _after_blanks(text: str, i: int) -> int:
    return len(text) - len(text[i:].lstrip())


def _not_linear(typed: str) -> Unreadable:
    return Unreadable(
        f"{quote(typed)} could not be read as a cell. A number, or something like 0.10 - x or +2x, would do."
    )
