"""Mark an answer from the chemistry of the student's own numbers.

A mark depends on the question, the answer, the student and the policy, and on nothing else: marking again
after a question was corrected gives what marking for the first time would have given. Whatever object is
handed in as an answer, ``mark`` returns a Mark. The order never changes: right is tested first, then carried
forward, then mistakes.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from types import MappingProxyType
from typing import Any

from eqlib.assess import feedback
from eqlib.assess.asks import ASKS
from eqlib.assess.asks.base import Answered, Part, Verdict
from eqlib.assess.mistakes import MISTAKES
from eqlib.assess.question import Case, Policy, Question, normal_id
from eqlib.assess.reading.plain import Reading, Unreadable, refused, type_name
from eqlib.assess.records.record import MAX_RECORD, AnswerError, Record, has_text
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
    ``counted``  the answer that counted, as it was recorded: part id -> value.
    """

    points: float
    max_points: float
    mistake: str | None
    feedback: str
    working: str
    parts: tuple[PartMark, ...]
    audit: str
    set_of: int = 0
    counted: Mapping[str, Any] = field(default_factory=dict, repr=False, compare=False)

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
    hints = question.hints if released and best.points < best.max_points else ()
    said = "\n".join([best.feedback, *map(feedback.think_about, hints)])
    return replace(best, audit=audit, working=working, feedback=said)


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
    readings = read(question, case, attempt)
    verdicts = judge(question, case, readings, policy)
    said = [reading.value for reading in readings.values() if reading is not None]
    made = [
        mark_part(part, readings[part.id], verdicts.get(part.id), worth) for part, worth in _worths(question)
    ]
    points = _total(made, question.points)
    return Mark(
        points=points,
        max_points=float(question.points),
        mistake=_leading_mistake(made, said),
        feedback=feedback.whole(question, made, points),
        working="",
        parts=tuple(made),
        audit=_audit(question, student, retry, made, points, policy),
        set_of=retry,
        counted=dict(attempt),
    )


def read(question: Question, case: Case, attempt: Mapping[str, Any]) -> dict[str, Reading | None]:
    """The Reading of every part of an attempt (part id -> raw value); None where nothing was answered."""
    names = tuple(case.reaction.coefficients) if case.reactions else ()
    return {part.id: _read(part, attempt, names) for part in question.parts}


def judge(
    question: Question, case: Case, readings: Mapping[str, Reading | None], policy: Policy
) -> dict[str, Verdict]:
    """The Verdict of every scored part that could be read, the answer looked at as a whole."""
    given = {name: reading for name, reading in readings.items() if reading is not None and reading.ok}
    values = {name: reading.value for name, reading in given.items()}
    verdicts: dict[str, Verdict] = {}
    for number, part in enumerate(question.parts):
        if part.id in values and part.scored:
            earlier = [other.id for other in question.parts[:number]] if policy.carry_forward else []
            answered = Answered(
                MappingProxyType({name: value for name, value in values.items() if name != part.id}),
                MappingProxyType({name: values[name] for name in earlier if name in values}),
                any(done.figures_lost for done in verdicts.values()),
            )
            verdicts[part.id] = ASKS[part.ask].judge(part, case, given[part.id], answered, policy)
    return verdicts | coherent(case, values, verdicts)


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


def read_part(part: Part, raw: Any, species: tuple[str, ...] = ()) -> Reading:
    """One answer to ``part``, from whatever was clicked, typed or computed, as a plain value. Never raises: a
    Reading that is not ``ok`` says in its ``message`` what was seen and what would do. ``species``: canonical
    names of the reaction's; without them an expression's brackets are checked only when it is marked.
    """
    try:
        return ASKS[part.ask].read(part, raw, species)
    except Unreadable as problem:
        return refused(str(problem))
    except RecursionError:
        return refused("The answer is nested too deeply to be read. A number or a few words are wanted.")


def _total(made: Sequence[PartMark], most: float) -> float:
    if all(part.points == part.max_points for part in made):
        return float(most)
    return min(max(round(math.fsum(part.points for part in made), 6), 0.0), float(most))


def _leading_mistake(made: Sequence[PartMark], said: Collection[Any]) -> str | None:
    """The mistake that cost most; of several the one that was said outright, as a reason."""
    cost: dict[str, float] = {}
    for part in made:
        if part.mistake:
            cost[part.mistake] = cost.get(part.mistake, 0.0) + part.max_points - part.points
    return max(cost, key=lambda mistake: (round(cost[mistake], 6), mistake in said), default=None)


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
    show = question.mode != "practice" and policy.working and released
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


def mark_part(part: Part, reading: Reading | None, verdict: Verdict | None, worth: float) -> PartMark:
    """The PartMark of a part worth ``worth`` points."""
    if reading is None:
        return PartMark.empty(part, worth)
    if not part.scored:
        return PartMark(part.id, part.label, 0.0, 0.0, False, reading.shown, None, "", "")
    if verdict is None:
        audit = f"{part.id}: could not be read, 0 of {worth:g}"
        return PartMark(
            part.id, part.label, 0.0, worth, False, "", None, reading.message, audit, "unreadable"
        )
    points = worth if verdict.share == 1.0 else worth * verdict.share
    right = verdict.note in ("right", "carried")
    said = verdict.said or (
        feedback.right_part(verdict.note)
        if right
        else feedback.consistent_with(verdict.mistake)
        if verdict.mistake
        else ASKS[part.ask].not_yet(part)
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


# -- the answer as a whole --------------------------------------------------------------------------------

#: Ideas that any wrong guess of a direction looks like.
_GUESSES = ("q_reversed", "paler_is_left")


def coherent(case: Case, said: Mapping[str, Any], verdicts: Mapping[str, Verdict]) -> dict[str, Verdict]:
    """The verdicts of wrong choices once the answer is looked at as a whole.

    A wrong direction with what follows from it is one wrong idea. A misconception is named only where it
    explains more of the answer than the wrong direction by itself does; else what followed is said to follow.
    """
    parts = {part.id: part for part in case.parts if part.id in verdicts and part.kind == "choice"}
    asked = next((part for part in parts.values() if part.ask == "direction"), None)
    if asked is None or verdicts[asked.id].note != "wrong":
        return {}
    wrong = {name: part for name, part in parts.items() if verdicts[name].note == "wrong"}
    plain = {name: ASKS[part.ask].if_went(part, case, said[asked.id]) for name, part in parts.items()}
    alone = _fit(plain, said, wrong)
    changed: dict[str, Verdict] = {}
    named = _best_idea(case, said, verdicts, parts, wrong, alone)
    outright = next(
        (said[n] for n, part in parts.items() if part.ask == "reason" and said[n] in MISTAKES), None
    )
    sound = any(part.ask == "reason" and verdicts[n].note == "right" for n, part in parts.items())
    for name, part in wrong.items():
        verdict = verdicts[name]
        if said[name] in MISTAKES:
            continue  # what was said is the idea
        if named is not None and said[name] in named[1].get(name, ()):
            changed[name] = replace(verdict, mistake=named[0])
        elif said[name] in plain[name] and (named is None or (part is asked and verdict.mistake in _GUESSES)):
            way = feedback.NOT_WITH_REASON if sound else feedback.NOT_YET
            changed[name] = replace(verdict, mistake=None, said=way if part is asked else feedback.FOLLOWS)
        if part is asked and said[name] == "none" and sound:  # no idea of standing still beside a cause
            changed[name] = replace(verdict, mistake=None, said=feedback.NOT_WITH_REASON)
        other = changed.get(name, verdict).mistake not in (None, outright)
        if outright and other and said[name] in plain[name]:  # the reason says why; this follows from it
            words = feedback.NOT_YET if part is asked else feedback.FOLLOWS
            changed[name] = replace(verdict, mistake=None, said=words)
    return changed


def _best_idea(
    case: Case,
    said: Mapping[str, Any],
    verdicts: Mapping[str, Verdict],
    parts: Mapping[str, Part],
    wrong: Mapping[str, Part],
    alone: int,
) -> tuple[str, dict[str, set[Any]]] | None:
    """The misconception that explains the answer better than the wrong direction alone, with what it says."""
    says: dict[str, dict[str, set[Any]]] = {}
    for name, part in parts.items():
        others = {key: value for key, value in said.items() if key != name}
        for suspect in ASKS[part.ask].suspects(part, case, others):
            says.setdefault(suspect.mistake, {}).setdefault(name, set()).add(suspect.value)
        if part.ask == "reason" and verdicts[name].mistake is not None:
            says.setdefault(verdicts[name].mistake or "", {}).setdefault(name, set()).add(said[name])
    asked = next(part.id for part in parts.values() if part.ask == "direction")
    for answers in says.values():  # an idea about the direction brings with it what follows from that
        for way in list(answers.get(asked, ())):
            for name, part in parts.items():
                answers.setdefault(name, set()).update(ASKS[part.ask].if_went(part, case, way))
    offered = {value for part in parts.values() if part.ask == "reason" for value, _ in part.options}
    ranked = []
    for idea, answers in says.items():
        # A rule about the way the reaction goes shows in the way that was said; others may show elsewhere.
        where = [asked] if idea in _GUESSES else wrong
        if not any(said[name] in answers.get(name, ()) for name in where):
            continue
        if idea in _GUESSES and idea in offered and idea not in said.values():
            continue  # it stood there as a reason, and another was chosen
        fit = _fit(answers, said, wrong)
        seen = [name for name, part in parts.items() if part.ask == "seen" and name not in wrong]
        premise = idea == "paler_is_left" and any(said[name] == "paler" for name in seen)
        own_Q = idea == "q_reversed"  # suspected only of an answer that goes against its own Q
        if fit > alone or (fit == alone and (idea not in _GUESSES or premise or own_Q)):
            ranked.append((fit, idea))
    if not ranked:
        return None
    best = max(fit for fit, _ in ranked)
    idea = next(idea for fit, idea in ranked if fit == best)
    return idea, says[idea]


def _fit(answers: Mapping[str, set[Any]], said: Mapping[str, Any], wrong: Mapping[str, Part]) -> int:
    """How many wrong parts these answers explain, less those on which they would say otherwise."""
    return sum(1 if said[name] in answers[name] else -1 for name in wrong if answers.get(name))


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
