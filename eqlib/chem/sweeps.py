"""How an equilibrium answers: followed while one thing changes (added volume, temperature, pH, one total);
differentiated by each constant and each amount; and the constants that hold at one pH.

A sweep comes back as NumPy arrays in step with ``values``, ready to plot.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from types import MappingProxyType
from typing import Any

import numpy as np

from eqlib.chem.mixture import Mixture
from eqlib.chem.reactions import Reaction, water, with_protons
from eqlib.chem.salts import parts, resolve
from eqlib.chem.solver.batch import equilibrate_many
from eqlib.chem.species import canonical, protonated, species
from eqlib.chem.state import State
from eqlib.chem.thermo import R_BAR
from eqlib.errors import EqlibError, did_you_mean

UNITS = {"volume": "L", "T": "K", "pH": "", "total": "mol/L"}
_WATERY = ("H^+", "OH^-", "H2O(l)")


class SweepError(EqlibError):
    """A sweep that cannot be made."""


@dataclass(frozen=True, eq=False)
class Sweep:
    """Equilibria along ``values`` (unit in ``unit``); every quantity is an array of the same length.

    ``sweep["Fe^3+"]`` is mol/L of a solute, mol per L of gas space of a gas, mol per L of mixture of a
    solid, as in a State. ``volume`` and ``gas_volume`` are in L, ``T`` in K, ``mixtures`` what was
    equilibrated.
    """

    over: str
    unit: str
    values: np.ndarray
    columns: Mapping[str, np.ndarray]
    volume: np.ndarray
    gas_volume: np.ndarray
    T: np.ndarray
    mixtures: tuple[Mixture, ...]
    found: tuple[State, ...] | None = field(default=None, repr=False)

    def __len__(self) -> int:
        return len(self.values)

    def __getitem__(self, name: str) -> np.ndarray:
        key = protonated(name)
        if key not in self.columns:
            raise SweepError(f"{key} is not in this mixture{did_you_mean(key, self.columns)}")
        return self.columns[key]

    def amount(self, name: str) -> np.ndarray:
        """mol in the vessel."""
        gas = species(protonated(name)).phase == "g"
        return self[name] * (self.gas_volume if gas else self.volume)

    def pressure(self, name: str) -> np.ndarray:
        """Partial pressure of a gas, bar."""
        key = canonical(name)
        if species(key).phase != "g":
            gases = [other for other in self.columns if species(other).phase == "g"]
            raise SweepError(
                f"{key} is not a gas of this mixture{did_you_mean(key, gases)}; write NO2(g) for a gas"
            )
        return self[key] * R_BAR * self.T

    @cached_property
    def states(self) -> tuple[State, ...]:
        """The full State at each value."""
        return self.found or tuple(mixture.equilibrate() for mixture in self.mixtures)

    @cached_property
    def pH(self) -> np.ndarray:
        """pH at each value."""
        if self.found is None and "H^+" in self.columns and (self.columns["H^+"] > 0).all():
            return -np.log10(self.columns["H^+"])
        return np.array([state.pH for state in self.states])

    @cached_property
    def ionic_strength(self) -> np.ndarray:
        """mol/L at each value."""
        ions = [name for name in self.columns if species(name).charge and species(name).phase == "aq"]
        return sum((0.5 * species(n).charge ** 2 * self.columns[n] for n in ions), np.zeros(len(self)))

    def steepest(self, quantity: str = "pH") -> float:
        """The value at which ``quantity`` ("pH" or a species) changes fastest: a titration's end point."""
        if len(self) < 3:
            raise SweepError(f"a steepest point needs at least 3 values, and this sweep has {len(self)}")
        followed = self.pH if quantity == "pH" else self[quantity]
        slope = np.abs(np.diff(followed) / np.diff(self.values))
        middle = (self.values[1:] + self.values[:-1]) / 2
        return float(middle[int(np.argmax(slope))])


def sweep(
    m: Mixture,
    over: str,
    values: Iterable[float],
    titrant: Mapping[str, float] | None = None,
    activity: str = "ideal",
) -> Sweep:
    """Equilibrate ``m`` at every one of ``values``.

    ``over``: "volume" (L added of ``titrant``, {species or salt: mol/L}; water when None), "T" (K), "pH"
    (held by a buffer, whatever that takes), or the name of a species (its total in mol/L). ``activity`` as
    in :meth:`Mixture.equilibrate`. Raises SweepError.
    """
    points = _points(values)
    if not isinstance(m, Mixture):
        raise SweepError(f"sweep needs a Mixture first, not {type(m).__name__}; make one with eqlib.Mixture")
    if titrant is not None and over != "volume":
        raise SweepError(f"a titrant belongs to a sweep over 'volume', not over {over!r:.40}")
    if over == "volume":
        mixtures = _titrated(m, points, titrant or {})
    elif over == "T":
        mixtures = tuple(m.with_(T=float(T)) for T in points)
    elif over == "pH":
        mixtures = (m,) * len(points)
    else:
        mixtures = _with_total(m, over, points)
    unit = UNITS.get(over, UNITS["total"])
    at_once = activity == "ideal" and over != "pH" and m.pressure is None and not m.headspace
    if at_once and m.reactions:
        return _solved_together(over, unit, points, mixtures)
    return _solved_in_turn(over, unit, points, mixtures, activity)


def _solved_together(over: str, unit: str, points: np.ndarray, mixtures: tuple[Mixture, ...]) -> Sweep:
    """All mixtures in one batch; only what they share (reactions, no pressure) allows that."""
    names = tuple(dict.fromkeys(name for mixture in mixtures for name in mixture.totals))
    totals = {name: np.array([mixture.totals.get(name, 0.0) for mixture in mixtures]) for name in names}
    temperatures = np.array([mixture.T for mixture in mixtures])
    found = equilibrate_many(mixtures[0].reactions, totals, T=temperatures)
    columns = {name: totals[name] for name in names} | found
    if mixtures[0].has_solution:
        columns.pop("H2O(l)", None)
    volume = np.array([mixture.volume for mixture in mixtures])
    gas_volume = np.array([mixture.gas_space * mixture.volume for mixture in mixtures])
    return Sweep(over, unit, points, MappingProxyType(columns), volume, gas_volume, temperatures, mixtures)


def _solved_in_turn(
    over: str, unit: str, points: np.ndarray, mixtures: tuple[Mixture, ...], activity: str
) -> Sweep:
    """One after another: fixed pH, constant pressure, activities."""
    held = points if over == "pH" else [None] * len(points)
    states = tuple(
        mixture.equilibrate(activity=activity, fixed_pH=None if pH is None else float(pH))
        for mixture, pH in zip(mixtures, held, strict=True)
    )
    names = dict.fromkeys(name for state in states for name in state)
    columns = {name: np.array([state.get(name) for state in states]) for name in names}
    return Sweep(
        over,
        unit,
        points,
        MappingProxyType(columns),
        np.array([state.volume for state in states]),
        np.array([state.gas_volume for state in states]),
        np.array([state.T for state in states]),
        mixtures,
        states,
    )


def _points(values: Iterable[float]) -> np.ndarray:
    try:
        points = np.atleast_1d(np.array(values, dtype=float))
    except (TypeError, ValueError):
        raise SweepError(f"the values of a sweep are numbers, not {values!r:.60}") from None
    if points.ndim != 1 or not points.size:
        raise SweepError("the values of a sweep are one row of numbers, such as numpy.linspace(0, 0.05, 101)")
    if not np.isfinite(points).all():
        raise SweepError("the values of a sweep must all be finite numbers")
    return points


def _titrated(m: Mixture, points: np.ndarray, titrant: Mapping[str, float]) -> tuple[Mixture, ...]:
    if not m.has_solution:
        raise SweepError(
            "a sweep over 'volume' adds a solution, but this mixture holds none; use Stress.change_volume"
        )
    if (points < 0).any():
        raise SweepError(f"a volume added cannot be negative, and {points.min():g} L is among the values")
    known = (*m.network.names, *m.totals)
    ions: dict[str, float] = {}
    for name, conc in titrant.items():
        for ion, count in parts(name, known)[0].items():
            ions[ion] = ions.get(ion, 0.0) + count * conc
    start = m.amounts()
    mixtures = []
    for added in points:
        volume = m.volume + float(added)
        moles = start | {name: start.get(name, 0.0) + conc * float(added) for name, conc in ions.items()}
        totals = {name: mol / volume for name, mol in moles.items()}
        mixtures.append(m.with_(totals=totals, volume=volume))
    return tuple(mixtures)


def _with_total(m: Mixture, over: str, points: np.ndarray) -> tuple[Mixture, ...]:
    known = (*m.network.names, *m.totals)
    try:
        key = resolve(over, known)
    except EqlibError:  # not even a formula
        key = None
    if key is None:
        hint = did_you_mean(str(over), (*known, "volume", "T", "pH"))
        raise SweepError(
            f"a sweep is over 'volume', 'T', 'pH' or a species of the mixture, not {over!r:.40}{hint}"
        )
    return tuple(m.with_(totals={**m.totals, key: float(total)}) for total in points)


# -- derivatives --------------------
# The balances and saturations that hold at the answer are differentiated there (implicit differentiation),
# with the solids that are present staying present; nothing is solved again. All derivatives with respect to
# the constants are taken with K on the reaction's own basis.


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

    def of_K(self, quantity: str, reaction: Reaction | str) -> float:
        """d ln c / d ln K of one reaction (or d pH / d ln K)."""
        return _pick(self.to_K, quantity, str(reaction) if isinstance(reaction, Reaction) else reaction)

    def of_total(self, quantity: str, name: str) -> float:
        """d c / d total of one species put in (or d pH / d total)."""
        return _pick(self.to_total, quantity, protonated(name))


def _pick(table: Mapping[str, Mapping[str, float]], quantity: str, key: str) -> float:
    quantity = quantity if quantity == "pH" else protonated(quantity)
    for level, name in ((table, quantity), (table.get(quantity, {}), key)):
        if name not in level:
            raise EqlibError(f"no sensitivity is known for {name}; there are {', '.join(level) or 'none'}")
    return table[quantity][key]


def sensitivity(mixture_or_state: Mixture | State, quantity: str | None = None) -> Sensitivity:
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

    def __init__(self, state: State) -> None:
        self.state = state
        solution = state.solution
        answer = solution.answer if solution is not None else None
        if solution is None or answer is None:
            raise EqlibError("nothing reacts in this mixture, so there is nothing to differentiate")
        self.network = solution.network
        self.at = {self.network.names[row]: i for i, row in enumerate(solution.rows)}
        self.inputs = [n for n in state.mixture.totals if n in state.amounts]
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

    def _solve(
        self, A: np.ndarray, L: np.ndarray, n: np.ndarray, put: np.ndarray, free: list[int], gas: np.ndarray
    ) -> None:
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

    def _at_pressure(self, gas: np.ndarray) -> tuple[float, np.ndarray] | None:
        """Row of the condition sum(n_gas) + inert = v P / RT; None at constant volume."""
        mixture, state = self.state.mixture, self.state
        if mixture.pressure is None or not state.gas_volume or not gas.any():
            return None
        inert = [n for n in self.inputs if n not in self.at and species(n).phase == "g"]
        amount = sum(mixture.totals[n] for n in inert)
        extra = [-1.0 if n in inert else 0.0 for n in self.inputs]
        return -amount, np.array(extra)

    def _solids(self, A: np.ndarray, n: np.ndarray, put: np.ndarray, phases: dict[Any, Any]) -> None:
        """d n of the phases present, per litre of mixture, in the rows of ``d_n``."""
        self.d_n = n[:, None] * self.ln_n
        flow = self.d_n.copy()
        for row, k in phases.items():
            if self.pure[row]:
                self.d_n[row] = -A[:, k] @ flow
                self.d_n[row, self.count :] += A[:, k] @ put

    def quantities(self) -> list[str]:
        names = [n for n, row in self.at.items() if self.n[row] > 0.0]
        return [*names, *(["pH"] if "H^+" in names else [])]

    def _row(self, name: str) -> int:
        row = self.at.get(name)
        if row is None or self.n[row] == 0.0:
            near = ", ".join(self.quantities()) or "none"
            raise EqlibError(f"{name} takes no part in this equilibrium or is not present; there are {near}")
        return row

    def by_constant(self, name: str) -> list[float]:
        """d ln c / d ln K for each reaction, or d pH / d ln K."""
        if name == "pH":
            return [-v / np.log(10.0) for v in self.by_constant("H^+")]
        row = self._row(name)
        values = self.d_n[row] / self.n[row] if self.pure[row] else self.ln_a[row]
        return [float(v) for v in values[: self.count]]

    def by_total(self, name: str) -> list[float]:
        """d c / d total for each species put in, or d pH / d total."""
        if name == "pH":
            return [-v / (np.log(10.0) * self.state["H^+"]) for v in self.by_total("H^+")]
        row = self._row(name)
        values = self.d_n[row] if self.pure[row] else self.ln_a[row] * self.state[name]
        return [float(v) for v in values[self.count :]]


# -- constants that hold at one pH: conditional constants (A. Ringbom, 1963; from memory) --------------------
# Part of a metal is bound to hydroxide and part of a ligand to protons. Counting every such form as "metal
# not bound to the ligand" and "ligand not bound to the metal" gives a constant that a calculation at that pH
# can use as it stands.


def fraction_free(name: str, reactions: list[Reaction], pH: int, T: float = 298.15) -> float:
    """Share of a solute that is in the form ``name`` at a pH, among its forms with more or fewer H^+ or OH^-.

    ``reactions``: those that link the forms one by one (others are passed over). Raises EqlibError.
    """
    return 1.0 / sum(_relative_forms(protonated(name), reactions, pH, T).values())


def conditional_K(reaction: Reaction, reactions: list[Reaction], pH: int, T: float = 298.15) -> float:
    """K of ``reaction`` at a fixed pH, with every solute counted in all its forms with H^+ and OH^-.

    K' = K [H^+]^-h [OH^-]^-o prod(alpha_i^-nu_i), alpha being :func:`fraction_free`; H^+ and OH^- themselves
    leave the expression. On the basis of ``reaction``, at temperature ``T`` (K) where enthalpies are known.
    Raises EqlibError.
    """
    reaction = with_protons(reaction)
    reaction.require_balanced()
    ln_K = math.log(_at(reaction, T).require_K())
    logs = _levels(reactions, pH, T)
    for name, power in reaction.quotient_species.items():
        if name in logs:
            ln_K -= float(power) * logs[name]
        elif species(name).phase == "aq":
            ln_K -= float(power) * math.log(fraction_free(name, reactions, pH, T))
    return math.exp(ln_K)


def _at(reaction: Reaction, T: float) -> Reaction:
    return reaction if reaction.dH is None or reaction.T == T else reaction.at(T)


def _levels(reactions: list[Reaction], pH: int, T: float) -> dict[str, float]:
    """ln[H^+] and ln[OH^-], with the reactions' own water constant when there is one."""
    if isinstance(pH, bool) or not isinstance(pH, (int, float)) or not math.isfinite(pH):
        raise EqlibError(f"the pH must be a finite number, not {pH!r:.40}")
    ln_H = -pH * math.log(10.0)
    ln_Kw = math.log(water(T).require_K())
    for r in reactions:
        if set(r.coefficients) == set(_WATERY) and abs(r.coefficients["H^+"]) == 1:
            ln_Kw = math.log(_at(r, T).require_K()) * (1 if r.coefficients["H^+"] > 0 else -1)
    return {"H^+": ln_H, "OH^-": ln_Kw - ln_H}


def _relative_forms(name: str, reactions: list[Reaction], pH: int, T: float) -> dict[str, float]:
    """{form: its concentration relative to ``name``}."""
    logs = _levels(reactions, pH, T)
    links = [_link(with_protons(r), logs, T) for r in reactions if isinstance(r, Reaction)]
    known, todo = {name: 0.0}, [name]
    while todo:
        form = todo.pop()
        for link in links:
            if link is None or form not in link[:2]:
                continue
            first, second, ln_ratio = link
            other = second if form == first else first
            if other not in known:
                known[other] = known[form] + (ln_ratio if form == first else -ln_ratio)
                todo.append(other)
    return {form: math.exp(value) for form, value in known.items()}


def _link(reaction: Reaction, logs: dict[str, float], T: float) -> tuple[str, str, float] | None:
    """(one form, another, ln of their ratio) for a reaction that only moves H^+ or OH^- between two
    solutes.
    """
    forms = {n: v for n, v in reaction.coefficients.items() if n not in _WATERY}
    if sorted(forms.values()) != [-1, 1] or any(species(n).phase != "aq" for n in forms):
        return None
    (first,) = (n for n, v in forms.items() if v == -1)
    (second,) = (n for n, v in forms.items() if v == 1)
    ln_K = math.log(_at(reaction, T).require_K())
    return first, second, ln_K - sum(float(reaction.coefficients.get(n, 0)) * logs[n] for n in logs)
