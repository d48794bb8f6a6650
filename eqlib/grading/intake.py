"""Take in what students handed in: whatever it is called and however it is damaged.

``submitted`` and ``collect_files`` look at the folders, in the process that marks; ``read_submission`` reads
the files' contents and ``whole`` gives a notebook's cells their own form back, in a worker with limits.
Nothing here trusts a file: sizes are looked at before reading, links are not followed, and what cannot be
read becomes one line that names the file and the mend.
"""

from __future__ import annotations

import io
import json
import os
import re
import uuid
import zipfile
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from datetime import datetime
from difflib import SequenceMatcher
from pathlib import Path, PurePosixPath
from typing import Any

import nbformat

from eqlib.grading.course import Book, meta_of
from eqlib.grading.run.sandbox import as_output, writable

#: Cells that we put in are marked in their metadata, under this key.
OURS = "eqlib"
MAX_NOTEBOOK = 150_000_000
MAX_FILE = 20_000_000
MAX_FILES = 200
#: Longest output of one cell that is kept, as JSON characters; what was recorded in it is read before.
MOST_KEPT = 2_000_000
MAX_CELLS = 3000
_KINDS = ("code", "markdown", "raw")
_CONTROL = re.compile("[\x00-\x1f\x7f-\x9f\u200b-\u200f\u2028-\u202e\u2066-\u2069]")
JOURNAL = re.compile(r"answers-.*\.journal\.json")
#: As a notebook is called, and as browsers and mail programs rename it.
_NOTEBOOK = re.compile(r"\.ipynb(\.txt|\.json)?$", re.IGNORECASE)


def printable(text: str) -> str:
    """``text`` on one line, without characters that steer a terminal or turn the direction of writing."""
    return _CONTROL.sub("?", text)


@dataclass(frozen=True)
class HandedIn:
    """One student's files: bytes by name; ``notes`` are lines for the instructor. ``due``: until when answers
    were to be recorded, in UTC; None where that is not known, or where all of it is late and said to be.
    """

    student: str
    files: dict[str, bytes] = field(default_factory=dict)
    notes: tuple[str, ...] = ()
    unusable: str | None = None
    due: datetime | None = None


def submitted(course: Path, assignment: str, others: Iterable[str] = ()) -> list[tuple[str, list[Path]]]:
    """(student, places) of everything that may be a submission of ``assignment``, in the order of the ids.

    A place is a folder or a file: the folder ``submitted/<student>/<assignment>``; failing that, a folder
    with nearly that name, and files lying loose in the student's folder; and files lying loose in
    ``submitted`` itself, whose name is then the student's id.
    """
    root = course / "submitted"
    if not root.is_dir():
        return []
    found: dict[str, list[Path]] = {}
    for entry in sorted(root.iterdir()):
        if entry.name.startswith(".") or entry.is_symlink():
            continue
        if entry.is_file() and _may_hold_one(entry):
            student = entry.stem if entry.suffix.lower() == ".zip" else _NOTEBOOK.sub("", entry.name)
            found.setdefault(student, []).append(entry)
        elif entry.is_dir() and (places := _places(entry, assignment, set(others))):
            found[entry.name] = places
    return sorted(found.items())


def _may_hold_one(file: Path) -> bool:
    return bool(_NOTEBOOK.search(file.name)) or file.suffix.lower() == ".zip"


def _places(folder: Path, assignment: str, others: set[str]) -> list[Path]:
    exact = folder / assignment
    if exact.is_dir() and not exact.is_symlink():
        return [exact]
    places = []
    for entry in sorted(folder.iterdir()):
        if entry.is_symlink() or entry.name.startswith("."):
            continue
        loose = _may_hold_one(entry) or JOURNAL.fullmatch(entry.name)
        named = entry.name not in others and _alike(entry.name, assignment)
        if (entry.is_file() and loose) or (entry.is_dir() and named):
            places.append(entry)
    return places


def _alike(name: str, wanted: str) -> bool:
    """Is this the assignment's name, misspelled?"""
    plain, other = (re.sub(r"[\W_]+", "", text.casefold()) for text in (name, wanted))
    return plain in other or other in plain or SequenceMatcher(None, plain, other).ratio() > 0.7


def collect_files(student: str, places: list[Path]) -> HandedIn:
    """Read the files at ``places``: of sensible size and number, links not followed, zips opened safely."""
    files: dict[str, bytes] = {}
    notes: list[str] = []
    try:
        for place in places:
            for path in [place] if place.is_file() else sorted(place.rglob("*")):
                if _ordinary(path, place if place.is_dir() else place.parent):
                    name = path.relative_to(place).as_posix() if place.is_dir() else path.name
                    name = _NOTEBOOK.sub(".ipynb", name) if name not in files else name
                    _take(files, notes, name, path)
    except OSError as error:
        why = f"its files could not be read ({error.strerror}); check their permissions"
        return HandedIn(student, {}, (), why)
    for name in [name for name in files if name.lower().endswith(".zip")]:
        if not any(other.endswith(".ipynb") for other in files):
            _unzip(files.pop(name), files, notes, name)
    return HandedIn(student, files, tuple(notes))


def _ordinary(path: Path, folder: Path) -> bool:
    inside = path.relative_to(folder).parts
    hidden = any(part.startswith(".") or part in ("__pycache__", "__MACOSX") for part in inside)
    linked = any((folder / Path(*inside[: n + 1])).is_symlink() for n in range(len(inside)))
    return not hidden and not linked and path.is_file()


def _most(name: str) -> int:
    return MAX_NOTEBOOK if name.endswith(".ipynb") else MAX_FILE


def _take(files: dict, notes: list, name: str, path: Path) -> None:
    shown = printable(name)
    try:
        size = path.stat().st_size
        if size > _most(name) or len(files) >= MAX_FILES:
            much = f"{size / 1e6:.0f} MB" if size > _most(name) else f"more than {MAX_FILES} files"
            notes.append(f"{shown} was left out ({much}): ask for it again without its outputs")
        else:
            files[name] = path.read_bytes()
    except OSError as error:
        notes.append(f"{shown} could not be read ({error.strerror}); check its permissions")


def _unzip(data: bytes, files: dict, notes: list, name: str) -> None:
    """What lies in a zip, by plain names only; nothing is written to disk, nothing huge is unpacked."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as packed:
            room = 2 * MAX_FILE + MAX_NOTEBOOK
            for entry in packed.infolist()[: 4 * MAX_FILES]:
                parts = PurePosixPath(entry.filename).parts
                plain = parts and ".." not in parts and not any(p.startswith((".", "/", "__")) for p in parts)
                if entry.is_dir() or not plain or len(files) >= MAX_FILES:
                    continue
                if entry.file_size > min(room, _most(entry.filename)):
                    notes.append(f"{printable(entry.filename)} in {printable(name)} was left out: too large")
                    continue
                with packed.open(entry) as stream:
                    content = stream.read(_most(entry.filename) + 1)
                room -= len(content)
                files.setdefault(_NOTEBOOK.sub(".ipynb", "/".join(parts[-2:])), content)
    except (zipfile.BadZipFile, OSError, RuntimeError, NotImplementedError, EOFError, ValueError):
        notes.append(f"{printable(name)} could not be opened as a zip; ask for the .ipynb file itself")


class UnreadableNotebook(ValueError):
    """A notebook that cannot be used; the message names the file, what is wrong and the mend."""


def read_notebook(name: str, data: bytes) -> dict:
    """A notebook of any quality as plain data, made anew from what is usable. Raises UnreadableNotebook.

    Outputs are kept as they are, checked for form only.
    """
    name = printable(name)
    if not data.strip():
        raise UnreadableNotebook(f"{name} is empty ({len(data)} bytes); ask for it to be handed in again")
    try:
        text = _decoded(data)
        raw = json.loads(text.lstrip("\ufeff"), parse_int=_whole, parse_constant=lambda word: None)
        raw = writable(raw)
    except (ValueError, RecursionError, LookupError):
        raise UnreadableNotebook(
            f"{name} is not a notebook (it is not JSON); ask for it to be handed in again"
        ) from None
    if isinstance(raw, dict) and isinstance(raw.get("worksheets"), list):
        raw = {"cells": [c for w in raw["worksheets"] if isinstance(w, dict) for c in _list(w.get("cells"))]}
    if not isinstance(raw, dict) or not isinstance(raw.get("cells"), list):
        raise UnreadableNotebook(
            f"{name} is JSON but not a notebook (it has no cells); ask for it to be handed in again"
        )
    cells = [fresh for cell in raw["cells"] if (fresh := _cell(cell)) is not None]
    if not cells:
        raise UnreadableNotebook(f"{name} holds no cells that can be read; ask for it to be handed in again")
    ours = _dict(_dict(raw.get("metadata")).get("eqlib"))
    return {"cells": _bounded(cells), "metadata": {"eqlib": ours} if ours else {}}


def _decoded(data: bytes) -> str:
    """The text in its own coding. Where no letter beyond ASCII can be read as UTF-8, an editor of Windows has
    saved it; where some can, a few bytes are damaged, and the rest stays as it is.
    """
    coding = json.detect_encoding(data)
    text = data.decode(coding, errors="replace")
    damaged = coding == "utf-8" and "\ufffd" in text
    return (
        data.decode("cp1252", errors="replace") if damaged and text.replace("\ufffd", "").isascii() else text
    )


def _whole(digits: str) -> int:
    return int(digits) if len(digits) < 400 else 0


def _bounded(cells: list[dict]) -> list[dict]:
    """Thousands of empty cells are nobody's work; whatever carries something is kept."""
    if len(cells) <= MAX_CELLS:
        return cells
    return [c for c in cells if c["source"].strip() or c.get("outputs") or c["metadata"].get("nbgrader")][
        :MAX_CELLS
    ]


def _cell(cell: Any) -> dict | None:
    """A cell with what marking uses: its type, text, nbgrader's metadata and outputs of the right form."""
    if not isinstance(cell, dict) or cell.get("cell_type") not in _KINDS:
        return None
    source = cell.get("source", cell.get("input", ""))
    source = "".join(map(str, source)) if isinstance(source, list) else str(source)
    meta = _dict(cell.get("metadata"))
    kept = {key: meta[key] for key in ("nbgrader", "eqlib", "jupyter") if isinstance(meta.get(key), dict)}
    if not isinstance(kept.get("nbgrader", {}).get("grade_id", ""), str):
        del kept["nbgrader"]
    fresh: dict = {"cell_type": cell["cell_type"], "source": source, "metadata": kept}
    name = cell.get("id")
    if isinstance(name, str) and re.fullmatch(r"[a-zA-Z0-9_-]{1,64}", name):
        fresh["id"] = name
    if isinstance(cell.get("attachments"), dict):
        fresh["attachments"] = cell["attachments"]
    if cell["cell_type"] == "code":
        outputs = [_output(output) for output in _list(cell.get("outputs"))]
        fresh["outputs"] = [output for output in outputs if output is not None]
        fresh["execution_count"] = None
    return fresh


def _output(output: Any) -> dict | None:
    if not isinstance(output, dict):
        return None
    content = dict(output)
    if isinstance(content.get("text"), list):
        content["text"] = "".join(map(str, content["text"]))
    if isinstance(content.get("data"), dict):
        content["data"] = {
            mime: "".join(map(str, value)) if isinstance(value, list) and not mime.endswith("json") else value
            for mime, value in content["data"].items()
        }
    return as_output(content.get("output_type"), content)


def _dict(value: Any) -> dict:
    return value if isinstance(value, dict) else {}


def _list(value: Any) -> list:
    return value if isinstance(value, list) else []


def as_notebook(plain: dict) -> nbformat.NotebookNode:
    """nbformat's own object from plain data; ids that are missing or doubled are made anew."""
    seen: set[str] = set()
    cells = []
    for cell in plain["cells"]:
        name = cell.get("id")
        if not name or name in seen:
            name = f"cell-{len(seen)}-{uuid.uuid4().hex[:8]}"
        seen.add(name)
        cells.append({**cell, "id": name})
    whole = {"cells": cells, "metadata": plain.get("metadata", {}), "nbformat": 4, "nbformat_minor": 5}
    return nbformat.from_dict(whole)


@dataclass(frozen=True)
class Submission:
    """What was read: notebooks (plain data) by the assignment's names, files beside them, lines to say."""

    notebooks: dict[str, dict] = field(default_factory=dict)
    files: dict[str, bytes] = field(default_factory=dict)
    notes: tuple[str, ...] = ()
    unusable: str | None = None
    #: Names of notebooks that were handed in and could not be read.
    broken: frozenset[str] = frozenset()


def read_submission(
    given: HandedIn,
    expected: dict[str, set[str]],
    others: dict[str, set[str]],
    answers: Callable[[dict], int],
) -> Submission:
    """Find the assignment's notebooks among the files.

    ``expected``: the ids of the cells of each notebook, by its name. ``others``: ids of the course's other
    assignments. ``answers``: how many answers a notebook (plain data) holds. A notebook under another name is
    recognised by its cells.
    """
    books, notes, broken = {}, [], set()
    for name, data in given.files.items():
        if name.endswith(".ipynb"):
            try:
                books[name] = read_notebook(os.path.basename(name), data)
            except UnreadableNotebook as error:
                notes.append(str(error))
                broken.add(os.path.basename(name).removesuffix(".ipynb"))
    notes += given.notes
    files = {name: data for name, data in given.files.items() if not name.endswith(".ipynb")}
    chosen, said, wrong = _match(books, expected, others, answers)
    notes += said
    if chosen:
        if len(expected) > 1:
            missing = [name for name in expected if name not in chosen and name not in broken]
            notes += [f"{name}.ipynb was not handed in; it scores 0" for name in missing]
        return Submission(chosen, files, tuple(notes), broken=frozenset(broken))
    journal = any(JOURNAL.fullmatch(os.path.basename(name)) for name in files)
    if journal and not wrong:
        why = notes[0] if notes else "no notebook was handed in"
        return Submission({}, files, (f"{why}; marked from the journal of answers beside it", *notes[1:]))
    why = wrong or (notes.pop(0) if notes else "no notebook was handed in; ask for the .ipynb file")
    return Submission({}, files, tuple(notes), why)


def _match(
    books: dict, expected: dict, others: dict, answers: Callable[[dict], int]
) -> tuple[dict, list[str], str]:
    """Which file is which notebook: by its cells, then by name. The one with most answers is marked."""
    chosen, notes, wrong = {}, [], ""
    fit = {path: {name: _shared(book, ids) for name, ids in expected.items()} for path, book in books.items()}
    for path, book in list(books.items()):
        there = {name: _shared(book, ids) for name, ids in others.items()}
        best = max(there, key=lambda name: there[name], default=None)
        if best and there[best] > 2 * max(fit[path].values(), default=0):
            wrong = f"{printable(os.path.basename(path))} is {best}; ask for the right file"
            del books[path]
    for name in expected:
        likely = [path for path in books if path.endswith(f"{name}.ipynb") or fit[path][name] > 0]
        if not likely and len(expected) == 1:
            likely = list(books)
        if not likely:
            continue
        best = max(likely, key=lambda p: (answers(books[p]), p == f"{name}.ipynb", fit[p][name]))
        chosen[name] = books[best]
        shown = printable(os.path.basename(best))
        if os.path.basename(best) != f"{name}.ipynb":
            notes.append(f"{shown} was taken for {name}.ipynb")
        elif len(likely) > 1:
            notes.append(f"of {len(likely)} notebooks {name}.ipynb was marked")
    return chosen, notes, "" if chosen else wrong


def _shared(book: dict, ids: set[str]) -> int:
    found = {cell["metadata"].get("nbgrader", {}).get("grade_id") for cell in book["cells"]}
    return len({name for name in found if isinstance(name, str)} & ids)


# -- its cells made the assignment's again -----------------------------------------------------------------


@dataclass(frozen=True)
class Mended:
    """Cells that were made the assignment's again: deleted, there more than once, or locked and changed."""

    put_back: list[str]
    doubled: list[str]
    changed: list[str]


def whole(plain: dict, book: Book) -> Mended:
    """Give the cells back what makes them the assignment's: metadata, locked text, cells that were deleted.

    Of several copies of a cell the last one that was changed counts, else the first.
    """
    cells = [cell for cell in plain["cells"] if not put_in(cell)]
    found: dict[str, list[dict]] = {}
    for cell in cells:
        name = meta_of(cell).get("grade_id")
        for ours in ("nbgrader", OURS):
            cell["metadata"].pop(ours, None)
        if isinstance(name, str) and name in book.wanted:
            found.setdefault(name, []).append(cell)
    _stripped(cells, found, book)
    doubled = [name for name, copies in found.items() if len(copies) > 1]
    mended: list[str] = []
    texts = book.texts
    for name, copies in found.items():
        given = (texts[name], book.wanted[name]["source"].strip())
        changed = [copy for copy in copies if copy["source"].strip() not in given]
        locked = _locked(book.wanted[name])
        if changed and locked:
            mended.append(name)
        _become(changed[-1] if changed and not locked else copies[0], name, book)
    plain["cells"] = cells
    return Mended(_put_back(plain, found, book), doubled, mended)


def _stripped(cells: list[dict], found: dict, book: Book) -> None:
    """Cells whose metadata was lost are known by their text, where only one cell has it."""
    by_text: dict[tuple[str, str], list[str]] = {}
    for name, text in book.texts.items():
        by_text.setdefault((book.wanted[name]["cell_type"], text), []).append(name)
    for cell in cells:
        names = by_text.get((cell["cell_type"], cell["source"].strip()), ())
        if len(names) == 1 and names[0] not in found:
            found[names[0]] = [cell]


def _become(cell: dict, name: str, book: Book) -> None:
    wanted = book.wanted[name]
    cell["metadata"]["nbgrader"] = dict(wanted["nbgrader"])
    if cell["cell_type"] != wanted["cell_type"]:
        cell["cell_type"] = wanted["cell_type"]
        for key in ("outputs", "execution_count"):
            cell.pop(key, None)
        if cell["cell_type"] == "code":
            cell.update(outputs=[], execution_count=None)
        cell.pop("attachments", None)
    if _locked(wanted):
        cell["source"] = wanted["source"]


def _locked(wanted: dict) -> bool:
    meta = wanted["nbgrader"]
    return not meta["solution"] and bool(meta["grade"] or meta["locked"])


def _put_back(plain: dict, found: dict, book: Book) -> list[str]:
    """Insert the missing cells, each after the one that precedes it in the source. Returns their names."""
    order = list(book.wanted)
    missing = [name for name in order if name not in found]
    for name in missing:
        kind = book.wanted[name]["cell_type"]
        cell = {
            "cell_type": kind,
            "source": book.wanted[name]["source"],
            "metadata": {OURS: {"put_back": True}},
        }
        if kind == "code":
            cell.update(outputs=[], execution_count=None)
        _become(cell, name, book)
        names = [meta_of(c).get("grade_id") for c in plain["cells"]]
        before = [i for i, there in enumerate(names) if there in order[: order.index(name)]]
        plain["cells"].insert(before[-1] + 1 if before else 0, cell)
    return missing


def words_elsewhere(plain: dict, book: Book) -> bool:
    """Did somebody write in a cell of their own, and leave the place for an explanation as it was?"""
    places = [n for n, c in book.wanted.items() if c["nbgrader"]["grade"] and c["cell_type"] == "markdown"]
    sources = {meta_of(c).get("grade_id"): c["source"].strip() for c in plain["cells"]}
    untouched = any(sources.get(name) == book.wanted[name]["source"].strip() for name in places)
    if not untouched:
        return False
    given = {cell["source"].strip() for cell in (*book.released, *book.wanted.values())}
    return any(
        cell["cell_type"] != "code"
        and not meta_of(cell)
        and len(cell["source"].split()) >= 3
        and cell["source"].strip() not in given
        for cell in plain["cells"]
    )


def put_in(cell: dict) -> bool:
    """Was this cell put in by a marking?"""
    ours = cell["metadata"].get(OURS)
    return isinstance(ours, dict) and bool(ours.get("restoring") or ours.get("rubric"))
