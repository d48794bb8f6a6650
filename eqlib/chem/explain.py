"""The outcome of a stress in plain words, every number taken from the computed states."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from eqlib.chem.competitors import Competitors
from eqlib.chem.species import species
from eqlib.chem.wording import SAME, WAYS, Shown, number, volume

if TYPE_CHECKING:
    from eqlib.chem.stresses import Disturbance


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


class _Words(Competitors):
    """One sentence each, from one disturbance."""

    # -- what happened at once --------------------

    def done(self) -> str:
        """What was done."""
        text = self.d.stress.describe()
        return self.styled(text[0].upper() + text[1:] + ".")

    def at_once(self) -> str:
        """What that changed before anything reacted."""
        kind = self.d.stress.kind
        if kind == "catalyse":
            return (
                "A catalyst speeds up the forward and the reverse change by the same factor; no amount "
                "changes."
            )
        if kind == "add_inert" and self.d.stress.constant == "volume":
            return "The reacting gases keep their volume, so their own partial pressures do not change."
        parts = [self._crowding(), self._warm_gas(), self._gas_space(), self._solid(), *self._jumps()]
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
            f"The change of volume from {volume(old)} to {volume(new)} {verb} every concentration at "
            f"once {by}."
        )

    def _warm_gas(self) -> str:
        """At constant volume a gas presses in proportion to its temperature, so a Q in bar moves at once."""
        d = self.d
        if d.stress.kind != "heat_to" or d.mixture.pressure is not None or self.reaction.dn_gas == 0:
            return ""
        factor = d.at_once.T / d.before.T
        if self.reaction.basis != "p" or abs(factor - 1) < SAME:
            return ""
        return f"At constant volume this multiplies every gas pressure by {factor:.3g} at once."

    def _gas_space(self) -> str:
        """A gas above the solution that the first reaction does not name."""
        old, new = self.d.before.gas_volume, self.d.at_once.gas_volume
        if self.d.stress.kind != "change_volume" or not self.d.mixture.has_solution or not old:
            return ""
        word = "falls" if new > old else "rises"
        return f"The gas above has {volume(new)} instead of {volume(old)}, so its pressure {word} at once."

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
            if self.jumped(name):
                old, new = self.given(self.d.before, name), self.given(self.d.at_once, name)
                more = self.amount(self.d.at_once, name) > self.amount(self.d.before, name)
                word = "rises" if more else "falls"
                found.append(f"{self.bracket(name)} {word} at once from {old} to {new} {self.unit}.")
        return found

    def constant(self) -> str:
        """Only a change of temperature changes K."""
        d = self.d
        if d.stress.kind != "heat_to" or d.before.T == d.at_once.T:
            return ""
        old, new = d.before.K(self.reaction), d.K
        if self.reaction.dH is None:
            return f"The enthalpy of this reaction is not known here, so K is left at {number(new)}."
        heat = self.reaction.dH
        kind = (
            "gives out heat"
            if heat < 0
            else "takes up heat"
            if heat > 0
            else "neither gives out nor takes up heat"
        )
        change = "stays" if abs(new / old - 1) < SAME else "falls" if new < old else "rises"
        return (
            f"The forward reaction {kind} (dH = {heat / 1000:.3g} kJ/mol), so K {change} from {number(old)} "
            f"to {number(new)}."
        )

    # -- Q against K --------------------

    def quotient(self) -> str:
        """Q of the first reaction beside its K."""
        Q, K = self.d.Q, self.d.K
        equation = self.equation(self.reaction)
        if math.isnan(Q):
            return f"For {equation} Q has no value at once: something is missing on both sides."
        if math.isinf(Q):
            return f"For {equation} a reactant is missing at once, so Q is larger than any K."
        if abs(Q / K - 1) < SAME:
            return f"For {equation} Q still equals K ({number(K)}) at once."
        sign, way = ("<", "forward") if Q < K else (">", "reverse")
        text = f"For {equation} Q at once is {number(Q)}, and K is {number(K)}: Q {sign} K"
        if self.d.direction in (way, "none"):
            return f"{text}, which asks for change {WAYS[way]}."
        return f"{text}, which by itself would ask for change {WAYS[way]}."

    # -- the outcome --------------------

    def outcome(self) -> str:
        """Which way it ran, and what became of the amount and the concentration."""
        d = self.d
        if d.direction == "none":
            return self._no_shift()
        name = self._telling()
        shown = self.shown(name)
        start, end = self.amount(d.at_once, name), self.amount(d.after, name)
        word = "grows" if end > start else "falls"
        by = f" by {number(abs(d.extent))} mol" if d.responses[0].determined else ""
        text = f"In all the reaction runs {WAYS[d.direction]}{by}: the amount of {shown} {word} "
        text += f"from {number(start)} to {number(end)} mol{_compared(start, end)}"
        return text + self._versus_concentration(name, end - start)

    def _telling(self) -> str:
        """A species that shows the shift: its amount changed the way the reaction ran; not itself added."""
        sign = 1 if self.d.direction == "forward" else -1
        first = characteristic_product(self.reaction)
        others = [*self.reaction.products, *self.reaction.reactants]
        for untouched in (True, False):
            for name in dict.fromkeys((first, *others)):
                change = self.amount(self.d.after, name) - self.amount(self.d.at_once, name)
                jumped = self.jumped(name) and untouched
                if change * float(self.reaction.coefficients[name]) * sign > 0 and not jumped:
                    return name
        return first

    def _no_shift(self) -> str:
        d, name = self.d, characteristic_product(self.reaction)
        absent = [n for n in self.reaction.coefficients if self._is_missing(n)]
        because = ""
        if absent and abs(d.Q / d.K - 1) > SAME:
            because = f", for there is no {self.shown(absent[0])} to react"
        kept = number(self.amount(d.after, name))
        text = f"The first reaction does not shift{because}"
        if self.jumped(name):
            return text + "."
        return f"{text}: the amount of {self.shown(name)} stays {kept} mol."

    def _is_missing(self, name: str) -> bool:
        return species(name).phase in ("s", "l") and name != "H2O(l)" and not self.amount(self.d.after, name)

    def _versus_concentration(self, name: str, change: float) -> str:
        """Amount formed and concentration can go opposite ways when the volume changes."""
        if species(name).phase in ("s", "l"):
            return "."
        old, new = self.value(self.d.before, name), self.value(self.d.after, name)
        what = "partial pressure" if self.bracket(name).startswith("P") else "concentration"
        if abs(new - old) <= SAME * old:
            return f"; its {what} ends at {number(new)} {self.unit}, as before."
        text = f"; its {what} goes from {number(old)} before to {number(new)} {self.unit} after"
        if (new - old) * change < 0:
            text += ", the other way, because " + (
                "it was added itself" if self.jumped(name) else "the volume changed"
            )
        return text + "."


def _compared(start: float, end: float) -> str:
    """The change as a share, in the form that reads best."""
    if start <= 0 or end <= 0:
        return ""
    ratio = end / start
    if ratio > 1000:
        return " (there was hardly any before)"
    if ratio > 3:
        return f" ({ratio:.3g} times as much)"
    if ratio < 0.01:
        return " (hardly any is left)"
    return f" ({100 * (ratio - 1):+.3g} %)".replace("-", "−")


def characteristic_product(r) -> str:
    """See :func:`eqlib.chem.stresses.characteristic_product`, imported late: that module imports this one."""
    from eqlib.chem.stresses import characteristic_product as chosen

    return chosen(r)
