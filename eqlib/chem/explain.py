"""The outcome of a stress in plain words, every number taken from the computed states."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING

from eqlib.chem.reactions import Reaction, characteristic_product
from eqlib.chem.species import species
from eqlib.chem.state import State
from eqlib.writing import apart, moles, moles_from_to, number, volume, volume_from_to

if TYPE_CHECKING:
    from eqlib.chem.disturb import Disturbance, Response

Shown = Callable[[str], str]
SAME = 1e-6
"""A relative difference that is only rounding."""
WAYS = {"forward": "forward (left to right)", "reverse": "in reverse (right to left)"}
_NOTABLE = 0.01  # a share of an amount too small to be mentioned
_BESIDE_THE_MAIN = 0.1  # a competitor this much less important than the main one is left out
_AT_EQUILIBRIUM = 0.005  # Q this near to K does not drive a competitor by itself
Share = tuple[float, "Response", str, float]
_SAME_VOLUME = 1e-9


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


class _Wording:
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


class _Competitors(_Wording):
    """Sentences on the competing equilibria of one disturbance."""

    def competitors(self) -> str:
        """The other equilibria that took up or gave back what the first reaction needs."""
        found = [share for share in self.ranked(self.reaction, besides=()) if self.decides(*share[2:])]
        if not found:
            return ""
        said = []
        for share, response, name, amount in found[:2]:
            if share < _BESIDE_THE_MAIN * found[0][0]:
                break
            said += [self.competitor(response, name, amount), self.behind(response)]
        name = found[0][2]
        now, later = self.value(self.d.at_once, name), self.value(self.d.after, name)
        if self.d.direction != "none" and abs(later - now) > SAME * max(now, later):
            word = "falls" if later < now else "rises"
            said.append(
                f"So {self.bracket(name)} {word} from {self.given(self.d.at_once, name)} to "
                f"{self.given(self.d.after, name)} {self.unit(name)}."
            )
        return " ".join(part for part in said if part)

    def decides(self, name: str, amount: float) -> bool:
        """Does moving ``amount`` of a species account for the shift of the first reaction, not just go along?

        What drives the shift moves at least as much of the species as the first reaction does, and the way
        the species really goes: water added to an iron complex also hydrolyses some iron, but iron rises.
        """
        if self.d.direction == "none":
            return True
        own = abs(float(self.reaction.coefficients[name]) * self.d.extent)
        change = self.amount(self.d.after, name) - self.amount(self.d.at_once, name)
        return abs(amount) > own * (1 - SAME) and amount * change > 0

    def ranked(self, r: Reaction, besides: tuple[Reaction, ...]) -> list[Share]:
        """The reactions that moved a species of ``r``, the most telling first, one entry for each."""
        best: dict[Reaction, Share] = {}
        for share in self.shares(r):
            known = best.get(share[1].reaction)
            if share[1].reaction not in besides and (known is None or share[0] > known[0]):
                best[share[1].reaction] = share
        return sorted(best.values(), key=lambda share: -share[0])

    def shares(self, r: Reaction) -> Iterator[Share]:
        """(share of the amount there, response, species, moles) per other reaction and species of ``r``."""
        for response in self.d.responses:
            if response.reaction in (r, self.reaction) or response.direction == "none":
                continue
            if not response.determined:
                continue
            for name in r.quotient_species:
                amount = float(response.reaction.coefficients.get(name, 0)) * response.extent
                there = max(self.amount(self.d.at_once, name), self.amount(self.d.after, name))
                if there > 0 and abs(amount) > _NOTABLE * there:
                    yield abs(amount) / there, response, name, amount

    def competitor(self, response: Response, name: str, amount: float) -> str:
        """One competitor: its Q and K, its way, and what it moved."""
        Q, K = response.Q, response.K
        compared = ""
        if abs(Q / K - 1) < _AT_EQUILIBRIUM:
            compared = f" is still at equilibrium at once (K = {number(K)}), but then follows: it"
        elif math.isfinite(Q):
            compared = f" has Q = {number(Q)} at once against K = {number(K)}; it"
        verb = "takes up" if amount < 0 else "gives back"
        way = "forward" if response.direction == "forward" else "in reverse"
        return (
            f"The competing equilibrium {self.equation(response.reaction)}{compared} runs {way} and {verb} "
            f"{self.shown(name)} ({moles(abs(amount))})."
        )

    def behind(self, response: Response) -> str:
        """Where its own Q and K do not account for a competitor: the third reaction that drives it."""
        if math.isfinite(response.Q) and (response.Q / response.K < 0.5 or response.Q / response.K > 2):
            return ""
        sign = 1 if response.direction == "forward" else -1
        for _, other, name, amount in self.ranked(response.reaction, besides=(response.reaction,)):
            # Taking up its product, or giving back its reactant, pulls a reaction forward.
            if float(response.reaction.coefficients[name]) * amount * sign < 0:
                verb = "takes up" if amount < 0 else "gives back"
                return f"It does so because {self.equation(other.reaction)} {verb} {self.shown(name)}."
        return ""


class _Volumes(_Competitors):
    """Dilution, compression, and gases that warm up."""

    def _phases(self) -> set[str]:
        return {species(name).phase for name in self.reaction.quotient_species}

    def dilution(self) -> str:
        """One factor for everything that was dissolved."""
        old, new = self.d.before.volume, self.d.at_once.volume
        if "aq" not in self._phases() or abs(new / old - 1) < _SAME_VOLUME:
            return ""
        what = "dissolved substance" if "g" in self._phases() else "concentration"
        return (
            f"The change of volume {volume_from_to(old, new)} {_multiplies(old / new)[0]} every {what} at "
            f"once {_multiplies(old / new)[1]}."
        )

    def squeeze(self) -> str:
        """The gas has more or less room at once: by hand, by an inert gas, or to keep its pressure."""
        d = self.d
        old, new = d.before.gas_volume, d.at_once.gas_volume
        if not old or not new or abs(new / old - 1) < _SAME_VOLUME:
            return ""
        if "g" not in self._phases():
            if d.stress.kind != "change_volume" and d.stress.constant != "pressure":
                return ""
            word = "falls" if new > old else "rises"
            what = "its pressure" if d.stress.kind == "change_volume" else "the pressure of each reacting gas"
            return f"The gas above takes {volume(new)} instead of {volume(old)}, so {what} {word} at once."
        if d.stress.kind == "heat_to" and self.in_bar:
            return (
                f"To keep its pressure the gas takes {volume(new)} instead of {volume(old)}; no partial "
                "pressure changes at once."
            )
        what = "partial pressure" if self.in_bar else "gas concentration"
        verb, by = _multiplies(old / new, less="lowers")
        return f"The change of the gas volume {volume_from_to(old, new)} {verb} every {what} at once {by}."

    def warm_gas(self) -> str:
        """At constant volume a gas presses in proportion to its temperature, so a Q in bar moves at once."""
        d = self.d
        if d.stress.kind != "heat_to" or d.mixture.pressure is not None or self.reaction.dn_gas == 0:
            return ""
        factor = d.at_once.T / d.before.T
        if not self.in_bar or abs(factor - 1) < SAME:
            return ""
        return f"At constant volume this multiplies every gas pressure by {number(factor)} at once."

    def cancels(self) -> str:
        """A change of volume that leaves Q alone: as many on the left as on the right."""
        old, new = self.d.before.gas_volume, self.d.at_once.gas_volume
        powers = self.reaction.quotient_species
        if self._phases() != {"g"} or sum(powers.values()) or abs(new / old - 1) < _SAME_VOLUME:
            return ""
        return ", for there are as many moles of gas on the left as on the right"


class _Words(_Volumes):
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


def _multiplies(factor: float, less: str = "dilutes") -> tuple[str, str]:
    """Verb and number for a change of volume: more than before as a factor, less as a part."""
    if factor > 1:
        return "multiplies", f"by {number(factor)}"
    return less, f"to {number(factor)} of what it was"
