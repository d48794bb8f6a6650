"""What only the instructor has: rubrics and hints of assessed questions.

They stand in ``instructor/<assignment>.toml`` of the course, beside ``source/``, and are never released. One
table a question::

    [explain]                                   # the question's id
    rubric = ["1/2 point: what the added ions did.", "1/2 point: Q beside K."]
    hints = ["Which ion is new to the well?"]   # for talking it over

On a student's computer the file is not there, and the questions have neither.
"""

from __future__ import annotations

import tomllib
from dataclasses import replace
from pathlib import Path

from eqlib.assess.question import Question, QuestionSet
from eqlib.assess.tables import QuestionError, near

KEYS = ("rubric", "hints")


def notes_path(questions: QuestionSet) -> Path | None:
    """Where the instructor's file of these questions stands, if they come from a course's folder."""
    if questions.path is None:
        return None
    path = questions.path.resolve()
    name = f"{questions.assignment.id}.toml"
    return path.parents[2] / "instructor" / name if len(path.parents) > 2 else None


def with_notes(questions: QuestionSet) -> QuestionSet:
    """The questions with what the instructor's file says, if there is one. Raises QuestionError."""
    path = notes_path(questions)
    if path is None or not path.is_file():
        return questions
    name = f"instructor/{path.name}"
    try:
        data = tomllib.loads(path.read_text("utf-8"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise QuestionError(f"{name}: not readable as TOML: {error}") from None
    strangers = [key for key in data if key not in questions]
    faults = [f"{name}: there is no question {key!r}{near(key, questions)}" for key in strangers]
    noted = []
    for question in questions.values():
        table = data.get(question.id, {})
        wrong = _faults(question, table, f"{name}: [{question.id}]")
        faults += wrong
        noted.append(question if wrong else _noted(question, table))
    if faults:
        raise QuestionError(*faults)
    return QuestionSet(questions.assignment, noted, questions.path)


def _faults(question: Question, table: object, where: str) -> list[str]:
    if not isinstance(table, dict):
        return [f"{where} is {table!r}; write a table with rubric and hints"]
    faults = [f"{where}: there is no key {key!r}{near(key, KEYS)}" for key in table if key not in KEYS]
    for key in set(KEYS) & set(table):
        if not isinstance(table[key], list) or not all(isinstance(t, str) and t.strip() for t in table[key]):
            faults.append(f"{where}: {key} should be a list of texts")
    if "rubric" in table and not any(part.ask == "explain" for part in question.parts):
        faults.append(f"{where}: rubric belongs to a written explanation; remove it here")
    return faults


def _noted(question: Question, table: dict) -> Question:
    rubric = tuple(table.get("rubric", ()))
    parts = tuple(replace(p, rubric=rubric or p.rubric) if p.ask == "explain" else p for p in question.parts)
    return replace(question, parts=parts, hints=(*question.hints, *table.get("hints", ())))
