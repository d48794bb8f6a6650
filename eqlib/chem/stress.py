"""The things one can do to a mixture at equilibrium, each a small frozen value with plain words."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import partial
from numbers import Real

from eqlib.chem.checks import finite, positive
from eqlib.chem.errors import EqlibError
from eqlib.chem.species import species
from eqlib.chem.wording import moles, number, volume

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

    @staticmethod
    def acid(mol: float) -> Stress:
        """Add moles of a strong acid (nitric) without noticeable volume."""
        return Stress.add("HNO3", mol)

    @staticmethod
    def base(mol: float) -> Stress:
        """Add moles of a strong base (sodium hydroxide) without noticeable volume."""
        return Stress.add("NaOH", mol)

    @property
    def species(self) -> tuple[str, ...]:
        """Names of what is added or removed."""
        return tuple(name for name, _ in self.amounts)

    def describe(self) -> str:
        """What is done, in a short sentence without its full stop."""
        return _WORDS[self.kind](self)


def _listed(stress: Stress) -> str:
    if stress.kind == "add_solution":
        return " and ".join(f"{number(conc)} mol/L {name}" for name, conc in stress.amounts)
    return " and ".join(f"{moles(mol)} of {name}" for name, mol in stress.amounts)


def _inert_words(stress: Stress) -> str:
    return f"add {moles(stress.amounts[0][1])} of argon at constant {stress.constant}"


_WORDS = {
    "add": lambda s: f"add {_listed(s)}",
    "add_solution": lambda s: f"add {volume(s.volume)} of a solution of {_listed(s)}",
    "add_solid": lambda s: f"add {_listed(s)}",
    "dilute": lambda s: f"add {volume(s.volume)} of water",
    "remove": lambda s: f"take out {_listed(s)}",
    "heat_to": lambda s: f"bring the temperature to {s.T:.5g} K ({s.T - 273.15:.4g} °C)",
    "change_volume": lambda s: f"bring the volume to {volume(s.volume)}",
    "add_inert": _inert_words,
    "catalyse": lambda s: "add a catalyst",
}


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
