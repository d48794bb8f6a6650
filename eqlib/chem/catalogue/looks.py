"""What species look like: spectra and solids, each written in one file and looked up by the species' name."""

from functools import lru_cache

from eqlib.chem.catalogue.errors import complaint
from eqlib.chem.catalogue.records import Band, SolidLook, Spectrum
from eqlib.chem.catalogue.rules import read_species
from eqlib.chem.catalogue.shelf import read


def looks_for(names, files, file):
    """(spectra, solid looks) of those ``names`` that have one, as dicts by canonical name."""
    spectra, solids = all_looks(files, file)
    return {n: spectra[n] for n in spectra if n in names}, {n: solids[n] for n in solids if n in names}


def all_looks(files, file=None):
    """Every spectrum and solid look on the shelf; those in ``file`` (which may stand outside it) win."""
    paths = tuple(dict.fromkeys(files.values()))
    stamps = tuple(path.stat().st_mtime_ns for path in paths)
    spectra, solids = _all_looks(paths, stamps)
    if file is None or file.path in paths:
        return spectra, solids
    return {**spectra, **spectra_in(file)}, {**solids, **solids_in(file)}


@lru_cache(maxsize=8)
def _all_looks(paths, _stamps):
    spectra, solids = {}, {}
    for path in paths:  # a person's own folder comes first, and its entries stand
        file = read(path)
        for name, spectrum in spectra_in(file).items():
            _only_once(path, spectra.get(name), name, "spectrum")
            spectra.setdefault(name, spectrum)
        for name, look in solids_in(file).items():
            _only_once(path, solids.get(name), name, "solid")
            solids.setdefault(name, look)
    return spectra, solids


def _only_once(path, earlier, name, kind):
    """Within one folder a species has its look in one file, so that there is one place to correct it."""
    from pathlib import Path

    if earlier is not None and Path(earlier.path).parent == path.parent:
        what = f"this species has its {kind} in {Path(earlier.path).name} already"
        raise complaint(path, f"{kind} {name!r}", what, "keep one of the two")


def spectra_in(file):
    """The spectra written in one file, by canonical species name."""
    found = {}
    for entry in file.doc.get("spectrum", []):
        name = read_species(file.path, "spectrum", entry["species"]).name
        bands = tuple(
            Band(float(b["max_nm"]), float(b["epsilon"]), float(b["width_cm1"])) for b in entry.get("bands", ())
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
