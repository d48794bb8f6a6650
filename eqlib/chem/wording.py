"""Names, numbers and amounts as the explanations write them."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from typing import TYPE_CHECKING

from eqlib.chem.reactions import Reaction
from eqlib.chem.species import species

if TYPE_CHECKING:
    from eqlib.chem.state import State
    from eqlib.chem.stresses import Disturbance

Shown = Callable[[str], str]
_RAISED = str.maketrans("-0123456789", "⁻⁰¹²³⁴⁵⁶⁷⁸⁹")
SAME = 1e-6
"""A relative difference that is only rounding."""
WAYS = {"forward": "forward (left to right)", "reverse": "in reverse (right to left)"}


class Wording:
    """What every sentence about one disturbance needs; ``shown`` writes a species, plainly or otherwise."""

    def __init__(self, d: Disturbance, shown: Shown):
        self.d = d
        self.shown = shown
        self.reaction = d.reaction
        self.in_bar = d.reaction.basis == "p"

    def amount(self, state: State, name: str) -> float:
        """mol of a species."""
        return state.amounts.get(name, 0.0)

    def jumped(self, name: str) -> bool:
        """Whether the stress itself, and not a reaction, changed the amount."""
        old, new = self.amount(self.d.before, name), self.amount(self.d.at_once, name)
        return abs(new - old) > SAME * max(new, old)

    def is_pressure(self, name: str) -> bool:
        """Whether a species is spoken of by its partial pressure: a gas, where K is in bar."""
        return self.in_bar and species(name).phase == "g"

    def unit(self, name: str) -> str:
        """Of its concentration or partial pressure."""
        return "bar" if self.is_pressure(name) else "mol/L"

    def value(self, state: State, name: str) -> float:
        """Its concentration, or partial pressure where K is in bar."""
        return state.pressures[name] if self.is_pressure(name) else state[name]

    def given(self, state: State, name: str) -> str:
        """That value as text."""
        return number(self.value(state, name))

    def bracket(self, name: str) -> str:
        """``[SCN^-]`` or ``P(NO2)``."""
        shown = self.shown(name)
        return f"P({shown})" if self.is_pressure(name) else f"[{shown}]"

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


def number(value: float, figures: int = 3) -> str:
    """Significant figures without empty zeros: 0.0123, 1470, 2.62 × 10⁻¹⁰."""
    if value == 0 or not math.isfinite(value):
        return f"{value:g}"
    mantissa, power = f"{value:.{figures - 1}e}".split("e")
    if -3 <= int(power) <= max(3, figures - 1):
        text = f"{float(f'{value:.{figures - 1}e}'):.10f}".rstrip("0").rstrip(".")
    else:
        mantissa = mantissa.rstrip("0").rstrip(".") if "." in mantissa else mantissa
        text = f"{mantissa} × 10{str(int(power)).translate(_RAISED)}"
    return text.replace("-", "−")


def apart(first: float, second: float) -> tuple[str, str]:
    """Two different numbers with as many figures as it takes to tell them apart (three, at most nine)."""
    for figures in range(3, 9):
        pair = number(first, figures), number(second, figures)
        if pair[0] != pair[1]:
            return pair
    return number(first, 9), number(second, 9)


def moles(value: float) -> str:
    """An amount with its unit: 0.25 mol, 5 mmol, 0.1 µmol."""
    size, unit = _amount_unit(value)
    return f"{number(value / size)} {unit}"


def moles_from_to(start: float, end: float) -> str:
    """Two amounts in one unit: from 1.11 to 0.616 µmol."""
    size, unit = _amount_unit(max(start, end))
    return f"from {number(start / size)} to {number(end / size)} {unit}"


def _amount_unit(value: float) -> tuple[float, str]:
    if value >= 0.1 or value < 1e-10:
        return 1.0, "mol"
    return (1e-3, "mmol") if value >= 1e-4 else (1e-6, "µmol")


def volume(litres: float) -> str:
    """Litres from one litre on, millilitres below."""
    return f"{number(litres, 4)} L" if litres >= 1 else f"{number(litres * 1000, 4)} mL"


def volume_from_to(old: float, new: float) -> str:
    """Two volumes in one unit: from 500 to 200 mL."""
    if max(old, new) >= 1:
        return f"from {number(old, 4)} to {number(new, 4)} L"
    return f"from {number(old * 1000, 4)} to {number(new * 1000, 4)} mL"
