"""Mark an answer from the chemistry of the student's own numbers.

A mark depends on the question, the answer, the student and the policy, and on nothing else: marking again
after a question was corrected gives what marking for the first time would have given. Whatever object is
handed in as an answer, ``mark`` returns a Mark.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType

from eqlib.assess import feedback
from eqlib.assess.marking_given import RETRY, Given, take_apart
from eqlib.assess.marking_parts import PartMark, mark_part
from eqlib.assess.policy import Policy
from eqlib.assess.reading import read_part
from eqlib.assess.records.record import has_text
from eqlib.assess.variants import normal_id

_MOST_RETRIES = 1000


@dataclass(frozen=True)
class Mark:
    """A mark and how it came about.

    ``points``   a finite built-in float in [0, max_points].
    ``mistake``  id of the misconception the answer is consistent with, or None.
    ``feedback`` what to tell the student (markdown); a hint, not the answer.
    ``working``  the worked solution (markdown), or "" while the question does not allow it.
    ``parts``    a PartMark for every part of the question.
    ``audit``    one line that says exactly how the points came about.
    """

    points: float
    max_points: float
    mistake: str | None
    feedback: str
    working: str
    parts: tuple[PartMark, ...]
    audit: str

    def __post_init__(self):
        good = type(self.points) is float and math.isfinite(self.points)
        if not good or not 0.0 <= self.points <= self.max_points:
            raise AssertionError(f"a mark of {self.points!r} out of {self.max_points!r} cannot be")


def mark(
    question, answer, student=None, policy=None, *, released: bool = True, retry: int | None = None
) -> Mark:
    """The Mark of ``answer`` to ``question``.

    ``answer``   None, a single value (question with one part), a dict of part id -> value, a Record or its
    JSON.
    ``student``  whose numbers to mark with; default, the id in the record, else nobody's (mid-range).
    ``policy``   a Policy, or a dict of the rules to change; default, the question's.
    ``released`` False before hand-in of assessed work: the worked solution is then kept back.
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
    return replace(best, audit=audit, working=best.working if show else "")


def _other_id(recorded, used) -> str:
    """A remark for the audit line when an answer was recorded under another id than it is marked with."""
    if recorded is None or normal_id(recorded) == normal_id(used):
        return ""
    return f"; recorded under the id {recorded!r}, so with that id's numbers in view"


def _policy(question, policy) -> Policy:
    if policy is None:
        return question.policy
    return policy if isinstance(policy, Policy) else question.policy.changed(**policy)


def _counted(question, given: Given, policy: Policy):
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


def _may_show(question, policy, attempts: int, right: bool, released: bool) -> bool:
    """Practice shows the working after some attempts or a right answer; assessed work once it is marked."""
    if not policy.working:
        return False
    if question.mode == "practice":
        return right or attempts >= policy.working_after
    return released


def _mark_attempt(question, attempt: Mapping, student, policy: Policy, retry) -> Mark:
    if retry is None:
        retry = _retry_of(question, attempt)
    outcome = question.outcome(student, retry)
    names = _species(outcome.problem)
    readings = {part.id: _read(part, attempt, names) for part in question.parts}
    values = {name: reading.value for name, reading in readings.items() if reading is not None and reading.ok}
    total = sum(part.weight for part in question.parts if part.scored)
    made: list[PartMark] = []
    earlier: dict[str, object] = {}
    for part in question.parts:
        worth = question.points * part.weight / total if part.scored else 0.0
        problem = replace(
            outcome.problem,
            part=part,
            expected=outcome.expected.get(part.id),
            answers=MappingProxyType({name: value for name, value in values.items() if name != part.id}),
        )
        spent = any(done.figures_lost for done in made)
        made.append(
            mark_part(part, problem, readings[part.id], MappingProxyType(dict(earlier)), worth, policy, spent)
        )
        if part.id in values:
            earlier[part.id] = values[part.id]
    points = _total(made, question.points)
    return Mark(
        points=points,
        max_points=float(question.points),
        mistake=_leading_mistake(made),
        feedback=feedback.whole(question, made, points),
        working=outcome.working,
        parts=tuple(made),
        audit=_audit(question, student, retry, made, points, policy),
    )


def _retry_of(question, attempt) -> int:
    """Only practice gives fresh numbers; assessed work is always marked with the first set."""
    asked = attempt.get(RETRY)
    if question.mode != "practice" or type(asked) is not int or not 0 <= asked <= _MOST_RETRIES:
        return 0
    return asked


def _species(problem) -> tuple[str, ...]:
    """The names an equilibrium expression may hold."""
    return tuple(problem.reaction.coefficients) if problem.reactions else ()


def _read(part, attempt, names=()):
    """The Reading of a part, or None when nothing was answered."""
    raw = attempt.get(part.id)
    if raw is None or (issubclass(type(raw), str) and not str.strip(raw)):
        return None
    return read_part(part, raw, names)


def _total(made, most: float) -> float:
    if all(part.points == part.max_points for part in made):
        return float(most)
    return min(max(round(math.fsum(part.points for part in made), 6), 0.0), float(most))


def _leading_mistake(made) -> str | None:
    """The mistake of the part that cost most."""
    named = [part for part in made if part.mistake]
    return max(named, key=lambda part: part.max_points - part.points).mistake if named else None


def _audit(question, student, retry, made, points, policy) -> str:
    variant = question.variant(student, retry)
    whose = variant.student or "no id (mid-range numbers)"
    numbers = ", ".join(f"{name} = {text}" for name, text in variant.shown.items()) or "fixed"
    steps = "; ".join(part.audit for part in made if part.audit)
    return (
        f"{question.id} for {whose}; numbers: {numbers}; {steps}; total {points:g} of {question.points:g}; "
        f"tolerance {policy.tolerance:.3g}, carried forward {'yes' if policy.carry_forward else 'no'}"
    )


def _audit_attempts(question, given: Given, policy: Policy) -> str:
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


def _nothing(question, student, reason: str, policy, released) -> Mark:
    """Zero, with the reason. What each part was worth is still listed."""
    total = sum(part.weight for part in question.parts if part.scored)
    parts = tuple(
        PartMark.empty(part, question.points * part.weight / total if part.scored else 0.0)
        for part in question.parts
    )
    show = question.mode != "practice" and _may_show(question, policy, 0, False, released)
    return Mark(
        points=0.0,
        max_points=float(question.points),
        mistake=None,
        feedback=reason,
        working=question.outcome(student).working if show else "",
        parts=parts,
        audit=f"{question.id}: {reason} 0 of {question.points:g}",
    )


def _manual(question, given: Given) -> Mark:
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
