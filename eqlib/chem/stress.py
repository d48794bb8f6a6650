"""The things one can do to a mixture at equilibrium, and the composition the instant after."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import partial
from numbers import Real

from eqlib.chem.mixture import Mixture
from eqlib.chem.salts import parts, resolve
from eqlib.chem.species import species
from eqlib.chem.state import State
from eqlib.errors import EqlibError, did_you_mean, finite, positive
from eqlib.writing import moles, number, volume

KINDS = (
    "add",
    "add_solution",
    "add_solid",
    "dilute",
    "remove",
    "heat_to",
    "change_volume",
    "add_inert",
    "catalyse",
)
WATER_L_PER_MOL = 18.015 / 997.05
"""Litres of liquid water per mole at 25 °C: molar mass over density 997.05 g/L (from memory)."""


class StressError(EqlibError):
    """A stress that cannot be done, or not to this mixture."""


_finite = partial(finite, error=StressError)
_positive = partial(positive, error=StressError)


@dataclass(frozen=True)
class Stress:
    """One stress. Make it with a constructor such as ``Stress.add_solution({"AgNO3": 0.10}, volume=0.0005)``.

    ``kind`` is one of KINDS; ``amounts`` are pairs (species or salt, number): mol, but mol/L for
    "add_solution"; ``volume`` in L; ``T`` in K; ``constant`` is "volume" or "pressure" for an inert gas.
    """

    kind: str
    amounts: tuple[tuple[str, float], ...] = ()
    volume: float | None = None
    T: float | None = None
    constant: str | None = None

    @staticmethod
    def add(name: str, mol: float) -> Stress:
        """Add moles of a species; a salt ("KSCN") is split into its ions. No change of volume."""
        return Stress("add", _amounts({name: mol}, "mol"))

    @staticmethod
    def add_solution(conc: Mapping[str, float], volume: float) -> Stress:
        """Add ``volume`` litres of solution, ``conc`` in mol/L of ions, molecules, salts. It also dilutes."""
        if not isinstance(conc, Mapping):
            raise StressError(
                f"add_solution needs concentrations such as {{'AgNO3': 0.10}}, not {conc!r:.40}"
            )
        return Stress(
            "add_solution",
            _amounts(conc, "mol/L"),
            volume=_positive(volume, "the volume added in L"),
        )

    @staticmethod
    def add_solid(formula: str, mol: float) -> Stress:
        """Add moles of a solid. One that the reactions know stays a solid phase; a soluble salt dissolves."""
        name = species(formula).name
        if species(formula).phase == "aq":
            name += "(s)"
        if species(name).charge:
            raise StressError(
                f"add_solid: an ion is not a solid; name a salt, or use Stress.add('{formula}', mol)"
            )
        if species(name).phase not in ("s", "l"):
            raise StressError(f"add_solid: {name} is a gas; use Stress.add('{name}', mol)")
        return Stress("add_solid", _amounts({name: mol}, "mol"))

    @staticmethod
    def dilute(volume: float) -> Stress:
        """Add ``volume`` litres of pure water."""
        return Stress("dilute", volume=_positive(volume, "the volume of water in L"))

    @staticmethod
    def remove(name: str, mol: float) -> Stress:
        """Take out moles of a species, as it is at equilibrium."""
        return Stress("remove", _amounts({name: mol}, "mol"))

    @staticmethod
    def heat_to(T: float) -> Stress:
        """Bring to ``T`` kelvin (warmer or cooler)."""
        if isinstance(T, Real) and not isinstance(T, bool) and T <= 0:
            raise StressError(f"heat_to({T:g}): a temperature is above 0 K; add 273.15 to degrees Celsius")
        return Stress("heat_to", T=_positive(T, "the temperature in kelvin"))

    @staticmethod
    def change_volume(V: float) -> Stress:
        """Bring the vessel to ``V`` litres (where there is a solution: solution and gas together)."""
        return Stress("change_volume", volume=_positive(V, "the new volume in L"))

    @staticmethod
    def add_inert(mol: float, constant: str = "volume") -> Stress:
        """Add moles of argon, which reacts with nothing, at constant "volume" or constant "pressure"."""
        if constant not in ("volume", "pressure"):
            raise StressError(f"add_inert: constant is 'volume' or 'pressure', not {constant!r:.40}")
        return Stress("add_inert", _amounts({"Ar(g)": mol}, "mol"), constant=constant)

    @staticmethod
    def catalyse() -> Stress:
        """Add a catalyst: both directions faster, K the same."""
        return Stress("catalyse")

    @property
    def litres(self) -> float:
        """``volume``, 0 where there is none."""
        return self.volume or 0.0

    @property
    def kelvin(self) -> float:
        """``T``, 0 where there is none."""
        return self.T or 0.0

    @property
    def species(self) -> tuple[str, ...]:
        """Names of what is added or removed."""
        return tuple(name for name, _ in self.amounts)

    def describe(self, shown: Callable[[str], str] = str) -> str:
        """What is done, in a short sentence without its full stop; ``shown`` writes a species."""
        poured = self.kind == "add_solution"
        listed = " and ".join(
            f"{number(much)} mol/L {shown(name)}" if poured else f"{moles(much)} of {shown(name)}"
            for name, much in self.amounts
        )
        match self.kind:
            case "add_solution":
                return f"add {volume(self.litres)} of a solution of {listed}"
            case "add" | "add_solid":
                return f"add {listed}"
            case "remove":
                return f"take out {listed}"
            case "dilute":
                return f"add {volume(self.litres)} of water"
            case "heat_to":
                return f"bring the temperature to {self.kelvin:.5g} K ({self.kelvin - 273.15:.4g} °C)"
            case "change_volume":
                return f"bring the volume to {volume(self.litres)}"
            case "add_inert":
                return f"add {moles(self.amounts[0][1])} of argon at constant {self.constant}"
        return "add a catalyst"


def _amounts(given: Mapping[str, float], unit: str) -> tuple[tuple[str, float], ...]:
    pairs = []
    for name, value in given.items():
        amount = _finite(
            value,
            f"the {'concentration' if unit == 'mol/L' else 'amount'} of {name} in {unit}",
            error=StressError,
        )
        if amount < 0:
            mend = "; to take something out use Stress.remove" if unit == "mol" else ""
            raise StressError(f"{amount:g} {unit} of {name}: it cannot be negative{mend}")
        pairs.append((species(name).name, amount))
    if not pairs:
        raise StressError("nothing is named to add; write it like {'AgNO3': 0.10}")
    return tuple(pairs)


# -- doing it --------------------


@dataclass
class _Work:
    """What is in the vessel while a stress is being done to it."""

    mixture: Mixture
    before: State
    known: tuple[str, ...]
    moles: dict[str, float]
    volume: float
    changes: dict = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)
    spectators: list[str] = field(default_factory=list)


def apply(stress: Stress, mixture: Mixture, before: State) -> tuple[Mixture, list[str]]:
    """``mixture``, whose equilibrium is ``before``, at once after ``stress``; remarks on how names were read.

    Raises StressError where that cannot be.
    """
    moles = {name: value for name, value in before.amounts.items() if value > 0}
    known = tuple(dict.fromkeys([*mixture.network.names, *before.amounts]))
    work = _Work(mixture, before, known, moles, mixture.volume)
    _HOW[stress.kind](work, stress)
    if names := list(dict.fromkeys(work.spectators)):
        verb = "takes" if len(names) == 1 else "take"
        work.notes.append(f"{' and '.join(names)} {verb} part in none of the reactions.")
    if "OH^-" in names and "H^+" in known:
        work.notes.append("For OH^- to react with H^+, include eq.water() among the reactions.")
    totals = {name: value / work.volume for name, value in work.moles.items()}
    return mixture.with_(totals=totals, volume=work.volume, **work.changes), work.notes


# -- adding and taking out --------------------


def _add(work: _Work, stress: Stress) -> None:
    for name, value in stress.amounts:
        _put_in(work, name, value)


def _put_in(work: _Work, name: str, mol: float) -> None:
    if name == "H2O(l)" and work.mixture.has_solution and "H2O(aq)" not in work.known:
        work.volume += mol * WATER_L_PER_MOL
        return
    found, notes = parts(name, work.known)
    work.notes.extend(notes)
    for target, count in found.items():
        if species(target).phase == "g" and not _has_gas_space(work.mixture):
            raise StressError(
                f"there is no gas space for {target}; give the mixture a headspace or a pressure"
            )
        if species(target).phase == "aq" and not work.mixture.has_solution:
            gas = "" if species(target).charge else f"; write {target}(g)?"
            raise StressError(f"{target} is dissolved, but this mixture holds no solution{gas}")
        if target not in work.mixture.network.index and target not in work.moles:
            work.spectators.append(target)
        work.moles[target] = work.moles.get(target, 0.0) + count * mol


def _add_solution(work: _Work, stress: Stress) -> None:
    _needs_solution(work, stress)
    for name, conc in stress.amounts:
        _put_in(work, name, conc * stress.litres)
    work.volume += stress.litres


def _dilute(work: _Work, stress: Stress) -> None:
    _needs_solution(work, stress)
    work.volume += stress.litres


def _remove(work: _Work, stress: Stress) -> None:
    for name, mol in stress.amounts:
        key = resolve(name, tuple(work.before.amounts))
        if name == "H2O(l)" and work.mixture.has_solution:
            raise StressError(
                "water is the solvent here and cannot be removed; start from a smaller volume instead"
            )
        if key is None:
            hint = did_you_mean(name, work.before.amounts)
            raise StressError(f"{name} is not in this mixture, so it cannot be removed{hint}")
        there = work.moles.get(key, 0.0)
        if mol > there * (1 + 1e-9):
            raise StressError(
                f"{mol:.4g} mol of {key} cannot be removed: at equilibrium there is {there:.4g} mol"
            )
        work.moles[key] = there - mol
        if work.moles[key] <= there * 1e-12:
            del work.moles[key]


# -- conditions --------------------


def _heat(work: _Work, stress: Stress) -> None:
    work.changes["T"] = stress.kelvin


def _change_volume(work: _Work, stress: Stress) -> None:
    mixture = work.mixture
    if not mixture.has_solution:
        work.volume = stress.litres
        work.changes["pressure"] = None
        return
    if not _has_gas_space(mixture):
        raise StressError("a solution keeps its volume when squeezed; use Stress.dilute to add water")
    if stress.litres <= mixture.volume:
        raise StressError(
            f"the vessel cannot shrink to {stress.litres:g} L: the solution alone takes {mixture.volume:g} L"
        )
    work.changes.update(pressure=None, headspace=stress.litres - mixture.volume)


def _add_inert(work: _Work, stress: Stress) -> None:
    mixture, before = work.mixture, work.before
    if not _has_gas_space(mixture) or not before.gas_volume:
        raise StressError(
            "there is no gas phase to add an inert gas to; give the mixture gases or a headspace"
        )
    ((name, mol),) = stress.amounts
    if stress.constant == "pressure":
        work.changes.update(pressure=before.total_pressure, headspace=0.0)
    elif mixture.pressure is not None:
        work.changes["pressure"] = None
        if mixture.has_solution:
            work.changes["headspace"] = before.gas_volume
        else:
            work.volume = before.gas_volume
    work.moles[name] = work.moles.get(name, 0.0) + mol


def _nothing(work: _Work, stress: Stress) -> None:
    """A catalyst leaves every amount as it is."""


_HOW = {
    "add": _add,
    "add_solid": _add,
    "add_solution": _add_solution,
    "dilute": _dilute,
    "remove": _remove,
    "heat_to": _heat,
    "change_volume": _change_volume,
    "add_inert": _add_inert,
    "catalyse": _nothing,
}


# -- names and places --------------------


def _has_gas_space(mixture: Mixture) -> bool:
    gases = any(species(name).phase == "g" for name in (*mixture.network.names, *mixture.totals))
    return gases if not mixture.has_solution else bool(mixture.headspace or mixture.pressure)


def _needs_solution(work: _Work, stress: Stress) -> None:
    if not work.mixture.has_solution:
        raise StressError(f"this mixture holds no solution, so one cannot {stress.describe()}")
