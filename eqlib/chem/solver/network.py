"""A set of reactions made ready for the solver: which amounts they conserve, how each species is built from a
basis, and which species can be present at all.

A set of reactions says, for the logarithms x of the activities, ``sum(nu * x) = ln K``. Eliminating one
species per independent reaction leaves the others as a *basis*:

    x_i = sum_k A[i, k] * x_basis[k] + sum_r L[i, r] * ln K_r

and the same A turns amounts into conserved totals, ``T_k = sum_i A[i, k] * n_i``. All of this is integer
arithmetic (one common denominator), so that a total which is the small difference of large amounts comes out
right to the last digit, whichever species the basis is moved to.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from fractions import Fraction
from functools import cached_property, lru_cache
from math import gcd, lcm
from typing import Any

import numpy as np

from eqlib.chem.reactions import Reaction
from eqlib.chem.species import species
from eqlib.chem.thermo import R_BAR
from eqlib.errors import EqlibError

# Tables give constants to two figures: a closed loop of such values misses 1 by this much (common practice,
# no source).
_LOOSE, _TIGHT = 0.025, 1e-6
_REMEMBERED = 500  # bases kept per set of species
_SAFE = 2**31  # below this, a difference of two products fits in 64 bits


def listed(reactions: Any) -> tuple[Reaction, ...]:
    """Several reactions as a tuple; EqlibError for what is not a list of them (each is checked later)."""
    try:
        return tuple(reactions)
    except TypeError:
        raise EqlibError(
            f"reactions are given as a list, [eq.Reaction('A + B <=> C', K=...)], not {reactions!r:.40}"
        ) from None


@dataclass(frozen=True, eq=False)
class Network:
    """Reactions compiled once and used for every mixture that has them.

    ``names``: species that take part (the solvent left out); ``nu``: floats, shape (reactions, species);
    ``pure``/``gas``: booleans per species; ``table``: exact elimination; ``loops``: dependencies among the
    reactions.
    """

    labels: tuple[str, ...]
    names: tuple[str, ...]
    index: dict[str, int]
    nu: np.ndarray
    scale: np.ndarray
    pure: np.ndarray
    gas: np.ndarray
    charge: np.ndarray
    table: Tableau
    loops: list
    solvent: bool
    sides: tuple
    elements: tuple
    _faces: dict = field(default_factory=dict, repr=False)

    def face(self, present: int) -> tuple[np.ndarray, Tableau]:
        """Rows that can be present (a bit mask) and the tableau over exactly these."""
        known = self._faces.get(present)
        if known is None:
            rows = [i for i in range(len(self.names)) if present >> i & 1]
            known = self._faces[present] = (np.array(rows, dtype=int), self.table.restricted(rows))
        return known

    def can_be_present(self, there: np.ndarray, gas_space: float) -> int:
        """Bit mask of the species that can form from those ``there`` (booleans); gases need room to form.

        Found by letting reactions run; where that leaves a species whose elements are all there, a linear
        programme over the reactions decides.
        """
        mask = sum(1 << int(i) for i in np.flatnonzero(there))
        without = 0 if gas_space else sum(1 << int(i) for i in np.flatnonzero(self.gas))
        key = ("present", mask, without)
        known = self._faces.get(key)
        if known is None:
            known = self._faces[key] = self._reachable(mask, without)
        return known

    def _reachable(self, mask: int, without: int) -> int:
        everything = (1 << len(self.names)) - 1
        reached, before = mask, -1
        while reached != before:
            before = reached
            for left, right in self.sides:
                if left & ~reached == 0 or right & ~reached == 0:
                    reached |= left | right
        if without and reached & without:
            return _by_programme(self, mask, without)
        missing = everything & ~reached
        if missing and any(
            self._elements_there(i, reached) for i in range(len(self.names)) if missing >> i & 1
        ):
            return _by_programme(self, reached, 0)
        return reached

    def _elements_there(self, row: int, reached: int) -> bool:
        there = {"H", "O"} if self.solvent else set()
        for i in range(len(self.names)):
            if reached >> i & 1:
                there |= self.elements[i]
        return self.elements[row] <= there


def _by_programme(network: Network, mask: int, without: int) -> int:
    """Largest set that some combination of the reactions reaches from ``mask`` (exact up to the solver's
    zero).
    """
    from scipy.optimize import linprog  # heavy: a second or more, and seldom needed

    count, size = network.nu.shape
    outside = [i for i in range(size) if not mask >> i & 1]
    roomless = [i for i in outside if without >> i & 1]
    open_rows = [i for i in outside if not without >> i & 1]
    cost = np.concatenate([np.zeros(count), -np.ones(len(open_rows))])
    upper = np.hstack([-network.nu.T[open_rows], np.eye(len(open_rows))])
    still = np.hstack([network.nu.T[roomless], np.zeros((len(roomless), len(open_rows)))])
    found = linprog(
        cost,
        A_ub=upper if len(open_rows) else None,
        b_ub=np.zeros(len(open_rows)) if len(open_rows) else None,
        A_eq=still if roomless else None,
        b_eq=np.zeros(len(roomless)) if roomless else None,
        bounds=[(None, None)] * count + [(0.0, 1.0)] * len(open_rows),
        method="highs",
    )
    if not found.success:
        raise EqlibError(
            f"which species can form was not settled for {', '.join(network.labels)}: {found.message}"
        )
    for i, share in zip(open_rows, found.x[count:], strict=True):
        if share > 0.5:
            mask |= 1 << i
    return mask


def network_of(reactions: Any, solvent: bool) -> Network:
    """The compiled network of a sequence of reactions. ``solvent``: liquid water is the (unlimited) solvent.

    Raises EqlibError for anything that is not a balanced Reaction.
    """
    for number, r in enumerate(reactions, start=1):
        if not isinstance(r, Reaction):
            raise EqlibError(
                f"reaction {number} is {r!r:.60}, not a Reaction; write eq.Reaction('A + B <=> C', K=...)"
            )
    return _compiled(tuple(tuple(r.coefficients.items()) for r in reactions), bool(solvent))


@lru_cache(maxsize=256)
def _compiled(equations: Any, solvent: bool) -> Network:
    reactions = [Reaction(dict(coefficients)) for coefficients in equations]
    for r in reactions:
        r.require_balanced()
        if "e^-" in r.coefficients:
            raise EqlibError(f"{r} is a half-reaction; combine two of them so that the electrons cancel")
    names: list[str] = []
    for coefficients in equations:
        names.extend(n for n, _ in coefficients if n not in names and not (solvent and n == "H2O(l)"))
    index = {name: i for i, name in enumerate(names)}
    kinds = [species(name) for name in names]
    exact = np.zeros((len(equations), len(names)), dtype=object)
    scale = np.ones(len(equations))
    for q, coefficients in enumerate(equations):
        parts = {index[n]: Fraction(v) for n, v in coefficients if n in index}
        factor = lcm(*(v.denominator for v in parts.values())) if parts else 1
        scale[q] = factor
        for i, v in parts.items():
            exact[q, i] = int(v * factor)
    table, loops = eliminated(exact)
    nu = exact.astype(float) / scale[:, None]
    return Network(
        labels=tuple(str(r) for r in reactions),
        names=tuple(names),
        index=index,
        nu=nu,
        scale=scale,
        pure=np.array([k.phase in ("s", "l") for k in kinds], dtype=bool),
        gas=np.array([k.phase == "g" for k in kinds], dtype=bool),
        charge=np.array([float(k.charge) for k in kinds]),
        table=table,
        loops=loops,
        solvent=solvent,
        sides=tuple(_side_masks(row) for row in exact),
        elements=tuple(frozenset(k.elements) for k in kinds),
    )


def _side_masks(row: np.ndarray) -> tuple[int, int]:
    left = sum(1 << i for i, v in enumerate(row) if v < 0)
    right = sum(1 << i for i, v in enumerate(row) if v > 0)
    return left, right


def constants_at(reactions: Iterable[Reaction], T: float) -> tuple[np.ndarray, list[str]]:
    """ln of each constant in mol/L at temperature T (K), and notes on those whose dH is not known.

    A gas counts as mol/L of gas space when K is on basis "c" and as bar when it is on basis "p"; a solute
    counts as mol/L either way, so that a Henry's-law constant can be given on both.
    """
    values, notes = [], []
    for r in reactions:
        K = r.require_K()
        if abs(r.T - T) > 1e-9:
            if r.dH is None:
                notes.append(f"{r}: dH is not known, so its K at {r.T:g} K is used at {T:g} K.")
            else:
                K = r.at(T).require_K()
        ln_K = np.log(K)
        if r.basis == "p":
            ln_K -= float(r.dn_gas) * np.log(R_BAR * T)
        values.append(float(ln_K))
    return np.array(values), notes


def check_loops(network: Network, ln_K: np.ndarray) -> list[str]:
    """Reactions that follow from each other must have constants that do so too.

    Returns notes; raises EqlibError.
    """
    notes = []
    for loop in network.loops:
        involved = [q for q in range(len(ln_K)) if loop[q]]
        last = involved[-1]
        gap = float(loop @ (ln_K * network.scale)) / (loop[last] * network.scale[last])
        if abs(gap) <= _TIGHT:
            continue
        given, implied = np.exp(ln_K[last]), np.exp(ln_K[last] - gap)
        others = "; ".join(network.labels[q] for q in involved[:-1]) or "itself"
        text = f"{network.labels[last]} has K = {given:.4g} (mol/L), but {implied:.4g} follows from {others}"
        if abs(gap) > _LOOSE:
            raise EqlibError(f"the constants contradict each other: {text}; leave one out or correct it")
        notes.append(f"{text}; the latter is used.")
    return notes


# -- the elimination, exactly --------------------


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


def eliminated(nu: np.ndarray) -> tuple[Tableau, list[Any]]:
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
            row = _cleared(row, other, pivot)
        candidates = [i for i in range(species) if row[i]]
        if not candidates:
            dependencies.append(np.array(row[species:], dtype=float))
            continue
        pivot = min(candidates, key=lambda i: (abs(row[i]), -i))
        done = [(p, _cleared(other, row, pivot)) for p, other in done]
        done.append((pivot, row))
        pivots.append(pivot)
    return _from_rows(dict(done), species, reactions), dependencies


def _cleared(row: list[int], other: list[int], pivot: int) -> list[int]:
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
