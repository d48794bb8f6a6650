"""The outcome of a stress in plain words, every number taken from the computed states."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from eqlib.chem.explain_volume import Volumes
from eqlib.chem.species import species
from eqlib.chem.wording import (
    SAME,
    WAYS,
    Shown,
    apart,
    moles,
    moles_from_to,
    number,
)

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
        words.pure_phases(),
    ]
    return " ".join(part for part in parts if part)


class _Words(Volumes):
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
        parts = [self.dilution(), self.squeeze(), self.warm_gas(), self._saltier()]
        parts += [self._solid(), *self._jumps()]
        return " ".join(part for part in parts if part)

    def _saltier(self) -> str:
        """Where activities count, the ionic strength moves Q without touching the amounts that react."""
        old, new = self.d.before.ionic_strength, self.d.at_once.ionic_strength
        if self.d.at_once.activity == "ideal" or abs(new - old) <= 1e-3 * max(old, new):
            return ""
        word = "falls" if new < old else "rises"
        return (
            f"The ionic strength {word} from {number(old)} to {number(new)} mol/L; that changes the activity "
            "coefficients, and with them Q, which is made of activities here."
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
            if self.jumped(name):
                old, new = self.given(self.d.before, name), self.given(self.d.at_once, name)
                more = self.amount(self.d.at_once, name) > self.amount(self.d.before, name)
                word = "rises" if more else "falls"
                found.append(f"{self.bracket(name)} {word} at once from {old} to {new} {self.unit(name)}.")
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
        return f"The forward reaction {kind} (ΔH = {number(heat / 1000)} kJ/mol), so K {change} " + (
            "the same." if change == "stays" else "from {} to {}.".format(*apart(old, new))
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
            return f"For {equation} Q still equals K ({number(K)}) at once{self.cancels()}."
        sign, way = ("<", "forward") if Q < K else (">", "reverse")
        shown_Q, shown_K = apart(Q, K)
        text = f"For {equation} Q at once is {shown_Q}, and K is {shown_K}: Q {sign} K"
        if self.d.direction == "none":
            return f"{text}, which would ask for change {WAYS[way]}."
        if self.d.direction == way:
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
        by = f" by {moles(abs(d.extent))}" if d.responses[0].determined else ""
        text = f"In all the reaction runs {WAYS[d.direction]}{by}: the amount of {shown} {word} "
        text += moles_from_to(start, end) + _compared(start, end)
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
        kept = moles(self.amount(d.after, name))
        text = f"The first reaction does not shift{because}"
        if self.jumped(name):
            return text + "."
        return f"{text}: the amount of {self.shown(name)} stays {kept}."

    def pure_phases(self) -> str:
        """Solids and pure liquids that the shift has made appear, or has used up."""
        said = []
        for name in self.d.after.solids:
            start, end = self.amount(self.d.at_once, name), self.amount(self.d.after, name)
            if not start and end:
                said.append(f"{self.shown(name)} appears, {moles(end)} of it.")
            elif start and not end:
                said.append(f"No {self.shown(name)} is left{self._taken_by(name)}.")
        return " ".join(said)

    def _taken_by(self, name: str) -> str:
        """The competing equilibrium that used up a solid, where it was not the first reaction."""
        own = float(self.reaction.coefficients.get(name, 0)) * self.d.extent
        moved = {
            response.reaction: float(response.reaction.coefficients.get(name, 0)) * response.extent
            for response in self.d.responses
        }
        most = min(moved, key=moved.get)
        if most == self.reaction or moved[most] >= min(own, 0.0):
            return ""
        return f", for it is used up by {self.equation(most)}"

    def _is_missing(self, name: str) -> bool:
        return species(name).phase in ("s", "l") and name != "H2O(l)" and not self.amount(self.d.after, name)

    def _versus_concentration(self, name: str, change: float) -> str:
        """Amount formed and concentration can go opposite ways when the volume changes."""
        if species(name).phase in ("s", "l"):
            return "."
        old, new = self.value(self.d.before, name), self.value(self.d.after, name)
        what = "partial pressure" if self.is_pressure(name) else "concentration"
        unit = self.unit(name)
        if abs(new - old) <= SAME * old:
            return f"; its {what} ends at {number(new)} {unit}, as before."
        if abs(new - old) < 5e-4 * old:
            return f"; its {what} hardly changes ({number(new)} {unit})."
        text = "; its {what} goes from {} before to {} {unit} after".format(
            *apart(old, new), what=what, unit=unit
        )
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
        return f" ({number(ratio)} times as much)"
    if ratio < 0.01:
        return " (hardly any is left)"
    return f" ({100 * (ratio - 1):+.3g} %)".replace("-", "−")


def characteristic_product(r) -> str:
    """See :func:`eqlib.chem.stresses.characteristic_product`, imported late: that module imports this one."""
    from eqlib.chem.stresses import characteristic_product as chosen

    return chosen(r)
