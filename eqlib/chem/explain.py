"""The outcome of a stress in plain words, every number taken from the computed states."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from typing import TYPE_CHECKING

from eqlib.chem.reactions import Reaction
from eqlib.chem.species import species

if TYPE_CHECKING:
    from eqlib.chem.state import State
    from eqlib.chem.stresses import Disturbance, Response

Shown = Callable[[str], str]
_SAME = 1e-6  # relative difference that is only rounding
_WAYS = {"forward": "forward (left to right)", "reverse": "in reverse (right to left)"}


def explanation(d: Disturbance, shown: Shown = str) -> str:
    """Sentences: what was done, what changed at once, Q against K, the competitors, and the outcome."""
    words = _Words(d, shown)
    parts = [
        words.done(),
        words.at_once(),
        words.constant(),
        words.quotient(),
        words.competitors(),
        words.outcome(),
    ]
    return " ".join(part for part in parts if part)


class _Words:
    """One sentence each, from one disturbance."""

    def __init__(self, d: Disturbance, shown: Shown):
        self.d = d
        self.shown = shown
        self.reaction = d.reaction
        self.product = _product(d.reaction)
        self.unit = "bar" if d.reaction.basis == "p" else "mol/L"

    # -- what happened at once --------------------

    def done(self) -> str:
        text = self.d.stress.describe()
        return self._styled(text[0].upper() + text[1:] + ".")

    def at_once(self) -> str:
        kind = self.d.stress.kind
        if kind == "catalyse":
            return (
                "A catalyst speeds up the forward and the reverse change by the same factor; no amount "
                "changes."
            )
        if kind == "add_inert" and self.d.stress.constant == "volume":
            return "The reacting gases keep their volume, so their own partial pressures do not change."
        parts = [self._crowding(), self._solid(), *self._jumps()]
        return " ".join(part for part in parts if part)

    def _crowding(self) -> str:
        """Dilution or compression: one factor for everything that was there."""
        d = self.d
        gas = any(species(name).phase == "g" for name in self.reaction.quotient_species)
        old = d.before.gas_volume if gas else d.before.volume
        new = d.at_once.gas_volume if gas else d.at_once.volume
        if not old or not new or abs(new / old - 1) < 1e-9:
            return ""
        factor = old / new
        verb = "multiplies" if factor > 1 else "dilutes"
        by = f"by {factor:.3g}" if factor > 1 else f"to {factor:.3g} of what it was"
        return (
            f"The change of volume from {_volume(old)} to {_volume(new)} {verb} every concentration at "
            f"once {by}."
        )

    def _solid(self) -> str:
        pure = [name for name in self.d.stress.species if self._is_pure(name)]
        if not pure or self.d.stress.kind not in ("add", "add_solid", "remove"):
            return ""
        name = self.shown(pure[0])
        verb = "less" if self.d.stress.kind == "remove" else "more"
        return f"{name} is a pure phase and does not stand in Q: {verb} of it changes no concentration."

    def _is_pure(self, name: str) -> bool:
        return species(name).phase in ("s", "l") and name in self.d.before.amounts

    def _jumps(self) -> list[str]:
        """Concentrations in the first reaction that the stress itself changed, apart from the volume."""
        if self.d.stress.kind not in ("add", "add_solid", "add_solution", "remove"):
            return []
        found = []
        for name in self.reaction.quotient_species:
            old, new = self._amount(self.d.before, name), self._amount(self.d.at_once, name)
            if abs(new - old) > _SAME * max(new, old):
                word = "rises" if new > old else "falls"
                found.append(
                    f"{self._bracket(name)} {word} at once from {self._in(self.d.before, name)} to "
                    f"{self._in(self.d.at_once, name)} {self.unit}."
                )
        return found

    def constant(self) -> str:
        """Only a change of temperature changes K."""
        d = self.d
        if d.stress.kind != "heat_to" or d.before.T == d.at_once.T:
            return ""
        old, new = d.before.K(self.reaction), d.K
        if self.reaction.dH is None:
            return f"The enthalpy of this reaction is not known here, so K is left at {_n(new)}."
        heat = self.reaction.dH
        kind = (
            "gives out heat"
            if heat < 0
            else "takes up heat"
            if heat > 0
            else "neither gives out nor takes up heat"
        )
        change = "stays" if abs(new / old - 1) < _SAME else "falls" if new < old else "rises"
        return (
            f"The forward reaction {kind} (dH = {heat / 1000:.3g} kJ/mol), so K {change} from {_n(old)} "
            f"to {_n(new)}."
        )

    # -- Q against K --------------------

    def quotient(self) -> str:
        Q, K = self.d.Q, self.d.K
        equation = self._equation(self.reaction)
        if math.isnan(Q):
            return f"For {equation} Q has no value at once: something is missing on both sides."
        if math.isinf(Q):
            return f"For {equation} a reactant is missing at once, so Q is larger than any K."
        if abs(Q / K - 1) < _SAME:
            return f"For {equation} Q still equals K ({_n(K)}) at once."
        sign, way = ("<", "forward") if Q < K else (">", "reverse")
        text = f"For {equation} Q at once is {_n(Q)}, and K is {_n(K)}: Q {sign} K"
        if self.d.direction in (way, "none"):
            return f"{text}, which asks for change {_WAYS[way]}."
        return f"{text}, which by itself would ask for change {_WAYS[way]}."

    def competitors(self) -> str:
        """The other equilibria that took up or gave back what the first reaction needs."""
        found = sorted(self._shares(), key=lambda item: -item[0])[:2]
        said = [self._competitor(response, name, moles) for _, response, name, moles in found]
        if said and self.d.direction != "none":
            name = found[0][2]
            now, later = self._value(self.d.at_once, name), self._value(self.d.after, name)
            if abs(later - now) > _SAME * max(now, later):
                word = "falls" if later < now else "rises"
                said.append(
                    f"So {self._bracket(name)} {word} from {self._in(self.d.at_once, name)} to "
                    f"{self._in(self.d.after, name)} {self.unit}."
                )
        return " ".join(said)

    def _shares(self):
        """(importance, response, species, moles) of each other reaction that moves a species of the first."""
        for response in self.d.responses[1:]:
            if response.direction == "none" or not response.determined:
                continue
            for name in self.reaction.quotient_species:
                number = float(response.reaction.coefficients.get(name, 0))
                there = max(self._amount(self.d.at_once, name), self._amount(self.d.after, name))
                moles = number * response.extent
                if there > 0 and abs(moles) > 1e-3 * there:
                    yield abs(moles) / there, response, name, moles

    def _competitor(self, response: Response, name: str, moles: float) -> str:
        Q, K = response.Q, response.K
        compared = "" if not math.isfinite(Q) else f" has Q = {_n(Q)} at once against K = {_n(K)}; it"
        verb = "takes up" if moles < 0 else "gives back"
        way = "forward" if response.direction == "forward" else "in reverse"
        return (
            f"The competing equilibrium {self._equation(response.reaction)}{compared} runs {way} and {verb} "
            f"{self.shown(name)} ({_n(abs(moles))} mol)."
        )

    # -- the outcome --------------------

    def outcome(self) -> str:
        d, name = self.d, self.product
        shown = self.shown(name)
        if d.direction == "none":
            return self._no_shift()
        start, end = self._amount(d.at_once, name), self._amount(d.after, name)
        word = "grows" if end > start else "falls"
        text = f"In all the reaction runs {_WAYS[d.direction]}: the amount of {shown} {word} "
        text += f"from {_n(start)} to {_n(end)} mol"
        if start > 0:
            text += f" ({100 * (end / start - 1):+.3g} %)".replace("-", "−")
        return text + self._versus_concentration(name, end - start)

    def _no_shift(self) -> str:
        d, name = self.d, self.product
        absent = [n for n in self.reaction.coefficients if self._is_missing(n)]
        because = ""
        if absent and abs(d.Q / d.K - 1) > _SAME:
            because = f", for there is no {self.shown(absent[0])} to react"
        kept = _n(self._amount(d.after, name))
        return (
            f"The first reaction does not shift{because}: the amount of {self.shown(name)} stays {kept} mol."
        )

    def _is_missing(self, name: str) -> bool:
        return species(name).phase in ("s", "l") and name != "H2O(l)" and not self._amount(self.d.after, name)

    def _versus_concentration(self, name: str, change: float) -> str:
        """Amount formed and concentration can go opposite ways when the volume changes."""
        if species(name).phase in ("s", "l"):
            return "."
        old, new = self._value(self.d.before, name), self._value(self.d.after, name)
        text = f"; its concentration goes from {_n(old)} before to {_n(new)} {self.unit} after"
        if (new - old) * change < 0 and abs(new - old) > _SAME * old:
            text += f", the other way, because the volume {'grew' if change > 0 else 'changed'}"
        return text + "."

    # -- numbers and names --------------------

    def _amount(self, state: State, name: str) -> float:
        return state.amounts.get(name, 0.0)

    def _value(self, state: State, name: str) -> float:
        if self.unit == "bar" and species(name).phase == "g":
            return state.pressures[name]
        return state[name]

    def _in(self, state: State, name: str) -> str:
        return _n(self._value(state, name))

    def _bracket(self, name: str) -> str:
        shown = self.shown(name)
        return f"P({shown})" if self.unit == "bar" and species(name).phase == "g" else f"[{shown}]"

    def _equation(self, r: Reaction) -> str:
        return str(r) if self.shown is str else r.unicode

    def _styled(self, text: str) -> str:
        if self.shown is str:
            return text
        for name in sorted(self.d.stress.species, key=len, reverse=True):
            text = re.sub(re.escape(name), self.shown(name), text)
        return text


def _product(r: Reaction) -> str:
    from eqlib.chem.stresses import characteristic_product

    return characteristic_product(r)


def _n(value: float) -> str:
    """Three significant figures."""
    return "0" if value == 0 else f"{value:.3g}"


def _volume(litres: float) -> str:
    return f"{litres:.4g} L" if litres >= 0.5 else f"{litres * 1000:.4g} mL"
