"""How a mixture approaches equilibrium in time, with stresses on the way and, if asked, a slow loss.

Extents of reaction are what is integrated, so atoms and charge are conserved exactly whatever the error of
the integration. Equal forward and reverse rates at the end are a result, not an assumption.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import partial

import numpy as np

from eqlib.chem.applying import apply
from eqlib.chem.checks import finite, positive
from eqlib.chem.equations import read
from eqlib.chem.errors import EqlibError
from eqlib.chem.mixture import Mixture
from eqlib.chem.names import near_hint
from eqlib.chem.rates import RateLaw, chosen_constants, rate_law
from eqlib.chem.reactions import R_J
from eqlib.chem.species import species
from eqlib.chem.state import State, protonated
from eqlib.chem.stress import Stress

__all__ = ["KineticsError", "TimeCourse", "time_course"]


class KineticsError(EqlibError):
    """A course that cannot be computed."""


_finite = partial(finite, error=KineticsError)
_positive = partial(positive, error=KineticsError)


@dataclass(frozen=True, eq=False)
class TimeCourse:
    """Arrays along ``t`` (seconds). At a stress two points share one time: just before, and just after.

    ``amounts`` mol by species; ``concentrations`` mol/L by solute or gas; ``forward`` and ``reverse``
    rates in mol/L per second, shape (reactions, times); ``extents`` mol since the last stress, same shape;
    ``lost`` mol by species; ``k_forward`` and ``k_reverse`` per stretch between stresses, shape
    (stretches, reactions); ``events`` pairs (time, what was done).
    """

    t: np.ndarray
    amounts: Mapping[str, np.ndarray]
    concentrations: Mapping[str, np.ndarray]
    forward: np.ndarray
    reverse: np.ndarray
    extents: np.ndarray
    lost: Mapping[str, np.ndarray]
    volume: np.ndarray
    k_forward: np.ndarray
    k_reverse: np.ndarray
    events: tuple[tuple[float, str], ...]
    mixture: Mixture
    notes: tuple[str, ...] = ()

    def __getitem__(self, name: str) -> np.ndarray:
        key = protonated(name)
        for values in (self.concentrations, self.amounts):
            if key in values:
                return values[key]
        raise KineticsError(f"{key} is not in this mixture{near_hint(key, self.amounts)}")

    @property
    def net(self) -> np.ndarray:
        """Forward minus reverse rate."""
        return self.forward - self.reverse

    @property
    def final(self) -> State:
        """The composition at the last moment (not equilibrated)."""
        return self.mixture.as_mixed()


def time_course(
    m: Mixture,
    until: float,
    stresses: Iterable[tuple[float, Stress]] = (),
    rates: float | Mapping | None = None,
    loss: Mapping[str, float] | None = None,
    start: str = "mixed",
    points: int = 400,
    catalyst_factor: float = 10.0,
    activation: float | None = None,
) -> TimeCourse:
    """Integrate from 0 to ``until`` seconds.

    ``stresses``: pairs (time in s, Stress). ``rates``: forward rate constants, one number for all or
    {reaction or its text: number}; None chooses them so that each reaction settles within about a
    twentieth of the time (for drawing, not measured). ``loss``: {species: 1/s} that disappear for good,
    such as a fading complex. ``start``: "mixed" (as put in) or "equilibrium". ``catalyst_factor``: what
    ``Stress.catalyse()`` multiplies both constants by. ``activation``: J/mol of the forward steps, so that
    heating speeds them up; None leaves them. Raises KineticsError; the mixture is taken as ideal.
    """
    plan = _plan(m, until, stresses, start, points, catalyst_factor, activation)
    run = _Run(plan, m, _constants(plan, m, rates), _losses(m, loss))
    for begin, end, stress in plan.stretches:
        if stress is not None:
            run.disturb(begin, stress)
        if end > begin:
            run.integrate(begin, end)
    return run.finished()


@dataclass(frozen=True)
class _Plan:
    stretches: tuple[tuple[float, float, Stress | None], ...]
    until: float
    start: str
    points: int
    catalyst_factor: float
    activation: float | None


def _plan(m, until, stresses, start, points, catalyst_factor, activation) -> _Plan:
    if not isinstance(m, Mixture) or not m.reactions:
        raise KineticsError("time_course needs a Mixture with reactions")
    end = _positive(until, "the end time in s")
    if start not in ("mixed", "equilibrium"):
        raise KineticsError(f"start is 'mixed' or 'equilibrium', not {start!r:.40}")
    if isinstance(points, bool) or not isinstance(points, int) or not 10 <= points <= 100_000:
        raise KineticsError(f"points is a whole number from 10 to 100000, not {points!r:.40}")
    events = []
    if not isinstance(stresses, Iterable):
        raise KineticsError(
            f"stresses are given as a list of pairs (time in s, Stress), not {stresses!r:.40}"
        )
    for item in stresses:
        if not (isinstance(item, tuple | list) and len(item) == 2 and isinstance(item[1], Stress)):
            raise KineticsError(f"each stress is a pair (time in s, Stress), not {item!r:.60}")
        when = _finite(item[0], "the time of a stress in s")
        if not 0 <= when < end:
            raise KineticsError(f"a stress at {when:g} s is outside the course of 0 to {end:g} s")
        events.append((when, item[1]))
    events.sort(key=lambda event: event[0])
    times = [0.0, *(when for when, _ in events), end]
    kinds = [None, *(stress for _, stress in events)]
    stretches = tuple(zip(times[:-1], times[1:], kinds, strict=True))
    factor = _positive(catalyst_factor, "the catalyst factor")
    energy = None if activation is None else _finite(activation, "the activation energy in J/mol")
    return _Plan(stretches, end, start, points, factor, energy)


def _constants(plan: _Plan, m: Mixture, rates) -> np.ndarray:
    if rates is None:
        last = m
        for _, _, stress in plan.stretches[1:]:
            last = apply(stress, last, last.equilibrate()).mixture
        return chosen_constants(last.equilibrate(), plan.until / 20)
    if isinstance(rates, Mapping):
        given = {_key(name): value for name, value in rates.items()}
        wanted = [_key(r) for r in m.reactions]
        if missing := [str(r) for r, key in zip(m.reactions, wanted, strict=True) if key not in given]:
            raise KineticsError(f"no forward rate constant is given for {missing[0]}; add it to rates")
        values = [given[key] for key in wanted]
    else:
        values = [rates] * len(m.reactions)
    return np.array([_positive(value, "a forward rate constant") for value in values])


def _key(reaction) -> frozenset:
    return frozenset((read(reaction) if isinstance(reaction, str) else reaction.coefficients).items())


def _losses(m: Mixture, loss) -> dict[str, float]:
    found = {}
    for name, value in (loss or {}).items():
        key = protonated(name)
        if key not in m.network.index:
            raise KineticsError(f"{key} takes part in no reaction here{near_hint(key, m.network.names)}")
        found[key] = _finite(value, f"the loss constant of {key} in 1/s")
        if found[key] < 0:
            raise KineticsError(f"the loss constant of {key} cannot be negative")
    return found


@dataclass
class _Run:
    """The course as it grows, stretch by stretch."""

    plan: _Plan
    mixture: Mixture
    k_forward: np.ndarray
    loss: Mapping[str, float]
    chunks: list = field(default_factory=list)
    constants: list = field(default_factory=list)
    events: list = field(default_factory=list)
    lost: dict = field(default_factory=dict)
    notes: list = field(default_factory=list)

    def __post_init__(self):
        self.at_T = self.mixture.T
        if self.plan.start == "equilibrium":
            self._now(dict(self.mixture.equilibrate().amounts))

    def _now(self, moles: Mapping[str, float]) -> None:
        kept = {name: max(float(v), 0.0) / self.mixture.volume for name, v in moles.items()}
        self.mixture = self.mixture.with_(totals=kept)

    def disturb(self, when: float, stress: Stress) -> None:
        """Do a stress to what is there now."""
        applied = apply(stress, self.mixture, self.mixture.as_mixed())
        self.mixture = applied.mixture
        self.notes.extend(applied.notes)
        if stress.kind == "catalyse":
            self.k_forward = self.k_forward * self.plan.catalyst_factor
        if stress.kind == "heat_to" and self.plan.activation is not None:
            factor = math.exp(-self.plan.activation / R_J * (1 / stress.T - 1 / self.at_T))
            self.k_forward = self.k_forward * factor
        self.at_T = self.mixture.T
        self.events.append((when, stress.describe()))

    def integrate(self, begin: float, end: float) -> None:
        """One stretch without stresses."""
        from scipy.integrate import solve_ivp

        put_in = self.mixture.amounts()
        names = tuple(dict.fromkeys([*self.mixture.network.names, *put_in]))
        law = rate_law(self.mixture, names, self.k_forward, self.loss)
        first = np.array([put_in.get(name, 0.0) for name in names])
        scale = max(float(first.max(initial=0.0)), 1e-30)
        count = len(self.mixture.reactions)

        def slope(_, y):
            extents, lost = law.change(_moles(law, first, y * scale, count))
            return np.concatenate([extents, lost]) / scale

        share = max(10, int(self.plan.points * (end - begin) / self.plan.until))
        # Most happens just after a stress, so the points lie denser there.
        times = begin + (end - begin) * np.linspace(0.0, 1.0, share) ** 2
        size = count + len(names)
        found = solve_ivp(
            slope, (begin, end), np.zeros(size), method="BDF", t_eval=times, rtol=1e-8, atol=1e-12
        )
        if not found.success:
            raise KineticsError(f"the rates could not be followed beyond {found.t[-1]:g} s: {found.message}")
        self._keep(law, first, times, found.y * scale, count)

    def _keep(self, law: RateLaw, first: np.ndarray, times, y: np.ndarray, count: int) -> None:
        moles = np.array([_moles(law, first, column, count) for column in y.T])
        both = [law.rates(row) for row in moles]
        self.chunks.append(
            {
                "t": times,
                "names": law.names,
                "moles": moles,
                "conc": np.array([law.concentrations(row) for row in moles]),
                "forward": np.array([forward for forward, _ in both]).T,
                "reverse": np.array([reverse for _, reverse in both]).T,
                "extents": y[:count],
                "lost": y[count:].T + np.array([self.lost.get(name, 0.0) for name in law.names]),
                "volume": np.full(len(times), self.mixture.volume),
            }
        )
        self.constants.append((law.k_forward, law.k_reverse))
        self.lost = dict(zip(law.names, self.chunks[-1]["lost"][-1], strict=True))
        self._now(dict(zip(law.names, moles[-1], strict=True)))

    def finished(self) -> TimeCourse:
        """The stretches joined."""
        names = list(dict.fromkeys(name for chunk in self.chunks for name in chunk["names"]))
        solution = self.mixture.has_solution
        shown = [n for n in names if not (solution and n == "H2O(l)")]
        return TimeCourse(
            t=np.concatenate([chunk["t"] for chunk in self.chunks]),
            amounts={n: self._column("moles", n) for n in shown},
            concentrations={n: self._column("conc", n) for n in shown if species(n).phase in ("aq", "g")},
            forward=np.hstack([chunk["forward"] for chunk in self.chunks]),
            reverse=np.hstack([chunk["reverse"] for chunk in self.chunks]),
            extents=np.hstack([chunk["extents"] for chunk in self.chunks]),
            lost={n: self._column("lost", n) for n in shown if n in self.loss},
            volume=np.concatenate([chunk["volume"] for chunk in self.chunks]),
            k_forward=np.array([forward for forward, _ in self.constants]),
            k_reverse=np.array([reverse for _, reverse in self.constants]),
            events=tuple(self.events),
            mixture=self.mixture,
            notes=tuple(dict.fromkeys((*self.notes, *self.mixture.remarks))),
        )

    def _column(self, what: str, name: str) -> np.ndarray:
        columns = []
        for chunk in self.chunks:
            known = name in chunk["names"]
            columns.append(chunk[what][:, chunk["names"].index(name)] if known else np.zeros(len(chunk["t"])))
        return np.concatenate(columns)


def _moles(law: RateLaw, first: np.ndarray, y: np.ndarray, count: int) -> np.ndarray:
    return first + y[:count] @ law.nu - y[count:]
