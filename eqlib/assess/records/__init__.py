"""A recorded answer: a small piece of data that lives in the notebook and in a journal beside it.

The record, as JSON (media type ``MIME``)::

    {"format": 1, "assignment": "04-…", "question": "silver", "student": "s01" or null,
     "answer": {part: value}, "at": "2026-01-31T18:05:00Z",
     "history": [{"at": …, "answer": {…}}, …], "receipt": "8 hex digits",
     "revealed_at": "2026-01-31T18:06:00Z"}

``answer`` is what counts now; ``history`` holds every earlier answer, oldest first. The receipt is a
checksum of the answer, so that a student can see that what arrived is what they recorded. It is not a secret.
``revealed_at`` is there once the outcome was shown to the student.
"""

from __future__ import annotations

from eqlib.assess.records.collect import (
    Collected,
    code_answers,
    collect,
    no_answers,
    oddities,
    rescue,
)
from eqlib.assess.records.journal import Journal, journal_name
from eqlib.assess.records.record import (
    MIME,
    SEEN,
    AnswerError,
    Record,
    blank,
    kept_parts,
    receipt_of,
    record_answer,
    same_answer,
    standing,
)

__all__ = [
    "MIME",
    "SEEN",
    "AnswerError",
    "Collected",
    "Journal",
    "Record",
    "blank",
    "code_answers",
    "collect",
    "journal_name",
    "kept_parts",
    "no_answers",
    "oddities",
    "receipt_of",
    "record_answer",
    "rescue",
    "same_answer",
    "standing",
]
