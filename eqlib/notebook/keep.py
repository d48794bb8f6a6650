"""Practice on a server that forgets: one click takes home what was done, another brings it back.

What is taken is one zip: the notebooks as saved and the journals of answers, folder by folder. Bringing it back
merges the journals (nothing recorded since is lost) and puts back the notebooks, for the words written in them;
a notebook that differs is kept beside it under another name.
"""

from __future__ import annotations

import io
import json
import zipfile
from pathlib import Path
from typing import Any

import anywidget
import IPython.display
import traitlets

from eqlib.assess.records import Journal, journal_name, rescue
from eqlib.assess.records.journal import read_journal
from eqlib.errors import EqlibError
from eqlib.writing import write_atomically

MOST_BYTES = 80_000_000  # of everything in the zip, unpacked
NAME = "eqlib-practice.zip"


def assignments_in(folder: Path) -> tuple[Path, ...]:
    """The folder itself when it holds a question file, otherwise its subfolders that do."""
    folder = folder.resolve()  # "." has no name, and names tell the assignments apart
    if (folder / "questions.toml").is_file():
        return (folder,)
    return tuple(sorted(file.parent for file in folder.glob("*/questions.toml")))


def pack(folder: str | Path) -> bytes:
    """Everything done in the assignments of ``folder``, as a zip. Raises EqlibError where there is nothing."""
    found = assignments_in(Path(folder))
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as packed:
        for one in found:
            rescue(one)  # what stands in a saved notebook alone goes into its journal first
            for path in sorted((*one.glob("answers-*.journal.json"), *one.glob("*.ipynb"))):
                packed.write(path, f"{one.name}/{path.name}")
        if not packed.namelist():
            raise EqlibError("there is nothing to take home yet: answer a question first")
    return stream.getvalue()


def unpack(data: bytes, folder: str | Path) -> list[str]:
    """Put a zip made by ``pack`` back into the assignments of ``folder``. Says what was done, one line each.

    Raises EqlibError for a file that is no such zip. Anything in it that has no place here is left out.
    """
    homes = {one.name: one for one in assignments_in(Path(folder))}
    try:
        packed = zipfile.ZipFile(io.BytesIO(data))
        listed = packed.infolist()
    except zipfile.BadZipFile:
        raise EqlibError(f"this is not a file made here: choose the {NAME} you took home") from None
    if sum(one.file_size for one in listed) > MOST_BYTES:
        raise EqlibError("this file is far larger than anything made here; it was not opened")
    said, ours = [], False
    for entry in listed:
        name, _, file = entry.filename.partition("/")
        if name not in homes or "/" in file:
            continue
        home, ours = homes[name], True
        if file == journal_name(name):
            said += _journal_back(packed.read(entry), home, name)
        elif file.endswith(".ipynb") and (home / file).is_file():
            said += _notebook_back(packed.read(entry), home / file)
    nothing = (
        "Everything in this file is here already."
        if ours
        else "Nothing in this file belongs to the notebooks here."
    )
    return said or [nothing]


def _journal_back(data: bytes, home: Path, name: str) -> list[str]:
    records, problems = read_journal(data, journal_name(name))
    kept = [record for theirs in records.values() for record in theirs.values() if record.assignment == name]
    if kept:
        Journal(home / journal_name(name)).write(*kept)
    lines = (
        [f"{name}: {len(kept)} recorded answer{'s are' if len(kept) != 1 else ' is'} back."] if kept else []
    )
    return lines + [f"{name}: {problem}" for problem in problems]


def _notebook_back(data: bytes, path: Path) -> list[str]:
    try:
        text = data.decode("utf-8")
        fine = isinstance(json.loads(text).get("cells"), list)
    except (ValueError, AttributeError, RecursionError):
        fine = False
    if not fine:
        return [f"{path.name} in this file is not a notebook; it was left out."]
    here = path.read_text("utf-8", errors="replace")
    if here == text:
        return []
    for number in range(1, 1000):
        spare = path.with_name(f"{path.stem}-earlier-{number}.ipynb")
        if not spare.exists():
            write_atomically(spare, here)
            break
    write_atomically(path, text)
    return [f"{path.stem} is as you left it. If it is open, close it and open it again."]


class Keep(anywidget.AnyWidget):
    """Two buttons. The page asks by a message; ``zip`` goes out, and what is brought comes in as bytes."""

    _esm = Path(__file__).with_name("keep.js")
    _css = Path(__file__).with_name("sheet.css")
    said = traitlets.List(traitlets.Unicode()).tag(sync=True)

    def __init__(self, folder: Path) -> None:
        super().__init__()
        self.folder = folder
        self.on_msg(self._heard)

    def _heard(self, _widget: object, content: dict[str, Any], buffers: list[bytes]) -> None:
        try:
            if content.get("want") == "zip":
                self.send({"name": NAME}, [pack(self.folder)])
                self.said = [
                    "Save your notebook first (Ctrl + S): the file holds what was saved, and every recorded answer."
                ]
            elif content.get("want") == "back" and buffers:
                self.said = unpack(bytes(buffers[0]), self.folder)
        except EqlibError as error:
            self.said = [f"{error}"]


def keep(folder: str | Path = ".") -> None:
    """Show the two buttons for the assignments of ``folder`` (default: where the notebook is)."""
    IPython.display.display(Keep(Path(folder)))
