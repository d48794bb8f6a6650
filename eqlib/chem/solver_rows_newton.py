"""Newton's iteration for many mixtures side by side, and the sums it needs, free of the loss of digits.

As :mod:`eqlib.chem.solver_newton`, by the logarithmic direction alone; a row that this does not bring home is
left to the solver for single mixtures. Arrays have the rows last.
"""

import numpy as np

from eqlib.chem.solver_walk import NOWHERE

_STEPS, _PATIENCE = 16, 6
_LONGEST = 30.0  # in one step, powers of e
_DONE = 1e-6  # quadratic convergence: what is left after a step of 1e-6 is of the order of 1e-12
_BLOCK = 250_000  # multiplications in a matrix product: a larger one is shared out among threads, at a loss


def product(matrix, columns):
    """``matrix @ columns`` in pieces that the linear algebra library does not share out among threads."""
    width = max(64, _BLOCK // max(matrix.size, 1))
    if columns.shape[1] <= width:
        return matrix @ columns
    out = np.empty((len(matrix), columns.shape[1]))
    for start in range(0, columns.shape[1], width):
        np.matmul(matrix, columns[:, start : start + width], out=out[:, start : start + width])
    return out


def careful_totals(table, amounts):
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


def _product_error(factor, values, product):
    """What rounding took from ``factor * values``; exact while nothing under- or overflows."""
    big = 134217729.0 * values  # 2**27 + 1 splits a number into two halves
    upper = big - (big - values)
    lower = values - upper
    return (factor * upper - product) + factor * lower


class SideBySide:
    """Newton side by side, in one basis with the same positions held."""

    def __init__(self, rows, table, spot, members):
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

    def minimise(self, x):
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

    def _minimise_block(self, x, base, spare, good):
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

    def _direction(self, n, made_used, gap):
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
