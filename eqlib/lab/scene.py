"""What is seen of one disturbance: the vessels, the film from the change to the new equilibrium, Q beside K.

A Scene is made of computed states only. Between two of them a film shows mixtures in which every amount has
moved by the same share, so that all of them hold the same atoms; the share is chosen so that Q moves evenly
along its line.
"""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cached_property
from types import MappingProxyType
from typing import Any

from eqlib.chem.disturb import Disturbance
from eqlib.chem.species import species
from eqlib.chem.state import State
from eqlib.lab.colour import Colour, absorbance, colour_of
from eqlib.lab.curves import QuotientLine
from eqlib.lab.drawing import GASES, SHAPES, Vessel, frame, look_of, said_of, shelf, vessel_of
from eqlib.lab.look import control_of, lightness
from eqlib.writing import number

_VERBS = {
    "add_solution": "Add the drops",
    "dilute": "Add the water",
    "add_solid": "Add the solid",
    "add": "Add it",
    "remove": "Take it out",
    "add_inert": "Let the gas in",
    "catalyse": "Add the catalyst",
    "heat_to": "Into the bath",
    "change_volume": "Move the plunger",
}
#: What a kind of vessel is called, where that is not its name in SHAPES.
NOUNS = {"cell": "cuvette", "sealed": "tube", "test tube": "tube", "barrel": "syringe"}
_DROPS_L = 0.5e-3  # more of a solution than ten drops (common practice: 20 drops a mL) is poured
_LARGE_L = 0.1  # no syringe of a classroom holds more
_STEPS = {"rival": 5, "answer": 9}
_ROWS = 6  # of words under a vessel in a film
READS_TO = 3.0  # absorbance up to which a simple colorimeter tells numbers apart (common practice, no source)


def vessel_kind(state: State, words: str) -> str:
    """The kind of vessel (a key of SHAPES) of ``state``: as ``words`` name it, else by what is in it."""
    gas_only = not any(species(name).phase == "aq" for name in state.amounts)
    if gas_only:
        if state.gas_volume > _LARGE_L:
            return "vessel"
        return "syringe" if "syringe" in words or not words else "sealed"
    if "syringe" in words and state.gas_volume > 0:
        return "barrel"
    if "tube" in words:
        return "test tube" if "1.5 cm bore" in words else "tube"
    return "well" if "well" in words or state.volume < 0.0034 else "flask"


def is_closed(words: str) -> bool:
    """Do ``words`` say of a vessel that it is shut?"""
    return any(word in words for word in ("closed", "sealed", "stopper"))


class Scene:
    """One disturbance to look at. ``bottle`` names what is poured in, as on its label; ``recorded``: nobody
    in the room does it, the class looks at a record; ``closed``: the vessel is stoppered.
    """

    def __init__(
        self,
        disturbance: Disturbance,
        kind: str,
        bottle: str = "",
        recorded: bool = False,
        closed: bool = False,
    ):
        self.d, self.kind, self.bottle = disturbance, kind, bottle
        self.recorded, self.closed = recorded, closed
        self._seen: dict[tuple[int, str, bool], tuple[State, Colour]] = {}

    @property
    def verb(self) -> str:
        """What the button says: what is done."""
        if self.recorded:
            return "See the record"
        stress = self.d.stress
        poured = stress.kind == "add_solution" and stress.litres > _DROPS_L
        return "Pour it in" if poured else _VERBS[stress.kind]

    # -- the states --------------------

    @cached_property
    def control(self) -> State:
        """The twin that got only water, or nothing where nothing is poured in."""
        return control_of(self.d)

    @cached_property
    def settled(self) -> State | None:
        """Where only the rivals have acted, the first reaction not yet; None where no rival decides."""
        turning = self.d.plot.turning
        return None if turning is self.d.at_once else turning

    def quotient(self, state: State) -> float:
        """Q of the first reaction in a state; nan where it has none."""
        return state.quotient_or_nan(self.d.reaction)

    @cached_property
    def nm(self) -> float:
        """One wavelength for the whole page: where the deepest of the states absorbs most; of a gas, which
        nobody thins for the reading, as far beyond as it takes to read them all.
        """
        width = SHAPES[self.kind].width_cm
        seen = [colour_of(state, width, cloudy=False) for state in (self.d.before, self.d.after)]
        nm = max(seen, key=lambda colour: colour.absorbance).peak_nm
        states = self.d.before, self.d.at_once, self.d.after
        while self.kind in GASES and nm < 650 and max(absorbance(s, nm, width) for s in states) > READS_TO:
            nm += 10
        return nm

    # -- vessels --------------------

    def seen(self, state: State, view: str = "side", settled: bool = True) -> Colour:
        """The Colour of a state in this vessel, worked out once."""
        key = id(state), view, settled
        if key not in self._seen:
            shape = SHAPES[self.kind]
            made = colour_of(state, shape.width_cm, view, area_cm2=shape.area_cm2, cloudy=not settled)
            self._seen[key] = state, made  # the state with it, so that its id stays its own
        return self._seen[key][1]

    def vessel(
        self,
        state: State,
        name: str,
        *,
        view: str = "side",
        grey: bool = False,
        settled: bool = True,
        adding: str = "",
        more: tuple[str, ...] = (),
    ) -> Vessel:
        """One vessel, with what is seen in words and the absorbance as a number."""
        shape, seen = SHAPES[self.kind], self.seen(state, view, settled)
        lines = (*self.lines(state, seen, settled), *more)
        made = vessel_of(state, name, self.kind, view, lines, settled, grey, adding, seen)
        most = 1000 * max(self.size(s) for s in (self.d.before, self.d.after, state))
        if self.kind != "sealed" and most > shape.area_cm2 * shape.height_cm:
            made = replace(made, level=0.85 * 1000 * self.size(state) / most)
        bath = state.T - 273.15 if self.d.stress.kind == "heat_to" else None
        drops = self.d.stress.kind in ("add_solution", "dilute") and not self.recorded
        return replace(made, drops=drops, bath=bath, closed=self.closed)

    def size(self, state: State) -> float:
        """L of what fills the vessel."""
        return state.gas_volume if self.kind in GASES else state.volume

    def lines(self, state: State, seen: Colour, settled: bool = True) -> tuple[str, ...]:
        """What stands under a vessel: its colour in words, how much it holds, its absorbance."""
        solids = [n for n, v in state.solids.items() if v > 1e-5 and n != "H2O(l)"]
        words = seen.words
        if settled and solids:
            look = look_of(solids[0])
            words = f"{words}; {look.words if look else ''} solid".replace("  ", " ")
        amount = self.size(state)
        size = f"{1000 * amount:.2f} mL" if amount < 0.01 else f"{number(1000 * amount)} mL"
        at = absorbance(state, self.nm, seen.path_cm)
        read = f"A {at:.2f}" if at <= READS_TO else f"A over {READS_TO:g}"
        if self.d.stress.kind == "heat_to":
            size = f"{state.T - 273.15:.0f} °C"
        return words, f"{size} · {read}"

    def standing(self) -> str:
        """The vessel as it stands, and the bottle to be added: a picture that gives nothing away."""
        mine = self.vessel(self.d.before, f"your {self.noun}", adding=self.bottle)
        twin = self.vessel(self.d.before, "control", more=(self.twin,))
        said = f"{said_of([mine])}. {self.bottle}. Beside it a control that {self.twin}."
        return shelf([mine, twin], f"The {self.noun} as it stands", said)

    @property
    def noun(self) -> str:
        """What the vessel is called."""
        return NOUNS.get(self.kind, self.kind)

    @property
    def watered(self) -> bool:
        """Does the control get water?"""
        return self.d.stress.kind == "add_solution"

    @property
    def twin(self) -> str:
        """What is done to the control."""
        if self.watered:
            return f"gets {number(1000 * self.d.stress.litres)} mL of water"
        return "is left as it is"

    def outcome(self, title: str, imagined: Any = None) -> str:
        """The vessel in three moments, its control, and the vessel as the student's idea (an IfRight) would
        have it.
        """
        d = self.d
        cast: list[Vessel | str] = [self.vessel(d.before, "before"), "→", self.vessel(d.at_once, "at once")]
        cast += ["→", self.vessel(d.after, self._after())]
        cast += ["|", self.vessel(self.control, "control (water)" if self.watered else "control")]
        if imagined is not None:
            if imagined.view == "above":
                cast.append(self.vessel(d.after, "after, from above", view="above"))
            cast.append(self.vessel(imagined.state, "if that were so", view=imagined.view))
        return shelf(cast, f"{title}: what happened", said_of(cast))

    def _after(self) -> str:
        """The name of the last vessel, with what became of the colour where its words stayed the same."""
        old, new = self.seen(self.d.before), self.seen(self.d.after)
        looks = lightness(old, new)
        return f"after: {looks}" if old.words == new.words and looks != "same" else "after"

    # -- the line of Q and K --------------------

    @cached_property
    def line(self) -> QuotientLine | None:
        """Q on its line beside K; None where no Q can be written."""
        first, K = self.quotient(self.d.before), (self.d.before.K(self.d.reaction), self.d.K)
        marks = [("at once", self.d.Q)]
        if self.settled is not None:
            marks.append((self.bound_words(self.settled), self.quotient(self.settled)))
        if all(math.isnan(Q) for _, Q in marks) or math.isnan(first):
            return None
        return QuotientLine(self.d.K if abs(K[0] / K[1] - 1) < 1e-3 else K, marks)

    def bound_words(self, later: State) -> str:
        """What the rivals have done until then, in a few words."""
        once = self.d.at_once
        changed = {
            name: later.amounts.get(name, 0.0) / once.amounts[name]
            for name in self.d.reaction.quotient_species
            if once.amounts.get(name, 0.0) > 0
        }
        name = max(changed, key=lambda n: abs(math.log(max(changed[n], 1e-300))))
        return f"{species(name).unicode} {'tied up' if changed[name] < 1 else 'set free'}"

    def line_svg(self, moving: bool = False) -> str:
        """The line as a picture, or "" where there is none."""
        if self.line is None:
            return ""
        marks = ((label, "infinite" if math.isinf(Q) else number(Q)) for label, Q in self.line.marks)
        K = ", then ".join(number(k) for k in self.line.Ks)
        said = "; ".join([f"K = {K}", *(f"{label}: Q = {Q}" for label, Q in marks)])
        title = "Q beside K on a logarithmic line"
        return self.line.svg(title, f"{said}; at the new equilibrium Q = K again.", moving)

    # -- the film --------------------

    def film_picture(self) -> str:
        """The vessel and its control before anything is done, to be moved by the film's frames."""
        cast = self._cast(self.d.before, "before", self.d.before, True)
        return shelf(cast, f"The {self.noun} and its control while it happens", "", _ROWS)

    def _cast(self, state: State, name: str, twin: State, settled: bool) -> list[Vessel | str]:
        beside = self.vessel(twin, "control", more=(self.twin,))
        return [self.vessel(state, name, settled=settled), "|", beside]

    def frames(self) -> list[dict[str, Any]]:
        """The film: at once what mixing does, then what the rivals do, then how the reaction answers."""
        d = self.d
        reel = [
            (700, d.before, "before", self.quotient(d.before), d.before, True),
            (1300, d.at_once, "at once", d.Q, self.control, True),
        ]
        here, formed = d.at_once, False
        if self.settled is not None:
            reel += [
                (170, s, "the rival acts", q, self.control, False)
                for s, q in self.between(here, self.settled, _STEPS["rival"])
            ]
            here, formed = self.settled, True
            reel[-1] = (1100, *reel[-1][1:])
        grown = sum(d.after.solids.values()) > sum(d.at_once.solids.values()) + 1e-5
        steps = self.between(here, d.after, _STEPS["answer"])
        reel += [
            (200, s, "finding its equilibrium", q, self.control, not (formed or grown)) for s, q in steps
        ]
        reel.append((500, d.after, "after", self.quotient(d.after), self.control, True))
        made = []
        for ms, state, name, Q, twin, settled in reel:
            vessels = [v for v in self._cast(state, name, twin, settled) if isinstance(v, Vessel)]
            moved = frame(vessels, _ROWS)
            if self.line is not None:
                moved["q"] = self.line.at(Q)
            made.append({"ms": ms, "set": moved})
        return made

    def between(self, start: State, end: State, steps: int) -> list[tuple[State, float]]:
        """(state, Q) on the way from one state to another, Q moving evenly on its logarithmic line."""
        Q0, Q1 = self.quotient(start), self.quotient(end)
        even = not (0 < Q0 < math.inf and 0 < Q1 < math.inf) or abs(math.log(Q1 / Q0)) < 1e-6
        found = []
        for n in range(1, steps + 1):
            share = n / steps
            if not even and n < steps:
                share = self._share(start, end, Q0 * (Q1 / Q0) ** (n / steps), Q1 > Q0)
            state = mixed(start, end, share) if n < steps else end
            found.append((state, self.quotient(state)))
        return found

    def _share(self, start: State, end: State, wanted: float, rising: bool) -> float:
        low, high = 0.0, 1.0
        for _ in range(26):
            share = (low + high) / 2
            Q = self.quotient(mixed(start, end, share))
            low, high = (share, high) if (wanted > Q) == rising else (low, share)
        return high


def mixed(start: State, end: State, share: float) -> State:
    """A state between two: every amount has moved by ``share`` of its way."""
    names = set(start.amounts) | set(end.amounts)
    amounts = {n: (1 - share) * start.amounts.get(n, 0.0) + share * end.amounts.get(n, 0.0) for n in names}
    return replace(
        end,
        amounts=MappingProxyType(amounts),
        volume=(1 - share) * start.volume + share * end.volume,
        gas_volume=(1 - share) * start.gas_volume + share * end.gas_volume,
        fine=MappingProxyType({}),
        solution=None,
    )
