"""How far each of several reactions has gone, from the amounts before and after."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from eqlib.chem.reactions import Reaction

# Amounts are solved to about 1e-14 of themselves; a hundred times that is taken as their uncertainty.
_NOISE = 1e-12
# An extent this small beside the smallest amount in the reaction is no shift at all.
_SMALLEST_SHIFT = 1e-7


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
