"""From amounts and constants to the equilibrium state of a network of reactions.

Species that cannot be present come out as exactly 0; everything else is found by minimising a convex function
(:mod:`eqlib.chem.solver_newton`) with the pure phases by complementarity (:mod:`eqlib.chem.solver_phases`).
"""

from dataclasses import dataclass

import numpy as np

from eqlib.chem import solver_phases
from eqlib.chem.network import Network
from eqlib.chem.solver_phases import NoSolution
from eqlib.chem.solver_tableau import exact_amounts
from eqlib.chem.solver_walk import NOWHERE, Problem

__all__ = ["NoSolution", "Solution", "solve_network"]

LEAST_SCALE = 1e-9
_BALANCED = 1e-11


@dataclass(frozen=True, eq=False)
class Solution:
    """Equilibrium of a network, per litre of mixture.

    ``n``: mol per litre of every species of the network; ``c``: concentration (mol/L, or mol per litre of gas
    space) of solutes and gases, 0 for pure phases; ``ln_a``: log-activity, -inf where a species cannot be
    present. ``present``: bit mask; ``answer``: the solver's own result over the present rows.
    """

    network: Network
    ln_K: np.ndarray
    n: np.ndarray
    c: np.ndarray
    ln_a: np.ndarray
    present: int
    rows: np.ndarray
    answer: object


def solve_network(network, ln_K, amounts, gas_space=1.0, reservoirs=None, start=None):
    """Equilibrate.

    ``ln_K``: per reaction, in mol/L. ``amounts``: mol per litre of mixture, per species of the network, as
    put in. ``gas_space``: litres of gas per litre of mixture. ``reservoirs``: {row: ln activity} held
    whatever it takes. ``start``: a Solution of a similar mixture, for speed only. Raises NoSolution.
    """
    reservoirs = reservoirs or {}
    mask = 0
    for i in np.flatnonzero(amounts):
        mask |= 1 << int(i)
    for i in reservoirs:
        mask |= 1 << i
    roomless = 0
    if gas_space == 0.0:
        for i in np.flatnonzero(network.gas):
            roomless |= 1 << int(i)
    present = network.can_be_present(mask, roomless)
    rows, table = network.face(present)
    size = len(network.names)
    if not len(rows):
        return Solution(network, ln_K, np.zeros(size), np.zeros(size), np.full(size, -np.inf), 0, rows, None)
    ln_w = weights(network, rows, gas_space)
    put_in = amounts[rows]
    problem = Problem(
        table=table,
        ln_K=ln_K * network.scale,
        ln_w=ln_w,
        sharp=None,
        exact=exact_amounts(put_in),
        scale=max(float(put_in.max()), LEAST_SCALE),
    )
    at = {int(row): k for k, row in enumerate(rows)}
    answer = solver_phases.solve(
        problem,
        [network.names[i] for i in rows],
        np.flatnonzero(network.pure[rows]),
        {at[row]: value for row, value in reservoirs.items()},
        put_in,
        _warm(start, present, rows, network) if not reservoirs else None,
    )
    _verify(problem, answer, {at[row] for row in reservoirs})
    return _spread(network, ln_K, present, rows, answer)


def weights(network, rows, gas_space):
    """ln of the amount per litre of mixture that one unit of concentration stands for, per row."""
    ln_w = np.zeros(len(rows))
    ln_w[network.gas[rows]] = np.log(gas_space) if gas_space > 0.0 else NOWHERE
    ln_w[network.pure[rows]] = NOWHERE
    return ln_w


def _warm(start, present, rows, network):
    """The earlier answer, where it may serve: the same species, none of them held at a value of its own."""
    if start is None or start.network is not network or start.present != present or start.answer is None:
        return None
    held = [start.answer.table.basis[k] for k in start.answer.fixed]
    return start.answer if network.pure[rows[held]].all() else None


def _verify(problem, answer, reservoirs):
    """The balances are checked on what is returned, not on what the iteration believed."""
    table = answer.table
    totals = table.totals(problem.exact)
    terms = table.A * answer.n[:, None]
    gap = np.abs(terms.sum(axis=0) - totals)
    size = np.abs(terms).sum(axis=0) + np.abs(totals)
    gap[[k for k in answer.fixed if table.basis[k] in reservoirs]] = 0.0
    if not (gap <= _BALANCED * size).all():
        raise NoSolution(
            "no equilibrium was reached that keeps the amounts put in; please check constants and amounts"
        )


def _spread(network, ln_K, present, rows, answer):
    size = len(network.names)
    n, c, ln_a = np.zeros(size), np.zeros(size), np.full(size, -np.inf)
    n[rows], ln_a[rows] = answer.n, answer.ln_a
    with np.errstate(over="ignore"):
        c[rows] = np.exp(answer.ln_a)
    c[network.pure] = 0.0
    return Solution(network, ln_K, n, c, ln_a, present, rows, answer)
