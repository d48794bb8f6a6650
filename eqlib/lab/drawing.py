"""The one drawing of this project: vessels (lines and bars: ``curves``); SVG text made of numbers.

The same picture stands in a panel, in what a notebook keeps of an answer, in feedback and in the prep
sheet. Words and lines take the colour of the text around them (``currentColor``), so they follow a dark
theme; liquids stand on a small white card, because their colour was computed for white light behind them.
Every picture has a title and a description. What a film moves carries a ``data-id``: ``shapes`` gives the
attributes of each such element, so that the first picture and every later frame are made by the same lines.
"""

from __future__ import annotations

import base64
import math
import textwrap
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from html import escape

from eqlib.chem.catalogue import SolidLook, solid_look
from eqlib.chem.state import State
from eqlib.errors import EqlibError
from eqlib.lab.colour import SEEN_FROM, Colour, colour_of

CARD, GLASS, EDGE = "#ffffff", "#566170", "#c6ccd4"
_FONT = 'font-family="system-ui,-apple-system,Segoe UI,Roboto,DejaVu Sans,sans-serif"'
_FLOOR, _SLOT, _LINE = 154, 148, 17  # px: where vessels stand, the width of a place, a row of words
_SCALE = 0.86  # of SHAPES' px on the page; words keep their size
_ROW, _NAME = 24, 17  # letters that fit under a vessel, plain and bold
_ROUND = {"well": 9, "cell": 3, "flask": 14}  # px, of the floor's corners
#: Vessels that a gas fills from wall to wall: no level, no meniscus.
GASES = ("syringe", "sealed", "vessel")
ROUND_FLOORED = ("tube", "test tube")
PLUNGED = ("syringe", "vessel", "barrel")


@dataclass(frozen=True)
class Shape:
    """A kind of vessel: inside width and height in cm, floor area in cm2, and its size on the page (px)."""

    width_cm: float
    height_cm: float
    area_cm2: float
    px: tuple[int, int]


#: A well of a usual 24-well plate is 15.6 mm wide and holds 3.4 mL (common practice, no source).
SHAPES = {
    "well": Shape(1.56, 1.78, 1.91, (100, 114)),
    "tube": Shape(1.0, 7.6, 0.785, (34, 130)),
    "test tube": Shape(1.5, 6.5, 1.77, (44, 130)),
    "cell": Shape(1.0, 4.0, 1.0, (64, 122)),
    "flask": Shape(4.0, 4.0, 12.6, (100, 100)),
    # The bore of a usual 20 mL syringe (common practice, no source), drawn out to hold 40 mL.
    "syringe": Shape(1.95, 13.7, 2.99, (46, 130)),
    "sealed": Shape(2.0, 12.0, 3.14, (42, 130)),
    # A litre of hot gas under a piston (a thought experiment), looked at through a cell 1 cm deep.
    "vessel": Shape(1.0, 26.0, 50.0, (78, 124)),
    # A 60 mL syringe, stoppered, with a liquid and gas over it (bore about 2.6 cm: common practice, no source).
    "barrel": Shape(2.6, 12.0, 5.3, (60, 126)),
}


@dataclass(frozen=True)
class Vessel:
    """One vessel as it is drawn. ``level`` is the filled share of its height, ``colour`` "#rrggbb".

    ``solid`` is (colour, share of the height) of what lies at the bottom, ``cloud`` (colour, share of the
    light it stops) of what hangs in the liquid. ``name`` and ``lines`` stand under it, ``adding`` beside the
    bottle above it. ``view`` is "side" or "above". ``bath`` is the temperature (°C) of the water around it.
    ``lid`` is the share of the height under the plunger of a "barrel"; ``closed``: a stopper is in its mouth.
    """

    kind: str
    level: float
    colour: str
    name: str = ""
    lines: tuple[str, ...] = ()
    solid: tuple[str, float] | None = None
    cloud: tuple[str, float] | None = None
    view: str = "side"
    adding: str = ""
    drops: bool = True
    bath: float | None = None
    lid: float = 0.0
    closed: bool = False

    def grey(self) -> Vessel:
        """The same without colour, by luminance."""
        return replace(
            self,
            colour=grey_of(self.colour),
            solid=self.solid and (grey_of(self.solid[0]), self.solid[1]),
            cloud=self.cloud and (grey_of(self.cloud[0]), self.cloud[1]),
        )


def vessel_of(
    state: State,
    name: str = "",
    kind: str = "well",
    view: str = "side",
    lines: Iterable[str] = (),
    settled: bool = True,
    grey: bool = False,
    adding: str = "",
    seen: Colour | None = None,
) -> Vessel:
    """The Vessel that holds ``state``: true colour through its own path, true level.

    ``settled``: a solid lies at the bottom and the liquid over it is clear; otherwise it hangs as a cloud.
    ``seen``: its Colour, where that is worked out already. Raises EqlibError for a kind of vessel that is not in SHAPES.
    """
    if kind not in SHAPES:
        raise EqlibError(f"there is no drawing of a {kind!r}; write one of {', '.join(SHAPES)}")
    shape = SHAPES[kind]
    if seen is None:
        seen = colour_of(state, shape.width_cm, view, area_cm2=shape.area_cm2, cloudy=not settled)
    millilitres = 1000.0 * (state.gas_volume if kind in GASES else state.volume)
    if kind in ROUND_FLOORED:  # half a sphere holds a third of a radius less than a cylinder as deep
        millilitres += shape.area_cm2 * shape.width_cm / 6
    level = millilitres / (shape.area_cm2 * shape.height_cm) if kind != "sealed" else 1.0
    solid = _bed(state) if settled else None
    cloud = ("#" + "".join(f"{_screen(v):02x}" for v in seen.cloud.body), seen.cloud.share)
    made = Vessel(
        kind,
        min(max(level, 0.02), 1.0 if kind == "sealed" else 0.97),
        seen.hex,
        name,
        tuple(lines),
        solid,
        cloud if not settled and seen.cloud.share > 0.02 else None,
        view,
        adding,
        lid=min((millilitres + 1000.0 * state.gas_volume) / (shape.area_cm2 * shape.height_cm), 0.93),
    )
    return made.grey() if grey else made


def _bed(state: State) -> tuple[str, float] | None:
    """The layer that a settled solid makes: its colour, and a height that grows slowly with the amount."""
    there = {n: v for n, v in state.solids.items() if v >= SEEN_FROM and look_of(n) is not None}
    if not there:
        return None
    most = max(there, key=lambda name: there[name])
    look, millimoles = look_of(most), 1000.0 * there[most] * state.volume
    return look.hex if look else CARD, min(0.07 + 0.1 * math.sqrt(millimoles), 0.4)


@cache
def look_of(solid: str) -> SolidLook | None:
    """How a solid looks (the catalogue's SolidLook), or None; asked for in every frame, so it is kept."""
    return solid_look(solid)


def _screen(linear: float) -> int:
    value = 12.92 * linear if linear <= 0.0031308 else 1.055 * linear ** (1 / 2.4) - 0.055
    return max(0, min(255, round(255 * value)))


def grey_of(colour: str) -> str:
    """The grey of the same luminance (IEC 61966-2-1 weights)."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [v / 12.92 if v <= 0.04045 else ((v + 0.055) / 1.055) ** 2.4 for v in parts]
    return "#" + f"{_screen(0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]):02x}" * 3


# -- one vessel --------------------


def shapes(v: Vessel) -> dict[str, tuple[str, dict[str, str]]]:
    """Element name -> (tag, attributes) of the contents of a vessel: everything that a film may change."""
    w, h = SHAPES[v.kind].px
    if v.view == "above":
        return _above(v, w)
    y = h * (1 - v.level)
    if v.kind in PLUNGED:
        filled = {"x": "0", "y": _n(y), "width": _n(w), "height": _n(h - y), "fill": v.colour}
        y = h * (1 - v.lid) if v.kind == "barrel" else y
        return {
            "liquid": ("rect", filled),
            "plunger": (
                "path",
                {
                    "d": f"M1 {_n(y - 9)} H{w - 1} V{_n(y)} H1 Z M{w / 2 - 4} {_n(y - 9)} V-22 H{w / 2 + 4} V{_n(y - 9)}",
                    "fill": "#8b95a3",
                    "stroke": GLASS,
                },
            ),
        }
    if v.kind == "sealed":
        return {"liquid": ("path", {"d": _capsule(w, h), "fill": v.colour})}
    r = _ROUND.get(v.kind, w / 2)
    fill = f"M0 {_n(y)} H{w} V{_n(h - r)} Q{w} {h} {_n(w - r)} {h} H{_n(r)} Q0 {h} 0 {_n(h - r)} Z"
    dip = f"M0 {_n(y - 3)} Q3 {_n(y + 1.5)} {_n(min(16, w / 3))} {_n(y + 1.5)} H{_n(w - min(16, w / 3))} Q{w - 3} {_n(y + 1.5)} {w} {_n(y - 3)}"
    made = {
        "liquid": ("path", {"d": fill, "fill": v.colour}),
        "skin": ("path", {"d": dip, "fill": v.colour, "stroke": "#00000038", "stroke-width": "1"}),
    }
    colour, share = v.cloud or (CARD, 0.0)
    made["cloud"] = (
        "path",
        {
            "d": _specks(w, h, y, r) if v.cloud else "M0 0",
            "fill": colour,
            "stroke": "#0000002b",
            "stroke-width": "0.5",
            "opacity": _n(min(1.0, 1.4 * share)),
        },
    )
    colour, share = v.solid or (CARD, 0.0)
    made["solid"] = (
        "path",
        {
            "d": _heap(w, h, h * share, r),
            "fill": colour,
            "stroke": "#59606a",
            "stroke-width": "1",
            "opacity": "1" if share else "0",
        },
    )
    return made


def _capsule(w: float, h: float) -> str:
    """A tube that was melted shut: round at both ends, drawn out at the top."""
    r = w / 2
    return f"M0 {r:g} Q0 3 {r:g} 3 Q{w} 3 {w} {r:g} V{h - r:g} Q{w} {h} {r:g} {h} Q0 {h} 0 {h - r:g} Z"


def _bath(v: Vessel, w: int, h: int) -> str:
    """The water around a vessel, with ice where it is near freezing and steam where it is hot."""
    left, right, top, floor = -26, w + 26, 30, h + 12
    water = f'<path d="M{left} {top} q8 -4 16 0 t16 0 t16 0 H{right} V{floor} H{left} Z" fill="#dfeefa"/>'
    wall = f'<path d="M{left} {top - 16} V{floor} H{right} V{top - 16}" fill="none" stroke="{GLASS}" stroke-width="1.6"/>'
    more = ""
    celsius = 20.0 if v.bath is None else v.bath
    if celsius < 8:
        for x, y in ((left + 5, top - 4), (right - 19, top + 2), (right - 17, top + 34)):
            more += f'<rect x="{x}" y="{y}" width="13" height="12" rx="2" fill="#f7fbff" stroke="#8fa9bd"/>'
    elif celsius > 45:
        for x in (left + 9, right - 9):
            more += f'<path d="M{x} {top - 8} q-5 -7 0 -13 t0 -13" fill="none" stroke="#8b95a3" stroke-width="1.4"/>'
    return water + more + wall


def _n(value: float) -> str:
    return f"{value:.1f}".rstrip("0").rstrip(".")


def _specks(w: float, h: float, y: float, r: float) -> str:
    """Grains all through the liquid, at places that are always the same."""
    grains = []
    for i in range(46):
        size = 1.0 + (i % 3) * 0.6
        x = 5 + (i * 37.0) % max(w - 10, 1)
        at = y + 5 + (i * 0.618034 % 1) * max(h - y - 10 - (r if x < r or x > w - r else 0), 1)
        grains.append(
            f"M{_n(x - size)} {_n(at)} a{size:.1f} {size:.1f} 0 1 0 {2 * size:.1f} 0 a{size:.1f} {size:.1f} 0 1 0 {-2 * size:.1f} 0"
        )
    return " ".join(grains)


def _heap(w: float, h: float, height: float, r: float) -> str:
    """A layer with an uneven top, inside the rounded floor."""
    t = h - max(height, 4.0)
    top = f"M1 {_n(t + 2)} q{_n(w / 8)} -4 {_n(w / 4)} -1 t{_n(w / 4)} 0 t{_n(w / 4)} -1 T{w - 1} {_n(t + 2)}"
    side = min(r, max(height, 4.0) - 1)
    return f"{top} V{_n(h - side)} Q{w - 1} {h - 1} {_n(w - side)} {h - 1} H{_n(side)} Q1 {h - 1} 1 {_n(h - side)} Z"


def _above(v: Vessel, w: int) -> dict[str, tuple[str, dict[str, str]]]:
    """Looked into from above: the floor of the vessel through the depth of its liquid."""
    r = min(w, 100) / 2
    colour, share = v.solid or (CARD, 0.0)
    return {
        "liquid": ("circle", {"cx": _n(w / 2), "cy": "57", "r": _n(r), "fill": v.colour}),
        "solid": (
            "circle",
            {
                "cx": _n(w / 2),
                "cy": "57",
                "r": _n(r * 0.8),
                "fill": colour,
                "opacity": "0.85" if share else "0",
            },
        ),
    }


def _glass(v: Vessel) -> str:
    """The walls, drawn over the contents."""
    w, h = SHAPES[v.kind].px
    line = f'fill="none" stroke="{GLASS}" stroke-width="2" stroke-linejoin="round"'
    if v.view == "above":
        return f'<circle cx="{w / 2:g}" cy="57" r="{min(w, 100) / 2 + 1:g}" {line}/>'
    if v.kind in ("syringe", "barrel"):
        marks = " ".join(f"M{w} {h * i / 10:g} h-{10 if i % 5 == 0 else 6}" for i in range(1, 10))
        return f'<path d="M0 -4 V{h} H{w / 2 - 4:g} V{h + 10} H{w / 2 + 4:g} V{h} H{w} V-4" {line}/><path d="{marks}" {line} stroke-opacity=".55"/>'
    if v.kind == "vessel":
        return f'<path d="M-2 -4 V{h + 2} H{w + 2} V-4" fill="none" stroke="{GLASS}" stroke-width="5"/>'
    if v.kind == "sealed":
        return f'<path d="{_capsule(w, h)}" {line}/><path d="M{w / 2:g} 3 v-12" {line}/>'
    r = _ROUND.get(v.kind, w / 2)
    lip = 0 if v.kind == "cell" else 6
    if v.closed:
        shine = (
            f'<path d="M{0.12 * w:g} 9 L-1 -15 H{w + 1} L{0.88 * w:g} 9 Z" fill="#4b525c" stroke="{GLASS}"/>'
        )
    elif v.bath is not None:  # it is warmed or cooled, so it is covered, loosely
        shine = f'<path d="M-5 -2 V-9 Q-5 -13 0 -13 H{w} Q{w + 5} -13 {w + 5} -9 V-2" fill="#c3cad3" stroke="{GLASS}"/>'
    else:
        shine = ""
    walls = f"M{-lip} -7 H0 V{h - r:g} Q0 {h} {r:g} {h} H{w - r:g} Q{w} {h} {w} {h - r:g} V-7 H{w + lip}"
    shine += f'<path d="M6 8 V{h - 18:g}" stroke="#ffffff" stroke-opacity=".45" stroke-width="3" stroke-linecap="round"/>'
    return shine + f'<path d="{walls}" {line}/>'


def rows_of(v: Vessel) -> list[str]:
    """What stands under a vessel, its name first, broken into rows that are no wider than its place."""
    below = [row for words in v.lines if words for row in textwrap.wrap(str(words), _ROW)]
    return [*textwrap.wrap(v.name, _NAME), *below]


def _drawn(v: Vessel, x: float, key: str, rows: int) -> str:
    """One vessel on its card, with its bottle above and its words below; ``key`` begins its data-ids."""
    w, h = SHAPES[v.kind].px
    bathed = v.bath is not None and v.view == "side"
    left, card_w = (_SLOT - _SCALE * w) / 2, max(w + (60 if bathed else 28), 76)
    # The inside of a vessel in a bath: no water there.
    inside = f"M0 -7 V{h - w / 2:g} Q0 {h} {w / 2:g} {h} Q{w} {h} {w} {h - w / 2:g} V-7 Z"
    inside = _capsule(w, h) if v.kind == "sealed" else inside
    contents = "".join(element(tag, at, f"{key}{name}") for name, (tag, at) in shapes(v).items())
    bottle = _bottle(v) if v.adding else ""
    body = (
        f'<rect x="{w / 2 - card_w / 2:g}" y="-18" width="{card_w:g}" height="{h + 32}" rx="10" fill="{CARD}" stroke="{EDGE}"/>'
        + (_bath(v, w, h) + f'<path d="{inside}" fill="{CARD}"/>' if bathed else "")
        + contents
        + _glass(v)
    )
    named = len(textwrap.wrap(v.name, _NAME))
    words = "".join(
        word(
            _SLOT / 2,
            _FLOOR + 33 + _LINE * i,
            line,
            small=i >= named,
            bold=i < named,
            key=f"{key}line{i}",
        )
        for i, line in enumerate(_padded(v, rows))
    )
    return f'<g transform="translate({x:g},0)">{bottle}<g transform="translate({left:g},{_FLOOR - _SCALE * h:g}) scale({_SCALE})">{body}</g>{words}</g>'


def _padded(v: Vessel, rows: int) -> list[str]:
    """The rows under a vessel, empty ones after them, so that every frame of a film has the same."""
    found = rows_of(v)
    return found + [""] * (rows - len(found))


def _bottle(v: Vessel) -> str:
    """What is about to be done, above the vessel: a dropper for a liquid, otherwise words alone."""
    if not v.drops:
        return word(_SLOT / 2, 18, v.adding, small=True)
    x = _SLOT / 2 - 7
    return (
        f'<g fill="{CARD}" stroke="{GLASS}" stroke-width="1.3"><path d="M{x} 20 h14 v5 l-4 5 h-6 l-4 -5 z"/>'
        f'<path d="M{x + 7} 33 q-4 6 0 8 q4 -2 0 -8"/></g>' + word(_SLOT / 2, 12, v.adding, small=True)
    )


def element(tag: str, attributes: Mapping[str, str], key: str) -> str:
    """An element that a film may change."""
    return f'<{tag} data-id="{escape(key)}" ' + " ".join(f'{k}="{v}"' for k, v in attributes.items()) + "/>"


def word(
    x: float,
    y: float,
    words: object,
    small: bool = False,
    bold: bool = False,
    anchor: str = "middle",
    key: str = "",
) -> str:
    """Words at a place of a picture."""
    size, weight = (12.5 if small else 13.5), (' font-weight="600"' if bold else "")
    mark = f' data-id="{escape(key)}"' if key else ""
    return f'<text{mark} x="{x:g}" y="{y:g}" text-anchor="{anchor}" font-size="{size}"{weight}>{escape(str(words))}</text>'


# -- whole pictures --------------------


def svg(body: str, width: float, height: float, title: str, desc: str = "") -> str:
    """An SVG element of these px, sharp at any size, with its title and description."""
    said = f"<title>{escape(title)}</title>" + (f"<desc>{escape(desc)}</desc>" if desc else "")
    label = escape(f"{title}. {desc}" if desc else title, quote=True)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:g} {height:g}" width="{width:g}" height="{height:g}" '
        f'role="img" aria-label="{label}" fill="currentColor" {_FONT} style="max-width:100%;height:auto;overflow:visible">{said}{body}</svg>'
    )


def as_image(picture: str, words: str, more: str = "") -> str:
    """An ``<img>`` that shows a drawing, with ``more`` attributes; inside an image a browser runs no script
    and loads nothing.
    """
    data = base64.b64encode(picture.encode(errors="replace")).decode()
    return f'<img alt="{escape(words)}" src="data:image/svg+xml;base64,{data}"{more}>'


def shelf(items: Sequence, title: str, desc: str = "", rows: int = 0) -> str:
    """Vessels in a row. ``items`` are Vessels, "→" for what comes next, "|" for a line between two groups.
    ``rows``: room for at least so many rows of words under them.

    Each vessel's data-ids begin with its place among the vessels: "0liquid", "0line1", "1liquid" ...
    """
    x, body, number = 0.0, [], 0
    vessels = [item for item in items if isinstance(item, Vessel)]
    if not vessels:
        raise EqlibError("there is no vessel to draw; give at least one Vessel")
    lines = max(rows, *(len(rows_of(v)) for v in vessels))
    top = 0 if any(v.adding for v in vessels) else min(_FLOOR - _SCALE * _crown(v) for v in vessels)
    height = _FLOOR + 38 + _LINE * (lines - 1) - top
    for item in items:
        if isinstance(item, Vessel):
            body.append(_drawn(item, x, str(number), rows))
            x, number = x + _SLOT, number + 1
        elif item == "|":
            body.append(
                f'<path d="M{x + 11:g} {_FLOOR - 116} V{_FLOOR + 14}" stroke="currentColor" stroke-opacity=".3"/>'
            )
            x += 22
        else:
            body.append(word(x + 4, _FLOOR - 48, item))
            x += 8
    return svg(f'<g transform="translate(0,{-top:g})">{"".join(body)}</g>', x, height, title, desc)


def said_of(items: Iterable) -> str:
    """The vessels among ``items`` in words: "before: orange, 2.00 mL; after: ..."."""
    return "; ".join(f"{v.name}: {', '.join(v.lines)}" for v in items if isinstance(v, Vessel))


def _crown(v: Vessel) -> int:
    """How far a vessel with its card, stopper or plunger reaches over its floor, px."""
    return SHAPES[v.kind].px[1] + (24 if v.kind in PLUNGED else 20)


def frame(vessels: Iterable[Vessel], rows: int = 0) -> dict[str, dict[str, str]]:
    """The attributes of all moving elements of a shelf of these vessels, by data-id (text under "text")."""
    made = {}
    for number, v in enumerate(vessels):
        for name, (_tag, attributes) in shapes(v).items():
            made[f"{number}{name}"] = attributes
        for i, line in enumerate(_padded(v, rows)):
            made[f"{number}line{i}"] = {"text": line}
    return made
