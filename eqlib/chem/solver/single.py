"""The equilibrium of one mixture of a network: the phases that are there, and Newton for each choice of them.

Species that cannot be present come out as exactly 0. For the others a function is minimised that is convex
in the log-activities x of the basis:

    f(x) = sum_i n_i(x) - T . x,      n_i = w_i exp(ln beta_i + A_i . x)

Its gradient is the mass balance. Two things keep the iteration quick and exact whatever the constants:

* the direction comes from the balance in logarithms, ln(what is made / what is used), which is nearly
  straight even hundreds of powers of ten away from the answer; where that does not go downhill, Newton's own
  direction does;
* the basis is moved to the most abundant species as they become known. In such a basis every term of a mass
  balance is no larger than its leading term, so nothing is lost by cancellation and scarce species come out
  as exactly as abundant ones.

At equilibrium a pure phase either is present and saturated, or is absent and undersaturated. The set of
phases present is found by exchange, one phase at a time: a phase whose amount would be negative leaves, the
most supersaturated one enters, and when the new one is made of those already there (Gibbs' phase rule allows
no more) the one first used up makes room. Should that come back to a set already tried, or the phases put in
be no place to start from, it begins again with all dissolved and changes the first phase of the list that is
wrong, not the one that is wrong by most (the rule by which Murty's pivoting for linear complementarity, 1974,
cannot run in a circle; from memory).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from eqlib.chem.solver.network import Network, Tableau, exact_amounts
from eqlib.errors import EqlibError

NOWHERE = -1e9  # ln(amount) of what takes no room in the balance: pure phases, and gases without gas space
_LEAST_SCALE = 1e-9
_BALANCED = 1e-11
SATURATED = 1e-10  # in ln(activity)
_ROUNDING = 2e-14
_ROUNDS = 80
_LOG_MAX = 690.0
_LONGEST = 60.0  # in one step, powers of e
_SETTLING = 8
_LEADING, _ENDING = 3.0, 0.7  # how much more abundant, in powers of e, a species is before it takes over
_MAX_STEPS = 300
_SMALL = 0.5  # steps below this are taken without a line search
_NEARLY, _DONE = 1e-3, 1e-7  # converging quadratically, the step after one of 1e-7 would be of 1e-14
_FAR = 1500.0  # a log-activity beyond this means that nothing holds the iteration back


class NoSolution(EqlibError):
    """The mixture has no equilibrium state, or none was reached; the line says which."""


@dataclass(frozen=True, eq=False)
class Solution:
    """Equilibrium of a network, per litre of mixture.

    ``n``: mol per litre of every species of the network; ``c``: concentration (mol/L, or mol per litre of gas
    space) of solutes and gases, 0 for pure phases; ``ln_a``: log-activity, -inf where a species cannot be
    present. ``present``: bit mask; ``answer``: the solver's own result over the present rows.
    """

    network: Network
    n: np.ndarray
    c: np.ndarray
    ln_a: np.ndarray
    present: int
    answer: Answer | None


def solve_network(
    network: Network,
    ln_K: np.ndarray,
    amounts: np.ndarray,
    gas_space: float = 1.0,
    reservoirs: dict[int, float] | None = None,
    start: Solution | None = None,
) -> Solution:
    """Equilibrate.

    ``ln_K``: per reaction, in mol/L. ``amounts``: mol per litre of mixture, per species of the network, as
    put in. ``gas_space``: litres of gas per litre of mixture. ``reservoirs``: {row: ln activity} held
    whatever it takes. ``start``: a Solution of a similar mixture, for speed only. Raises NoSolution.
    """
    reservoirs = reservoirs or {}
    there = amounts > 0.0
    there[list(reservoirs)] = True
    present = network.can_be_present(there, gas_space)
    rows, _ = network.face(present)
    size = len(network.names)
    n, c, ln_a = np.zeros(size), np.zeros(size), np.full(size, -np.inf)
    if not len(rows):
        return Solution(network, n, c, ln_a, 0, None)
    at = {int(row): k for k, row in enumerate(rows)}
    held = {at[row]: value for row, value in reservoirs.items()}
    problem = Problem(network, present, ln_K * network.scale, amounts[rows], gas_space, held)
    answer = problem.solve(None if held else _warm(start, present, rows, network))
    _verify(problem, answer)
    n[rows], ln_a[rows] = answer.n, answer.ln_a
    with np.errstate(over="ignore"):
        c[rows] = np.exp(answer.ln_a)
    c[network.pure] = 0.0
    return Solution(network, n, c, ln_a, present, answer)


def weights(network: Network, rows: np.ndarray, gas_space: float) -> np.ndarray:
    """ln of the amount per litre of mixture that one unit of concentration stands for, per row."""
    ln_w = np.zeros(len(rows))
    ln_w[network.gas[rows]] = np.log(gas_space) if gas_space > 0.0 else NOWHERE
    ln_w[network.pure[rows]] = NOWHERE
    return ln_w


def _warm(start: Solution | None, present: int, rows: np.ndarray, network: Network) -> Answer | None:
    """The earlier answer, where it may serve: the same species, none of them held at a value of its own."""
    if start is None or start.network is not network or start.present != present or start.answer is None:
        return None
    held = [start.answer.table.basis[k] for k in start.answer.fixed]
    return start.answer if network.pure[rows[held]].all() else None


def _verify(problem: Problem, answer: Answer) -> None:
    """The balances are checked on what is returned, not on what the iteration believed."""
    table = answer.table
    totals = table.totals(problem.exact)
    terms = table.A * answer.n[:, None]
    gap = np.abs(terms.sum(axis=0) - totals)
    size = np.abs(terms).sum(axis=0) + np.abs(totals)
    gap[[k for k in answer.fixed if table.basis[k] in problem.reservoirs]] = 0.0
    if not (gap <= _BALANCED * size).all():
        raise NoSolution(
            "no equilibrium was reached that keeps the amounts put in; please check constants and amounts"
        )


# -- which pure phases are there --------------------


@dataclass(frozen=True)
class Answer:
    """Row-wise result. ``ln_a``: log-activity of every row; ``n``: amounts per litre of every row.

    ``table``/``fixed``/``x``: the basis in which the last iteration ran, for warm starts.
    """

    ln_a: np.ndarray
    n: np.ndarray
    table: Tableau
    fixed: tuple[int, ...]
    x: np.ndarray


class Problem:
    """One mixture of the species that can be ``present`` (a bit mask), and the search for its phases.

    ``ln_K``: per reaction, in the whole numbers of the network's table. ``amounts``: put in, per row.
    ``space``: litres of gas per litre. ``reservoirs``: {row: log-activity held}. Rows are those present.
    """

    def __init__(
        self,
        network: Network,
        present: int,
        ln_K: np.ndarray,
        amounts: np.ndarray,
        space: float,
        reservoirs: dict[int, float] | None = None,
    ) -> None:
        rows, self.table = network.face(present)
        self.names = [network.names[i] for i in rows]
        self.ln_K, self.amounts, self.reservoirs = ln_K, amounts, reservoirs or {}
        self.ln_w = weights(network, rows, space)
        self.bearing = self.ln_w > NOWHERE  # rows that are solutes, or gases with room
        self.pure = network.pure[rows]
        self.phases = [int(i) for i in np.flatnonzero(self.pure)]
        self.exact = exact_amounts(amounts)
        self.scale = max(float(amounts.max()), _LEAST_SCALE)

    def solve(self, start: Answer | None = None) -> Answer:
        """``start``: an Answer for the same species from which to begin. Raises NoSolution."""
        answer = None
        if start is not None:
            answer = self.run(start.table, start.x, [start.table.basis[k] for k in start.fixed], rough=False)
        for again in (False, True):
            if answer is None:
                answer = self.run(*self.beginning(dissolved=again), rough=True, first=again)
        if answer is None:
            raise NoSolution(
                "no equilibrium was reached for this mixture; please check its constants and amounts"
            )
        return answer

    def hold(
        self, table: Tableau, row: int, held: list[int], level: Callable[[int], float] | None = None
    ) -> Tableau | None:
        """``row`` brought into the basis next to those held, or None when it is made of them.

        It takes the place of the component of which there is least: as put in, or by ``level`` (position).
        """
        if row in table.basis:
            return table
        places = [k for k, owner in enumerate(table.basis) if owner not in held and table.num[row, k]]
        if not places:
            return None
        return table.exchange(min(places, key=level or (lambda k: self.amounts[table.basis[k]])), row)

    # -- where to begin --------------------

    def beginning(self, dissolved: bool) -> tuple[Tableau, np.ndarray, list[int]]:
        """Reservoirs and the phases put in are held, unless those are taken as ``dissolved``; the most
        abundant solutes complete the basis.
        """
        table = self.table
        held: list[int] = []
        for row in self.reservoirs:
            if (moved := self.hold(table, row, held)) is None:
                names = self.names
                others = " and ".join(names[i] for i in self.reservoirs if i != row)
                raise NoSolution(
                    f"{names[row]} cannot be held fixed as well as {others}; fix one of them only"
                )
            table = moved
            held.append(row)
        for row in sorted(self.phases, key=lambda i: -self.amounts[i]):
            if (
                self.amounts[row] > 0.0
                and not dissolved
                and (moved := self.hold(table, row, held)) is not None
            ):
                table = moved
                held.append(row)
        settled = list(held)
        for row in np.argsort(-self.amounts, kind="stable"):
            if self.amounts[row] > 0.0 and self.bearing[row]:
                moved = self.hold(table, int(row), settled)
                if moved is not None:
                    table = moved
                    settled.append(int(row))
        table, held = self._cover(table, held)
        return table, self._guess(table, held), held

    def _cover(self, table: Tableau, held: list[int]) -> tuple[Tableau, list[int]]:
        """A component that only pure phases contain needs one of them from the start."""
        for k, owner in enumerate(table.basis):
            if self.bearing[owner] or owner in held:
                continue
            solutes = np.flatnonzero(table.support[:, k] & self.bearing)
            if len(solutes):
                table = table.exchange(k, int(solutes[0]))
            elif self.pure[owner]:
                held = [*held, owner]
            else:
                raise NoSolution(
                    f"{self.names[owner]} has no room: nothing dissolves it and there is no gas "
                    "space; give the mixture a headspace"
                )
        return table, held

    def _guess(self, table: Tableau, held: list[int]) -> np.ndarray:
        floor = 1e-10 * self.scale
        x = np.zeros(len(table.basis))
        for k, owner in enumerate(table.basis):
            if owner in self.reservoirs:
                x[k] = self.reservoirs[owner]
            elif owner not in held:
                x[k] = np.log(max(self.amounts[owner], floor)) - self.ln_w[owner]
        return x

    # -- exchange of phases --------------------

    def run(
        self, table: Tableau, x: np.ndarray, held: list[int], rough: bool, first: bool = False
    ) -> Answer | None:
        """Exchange phases until every condition holds. None when a set comes back or nothing holds it.

        ``first``: of the phases that are wrong the first one is changed, else the one wrong by most.
        """
        seen, early = set(), not first
        for _ in range(_ROUNDS):
            fixed = tuple(k for k, owner in enumerate(table.basis) if owner in held)
            outside = [i for i in self.phases if i not in held]
            with np.errstate(all="ignore"):
                walk = _Walk(self, table, x, fixed)
                outcome, steps = walk.minimise(outside if early else [], rough)
            rough = rough and steps == 0
            if outcome == "solved":
                if frozenset(held) in seen:
                    return None
                seen.add(frozenset(held))
            if outcome == "stuck":
                return None
            table, x = walk.table, walk.x
            ln_a = table.L @ self.ln_K + table.A @ x
            amounts, short = self._amounts(walk)
            over = {i: ln_a[i] for i in outside if ln_a[i] > SATURATED}
            if outcome == "unbounded":  # the first phase to become saturated on the way bounds it
                pace = table.A @ walk.away
                over = {i: ln_a[i] / pace[i] for i in outside if pace[i] > 0.0}
            elif first:
                wrong = min([*short, *over], default=None)
                short, over = ({i: v for i, v in side.items() if i == wrong} for side in (short, over))
            if outcome == "solved" and short:
                leaving = min(short, key=lambda i: short[i])
                held, early = [row for row in held if row != leaving], False
            elif over:
                table, x, held = self._enter(table, x, held, max(over, key=lambda i: over[i]), amounts)
            elif outcome != "solved":
                return None
            else:
                n = np.where(self.pure, 0.0, walk.n)
                n[list(amounts)] = np.maximum(list(amounts.values()), 0.0)
                return Answer(ln_a, n, table, fixed, x)
        return None

    def _amounts(self, walk: _Walk) -> tuple[dict[int, float], dict[int, float]]:
        """The amount of each phase held, per litre; and those overdrawn by more than rounding."""
        table = walk.table
        totals = table.totals(self.exact)
        amounts, short = {}, {}
        for k in walk.fixed:
            owner = table.basis[k]
            if owner in self.reservoirs:
                continue
            terms = table.A[:, k] * walk.n
            amounts[owner] = value = float(totals[k] - terms.sum())
            if value < -_ROUNDING * (abs(totals[k]) + np.abs(terms).sum()):
                short[owner] = value
        return amounts, short

    def _enter(
        self, table: Tableau, x: np.ndarray, held: list[int], row: int, amounts: dict[int, float]
    ) -> tuple[Tableau, np.ndarray, list[int]]:
        """``row`` takes the place of the component it leaves scarcest, or of the phase it uses up first."""
        owners = table.basis
        moved = self.hold(table, row, held, level=lambda k: x[k] + self.ln_w[owners[k]])
        if moved is not None:
            x = x.copy()
            x[moved.basis.index(row)] = 0.0
            return moved, x, [*held, row]
        used = {
            owner: amounts.get(owner, 0.0) / table.A[row, k]
            for k, owner in enumerate(owners)
            if owner in held and owner not in self.reservoirs and table.A[row, k] > 0.0
        }
        if not used:
            raise NoSolution(
                f"{self.names[row]} would form without end, since what it is made of is held fixed; "
                "hold less fixed, or give an amount"
            )
        gone = min(used, key=lambda row: used[row])
        return table.exchange(owners.index(gone), row), x, [*(i for i in held if i != gone), row]


# -- Newton for one choice of phases --------------------


class _Frame:
    """Arrays that depend only on the basis and on what is held in it."""

    def __init__(self, table: Tableau, fixed: tuple[int, ...]) -> None:
        self.free = np.array([k for k in range(len(table.basis)) if k not in fixed], dtype=int)
        A = table.A[:, self.free]
        self.both = np.ascontiguousarray(np.vstack([np.maximum(A, 0.0).T, np.maximum(-A, 0.0).T]))
        self.slope = np.ascontiguousarray(A)
        self.owners = np.array(table.basis, dtype=int)
        self.block = np.where(table.support, 0.0, -np.inf)
        self.block[:, list(fixed)] = -np.inf
        self.block[self.owners] = -np.inf


def _frame_of(table: Tableau, fixed: tuple[int, ...]) -> _Frame:
    known = table.frames.get(fixed)
    if known is None:
        known = table.frames[fixed] = _Frame(table, fixed)
    return known


class _Walk:
    """One minimisation from ``x``, the activities at the basis positions ``fixed`` held.

    Afterwards ``table``, ``x`` and the amounts ``n`` are where it ended; ``away``, when nothing bounded it,
    is the direction in x of that.
    """

    def __init__(self, problem: Problem, table: Tableau, x: np.ndarray, fixed: tuple[int, ...]) -> None:
        self.problem = problem
        self.fixed = fixed
        self.x = x
        self.ceiling = math.log(problem.scale)
        self.away = np.zeros(len(x))
        self.move_to(table)
        self.evaluate()

    def minimise(self, watch: list[int], rough: bool) -> tuple[str, int]:
        """("solved", "supersaturated", "unbounded" or "stuck", steps).

        ``rough``: the start is only a guess. ``watch``: rows of phases not held; the iteration stops early
        when one of them is clearly supersaturated.
        """
        if rough:
            self.settle()
            if self._wants_to_form(watch):
                return "supersaturated", 0
        if not self.size:
            return "solved", 0
        size, last = np.inf, False
        for step in range(_MAX_STEPS):
            if last or size > 0.3:
                self.lead(_ENDING if last else _LEADING)
                if last:
                    self.evaluate()  # afresh, in the basis in which nothing is lost
            elif self._wants_to_form(watch):
                return "supersaturated", step
            made, used, gradient = self.balance()
            if made.min() <= 0.0 or used.min() <= 0.0:
                self.away[self.free] = 1.0 * (made <= 0.0) - 1.0 * (used <= 0.0)
                return "unbounded", step
            if np.abs(self.x).max() > _FAR:
                self.away = np.where(np.abs(self.x) > _FAR / 10, np.sign(self.x), 0.0)
                return "unbounded", step
            direction = self.log_direction(made, used, gradient)
            size = np.inf if direction is None else float(np.abs(direction).max())
            if direction is not None and size < _SMALL:
                self.step(direction)
                if last and size < _DONE:
                    return "solved", step + 1
                last = size < _NEARLY
                continue
            size = self._far_step(direction, gradient, size)
            if not size < np.inf:
                return "stuck", step
            if size == 0.0:  # nothing goes downhill: the balance holds to rounding, or something is wrong
                made, used, gradient = self.balance()
                balanced = (np.abs(gradient) <= 1e-12 * (made + used)).all()
                return "solved" if balanced else "stuck", step
            last = False
        return "stuck", _MAX_STEPS

    def _wants_to_form(self, watch: list[int]) -> bool:
        if not watch:
            return False
        ln_a = self.table.L[watch] @ self.problem.ln_K + self.table.A[watch] @ self.x
        return ln_a.max() > 2.0

    # -- where it stands --------------------

    def move_to(self, table: Tableau) -> None:
        """Adopt a basis; ``self.x`` already refers to it. The point, and so the amounts, stay."""
        self.table = table
        self.frame = _frame_of(table, self.fixed)
        self.base = table.L @ self.problem.ln_K
        self.base += self.problem.ln_w
        self.free = self.frame.free
        self.size = len(self.free)
        T = self.T = table.totals(self.problem.exact)[self.free]
        self.outside = np.maximum(np.concatenate([-T, T]), 0.0)

    def evaluate(self) -> None:
        self.e = self.base + self.table.A @ self.x
        self.n = np.exp(np.minimum(self.e, _LOG_MAX))

    def balance(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """What is made and what is used of each free component, and their difference."""
        both = self.frame.both @ self.n + self.outside
        made, used = both[: self.size], both[self.size :]
        return made, used, made - used

    # -- the basis --------------------

    def lead(self, tolerance: float) -> None:
        """Move to the basis of the most abundant species, by exchanges."""
        table, frame = self.table, self.frame
        column = self.e[:, None]
        for _ in range(200):
            excess = frame.block + column
            excess -= self.e[frame.owners]
            row, position = divmod(int(excess.argmax()), len(frame.owners))
            if not excess[row, position] > tolerance:
                break
            table = table.exchange(position, row)
            frame = _frame_of(table, self.fixed)
        if table is self.table:
            return
        owners = frame.owners[frame.free]
        self.x = self.x.copy()
        self.x[frame.free] = self.e[owners] - self.problem.ln_w[owners]
        self.move_to(table)

    def settle(self) -> None:
        """A start near the answer: every reaction taken to completion.

        In the basis of the most abundant species each of them holds nearly its whole total; that makes others
        the most abundant ones, and so on, until the basis stays.
        """
        for turn in range(_SETTLING):
            before = self.table
            self.lead(_LEADING)
            if not self.size:
                return
            self._fill()
            self._repay()
            if self.table is before and turn > 0:
                return

    def _fill(self) -> None:
        """Each basis species given its whole total; where that is not positive, at most the ceiling."""
        e = self.e[self.frame.owners[self.free]]
        wanted = np.where(self.T > 0.0, np.log(np.abs(self.T)), np.minimum(e, self.ceiling))
        self.step(wanted - e)

    def _repay(self) -> None:
        """A negative total is made by the species that uses this one up: it takes its place in the basis."""
        k = int(self.T.argmin())
        if self.T[k] >= 0.0:
            return
        share = self.frame.slope[:, k]
        pace = np.where(share < 0.0, (self.e - np.log(self.T[k] / share)) / -share, -np.inf)
        row = int(pace.argmax())
        if pace[row] > NOWHERE / 2:
            position = int(self.free[k])
            self.x = self.x.copy()
            self.x[position] = self.e[row] - self.problem.ln_w[row]
            self.move_to(self.table.exchange(position, row))
            self._fill()

    # -- steps --------------------

    def curvature(self) -> np.ndarray:
        return (self.frame.both * self.n) @ self.frame.slope

    def log_direction(self, made: np.ndarray, used: np.ndarray, gradient: np.ndarray) -> np.ndarray | None:
        jacobian = self.curvature() / np.concatenate([made, used])[:, None]
        jacobian = jacobian[: self.size] - jacobian[self.size :]
        ratio = gradient / used
        close = ratio.min() > -0.5 and ratio.max() < 0.5
        target = np.log1p(ratio) if close else np.log(made) - np.log(used)
        try:
            return -np.linalg.solve(jacobian, target)
        except np.linalg.LinAlgError:
            return None

    def newton_direction(self, gradient: np.ndarray) -> np.ndarray:
        parts = self.curvature()
        hessian = parts[: self.size] - parts[self.size :]
        width = np.sqrt(np.maximum(hessian.diagonal(), 1e-300))
        scaled = hessian / width[:, None] / width
        scaled[np.diag_indices_from(scaled)] += 1e-14
        return -np.linalg.solve(scaled, gradient / width) / width

    def step(self, direction: np.ndarray) -> None:
        self.x = self.x.copy()
        self.x[self.free] += direction
        self.evaluate()

    def _far_step(self, direction: np.ndarray | None, gradient: np.ndarray, size: float) -> float:
        """A step with line search, by the logarithmic direction or, where that fails, by Newton's own."""
        gone = self.advance(direction, gradient) if direction is not None and size < np.inf else 0.0
        if gone < 0.02:
            _, _, gradient = self.balance()
            newton = self.newton_direction(gradient)
            if not np.isfinite(newton).all():
                return np.inf
            more = self.advance(newton, gradient)
            return max(gone * size if gone else 0.0, more * float(np.abs(newton).max()))
        return gone * size

    def advance(self, direction: np.ndarray, gradient: np.ndarray) -> float:
        """Go along ``direction`` as far as the function keeps falling.

        Returns the fraction gone (0: refused).
        """
        slope = float(gradient @ direction)
        if not slope < 0.0:
            return 0.0
        full = np.zeros(len(self.x))
        full[self.free] = direction
        change = self.frame.slope @ direction
        start_x, start_e = self.x, self.e
        room = np.maximum(self.ceiling - start_e, 0.0) + 2.0
        part = min(
            1.0, 1.0 / max(float((change / room).max()), 1e-300), _LONGEST / float(np.abs(direction).max())
        )
        for _ in range(60):
            self.x = start_x + part * full
            self.evaluate()
            there = float(self.balance()[2] @ direction)
            if there <= -0.5 * slope:
                return part
            part *= min(0.5, max(0.05, slope / (slope - there)))
        self.x, self.e = start_x, start_e
        self.evaluate()
        return 0.0
