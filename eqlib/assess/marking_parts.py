"""Judge one part: right, right from one's own earlier value, or wrong and consistent with a known idea.

The order never changes: right is tested first, then carried forward, then mistakes.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from eqlib.assess import feedback
from eqlib.assess.kinds import ICE_ROWS
from eqlib.assess.outcome_parts import expected_of
from eqlib.errors import EqlibError


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
    def empty(cls, part, worth: float) -> PartMark:
        """A part without an answer."""
        said = feedback.MISSING if worth else ""
        audit = f"{part.id}: no answer, 0 of {worth:g}" if worth else ""
        return cls(part.id, part.label, 0.0, worth, False, "", None, said, audit)


@dataclass(frozen=True)
class _Verdict:
    share: float
    note: str
    mistake: str | None = None
    said: str = ""
    figures_lost: bool = False


def mark_part(part, problem, reading, own, worth: float, policy, figures_spent: bool) -> PartMark:
    """The PartMark of a part worth ``worth`` points. ``own``: the student's earlier values, by part id."""
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
    verdict = _judge(part, problem, reading, own if policy.carry_forward else {}, policy, figures_spent)
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


def _short(value) -> str:
    text = f"{value:.6g}" if type(value) is float else repr(value)
    return text if len(text) <= 60 else text[:57] + "..."


def _judge(part, problem, reading, own, policy, figures_spent) -> _Verdict:
    if part.kind == "number":
        return _number(part, problem, reading, own, policy, figures_spent)
    if part.kind == "table":
        return _table(part, problem, reading.value, policy)
    if part.kind == "order":
        return _order(part, problem, reading.value)
    if part.kind in ("equation", "expression"):
        return _typed(part, problem, reading.value)
    if reading.value == problem.expected:
        return _Verdict(1.0, "right")
    if own and part.ask == "direction" and reading.value == _carried(part, problem, own):
        return _Verdict(1.0, "carried")
    return _Verdict(0.0, "wrong", choice_mistake(part, problem, reading.value))


def choice_mistake(part, problem, value) -> str | None:
    """The misconception a wrong choice is consistent with."""
    from eqlib.assess.mistakes import MISTAKES, suspects

    if part.ask == "reason":
        if value in MISTAKES:
            return value
        return _reason_mistake(value, problem.expected)
    return next((found.mistake for found in suspects(problem) if found.value == value), None)


def _reason_mistake(value: str, expected) -> str | None:
    """What a sound sentence, said where it does not hold, is consistent with."""
    if value.startswith("binds:"):
        return "wrong_target" if str(expected).startswith("binds:") else None
    if {value, expected} == {"k_rises", "k_falls"}:
        return "heat_is_forward"
    if value == "q_equals_K" and expected in ("q_below_K", "q_above_K"):
        return "q_is_k"
    return None


def close(value: float, expected: float, relative: float) -> bool:
    """Is ``value`` within a relative distance of ``expected``? (For 0: within 1e-12.)"""
    return math.isfinite(expected) and abs(value - expected) <= relative * abs(expected) * (
        1 + 1e-9
    ) + 1e-300 + (1e-12 if expected == 0 else 0.0)


def _number(part, problem, reading, own, policy, figures_spent) -> _Verdict:
    value, tolerance = float(reading.value), part.tolerance or policy.tolerance
    if _right_number(value, problem.expected, tolerance, reading, part, policy):
        return _with_figures(part, reading, policy, figures_spent, "right")
    carried = _carried(part, problem, own) if own else None
    if type(carried) is float and _right_number(value, carried, tolerance, reading, part, policy):
        return _with_figures(part, reading, policy, figures_spent, "carried")
    return _Verdict(0.0, "wrong", number_mistake(problem, value, reading, policy))


def _right_number(value, expected, tolerance, reading, part, policy) -> bool:
    """Within the tolerance, or the right value properly rounded to the figures typed (not fewer than
    allowed).
    """
    if close(value, expected, tolerance):
        return True
    return _rounded_alike(value, expected, reading, fewest=(part.figures or policy.figures)[0])


def _rounded_alike(value, expected, reading, fewest) -> bool:
    figures = getattr(reading, "figures", None)
    if not figures or figures[1] < fewest or not math.isfinite(expected) or expected == 0:
        return False
    return any(
        close(value, float(f"{expected:.{count - 1}e}"), 1e-9)
        for count in range(max(figures[0], fewest), figures[1] + 1)
    )


def _with_figures(part, reading, policy, spent, note) -> _Verdict:
    """One deduction for figures in a question, stated. Values from code have no typed figures to count."""
    figures, allowed = getattr(reading, "figures", None), part.figures or policy.figures
    if not figures or part.code or spent or not policy.figures_deduction:
        return _Verdict(1.0, note)
    share = 1.0 - policy.figures_deduction
    if figures[0] > allowed[1]:
        return _Verdict(share, note, "excess_digits", feedback.TOO_MANY_FIGURES, True)
    if figures[1] < allowed[0]:
        return _Verdict(share, note, None, feedback.TOO_FEW_FIGURES, True)
    return _Verdict(1.0, note)


def number_mistake(problem, value: float, reading, policy) -> str | None:
    """The mistake a wrong number is consistent with, if any."""
    from eqlib.assess.mistakes import name_mistake, suspects

    tolerance = problem.part.tolerance or policy.tolerance
    figures = getattr(reading, "figures", None)
    return name_mistake(value, suspects(problem), problem.expected, tolerance, policy.window, figures).mistake


def _carried(part, problem, own):
    """What this part should be, going on from the student's own earlier values; None where that has no
    meaning.
    """
    try:
        return expected_of(part, problem, own)
    except (EqlibError, ZeroDivisionError, OverflowError):
        return None


def _table(part, problem, value, policy) -> _Verdict:
    """Each place counts alike. The E row may follow from the student's own I and C rows; places in x count
    too.
    """
    tolerance = part.tolerance or policy.tolerance
    right = carried = 0
    for name in part.columns:
        own = {row: _cell(value, row, name) for row in ICE_ROWS}
        nu = float(problem.reaction.coefficients[name])
        for row in ICE_ROWS:
            if own[row] is None:
                continue
            if _same_place(own[row], problem.expected[row][name], _in_x(problem, row, name, nu), tolerance):
                right += 1
            elif row == "equilibrium" and None not in own.values() and policy.carry_forward:
                carried += _follows(own, tolerance)
    places = len(ICE_ROWS) * len(part.columns)
    if right + carried == places:
        return _Verdict(1.0, "carried" if carried else "right")
    mistake = table_mistake(problem, value)
    said = feedback.HALFWAY.format(right=right + carried, all=places)
    if mistake:
        said += " " + feedback.wrong_part(mistake).removeprefix(feedback.NOT_YET).strip()
    return _Verdict((right + carried) / places, "partly" if right + carried else "wrong", mistake, said)


def _cell(value, row, name):
    """A place of a table as a straight line in x (a plain number has no x in it), or None if it is empty."""
    from eqlib.assess.reading.tables import linear

    return linear(value.get(row, {}).get(name))


def _in_x(problem, row, name, nu) -> tuple[float, float]:
    """What the place is before x is known: (constant, multiple of x)."""
    constant = 0.0 if row == "change" else problem.mixed.get(name, 0.0)
    return constant, 0.0 if row == "initial" else nu


def _same_place(cell, number: float, in_x, tolerance) -> bool:
    if cell.multiple:
        return close(cell.constant, in_x[0], tolerance) and close(cell.multiple, in_x[1], tolerance)
    return close(cell.constant, number, tolerance)


def _follows(own, tolerance) -> bool:
    """Is E = I + C, with the student's own I and C, and nothing below zero?"""
    constant = own["initial"].constant + own["change"].constant
    multiple = own["initial"].multiple + own["change"].multiple
    end = own["equilibrium"]
    return (
        close(end.constant, constant, tolerance)
        and close(end.multiple, multiple, tolerance)
        and end.constant >= 0
    )


def table_mistake(problem, value) -> str | None:
    """The mistake whose table this is."""
    from eqlib.assess.mistakes import table_mistake as found

    return found(problem, value)


def _order(part, problem, value) -> _Verdict:
    """All in order, or the share of pairs in order beyond what chance gives."""
    if value == problem.expected:
        return _Verdict(1.0, "right")
    place = {label: number for number, label in enumerate(problem.expected)}
    if sorted(value) != sorted(place):
        return _Verdict(0.0, "wrong")
    pairs = [(place[a], place[b]) for n, a in enumerate(value) for b in value[n + 1 :]]
    ordered = sum(a < b for a, b in pairs)
    share = max(0.0, 2.0 * ordered / len(pairs) - 1.0)
    return _Verdict(share, "partly" if share else "wrong", _order_mistake(part, problem, value))


def _order_mistake(part, problem, value) -> str | None:
    """An order of speeds that only follows the constants."""
    from eqlib.assess.mistakes_rates import speed_mistake
    from eqlib.assess.outcome_setting import value_of

    if part.ask != "speed":
        return None
    constants = {item["label"]: value_of(item["K"], problem.numbers) for item in part.items}
    return speed_mistake(value, constants)


def _typed(part, problem, value) -> _Verdict:
    """A balanced equation or an equilibrium expression, compared by meaning."""
    from eqlib.assess.marking_typed import (
        expression_verdict,
        runs_backwards,
        same_equation,
        unequal_count,
    )

    if part.kind == "expression":
        right, mistake = expression_verdict(problem, value)
        return _Verdict(1.0, "right") if right else _Verdict(0.0, "wrong", mistake)
    factor = same_equation(problem.expected, value)
    if not factor:
        said = unequal_count(part.skeleton, value)
        if not said and runs_backwards(problem.expected, value):
            said = feedback.OTHER_WAY_ROUND
        return _Verdict(0.0, "wrong", None, said)
    return _Verdict(1.0, "right", None, "" if factor == 1 else feedback.MULTIPLE)
