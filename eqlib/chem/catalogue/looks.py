"""What species look like: spectra and solids, each written in one file and looked up by the species' name."""

from functools import lru_cache
from pathlib import Path

from eqlib.chem.catalogue.errors import CatalogueError, complaint
from eqlib.chem.catalogue.records import Band, SolidLook, Spectrum
from eqlib.chem.catalogue.rules import read_species
from eqlib.chem.catalogue.shelf import read, shipped_folder, stamp

# Files opened by path or from a named folder: later look-ups by species name should find their colours too.
_OPENED = {}


def remember(file):
    """Let a file from outside the shelf lend its looks to later look-ups; it only fills gaps."""
    if file.path.parent != shipped_folder():
        _OPENED[file.path] = file


def looks_for(names, files, file):
    """(spectra, solid looks) of those ``names`` that have one, by canonical name; ``file`` itself wins."""
    spectra, solids = all_looks(files)
    spectra, solids = {**spectra, **spectra_in(file)}, {**solids, **solids_in(file)}
    return {n: spectra[n] for n in spectra if n in names}, {n: solids[n] for n in solids if n in names}


def all_looks(files):
    """Every spectrum and solid look on the shelf, and of files opened from elsewhere."""
    paths = tuple(dict.fromkeys([*files.values(), *_OPENED]))
    stamps = tuple(map(stamp, paths))
    return _all_looks(paths, stamps)


@lru_cache(maxsize=16)
def _all_looks(paths, _stamps):
    spectra, solids = {}, {}
    for path in paths:  # a person's own folder comes first, and its entries stand
        file = _lender(path)
        if file is None:
            continue
        for name, spectrum in spectra_in(file).items():
            _only_once(path, spectra.get(name), name, "spectrum")
            spectra.setdefault(name, spectrum)
        for name, look in solids_in(file).items():
            _only_once(path, solids.get(name), name, "solid")
            solids.setdefault(name, look)
    return spectra, solids


def _lender(path):
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


def _only_once(path, earlier, name, kind):
    """Among ours a species has its look in one file, so that there is one place to correct it."""
    if earlier is not None and path.parent == shipped_folder() == Path(earlier.path).parent:
        what = f"this species has its {kind} in {Path(earlier.path).name} already"
        raise complaint(path, f"{kind} {name!r}", what, "keep one of the two")


def spectra_in(file):
    """The spectra written in one file, by canonical species name."""
    found = {}
    for entry in file.doc.get("spectrum", []):
        name = read_species(file.path, "spectrum", entry["species"]).name
        bands = tuple(
            Band(float(b["max_nm"]), float(b["epsilon"]), float(b["width_cm1"]))
            for b in entry.get("bands", ())
        )
        table = None
        if "nm" in entry:
            table = (tuple(map(float, entry["nm"])), tuple(map(float, entry["epsilon"])))
        found[name] = Spectrum(
            name, bands, table, entry["source"], entry["from_memory"], entry["shape"],
            entry.get("illustrative", False), str(file.path),
        )  # fmt: skip
    return found


def solids_in(file):
    """The looks of solids written in one file, by canonical species name."""
    found = {}
    for entry in file.doc.get("solid", []):
        name = read_species(file.path, "solid", entry["species"]).name
        found[name] = SolidLook(
            name, entry["words"], entry["hex"].lower(), float(entry["scatter"]), entry["source"],
            entry["from_memory"], entry.get("note", ""), str(file.path),
        )  # fmt: skip
    return found
