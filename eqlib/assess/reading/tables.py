"""ICE tables (rows initial, change, equilibrium) and orders.

A cell is a number in mol/L or a straight-line expression in x, such as "-x", "2x", "0.10 - x"; it is kept as
the pair (constant, multiple of x), so that every way of writing it compares equal.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

from eqlib.assess.reading.numbers import number_at, read_number
from eqlib.assess.reading.plain import Reading, Typed, Unreadable, plain, quote, tidy
from eqlib.assess.reading.species import match_species
from eqlib.assess.reading.units import parse_unit
from eqlib.assess.reading.words import Pair, read_choice

_ROW_NAMES = {
    "initial": {"i", "initial", "start", "initially", "before", "beginning", "mixed"},
    "change": {"c", "change", "changes", "delta", "δ", "shift"},
    "equilibrium": {"e", "equilibrium", "eq", "atequilibrium", "end", "final", "after"},
}
_EMPTY = {"", "?", "—", "-", "--", "n/a", "empty"}
_SIGN_WORDS = ((re.compile(r"\bminus\b\s*"), "- "), (re.compile(r"\bplus\b\s*"), "+ "))
_UNIT = re.compile(r"\s*(mol/L|mol\s?L\^-1|mol/dm\^?3|m?M|mmol/L)(?![A-Za-z^])")
_LETTER = re.compile(r"\s*[*·]?\s*([xXyYsξ])(?![A-Za-z])")


@dataclass(frozen=True)
class Linear:
    """constant + multiple * x, in the unit of the table."""

    constant: float
    multiple: float = 0.0

    def at(self, x: float) -> float:
        """The value for this x."""
        return self.constant + self.multiple * x

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
    """Read a table. The Reading's value is {row: {column: number, "0.1 - 2x" or None}}; None is an empty
    cell.

    ``units``: columns in another unit than the table's.

    ``raw``: {row: {column: cell}}, {row: [cells]}, a list of rows, or {"row:column": cell}; rows may be named
    I, C, E. Errors: Unreadable, naming the cell.
    """
    value, columns = plain(raw), list(columns)
    if isinstance(value, list):
        if len(value) != len(rows):
            raise Unreadable(f"The table has {len(value)} rows; {len(rows)} are wanted: {', '.join(rows)}.")
        value = dict(zip(rows, value, strict=True))
    if not isinstance(value, dict):
        raise Unreadable(
            "The table is still empty. Please fill in its cells with numbers, or with x such as 0.10 - x."
        )
    cells = _cells(value, columns, rows)
    units = units or {}
    table = {r: {c: _shown_cell(cells.get((r, c)), r, c, units.get(c, unit)) for c in columns} for r in rows}
    blank = sum(cell is None for row in table.values() for cell in row.values())
    if blank == len(columns) * len(rows):
        raise Unreadable(
            "The table is still empty. Please fill in its cells with numbers, or with x such as 0.10 - x."
        )
    notes = (f"{blank} cell{'s are' if blank > 1 else ' is'} still empty",) if blank else ()
    said = "; ".join(
        f"{r}: "
        + ", ".join(
            "empty" if c is None else c if isinstance(c, str) else f"{c:g}" for c in table[r].values()
        )
        for r in rows
    )
    return Reading(True, table, f"read as {said}", notes=notes)


def _cells(
    value: Mapping[str, object], columns: Sequence[str], rows: Sequence[str]
) -> dict[tuple[str, str], object]:
    out = {}
    for name, content in value.items():
        row, _, column = name.partition(":") if ":" in name else name.partition(".")
        if column:
            out[_row(row, rows), _column(column, columns)] = content
        elif isinstance(content, dict):
            row = _row(name, rows)
            out.update({(row, _column(c, columns)): cell for c, cell in content.items()})
        elif isinstance(content, list):
            if len(content) != len(columns):
                raise Unreadable(f"Row {name[:20]} has {len(content)} cells; {len(columns)} are wanted, "
                                 f"for {', '.join(columns)}.")  # fmt: skip
            row = _row(name, rows)
            out.update({(row, c): cell for c, cell in zip(columns, content, strict=True)})
        elif content is not None:
            raise Unreadable(
                f"Row {quote(name, 20)} does not hold cells. Please give one cell for each species."
            )
    return out


def _row(name: str, rows: Sequence[str]) -> str:
    word = re.sub(r"[\s_\[\]]", "", tidy(name)).casefold()
    found = [r for r in rows if word == r.casefold() or word in _ROW_NAMES.get(r, ())]
    if not found:
        raise Unreadable(f"{quote(name, 20)} is not a row of this table, which has {', '.join(rows)}.")
    return found[0]


def _column(name: str, columns: Sequence[str]) -> str:
    found = name if name in columns else match_species(name, columns)[0]
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
    if not isinstance(value, str):
        return Linear(read_number(value, unit, "A cell").value)
    if not _LETTER.search(tidy(value)):
        return Linear(read_number(value, unit, "A cell").value)
    typed = tidy(value)
    for word, sign in _SIGN_WORDS:
        typed = word.sub(sign, typed)
    return _linear(typed, value, unit)


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


def read_order(raw: object, items: Iterable[str | Pair]) -> Reading:
    """Read an order of ``items`` ((value, label) pairs or plain values). The Reading's value is the list of
    values.

    ``raw``: a list, or text such as "b, a, c" or "b > a > c". Errors: Unreadable.
    """
    pairs = [(o, o) if isinstance(o, str) else (str(o[0]), str(o[1])) for o in items]
    value = plain(raw)
    places: Sequence[object] = value if isinstance(value, list) else ()
    if isinstance(value, str):
        if "<" in tidy(value) and not any("<" in label for _, label in pairs):
            raise Unreadable(
                f"{quote(value)} can be read from either end. Please type them first to last, with commas."
            )
        places = _pieces(value, pairs)
    if not places:
        raise Unreadable(
            f"The order is still empty. Please put these in order: {', '.join(v for v, _ in pairs)}."
        )
    chosen = [read_choice(v, pairs, "One of the places").value for v in places]
    twice = next((v for v in chosen if chosen.count(v) > 1), None)
    if twice is not None:
        raise Unreadable(f"{quote(twice)} stands in more than one place. Please use each of them once.")
    left = [label for v, label in pairs if v not in chosen]
    if left:
        raise Unreadable(f"Not yet in the order: {', '.join(left)[:120]}. Please give each of them a place.")
    return Reading(True, chosen, f"read as {', '.join(dict(pairs)[v] for v in chosen)}")


def _pieces(text: str, pairs: list[Pair]) -> list[str]:
    """The items of a typed order; separators that stand inside a label are left alone."""
    typed = tidy(text)
    for separator in (r"\s*;\s*", r"\s*→\s*|\s*-+>\s*", r"\s*[<>]\s*", r"\s*,\s*", r"\s*\bthen\b\s*", r"\s+"):
        pieces = [p for p in re.split(separator, typed.strip(" []()")) if p]
        if len(pieces) == len(pairs):
            return pieces
    if len(typed) == len(pairs) and all(c in dict(pairs) for c in typed):
        return list(typed)
    return [p for p in re.split(r"\s*[,;<>→]\s*", typed) if p][:200]
