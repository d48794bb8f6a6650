"""The solver's iteration for many mixtures of one network at once.

Rows that hold the same solids go together. One of them is solved by itself; its basis and its answer start
the others, and all are iterated side by side. A row whose solids turn out wrong joins the rows that hold what
it needs; a row whose scarce species would lose digits in this basis is taken to a better one. What has not
converged after that is left to the solver for single mixtures, so every row is either right or raises.

Arrays are laid out with the rows last, shape (species or basis, rows): NumPy then works along memory.
"""

from dataclasses import dataclass

import numpy as np

from eqlib.chem.solver_rows_newton import SideBySide, product

_SATURATED = 1e-10
_ROUNDING = 1e-13
_DOMINATED = 10.0  # powers of e by which a species may outnumber one that its basis puts first
_TURNS = 12
_EXCHANGES = 6
_FEW = 4  # rows for which starting a batch is not worth while
_STARTS, _PER_START = 16, 100


@dataclass
class Rows:
    """Mixtures of one network in which the same species can be present.

    ``amounts``: put in, shape (species, rows). ``ln_K``: shape (reactions, rows), or (reactions, 1) for all
    alike. ``ln_w``: shape (species,). ``pure``: booleans, which species are pure phases. Results: ``ln_a``
    and ``n``, shape (species, rows); ``waiting``: booleans, rows still to be solved.
    """

    amounts: np.ndarray
    ln_K: np.ndarray
    ln_w: np.ndarray
    pure: np.ndarray
    ln_a: np.ndarray = None
    n: np.ndarray = None
    waiting: np.ndarray = None

    def __post_init__(self):
        self.ln_a = np.full(self.amounts.shape, np.nan)
        self.n = np.zeros(self.amounts.shape)
        self.waiting = np.ones(self.amounts.shape[1], dtype=bool)

    @property
    def open(self):
        return np.flatnonzero(self.waiting)

    def constants(self, rows):
        return self.ln_K if self.ln_K.shape[1] == 1 else self.ln_K[:, rows]


def solve_rows(rows, solve_one):
    """Solve every row.

    ``solve_one(row, start)`` gives the Answer of the single solver, from a similar one or None; it is used
    for starts and for strays.
    """
    with np.errstate(all="ignore"):
        for _ in range(_TURNS):
            if np.count_nonzero(rows.waiting) <= _FEW:
                break
            _work_off(rows, _starts(rows, solve_one))
        for row in rows.open:
            _store(rows, row, solve_one(row, None))


def _store(rows, row, answer):
    rows.ln_a[:, row] = answer.ln_a
    rows.n[:, row] = answer.n
    rows.waiting[row] = False


def _starts(rows, solve_one):
    """Solve some rows by themselves; every other row starts from the one most like it.

    Returns the work: {(rows held, basis): (table, members, x)}.
    """
    still = rows.open
    number = min(_STARTS, 1 + len(still) // _PER_START)
    chosen = still[np.unique(np.linspace(0, len(still) - 1, number + 2)[1:-1].astype(int))]
    answers = []
    for row in chosen:
        answers.append(solve_one(row, answers[-1] if answers else None))
        _store(rows, row, answers[-1])
    still = rows.open
    nearest = _nearest(rows, still, chosen)
    work = {}
    for number, answer in enumerate(answers):
        members = still[nearest == number]
        if not len(members):
            continue
        table = answer.table
        held = tuple(sorted(table.basis[k] for k in answer.fixed))
        x = answer.x[:, None] + _scaling(rows, table, chosen[number], members)
        _merge(work, held, (table, members, x))
    return work


def _nearest(rows, still, chosen):
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


def _scaling(rows, table, row, members):
    """Basis species follow their totals from the solved row to the others."""
    T = product(table.A.T, rows.amounts[:, members])
    ratio = T / (table.A.T @ rows.amounts[:, [row]])
    return np.where((ratio > 0.0) & np.isfinite(ratio), np.log(np.abs(ratio)), 0.0)


def _work_off(rows, work):
    """Iterate the rows, letting them change solids; those that fail stay open."""
    for _ in range(_EXCHANGES):
        again = {}
        for (held, _basis), (table, members, x) in work.items():
            _advance(rows, held, table, members, x, again)
        if not again:
            return
        work = again


def _merge(groups, held, group):
    table, members, x = group
    key = held, table.basis
    if key in groups:
        _, others, y = groups[key]
        members, x = np.concatenate([others, members]), np.concatenate([y, x], axis=1)
    groups[key] = table, members, x


def _advance(rows, held, table, members, x, moved):
    """One minimisation of ``members``.

    Finished rows are stored; ``moved`` takes those that need other solids.
    """
    spot = [k for k, owner in enumerate(table.basis) if owner in held]
    x[spot] = 0.0
    batch = SideBySide(rows, table, spot, members)
    good = batch.minimise(x)
    members, x = batch.members[good], batch.x[:, good]
    if not len(members):
        return
    ln_a = product(table.L, rows.constants(members)) + product(table.A, x)
    n = np.exp(np.minimum(ln_a + rows.ln_w[:, None], 690.0))
    fine = np.ones(len(members), dtype=bool)
    if rows.pure.any():
        _solid_amounts(rows, table, spot, batch.T[:, good], n)
        fine = _sort_out(rows, held, table, members, x, ln_a, n, moved)
    fine &= _dominated(table, spot, ln_a + rows.ln_w[:, None])
    members = members[fine]
    rows.ln_a[:, members] = ln_a[:, fine]
    rows.n[:, members] = np.maximum(n[:, fine], 0.0)
    rows.waiting[members] = False


def _solid_amounts(rows, table, spot, T, n):
    n[rows.pure] = 0.0
    for k in spot:
        terms = table.A[:, [k]] * n
        terms[rows.pure] = 0.0
        value = T[k] - terms.sum(axis=0)
        doubt = _ROUNDING * (np.abs(T[k]) + np.abs(terms).sum(axis=0))
        n[table.basis[k]] = np.where(np.abs(value) <= doubt, 0.0, value)


def _sort_out(rows, held, table, members, x, ln_a, n, moved):
    """Which rows hold the right solids; the others are grouped by the exchange they need."""
    pure = np.flatnonzero(rows.pure)
    kept = [i for i in pure if i in held]
    outside = [i for i in pure if i not in held]
    fine = np.ones(len(members), dtype=bool)
    if kept:
        least = n[kept].min(axis=0)
        which = n[kept].argmin(axis=0)
        for number, row in enumerate(kept):
            leave = (least < 0.0) & (which == number)
            if leave.any():
                fine &= ~leave
                key = tuple(i for i in held if i != row)
                _merge(moved, key, (table, members[leave], x[:, leave]))
    if outside:
        most = ln_a[outside].max(axis=0)
        which = ln_a[outside].argmax(axis=0)
        for number, row in enumerate(outside):
            enter = fine & (most > _SATURATED) & (which == number)
            if enter.any():
                fine &= ~enter
                _enter(rows, held, table, members[enter], x[:, enter], ln_a[:, enter], row, moved)
    return fine


def _enter(rows, held, table, members, x, ln_a, row, moved):
    """``row`` takes the place of the basis species it leaves scarcest in most of these mixtures."""
    places = [k for k, owner in enumerate(table.basis) if owner not in held and table.num[row, k]]
    if not places:
        return  # made of solids already held: left to the single solver
    level = np.median(x[places], axis=1)
    position = places[int(level.argmin())]
    x = x.copy()
    x[position] = 0.0
    key = tuple(sorted((*held, row)))
    _merge(moved, key, (table.exchange(position, row), members, x))


def _dominated(table, spot, e):
    """Rows in which no species outnumbers by much the basis species that it contains."""
    worst = np.full(e.shape[1], -np.inf)
    for k, owner in enumerate(table.basis):
        if k in spot:
            continue
        others = np.flatnonzero(table.support[:, k])
        worst = np.maximum(worst, e[others].max(axis=0) - e[owner])
    return worst <= _DOMINATED
