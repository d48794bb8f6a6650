"""Curves: a time course, a sweep, a spectrum with the wavelength that is read; and Q and K on a log line.

Each curve has its own line style, marker and lightness, and its name stands beside its end.
"""

import numpy as np

from eqlib.chem.errors import EqlibError
from eqlib.lab.colour_lights import GRID_NM
from eqlib.lab.spectra import absorbance_at, absorbance_spectrum, seen_through
from eqlib.notebook.alt_text import Table, course, listed, number, said, shown, spoken
from eqlib.notebook.figures_base import (
    INK,
    QUIET,
    SERIES,
    SMALL,
    LabelledFigure,
    apart,
    heading,
    linear_scale,
    log_scale,
    plot_area,
    sheet,
)
from eqlib.notebook.figures_wells import stages

_AREA = (0.125, 0.17, 0.695, 0.7)
_MARKS = 8


def time_course(times, series, unit="mmol/L", time_unit="s", title="Time course"):
    """Curves against time. ``times``: array; ``series``: mapping of species (or any name) to values in
    ``unit``.
    """
    return curves(times, series, f"time / {time_unit}", f"amount / {unit}", title)


def sweep(values, series, xlabel, ylabel="concentration / mmol L⁻¹", log_x=False, log_y=False, title="Sweep"):
    """Curves against whatever was swept: volume, temperature, pH or a constant; see ``curves``."""
    return curves(values, series, xlabel, ylabel, title, log_x, log_y)


def curves(x, series, xlabel, ylabel, title="", log_x=False, log_y=False):
    """Up to six curves over ``x``: ``series`` maps a name to an array as long as ``x``. Log axes need
    values above 0.
    """
    x = np.asarray(x, dtype=float)
    series = {name: np.asarray(values, dtype=float) for name, values in series.items()}
    _check(x, series)
    x_scale = log_scale(x.min(), x.max()) if log_x else linear_scale(x.min(), x.max(), room=0.0)
    y_scale = _y_scale(np.concatenate(list(series.values())), log_y)
    figure = sheet()
    axes = plot_area(figure, _AREA, x_scale, y_scale, xlabel, ylabel)
    _lines(axes, x_scale.drawn(x), {name: y_scale.drawn(v) for name, v in series.items()}, x_scale, y_scale)
    heading(figure, title)
    return LabelledFigure(figure, *_curve_words(x, series, xlabel, ylabel))


def spectrum(change, nm=None, path_cm=1.0, labels=None, title="Absorption spectrum"):
    """Absorbance against wavelength, 380-780 nm, of a State, a sequence of them or a Disturbance.

    ``nm`` is the wavelength read; a vertical line marks it and the readings are printed. Unless given, it
    is the wavelength of the highest absorbance between 400 and 700 nm.
    """
    states, labels = stages(change, labels)
    inside = [seen_through(state) for state in states]
    found = [absorbance_spectrum(concentrations, path_cm) for concentrations in inside]
    visible = (GRID_NM >= 400) & (GRID_NM <= 700)
    if nm is None:
        nm = float(GRID_NM[int(np.argmax(np.where(visible, np.max(found, axis=0), -1.0)))])
    readings = [float(absorbance_at(concentrations, float(nm), path_cm)) for concentrations in inside]
    x, y = linear_scale(380.0, 780.0, room=0.0), linear_scale(0.0, max(float(np.max(found)), 0.01))
    figure = sheet()
    axes = plot_area(figure, _AREA, x, y, "wavelength / nm", f"absorbance, {path_cm:g} cm")
    axes.plot([nm, nm], [y.low, y.high], color=INK, linewidth=1.6, linestyle=(0, (2, 2)))
    axes.text(nm, y.high, f"{nm:g} nm", fontsize=SMALL, color=INK, ha="center", va="bottom")
    names = {
        f"{label}\nA {reading:.2f}": f for label, reading, f in zip(labels, readings, found, strict=True)
    }
    _lines(axes, GRID_NM, names, x, y, room=0.15)
    heading(figure, title)
    return LabelledFigure(figure, *_spectrum_words(labels, found, readings, nm, path_cm))


def q_and_k(Q, K, title="Q and K"):
    """Q and K of one reaction on a log line. ``Q``: a number, or a mapping of label to number (before, at
    once ...).
    """
    quotients = dict(Q) if hasattr(Q, "items") else {"Q": float(Q)}
    finite = [v for v in (*quotients.values(), K) if 0.0 < v < float("inf")]
    if not finite or not 0.0 < K < float("inf"):
        raise EqlibError(f"K is {K!r}; a log line needs a K above zero")
    scale = log_scale(min(finite) / 3.0, max(finite) * 3.0)
    figure = sheet(8.0, 3.2)
    axes = plot_area(
        figure, (0.06, 0.27, 0.88, 0.55), scale, linear_scale(0.0, 1.0, room=0.0, ticks=1), "", ""
    )
    k = float(np.log10(K))
    axes.plot([k, k], [0.0, 0.86], color=INK, linewidth=3.0)
    axes.text(
        k, 0.88, f"K = {number(K)}", fontsize=SMALL + 2, color=INK, ha="center", va="bottom", weight="bold"
    )
    for i, (label, value) in enumerate(quotients.items()):
        _quotient(axes, scale, label, value, k, 0.68 - 0.62 * i / max(len(quotients), 2))
    heading(figure, title)
    return LabelledFigure(figure, *_q_words(quotients, K))


def _quotient(axes, scale, label, value, k, height):
    place = float(np.clip(np.log10(value) if value > 0 else scale.low, scale.low, scale.high))
    _, _, marker = SERIES[0]
    if abs(place - k) > 0.02 * (scale.high - scale.low):
        style = {"arrowstyle": "-|>", "color": QUIET, "linewidth": 2.0, "shrinkA": 8, "shrinkB": 3}
        axes.annotate("", (k, height), (place, height), arrowprops=style)
    axes.plot(
        [place],
        [height],
        marker=marker,
        markersize=12,
        color=INK,
        markerfacecolor="white",
        markeredgewidth=2.5,
    )
    left = place <= (scale.low + scale.high) / 2
    text = f"{label} = {number(value)}" if label.startswith("Q") else f"Q {label} = {number(value)}"
    axes.text(
        place, height + 0.09, text, fontsize=SMALL, color=INK, ha="left" if left else "right", va="bottom"
    )


def _lines(axes, x, series, x_scale, y_scale, room=0.085):
    gap = room * (y_scale.high - y_scale.low)
    ends = apart([float(v[-1]) for v in series.values()], gap, y_scale.low + gap / 2, y_scale.high)
    every = max(len(x) // _MARKS, 1)
    for i, ((name, values), spot) in enumerate(zip(series.items(), ends, strict=True)):
        colour, style, marker = SERIES[i]
        first = (i * every) // max(len(series), 1)
        axes.plot(
            x, values, color=colour, linestyle=style, linewidth=2.6, marker=marker, markersize=8,
            markevery=(first, every), markerfacecolor="white", markeredgewidth=2.0, clip_on=False,
        )  # fmt: skip
        right = x_scale.high + 0.025 * (x_scale.high - x_scale.low)
        axes.plot([x_scale.high, right], [values[-1], spot], color=colour, linewidth=1.0, clip_on=False)
        axes.text(
            right,
            spot,
            " " + shown(name),
            fontsize=SMALL,
            color=colour if i != 5 else QUIET,
            ha="left",
            va="center",
        )


def _y_scale(values, log_y):
    if not log_y:
        return linear_scale(min(0.0, float(values.min())), float(values.max()))
    above = values[values > 0]
    if not above.size:
        raise EqlibError("nothing is above zero, which a log axis needs; leave log_y out")
    return log_scale(max(float(above.min()), float(above.max()) * 1e-12), float(above.max()))


def _check(x, series):
    if not 1 <= len(series) <= len(SERIES):
        raise EqlibError(f"{len(series)} curves; a figure takes 1 to {len(SERIES)}")
    if x.ndim != 1 or len(x) < 2:
        raise EqlibError("a curve needs at least two points along its axis")
    for name, values in series.items():
        if values.shape != x.shape:
            raise EqlibError(f"{name} has {values.size} values for {x.size} points; give one for each")
    if not all(np.all(np.isfinite(v)) for v in (x, *series.values())):
        raise EqlibError("a curve has a value that is no number; leave that point out")


def _curve_words(x, series, xlabel, ylabel):
    runs = "; ".join(f"{spoken(name)} {course(v.tolist())}" for name, v in series.items())
    alt = f"{ylabel} against {xlabel}, from {said(float(x[0]))} to {said(float(x[-1]))}: {runs}."
    neutral = f"Line chart of {ylabel} against {xlabel} for {listed(spoken(name) for name in series)}."
    rows = tuple(
        (number(float(x[i]), 4), *(number(float(v[i]), 4) for v in series.values())) for i in range(len(x))
    )
    return alt, neutral, Table(ylabel, (xlabel, *(shown(name) for name in series)), rows)


def _spectrum_words(labels, found, readings, nm, path_cm):
    parts = [
        f"{label}: highest {said(float(f.max()))} at {GRID_NM[int(np.argmax(f))]:.0f} nm, "
        f"{said(reading)} at {nm:g} nm"
        for label, f, reading in zip(labels, found, readings, strict=True)
    ]
    alt = f"Absorbance through {path_cm:g} cm from 380 to 780 nm. {'; '.join(parts)}."
    neutral = (
        f"Absorption spectrum from 380 to 780 nm through {path_cm:g} cm of {listed(labels)}, "
        f"with a line at the wavelength read, {nm:g} nm."
    )
    rows = tuple((f"{GRID_NM[i]:.0f}", *(f"{f[i]:.4g}" for f in found)) for i in range(0, GRID_NM.size, 2))
    return alt, neutral, Table(f"Absorbance through {path_cm:g} cm", ("wavelength / nm", *labels), rows)


def _q_words(quotients, K):
    def side(value):
        if abs(value - K) <= 5e-3 * K:
            return "equal to K"
        return (
            "below K, so the forward direction runs"
            if value < K
            else "above K, so the reverse direction runs"
        )

    named = {label if label.startswith("Q") else f"Q {label}": value for label, value in quotients.items()}
    alt = (
        f"Log scale. K is {said(K)}. "
        + "; ".join(f"{n} is {said(v)}, {side(v)}" for n, v in named.items())
        + "."
    )
    neutral = f"A log scale with K and {listed(named)} marked on it, each with its number."
    rows = (("K", number(K, 4)), *((n, number(v, 4)) for n, v in named.items()))
    return alt, neutral, Table("Q and K", ("quantity", "value"), rows)
