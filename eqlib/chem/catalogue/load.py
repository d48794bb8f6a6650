"""Finding catalogue files, reading them, and building a System out of one and of those it ``uses``.

``uses = "iron-thiocyanate"`` takes every reaction of that file, those it uses itself included;
``uses = "iron-thiocyanate/complex"`` takes the one reaction with that key. Reagents and stocks of a used file
may be named in the using file; what a file writes itself wins. A name with a leading underscore is not a
system: it holds reagents or reactions for others.
"""

from __future__ import annotations

import os
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources
from pathlib import Path
from types import MappingProxyType
from typing import Any

from pydantic import ValidationError

from eqlib.chem.catalogue.faults import (
    CatalogueError,
    Faults,
    check_meaning,
    complaint,
    read_species,
    shape_faults,
    suggestion,
)
from eqlib.chem.catalogue.one_system import CatalogueStress, ConstantChoice, Recipe, System
from eqlib.chem.catalogue.records import (
    AddSolution,
    CatalogueFile,
    ReactionTable,
    Reagent,
    RecipeTable,
    SolidLook,
    Spectrum,
    Stock,
    StressTable,
)
from eqlib.chem.reactions import Reaction
from eqlib.chem.salts import dissolved, ions_of
from eqlib.chem.species import species
from eqlib.chem.stress import Stress
from eqlib.errors import EqlibError

OWN_FOLDER = "EQLIB_SYSTEMS"
REAGENTS = "_reagents"
_LARGEST = 1_000_000  # bytes; a system takes some 20 kB
_KELVIN = 273.15

# Files opened by path or from a named folder: later look-ups by species name should find their colours too.
_OPENED: dict[Path, File] = {}


@dataclass(frozen=True)
class File:
    """One catalogue file that has passed its checks: name (without .toml), path, contents."""

    name: str
    path: Path
    doc: CatalogueFile


# -- finding and reading -------------------------------------------------------------------------------------


def shipped_folder() -> Path:
    """The folder of the systems that come with eqlib."""
    return Path(str(resources.files("eqlib.chem.catalogue")))


def folders(own: str | Path | None = None) -> tuple[Path, ...]:
    """Folders to look in, a person's own first: ``own``, else the one EQLIB_SYSTEMS names, then ours."""
    mine = own if own is not None else os.environ.get(OWN_FOLDER)
    if not mine:
        return (shipped_folder(),)
    folder = Path(mine).expanduser()
    if not folder.is_dir():
        mend = f"make it, or correct its path ({OWN_FOLDER} names one too)"
        raise complaint(folder, "", "this folder of systems is not there", mend)
    return (folder, shipped_folder())


def shelf(own: str | Path | None = None) -> dict[str, Path]:
    """Every catalogue file by name, a person's own standing before ours of the same name. Not read yet."""
    found: dict[str, Path] = {}
    for folder in folders(own):
        for path in sorted(folder.glob("*.toml")):
            found.setdefault(path.stem, path)
    return found


def find(name: str, own: str | Path | None = None) -> Path:
    """The path of the system ``name``, or a CatalogueError that suggests the near name and lists the rest."""
    files = shelf(own)
    if name not in files or name.startswith("_"):
        names = [n for n in files if not n.startswith("_")]
        raise CatalogueError(f"there is no system {name!r} in the catalogue; {suggestion(name, names)}.")
    return files[name]


def stamp(path: Path) -> int:
    """When the file was last changed (ns), so that what was made from it can be kept; 0 when it has gone."""
    try:
        return path.stat().st_mtime_ns
    except OSError:
        return 0


def read(path: str | Path) -> File:
    """The checked contents of one file. Re-read only when the file has changed on disk."""
    path = Path(path).expanduser()
    try:
        stat = path.stat()
    except OSError:
        mend = "check the path; eqlib.systems() lists the names"
        raise complaint(path, "", "there is no such file", mend) from None
    return _read(path, stat.st_mtime_ns, stat.st_size)


@lru_cache(maxsize=128)
def _read(path: Path, _changed: int, size: int) -> File:
    if path.is_dir():
        raise complaint(path, "", "this is a folder", "name one .toml file in it")
    if size > _LARGEST:
        raise complaint(path, "", f"the file has {size} bytes", f"keep a system under {_LARGEST} bytes")
    try:
        raw = parse(path, path.read_bytes())
    except OSError as error:
        raise complaint(
            path, "", f"the file cannot be read ({error.strerror})", "check its permissions"
        ) from None
    try:
        doc = CatalogueFile.model_validate(raw)
    except ValidationError as error:
        shape_faults(path, raw, error).stop_if_any()
        raise
    faults = Faults(path)
    check_meaning(doc, faults, is_system=not path.stem.startswith("_"))
    faults.stop_if_any()
    return File(path.stem, path, doc)


def parse(path: Path, raw: bytes) -> dict[str, Any]:
    """TOML bytes as a dictionary, or one line that says why not."""
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        mend = "save the file with the encoding UTF-8"
        raise complaint(path, f"line {line}", "this is not UTF-8 text", mend) from None
    if not text.strip():
        mend = 'start with title = "..." and copy the shape of a shipped system'
        raise complaint(path, "", "the file is empty", mend)
    try:
        return tomllib.loads(text)
    except RecursionError:
        mend = "copy the shape of a shipped system"
        raise complaint(path, "", "the lists are nested too deeply", mend) from None
    except ValueError as error:  # TOMLDecodeError, or a number with thousands of digits
        mend = "mend that line; texts need quotes, lists need [ ]"
        raise complaint(path, "", f"this is not TOML: {error}", mend) from None


# -- what one file takes from another ------------------------------------------------------------------------


def _used(file: File) -> list[tuple[str, str | None]]:
    """The entries of ``uses`` as (file name, reaction key or None)."""
    return [(name, key or None) for name, _, key in (entry.partition("/") for entry in file.doc.uses)]


def _open(file: File, name: str, files: Mapping[str, Path]) -> File:
    if name not in files:
        raise complaint(file.path, "uses", f"there is no file {name!r}", suggestion(name, files))
    if files[name] == file.path:
        raise complaint(file.path, "uses", "the file uses itself", "take that entry out")
    try:
        return read(files[name])
    except CatalogueError as error:
        lines = [line.rstrip(".") for line in error.faults]
        faults = Faults(file.path)
        for line in lines:
            faults.add(f"uses {name}", "the other file has a fault", line)
        raise CatalogueError(*faults.lines) from None


def gather_reactions(
    file: File, files: Mapping[str, Path], chain: tuple[str, ...] = ()
) -> dict[str, tuple[ReactionTable, str]]:
    """Reactions of ``file`` and of those it uses, its own first, as key -> (table, home)."""
    if file.name in chain:
        circle = " -> ".join([*chain[chain.index(file.name) :], file.name])
        raise complaint(file.path, "uses", f"goes round in a circle ({circle})", "take one of these out")
    reactions = {entry.key: (entry, file.name) for entry in file.doc.reaction}
    for name, key in _used(file):
        other = _open(file, name, files)
        if key is None:
            taken = gather_reactions(other, files, (*chain, file.name))
        else:
            own = {entry.key: (entry, name) for entry in other.doc.reaction}
            if key not in own:
                what = f"{name} has no reaction {key!r}"
                raise complaint(file.path, f"uses {name}/{key}", what, suggestion(key, own))
            taken = {key: own[key]}
        for taken_key, entry in taken.items():
            reactions.setdefault(taken_key, entry)
    return reactions


def _gather(file: File, files: Mapping[str, Path], kind: str, chain: tuple[str, ...] = ()) -> dict[str, Any]:
    """Reagents or stocks by key: the file's own, then of the files it uses, then of the common shelf."""
    found = {entry.key: entry for entry in getattr(file.doc, kind)}
    for name, _ in _used(file):
        if name not in chain and name != file.name:
            other = _open(file, name, files)
            for key, entry in _gather(other, files, kind, (*chain, file.name)).items():
                found.setdefault(key, entry)
    if kind == "reagent" and REAGENTS in files and file.name != REAGENTS:
        for entry in read(files[REAGENTS]).doc.reagent:
            found.setdefault(entry.key, entry)
    return found


# -- building a System ---------------------------------------------------------------------------------------


def build(file: File, files: Mapping[str, Path]) -> System:
    """The System in ``file``; ``files`` (name -> path) are those that ``uses`` may name."""
    doc, faults = file.doc, Faults(file.path)
    if file.name.startswith("_") or doc.recipe is None:
        mend = "name a system"
        raise complaint(file.path, "", "this is a shelf for other files to use, not a system", mend)
    constants = _constants(file, files)
    stocks, reagents = _stocks(file, files, faults)
    recipe = _recipe(doc.recipe, stocks, faults)
    names = {name for choice in constants.values() for name in choice.reaction.coefficients}
    known = names | set(recipe.totals) | {species(n).name for stock in stocks.values() for n in stock.species}
    steps = {entry.key: _stress(entry, stocks, known, faults) for entry in doc.stress}
    _chains_end(doc.stress, faults)
    faults.stop_if_any()
    spectra, solids = looks_for(names, files, file)
    return System(
        name=file.name,
        title=doc.title,
        about=doc.about,
        reactions=tuple(choice.reaction for choice in constants.values()),
        constants=MappingProxyType(constants),
        recipe=recipe,
        stocks=MappingProxyType(stocks),
        reagents=MappingProxyType(reagents),
        steps=MappingProxyType({key: step for key, step in steps.items() if step is not None}),
        spectra=MappingProxyType(spectra),
        solids=MappingProxyType(solids),
        hazards=tuple(bottle.hazard for bottle in reagents.values()),
        ppe=doc.ppe,
        waste=doc.waste,
        spill=doc.spill,
        pitfalls=doc.pitfalls,
        sources=_sources(doc, constants, spectra),
        data_only=doc.data_only,
        path=file.path,
    )


def _constants(file: File, files: Mapping[str, Path]) -> dict[str, ConstantChoice]:
    tables = gather_reactions(file, files)
    main = file.doc.main or next(iter(tables), "")
    if main not in tables:
        raise complaint(file.path, "main", f"there is no reaction {main!r}", suggestion(main, tables))
    return {key: _choice(*tables[key]) for key in [main, *(key for key in tables if key != main)]}


def _choice(table: ReactionTable, home: str) -> ConstantChoice:
    values = {constant.key: constant for constant in table.constant}
    default = values[table.default]
    reaction = Reaction(
        table.equation,
        K=default.K,
        basis=table.basis,
        T=default.T,
        dH=table.heat.dH if table.heat else None,
        name=table.key,
        source=default.source,
    )
    shown = MappingProxyType(values)
    return ConstantChoice(
        table.key, reaction, shown, default, table.why_default, table.heat, table.words, home
    )


def _stocks(
    file: File, files: Mapping[str, Path], faults: Faults
) -> tuple[dict[str, Stock], dict[str, Reagent]]:
    """Stocks and reagents of this system that its recipe or stresses call for, in the order of the file."""
    tables, bottles = _gather(file, files, "stock"), _gather(file, files, "reagent")
    doc = file.doc
    called = [portion.stock for portion in (doc.recipe.portions if doc.recipe else ())]
    called += [s.does.stock for s in doc.stress if isinstance(s.does, AddSolution) and s.does.stock]
    stocks = {key: tables[key] for key in dict.fromkeys(called) if key in tables}
    reagents = {}
    wanted = [
        (f"stock {key!r}, from", made.reagent) for key, stock in stocks.items() for made in stock.made_from
    ]
    for where, key in [*wanted, *(("bottles", key) for key in doc.bottles)]:
        if key in bottles:
            reagents[key] = bottles[key]
        else:
            faults.add(where, f"there is no reagent {key!r}", suggestion(key, bottles))
    return stocks, reagents


def _recipe(table: RecipeTable, stocks: Mapping[str, Stock], faults: Faults) -> Recipe:
    mol: dict[str, float] = {}
    for name, mmol in table.put_in.items():
        one = read_species(faults, "recipe, put_in", name)
        if one is not None:
            mol[one.name] = mmol / 1000.0
    for portion in table.portions:
        if portion.stock != "water" and portion.stock not in stocks:
            mend = suggestion(portion.stock, ["water", *stocks])
            faults.add(f"recipe, portion {portion.stock!r}", "there is no such stock", mend)
            continue
        for name, molar in (stocks[portion.stock].species if portion.stock != "water" else {}).items():
            name = species(name).name
            mol[name] = mol.get(name, 0.0) + molar * portion.mL / 1000.0
    volume = table.mL / 1000.0 if table.mL else sum(portion.mL / 1000.0 for portion in table.portions)
    if volume <= 0:
        faults.add("recipe, portions", "nothing is put in", "add { stock, mL } or mL")
    elif not mol and not faults.lines:
        faults.add("recipe", "no substance is put in", "add portions of a stock, or put_in")
    return Recipe(
        vessel=table.vessel,
        portions=tuple((portion.stock, portion.mL / 1000.0) for portion in table.portions),
        totals=MappingProxyType({name: n / volume for name, n in mol.items()} if volume > 0 else {}),
        volume=volume,
        T=round(table.celsius + _KELVIN, 2),
        headspace=table.headspace_mL / 1000.0,
        pressure=table.pressure_bar,
        path_cm=table.path_cm,
        steps=table.steps,
        colour=table.colour,
        demonstration_only=table.demonstration_only,
        note=table.note,
    )


def _sources(
    doc: CatalogueFile, constants: Mapping[str, ConstantChoice], spectra: Mapping[str, Spectrum]
) -> tuple[str, ...]:
    found = [c.source for choice in constants.values() for c in choice.values.values()]
    found += [choice.heat.source for choice in constants.values() if choice.heat]
    found += [spectrum.source for spectrum in spectra.values()]
    return tuple(dict.fromkeys([*doc.sources, *found]))


# -- stresses ------------------------------------------------------------------------------------------------


def _stress(
    entry: StressTable, stocks: Mapping[str, Stock], known: set[str], faults: Faults
) -> CatalogueStress | None:
    """One stress, ready to be done; None and its faults when it names what is not there."""
    where = f"stress {entry.key!r}"
    for key in ("solid", "solid_gone"):
        if getattr(entry, key):
            _must_know(faults, f"{where}, {key}", getattr(entry, key), known)
    before = len(faults.lines)
    try:
        stress = _done(entry.does, stocks, known, f"{where}, does", faults)
    except EqlibError as error:
        faults.add(f"{where}, does", "cannot be done", str(error).rstrip("."))
        return None
    if stress is None or len(faults.lines) > before:
        return None
    portions = {"add_solution": getattr(entry.does, "stock", None), "dilute": "water"}
    poured = portions.get(entry.does.kind)
    same = {name: getattr(entry, name) for name in StressTable.model_fields if name != "does"}
    return CatalogueStress(
        **same, stress=stress, portions=((poured, stress.volume or 0.0),) if poured else ()
    )


def _done(
    does: Any, stocks: Mapping[str, Stock], known: set[str], where: str, faults: Faults
) -> Stress | None:
    """The Stress that a ``does`` table describes."""
    match does.kind:
        case "add_solution":
            content = _content(does, stocks, where, faults)
            return Stress.add_solution(content, volume=does.mL / 1000.0) if content else None
        case "dilute":
            return Stress.dilute(does.mL / 1000.0)
        case "add" | "remove":
            name = _must_know(faults, f"{where}, species", does.species, known)
            return getattr(Stress, does.kind)(name, does.mmol / 1000.0) if name else None
        case "add_solid":
            name = _solid_or_salt(faults, f"{where}, formula", does.formula, known)
            return Stress.add_solid(name, does.mmol / 1000.0) if name else None
        case "heat_to":
            return Stress.heat_to(round(does.celsius + _KELVIN, 2))
        case "change_volume":
            if (does.mL is None) == (does.L is None):
                faults.add(f"{where}, mL", "the volume is not said once", "write mL or L")
                return None
            return Stress.change_volume(does.L if does.mL is None else does.mL / 1000.0)
        case "add_inert":
            return Stress.add_inert(does.mmol / 1000.0, constant=does.constant)
    return Stress.catalyse()


def _content(
    does: AddSolution, stocks: Mapping[str, Stock], where: str, faults: Faults
) -> dict[str, float] | None:
    """mol/L of what is poured in: a stock's species, or the substances written out, as their ions."""
    if [does.stock, does.of, does.of_mM].count(None) != 2:
        faults.add(f"{where}, stock", "the solution is not said once", "write one of: stock, of, of_mM")
    elif does.stock is None:
        scale = 1.0 if does.of is not None else 1e-3
        return dissolved({name: scale * molar for name, molar in (does.of or does.of_mM or {}).items()})
    elif does.stock in stocks:
        return dict(stocks[does.stock].species)
    else:
        faults.add(f"{where}, stock", f"there is no stock {does.stock!r}", suggestion(does.stock, stocks))
    return None


def _solid_or_salt(faults: Faults, where: str, text: str, known: set[str]) -> str | None:
    """A solid of the reactions, or a soluble salt whose ions are all known here (potassium nitrate, say)."""
    solid = text if text.endswith("(s)") else f"{text}(s)"
    one = read_species(faults, where, solid)
    if one is None or one.name in known:
        return solid
    try:
        ions = ions_of(text.removesuffix("(s)"))
    except EqlibError as error:
        faults.add(where, f"{text} is neither a solid of this system nor a salt", str(error).rstrip("."))
        return None
    known_ions = [_must_know(faults, where, ion, known) for ion in ions]  # each unknown one is told
    return solid if all(known_ions) else None


def _must_know(faults: Faults, where: str, text: str, known: set[str]) -> str | None:
    one = read_species(faults, where, text)
    if one is not None and one.name not in known:
        mend = f"correct its name or add its reaction; {suggestion(one.name, known)}"
        faults.add(where, f"{text} is in no reaction, stock or recipe of this system", mend)
        return None
    return one.name if one is not None else None


def _chains_end(entries: tuple[StressTable, ...], faults: Faults) -> None:
    """A chain of ``after`` starts from the recipe."""
    after = {entry.key: entry.after for entry in entries}
    for key in after:
        where, seen = f"stress {key!r}, after", [key]
        at = after[key]
        while at is not None:
            if at not in after:
                if seen == [key]:
                    faults.add(where, f"there is no stress {at!r}", suggestion(at, after))
                break
            if at in seen:
                faults.add(where, "goes round in a circle", "start from the recipe")
                break
            seen.append(at)
            at = after[at]


# -- looks: each written in one file and looked up by the species' name --------------------------------------


def remember(file: File) -> None:
    """Let a file from outside the shelf lend its looks to later look-ups; it only fills gaps."""
    if file.path.parent != shipped_folder():
        _OPENED[file.path] = file


def looks_for(
    names: set[str], files: Mapping[str, Path], file: File
) -> tuple[dict[str, Spectrum], dict[str, SolidLook]]:
    """(spectra, solid looks) of those ``names`` that have one, by canonical name; ``file`` itself wins."""
    spectra, solids = all_looks(files)
    spectra, solids = {**spectra, **_by_species(file.doc.spectrum)}, {**solids, **_by_species(file.doc.solid)}
    return {n: spectra[n] for n in spectra if n in names}, {n: solids[n] for n in solids if n in names}


def all_looks(files: Mapping[str, Path]) -> tuple[dict[str, Spectrum], dict[str, SolidLook]]:
    """Every spectrum and solid look on the shelf, and of files opened from elsewhere."""
    paths = tuple(dict.fromkeys([*files.values(), *_OPENED]))
    return _all_looks(paths, tuple(map(stamp, paths)))


@lru_cache(maxsize=16)
def _all_looks(
    paths: tuple[Path, ...], _stamps: tuple[int, ...]
) -> tuple[dict[str, Spectrum], dict[str, SolidLook]]:
    spectra: dict[str, Spectrum] = {}
    solids: dict[str, SolidLook] = {}
    homes: dict[tuple[str, str], Path] = {}
    for path in paths:  # a person's own folder comes first, and its entries stand
        file = _lender(path)
        if file is None:
            continue
        for kind, found, looks in (
            ("spectrum", spectra, file.doc.spectrum),
            ("solid", solids, file.doc.solid),
        ):
            for name, look in _by_species(looks).items():
                _only_once(path, homes.get((kind, name)), name, kind)
                homes.setdefault((kind, name), path)
                found.setdefault(name, look)
    return spectra, solids


def _by_species(looks: tuple[Any, ...]) -> dict[str, Any]:
    return {species(look.species).name: look for look in looks}


def _lender(path: Path) -> File | None:
    """The file, or None for a person's own file with a fault: it lends no looks, and opening it says why.

    One unfinished file in a folder must not take the colours from every other system. ``catalogue.faults``
    lists it.
    """
    try:
        return read(path)
    except CatalogueError:
        if path.parent == shipped_folder():
            raise
        return None


def _only_once(path: Path, earlier: Path | None, name: str, kind: str) -> None:
    """Among ours a species has its look in one file, so that there is one place to correct it."""
    if earlier is not None and path.parent == shipped_folder() == earlier.parent:
        what = f"this species has its {kind} in {earlier.name} already"
        raise complaint(path, f"{kind} {name!r}", what, "keep one of the two")
