"""Does a source notebook ask each question once, for its points, with nothing left in it that students must
not see?
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable
from typing import Any

from eqlib.assess.question import QuestionSet
from eqlib.assess.records.record import MIME

BEGIN, END = "### BEGIN SOLUTION", "### END SOLUTION"
_TELLING = re.compile(r"\.outcome\(|\.expected\b|\.working\b")

#: Something wrong: where, and a line that says what.
Fault = tuple[str, str]


def check_notebook(notebook: dict[str, Any], questions: QuestionSet) -> tuple[list[Fault], set[str]]:
    """(everything wrong, ids of the questions this notebook asks)."""
    lines: list[Fault] = []
    cells = [cell if isinstance(cell, dict) else {} for cell in notebook["cells"]]
    ids: Counter[str] = Counter()
    used = set()
    for number, cell in enumerate(cells, start=1):
        meta = nbgrader_of(cell)
        name = str(meta.get("grade_id", ""))
        if name:
            ids[name] += 1
        lines += _left_behind(cell, number)
        lines += _solution_marks(cell, meta, number)
        if meta.get("grade"):
            used.add(name)
            lines += _graded(cell, meta, name, number, questions)
    for name, count in ids.items():
        if count > 1:
            lines.append(
                (
                    f"cell {name!r}",
                    f"stands {count} times; a grade_id must be unique, so rename or remove one",
                )
            )
    lines += _kept_records(notebook)
    lines += _order(cells, used & set(questions))
    lines += _points(cells, questions)
    return lines, used


def nbgrader_of(cell: dict[str, Any]) -> dict[str, Any]:
    """The nbgrader metadata of a cell, or an empty table."""
    meta = cell.get("metadata", {})
    found = meta.get("nbgrader", {}) if isinstance(meta, dict) else {}
    return found if isinstance(found, dict) else {}


def source_of(cell: dict[str, Any]) -> str:
    """The text of a cell."""
    text = cell.get("source", "")
    return "".join(text) if isinstance(text, list) else str(text)


def _left_behind(cell: dict[str, Any], number: int) -> list[Fault]:
    if cell.get("cell_type") != "code":
        return []
    if cell.get("outputs"):
        kept = any(MIME in output.get("data", {}) for output in cell["outputs"] if isinstance(output, dict))
        what = "a recorded answer" if kept else "an output"
        return [(f"cell {number}", f"{what} is saved in it; clear all outputs before committing")]
    if cell.get("execution_count") is not None:
        return [(f"cell {number}", "it carries an execution number; clear all outputs before committing")]
    return []


def _solution_marks(cell: dict[str, Any], meta: dict[str, Any], number: int) -> list[Fault]:
    text = source_of(cell)
    begins, ends = text.count(BEGIN), text.count(END)
    where = f"cell {number}"
    if begins != ends:
        return [
            (
                where,
                f"has {begins} {BEGIN!r} and {ends} {END!r}; each "
                "needs the other, or the solution is released",
            )
        ]
    if begins and not meta.get("solution"):
        return [(where, "holds a solution but is not a solution cell, so the solution would be released")]
    if (
        cell.get("cell_type") == "code"
        and meta.get("solution")
        and not begins
        and "NotImplementedError" not in text
    ):
        return [(where, f"is a solution cell without {BEGIN!r}; nbgrader would release or drop all of it")]
    if cell.get("cell_type") == "code" and _TELLING.search(_outside(text)):
        return [
            (
                where,
                "computes an answer where students can see it; "
                "move it into a solution or out of the notebook",
            )
        ]
    return []


def _outside(text: str) -> str:
    """What is left of a cell when its solution is taken out."""
    return re.sub(f"{re.escape(BEGIN)}.*?{re.escape(END)}", "", text, flags=re.DOTALL)


def _graded(
    cell: dict[str, Any], meta: dict[str, Any], name: str, number: int, questions: QuestionSet
) -> list[Fault]:
    where = f"cell {number} ({name})"
    if name not in questions:
        return [(where, "is graded, but questions.toml has no question of that id; correct one of them")]
    question = questions[name]
    lines = []
    if float(meta.get("points") or 0) != question.points:
        lines.append(
            (where, f"is worth {meta.get('points')} points, but questions.toml says {question.points:g}")
        )
    if question.manual:
        if not meta.get("solution"):
            lines.append((where, "is for a written answer, so it must be graded and a solution cell at once"))
        return lines
    if not meta.get("locked"):
        lines.append((where, "is a graded cell that students could change; set locked to true"))
    if not _ends_in_check(source_of(cell), name):
        lines.append((where, f'does not end in panel("{name}")'))
    return lines


def _ends_in_check(text: str, name: str) -> bool:
    """Is the last line the panel itself? A value that is stored, or silenced by ";", leaves no output, and
    nbgrader gives full points to a cell without output.
    """
    last = (text.rstrip().splitlines() or [""])[-1]
    return re.fullmatch(rf"""panel\((["']){re.escape(name)}\1.*\)\s*(#.*)?""", last) is not None


def _kept_records(notebook: dict[str, Any]) -> list[Fault]:
    """Recorded answers and the state of controls in the notebook's own metadata."""
    meta = notebook.get("metadata")
    meta = meta if isinstance(meta, dict) else {}
    kept = ["eqlib"] if meta.get("eqlib") else []
    saved = meta.get("widgets")
    for state in saved.values() if isinstance(saved, dict) else ():
        models = state.get("state") if isinstance(state, dict) else None
        if any(not str(name).startswith("eqlib-") for name in models or ()):  # those are empty, asleep forms
            kept.append("widgets")
    return [("metadata", f"holds {key!r}, left from a run; remove it before committing") for key in kept]


def _order(cells: list[dict[str, Any]], names: Iterable[str]) -> list[Fault]:
    """The cell that works an answer out stands before the panel that takes it."""
    place = {nbgrader_of(cell).get("grade_id"): number for number, cell in enumerate(cells, start=1)}
    return [
        (f"question {name!r}", "its panel stands before the cell of its answer; swap them")
        for name in sorted(names)
        if place.get(f"answer-{name}", 0) > place[name]
    ]


def _points(cells: list[dict[str, Any]], questions: QuestionSet) -> list[Fault]:
    """The notebook's points add up to the file's (only when it asks all of them)."""
    graded = {nbgrader_of(c).get("grade_id"): nbgrader_of(c) for c in cells if nbgrader_of(c).get("grade")}
    if not set(questions) <= set(graded):
        return []
    total = sum(float(meta.get("points") or 0) for meta in graded.values())
    if abs(total - questions.points) > 1e-9:
        return [("", f"its cells are worth {total:g} points together, questions.toml {questions.points:g}")]
    return []


def check_release(notebook: dict[str, Any], questions: QuestionSet) -> list[Fault]:
    """What a released notebook must not hold: solutions, outputs, anything that computes an answer."""
    lines = []
    for number, cell in enumerate(notebook["cells"], start=1):
        cell = cell if isinstance(cell, dict) else {}
        text = source_of(cell)
        if BEGIN in text or END in text:
            lines.append((f"cell {number}", "still holds a solution; generate the release again"))
        if cell.get("cell_type") == "code" and _TELLING.search(text):
            lines.append((f"cell {number}", "computes an answer where students can see it"))
        lines += _left_behind(cell, number)
    return lines + _kept_records(notebook)
