"""Guarded Newton iteration for one choice of phases.

The function minimised is convex in the log-activities x of the basis:

    f(x) = sum_i n_i(x) - T . x,      n_i = w_i exp(ln beta_i + A_i . x)

Its gradient is the mass balance. Two things keep the iteration quick and exact whatever the constants:

* the direction comes from the balance in logarithms, ln(what is made / what is used), which is nearly straight even
  hundreds of powers of ten away from the answer; where that does not go downhill, Newton's own direction does;
* the basis is moved to the most abundant species as they become known. In such a basis every term of a mass balance
  is no larger than its leading term, so nothing is lost by cancellation and scarce species come out as exactly as
  abundant ones.
"""

from dataclasses import dataclass

import numpy as np

from eqlib.chem.solver_tableau import Tableau

NOWHERE = -1e9  # ln(amount) of what takes no room in the balance: pure phases, and gases without gas space
_MAX_STEPS = 300
_LOG_MAX = 690.0
_FAR = 1500.0  # a log-activity beyond this means that nothing holds the iteration back


@dataclass(frozen=True)
class Problem:
    """One set of species that can be present.

    ``table``: a tableau over exactly these rows. ``ln_K``: per reaction. ``ln_w``: log of the amount that one unit of
    concentration stands for (0 for solutes, ln of the gas space per litre for gases, NOWHERE for pure phases).
    ``sharp``: 1 except where pure phases are smoothed. ``exact``: amounts put in, integers (``exact_amounts``).
    ``scale``: the largest amount put in.
    """

    table: Tableau
    ln_K: np.ndarray
    ln_w: np.ndarray
    sharp: np.ndarray
    exact: list
    scale: float


@dataclass(frozen=True)
class Point:
    """Where the iteration stands. ``fixed``: basis positions whose activity is given (phases, reservoirs)."""

    table: Tableau
    x: np.ndarray
    fixed: tuple[int, ...]
    n: np.ndarray
    outcome: str  # "solved", "unbounded" or "stuck"
    steps: int


class _Walk:
    """The moving parts of one minimisation; kept together because the basis changes under way."""

    def __init__(self, problem, table, x, fixed):
        self.problem = problem
        self.fixed = fixed
        self.x = x
        self.move_to(table)

    def move_to(self, table):
        """Adopt a basis; ``self.x`` already refers to it."""
        problem = self.problem
        self.table = table
        self.A = A = table.A
        self.base = problem.sharp * (table.L @ problem.ln_K) + problem.ln_w
        self.rise = A if problem.sharp.max(initial=1.0) == 1.0 else A * problem.sharp[:, None]
        size = len(table.basis)
        self.free = np.array([k for k in range(size) if k not in self.fixed], dtype=int)
        self.every = not self.fixed
        self.gain = np.maximum(A, 0.0).T[self.free]
        self.loss = np.maximum(-A, 0.0).T[self.free]
        self.slope_of = self.rise if self.every else self.rise[:, self.free]
        self.T = table.totals(problem.exact)[self.free]
        self.evaluate()

    def evaluate(self):
        self.e = self.base + self.rise @ self.x
        self.n = np.exp(np.minimum(self.e, _LOG_MAX))

    def lead(self, tolerance):
        """Move to the basis of the most abundant species, one exchange at a time."""
        for _ in range(200):
            e, table = self.e, self.table
            owners = np.array(table.basis)
            excess = np.where(table.support, e[:, None] - e[owners][None, :], -np.inf)
            if self.fixed:
                excess[:, list(self.fixed)] = -np.inf
            excess[owners] = -np.inf
            row, position = divmod(int(excess.argmax()), len(owners))
            if not excess[row, position] > tolerance:
                return
            x_row = (e[row] - self.problem.ln_w[row]) / self.problem.sharp[row]
            moved = table.exchange(position, row)
            self.x = self.x.copy()
            self.x[position] = x_row
            self.move_to(moved)

    def balance(self):
        """What is made and what is used of each free component, and their difference."""
        made, used, T = self.gain @ self.n, self.loss @ self.n, self.T
        return made + np.maximum(-T, 0.0), used + np.maximum(T, 0.0), made - used - T

    def log_direction(self, made, used, gradient):
        weighted = self.slope_of * self.n[:, None]
        jacobian = (self.gain @ weighted) / made[:, None] - (self.loss @ weighted) / used[:, None]
        ratio = gradient / used
        target = np.where(np.abs(ratio) < 0.1, np.log1p(np.maximum(ratio, -0.5)), np.log(made) - np.log(used))
        try:
            return -np.linalg.solve(jacobian, target)
        except np.linalg.LinAlgError:
            return None

    def newton_direction(self, gradient):
        weighted = self.slope_of * self.n[:, None]
        hessian = (self.gain - self.loss) @ weighted
        width = np.sqrt(np.maximum(hessian.diagonal(), 1e-300))
        scaled = hessian / width[:, None] / width
        scaled[np.diag_indices_from(scaled)] += 1e-14
        return -np.linalg.solve(scaled, gradient / width) / width

    def advance(self, direction, gradient):
        """Go along ``direction`` as far as the function keeps falling. Returns the fraction gone (0: refused)."""
        slope = float(gradient @ direction)
        if not slope < 0.0:
            return 0.0
        full = direction
        if not self.every:
            full = np.zeros(len(self.x))
            full[self.free] = direction
        change = self.rise @ full
        start_x, start_e = self.x, self.e
        ceiling = np.maximum(start_e, np.log(self.problem.scale)) + 2.0
        over = start_e + change > ceiling
        part = float(np.min((ceiling - start_e)[over] / change[over])) if over.any() else 1.0
        for _ in range(60):
            self.x = start_x + part * full
            self.e = start_e + part * change
            self.n = np.exp(np.minimum(self.e, _LOG_MAX))
            there = float(self.balance()[2] @ direction)
            if there <= -0.5 * slope or (part == 1.0 and np.abs(full).max() < 1e-9):
                self.evaluate()
                return part
            part *= min(0.5, max(0.05, slope / (slope - there)))
        self.x = start_x
        self.evaluate()
        return 0.0


def minimise(problem, table, x, fixed):
    """Minimise from ``x`` with the activities at the basis positions ``fixed`` held. Returns a Point."""
    with np.errstate(all="ignore"):
        walk = _Walk(problem, table, np.array(x, dtype=float), tuple(fixed))
        outcome, steps = _iterate(walk)
    return Point(walk.table, walk.x, walk.fixed, walk.n, outcome, steps)


def _iterate(walk):
    if not len(walk.free):
        return "solved", 0
    last = False
    for step in range(_MAX_STEPS):
        walk.lead(0.7 if last else 3.0)
        made, used, gradient = walk.balance()
        if (made <= 0.0).any() or (used <= 0.0).any() or np.abs(walk.x).max() > _FAR:
            return "unbounded", step
        direction = walk.log_direction(made, used, gradient)
        gone = 0.0
        if direction is not None and np.isfinite(direction).all():
            if last:
                walk.x = walk.x.copy()
                walk.x[walk.free] += direction
                walk.evaluate()
                if np.abs(direction).max() < 1e-9:
                    return "solved", step
                last = False
                continue
            gone = walk.advance(direction, gradient)
        if gone < 0.02:
            direction = walk.newton_direction(gradient)
            gone = max(gone, walk.advance(direction, gradient))
        size = float(np.abs(direction).max()) * gone
        if not np.isfinite(size):
            return "unbounded", step
        if gone == 0.0:
            return _when_refused(walk), step
        last = size < 1e-6 and gone == 1.0
    return "stuck", _MAX_STEPS


def _when_refused(walk):
    """No direction goes downhill any more: either the balance holds to rounding, or something is wrong."""
    made, used, gradient = walk.balance()
    return "solved" if (np.abs(gradient) <= 1e-12 * (made + used)).all() else "stuck"
