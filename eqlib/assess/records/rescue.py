"""Bring records to safety before the outputs that hold them are replaced.

A saved notebook may be the only copy of an answer: handed on without its journal, renamed, reopened without
its question file. Running a cell replaces its output. So whatever shows something in the place of a recorded
answer calls ``rescue`` first: it needs no question file, writes what the journals lack, and hands back each
record so that the new output carries it too.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from eqlib.assess.records.collect import Collected, records_in
from eqlib.assess.records.journal import Journal, journal_name, read_journal
from eqlib.assess.records.record import MIME, AnswerError, Record
from eqlib.assess.variants import normal_id

MAX_NOTEBOOK = 60_000_000
MAX_NOTEBOOKS = 1000
#: What was read of a file already: path -> (size and time, records).
_read: dict[Path, tuple[tuple[int, int], tuple[Record, ...]]] = {}


@dataclass(frozen=True)
class Rescued:
    """Every record found in a folder, copies merged. ``problems``: lines about journals that could not be
    written (then the outputs are the only copy).
    """

    records: tuple[Record, ...] = ()
    problems: tuple[str, ...] = field(default=())

    def record(
        self, question: str, student: str | None = None, assignment: str | None = None
    ) -> Record | None:
        """The newest record of ``question`` (of ``student``, of ``assignment``, where given), or None."""
        return max(
            (
                record
                for record in self.records
                if record.question == question
                and (student is None or normal_id(record.student) == normal_id(student))
                and assignment in (None, record.assignment)
            ),
            key=lambda record: record.when,
            default=None,
        )

    def bundle(
        self, question: str, student: str | None = None, assignment: str | None = None
    ) -> dict[str, Any]:
        """What an output in this question's place has to carry: {MIME: record}, or {} if there is none."""
        record = self.record(question, student, assignment)
        return {} if record is None else {MIME: record.to_dict()}


def rescue(folder: str | Path, write: bool = True) -> Rescued:
    """Copy every record in the notebooks of ``folder`` (and their checkpoints) into its journals; return them
    all, those of the journals among them. Never raises. ``write=False`` only reads (while marking).
    """
    folder = Path(folder)
    in_notebooks = [r for path in _notebooks(folder) for r in _records_of(path, _from_notebook)]
    problems = []
    if write:
        for assignment in dict.fromkeys(record.assignment for record in in_notebooks):
            theirs = [record for record in in_notebooks if record.assignment == assignment]
            try:
                Journal(folder / journal_name(assignment)).write(*theirs)
            except AnswerError as error:
                problems.append(str(error))
    in_journals = [
        r for path in _listed(folder, "answers-*.journal.json") for r in _records_of(path, _from_journal)
    ]
    merged: dict[tuple[str, str, str], Record] = {}
    for record in (*in_notebooks, *in_journals):
        key = record.assignment, normal_id(record.student), record.question
        merged[key] = merged[key].merged(record) if key in merged else record
    return Rescued(tuple(merged.values()), tuple(problems))


def _notebooks(folder: Path) -> list[Path]:
    any_case = "*.[iI][pP][yY][nN][bB]"
    return [*_listed(folder, any_case), *_listed(folder / ".ipynb_checkpoints", any_case)]


def _listed(folder: Path, pattern: str) -> list[Path]:
    """The newest files of a folder that fit; none if it cannot be listed."""
    try:
        paths = [(path.stat().st_mtime_ns, path) for path in folder.glob(pattern) if path.is_file()]
    except OSError:
        return []
    return [path for _, path in sorted(paths, reverse=True)[:MAX_NOTEBOOKS]]


def _records_of(path: Path, read: Callable[[str], Iterable[Record]]) -> tuple[Record, ...]:
    """What ``read`` finds in a file; a file that did not change is not read again."""
    try:
        stat = path.stat()
        stamp = stat.st_size, stat.st_mtime_ns
        if path in _read and _read[path][0] == stamp:
            return _read[path][1]
        if stat.st_size > MAX_NOTEBOOK:
            return ()
        data = path.read_bytes()
        # Editors and mail may have put a mark of the encoding in front, or written another one.
        text = data.decode(json.detect_encoding(data), errors="replace")
    except OSError:
        return ()
    _read[path] = stamp, tuple(read(text))
    return _read[path][1]


def _from_notebook(text: str) -> Iterable[Record]:
    # Most notebooks of a folder hold no record: these need not be parsed.
    return records_in(text, Collected()) if json.dumps(MIME) in text or '"eqlib"' in text else ()


def _from_journal(text: str) -> list[Record]:
    return [record for theirs in read_journal(text)[0].values() for record in theirs.values()]
