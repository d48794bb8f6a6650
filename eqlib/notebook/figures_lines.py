"""Curves: a time course, a sweep, a spectrum with the wavelength that is read; and Q and K on a log line.

Each curve has its own line style, marker and lightness, and its name stands beside its end.
"""

import numpy as np

from eqlib.errors import EqlibError
from eqlib.lab.colour_lights import GRID_NM
from eqlib.lab.spectra import absorbance_at, absorbance_spectrum, seen_through
from eqlib.notebook.alt_text import Table, course, in_words, listed, number, said, shown, spoken
from eqlib.notebook.figures_base import (
    INK,
    QUIET,
    SERIES,
    SMALL,
    LabelledFigure,
    Scale,
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
_MARK = {
    "marker": "o",
    "markersize": 12,
    "color": INK,
    "markerfacecolor": "white",
    "markeredgewidth": 2.5,
    "zorder": 4,
}


def curves(x, series, xlabel, ylabel, title="", log_x=False, log_y=False, events=()):
    """Up to six curves over ``x``: ``series`` maps a name to an array as long as ``x``.

    Log axes need values above 0. ``events`` are pairs (place on x, what was done): each is a numbered line.
    """
    x = np.asarray(x, dtype=float)
    series = {name: np.asarray(values, dtype=float) for name, values in series.items()}
    _check(x, series)
    if log_x and x.min() <= 0:
        raise EqlibError("a log axis needs values above zero; leave log_x out, or start above zero")
    x_scale = log_scale(x.min(), x.max()) if log_x else linear_scale(x.min(), x.max(), room=0.0)
    y_scale = _y_scale(np.concatenate(list(series.values())), log_y)
    figure = sheet()
    plot = plot_area(figure, _AREA, x_scale, y_scale, xlabel, ylabel)
    for i, (place, _) in enumerate(events, start=1):
        where = float(x_scale.drawn(place))
        plot.line(
            [where, where], [y_scale.low, y_scale.high], color=QUIET, linewidth=1.4, linestyle=(0, (1, 2))
        )
        plot.text(where, y_scale.high, str(i), color=QUIET, ha="center", va="bottom")
    _lines(plot, x_scale.drawn(x), {name: y_scale.drawn(v) for name, v in series.items()})
    heading(figure, title)
    return LabelledFigure(figure, *_curve_words(x, series, xlabel, ylabel, events))


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
    x = Scale(380.0, 780.0, (400.0, 500.0, 600.0, 700.0), ("400", "500", "600", "700"))
    figure = sheet()
    y = linear_scale(0.0, max(float(np.max(found)), 0.01))
    plot = plot_area(figure, _AREA, x, y, "wavelength / nm", f"absorbance, {path_cm:g} cm")
    plot.line([nm, nm], [0.0, plot.y.high], color=INK, linewidth=1.6, linestyle=(0, (2, 2)))
    plot.text(nm, plot.y.high, f"{nm:g} nm", ha="center", va="bottom")
    _lines(plot, GRID_NM, dict(zip(labels, found, strict=True)), [f"A {reading:.2f}" for reading in readings])
    heading(figure, title)
    return LabelledFigure(figure, *_spectrum_words(labels, found, readings, nm, path_cm))


def q_and_k(Q, K, title="Q and K"):
    """Q and K of one reaction on a log line. ``Q``: a number, or a mapping of label to number (before, at
    once ...).
    """
    quotients = dict(Q) if hasattr(Q, "items") else {"Q": float(Q)}
    finite = [v for v in (*quotients.values(), K) if 0.0 < v < float("inf")]
    if not 0.0 < K < float("inf"):
        raise EqlibError(f"K is {K!r}; a log line needs a K above zero")
    if any(not 0.0 <= value < float("inf") for value in quotients.values()):
        raise EqlibError(f"Q is {list(quotients.values())!r}; a log line needs numbers, zero or more")
    scale = log_scale(min(finite) / 3.0, max(finite) * 3.0)
    figure = sheet(8.0, 3.2)
    plot = plot_area(figure, (0.06, 0.14, 0.88, 0.72), scale, Scale(0.0, 1.0), "", "")
    k = float(np.log10(K))
    plot.line([k, k], [0.0, 0.84], color=INK, linewidth=3.0)
    share = (k - scale.low) / scale.span
    side = "left" if share < 0.15 else "right" if share > 0.85 else "center"
    plot.text(k, 0.86, f"K = {number(K)}", SMALL + 2, ha=side, va="bottom", weight="bold")
    for i, (label, value) in enumerate(_named(quotients).items()):
        _quotient(plot, f"{label} = {number(value)}", value, k, 0.7 - 0.7 * i / max(len(quotients), 2))
    heading(figure, title)
    return LabelledFigure(figure, *_q_words(_named(quotients), K))


def _named(quotients):
    return {label if label.startswith("Q") else f"Q {label}": float(v) for label, v in quotients.items()}


def _quotient(plot, words, value, k, height):
    """One Q: a ring with its number beside it, away from K, and an arrow to K where the two differ."""
    from matplotlib.patches import FancyArrowPatch

    scale = plot.x
    place = float(np.clip(np.log10(value) if value > 0 else scale.low, scale.low, scale.high))
    if abs(place - k) > 0.03 * scale.span:
        style = {
            "arrowstyle": "-|>",
            "color": QUIET,
            "linewidth": 2.0,
            "mutation_scale": 18,
            "shrinkA": 8,
            "shrinkB": 3,
        }
        plot.add(FancyArrowPatch((place, height), (k, height), **style))
    plot.line([place], [height], **_MARK)
    share = (place - scale.low) / scale.span
    right = place > k or (place == k and share < 0.5)
    if min(share, 1 - share) < 0.3 and right == (share > 0.5):  # no room beside it: above
        plot.text(place, height + 0.07, words, ha="right" if right else "left", va="bottom")
    else:
        plot.text(
            place + (0.02 if right else -0.02) * scale.span, height, words, ha="left" if right else "right"
        )


def _lines(plot, x, series, notes=None):
    """The curves, each named at its end; or with ``notes`` in a key down the right side, a note under each
    name.
    """
    every = max(len(x) // _MARKS, 1)
    styles = []
    for i, values in enumerate(series.values()):
        colour, dashes, marker = SERIES[i]
        style = {"color": colour, "linestyle": dashes, "linewidth": 2.6, "marker": marker, "markersize": 8}
        style |= {"markerfacecolor": "white", "markeredgewidth": 2.0}
        styles.append(style)
        plot.line(x, values, markevery=((i * every) // len(series), every), **style)
    if notes is None:
        _name_at_ends(plot, series)
    else:
        _key(plot, series, notes, styles)


def _name_at_ends(plot, series):
    gap = 0.085 * plot.y.span
    ends = [float(values[-1]) for values in series.values()]
    right = plot.x.high + 0.025 * plot.x.span
    for i, (name, spot) in enumerate(zip(series, apart(ends, gap, plot.y.low, plot.y.high), strict=True)):
        colour = SERIES[i][0]
        plot.line([plot.x.high, right], [ends[i], spot], color=colour, linewidth=1.0)
        plot.text(right + 0.01 * plot.x.span, spot, shown(name), color=colour)


def _key(plot, series, notes, styles):
    left, step = plot.x.high + 0.02 * plot.x.span, 0.28 * plot.y.span
    for i, (name, note) in enumerate(zip(series, notes, strict=True)):
        top = plot.y.high - i * step
        ends = [left, left + 0.055 * plot.x.span, left + 0.11 * plot.x.span]
        plot.line(ends, [top] * 3, markevery=[1], **styles[i])
        plot.text(left, top - 0.05 * plot.y.span, shown(name), color=SERIES[i][0], va="top")
        plot.text(left, top - 0.125 * plot.y.span, note, color=SERIES[i][0], va="top")


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


def _curve_words(x, series, xlabel, ylabel, events):
    runs = "; ".join(f"{spoken(name)} {course(v.tolist())}" for name, v in series.items())
    y, x_words = in_words(ylabel), in_words(xlabel)
    opening = y if y.startswith("pH") else y[:1].upper() + y[1:]
    alt = f"{opening} against {x_words}, from {said(float(x[0]))} to {said(float(x[-1]))}: {runs}."
    neutral = f"Line chart of {y} against {x_words} for {listed(spoken(name) for name in series)}."
    for i, (place, words) in enumerate(events, start=1):
        alt += f" Line {i}, at {said(float(place))}: {words}."
        neutral += f" Line {i}, at {said(float(place))}: {words}."
    rows = tuple(
        (number(float(x[i]), 4), *(number(float(v[i]), 4) for v in series.values())) for i in range(len(x))
    )
    return alt, neutral, Table(ylabel, (xlabel, *(shown(name) for name in series)), rows)


def _spectrum_words(labels, found, readings, nm, path_cm):
    parts = []
    for label, f, reading in zip(labels, found, readings, strict=True):
        peak = float(GRID_NM[int(np.argmax(f))])
        at_peak = "" if peak == nm else f"highest {said(float(f.max()))} at {peak:.0f} nm, "
        parts.append(
            f"{label}, {at_peak}{said(reading)} at {nm:g} nm" + (", its highest" if peak == nm else "")
        )
    alt = f"Absorbance through {path_cm:g} cm from 380 to 780 nm: {'; '.join(parts)}."
    neutral = (
        f"Absorption spectrum from 380 to 780 nm through {path_cm:g} cm of {listed(labels)}, "
        "with a line at the wavelength read."
    )
    rows = tuple((f"{GRID_NM[i]:.0f}", *(f"{f[i]:.4g}" for f in found)) for i in range(0, GRID_NM.size, 2))
    return alt, neutral, Table(f"Absorbance through {path_cm:g} cm", ("wavelength / nm", *labels), rows)


def _q_words(quotients, K):
    def side(value):
        if abs(value - K) <= 5e-3 * K:
            return "equal to K"
        return (
            "below K, which by itself asks for the forward direction"
            if value < K
            else "above K, which by itself asks for the reverse direction"
        )

    alt = (
        f"Log scale. K is {said(K)}. "
        + "; ".join(f"{n} is {said(v)}, {side(v)}" for n, v in quotients.items())
        + "."
    )
    neutral = f"A log scale with K and {listed(quotients)} marked on it, each with its number."
    rows = (("K", number(K, 4)), *((n, number(v, 4)) for n, v in quotients.items()))
    return alt, neutral, Table("Q and K", ("quantity", "value"), rows)
