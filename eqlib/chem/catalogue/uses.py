"""Following ``uses``: reactions, stocks and reagents that one catalogue file takes from another.

``uses = "iron-thiocyanate"`` takes every reaction of that file, those it uses itself included.
``uses = "iron-thiocyanate/complex"`` takes the one reaction with that key. Reagents and stocks of a used file
may be named in the using file; what a file writes itself wins.
"""

from eqlib.chem.catalogue.errors import CatalogueError, complaint, suggestion
from eqlib.chem.catalogue.shelf import read

REAGENTS = "_reagents"


def used(file):
    """The entries of ``uses`` as a list of (file name, reaction key or None)."""
    entries = file.doc.get("uses", [])
    entries = [entries] if isinstance(entries, str) else entries
    return [(name, key or None) for name, _, key in (entry.partition("/") for entry in entries)]


def gather_reactions(file, files, chain=()):
    """Reaction tables of ``file``, its own first, as a dict key -> (table, home name)."""
    if file.name in chain:
        circle = " -> ".join([*chain[chain.index(file.name) :], file.name])
        raise complaint(file.path, "uses", f"goes round in a circle ({circle})", "take one of these out")
    reactions = {entry["key"]: (entry, file.name) for entry in file.doc.get("reaction", [])}
    for name, key in used(file):
        other = _open(file, name, files)
        if key is None:
            taken = gather_reactions(other, files, (*chain, file.name))
        else:
            own = {entry["key"]: (entry, name) for entry in other.doc.get("reaction", [])}
            if key not in own:
                what = f"{name} has no reaction {key!r}"
                raise complaint(file.path, f"uses {name}/{key}", what, suggestion(key, own))
            taken = {key: own[key]}
        for taken_key, entry in taken.items():
            reactions.setdefault(taken_key, entry)
    return reactions


def gather_tables(file, files, kind, chain=()):
    """Reagent or stock tables by key: the file's own, then those of the files it uses, then the common
    shelf.
    """
    tables = {entry["key"]: entry for entry in file.doc.get(kind, [])}
    for name, _ in used(file):
        if name not in chain and name != file.name:
            other = _open(file, name, files)
            for key, entry in gather_tables(other, files, kind, (*chain, file.name)).items():
                tables.setdefault(key, entry)
    if kind == "reagent" and REAGENTS in files and file.name != REAGENTS:
        for entry in read(files[REAGENTS]).doc.get("reagent", []):
            tables.setdefault(entry["key"], entry)
    return tables


def _open(file, name, files):
    if name not in files:
        raise complaint(file.path, "uses", f"there is no file {name!r}", suggestion(name, files))
    if files[name] == file.path:
        raise complaint(file.path, "uses", "the file uses itself", "take that entry out")
    try:
        return read(files[name])
    except CatalogueError as error:
        raise complaint(
            file.path, f"uses {name}", "the other file has a fault", str(error).rstrip(".")
        ) from None
