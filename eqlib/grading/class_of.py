"""Fill in a released notebook as a student would leave it: for an invented class, and for trials.

The answers go through the code that the forms use: the same records, the same outputs in the same cells, the
same journal beside the notebook. Only the clicking is left out, so a class of notebooks is made in seconds.
"""

from __future__ import annotations

import copy
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path

import nbformat
from nbformat import NotebookNode
from nbformat.v4 import new_output

from eqlib.assess.question import Question, QuestionSet
from eqlib.assess.records import MIME, Journal, Record, journal_name, record_answer

#: Under this name a notebook keeps who is working in it, like an answer.
WHO = "student"


@dataclass(frozen=True)
class Work:
    """What one student did: answers by question and part, code by cell id, words by cell id."""

    student: str
    answers: dict[str, dict] = field(default_factory=dict)
    code: dict[str, str] = field(default_factory=dict)
    words: dict[str, str] = field(default_factory=dict)
    began: datetime = datetime(2026, 1, 20, 18, 0, tzinfo=UTC)
    named: bool = True


def records_of(work: Work, questions: QuestionSet) -> dict[str, Record]:
    """The records that the forms would have made, a minute and a half apart."""
    student = work.student if work.named else None
    entries = {**({WHO: {"id": work.student}} if work.named else {}), **work.answers}
    records = {}
    for number, (name, answer) in enumerate(entries.items()):
        at = work.began + timedelta(seconds=90 * number + 7 * len(name))
        stamp = at.isoformat(timespec="milliseconds").replace("+00:00", "Z")
        records[name] = record_answer(questions.assignment.id, name, answer, student, at=stamp)
    return records


@dataclass(frozen=True)
class Display:
    """How answers look in a notebook: the bundle of a question's recorded answer.

    The lesson's own is ``eqlib.notebook``'s; whoever has that room at hand passes it in.
    """

    answer: Callable[[Question, Record], dict] = lambda question, record: plain_bundle(question, record)


def plain_bundle(question: Question, record: Record) -> dict:
    """A recorded answer as data and in plain words."""
    said = ", ".join(
        f"{part.label}: {record.answer[part.id]}" for part in question.parts if part.id in record.answer
    )
    return {"text/plain": f"Recorded {record.at}, receipt {record.receipt}. {said}", MIME: record.to_dict()}


def fill(
    released: NotebookNode, work: Work, questions: QuestionSet, display: Display | None = None
) -> NotebookNode:
    """A copy of the ``released`` notebook with ``work`` in it, saved as JupyterLab would have saved it."""
    book = copy.deepcopy(released)
    records = records_of(work, questions)
    display = display or Display()
    count = 0
    for cell in book.cells:
        name = cell.metadata.get("nbgrader", {}).get("grade_id", "")
        if cell.cell_type == "markdown" and name in work.words:
            cell.source = work.words[name]
        if cell.cell_type != "code":
            continue
        cell.source = work.code.get(name, cell.source)
        count += 1
        cell.execution_count = count
        cell.outputs = [
            new_output("display_data", data=data) for data in _shown(cell.source, records, questions, display)
        ]
    return book


def _shown(
    source: str, records: dict[str, Record], questions: QuestionSet, display: Display
) -> Iterator[dict]:
    """What the form or check cell of a question shows once it is answered."""
    if re.search(r"\bstudent\(\)", source) and WHO in records:
        yield {"text/plain": f"Recorded ✓ Your id is {records[WHO].student}.", MIME: records[WHO].to_dict()}
    for name, record in records.items():
        if name not in questions:
            continue
        if f'panel("{name}"' in source:
            yield display.answer(questions[name], record)


def hand_in(
    folder: Path, name: str, book: NotebookNode, work: Work, questions: QuestionSet, journal: bool = True
) -> Path:
    """Save a filled-in notebook and its journal in a student's folder. Gives the notebook's path."""
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / f"{name}.ipynb"
    nbformat.write(book, path)
    if journal:
        kept = Journal(folder / journal_name(questions.assignment.id))
        for record in records_of(work, questions).values():
            kept.write(record)
    return path
