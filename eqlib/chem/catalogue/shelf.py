"""Finding catalogue files and reading them: the package's own folder, a person's own folder, one path."""

import os
import tomllib
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources
from pathlib import Path

from eqlib.chem.catalogue.errors import CatalogueError, complaint, suggestion
from eqlib.chem.catalogue.rules import check_meaning
from eqlib.chem.catalogue.schema import check_shape

OWN_FOLDER = "EQLIB_SYSTEMS"
_LARGEST = 1_000_000  # bytes; a system takes some 20 kB


@dataclass(frozen=True)
class File:
    """One catalogue file that has passed its checks: name (without .toml), path, parsed contents."""

    name: str
    path: Path
    doc: dict


def shipped_folder():
    """The folder of the systems that come with eqlib."""
    return Path(str(resources.files("eqlib.chem.catalogue")))


def folders(own=None):
    """Folders to look in, a person's own first: ``own``, else the environment variable EQLIB_SYSTEMS, then
    ours.
    """
    mine = own if own is not None else os.environ.get(OWN_FOLDER)
    if not mine:
        return (shipped_folder(),)
    mine = Path(mine).expanduser()
    if not mine.is_dir():
        mend = f"make it, or correct its path ({OWN_FOLDER} names one too)"
        raise complaint(mine, "", "this folder of systems is not there", mend)
    return (mine, shipped_folder())


def shelf(own=None):
    """Every catalogue file by name, a person's own standing before ours of the same name. Not read yet.

    A name with a leading underscore is not a system: it holds reagents or reactions for others to use.
    """
    found = {}
    for folder in folders(own):
        for path in sorted(folder.glob("*.toml")):
            found.setdefault(path.stem, path)
    return found


def find(name, own=None):
    """The path of the system ``name``, or a CatalogueError that suggests the near name and lists the rest."""
    files = shelf(own)
    if name not in files or name.startswith("_"):
        names = [n for n in files if not n.startswith("_")]
        raise CatalogueError(f"there is no system {name!r} in the catalogue; {suggestion(name, names)}.")
    return files[name]


def stamp(path):
    """When the file was last changed (ns), so that what was made from it can be kept; 0 when it has gone."""
    try:
        return path.stat().st_mtime_ns
    except OSError:
        return 0


def read(path):
    """The checked contents of one file. Re-read only when the file has changed on disk."""
    path = Path(path).expanduser()
    try:
        stat = path.stat()
    except OSError:
        raise complaint(
            path, "", "there is no such file", "check the path; eqlib.systems() lists the names"
        ) from None
    return _read(path, stat.st_mtime_ns, stat.st_size)


@lru_cache(maxsize=128)
def _read(path, _changed, size):
    if path.is_dir():
        raise complaint(path, "", "this is a folder", "name one .toml file in it")
    if size > _LARGEST:
        raise complaint(path, "", f"the file has {size} bytes", f"keep a system under {_LARGEST} bytes")
    try:
        raw = path.read_bytes()
    except OSError as error:
        raise complaint(
            path, "", f"the file cannot be read ({error.strerror})", "check its permissions"
        ) from None
    doc = parse(path, raw)
    check_shape(path, doc)
    check_meaning(path, doc, is_system=not path.stem.startswith("_"))
    return File(path.stem, path, doc)


def parse(path, raw):
    """TOML bytes as a dictionary, or one line that says why not."""
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        raise complaint(
            path, f"line {line}", "this is not UTF-8 text", "save the file with the encoding UTF-8"
        ) from None
    if not text.strip():
        raise complaint(
            path, "", "the file is empty", 'start with title = "..." and copy the shape of a shipped system'
        )
    try:
        return tomllib.loads(text)
    except RecursionError:
        raise complaint(
            path, "", "the lists are nested too deeply", "copy the shape of a shipped system"
        ) from None
    except ValueError as error:  # TOMLDecodeError, or a number with thousands of digits
        raise complaint(
            path, "", f"this is not TOML: {error}", "mend that line; texts need quotes, lists need [ ]"
        ) from None
