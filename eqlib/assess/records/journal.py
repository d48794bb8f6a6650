"""The journal: a second copy of every recorded answer, in a file beside the notebook.

What is written is merged with what is there: no attempt is ever lost, and an older copy never replaces a
newer.

``answers-<assignment>.journal.json`` holds ``{"format": 1, "records": {"<student or ''>": {"<question>":
record}}}``. It is replaced whole and atomically: whatever happens during a write, the old or the new journal
is there.
"""

from __future__ import annotations

import json
import os
import time
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from eqlib.assess.question import normal_id
from eqlib.assess.records.record import AnswerError, Record
from eqlib.writing import write_atomically

JOURNAL_FORMAT = 1
MAX_JOURNAL = 20_000_000
#: In the line about a journal of which nothing could be read.
UNREAD = "its answers may still be in the notebook"


def journal_name(assignment: str) -> str:
    """The journal's file name for an assignment."""
    return f"answers-{assignment}.journal.json"


class Journal:
    """Answers kept in the file at ``path``. Nothing is held in memory between calls."""

    def __init__(self, path: str | Path) -> None:
        self.path = Path(path)

    def write(self, *given: Record) -> None:
        """Keep these records beside what is there. Raises AnswerError if the disk refuses."""
        with alone_in(self.path.parent):
            self._write(given)

    def _write(self, given: Iterable[Record]) -> None:
        records, problems = self._whole()
        changed = False
        for record in given:
            theirs = records.setdefault(normal_id(record.student), {})
            held = theirs.get(record.question)
            theirs[record.question] = record if held is None else held.merged(record)
            changed = changed or theirs[record.question] != held
        if not changed:
            return
        if problems:
            self._set_aside()
        data = {
            "format": JOURNAL_FORMAT,
            "records": {who: {q: r.to_dict() for q, r in theirs.items()} for who, theirs in records.items()},
        }
        try:
            write_atomically(self.path, json.dumps(data, ensure_ascii=False, indent=1, allow_nan=False))
        except OSError as error:
            reason = error.strerror or "the disk refused"
            raise AnswerError(
                f"could not write {self.path.name} ({reason}); your "
                "answer is in the notebook, so save the notebook"
            ) from None

    def _whole(self) -> tuple[dict[str, dict[str, Record]], list[str]]:
        try:
            if self.path.stat().st_size > MAX_JOURNAL:
                return {}, [f"{self.path.name} is far larger than any journal; it was not read"]
            text = self.path.read_text("utf-8", errors="replace")
        except FileNotFoundError:
            return {}, []
        except OSError as error:
            return {}, [f"{self.path.name} could not be read ({error.strerror})"]
        return read_journal(text, self.path.name)

    def _set_aside(self) -> None:
        """A damaged journal is kept under another name, never overwritten: it may hold answers a person can
        read.
        """
        for number in range(1, 1000):
            spare = self.path.with_name(f"{self.path.name}.damaged-{number}")
            if not spare.exists():
                try:
                    spare.write_bytes(self.path.read_bytes())
                except OSError as error:
                    raise AnswerError(
                        f"could not keep a copy of the damaged {self.path.name}: {error.strerror}"
                    ) from None
                return


def read_journal(
    source: str | bytes | dict[str, Any], name: str = "the journal"
) -> tuple[dict[str, dict[str, Record]], list[str]]:
    """Records by normalised student id and question, and one line for each thing that could not be read."""
    if isinstance(source, (str, bytes, bytearray)):
        try:
            source = json.loads(source)
        except (ValueError, RecursionError):
            return {}, [f"{name} is not readable as JSON; {UNREAD}"]
    if (
        type(source) is not dict
        or source.get("format") != JOURNAL_FORMAT
        or type(source.get("records")) is not dict
    ):
        return {}, [f"{name} does not look like a journal of answers (format {JOURNAL_FORMAT}); {UNREAD}"]
    records: dict[str, dict[str, Record]] = {}
    problems = []
    for student, theirs in source["records"].items():
        if type(theirs) is not dict:
            problems.append(f"{name}: the answers of {student[:40]!r} are not readable")
            continue
        for question, data in theirs.items():
            try:
                record = Record.from_json(data)
            except AnswerError as error:
                problems.append(f"{name}: {question[:40]!r}: {error}")
                continue
            records.setdefault(normal_id(record.student), {})[record.question] = record
    return records, problems


@contextmanager
def alone_in(folder: Path) -> Iterator[None]:
    """Let one process at a time add to a journal in ``folder``: two notebooks of one student may be open at
    once.

    Where folders cannot be locked (Windows, some network disks), or the lock is not had in ten seconds, the
    write goes ahead: it is atomic in any case, and the notebook holds the answer too.
    """
    try:
        import fcntl  # not on Windows

        handle = os.open(folder, os.O_RDONLY)
    except (ImportError, OSError):
        yield
        return
    try:
        for _ in range(200):
            try:
                fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
                break
            except OSError:
                time.sleep(0.05)
        yield
    finally:
        os.close(handle)
