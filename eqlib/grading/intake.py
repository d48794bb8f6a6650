"""Take in what students handed in: whatever it is called and however it is damaged, one folder at a time.

Nothing here trusts a file: sizes are looked at before reading, links are not followed, and what cannot be
read becomes one line that names the file and the mend.
"""

from __future__ import annotations

import json
import os
import warnings
from dataclasses import dataclass, field
from pathlib import Path

import nbformat
from nbformat.v4 import new_code_cell, new_markdown_cell, new_notebook, new_raw_cell

from eqlib.assess.records import collect
from eqlib.grading.safety import clean_output
from eqlib.grading.watch import read_lines

MAX_NOTEBOOK = 40_000_000
MAX_FILE = 20_000_000
MAX_FILES = 200
_MAKERS = {"code": new_code_cell, "markdown": new_markdown_cell, "raw": new_raw_cell}


@dataclass(frozen=True)
class Submission:
    """One student's folder. ``notebooks`` by the assignment's own names; ``files`` lie beside them.

    ``notes`` are lines for the instructor; with ``unusable`` set there is nothing to mark, and it says why.
    """

    student: str
    folder: Path
    notebooks: dict[str, object] = field(default_factory=dict)
    files: dict[str, bytes] = field(default_factory=dict)
    notes: tuple[str, ...] = ()
    unusable: str | None = None


def submissions(course: Path, assignment: str) -> list[tuple[str, Path]]:
    """(student, folder) of everything handed in for ``assignment``, in the order of the ids."""
    root = course / "submitted"
    if not root.is_dir():
        return []
    found = []
    for folder in sorted(root.iterdir()):
        if folder.name.startswith(".") or folder.is_symlink() or not (folder / assignment).is_dir():
            continue
        found.append((folder.name, folder / assignment))
    return found


def read_submission(
    student: str, folder: Path, expected: dict[str, object], grade_ids: dict[str, set[str]]
) -> Submission:
    """Read one folder. ``expected``: the released notebook by name; ``grade_ids``: its cells' ids by name.

    A notebook under another name is recognised by its cells. One that cannot be read is replaced by the
    released
    one if a journal of answers lies beside it, so that recorded answers still count.
    """
    try:
        paths = sorted(path for path in folder.rglob("*") if _ordinary(path, folder))
    except OSError as error:
        return Submission(
            student,
            folder,
            unusable=f"the folder could not be read ({error.strerror}); check its permissions",
        )
    books, notes = _read_books([p for p in paths if p.suffix == ".ipynb"], folder)
    notebooks, chosen_notes = _match(books, expected, grade_ids)
    files, file_notes = _read_files([p for p in paths if p.suffix != ".ipynb"], folder)
    journal = any(name.startswith("answers-") and name.endswith(".journal.json") for name in files)
    notes = [*notes, *chosen_notes, *file_notes]
    if not notebooks:
        why = notes[0] if notes else "no notebook was handed in; ask for the .ipynb file"
        if not journal:
            return Submission(student, folder, files=files, notes=tuple(notes[1:]), unusable=why)
        notebooks = {
            name: nbformat.from_dict(json.loads(json.dumps(book))) for name, book in expected.items()
        }
        notes.insert(0, f"{notes.pop(0) if notes else why}; marked from the journal of answers beside it")
    for name in expected:
        if name not in notebooks and len(expected) > 1:
            notes.append(f"{name}.ipynb was not handed in; it scores 0")
    return Submission(student, folder, notebooks, files, tuple(notes))


def _ordinary(path: Path, folder: Path) -> bool:
    inside = path.relative_to(folder).parts
    hidden = any(part.startswith(".") or part == "__pycache__" for part in inside)
    return not hidden and not path.is_symlink() and path.is_file()


def _read_books(paths, folder) -> tuple[dict[str, object], list[str]]:
    books, notes = {}, []
    for path in paths:
        try:
            books[str(path.relative_to(folder))] = read_notebook(path)
        except UnreadableNotebook as error:
            notes.append(str(error))
    return books, notes


class UnreadableNotebook(ValueError):
    """A notebook that cannot be used; the message names the file, what is wrong and the mend."""


def read_notebook(path: Path):
    """A notebook from a file of any quality, as nbformat 4. Raises UnreadableNotebook."""
    name = path.name
    try:
        size = path.stat().st_size
        if size > MAX_NOTEBOOK:
            raise UnreadableNotebook(
                f"{name} is {size / 1e6:.0f} MB, far more than a notebook needs; ask for it again "
                "with its outputs cleared"
            )
        if size == 0:
            raise UnreadableNotebook(f"{name} is empty (0 bytes); ask for it to be handed in again")
        text = path.read_bytes().decode("utf-8-sig", errors="replace")
    except OSError as error:
        raise UnreadableNotebook(
            f"{name} could not be read ({error.strerror}); check its permissions"
        ) from None
    try:
        raw = json.loads(text)
    except (ValueError, RecursionError):
        raise UnreadableNotebook(
            f"{name} is not a notebook (it is not JSON); ask for it to be handed in again"
        ) from None
    if not isinstance(raw, dict) or not isinstance(raw.get("cells", raw.get("worksheets")), list):
        raise UnreadableNotebook(
            f"{name} is JSON but not a notebook (it has no cells); ask for it to be handed in again"
        )
    return _whole(raw, name)


def _whole(raw: dict, name: str):
    """A valid notebook, made anew from what is usable when it is not valid as it stands."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            book = nbformat.reads(json.dumps(_printable(raw)), as_version=4)
            nbformat.validate(book)
            return book
        except Exception:  # noqa: BLE001 - nbformat raises many kinds; the notebook is made anew below
            return _made_anew(raw, name)


def _printable(value):
    """Text that no file can hold (half of a surrogate pair) would stop the writing of all around it."""
    if isinstance(value, str):
        return value.encode("utf-8", errors="replace").decode("utf-8")
    if isinstance(value, list):
        return [_printable(item) for item in value]
    if isinstance(value, dict):
        return {_printable(key): _printable(item) for key, item in value.items()}
    return value


def _made_anew(raw: dict, name: str):
    cells = []
    for cell in raw.get("cells") or ():
        if not isinstance(cell, dict) or cell.get("cell_type") not in _MAKERS:
            continue
        source = cell.get("source", "")
        source = "".join(map(str, source)) if isinstance(source, list) else str(source)
        fresh = _MAKERS[cell["cell_type"]](_printable(source))
        metadata = cell.get("metadata")
        if isinstance(metadata, dict) and isinstance(metadata.get("nbgrader"), dict):
            fresh.metadata["nbgrader"] = nbformat.from_dict(_printable(metadata["nbgrader"]))
        if cell["cell_type"] == "code":
            line = json.dumps(
                {"cell": 0, "status": None, "outputs": _printable(cell.get("outputs"))}
            ).encode()
            fresh.outputs = [nbformat.from_dict(output) for output in read_lines([line])[0].get(0, [])]
            for output in fresh.outputs:
                clean_output(output)
        cells.append(fresh)
    if not cells:
        raise UnreadableNotebook(f"{name} holds no cells that can be read; ask for it to be handed in again")
    return new_notebook(cells=cells)


def _match(books: dict, expected: dict, grade_ids: dict) -> tuple[dict, list[str]]:
    """Which file is which notebook: by the cells in it first, then by name. The one with most answers is
    marked.
    """
    chosen, notes = {}, []
    for name in expected:
        likely = [
            path for path in books if path == f"{name}.ipynb" or _shared(books[path], grade_ids[name]) > 0
        ]
        if not likely and len(expected) == 1:
            likely = list(books)
        if not likely:
            continue
        best = max(
            likely,
            key=lambda p: (_answers(books[p]), p == f"{name}.ipynb", _shared(books[p], grade_ids[name])),
        )
        chosen[name] = books[best]
        if best != f"{name}.ipynb":
            notes.append(f"{os.path.basename(best)} was taken for {name}.ipynb")
        elif len(likely) > 1:
            notes.append(f"of {len(likely)} notebooks {name}.ipynb was marked")
    return chosen, notes


def _shared(book, ids: set[str]) -> int:
    found = set()
    for cell in book.cells:
        meta = cell.metadata.get("nbgrader")
        if isinstance(meta, dict) and isinstance(meta.get("grade_id"), str):
            found.add(meta["grade_id"])
    return len(found & ids)


def _answers(book) -> int:
    return len(collect(json.loads(json.dumps(book))))


def _read_files(paths, folder) -> tuple[dict[str, bytes], list[str]]:
    """What lies beside the notebook, if of a sensible size."""
    files, notes, room = {}, [], 5 * MAX_FILE
    for path in paths:
        name = str(path.relative_to(folder))
        try:
            size = path.stat().st_size
            if size > min(MAX_FILE, room) or len(files) >= MAX_FILES:
                notes.append(
                    f"{name} ({size / 1e6:.0f} MB) was left out: too large or too many files beside "
                    "the notebook"
                )
                continue
            files[name] = path.read_bytes()
            room -= size
        except OSError as error:
            notes.append(f"{name} could not be read ({error.strerror})")
    return files, notes
