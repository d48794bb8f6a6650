"""The lines an instructor reads after marking: one plain sentence for each thing, never an accusation."""

from __future__ import annotations

import json
from collections import defaultdict
from dataclasses import replace

from eqlib.assess.variants import normal_id
from eqlib.grading.marks import Judged
from eqlib.grading.watch import Executed

#: So many answers recorded at the same moments are no coincidence.
_SAME_AT_LEAST = 3
_UNREADABLE = ("SyntaxError", "IndentationError", "TabError")


def of_submission(
    student: str, ready: dict, ran: Executed, records: dict, judged: Judged, skipped: bool
) -> list[str]:
    """Everything to be said about one notebook of one student."""
    lines = list(ready["answers"].problems)
    answered = [name for name in records if name in judged.marked]
    if skipped and not answered:
        lines.append("nothing was answered")
    elif not answered and judged.marked:
        lines.append("no recorded answers were found")
    if ready["put_back"]:
        lines.append(f"deleted cells were put back: {_list(ready['put_back'])}")
    lines += _ids(student, records)
    lines += _cells(ready["notebook"], ran)
    if ran.ended:
        lines.append(f"{ran.ended}; recorded answers are marked all the same")
    if judged.claimed:
        lines.append(_claims(judged))
    if judged.others:
        lines.append(
            "scored by the student's own run, as nbgrader does, because it is no question of ours: "
            f"{_list(judged.others)}"
        )
    return lines


def _ids(student: str, records: dict) -> list[str]:
    others = sorted(
        {r.student for r in records.values() if r.student and normal_id(r.student) != normal_id(student)}
    )
    if not others:
        return []
    return [f"answers were recorded under the id {_list(others)}; marked by the numbers shown there"]


def _cells(notebook: dict, ran: Executed) -> list[str]:
    """A line for each cell that could not be read as Python, had to be stopped or ended the program."""
    lines = []
    for index, cell in enumerate(notebook["cells"]):
        where = f"cell {index}{_name(cell)}"
        trouble = ran.trouble.get(index)
        if trouble == "CellTimeout":
            lines.append(f"{where} ran too long and was stopped; the other cells ran")
        elif trouble == "KernelDied":
            lines.append(f"{where} ended the program; the cells after it ran in a new one")
        elif any(output.get("ename") in _UNREADABLE for output in ran.outputs.get(index, ())):
            lines.append(f"{where} cannot be read as Python (a syntax error); the other cells ran")
    return lines


def _name(cell: dict) -> str:
    name = cell.get("metadata", {}).get("nbgrader", {}).get("grade_id")
    return f" ({name})" if name else ""


def _claims(judged: Judged) -> str:
    ours = sum(judged.marked[name].mark.points for name in judged.claimed)
    theirs = sum(judged.claimed.values())
    return (
        f"its own check cells showed {theirs:g} points where the recorded answers earn {ours:g} "
        f"({_list(sorted(judged.claimed))}); the recorded answers count"
    )


def flag_copies(rows: list) -> list:
    """Say gently when two submissions hold answers recorded at the very same moments."""
    stamps = defaultdict(set)
    for row in rows:
        for question in row.questions:
            if question.answer and question.answer.get("at"):
                stamps[question.question, question.answer["at"], _key(question.answer)].add(row.student)
    shared: dict[tuple[str, str], int] = defaultdict(int)
    for students in stamps.values():
        for one in sorted(students):
            for other in sorted(students):
                if one < other:
                    shared[one, other] += 1
    said = defaultdict(list)
    for (one, other), count in shared.items():
        if count >= _SAME_AT_LEAST:
            line = "{} answers were recorded at the same moments as those of {}; one file handed in twice?"
            said[one].append(line.format(count, other))
            said[other].append(line.format(count, one))
    return [
        replace(row, notes=(*row.notes, *said[row.student])) if row.student in said else row for row in rows
    ]


def _key(answer: dict) -> str:
    return json.dumps(answer.get("answer"), sort_keys=True)


def could_not(error: Exception) -> str:
    """One line for a failure inside marking itself."""
    said = " ".join(str(error).split())[:200]
    return f"could not be marked ({type(error).__name__}: {said}); please open the notebook and look"


def _list(names) -> str:
    return ", ".join(map(str, names))
