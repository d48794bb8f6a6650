"""Text that is drawn once and then stamped.

Setting a line of type takes matplotlib one to two milliseconds, and most lines of a figure are the same
from one draw to the next. On an Agg canvas a ``Stamp`` therefore keeps its picture and puts it down again;
anywhere else (SVG, PDF) it is an ordinary text.
"""

from functools import lru_cache

import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg, RendererAgg
from matplotlib.figure import Figure
from matplotlib.text import Text
from matplotlib.transforms import IdentityTransform

_MARGIN = 3


class Stamp(Text):
    """A matplotlib Text whose picture is remembered by its wording, size, weight, colour, angle and
    alignment.
    """

    def draw(self, renderer):
        if (
            not isinstance(renderer, RendererAgg)
            or not self.get_visible()
            or self.get_bbox_patch() is not None
        ):
            super().draw(renderer)
            return
        picture, right, up = _picture(
            self.get_text(),
            self.get_fontsize(),
            self.get_weight(),
            self.get_color(),
            self.get_rotation(),
            self.get_ha(),
            self.get_va(),
            renderer.dpi,
        )
        x, y = self.get_transform().transform(self.get_position())
        gc = renderer.new_gc()
        renderer.draw_image(gc, round(float(x)) + right, round(float(y)) + up, picture)
        gc.restore()
        self.stale = False


@lru_cache(maxsize=1024)
def _picture(words, size, weight, colour, angle, ha, va, dpi):
    """(RGBA picture, and how far right of and above the text's own point its lower left corner stands), in
    pixels.
    """
    scratch = _scratch(dpi)
    text = Text(
        0.0, 0.0, words, fontsize=size, weight=weight, color=colour, rotation=angle, ha=ha, va=va,
        transform=IdentityTransform(),
    )  # fmt: skip
    text.set_figure(scratch)
    box = text.get_window_extent(_measuring(dpi))
    left, bottom = int(np.floor(box.x0)) - _MARGIN, int(np.floor(box.y0)) - _MARGIN
    wide, high = int(np.ceil(box.x1)) + _MARGIN - left, int(np.ceil(box.y1)) + _MARGIN - bottom
    text.set_position((-left, -bottom))
    renderer = RendererAgg(max(wide, 1), max(high, 1), dpi)
    text.draw(renderer)
    picture = np.asarray(renderer.buffer_rgba())[::-1].copy()
    return picture, left, bottom


@lru_cache(maxsize=8)
def _scratch(dpi):
    figure = Figure(figsize=(1, 1), dpi=dpi)
    FigureCanvasAgg(figure)
    return figure


@lru_cache(maxsize=8)
def _measuring(dpi):
    return RendererAgg(16, 16, dpi)
