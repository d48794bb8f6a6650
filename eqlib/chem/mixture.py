"""A mixture: what was put in, the reactions that may run, and the vessel. ``equilibrate()`` lets them run.

The gas phase is at constant volume one more place for a species to be, at constant pressure a phase that may
form. At constant pressure the volume of gas v (per litre of mixture) is the unknown: the sum of the partial
pressures falls steadily as v grows, so the one v at which it equals the pressure is found between brackets.
When it stays below the pressure even for a vanishing volume, there is no gas phase.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from types import MappingProxyType
from typing import Any

import numpy as np

from eqlib.chem.activity import solve_with_activities
from eqlib.chem.reactions import Reaction, with_protons
from eqlib.chem.salts import split_totals
from eqlib.chem.solver.network import Network, check_loops, constants_at, listed, network_of
from eqlib.chem.solver.single import NoSolution, Solution, solve_network
from eqlib.chem.species import protonated, species
from eqlib.chem.state import State
from eqlib.chem.thermo import R_BAR
from eqlib.errors import EqlibError, finite

Found = tuple[Solution, float, tuple[str, ...]]
"""The equilibrium, litres of gas per litre of mixture, remarks."""
_GIVEN = ("totals", "reactions", "volume", "T", "pressure", "headspace")


@dataclass(frozen=True, eq=False, repr=False)
class Mixture:
    """Amounts as put in, before anything reacts.

    ``totals``: mol per litre of ``volume``, of any species in any phase (solids, gases and products too); a
    salt or strong acid that no reaction names ("Fe(NO3)3", "HCl") is split into ions, and ``remarks`` say so;
    ``reactions``: those that may run; ``volume``: L of solution, or of the vessel when nothing is dissolved;
    ``T``: K; ``pressure``: bar, for a gas phase that keeps this pressure and finds its own volume;
    ``headspace``: L of gas above a solution, at constant volume; ``known``: species that are never split,
    though no reaction here names them.

    Liquid water is the solvent, with activity 1, as soon as anything is dissolved; water's own equilibrium is
    not added silently. H3O^+ is read as H^+. Raises EqlibError (one line) for an amount that is negative or
    not a number, an unreadable species, an unbalanced reaction, a constant that is missing, constants that
    contradict each other.
    """

    totals: Mapping[str, float]
    reactions: tuple[Reaction, ...] = ()
    volume: float = 1.0
    T: float = 298.15
    pressure: float | None = None
    headspace: float = 0.0
    known: tuple[str, ...] = ()
    network: Network = field(init=False)
    ln_K: np.ndarray = field(init=False)
    remarks: tuple[str, ...] = field(init=False, default=())
    has_solution: bool = field(init=False, default=True)

    def __post_init__(self) -> None:
        put = object.__setattr__
        reactions = (self.reactions,) if isinstance(self.reactions, Reaction) else listed(self.reactions)
        reactions = tuple(with_protons(r) for r in reactions)
        put(self, "reactions", reactions)
        put(self, "volume", _number(self.volume, "the volume in L", least=0.0, open_end=True))
        put(self, "T", _number(self.T, "the temperature T in K", least=0.0, open_end=True))
        put(self, "headspace", _number(self.headspace, "the headspace in L", least=0.0))
        if self.pressure is not None:
            put(self, "pressure", _number(self.pressure, "the pressure in bar", least=0.0, open_end=True))
            if self.headspace:
                raise EqlibError(
                    "give either a pressure or a headspace: at constant pressure the gas finds its own volume"
                )
        named = dict.fromkeys(n for r in reactions if isinstance(r, Reaction) for n in r.coefficients)
        totals, read_as = split_totals(self.totals, (*named, *self.known))
        put(self, "totals", MappingProxyType(totals))
        names = (*self.totals, *named)
        put(self, "has_solution", any(species(n).phase == "aq" for n in names))
        put(self, "network", network_of(reactions, self.has_solution))
        ln_K, notes = constants_at(reactions, self.T)
        put(self, "ln_K", ln_K)
        said = self._water_remark(), self._cold_remark(), self._idle_remark()
        remarks = (*read_as, *notes, *check_loops(self.network, ln_K), *filter(None, said))
        put(self, "remarks", remarks)

    # -- what it is --------------------

    @property
    def gas_space(self) -> float:
        """Litres of gas per litre of ``volume`` at constant volume."""
        return self.headspace / self.volume if self.has_solution else 1.0

    def amounts(self) -> dict[str, float]:
        """mol of every species put in, by name."""
        return {name: value * self.volume for name, value in self.totals.items()}

    def with_(self, **changes: Any) -> Mixture:
        """The same mixture with other ``totals``, ``reactions``, ``volume``, ``T``, ``pressure`` or
        ``headspace``.
        """
        given = {name: getattr(self, name) for name in _GIVEN}
        if unknown := set(changes) - set(given):
            raise EqlibError(f"a mixture has no {sorted(unknown)[0]!r}; it has {', '.join(given)}")
        known = tuple(dict.fromkeys((*self.network.names, *self.totals, *self.known)))
        return Mixture(**{**given, **changes}, known=known)

    def _idle_remark(self) -> str:
        """Ions that take no part are usual; a molecule or a solid that does not was hardly meant so."""
        idle = [name for name, total in self.others.items() if total and name != "H2O(l)"]
        idle = [name for name in idle if not species(name).charge and species(name).phase != "g"]
        if not idle:
            return ""
        verb = "takes" if len(idle) == 1 else "take"
        return f"{' and '.join(idle)} {verb} part in none of the reactions, so nothing becomes of it."

    def _water_remark(self) -> str:
        index = self.network.index
        here = [n for n in ("H^+", "OH^-") if n in index or n in self.totals]
        if len(here) < 2:
            return ""
        if "H^+" in index and "OH^-" in index:
            A = self.network.table.A
            if not np.any(A[index["H^+"]] + A[index["OH^-"]]):
                return ""
        return "H^+ and OH^- both occur, but no reaction links them; include eq.water() to let them react."

    def _cold_remark(self) -> str:
        """Most often a temperature in degrees Celsius given for kelvin."""
        if not self.has_solution or 273.15 <= self.T <= 373.15:
            return ""
        celsius = f"; if {self.T:g} °C is meant, write {self.T + 273.15:g}" if self.T < 150 else ""
        return f"At {self.T:.5g} K water is not liquid; the numbers are formal{celsius}."

    # -- what becomes of it --------------------

    def as_mixed(self) -> State:
        """The State at the moment of mixing: everything as put in, nothing reacted yet."""
        moles = dict.fromkeys(self.network.names, 0.0) | self.amounts()
        gas = math.fsum(v for n, v in moles.items() if species(n).phase == "g")
        gas_volume = gas * R_BAR * self.T / self.pressure if self.pressure else self.gas_space * self.volume
        volume = self.volume
        if self.pressure and not self.has_solution and gas_volume:
            volume = gas_volume
        return State(self, _kept(moles, self.has_solution), volume, gas_volume, self.T, remarks=self.remarks)

    def equilibrate(
        self,
        activity: str = "ideal",
        fixed: Mapping[str, float] | None = None,
        fixed_pH: float | None = None,
        start: State | None = None,
    ) -> State:
        """The State at equilibrium.

        ``activity``: "ideal" (activity = concentration), "davies" or "debye-huckel". ``fixed``: {species:
        mol/L, or bar for a gas} held by a buffer or an open atmosphere, whatever that takes; ``fixed_pH`` the
        same for H^+ (as an activity). ``start``: the State of a similar mixture, for speed only. Raises
        NoSolution, or EqlibError for a species that cannot be fixed.
        """
        held = self._held(fixed, fixed_pH)
        inner = start.solution if isinstance(start, State) else None
        gamma: dict[str, float] = {}
        said: tuple[str, ...] = ()
        if activity == "ideal":
            found = self.solve(self.ln_K, held, inner)
        else:
            acid = {self.network.index["H^+"]} if fixed_pH is not None else set()
            found, gamma, said = solve_with_activities(self, activity, held, acid, inner)
        solution, gas_space, more = found
        names = self.network.names
        moles = {name: float(v) * self.volume for name, v in zip(names, solution.n, strict=True)}
        moles |= {name: v * self.volume for name, v in self.others.items()}
        fine = {
            name: float(c) if solution.n[i] > 0.0 or i in held else 0.0
            for i, (name, c) in enumerate(zip(names, solution.c, strict=True))
            if not self.network.pure[i]
        }
        gas_volume = gas_space * self.volume
        volume = gas_volume if self.pressure and not self.has_solution and gas_volume else self.volume
        return State(
            self,
            _kept(moles, self.has_solution),
            volume,
            gas_volume,
            self.T,
            activity=activity,
            gamma=MappingProxyType(gamma),
            remarks=(*self.remarks, *said, *more),
            solution=solution,
            fine=MappingProxyType(fine),
        )

    def solve(self, ln_K: np.ndarray, held: dict[int, float], start: Solution | None) -> Found:
        """The equilibrium with these constants (in mol/L), at constant volume or at the pressure.

        ``held``: {row of the network: ln concentration}; ``start``: for speed only.
        """
        if self.pressure is None:
            space = self.gas_space
            return solve_network(self.network, ln_K, self._put_in, space, held, start), space, ()
        return _AtPressure(self, ln_K, self._put_in, held).solve(start)

    @property
    def others(self) -> dict[str, float]:
        """mol/L of what takes part in no reaction."""
        return {n: v for n, v in self.totals.items() if n not in self.network.index}

    @cached_property
    def _put_in(self) -> np.ndarray:
        """mol per litre of mixture of each species of the network."""
        return np.array([self.totals.get(name, 0.0) for name in self.network.names])

    def _held(self, fixed: Mapping[str, float] | None, fixed_pH: float | None) -> dict[int, float]:
        values = {
            protonated(n): _number(v, f"the fixed value of {n}", least=0.0, open_end=True)
            for n, v in (fixed or {}).items()
        }
        if fixed_pH is not None:
            values["H^+"] = 10.0 ** -_number(fixed_pH, "the fixed pH")
        held = {}
        for name, value in values.items():
            if name not in self.network.index:
                raise EqlibError(f"{name} cannot be held fixed: it is in none of the reactions")
            phase = species(name).phase
            if phase in ("s", "l"):
                raise EqlibError(
                    f"{name} cannot be held fixed: it is a pure phase; give its amount in totals"
                )
            held[self.network.index[name]] = math.log(value / (R_BAR * self.T) if phase == "g" else value)
        return held

    # -- showing and comparing --------------------

    def __repr__(self) -> str:
        parts = ", ".join(f"{n} {v:.4g}" for n, v in self.totals.items())
        return f"Mixture({{{parts}}} mol/L, {len(self.reactions)} reactions, {self.volume:g} L, {self.T:g} K)"

    def _key(self) -> tuple:
        return frozenset(self.totals.items()), *(getattr(self, name) for name in _GIVEN[1:])

    def __eq__(self, other: object) -> bool:
        return self._key() == other._key() if isinstance(other, Mixture) else NotImplemented

    def __hash__(self) -> int:
        return hash(self._key())

    def __reduce__(self) -> tuple:
        return Mixture, (dict(self.totals), *(getattr(self, name) for name in _GIVEN[1:]), self.known)


class _AtPressure:
    def __init__(self, mixture: Mixture, ln_K: np.ndarray, amounts: np.ndarray, held: dict[int, float]):
        self.network, self.ln_K, self.amounts, self.held = mixture.network, ln_K, amounts, held
        self.inert = math.fsum(v for n, v in mixture.others.items() if species(n).phase == "g")
        self.target = (mixture.pressure or 0.0) / (R_BAR * mixture.T)  # mol of gas per litre of gas space
        self.put_in = float(amounts.sum()) + self.inert
        self.last: Solution | None = None

    def _excess(self, ln_v: float) -> float:
        """ln(pressure / wanted pressure) at gas volume exp(ln_v)."""
        v = math.exp(ln_v)
        self.last = solve_network(self.network, self.ln_K, self.amounts, v, self.held, self.last)
        total = float(self.last.c[self.network.gas].sum()) + self.inert / v
        return math.log(total / self.target) if total > 0.0 else -math.inf

    def solve(self, start: Solution | None) -> Found:
        self.last = start
        usual = max(self.put_in, 1e-9) / self.target
        low, high = math.log(usual) - 30.0, math.log(usual) + 2.0
        at_low = self._excess(low)
        if at_low <= 0.0:
            solution = solve_network(self.network, self.ln_K, self.amounts, 0.0, self.held)
            return solution, 0.0, ("No gas phase forms at this pressure.",)
        at_high = self._excess(high)
        while at_high > 0.0:
            low, at_low = high, at_high
            high += 3.0
            if high > math.log(usual) + 60.0:
                raise NoSolution(
                    "at this pressure everything turns to gas without end (the liquid boils); "
                    "raise the pressure"
                )
            at_high = self._excess(high)
        ln_v = self._between(low, at_low, high, at_high)
        self._excess(ln_v)
        assert self.last is not None  # _excess has just found it
        return self.last, math.exp(ln_v), ()

    def _between(self, low: float, at_low: float, high: float, at_high: float) -> float:
        """Root by the Illinois form of false position, then bisection where a step in pressure makes that
        slow.
        """
        side = 0
        for turn in range(200):
            bounded = math.isfinite(at_high) and turn < 60
            guess = low + (high - low) * at_low / (at_low - at_high) if bounded else 0.5 * (low + high)
            value = self._excess(guess)
            if abs(value) < 1e-15 or high - low < 4e-16 * max(1.0, abs(guess)):
                return guess
            if value > 0.0:
                low, at_low = guess, value
                if side == 1:
                    at_high *= 0.5
                side = 1
            else:
                high, at_high = guess, value
                if side == -1:
                    at_low *= 0.5
                side = -1
        return 0.5 * (low + high)


def _kept(moles: dict[str, float], has_solution: bool) -> Mapping[str, float]:
    if has_solution:
        moles.pop("H2O(l)", None)
    return MappingProxyType(moles)


def _number(value: float, what: str, least: float | None = None, open_end: bool = False) -> float:
    value = finite(value, what)
    if least is not None and (value < least or (open_end and value == least)):
        bound = f"more than {least:g}" if open_end else f"{least:g} or more"
        raise EqlibError(f"{what} must be {bound}, not {value:g}")
    return value
