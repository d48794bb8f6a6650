"""Mark an answer from the chemistry of the student's own numbers.

A mark depends on the question, the answer, the student and the policy, and on nothing else: marking again
after a question was corrected gives what marking for the first time would have given. Whatever object is
handed in as an answer, ``mark`` returns a Mark. The order never changes: right is tested first, then carried
forward, then mistakes.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Any

from eqlib.assess import feedback
from eqlib.assess.asks import ASKS
from eqlib.assess.asks.base import Answered, Part
from eqlib.assess.case import Case
from eqlib.assess.policy import Policy
from eqlib.assess.question import Question
from eqlib.assess.reading import read_part
from eqlib.assess.reading.objects import type_name
from eqlib.assess.reading.text import Reading
from eqlib.assess.records.record import MAX_RECORD, AnswerError, Record, has_text
from eqlib.assess.variants import normal_id
from eqlib.assess.working import worked

#: The key under which practice keeps which set of numbers an answer belongs to.
RETRY = "_set"
_MOST_RETRIES = 1000


@dataclass(frozen=True)
class PartMark:
    """The mark of one part. ``right`` is True for full points, figures aside; ``shown`` is how it was read.

    ``note`` says in one word how it went: right, carried, partly, wrong, unreadable, or "" (no answer).
    """

    id: str
    label: str
    points: float
    max_points: float
    right: bool
    shown: str
    mistake: str | None
    feedback: str
    audit: str
    note: str = ""
    figures_lost: bool = False

    @classmethod
    def empty(cls, part: Part, worth: float) -> PartMark:
        """A part without an answer."""
        said = feedback.MISSING if worth else ""
        audit = f"{part.id}: no answer, 0 of {worth:g}" if worth else ""
        return cls(part.id, part.label, 0.0, worth, False, "", None, said, audit)


@dataclass(frozen=True)
class Mark:
    """A mark and how it came about.

    ``points``   a finite built-in float in [0, max_points].
    ``mistake``  id of the misconception the answer is consistent with, or None.
    ``feedback`` what to tell the student (markdown); a hint, not the answer.
    ``working``  the worked solution (markdown), or "" while the question does not allow it.
    ``parts``    a PartMark for every part of the question.
    ``audit``    one line that says exactly how the points came about.
    ``set_of``   which set of numbers it was marked with (practice gives fresh ones).
    """

    points: float
    max_points: float
    mistake: str | None
    feedback: str
    working: str
    parts: tuple[PartMark, ...]
    audit: str
    set_of: int = 0

    def __post_init__(self) -> None:
        good = type(self.points) is float and math.isfinite(self.points)
        if not good or not 0.0 <= self.points <= self.max_points:
            raise AssertionError(f"a mark of {self.points!r} out of {self.max_points!r} cannot be")


def mark(
    question: Question,
    answer: Any,
    student: Any = None,
    policy: Policy | Mapping[str, Any] | None = None,
    *,
    released: bool = False,
    retry: int | None = None,
) -> Mark:
    """The Mark of ``answer`` to ``question``.

    ``answer``   None, a single value (question with one part), a dict of part id -> value, a Record or its
    JSON.
    ``student``  whose numbers to mark with; default, the id in the record, else nobody's (mid-range).
    ``policy``   a Policy, or a dict of the rules to change; default, the question's.
    ``released`` True once marks go back: until then the worked solution of assessed work is kept back.
    ``retry``    which set of numbers (practice); default, the one recorded with the answer.
    """
    policy = _policy(question, policy)
    given = take_apart(question, answer)
    who = student if student is not None else given.student
    note = given.note + _other_id(given.student, who)
    if question.manual:
        return _manual(question, given)
    if given.problem:
        return _nothing(question, who, given.problem, policy, released)
    tries = [
        _mark_attempt(question, attempt, who, policy, retry) for attempt in _counted(question, given, policy)
    ]
    best = max(tries, key=lambda made: made.points)
    audit = f"{best.audit}{_audit_attempts(question, given, policy)}{note}"
    show = _may_show(question, policy, len(given.attempts), best.points >= best.max_points, released)
    working = worked(question, question.case(who, best.set_of)) if show else ""
    return replace(best, audit=audit, working=working)


def _other_id(recorded: Any, used: Any) -> str:
    """A remark for the audit line when an answer was recorded under another id than it is marked with."""
    if recorded is None or normal_id(recorded) == normal_id(used):
        return ""
    return f"; recorded under the id {recorded!r}, so with that id's numbers in view"


def _policy(question: Question, policy: Policy | Mapping[str, Any] | None) -> Policy:
    if policy is None:
        return question.policy
    return policy if isinstance(policy, Policy) else question.policy.changed(**policy)


def _counted(question: Question, given: Given, policy: Policy) -> tuple[Mapping[str, Any], ...]:
    """The attempts that may count. A prediction changed after its outcome was shown does not, by default;
    in practice nothing is handed in, and the newest is what the student is working on.
    """
    attempts = given.attempts
    if policy.attempts == "first":
        return attempts[:1]
    if policy.attempts == "best":
        return attempts
    if policy.attempts == "before-reveal" and question.mode != "practice" and given.before_reveal is not None:
        attempts = attempts[: max(given.before_reveal, 1)]
    return attempts[-1:]


def _may_show(question: Question, policy: Policy, attempts: int, right: bool, released: bool) -> bool:
    """Practice shows the working after some attempts or a right answer; assessed work once it is marked."""
    if not policy.working:
        return False
    if question.mode == "practice":
        return right or attempts >= policy.working_after
    return released


def _mark_attempt(
    question: Question, attempt: Mapping[str, Any], student: Any, policy: Policy, retry: int | None
) -> Mark:
    if retry is None:
        retry = _retry_of(question, attempt)
    case = question.case(student, retry)
    names = tuple(case.reaction.coefficients) if case.reactions else ()
    readings = {part.id: _read(part, attempt, names) for part in question.parts}
    values = {name: reading.value for name, reading in readings.items() if reading is not None and reading.ok}
    made: list[PartMark] = []
    earlier: dict[str, Any] = {}
    for part, worth in _worths(question):
        answered = Answered(
            MappingProxyType({name: value for name, value in values.items() if name != part.id}),
            MappingProxyType(dict(earlier if policy.carry_forward else {})),
            any(done.figures_lost for done in made),
        )
        made.append(mark_part(part, case, readings[part.id], answered, worth, policy))
        if part.id in values:
            earlier[part.id] = values[part.id]
    points = _total(made, question.points)
    return Mark(
        points=points,
        max_points=float(question.points),
        mistake=_leading_mistake(made),
        feedback=feedback.whole(question, made, points),
        working="",
        parts=tuple(made),
        audit=_audit(question, student, retry, made, points, policy),
        set_of=retry,
    )


def _worths(question: Question) -> list[tuple[Part, float]]:
    """Every part with the points it can earn."""
    total = sum(part.weight for part in question.parts if part.scored)
    return [(part, question.points * part.weight / total if part.scored else 0.0) for part in question.parts]


def _retry_of(question: Question, attempt: Mapping[str, Any]) -> int:
    """Only practice gives fresh numbers; assessed work is always marked with the first set."""
    asked = attempt.get(RETRY)
    if question.mode != "practice" or type(asked) is not int or not 0 <= asked <= _MOST_RETRIES:
        return 0
    return asked


def _read(part: Part, attempt: Mapping[str, Any], names: tuple[str, ...] = ()) -> Reading | None:
    """The Reading of a part, or None when nothing was answered."""
    raw = attempt.get(part.id)
    if raw is None or (issubclass(type(raw), str) and not str.strip(raw)):
        return None
    return read_part(part, raw, names)


def _total(made: Sequence[PartMark], most: float) -> float:
    if all(part.points == part.max_points for part in made):
        return float(most)
    return min(max(round(math.fsum(part.points for part in made), 6), 0.0), float(most))


def _leading_mistake(made: Sequence[PartMark]) -> str | None:
    """The mistake of the part that cost most."""
    named = [part for part in made if part.mistake]
    return max(named, key=lambda part: part.max_points - part.points).mistake if named else None


def _audit(
    question: Question,
    student: Any,
    retry: int,
    made: Sequence[PartMark],
    points: float,
    policy: Policy,
) -> str:
    variant = question.variant(student, retry)
    whose = variant.student or "no id (mid-range numbers)"
    numbers = ", ".join(f"{name} = {text}" for name, text in variant.shown.items()) or "fixed"
    steps = "; ".join(part.audit for part in made if part.audit)
    return (
        f"{question.id} for {whose}; numbers: {numbers}; {steps}; total {points:g} of {question.points:g}; "
        f"tolerance {policy.tolerance:.3g}, carried forward {'yes' if policy.carry_forward else 'no'}"
    )


def _audit_attempts(question: Question, given: Given, policy: Policy) -> str:
    count = len(given.attempts)
    if count < 2:
        return ""
    if policy.attempts != "before-reveal":
        return f"; {policy.attempts} of {count} attempts counts"
    kept = max(given.before_reveal, 1) if given.before_reveal is not None else count
    if question.mode == "practice" or kept == count:
        return f"; last of {count} attempts counts"
    later = f"{count - kept} made after the outcome was shown left aside"
    return f"; attempt {kept} of {count} counts, {later}"


def _nothing(question: Question, student: Any, reason: str, policy: Policy, released: bool) -> Mark:
    """Zero, with the reason. What each part was worth is still listed."""
    parts = tuple(PartMark.empty(part, worth) for part, worth in _worths(question))
    show = question.mode != "practice" and _may_show(question, policy, 0, False, released)
    return Mark(
        points=0.0,
        max_points=float(question.points),
        mistake=None,
        feedback=reason,
        working=worked(question, question.case(student)) if show else "",
        parts=parts,
        audit=f"{question.id}: {reason} 0 of {question.points:g}",
    )


def _manual(question: Question, given: Given) -> Mark:
    """A written explanation is read by a person; 0 stands until then."""
    parts = tuple(PartMark.empty(part, question.points if part.scored else 0.0) for part in question.parts)
    written = any(has_text(value) for attempt in given.attempts for value in attempt.values())
    return Mark(
        points=0.0,
        max_points=float(question.points),
        mistake=None,
        feedback=feedback.MANUAL if written else f"{feedback.MANUAL} So far there is nothing to read.",
        working="",
        parts=parts,
        audit=f"{question.id}: marked by a person against its rubric; 0 of {question.points:g} until then",
    )


# -- one part ----


def mark_part(
    part: Part, case: Case, reading: Reading | None, answered: Answered, worth: float, policy: Policy
) -> PartMark:
    """The PartMark of a part worth ``worth`` points."""
    if reading is None:
        return PartMark.empty(part, worth)
    if not part.scored:
        said = feedback.NEVER_MARKED if part.ask == "confidence" else ""
        return PartMark(part.id, part.label, 0.0, 0.0, False, reading.shown, None, said, "")
    if not reading.ok:
        audit = f"{part.id}: could not be read, 0 of {worth:g}"
        return PartMark(
            part.id, part.label, 0.0, worth, False, "", None, reading.message, audit, "unreadable"
        )
    verdict = ASKS[part.ask].judge(part, case, reading, answered, policy)
    points = worth if verdict.share == 1.0 else worth * verdict.share
    right = verdict.note in ("right", "carried")
    said = verdict.said or (
        feedback.right_part(verdict.note)
        if right
        else feedback.wrong_part(verdict.mistake, part.kind, part.quantity)
    )
    audit = f"{part.id} {_short(reading.value)}: {verdict.note}"
    audit += f" (consistent with {verdict.mistake})" if verdict.mistake else ""
    audit += " less figures" if verdict.figures_lost else ""
    audit += f", {points:.4g} of {worth:.4g}"
    audit += f" (its own tolerance {part.tolerance:.3g})" if part.tolerance else ""
    return PartMark(
        part.id,
        part.label,
        points,
        worth,
        right,
        reading.shown,
        verdict.mistake,
        said,
        audit,
        verdict.note,
        verdict.figures_lost,
    )


def _short(value: Any) -> str:
    text = f"{value:.6g}" if type(value) is float else repr(value)
    return text if len(text) <= 60 else text[:57] + "..."


# -- what was handed in ----


@dataclass(frozen=True)
class Given:
    """An answer taken apart: the attempts (part id -> raw value), oldest first, and what to say about
    them.

    ``before_reveal`` is how many of them were made before the outcome was shown, None where all were.
    """

    attempts: tuple[Mapping[str, Any], ...] = ()
    student: object = None
    problem: str = ""
    note: str = ""
    before_reveal: int | None = None


def take_apart(question: Question, answer: Any) -> Given:
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


def _of_json(question: Question, source: Any) -> Given:
    try:
        return _of_record(question, Record.from_json(source))
    except AnswerError as error:
        return Given(problem=f"The recorded answer could not be used: {error}.")


def _of_record(question: Question, record: Record) -> Given:
    if record.question != question.id:
        return Given(
            student=record.student,
            problem=f"The recorded answer belongs to question {record.question!r}, not to {question.id!r}.",
        )
    attempts = tuple(dict(attempt) for attempt in record.attempts)
    before = record.before_reveal if record.revealed_at is not None else None
    return Given(attempts, record.student, before_reveal=before)


def _of_value(question: Question, value: Any) -> Given:
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


def _single(question: Question) -> Part | None:
    scored = [part for part in question.parts if part.scored]
    return scored[0] if len(scored) == 1 else None
