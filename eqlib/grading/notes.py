"""The lines an instructor reads after marking: one plain sentence for each thing, never an accusation."""

from __future__ import annotations

import json
from collections import defaultdict
from dataclasses import dataclass, replace
from typing import Any

from eqlib.assess.question import normal_id
from eqlib.grading.run.sandbox import Executed
from eqlib.grading.summary import MOST_NOTES, StudentRow

#: So many answers recorded at the same moments are no coincidence.
_SAME_AT_LEAST = 3
_UNREADABLE = ("SyntaxError", "IndentationError", "TabError")
#: What comes first, where there are more: words of a line, the gravest first.
_GRAVE: tuple[str, ...] = (
    "not marked",
    "not run",
    "no answers found",
    "nothing was answered",
    "memory",
    "ran longer",
    "ended the program",
)
_GRAVE += (
    "ran too long",
    "only while marking",
    "check cells showed",
    "there twice",
    "syntax error",
    "late",
    "put back",
)


@dataclass(frozen=True)
class Mended:
    """Cells that were made the assignment's again: deleted, there more than once, or locked and changed."""

    put_back: list[str]
    doubled: list[str]
    changed: list[str]


def gravest_first(lines: Any) -> list[str]:
    """At most three lines, the gravest first; the others are counted."""
    once = list(dict.fromkeys(lines))
    ranked = sorted(
        once, key=lambda line: next((i for i, word in enumerate(_GRAVE) if word in line), len(_GRAVE))
    )
    if len(ranked) <= MOST_NOTES:
        return ranked
    return [
        *ranked[: MOST_NOTES - 1],
        f"{ranked[MOST_NOTES - 1]} (and {len(ranked) - MOST_NOTES} more to look at in the notebook)",
    ]


def of_ids(student: str, records: dict) -> list[str]:
    """A line where answers were recorded under another id."""
    others = sorted(
        {r.student for r in records.values() if r.student and normal_id(r.student) != normal_id(student)}
    )
    if not others:
        return []
    return [f"answers were recorded under the id {', '.join(others)}; marked by the numbers shown there"]


def of_cells(cells: list[dict], ran: Executed, mended: Mended) -> list[str]:
    """A line for each cell that could not be read as Python, had to be stopped or ended the program, and for
    those that were copied, deleted or changed where they are the course's own.
    """
    lines = []
    if ran.ended:
        lines.append(f"{ran.ended}; recorded answers are marked all the same")
    for index, cell in enumerate(cells):
        where = f"cell {index}{_name(cell)}"
        trouble = ran.trouble.get(index)
        if trouble == "CellTimeout":
            lines.append(f"{where} ran too long and was stopped; the other cells ran")
        elif trouble == "KernelDied":
            lines.append(f"{where} ended the program; the cells after it ran in a new one")
        elif any(output.get("ename") in _UNREADABLE for output in ran.outputs.get(index, ())):
            lines.append(f"{where} cannot be read as Python (a syntax error); the other cells ran")
    lines += [
        f"cell {name} is there twice; the one that was changed last is marked" for name in mended.doubled
    ]
    if mended.put_back:
        lines.append(f"deleted cells were put back: {', '.join(mended.put_back)}")
    if mended.changed:
        lines.append(
            f"the course's own text was put back where it had been changed: {', '.join(mended.changed)}"
        )
    return lines


def _name(cell: dict) -> str:
    name = cell.get("metadata", {}).get("nbgrader", {}).get("grade_id")
    return f" ({name})" if name else ""


def claims(claimed: dict[str, float], ours: dict[str, float]) -> str:
    """The line where a submission's own check cells showed other points than its answers earn."""
    named, shown, earned = ", ".join(sorted(claimed)), sum(claimed.values()), sum(ours.values())
    return (
        f"in {named} its own check cells showed {shown:g} points where the recorded answers earn {earned:g}; "
        "the recorded answers count"
    )


def flag_copies(rows: list[StudentRow]) -> list[StudentRow]:
    """Say gently when submissions hold answers recorded at the very same moments."""
    stamps: dict[tuple, list[str]] = defaultdict(list)
    for row in rows:
        for question in row.questions:
            if question.answer and question.answer.get("at"):
                stamps[question.question, question.answer["at"], _key(question.answer)].append(row.student)
    shared: dict[tuple[str, str], int] = defaultdict(int)
    for first, *others in stamps.values():
        for other in others:
            shared[first, other] += 1
    same: dict[str, list[str]] = defaultdict(list)
    most: dict[str, int] = defaultdict(int)
    for (one, other), count in shared.items():
        if count >= _SAME_AT_LEAST:
            for student, twin in ((one, other), (other, one)):
                same[student].append(twin)
                most[student] = max(most[student], count)
    return [
        replace(row, notes=tuple(gravest_first([*row.notes, _same(most[row.student], same[row.student])])))
        if row.student in same
        else row
        for row in rows
    ]


def _same(count: int, others: list[str]) -> str:
    named = ", ".join(others[:3]) + (f" and {len(others) - 3} more" if len(others) > 3 else "")
    return f"{count} answers were recorded at the same moments as those of {named}; one file handed in twice?"


def _key(answer: dict) -> str:
    return json.dumps(answer.get("answer"), sort_keys=True)


def could_not(error: BaseException) -> str:
    """One line for a failure inside marking itself."""
    said = " ".join(str(error).split())[:200]
    return f"could not be marked ({type(error).__name__}: {said}); please open the notebook and look"
