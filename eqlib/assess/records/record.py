"""One recorded answer and its JSON form, and what may be said of it: which parts are answered, whether what
stands on the screen is what is recorded. What arrives from a notebook is checked as if anybody had written
it.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

from eqlib.assess.reading.plain import Plain, Typed, Unreadable
from eqlib.assess.reading.plain import plain as plain_value
from eqlib.errors import EqlibError

if TYPE_CHECKING:
    from eqlib.assess.question import Question

MIME = "application/vnd.eqlib.answer+json"
FORMAT = 1
#: Under this name stands the note that a question's outcome was shown: SEEN + question id.
SEEN = "eqlib:seen:"
#: Longest JSON text of one record, and most earlier answers kept (the first half and the last half).
MAX_RECORD = 400_000
MAX_HISTORY = 100
#: The key under which practice keeps which set of numbers an answer belongs to.
RETRY = "_set"

_NAME = re.compile(r"[\w][\w .:@+-]{0,79}", re.UNICODE)
_PARTS_AT_MOST = 60


class AnswerError(EqlibError):
    """A recorded answer that cannot be used as it stands; the message says what is wrong with it."""


@dataclass(frozen=True)
class Record:
    """What one student last recorded for one question. ``at`` and the history's times are UTC, ISO 8601.

    ``revealed_at`` is when the question's outcome was first shown to the student, or None.
    """

    assignment: str
    question: str
    answer: Mapping[str, Any]
    student: str | None = None
    at: str = ""
    history: tuple[Mapping[str, Any], ...] = ()
    revealed_at: str | None = None

    @property
    def receipt(self) -> str:
        """Eight hex digits that any later change of the answer would alter."""
        return receipt_of(self.assignment, self.question, self.student, self.answer, self.at)

    @property
    def when(self) -> datetime:
        """``at`` as a time."""
        return read_time(self.at)

    @property
    def first(self) -> Mapping[str, Any]:
        """The first answer ever recorded."""
        return self.history[0]["answer"] if self.history else self.answer

    @property
    def attempts(self) -> tuple[Mapping[str, Any], ...]:
        """Every answer recorded, oldest first; the last is the one that stands."""
        return (*(entry["answer"] for entry in self.history), self.answer)

    @property
    def since(self) -> str:
        """When something was first recorded here."""
        return self.history[0]["at"] if self.history else self.at

    @property
    def before_reveal(self) -> int:
        """How many of the ``attempts`` were recorded before the outcome was first shown (all, if it never
        was).
        """
        times = [*(entry["at"] for entry in self.history), self.at]
        if self.revealed_at is None:
            return len(times)
        shown = read_time(self.revealed_at)
        return sum(read_time(at) <= shown for at in times)

    def revealed(self, at: str | None) -> Record:
        """This record, its outcome shown at ``at`` if it was not shown earlier."""
        if at is None or (self.revealed_at and read_time(self.revealed_at) <= read_time(at)):
            return self
        return replace(self, revealed_at=at)

    def merged(self, other: Record) -> Record:
        """This record and ``other``, a copy or an earlier or later state of it, as one: every attempt of
        either, in the order in which they were made, the newest standing. Both belong to one student and
        question.
        """
        if other == self:
            return self
        entries = {
            (read_time(entry["at"]), _canonical(entry["answer"])): entry
            for record in (self, other)
            for entry in (*record.history, {"at": record.at, "answer": dict(record.answer)})
        }
        ordered = [entries[key] for key in sorted(entries)]
        newest = self if self.when >= other.when else other
        standing = {"at": newest.at, "answer": dict(newest.answer)}
        earlier = [entry for entry in ordered if entry != standing]
        return replace(newest, history=_trimmed(earlier)).revealed(
            min(filter(None, (self.revealed_at, other.revealed_at)), key=read_time, default=None)
        )

    def to_dict(self) -> dict[str, Any]:
        """The record as plain data, ready for JSON."""
        shown = {} if self.revealed_at is None else {"revealed_at": self.revealed_at}
        return {
            "format": FORMAT,
            "assignment": self.assignment,
            "question": self.question,
            "student": self.student,
            "answer": dict(self.answer),
            "at": self.at,
            "history": [dict(entry) for entry in self.history],
            "receipt": self.receipt,
            **shown,
        }

    @classmethod
    def from_json(cls, source: object) -> Record:
        """A record from JSON text, bytes or a dict. Raises AnswerError if it is not whole and unaltered."""
        data = _load(source)
        if data.get("format") != FORMAT:
            raise AnswerError(
                f"a recorded answer has format {data.get('format')!r}; this eqlib reads format {FORMAT}"
            )
        assignment = _name(data.get("assignment"), "assignment")
        question = _name(data.get("question"), "question")
        where = f"the recorded answer to {question!r}"
        student = data.get("student")
        if student is not None:
            student = _name(student, "student")
        answer = _answer(data.get("answer"), where)
        at = str(data.get("at"))
        read_time(at, where)
        shown = data.get("revealed_at")
        if shown is not None:
            read_time(shown, f"the showing of the outcome in {where}")
        history = _history(data.get("history", []), where)
        record = cls(assignment, question, answer, student, at, history, shown)
        if data.get("receipt") != record.receipt:
            raise AnswerError(
                f"{where} does not match its receipt, so it was altered after it was recorded; "
                "record it again from the form"
            )
        return record


def record_answer(
    assignment: str,
    question: str,
    answer: object,
    student: str | None = None,
    *,
    at: str | None = None,
    previous: Record | None = None,
) -> Record:
    """A new record. An earlier one (``previous``) goes into its history; recording the same again changes
    nothing. A part left blank keeps what ``previous`` holds for it (see ``kept_parts``). Raises AnswerError.
    """
    answer = _answer(answer, f"the answer to {question!r}")
    if previous is not None:
        answer |= {name: previous.answer[name] for name in kept_parts(answer, previous)}
    student = None if student is None or not str(student).strip() else _name(str(student), "student")
    if previous is not None and previous.student == student and dict(previous.answer) == answer:
        return previous
    history: tuple[Mapping[str, Any], ...] = ()
    shown = None if previous is None else previous.revealed_at
    if previous is not None:
        history = _trimmed((*previous.history, {"at": previous.at, "answer": dict(previous.answer)}))
    at = at or _now(after=previous)
    read_time(at)
    names = _name(assignment, "assignment"), _name(question, "question")
    return Record(*names, answer, student, at, history, shown)


def _now(after: Record | None) -> str:
    """The time, but later than ``after``: a clock that was set back must not make an answer old."""
    now = datetime.now(UTC)
    if after is not None:
        now = max(now, after.when + timedelta(milliseconds=1))
    return now.isoformat(timespec="milliseconds").replace("+00:00", "Z")


def _trimmed(history: Sequence[Mapping[str, Any]]) -> tuple[Mapping[str, Any], ...]:
    """At most MAX_HISTORY entries: the first half and the last half."""
    half = MAX_HISTORY // 2
    return tuple(history) if len(history) <= MAX_HISTORY else (*history[:half], *history[-half:])


def blank(value: object) -> bool:
    """Does this value say nothing: None, no text, a table or list of nothing but such?"""
    if isinstance(value, str):
        return not value.strip()
    if isinstance(value, Mapping):
        return all(blank(item) for item in value.values())
    if isinstance(value, list | tuple):
        return all(blank(item) for item in value)
    return value is None


def kept_parts(answer: Mapping[str, Any], previous: Record | None) -> tuple[str, ...]:
    """The parts that ``answer`` leaves blank and ``previous`` holds: recording keeps them.

    Answers to another set of numbers (practice) have nothing to do with each other.
    """
    if previous is None or previous.answer.get(RETRY) != answer.get(RETRY):
        return ()
    return tuple(name for name, old in previous.answer.items() if blank(answer.get(name)) and not blank(old))


def same_answer(record: Record | None, shown: Mapping[str, Any]) -> bool:
    """Is ``shown``, what stands in the controls now (part id -> value), exactly what is recorded?

    Blank parts do not count, nor do blanks around typed text. False: say "changed, not recorded yet".
    """
    return _said(shown) == _said({} if record is None else record.answer)


def _said(answer: Mapping[str, Any]) -> dict[str, object]:
    return {
        name: value.strip() if isinstance(value, str) else _whole(value)
        for name, value in answer.items()
        if not blank(value)
    }


@dataclass(frozen=True)
class Standing:
    """How far one question is answered: part ids, and "answered", "partly answered" or "not answered"."""

    answered: tuple[str, ...]
    missing: tuple[str, ...]

    @property
    def state(self) -> str:
        """In words; it says nothing about marks."""
        if not self.answered:
            return "not answered"
        return "partly answered" if self.missing else "answered"


def standing(question: Question, record: Record | None) -> Standing:
    """The Standing of ``record`` as an answer to ``question``: its scored parts, or all if none is scored."""
    wanted = [part.id for part in question.parts if part.scored] or [part.id for part in question.parts]
    held = {} if record is None else record.answer
    answered = tuple(name for name in wanted if not blank(held.get(name)))
    return Standing(answered, tuple(name for name in wanted if name not in answered))


def receipt_of(
    assignment: str, question: str, student: str | None, answer: Mapping[str, Any], at: str
) -> str:
    """The receipt of an answer: the start of the SHA-256 of its canonical JSON.

    A browser saves 139.0 as 139, so the two have the same receipt.
    """
    canonical = _canonical([assignment, question, student, answer, at])
    return hashlib.sha256(canonical.encode("ascii")).hexdigest()[:8]


def _canonical(value: object) -> str:
    """One text for equal values, whatever the order of their names."""
    return json.dumps(_whole(value), ensure_ascii=True, sort_keys=True, separators=(",", ":"), default=dict)


def _whole(value: object) -> object:
    """``value`` with every float that is a whole number written as one."""
    if isinstance(value, Mapping):
        return {name: _whole(item) for name, item in value.items()}
    if isinstance(value, list | tuple):
        return [_whole(item) for item in value]
    return int(value) if type(value) is float and value.is_integer() else value


def read_time(text: object, where: str = "a recorded answer") -> datetime:
    """An ISO 8601 time with its zone, as UTC. Raises AnswerError."""
    try:
        if type(text) is not str or len(text) > 40:
            raise ValueError
        time = datetime.fromisoformat(text)
        if time.tzinfo is None:
            raise ValueError
        return time.astimezone(UTC)
    except (ValueError, OverflowError):
        raise AnswerError(
            f"{where} has no readable time; expected something like 2026-01-31T18:05:00Z"
        ) from None


def _load(source: object) -> dict[str, Any]:
    if isinstance(source, (bytes, bytearray)):
        source = bytes(source).decode("utf-8", errors="replace")
    if isinstance(source, str):
        if len(source) > MAX_RECORD:
            raise AnswerError(
                f"a recorded answer is {len(source):,} characters long, more than any form writes"
            )
        try:
            source = json.loads(source)
        except (ValueError, RecursionError):
            raise AnswerError(
                "a recorded answer is not readable as JSON; record it again from the form"
            ) from None
    if type(source) is not dict:
        raise AnswerError("a recorded answer is not a JSON object; record it again from the form")
    return source


def _name(value: object, what: str) -> str:
    if type(value) is not str or not _NAME.fullmatch(value.strip()):
        raise AnswerError(f"a recorded answer has no usable {what} name (letters, digits, . _ - and spaces)")
    return value.strip()


def _answer(value: object, where: str) -> dict[str, Any]:
    """The answer table as plain values; nothing that JSON cannot hold gets in."""
    try:
        table = plain(value)
    except (Unreadable, RecursionError) as error:
        raise AnswerError(f"{where} cannot be recorded: {error}") from None
    if type(table) is not dict or len(table) > _PARTS_AT_MOST:
        raise AnswerError(f"{where} is not a small table of parts and values; record it again from the form")
    return table


def _history(value: object, where: str) -> tuple[dict[str, Any], ...]:
    if type(value) is not list or len(value) > MAX_HISTORY:
        raise AnswerError(f"{where} has an unreadable history; record it again from the form")
    entries = []
    for entry in value:
        if type(entry) is not dict:
            raise AnswerError(f"{where} has an unreadable history; record it again from the form")
        read_time(entry.get("at"), where)
        entries.append({"at": entry["at"], "answer": _answer(entry.get("answer"), where)})
    return tuple(entries)


def plain(value: object) -> Any:
    """``value`` as None, bool, int, float, str, list or dict of those, ready for JSON. Raises Unreadable.

    A decimal keeps the digits it was written with, so that its figures can still be counted.
    """
    return _without_typed(plain_value(value))


def _without_typed(value: Plain) -> Any:
    if isinstance(value, Typed):
        return value.text
    if type(value) is list:
        return [_without_typed(item) for item in value]
    if type(value) is dict:
        return {name: _without_typed(item) for name, item in value.items()}
    return value


def has_text(value: object) -> bool:
    """Is there any text in this value?"""
    try:
        value = plain(value)
    except (Unreadable, RecursionError):
        return False
    return type(value) is str and bool(value.strip())
