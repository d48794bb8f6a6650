"""Take a handed-in answer apart, into attempts of part -> raw value, without trusting the object it is in."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from eqlib.assess import feedback
from eqlib.assess.reading.objects import type_name
from eqlib.assess.records.record import MAX_RECORD, AnswerError, Record

#: The key under which practice keeps which set of numbers an answer belongs to.
RETRY = "_set"


@dataclass(frozen=True)
class Given:
    """An answer taken apart: the attempts (part id -> raw value), oldest first, and what to say about
    them.

    ``before_reveal`` is how many of them were made before the outcome was shown, None where all were.
    """

    attempts: tuple[Mapping, ...] = ()
    student: object = None
    problem: str = ""
    note: str = ""
    before_reveal: int | None = None


def take_apart(question, answer) -> Given:
    kind = type(answer)
    if kind is Record:
        return _of_record(question, answer)
    if issubclass(kind, str) and _looks_like_a_record(str.__str__(answer)):
        return _of_json(question, str.__str__(answer))
    if not issubclass(kind, dict):
        return _of_value(question, answer)
    table = {}
    for key, value in dict.items(answer):
        if not issubclass(type(key), str):
            return Given(
                problem="The answer is a table whose row names are not text; please record it from the form."
            )
        table[str.__str__(key)] = value
    if {"receipt", "answer", "question"} <= table.keys():
        return _of_json(question, table)
    names = {part.id for part in question.parts}
    if not table.keys() & names and _single(question) and table:
        return _of_value(question, table)
    stray = sorted(key[:40] for key in table.keys() - names if key != RETRY)
    note = f"; not asked here, so left aside: {', '.join(stray[:8])}" if stray else ""
    return Given((table,), note=note)


def _looks_like_a_record(text: str) -> bool:
    return text[:50].lstrip()[:1] == "{" and '"receipt"' in text[:MAX_RECORD]


def _of_json(question, source) -> Given:
    try:
        return _of_record(question, Record.from_json(source))
    except AnswerError as error:
        return Given(problem=f"The recorded answer could not be used: {error}.")


def _of_record(question, record: Record) -> Given:
    if record.question != question.id:
        return Given(
            student=record.student,
            problem=f"The recorded answer belongs to question {record.question!r}, not to {question.id!r}.",
        )
    attempts = tuple(dict(attempt) for attempt in record.attempts)
    before = record.before_reveal if record.revealed_at is not None else None
    return Given(attempts, record.student, before_reveal=before)


def _of_value(question, value) -> Given:
    part = _single(question)
    if value is None:
        return Given(problem=feedback.NO_ANSWER)
    if part is None:
        if issubclass(type(value), str) and str.strip(value) == "":
            return Given(problem=feedback.NO_ANSWER)
        asked = ", ".join(part.id for part in question.parts if part.scored)
        return Given(
            problem=(
                f"One value ({type_name(value)}) was handed in, but this question asks for several: {asked}."
            )
        )
    return Given(({part.id: value},))


def _single(question):
    scored = [part for part in question.parts if part.scored]
    return scored[0] if len(scored) == 1 else None
