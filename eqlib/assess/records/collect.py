"""Gather recorded answers: from any cell's outputs, a notebook's metadata, and the journal beside it.

Copies of one answer may stand in several places (a form shown twice, a notebook older than its journal). They
are merged: the newest counts, and no attempt is lost. Something unreadable never hides the rest: it becomes
one line in ``problems``.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from datetime import datetime
from typing import TYPE_CHECKING, Any

from eqlib.assess.records.journal import journal_name, read_journal
from eqlib.assess.records.record import MIME, SEEN, AnswerError, Record, read_time, record_answer
from eqlib.assess.variants import normal_id

if TYPE_CHECKING:
    from eqlib.assess.question import Question


class Collected(dict[str, Record]):
    """Records by question id, with ``problems`` (one line each) and ``student`` (the id in the notebook, or
    None). ``opened``: (student, question, when) of every outcome that was shown to whoever it was.
    """

    def __init__(self) -> None:
        super().__init__()
        self.problems: list[str] = []
        self.student: str | None = None
        self.opened: list[tuple[str, str, datetime]] = []

    def offer(self, record: Record, assignment: str | None, student: str | None) -> None:
        """Take ``record`` unless it belongs elsewhere; merge it with what is here."""
        if assignment is not None and record.assignment != assignment:
            self._say(
                f"an answer to {record.question!r} belongs to assignment {record.assignment!r}; left out"
            )
            return
        if student is not None and record.student and normal_id(record.student) != normal_id(student):
            self._say(
                f"the answer to {record.question!r} was recorded "
                f"under the id {record.student!r}, not {student!r}"
            )
        self.note_opened(record)
        held = self.get(record.question)
        if held is None:
            self[record.question] = record
        elif (held.assignment, normal_id(held.student)) == (record.assignment, normal_id(record.student)):
            self[record.question] = held.merged(record)
        else:
            self[record.question] = record if record.when > held.when else held
        self._note_reveal(record.question.removeprefix(SEEN))

    def note_opened(self, record: Record) -> None:
        """Remember whose copy of which question showed its outcome, and when."""
        at = record.since if record.question.startswith(SEEN) else record.revealed_at
        if at is not None:
            self.opened.append((record.student or "", record.question.removeprefix(SEEN), read_time(at)))

    def _note_reveal(self, question: str) -> None:
        """An outcome's own note of having been shown counts for its question's record as well."""
        record, note = self.get(question), self.get(SEEN + question)
        if record is not None and note is not None and normal_id(record.student) == normal_id(note.student):
            self[question] = record.revealed(note.since)

    def _say(self, line: str) -> None:
        if line not in self.problems:
            self.problems.append(line)


def collect(
    notebook: str | bytes | dict[str, Any] | None = None,
    journal: str | bytes | dict[str, Any] | None = None,
    assignment: str | None = None,
    student: str | None = None,
) -> Collected:
    """The records of every question, copies of one answer merged.

    ``notebook`` and ``journal`` are JSON text, bytes, parsed dicts, or None. With ``assignment``, answers of
    other assignments are left out. With ``student``, only that student's and unnamed answers are taken from
    the journal (a shared computer's journal holds several people's); without, only those of the id found in
    the notebook.
    """
    found = Collected()
    if notebook is not None:
        for record in records_in(notebook, found):
            found.offer(record, assignment, student)
        if found.student is None:
            named = {normal_id(r.student): r.student for r in found.values() if r.student}
            if len(named) == 1:
                found.student = next(iter(named.values()))
    if journal is not None:
        records, problems = read_journal(journal)
        found.problems.extend(problems)
        mine = _whose(records, found, student)
        if records and not set(records) & set(mine):
            found._say(f"the journal beside it holds only answers of {', '.join(sorted(records))}; left out")
        for who, theirs in records.items():
            for record in theirs.values():
                if who in mine:
                    found.offer(record, assignment, student)
                elif assignment in (None, record.assignment):
                    found.note_opened(record)
    return found


def _whose(
    records: Mapping[str, Mapping[str, Record]], found: Collected, student: str | None
) -> tuple[str, ...]:
    """Whose journal entries belong to this notebook; the unnamed ones belong to whoever holds it."""
    if student is None:
        student = found.student
    if student is not None:
        return ("", normal_id(student))
    return tuple(records) if len([who for who in records if who]) <= 1 else ("",)


def records_in(notebook: str | bytes | dict[str, Any], found: Collected) -> Iterator[Record]:
    """Every record in a notebook, as it stands. Problems and the notebook's id go into ``found``."""
    if isinstance(notebook, (str, bytes, bytearray)):
        try:
            notebook = json.loads(notebook)
        except (ValueError, RecursionError):
            found.problems.append("the notebook is not readable as JSON; ask for it to be handed in again")
            return
    if type(notebook) is not dict:
        found.problems.append("the notebook is not a JSON object; ask for it to be handed in again")
        return
    kept = _dict(_dict(notebook.get("metadata")).get("eqlib"))
    if type(kept.get("student")) is str:
        found.student = kept["student"]
    places = [
        (data, f"notebook metadata, {question[:40]!r}")
        for question, data in _dict(kept.get("records")).items()
    ]
    for number, cell in enumerate(_list(notebook.get("cells")), start=1):
        for output in _list(_dict(cell).get("outputs")):
            bundle = _dict(_dict(output).get("data"))
            if MIME in bundle:
                places.append((_joined(bundle[MIME]), f"cell {number}"))
    for data, where in places:
        try:
            yield Record.from_json(data)
        except AnswerError as error:
            found._say(f"{where}: {error}")


def _joined(value: object) -> object:
    """Notebook files may store text as a list of lines."""
    if type(value) is list and all(type(line) is str for line in value):
        return "".join(value)
    return value


def _dict(value: object) -> dict[str, Any]:
    return value if type(value) is dict else {}


def _list(value: object) -> list[Any]:
    return value if type(value) is list else []


def code_answers(
    kept: Collected, ran: Collected, questions: Mapping[str, Question]
) -> tuple[dict[str, Record], list[str]]:
    """(the records that count, one line for each that does not): what was recorded before marking.

    ``kept`` was handed in, ``ran`` stood in the outputs when the submission ran for marking. Only a part that
    is answered in code takes its value from the run; anything else that appears only then was not recorded by
    the student.
    """
    counts = {name: record for name, record in kept.items() if name in questions}
    lines = []
    for name, record in ran.items():
        if name not in questions or (name in counts and counts[name].receipt == record.receipt):
            continue
        held = counts.get(name)
        coded = {part.id for part in questions[name].parts if part.code}
        answer = {part: value for part, value in record.answer.items() if part in coded}
        if answer:
            before = {} if held is None else dict(held.answer)
            who = record.student if held is None else held.student
            counts[name] = record_answer(
                record.assignment, name, before | answer, who, at=record.at, previous=held
            )
        if set(record.answer) - coded and (held is None or dict(held.answer) | answer != dict(record.answer)):
            lines.append(f"an answer to {name!r} appeared only while marking; it was not counted")
    return counts, lines


def no_answers(kept: Collected, questions: Mapping[str, Question], assignment: str) -> str:
    """Empty, or the line about a submission in which nothing recorded was found although there were forms to
    fill in.

    The journal it names can be added to the submission's folder at any time; marking again then counts it.
    """
    forms = [q for q in questions.values() if not q.manual and not all(p.code for p in q.parts if p.scored)]
    if not forms or any(name in questions for name in kept):
        return ""
    return f"no answers found: ask for the file {journal_name(assignment)}"
