"""Lines in a diagram as SVG text: one to four curves, told apart by dashes and by a name at their end.

The diagram follows the theme of the page (``currentColor``), and the numbers behind it come as a folded
table.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from html import escape

import numpy as np
from numpy.typing import ArrayLike

from eqlib.errors import EqlibError
from eqlib.lab.drawing import svg
from eqlib.writing import number, with_figures

_STYLES = (("#3b7fd0", ""), ("#c2571a", "7 4"), ("#2e8b57", "2 3"), ("#8a63c9", "10 3 2 3"))
SIZE = (440, 230)
_LEFT, _RIGHT, _TOP, _BOTTOM = 58, 118, 22, 40
Values = Sequence[float] | np.ndarray
Place = Callable[[float, float], tuple[float, float]]
_MOST = 160  # points of a curve that are drawn: more cannot be seen


def curves(
    x: ArrayLike,
    series: Mapping[str, Values],
    xlabel: str,
    ylabel: str,
    title: str,
    desc: str = "",
    events: Sequence[tuple[float, str]] = (),
) -> str:
    """SVG text. ``series``: name -> values along ``x``. ``events``: (x, words) drawn as upright lines.

    The y axis begins at 0. Raises EqlibError.
    """
    x = np.asarray(x, dtype=float)
    if not series or len(series) > len(_STYLES) or any(len(values) != len(x) for values in series.values()):
        raise EqlibError(f"a diagram takes 1 to {len(_STYLES)} curves, each as long as x")
    width, height = SIZE
    high = _round_up(max(float(np.max(values)) for values in series.values()))
    span = float(x[-1] - x[0]) or 1.0

    def place(at: float, value: float) -> tuple[float, float]:
        across = _LEFT + (at - x[0]) / span * (width - _LEFT - _RIGHT)
        return across, height - _BOTTOM - min(max(value / high, 0.0), 1.0) * (height - _TOP - _BOTTOM)

    body = [_axes(x, high, place, xlabel, ylabel)]
    for at, words in events:
        across = place(at, 0)[0]
        body.append(
            f'<path d="M{across:.1f} {_TOP} V{height - _BOTTOM}" '
            'stroke="currentColor" stroke-dasharray="1 3"/>' + _word(across, _TOP - 7, words, "middle")
        )
    body += _lines(x, series, place)
    return svg("".join(body), width, height, title, desc)


def numbers(x: Values, series: Mapping[str, Values], xlabel: str, ylabel: str) -> str:
    """The same curves as a folded HTML table of about seven rows."""
    kept = sorted({round(i) for i in np.linspace(0, len(x) - 1, 7)})
    head = "".join(f'<th scope="col">{escape(name)}</th>' for name in (xlabel, *series))
    lines = "".join(
        f'<tr><th scope="row">{with_figures(float(x[i]))}</th>'
        + "".join(f"<td>{with_figures(float(values[i]))}</td>" for values in series.values())
        + "</tr>"
        for i in kept
    )
    return (
        f"<details><summary>The same in numbers "
        f"({escape(ylabel)})</summary><table><thead><tr>{head}</tr></thead>"
        f"<tbody>{lines}</tbody></table></details>"
    )


def _round_up(value: float) -> float:
    """The next of 1, 2, 2.5, 5 times a power of ten: a good upper end of an axis."""
    if not value > 0:
        return 1.0
    power = 10.0 ** math.floor(math.log10(value))
    return next(
        step * power for step in (1, 1.5, 2, 2.5, 3, 4, 5, 6, 8, 10) if value <= step * power * 1.0001
    )


def _axes(x: np.ndarray, high: float, place: Place, xlabel: str, ylabel: str) -> str:
    height = SIZE[1]
    left, floor = place(x[0], 0)
    right = place(x[-1], 0)[0]
    parts = [f'<path d="M{left:.1f} {_TOP} V{floor:.1f} H{right:.1f}" fill="none" stroke="currentColor"/>']
    for share in (0, 0.5, 1):
        y = place(x[0], share * high)[1]
        parts.append(f'<path d="M{left - 4:.1f} {y:.1f} h4" stroke="currentColor"/>')
        parts.append(_word(left - 7, y + 4, number(share * high), "end"))
        at = x[0] + share * (x[-1] - x[0])
        parts.append(_word(place(at, 0)[0], floor + 16, f"{at:g}", "middle"))
    parts.append(_word((left + right) / 2, height - 6, xlabel, "middle"))
    parts.append(
        f'<g transform="translate(12,{(_TOP + floor) / 2:.1f}) rotate(-90)">'
        + _word(0, 0, ylabel, "middle")
        + "</g>"
    )
    return "".join(parts)


def _lines(x: np.ndarray, series: Mapping[str, Values], place: Place) -> Iterator[str]:
    """Each curve, and its name beside its end; names that would meet are moved apart."""
    step = max(1, len(x) // _MOST)
    ends = sorted(
        ((place(x[-1], values[-1]), name) for name, values in series.items()), key=lambda e: e[0][1]
    )
    heights: dict[str, float] = {}
    last = -math.inf
    for (_across, y), name in ends:
        heights[name] = last = max(y, last + 15)
    for (name, values), (colour, dash) in zip(series.items(), _STYLES, strict=False):
        kept = [*range(0, len(x) - 1, step), len(x) - 1]
        points = " ".join("{:.1f},{:.1f}".format(*place(x[i], values[i])) for i in kept)
        across = place(x[-1], 0)[0]
        pen = f'stroke="{colour}" stroke-width="2.4" stroke-dasharray="{dash}"'
        yield (
            f'<polyline points="{points}" fill="none" {pen}/>'
            f'<path d="M{across + 4:.1f} {heights[name]:.1f} h16" {pen}/>'
            + _word(across + 24, heights[name] + 4, name, "start")
        )


def _word(x: float, y: float, words: str, anchor: str) -> str:
    return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" font-size="12">{escape(str(words))}</text>'
