"""What a catalogue file becomes: frozen records, with units in their names or their docstrings."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from types import MappingProxyType
from typing import Any

from eqlib.chem.catalogue.ghs import CHECK_SDS, STATEMENTS

_NONE: Mapping[str, Any] = MappingProxyType({})


@dataclass(frozen=True)
class Constant:
    """One published (or plainly illustrative) value of an equilibrium constant.

    ``T`` in kelvin; ``ionic_strength`` in mol/L, or None when not stated or when there is no solution.
    """

    key: str
    K: float
    T: float
    ionic_strength: float | None
    source: str
    from_memory: bool
    illustrative: bool = False
    note: str = ""
    gas_phase: bool = False

    @property
    def conditions(self):
        """Temperature and ionic strength in words."""
        if self.gas_phase:
            return f"{self.T - 273.15:.0f} °C, gas phase"
        medium = (
            "ionic strength not stated"
            if self.ionic_strength is None
            else f"I = {self.ionic_strength:g} mol/L"
        )
        return f"{self.T - 273.15:.0f} °C, {medium}"


@dataclass(frozen=True)
class Heat:
    """Reaction enthalpy in J/mol (positive: heat is taken up going forward) with its source."""

    dH: float
    source: str
    from_memory: bool
    illustrative: bool = False
    note: str = ""


@dataclass(frozen=True)
class ConstantChoice:
    """Every value known for one reaction, and the one that lessons use, with the reason for choosing it."""

    key: str
    reaction: Any
    values: Mapping[str, Constant]
    default: Constant
    why_default: str
    heat: Heat | None = None
    words: str = ""
    home: str = ""

    def pick(self, choice=None, at_zero_ionic_strength=False):
        """The default; the value keyed ``choice``; or the first one listed for zero ionic strength."""
        if choice is not None:
            return self.values[choice]
        if at_zero_ionic_strength and self.default.ionic_strength != 0:
            return next((c for c in self.values.values() if c.ionic_strength == 0), self.default)
        return self.default


@dataclass(frozen=True)
class Band:
    """A band: maximum (nm), molar absorptivity there (L/(mol cm)), full width at half height (cm⁻¹)."""

    max_nm: float
    epsilon: float
    width_cm1: float


@dataclass(frozen=True)
class Spectrum:
    """Molar absorptivity of one species, as bands or as a table of (nm, L/(mol cm)); ``shape`` says how
    rough it is.
    """

    species: str
    bands: tuple[Band, ...]
    table: tuple[tuple[float, ...], tuple[float, ...]] | None
    source: str
    from_memory: bool
    shape: str
    illustrative: bool = False
    path: str = ""

    def epsilon(self, nm):
        """Molar absorptivity (L/(mol cm), base 10) at wavelengths ``nm`` (array or number).

        Bands are Gaussian in wavenumber; a table is joined by straight lines and is zero outside its ends.
        """
        import numpy as np

        nm = np.asarray(nm, dtype=float)
        if self.table is not None:
            return np.interp(nm, *self.table, left=0.0, right=0.0)
        total = np.zeros_like(nm)
        for band in self.bands:
            offset = (1e7 / nm - 1e7 / band.max_nm) / band.width_cm1
            total = total + band.epsilon * np.exp(-4 * np.log(2) * offset**2)
        return total


@dataclass(frozen=True)
class SolidLook:
    """How a solid looks: words, an sRGB hex for its body colour, and an illustrative scatter strength.

    ``scatter`` is the extinction by scattering of the suspended solid, per cm for each mol of it in a
    litre of mixture; it depends on particle size, so it is a picture and never a measurement.
    """

    species: str
    words: str
    hex: str
    scatter: float
    source: str
    from_memory: bool
    note: str = ""
    path: str = ""


@dataclass(frozen=True)
class Hazard:
    """One bottle's hazards: pictogram words, H codes, and where the classification was read."""

    reagent: str
    formula: str
    pictograms: tuple[str, ...]
    codes: tuple[str, ...]
    source: str
    note: str = ""

    @property
    def words(self):
        """The codes spelt out, one line; ends with the standing advice to check the supplier's sheet."""
        spelt = (
            "; ".join(f"{code} {STATEMENTS[code]}" for code in self.codes)
            or "no hazard code known for this bottle"
        )
        return f"{self.reagent}: {spelt}. {CHECK_SDS}"


@dataclass(frozen=True)
class Reagent:
    """A bottle from the supplier: a solid to weigh (``formula`` with its water) or a concentrate to dilute.

    ``molarity`` (mol/L) is None for a solid. ``other_forms`` are other hydrates that give the same solution.
    """

    key: str
    name: str
    formula: str
    state: str
    molarity: float | None
    other_forms: tuple[str, ...]
    hazard: Hazard
    keep: str = ""
    note: str = ""


@dataclass(frozen=True)
class Stock:
    """A stock solution: what it contains (mol/L of each species as put in) and what it is made from.

    ``made_from`` holds (reagent key, mol/L of that reagent's formula) pairs; empty for plain water.
    """

    key: str
    name: str
    species: Mapping[str, float]
    made_from: tuple[tuple[str, float], ...]
    waste: str = ""
    keep: str = ""
    solvent: str = "water"


@dataclass(frozen=True)
class Recipe:
    """The starting mixture of one group.

    ``portions`` are (stock key, litres). ``put_in`` is mol of anything added as itself. ``totals`` is what
    results, mol per litre of ``volume`` (L), before anything reacts. ``demonstration_only``: trained staff
    show it, the class watches.
    """

    vessel: str
    portions: tuple[tuple[str, float], ...]
    put_in: Mapping[str, float]
    totals: Mapping[str, float]
    volume: float
    T: float
    headspace: float
    pressure: float | None
    path_cm: float
    steps: tuple[str, ...]
    colour: str = ""
    demonstration_only: bool = False


@dataclass(frozen=True)
class CatalogueStress:
    """A stress worth showing: what is done, which way the first reaction goes, what is seen and why.

    ``after`` is the key of the stress that comes first, if any. ``solid`` is a precipitate that should be
    there at the end, ``solid_gone`` one that should have dissolved. ``seen`` compares colour with the
    state just before.
    """

    key: str
    title: str
    stress: Any
    direction: str
    seen: str
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
    ``stresses`` those done to the recipe as mixed, ``follow_ups`` those done after another one (to
    ``before(key)``). ``data_only`` is "" for bench work, otherwise the
    words that say it must not be done on a bench.
    """

    name: str
    title: str
    about: str
    reactions: tuple[Any, ...]
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
    def stresses(self):
        """The stresses done to the recipe as mixed, by key."""
        return MappingProxyType({key: step for key, step in self.steps.items() if step.after is None})

    @property
    def follow_ups(self):
        """The stresses done after another one, by key: an acid that undoes what the alkali did."""
        return MappingProxyType({key: step for key, step in self.steps.items() if step.after is not None})

    def __reduce__(self):
        """A System travels to another process as the path of its file."""
        from eqlib.chem.catalogue import system

        return system, (self.path,)

    def mixture(
        self, totals=None, *, volume=None, T=None, constants=None, at_zero_ionic_strength=False, **more
    ):
        """The recipe as a Mixture, before anything has reacted; see ``catalogue.mixing.mixture``."""
        from eqlib.chem.catalogue.mixing import mixture

        return mixture(self, totals, volume, T, constants, at_zero_ionic_strength, more)

    def before(self, key):
        """The Mixture that the stress ``key`` is done to: the recipe, after any stresses that come ahead
        of it.
        """
        from eqlib.chem.catalogue.mixing import mixture_before

        return mixture_before(self, key)
