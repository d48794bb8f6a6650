"""Concentrations as bars, before, at once and after; told apart by hatching and by the number on each bar."""

import numpy as np

from eqlib.chem.errors import EqlibError
from eqlib.notebook.alt_text import Table, listed, number, said, shown, spoken
from eqlib.notebook.figures_base import (
    INK,
    SMALL,
    TEXT,
    LabelledFigure,
    heading,
    linear_scale,
    plot_area,
    sheet,
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
        return [name for name in state.concentrations]
    return [name for name in state.reactions[0].coefficients if name in state.concentrations]


def _draw(figure, names, values, labels):
    from matplotlib.patches import Rectangle

    top = float(values.max()) or 1.0
    x, y = linear_scale(-0.5, len(names) - 0.5, room=0.0), linear_scale(0.0, top, room=0.12)
    x = type(x)(x.low, x.high, tuple(range(len(names))), tuple(shown(name) for name in names))
    axes = plot_area(figure, (0.115, 0.15, 0.865, 0.63), x, y, "", "concentration / mmol L⁻¹")
    wide = 0.84 / len(labels)
    size = SMALL if len(names) * len(labels) <= 9 else SMALL - 3
    for j, label in enumerate(labels):
        fill, hatch = _FILLS[j]
        for i in range(len(names)):
            left, height = i - 0.42 + j * wide, float(values[j, i])
            axes.add_patch(
                Rectangle(
                    (left, 0.0), wide, height, facecolor=fill, edgecolor=INK, hatch=hatch, linewidth=1.4
                )
            )
            axes.text(
                left + wide / 2,
                height + 0.012 * y.high,
                _short(height),
                fontsize=size,
                color=INK,
                ha="center",
                va="bottom",
            )
        _key(figure, 0.16 + 0.27 * j, fill, hatch, label)


def _key(figure, left, fill, hatch, label):
    from matplotlib.patches import Rectangle

    patch = Rectangle((left, 0.845), 0.045, 0.055, facecolor=fill, edgecolor=INK, hatch=hatch, linewidth=1.4)
    patch.set_transform(figure.transFigure)
    figure.add_artist(patch)
    figure.text(left + 0.055, 0.872, label, fontsize=TEXT, color=INK, ha="left", va="center")


def _short(value):
    return (
        "0"
        if value == 0
        else "<0.001"
        if value < 1e-3
        else f"{value:.3g}"
        if value >= 0.01
        else f"{value:.1g}"
    )


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
