"""Disturb a mixture at equilibrium: what it was, what it is at once, what it becomes, which way and why."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from types import MappingProxyType

import numpy as np

from eqlib.chem import explain
from eqlib.chem.activity import activity_coefficient
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
    def plot(self) -> explain.Plot:
        """What decides: the state in which Q stands against K, and the rivals that lead there."""
        return explain.Plot(self)

    @cached_property
    def events(self) -> tuple[explain.Event, ...]:
        """What happened, in order: at once, what rivals did, Q against K, the answer; at most four."""
        return explain.events(self)

    @property
    def explanation(self) -> str:
        """Why, in plain sentences made of the numbers; species written as everywhere in eqlib."""
        return " ".join((self._done(str), *(event.sentence for event in self.events)))

    @property
    def explanation_unicode(self) -> str:
        """The same with real sub- and superscripts, for people."""
        return " ".join((self._done(explain.in_unicode), *(event.unicode for event in self.events)))

    def _done(self, shown: explain.Shown) -> str:
        text = self.stress.describe(shown)
        return text[0].upper() + text[1:] + "."

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

    def _frozen(self) -> tuple[Reaction, ...]:
        """The first reaction; where it is a sum of others, all that make its product."""
        if self.responses[0].determined:
            return (self.reaction,)
        product = characteristic_product(self.reaction)
        return tuple(r for r in self.mixture.reactions if product in r.coefficients)

    def near(self) -> tuple[Reaction, ...]:
        """The other reactions that share a species of Q with the first."""
        frozen, shared = self._frozen(), set(self.reaction.quotient_species)
        return tuple(r for r in self.mixture.reactions if r not in frozen and shared & set(r.coefficients))

    def far(self) -> tuple[Reaction, ...]:
        """Those that do not."""
        frozen, near = self._frozen(), self.near()
        return tuple(r for r in self.mixture.reactions if r not in frozen and r not in near)

    def settled(self, near: bool = True) -> State | None:
        """The State once the others (or, without ``near``, only the far ones) have settled and the first
        reaction has not begun; None where there are none.
        """
        reactions = [*(self.near() if near else ()), *self.far()]
        return self._with(reactions).equilibrate(activity=self.at_once.activity) if reactions else None

    def extents_between(
        self, start: State, end: State, reactions: Sequence[Reaction]
    ) -> dict[Reaction, float]:
        """mol by which each of ``reactions`` ran from ``start`` to ``end``; sums of others left out."""
        found = extents(reactions, start.amounts, end.amounts)
        rows = zip(reactions, found.values, found.determined, strict=True)
        return {r: value for r, value, determined in rows if determined}


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
    notes = tuple(dict.fromkeys((*applied.notes, *after.notes)))
    return _outcome(stress, before, at_once, after, applied.mixture, notes)


def _outcome(
    stress: Stress, before: State, at_once: State, after: State, mixture: Mixture, notes: tuple[str, ...]
) -> Disturbance:
    moved = extents(mixture.reactions, at_once.amounts, after.amounts)
    responses = tuple(_response(r, i, moved, at_once) for i, r in enumerate(mixture.reactions))
    first = responses[0]
    direction = first.direction if first.determined else _by_product(first.reaction, at_once, after)
    return Disturbance(stress, before, at_once, after, mixture, responses, direction, notes)


def _response(r: Reaction, index: int, moved: Extents, at_once: State) -> Response:
    return Response(
        reaction=r,
        Q=at_once.quotient_or_nan(r),
        K=at_once.K(r),
        extent=moved.values[index] if moved.direction(index) != "none" else 0.0,
        direction=moved.direction(index),
        determined=moved.determined[index],
    )


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
    """Solve (changes of amount) = (coefficients) x (extents), by the amounts that are known best.

    The small amounts are the telling ones: a precipitate of a nanomole says more about its reaction than
    the change of a solute that there is a millimole of, and what is absent throughout is known exactly. So
    the species are taken in the order of how well they are known, until there are as many independent ones
    as reactions.
    """
    names = list(
        dict.fromkeys(name for r in reactions for name in r.coefficients if name in once or name in after)
    )
    matrix = np.array([[float(r.coefficients.get(name, 0)) for r in reactions] for name in names])
    matrix = matrix.reshape(len(names), len(reactions))
    change = np.array([after.get(name, 0.0) - once.get(name, 0.0) for name in names])
    doubt = _NOISE * np.array([max(once.get(name, 0.0), after.get(name, 0.0)) for name in names])
    rows, columns = _independent(matrix, np.argsort(doubt, kind="stable"))
    inverse = np.linalg.inv(matrix[np.ix_(rows, columns)])
    values, spread = np.zeros(len(reactions)), np.zeros(len(reactions))
    values[columns] = inverse @ change[rows]
    spread[columns] = np.abs(inverse) @ doubt[rows]
    thresholds = [
        max(10 * float(spread[i]), _SMALLEST_SHIFT * _smallest(r, once, after))
        for i, r in enumerate(reactions)
    ]
    return Extents(tuple(map(float, values)), _determined(matrix, len(rows)), tuple(thresholds))


def _independent(matrix: np.ndarray, order: np.ndarray) -> tuple[list[int], list[int]]:
    """The first independent rows in ``order``, and the columns that make a regular square with them."""
    reduced: list[tuple[int, np.ndarray]] = []
    rows = []
    for i in order:
        rest = matrix[i].copy()
        for column, known in reduced:
            rest -= rest[column] * known
        column = int(np.abs(rest).argmax()) if rest.size else 0
        if rest.size and abs(rest[column]) > 1e-9:
            reduced.append((column, rest / rest[column]))
            rows.append(int(i))
    return rows, [column for column, _ in reduced]


def _determined(matrix: np.ndarray, rank: int) -> tuple[bool, ...]:
    """Which columns are no sum of the others."""
    count = matrix.shape[1]
    if rank == count:
        return (True,) * count
    others = [np.delete(matrix, i, axis=1) for i in range(count)]
    return tuple(
        bool(not np.any(matrix[:, i]) or np.linalg.matrix_rank(rest) < rank) for i, rest in enumerate(others)
    )


def _smallest(r: Reaction, once: Mapping[str, float], after: Mapping[str, float]) -> float:
    """The smallest amount among the species in K, per unit of coefficient."""
    sizes = [
        max(once.get(name, 0.0), after.get(name, 0.0)) / abs(float(number))
        for name, number in r.coefficients.items()
        if name in r.quotient_species
    ]
    return min((size for size in sizes if size > 0), default=0.0)
