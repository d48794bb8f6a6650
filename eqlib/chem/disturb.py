"""Disturb a mixture at equilibrium: what it was, what it is at once, what it becomes, which way and why."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from types import MappingProxyType

import numpy as np

from eqlib.chem import explain
from eqlib.chem.activity import activity_coefficient
from eqlib.chem.equations import ReactionError
from eqlib.chem.mixture import Mixture
from eqlib.chem.reactions import Reaction, characteristic_product
from eqlib.chem.species import species
from eqlib.chem.state import State
from eqlib.chem.stress import Stress, StressError, apply

# Amounts are solved to about 1e-14 of themselves; a hundred times that is taken as their uncertainty.
_NOISE = 1e-12
# An extent this small beside the smallest amount in the reaction is no shift at all.
_SMALLEST_SHIFT = 1e-7


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


# -- how far each of several reactions has gone, from the amounts before and after --------------------


@dataclass(frozen=True)
class Extents:
    """Extents in mol, one per reaction, and for each whether it is determined (not a sum of the others)."""

    values: tuple[float, ...]
    determined: tuple[bool, ...]
    thresholds: tuple[float, ...]

    def direction(self, index: int) -> str:
        """ "forward", "reverse" or "none" of one reaction."""
        value = self.values[index]
        if abs(value) <= self.thresholds[index]:
            return "none"
        return "forward" if value > 0 else "reverse"


def extents(reactions: Sequence[Reaction], once: Mapping[str, float], after: Mapping[str, float]) -> Extents:
    """Solve (changes of amount) = (coefficients) x (extents), each amount weighted by how well it is known.

    The small amounts are the telling ones: a precipitate of a nanomole says more about its reaction than
    the change of a solute that there is a millimole of.
    """
    names = [
        name
        for name in dict.fromkeys(name for r in reactions for name in r.coefficients)
        if max(once.get(name, 0.0), after.get(name, 0.0)) > 0
    ]
    matrix = np.array([[float(r.coefficients.get(name, 0)) for r in reactions] for name in names])
    matrix = matrix.reshape(len(names), len(reactions))
    change = np.array([after.get(name, 0.0) - once.get(name, 0.0) for name in names])
    size = np.array([max(once.get(name, 0.0), after.get(name, 0.0)) for name in names])
    weighted = matrix / (_NOISE * size)[:, None]
    # Columns scaled to length 1, so that rank is judged on proportions and not on magnitudes.
    length = np.linalg.norm(weighted, axis=0)
    length[length == 0] = 1.0
    values, spread, determined = _least_squares(weighted / length, change / (_NOISE * size), matrix)
    values, spread = values / length, spread / length
    thresholds = [
        max(10 * float(spread[i]), _SMALLEST_SHIFT * _smallest(r, once, after))
        for i, r in enumerate(reactions)
    ]
    return Extents(tuple(map(float, values)), determined, tuple(thresholds))


def _least_squares(scaled: np.ndarray, target: np.ndarray, matrix: np.ndarray):
    if not scaled.size:
        count = scaled.shape[1]
        return np.zeros(count), np.zeros(count), (True,) * count
    inverse = np.linalg.pinv(scaled, rcond=1e-13)
    rank = np.linalg.matrix_rank(matrix)
    others = [np.delete(matrix, i, axis=1) for i in range(matrix.shape[1])]
    determined = tuple(
        bool(not rest.shape[1] or np.linalg.matrix_rank(rest) < rank or not np.any(matrix[:, i]))
        for i, rest in enumerate(others)
    )
    return inverse @ target, np.linalg.norm(inverse, axis=1), determined


def _smallest(r: Reaction, once: Mapping[str, float], after: Mapping[str, float]) -> float:
    """The smallest amount among the species in K, per unit of coefficient."""
    sizes = [
        max(once.get(name, 0.0), after.get(name, 0.0)) / abs(float(number))
        for name, number in r.coefficients.items()
        if name in r.quotient_species
    ]
    return min((size for size in sizes if size > 0), default=0.0)
