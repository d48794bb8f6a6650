"""What a catalogue file becomes: the System, its recipe and stresses, every value known of its constants; and
whether what it claims of its stresses is what the engine finds.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from types import MappingProxyType

from eqlib.chem.catalogue.faults import CatalogueError, Faults, complaint, suggestion
from eqlib.chem.catalogue.records import (
    Constant,
    Direction,
    Hazard,
    Heat,
    Reagent,
    Seen,
    SolidLook,
    Spectrum,
    Stock,
)
from eqlib.chem.disturb import Disturbance, disturb
from eqlib.chem.mixture import Mixture
from eqlib.chem.reactions import Reaction
from eqlib.chem.species import species
from eqlib.chem.state import State
from eqlib.chem.stress import Stress
from eqlib.errors import EqlibError

NOTICED = 1e-5  # mol per litre of mixture; less of a solid than this is not expected to be seen


@dataclass(frozen=True)
class ConstantChoice:
    """Every value known for one reaction, and the one that lessons use, with the reason for choosing it."""

    key: str
    reaction: Reaction
    values: Mapping[str, Constant]
    default: Constant
    why_default: str
    heat: Heat | None = None
    words: str = ""
    home: str = ""

    def with_value(self, key: str) -> Reaction:
        """The reaction with the constant listed as ``key``."""
        r, value = self.reaction, self.values[key]
        return Reaction(
            str(r), K=value.K, basis=r.basis, T=value.T, dH=r.dH, name=self.key, source=value.source
        )


@dataclass(frozen=True)
class Recipe:
    """The starting mixture of one group.

    ``portions`` are (stock key, litres). ``totals`` is what results, mol per litre of ``volume`` (L), before
    anything reacts; ``T`` in kelvin, ``headspace`` in L, ``pressure`` in bar.
    """

    vessel: str
    portions: tuple[tuple[str, float], ...]
    totals: Mapping[str, float]
    volume: float
    T: float
    headspace: float
    pressure: float | None
    path_cm: float
    steps: tuple[str, ...]
    colour: str = ""
    demonstration_only: bool = False
    note: str = ""


@dataclass(frozen=True)
class CatalogueStress:
    """A stress worth showing, ready to be done; the fields are those of StressTable."""

    key: str
    title: str
    stress: Stress
    direction: Direction
    seen: Seen
    seen_words: str
    why: str
    caution: str
    reversal: str
    after: str | None = None
    solid: str | None = None
    solid_gone: str | None = None
    on_bench: bool = True
    portions: tuple[tuple[str, float], ...] = ()


@dataclass(frozen=True, eq=False)
class System:
    """One demonstration: its chemistry, its recipe, its stresses and its cautions.

    ``reactions`` stand with the one under study first. ``steps`` are all its stresses by key, in order;
    ``stresses`` those done to the recipe as mixed. ``data_only`` is "" for bench work, otherwise the words
    that say it must not be done.
    """

    name: str
    title: str
    about: str
    reactions: tuple[Reaction, ...]
    constants: Mapping[str, ConstantChoice]
    recipe: Recipe
    stocks: Mapping[str, Stock]
    reagents: Mapping[str, Reagent]
    steps: Mapping[str, CatalogueStress]
    spectra: Mapping[str, Spectrum]
    solids: Mapping[str, SolidLook]
    hazards: tuple[Hazard, ...]
    ppe: tuple[str, ...]
    waste: tuple[str, ...]
    spill: tuple[str, ...]
    pitfalls: tuple[str, ...]
    sources: tuple[str, ...]
    data_only: str = ""
    path: Path = field(default=Path(), compare=False)

    @property
    def stresses(self) -> Mapping[str, CatalogueStress]:
        """The stresses done to the recipe as mixed, by key."""
        return MappingProxyType({key: step for key, step in self.steps.items() if step.after is None})

    def mixture(
        self, totals: Mapping[str, float] | None = None, constants: Mapping[str, str] | None = None
    ) -> Mixture:
        """The recipe as a Mixture, before anything has reacted.

        ``totals`` (mol/L) replaces or adds to the recipe's; ``constants`` maps a reaction's key to the key of
        another of its listed values.
        """
        if totals is not None and not isinstance(totals, Mapping):
            raise CatalogueError(
                f"{self.name}: totals are written {{'Ag^+': 0.1}} in mol/L, not {totals!r:.60}."
            )
        recipe = self.recipe
        return Mixture(
            {**recipe.totals, **{species(name).name: value for name, value in (totals or {}).items()}},
            reactions=self._reactions_with(constants or {}),
            volume=recipe.volume,
            T=recipe.T,
            headspace=recipe.headspace,
            pressure=recipe.pressure,
        )

    def _reactions_with(self, constants: Mapping[str, str]) -> tuple[Reaction, ...]:
        for key, wanted in constants.items():
            if key not in self.constants:
                mend = suggestion(key, self.constants)
                raise CatalogueError(f"{self.name} has no reaction {key!r}; {mend}.")
            values = self.constants[key].values
            if wanted not in values:
                raise CatalogueError(
                    f"{self.name}, {key}: no value {wanted!r}; {suggestion(wanted, values)}."
                )
        return tuple(
            choice.with_value(constants[key]) if key in constants else choice.reaction
            for key, choice in self.constants.items()
        )

    def before(self, key: str) -> Mixture:
        """The Mixture that the stress ``key`` is done to: the recipe, after any stresses ahead of it."""
        if key not in self.steps:
            raise CatalogueError(f"{self.name} has no stress {key!r}; {suggestion(key, self.steps)}.")
        earlier = self.steps[key].after
        if earlier is None:
            return self.mixture()
        return disturb(self.before(earlier), self.steps[earlier].stress).mixture


# -- claims: what a file says about its stresses is tried, not believed --------------------------------------


def outcome_of(system: System, key: str) -> Disturbance:
    """The Disturbance of the stress ``key``, done to the recipe after the stresses that come ahead of it."""
    return disturb(system.before(key), system.steps[key].stress)


def check_claims(system: System) -> None:
    """Raise CatalogueError when a stress cannot be done, or its direction or solid is not what the engine
    finds.
    """
    faults = Faults(system.path)
    try:
        system.mixture().equilibrate()
    except EqlibError as error:
        raise complaint(system.path, "recipe", "cannot be solved", str(error).rstrip(".")) from None
    for key, claim in system.steps.items():
        where = f"stress {key!r}"
        try:
            outcome = outcome_of(system, key)
        except CatalogueError:
            raise
        except EqlibError as error:
            faults.add(where, "cannot be done to the recipe", str(error).rstrip("."))
            continue
        if outcome.direction != claim.direction:
            what = f"says {claim.direction}, but the first reaction goes {outcome.direction}"
            faults.add(f"{where}, direction", what, "correct the claim, the recipe or the constants")
        _check_solids(faults, where, claim, outcome.after)
    faults.stop_if_any()


def _check_solids(faults: Faults, where: str, claim: CatalogueStress, after: State) -> None:
    mend = "correct the claim, or the recipe"
    if claim.solid and after.solids[claim.solid] < NOTICED:
        what = f"{claim.solid} is hardly there: {after.solids[claim.solid]:.1e} mol/L"
        faults.add(f"{where}, solid", what, mend)
    if claim.solid_gone and after.solids[claim.solid_gone] >= NOTICED:
        what = f"{claim.solid_gone} is still there: {after.solids[claim.solid_gone]:.1e} mol/L"
        faults.add(f"{where}, solid_gone", what, mend)
