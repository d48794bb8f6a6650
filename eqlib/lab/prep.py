"""The prep sheet: what to weigh, what to dilute, what to write on the bottles, for a class of so many groups.

Amounts follow from the catalogue's recipes: enough for every stress in a well of its own and two control
wells, times the groups, plus a reserve and a demonstration (common practice, no source). Masses are of the
form in the bottle, water of crystallisation included. Nothing is weighed under what a balance weighs: such a
stock is diluted from a stronger one. A label carries the classification of what is in the bottle, worked out
with the limits of the CLP regulation (see ``catalogue.ghs``), not that of the concentrate.
"""

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from html import escape

from eqlib.chem.catalogue import Reagent, Stock, System
from eqlib.chem.catalogue import system as find_system
from eqlib.chem.catalogue.ghs import Ingredient, classify, pictograms_of, signal_word
from eqlib.chem.disturb import disturb
from eqlib.chem.species import species
from eqlib.errors import EqlibError
from eqlib.lab.cautions import cautions_for, statements
from eqlib.lab.drawing import as_image, said_of, shelf
from eqlib.lab.scene import Scene, is_closed, vessel_kind
from eqlib.writing import page

FLASKS_ML = (10, 25, 50, 100, 250, 500, 1000, 2000)
CONTROLS = 2  # one well left alone, one that gets water in place of the reagent
DROPPER_L = 0.002  # a dropper bottle holds at least this (common practice, no source)
LEAST_VOLUME_L = 0.0005  # less is not measured well (common practice, no source)
LEAST_MASS_G = 0.1  # less is not weighed well on a balance that shows 0.01 g (common practice, no source)
_TIMES = (5, 10, 20, 25, 50, 100, 200, 250, 500, 1000)  # how many times as strong a first solution may be


class PrepError(EqlibError):
    """A prep sheet that cannot be made as asked."""


@dataclass(frozen=True)
class Via:
    """The way to an amount too small to weigh or measure: make ``amount`` (g, or L of a concentrate) up to
    ``made_up`` L and take ``take`` L of that; or, with ``stock``, take it from another stock of the sheet.
    """

    take: float
    amount: float = 0.0
    made_up: float = 0.0
    stock: str = ""


@dataclass(frozen=True)
class Weighing:
    """A solid to weigh: grams of ``formula``. ``others`` are (formula, grams) of other forms that would do
    as well.

    ``dry_trap`` is (formula without water, grams, fraction): weighing that by mistake gives a stock of
    only that fraction of the strength wanted; None for a solid without water. ``via`` where the grams are
    too few to weigh.
    """

    reagent: str
    name: str
    formula: str
    grams: float
    others: tuple[tuple[str, float], ...] = ()
    dry_trap: tuple[str, float, float] | None = None
    via: Via | None = None


@dataclass(frozen=True)
class Measuring:
    """A concentrate to measure: ``litres`` of it at ``molarity`` mol/L (None when the bottle is used as it
    is); ``via`` where that is too little to measure.
    """

    reagent: str
    name: str
    litres: float
    molarity: float | None
    via: Via | None = None


@dataclass(frozen=True)
class Label:
    """What to write on a bottle: the codes are those of the mixture in it."""

    name: str
    codes: tuple[str, ...]
    keep: str = ""
    safe_here: str = ""

    @property
    def pictograms(self) -> tuple[str, ...]:
        """Words for the pictograms."""
        return pictograms_of(self.codes)

    @property
    def signal(self) -> str:
        """ "Danger", "Warning" or ""."""
        return signal_word(self.codes)


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
    steps: tuple[str, ...] = ()
    waste: str = ""
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class PrepSheet:
    """Everything the prep room needs for one demonstration, as text, Markdown or a page."""

    system: System
    groups: int
    reserve: float
    demonstrations: int
    wells: int
    stocks: tuple[StockPrep, ...]

    def to_text(self) -> str:
        """Plain text, for a terminal or a printer: headings underlined, one fact to a line."""
        lines: list[str] = []
        for heading, body in _sections(self):
            lines += [heading, "-" * len(heading), *body, ""]
        return "\n".join(lines).rstrip() + "\n"

    def to_markdown(self) -> str:
        """Markdown, for a notebook or a wiki: the same sections; the stocks as a table as well."""
        parts = []
        for number, (heading, body) in enumerate(_sections(self)):
            parts.append(f"{'#' if number == 0 else '##'} {heading}\n")
            if heading == "Stocks" and self.stocks:
                parts.append(_table(self))
            parts.append("\n".join(_bullet(line) for line in body) + "\n")
        return "\n".join(parts)

    def to_html(self) -> str:
        """A page to print: the same sections, and the vessels drawn as they should look."""
        made = []
        for number, (heading, body) in enumerate(_sections(self)):
            made.append(f"<h{min(number, 1) + 1}>{escape(heading)}</h{min(number, 1) + 1}>")
            lines = (f'<li style="margin-left:{_depth(line)}em">{escape(line.strip())}</li>' for line in body)
            made.append(f"<ul>{''.join(lines)}</ul>")
            if heading == "On the bench":
                made.append("<h2>As it should look</h2>")
                made += (
                    f"<figure>{picture}<figcaption>{escape(title)}</figcaption></figure>"
                    for title, picture in looks_of(self.system)
                )
        return page(f"Prep sheet: {self.system.title}", "".join(made))

    def _repr_markdown_(self) -> str:
        return self.to_markdown()


def prep_sheet(
    system: str | System,
    groups: int = 10,
    reserve: float = 0.2,
    demonstrations: int = 1,
) -> PrepSheet:
    """The PrepSheet of a catalogue system (its name, a path, or a System).

    ``groups`` work at the same time; ``reserve`` is the spare share (0.2: a fifth more);
    ``demonstrations`` extra sets for the front bench. Raises PrepError, or CatalogueError for an unknown
    system.
    """
    system = system if isinstance(system, System) else find_system(system)
    groups = _whole(groups, "groups", least=1)
    demonstrations = _whole(demonstrations, "demonstrations", least=0)
    reserve = _share(reserve)
    per_group, wells = ({}, 0) if system.data_only else volumes_per_group(system)
    if system.recipe.demonstration_only:
        groups, demonstrations = 0, max(demonstrations, 1)
    sets = groups * (1 + reserve) + demonstrations if groups else demonstrations * (1 + reserve)
    needed = {key: max(per_group[key], DROPPER_L) * sets for key in system.stocks if key in per_group}
    strength = {key: max((m.M for m in system.stocks[key].made_from), default=0.0) for key in needed}
    for key in sorted(needed, key=lambda key: strength[key]):  # weakest first: takes from others
        for item in _made(system, key, flask_for(needed[key]), needed):
            if item.via is not None and item.via.stock:
                needed[item.via.stock] += item.via.take
    stocks = [_stock_prep(system, key, per_group[key], needed) for key in system.stocks if key in needed]
    return PrepSheet(system, groups, reserve, demonstrations, wells, tuple(stocks))


def looks_of(system: System) -> Iterator[tuple[str, str]]:
    """(title, image) of each stress that is shown on the bench: the vessel before and after, in true colour,
    with its absorbance. The image says the same in words.
    """
    for key, stress in system.steps.items():
        if not stress.on_bench:
            continue
        change = disturb(system.before(key), stress.stress)
        words = system.recipe.vessel
        scene = Scene(change, vessel_kind(change.before, words), closed=is_closed(words))
        cast = [scene.vessel(change.before, "before"), scene.vessel(change.after, "after")]
        said = said_of(cast)
        yield stress.title, as_image(shelf([cast[0], "→", cast[1]], stress.title, said), said)


def volumes_per_group(system: System) -> tuple[dict[str, float], int]:
    """({stock key: litres for one group}, number of wells): each chain of stresses in a well of its own,
    and controls.
    """
    followed = {stress.after for stress in system.steps.values()}
    chains = [key for key, stress in system.steps.items() if key not in followed and stress.on_bench]
    wells = len(chains) + CONTROLS
    litres: dict[str, float] = {}
    for key, volume in system.recipe.portions:
        litres[key] = litres.get(key, 0.0) + wells * volume
    for last in chains:
        at: str | None = last
        while at is not None:
            stress = system.steps[at]
            for stock, volume in stress.portions:
                litres[stock] = litres.get(stock, 0.0) + volume
            at = stress.after
    litres.pop("water", None)
    return litres, wells


def mass_for(formula: str, molarity: float, litres: float) -> float:
    """Grams of ``formula`` (water of crystallisation and all) for ``litres`` of solution at ``molarity``
    mol/L.
    """
    return _positive(molarity, "molarity") * _positive(litres, "litres") * species(formula).molar_mass


def concentrate_for(molarity: float, litres: float, strength: float) -> float:
    """Litres of a concentrate of ``strength`` mol/L for ``litres`` at ``molarity``: C1 V1 = C2 V2."""
    if _positive(molarity, "molarity") > _positive(strength, "strength") * (1 + 1e-9):
        raise PrepError(f"{molarity:g} mol/L cannot be made from {strength:g} mol/L; take a stronger bottle")
    return molarity * _positive(litres, "litres") / strength


def flask_for(litres: float) -> float:
    """The smallest usual volumetric flask (L) that holds ``litres``; past 2 L, whole litres."""
    ml = litres * 1000.0
    for size in FLASKS_ML:
        if ml <= size * (1 + 1e-9):
            return size / 1000.0
    return math.ceil(litres - 1e-9)


def label_codes(stock: Stock, reagents: Mapping[str, Reagent]) -> tuple[str, ...]:
    """The hazard codes of what is in a stock's bottle: its own when it is the bought liquid, else those of
    the mixture. Mass % is taken at 1 kg/L, which errs to the side of care.
    """
    parts = [(reagents[made.reagent], made.M) for made in stock.made_from]
    if len(parts) == 1 and parts[0][0].molarity == parts[0][1]:
        return parts[0][0].codes
    return classify(
        Ingredient(
            bottle.codes, molar * species(bottle.formula).molar_mass / 10.0, bottle.limits, bottle.m_factor
        )
        for bottle, molar in parts
    )


# -- one stock -----------------------------------------------------------------------------------------------


def _stock_prep(system: System, key: str, per_group: float, needed: Mapping[str, float]) -> StockPrep:
    stock, make = system.stocks[key], flask_for(needed[key])
    made = _made(system, key, make, needed)
    bottles = [system.reagents[one.reagent] for one in made]
    notes = []
    for item, part in zip(made, stock.made_from, strict=True):
        notes += [] if item.via else _or_dilute(system, stock, part.reagent, part.M, make, needed)
    notes += [text for bottle in bottles for text in (bottle.note, bottle.hazard.note) if text]
    codes = label_codes(stock, system.reagents)
    safe_here = stock.safe_here if any(code.startswith("EUH") for code in codes) else ""
    return StockPrep(
        key,
        stock.name,
        per_group,
        needed[key],
        make,
        stock.solvent,
        tuple(item for item in made if isinstance(item, Weighing)),
        tuple(item for item in made if isinstance(item, Measuring)),
        Label(stock.name, codes, stock.keep, safe_here),
        stock.steps,
        stock.waste,
        tuple(dict.fromkeys(notes)),
    )


def _made(system: System, key: str, make: float, needed: Mapping[str, float]) -> list[Weighing | Measuring]:
    """What goes into ``make`` litres of a stock, one item for each bottle it is made from."""
    stock = system.stocks[key]
    items: list[Weighing | Measuring] = []
    for part in stock.made_from:
        bottle = system.reagents[part.reagent]
        stronger = _stronger(system, stock, part.reagent, part.M, needed)
        if bottle.state == "solid":
            items.append(_weighing(bottle, part.M, make, stronger))
        else:
            items.append(_measuring(bottle, part.M, make, stronger))
    return items


def _weighing(
    bottle: Reagent, molarity: float, litres: float, stronger: tuple[str, float] | None
) -> Weighing:
    grams = mass_for(bottle.formula, molarity, litres)
    others = tuple((form, mass_for(form, molarity, litres)) for form in bottle.other_forms)
    trap = None
    if "." in bottle.formula:
        dry = bottle.formula.split(".")[0]
        dry_grams = mass_for(dry, molarity, litres)
        trap = (dry, dry_grams, dry_grams / grams)
    via = None
    if grams < LEAST_MASS_G:
        via = _from_stock(stronger, molarity, litres) or _first_solution(grams / litres, litres, LEAST_MASS_G)
    return Weighing(bottle.key, bottle.name, bottle.formula, grams, others, trap, via)


def _measuring(
    bottle: Reagent, molarity: float, make: float, stronger: tuple[str, float] | None
) -> Measuring:
    strength = bottle.molarity
    litres = make if strength is None else concentrate_for(molarity, make, strength)
    via = None
    if litres < LEAST_VOLUME_L:
        via = _from_stock(stronger, molarity, make) or _first_solution(litres / make, make, LEAST_VOLUME_L)
    return Measuring(bottle.key, bottle.name, litres, strength, via)


def _from_stock(stronger: tuple[str, float] | None, molarity: float, litres: float) -> Via | None:
    """Take it from a stronger stock of the sheet, where that is enough to measure."""
    if stronger is None or concentrate_for(molarity, litres, stronger[1]) < LEAST_VOLUME_L:
        return None
    return Via(concentrate_for(molarity, litres, stronger[1]), stock=stronger[0])


def _first_solution(per_litre: float, litres: float, least: float) -> Via | None:
    """The smallest, then weakest first solution that takes at least ``least`` and gives enough to measure."""
    for flask in (0.1, 0.25, 0.5, 1.0):
        for times in _TIMES:
            amount, take = per_litre * times * flask, litres / times
            if amount >= least and LEAST_VOLUME_L <= take <= flask:
                return Via(take, amount, flask)
    return None


def _stronger(
    system: System, stock: Stock, reagent: str, molarity: float, needed: Mapping[str, float]
) -> tuple[str, float] | None:
    """Another stock of the sheet, made of the same bottle alone and stronger: its key and mol/L."""
    for other in system.stocks.values():
        alone = len(other.made_from) == 1 and other.made_from[0].reagent == reagent
        if alone and other.key in needed and other is not stock and molarity * 1.5 < other.made_from[0].M:
            return other.key, other.made_from[0].M
    return None


def _or_dilute(
    system: System, stock: Stock, reagent: str, molarity: float, litres: float, needed: Mapping[str, float]
) -> list[str]:
    """A stronger stock of the sheet may be diluted instead."""
    stronger = _stronger(system, stock, reagent, molarity, needed)
    if stronger is None:
        return []
    volume = concentrate_for(molarity, litres, stronger[1]) * 1000
    taken = f"{volume:.3g} mL of {system.stocks[stronger[0]].name}"
    alone = len(stock.made_from) == 1
    how = f"Or dilute: {taken}" if alone else f"Or, in place of the {system.reagents[reagent].name}: {taken}"
    return [f"{how}, made up to {litres * 1000:g} mL (and make that much more of it)."]


# -- what was asked for --------------------------------------------------------------------------------------


def _whole(value: object, what: str, least: int) -> int:
    if isinstance(value, bool) or not isinstance(value, int) or value < least:
        raise PrepError(f"{what} is {value!r:.40}; write a whole number of at least {least}")
    return value


def _share(value: object) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not 0 <= value <= 5:
        raise PrepError(f"reserve is {value!r:.40}; write a share from 0 to 5, such as 0.2 for a fifth more")
    return float(value)


def _positive(value: object, what: str) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not 0 < value < math.inf:
        raise PrepError(f"{what} is {value!r:.40}; write a number greater than 0")
    return float(value)


# -- the words -----------------------------------------------------------------------------------------------


def _sections(sheet: PrepSheet) -> Iterator[tuple[str, list[str]]]:
    system = sheet.system
    yield f"Prep sheet: {system.title}", _heading_lines(sheet)
    yield "Take care first of all", [caution.words for caution in cautions_for(system)]
    if system.data_only:
        yield "Not for the bench", [f"Use {system.data_only}.", *system.pitfalls]
    else:
        stocks = [line for stock in sheet.stocks for line in _stock_lines(stock, system)]
        yield "Stocks", stocks or [f"No stock to make: {system.recipe.vessel}."]
        labels = [line for stock in sheet.stocks for line in _label_lines(stock.label)]
        yield "Labels", labels or ["None to write."]
        yield "On the bench", [*system.recipe.steps, *_stress_lines(system)]
        yield "Pitfalls", [*([system.recipe.note] if system.recipe.note else []), *system.pitfalls]
    yield "Hazards of the bottles as bought", _hazard_lines(system)
    yield "Protection", list(system.ppe)
    yield "Spills", list(system.spill)
    yield "Waste", [*system.waste, *(f"{stock.name}: {stock.waste}" for stock in sheet.stocks if stock.waste)]


def _heading_lines(sheet: PrepSheet) -> list[str]:
    system = sheet.system
    lines = [f"System: {system.name}"]
    if system.data_only:
        return lines
    sets = _count(sheet.demonstrations, "demonstration set")
    spare = f"{sheet.reserve:.0%} reserve"
    if system.recipe.demonstration_only:
        lines.append(f"Demonstration only, by trained staff: {sets}, {spare}; the class watches")
        lines.append(f"Each set: {sheet.wells} times {system.recipe.vessel}")
    else:
        lines.append(f"For {_count(sheet.groups, 'group')}, {spare}, {sets}")
        lines.append(f"Each group: {sheet.wells} times {system.recipe.vessel}")
    return [*lines, "Each test stands beside an untouched control and one that gets water instead"]


def _count(number: int, what: str) -> str:
    return f"{number} {what}{'' if number == 1 else 's'}"


def _stock_lines(stock: StockPrep, system: System) -> list[str]:
    total = f"{_ml(stock.per_group)} a set, {_ml(stock.needed)} in all: make {_ml(stock.make)}"
    lines = [f"{stock.name}: {total}"]
    for weighing in stock.weigh:
        lines += _weigh_lines(weighing, system)
    for measuring in stock.measure:
        lines.append(_measure_line(measuring, stock, system))
    lines += [f"  {step}" for step in stock.steps]
    if not stock.steps and all(item.litres < stock.make for item in stock.measure):
        lines.append(f"  make up to {_ml(stock.make)} with {stock.solvent}")
    return lines + [f"  note: {note}" for note in stock.notes]


def _weigh_lines(item: Weighing, system: System) -> list[str]:
    what = f"{item.name}, {species(item.formula).unicode}"
    if item.via is not None:
        return [_via_line(item.via, f"weigh {_g(item.via.amount)} {what}", system)]
    lines = [f"  weigh {_g(item.grams)} {what}"]
    lines += [
        f"  or {_g(grams)} of {species(form).unicode}, if that is in the bottle"
        for form, grams in item.others
    ]
    if item.dry_trap:
        dry, grams, share = item.dry_trap
        lines.append(
            f"  trap: {_g(grams)} is the mass for dry {species(dry).unicode}; "
            f"weighed from this bottle it gives {share:.0%} of the strength"
        )
    return lines


def _measure_line(item: Measuring, stock: StockPrep, system: System) -> str:
    strength = f"{item.name}, {item.molarity:g} mol/L by its label" if item.molarity else item.name
    if item.via is not None and (item.via.stock or item.molarity):
        return _via_line(item.via, f"measure {_ml(item.via.amount)} {strength}", system)
    if item.molarity is None or abs(item.litres - stock.make) < 1e-12:
        return f"  use {_ml(item.litres)} {item.name} as it is"
    return f"  measure {_ml(item.litres)} {strength}"


def _via_line(via: Via, first: str, system: System) -> str:
    if via.stock:
        return f"  take {_ml(via.take)} of {system.stocks[via.stock].name}, from this sheet"
    return f"  {first}, and make up to {_ml(via.made_up)}; take {_ml(via.take)} of that"


def _label_lines(label: Label) -> list[str]:
    warn = "; ".join(filter(None, [label.signal, ", ".join(label.pictograms), ", ".join(label.codes)]))
    lines = [f"{label.name} | made on ____-__-__ | by ____ | {warn or 'no hazard code at this strength'}"]
    lines += [f"  in the wells: {label.safe_here}"] if label.safe_here else []
    return lines + ([f"  keep: {label.keep}"] if label.keep else [])


def _stress_lines(system: System) -> list[str]:
    lines = []
    for stress in system.steps.values():
        if stress.on_bench:
            lines.append(f"{stress.title}: {stress.seen_words}")
            lines.append(f"  caution: {stress.caution}")
            lines.append(f"  back again: {stress.reversal}")
    return lines


def _hazard_lines(system: System) -> list[str]:
    lines = []
    for bottle in system.reagents.values():
        hazard = bottle.hazard
        words = "; ".join(statements(hazard.codes)) or "no hazard code on our list"
        pictures = f" [{', '.join(hazard.pictograms)}]" if hazard.pictograms else ""
        lines.append(f"{hazard.reagent}{pictures}: {words}")
        lines += [f"  {hazard.note}"] if hazard.note else []
        lines += [f"  keep: {bottle.keep}"] if bottle.keep else []
        lines.append(f"  classification: {hazard.source}")
    if system.recipe.portions and not system.data_only:
        lines.append("The labels above carry the codes of what is in them, by the limits for mixtures.")
    return lines


def _table(sheet: PrepSheet) -> str:
    rows = ["| Stock | Make | Weigh, measure or take |", "|-|-|-|"]
    for stock in sheet.stocks:
        lines = [_weigh_lines(item, sheet.system)[0] for item in stock.weigh]
        lines += [_measure_line(item, stock, sheet.system) for item in stock.measure]
        rows.append(f"| {stock.name} | {_ml(stock.make)} | {'; '.join(line.strip() for line in lines)} |")
    return "\n".join(rows) + "\n"


def _bullet(line: str) -> str:
    stripped = line.lstrip()
    return "  " * _depth(line) + ("" if stripped.startswith("- ") else "- ") + stripped


def _depth(line: str) -> int:
    return (len(line) - len(line.lstrip())) // 2


def _g(grams: float) -> str:
    """Three significant figures, with trailing zeros kept: they say how well to weigh."""
    return f"{_three(grams)} g"


def _ml(litres: float) -> str:
    return f"{_three(litres * 1000)} mL" if litres < 1 else f"{litres:g} L"


def _three(value: float) -> str:
    text = f"{value:#.3g}"
    return text.rstrip(".") if "e" not in text else f"{value:g}"
