"""Guarded Newton iteration for one choice of phases.

The function minimised is convex in the log-activities x of the basis:

    f(x) = sum_i n_i(x) - T . x,      n_i = w_i exp(ln beta_i + A_i . x)

Its gradient is the mass balance. Two things keep the iteration quick and exact whatever the constants:

* the direction comes from the balance in logarithms, ln(what is made / what is used), which is nearly
  straight even hundreds of powers of ten away from the answer; where that does not go downhill, Newton's own
  direction does;
* the basis is moved to the most abundant species as they become known. In such a basis every term of a mass
  balance is no larger than its leading term, so nothing is lost by cancellation and scarce species come out
  as exactly as abundant ones.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from eqlib.chem.solver.tableau import Tableau

NOWHERE = -1e9  # ln(amount) of what takes no room in the balance: pure phases, and gases without gas space
_LOG_MAX = 690.0
_LONGEST = 60.0  # in one step, powers of e
_SETTLING = 8
LEADING, ENDING = 3.0, 0.7  # how much more abundant, in powers of e, a species is before it takes over
_MAX_STEPS = 300
_SMALL = 0.5  # steps below this are taken without a line search
_NEARLY, _DONE = 1e-3, 1e-7  # converging quadratically, the step after one of 1e-7 would be of 1e-14
_FAR = 1500.0  # a log-activity beyond this means that nothing holds the iteration back


def minimise(
    problem: Problem,
    table: Tableau,
    x: np.ndarray,
    fixed: tuple[int, ...],
    watch: list[int] | None = None,
    rough: bool = False,
) -> Point:
    """Minimise from ``x`` with the activities at the basis positions ``fixed`` held.

    ``rough``: ``x`` is only a guess. ``watch``: rows of phases not held; the iteration stops early when one
    of them is clearly supersaturated.
    """
    with np.errstate(all="ignore"):
        walk = Walk(problem, table, np.array(x, dtype=float), tuple(fixed))
        if rough:
            walk.settle()
        outcome, steps = _iterate(walk, watch, rough)
    return Point(walk.table, walk.x, walk.fixed, walk.n, outcome, steps, walk.away)


def _iterate(walk: Walk, watch: list[int] | None, rough: bool) -> tuple[str, int]:
    if rough and watch is not None and _wants_to_form(walk, watch):
        return "supersaturated", 0
    if not walk.size:
        return "solved", 0
    size, last = np.inf, False
    for step in range(_MAX_STEPS):
        if last or size > 0.3:
            walk.lead(ENDING if last else LEADING)
            if last:
                walk.evaluate()  # afresh, in the basis in which nothing is lost
        elif watch is not None and _wants_to_form(walk, watch):
            return "supersaturated", step
        made, used, gradient = walk.balance()
        if made.min() <= 0.0 or used.min() <= 0.0:
            walk.away[walk.free] = 1.0 * (made <= 0.0) - 1.0 * (used <= 0.0)
            return "unbounded", step
        if np.abs(walk.x).max() > _FAR:
            walk.away = np.where(np.abs(walk.x) > _FAR / 10, np.sign(walk.x), 0.0)
            return "unbounded", step
        direction = walk.log_direction(made, used, gradient)
        size = np.inf if direction is None else float(np.abs(direction).max())
        if direction is not None and size < _SMALL:
            walk.step(direction)
            if last and size < _DONE:
                return "solved", step + 1
            last = size < _NEARLY
            continue
        size = _far_step(walk, direction, gradient, size)
        if not size < np.inf:
            return "stuck", step
        if size == 0.0:
            return _when_refused(walk), step
        last = False
    return "stuck", _MAX_STEPS


def _far_step(walk: Walk, direction: np.ndarray | None, gradient: np.ndarray, size: float) -> float:
    """A step with line search, by the logarithmic direction or, where that fails, by Newton's own."""
    gone = walk.advance(direction, gradient) if direction is not None and size < np.inf else 0.0
    if gone < 0.02:
        _, _, gradient = walk.balance()
        newton = walk.newton_direction(gradient)
        if not np.isfinite(newton).all():
            return np.inf
        more = walk.advance(newton, gradient)
        return max(gone * size if gone else 0.0, more * float(np.abs(newton).max()))
    return gone * size


def _wants_to_form(walk: Walk, watch: list[int]) -> bool:
    table = walk.table
    ln_a = table.L[watch] @ walk.problem.ln_K + table.A[watch] @ walk.x
    return ln_a.max(initial=-np.inf) > 2.0


def _when_refused(walk: Walk) -> str:
    """No direction goes downhill any more: either the balance holds to rounding, or something is wrong."""
    made, used, gradient = walk.balance()
    return "solved" if (np.abs(gradient) <= 1e-12 * (made + used)).all() else "stuck"


# -- where a minimisation stands, and the ways of moving on --------------------


@dataclass(frozen=True)
class Problem:
    """One set of species that can be present.

    ``table``: a tableau over exactly these rows. ``ln_K``: per reaction. ``ln_w``: log of the amount that one
    unit of concentration stands for (0 for solutes, ln of the gas space per litre for gases, NOWHERE for pure
    phases). ``sharp``: 1 except where pure phases are smoothed. ``exact``: amounts put in, integers
    (``exact_amounts``). ``scale``: the largest amount put in.
    """

    table: Tableau
    ln_K: np.ndarray
    ln_w: np.ndarray
    sharp: np.ndarray | None
    exact: tuple
    scale: float


@dataclass(frozen=True)
class Point:
    """Where the iteration stands. ``fixed``: basis positions whose activity is given (phases, reservoirs).

    ``outcome``: "solved"; "supersaturated" (stopped early, a watched phase wants to form); "unbounded";
    "stuck".
    """

    table: Tableau
    x: np.ndarray
    fixed: tuple[int, ...]
    n: np.ndarray
    outcome: str
    steps: int
    away: np.ndarray  # when unbounded: the direction in x in which nothing holds it back


class _Frame:
    """Arrays that depend only on the basis and on what is held in it."""

    def __init__(
        self,
        table: Tableau,
        fixed: tuple[int, ...],
        rise: np.ndarray,
    ) -> None:
        size = len(table.basis)
        self.free = np.array([k for k in range(size) if k not in fixed], dtype=int)
        A = table.A[:, self.free]
        self.both = np.ascontiguousarray(np.vstack([np.maximum(A, 0.0).T, np.maximum(-A, 0.0).T]))
        self.rise = rise
        self.slope = np.ascontiguousarray(rise[:, self.free])
        self.owners = np.array(table.basis, dtype=int)
        self.block = np.where(table.support, 0.0, -np.inf)
        self.block[:, list(fixed)] = -np.inf
        self.block[self.owners] = -np.inf


def _frame_of(table: Tableau, fixed: tuple[int, ...], sharp: np.ndarray | None) -> _Frame:
    if sharp is not None:
        return _Frame(table, fixed, table.A * sharp[:, None])
    known = table.frames.get(fixed)
    if known is None:
        known = table.frames[fixed] = _Frame(table, fixed, table.A)
    return known


class Walk:
    """The moving parts of one minimisation; kept together because the basis changes under way."""

    def __init__(
        self,
        problem: Problem,
        table: Tableau,
        x: np.ndarray,
        fixed: tuple[int, ...],
    ) -> None:
        self.problem = problem
        self.fixed = fixed
        self.x = x
        self.ceiling = math.log(problem.scale)
        self.away = np.zeros(len(x))
        self.move_to(table)
        self.evaluate()

    def move_to(self, table: Tableau) -> None:
        """Adopt a basis; ``self.x`` already refers to it. The point, and so the amounts, stay."""
        problem = self.problem
        self.table = table
        self.frame = _frame_of(table, self.fixed, problem.sharp)
        self.base = table.L @ problem.ln_K
        if problem.sharp is not None:
            self.base *= problem.sharp
        self.base += problem.ln_w
        self.free = self.frame.free
        self.size = len(self.free)
        T = self.T = table.totals(problem.exact)[self.free]
        self.outside = np.maximum(np.concatenate([-T, T]), 0.0)

    def evaluate(self) -> None:
        self.e = self.base + self.frame.rise @ self.x
        self.n = np.exp(np.minimum(self.e, _LOG_MAX))

    def lead(self, tolerance: float) -> None:
        """Move to the basis of the most abundant species, by exchanges."""
        table, frame, problem = self.table, self.frame, self.problem
        column = self.e[:, None]
        for _ in range(200):
            excess = frame.block + column
            excess -= self.e[frame.owners]
            row, position = divmod(int(excess.argmax()), len(frame.owners))
            if not excess[row, position] > tolerance:
                break
            table = table.exchange(position, row)
            frame = _frame_of(table, self.fixed, problem.sharp)
        if table is self.table:
            return
        owners = frame.owners[frame.free]
        x = self.e[owners] - problem.ln_w[owners]
        self.x = self.x.copy()
        self.x[frame.free] = x if problem.sharp is None else x / problem.sharp[owners]
        self.move_to(table)

    def settle(self) -> None:
        """A start near the answer: every reaction taken to completion.

        In the basis of the most abundant species each of them holds nearly its whole total; that makes others
        the most abundant ones, and so on, until the basis stays.
        """
        for _ in range(_SETTLING):
            before = self.table
            self.lead(LEADING)
            if not self.size:
                return
            self._fill()
            self._repay()
            if self.table is before and _ > 0:
                return

    def _fill(self) -> None:
        """Each basis species given its whole total; where that is not positive, at most the ceiling."""
        owners = self.frame.owners[self.free]
        e = self.e[owners]
        wanted = np.where(self.T > 0.0, np.log(np.abs(self.T)), np.minimum(e, self.ceiling))
        change = wanted - e
        if self.problem.sharp is not None:
            change /= self.problem.sharp[owners]
        self.step(change)

    def _repay(self) -> None:
        """A negative total is made by the species that uses this one up: it takes its place in the basis."""
        k = int(self.T.argmin())
        if self.T[k] >= 0.0:
            return
        share = self.frame.slope[:, k]
        with np.errstate(all="ignore"):
            pace = np.where(share < 0.0, (self.e - np.log(self.T[k] / share)) / -share, -np.inf)
        row = int(pace.argmax())
        if pace[row] > NOWHERE / 2:
            position = int(self.free[k])
            self.x = self.x.copy()
            self.x[position] = self._x_of(row)
            self.move_to(self.table.exchange(position, row))
            self._fill()

    def _x_of(self, row: int) -> float:
        x = self.e[row] - self.problem.ln_w[row]
        return x if self.problem.sharp is None else x / self.problem.sharp[row]

    def balance(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """What is made and what is used of each free component, and their difference."""
        both = self.frame.both @ self.n + self.outside
        made, used = both[: self.size], both[self.size :]
        return made, used, made - used

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
