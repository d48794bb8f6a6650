"""What every figure shares: the labelled result, the sheet it is drawn on, and axes that draw fast.

Figures are drawn straight onto an Agg canvas: no window, no display, no pyplot state. Matplotlib spends
most of its time on tick objects, so the axes here draw their few ticks as one collection of lines and plain
texts; that is what keeps a figure under 40 ms and a slider smooth. Text is 14 points or more on a sheet
eight inches wide, for a projector.
"""

import base64
import html
import io
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np

from eqlib.notebook.alt_text import Table, number

DPI = 100
SMALL, TEXT, TITLE = 13, 15, 17
INK = "#1a1a1a"  # 17:1 on white
QUIET = "#595959"  # 7:1 on white
# Series differ in lightness, in line style and in marker, and are named beside the line. All reach 3:1 on
# white.
SERIES = (
    ("#000000", "-", "o"),
    ("#7a3e9d", (0, (7, 2)), "s"),
    ("#d1495b", (0, (1.5, 1.5)), "^"),
    ("#2f8f83", (0, (7, 2, 1.5, 2)), "D"),
    ("#12355b", (0, (3, 1, 1, 1, 1, 1)), "v"),
    ("#8a8a8a", (0, (12, 3)), "P"),
)


@dataclass(frozen=True)
class LabelledFigure:
    """A figure with its words: ``figure`` (matplotlib), ``alt``, ``alt_neutral`` and ``table``.

    In a notebook it shows as an image with ``alt`` and a data table that opens; ``neutral()`` gives the
    version for a question still open, with ``alt_neutral`` and no table.
    """

    figure: Any
    alt: str
    alt_neutral: str
    table: Table
    keeps_secret: bool = False

    def neutral(self):
        """The same picture whose words do not give an answer away."""
        return replace(self, keeps_secret=True)

    @cached_property
    def png(self):
        """The picture as PNG bytes, drawn once."""
        from PIL import Image

        canvas = self.figure.canvas
        canvas.draw()
        size = canvas.get_width_height()
        picture = Image.frombuffer("RGBA", size, canvas.buffer_rgba(), "raw", "RGBA", 0, 1).convert("RGB")
        stream = io.BytesIO()
        picture.save(stream, "png", compress_level=1)
        return stream.getvalue()

    def _repr_html_(self):
        words = html.escape(self.alt_neutral if self.keeps_secret else self.alt, quote=True)
        data = base64.b64encode(self.png).decode("ascii")
        image = f'<img alt="{words}" src="data:image/png;base64,{data}" style="max-width:100%;height:auto">'
        if self.keeps_secret:
            return f"<figure>{image}</figure>"
        return (
            f"<figure>{image}<details><summary>Data table</summary>{self.table.to_html()}</details></figure>"
        )

    def _repr_mimebundle_(self, include=None, exclude=None):
        return {"text/html": self._repr_html_(), "text/plain": repr(self)}

    def __repr__(self):
        return self.alt_neutral if self.keeps_secret else self.alt


def sheet(width=8.0, height=4.5):
    """An empty matplotlib Figure on an Agg canvas, white."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(width, height), dpi=DPI, facecolor="white")
    FigureCanvasAgg(figure)
    return figure


def bare_axes(figure, rect, xlim, ylim):
    """Axes that draw no frame and no ticks of their own; linear coordinates."""
    from matplotlib.ticker import NullLocator

    axes = figure.add_axes(rect, frameon=False)
    for axis in (axes.xaxis, axes.yaxis):
        axis.set_major_locator(NullLocator())
        axis.set_visible(False)
    axes.set_xlim(*xlim)
    axes.set_ylim(*ylim)
    return axes


@dataclass(frozen=True)
class Scale:
    """One axis of a plot: limits and ticks in the drawn coordinate (log10 of the value on a log axis)."""

    low: float
    high: float
    ticks: tuple[float, ...]
    labels: tuple[str, ...]
    log: bool = False

    def drawn(self, values):
        """Values -> the drawn coordinate; what a log axis cannot show is kept at its lower end."""
        values = np.asarray(values, dtype=float)
        if not self.log:
            return values
        return np.log10(np.maximum(values, 10.0**self.low))


def linear_scale(low, high, room=0.06, ticks=5):
    """A ``Scale`` from ``low`` to ``high`` with some room above, and about ``ticks`` round ticks."""
    from matplotlib.ticker import MaxNLocator

    if high <= low:
        low, high = low - 0.5 * (abs(low) or 1.0), high + 0.5 * (abs(high) or 1.0)
    high = high + room * (high - low)
    places = [t for t in MaxNLocator(ticks).tick_values(low, high) if low - 1e-9 <= t <= high + 1e-9]
    return Scale(low, high, tuple(places), tuple(f"{t:.10g}".replace("-", "−") for t in places))


def log_scale(low, high, most=7):
    """A ``Scale`` of whole decades that holds ``low`` and ``high`` (both above zero)."""
    first, last = int(np.floor(np.log10(low) + 1e-9)), int(np.ceil(np.log10(high) - 1e-9))
    last = max(last, first + 1)
    step = -(-(last - first) // most)
    places = tuple(float(p) for p in range(first, last + 1, step))
    return Scale(
        float(first), float(last), places, tuple(number(10.0**p, 1).replace("1 × ", "") for p in places), True
    )


def plot_area(figure, rect, x, y, xlabel, ylabel):
    """Axes with a left and bottom line, few ticks, faint grid and large labels; ``x`` and ``y`` are Scales."""
    from matplotlib.collections import LineCollection

    axes = bare_axes(figure, rect, (x.low, x.high), (y.low, y.high))
    axes.add_collection(
        LineCollection([[(x.low, t), (x.high, t)] for t in y.ticks], colors="#d0d0d0", linewidths=0.8)
    )
    frame = [[(x.low, y.low), (x.high, y.low)], [(x.low, y.low), (x.low, y.high)]]
    dx, dy = 0.012 * (x.high - x.low), 0.022 * (y.high - y.low)
    frame += [[(t, y.low), (t, y.low - dy)] for t in x.ticks] + [
        [(x.low, t), (x.low - dx, t)] for t in y.ticks
    ]
    axes.add_collection(LineCollection(frame, colors=INK, linewidths=1.2, clip_on=False))
    for place, label in zip(x.ticks, x.labels, strict=True):
        axes.text(place, y.low - 1.6 * dy, label, fontsize=SMALL, color=INK, ha="center", va="top")
    for place, label in zip(y.ticks, y.labels, strict=True):
        axes.text(x.low - 1.5 * dx, place, label, fontsize=SMALL, color=INK, ha="right", va="center")
    left, bottom, width, height = rect
    figure.text(left + width / 2, 0.015, xlabel, fontsize=TEXT, color=INK, ha="center", va="bottom")
    figure.text(
        0.012, bottom + height / 2, ylabel, fontsize=TEXT, color=INK, rotation=90, ha="left", va="center"
    )
    return axes


def heading(figure, text):
    """The line across the top that says what is drawn."""
    figure.text(0.5, 0.985, text, fontsize=TITLE, color=INK, ha="center", va="top")


def apart(places, gap, low, high):
    """Label positions near ``places`` but at least ``gap`` apart, inside ``low`` to ``high``, in the same
    order.
    """
    order = np.argsort(places, kind="stable")
    spots = np.array(places, dtype=float)[order]
    for i in range(1, len(spots)):
        spots[i] = max(spots[i], spots[i - 1] + gap)
    spots -= max(spots[-1] - high, 0.0) if len(spots) else 0.0
    for i in range(len(spots) - 2, -1, -1):
        spots[i] = min(spots[i], spots[i + 1] - gap)
    result = np.empty(len(spots))
    result[order] = np.maximum(spots, low)
    return result
