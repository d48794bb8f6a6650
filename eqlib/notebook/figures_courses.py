"""A time course and a sweep, straight from what computes them or from arrays."""

import numpy as np

from eqlib.errors import EqlibError
from eqlib.notebook.figures_base import SERIES
from eqlib.notebook.figures_lines import curves

_SWEPT = {"volume": ("volume added / mL", 1000.0), "T": ("temperature / °C", 1.0), "pH": ("pH", 1.0)}


def time_course(course, series=None, rates=False, unit="mmol L⁻¹", title=""):
    """Curves against time.

    ``course`` is a TimeCourse, and ``series`` the species to draw (those of its first reaction unless
    given); or ``course`` is an array of times in s, and ``series`` maps names to values in ``unit``.
    ``rates=True`` draws the forward and the reverse rate of a TimeCourse's first reaction instead. Stresses
    on the way are numbered lines.
    """
    if not hasattr(course, "forward"):
        return curves(course, _mapping(series), "time / s", f"concentration / {unit}", title or "Time course")
    if rates:
        drawn = {"forward": 1000.0 * course.forward[0], "reverse": 1000.0 * course.reverse[0]}
        return curves(
            course.t, drawn, "time / s", "rate / mmol L⁻¹ s⁻¹", title or "Rates", events=course.events
        )
    names = series or _of_first_reaction(course.mixture, course.concentrations)
    drawn = {name: 1000.0 * np.asarray(course[name]) for name in names}
    return curves(
        course.t, drawn, "time / s", "concentration / mmol L⁻¹", title or "Time course", events=course.events
    )


def sweep(
    result, series=None, xlabel="", ylabel="concentration / mmol L⁻¹", log_x=False, log_y=False, title="Sweep"
):
    """Curves against what was swept.

    ``result`` is a Sweep, and ``series`` what to draw: species, or "pH" alone (those of the first reaction
    unless given); or ``result`` is an array, ``series`` maps names to values, and ``xlabel`` says what was
    swept.
    """
    if not hasattr(result, "over"):
        return curves(result, _mapping(series), xlabel, ylabel, title, log_x, log_y)
    words, factor = _SWEPT.get(result.over, (f"total {result.over} / mmol L⁻¹", 1000.0))
    x = factor * np.asarray(result.values) - (273.15 if result.over == "T" else 0.0)
    names = [series] if isinstance(series, str) else list(series or ())
    if names == ["pH"]:
        drawn, ylabel = {"pH": result.pH}, "pH"
    else:
        names = names or _of_first_reaction(result.mixtures[0], result.columns)
        drawn = {name: 1000.0 * np.asarray(result[name]) for name in names}
    return curves(x, drawn, xlabel or words, ylabel, title, log_x, log_y)


def _mapping(series):
    if not hasattr(series, "items"):
        raise EqlibError("series must map each name to its values, when the first thing given is an array")
    return series


def _of_first_reaction(mixture, known):
    first = mixture.reactions[0].coefficients if mixture.reactions else known
    return [name for name in first if name in known][: len(SERIES)]
