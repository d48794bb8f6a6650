"""Where a minimisation stands: the basis in use, the amounts in it, and the ways of moving on.

The iteration that uses it is in :mod:`eqlib.chem.solver_newton`.
"""

import math
from dataclasses import dataclass

import numpy as np

from eqlib.chem.solver_tableau import Tableau

NOWHERE = -1e9  # ln(amount) of what takes no room in the balance: pure phases, and gases without gas space
_LOG_MAX = 690.0
_LONGEST = 60.0  # in one step, powers of e
_SETTLING = 8
LEADING, ENDING = 3.0, 0.7  # how much more abundant, in powers of e, a species is before it takes over


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

    def __init__(self, table, fixed, rise):
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


def _frame_of(table, fixed, sharp):
    if sharp is not None:
        return _Frame(table, fixed, table.A * sharp[:, None])
    known = table.frames.get(fixed)
    if known is None:
        known = table.frames[fixed] = _Frame(table, fixed, table.A)
    return known


class Walk:
    """The moving parts of one minimisation; kept together because the basis changes under way."""

    def __init__(self, problem, table, x, fixed):
        self.problem = problem
        self.fixed = fixed
        self.x = x
        self.ceiling = math.log(problem.scale)
        self.away = np.zeros(len(x))
        self.move_to(table)
        self.evaluate()

    def move_to(self, table):
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

    def evaluate(self):
        self.e = self.base + self.frame.rise @ self.x
        self.n = np.exp(np.minimum(self.e, _LOG_MAX))

    def lead(self, tolerance):
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

    def settle(self):
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

    def _fill(self):
        """Each basis species given its whole total; where that is not positive, at most the ceiling."""
        owners = self.frame.owners[self.free]
        e = self.e[owners]
        wanted = np.where(self.T > 0.0, np.log(np.abs(self.T)), np.minimum(e, self.ceiling))
        change = wanted - e
        if self.problem.sharp is not None:
            change /= self.problem.sharp[owners]
        self.step(change)

    def _repay(self):
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

    def _x_of(self, row):
        x = self.e[row] - self.problem.ln_w[row]
        return x if self.problem.sharp is None else x / self.problem.sharp[row]

    def balance(self):
        """What is made and what is used of each free component, and their difference."""
        both = self.frame.both @ self.n + self.outside
        made, used = both[: self.size], both[self.size :]
        return made, used, made - used

    def curvature(self):
        return (self.frame.both * self.n) @ self.frame.slope

    def log_direction(self, made, used, gradient):
        jacobian = self.curvature() / np.concatenate([made, used])[:, None]
        jacobian = jacobian[: self.size] - jacobian[self.size :]
        ratio = gradient / used
        close = ratio.min() > -0.5 and ratio.max() < 0.5
        target = np.log1p(ratio) if close else np.log(made) - np.log(used)
        try:
            return -np.linalg.solve(jacobian, target)
        except np.linalg.LinAlgError:
            return None

    def newton_direction(self, gradient):
        parts = self.curvature()
        hessian = parts[: self.size] - parts[self.size :]
        width = np.sqrt(np.maximum(hessian.diagonal(), 1e-300))
        scaled = hessian / width[:, None] / width
        scaled[np.diag_indices_from(scaled)] += 1e-14
        return -np.linalg.solve(scaled, gradient / width) / width

    def step(self, direction):
        self.x = self.x.copy()
        self.x[self.free] += direction
        self.evaluate()

    def advance(self, direction, gradient):
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
