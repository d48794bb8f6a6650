"""A student's table of readings, typed or from a CSV file, read as it is meant and never silently repaired.

One line a tube, under headings. A heading names a thing and its unit, in any order and in the usual ways of
writing: ``Fe / mL``, ``V(SCN) (mL)``, ``c(Fe3+) [mM]``, ``A``, ``%T``, ``time/min``. The unit decides what a
column holds: mL is a volume of stock, mol/L or mmol/L a concentration as mixed. Commas, semicolons or tabs
separate; a decimal comma is read where the comma does not separate. What was understood is said back in
``notes``, what cannot be used is a ``Fault`` with its row and column.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from math import isfinite, log10
from typing import Any

from eqlib.errors import EqlibError
from eqlib.lab.practical.analysis import Tube

MOST_ROWS = 200
MOST_CHARACTERS = 100_000
# Volumes in one tube may miss the stated total by this share: the tolerance of a graduated pipette.
TOTAL_WITHIN = 0.01

_UNITS = {
    "ml": ("volume", 1.0), "cm3": ("volume", 1.0), "cm^3": ("volume", 1.0), "cm³": ("volume", 1.0),
    "µl": ("volume", 1e-3), "ul": ("volume", 1e-3), "μl": ("volume", 1e-3), "l": ("volume", 1e3),
    "mol/l": ("concentration", 1.0), "m": ("concentration", 1.0), "mol/dm3": ("concentration", 1.0),
    "mol/dm³": ("concentration", 1.0), "moll-1": ("concentration", 1.0), "mol.l-1": ("concentration", 1.0),
    "mol·l⁻¹": ("concentration", 1.0), "mmol/l": ("concentration", 1e-3), "mm": ("concentration", 1e-3),
    "µm": ("concentration", 1e-6), "um": ("concentration", 1e-6), "μm": ("concentration", 1e-6),
    "µmol/l": ("concentration", 1e-6), "umol/l": ("concentration", 1e-6),
    "min": ("time", 1.0), "s": ("time", 1 / 60), "sec": ("time", 1 / 60), "minutes": ("time", 1.0),
    "%": ("percent", 1.0),
}  # fmt: skip
_THINGS = (
    ("label", r"tube|no\.?|nr\.?|number|name|label|#"),
    ("role", r"set|kind|role|type|series"),
    ("percent", r"%\s*t|t\s*%|percent(age)?\s*(t|transmittance|transmission)|%\s*transmi\w*"),
    ("transmittance", r"t|transmittance|transmission"),
    ("blank", r"blank"),
    ("absorbance", r"a|abs\.?|absorbance|absorption|extinction|a\d?\s*\(?\d{3}\s*nm\)?|reading\s*\d*|a\d"),
    ("minutes", r"time|minutes|t/min"),
    ("total", r"total|sum|made up to|final( volume)?|v\s*tot(al)?"),
    ("water", r"water|h2o|acid|hno3|nitric acid"),
    ("metal", r"fe(\s*3\+|\^?3\+|³⁺|\(iii\))?|iron(\s*\(iii\))?|metal|m|fe\(no3\)3|iron nitrate"),
    ("ligand", r"scn(-|\^-|⁻)?|thiocyanate|ligand|l|kscn|potassium thiocyanate"),
)
_STANDARD = re.compile(r"^\s*(s|st|std|standards?|calibration|cal)\b", re.I)
_TEST = re.compile(r"^\s*(t|tests?|unknowns?|mixtures?|k)\b", re.I)
_REPEAT = re.compile(r"^\s*(again|repeat(ed)?|re-?read)\b", re.I)


@dataclass(frozen=True)
class Fault:
    """One thing to look at: ``kind`` a short name, ``where`` which tube or "", ``words`` one line with
    the mend.
    """

    kind: str
    where: str
    words: str

    def __str__(self) -> str:
        return f"{self.where}: {self.words}" if self.where else self.words


@dataclass(frozen=True)
class Readings:
    """``tubes`` that could be used, ``notes`` on how the table was understood, ``faults`` with row and
    column.
    """

    tubes: tuple[Tube, ...]
    notes: tuple[str, ...]
    faults: tuple[Fault, ...]


@dataclass(frozen=True)
class _Column:
    thing: str  # label, role, metal, ligand, water, total, absorbance, blank, minutes
    holds: str  # volume, concentration, time, text, absorbance, percent, transmittance
    factor: float
    heading: str


def read_readings(text: str | bytes, stocks: Mapping[str, Mapping[str, float]] | None = None) -> Readings:
    """Read a table. ``stocks`` maps "standard" and "test" to the strengths of their stocks,
    ``{"metal": mol/L, "ligand": mol/L}``; it is needed where the table gives volumes.
    Raises EqlibError, one line, when no table is there.
    """
    rows, comma = _rows(_decoded(text))
    columns = [_column(heading, i) for i, heading in enumerate(rows[0][1], start=1)]
    _needed(columns)
    notes = [f"{len(rows) - 1} lines under {len(columns)} headings", *_understood(columns, comma)]
    faults: list[Fault] = []
    tubes: list[Tube] = []
    taken: list[tuple[int, dict[str, Any]]] = []
    for line, row in rows[1:]:
        values = _values(row, columns, line, faults)
        if values:
            taken.append((line, values))
    role = None
    for line, values in taken:
        role = _role(values, role)
        tube = (
            _again(values, tubes, line, faults)
            if role == "repeat"
            else _tube(values, role, line, stocks or {}, faults)
        )
        if tube is not None:
            tubes.append(tube)
    if not tubes:
        raise EqlibError(
            f"no tube could be read; first reason: {faults[0]}"
            if faults
            else "the table has headings but no readings; fill in a line for each tube"
        )
    if any("blank" in v for _, v in taken):
        notes.append("the blank of each line was taken off its reading")
    return Readings(tuple(tubes), tuple(notes), tuple(faults))


def _understood(columns: Sequence[_Column], comma: bool) -> Iterator[str]:
    if comma:
        yield "a comma inside a number was read as the decimal sign"
    for c in columns:
        if c.holds in ("percent", "transmittance"):
            percent = "percent " * (c.holds == "percent")
            yield f"“{c.heading}” was read as {percent}transmittance and turned into absorbance"


def _decoded(text: str | bytes) -> str:
    if isinstance(text, bytes):
        text = _text(text)
    text = text.lstrip("\ufeff").replace("\xa0", " ").replace("\u2212", "-")
    if "\x00" in text or text.startswith("PK"):
        raise EqlibError(
            "this is not a text table; in the spreadsheet choose Save As, CSV, and give that file"
        )
    if len(text) > MOST_CHARACTERS:
        raise EqlibError(
            f"the table has more than {MOST_CHARACTERS} characters; give only the lines of the tubes"
        )
    return text


def _text(given: bytes) -> str:
    if given[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return given.decode("utf-16", errors="replace")
    try:
        return given.decode("utf-8-sig")
    except UnicodeDecodeError:
        return given.decode("cp1252", errors="replace")


def _rows(text: str) -> tuple[list[tuple[int, list[str]]], bool]:
    """The cells of each line that holds any, with its number in the file, headings first; and whether the
    comma is the decimal sign.
    """
    lines = [
        (number, line)
        for number, line in enumerate(text.splitlines(), start=1)
        if line.strip(" \t;,") and not line.lstrip().startswith("#")
    ]
    if lines and re.match(r"^sep=.$", lines[0][1].strip(), re.I):
        lines = lines[1:]
    if not lines:
        raise EqlibError("the table is empty; give a line of headings and a line for each tube")
    head = lines[0][1]
    sign = next((s for s in ("\t", ";", ",", "|") if s in head), None)
    if sign is None:
        raise EqlibError(
            f"“{head.strip():.40}” is no line of headings: separate the columns by commas, semicolons or tabs"
        )
    if len(lines) - 1 > MOST_ROWS:
        raise EqlibError(
            f"{len(lines) - 1} lines are more than {MOST_ROWS}; give only the lines of the tubes"
        )
    rows = [(number, _cells(line, sign, number)) for number, line in lines]
    width = len(rows[0][1])
    while width > 1 and not any(row[width - 1] for _, row in rows if len(row) >= width):
        width -= 1
    for number, row in rows:
        if any(row[width:]):
            hint = "; with a decimal comma, separate the columns by semicolons" if sign == "," else ""
            raise EqlibError(f"line {number} has {len(row)} cells under {width} headings{hint}")
    rows = [(number, (row + [""] * width)[:width]) for number, row in rows]
    comma = sign != "," and any(re.fullmatch(r"[-+]?\d+,\d+", c) for _, row in rows[1:] for c in row)
    return rows, comma


def _cells(line: str, sign: str, number: int) -> list[str]:
    """The cells of one line, so that a slip in it cannot swallow the lines after it."""
    if line.count('"') % 2:
        raise EqlibError(f"line {number}: a quotation mark is not closed; close it or take it away")
    cells = [cell.strip() for cell in next(csv.reader([line], delimiter=sign))]
    if len(cells) == 1 and any(line.count(other) > 1 for other in "\t;,|"):
        raise EqlibError(f"line {number} is not separated as the headings are; use one sign throughout")
    return cells


def _column(heading: str, number: int) -> _Column:
    text = heading.strip().strip('"').lower()
    if not text:
        raise EqlibError(f"column {number} has no heading; write what it holds and its unit, such as Fe / mL")
    named, unit = text, ""
    found = re.match(r"^(.*?)\s*[(\[]\s*([^()\[\]]+?)\s*[)\]]\s*$", text)
    if found and found[2].replace(" ", "") in _UNITS:
        named, unit = found[1], found[2]
    elif "/" in text and text.split("/", 1)[1].replace(" ", "") in _UNITS:
        named, unit = text.split("/", 1)
    elif " " in text and text.rsplit(" ", 1)[1] in _UNITS:
        named, unit = text.rsplit(" ", 1)
    elif "_" in text and text.rsplit("_", 1)[1] in _UNITS:
        named, unit = text.rsplit("_", 1)
    named = re.sub(
        r"^(v|vol\.?|volume|c|conc\.?|concentration|n)\s*(?:of\s+|[(\[_ ]\s*)(.+?)[)\]]?$",
        r"\2",
        named.strip(),
    )
    named = named.replace("_", " ").strip(" :[]")
    holds, factor = _UNITS.get(unit.replace(" ", ""), ("", 1.0))
    thing = next((name for name, pattern in _THINGS if re.fullmatch(pattern, named)), None)
    if thing is None:
        raise EqlibError(
            f"column {number} is headed “{heading:.30}”, which is not understood; write Fe, SCN, water, "
            f"total, A, %T, "
            "blank, time, tube or set, with a unit such as Fe / mL"
        )
    if thing == "transmittance" and holds == "time":
        thing = "minutes"
    if thing == "transmittance" and holds == "percent":
        thing = "percent"
    if thing in ("metal", "ligand", "water", "total") and holds not in ("volume", "concentration"):
        raise EqlibError(
            f"column {number}, “{heading:.30}”, has no unit; write it in the heading, such as "
            f"{heading:.20} / mL"
        )
    if thing in ("percent", "transmittance"):
        return _Column("absorbance", thing, 1.0, heading)
    if thing in ("absorbance", "blank"):
        return _Column(thing, "absorbance", 1.0, heading)
    if thing == "minutes":
        return _Column(thing, "time", factor, heading)
    return _Column(thing, holds or "text", factor, heading)


def _needed(columns: Sequence[_Column]) -> None:
    things = [c.thing for c in columns]
    for thing in ("metal", "ligand"):
        if thing not in things:
            name = {"metal": "Fe", "ligand": "SCN"}[thing]
            raise EqlibError(
                f"no column gives the {name} of each tube; add one headed {name} / mL or {name} / mM"
            )
    if "absorbance" not in things:
        raise EqlibError("no column gives the reading of each tube; add one headed A or %T")
    for thing in set(things) - {"absorbance"}:
        if things.count(thing) > 1:
            twice = [c.heading for c in columns if c.thing == thing]
            raise EqlibError(f"“{twice[0]}” and “{twice[1]}” are two columns for the same thing; keep one")


def _values(
    row: Sequence[str], columns: Sequence[_Column], line: int, faults: list[Fault]
) -> dict[str, Any] | None:
    """What one line says, readings averaged; None for a line left out, with a fault where that is not
    intended.
    """
    values: dict[str, Any] = {}
    readings: list[float] = []
    for cell, column in zip(row, columns, strict=True):
        if not cell:
            continue
        if column.holds == "text":
            values[column.thing] = cell
            continue
        number = _number(cell)
        where = f"line {line}, column {column.heading}"
        if number is None:
            words = f"“{cell:.20}” is not a number; leave the cell empty for a tube that was not read"
            faults.append(Fault("unreadable", where, words))
            return None
        if column.thing == "absorbance":
            found = _absorbance(number, column, where, faults)
            if found is None:
                return None
            readings.append(found)
        else:
            values[column.thing] = number * column.factor
            values[f"{column.thing} is"] = column.holds
    if not readings:
        if {"metal", "ligand"} <= set(values):
            faults.append(Fault("empty", f"line {line}", "no reading is given, so this tube is left out"))
        return None
    if max(readings) - min(readings) > 0.05:
        words = f"its readings run from {min(readings):.3f} to {max(readings):.3f}: read this tube again"
        faults.append(Fault("repeats", f"line {line}", words))
    values["absorbance"] = sum(readings) / len(readings)
    return values


def _absorbance(number: float, column: _Column, where: str, faults: list[Fault]) -> float | None:
    if column.holds == "absorbance":
        return number
    whole = 100.0 if column.holds == "percent" else 1.0
    if not 0 < number <= 1.1 * whole:
        kind = "percent transmittance" if whole > 1 else "transmittance"
        words = f"{number:g} is no {kind}: it lies between 0 and {whole:g}"
        faults.append(Fault("transmittance", where, words))
        return None
    return -log10(min(number / whole, 1.0)) + 0.0  # 0.0, not -0.0, where all of the light comes through


def _number(cell: str) -> float | None:
    text = re.sub(r"[×x·*]10\^", "e", cell.replace(" ", ""))
    if text.count(",") == 1 and "." not in text:
        text = text.replace(",", ".")
    try:
        value = float(text)
    except ValueError:
        return None
    return value if isfinite(value) else None


def _role(values: Mapping[str, Any], before: str | None) -> str:
    for text in (values.get("role", ""), values.get("label", "")):
        if _REPEAT.match(text):
            return "repeat"
        if _STANDARD.match(text) or re.match(r"^s\d", text, re.I):
            return "standard"
        if _TEST.match(text) or re.match(r"^[tk]\d", text, re.I):
            return "test"
    return "test" if before in (None, "repeat") else before


def _again(values: Mapping[str, Any], tubes: Sequence[Tube], line: int, faults: list[Fault]) -> Tube | None:
    """A tube read once more: what is in it stands in its first line."""
    label = re.sub(r"^(again|repeat(ed)?|re-?read)\s*(of\s+)?", "", values.get("label", ""), flags=re.I)
    for tube in tubes:
        if tube.label == label:
            reading = values["absorbance"] - values.get("blank", 0.0)
            return replace(tube, absorbance=reading, role="repeat", minutes=values.get("minutes"))
    words = f"“{label}” is read again but was not read before; give it the label of its first line"
    faults.append(Fault("repeats", f"line {line}", words))
    return None


def _tube(
    values: Mapping[str, Any],
    role: str,
    line: int,
    stocks: Mapping[str, Mapping[str, float]],
    faults: list[Fault],
) -> Tube | None:
    where = values.get("label") or f"line {line}"
    amounts = {}
    total = values.get("total")
    volumes = [values[t] for t in ("metal", "ligand", "water") if values.get(f"{t} is") == "volume"]
    if total is None and "water" in values:
        total = sum(volumes)
    elif total is not None and "water" in values and abs(sum(volumes) / total - 1) > TOTAL_WITHIN:
        words = f"the volumes add up to {sum(volumes):g} mL, not to {total:g} mL: check them"
        faults.append(Fault("total", where, words))
    for thing in ("metal", "ligand"):
        if thing not in values:
            words = "a volume or concentration is missing, so this tube is left out"
            faults.append(Fault("empty", f"line {line}", words))
            return None
        amount = values[thing]
        if amount < 0:
            faults.append(Fault("negative", where, f"{amount:g} is below zero; check the {thing} column"))
            return None
        if values[f"{thing} is"] == "volume":
            strength = stocks.get(role, {}).get(thing)
            amount = _diluted(amount, strength, total, f"{thing} stock of the {role}s")
        amounts[thing] = amount
    if total and sum(volumes) > total * (1 + TOTAL_WITHIN):
        faults.append(
            Fault("total", where, f"{sum(volumes):g} mL do not fit into {total:g} mL: check the volumes")
        )
    reading = values["absorbance"] - values.get("blank", 0.0)
    return Tube(amounts["metal"], amounts["ligand"], reading, role, where, values.get("minutes"))


def _diluted(amount: float, strength: float | None, total: float | None, stock: str) -> float:
    """mol/L that ``amount`` mL of a stock bring into a tube of ``total`` mL."""
    if strength is None:
        raise EqlibError(
            f"the table gives volumes, so the strength of the {stock} is needed; state it beside the table"
        )
    if not total:
        raise EqlibError(
            "the table gives volumes but neither the water nor the total; add a column water / mL or "
            "total / mL"
        )
    return strength * amount / total
