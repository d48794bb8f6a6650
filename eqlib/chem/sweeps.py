"""An equilibrium followed while one thing changes: added volume, temperature, pH, one total.

A sweep comes back as NumPy arrays in step with ``values``, ready to plot.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from types import MappingProxyType

import numpy as np

from eqlib.chem.mixture import Mixture
from eqlib.chem.salts import parts, resolve
from eqlib.chem.solver.batch import equilibrate_many
from eqlib.chem.species import protonated, species
from eqlib.chem.state import State
from eqlib.errors import EqlibError, did_you_mean


class SweepError(EqlibError):
    """A sweep that cannot be made."""


@dataclass(frozen=True, eq=False)
class Sweep:
    """Equilibria along ``values``; every quantity is an array of the same length.

    ``sweep["Fe^3+"]`` is mol/L of a solute, mol per L of gas space of a gas, mol per L of mixture of a
    solid, as in a State. ``volume`` and ``gas_volume`` are in L, ``T`` in K, ``mixtures`` what was
    equilibrated.
    """

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


def sweep(
    m: Mixture,
    over: str,
    values: Iterable[float],
    titrant: Mapping[str, float] | None = None,
) -> Sweep:
    """Equilibrate ``m`` at every one of ``values``.

    ``over``: "volume" (L added of ``titrant``, {species or salt: mol/L}; water when None), "T" (K), "pH"
    (held by a buffer, whatever that takes), or the name of a species (its total in mol/L). Raises SweepError.
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
    if over != "pH" and m.pressure is None and not m.headspace and m.reactions:
        return _solved_together(points, mixtures)
    return _solved_in_turn(points, mixtures, held=over == "pH")


def _solved_together(points: np.ndarray, mixtures: tuple[Mixture, ...]) -> Sweep:
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
    return Sweep(points, MappingProxyType(columns), volume, gas_volume, temperatures, mixtures)


def _solved_in_turn(points: np.ndarray, mixtures: tuple[Mixture, ...], held: bool) -> Sweep:
    """One after another: constant pressure, or the pH ``held`` at each of the points."""
    states = tuple(
        mixture.equilibrate(fixed_pH=float(point) if held else None)
        for mixture, point in zip(mixtures, points, strict=True)
    )
    names = dict.fromkeys(name for state in states for name in state)
    columns = {name: np.array([state.get(name) for state in states]) for name in names}
    return Sweep(
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
