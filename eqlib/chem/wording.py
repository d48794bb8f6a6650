"""Names, numbers and amounts as the explanations write them."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import TYPE_CHECKING

from eqlib.chem.reactions import Reaction
from eqlib.chem.species import species

if TYPE_CHECKING:
    from eqlib.chem.state import State
    from eqlib.chem.stresses import Disturbance

Shown = Callable[[str], str]
SAME = 1e-6
"""A relative difference that is only rounding."""
WAYS = {"forward": "forward (left to right)", "reverse": "in reverse (right to left)"}


class Wording:
    """What every sentence about one disturbance needs; ``shown`` writes a species, plainly or otherwise."""

    def __init__(self, d: Disturbance, shown: Shown):
        self.d = d
        self.shown = shown
        self.reaction = d.reaction
        self.unit = "bar" if d.reaction.basis == "p" else "mol/L"

    def amount(self, state: State, name: str) -> float:
        """mol of a species."""
        return state.amounts.get(name, 0.0)

    def jumped(self, name: str) -> bool:
        """Whether the stress itself, and not a reaction, changed the amount."""
        old, new = self.amount(self.d.before, name), self.amount(self.d.at_once, name)
        return abs(new - old) > SAME * max(new, old)

    def value(self, state: State, name: str) -> float:
        """Its concentration, or partial pressure where K is in bar."""
        if self.unit == "bar" and species(name).phase == "g":
            return state.pressures[name]
        return state[name]

    def given(self, state: State, name: str) -> str:
        """That value as text."""
        return number(self.value(state, name))

    def bracket(self, name: str) -> str:
        """``[SCN^-]`` or ``P(NO2)``."""
        shown = self.shown(name)
        return f"P({shown})" if self.unit == "bar" and species(name).phase == "g" else f"[{shown}]"

    def equation(self, r: Reaction) -> str:
        """An equation in the style of the species."""
        return str(r) if self.shown is str else r.unicode

    def styled(self, text: str) -> str:
        """A description of the stress in the style of the species."""
        if self.shown is str:
            return text
        for name in sorted(self.d.stress.species, key=len, reverse=True):
            text = re.sub(re.escape(name), self.shown(name), text)
        return text


def number(value: float) -> str:
    """Three significant figures."""
    return "0" if value == 0 else f"{value:.3g}"


def volume(litres: float) -> str:
    """Litres from half a litre on, millilitres below."""
    return f"{litres:.4g} L" if litres >= 0.5 else f"{litres * 1000:.4g} mL"
