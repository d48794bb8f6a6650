"""Two pictures of the notebook on heat and pressure: a syringe seen from two sides, and a tube in a bath.

``pushed`` and ``bathed`` are drawn by ``explore`` in the notebook's cells; nothing of them is marked.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache, lru_cache
from typing import Any

from eqlib.chem.catalogue import system
from eqlib.chem.disturb import Disturbance, disturb
from eqlib.chem.mixture import Mixture
from eqlib.chem.reactions import Reaction
from eqlib.chem.state import State
from eqlib.chem.stress import Stress
from eqlib.lab.colour import absorbance, colour_of
from eqlib.lab.curves import bars
from eqlib.lab.drawing import SHAPES, svg
from eqlib.writing import number

BORE_CM, AREA_CM2 = SHAPES["syringe"].width_cm, SHAPES["syringe"].area_cm2
FILLED = 0.025  # mol NO2 per litre: even pushed to 8 mL it stays a gas at 25 °C
NM = 546  # green light, of which NO2 takes little: a barrel of gas can still be read along its whole length


@cache
def _in_mol_per_litre() -> tuple[Reaction, ...]:
    """The reaction with Kc (L/mol), as the questions of the notebook have it; the catalogue gives Kp."""
    reaction = system("nitrogen-dioxide").reactions[0]
    return (reaction.as_basis("c", reaction.T),)


@lru_cache(maxsize=64)
def _push(millilitres: float) -> Disturbance:
    gas = Mixture({"NO2(g)": FILLED}, reactions=_in_mol_per_litre(), volume=0.020)
    return disturb(gas, Stress.change_volume(millilitres / 1000))


def pushed(at: Mapping[str, Any]) -> tuple[str, str]:
    """Before and now, from the side and along the axis. ``at``: "volume" in mL, "moment" ("at once" or later)."""
    push = _push(at["volume"])
    now = push.at_once if at["moment"] == "at once" else push.after
    seen = [(name, _views(state)) for name, state in (("before", push.before), (at["moment"], now))]
    (side_was, axis_was), (side, axis) = (one[1] for one in seen)
    told = (
        f"From the side A = {side.A:.2f} (before: {side_was.A:.2f}); along the axis A = {axis.A:.2f} "
        f"(before: {axis_was.A:.2f}), at {NM} nm. Q = {number(push.Q if at['moment'] == 'at once' else push.K)}, "
        f"K = {number(push.K)} L/mol."
    )
    return _two_views(seen, title="The syringe from the side and along its axis", desc=told), told


class _View:
    """A colour and an absorbance along one line of sight, in cm."""

    def __init__(self, state: State, path_cm: float) -> None:
        self.colour = colour_of(state, path_cm).hex
        self.A = absorbance(state, NM, path_cm)
        self.path_cm = path_cm


def _views(state: State) -> tuple[_View, _View]:
    length = 1000 * state.gas_volume / AREA_CM2
    return _View(state, BORE_CM), _View(state, length)


def _two_views(seen: list[tuple[str, tuple[_View, _View]]], title: str, desc: str) -> str:
    """Before and now, one under the other: the barrel from the side, and the disc that the axis shows."""
    rows = []
    for row, (name, (side, axis)) in enumerate(seen):
        y, length = 120 * row, 300 * axis.path_cm / (20.0 / AREA_CM2)
        rows.append(
            f'<g transform="translate(0,{y})"><text x="0" y="16" font-weight="600">{name}</text>'
            f'<rect x="90" y="24" width="320" height="76" rx="8" fill="#fff" stroke="#c6ccd4"/>'
            f'<rect x="100" y="30" width="{length:.1f}" height="64" fill="{side.colour}"/>'
            f'<path d="M100 30 H404 M100 94 H404 M100 30 V94" fill="none" stroke="#566170" stroke-width="2"/>'
            f'<path d="M{100 + length:.1f} 30 h9 v64 h-9 z M{109 + length:.1f} 62 H440" fill="#8b95a3" stroke="#566170"/>'
            f'<text x="250" y="16" text-anchor="middle" font-size="12.5">from the side: {side.path_cm:.2f} cm, A = {side.A:.2f}</text>'
            f'<circle cx="560" cy="62" r="38" fill="#fff" stroke="#c6ccd4"/>'
            f'<circle cx="560" cy="62" r="32" fill="{axis.colour}" stroke="#566170" stroke-width="2"/>'
            f'<text x="560" y="16" text-anchor="middle" font-size="12.5">along the axis: {axis.path_cm:.1f} cm, A = {axis.A:.2f}</text></g>'
        )
    return svg("".join(rows), 680, 120 * len(seen), title, desc)


@lru_cache(maxsize=64)
def _warm(celsius: float) -> Disturbance:
    tube = Mixture({"NO2(g)": 0.015}, reactions=_in_mol_per_litre(), volume=0.020)
    return disturb(tube, Stress.heat_to(273.15 + celsius))


def bathed(at: Mapping[str, Any]) -> tuple[str, str]:
    """A sealed tube at 25 °C and in the bath: its colour, K, where the nitrogen is. ``at``: "celsius"."""
    warmed = _warm(at["celsius"])
    bench, now = warmed.before, warmed.after
    share = 100 * now["NO2(g)"] / 0.015
    told = (
        f"At {at['celsius']:g} °C Kc is {number(warmed.K)} L/mol (at 25 °C {number(bench.K(bench.reactions[0]))}); "
        f"{share:.0f} % of the nitrogen is in NO₂."
    )
    tubes = "".join(
        f'<g transform="translate({20 + 150 * i},0)"><rect x="0" y="0" width="76" height="126" rx="10" fill="#fff" stroke="#c6ccd4"/>'
        f'<rect x="18" y="10" width="40" height="106" rx="20" fill="{colour_of(state, 1.6).hex}" stroke="#566170" stroke-width="2"/>'
        f'<text x="38" y="146" text-anchor="middle" font-weight="600">{name}</text></g>'
        for i, (name, state) in enumerate((("25 °C", bench), (f"{at['celsius']:g} °C", now)))
    )
    there = f"{at['celsius']:g} °C"
    rows = [
        ("in NO₂", {"25 °C": 1000 * bench["NO2(g)"], there: 1000 * now["NO2(g)"]}),
        ("in N₂O₄", {"25 °C": 2000 * bench["N2O4(g)"], there: 2000 * now["N2O4(g)"]}),
    ]
    picture = svg(tubes, 320, 156, "The tube", told)
    return picture + bars(rows, unit="mmol N/L", title="Where the nitrogen is", desc=told), told
