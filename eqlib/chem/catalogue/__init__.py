"""The catalogue: one TOML file for each demonstration, read, checked and made into a System.

``systems()`` lists names; ``system(name)`` or ``system(path)`` gives one. To add your own, put a .toml
file in a folder and pass that folder, or name the folder in the environment variable EQLIB_SYSTEMS.

The least that a file must hold (the models in ``records`` say every key; a shipped file shows them at work)::

    title = "Magnesium hydroxide"
    ppe = ["eye protection"]
    waste = ["sink with water"]

    [[reaction]]
    key = "dissolving"
    equation = "Mg(OH)2(s) <=> Mg^2+ + 2 OH^-"
    default = "openstax"
    why_default = "read in print"
    [[reaction.constant]]
    key = "openstax"
    K = 8.9e-12
    T = 298.15
    ionic_strength = "not stated"
    source = "OpenStax Chemistry 2e, Appendix J"
    from_memory = false

    [recipe]
    vessel = "test tube"
    celsius = 25
    mL = 10
    put_in = { "Mg(OH)2(s)" = 1.0 }
    steps = ["shake 0.06 g of the solid with 10 mL of water"]
"""

import copyreg
import os
from functools import lru_cache
from pathlib import Path

from eqlib.chem.catalogue.faults import CatalogueError
from eqlib.chem.catalogue.load import all_looks, build, find, folders, read, remember, shelf, stamp
from eqlib.chem.catalogue.one_system import CatalogueStress, System, check_claims, outcome_of
from eqlib.chem.catalogue.records import Reagent, SolidLook, Spectrum, Stock
from eqlib.chem.species import species

__all__ = [
    "CatalogueError",
    "CatalogueStress",
    "Reagent",
    "SolidLook",
    "Spectrum",
    "Stock",
    "System",
    "check_file",
    "faults",
    "folders",
    "outcome_of",
    "solid_look",
    "spectrum",
    "system",
    "systems",
]


def systems(folder: str | Path | None = None) -> list[str]:
    """Names of all systems, sorted: those in ``folder`` (or $EQLIB_SYSTEMS) and the shipped ones."""
    return sorted(name for name in shelf(folder) if not name.startswith("_"))


def system(name: str | Path, folder: str | Path | None = None) -> System:
    """The System called ``name``, or the one in the file at that path (with a slash, or ending .toml).

    Raises CatalogueError, a line for each fault naming file, key and mend; an unknown name gets the nearest
    known one.
    """
    is_path = isinstance(name, Path) or os.sep in str(name) or str(name).endswith(".toml")
    if not isinstance(name, str | Path) or not str(name).strip():
        raise CatalogueError(
            f"a system is named by a text, not {name!r}; it may be one of: {', '.join(systems(folder))}."
        )
    path = Path(name).expanduser() if is_path else find(str(name), folder)
    file = read(path)
    files = shelf(folder)
    if is_path:  # neighbours of a file opened by path may be used by it
        beside = {p.stem: p for p in sorted(path.parent.glob("*.toml"))}
        files = {
            **files,
            **{n: p for n, p in beside.items() if n.startswith("_") or n not in files},
            file.name: path,
        }
    remember(file)
    shown = tuple(files.items())
    return _built(file.path, shown, tuple(map(stamp, files.values())))


@lru_cache(maxsize=64)
def _built(path: Path, files: tuple[tuple[str, Path], ...], _stamps: tuple[int, ...]) -> System:
    """Built once for as long as no file on the shelf changes; a System is frozen, so it may be shared."""
    return build(read(path), dict(files))


# A System travels to another process as the path of its file.
copyreg.pickle(System, lambda one: (system, (one.path,)))


def check_file(path: str | Path, folder: str | Path | None = None) -> System:
    """The System in the file at ``path``, its claims tried in the engine; CatalogueError at a fault."""
    checked = system(Path(path), folder)
    check_claims(checked)
    return checked


def faults(folder: str | Path) -> list[CatalogueError]:
    """CatalogueErrors of the .toml files in ``folder``, one for each that cannot be used; [] if none."""
    found: list[CatalogueError] = []
    for path in sorted(Path(folder).glob("*.toml")):
        try:
            if path.stem.startswith("_"):
                read(path)
            else:
                check_file(path, folder)
        except CatalogueError as error:
            found.append(error)
    return found


def spectrum(name: str, folder: str | Path | None = None) -> Spectrum | None:
    """The Spectrum of a species, or None when none is known (it is then taken as colourless)."""
    return all_looks(shelf(folder))[0].get(species(name).name)


def solid_look(name: str, folder: str | Path | None = None) -> SolidLook | None:
    """The SolidLook of a solid, or None when none is known."""
    return all_looks(shelf(folder))[1].get(species(name).name)
