"""A question's form as HTML: a group for each part, one control for each thing to choose or to type.

Native controls in real groups, so that a keyboard and a screen reader know them. What is typed is kept as
typed, and is said back beside its field, where room is kept for it.
"""

from __future__ import annotations

from collections.abc import Mapping
from html import escape
from typing import Any

from eqlib.assess.asks import ASKS
from eqlib.assess.asks.base import Part, in_unicode
from eqlib.assess.mark import read_part
from eqlib.assess.question import Question, options_for
from eqlib.assess.reading.plain import Unreadable
from eqlib.assess.reading.tables import read_cell
from eqlib.notebook.output import KEYS
from eqlib.writing import with_figures

_PLACES = ("first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth")


def legend_of(part: Part) -> str:
    """The short name of a part, as it stands in its row."""
    return ASKS[part.ask].legend_of(part)


def form_html(question: Question, student: str | None, answer: Mapping[str, Any], key: str) -> str:
    """All parts of a question, with ``answer`` filled in; ``key`` makes names unique on the page."""
    return "".join(_group(part, question, student, answer.get(part.id), key) for part in question.parts)


def _group(part: Part, question: Question, student: str | None, value: Any, key: str) -> str:
    make = {"choice": _radios, "table": _table, "order": _order, "text": _words, "readings": _readings}.get(
        part.kind, _line
    )
    inner, name = make(part, question, student, value, f"{key}/{part.id}"), legend_of(part)
    if part.kind == "choice":
        wide = part.ask == "graph" or len(name) > 30
    else:
        wide = part.kind in ("table", "order", "readings") or len(part.label) > 16
    whole = (
        f'<span class="vh">: {escape(part.label)}</span>'
        if part.ask == "change" and name != part.label
        else ""
    )
    return (
        f"<fieldset{' class=wide' if wide else ''}><legend>{escape(name)}{whole}</legend>{inner}</fieldset>"
    )


def is_list(part: Part) -> bool:
    """Do its choices stand under each other, being whole sentences?"""
    return part.kind == "choice" and max(len(words) for _, words in part.options) > 34


def _radios(part: Part, question: Question, student: str | None, value: Any, name: str) -> str:
    chosen = read_part(part, value).value if value is not None else None
    options = options_for(part, question, student)
    made = "".join(
        f'<label><input type="radio" name="{escape(name)}" value="{escape(v)}" {KEYS}{" checked" if v == chosen else ""}>{escape(words)}</label>'
        for v, words in options
    )
    return f'<div class="picks{" list" if is_list(part) else ""}">{made}</div>'


def _line(part: Part, question: Question, student: str | None, value: Any, name: str) -> str:
    label = f"{part.label} ({part.unit})" if part.unit and part.unit not in part.label else part.label
    long = " class=long" if part.kind in ("equation", "expression") else ""
    unit = f"<span class=soft>{escape(part.unit)}</span>" if part.unit and part.unit not in part.label else ""
    return (
        f'<div class="picks"><input type="text"{long} name="{escape(name)}" value="{escape(_typed(value))}" aria-label="{escape(label)}" '
        f'aria-describedby="{escape(name)}-read" autocomplete="off" spellcheck="false" {KEYS}>{unit}'
        f'<span class="read" id="{escape(name)}-read" data-say="{escape(name)}">{escape(_help(part))}</span></div>'
    )


def _help(part: Part) -> str:
    return "" if part.kind == "number" else part.help


def _words(part: Part, question: Question, student: str | None, value: Any, name: str) -> str:
    return f'<textarea name="{escape(name)}" rows="5" cols="70" aria-label="{escape(part.label)}" {KEYS}>{escape(_typed(value))}</textarea>'


def _readings(part: Part, question: Question, student: str | None, value: Any, name: str) -> str:
    """A field as tall as its table, which begins with what there is to work with, and a file to open in its place."""
    shown = value if isinstance(value, str) else question.case(student).expected[part.id]
    rows = min(max(shown.count("\n") + 2, 6), 24)
    return (
        f'<textarea name="{escape(name)}" rows="{rows}" cols="60" aria-label="{escape(part.label)}" class="mono" {KEYS}>{escape(shown)}</textarea>'
        f'<label class="file" style="display:block;margin:4px 0">Open a CSV file <input type="file" accept=".csv,.txt,text/csv,text/plain" data-into="{escape(name)}" {KEYS}></label>'
        f"{_read(name)}"
    )


def _order(part: Part, question: Question, student: str | None, value: Any, name: str) -> str:
    options = options_for(part, question, student)
    chosen = value if isinstance(value, list) and len(value) == len(options) else [None] * len(options)
    made = ""
    for n, now in enumerate(chosen):
        items = "".join(
            f'<option value="{escape(v)}"{" selected" if v == now else ""}>{escape(words)}</option>'
            for v, words in options
        )
        made += f'<label>{_PLACES[n].capitalize()} <select name="{escape(name)}/{n}" {KEYS}><option value="">choose …</option>{items}</select></label>'
    return f'<div class="picks">{made}</div>{_read(name)}'


def _table(part: Part, question: Question, student: str | None, value: Any, name: str) -> str:
    value = value if isinstance(value, dict) else {}
    head = "".join(f'<th scope="col">{escape(in_unicode(c))}</th>' for c in part.columns)
    rows = ""
    for row in part.rows:
        cells = value.get(row) if isinstance(value.get(row), dict) else {}
        rows += f'<tr><th scope="row">{row.capitalize()}</th>'
        for column in part.columns:
            label = f"{row.capitalize()}, {in_unicode(column)}"
            rows += (
                f'<td><input type="text" name="{escape(name)}/{row}/{escape(column)}" value="{escape(_typed(cells.get(column)))}" '
                f'aria-label="{escape(label)}" autocomplete="off" spellcheck="false" {KEYS}>'
                f'<span class="read" data-say="{escape(name)}/{row}/{escape(column)}"></span></td>'
            )
        rows += "</tr>"
    unit = escape(part.unit or "mol/L")
    return (
        f'<table class="cells"><thead><tr><th scope="col">{unit}</th>{head}</tr></thead><tbody>{rows}</tbody></table>'
        f'<span class="soft">{escape(part.help)}</span>{_read(name)}'
    )


def _read(name: str) -> str:
    return f'<span class="read" data-say="{escape(name)}"></span>'


def _typed(value: Any) -> str:
    return "" if value is None else value if isinstance(value, str) else f"{value!r}"


# -- what came back --------------------


def raw_of(part: Part, values: dict[str, Any], key: str) -> Any:
    """What is filled in for a part, as plain data to be recorded; None when nothing is."""
    name = f"{key}/{part.id}"
    if part.kind == "order":
        chosen = [values.get(f"{name}/{n}") or None for n in range(len(part.options))]
        return chosen if all(chosen) else None
    if part.kind == "table":
        table: dict[str, dict[str, str]] = {row: {} for row in part.rows}
        for row in part.rows:
            for column in part.columns:
                cell = str(values.get(f"{name}/{row}/{column}") or "").strip()
                if cell:
                    table[row][column] = cell
        return table if any(table.values()) else None
    return str(values.get(name) or "").strip() or None


def readings(question: Question, values: dict[str, Any], key: str) -> dict[str, str]:
    """How each typed answer is read, by the name of its field; "" while it is empty."""
    said: dict[str, str] = {}
    for part in question.parts:
        name, raw = f"{key}/{part.id}", raw_of(part, values, key)
        if part.kind in ("choice", "text"):
            continue
        if part.kind == "table":
            said |= _cells(part, values, name)
            found = read_part(part, raw) if raw is not None else None
            said[name] = "" if found is None or found.ok else found.message
        else:
            said[name] = reading(part, raw) if raw is not None else _help(part)
    return said


def reading(part: Part, raw: Any) -> str:
    """One answer said back: "read as 156 L/mol, 3 significant figures"; or what would do instead."""
    found = read_part(part, raw)
    if not found.ok:
        return found.message
    shown = found.shown if found.shown.lower().startswith("read as") else f"read as {found.shown}"
    return "; ".join([shown, *(note for note in found.notes if note not in shown)])


def _cells(part: Part, values: Mapping[str, Any], name: str) -> dict[str, str]:
    """Each place of a table as it is read by itself; "?" where it cannot be."""
    said = {}
    for row in part.rows:
        for column in part.columns:
            field = f"{name}/{row}/{column}"
            try:
                cell = read_cell(str(values.get(field) or ""), part.unit or "mol/L")
            except Unreadable:
                said[field] = "?"
            else:
                shown = with_figures(cell.constant, 3) if cell is not None and not cell.multiple else cell
                said[field] = "" if shown is None else str(shown)
    return said
