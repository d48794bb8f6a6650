"""Exact bookkeeping behind the solver: which amounts are conserved, and how species are built from a basis.

A set of reactions says, for the logarithms x of the activities, ``sum(nu * x) = ln K``. Eliminating one
species per independent reaction leaves the others as a *basis*:

    x_i = sum_k A[i, k] * x_basis[k] + sum_r L[i, r] * ln K_r

and the same A turns amounts into conserved totals, ``T_k = sum_i A[i, k] * n_i``. All of this is integer
arithmetic (one common denominator), so that a total which is the small difference of large amounts comes out
right to the last digit, whichever species the basis is moved to.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from math import gcd
from typing import Any

import numpy as np

_REMEMBERED = 500  # bases kept per set of species
_SAFE = 2**31  # below this, a difference of two products fits in 64 bits


@dataclass(frozen=True, eq=False)
class Tableau:
    """Every row (species) in terms of one basis, exactly.

    ``num``: integers, shape (species, basis + reactions), over the common denominator ``den``.
    ``basis``: row number of each basis species.
    """

    num: np.ndarray
    den: int
    basis: tuple[int, ...]
    frames: dict = field(default_factory=dict, repr=False)  # the solver's arrays for this basis
    family: dict = field(default_factory=dict, repr=False)  # basis -> tableau over the same rows

    @cached_property
    def A(self) -> np.ndarray:
        """Stoichiometry in the basis, floats, shape (species, basis)."""
        return np.ascontiguousarray(self.num[:, : len(self.basis)].astype(float) / self.den)

    @cached_property
    def L(self) -> np.ndarray:
        """Share of each ln K in ln(beta) of a species, floats, shape (species, reactions)."""
        return np.ascontiguousarray(self.num[:, len(self.basis) :].astype(float) / self.den)

    @cached_property
    def support(self) -> np.ndarray:
        """Where A is not zero, booleans, shape (species, basis)."""
        return self.num[:, : len(self.basis)] != 0

    @cached_property
    def pairs(self) -> np.ndarray:
        """A[i, k] * A[i, l], shape (species, basis**2): one matrix product then gives the whole Hessian."""
        size = len(self.basis)
        return np.ascontiguousarray((self.A[:, :, None] * self.A[:, None, :]).reshape(-1, size * size))

    @cached_property
    def _columns(self) -> list[list[tuple[int, int]]]:
        """For each basis position, the (row, integer) pairs that are not zero."""
        size = len(self.basis)
        return [[(i, int(v)) for i, v in enumerate(self.num[:, k]) if v] for k in range(size)]

    def totals(self, exact: tuple[list[int], int]) -> np.ndarray:
        """Conserved totals of this basis, correctly rounded, from ``exact_amounts``."""
        values, shift = exact
        den = self.den << shift
        return np.array([sum([v * values[i] for i, v in column]) / den for column in self._columns])

    def exchange(self, position: int, row: int) -> Tableau:
        """The tableau with ``row`` in the basis instead of the species at ``position``."""
        basis = (*self.basis[:position], row, *self.basis[position + 1 :])
        known = self.family.get(basis)
        if known is None:
            if len(self.family) >= _REMEMBERED:
                self.family.clear()
            known = self.family[basis] = self._exchange(position, row, basis)
        return known

    def _exchange(self, position: int, row: int, basis: Any) -> Tableau:
        num = self.num
        largest = max(int(abs(num).max()), abs(self.den), 1)
        if num.dtype != object and largest >= _SAFE:
            num = num.astype(object)
        pivot = int(num[row, position])
        if pivot == 0:
            raise ZeroDivisionError("the species does not contain the one it should replace")
        column = num[:, position].copy()
        new = num * pivot - np.multiply.outer(column, num[row])
        new[:, position] = column * self.den
        return _reduced(new, self.den * pivot, basis, self.family)

    def restricted(self, rows: list[int]) -> Tableau:
        """Only these rows. Basis species left outside are replaced; a column that no row uses is dropped."""
        rows = list(rows)
        inside = set(rows)
        table = self
        dropped = []
        for position, owner in enumerate(self.basis):
            if owner in inside:
                continue
            taken = set(table.basis)
            heir = next((i for i in rows if table.num[i, position] and i not in taken), None)
            if heir is None:
                dropped.append(position)
            else:
                table = table.exchange(position, heir)
        size = len(table.basis)
        columns = [c for c in range(table.num.shape[1]) if c not in dropped]
        at = {row: i for i, row in enumerate(rows)}
        basis = tuple(at[table.basis[k]] for k in range(size) if k not in dropped)
        return _reduced(table.num[np.ix_(rows, columns)], table.den, basis)


def _reduced(num: np.ndarray, den: int, basis: Any, family: Any | None = None) -> Tableau:
    """Divide out the common factor, keep the denominator positive, go back to 64-bit integers when they
    fit.
    """
    common = gcd(int(np.gcd.reduce(num, axis=None)) if num.size else 0, den) or 1
    if den < 0:
        common = -common
    if common != 1:
        num = num // common
        den //= common
    if num.dtype == object and num.size and max(int(abs(num).max()), den) < _SAFE:
        num = num.astype(np.int64)
    return Tableau(num, den, basis, family={} if family is None else family)


def exact_amounts(amounts: np.ndarray) -> tuple[list[int], int]:
    """Floats as integers over one power of two: (integers, exponent)."""
    ratios = [value.as_integer_ratio() for value in amounts.tolist()]
    shift = max((bottom.bit_length() for _, bottom in ratios), default=1) - 1
    return [top * ((1 << shift) // bottom) for top, bottom in ratios], shift


def build(nu: np.ndarray) -> tuple[Tableau, list[Any]]:
    """Eliminate one species per independent reaction.

    ``nu``: integers, shape (reactions, species). Returns the tableau and the dependencies: integer vectors d
    with ``d @ ln K = 0`` for a set of constants that does not contradict itself.
    """
    reactions, species = nu.shape
    rows = [[int(v) for v in row] + [int(r == q) for q in range(reactions)] for r, row in enumerate(nu)]
    dependencies: list[np.ndarray] = []
    done: list[tuple[int, list[int]]] = []
    pivots = []
    for row in rows:
        for pivot, other in done:
            row = _eliminated(row, other, pivot)
        candidates = [i for i in range(species) if row[i]]
        if not candidates:
            dependencies.append(np.array(row[species:], dtype=float))
            continue
        pivot = min(candidates, key=lambda i: (abs(row[i]), -i))
        done = [(p, _eliminated(other, row, pivot)) for p, other in done]
        done.append((pivot, row))
        pivots.append(pivot)
    return _from_rows(dict(done), species, reactions), dependencies


def _eliminated(row: list[int], other: list[int], pivot: int) -> list[int]:
    """``row`` with its entry at ``pivot`` cleared by ``other``; integers without a common factor."""
    factor = row[pivot]
    if not factor:
        return row
    lead = other[pivot]
    new = [lead * a - factor * b for a, b in zip(row, other, strict=True)]
    common = gcd(*new) or 1
    return [v // common for v in new] if common > 1 else new


def _from_rows(rows: dict[int, list[int]], species: int, reactions: int) -> Tableau:
    """Tableau of the reduced rows: each pivot species in terms of those without a row of their own."""
    basis = tuple(i for i in range(species) if i not in rows)
    den = 1
    for pivot, row in rows.items():
        den = den * abs(row[pivot]) // gcd(den, abs(row[pivot]))
    num = np.zeros((species, len(basis) + reactions), dtype=object)
    for k, i in enumerate(basis):
        num[i, k] = den
    for pivot, row in rows.items():
        scale = den // row[pivot]
        for k, i in enumerate(basis):
            num[pivot, k] = -row[i] * scale
        for r in range(reactions):
            num[pivot, len(basis) + r] = row[species + r] * scale
    return _reduced(num, den, basis)
