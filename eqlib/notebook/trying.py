"""Try other amounts: the same disturbance with another volume, strength, temperature or plunger."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from eqlib.assess.asks.shift import Direction
from eqlib.chem.disturb import Disturbance, disturb
from eqlib.chem.state import State
from eqlib.chem.stress import Stress
from eqlib.errors import EqlibError
from eqlib.lab.drawing import SHAPES, Vessel, shelf
from eqlib.lab.look import lightness
from eqlib.lab.scene import Scene
from eqlib.notebook.form import KEYS, Slider
from eqlib.notebook.output import text
from eqlib.writing import number

WAYS = dict(Direction.choices)


class Trying:
    """The sliders and switches of one scene, and what they show."""

    def __init__(self, scene: Scene, key: str) -> None:
        self.scene, self.key = scene, f"{key}/try"
        self.sliders = sliders_of(scene)
        self.start: dict[str, Any] = {slider.name: slider.first for slider in self.sliders}
        self.start |= {"above": False, "grey": False, "alone": False}
        self.at, self.problem = dict(self.start), ""
        self.past: list[dict[str, Any]] = []
        self.kept: dict[tuple[str, str, bool], Vessel] = {}
        self.turns = 0  # how often they were drawn afresh
        self.drawn = dict(self.start)  # where the controls stood when they were last drawn afresh
        self._work()

    # -- moving --------------------

    def move(self, values: Mapping[str, Any]) -> None:
        """Take over the controls' values."""
        found = {name: values.get(f"{self.key}/{name}", self.at[name]) for name in self.start}
        if found != self.at:
            self.past.append(self.at)
            self.at = found
            self._work()

    def undo(self) -> None:
        """One move back."""
        if self.past:
            self.at = self.drawn = self.past.pop()
            self.turns += 1
            self._work()

    def reset(self) -> None:
        """As in the question."""
        self.past.append(self.at)
        self.at = self.drawn = dict(self.start)
        self.turns += 1
        self._work()

    def _work(self) -> None:
        d = self.scene.d
        try:
            made = disturb(d.before.mixture, self._stress(d.stress))
            if self.at["alone"]:
                made = made.without(*(r for r in d.rivals if r in made.mixture.reactions))
        except EqlibError as error:
            self.problem = str(error)
            return
        self.problem = ""
        self.now = Scene(made, self.scene.kind, "")
        self.now.nm = self.scene.nm  # one wavelength for the whole page

    def _stress(self, stress: Stress) -> Stress:
        changes: dict[str, Any] = {}
        if "volume" in self.at:
            changes["volume"] = max(self.at["volume"], 1e-3) / 1000
        if "celsius" in self.at:
            changes["T"] = self.at["celsius"] + 273.15
        if "strength" in self.at:
            factor = self.at["strength"] / self.start["strength"]
            changes["amounts"] = tuple((name, value * factor) for name, value in stress.amounts)
        if "mmol" in self.at:
            changes["amounts"] = ((stress.amounts[0][0], self.at["mmol"] / 1000),)
        return replace(stress, **changes)

    # -- showing --------------------

    def html(self) -> str:
        """The controls."""
        rows = "".join(one.html(text(f"{self.key}/{one.name}"), self.drawn[one.name]) for one in self.sliders)
        return f'<div class="try" data-turn="{self.turns}"><h4>Try other amounts</h4>{rows}<div class="picks" style="margin:4px 0 0">{self._switches()}</div></div>'

    def _switches(self) -> str:
        offered = [("above", "from above"), ("grey", "in grey")]
        if self.scene.d.rivals:
            offered.append(("alone", "without the rival"))
        made = "".join(
            f'<label><input type="checkbox" data-slide="1" name="{text(self.key)}/{name}" {KEYS}{" checked" if self.drawn[name] else ""}>{words}</label>'
            for name, words in offered
        )
        return (
            made
            + '<button type="button" class="quiet" data-do="undo">Undo</button><button type="button" class="quiet" data-do="reset">Reset</button>'
        )

    def picture(self) -> str:
        """The vessels with these amounts, beside those of the question, and Q beside K."""
        view, grey = ("above" if self.at["above"] else "side"), self.at["grey"]
        d = self.now.d
        cast: list[Vessel | str] = [
            self._fixed(self.scene.d.before, "before", view, grey),
            "→",
            self.now.vessel(d.after, "after", view=view, grey=grey),
            "|",
            self.now.vessel(self.now.control, "control", view=view, grey=grey, more=(self.now.twin,)),
            "|",
            self._fixed(self.scene.d.after, "as in the question", view, grey),
        ]
        words = "; ".join(f"{v.name}: {', '.join(v.lines)}" for v in cast if not isinstance(v, str))
        said = self.problem or self.sentence()
        line = self.now.line.svg("Q beside K", said, moving=False) if self.now.line else ""
        return f'{shelf(cast, "With these amounts", words)}{line}<p role="status">{text(said)}</p>'

    def _fixed(self, state: State, name: str, view: str, grey: bool) -> Vessel:
        """A vessel that no slider changes, worked out once for each way of looking at it."""
        if (name, view, grey) not in self.kept:
            self.kept[name, view, grey] = self.scene.vessel(state, name, view=view, grey=grey)
        return self.kept[name, view, grey]

    def sentence(self) -> str:
        """What these amounts do, in one line."""
        d = self.now.d
        view = "above" if self.at["above"] else "side"
        looks = lightness(self.scene.seen(d.before, view), self.now.seen(d.after, view))
        label, Q = self.now.line.marks[-1] if self.now.line else ("at once", d.Q)
        sign = "<" if Q < d.K / 1.001 else ">" if Q > d.K * 1.001 else "="
        return f"{label[:1].upper()}{label[1:]}: Q = {number(Q)} {sign} K = {number(d.K)}. It goes {WAYS[d.direction]}; {looks} from {'above' if view == 'above' else 'the side'}."

    def say(self) -> dict[str, str]:
        """The numbers beside the sliders."""
        return {f"{self.key}/{one.name}": one.said(self.at[one.name]) for one in self.sliders}


def sliders_of(scene: Scene) -> list[Slider]:
    """What can be changed in a stress."""
    stress = scene.d.stress
    found: list[Slider] = []
    if stress.kind in ("add_solution", "dilute", "change_volume"):
        now = 1000 * (stress.volume or 0.0)
        room = SHAPES[scene.kind].area_cm2 * SHAPES[scene.kind].height_cm - 1000 * scene.d.before.volume
        top = max(3 * now, 0.0) if stress.kind == "change_volume" else max(now, min(4 * now, room))
        low = 0.2 * now if stress.kind == "change_volume" else 0.0
        found.append(Slider("volume", _tidy(low), _tidy(top), now, _step(top), "mL", "Volume"))
    if stress.kind == "add_solution":
        main = 1000 * _acting(scene.d)
        words = "Strength of the bottle"
        found.append(Slider("strength", 0.0, _tidy(3 * main), main, _step(3 * main), "mM", words))
    if stress.kind == "heat_to":
        found.append(Slider("celsius", 1, 95, stress.kelvin - 273.15, 1, "°C", "Temperature of the bath"))
    if stress.kind in ("add_solid", "add", "remove", "add_inert"):
        now = 1000 * stress.amounts[0][1]
        found.append(Slider("mmol", 0.0, _tidy(4 * now), now, _step(4 * now), "mmol", "Amount"))
    return found


def _acting(d: Disturbance) -> float:
    """mol/L of what acts in the bottle: a species of the first reaction, else of a rival, else the strongest."""
    named = dict(d.stress.amounts)
    for reactions in ((d.reaction,), d.rivals):
        acting = [value for name, value in named.items() if any(name in r.coefficients for r in reactions)]
        if acting:
            return max(acting)
    return max(named.values())


def _step(top: float) -> float:
    return float(f"{top / 100:.0e}") or 0.01


def _tidy(value: float) -> float:
    return float(f"{value:.2g}")
