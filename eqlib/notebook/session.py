"""Whose kernel is this: a student's, nbgrader's validation, or marking?

The check cell must end in a number when a submission is marked, and must not show the marks of assessed
work in the student's own notebook. Which of the two it is follows from evidence only, and doubt falls on
the side of a number: nbgrader gives full marks to a check cell that shows none.
"""

from __future__ import annotations

import json
import os
from collections.abc import Mapping
from dataclasses import dataclass, field

from eqlib.assess.records import AnswerError, Record
from eqlib.errors import EqlibError

#: Longest text ``restore`` takes: a whole class's worth of answers is far below it.
MAX_RESTORED = 20_000_000


@dataclass(frozen=True)
class Restored:
    """Answers handed over by marking: records by question id, the student, and what could not be read."""

    student: str | None = None
    records: Mapping[str, Record] = field(default_factory=dict)
    problems: tuple[str, ...] = ()


_restored: list[Restored] = []


def restore(text: object) -> None:
    """Give recorded answers to the lessons of this kernel. Called by the cell that marking puts first.

    ``text`` is JSON: ``{"student": "s01", "records": {"<question>": record, ...}}``; a list of records is
    read too. From here on nothing is written to disk and every check returns its score. Raises EqlibError
    when the text is not JSON; a single unreadable record is left out and reported by the check of its
    question.
    """
    if isinstance(text, (str, bytes, bytearray)):
        if len(text) > MAX_RESTORED:
            raise EqlibError(f"restore was given {len(text):,} characters, more than any class's answers")
        try:
            text = json.loads(text)
        except (ValueError, RecursionError):
            raise EqlibError(
                "restore was given something that is not JSON; pass the text that marking made"
            ) from None
    if not isinstance(text, dict):
        raise EqlibError('restore was given no table; pass {"student": ..., "records": {...}} as JSON')
    given = text.get("records", {})
    records, problems = {}, []
    for data in given.values() if isinstance(given, dict) else given:
        try:
            record = Record.from_json(data)
        except AnswerError as error:
            problems.append(str(error))
            continue
        records[record.question] = record
    student = text.get("student")
    _restored[:] = [
        Restored(student if isinstance(student, str) and student.strip() else None, records, tuple(problems))
    ]


def restored() -> Restored | None:
    """What marking handed over, or None in a student's own session."""
    return _restored[0] if _restored else None


def forget() -> None:
    """Undo ``restore``: for a process that serves several notebooks one after another."""
    _restored.clear()


def marking() -> bool:
    """Is this run one that marks? Then every check shows its score, and nothing is written."""
    return bool(_restored) or os.environ.get("NBGRADER_EXECUTION") == "autograde"


def marks_hidden() -> bool:
    """May assessed marks be kept out of sight here?

    Only with positive evidence of a session in which nothing is marked: nbgrader's validation, or a kernel
    that a notebook server or editor started for a person.
    """
    if marking():
        return False
    if os.environ.get("NBGRADER_EXECUTION") == "validate":
        return True
    return bool(os.environ.get("JPY_SESSION_NAME") or os.environ.get("VSCODE_PID"))


def hub_user() -> str | None:
    """The login of a shared Jupyter server, which is the id nbgrader will use; None on a public
    demonstration server.
    """
    if any(name.startswith("BINDER_") for name in os.environ):
        return None
    return os.environ.get("JUPYTERHUB_USER", "").strip() or None
