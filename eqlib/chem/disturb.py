"""Disturb a mixture at equilibrium: what it was, what it is at once, what it becomes, which way and why."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from types import MappingProxyType

from eqlib.chem import explain
from eqlib.chem.activity import activity_coefficient
from eqlib.chem.mixture import Mixture
from eqlib.chem.reactions import Reaction, characteristic_product
from eqlib.chem.species import species
from eqlib.chem.state import State, extents
from eqlib.chem.stress import Stress, StressError, apply


@dataclass(frozen=True)
class Response:
    """One reaction's part: ``Q`` at once (nan where it has no value), ``K``, and then its ``extent`` in mol.

    ``determined`` is False where the reaction is a sum of the others, so that its own extent has no meaning.
    """

    reaction: Reaction
    Q: float
    K: float
    extent: float
    direction: str
    determined: bool = True


@dataclass(frozen=True)
class Disturbance:
    """A stress and its outcome.

    ``before``: the State at equilibrium; ``at_once``: after the stress, before any reaction; ``after``: at
    equilibrium again. ``direction`` is that of the mixture's first reaction, by amount formed (moles, not
    concentration). ``Q`` (at once) and ``K`` are that reaction's; ``responses`` holds every reaction's.
    ``mixture`` is the disturbed mixture, ready for the next stress.
    """

    stress: Stress
    before: State
    at_once: State
    after: State
    mixture: Mixture
    responses: tuple[Response, ...]
    direction: str
    notes: tuple[str, ...] = ()

    @property
    def reaction(self) -> Reaction:
        """The mixture's first reaction, the one ``direction`` speaks of."""
        return self.mixture.reactions[0]

    @property
    def Q(self) -> float:
        """Its quotient at once; nan where a reactant and a product are both absent."""
        return self.responses[0].Q

    @property
    def K(self) -> float:
        """Its constant, at the temperature after the stress."""
        return self.responses[0].K

    @property
    def extent(self) -> float:
        """Its extent from ``at_once`` to ``after``, mol."""
        return self.responses[0].extent

    @cached_property
    def plot(self) -> explain.Plot:
        """What decides: the state in which Q stands against K, and the rivals that lead there."""
        return explain.Plot(self)

    @cached_property
    def events(self) -> tuple[explain.Event, ...]:
        """What happened, in order: at once, what rivals did, Q against K, the answer; at most four."""
        return explain.events(self)

    @cached_property
    def explanation(self) -> str:
        """Why, in plain sentences made of the numbers; species written as everywhere in eqlib."""
        return self._explained(str)

    @cached_property
    def explanation_unicode(self) -> str:
        """The same with real sub- and superscripts, for people."""
        return self._explained(explain.in_unicode)

    def _explained(self, shown: explain.Shown) -> str:
        done = self.stress.describe(shown)
        told = explain.tell(self, shown)
        return " ".join((done[0].upper() + done[1:] + ".", *(one.text for one in told)))

    @property
    def rivals(self) -> tuple[Reaction, ...]:
        """The other equilibria that decide what the first reaction does, as told in ``events``."""
        told = [rival.quotient.reaction for event in self.events for rival in event.rivals]
        return tuple(dict.fromkeys(told))

    def without(self, *reactions: Reaction) -> Disturbance:
        """The same stress to the same mixture with some reactions left out: by default its ``rivals``.

        What had already formed by a reaction left out stays as it is. Raises StressError for a reaction that
        the mixture has not, and for leaving out the first.
        """
        gone = reactions or self.rivals
        others = self.mixture.reactions[1:]
        if strange := [r for r in gone if r not in others]:
            raise StressError(
                f"{strange[0]} is not one of the other reactions of this mixture, so it cannot be left out"
            )
        kept = [r for r in self.mixture.reactions if r not in gone]
        mixture = self._with(kept)
        after = mixture.equilibrate(activity=self.at_once.activity)
        return _outcome(self.stress, self.before, self.at_once, after, mixture, self.notes)

    # -- the way there --------------------

    def _with(self, reactions: Sequence[Reaction]) -> Mixture:
        """What was mixed, with only these reactions; no species is forgotten."""
        totals = dict.fromkeys(self.at_once.amounts, 0.0) | dict(self.mixture.totals)
        return self.mixture.with_(reactions=reactions, totals=totals)

    @cached_property
    def others(self) -> tuple[tuple[Reaction, ...], tuple[Reaction, ...]]:
        """The other reactions: those that share a species of Q with the first, and those that do not.

        Where the first is a sum of others, all that make its product are left out with it.
        """
        rest = self.mixture.reactions[1:]
        if not self.responses[0].determined:
            product = characteristic_product(self.reaction)
            rest = tuple(r for r in rest if product not in r.coefficients)
        shared = set(self.reaction.quotient_species)
        near = tuple(r for r in rest if shared & set(r.coefficients))
        return near, tuple(r for r in rest if not shared & set(r.coefficients))

    def settled(self, near: bool = True) -> State | None:
        """The State once the others (or, without ``near``, only the far ones) have settled and the first
        reaction has not begun; None where there are none.
        """
        reactions = [*(self.others[0] if near else ()), *self.others[1]]
        return self._with(reactions).equilibrate(activity=self.at_once.activity) if reactions else None


def disturb(m: Mixture, stress: Stress, activity: str = "ideal") -> Disturbance:
    """Equilibrate ``m``, do ``stress`` to it, and equilibrate again.

    ``activity`` as in :meth:`Mixture.equilibrate`. Raises StressError for a stress that cannot be done
    (removing more than there is, a gas where there is no gas space), EqlibError for a mixture without
    reactions.
    """
    if not isinstance(m, Mixture):
        raise StressError(
            f"disturb needs a Mixture first, not {type(m).__name__}; make one with eqlib.Mixture"
        )
    if not isinstance(stress, Stress):
        raise StressError(f"disturb needs a Stress second, not {type(stress).__name__}; see eqlib.Stress")
    if not m.reactions:
        raise StressError("this mixture has no reactions, so nothing can shift; give it reactions=[...]")
    before = m.equilibrate(activity=activity)
    mixture, notes = apply(stress, m, before)
    at_once = _with_activity(mixture.as_mixed(), activity)
    after = mixture.equilibrate(activity=activity, start=before)
    return _outcome(stress, before, at_once, after, mixture, tuple(dict.fromkeys((*notes, *after.notes))))


def _outcome(
    stress: Stress, before: State, at_once: State, after: State, mixture: Mixture, notes: tuple[str, ...]
) -> Disturbance:
    moved = extents(mixture.reactions, at_once.amounts, after.amounts)
    responses = tuple(
        Response(
            reaction=r,
            Q=at_once.quotient_or_nan(r),
            K=at_once.K(r),
            extent=x.mol if x.direction != "none" else 0.0,
            direction=x.direction,
            determined=x.determined,
        )
        for r, x in zip(mixture.reactions, moved, strict=True)
    )
    first = responses[0]
    direction = first.direction if first.determined else _by_product(first.reaction, at_once, after)
    return Disturbance(stress, before, at_once, after, mixture, responses, direction, notes)


def _by_product(r: Reaction, at_once: State, after: State) -> str:
    """Direction of a reaction that follows from the others: by the net amount of its own product."""
    name = characteristic_product(r)
    start, end = at_once.amounts.get(name, 0.0), after.amounts.get(name, 0.0)
    if abs(end - start) <= 1e-7 * max(start, end):
        return "none"
    made = r.coefficients[name] > 0
    return "forward" if (end > start) == made else "reverse"


def _with_activity(state: State, activity: str) -> State:
    """Activity coefficients for the composition at once, so that Q and K are compared in the same terms."""
    if activity == "ideal":
        return state
    gamma = {
        name: float(activity_coefficient(name, state.ionic_strength, activity, state.T))
        for name in state.concentrations
        if species(name).charge
    }
    return replace(state, activity=activity, gamma=MappingProxyType(gamma))
