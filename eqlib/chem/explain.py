"""Why a stress does what it does, told in the order of events, every number taken from the computed states.

Mixing and dilution; what a rival equilibrium takes up or gives back, by its own Q against its own K; what
that does to the concentration that the watched reaction (the mixture's first) shares with it; Q of the
watched reaction against K; how it answers. The side of K on which Q stands once the rivals have settled is
always the way the watched reaction then runs: the free energy, minimised over the rivals, is convex in its
extent.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, NamedTuple

from eqlib.chem.reactions import Reaction, characteristic_product
from eqlib.chem.species import species
from eqlib.chem.state import NEGLIGIBLE, SAME, Quotient, Shown, State, extents, quotient_in
from eqlib.writing import (
    apart,
    as_share,
    in_one,
    moles,
    moles_change,
    multiplied,
    number,
    practically_none,
    volume_from_to,
)

if TYPE_CHECKING:
    from eqlib.chem.disturb import Disturbance

#: One pair of words for the direction everywhere.
WAYS = {"forward": "to products (→)", "reverse": "to reactants (←)"}
_TELLING = 0.1  # rivals are told where they move ln(Q/K) by this share of it
_REST = 0.01  # what unnamed rivals move is told from this share of the whole change on
_SECOND = 0.25  # a second rival is named where it moves this share of what the first one does
_LEFT = 0.1  # less than this share of what a rival makes is left: others use it up as it forms
_NEAR = math.log(10)  # a rival whose Q is no farther from K runs as far as others draw it
_SAME_VOLUME = 1e-9


def in_unicode(name: str) -> str:
    """A species with real sub- and superscripts."""
    return species(name).unicode


# -- the events --------------------


@dataclass(frozen=True)
class Rival:
    """What another equilibrium did with a species that the told reaction needs.

    ``quotient``: its own Q and K before it ran; ``amount``: mol of ``species`` given back (negative: taken
    up); ``in_all``: mol by which it and all others together changed that species; ``start`` and ``end``:
    mol/L (bar) of the species before and after. ``drawn``: what it makes and others use up as it forms.
    """

    quotient: Quotient
    species: str
    amount: float
    in_all: float
    start: float
    end: float
    drawn: str = ""


@dataclass(frozen=True)
class Event:
    """One step of what happened.

    ``kind``: "at once" (mixing, dilution, heat), "driver" (what sets a rival going), "rival", "quotient" (Q
    of the watched reaction against K), "answer". ``sentence`` writes species as everywhere in eqlib,
    ``unicode`` for people, ``brief`` for people in one sentence, without the numbers beside the point.
    ``state``: the composition once this step is over; ``quotient``: Q of the watched reaction there, with its
    fraction; ``rivals``: for "driver" and "rival", what ran, the main one first.
    """

    kind: str
    sentence: str
    unicode: str
    brief: str
    state: State
    quotient: Quotient
    rivals: tuple[Rival, ...] = ()

    @property
    def Q(self) -> float:
        """Of the watched reaction after this step."""
        return self.quotient.Q

    @property
    def K(self) -> float:
        """Of the watched reaction after this step."""
        return self.quotient.K


class Told(NamedTuple):
    """One step in one style: its kind, its sentences, the state afterwards, the rivals that ran."""

    kind: str
    text: str
    state: State
    rivals: tuple[Rival, ...] = ()


def tell(d: Disturbance, shown: Shown, brief: bool = False) -> list[Told]:
    """The steps, at most four, in the order in which they happen; ``shown`` writes a species."""
    told = _Teller(d, shown, brief).tell(d.plot)
    if len(told) > 4:  # the last two as one
        asked, answer = told[-2:]
        if answer.text.startswith("The reaction runs"):
            text = f"{asked.text.removesuffix('.')}, so the{answer.text.removeprefix('The')}"
        else:
            text = f"{asked.text} {answer.text}"
        told[-2:] = [answer._replace(text=in_one([text]) if brief else text)]
    return told


def events(d: Disturbance) -> tuple[Event, ...]:
    """The steps in every style."""
    styles = tell(d, str), tell(d, in_unicode), tell(d, in_unicode, brief=True)
    return tuple(
        Event(p.kind, p.text, u.text, b.text, p.state, quotient_in(d.reaction, p.state), p.rivals)
        for p, u, b in zip(*styles, strict=True)
    )


class Plot:
    """What is worth telling: the states on the way, and the rivals that decide.

    ``turning``: the state in which Q of the watched reaction decides; ``led``: what brought it there.
    """

    def __init__(self, d: Disturbance) -> None:
        self.d = d
        self.first = quotient_in(d.reaction, d.at_once)
        self.turning, settled = d.at_once, d.settled()
        if settled is not None and _moved(self.first.ln_ratio, quotient_in(d.reaction, settled).ln_ratio):
            self.turning = settled

    @cached_property
    def led(self) -> tuple[State, tuple[Rival, ...], tuple[Rival, ...]]:
        """The state before the rivals ran, the rivals, and their drivers: worked out where they are told."""
        d = self.d
        if self.turning is d.at_once:
            return d.at_once, (), ()
        if (far := d.settled(near=False)) is not None:
            rivals = self.ran(d.reaction, far, self.turning)
            if rivals and not self._by_itself(rivals[0].quotient):
                drivers = self.ran(rivals[0].quotient.reaction, d.at_once, far)
                if drivers:
                    return far, rivals, drivers
        return d.at_once, self.ran(d.reaction, d.at_once, self.turning), ()

    @property
    def rivals(self) -> tuple[Rival, ...]:
        """What brought ``turning`` about, the main one first."""
        return self.led[1]

    def _by_itself(self, main: Quotient) -> bool:
        """Whether the main rival's own Q at once, without the reactions farther off, explains its way."""
        at_once = quotient_in(main.reaction, self.d.at_once).ln_ratio
        return at_once * main.ln_ratio > 0 and not _moved(at_once, main.ln_ratio)

    def ran(self, r: Reaction, start: State, end: State) -> tuple[Rival, ...]:
        """The reactions that moved the species of ``r`` which moved its Q most, the main one first."""
        name = _mover(r, start, end)
        if name is None:
            return ()
        change = end.amounts.get(name, 0.0) - start.amounts.get(name, 0.0)
        found = []
        others = [*self.d.others[0], *self.d.others[1]]
        for other, moved in zip(others, extents(others, start.amounts, end.amounts), strict=True):
            amount = float(other.coefficients.get(name, 0)) * moved.mol if moved.determined else 0.0
            if other is not r and amount * change > 0:
                values = (_value(r, start, name), _value(r, end, name), _drawn(other, moved.mol, start, end))
                found.append(Rival(quotient_in(other, start), name, amount, change, *values))
        found.sort(key=lambda rival: -abs(rival.amount))
        return tuple(rival for rival in found[:2] if abs(rival.amount) > _SECOND * abs(found[0].amount))


def _moved(first: float, last: float) -> bool:
    """Whether ln(Q/K) went far enough from ``first`` to ``last`` for the way there to be told."""
    if math.isnan(last):
        return False
    if not (math.isfinite(first) and math.isfinite(last)):
        return first != last
    return abs(last - first) > max(_TELLING * max(abs(first), abs(last)), SAME)


def _value(r: Reaction, state: State, name: str) -> float:
    """Concentration, or partial pressure where K is in bar."""
    return state.pressures[name] if r.basis == "p" and species(name).phase == "g" else state[name]


def _drawn(r: Reaction, extent: float, start: State, end: State) -> str:
    """What ``r`` makes and other reactions use up as it forms, or ""."""
    for name in r.quotient_species:
        made = float(r.coefficients[name]) * extent
        if made > 0 and end.amounts.get(name, 0.0) - start.amounts.get(name, 0.0) < _LEFT * made:
            return name
    return ""


def _mover(r: Reaction, start: State, end: State) -> str | None:
    """The species whose change moved ln Q of ``r`` most, on the side to which it went."""
    pushes = {}
    for name, power in r.quotient_species.items():
        old, new = start.get(name), end.get(name)
        if old != new:
            ratio = math.inf if not old else -math.inf if not new else math.log(new / old)
            pushes[name] = float(power) * ratio
    if not pushes:
        return None
    total = sum(push for push in pushes.values() if math.isfinite(push))
    endless = [push for push in pushes.values() if not math.isfinite(push)]
    sign = math.copysign(1.0, endless[0] if endless else total)
    return max(pushes, key=lambda name: pushes[name] * sign)


class _Teller:
    """The sentences about one disturbance; ``shown`` writes a species, plainly or otherwise. ``brief``: each
    event in one sentence.
    """

    def __init__(self, d: Disturbance, shown: Shown, brief: bool = False) -> None:
        self.d = d
        self.shown = shown
        self.brief = brief
        self.reaction = d.reaction
        self.in_bar = d.reaction.basis == "p"
        self.phases = {species(name).phase for name in d.reaction.quotient_species}

    def tell(self, plot: Plot) -> list[Told]:
        """Every step."""
        d = self.d
        start = self.joined(self.at_once(), self.constant())
        if plot.turning is d.at_once and plot.first.way == "none":
            quiet = self.joined(start, self.unmoved(plot.first))
            return [Told("at once", quiet, d.at_once), Told("answer", self.answer(plot), d.after)]
        if plot.turning is not d.at_once:
            so_far = self.so_far(plot.first)
            if start and so_far.startswith("By itself"):  # in the same breath
                start = f"{start.removesuffix('.')}: by{so_far.removeprefix('By')}"
            else:
                start = self.joined(start, so_far)
        told = [Told("at once", start, d.at_once)]
        far, rivals, drivers = plot.led
        if rivals:
            if drivers:
                told.append(Told("driver", self.rival(drivers), far, drivers))
            told.append(Told("rival", self.rival(rivals), plot.turning, rivals))
        told.append(Told("quotient", self.compared(plot), plot.turning))
        told.append(Told("answer", self.answer(plot), d.after))
        return told

    def joined(self, *told: str) -> str:
        """Sentences after one another, or as one."""
        return in_one(told) if self.brief else " ".join(filter(None, told))

    # -- names and values --------------------

    def jumped(self, name: str) -> bool:
        """Whether the stress itself, and not a reaction, changed the amount."""
        old, new = self.d.before.amounts.get(name, 0.0), self.d.at_once.amounts.get(name, 0.0)
        return abs(new - old) > SAME * max(new, old)

    def unit(self, name: str) -> str:
        """ "bar" of a gas where K is in bar: it is spoken of by its partial pressure; else "mol/L"."""
        return "bar" if self.in_bar and species(name).phase == "g" else "mol/L"

    def bracket(self, name: str) -> str:
        """``[SCN^-]`` or ``P(NO2)``."""
        shown = self.shown(name)
        return f"P({shown.removesuffix('(g)')})" if self.unit(name) == "bar" else f"[{shown}]"

    def equation(self, r: Reaction) -> str:
        """An equation in the style of the species."""
        return str(r) if self.shown is str else r.unicode

    def goes(self, name: str, old: float, new: float) -> str:
        """ "[SCN^-] falls from 7.13 × 10⁻⁴ to 3.7 × 10⁻⁴ mol/L"."""
        if not old:
            return f"{self.bracket(name)} rises from 0 to {number(new)} {self.unit(name)}"
        if abs(new - old) <= SAME * old:
            return f"{self.bracket(name)} stays {number(new)} {self.unit(name)}"
        unit = self.unit(name)
        if practically_none(new, old) and not (self.brief and new > NEGLIGIBLE):
            left = f" ({number(new)} {unit})" if new > NEGLIGIBLE else ""
            return f"{self.bracket(name)} falls from {number(old)} {unit} to practically none{left}"
        if self.brief and practically_none(old, new):
            return f"{self.bracket(name)} rises from practically none to {number(new)} {unit}"
        first, second = apart(old, new)
        word = "rises" if new > old else "falls"
        return f"{self.bracket(name)} {word} from {first} to {second} {unit}"

    # -- what happened at once --------------------

    def at_once(self) -> str:
        """What that changed before anything reacted."""
        kind = self.d.stress.kind
        if kind == "catalyse":
            return "A catalyst speeds up both directions by the same factor; no amount changes."
        if kind == "add_inert" and self.d.stress.constant == "volume":
            return "The reacting gases keep their volume, so their own partial pressures do not change."
        jumps = self.jumps()
        every = "every other" if jumps else "every"
        room = " ".join(filter(None, (self.dilution(every), self.squeeze(every))))
        if room and jumps:
            room = f"{room.removesuffix('.')}, while {jumps.pop(0)}"
        return self.joined(room, self.warm_gas(), self.saltier(), self.solid(), *jumps)

    def dilution(self, every: str) -> str:
        """One factor for everything that was dissolved."""
        old, new = self.d.before.volume, self.d.at_once.volume
        if "aq" not in self.phases or abs(new / old - 1) < _SAME_VOLUME:
            return ""
        what = "dissolved substance" if "g" in self.phases else "concentration"
        verb, by = multiplied(old / new)
        if self.brief and self.d.stress.kind in ("add_solution", "dilute"):
            return f"Mixing {verb} {every} {what} {by}."
        return f"The change of volume {volume_from_to(old, new)} {verb} {every} {what} at once {by}."

    def squeeze(self, every: str) -> str:
        """The gas has more or less room at once: by hand, by an inert gas, or to keep its pressure."""
        d = self.d
        old, new = d.before.gas_volume, d.at_once.gas_volume
        if not old or not new or abs(new / old - 1) < _SAME_VOLUME:
            return ""
        gap = volume_from_to(old, new)
        if "g" not in self.phases:
            if d.stress.kind != "change_volume" and d.stress.constant != "pressure":
                return ""
            word = "falls" if new > old else "rises"
            what = "its pressure" if d.stress.kind == "change_volume" else "the pressure of each reacting gas"
            return f"The gas above goes {gap}, so {what} {word} at once."
        if d.stress.kind == "heat_to" and self.in_bar:
            return f"To keep its pressure the gas goes {gap}; no partial pressure changes at once."
        what = "partial pressure" if self.in_bar else "gas concentration"
        verb, by = multiplied(old / new, less="lowers")
        return f"The change of the gas volume {gap} {verb} {every} {what} at once {by}."

    def warm_gas(self) -> str:
        """At constant volume a gas presses in proportion to its temperature, so a Q in bar moves at once."""
        d = self.d
        if d.stress.kind != "heat_to" or d.mixture.pressure is not None or self.reaction.dn_gas == 0:
            return ""
        factor = d.at_once.T / d.before.T
        if not self.in_bar or abs(factor - 1) < SAME:
            return ""
        return f"At constant volume this multiplies every gas pressure by {number(factor)} at once."

    def saltier(self) -> str:
        """Where activities count, the ionic strength moves Q without touching the amounts that react."""
        old, new = self.d.before.ionic_strength, self.d.at_once.ionic_strength
        if self.d.at_once.activity == "ideal" or abs(new - old) <= 1e-3 * max(old, new):
            return ""
        word = "falls" if new < old else "rises"
        return (
            "The ionic strength {} from {} to {} mol/L; that changes the activity coefficients, and with "
            "them Q, which is made of activities here."
        ).format(word, *apart(old, new))

    def solid(self) -> str:
        """More or less of a pure phase changes no concentration."""
        d = self.d
        pure = [n for n in d.stress.species if species(n).phase in ("s", "l") and n in d.before.amounts]
        if not pure or d.stress.kind not in ("add", "add_solid", "remove"):
            return ""
        verb = "less" if d.stress.kind == "remove" else "more"
        name = self.shown(pure[0])
        return f"{name} is a pure phase and does not stand in Q: {verb} of it changes no concentration."

    def jumps(self) -> list[str]:
        """Concentrations in the watched reaction that the stress itself changed, apart from the volume."""
        if self.d.stress.kind not in ("add", "add_solid", "add_solution", "remove"):
            return []
        found = []
        for name in self.reaction.quotient_species:
            if not self.jumped(name):
                continue
            old, new = _value(self.reaction, self.d.before, name), _value(self.reaction, self.d.at_once, name)
            if abs(new - old) <= SAME * old:
                found.append(f"{self.goes(name, old, new)}, for the solution added is as strong.")
                continue
            more = self.d.at_once.amounts.get(name, 0.0) - self.d.before.amounts.get(name, 0.0)
            weak = more * (new - old) < 0
            because = ", although some was added, for the solution added is weaker" if weak else ""
            found.append(f"{self.goes(name, old, new)} at once{because}.")
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
        kinds = {-1: "gives out heat", 0: "neither gives out nor takes up heat", 1: "takes up heat"}
        change = "stays" if abs(new / old - 1) < SAME else "falls" if new < old else "rises"
        return (
            f"The forward reaction {kinds[(heat > 0) - (heat < 0)]} (ΔH = {number(heat / 1000)} kJ/mol), "
            f"so K {change} "
        ) + ("the same." if change == "stays" else "from {} to {}.".format(*apart(old, new)))

    # -- Q against K --------------------

    def unmoved(self, q: Quotient) -> str:
        """Q has not moved, or has no value."""
        equation = self.equation(self.reaction)
        if math.isnan(q.Q):
            return f"At once {equation} has {q.equation(self.shown)}."
        return f"Q of {equation} still equals K ({number(q.K)}) at once{self._cancels()}."

    def so_far(self, q: Quotient) -> str:
        """Q at once, where what counts is still to come."""
        if not math.isfinite(q.ln_ratio) or q.way == "none":
            return self.unmoved(q) if q.way == "none" else f"At once {q.equation(self.shown)}."
        return f"By itself this makes Q {q.shown_Q()}, {q.against_K()}."

    def compared(self, plot: Plot) -> str:
        """Q of the watched reaction, its fraction written out, beside K."""
        q = quotient_in(self.reaction, plot.turning)
        lead = "At once" if plot.turning is self.d.at_once else "Now"
        of = "" if self.brief else f"{self.equation(self.reaction)} has "
        text = f"{lead} {of}{q.equation(self.shown)}"
        if math.isfinite(q.ln_ratio):
            text += f", {q.against_K()}"
        if q.way == "none" or self.d.direction != "none":  # else the answer says the way
            return text + "."
        if self.brief:
            return f"{text}, which would ask for change {WAYS[q.way]}."
        return f"{text}. Q {'<' if q.way == 'forward' else '>'} K would ask for change {WAYS[q.way]}."

    def _cancels(self) -> str:
        """A change of volume that leaves Q alone: as many on the left as on the right."""
        old, new = self.d.before.gas_volume, self.d.at_once.gas_volume
        if not old or abs(new / old - 1) < _SAME_VOLUME or self.phases != {"g"}:
            return ""
        return ", for there are as many moles of gas on the left as on the right"

    # -- rivals --------------------

    def rival(self, rivals: Sequence[Rival]) -> str:
        """A rival's own Q against its own K, its way, how much it moved, and what that did."""
        main = rivals[0]
        q, name = main.quotient, self.shown(main.species)
        extent = main.amount * float(q.reaction.coefficients[main.species])
        way = WAYS["forward" if extent > 0 else "reverse"]
        verb = "takes up" if main.amount < 0 else "gives back" if main.start else "makes"
        if self.brief:
            runs = f"{self.equation(q.reaction)} runs {way} and {verb} {name}"
            return f"{runs}: {self.goes(main.species, main.start, main.end)}."
        told = f"{self.equation(q.reaction)} has "
        if q.absent:
            told += f"no {self.shown(q.absent[0])} yet, so it"
        else:
            told += f"{q.equation(self.shown)}, {q.against_K('its K')}"
            told += ", so it" if extent * q.ln_ratio < -SAME * abs(extent) else ". It"
        drawn = ""
        if main.drawn and abs(q.ln_ratio) < _NEAR:
            drawn = f", for the {self.shown(main.drawn)} that it makes is used up at once,"
        text = f"{told} runs {way}{drawn} and {verb} "
        text += f"{moles(abs(main.amount))} of {name}"
        for other in rivals[1:]:
            text += f" (and {self.equation(other.quotient.reaction)} another {moles(abs(other.amount))})"
        rest = main.in_all - sum(rival.amount for rival in rivals)
        if abs(rest) > _REST * abs(main.in_all):
            same = moles(rest) == moles(abs(main.amount))  # what is left of it shows in no figure
            nearly = "nearly " if same else ""
            does = f"take up {moles(-rest)}" if rest < 0 else f"give back {nearly}{moles(rest)}"
            text += f", while other equilibria {does}{' more' if rest * main.amount > 0 else ''}"
        return f"{text}: {self.goes(main.species, main.start, main.end)}."

    # -- the answer --------------------

    def answer(self, plot: Plot) -> str:
        """Which way it runs; what becomes of the amount; then of the concentration; then the solids."""
        d = self.d
        if d.direction == "none":
            return self.joined(self._no_shift(plot), *self.pure_phases())
        name = self.telling()
        start, end = d.at_once.amounts.get(name, 0.0), d.after.amounts.get(name, 0.0)
        runs = (
            f"The reaction runs {WAYS[d.direction]}: the amount of {self.shown(name)} "
            f"{moles_change(start, end)}{as_share(start, end)}."
        )
        if self.brief:
            return self.joined(runs, *self.pure_phases(but=name))
        more = self._concentration(name, end - start), self._further(plot)
        return self.joined(runs, *more, *self.pure_phases())

    def telling(self) -> str:
        """A species that shows the shift: its amount changed the way the reaction ran; not itself added."""
        sign = 1 if self.d.direction == "forward" else -1
        first = characteristic_product(self.reaction)
        others = [*self.reaction.products, *self.reaction.reactants]
        for untouched in (True, False):
            for name in dict.fromkeys((first, *others)):
                change = self.d.after.amounts.get(name, 0.0) - self.d.at_once.amounts.get(name, 0.0)
                jumped = self.jumped(name) and untouched
                if change * float(self.reaction.coefficients[name]) * sign > 0 and not jumped:
                    return name
        return first

    def _further(self, plot: Plot) -> str:
        """The rival goes on with what the answer sets free, or makes good what it uses; told where that is
        more than it had moved before, and no longer chain is told.
        """
        _, rivals, drivers = plot.led
        if not rivals or drivers:
            return ""
        d, main = self.d, rivals[0]
        r, name = main.quotient.reaction, main.species
        own = float(self.reaction.coefficients[name]) * d.extent
        moved = extents(d.mixture.reactions, plot.turning.amounts, d.after.amounts)
        its = next(x for other, x in zip(d.mixture.reactions, moved, strict=True) if other is r)
        amount = float(r.coefficients.get(name, 0)) * its.mol if its.determined else 0.0
        if own * amount >= 0 or abs(amount) < max(0.5 * abs(own), abs(main.amount)):
            return ""
        what = "sets free" if own > 0 else "uses"
        verb = "taken up" if own > 0 else "given back"
        share = "" if abs(amount) > 0.95 * abs(own) else "most of "
        text = f"{share}the {self.shown(name)} that this {what} is {verb} in turn ({moles(abs(amount))})."
        return text[0].upper() + text[1:]

    def _no_shift(self, plot: Plot) -> str:
        d, name = self.d, characteristic_product(self.reaction)
        pure = [n for n in self.reaction.coefficients if species(n).phase in ("s", "l") and n != "H2O(l)"]
        absent = [n for n in pure if not d.after.amounts.get(n)]
        q = quotient_in(self.reaction, plot.turning)
        because = f", for there is no {self.shown(absent[0])} to react" if absent and q.way != "none" else ""
        text = f"The reaction does not shift{because}"
        if self.jumped(name):
            return text + "."
        return f"{text}: the amount of {self.shown(name)} stays {moles(d.after.amounts.get(name, 0.0))}."

    def pure_phases(self, but: str = "") -> list[str]:
        """Solids and pure liquids that appear, or are used up; not the one ``but``."""
        said = []
        for name in [name for name in self.d.after.solids if name != but]:
            start, end = self.d.at_once.amounts.get(name, 0.0), self.d.after.amounts.get(name, 0.0)
            if not start and end:
                amount = "" if self.brief else f", {moles(end)} of it"
                said.append(f"{self.shown(name)} appears{amount}.")
            elif start and not end:
                said.append(f"No {self.shown(name)} is left{self._taken_by(name)}.")
        return said

    def _taken_by(self, name: str) -> str:
        """The rival that used up a solid, where it was not the watched reaction."""
        own = float(self.reaction.coefficients.get(name, 0)) * self.d.extent
        moved = {x.reaction: float(x.reaction.coefficients.get(name, 0)) * x.extent for x in self.d.responses}
        most = min(moved, key=lambda r: moved[r])
        if most == self.reaction or moved[most] >= min(own, 0.0):
            return ""
        return f", for it is used up by {self.equation(most)}"

    def _concentration(self, name: str, change: float) -> str:
        """From before the stress to the new equilibrium, where amount and concentration may part company."""
        if species(name).phase in ("s", "l"):
            return ""
        old, new = _value(self.reaction, self.d.before, name), _value(self.reaction, self.d.after, name)
        unit = self.unit(name)
        what = "partial pressure" if unit == "bar" else "concentration"
        if practically_none(new, old):
            return ""
        if practically_none(old, new):
            return f"Its {what} is {number(new)} {unit} now."
        if abs(new - old) < 5e-4 * old:
            return f"Its {what} is {number(new)} {unit}, as before."
        because = all_the_same = ""
        if (new - old) * change < 0:
            all_the_same = " all the same,"
            because = ", because it was added itself" if self.jumped(name) else ", because the volume changed"
        return "Its {} {}{} from {} {unit} before to {} {unit} now{}.".format(
            what, "rises" if new > old else "falls", all_the_same, *apart(old, new), because, unit=unit
        )
