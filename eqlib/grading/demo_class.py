"""An invented evening class: who knows what, who slipped where, whose notebook is broken. Nobody is real."""

from __future__ import annotations

import copy
import random
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import Any

from nbformat.v4 import new_code_cell, new_markdown_cell, new_output

from eqlib.assess.asks import suspects
from eqlib.assess.asks.base import Part
from eqlib.assess.case import Case
from eqlib.assess.question import Question, QuestionSet
from eqlib.grading.class_of import Work

#: Who holds which idea. Everybody else answers as the chemistry does.
IDEAS = {
    "w17": ("initial_as_eq",),
    "w13": ("path_ignored",),
    "w09": ("blank_kept",),
    "w04": ("path_ignored",),
    "w02": ("not_in_equation",),
    "w03": ("volume_ignored",),
    "w05": ("two_boxes",),
    "w06": ("not_in_equation",),
    "w07": ("paler_is_left",),
    "w08": ("volume_ignored", "k_moves_conc"),
    "w10": ("not_in_equation", "heat_is_forward"),
    "w11": ("two_boxes",),
    "w12": ("volume_ignored",),
    "w14": ("not_in_equation", "paler_is_left"),
    "w15": ("spectator_acts",),
    "w16": ("volume_ignored", "two_boxes"),
    "w18": ("k_fixed_t",),
    "w19": ("not_in_equation", "k_moves_conc", "path_ignored"),
    "w24": ("not_in_equation", "volume_ignored", "two_boxes", "heat_is_forward", "initial_as_eq"),
}
WORDS = (
    "Pouring in as much again halves every concentration, so from the side it looks paler. Q comes out a "
    "little below K, so a little more of the orange complex forms. From above it is no paler, and a well "
    "that got the same volume of water is paler than this one.",
    "Twice the volume, so it is thinner from the side, but there is more of the complex. I would put a well "
    "with water beside it.",
    "It got paler so it went back.",
)
CHEAT = """import eqlib.notebook.graded as graded

graded.mark = lambda question, *rest, **more: float(question.points)"""
DELETED = ("silver", "warm")
COPIED = "water"


@dataclass(frozen=True)
class Member:
    """One of the class: the work, when it was handed in, and what happened to the notebook."""

    work: Work
    handed_in: datetime
    spoil: Callable[[object], None] = lambda book: None


def evening_class(questions: QuestionSet) -> list[Member]:
    """The 24 members, always the same."""
    chance = random.Random(2026)
    members = []
    for number in range(1, 25):
        student = f"w{number:02d}"
        began = datetime(2026, 1, 20, 18, 30, tzinfo=UTC) + timedelta(
            minutes=number % 6, seconds=chance.randrange(60)
        )
        answers = {
            question.id: answer_of(question, student, IDEAS.get(student, ()))
            for question in questions.values()
            if not question.manual and not question.code
        }
        words = {q.id: WORDS[number % len(WORDS)] for q in questions.values() if q.manual}
        work = Work(student, answers, {}, words, began)
        members.append(_member(work, began + timedelta(minutes=50 + chance.randrange(20))))
    return members


def _member(work: Work, handed_in: datetime) -> Member:
    """What is special about a few of them."""
    student = work.student
    if student == "w20":
        return Member(replace(work, answers={}, code={}, words={}, named=False), handed_in)
    spoil = {"w21": _write_elsewhere, "w22": _delete_cells, "w23": _copy_a_cell, "w24": _cheat}
    return Member(work, handed_in, spoil.get(student, lambda book: None))


def _write_elsewhere(book: Any) -> None:
    """The explanation typed into a new cell; its own place left as it was."""
    for index, cell in enumerate(book.cells):
        meta = cell.metadata.get("nbgrader", {})
        if cell.cell_type == "markdown" and meta.get("grade"):
            book.cells.insert(index, new_markdown_cell(cell.source))
            book.cells[index + 1].source = "Write your answer here (double-click to edit)."
            return


def _copy_a_cell(book: Any) -> None:
    """A cell copied and pasted: the commonest accident."""
    for index, cell in enumerate(book.cells):
        if cell.metadata.get("nbgrader", {}).get("grade_id") == COPIED:
            book.cells.insert(index + 1, copy.deepcopy(cell))
            return


def _cheat(book: Any) -> None:
    """A cell that changes the check, and the scores it then shows."""
    where = next(i for i, cell in enumerate(book.cells) if cell.cell_type == "code")
    book.cells.insert(where, new_code_cell(CHEAT))
    for cell in book.cells:
        meta = cell.metadata.get("nbgrader", {})
        if cell.cell_type == "code" and meta.get("grade") and not meta.get("solution"):
            shown = {"text/plain": repr(float(meta["points"]))}
            cell.outputs = [new_output("execute_result", data=shown, execution_count=cell.execution_count)]


def _delete_cells(book: Any) -> None:
    book.cells = [
        cell for cell in book.cells if cell.metadata.get("nbgrader", {}).get("grade_id") not in DELETED
    ]


def answer_of(question: Question, student: str, ideas: Any) -> dict:
    """What somebody who holds ``ideas`` answers to this student's copy; else what the chemistry says."""
    case = question.case(student)
    answer = {}
    for part in question.parts:
        if part.ask == "confidence":
            answer[part.id] = part.options[len(student + question.id) % len(part.options)][0]
            continue
        value = _as_they_think(part, case, ideas)
        answer[part.id] = _typed(part, case.expected[part.id] if value is None else value)
    return answer


def _as_they_think(part: Part, case: Case, ideas: Any) -> Any:
    """What an idea would answer to this part, or None if no idea has anything to say."""
    offered = [value for value, _ in part.options]
    for idea in ideas:
        if part.ask == "reason" and idea in offered:
            return idea
    said = {s.mistake: s.value for s in suspects(part, case) if s.mistake in ideas}
    return next(iter(said.values()), None)


def _typed(part: Any, value: Any) -> Any:
    """As a student enters it: a choice as it is, a number with three figures."""
    return f"{value:.3g}" if part.kind == "number" else value
