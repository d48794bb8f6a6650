"""What every figure shares: the labelled result, the sheet it is drawn on, and a plot area that draws fast.

Figures are drawn straight onto an Agg canvas: no window, no display, no pyplot state. Most of the time of
an ordinary matplotlib figure goes into making axes with their ticks, and into setting type. Here a plot
area is a transform with a few lines and texts on it, and texts are stamped (``figures_text``); that is what
keeps a figure under 40 ms and a slider smooth. Type is 13 points or more on a sheet eight inches wide, for
a projector.
"""

import base64
import html
import struct
import zlib
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np

from eqlib.notebook.alt_text import Table, number

DPI = 100
SMALL, TEXT, TITLE = 13, 15, 17
INK = "#1a1a1a"  # 17:1 on white
QUIET = "#595959"  # 7:1 on white
# Series differ in line style, in marker and, neighbour from neighbour, in lightness, and in marker, and are
# named beside the line. All reach 3:1 on white, and 4.5:1 where the name is written in the colour of the
# line.
SERIES = (
    ("#000000", "-", "o"),
    ("#c8434f", (0, (7, 2)), "s"),
    ("#12355b", (0, (1.5, 1.5)), "^"),
    ("#1f7a70", (0, (7, 2, 1.5, 2)), "D"),
    ("#5b2a86", (0, (3, 1, 1, 1, 1, 1)), "v"),
    ("#757575", (0, (12, 3)), "P"),
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
        canvas = self.figure.canvas
        canvas.draw()
        return png_bytes(np.asarray(canvas.buffer_rgba())[:, :, :3])

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


def png_bytes(rgb):
    """An array of red, green, blue bytes (height, width, 3) as a PNG file (ISO/IEC 15948).

    Written out, because an encoder that tries every row filter takes twice as long and gains nothing on a
    drawing.
    """
    high, wide, _ = rgb.shape
    rows = np.zeros((high, 1 + 3 * wide), dtype=np.uint8)  # each row starts with its filter: 0, none
    rows[:, 1:] = rgb.reshape(high, 3 * wide)

    def chunk(kind, data):
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    head = struct.pack(">IIBBBBB", wide, high, 8, 2, 0, 0, 0)
    body = chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(rows.tobytes(), 1)) + chunk(b"IEND", b"")
    return b"\x89PNG\r\n\x1a\n" + body


def sheet(width=8.0, height=4.5):
    """An empty matplotlib Figure on an Agg canvas, white."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(width, height), dpi=DPI, facecolor="white")
    FigureCanvasAgg(figure)
    return figure


@dataclass(frozen=True)
class Scale:
    """One axis of a plot: limits and ticks in the drawn coordinate (log10 of the value on a log axis)."""

    low: float
    high: float
    ticks: tuple[float, ...] = ()
    labels: tuple[str, ...] = ()
    log: bool = False

    @property
    def span(self):
        """How long the axis is, in its drawn coordinate."""
        return self.high - self.low

    def drawn(self, values):
        """Values -> the drawn coordinate; what a log axis cannot show is kept at its lower end."""
        values = np.asarray(values, dtype=float)
        if not self.log:
            return values
        return np.log10(np.maximum(values, 10.0**self.low))


def linear_scale(low, high, room=0.06, ticks=5):
    """A ``Scale`` from ``low`` to ``high`` with some room above, and about ``ticks`` round ticks."""
    if high <= low:
        low, high = low - 0.5 * (abs(low) or 1.0), high + 0.5 * (abs(high) or 1.0)
    high = high + room * (high - low)
    step = _round_step((high - low) / ticks)
    first, last = int(np.ceil(low / step - 1e-9)), int(np.floor(high / step + 1e-9))
    places = tuple(i * step for i in range(first, last + 1))
    return Scale(low, high, places, tuple(f"{place:.6g}".replace("-", "−") for place in places))


def _round_step(rough):
    """1, 2 or 5 times a power of ten, the nearest above ``rough`` or a little under it."""
    power = 10.0 ** np.floor(np.log10(rough))
    return float(next(m for m in (1.0, 2.0, 5.0, 10.0) if m * power >= 0.85 * rough) * power)


def log_scale(low, high, most=7):
    """A ``Scale`` of whole decades that holds ``low`` and ``high`` (both above zero)."""
    first, last = int(np.floor(np.log10(low) + 1e-9)), int(np.ceil(np.log10(high) - 1e-9))
    last = max(last, first + 1)
    step = -(-(last - first) // most)
    places = tuple(float(p) for p in range(first, last + 1, step))
    labels = tuple(number(10.0**p, 1).replace("1 × ", "") for p in places)
    return Scale(float(first), float(last), places, labels, True)


class Plot:
    """A rectangle of a figure with its own coordinates: ``rect`` (left, bottom, width, height as shares of
    the figure) shows ``x`` and ``y``, both Scales. What is added is not clipped.
    """

    def __init__(self, figure, rect, x, y):
        from matplotlib.transforms import Bbox, BboxTransform

        self.figure, self.x, self.y = figure, x, y
        limits = Bbox.from_extents(x.low, y.low, x.high, y.high)
        self.transform = BboxTransform(limits, Bbox.from_bounds(*rect)) + figure.transFigure

    def add(self, artist):
        """Put an artist in, in the plot's coordinates."""
        artist.set_transform(self.transform)
        self.figure.add_artist(artist)
        return artist

    def line(self, xs, ys, **style):
        """A Line2D through the points."""
        from matplotlib.lines import Line2D

        return self.add(Line2D(xs, ys, **style))

    def lines(self, segments, **style):
        """Many straight lines at once."""
        from matplotlib.collections import LineCollection

        return self.add(LineCollection(segments, **style))

    def text(self, x, y, words, size=SMALL, color=INK, ha="left", va="center", **more):
        """A line of type at a point."""
        from eqlib.notebook.figures_text import Stamp

        return self.add(Stamp(x, y, words, fontsize=size, color=color, ha=ha, va=va, zorder=5, **more))


def whole_sheet(figure):
    """A ``Plot`` over the whole figure whose coordinates are inches."""
    width, height = figure.get_size_inches()
    return Plot(figure, (0.0, 0.0, 1.0, 1.0), Scale(0.0, float(width)), Scale(0.0, float(height)))


def plot_area(figure, rect, x, y, xlabel, ylabel):
    """A ``Plot`` with a left and a bottom line, few ticks, faint level lines and large labels."""
    plot = Plot(figure, rect, x, y)
    if y.ticks:
        plot.lines([[(x.low, t), (x.high, t)] for t in y.ticks], colors="#d0d0d0", linewidths=0.8, zorder=0)
    dx, dy = 0.012 * x.span, 0.022 * y.span
    frame = [[(x.low, y.low), (x.high, y.low)]]
    frame += [[(x.low, y.low), (x.low, y.high)]] if y.ticks else []
    frame += [[(t, y.low), (t, y.low - dy)] for t in x.ticks] + [
        [(x.low, t), (x.low - dx, t)] for t in y.ticks
    ]
    plot.lines(frame, colors=INK, linewidths=1.2)
    for place, label in zip(x.ticks, x.labels, strict=True):
        plot.text(place, y.low - 1.6 * dy, label, ha="center", va="top")
    for place, label in zip(y.ticks, y.labels, strict=True):
        plot.text(x.low - 1.5 * dx, place, label, ha="right")
    left, bottom, width, height = rect
    page = whole_sheet(figure)
    if xlabel:
        page.text((left + width / 2) * page.x.high, 0.07, xlabel, TEXT, ha="center", va="bottom")
    if ylabel:
        page.text(0.1, (bottom + height / 2) * page.y.high, ylabel, TEXT, rotation=90)
    return plot


def heading(figure, words):
    """The line across the top that says what is drawn."""
    page = whole_sheet(figure)
    page.text(page.x.high / 2, page.y.high - 0.07, words, TITLE, ha="center", va="top")


def apart(places, gap, low, high):
    """Label positions near ``places`` but at least ``gap`` apart, inside ``low`` to ``high``, in the same
    order.
    """
    order = np.argsort(places, kind="stable")
    spots = np.maximum(np.array(places, dtype=float)[order], low)
    for i in range(1, len(spots)):
        spots[i] = max(spots[i], spots[i - 1] + gap)
    spots[-1] = min(spots[-1], high)
    for i in range(len(spots) - 2, -1, -1):
        spots[i] = min(spots[i], spots[i + 1] - gap)
    result = np.empty(len(spots))
    result[order] = spots
    return result
