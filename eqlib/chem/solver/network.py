"""A set of reactions made ready for the solver: species, elimination, and which species can be present at
all.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction
from functools import lru_cache
from math import lcm
from typing import Any

import numpy as np

from eqlib.chem.reactions import Reaction
from eqlib.chem.solver import tableau
from eqlib.chem.solver.tableau import Tableau
from eqlib.chem.species import species
from eqlib.chem.thermo import R_BAR
from eqlib.errors import EqlibError

# Tables give constants to two figures: a closed loop of such values misses 1 by this much (common practice,
# no source).
_LOOSE, _TIGHT = 0.025, 1e-6


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
    table: tableau.Tableau
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

    def can_be_present(self, mask: int, without: int = 0) -> int:
        """Bit mask of the species that can form from those in ``mask``.

        ``without``: gases that have no room. Found by letting reactions run; where that leaves a species
        whose elements are all there, a linear programme over the reactions decides.
        """
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
    from scipy.optimize import linprog

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
    table, loops = tableau.build(exact)
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


def constants_at(reactions: Any, T: float) -> tuple[np.ndarray, list[str]] | tuple[np.ndarray, list[Any]]:
    """ln of each constant in mol/L at temperature T (K), and notes on those whose dH is not known.

    A gas counts as mol/L of gas space when K is on basis "c" and as bar when it is on basis "p"; a solute
    counts as mol/L either way, so that a Henry's-law constant can be given on both.
    """
    values, notes = [], []
    for r in reactions:
        r.require_K()
        if abs(r.T - T) > 1e-9:
            if r.dH is None:
                notes.append(f"{r}: dH is not known, so its K at {r.T:g} K is used at {T:g} K.")
            else:
                r = r.at(T)
        ln_K = np.log(r.K)
        if r.basis == "p":
            ln_K -= float(r.dn_gas) * np.log(R_BAR * T)
        values.append(float(ln_K))
    return np.array(values), notes


def check_loops(network: Network, ln_K: np.ndarray) -> list[Any]:
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
