"""One student's copy of a question: their numbers, the computed chemistry, and the right value of each part.

Nothing here is stored in the question file: the right answers are computed when they are asked for.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from types import MappingProxyType
from typing import Any

from eqlib.assess.asks import ASKS
from eqlib.assess.asks.base import Part
from eqlib.assess.asks.number import moved, worked_extent
from eqlib.assess.setting import KELVIN, MeasuredTable, Portion, Setting
from eqlib.assess.tables import value_of
from eqlib.chem.disturb import Disturbance, disturb
from eqlib.chem.reactions import Reaction
from eqlib.chem.state import State
from eqlib.lab.look import Look, compare_disturbance

NOTHING: Mapping[str, Any] = MappingProxyType({})
Conc = Mapping[str, float]


def _nothing() -> Mapping[str, Any]:
    """An empty mapping that nobody can write to."""
    return NOTHING


@dataclass(frozen=True, eq=False)
class Case:
    """One student's copy of a question.

    Concentrations are mol/L by canonical species name, aqueous and gaseous species together.
    ``portions``   what was poured together to make the start (empty when the start is given as totals);
                   ``start`` the Mixture they make, ``volume`` (L) and ``temperature`` (K) its own.
    ``mixed``      concentrations after mixing, before any reaction (row I of the ICE table).
    ``before``     at equilibrium, before the stress.  ``at_once``  just after it.  ``after``  at the new
    equilibrium. ``states`` are the eqlib States of these four moments.
    ``equilibrium`` the concentrations that go into K for this question (from what was measured, where
    something was).
    ``measured``   readings by name: "absorbance", "epsilon", "path", "blank", "nm"; or "concentration"; or
                   "K1", "T1", "K2", "T2" (kelvin); or "run1", "run2" ... (repeated results);
                   or "acid", "base", "between" (absorbances of an indicator) and "pH".
                   ``observed`` is the species the reading belongs to, ``extent`` (mol/L) how far the first
                   reaction went, by the reading or, alone, by K.
    ``stress``     what is done, or None.  ``disturbance`` what it did, or None.
    ``look``       the change of appearance, where the question asks for it.
    ``parts``      all parts of the question; ``expected`` their right values by part id (parts that a person
                   marks have none).
    """

    parts: tuple[Part, ...]
    expected: Mapping[str, Any] = field(default_factory=_nothing)
    setting: Setting = field(default_factory=Setting)
    numbers: Conc = field(default_factory=_nothing)
    reactions: tuple[Reaction, ...] = ()
    portions: tuple[Portion, ...] = ()
    start: Any = None
    volume: float = 0.0
    temperature: float = 298.15
    mixed: Conc = field(default_factory=_nothing)
    before: Conc = field(default_factory=_nothing)
    at_once: Conc = field(default_factory=_nothing)
    after: Conc = field(default_factory=_nothing)
    equilibrium: Conc = field(default_factory=_nothing)
    measured: Conc = field(default_factory=_nothing)
    observed: str = ""
    extent: float | None = None
    stress: Any = None
    disturbance: Any = None
    look: Any = None
    states: Mapping[str, State] = field(default_factory=_nothing)

    @property
    def reaction(self) -> Reaction:
        """The first reaction: the one a direction, Q, K or ICE table is about."""
        return self.reactions[0]

    @property
    def direction(self) -> str | None:
        """Which way the first reaction goes after the stress; None without one."""
        return getattr(self.disturbance, "direction", None)


def case_for(setting: Setting, parts: tuple[Part, ...], numbers: Conc) -> Case:
    """The Case of these numbers. Raises EqlibError where there is none."""
    case = _computed(setting, parts, numbers)
    if setting.measured is None:
        if case.reactions:
            case = replace(case, extent=_extent_alone(case))
    else:
        case = _with_reading(case, setting.measured)
    expected = {
        part.id: ASKS[part.ask].expected(part, case, NOTHING)
        for part in parts
        if part.ask not in ("explain", "confidence")
    }
    return replace(case, expected=MappingProxyType(expected))


def _computed(setting: Setting, parts: tuple[Part, ...], numbers: Conc) -> Case:
    """The states of the mixture, before anything is read off it."""
    reactions = setting.reactions_for(numbers)
    mixture = setting.mixture(reactions, numbers)
    stress = setting.stress_for(numbers)
    states: dict[str, State] = {}
    disturbance = None
    if mixture is not None and reactions and all(reaction.has_K for reaction in reactions):
        states["mixed"] = mixture.as_mixed()
        if stress is None:
            states["before"] = mixture.equilibrate()
        else:
            disturbance = disturb(mixture, stress)
            states["before"], states["at_once"] = disturbance.before, disturbance.at_once
            states["after"] = disturbance.after
    moments = {moment: MappingProxyType(_dissolved(state, reactions)) for moment, state in states.items()}
    return Case(
        parts=parts,
        setting=setting,
        numbers=MappingProxyType(dict(numbers)),
        reactions=reactions,
        portions=setting.portions(numbers),
        start=mixture,
        volume=0.0 if mixture is None else mixture.volume,
        temperature=298.15 if mixture is None else mixture.T,
        stress=stress,
        disturbance=disturbance,
        look=_look(parts, disturbance),
        states=MappingProxyType(states),
        mixed=moments.get("mixed", NOTHING),
        before=moments.get("before", NOTHING),
        at_once=moments.get("at_once", NOTHING),
        after=moments.get("after", NOTHING),
        equilibrium=moments.get("before", NOTHING),
    )


def _look(parts: tuple[Part, ...], disturbance: Disturbance | None) -> Look | None:
    """The change of appearance, where some part asks for it."""
    if disturbance is None or not any(part.ask in ("seen", "precipitate") for part in parts):
        return None
    return compare_disturbance(disturbance)


def _with_reading(case: Case, table: MeasuredTable) -> Case:
    """With what was measured; from then on it is the reading, not the engine, that K is worked from."""
    numbers, setting = case.numbers, case.setting
    if table.reading == "temperatures":
        known = {"K1": table.K1, "K2": table.K2} if table.K1 is not None else setting.constants(numbers)
        measured = {name: value_of(value, numbers) for name, value in known.items() if value is not None}
        for n in (1, 2):
            measured[f"T{n}"] = value_of(getattr(table, f"celsius{n}"), numbers) + KELVIN
        return replace(case, measured=MappingProxyType(measured))
    if table.reading == "runs":
        measured = {f"run{n}": value_of(item, numbers) for n, item in enumerate(table.runs, start=1)}
        return replace(case, measured=MappingProxyType(measured))
    if table.reading == "indicator":
        measured = {key: value_of(getattr(table, key), numbers) for key in ("acid", "base", "pH")}
        measured["between"] = float(table.between(numbers))
        return replace(case, measured=MappingProxyType(measured))
    assert table.species is not None
    measured = {table.reading: float(table.read(case.states["before"], numbers)), **table.optics(numbers)}
    if table.nm is not None:
        measured["nm"] = value_of(table.nm, numbers)
    case = replace(case, measured=MappingProxyType(measured), observed=table.species)
    return _read_off(case, worked_extent(case))


def _read_off(case: Case, extent: float) -> Case:
    """Before and at once as the student can know them: from the rounded reading, not from the engine's
    digits.
    """
    equilibrium = moved(case, extent)
    before = {**case.before, **equilibrium}
    at_once = dict(case.at_once)
    if case.disturbance is not None:
        share = case.disturbance.before.volume / case.disturbance.at_once.volume
        for name, value in equilibrium.items():
            at_once[name] += share * (value - case.before[name])
    return replace(
        case,
        extent=extent,
        equilibrium=MappingProxyType(equilibrium),
        before=MappingProxyType(before),
        at_once=MappingProxyType(at_once),
    )


def _extent_alone(case: Case) -> float | None:
    """How far the first reaction went from mixing to ``before``, when it is the only one."""
    if len(case.reactions) != 1 or not case.before:
        return None
    name, nu = next(iter(case.reaction.quotient_species.items()))
    return (case.before.get(name, 0.0) - case.mixed.get(name, 0.0)) / float(nu)


def _dissolved(state: State, reactions: tuple[Reaction, ...]) -> dict[str, float]:
    """Concentrations of everything that is not a solid or the solvent; what stands in a K and is absent is
    0.
    """
    found = {name: float(value) for name, value in state.concentrations.items()}
    for reaction in reactions:
        for name in reaction.quotient_species:
            found.setdefault(name, 0.0)
    return found
