"""Draws every system of the catalogue, every stress, from the side and from above, on one sheet to look at.

python tests/lab/contact_sheet.py            writes tests/lab/contact_sheet.png

Each row is one stress: before, at once and after, first from the side and then from above, with the words
and the verdict under them, and a grey copy of each pair beneath. Nothing is asserted here;
``test_contact_sheet.py`` does that.
"""

import textwrap
from pathlib import Path

from matplotlib.figure import Figure

import eqlib as eq
from eqlib.lab.light import GREY, simulate
from eqlib.lab.look import compare_disturbance

INK, QUIET = "#1a1a1a", "#595959"
TARGET = Path(__file__).with_suffix(".png")
_ROW, _WIDTH, _SWATCH = 0.47, 11.2, 0.5
_COLUMNS = 2


def rows():
    """(system, stress key, Disturbance, Look from the side, Look from above) of the whole catalogue."""
    for name in eq.systems():
        system = eq.system(name)
        for key, entry in system.steps.items():
            change = eq.disturb(system.before(key), entry.stress)
            looks = [
                compare_disturbance(change, path_cm=system.recipe.path_cm, view=v) for v in ("side", "above")
            ]
            yield name, key, change, *looks


def swatches(change, look):
    """Colours before, at once and after, as seen in a ``Look``."""
    at_once = eq.colour_of(
        change.at_once, look.before.path_cm, look.before.view, area_cm2=_area(change.before, look.before)
    )
    return look.before, at_once, look.after


def _area(state, colour):
    return 1000.0 * state.volume / colour.path_cm


class _Page:
    """The whole sheet, measured in inches from the lower left."""

    def __init__(self, figure, width, high):
        self.high = high
        self.axes = figure.add_axes((0, 0, 1, 1), xlim=(0, width), ylim=(0, high))
        self.axes.set_axis_off()

    def text(self, x, y, words, size, colour=INK, weight="normal"):
        self.axes.text(x, y, words, fontsize=size, color=colour, weight=weight)

    def add(self, patch):
        self.axes.add_patch(patch)


def _draw_row(page, left, top, change, name, key, side, above):
    from matplotlib.patches import Rectangle

    page.text(left, top - 0.12, f"{name}: {key}", 7, weight="bold")
    for start, look in ((2.35, side), (3.95, above)):
        for i, colour in enumerate(swatches(change, look)):
            x = left + start + i * _SWATCH
            dots = "...." if colour.cloud.words else None
            page.add(
                Rectangle(
                    (x, top - 0.24), _SWATCH - 0.04, 0.22, facecolor=colour.hex, edgecolor=INK, hatch=dots
                )
            )
            grey = "#{:02x}{:02x}{:02x}".format(*simulate(colour.rgb, GREY))
            page.add(
                Rectangle((x, top - 0.33), _SWATCH - 0.04, 0.09, facecolor=grey, edgecolor=INK, linewidth=0.5)
            )
    page.text(left, top - 0.26, f"side {side.lightness}, above {above.lightness}", 7, QUIET)
    words = f"{side.before.words} to {side.after.words}"
    words = textwrap.shorten(words, 52, placeholder=" ...")
    page.text(left, top - 0.39, f"{words}  ({side.delta_e:.0f})", 6, QUIET)


def draw():
    """The sheet as a matplotlib Figure."""
    found = list(rows())
    each = -(-len(found) // _COLUMNS)
    high = 0.5 + each * _ROW
    figure = Figure(figsize=(_WIDTH, high), dpi=100, facecolor="white")
    page = _Page(figure, _WIDTH, high)
    for column in range(_COLUMNS):
        left = 0.1 + column * _WIDTH / _COLUMNS
        page.text(left + 2.35, high - 0.2, "from the side", 8)
        page.text(left + 3.95, high - 0.2, "from above", 8)
        page.text(left + 2.35, high - 0.35, "before, at once, after; grey copy beneath", 6, QUIET)
    for i, (name, key, change, side, above) in enumerate(found):
        column, row = divmod(i, each)
        _draw_row(
            page, 0.1 + column * _WIDTH / _COLUMNS, high - 0.45 - row * _ROW, change, name, key, side, above
        )
    return figure


def main():
    """Write the sheet beside this file."""
    draw().savefig(TARGET, metadata={"Software": None})
    print(f"{TARGET.name}: {TARGET.stat().st_size // 1024} kB")


if __name__ == "__main__":
    main()
