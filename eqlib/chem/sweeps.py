"""A quantity followed while one thing changes: added volume (a titration), temperature, pH, or one total.

Everything comes back as NumPy arrays in step with ``values``, ready to plot.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np

from eqlib.chem.applying import resolve
from eqlib.chem.errors import EqlibError
from eqlib.chem.mixture import Mixture
from eqlib.chem.names import near_hint
from eqlib.chem.salts import dissolved
from eqlib.chem.species import canonical
from eqlib.chem.state import State, protonated

UNITS = {"volume": "L", "T": "K", "pH": "", "total": "mol/L"}


class SweepError(EqlibError):
    """A sweep that cannot be made."""


@dataclass(frozen=True, eq=False)
class Sweep:
    """Equilibria along ``values`` (unit in ``unit``).

    ``states`` holds a State per value; every other quantity is an array of the same length:
    ``sweep["Fe^3+"]`` and :meth:`concentration` mol/L, :meth:`amount` mol, :meth:`solid` mol per L of
    mixture, :meth:`pressure` bar, ``pH``, ``volume`` L, ``ionic_strength`` mol/L.
    """

    over: str
    unit: str
    values: np.ndarray
    states: tuple[State, ...]

    def __len__(self):
        return len(self.states)

    def __getitem__(self, name: str) -> np.ndarray:
        return np.array([state[name] for state in self.states])

    def concentration(self, name: str) -> np.ndarray:
        """mol/L of a solute (of a gas: mol per L of gas space)."""
        return self[name]

    def amount(self, name: str) -> np.ndarray:
        """mol in the vessel."""
        key = protonated(name)
        self.states[0][key]  # an unknown name raises here, with suggestions
        return np.array([state.amounts.get(key, 0.0) for state in self.states])

    def solid(self, name: str) -> np.ndarray:
        """mol of a solid per L of mixture."""
        return self[name]

    def pressure(self, name: str) -> np.ndarray:
        """Partial pressure of a gas, bar."""
        key = canonical(name)
        if key not in self.states[0].pressures:
            raise SweepError(f"{key} is not a gas of this mixture{near_hint(key, self.states[0].pressures)}")
        return np.array([state.pressures[key] for state in self.states])

    @property
    def pH(self) -> np.ndarray:
        """pH at each value."""
        return np.array([state.pH for state in self.states])

    @property
    def volume(self) -> np.ndarray:
        """L at each value."""
        return np.array([state.volume for state in self.states])

    @property
    def ionic_strength(self) -> np.ndarray:
        """mol/L at each value."""
        return np.array([state.ionic_strength for state in self.states])

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
    if titrant is not None and over != "volume":
        raise SweepError(f"a titrant belongs to a sweep over 'volume', not over {over!r}")
    if over == "volume":
        mixtures = _titrated(m, points, titrant or {})
    elif over == "T":
        mixtures = (m.with_(T=float(T)) for T in points)
    elif over == "pH":
        mixtures = (m for _ in points)
    else:
        mixtures = _with_total(m, over, points)
    states, last = [], None
    for mixture, point in zip(mixtures, points, strict=True):
        held = float(point) if over == "pH" else None
        last = mixture.equilibrate(activity=activity, fixed_pH=held, start=last)
        states.append(last)
    return Sweep(over, UNITS.get(over, UNITS["total"]), points, tuple(states))


def _points(values) -> np.ndarray:
    try:
        points = np.atleast_1d(np.array(values, dtype=float))
    except (TypeError, ValueError):
        raise SweepError(f"the values of a sweep are numbers, not {values!r:.60}") from None
    if points.ndim != 1 or not points.size:
        raise SweepError("the values of a sweep are one row of numbers, such as numpy.linspace(0, 0.05, 101)")
    if not np.isfinite(points).all():
        raise SweepError("the values of a sweep must all be finite numbers")
    return points


def _titrated(m: Mixture, points: np.ndarray, titrant: Mapping[str, float]):
    if not m.has_solution:
        raise SweepError(
            "a sweep over 'volume' adds a solution, but this mixture holds none; use Stress.change_volume"
        )
    if (points < 0).any():
        raise SweepError(f"a volume added cannot be negative, and {points.min():g} L is among the values")
    known = (*m.network.names, *m.totals)
    ions: dict[str, float] = {}
    for name, conc in titrant.items():
        whole = resolve(name, known, [])
        for ion, value in ({whole: conc} if whole else dissolved({name: conc})).items():
            key = resolve(ion, known, []) or ion
            ions[key] = ions.get(key, 0.0) + value
    start = m.amounts()
    for added in points:
        volume = m.volume + float(added)
        moles = start | {name: start.get(name, 0.0) + conc * float(added) for name, conc in ions.items()}
        yield m.with_(totals={name: mol / volume for name, mol in moles.items()}, volume=volume)


def _with_total(m: Mixture, over: str, points: np.ndarray):
    known = (*m.network.names, *m.totals)
    key = resolve(over, known, []) if isinstance(over, str) else None
    if key is None:
        hint = near_hint(str(over), (*known, "volume", "T", "pH"))
        raise SweepError(
            f"a sweep is over 'volume', 'T', 'pH' or a species of the mixture, not {over!r:.40}{hint}"
        )
    for total in points:
        yield m.with_(totals={**m.totals, key: float(total)})
