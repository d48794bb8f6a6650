"""How a mixture approaches equilibrium in time, with stresses on the way.

Extents of reaction are what is integrated, so atoms and charge are conserved exactly whatever the error of
the integration. Equal forward and reverse rates at the end are a result, not an assumption.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import partial

import numpy as np

from eqlib.chem.equations import read
from eqlib.chem.mixture import Mixture
from eqlib.chem.reactions import Reaction
from eqlib.chem.species import protonated, species
from eqlib.chem.state import State
from eqlib.chem.stress import Stress, apply
from eqlib.chem.thermo import R_BAR
from eqlib.errors import EqlibError, did_you_mean, finite, positive

# A solid dissolves at a rate that does not depend on how much there is, until nearly the last of it.
_LAST_OF_SOLID = 1e-12
# What a catalyst multiplies both constants of every reaction by.
_CATALYSED = 10.0


class KineticsError(EqlibError):
    """A course that cannot be computed."""


_finite = partial(finite, error=KineticsError)
_positive = partial(positive, error=KineticsError)


@dataclass(frozen=True, eq=False)
class TimeCourse:
    """Arrays along ``t`` (seconds). At a stress two points share one time: just before, and just after.

    ``amounts`` mol by species; ``concentrations`` mol/L by solute or gas; ``forward`` and ``reverse``
    rates in mol/L per second, shape (reactions, times); ``k_forward`` and ``k_reverse`` per stretch between
    stresses, shape (stretches, reactions); ``events`` pairs (time, what was done).
    """

    t: np.ndarray
    amounts: Mapping[str, np.ndarray]
    concentrations: Mapping[str, np.ndarray]
    forward: np.ndarray
    reverse: np.ndarray
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
        raise KineticsError(f"{key} is not in this mixture{did_you_mean(key, self.amounts)}")


def time_course(
    m: Mixture,
    until: float,
    stresses: Iterable[tuple[float, Stress]] = (),
    rates: float | Mapping | None = None,
    points: int = 400,
) -> TimeCourse:
    """Integrate from the composition as put in, from 0 to ``until`` seconds.

    ``stresses``: pairs (time in s, Stress). ``rates``: forward rate constants, one number for all or
    {reaction or its text: number}; None chooses them so that each reaction settles within about a
    twentieth of the time (for drawing, not measured). A catalyst makes every reaction ten times as fast;
    heating changes K alone. Raises KineticsError; the mixture is taken as ideal.
    """
    plan = _plan(m, until, stresses, points)
    run = _Run(plan, m, _constants(plan, m, rates))
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
    points: int


def _plan(m: Mixture, until: float, stresses: Iterable[tuple[float, Stress]], points: int) -> _Plan:
    if not isinstance(m, Mixture) or not m.reactions:
        raise KineticsError("time_course needs a Mixture with reactions")
    end = _positive(until, "the end time in s")
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
    return _Plan(stretches, end, points)


def _constants(plan: _Plan, m: Mixture, rates: float | Mapping | None) -> np.ndarray:
    if rates is None:
        last = m
        for _, _, stress in plan.stretches[1:]:
            if stress is None:
                continue
            last, _ = apply(stress, last, last.equilibrate())
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


def _key(reaction: Reaction | str) -> frozenset:
    return frozenset((read(reaction) if isinstance(reaction, str) else reaction.coefficients).items())


@dataclass
class _Run:
    """The course as it grows, stretch by stretch."""

    plan: _Plan
    mixture: Mixture
    k_forward: np.ndarray
    chunks: list = field(default_factory=list)
    constants: list = field(default_factory=list)
    events: list = field(default_factory=list)
    notes: list = field(default_factory=list)

    def disturb(self, when: float, stress: Stress) -> None:
        """Do a stress to what is there now."""
        self.mixture, notes = apply(stress, self.mixture, self.mixture.as_mixed())
        self.notes.extend(notes)
        if stress.kind == "catalyse":
            self.k_forward = self.k_forward * _CATALYSED
        self.events.append((when, stress.describe()))

    def integrate(self, begin: float, end: float) -> None:
        """One stretch without stresses."""
        from scipy.integrate import solve_ivp  # heavy: a second or more

        put_in = self.mixture.amounts()
        names = tuple(dict.fromkeys([*self.mixture.network.names, *put_in]))
        law = RateLaw(self.mixture, names, self.k_forward)
        first = np.array([put_in.get(name, 0.0) for name in names])
        scale = max(float(first.max(initial=0.0)), 1e-30)

        def slope(_: float, y: np.ndarray) -> np.ndarray:
            return law.change(first + (y * scale) @ law.nu) / scale

        share = max(10, int(self.plan.points * (end - begin) / self.plan.until))
        # Most happens just after a stress, so the points lie denser there.
        times = begin + (end - begin) * np.linspace(0.0, 1.0, share) ** 2
        still = np.zeros(len(self.mixture.reactions))
        found = solve_ivp(slope, (begin, end), still, method="BDF", t_eval=times, rtol=1e-8, atol=1e-12)
        if not found.success:
            raise KineticsError(f"the rates could not be followed beyond {found.t[-1]:g} s: {found.message}")
        self._keep(law, first, times, found.y * scale)

    def _keep(self, law: RateLaw, first: np.ndarray, times: np.ndarray, extents: np.ndarray) -> None:
        moles = first + extents.T @ law.nu
        both = [law.rates(row) for row in moles]
        self.chunks.append(
            {
                "t": times,
                "names": law.names,
                "moles": moles,
                "conc": np.array([law.concentrations(row) for row in moles]),
                "forward": np.array([forward for forward, _ in both]).T,
                "reverse": np.array([reverse for _, reverse in both]).T,
            }
        )
        self.constants.append((law.k_forward, law.k_reverse))
        left = zip(law.names, moles[-1] / self.mixture.volume, strict=True)
        self.mixture = self.mixture.with_(totals={name: max(float(conc), 0.0) for name, conc in left})

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


# -- mass-action rates, with constants that agree with K --------------------
# The orders are the coefficients as written: the law of an elementary step. For other reactions it still
# gives the right equilibrium, because the two constants are tied by k_forward / k_reverse = Kc.


class RateLaw:
    """Everything the integration needs, for one vessel at one temperature.

    ``nu``: coefficients, shape (reactions, species); ``k_forward``: (mol/L)^(1-order) per second, one per
    reaction, and ``k_reverse``, which follows from it and Kc.
    """

    def __init__(self, mixture: Mixture, names: tuple[str, ...], k_forward: np.ndarray) -> None:
        self.mixture, self.names = mixture, names
        nu = np.array([[float(r.coefficients.get(name, 0)) for name in names] for r in mixture.reactions])
        self.nu = nu
        self.k_forward = k_forward
        self.k_reverse = k_forward * np.exp(np.clip(-mixture.ln_K, -700.0, 700.0))
        phases = [species(name).phase for name in names]
        self.gas = np.array([phase == "g" for phase in phases])
        self.solute = np.array([phase == "aq" for phase in phases])
        self.pure = ~self.gas & ~self.solute
        self.in_gas = (nu[:, self.gas] != 0).any(axis=1) & ~(nu[:, self.solute] != 0).any(axis=1)
        self.least_solid = _LAST_OF_SOLID * max(sum(mixture.amounts().values()), 1e-30)
        # A solid's order is 1 whatever its coefficient: it is an on-off factor.
        self.left, self.right = np.maximum(-nu, 0.0), np.maximum(nu, 0.0)
        for side in (self.left, self.right):
            side[:, self.pure] = side[:, self.pure] > 0

    def volumes(self, moles: np.ndarray) -> tuple[float, float]:
        """Litres of solution and of gas; at constant pressure the gas takes the room it needs."""
        m = self.mixture
        if m.pressure is None:
            return m.volume, m.gas_space * m.volume
        room = max(float(moles[self.gas].sum()), 1e-300) * R_BAR * m.T / m.pressure
        return m.volume, room

    def concentrations(self, moles: np.ndarray) -> np.ndarray:
        """mol/L of solutes and gases; for solids, 1 while there is some, falling to 0 with the last of it."""
        solution, room = self.volumes(moles)
        there = np.maximum(moles, 0.0)
        conc = np.ones(len(moles))
        conc[self.solute] = there[self.solute] / solution
        conc[self.gas] = there[self.gas] / room if room > 0 else 0.0
        conc[self.pure] = there[self.pure] / (there[self.pure] + self.least_solid)
        return conc

    def rates(self, moles: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Forward and reverse rate of each reaction, mol/L per second."""
        conc = self.concentrations(moles)
        with np.errstate(over="ignore", under="ignore", invalid="ignore"):
            forward = self.k_forward * np.prod(conc**self.left, axis=1)
            return forward, self.k_reverse * np.prod(conc**self.right, axis=1)

    def change(self, moles: np.ndarray) -> np.ndarray:
        """Extents per second (mol/s)."""
        forward, reverse = self.rates(moles)
        solution, room = self.volumes(moles)
        litres = np.where(self.in_gas, room, solution)
        return (forward - reverse) * litres


def chosen_constants(end: State, tau: float) -> np.ndarray:
    """Forward constants that let every reaction, by itself, settle near ``end`` with relaxation time ``tau``.

    1/tau = (exchange rate) x sum of nu^2/c, the linear law of relaxation. The time scale is thus chosen for
    drawing; it is not measured.
    """
    constants = []
    for r, ln_K in zip(end.reactions, end.mixture.ln_K, strict=True):
        parts = {name: float(n) for name, n in r.quotient_species.items()}
        there = {name: end.concentrations.get(name, 0.0) for name in parts}
        left = [(there[name], -n) for name, n in parts.items() if n < 0]
        right = [(there[name], n) for name, n in parts.items() if n > 0]
        curvature = sum(n * n / there[name] for name, n in parts.items() if there[name] > 0)
        if not curvature or any(conc == 0 for conc, _ in left):
            # Nothing to settle at the end: take 1/tau for the way back instead.
            constants.append(math.exp(min(ln_K, 0.0)) / tau)
            continue
        exchange = 1 / (tau * curvature)
        product = math.exp(sum(n * math.log(conc) for conc, n in left))
        if not right:
            product = max(product, math.exp(-ln_K))
        constants.append(exchange / product)
    return np.array(constants)
