"""One [[stress]] table as a CatalogueStress, with complaints when it names what is not there."""

from eqlib.chem.catalogue.errors import CatalogueError, complaint, suggestion
from eqlib.chem.catalogue.records import CatalogueStress
from eqlib.chem.catalogue.rules import read_species
from eqlib.errors import EqlibError


def make_stress(path, entry, stocks, known):
    """``known`` are the names of species in this system's reactions, recipe and stocks."""
    where = f"stress {entry['key']!r}"
    for name in ("solid", "solid_gone"):
        if name in entry:
            _must_know(path, f"{where}, {name}", entry[name], known)
    does = entry["does"]
    try:
        stress = _stress(path, f"{where}, does", does, stocks, known)
    except CatalogueError:
        raise
    except EqlibError as error:
        raise complaint(path, f"{where}, does", "cannot be done", str(error).rstrip(".")) from None
    portions = ((does["stock"], does["volume_mL"] / 1000.0),) if "stock" in does else ()
    if does["kind"] == "dilute":
        portions = (("water", does["volume_mL"] / 1000.0),)
    return CatalogueStress(
        key=entry["key"],
        title=entry["title"],
        stress=stress,
        direction=entry["direction"],
        seen=entry["seen"],
        seen_words=entry["seen_words"],
        why=entry["why"],
        caution=entry["caution"],
        reversal=entry["reversal"],
        after=entry.get("after"),
        solid=entry.get("solid"),
        solid_gone=entry.get("solid_gone"),
        on_bench=entry.get("on_bench", True),
        portions=portions,
    )


def _stress(path, where, does, stocks, known):
    from eqlib.chem.stress import Stress

    kind = does["kind"]
    if kind == "add_solution":
        if does["stock"] not in stocks:
            what = f"there is no stock {does['stock']!r}"
            raise complaint(path, f"{where}, stock", what, suggestion(does["stock"], stocks))
        return Stress.add_solution(dict(stocks[does["stock"]].species), volume=does["volume_mL"] / 1000.0)
    if kind == "dilute":
        return Stress.dilute(does["volume_mL"] / 1000.0)
    if kind in ("add", "remove"):
        name = _must_know(path, f"{where}, species", does["species"], known)
        return getattr(Stress, kind)(name, does["mol"])
    if kind == "add_solid":
        name = _solid_or_salt(path, f"{where}, formula", does["formula"], known)
        return Stress.add_solid(name, does["mol"])
    if kind == "heat_to":
        return Stress.heat_to(does["T"])
    if kind == "change_volume":
        return Stress.change_volume(does["volume_mL"] / 1000.0)
    if kind == "add_inert":
        return Stress.add_inert(does["mol"], constant=does["constant"])
    return Stress.catalyse()


def _solid_or_salt(path, where, text, known):
    """A solid of the reactions, or a soluble salt whose ions are all known here (potassium nitrate, say)."""
    from eqlib.chem.salts import ions_of

    solid = text if text.endswith("(s)") else f"{text}(s)"
    if read_species(path, where, solid).name in known:
        return solid
    try:
        ions = ions_of(text.removesuffix("(s)"))
    except EqlibError as error:
        raise complaint(
            path, where, f"{text} is neither a solid of this system nor a salt", str(error).rstrip(".")
        ) from None
    for ion in ions:
        _must_know(path, where, ion, known)
    return solid


def _must_know(path, where, text, known):
    name = read_species(path, where, text).name
    if name not in known:
        what = f"{text} is in no reaction, stock or recipe of this system"
        raise complaint(path, where, what, f"correct its name or add its reaction; {suggestion(name, known)}")
    return name
