"""The chemistry of a question as its file states it, and as one student has it.

The classes are the documented form of the tables: [question.start], [question.stress], [question.measured]
and the reactions. Their methods put one student's numbers in and give the objects of ``eqlib.chem``.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Decimal
from functools import cached_property
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import (
    Discriminator,
    Field,
    PrivateAttr,
    Tag,
    field_validator,
    model_validator,
)

from eqlib.assess.tables import CATALOGUE, Formula, QuestionError, Table, Value, near, value_of
from eqlib.chem.catalogue import System, spectrum, system, systems
from eqlib.chem.mixture import Mixture
from eqlib.chem.reactions import Reaction
from eqlib.chem.salts import dissolved
from eqlib.chem.species import canonical
from eqlib.chem.state import State
from eqlib.chem.stress import Stress
from eqlib.errors import EqlibError
from eqlib.lab.practical.analysis import concentration_from_reading

KELVIN = 273.15
Numbers = Mapping[str, float]


@dataclass(frozen=True)
class Portion:
    """One solution poured in: ``concentrations`` (species -> mol/L in its bottle) and ``volume`` (L). Water
    has none.
    """

    concentrations: Mapping[str, float]
    volume: float


class ReactionTable(Table):
    """One of ``reactions``: Kc (basis "c") or Kp (basis "p", gases in bar), at ``celsius``."""

    text: str
    K: Value | None = None
    basis: Literal["c", "p"] = "c"
    dH_kJ: Value | None = None
    celsius: Value | None = None

    def reaction(self, numbers: Numbers) -> Reaction:
        settings: dict[str, Any] = {"basis": self.basis}
        if self.K is not None:
            settings["K"] = value_of(self.K, numbers)
        if self.celsius is not None:
            settings["T"] = value_of(self.celsius, numbers) + KELVIN
        if self.dH_kJ is not None:
            settings["dH"] = 1000.0 * value_of(self.dH_kJ, numbers)
        return Reaction(self.text, **settings)


class _Bottle(Table):
    """A solution: what is in it, ``of`` in mol/L or ``of_mM`` in mmol/L; salts are split into their ions."""

    of: dict[str, Value] | None = None
    of_mM: dict[str, Value] | None = None

    def contents(self, numbers: Numbers) -> dict[str, float]:
        """Species -> mol/L."""
        scale, named = (1.0, self.of) if self.of is not None else (1e-3, self.of_mM or {})
        return dissolved({name: scale * value_of(item, numbers) for name, item in named.items()})


class PortionTable(_Bottle):
    """One of ``portions``: ``mL`` of it, or ``to_mL``: filled up to this volume."""

    mL: Value | None = None
    to_mL: Value | None = None

    @model_validator(mode="after")
    def _once(self) -> PortionTable:
        if (self.mL is None) == (self.to_mL is None):
            raise ValueError("say how much once, as mL (this portion) or to_mL (water up to this volume)")
        if self.of is not None and self.of_mM is not None:
            raise ValueError("say what is in it once, as of (mol/L) or of_mM (mmol/L)")
        return self


class StartTable(Table):
    """[question.start]: portions poured together, or totals in mol/L; solids in mmol."""

    portions: tuple[PortionTable, ...] = ()
    totals: dict[str, Value] | None = None
    solids: dict[str, Value] = Field(default_factory=dict)
    volume_L: Value = Decimal(1)
    celsius: Value | None = None
    pressure_bar: Value | None = None
    headspace_L: Value | None = None

    @model_validator(mode="after")
    def _one_way(self) -> StartTable:
        if self.portions and self.totals is not None:
            raise ValueError("has both portions and totals; keep one")
        return self

    @field_validator("solids")
    @classmethod
    def _solids(cls, given: dict[str, Value]) -> dict[str, Value]:
        for name in given:
            if not canonical(name).endswith("(s)"):
                raise ValueError(f"holds {name!r}, which is not a solid; pour it in under portions")
        return given

    def poured(self, numbers: Numbers) -> tuple[Portion, ...]:
        """What is poured together, in order; ``to_mL`` is completed with water (or the portion's own)."""
        poured: list[Portion] = []
        volume = 0.0
        for table in self.portions:
            amount = table.mL if table.mL is not None else table.to_mL
            assert amount is not None
            litres = 1e-3 * value_of(amount, numbers)
            if table.mL is not None and litres < 0:
                raise QuestionError(f"start: a portion has {1e3 * litres:g} mL; write a volume of 0 or more")
            if table.to_mL is not None:
                litres -= volume
            if litres < -1e-12:
                raise QuestionError(f"start: the portions already pass {amount} mL; raise it")
            poured.append(Portion(table.contents(numbers), max(litres, 0.0)))
            volume += max(litres, 0.0)
        return tuple(poured)

    def mixture(self, reactions: tuple[Reaction, ...], numbers: Numbers) -> Mixture:
        """The mixture before any stress."""
        settings: dict[str, Any] = {}
        if self.celsius is not None:
            settings["T"] = value_of(self.celsius, numbers) + KELVIN
        if self.pressure_bar is not None:
            settings["pressure"] = value_of(self.pressure_bar, numbers)
        if self.headspace_L is not None:
            settings["headspace"] = value_of(self.headspace_L, numbers)
        portions = self.poured(numbers)
        totals: dict[str, float] = {}
        if portions:
            volume = sum(portion.volume for portion in portions)
            if volume <= 0:
                raise QuestionError("start: the portions have no volume; give at least one a volume above 0")
            for portion in portions:
                for name, molar in portion.concentrations.items():
                    totals[name] = totals.get(name, 0.0) + molar * portion.volume / volume
        else:
            volume = value_of(self.volume_L, numbers)
            given = self.totals or {}
            totals = {canonical(name): value_of(item, numbers) for name, item in given.items()}
        for name, item in self.solids.items():
            totals[canonical(name)] = 1e-3 * value_of(item, numbers) / volume
        return Mixture(totals, reactions=reactions, volume=volume, **settings)


# -- what is done to it ---------------------------------------------------------------------------------


class _StressTable(Table):
    def stress(self, numbers: Numbers) -> Stress:
        raise NotImplementedError


class AddSolution(_Bottle, _StressTable):
    kind: Literal["add_solution"]
    mL: Value

    @model_validator(mode="after")
    def _contents(self) -> AddSolution:
        if (self.of is None) == (self.of_mM is None):
            raise ValueError("write what is in the solution once, as of (mol/L) or of_mM (mmol/L)")
        return self

    def stress(self, numbers: Numbers) -> Stress:
        return Stress.add_solution(self.contents(numbers), volume=1e-3 * value_of(self.mL, numbers))


class Dilute(_StressTable):
    kind: Literal["dilute"]
    mL: Value

    def stress(self, numbers: Numbers) -> Stress:
        return Stress.dilute(1e-3 * value_of(self.mL, numbers))


class AddSolid(_StressTable):
    kind: Literal["add_solid"]
    formula: str
    mmol: Value

    def stress(self, numbers: Numbers) -> Stress:
        return Stress.add_solid(self.formula, 1e-3 * value_of(self.mmol, numbers))


class Add(_StressTable):
    kind: Literal["add"]
    species: str
    mmol: Value

    def stress(self, numbers: Numbers) -> Stress:
        return Stress.add(self.species, 1e-3 * value_of(self.mmol, numbers))


class Remove(_StressTable):
    kind: Literal["remove"]
    species: str
    mmol: Value

    def stress(self, numbers: Numbers) -> Stress:
        return Stress.remove(self.species, 1e-3 * value_of(self.mmol, numbers))


class HeatTo(_StressTable):
    kind: Literal["heat_to"]
    celsius: Value

    def stress(self, numbers: Numbers) -> Stress:
        return Stress.heat_to(value_of(self.celsius, numbers) + KELVIN)


class ChangeVolume(_StressTable):
    kind: Literal["change_volume"]
    L: Value | None = None
    mL: Value | None = None

    @model_validator(mode="after")
    def _once(self) -> ChangeVolume:
        if (self.L is None) == (self.mL is None):
            raise ValueError("write the new volume once, as L or as mL")
        return self

    def stress(self, numbers: Numbers) -> Stress:
        if self.L is not None:
            return Stress.change_volume(value_of(self.L, numbers))
        assert self.mL is not None
        return Stress.change_volume(1e-3 * value_of(self.mL, numbers))


class AddInert(_StressTable):
    kind: Literal["add_inert"]
    mmol: Value
    constant: Literal["volume", "pressure"]

    def stress(self, numbers: Numbers) -> Stress:
        return Stress.add_inert(1e-3 * value_of(self.mmol, numbers), constant=self.constant)


class Catalyse(_StressTable):
    kind: Literal["catalyse"]

    def stress(self, numbers: Numbers) -> Stress:
        return Stress.catalyse()


def _kind_of(given: Any) -> Any:
    """Which table a stress is; a text names one of the system's own."""
    if isinstance(given, (str, Table)):
        return "name" if isinstance(given, str) else getattr(given, "kind", None)
    return given.get("kind") if isinstance(given, dict) else None


StressTable = Annotated[
    Annotated[AddSolution, Tag("add_solution")]
    | Annotated[Dilute, Tag("dilute")]
    | Annotated[AddSolid, Tag("add_solid")]
    | Annotated[Add, Tag("add")]
    | Annotated[Remove, Tag("remove")]
    | Annotated[HeatTo, Tag("heat_to")]
    | Annotated[ChangeVolume, Tag("change_volume")]
    | Annotated[AddInert, Tag("add_inert")]
    | Annotated[Catalyse, Tag("catalyse")]
    | Annotated[str, Tag("name")],
    Discriminator(_kind_of),
]

# -- what is read off it --------------------------------------------------------------------------------

_NEEDED = {
    "absorbance": ("species", "epsilon", "path_cm"),
    "concentration": ("species",),
    "temperatures": ("celsius1", "celsius2"),
    "runs": ("runs",),
    "indicator": ("acid", "base", "pH", "share"),
}


class MeasuredTable(Table):
    """[question.measured]: a reading that the student is given."""

    reading: Literal["absorbance", "concentration", "temperatures", "runs", "indicator"]
    species: Formula | None = None
    epsilon: Value | None = None
    path_cm: Value | None = None
    blank: Value | None = None
    nm: Value | None = None
    decimals: int = Field(default=3, ge=0, le=9, strict=True)
    figures: int = Field(default=3, ge=1, le=9, strict=True)
    K1: Value | None = None
    K2: Value | None = None
    celsius1: Value | None = None
    celsius2: Value | None = None
    runs: tuple[Value, ...] = ()
    acid: Value | None = None
    base: Value | None = None
    pH: Value | None = None
    share: Value | None = None

    @model_validator(mode="after")
    def _complete(self) -> MeasuredTable:
        missing = [key for key in _NEEDED[self.reading] if getattr(self, key) in (None, ())]
        if missing:
            raise ValueError(f"{missing[0]} is missing; add a line {missing[0]} = ...")
        if self.reading == "runs" and len(self.runs) < 2:
            raise ValueError("runs needs at least two of the question's numbers")
        if self.from_catalogue and (self.species is None or not isinstance(self.nm, Decimal)):
            raise ValueError(
                f"epsilon = {CATALOGUE!r} needs nm = ... and a species with a spectrum in the catalogue"
            )
        if self.from_catalogue:
            self.absorptivity({})
        return self

    @property
    def from_catalogue(self) -> bool:
        """Is the absorptivity looked up?"""
        return self.epsilon == CATALOGUE

    @property
    def of_mixture(self) -> bool:
        """Is the reading made by computing the mixture?"""
        return self.reading in ("absorbance", "concentration")

    @cached_property
    def _looked_up(self) -> Decimal:
        found = spectrum(self.species or "")
        if found is None:
            raise ValueError(
                f"epsilon = {CATALOGUE!r} needs nm = ... and a species with a spectrum in the catalogue"
            )
        assert isinstance(self.nm, Decimal)
        value = float(found.epsilon(float(self.nm)))
        if value < 1:
            raise ValueError(f"{self.species} does not absorb at {self.nm} nm")
        return round_to(value, figures=3)

    def absorptivity(self, numbers: Numbers) -> float:
        """L/(mol cm)."""
        if self.from_catalogue:
            return float(self._looked_up)
        assert self.epsilon is not None
        return value_of(self.epsilon, numbers)

    def printed_absorptivity(self) -> Decimal | None:
        """As it stands in the prompt; None where it is one of the question's numbers (or not there)."""
        if self.from_catalogue:
            return self._looked_up
        return self.epsilon if isinstance(self.epsilon, Decimal) else None

    def optics(self, numbers: Numbers) -> dict[str, float]:
        """epsilon, path and blank, where there is an absorptivity."""
        if self.epsilon is None:
            return {}
        path = 1.0 if self.path_cm is None else value_of(self.path_cm, numbers)
        blank = 0.0 if self.blank is None else value_of(self.blank, numbers)
        return {"epsilon": self.absorptivity(numbers), "path": path, "blank": blank}

    def between(self, numbers: Numbers) -> Decimal:
        """The absorbance of an indicator of which ``share`` is in its base form, rounded as printed."""
        found = (self.acid, self.base, self.share)
        acid, base, share = (value_of(item, numbers) for item in found if item is not None)
        return round_to(acid + share * (base - acid), decimals=self.decimals)

    def read(self, state: State, numbers: Numbers) -> Decimal:
        """The reading of ``state``, rounded as printed."""
        amount = float(state[self.species or ""])
        if self.reading == "absorbance":
            light = self.optics(numbers)
            value = light["blank"] + light["epsilon"] * light["path"] * amount
            return round_to(value, decimals=self.decimals)
        return round_to(amount, figures=self.figures)


def read_amount(measured: Mapping[str, float]) -> float:
    """The observed species in mol/L, from the reading: Beer and Lambert for an absorbance."""
    if "absorbance" not in measured:
        return measured["concentration"]
    return concentration_from_reading(
        measured["absorbance"], measured["epsilon"], measured["path"], measured["blank"]
    )


def round_to(value: float, *, decimals: int | None = None, figures: int | None = None) -> Decimal:
    """``value`` as a decimal with so many decimals, or so many significant figures."""
    exact = Decimal(repr(value))
    if decimals is None:
        assert figures is not None
        decimals = figures - 1 - exact.adjusted() if exact else 0
    return exact.quantize(Decimal(1).scaleb(-decimals), rounding=ROUND_HALF_EVEN)


# -- all of it ------------------------------------------------------------------------------------------


class Setting(Table):
    """What a [[question]] says about its chemistry."""

    system: str | None = None
    reactions: tuple[ReactionTable, ...] | None = None
    use: tuple[int, ...] | None = None
    K: Value | None = None
    basis: Literal["c", "p"] | None = None
    start: StartTable | None = None
    stress: StressTable | None = None
    measured: MeasuredTable | None = None
    cautions_from: tuple[str, ...] = ()
    _folder: Path | None = PrivateAttr(default=None)

    def model_post_init(self, context: Any, /) -> None:
        self._folder = (context or {}).get("folder")

    @cached_property
    def found(self) -> System | None:
        """The system named, out of the catalogue or (a path ending in .toml) beside the question file."""
        if self.system is None:
            return None
        if self.system.endswith(".toml"):
            return system(self._folder / self.system if self._folder else self.system)
        try:
            return system(self.system)
        except EqlibError as error:
            known = near(self.system, systems())
            if "did you mean" in known and known not in str(error):
                raise QuestionError(f"system {self.system!r} is not in the catalogue{known}") from None
            raise

    @property
    def has_chemistry(self) -> bool:
        return self.system is not None or self.reactions is not None

    def first_reaction(self) -> Reaction | None:
        """The first reaction, whatever its K."""
        if self.found is not None:
            return self._used(self.found)[0]
        return Reaction(self.reactions[0].text) if self.reactions else None

    def reactions_for(self, numbers: Numbers) -> tuple[Reaction, ...]:
        """The reactions with this student's constants; () when there is no chemistry."""
        if self.found is not None:
            reactions = self._used(self.found)
        else:
            reactions = tuple(table.reaction(numbers) for table in self.reactions or ())
        if not reactions:
            return ()
        first, rest = reactions[0], reactions[1:]
        if self.basis is not None and self.basis != first.basis:
            first = first.as_basis(self.basis, first.T)
        if self.K is not None:
            first = first.with_K(value_of(self.K, numbers))
        return (first, *rest)

    def _used(self, found: System) -> tuple[Reaction, ...]:
        reactions = tuple(found.reactions)
        if self.use is None:
            return reactions
        for index in self.use:
            if not 0 <= index < len(reactions):
                raise QuestionError(
                    f"use holds {index!r}; the system has reactions 0 to {len(reactions) - 1}"
                )
        return tuple(reactions[index] for index in self.use)

    def portions(self, numbers: Numbers) -> tuple[Portion, ...]:
        return self.start.poured(numbers) if self.start is not None else ()

    def mixture(self, reactions: tuple[Reaction, ...], numbers: Numbers) -> Mixture | None:
        """The mixture before any stress; None when there is nothing to compute."""
        if self.start is None:
            return self.found.mixture() if self.found is not None else None
        return self.start.mixture(reactions, numbers)

    def stress_for(self, numbers: Numbers, table: Any = None) -> Stress | None:
        """The question's stress, or that of one ``table`` of it (an item of an order)."""
        table = self.stress if table is None else table
        if table is None:
            return None
        if isinstance(table, str):
            if self.found is None:
                raise QuestionError(f"stress {table!r} is a name, but there is no system to look it up in")
            if table not in self.found.steps:
                raise QuestionError(
                    f"system {self.system!r} has no stress {table!r}{near(table, self.found.steps)}"
                )
            return self.found.steps[table].stress
        return table.stress(numbers)

    def constants(self, numbers: Numbers) -> dict[str, Decimal]:
        """K of the first reaction at both temperatures, to three figures: what the student is given."""
        assert self.measured is not None
        reactions = self.reactions_for(numbers)
        if not reactions:
            raise QuestionError("measured: K1 and K2 are missing, and there is no system to take them from")
        found = {}
        for n in (1, 2):
            kelvin = value_of(getattr(self.measured, f"celsius{n}"), numbers) + KELVIN
            found[f"K{n}"] = round_to(reactions[0].at(kelvin).require_K(), figures=3)
        return found

    def reading(self, numbers: Numbers) -> Decimal:
        """The reading the student is given, as printed."""
        assert self.measured is not None
        mixture = self.mixture(self.reactions_for(numbers), numbers)
        assert mixture is not None
        return self.measured.read(mixture.equilibrate(), numbers)

    def printed(self, name: str, numbers: Numbers) -> Decimal:
        """A reading, or a constant the student is given, as it stands in the prompt."""
        if name in ("absorbance", "concentration"):
            return self.reading(numbers)
        if name == "between" and self.measured is not None:
            return self.measured.between(numbers)
        if name == "epsilon" and self.measured is not None:
            found = self.measured.printed_absorptivity()
            assert found is not None
            return found
        if name in ("K", "dH"):
            first = self.reactions_for(numbers)[0]
            return round_to(first.require_K() if name == "K" else (first.dH or 0.0) / 1000, figures=3)
        return self.constants(numbers)[name]

    def placeholders(self, asked: set[str]) -> set[str]:
        """Names a prompt may show beside the question's numbers; ``asked`` are the quantities asked for."""
        names: set[str] = set()
        if self.measured is not None:
            if self.measured.of_mixture:
                names.add(self.measured.reading)
            if self.measured.reading == "indicator":
                names.add("between")
            if self.measured.reading == "temperatures" and self.measured.K1 is None:
                names |= {"K1", "K2"}
            if self.measured.printed_absorptivity() is not None and "epsilon" not in asked:
                names.add("epsilon")
        if self.has_chemistry and not asked & {"K", "dH"}:
            names |= {"K", "dH"}
        return names
