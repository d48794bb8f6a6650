"""Many mixtures at once: arrays of totals, temperatures or constants in, arrays of concentrations out."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

import numpy as np

from eqlib.chem.reactions import Reaction, with_protons
from eqlib.chem.salts import split_totals
from eqlib.chem.solver import single
from eqlib.chem.solver.network import check_loops, constants_at, listed, network_of
from eqlib.chem.solver.newton import Problem
from eqlib.chem.solver.rows import Rows, solve_rows
from eqlib.chem.solver.single import LEAST_SCALE, weights
from eqlib.chem.solver.tableau import exact_amounts
from eqlib.chem.species import species
from eqlib.chem.thermo import R_BAR, R_J
from eqlib.errors import EqlibError


def equilibrate_many(
    reactions: Reaction | Iterable[Reaction],
    totals: Mapping[str, float | np.ndarray],
    T: float | np.ndarray | None = None,
    K: Mapping[Any, float | np.ndarray] | None = None,
    headspace: float = 0.0,
) -> dict[str, np.ndarray]:
    """Equilibrate many ideal mixtures of the same reactions.

    ``totals``: {species: mol/L, number or array}; ``T``: K, number or array (default 298.15); ``K``:
    constants to use instead of the reactions' own, {reaction or its number in the list: number or array}, on
    the reaction's own basis at the mixture's temperature; ``headspace``: litres of gas per litre of solution
    (without a solution, the vessel is the volume). All arrays broadcast together.

    Returns {species: array}, every array of the broadcast shape: mol/L for solutes, mol per litre of gas
    space for gases, mol per litre of mixture for solids. Raises EqlibError (one line) naming a species and
    the first bad value.
    """
    job = _Job(reactions, totals, T, K, headspace)
    job.solve(job.ln_K)
    return job.results()


class _Job:
    def __init__(
        self,
        reactions: Reaction | Iterable[Reaction],
        totals: Mapping[str, float | np.ndarray],
        T: float | np.ndarray | None,
        K: Mapping[Any, float | np.ndarray] | None,
        headspace: float,
    ) -> None:
        given_as = (reactions,) if isinstance(reactions, Reaction) else listed(reactions)
        self.reactions = [with_protons(r) for r in given_as]
        known = tuple({n: None for r in self.reactions if isinstance(r, Reaction) for n in r.coefficients})
        put_in, _ = split_totals(totals, known, _array)
        temperature = _array(298.15 if T is None else T, "the temperature T in K", positive=True)
        given = _constants(self.reactions, K)
        self.shape = _common_shape([*put_in.values(), temperature, *given.values()])
        self.count = int(np.prod(self.shape, dtype=int))
        names = [*put_in, *(n for r in self.reactions if isinstance(r, Reaction) for n in r.coefficients)]
        self.solution = any(species(n).phase == "aq" for n in names)
        self.network = network_of(self.reactions, self.solution)
        self.space = float(headspace) if self.solution else 1.0
        self.T = self._flat(temperature) if temperature.ndim else temperature.reshape(1)
        self.ln_K = self._ln_K({q: self._flat(v) if v.ndim else v for q, v in given.items()})
        index = self.network.index
        self.amounts = np.zeros((len(index), self.count))
        self.others = {}
        for name, values in put_in.items():
            value = self._flat(values)
            if name in index:
                self.amounts[index[name]] = value
            elif name != "H2O(l)" or not self.solution:
                self.others[name] = value
        self.n = np.zeros_like(self.amounts)
        self.ln_a = np.full(self.amounts.shape, -np.inf)

    def _flat(self, values: np.ndarray) -> np.ndarray:
        return np.broadcast_to(values, self.shape).reshape(-1)

    def _ln_K(self, given: dict[int, np.ndarray]) -> np.ndarray:
        """ln K in mol/L, shape (reactions, rows or 1)."""
        T = self.T
        known = [r if q not in given else r.with_K(1.0) for q, r in enumerate(self.reactions)]
        usual = {t: constants_at(known, t)[0] for t in np.unique(T)} if len(np.unique(T)) <= 8 else None
        if usual is not None:
            ln_K = np.stack([usual[t] for t in T], axis=1) if len(T) > 1 else usual[T[0]][:, None]
        else:
            ln_K = np.stack([_over_temperature(r, T) for r in known])
        rows = {}
        for q, value in given.items():
            r = self.reactions[q]
            rows[q] = np.log(value) - (float(r.dn_gas) * np.log(R_BAR * T) if r.basis == "p" else 0.0)
        if rows:
            width = max(np.size(v) for v in [*rows.values(), ln_K[0]])
            ln_K = np.repeat(ln_K, width, axis=1) if ln_K.shape[1] < width else ln_K.copy()
            for q, value in rows.items():
                ln_K[q] = value
        if self.network.loops:
            for column in ln_K.T:
                check_loops(self.network, column)
        return ln_K

    # -- solving --------------------

    def solve(self, ln_K: np.ndarray) -> None:
        network = self.network
        size = len(network.names)
        powers = [1 << i for i in range(size)]
        there = self.amounts > 0.0
        first = there[:, :1]
        if (there == first).all():  # by far the commonest case
            patterns, which = first, np.zeros(self.count, dtype=int)
        else:
            patterns, which = np.unique(there, axis=1, return_inverse=True)
            which = which.reshape(-1)
        roomless = sum(p for p, g in zip(powers, network.gas, strict=True) if g) if self.space == 0.0 else 0
        for number in range(patterns.shape[1]):
            members = np.flatnonzero(which == number)
            mask = sum(p for p, there in zip(powers, patterns[:, number], strict=True) if there)
            self._solve_face(network.can_be_present(mask, roomless), members, ln_K)

    def _solve_face(self, present: int, members: np.ndarray, ln_K: np.ndarray) -> None:
        at, table = self.network.face(present)
        if not len(at):
            return
        ln_w = weights(self.network, at, self.space)
        scale = self.network.scale[:, None]
        part = ln_K * scale if ln_K.shape[1] == 1 else ln_K[:, members] * scale
        rows = Rows(self.amounts[np.ix_(at, members)], part, ln_w, self.network.pure[at])
        names = [self.network.names[i] for i in at]
        phases = np.flatnonzero(rows.pure)

        def solve_one(row: int, start: single.Answer | None) -> single.Answer:
            put_in = rows.amounts[:, row]
            problem = Problem(
                table,
                rows.constants([row])[:, 0],
                ln_w,
                None,
                exact_amounts(put_in),
                max(put_in.max(), LEAST_SCALE),
            )
            return single.solve_problem(problem, names, phases, {}, put_in, start)

        solve_rows(rows, solve_one)
        self.n[np.ix_(at, members)] = rows.n
        self.ln_a[np.ix_(at, members)] = rows.ln_a

    def results(self) -> dict[str, np.ndarray]:
        out = {}
        for i, name in enumerate(self.network.names):
            values = self.n[i]
            if self.network.gas[i]:
                values = values / self.space if self.space else np.zeros_like(values)
            out[name] = values.reshape(self.shape)
        for name, value in self.others.items():
            out[name] = np.array(value).reshape(self.shape)
        return out


def _common_shape(arrays: list[np.ndarray]) -> tuple[int, ...]:
    shapes = [array.shape for array in arrays]
    try:
        return np.broadcast_shapes(*shapes)
    except ValueError:
        raise EqlibError(
            f"the arrays given do not fit together: their shapes are {sorted(set(shapes))}"
        ) from None


def _over_temperature(r: Reaction, T: np.ndarray) -> np.ndarray:
    ln_K = np.log(r.require_K())
    shift = np.zeros_like(T)
    if r.dH is not None:
        shift = -r.dH / R_J * (1.0 / T - 1.0 / r.T)
    at = np.where(T == r.T, r.T, T) if r.dH is not None else np.full_like(T, r.T)
    if r.basis == "c":
        # van 't Hoff holds for the constant in bar: there and back, as Reaction.at does.
        return ln_K + shift + float(r.dn_gas) * (np.log(r.T) - np.log(at))
    return ln_K + shift - float(r.dn_gas) * np.log(R_BAR * T)


def _constants(
    reactions: list[Reaction], K: Mapping[Any, float | np.ndarray] | None
) -> dict[int, np.ndarray]:
    given = {}
    for key, value in (K or {}).items() if isinstance(K, Mapping) or K is None else enumerate(K):
        number = key if isinstance(key, int) else None
        if number is None:
            wanted = key if isinstance(key, Reaction) else Reaction(key)
            same = [
                q
                for q, r in enumerate(reactions)
                if dict(r.coefficients) == dict(with_protons(wanted).coefficients)
            ]
            number = same[0] if same else None
        if number is None or not 0 <= number < len(reactions):
            raise EqlibError(f"K is given for {key!s:.80}, which is none of the reactions")
        given[number] = _array(value, f"K of {reactions[number]}", positive=True)
    return given


def _array(value: float | np.ndarray, what: str, positive: bool = False) -> np.ndarray:
    try:
        array = np.asarray(value, dtype=float)
    except (TypeError, ValueError):
        raise EqlibError(f"{what} must be a number or an array of numbers, not {value!r:.40}") from None
    bad = ~np.isfinite(array) | (array <= 0.0 if positive else array < 0.0)
    if bad.any():
        first = array[bad].flat[0] if array.ndim else float(array)
        raise EqlibError(
            f"{what} must be finite and {'more than 0' if positive else '0 or more'}, not {first:g}"
        )
    return array
