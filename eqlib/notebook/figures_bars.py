"""Concentrations as bars, before, at once and after; told apart by hatching and by the number on each bar."""

import numpy as np

from eqlib.errors import EqlibError
from eqlib.notebook.alt_text import Table, listed, number, said, shown, spoken
from eqlib.notebook.figures_base import (
    INK,
    SMALL,
    TEXT,
    LabelledFigure,
    Scale,
    heading,
    linear_scale,
    plot_area,
    sheet,
    whole_sheet,
)
from eqlib.notebook.figures_wells import stages

# Fill and hatch of the first, second and third bar of a group: white, grey and dark, plain, striped and
# crossed.
_FILLS = (("#ffffff", ""), ("#b9c7d6", "///"), ("#3a4a5e", "xx"), ("#d9d9d9", ".."))
_MOST_SPECIES = 6


def concentration_bars(change, species=None, labels=None, title="Concentrations"):
    """Bars of concentration in mmol/L for a Disturbance, or a sequence of States.

    ``species``: which to draw, at most six; unless given, those of the first reaction that are solutes or
    gases.
    """
    states, labels = stages(change, labels)
    if len(states) > len(_FILLS):
        raise EqlibError(f"{len(states)} states are too many for bars; give at most {len(_FILLS)}")
    names = list(species or _of_first_reaction(states[0]))[:_MOST_SPECIES]
    values = np.array([[1000.0 * state[name] for name in names] for state in states])
    figure = sheet()
    _draw(figure, names, values, labels)
    heading(figure, title)
    return LabelledFigure(figure, *_words(names, values, labels))


def _of_first_reaction(state):
    if not state.reactions:
        return list(state.concentrations)
    return [name for name in state.reactions[0].coefficients if name in state.concentrations]


def _draw(figure, names, values, labels):
    from matplotlib.patches import Rectangle

    x = Scale(-0.5, len(names) - 0.5, tuple(range(len(names))), tuple(shown(name) for name in names))
    y = linear_scale(0.0, float(values.max()) or 1.0, room=0.12)
    plot = plot_area(figure, (0.115, 0.12, 0.865, 0.66), x, y, "", "concentration / mmol L⁻¹")
    wide = 0.84 / len(labels)
    size = SMALL - 1 if len(names) * len(labels) <= 9 else SMALL - 3
    for j, label in enumerate(labels):
        fill, hatch = _FILLS[j]
        style = {"facecolor": fill, "edgecolor": INK, "hatch": hatch, "linewidth": 1.4}
        for i, height in enumerate(values[j].tolist()):
            left = i - 0.42 + j * wide
            plot.add(Rectangle((left, 0.0), wide, height, **style))
            plot.text(
                left + wide / 2, height + 0.012 * y.high, _short(height), size, ha="center", va="bottom"
            )
        page = whole_sheet(figure)
        page.add(Rectangle((1.3 + 2.15 * j, 3.8), 0.36, 0.25, **style))
        page.text(1.74 + 2.15 * j, 3.925, label, TEXT)


def _short(value):
    """A number short enough to stand on a bar."""
    if value == 0:
        return "0"
    if value < 1e-3:
        return "<0.001"
    return f"{value:.0f}" if value >= 100 else f"{value:.3g}" if value >= 0.01 else f"{value:.1g}"


def _words(names, values, labels):
    parts = [
        f"{spoken(name)} " + listed(f"{said(float(values[j, i]))} {label}" for j, label in enumerate(labels))
        for i, name in enumerate(names)
    ]
    alt = "Concentrations in millimoles per litre: " + "; ".join(parts) + "."
    neutral = (
        f"Bar chart of the concentrations of {listed(spoken(name) for name in names)}, "
        f"with a bar for each of {listed(labels)}; the number stands on each bar."
    )
    rows = tuple((shown(name), *(number(float(v)) for v in values[:, i])) for i, name in enumerate(names))
    return alt, neutral, Table("Concentrations / mmol L⁻¹", ("species", *labels), rows)
