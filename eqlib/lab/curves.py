"""Diagrams as SVG text: one to four curves, told apart by dashes and by a name at their end; Q on a line
beside K; bars; dots along a scale.

The diagram follows the theme of the page (``currentColor``), and the numbers behind it come as a folded
table.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from html import escape

import numpy as np
from numpy.typing import ArrayLike

from eqlib.errors import EqlibError
from eqlib.lab.drawing import element, svg, word
from eqlib.writing import number, raised, with_figures

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


class QuotientLine:
    """Q on a logarithmic line, beside K. ``marks`` are (label, Q); 0 and infinity stand at the ends.

    ``K`` is one number, or (before, after) where the temperature changed it. The moving mark has the data-id
    "q": ``at(Q)`` gives its attributes.
    """

    def __init__(
        self, K: float | tuple[float, ...], marks: Sequence[tuple[str, float]], width: float = 900
    ) -> None:
        self.Ks = tuple(K) if isinstance(K, (tuple, list)) else (float(K),)
        self.marks, self.width = [(label, Q) for label, Q in marks if not math.isnan(Q)], width
        finite = [v for v in (*self.Ks, *(Q for _, Q in self.marks)) if 0 < v < math.inf]
        low, high = math.log10(min(finite)), math.log10(max(finite))
        pad = max(0.5, 0.12 * (high - low))
        self.low, self.high = low - pad, high + pad

    def x(self, Q: float) -> float:
        """The place of Q, px."""
        if Q <= 0:
            return 24
        if math.isinf(Q):
            return self.width - 24
        share = (math.log10(Q) - self.low) / (self.high - self.low)
        return 50 + min(max(share, -0.02), 1.02) * (self.width - 100)

    def at(self, Q: float) -> dict[str, str]:
        """Attributes of the moving mark at Q."""
        return {
            "transform": f"translate({self.x(Q):.1f},{self.base - 14})",
            "opacity": "0" if math.isnan(Q) else "1",
        }

    def svg(self, title: str, desc: str = "", moving: bool = True) -> str:
        """The whole line."""
        base = self.base
        body = [f'<path d="M24 {base} H{self.width - 24}" stroke="currentColor" stroke-opacity=".6"/>']
        for value, words in self._ticks():
            at = self.x(value)
            body.append(f'<path d="M{at:.1f} {base - 3} v7" stroke="currentColor" stroke-opacity=".6"/>')
            body.append(word(at, base + 19, words, small=True))
        for i, K in enumerate(self.Ks):
            dash = ' stroke-dasharray="4 3"' if i < len(self.Ks) - 1 else ""
            body.append(
                f'<path d="M{self.x(K):.1f} 20 V{base + 5}" stroke="currentColor" stroke-width="2.4"{dash}/>'
            )
        body += self._k_labels()
        body += [mark.drawn(31 + 20 * mark.row) for mark in self._placed]
        if moving:
            body.append(element("path", {"d": "M-7 0 L0 12 L7 0 Z", **self.at(self.Ks[0])}, "q"))
        elif self.marks:
            body.append(self._way_back(base - 8))
        return svg(f'<g transform="translate(0,2)">{"".join(body)}</g>', self.width, base + 26, title, desc)

    def _ticks(self) -> list[tuple[float, str]]:
        """(value, words) along the line: powers of ten, and 2 and 5 between them where there are few."""
        step = max(1, round((self.high - self.low) / 9))
        between = (1, 2, 5) if self.high - self.low < 1.7 else (1,)
        found = []
        for n in range(math.floor(self.low), math.floor(self.high) + 1, step):
            for m in between:
                if self.low <= n + math.log10(m) <= self.high:
                    times = "" if m == 1 else f"{m} × "
                    words = f"{m * 10.0**n:g}" if abs(n) <= 2 else f"{times}10{raised(n)}"
                    found.append((m * 10.0**n, words))
        return found

    def _way_back(self, y: float) -> str:
        """An arrow from the last Q to the K that it comes back to; "" where they are as good as the same."""
        start, end = self.x(self.marks[-1][1]), self.x(self.Ks[-1])
        if abs(start - end) < 22:
            return ""
        ahead = 9 if start > end else -9
        return (
            f'<path d="M{start:.1f} {y} H{end + ahead:.1f}" fill="none" stroke="currentColor" '
            'stroke-width="1.8"/>'
            f'<path d="M{end + ahead / 3:.1f} {y} l{ahead} -5 v10 z"/>'
        )

    def _k_labels(self) -> list[str]:
        if len(self.Ks) == 1:
            return [word(self.x(self.Ks[0]), 13, f"K = {short(self.Ks[0])}", bold=True)]
        made = []
        for name, K in zip(("K before", "K now"), self.Ks, strict=True):
            side, anchor = (-6, "end") if min(self.Ks) == K else (6, "start")
            made.append(word(self.x(K) + side, 13, f"{name} = {short(K)}", bold=True, anchor=anchor))
        return made

    @cached_property
    def _placed(self) -> list[_Mark]:
        """The marks with their words on the side where least is in their way, each row free of overlaps."""
        made: list[_Mark] = []
        for label, Q in self.marks:
            words = f"{label}: Q = {'∞' if math.isinf(Q) else short(Q)}"
            sides = [_Mark(self.x(Q), words, left) for left in (False, True)]
            mark = min(sides, key=self._trouble)
            taken = {other.row for other in made if other.low < mark.high and mark.low < other.high}
            made.append(replace(mark, row=next(n for n in range(len(self.marks)) if n not in taken)))
        return made

    def _trouble(self, mark: _Mark) -> float:
        """How much is in the way of a mark's words."""
        crossed = sum(
            mark.low - 2 < self.x(K) < mark.high + 2 and abs(self.x(K) - mark.x) > 3 for K in self.Ks
        )
        return crossed + 10 * (mark.low < 0 or mark.high > self.width)

    @property
    def base(self) -> float:
        """Where the line lies, px."""
        return 36.0 + 20 * (1 + max((mark.row for mark in self._placed), default=0))


@dataclass(frozen=True)
class _Mark:
    """A value on the line with its words, to the left of it or to the right."""

    x: float
    words: str
    left: bool
    row: int = 0

    @property
    def _long(self) -> float:
        return 6.8 * len(self.words) + 10  # px, about

    @property
    def low(self) -> float:
        return self.x - self._long if self.left else self.x - 5

    @property
    def high(self) -> float:
        return self.x + 5 if self.left else self.x + self._long

    def drawn(self, y: float) -> str:
        """The dot and its words."""
        x, anchor = (self.x - 10, "end") if self.left else (self.x + 10, "start")
        dot = f'<circle cx="{self.x:.1f}" cy="{y:g}" r="4.5"/>'
        return dot + word(x, y + 4, self.words, small=True, anchor=anchor)


def short(value: float) -> str:
    """A number to three figures as printed: 0.0123, 151, 7.00 × 10⁸."""
    return "∞" if math.isinf(value) else with_figures(value)


def bars(
    rows: Sequence[tuple[str, Mapping[str, float]]],
    title: str,
    desc: str = "",
    unit: str = "",
    width: float = 560,
) -> str:
    """Groups of horizontal bars: (label, {moment: value}); the number stands at the end of each bar.

    The first moment of a group is outlined, the last is full, so that they are told apart without colour.
    """
    most = max((v for _, group in rows for v in group.values()), default=0.0) or 1.0
    body, y = [], 4.0
    for label, group in rows:
        body.append(word(0, y + 14, label, bold=True, anchor="start"))
        for i, (moment, value) in enumerate(group.items()):
            length = max(1.5, (width - 330) * value / most)
            full = "currentColor" if i == len(group) - 1 else "none"
            body.append(word(190, y + 14, moment, small=True, anchor="end"))
            body.append(
                f'<rect x="200" y="{y + 3:g}" width="{length:.1f}" height="13" '
                f'fill="{full}" fill-opacity=".65" stroke="currentColor"/>'
            )
            body.append(
                word(206 + length, y + 14, f"{short(value)} {unit}".strip(), small=True, anchor="start")
            )
            y += 19
        y += 9
    return svg("".join(body), width, y, title, desc)


def dots(groups: Sequence[tuple[str, Sequence[float]]], said: str, title: str = "Kc of each tube") -> str:
    """Rows of dots along one scale of Kc, a bar at each mean: for one student's tubes, or a class's
    benches."""
    everything = [v for _, values in groups for v in values]
    low, high = 0.9 * min(everything), 1.1 * max(everything)
    body, y = [], 22.0
    for name, values in groups:
        body.append(word(104, y + 4, name, small=True, anchor="end"))
        for v in values:
            body.append(ring(112 + 420 * (v - low) / (high - low), y, 5))
        mean = sum(values) / len(values)
        body.append(path(f"M{112 + 420 * (mean - low) / (high - low):.1f} {y - 11:g} v22", 2.5))
        y += 36
    body.append(f'<path d="M112 {y - 8:g} H532" stroke="currentColor"/>')
    for share in (0.0, 0.5, 1.0):
        body.append(
            word(112 + 420 * share, y + 8, f"{low + share * (high - low):.0f}", small=True, anchor="middle")
        )
    return svg("".join(body), 560, y + 16, title, said)


def path(d: str, width: float = 1.0) -> str:
    """A line along ``d``, ``width`` px wide."""
    return f'<path d="{d}" stroke="currentColor" stroke-width="{width:g}" fill="none"/>'


def ring(x: float, y: float, r: float) -> str:
    """A circle."""
    return (
        f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{r:g}" fill="none" stroke="currentColor" stroke-width="1.6"/>'
    )
