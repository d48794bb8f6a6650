"""How an equilibrium composition responds to each constant and to each amount put in.

The balances and saturations that hold at the answer are differentiated there (implicit differentiation), with
the solids that are present staying present; nothing is solved again. All derivatives with respect to the
constants are taken with K on the reaction's own basis.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from eqlib.chem.errors import EqlibError
from eqlib.chem.mixture import Mixture
from eqlib.chem.reactions import Reaction
from eqlib.chem.species import species
from eqlib.chem.state import State, protonated


@dataclass(frozen=True)
class Sensitivity:
    """Derivatives of an equilibrium state.

    ``to_K``: {quantity: {reaction as text: d ln c / d ln K}}; ``to_total``: {quantity: {species put in: d c /
    d total}}, both per mol/L (of a gas, per mol per litre of gas space; of a solid, mol per litre of
    mixture). A quantity is a species, or "pH", for which ``to_K`` is d pH / d ln K. Species that are not
    present are left out.
    """

    state: State
    to_K: Mapping[str, Mapping[str, float]]
    to_total: Mapping[str, Mapping[str, float]]

    def of_K(self, quantity, reaction):
        """d ln c / d ln K of one reaction (or d pH / d ln K)."""
        return _pick(self.to_K, quantity, str(reaction) if isinstance(reaction, Reaction) else reaction)

    def of_total(self, quantity, name):
        """d c / d total of one species put in (or d pH / d total)."""
        return _pick(self.to_total, quantity, protonated(name))


def _pick(table, quantity, key):
    quantity = quantity if quantity == "pH" else protonated(quantity)
    for level, name in ((table, quantity), (table.get(quantity, {}), key)):
        if name not in level:
            raise EqlibError(f"no sensitivity is known for {name}; there are {', '.join(level) or 'none'}")
    return table[quantity][key]


def sensitivity(mixture_or_state, quantity=None):
    """Derivatives of the equilibrium composition of an ideal mixture (a Mixture, or its equilibrated State).

    ``quantity``: a species or "pH", or None for all. Raises EqlibError for a state that is not an equilibrium
    of an ideal mixture, and for a species that is not present.
    """
    state = mixture_or_state.equilibrate() if isinstance(mixture_or_state, Mixture) else mixture_or_state
    if not isinstance(state, State) or state.solution is None:
        raise EqlibError(
            "sensitivity needs a Mixture or a State from equilibrate(); this state has not reacted"
        )
    if state.activity != "ideal":
        raise EqlibError(
            "sensitivity is worked out for ideal mixtures; use equilibrate() without activity=..."
        )
    found = _Derivatives(state)
    wanted = (
        [quantity if quantity == "pH" else protonated(quantity)]
        if quantity is not None
        else found.quantities()
    )
    labels = [str(r) for r in state.reactions]
    to_K, to_total = {}, {}
    for name in wanted:
        to_K[name] = MappingProxyType(dict(zip(labels, found.by_constant(name), strict=True)))
        to_total[name] = MappingProxyType(dict(zip(found.inputs, found.by_total(name), strict=True)))
    return Sensitivity(state, MappingProxyType(to_K), MappingProxyType(to_total))


class _Derivatives:
    """Right-hand sides: one column per constant, then one per species put in."""

    def __init__(self, state):
        self.state = state
        solution = state.solution
        self.network, answer = solution.network, solution.answer
        self.at = {self.network.names[row]: i for i, row in enumerate(solution.rows)}
        self.inputs = [n for n in state.mixture.totals if n in state.amounts]
        if answer is None:
            raise EqlibError("nothing reacts in this mixture, so there is nothing to differentiate")
        table = answer.table
        free = [k for k in range(len(table.basis)) if k not in answer.fixed]
        phases = {table.basis[k]: k for k in answer.fixed}
        gas, pure = self.network.gas[solution.rows], self.network.pure[solution.rows]
        n = np.where(pure, 0.0, answer.n)
        A, L = table.A, table.L * self.network.scale
        put = np.zeros((len(n), len(self.inputs)))
        for j, name in enumerate(self.inputs):
            if name in self.at:
                put[self.at[name], j] = 1.0
        self.n, self.pure = answer.n, pure
        self._solve(A, L, n, put, free, gas)
        self._solids(A, n, put, phases)

    def _solve(self, A, L, n, put, free, gas):
        """d ln a of every row, and d ln v of the gas volume at constant pressure."""
        F, count = A[:, free], L.shape[1]
        H = F.T @ (n[:, None] * F)
        right = np.hstack([-F.T @ (n[:, None] * L), F.T @ put])
        volume = self._at_pressure(gas)
        if volume:
            column = F.T @ np.where(gas, n, 0.0)
            corner, extra = volume
            H = np.block([[H, column[:, None]], [column[None, :], np.array([[corner]])]])
            last = np.concatenate([-np.where(gas, n, 0.0) @ L, extra])
            right = np.vstack([right, last])
        width = np.sqrt(np.abs(H.diagonal())) if len(H) else np.ones(0)
        width[width == 0.0] = 1.0
        d = (
            np.linalg.solve(H / width[:, None] / width, right / width[:, None]) / width[:, None]
            if len(H)
            else right
        )
        self.ln_a = np.hstack([L, np.zeros((len(n), put.shape[1]))]) + F @ d[: len(free)]
        self.ln_n = self.ln_a + np.outer(gas, d[-1]) if volume else self.ln_a
        self.count = count

    def _at_pressure(self, gas):
        """Row of the condition sum(n_gas) + inert = v P / RT; None at constant volume."""
        mixture, state = self.state.mixture, self.state
        if mixture.pressure is None or not state.gas_volume or not gas.any():
            return None
        inert = [n for n in self.inputs if n not in self.at and species(n).phase == "g"]
        amount = sum(mixture.totals[n] for n in inert)
        extra = [-1.0 if n in inert else 0.0 for n in self.inputs]
        return -amount, np.array(extra)

    def _solids(self, A, n, put, phases):
        """d n of the phases present, per litre of mixture, in the rows of ``d_n``."""
        self.d_n = n[:, None] * self.ln_n
        flow = self.d_n.copy()
        for row, k in phases.items():
            if self.pure[row]:
                self.d_n[row] = -A[:, k] @ flow
                self.d_n[row, self.count :] += A[:, k] @ put

    def quantities(self):
        names = [n for n, row in self.at.items() if self.n[row] > 0.0]
        return [*names, *(["pH"] if "H^+" in names else [])]

    def _row(self, name):
        row = self.at.get(name)
        if row is None or self.n[row] == 0.0:
            near = ", ".join(self.quantities()) or "none"
            raise EqlibError(f"{name} takes no part in this equilibrium or is not present; there are {near}")
        return row

    def by_constant(self, name):
        """d ln c / d ln K for each reaction, or d pH / d ln K."""
        if name == "pH":
            return [-v / np.log(10.0) for v in self.by_constant("H^+")]
        row = self._row(name)
        values = self.d_n[row] / self.n[row] if self.pure[row] else self.ln_a[row]
        return [float(v) for v in values[: self.count]]

    def by_total(self, name):
        """d c / d total for each species put in, or d pH / d total."""
        if name == "pH":
            return [-v / (np.log(10.0) * self.state["H^+"]) for v in self.by_total("H^+")]
        row = self._row(name)
        values = self.d_n[row] if self.pure[row] else self.ln_a[row] * self.state[name]
        return [float(v) for v in values[self.count :]]
