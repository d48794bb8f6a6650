"""The equilibrium of one mixture of a network.

Species that cannot be present come out as exactly 0; everything else is found by minimising a convex function
(:mod:`eqlib.chem.solver.newton`), with the pure phases by complementarity.

At equilibrium a pure phase either is present and saturated, or is absent and undersaturated. The set of
phases present is found by exchange, one phase at a time: a phase whose amount would be negative leaves, the
most supersaturated one enters, and when the new one is made of those already there (Gibbs' phase rule allows
no more) the one first used up makes room. Should that come back to a set already tried, the phases are
smoothed, amount = scale * exp(ln(saturation) / mu), which leaves a convex function with no choice to make,
and mu is taken towards 0; the phases that remain are then the set to start from.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from eqlib.chem.solver.network import Network
from eqlib.chem.solver.newton import NOWHERE, Point, Problem, minimise
from eqlib.chem.solver.tableau import Tableau, exact_amounts
from eqlib.errors import EqlibError

LEAST_SCALE = 1e-9
_BALANCED = 1e-11
_SATURATED = 1e-10  # in ln(activity)
_ROUNDING = 2e-14
_ROUNDS = 80


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
    ln_K: np.ndarray
    n: np.ndarray
    c: np.ndarray
    ln_a: np.ndarray
    present: int
    rows: np.ndarray
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
    mask = 0
    for i in np.flatnonzero(amounts):
        mask |= 1 << int(i)
    for row in reservoirs:
        mask |= 1 << row
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
    answer = solve_problem(
        problem,
        [network.names[i] for i in rows],
        np.flatnonzero(network.pure[rows]),
        {at[row]: value for row, value in reservoirs.items()},
        put_in,
        _warm(start, present, rows, network) if not reservoirs else None,
    )
    _verify(problem, answer, {at[row] for row in reservoirs})
    return _spread(network, ln_K, present, rows, answer)


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


def _verify(problem: Problem, answer: Answer, reservoirs: set[int]) -> None:
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


def _spread(network: Network, ln_K: np.ndarray, present: int, rows: np.ndarray, answer: Answer) -> Solution:
    size = len(network.names)
    n, c, ln_a = np.zeros(size), np.zeros(size), np.full(size, -np.inf)
    n[rows], ln_a[rows] = answer.n, answer.ln_a
    with np.errstate(over="ignore"):
        c[rows] = np.exp(answer.ln_a)
    c[network.pure] = 0.0
    return Solution(network, ln_K, n, c, ln_a, present, rows, answer)


# -- which pure phases are there --------------------


@dataclass(frozen=True)
class Answer:
    """Row-wise result. ``ln_a``: log-activity of every row; ``n``: amounts per litre of every row.

    ``table``/``fixed``/``x``: the basis in which the last iteration ran, for derivatives and for warm starts.
    """

    ln_a: np.ndarray
    n: np.ndarray
    table: Tableau
    fixed: tuple[int, ...]
    x: np.ndarray
    steps: int


def solve_problem(
    problem: Problem,
    names: list[str],
    phases: np.ndarray,
    reservoirs: dict[int, float],
    amounts: np.ndarray,
    start: Answer | None = None,
) -> Answer:
    """Minimise with complementarity.

    ``phases``: rows that are pure phases. ``reservoirs``: row -> log-activity held. ``amounts``: put in,
    floats per row. ``start``: an Answer for the same species from which to begin. Raises NoSolution.
    """
    search = _Search(problem, names, phases, reservoirs, amounts)
    if start is not None:
        answer = search.run(start.table, start.x, [start.table.basis[k] for k in start.fixed], rough=False)
        if answer is not None:
            return answer
    table, x, held = search.beginning()
    answer = search.run(table, x, held)
    if answer is None:
        table, x, held = search.smoothed()
        answer = search.run(table, x, held)
    if answer is None:
        raise NoSolution(
            "no equilibrium was reached for this mixture; please check its constants and amounts"
        )
    return answer


class _Search:
    def __init__(
        self,
        problem: Problem,
        names: list[str],
        phases: np.ndarray,
        reservoirs: dict[int, float],
        amounts: np.ndarray,
    ) -> None:
        self.problem = problem
        self.names = names
        self.phases = np.array(sorted(phases), dtype=int)
        self.is_phase = np.zeros(len(names), dtype=bool)
        self.is_phase[self.phases] = True
        self.bearing = problem.ln_w > NOWHERE  # rows that are solutes, or gases with room
        self.reservoirs = reservoirs
        self.amounts = amounts
        self.steps = 0

    # -- where to begin --------------------

    def hold(self, table: Tableau, row: int, held: list[int]) -> Tableau | None:
        """``row`` brought into the basis next to those held, or None when it is made of them."""
        if row in table.basis:
            return table
        taken = set(held)
        places = [k for k, owner in enumerate(table.basis) if owner not in taken and table.num[row, k]]
        if not places:
            return None
        return table.exchange(min(places, key=lambda k: self.amounts[table.basis[k]]), row)

    def beginning(
        self,
    ) -> (
        tuple[Tableau, np.ndarray, list[int]]
        | tuple[Tableau, np.ndarray, list[int]]
        | tuple[Tableau, np.ndarray, list[Any]]
    ):
        """Reservoirs and the phases put in are held; the most abundant solutes complete the basis."""
        table = self.problem.table
        held: list[int] = []
        for row in self.reservoirs:
            table, held = self._hold_reservoir(table, row, held)
        for row in sorted(self.phases, key=lambda i: -self.amounts[i]):
            if self.amounts[row] > 0.0 and (moved := self.hold(table, row, held)) is not None:
                table = moved
                held.append(row)
        settled = list(held)
        for row in np.argsort(-self.amounts, kind="stable"):
            if self.amounts[row] > 0.0 and self.bearing[row]:
                moved = self.hold(table, row, settled)
                if moved is not None:
                    table = moved
                    settled.append(int(row))
        table, held = self._cover(table, held)
        return table, self._guess(table, held), held

    def _hold_reservoir(self, table: Tableau, row: int, held: list[Any]) -> tuple[Tableau, list[int]]:
        moved = self.hold(table, row, held)
        if moved is None:
            others = " and ".join(self.names[i] for i in self.reservoirs if i != row)
            raise NoSolution(
                f"{self.names[row]} cannot be held fixed as well as {others}; fix one of them only"
            )
        return moved, [*held, row]

    def _cover(self, table: Tableau, held: list[int]) -> tuple[Tableau, list[int]]:
        """A component that only pure phases contain needs one of them from the start."""
        for k, owner in enumerate(table.basis):
            if self.bearing[owner] or owner in held:
                continue
            solutes = np.flatnonzero(table.support[:, k] & self.bearing)
            if len(solutes):
                table = table.exchange(k, int(solutes[0]))
            elif self.is_phase[owner]:
                held = [*held, owner]
            else:
                raise NoSolution(
                    f"{self.names[owner]} has no room: nothing dissolves it and there is no gas space; "
                    "give the mixture a headspace"
                )
        return table, held

    def _guess(self, table: Tableau, held: list[int]) -> np.ndarray:
        floor = 1e-10 * self.problem.scale
        x = np.zeros(len(table.basis))
        for k, owner in enumerate(table.basis):
            if owner in self.reservoirs:
                x[k] = self.reservoirs[owner]
            elif owner not in held:
                x[k] = np.log(max(self.amounts[owner], floor)) - self.problem.ln_w[owner]
        return x

    # -- exchange of phases --------------------

    def run(self, table: Tableau, x: np.ndarray, held: list[int], rough: bool = True) -> Answer | None:
        """Exchange phases until every condition holds. None when a set comes back or nothing holds it."""
        seen, early = set(), True
        for _ in range(_ROUNDS):
            fixed = tuple(k for k, owner in enumerate(table.basis) if owner in held)
            watch = [i for i in self.phases if i not in held] if early else []
            point = minimise(self.problem, table, x, fixed, watch or None, rough)
            rough = rough and point.steps == 0
            if point.outcome == "solved":
                if frozenset(held) in seen:
                    return None
                seen.add(frozenset(held))
            self.steps += point.steps
            if point.outcome == "stuck":
                return None
            table, x = point.table, point.x
            ln_a = table.L @ self.problem.ln_K + table.A @ x
            leaving, amounts = self._leaving(point, held)
            if point.outcome == "solved" and leaving is not None:
                held, early = [row for row in held if row != leaving], False
                continue
            if point.outcome == "unbounded":
                entering = self._blocking(table, ln_a, held, point.away)
            else:
                entering = self._entering(ln_a, held)
            if entering is None:
                if point.outcome != "solved":
                    return None
                return self._answer(point, ln_a, amounts)
            table, x, held = self._enter(table, x, held, entering, amounts)
        return None

    def _phase_amounts(
        self, point: Point, held: list[int | Any | int]
    ) -> (
        tuple[dict[int, float], dict[int, float]]
        | tuple[dict[int, float], dict[int, float]]
        | tuple[dict[int | int, float], dict[int | int, float]]
        | tuple[dict[Any, Any], dict[Any, Any]]
    ):
        """Amount of each phase held, per litre, and the rounding to expect in it."""
        table = point.table
        totals = table.totals(self.problem.exact)
        amounts, doubt = {}, {}
        for k in point.fixed:
            owner = table.basis[k]
            if owner in self.reservoirs:
                continue
            terms = table.A[:, k] * point.n
            amounts[owner] = totals[k] - terms.sum()
            doubt[owner] = _ROUNDING * (abs(totals[k]) + np.abs(terms).sum())
        return amounts, doubt

    def _leaving(self, point: Point, held: list[int]) -> Any:
        amounts, doubt = self._phase_amounts(point, held)
        short = {row: value for row, value in amounts.items() if value < -doubt[row]}
        return (min(short, key=lambda row: short[row]) if short else None), amounts

    def _entering(self, ln_a: np.ndarray, held: list[int]) -> int | None:
        outside = [int(i) for i in self.phases if i not in held and i not in self.reservoirs]
        if not outside:
            return None
        best = max(outside, key=lambda i: ln_a[i])
        return best if ln_a[best] > _SATURATED else None

    def _blocking(self, table: Tableau, ln_a: np.ndarray, held: list[int], away: np.ndarray) -> int | None:
        """The first phase to become saturated on a way that nothing else bounds."""
        pace = table.A @ away
        outside = [
            int(i) for i in self.phases if i not in held and i not in self.reservoirs and pace[i] > 0.0
        ]
        return min(outside, key=lambda i: -ln_a[i] / pace[i], default=None)

    def _enter(
        self,
        table: Tableau,
        x: np.ndarray,
        held: list[int],
        row: int,
        amounts: dict[int, float],
    ) -> tuple[Tableau, np.ndarray, list[int]]:
        moved = self._hold_by_abundance(table, x, row, held)
        if moved is not None:
            position = moved.basis.index(row)
            x = x.copy()
            x[position] = 0.0
            return moved, x, [*held, row]
        used = {
            owner: amounts.get(owner, 0.0) / table.A[row, k]
            for k, owner in enumerate(table.basis)
            if owner in held and owner not in self.reservoirs and table.A[row, k] > 0.0
        }
        if not used:
            raise NoSolution(
                f"{self.names[row]} would form without end, since what it is made of is held fixed; "
                "hold less fixed, or give an amount"
            )
        gone = min(used, key=lambda row: used[row])
        return table.exchange(table.basis.index(gone), row), x, [*(i for i in held if i != gone), row]

    def _hold_by_abundance(self, table: Tableau, x: np.ndarray, row: int, held: list[int]) -> Tableau | None:
        """Like ``hold``, but the phase takes the place of the component it leaves scarcest."""
        places = [k for k, owner in enumerate(table.basis) if owner not in held and table.num[row, k]]
        if not places:
            return None
        return table.exchange(min(places, key=lambda k: x[k] + self.problem.ln_w[table.basis[k]]), row)

    def _answer(self, point: Point, ln_a: np.ndarray, amounts: dict[int, float]) -> Answer:
        n = point.n.copy()
        n[self.is_phase] = 0.0
        for row, value in amounts.items():
            n[row] = max(value, 0.0)
        return Answer(ln_a, n, point.table, point.fixed, point.x, self.steps)

    # -- the smooth way --------------------

    def smoothed(self) -> tuple[Tableau, np.ndarray, list[int]]:
        """Basis, start and phases held, from the limit of smoothed phases."""
        base = self.problem
        table = base.table
        held: list[int] = []
        for row in self.reservoirs:
            table, held = self._hold_reservoir(table, row, held)
        fixed = tuple(table.basis.index(row) for row in held)
        x = self._guess(table, held)
        ln_w = np.where(self.is_phase, np.log(base.scale), base.ln_w)
        last = 1.0
        for mu in (1.0, 0.4, 0.15, 0.05, 0.02, 0.006, 0.002):
            owners = list(table.basis)
            x = np.where(self.is_phase[owners], x * (mu / last), x)
            x[list(fixed)] = [self.reservoirs[owners[k]] for k in fixed]
            sharp = np.where(self.is_phase, 1.0 / mu, 1.0)
            sharp[list(self.reservoirs)] = 1.0
            point = minimise(replace(base, sharp=sharp, ln_w=ln_w), table, x, fixed, rough=mu == 1.0)
            self.steps += point.steps
            table, x, last = point.table, point.x, mu
        enough = 1e-9 * base.scale
        kept = [
            i for i in table.basis if self.is_phase[i] and i not in self.reservoirs and point.n[i] > enough
        ]
        x = np.where(self.is_phase[list(table.basis)], 0.0, x)
        x[list(fixed)] = [self.reservoirs[table.basis[k]] for k in fixed]
        held = [*self.reservoirs, *kept]
        table, more = self._cover(table, held)
        return table, self._guess(table, more) if table is not point.table else x, more
