"""Kc of a class from what was handed in: the table of readings that each student recorded."""

from __future__ import annotations

import contextlib
import os
from pathlib import Path

from eqlib.assess.asks.practical import simulated
from eqlib.assess.records import Collected
from eqlib.errors import EqlibError
from eqlib.grading.course import Course
from eqlib.grading.intake import UnreadableNotebook, collect_files, read_notebook, submitted
from eqlib.grading.submission import answers_in
from eqlib.lab.practical.faults import Group, group_of, marked


def class_handed_in(course: str | Path, assignment: str) -> tuple[tuple[Group, ...], int]:
    """(the groups with readings of their own, how many worked on the simulated instrument's).

    Simulated readings are left out: each student's have another Kc on purpose. Raises EqlibError when the
    assignment asks for no readings or nobody has handed in any.
    """
    opened = Course.open(course)
    asked = [
        (question, part)
        for question in opened.questions(assignment).values()
        for part in question.parts
        if part.ask == "readings"
    ]
    if not asked:
        raise EqlibError(f"{assignment} asks for no table of readings, so there are no values to compare")
    question, part = asked[0]
    groups, on_simulated = [], 0
    for student, places in submitted(opened.root, assignment):
        record = _records(student, places, assignment).get(question.id)
        table = record.answer.get(part.id) if record is not None else None
        if not isinstance(table, str) or not table.strip():
            continue
        if table.split() == simulated(question.case(student)).split():
            on_simulated += 1
        else:
            groups.append(group_of(student, table))
    if not groups and not on_simulated:
        raise EqlibError(f"submitted/ holds no readings for {assignment}; were its notebooks collected?")
    return marked(groups), on_simulated


def _records(student: str, places: list[Path], assignment: str) -> Collected:
    """What is recorded in a student's notebook, the one with most answers, and in the journals beside it."""
    files = collect_files(student, places).files
    books: list[dict] = [{}]
    for name, data in files.items():
        if name.endswith(".ipynb"):
            with contextlib.suppress(UnreadableNotebook):  # its marking says so; here only readings count
                books.append(read_notebook(os.path.basename(name), data))
    return max((answers_in(book, files, assignment) for book in books), key=len)
