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

import numpy as np

from eqlib.chem.solver_walk import ENDING, LEADING, Point, Walk

_MAX_STEPS = 300
_SMALL = 0.5  # steps below this are taken without a line search
_NEARLY, _DONE = 1e-3, 1e-7  # converging quadratically, the step after one of 1e-7 would be of 1e-14
_FAR = 1500.0  # a log-activity beyond this means that nothing holds the iteration back


def minimise(problem, table, x, fixed, watch=None, rough=False):
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


def _iterate(walk, watch, rough):
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
        if size < _SMALL:
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


def _far_step(walk, direction, gradient, size):
    """A step with line search, by the logarithmic direction or, where that fails, by Newton's own."""
    gone = walk.advance(direction, gradient) if size < np.inf else 0.0
    if gone < 0.02:
        _, _, gradient = walk.balance()
        newton = walk.newton_direction(gradient)
        if not np.isfinite(newton).all():
            return np.inf
        more = walk.advance(newton, gradient)
        return max(gone * size if gone else 0.0, more * float(np.abs(newton).max()))
    return gone * size


def _wants_to_form(walk, watch):
    table = walk.table
    ln_a = table.L[watch] @ walk.problem.ln_K + table.A[watch] @ walk.x
    return ln_a.max(initial=-np.inf) > 2.0


def _when_refused(walk):
    """No direction goes downhill any more: either the balance holds to rounding, or something is wrong."""
    made, used, gradient = walk.balance()
    return "solved" if (np.abs(gradient) <= 1e-12 * (made + used)).all() else "stuck"
