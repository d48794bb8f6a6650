"""One control for one part of a question: it shows a label, takes an answer and gives it back as plain
data.

What is typed is kept as typed (its figures count), and what was read is said back while the person is still
there.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import ipywidgets as widgets

from eqlib.assess.kinds import ICE_ROWS, Part
from eqlib.assess.reading import read_part
from eqlib.notebook.style import text

_ORDINALS = ("first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth")
_WIDE = {"description_width": "initial"}


class Control:
    """The widget of one part. ``raw`` is what is filled in, or None; ``fill`` puts an earlier answer back."""

    def __init__(self, part: Part):
        self.part = part
        self.said = widgets.HTML()
        self.widget: widgets.Widget = widgets.VBox([*self.build(), self.said])

    def build(self) -> list[widgets.Widget]:
        """The widgets that take the answer."""
        raise NotImplementedError

    @property
    def raw(self) -> Any:
        """What is filled in, as plain data; None when nothing is."""
        raise NotImplementedError

    def fill(self, value) -> None:
        """Show an earlier answer, if it still fits; None empties the control."""
        raise NotImplementedError

    def reading(self):
        """The Reading of what is filled in."""
        return read_part(self.part, self.raw)

    def say_back(self, *_change) -> None:
        """Say how the answer is read; silent while it is empty."""
        if self.raw is None:
            self.said.value = ""
            return
        found = self.reading()
        notes = [note for note in found.notes if note not in found.shown]
        words = "; ".join((found.shown, *notes)) if found.ok else found.message
        self.said.value = f'<span role="status">{text(as_read(words) if found.ok else words)}</span>'

    def disable(self) -> None:
        """Leave the answer to be read, not changed."""
        for widget in self.widget.children[:-1]:
            _disable(widget)

    def watch(self, tell: Callable[[], None]) -> None:
        """Call ``tell`` whenever the answer is changed by hand."""
        for widget in self.widget.children[:-1]:
            _watch(widget, tell)


def _disable(widget) -> None:
    if isinstance(widget, widgets.Box):
        for child in widget.children:
            _disable(child)
    elif "disabled" in widget.trait_names():
        widget.disabled = True


def _watch(widget, tell) -> None:
    if isinstance(widget, widgets.Box):
        for child in widget.children:
            _watch(child, tell)
    elif "value" in widget.trait_names() and not isinstance(widget, widgets.HTML):
        widget.observe(lambda _change: tell(), names="value")


class Choice(Control):
    """Radio buttons."""

    def build(self):
        options = [(label, value) for value, label in self.part.options]
        self.buttons = widgets.RadioButtons(
            options=options, value=None, description=self.part.label, tooltip=self.part.label, style=_WIDE
        )
        return [self.buttons, *_help(self.part)]

    @property
    def raw(self):
        return self.buttons.value

    def fill(self, value):
        if value is None:
            self.buttons.value = None
            return
        found = read_part(self.part, value)
        if found.ok and found.value in [option for option, _ in self.part.options]:
            self.buttons.value = found.value

    def say_back(self, *_change):
        """A chosen button says enough by itself."""


class Line(Control):
    """One line of text: a number, an equation, an expression."""

    def build(self):
        unit = self.part.unit
        label = f"{self.part.label} ({unit})" if unit and unit not in self.part.label else self.part.label
        self.line = widgets.Text(description=label, tooltip=label, continuous_update=False, style=_WIDE)
        self.line.observe(self.say_back, names="value")
        return [self.line, *_help(self.part)]

    @property
    def raw(self):
        return self.line.value.strip() or None

    def fill(self, value):
        self.line.value = "" if value is None else value if isinstance(value, str) else f"{value!r}"


class Words(Control):
    """Several lines of text."""

    def build(self):
        self.box = widgets.Textarea(
            description=self.part.label, tooltip=self.part.label, continuous_update=False, style=_WIDE
        )
        return [self.box, *_help(self.part)]

    @property
    def raw(self):
        return self.box.value.strip() or None

    def fill(self, value):
        self.box.value = value if isinstance(value, str) else ""

    def say_back(self, *_change):
        """A person reads it; nothing to say back."""


class Order(Control):
    """One list per place."""

    def build(self):
        options = [("choose …", None), *((label, value) for value, label in self.part.options)]
        self.places = [
            widgets.Dropdown(
                options=options, value=None, description=f"{_ORDINALS[n].capitalize()}", style=_WIDE
            )
            for n in range(len(self.part.options))
        ]
        for place in self.places:
            place.observe(self.say_back, names="value")
        return [widgets.HTML(f"<strong>{text(self.part.label)}</strong>"), *self.places, *_help(self.part)]

    @property
    def raw(self):
        chosen = [place.value for place in self.places]
        return chosen if all(value is not None for value in chosen) else None

    def fill(self, value):
        if value is None:
            for place in self.places:
                place.value = None
            return
        known = [option for option, _ in self.part.options]
        if isinstance(value, list) and len(value) == len(self.places) and set(value) <= set(known):
            for place, item in zip(self.places, value, strict=True):
                place.value = item


class Grid(Control):
    """A table: one row for initial, change and equilibrium, one field for each substance."""

    def build(self):
        from eqlib.chem.species import species

        self.fields, rows = {}, []
        unit = f" ({self.part.unit})" if self.part.unit and self.part.unit not in self.part.label else ""
        for row in ICE_ROWS:
            cells = []
            for column in self.part.columns:
                label = f"{row.capitalize()} {species(column).unicode}"
                self.fields[row, column] = widgets.Text(
                    description=label,
                    tooltip=label,
                    continuous_update=False,
                    style=_WIDE,
                    layout={"width": "12em"},  # alike, so that the columns stand under each other
                )
                self.fields[row, column].observe(self.say_back, names="value")
                cells.append(self.fields[row, column])
            rows.append(widgets.HBox(cells, layout={"flex_flow": "row wrap"}))
        grid = widgets.VBox([widgets.HTML(f"<strong>{text(self.part.label + unit)}</strong>"), *rows])
        grid.add_class("eqlib-grid")
        return [grid, *_help(self.part)]

    @property
    def raw(self):
        table = {row: {} for row in ICE_ROWS}
        for (row, column), field in self.fields.items():
            if field.value.strip():
                table[row][column] = field.value.strip()
        return table if any(table.values()) else None

    def fill(self, value):
        value = value if isinstance(value, dict) else {}
        for (row, column), field in self.fields.items():
            cells = value.get(row)
            cell = cells.get(column) if isinstance(cells, dict) else None
            field.value = "" if cell is None else str(cell)


_KINDS = {
    "choice": Choice,
    "number": Line,
    "text": Words,
    "table": Grid,
    "order": Order,
    "equation": Line,
    "expression": Line,
}


def control_for(part: Part) -> Control:
    """The control that fits ``part``."""
    return _KINDS[part.kind](part)


def as_read(shown: str) -> str:
    """What was read, as a sentence that begins "Read as"."""
    return shown[:1].upper() + shown[1:] if shown.lower().startswith("read as") else f"Read as {shown}"


def _help(part: Part) -> list[widgets.Widget]:
    return [widgets.HTML(f"<span>{text(part.help)}</span>")] if part.help else []
