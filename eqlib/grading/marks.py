"""Where a submission gets its score: from its recorded answers, by our code, outside the student's process.

What the student's own check cells showed is replaced. A changed check, a printed score or an early exit gains
nothing.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from nbformat.v4 import new_output
from nbgrader.preprocessors import NbGraderPreprocessor
from nbgrader.utils import is_grade, is_solution

from eqlib.assess.mark import Mark, mark
from eqlib.assess.question import QuestionSet
from eqlib.assess.records import Collected, Record
from eqlib.assess.records import collect as collect_answers


@dataclass(frozen=True)
class Marked:
    """One question of one submission: its mark and the record it was made from (None: nothing recorded)."""

    question: str
    mark: Mark
    record: Record | None = None


@dataclass
class Judged:
    """What marking found in one submission; filled in by the steps as they go."""

    marked: dict[str, Marked] = field(default_factory=dict)
    #: Question -> what the student's own check cell showed, where that was a number other than ours.
    claimed: dict[str, float] = field(default_factory=dict)
    #: Graded cells that are no question of ours: nbgrader's own rule scored them.
    others: list[str] = field(default_factory=list)


def newest(kept: Collected, outputs: dict[int, list], assignment: str) -> dict[str, Record]:
    """The recorded answers, brought up to date by what the cells recorded when they ran (answers given in
    code).
    """
    ran = collect_answers(
        {"cells": [{"outputs": shown} for _, shown in sorted(outputs.items())]}, None, assignment
    )
    best = {name: record for name, record in kept.items() if record.assignment == assignment}
    for name, record in ran.items():
        if name not in best or record.when > best[name].when:
            best[name] = record
    return best


class UseOutputs(NbGraderPreprocessor):
    """Stands where nbgrader would execute: puts in what the cells showed when they ran in the sandbox."""

    def __init__(self, outputs: dict[int, list], trouble: dict[int, str], **kwargs):
        super().__init__(**kwargs)
        self.outputs = outputs
        self.trouble = trouble

    def preprocess(self, nb, resources):
        from nbformat import from_dict

        count = 0
        for index, cell in enumerate(nb.cells):
            if cell.cell_type != "code":
                continue
            shown = self.outputs.get(index)
            if shown is None:
                cell.outputs = [_not_run()] if cell.source.strip() else []
                continue
            count += 1
            cell.execution_count = count
            cell.outputs = [from_dict(output) for output in shown]
        return nb, resources


def _not_run():
    line = "NotRun: this cell was not run"
    return new_output("error", ename="NotRun", evalue="this cell was not run", traceback=[line])


class ReplaceScores(NbGraderPreprocessor):
    """Put our own mark into every check cell, where nbgrader will read it."""

    def __init__(
        self,
        questions: QuestionSet,
        records: dict[str, Record],
        judged: Judged,
        student: str | None,
        **kwargs,
    ):
        super().__init__(**kwargs)
        self.questions = questions
        self.records = records
        self.judged = judged
        self.student = student

    def preprocess_cell(self, cell, resources, index):
        if not is_grade(cell):
            return cell, resources
        name = cell.metadata.nbgrader["grade_id"]
        if name not in self.questions:
            if cell.cell_type == "code" and not is_solution(cell):
                self.judged.others.append(name)
            return cell, resources
        question = self.questions[name]
        record = self.records.get(name)
        made = mark(question, record, released=True, student=None if record is not None else self.student)
        self.judged.marked[name] = Marked(name, made, record)
        if is_solution(cell) or cell.cell_type != "code":
            return cell, resources
        points = scaled(made, float(cell.metadata.nbgrader["points"]))
        claimed = _claimed(cell)
        if claimed is not None and abs(claimed - points) > 1e-6:
            self.judged.claimed[name] = claimed
        cell.outputs = [
            new_output("display_data", data={"text/markdown": explained(made), "text/plain": made.audit}),
            new_output(
                "execute_result", data={"text/plain": repr(points)}, execution_count=cell.execution_count
            ),
        ]
        return cell, resources


def scaled(made: Mark, worth: float) -> float:
    """The mark as nbgrader wants it: a built-in float in [0, points of the cell]."""
    if made.max_points <= 0 or worth == made.max_points:
        return min(made.points, worth)
    return min(worth, max(0.0, worth * made.points / made.max_points))


def explained(made: Mark) -> str:
    """What the student reads beside a mark."""
    return f"{made.feedback}\n\n**The working**\n\n{made.working}" if made.working else made.feedback


def _claimed(cell) -> float | None:
    """The score that the student's own process showed, if it showed a number."""
    for output in cell.outputs:
        if output.output_type == "execute_result":
            text = output.get("data", {}).get("text/plain", "")
            try:
                return float("".join(text) if isinstance(text, list) else text)
            except (ValueError, TypeError):
                return None
    return None
