"""Many mixtures at once: arrays of totals, temperatures or constants in, arrays of concentrations out.

Rows that hold the same solids go together. One of them is solved by itself; its basis and its answer start
the others, and all are iterated side by side. A row whose solids turn out wrong joins the rows that hold what
it needs; a row whose scarce species would lose digits in this basis is taken to a better one. What has not
converged after that is left to the solver for single mixtures, so every row is either right or raises.

Arrays are laid out with the rows last, shape (species or basis, rows): NumPy then works along memory.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from eqlib.chem.reactions import Reaction, with_protons
from eqlib.chem.salts import split_totals
from eqlib.chem.solver.network import Network, Tableau, check_loops, listed, network_of
from eqlib.chem.solver.single import NOWHERE, SATURATED, Answer, Problem, weights
from eqlib.chem.species import species
from eqlib.chem.thermo import R_BAR, R_J
from eqlib.errors import EqlibError

_ROUNDING = 1e-13
_DOMINATED = 10.0  # powers of e by which a species may outnumber one that its basis puts first
_TURNS = 12
_EXCHANGES = 6
_FEW = 4  # rows for which starting a batch is not worth while
_STARTS, _PER_START = 16, 100
_STEPS, _PATIENCE = 16, 6
_LONGEST = 30.0  # in one step, powers of e
_DONE = 1e-6  # quadratic convergence: what is left after a step of 1e-6 is of the order of 1e-12
_BLOCK = 250_000  # multiplications in a matrix product: a larger one is shared out among threads, at a loss


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
    job.solve()
    return job.results()


class _Job:
    def __init__(self, reactions: Any, totals: Any, T: Any, K: Any, headspace: float) -> None:
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

    def _flat(self, values: np.ndarray) -> np.ndarray:
        return np.broadcast_to(values, self.shape).reshape(-1)

    def _ln_K(self, given: dict[int, np.ndarray]) -> np.ndarray:
        """ln K in mol/L, shape (reactions, rows or 1)."""
        T = self.T
        rows = [_over_temperature(r, T) for q, r in enumerate(self.reactions) if q not in given]
        for q in sorted(given):
            r = self.reactions[q]
            in_bar = float(r.dn_gas) * np.log(R_BAR * T) if r.basis == "p" else np.zeros(1)
            rows.insert(q, np.log(given[q]) - in_bar)
        ln_K = np.stack(np.broadcast_arrays(*rows)) if rows else np.zeros((0, 1))
        if self.network.loops:
            for column in ln_K.T:
                check_loops(self.network, column)
        return ln_K

    # -- solving --------------------

    def solve(self) -> None:
        there = self.amounts > 0.0
        first = there[:, :1]
        if (there == first).all():  # by far the commonest case
            patterns, which = first, np.zeros(self.count, dtype=int)
        else:
            patterns, which = np.unique(there, axis=1, return_inverse=True)
            which = which.reshape(-1)
        for number in range(patterns.shape[1]):
            members = np.flatnonzero(which == number)
            present = self.network.can_be_present(patterns[:, number], self.space)
            self._solve_face(present, members)

    def _solve_face(self, present: int, members: np.ndarray) -> None:
        at, _ = self.network.face(present)
        if not len(at):
            return
        ln_K = self.ln_K * self.network.scale[:, None]
        ln_K = ln_K if ln_K.shape[1] == 1 else ln_K[:, members]
        rows = Rows(self.network, present, self.amounts[np.ix_(at, members)], ln_K, self.space)
        solve_rows(rows)
        self.n[np.ix_(at, members)] = rows.n

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


# -- rows of one set of species --------------------


@dataclass
class Rows:
    """Mixtures of one network in which the same species can be ``present`` (a bit mask).

    ``amounts``: put in, shape (species, rows). ``ln_K``: shape (reactions,
    rows), or (reactions, 1) for all alike. ``space``: litres of gas per litre. Result: ``n``, shape (species,
    rows); ``waiting``: booleans, rows still to be solved.
    """

    network: Network
    present: int
    amounts: np.ndarray
    ln_K: np.ndarray
    space: float

    def __post_init__(self) -> None:
        at, _ = self.network.face(self.present)
        self.pure = self.network.pure[at]
        self.ln_w = weights(self.network, at, self.space)
        self.n = np.zeros(self.amounts.shape)
        self.waiting = np.ones(self.amounts.shape[1], dtype=bool)

    def constants(self, rows: list[int] | np.ndarray) -> np.ndarray:
        return self.ln_K if self.ln_K.shape[1] == 1 else self.ln_K[:, rows]

    def alone(self, row: int, start: Answer | None = None) -> Answer:
        """One row solved by itself, from the answer of a similar one."""
        ln_K, amounts = self.constants([row])[:, 0], self.amounts[:, row]
        answer = Problem(self.network, self.present, ln_K, amounts, self.space).solve(start)
        self.n[:, row] = answer.n
        self.waiting[row] = False
        return answer


@dataclass
class Group:
    """Rows that hold the same solids, in one basis; ``x``: the log-activities from which they start."""

    held: tuple[int, ...]
    table: Tableau
    members: np.ndarray
    x: np.ndarray


Work = dict[tuple[tuple[int, ...], tuple[int, ...]], Group]
"""Groups by the solids held and the basis."""


def solve_rows(rows: Rows) -> None:
    """Solve every row: some by themselves, the others from these, strays by themselves."""
    with np.errstate(all="ignore"):
        for _ in range(_TURNS):
            if np.count_nonzero(rows.waiting) <= _FEW:
                break
            work = _starts(rows)
            for _ in range(_EXCHANGES):  # rows may change solids; those that fail stay waiting
                again: Work = {}
                for group in work.values():
                    _advance(rows, group, again)
                work = again
        for row in np.flatnonzero(rows.waiting):
            rows.alone(int(row))


def _starts(rows: Rows) -> Work:
    """Solve some rows by themselves; every other row starts from the one most like it."""
    still = np.flatnonzero(rows.waiting)
    number = min(_STARTS, 1 + len(still) // _PER_START)
    chosen = still[np.unique(np.linspace(0, len(still) - 1, number + 2)[1:-1].astype(int))]
    answers: list[Answer] = []
    for row in chosen:
        answers.append(rows.alone(int(row), answers[-1] if answers else None))
    still = np.flatnonzero(rows.waiting)
    nearest = _nearest(rows, still, chosen)
    work: Work = {}
    for number, answer in enumerate(answers):
        members = still[nearest == number]
        if len(members):
            table = answer.table
            held = tuple(sorted(table.basis[k] for k in answer.fixed))
            x = answer.x[:, None] + _scaling(rows, table, chosen[number], members)
            _join(work, Group(held, table, members, x))
    return work


def _join(work: Work, group: Group) -> None:
    key = group.held, group.table.basis
    if (other := work.get(key)) is not None:
        group.members = np.concatenate([other.members, group.members])
        group.x = np.concatenate([other.x, group.x], axis=1)
    work[key] = group


def _nearest(rows: Rows, still: np.ndarray, chosen: np.ndarray) -> np.ndarray:
    """For each of the rows ``still`` to do, the number of the solved row closest in the logarithms of
    amounts and constants.
    """
    amounts = rows.amounts[rows.amounts.any(axis=1)]
    features = np.log(amounts)
    if rows.ln_K.shape[1] > 1:
        features = np.vstack([features, rows.ln_K[np.ptp(rows.ln_K, axis=1) > 0.0]])
    wanted, known = features[:, still], features[:, chosen]
    wanted, known = wanted.astype(np.float32), known.astype(np.float32)
    apart = product(-2.0 * known.T, wanted) + (known**2).sum(axis=0)[:, None]
    return np.ascontiguousarray(apart.T).argmin(axis=1)


def _scaling(rows: Rows, table: Tableau, row: int, members: np.ndarray) -> np.ndarray:
    """Basis species follow their totals from the solved row to the others."""
    T = product(table.A.T, rows.amounts[:, members])
    ratio = T / (table.A.T @ rows.amounts[:, [row]])
    return np.where((ratio > 0.0) & np.isfinite(ratio), np.log(np.abs(ratio)), 0.0)


def _advance(rows: Rows, group: Group, moved: Work) -> None:
    """One minimisation. Finished rows are stored; ``moved`` takes those that need other solids."""
    table = group.table
    spot = [k for k, owner in enumerate(table.basis) if owner in group.held]
    group.x[spot] = 0.0
    batch = SideBySide(rows, table, spot, group.members)
    good = batch.minimise(group.x)
    done = Group(group.held, table, group.members[good], group.x[:, good])
    if not len(done.members):
        return
    ln_a = product(table.L, rows.constants(done.members)) + product(table.A, done.x)
    n = np.exp(np.minimum(ln_a + rows.ln_w[:, None], 690.0))
    fine = np.ones(len(done.members), dtype=bool)
    if rows.pure.any():
        _solid_amounts(rows, table, spot, batch.T[:, good], n)
        fine = _sort_out(rows, done, ln_a, n, moved)
    fine &= _dominated(table, spot, ln_a + rows.ln_w[:, None])
    members = done.members[fine]
    rows.n[:, members] = np.maximum(n[:, fine], 0.0)
    rows.waiting[members] = False


def _solid_amounts(rows: Rows, table: Tableau, spot: list[int], T: np.ndarray, n: np.ndarray) -> None:
    n[rows.pure] = 0.0
    for k in spot:
        terms = table.A[:, [k]] * n
        terms[rows.pure] = 0.0
        value = T[k] - terms.sum(axis=0)
        doubt = _ROUNDING * (np.abs(T[k]) + np.abs(terms).sum(axis=0))
        n[table.basis[k]] = np.where(np.abs(value) <= doubt, 0.0, value)


def _sort_out(rows: Rows, group: Group, ln_a: np.ndarray, n: np.ndarray, moved: Work) -> np.ndarray:
    """Which rows hold the right solids; the others are grouped by the exchange they need."""
    held, table = group.held, group.table
    kept = [i for i in np.flatnonzero(rows.pure) if i in held]
    outside = [i for i in np.flatnonzero(rows.pure) if i not in held]
    fine = np.ones(len(group.members), dtype=bool)
    if kept:
        least, which = n[kept].min(axis=0), n[kept].argmin(axis=0)
        for number, row in enumerate(kept):
            leave = (least < 0.0) & (which == number)
            if leave.any():
                fine &= ~leave
                left = tuple(i for i in held if i != row)
                _join(moved, Group(left, table, group.members[leave], group.x[:, leave]))
    if outside:
        most, which = ln_a[outside].max(axis=0), ln_a[outside].argmax(axis=0)
        for number, row in enumerate(outside):
            enter = fine & (most > SATURATED) & (which == number)
            if enter.any():
                fine &= ~enter
                _enter(Group(held, table, group.members[enter], group.x[:, enter]), int(row), moved)
    return fine


def _enter(group: Group, row: int, moved: Work) -> None:
    """``row`` takes the place of the basis species it leaves scarcest in most of these mixtures."""
    held, table, x = group.held, group.table, group.x
    places = [k for k, owner in enumerate(table.basis) if owner not in held and table.num[row, k]]
    if not places:
        return  # made of solids already held: left to the single solver
    position = places[int(np.median(x[places], axis=1).argmin())]
    x[position] = 0.0
    _join(moved, Group(tuple(sorted((*held, row))), table.exchange(position, row), group.members, x))


def _dominated(table: Tableau, spot: list[int], e: np.ndarray) -> np.ndarray:
    """Rows in which no species outnumbers by much the basis species that it contains."""
    worst = np.full(e.shape[1], -np.inf)
    for k, owner in enumerate(table.basis):
        if k in spot:
            continue
        others = np.flatnonzero(table.support[:, k])
        worst = np.maximum(worst, e[others].max(axis=0) - e[owner])
    return worst <= _DOMINATED


# -- Newton side by side, by the logarithmic direction alone, and the sums it needs --------------------


def product(matrix: np.ndarray, columns: np.ndarray) -> np.ndarray:
    """``matrix @ columns`` in pieces that the linear algebra library does not share out among threads."""
    width = max(64, _BLOCK // max(matrix.size, 1))
    if columns.shape[1] <= width:
        return matrix @ columns
    out = np.empty((len(matrix), columns.shape[1]))
    for start in range(0, columns.shape[1], width):
        np.matmul(matrix, columns[:, start : start + width], out=out[:, start : start + width])
    return out


def careful_totals(table: Tableau, amounts: np.ndarray) -> np.ndarray:
    """Conserved totals with the rounding errors of every sum and product carried along; shape (basis, rows).

    Error-free transformations of T. J. Dekker, Numer. Math. 18 (1971) 224, and D. E. Knuth (both from
    memory).
    """
    T = np.zeros((len(table.basis), amounts.shape[1]))
    there = amounts.any(axis=1)
    for k in range(len(table.basis)):
        low = np.zeros(amounts.shape[1])
        for i in np.flatnonzero(table.support[:, k] & there):
            factor = float(table.num[i, k])
            term = factor * amounts[i]
            if abs(factor) != 1.0:
                low += _product_error(factor, amounts[i], term)
            total = T[k] + term
            part = total - T[k]
            low += (T[k] - (total - part)) + (term - part)
            T[k] = total
        T[k] += low
    return T / float(table.den)


def _product_error(factor: float, values: np.ndarray, product: np.ndarray) -> np.ndarray:
    """What rounding took from ``factor * values``; exact while nothing under- or overflows."""
    big = 134217729.0 * values  # 2**27 + 1 splits a number into two halves
    upper = big - (big - values)
    lower = values - upper
    return (factor * upper - product) + factor * lower


class SideBySide:
    """Newton side by side, in one basis with the same positions held."""

    def __init__(self, rows: Rows, table: Tableau, spot: list[int], members: np.ndarray) -> None:
        self.rows, self.table = rows, table
        self.members = members
        self.free = np.array([k for k in range(len(table.basis)) if k not in spot], dtype=int)
        A = table.A[:, self.free]
        bearing = rows.ln_w > NOWHERE / 2
        self.bearing = np.flatnonzero(bearing)
        A = A[self.bearing]
        self.A = A
        both = np.hstack([np.maximum(A, 0.0), np.maximum(-A, 0.0)])
        self.both = np.ascontiguousarray(both.T)
        size = len(self.free)
        gain = (np.maximum(A, 0.0)[:, :, None] * A[:, None, :]).reshape(len(A), -1)
        self.gain = np.ascontiguousarray(gain.T)
        self.loss = [
            (k, np.ascontiguousarray((A * both[:, [size + k]]).T)) for k in range(size) if (A[:, k] < 0).any()
        ]
        self.rise = np.ascontiguousarray(table.A[self.bearing])
        self.T = careful_totals(table, rows.amounts[:, members])
        self.base = product(table.L[self.bearing], rows.constants(members)) + rows.ln_w[self.bearing, None]

    def minimise(self, x: np.ndarray) -> np.ndarray:
        """Iterate; returns booleans over ``members``: converged and balanced. The result is in ``self.x``."""
        self.x = x
        count = x.shape[1]
        if not len(self.free):
            return np.ones(count, dtype=bool)
        good = np.zeros(count, dtype=bool)
        T = self.T[self.free]
        spare = np.vstack([np.maximum(-T, 0.0), np.maximum(T, 0.0)])
        width = max(64, _BLOCK // self.gain.size)
        for start in range(0, count, width):
            block = slice(start, min(start + width, count))
            base = self.base if self.base.shape[1] == 1 else self.base[:, block]
            self._minimise_block(x[:, block], base, spare[:, block], good[block])
        return good & (np.abs(x) < 1500.0).all(axis=0)

    def _minimise_block(self, x: np.ndarray, base: np.ndarray, spare: np.ndarray, good: np.ndarray) -> None:
        """Newton for a block of rows, in place; rows drop out as they are done."""
        size = len(self.free)
        going, y = np.arange(x.shape[1]), x
        for step in range(_STEPS):
            n = np.exp(base + self.rise @ y)
            made_used = self.both @ n + spare
            gap = made_used[:size] - made_used[size:]
            direction = self._direction(n, made_used, gap)
            length = np.abs(direction).max(axis=0)
            if not length.max() < _LONGEST:
                direction *= np.minimum(1.0, _LONGEST / length)
            if size == len(y):
                y += direction
            else:
                y[self.free] += direction
            if y is not x:
                x[:, going] = y
            done = length < _DONE
            finished = np.count_nonzero(done)
            if finished:
                balanced = (np.abs(gap) <= 1e-5 * (made_used[:size] + made_used[size:])).all(axis=0)
                good[going[done & balanced]] = True
            if finished >= len(going) - (step > _PATIENCE) * (1 + x.shape[1] // 32):
                return  # a few stragglers are better tried from another start
            if finished > len(going) // 4:
                stay = ~done
                going, y, spare = going[stay], y[:, stay], spare[:, stay]
                base = base if base.shape[1] == 1 else base[:, stay]

    def _direction(self, n: np.ndarray, made_used: np.ndarray, gap: np.ndarray) -> np.ndarray:
        """Logarithmic Newton direction, by elimination along the diagonal for all rows together."""
        size = len(self.free)
        made, used = made_used[:size], made_used[size:]
        M = (self.gain @ n).reshape(size, size, -1)
        for k, share in self.loss:
            M[k] -= (share @ n) * (made[k] / used[k])
        ratio = gap / used
        b = np.log1p(ratio)
        far = ~(np.abs(ratio) < 0.5)
        if far.any():
            b[far] = np.log(made[far] / used[far])
        b *= made
        for k in range(size - 1):
            scale = 1.0 / M[k, k]
            M[k, k + 1 :] *= scale
            b[k] *= scale
            M[k + 1 :, k + 1 :] -= M[k + 1 :, k, None] * M[k, None, k + 1 :]
            b[k + 1 :] -= M[k + 1 :, k] * b[k]
        b[size - 1] /= M[size - 1, size - 1]
        for k in range(size - 1, 0, -1):
            b[:k] -= M[:k, k] * b[k]
        return np.negative(b, out=b)
