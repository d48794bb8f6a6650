"""Wells of a plate (seen from above) or cuvettes (seen from the side), each labelled in words and with a
number.

Colour is an extra here: the label, the absorbance and the words under each vessel carry the meaning, a
dotted pattern marks a precipitate, and the bar beside a cuvette shows how deep it is filled.
"""

import textwrap

from eqlib.errors import EqlibError
from eqlib.lab.colour import Colour, colour_of, path_length
from eqlib.notebook.alt_text import Table, listed, number, said
from eqlib.notebook.figures_base import INK, QUIET, SMALL, TEXT, LabelledFigure, heading, sheet, whole_sheet

STAGES = ("before", "at once", "after")
_WIDTH = 8.0
_MOST = 6


def wells(change, path_cm=1.0, view="side", light="daylight", area_cm2=None, labels=None, title=""):
    """Vessels side by side: a Disturbance (before, at once, after), or a sequence of States or Colours.

    ``view`` "side" draws cuvettes looked through ``path_cm``; "above" draws wells of one area, that in
    which the first state stands ``path_cm`` deep unless ``area_cm2`` is given. ``labels`` name the vessels.
    """
    states, labels = stages(change, labels)
    if not 1 <= len(states) <= _MOST:
        raise EqlibError(f"{len(states)} vessels do not fit on a figure; give 1 to {_MOST}")
    if view == "above" and area_cm2 is None and not isinstance(states[0], Colour):
        area_cm2 = 1000.0 * states[0].volume / path_length(states[0], path_cm)
    colours = [s if isinstance(s, Colour) else colour_of(s, path_cm, view, light, area_cm2) for s in states]
    nm = max(colours, key=lambda colour: colour.absorbance).peak_nm
    readings = [_reading(state, nm, colour) for state, colour in zip(states, colours, strict=True)]
    figure = sheet(_WIDTH, 3.6)
    page = whole_sheet(figure)
    step = _WIDTH / len(colours)
    for i, (label, colour, reading) in enumerate(zip(labels, colours, readings, strict=True)):
        _vessel(page, (i + 0.5) * step, min(step, 2.6), view, colour, label)
        _caption(page, (i + 0.5) * step, step, colour, reading, nm)
    where = "above" if view == "above" else "the side"
    heading(figure, title or f"Seen from {where}" + ("" if step >= 2.0 else f", absorbance at {nm:.0f} nm"))
    return LabelledFigure(figure, *_words(labels, colours, readings, nm, view))


def stages(change, labels=None):
    """The states of a change and their labels; a single State or Colour counts as one."""
    if hasattr(change, "before") and hasattr(change, "after"):
        states = [change.before, change.at_once, change.after]
        return states, tuple(labels or STAGES)
    states = list(change) if isinstance(change, list | tuple) else [change]
    named = tuple(labels or (STAGES if len(states) == 3 else STAGES[::2] if len(states) == 2 else ()))
    return states, (*named, *(f"vessel {i + 1}" for i in range(len(named), len(states))))


def _reading(state, nm, colour):
    if isinstance(state, Colour):
        return colour.absorbance
    from eqlib.lab.colour import absorbance

    return absorbance(state, nm, colour.path_cm)


def _vessel(page, middle, room, view, colour, label):
    from matplotlib.patches import Circle, Rectangle

    page.text(middle, 3.12, label, TEXT, ha="center", va="top", weight="bold")
    if view == "above":
        page.add(Circle((middle, 1.93), 0.345 * room, facecolor="white", edgecolor=INK, linewidth=1.2))
        fill = Circle((middle, 1.93), 0.305 * room, facecolor=colour.hex, edgecolor=INK, linewidth=2.2)
    else:
        wide = 0.5 * room
        page.add(
            Rectangle((middle - wide / 2, 1.15), wide, 1.6, facecolor="white", edgecolor=INK, linewidth=1.2)
        )
        fill = Rectangle(
            (middle - wide / 2, 1.15), wide, 1.3, facecolor=colour.hex, edgecolor=INK, linewidth=2.2
        )
    fill.set_hatch(".." if colour.cloud.words else None)
    page.add(fill)


def _caption(page, middle, step, colour, reading, nm):
    roomy = step >= 2.0
    size = SMALL if roomy else SMALL - 2
    number_line = f"A {reading:.2f} at {nm:.0f} nm" if roomy else f"A {reading:.2f}"
    page.text(middle, 0.98, number_line, size, ha="center", va="top")
    for i, line in enumerate(textwrap.wrap(colour.words, int((9.0 if roomy else 10.0) * step))[:2]):
        page.text(middle, 0.69 - 0.29 * i, line, size, QUIET, ha="center", va="top")


def _words(labels, colours, readings, nm, view):
    where = "above" if view == "above" else "the side"
    described = "; ".join(
        f"{label}: {colour.words}, absorbance {said(reading)} at {nm:.0f} nm"
        for label, colour, reading in zip(labels, colours, readings, strict=True)
    )
    count = {1: "One vessel", 2: "Two vessels", 3: "Three vessels"}.get(len(labels), f"{len(labels)} vessels")
    neutral = (
        f"{count} seen from {where}, labelled {listed(labels)}; under each stand its absorbance and "
        "its colour in words."
    )
    table = Table(
        f"Colours seen from {where}",
        (
            "vessel",
            "colour in words",
            f"absorbance at {nm:.0f} nm",
            "lightness L*",
            "path / cm",
            "precipitate",
        ),
        tuple(
            (
                label,
                c.words,
                f"{reading:.3g}",
                f"{c.lightness:.1f}",
                number(c.path_cm),
                ", ".join(c.cloud.solids) or "none",
            )
            for label, c, reading in zip(labels, colours, readings, strict=True)
        ),
    )
    return f"Seen from {where}, {described}.", neutral, table
