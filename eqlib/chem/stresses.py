"""Disturb a mixture at equilibrium: what it was, what it is at once, what it becomes, which way and why."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property
from types import MappingProxyType

from eqlib.chem import explain
from eqlib.chem.applying import apply
from eqlib.chem.equations import ReactionError
from eqlib.chem.extents import Extents, extents
from eqlib.chem.mixture import Mixture
from eqlib.chem.reactions import Reaction
from eqlib.chem.species import species
from eqlib.chem.state import State
from eqlib.chem.stress import KINDS, Stress, StressError

__all__ = ["KINDS", "Disturbance", "Response", "Stress", "StressError", "disturb"]


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
    def explanation(self) -> str:
        """Why, in plain sentences made of the numbers; species written as everywhere in eqlib."""
        return explain.explanation(self)

    @cached_property
    def explanation_unicode(self) -> str:
        """The same with real sub- and superscripts, for people."""
        return explain.explanation(self, shown=lambda name: species(name).unicode)


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
    applied = apply(stress, m, before)
    at_once = _with_activity(applied.mixture.as_mixed(), activity)
    after = applied.mixture.equilibrate(activity=activity, start=before)
    moved = extents(m.reactions, at_once.amounts, after.amounts)
    responses = tuple(_response(r, i, moved, at_once) for i, r in enumerate(m.reactions))
    first = responses[0]
    direction = first.direction if first.determined else _by_product(first.reaction, at_once, after)
    notes = tuple(dict.fromkeys((*applied.notes, *after.notes)))
    return Disturbance(stress, before, at_once, after, applied.mixture, responses, direction, notes)


def _response(r: Reaction, index: int, moved: Extents, at_once: State) -> Response:
    return Response(
        reaction=r,
        Q=quotient_or_nan(r, at_once),
        K=at_once.K(r),
        extent=moved.values[index] if moved.direction(index) != "none" else 0.0,
        direction=moved.direction(index),
        determined=moved.determined[index],
    )


def quotient_or_nan(r: Reaction, state: State) -> float:
    """Q, or nan where it has no value (absent on both sides)."""
    try:
        return state.Q(r)
    except ReactionError:
        return math.nan


def _by_product(r: Reaction, at_once: State, after: State) -> str:
    """Direction of a reaction that follows from the others: by the net amount of its own product."""
    name = characteristic_product(r)
    start, end = at_once.amounts.get(name, 0.0), after.amounts.get(name, 0.0)
    if abs(end - start) <= 1e-7 * max(start, end):
        return "none"
    made = r.coefficients[name] > 0
    return "forward" if (end > start) == made else "reverse"


def characteristic_product(r: Reaction) -> str:
    """The product a reaction is known by: the largest solute or gas, a solid, or else a reactant."""
    in_K = [name for name in r.products if name in r.quotient_species]
    solid = [name for name in r.products if species(name).phase in ("s", "l") and name != "H2O(l)"]
    candidates = in_K or solid or list(r.reactants)
    return max(candidates, key=lambda name: (sum(species(name).elements.values()), name))


def _with_activity(state: State, activity: str) -> State:
    """Activity coefficients for the composition at once, so that Q and K are compared in the same terms."""
    if activity == "ideal":
        return state
    from eqlib.chem.activity import activity_coefficient

    gamma = {
        name: float(activity_coefficient(name, state.ionic_strength, activity, state.T))
        for name in state.concentrations
        if species(name).charge
    }
    return replace(state, activity=activity, gamma=MappingProxyType(gamma))
