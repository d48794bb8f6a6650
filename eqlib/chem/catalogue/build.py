"""From checked catalogue files to a System: reactions with their constants, recipe, stresses, cautions."""

from types import MappingProxyType

from eqlib.chem.catalogue.errors import complaint, suggestion
from eqlib.chem.catalogue.looks import looks_for
from eqlib.chem.catalogue.make_stress import make_stress
from eqlib.chem.catalogue.records import (
    Constant,
    ConstantChoice,
    Hazard,
    Heat,
    Reagent,
    Recipe,
    Stock,
    System,
)
from eqlib.chem.catalogue.rules import read_species
from eqlib.chem.catalogue.uses import gather_reactions, gather_tables

WATER = Stock("water", "deionised water", MappingProxyType({}), ())


def build(file, files):
    """The System in ``file``; ``files`` (name -> path) are those that ``uses`` may name."""
    if file.name.startswith("_"):
        raise complaint(
            file.path, "", "this is a shelf for other files to use, not a system", "name a system"
        )
    constants = _constants(file, files)
    stocks, reagents = _stocks(file, files)
    recipe = _recipe(file, stocks)
    names = _species_of(constants)
    _recipe_holds_something(file, recipe)
    stresses = _stresses(file, stocks, names | set(recipe.totals))
    spectra, solids = looks_for(names, files, file)
    doc = file.doc
    return System(
        name=file.name,
        title=doc["title"],
        about=doc.get("about", ""),
        reactions=tuple(choice.reaction for choice in constants.values()),
        constants=MappingProxyType(constants),
        recipe=recipe,
        stocks=MappingProxyType(stocks),
        reagents=MappingProxyType(reagents),
        steps=MappingProxyType(stresses),
        spectra=MappingProxyType(spectra),
        solids=MappingProxyType(solids),
        hazards=tuple(r.hazard for r in reagents.values()),
        ppe=tuple(doc.get("ppe", ())),
        waste=tuple(doc.get("waste", ())),
        spill=tuple(doc.get("spill", ())),
        pitfalls=tuple(doc.get("pitfalls", ())),
        sources=_sources(doc, constants, spectra),
        data_only=doc.get("data_only", ""),
        path=file.path,
    )


def _constants(file, files):
    tables = gather_reactions(file, files)
    main = file.doc.get("main", next(iter(tables), None))
    if main not in tables:
        raise complaint(file.path, "main", f"there is no reaction {main!r}", suggestion(main, tables))
    ordered = [main, *(key for key in tables if key != main)]
    return {key: _choice(*tables[key]) for key in ordered}


def _choice(table, home):
    from eqlib.chem.reactions import Reaction

    values = {entry["key"]: _constant(entry) for entry in table["constant"]}
    default = values[table["default"]]
    heat = table.get("heat")
    heat = heat and Heat(
        1000.0 * heat["dH_kJ"],
        heat["source"],
        heat["from_memory"],
        heat.get("illustrative", False),
        heat.get("note", ""),
    )
    reaction = Reaction(
        table["equation"],
        K=default.K,
        basis=table.get("basis", "c"),
        T=default.T,
        dH=heat.dH if heat else None,
        name=table["key"],
        source=default.source,
    )
    return ConstantChoice(
        table["key"],
        reaction,
        MappingProxyType(values),
        default,
        table["why_default"],
        heat,
        table.get("words", ""),
        home,
    )


def _constant(entry):
    strength = entry["ionic_strength"]
    return Constant(
        key=entry["key"],
        K=float(entry["K"] if "K" in entry else 10.0 ** entry["log10_K"]),
        T=float(entry["T"]),
        ionic_strength=None if isinstance(strength, str) else float(strength),
        source=entry["source"],
        from_memory=entry["from_memory"],
        illustrative=entry.get("illustrative", False),
        note=entry.get("note", ""),
        gas_phase=strength == "gas phase",
    )


def _species_of(constants):
    return {name for choice in constants.values() for name in choice.reaction.coefficients}


def _stocks(file, files):
    """Stocks and reagents of this system that its recipe or stresses call for, in the order of the file."""
    tables = gather_tables(file, files, "stock")
    bottles = gather_tables(file, files, "reagent")
    recipe, stresses = file.doc.get("recipe", {}), file.doc.get("stress", [])
    called = [p["stock"] for p in recipe.get("portions", [])] + [s["does"].get("stock") for s in stresses]
    stocks, reagents = {}, {}
    for key in dict.fromkeys(k for k in called if k in tables):
        table = tables[key]
        made_from = tuple((f["reagent"], float(f["M"])) for f in table.get("from", ()))
        for reagent, _ in made_from:
            if reagent not in bottles:
                where = f"stock {key!r}, from"
                raise complaint(
                    file.path, where, f"there is no reagent {reagent!r}", suggestion(reagent, bottles)
                )
            reagents[reagent] = _reagent(bottles[reagent])
        species = {
            read_species(file.path, f"stock {key!r}", n).name: float(v) for n, v in table["species"].items()
        }
        stocks[key] = Stock(
            key, table["name"], MappingProxyType(species), made_from,
            table.get("waste", ""), table.get("keep", ""), table.get("solvent", "water"),
        )  # fmt: skip
    for key in file.doc.get(
        "bottles", []
    ):  # those no stock is made from: a salt added dry, a sealed tube of gas
        if key not in bottles:
            raise complaint(file.path, "bottles", f"there is no reagent {key!r}", suggestion(key, bottles))
        reagents[key] = _reagent(bottles[key])
    return stocks, reagents


def _reagent(entry):
    hazard = Hazard(
        entry["name"],
        entry["formula"],
        tuple(entry.get("pictograms", ())),
        tuple(entry.get("codes", ())),
        entry["hazard_source"],
        entry.get("hazard_note", ""),
    )
    return Reagent(
        entry["key"], entry["name"], entry["formula"], entry["state"], entry.get("molarity"),
        tuple(entry.get("other_forms", ())), hazard, entry.get("keep", ""), entry.get("note", ""),
    )  # fmt: skip


def _recipe(file, stocks):
    table = file.doc["recipe"]
    portions = []
    for portion in table.get("portions", []):
        if portion["stock"] != "water" and portion["stock"] not in stocks:
            where = f"recipe, portion {portion['stock']!r}"
            raise complaint(
                file.path, where, "there is no such stock", suggestion(portion["stock"], ["water", *stocks])
            )
        portions.append((portion["stock"], portion["volume_mL"] / 1000.0))
    put_in = {
        read_species(file.path, "recipe, put_in", n).name: float(v)
        for n, v in table.get("put_in", {}).items()
    }
    volume = table["volume_mL"] / 1000.0 if "volume_mL" in table else sum(v for _, v in portions)
    if volume <= 0:
        raise complaint(
            file.path, "recipe, portions", "nothing is put in", "add { stock, volume_mL } or volume_mL"
        )
    mol = dict(put_in)
    for key, litres in portions:
        for name, molar in (stocks[key].species if key != "water" else {}).items():
            mol[name] = mol.get(name, 0.0) + molar * litres
    return Recipe(
        vessel=table["vessel"],
        portions=tuple(portions),
        put_in=MappingProxyType(put_in),
        totals=MappingProxyType({name: n / volume for name, n in mol.items()}),
        volume=volume,
        T=float(table["T"]),
        headspace=table.get("headspace_mL", 0.0) / 1000.0,
        pressure=table.get("pressure_bar"),
        path_cm=float(table.get("path_cm", 1.0)),
        steps=tuple(table["steps"]),
        colour=table.get("colour", ""),
        demonstration_only=table.get("demonstration_only", False),
    )


def _recipe_holds_something(file, recipe):
    if not recipe.totals:
        raise complaint(file.path, "recipe", "no substance is put in", "add portions of a stock, or put_in")


def _stresses(file, stocks, names):
    known = names | {name for stock in stocks.values() for name in stock.species}
    stresses = {}
    for entry in file.doc.get("stress", []):
        stresses[entry["key"]] = make_stress(file.path, entry, stocks, known)
    for key, stress in stresses.items():
        seen = [key]
        while stress.after is not None:
            if stress.after not in stresses:
                what = f"there is no stress {stress.after!r}"
                raise complaint(file.path, f"stress {key!r}, after", what, suggestion(stress.after, stresses))
            if stress.after in seen:
                raise complaint(
                    file.path, f"stress {key!r}, after", "goes round in a circle", "start from the recipe"
                )
            seen.append(stress.after)
            stress = stresses[stress.after]
    return stresses


def _sources(doc, constants, spectra):
    found = [c.source for choice in constants.values() for c in choice.values.values()]
    found += [choice.heat.source for choice in constants.values() if choice.heat]
    found += [spectrum.source for spectrum in spectra.values()]
    return tuple(dict.fromkeys([*doc.get("sources", ()), *found]))
