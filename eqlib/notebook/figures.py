"""Every figure of the lessons, in one place to import from.

Each returns a ``LabelledFigure``: the matplotlib figure, its words with and without the answer, and its
data table.
"""

from eqlib.notebook.alt_text import Table
from eqlib.notebook.figures_bars import concentration_bars
from eqlib.notebook.figures_base import LabelledFigure
from eqlib.notebook.figures_courses import sweep, time_course
from eqlib.notebook.figures_lines import curves, q_and_k, spectrum
from eqlib.notebook.figures_wells import wells

__all__ = [
    "LabelledFigure",
    "Table",
    "concentration_bars",
    "curves",
    "q_and_k",
    "spectrum",
    "sweep",
    "time_course",
    "wells",
]
