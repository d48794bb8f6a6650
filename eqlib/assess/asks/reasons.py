"""The reasons a "why?" can offer, and which particle acts or is tied up.

A question lists options by name and no name is marked as right. A sound reason is right when the computed
chemistry of the student's own numbers says so; what a misconception says never is. "binds:SCN^-" is a sound
reason with a species in it.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any, Literal, NamedTuple

from pydantic import field_validator

from eqlib.assess import feedback
from eqlib.assess.asks.base import (
    SAME,
    Answered,
    OptionsTable,
    Part,
    Picked,
    Verdict,
    beside,
    in_unicode,
)
from eqlib.assess.asks.sentences import Sentence
from eqlib.assess.asks.shift import heat_may_help, own_direction
from eqlib.assess.mistakes import MISTAKES
from eqlib.assess.reading.plain import Reading
from eqlib.assess.tables import near
from eqlib.chem.disturb import Disturbance
from eqlib.chem.salts import dissolved
from eqlib.chem.species import canonical

if TYPE_CHECKING:
    from eqlib.assess.question import Case, Policy

#: Other reactions that move less than this share of every species do not decide anything.
_HARDLY = 0.02
#: Q this many times K (or K so many times Q) is reason enough for a shift, whatever else takes part.
_CLEARLY = 2.0

# -- what the engine finds --------------------------------------------------------------------------------


class Driver(NamedTuple):
    """Why the first reaction went as it did.

    ``kind``: "K" (it changed), "binds" or "frees" (another equilibrium takes up or gives back ``species``),
    or "Q" (Q right after the change, against K).
    """

    kind: str
    species: str = ""


def cause_of(case: Case) -> Driver:
    """The cause that decides. With a rival it is the rival, unless Q right after the change already stood at
    least half as far from K (in its logarithm) as it does once the rival has had its way.
    """
    d = case.change
    if abs(d.K / d.before.K(d.reaction) - 1) > SAME:
        return Driver("K")
    if len(case.reactions) == 1 or _moved_by_others(d) < _HARDLY:
        return Driver("Q")
    if not d.plot.rivals or _explains(d.Q / d.K, d.plot.turning.quotient_or_nan(d.reaction) / d.K):
        return Driver("Q")
    rival = d.plot.rivals[0]
    return Driver("binds" if rival.amount < 0 else "frees", rival.species)


def _moved_by_others(d: Disturbance) -> float:
    """The largest share of a species of the first reaction that other reactions took up or gave back."""
    first = d.responses[0]
    if not first.determined:
        return 1.0
    shares = [0.0]
    for name, nu in d.reaction.quotient_species.items():
        was, now = d.at_once.amounts.get(name, 0.0), d.after.amounts.get(name, 0.0)
        own = float(nu) * first.extent
        there = max(was, now) + abs(own)
        shares.append(abs(now - was - own) / there if there else 0.0)
    return max(shares)


def _explains(at_once: float, settled: float) -> bool:
    """Is Q/K at once on the same side as ``settled``, and at least half as far, in its logarithm?"""
    if not (at_once > 0 and settled > 0 and math.isfinite(at_once) and math.isfinite(settled)):
        return (at_once == 0) is (settled == 0) and math.isfinite(settled)
    return math.log(at_once) * math.log(settled) > 0 and abs(math.log(at_once)) >= 0.5 * abs(
        math.log(settled)
    )


def tied_up(case: Case, least: float = 0.1) -> str | None:
    """The reactant that other reactions take out of the first one, or None when they take less than
    ``least`` of it.

    What the first reaction itself uses is told apart by its products, of which the others may take one too: a
    reactant's loss beyond the one that they leave alone is their doing.
    """
    before, after = case.change.at_once, case.change.after
    coefficients = case.reaction.coefficients
    products = [name for name, nu in coefficients.items() if nu > 0 and name in case.after]
    if not products:
        return None
    losses: dict[str, float] = {}
    for name, nu in coefficients.items():
        if nu >= 0 or name not in case.after:
            continue
        found = []
        for product in products:
            share = abs(float(nu)) / float(coefficients[product])
            had, has = (
                state.amounts.get(name, 0.0) + share * state.amounts.get(product, 0.0)
                for state in (before, after)
            )
            found.append((had - has) / had if had > 0 else 0.0)
        losses[name] = min(found)
    worst = max(losses, key=lambda name: losses[name], default=None)
    return worst if worst is not None and losses[worst] > least else None


# -- sentences --------------------------------------------------------------------------------------------


def _by_Q(case: Case, side: str, way: str) -> bool:
    """Does Q right after the change stand on this side of K, does the reaction go that way, and is that
    reason enough: no rival decides, or Q is off by a factor of two and more all the same?
    """
    d = case.change
    if abs(d.K / d.before.K(d.reaction) - 1) > SAME:
        return False
    ratio = d.Q / d.K
    enough = cause_of(case).kind == "Q" or not 1 / _CLEARLY < ratio < _CLEARLY
    return enough and beside(ratio, 1.0) == side and d.direction == way


def _by_K(case: Case, side: str, way: str) -> bool:
    d = case.change
    before = d.before.K(d.reaction)
    return beside(d.K, before) == side and d.direction == way


#: Sound reasons, as a student would say them.
SOUND = {
    "q_below_K": Sentence(
        "Right after the change Q is smaller than K, so more product has to form.",
        lambda case: _by_Q(case, "down", "forward"),
    ),
    "q_above_K": Sentence(
        "Right after the change Q is larger than K, so some product has to turn back into reactants.",
        lambda case: _by_Q(case, "up", "reverse"),
    ),
    "q_equals_K": Sentence(
        "Right after the change Q still equals K, so nothing has to shift.",
        lambda case: _by_Q(case, "same", "none"),
    ),
    "k_rises": Sentence(
        "K itself is larger at the new temperature, so the mixture now holds too little product.",
        lambda case: _by_K(case, "up", "forward"),
    ),
    "k_falls": Sentence(
        "K itself is smaller at the new temperature, so the mixture now holds too much product.",
        lambda case: _by_K(case, "down", "reverse"),
    ),
}
#: Sound reasons about one species: "binds:SCN^-", "frees:Fe^3+".
OF_SPECIES = {
    "binds": (
        "What was added ties up {species} (in a solid, a complex or another ion), "
        "so there is less of it in solution."
    ),
    "frees": "What was added takes hold of what had tied up {species}, so there is more of it in solution.",
}
Q_SAYS = {"forward": "q_below_K", "reverse": "q_above_K", "none": "q_equals_K"}

#: What a person with each misconception would say (ids as in mistakes.toml). To tie up another ion than the
#: one really bound ("wrong_target") is said by a "binds:" option that does not hold.
SAID = {
    "static_stop": "Reactions stop once equilibrium is reached, so nothing can happen any more.",
    "equal_amounts": "The mixture shifts until there is as much product as reactant again.",
    "fwd_rate_grows": "The forward reaction keeps speeding up until equilibrium is reached.",
    "one_up_one_down": "One reaction speeds up and the opposite one slows down at the same moment.",
    "two_boxes": "What is added changes only its own side; the other reactant stays as it was.",
    "goes_complete": "The reaction runs until one of the reactants is used up.",
    "k_moves_conc": "Changing a concentration changes K, and the mixture follows the new K.",
    "q_is_k": "Q and K are always the same number, so nothing can push the mixture.",
    "q_reversed": (
        "When Q is smaller than K the mixture goes to reactants, and when it is larger, to products."
    ),
    "full_cancel": "The mixture shifts until the change is cancelled completely.",
    "solid_shifts": "There is more of the solid now, so more of it dissolves.",
    "catalyst_shifts": "The catalyst speeds up the forward reaction more, so more product forms.",
    "inert_const_v": (
        "The extra gas raises the pressure, so the mixture moves to the side with fewer molecules."
    ),
    "inert_const_p": "The added gas does not react, so it cannot have any effect.",
    "dn_zero": "Squeezing a gas mixture always moves it to one side.",
    "volume_ignored": "Water is not in the equation, so adding water moves nothing.",
    "more_always_right": "More of a reactant always means more product.",
    "heat_is_forward": "Heating always helps the forward reaction.",
    "k_fixed_t": "K is a constant, so warming the mixture cannot change it.",
    "rate_is_extent": "A large K means a fast reaction, so it has already finished.",
    "spectator_acts": "The other ions that came along with it cause the shift.",
    "not_in_equation": "What was added is not in the equation, so it does nothing.",
    "paler_is_left": "The colour gets paler, and paler always means that the reaction went to reactants.",
}


def is_sound(name: str) -> bool:
    """Is ``name`` a sound reason (rather than a misconception)?"""
    return name in SOUND or name.partition(":")[0] in OF_SPECIES


def holds(name: str, case: Case) -> bool:
    """Does the mixture say so? True of the sentence that states what decides, and leads where it went."""
    kind, _, species = name.partition(":")
    return cause_of(case) == Driver(kind, species) if species else SOUND[name].holds(case)


class ReasonTable(OptionsTable):
    ask: Literal["reason"]

    @field_validator("options")
    @classmethod
    def _known(cls, given: tuple[str, ...]) -> tuple[str, ...]:
        names = []
        for name in given:
            kind, _, species = name.partition(":")
            if not (is_sound(name) or name in SAID):
                known = (*SOUND, *SAID, *(f"{kind}:SPECIES" for kind in OF_SPECIES))
                raise ValueError(f"holds {name!r}{near(name, known)}")
            names.append(f"{kind}:{canonical(species)}" if species else name)
        return tuple(names)


class Reason(Picked):
    """A sound reason or what a misconception says; right is the one that the mixture confirms."""

    Table = ReasonTable
    legend = "Because"
    label = "Which sentence explains it best?"
    of_change = True

    def said_as(self, name: str) -> str:
        kind, _, species = name.partition(":")
        if species:
            return OF_SPECIES[kind].format(species=in_unicode(species))
        return SOUND[name].words if name in SOUND else SAID[name]

    def holding(self, part: Part, case: Case) -> Sequence[str]:
        return [name for name, _ in part.options if is_sound(name) and holds(name, case)]

    def if_went(self, part: Part, case: Case, way: str) -> set[str]:
        return {Q_SAYS[way], *{"forward": ["k_rises"], "reverse": ["k_falls"]}.get(way, [])}

    def judge(self, part: Part, case: Case, reading: Reading, answered: Answered, policy: Policy) -> Verdict:
        value = reading.value
        if value in self.holding(part, case):
            return Verdict(1.0, "right")
        if self.carries(part, case, value, answered.earlier):
            return Verdict(1.0, "carried")
        idea = idea_of(value, case.expected[part.id])
        if idea == "heat_is_forward" and value != idea and not heat_may_help(case, answered.said, value):
            idea = None
        changed = case.disturbance is not None
        bystander = (
            changed and idea is None and value in Q_SAYS.values() and cause_of(case).kind in OF_SPECIES
        )
        return Verdict(0.0, "wrong", idea, feedback.BYSTANDER if bystander else "")

    def carries(self, part: Part, case: Case, value: Any, own: Mapping[str, Any]) -> bool:
        """Where Q decides, what the student's own Q says is the reason they have."""
        way = own_direction(case, own) if case.disturbance is not None else None
        return way is not None and cause_of(case).kind == "Q" and value == Q_SAYS[way]

    def doubts(self, part: Part, case: Case) -> Iterator[str]:
        true = self.holding(part, case)
        if not true:
            offered = ", ".join(n for n, _ in part.options if is_sound(n)) or "none of the sound ones"
            yield f"no reason on offer is right (offered: {offered}); add the one that is"
        if len(true) > 1:
            yield f"several reasons are right at once ({', '.join(true)}); keep one"


def idea_of(value: str, expected: str | None) -> str | None:
    """The misconception that a wrong reason says, or what a sound one shows where it does not hold."""
    if value in MISTAKES:
        return value
    if ":" in value:
        return "wrong_target" if expected is not None and ":" in expected else None
    if {value, expected} == {"k_rises", "k_falls"}:
        return "heat_is_forward"
    if value == "q_equals_K" and expected in ("q_below_K", "q_above_K"):
        return "q_is_k"
    return None


# -- which particle ---------------------------------------------------------------------------------------


class PickTable(OptionsTable):
    ask: Literal["bound", "cause"]
    _what = "species"

    @field_validator("options")
    @classmethod
    def _species(cls, given: tuple[str, ...]) -> tuple[str, ...]:
        names = tuple(canonical(name) for name in given)
        if len(set(names)) != len(names):
            raise ValueError("needs at least two different species")
        return names


class _Pick(Picked):
    """One of the named species."""

    Table = PickTable
    of_change = True

    def said_as(self, name: str) -> str:
        return in_unicode(name)

    def doubts(self, part: Part, case: Case) -> Iterator[str]:
        if case.expected[part.id] is None:
            yield f"none of the options of {part.id} (or more than one) is right; add or take out some"


class Bound(_Pick):
    """Which of the named species the added one takes out of the first reaction."""

    legend = "Tied up"
    label = "Which particle of the mixture is tied up by what was added?"

    def holding(self, part: Part, case: Case) -> Sequence[str]:
        """What other reactions take out of the first one."""
        found = tied_up(case)
        return [name for name, _ in part.options if name == found]

    def idea(self, part: Part, case: Case, value: Any, said: Mapping[str, Any]) -> str | None:
        """A species that takes part in none of the reactions is a spectator."""
        if not case.expected[part.id]:
            return None
        parts = {name for reaction in case.reactions for name in reaction.coefficients}
        return "wrong_target" if value in parts else "spectator_acts"


class Cause(_Pick):
    """Which of the named species, added together, makes the first reaction shift."""

    legend = "It is due to"
    label = "Which of the particles that were added makes the equilibrium shift?"

    def holding(self, part: Part, case: Case) -> Sequence[str]:
        """The one added species that stands in the first reaction, or else binds one of its reactants."""
        added = dissolved(dict.fromkeys(dict(case.done.amounts), 1.0))
        acting = [name for name in added if name in case.reaction.coefficients]
        if not acting:
            bound = tied_up(case)
            others = [set(r.coefficients) for r in case.reactions[1:] if bound in r.coefficients]
            acting = [name for name in added if any(name in other for other in others)]
        on_offer = [name for name in acting if name in dict(part.options)]
        return on_offer if len(on_offer) == 1 else []

    def idea(self, part: Part, case: Case, value: Any, said: Mapping[str, Any]) -> str | None:
        return "spectator_acts"
