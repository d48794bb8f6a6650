"""Whose kernel this is, and where a lesson's answers are kept and found again.

Three copies: this kernel's memory, the journals of the folder, and the records in the outputs of its notebooks
(renamed, copied or a checkpoint), which ``rescue`` brings into the journal. While marking, only what marking
handed over counts; in the student's own notebook the marks of assessed work are not shown. Which of the two
it is follows from evidence only, and doubt falls on the side of a number: nbgrader gives full marks to a check
cell that shows none.
"""

from __future__ import annotations

import json
import os
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from eqlib.assess.question import Question, QuestionSet, normal_id
from eqlib.assess.reading.plain import quote
from eqlib.assess.records import (
    SEEN,
    AnswerError,
    Journal,
    Record,
    collect,
    journal_name,
    record_answer,
    rescue,
)
from eqlib.errors import EqlibError

#: What else is kept like an answer: who is working.
WHO = "student"
OURS = "eqlib:"
MAX_NOTEBOOK = 60_000_000
MAX_NOTEBOOKS = 60


# -- whose kernel --------------------


@dataclass(frozen=True)
class Restored:
    """Answers handed over by marking: records by question id, the student, and what could not be read."""

    student: str | None
    records: Mapping[str, Record]
    problems: tuple[str, ...]


_restored: list[Restored] = []


def restore(text: str) -> None:
    """Give recorded answers to the lessons of this kernel. Called by the cell that marking puts first.

    ``text`` is JSON: ``{"student": "s01", "records": {"<question>": record, ...}}``. From here on nothing is
    written to disk and every check returns its score. Raises EqlibError for anything else; a single unreadable
    record is left out and reported by the check of its question.
    """
    try:
        handed = json.loads(text)
    except (TypeError, ValueError, RecursionError):
        raise EqlibError(
            "restore was given something that is not JSON; pass the text that marking made"
        ) from None
    if not isinstance(handed, dict):
        raise EqlibError('restore was given no table; pass {"student": ..., "records": {...}} as JSON')
    records, problems = {}, []
    for data in handed.get("records", {}).values():
        try:
            record = Record.from_json(data)
        except AnswerError as error:
            problems.append(str(error))
            continue
        records[record.question] = record
    student = handed.get("student")
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


# -- the answers --------------------


@dataclass(frozen=True)
class Saved:
    """What became of an answer: the record, and a plain sentence if the second copy was not written."""

    record: Record
    problem: str = ""


class Store:
    """The answers of one assignment in one folder."""

    def __init__(self, questions: QuestionSet, folder: str | Path) -> None:
        self.questions = questions
        self.assignment = questions.assignment.id
        self.folder = Path(folder)
        self.journal = Journal(self.folder / journal_name(self.assignment))
        self._memory: dict[tuple[str, str], Record] = {}

    # Who is working

    @property
    def fixed_student(self) -> str | None:
        """An id that the person cannot choose: marking's, or the login of a shared server."""
        handed = restored()
        return handed.student if handed else hub_user()

    @property
    def student(self) -> str | None:
        """The id whose numbers and answers are shown, or None while nobody has given one."""
        if self.fixed_student or marking():
            return self.fixed_student
        who = self._newest(record for record in self._everything() if record.question == WHO)
        return None if who is None else who.student

    def choose_student(self, student: str) -> Saved:
        """Make ``student`` the id of this notebook. Raises EqlibError for something that is no id."""
        try:
            record = record_answer(self.assignment, WHO, {"id": student}, student)
        except AnswerError:
            record = None
        if record is None or record.student is None:
            raise EqlibError(
                f"{quote(student)} cannot be an id; use the letters and digits you were given, such as s01"
            )
        return self._keep(record)

    # Answers

    def record_of(self, question: str) -> Record | None:
        """The newest answer of this student to ``question``, or None.

        An answer recorded before an id was given counts as this student's as long as the numbers were the
        same.
        """
        handed = restored()
        if handed is not None:
            return handed.records.get(question) or self._memory.get((normal_id(self.student), question))
        mine = [r for r in self._everything() if r.question == question]
        student = normal_id(self.student)
        found = self._newest(r for r in mine if normal_id(r.student) == student)
        if found is None and student and self._same_numbers(question):
            found = self._newest(r for r in mine if not r.student)
        return found

    def answered_for_others(self, question: str) -> bool:
        """Was this question answered before an id was given, for other numbers?"""
        return (
            bool(self.student)
            and self.record_of(question) is None
            and any(r.question == question and not r.student for r in self._everything())
        )

    def named_answers(self, student: str) -> int:
        """How many questions are answered under ``student``."""
        wanted = normal_id(student)
        theirs = {r.question for r in self._everything() if normal_id(r.student) == wanted}
        return sum(question in self.questions for question in theirs)

    def save(self, question: str, answer: Mapping[str, Any]) -> Saved:
        """Keep ``answer`` (part id -> value) as the newest. Raises AnswerError for values that are no plain
        data.
        """
        record = record_answer(
            self.assignment, question, answer, self.student, previous=self.record_of(question)
        )
        seen = None if question.startswith(OURS) else self.seen(question)
        return self._keep(record if seen is None else record.revealed(seen.since))

    def seen(self, question: str) -> Record | None:
        """The note that this student has seen what happens in ``question``, or None."""
        return self.record_of(SEEN + question)

    def note_seen(self, question: str) -> Record:
        """Note that the outcome was shown, and in the answer itself when it was."""
        seen = self.save(SEEN + question, {"seen": True}).record
        record = self.record_of(question)
        if record is not None and record.revealed(seen.since) != record:
            self._keep(record.revealed(seen.since))
        return seen

    def locked(self, question: Question) -> bool:
        """Does the recorded prediction stand? In assessed work it does once its outcome was seen, where
        what was recorded before that is what counts.
        """
        if question.mode != "assessed" or question.policy.attempts != "before-reveal":
            return False
        return self.seen(question.id) is not None

    def _keep(self, record: Record) -> Saved:
        self._memory[normal_id(record.student), record.question] = record
        if marking():
            return Saved(record)
        try:
            self.journal.write(record)
        except AnswerError as error:
            return Saved(record, str(error))
        return Saved(record)

    # What is on the disk

    def on_disk(self) -> dict[str, list[Record]]:
        """Question -> the records standing in the saved notebooks of this folder, read afresh."""
        found: dict[str, list[Record]] = {}
        for content in self.notebooks():
            for name, record in collect(content, None, self.assignment).items():
                found.setdefault(name, []).append(record)
        return found

    def notebooks(self) -> Iterator[dict[str, Any]]:
        """The content of the notebooks of the folder that can be read."""
        for path in sorted(self.folder.glob("*.ipynb"))[:MAX_NOTEBOOKS]:
            content = _read_notebook(path)
            if content is not None:
                yield content

    def _everything(self) -> Iterator[Record]:
        yield from self._memory.values()
        yield from (
            r for r in rescue(self.folder, write=not marking()).records if r.assignment == self.assignment
        )

    def _same_numbers(self, question: str) -> bool:
        if question not in self.questions:
            return True
        asked = self.questions[question]
        return asked.variant(self.student).numbers == asked.variant(None).numbers

    @staticmethod
    def _newest(records: Iterable[Record]) -> Record | None:
        return max(records, key=lambda record: record.when, default=None)


def _read_notebook(path: Path) -> dict[str, Any] | None:
    """A notebook's content, or None for a file that is none (another program's, half written, far too
    large).
    """
    try:
        if path.stat().st_size > MAX_NOTEBOOK:
            return None
        content = json.loads(path.read_text("utf-8"))
    except (OSError, ValueError, RecursionError):
        return None
    return content if isinstance(content, dict) else None
