"""Gather the answers of a handed-in notebook: from any cell's outputs, its metadata, and the journal beside
it.

Copies of one answer may stand in several places (a form shown twice, a notebook older than its journal). The
newest counts. Something unreadable never hides the rest: it becomes one line in ``problems``.
"""

from __future__ import annotations

import json

from eqlib.assess.records.journal import read_journal
from eqlib.assess.records.record import MIME, SEEN, AnswerError, Record
from eqlib.assess.variants import normal_id


class Collected(dict):
    """Records by question id, with ``problems`` (one line each) and ``student`` (the id in the notebook, or
    None).
    """

    def __init__(self):
        super().__init__()
        self.problems: list[str] = []
        self.student: str | None = None

    def offer(self, record: Record, assignment, student) -> None:
        """Take ``record`` unless it belongs elsewhere or a newer one is here."""
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
        held = self.get(record.question)
        if held is None:
            self[record.question] = record
        else:
            newest, other = (record, held) if record.when > held.when else (held, record)
            same = normal_id(newest.student) == normal_id(other.student)
            self[record.question] = newest.revealed(other.revealed_at) if same else newest
        self._note_reveal(record.question.removeprefix(SEEN))

    def _note_reveal(self, question: str) -> None:
        """An outcome's own note of having been shown counts for its question's record as well."""
        record, note = self.get(question), self.get(SEEN + question)
        if record is not None and note is not None and normal_id(record.student) == normal_id(note.student):
            self[question] = record.revealed(note.since)

    def _say(self, line: str) -> None:
        if line not in self.problems:
            self.problems.append(line)

    def try_offer(self, data, where, assignment, student) -> None:
        """Offer what ``data`` holds; say so in ``problems`` when it holds no whole record."""
        try:
            self.offer(Record.from_json(data), assignment, student)
        except AnswerError as error:
            self._say(f"{where}: {error}")


def collect(notebook=None, journal=None, assignment=None, student=None) -> Collected:
    """The newest readable record of every question.

    ``notebook`` and ``journal`` are JSON text, bytes, parsed dicts, or None. With ``assignment``, answers of
    other assignments are left out. With ``student``, only that student's and unnamed answers are taken from
    the journal (a shared computer's journal holds several people's); without, only those of the id found in
    the notebook.
    """
    found = Collected()
    if notebook is not None:
        _from_notebook(found, notebook, assignment, student)
    if journal is not None:
        records, problems = read_journal(journal)
        found.problems.extend(problems)
        for who in _whose(records, found, student):
            for record in records.get(who, {}).values():
                found.offer(record, assignment, student)
    return found


def _whose(records, found: Collected, student) -> tuple[str, ...]:
    """Whose journal entries belong to this notebook; the unnamed ones belong to whoever holds it."""
    if student is None:
        student = found.student
    if student is not None:
        return ("", normal_id(student))
    return tuple(records) if len([who for who in records if who]) <= 1 else ("",)


def _from_notebook(found: Collected, notebook, assignment, student) -> None:
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
    for question, data in _dict(kept.get("records")).items():
        found.try_offer(data, f"notebook metadata, {question[:40]!r}", assignment, student)
    for number, cell in enumerate(_list(notebook.get("cells")), start=1):
        for output in _list(_dict(cell).get("outputs")):
            bundle = _dict(_dict(output).get("data"))
            if MIME in bundle:
                found.try_offer(_joined(bundle[MIME]), f"cell {number}", assignment, student)
    if found.student is None:
        named = {normal_id(r.student): r.student for r in found.values() if r.student}
        if len(named) == 1:
            found.student = next(iter(named.values()))


def _joined(value):
    """Notebook files may store text as a list of lines."""
    if type(value) is list and all(type(line) is str for line in value):
        return "".join(value)
    return value


def _dict(value) -> dict:
    return value if type(value) is dict else {}


def _list(value) -> list:
    return value if type(value) is list else []
