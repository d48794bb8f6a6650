"""The prep sheet: what to weigh, what to dilute, what to write on the bottles, for a class of so many groups.

Amounts follow from the catalogue's recipes: enough for every stress in a well of its own and two control
wells, times the groups, plus a reserve and a demonstration (common practice, no source). Masses are of the
form in the bottle, water of crystallisation included.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass

from eqlib.chem.catalogue import System
from eqlib.chem.catalogue import system as find_system
from eqlib.chem.catalogue.ghs import CHECK_SDS
from eqlib.chem.species import species
from eqlib.errors import EqlibError

FLASKS_ML = (10, 25, 50, 100, 250, 500, 1000, 2000)
CONTROLS = 2  # one well left alone, one that gets water in place of the reagent
DROPPER_L = 0.002  # a dropper bottle holds at least this (common practice, no source)
LEAST_CONCENTRATE_L = 0.0005  # less is not measured well (common practice, no source)
LEAST_MASS_G = (
    0.05  # less than this is not weighed well on a balance that shows 0.001 g (common practice, no source)
)


class PrepError(EqlibError):
    """A prep sheet that cannot be made as asked."""


@dataclass(frozen=True)
class Weighing:
    """A solid to weigh: grams of ``formula``. ``others`` are (formula, grams) of other forms that would do
    as well.

    ``dry_trap`` is (formula without water, grams, fraction): weighing that by mistake gives a stock of
    only that fraction of the strength wanted; None for a solid without water.
    """

    reagent: str
    name: str
    formula: str
    grams: float
    others: tuple[tuple[str, float], ...] = ()
    dry_trap: tuple[str, float, float] | None = None


@dataclass(frozen=True)
class Measuring:
    """A concentrate to measure: ``litres`` of it at ``molarity`` mol/L (None when the bottle is used as it
    is).
    """

    reagent: str
    name: str
    litres: float
    molarity: float | None


@dataclass(frozen=True)
class Label:
    """What to write on a bottle."""

    name: str
    made_on: str
    pictograms: tuple[str, ...]
    codes: tuple[str, ...]
    keep: str = ""


@dataclass(frozen=True)
class StockPrep:
    """One stock: litres for one group, litres needed in all, litres to make, and how."""

    key: str
    name: str
    per_group: float
    needed: float
    make: float
    solvent: str
    weigh: tuple[Weighing, ...]
    measure: tuple[Measuring, ...]
    label: Label
    waste: str = ""
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class PrepSheet:
    """Everything the prep room needs for one demonstration. ``to_text()`` and ``to_markdown()`` print it."""

    system: System
    groups: int
    reserve: float
    demonstrations: int
    wells: int
    stocks: tuple[StockPrep, ...]

    def to_text(self):
        """Plain text, for a terminal or a printer."""
        from eqlib.lab.prep_text import as_text

        return as_text(self)

    def to_markdown(self):
        """Markdown with tables, for a notebook or a wiki."""
        from eqlib.lab.prep_text import as_markdown

        return as_markdown(self)

    def _repr_markdown_(self):
        return self.to_markdown()


def prep_sheet(system, groups=10, reserve=0.2, demonstrations=1, made_on=None, strengths=None):
    """The PrepSheet of a catalogue system (its name, a path, or a System).

    ``groups`` work at the same time; ``reserve`` is the spare share (0.2: a fifth more);
    ``demonstrations`` extra sets for the front bench. ``made_on`` (a date or text) goes on the labels,
    else a line to fill in. ``strengths`` maps a concentrate's key to the mol/L on its own label, such as
    {"ammonia": 14.8}. Raises PrepError, or CatalogueError for an unknown system.
    """
    system = system if isinstance(system, System) else find_system(system)
    groups = _whole(groups, "groups", least=1)
    demonstrations = _whole(demonstrations, "demonstrations", least=0)
    reserve = _share(reserve)
    strengths = _strengths(strengths, system)
    per_group, wells = ({}, 0) if system.data_only else volumes_per_group(system)
    if system.recipe.demonstration_only:
        groups, demonstrations = 0, max(demonstrations, 1)
    stocks = []
    for key, stock in system.stocks.items():
        if key in per_group:
            sets = groups * (1 + reserve) + demonstrations if groups else demonstrations * (1 + reserve)
            needed = max(per_group[key], DROPPER_L) * sets
            stocks.append(_stock_prep(system, stock, per_group[key], needed, str(made_on or ""), strengths))
    return PrepSheet(system, groups, reserve, demonstrations, wells, tuple(stocks))


def volumes_per_group(system):
    """({stock key: litres for one group}, number of wells): each chain of stresses in a well of its own,
    and controls.
    """
    followed = {stress.after for stress in system.steps.values()}
    chains = [key for key, stress in system.steps.items() if key not in followed and stress.on_bench]
    wells = len(chains) + CONTROLS
    litres = {}
    for key, volume in system.recipe.portions:
        litres[key] = litres.get(key, 0.0) + wells * volume
    for key in chains:
        while key is not None:
            stress = system.steps[key]
            for stock, volume in stress.portions:
                litres[stock] = litres.get(stock, 0.0) + volume
            key = stress.after
    litres.pop("water", None)
    return litres, wells


def mass_for(formula, molarity, litres):
    """Grams of ``formula`` (water of crystallisation and all) for ``litres`` of solution at ``molarity``
    mol/L.
    """
    return _positive(molarity, "molarity") * _positive(litres, "litres") * species(formula).molar_mass


def concentrate_for(molarity, litres, strength):
    """Litres of a concentrate of ``strength`` mol/L for ``litres`` at ``molarity``: C1 V1 = C2 V2."""
    if _positive(molarity, "molarity") > _positive(strength, "strength") * (1 + 1e-9):
        raise PrepError(f"{molarity:g} mol/L cannot be made from {strength:g} mol/L; take a stronger bottle")
    return molarity * _positive(litres, "litres") / strength


def flask_for(litres):
    """The smallest usual volumetric flask (L) that holds ``litres``; past 2 L, whole litres."""
    ml = litres * 1000.0
    for size in FLASKS_ML:
        if ml <= size * (1 + 1e-9):
            return size / 1000.0
    return math.ceil(litres - 1e-9)


def _stock_prep(system, stock, per_group, needed, made_on, strengths):
    make = flask_for(needed)
    weigh, measure, notes = [], [], []
    bottles = [system.reagents[made.reagent] for made in stock.made_from]
    for bottle, molarity in zip(bottles, (made.M for made in stock.made_from), strict=True):
        if bottle.state == "solid":
            weighing = _weighing(bottle, molarity, make)
            weigh.append(weighing)
            notes += _from_stronger(system, stock, bottle, molarity, make) or _small_mass_note(weighing)
        else:
            strength = strengths.get(bottle.key, bottle.molarity)
            litres = make if strength is None else concentrate_for(molarity, make, strength)
            measure.append(Measuring(bottle.key, bottle.name, litres, strength))
            notes += _from_stronger(system, stock, bottle, molarity, make) or _small_volume_note(
                measure[-1], molarity, make
            )
        notes += [text for text in (bottle.note, bottle.hazard.note) if text]
    pictograms = tuple(dict.fromkeys(p for b in bottles for p in b.hazard.pictograms))
    codes = tuple(dict.fromkeys(c for b in bottles for c in b.hazard.codes))
    keep = "; ".join(dict.fromkeys(text for text in (stock.keep, *(b.keep for b in bottles)) if text))
    label = Label(stock.name, made_on, pictograms, codes, keep)
    return StockPrep(
        stock.key, stock.name, per_group, needed, make, stock.solvent, tuple(weigh), tuple(measure), label,
        stock.waste, tuple(dict.fromkeys(notes)),
    )  # fmt: skip


def _weighing(bottle, molarity, litres):
    grams = mass_for(bottle.formula, molarity, litres)
    others = tuple((form, mass_for(form, molarity, litres)) for form in bottle.other_forms)
    trap = None
    if "." in bottle.formula:
        dry = bottle.formula.split(".")[0]
        dry_grams = mass_for(dry, molarity, litres)
        trap = (dry, dry_grams, dry_grams / grams)
    return Weighing(bottle.key, bottle.name, bottle.formula, grams, others, trap)


def _small_mass_note(weighing):
    if weighing.grams >= LEAST_MASS_G:
        return []
    times = 10 ** math.ceil(math.log10(LEAST_MASS_G / weighing.grams))
    return [
        f"{weighing.grams * 1000:.3g} mg of {weighing.name} is too little to weigh well: make a solution "
        f"{times} times as strong ({weighing.grams * times:.3g} g in the same volume) and "
        f"dilute 1 part to {times}."
    ]


def _small_volume_note(measuring, molarity, make):
    if measuring.litres >= LEAST_CONCENTRATE_L or measuring.molarity is None or molarity >= 0.5:
        return []
    step = 10.0 ** math.ceil(math.log10(molarity) + 0.7)
    return [
        f"{measuring.litres * 1000:.2g} mL is too little to measure well: make {step:g} mol/L from the "
        f"bottle first and take {molarity * make / step * 1000:.3g} mL of that."
    ]


def _from_stronger(system, stock, bottle, molarity, litres):
    """Another stock of the same bottle alone, and stronger, may be diluted instead."""
    for other in system.stocks.values():
        strength = other.made_from[0].M if other.made_from else 0.0
        if (
            len(other.made_from) == 1
            and other.made_from[0].reagent == bottle.key
            and strength > molarity * 1.5
        ):
            volume = f"{concentrate_for(molarity, litres, strength) * 1000:.3g} mL of {other.name}"
            alone = len(stock.made_from) == 1
            how = f"Or dilute: {volume}" if alone else f"Or, in place of the {bottle.name}: {volume}"
            return [f"{how}, made up to {litres * 1000:g} mL (and make that much more of it)."]
    return []


def _strengths(strengths, system):
    if strengths is None:
        return {}
    if not isinstance(strengths, Mapping):
        raise PrepError(f"strengths is written like {{'ammonia': 14.8}}, not {strengths!r:.60}")
    concentrates = sorted(key for key, bottle in system.reagents.items() if bottle.state != "solid")
    for key, value in strengths.items():
        if key not in concentrates:
            listing = ", ".join(concentrates) or "none"
            raise PrepError(f"strengths: {system.name} uses no concentrate {key!r}; it uses: {listing}")
        _positive(value, f"strength of {key} in mol/L")
    return dict(strengths)


def _whole(value, what, least):
    if isinstance(value, bool) or not isinstance(value, int) or value < least:
        raise PrepError(f"{what} is {value!r:.40}; write a whole number of at least {least}")
    return value


def _share(value):
    if isinstance(value, bool) or not isinstance(value, int | float) or not 0 <= value <= 5:
        raise PrepError(f"reserve is {value!r:.40}; write a share from 0 to 5, such as 0.2 for a fifth more")
    return float(value)


def _positive(value, what):
    if isinstance(value, bool) or not isinstance(value, int | float) or not 0 < value < math.inf:
        raise PrepError(f"{what} is {value!r:.40}; write a number greater than 0")
    return float(value)


__all__ = [
    "CHECK_SDS",
    "Label",
    "Measuring",
    "PrepError",
    "PrepSheet",
    "StockPrep",
    "Weighing",
    "concentrate_for",
    "flask_for",
    "mass_for",
    "prep_sheet",
    "volumes_per_group",
]
