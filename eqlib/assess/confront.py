"""A prediction confronted with what happened: each part answered with this mixture's numbers, and what the
vessel would have looked like if the idea behind a wrong answer were right.

All sentences are made of computed numbers. The picture of an idea is a mixture too: one in which nothing
reacted, or the reaction ran the other way, or as far as the idea says; it keeps the same atoms.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from types import MappingProxyType
from typing import Any

from eqlib.assess.asks import ASKS
from eqlib.assess.asks.base import Part
from eqlib.assess.asks.reasons import is_sound, tied_up
from eqlib.assess.mark import judge, read
from eqlib.assess.mistakes import MISTAKES
from eqlib.assess.question import Case, Question
from eqlib.chem.disturb import Disturbance, disturb
from eqlib.chem.explain import Event, in_unicode
from eqlib.chem.reactions import characteristic_product
from eqlib.chem.species import species
from eqlib.chem.state import Quotient, State
from eqlib.chem.stress import Stress
from eqlib.errors import EqlibError
from eqlib.lab.colour import absorbance, absorbance_at, colour_of, coloured, delta_e
from eqlib.lab.drawing import SHAPES
from eqlib.lab.look import SAME_BELOW
from eqlib.writing import apart, moles_change, number, practically_none

_WELL = SHAPES["well"]


@dataclass(frozen=True)
class IfRight:
    """The vessel as an idea would have it: ``state`` a State, seen from ``view`` ("side" or "above").

    ``words`` say what it shows; ``test`` is the one further thing that would tell the two apart, or "".
    """

    idea: str
    words: str
    state: State
    test: str = ""
    view: str = "side"

    @property
    def told(self) -> str:
        """Words and test, as they stand beside the vessel."""
        return f"{self.words} {self.test}".strip()


@dataclass(frozen=True)
class Confronted:
    """One part: what was said, what happened, whether they agree (None: nothing said, or not marked), an
    answer in one or two sentences, the misconception it is consistent with, and its picture.
    """

    part: Part
    said: str
    happened: str
    agrees: bool | None
    answer: str
    idea: str | None = None
    if_right: IfRight | None = None


def confront(question: Question, case: Case, answer: Mapping[str, Any]) -> tuple[Confronted, ...]:
    """Every choice of ``question`` that is answered or has a right value, in its order.

    ``answer`` is what was recorded: part id -> value. An idea is named where the mark names it. At most one of
    the rows carries a picture: that of an idea, the reason's first, else of the direction that was said.
    """
    facts = _Facts(case, answer)
    verdicts = judge(question, case, read(question, case, answer), question.policy)
    rows = [
        _row(part, facts, answer.get(part.id), verdicts[part.id].mistake if part.id in verdicts else None)
        for part in question.parts
        if part.kind == "choice"
        and part.ask != "confidence"
        and (part.id in answer or part.id in case.expected)
    ]
    named = sorted((row for row in rows if row.idea), key=lambda row: row.part.ask != "reason")
    wrong_way = (row for row in rows if row.part.ask == "direction" and row.agrees is False)
    for row in (*named, *wrong_way):
        picture = picture_of(row.idea, facts)
        if picture is not None:
            return tuple(replace(other, if_right=picture) if other is row else other for other in rows)
    return tuple(rows)


def _row(part: Part, facts: _Facts, said: Any, idea: str | None) -> Confronted:
    words, right = dict(part.options), facts.case.expected.get(part.id)
    agrees = None if said is None or right is None else said == right
    told = ""
    if said is not None and part.ask == "reason" and facts.case.disturbance is not None:
        told = facts.reasoned(str(said), bool(agrees))
    elif agrees is False and part.ask == "direction" and idea in _REASONED and not facts.reason_asked:
        told = _REASONED[idea](facts)  # no "why?" was asked: the idea behind the way is answered here
    elif agrees is False:
        answer = _ANSWERS.get(part.ask) if facts.case.disturbance is not None else None
        told = answer(facts, part) if answer else ASKS[part.ask].answer_to(part, facts.case, said)
    happened = words.get(str(right), "")
    if part.ask == "K" and happened:
        old, new = (number(value) for value in facts.K)
        happened += f" ({old})" if old == new else f" ({old}, then {new})"
    if part.ask == "change" and happened:
        happened += f" ({facts.moved(part.species)})"
    return Confronted(part, words.get(said, ""), happened, agrees, told, idea)


class _Facts:
    """The numbers of one disturbance, ready to be put into a sentence."""

    def __init__(self, case: Case, answer: Mapping[str, Any]):
        self.case, self.answer = case, answer

    @property
    def d(self) -> Disturbance:
        """What the change did."""
        return self.case.change

    @property
    def reason_asked(self) -> bool:
        """Does the question ask for a reason?"""
        return any(part.ask == "reason" for part in self.case.parts)

    @cached_property
    def product(self) -> str:
        return characteristic_product(self.d.reaction)

    @cached_property
    def K(self) -> tuple[float, float]:
        return self.d.before.K(self.d.reaction), self.d.K

    @cached_property
    def acted(self) -> list[Event]:
        """What the rivals did."""
        return [event for event in self.d.events if event.kind == "rival"]

    @property
    def driven(self) -> Quotient:
        """Q of the first reaction when it begins to answer: after the rivals, where there are any."""
        return self.acted[-1].quotient if self.acted else self.d.events[0].quotient

    @cached_property
    def added(self) -> str:
        """The added species that acts: in the first reaction, or in one of the others; else the first named."""
        named = [n for n, _ in self.d.stress.amounts]
        ours = [n for n in named if n in self.d.reaction.coefficients]
        others = [n for n in named if any(n in r.coefficients for r in self.d.rivals)]
        return (ours or others or named or [""])[0]

    @property
    def partner(self) -> str:
        """The reactant that was not added."""
        counted = self.d.reaction.quotient_species
        return next((n for n in self.d.reaction.reactants if n != self.added and n in counted), "")

    def ends(self, name: str, start: State, end: State) -> tuple[str, str]:
        """[name] in two states, the unit with the last number: ("5.3 × 10⁻⁹", "4.34 × 10⁻⁴ mol/L")."""
        a, b = start.concentrations.get(name, 0.0), end.concentrations.get(name, 0.0)
        old, new = apart(a, b) if abs(a - b) > 1e-6 * max(a, b) else (number(a), number(b))
        if practically_none(b, max(a, b)):
            return f"{old} mol/L", "practically none"
        return "practically none" if practically_none(a, max(a, b)) else old, f"{new} mol/L"

    def from_to(self, name: str, start: State, end: State) -> str:
        old, new = self.ends(name, start, end)
        stays = old in (new, new.removesuffix(" mol/L"))
        return f"[{in_unicode(name)}] {f'stays {new}' if stays else f'goes from {old} to {new}'}"

    def moved(self, name: str) -> str:
        """ "5.3 × 10⁻⁹ → 4.34 × 10⁻⁴ mol/L" from before to the end."""
        return " → ".join(self.ends(name, self.d.before, self.d.after))

    def amount_moved(self) -> str:
        """ "the amount of FeSCN²⁺ falls by ..., from ... to ..." from at once to the end."""
        a, b = self.d.at_once.amounts.get(self.product, 0.0), self.d.after.amounts.get(self.product, 0.0)
        if abs(a - b) <= 1e-6 * max(a, b):
            return f"the amount of {in_unicode(self.product)} stays the same"
        return f"the amount of {in_unicode(self.product)} {moles_change(a, b)}"

    def q_against_k(self) -> str:
        way = {
            "forward": "Q is smaller, so its top has to grow: product forms",
            "reverse": "Q is larger, so its top has to shrink: some product turns back into reactants",
            "none": "they are equal, so nothing has to shift",
        }[self.d.direction]
        return f"{self._when()} Q = {self.driven.shown_Q()} and K = {self.driven.shown_K()}; {way}."

    def _when(self) -> str:
        """When the first reaction begins to answer: at once, or after what the last of its rivals did."""
        if not self.acted:
            return "Right after the change"
        last = self.acted[-1].rivals[0]
        return f"Once {in_unicode(last.species)} has been {'bound' if last.amount < 0 else 'set free'},"

    def k_words(self) -> str:
        old, new = self.K
        if abs(new / old - 1) < 1e-3:
            return (
                f"K was {number(old)} and is {number(new)}: amounts change Q, only the temperature changes K."
            )
        celsius = [f"{state.T - 273.15:.0f} °C" for state in (self.d.before, self.d.after)]
        return f"K was {number(old)} at {celsius[0]} and is {number(new)} at {celsius[1]}: the temperature is the one thing that changes it."

    def reasoned(self, said: str, right: bool) -> str:
        """The answer to a chosen reason."""
        about_k = said.startswith("k_")
        if right and not about_k and said not in ("q_below_K", "q_above_K", "q_equals_K"):
            return f"Yes. {self._bound()}"
        if right or (is_sound(said) and not said.startswith(("binds:", "frees:"))):
            return ("Yes. " if right else "") + (self.k_words() if about_k else self.q_against_k())
        if said.startswith(("binds:", "frees:")):
            return f"Not {in_unicode(said.partition(':')[2])}: {self._bound()}"
        if said in _REASONED:
            return _REASONED[said](self)
        return f"{self.q_against_k()} {MISTAKES[said].hint if said in MISTAKES else ''}".strip()

    def _bound(self) -> str:
        bound = tied_up(self.case)
        if bound is None:
            return self._set_free() or self.q_against_k()
        later = self.acted[-1].state if self.acted else self.d.after
        return f"{in_unicode(self.added)} ties up {in_unicode(bound)}: {self.from_to(bound, self.d.at_once, later)}, and Q = {self.driven.shown_Q()} stands against K = {self.driven.shown_K()}."

    def _set_free(self) -> str:
        """What was taken up and what that gave back, where one rival set another going; else ""."""
        first = [event.rivals[0] for event in self.d.events if event.kind == "driver"]
        then = [event.rivals[0] for event in self.acted]
        if not first or not then or first[0].amount > 0 or then[0].amount < 0 or not self.added:
            return ""
        taken, freed = (in_unicode(rival[0].species) for rival in (first, then))
        return (
            f"{in_unicode(self.added)} takes up {taken}, and that gives back {freed}, so "
            f"Q = {self.driven.shown_Q()} stands against K = {self.driven.shown_K()}."
        )

    @property
    def with_heat(self) -> str:
        """The way that a change of temperature would go if heating always helped the forward reaction."""
        return "forward" if self.d.after.T > self.d.before.T else "reverse"

    def heated(self) -> str:
        """What heat does here, and that it need not do so elsewhere."""
        here = f"Warming helps the direction that takes heat up; here forming {in_unicode(self.product)}"
        if (self.d.reaction.dH or 0) <= 0:
            return f"{here} gives heat out. {self.k_words()}"
        return f"{here} takes heat up. So it came true in this mixture; where forming the product gives heat out, it does not. {self.k_words()}"

    def not_cancelled(self) -> str:
        """How much of the change stays."""
        if not self.added:
            return f"Only in part: {self.amount_moved()}, until Q is K again; the rest of the change stays."
        states = (self.d.before, self.d.at_once, self.d.after)
        was, once, now = (number(state.concentrations.get(self.added, 0.0)) for state in states)
        return f"[{in_unicode(self.added)}] was {was} mol/L before, {once} right after the change and is {now} now: part of the change stays."

    def spectators(self) -> str:
        reactions = self.d.mixture.reactions
        named = [n for n, _ in self.d.stress.amounts if not any(n in r.coefficients for r in reactions)]
        words = " and ".join(in_unicode(n) for n in named) or "What came along"
        return f"{words} {'stand' if len(named) > 1 else 'stands'} in none of the equilibria of this mixture: alone, {'they' if len(named) > 1 else 'it'} would do {'nothing here' if self.d.stress.kind == 'add_solid' else 'only what as much water does'}. {self.q_against_k()}"

    def diluted(self) -> str:
        told = f"Mixing alone multiplies every concentration by {number(self.d.before.volume / self.d.at_once.volume)}"
        powers = self.d.reaction.quotient_species
        added = set(dict(self.d.stress.amounts)) & set(powers)
        if added or any(not self.d.before.concentrations.get(name) for name in powers):
            return f"{told}. {self.q_against_k()}"  # more than dilution, or there was no Q to begin with
        count = ("none", "one", "two", "three", "four", "five", "six", "seven")
        top, bottom = (
            int(sum(abs(float(v)) for v in powers.values() if (v > 0) is up)) for up in (True, False)
        )
        return (
            f"{told}; Q has {count[top]} of them above its line and "
            f"{count[bottom]} below, so it goes from {number(self.K[0])} to {number(self.d.Q)}."
        )

    def paler(self) -> str:
        share = self.d.before.volume / self.d.at_once.volume
        what_shows = f"What shows it is that {self.amount_moved()}."
        if self.d.stress.kind == "change_volume":
            return f"The same amount now stands in {'less' if share > 1 else 'more'} room, so the colour alone does not show which way it went. {what_shows}"
        if share == 1:
            return f"Nothing was diluted here; where something is, paleness alone does not show which way it went. {what_shows}"
        if self.d.direction == "forward":
            return f"Paler from the side, yes: mixing alone leaves {number(share)} of the colour there. But {self.amount_moved()}: it went to products. {self.from_above()}"
        return f"Here it did go back, but paleness does not show it: mixing alone leaves {number(share)} of the colour from the side. {what_shows}"

    def from_above(self) -> str:
        """What a second look shows: from above, a well is as deep as it is full."""
        states = (self.d.before, self.d.after)
        seen = [colour_of(s, view="above", area_cm2=_WELL.area_cm2, cloudy=False) for s in states]
        nm = seen[0].peak_nm
        old, new = (absorbance(s, nm, c.path_cm) for s, c in zip(states, seen, strict=True))
        return f"From above, where mixing alone leaves the colour as it was, the absorbance goes from {old:.3f} to {new:.3f}."


_REASONED: dict[str, Callable[[_Facts], str]] = {
    "static_stop": lambda f: (
        f"Both reactions go on all the time, equally fast: that is why {f.amount_moved()}."
        if f.d.direction == "none"
        else f"Both reactions went on all the time, equally fast; the change put them out of step, and {f.amount_moved()}."
    ),
    "two_boxes": lambda f: (
        f"{f.from_to(f.partner, f.d.before, f.d.after)}: each {in_unicode(f.product)} that forms uses up one of either reactant, whichever was added."
    ),
    "k_moves_conc": lambda f: (
        f"{f.k_words()} What the change moved is Q, to {f.driven.shown_Q()}, and the shift brings it back to K."
    ),
    "k_fixed_t": _Facts.k_words,
    "rate_is_extent": lambda f: (
        f"K says how far a reaction goes, not how fast: it holds no time. {f.k_words()}"
    ),
    "full_cancel": _Facts.not_cancelled,
    "q_is_k": lambda f: (
        f"{f.q_against_k()} Q is worked out from the concentrations of the moment; K is what Q comes to at equilibrium."
    ),
    "q_reversed": _Facts.q_against_k,
    "inert_const_v": lambda f: (
        f"Q is made of the concentrations of the gases that react, not of the total pressure. {f.q_against_k()}"
    ),
    "spectator_acts": _Facts.spectators,
    "not_in_equation": lambda f: f"It need not stand in the equation. {f._bound()}",
    "volume_ignored": lambda f: (
        f"Water is not in the equation, but the volume is in every concentration. {f.diluted()}"
    ),
    "paler_is_left": _Facts.paler,
    "heat_is_forward": _Facts.heated,
    "goes_complete": lambda f: (
        f"Not all of it: {f.from_to(f.partner or f.product, f.d.before, f.d.after)}, for with nothing left of a reactant Q would be infinite."
    ),
    "one_up_one_down": lambda f: (
        f"At once, apart from the dilution, only what was added has changed, so only one of the two rates has jumped up; the other follows as {in_unicode(f.product)} changes."
    ),
    "more_always_right": _Facts.q_against_k,
    "solid_shifts": lambda f: (
        f"A solid has no concentration that could rise: it is not in Q. {f.q_against_k()}"
    ),
}

_ANSWERS: dict[str, Callable[[_Facts, Part], str]] = {
    "direction": lambda f, part: f.q_against_k(),
    "K": lambda f, part: f.k_words(),
    "change": lambda f, part: f"{f.from_to(part.species, f.d.before, f.d.after)}.",
    "seen": lambda f, part: _seen(f),
    "precipitate": lambda f, part: _solid(f),
    "bound": lambda f, part: f._bound(),
    "cause": lambda f, part: f._bound(),
}


def _seen(f: _Facts) -> str:
    """The concentration that the eye meets: of what absorbs most of the light that changed."""
    states = f.d.before.concentrations, f.d.after.concentrations
    names = [n for n in f.d.reaction.quotient_species if coloured([n])[0]]
    if not names:
        return ""
    nm = max(
        (colour_of(s, _WELL.width_cm, cloudy=False) for s in (f.d.before, f.d.after)),
        key=lambda c: c.absorbance,
    ).peak_nm
    deep = {n: [float(absorbance_at({n: at.get(n, 0.0)}, nm)) for at in states] for n in names}
    name = max(names, key=lambda n: abs(deep[n][1] - deep[n][0]))
    if deep[name][0] == deep[name][1]:
        return ""
    return f"From the side the eye meets concentration: {f.from_to(name, f.d.before, f.d.after)}."


def _solid(f: _Facts) -> str:
    formed = f.case.look.solids_formed if f.case.look else ()
    return (
        f"{' and '.join(in_unicode(n) for n in formed)} forms."
        if formed
        else "Nothing in this mixture reaches the point where a solid forms."
    )


# -- what the vessel would look like --------------------


def pictured(case: Case, ideas: Iterable[str]) -> IfRight | None:
    """The vessel of ``case`` as the first of ``ideas`` (ids of misconceptions) that shows would have it."""
    facts = _Facts(case, {})
    return next(filter(None, (picture_of(idea, facts) for idea in ideas)), None)


def picture_of(idea: str | None, f: _Facts) -> IfRight | None:
    """The vessel as ``idea`` would have it, or, without one, as the direction that was said; None where no eye
    could tell it from the real one.
    """
    made = _PICTURES.get(idea) if idea else _said_way
    state, words = made(f) if made is not None and f.case.disturbance is not None else (None, "")
    if state is None:
        return None
    for view in ("side", "above"):
        seen = [
            colour_of(s, _WELL.width_cm, view, area_cm2=_WELL.area_cm2, cloudy=False)
            for s in (f.d.after, state)
        ]
        if delta_e(seen[0].clear_lab, seen[1].clear_lab) >= SAME_BELOW:
            # The wrong way round may be a rule misread or Q misjudged: only what was said is spoken of.
            rule = idea if idea != "q_reversed" else None
            held = f"“{MISTAKES[rule].title}” were right" if rule else "it were as you said"
            named = f"If {held}, {words}, and it would look like the last vessel."
            test = "" if idea in ("full_cancel", "k_fixed_t") else telling_test(f)
            return IfRight(idea or "", named, state, test, view)
    return None


def _said_way(f: _Facts) -> tuple[State | None, str]:
    """Where the reaction was said to go, where that is not where it went."""
    said = next((f.answer.get(part.id) for part in f.case.parts if part.ask == "direction"), None)
    return _nothing(f) if said == "none" else _other_way(f)


def _nothing(f: _Facts) -> tuple[State | None, str]:
    mixed = f.d.stress.kind in ("add_solution", "dilute")
    return f.d.at_once, "nothing but mixing would happen" if mixed else "nothing would happen"


def _other_way(f: _Facts) -> tuple[State | None, str]:
    """The reaction run the other way by as much, as far as there is something to run."""
    way = {"forward": "to reactants", "reverse": "to products"}.get(f.d.direction)
    if way is None:
        return None, ""
    return _run(f, -f.d.extent), f"it would have gone {way}"


def _complete(f: _Facts) -> tuple[State | None, str]:
    return _run(f, 1e9), "it would have gone on until a reactant was used up"


def _cancelled(f: _Facts) -> tuple[State | None, str]:
    """Until the added species is back at its old concentration, or its partner is used up."""
    if f.added not in f.d.reaction.coefficients:
        return None, ""
    was = f.d.before.concentrations.get(f.added, 0.0) * f.d.at_once.volume
    back = f.d.at_once.amounts.get(f.added, 0.0) - was
    undone = _run(f, back / -float(f.d.reaction.coefficients[f.added]))
    return undone, f"[{in_unicode(f.added)}] would be back where it was"


def _run(f: _Facts, extent: float) -> State:
    """The mixture at once with the first reaction run by ``extent`` mol, no further than its amounts allow."""
    amounts = dict(f.d.at_once.amounts)
    moved = {n: float(nu) for n, nu in f.d.reaction.coefficients.items() if n in amounts}
    for name, nu in moved.items():
        if nu * extent < 0:
            extent = min(extent, amounts[name] / -nu) if extent > 0 else max(extent, -amounts[name] / nu)
    for name, nu in moved.items():
        amounts[name] = max(amounts[name] + nu * extent, 0.0)
    return replace(f.d.at_once, amounts=MappingProxyType(amounts), fine=MappingProxyType({}), solution=None)


_PICTURES: dict[str, Callable[[_Facts], tuple[State | None, str]]] = {
    **dict.fromkeys(
        ("static_stop", "not_in_equation", "volume_ignored", "k_fixed_t", "inert_const_p"), _nothing
    ),
    "q_reversed": _other_way,
    "more_always_right": lambda f: _other_way(f) if f.d.direction == "reverse" else (None, ""),
    "heat_is_forward": lambda f: _other_way(f) if f.d.direction != f.with_heat else (None, ""),
    "paler_is_left": lambda f: _other_way(f) if f.d.direction == "forward" else (None, ""),
    "goes_complete": _complete,
    "full_cancel": _cancelled,
}


def telling_test(f: _Facts) -> str:
    """The one further thing that would tell an idea from what is so: a drop, or a second look."""
    if f.d.stress.kind == "heat_to":
        return "Bring it back to the first temperature: the first colour comes again, so nothing was used up."
    if f.d.rivals:
        return _telling_drop(f)
    if f.d.stress.kind in ("add_solution", "dilute"):
        return "Look from above, before and after: there mixing alone changes nothing, so any change of colour is the shift."
    return ""


def _telling_drop(f: _Facts) -> str:
    """A drop of a reactant that deepens the colour in one of the two and not in the other."""
    bound = tied_up(f.case)
    for name in sorted(f.d.reaction.reactants, key=lambda name: name != bound):
        if species(name).phase != "aq":
            continue
        there = [f.d.before.amounts.get(n, 0.0) for n in (name, f.product)]
        drop, both = Stress.add(name, 0.1 * max(*there, 1e-7)), (f.d, f.d.without())
        try:
            grown = [
                disturb(d.mixture, drop).after.concentrations.get(f.product, 0.0)
                - d.after.concentrations.get(f.product, 0.0)
                for d in both
            ]
        except EqlibError:
            continue
        if grown[1] > 10 * max(grown[0], 0.0):
            return f"A drop of {in_unicode(name)} tells them apart: it would deepen the colour there, and does next to nothing here."
    return ""
