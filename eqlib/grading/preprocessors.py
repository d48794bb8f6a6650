"""Our steps among nbgrader's own: answers kept, damaged cells mended, pages made safe.

``settings`` says in which order they stand, and why.
"""

from __future__ import annotations

import json
import re
from pathlib import Path

from nbformat.v4 import new_code_cell
from nbgrader.api import Gradebook, MissingEntry
from nbgrader.preprocessors import NbGraderPreprocessor
from nbgrader.utils import compute_checksum
from traitlets import List

from eqlib.assess.records import Collected, collect
from eqlib.grading.lean import saved_outputs
from eqlib.grading.safety import clean_notebook

#: Cells that we put in are marked in their metadata, under this key.
OURS = "eqlib"
_JOURNALS = "answers-*.journal.json"
#: Paragraphs of a recorded answer that are no longer true on a marked page.
_BEFORE_MARKS = re.compile(r"""<p\b[^>]*class=["']eqlib-(?:asleep|unmarked)["'][^>]*>.*?</p>""", re.DOTALL)
_NUMBER = re.compile(r"-?\d+(?:\.\d+)?(?:e-?\d+)?")


class KeepAnswers(NbGraderPreprocessor):
    """Carry the recorded answers past ClearOutput: a first cell gives them to the lesson again.

    Answers are read from the notebook's outputs and from the journal beside it. One that cannot be read is
    named in
    the log and left out; the others count.
    """

    def preprocess(self, nb, resources):
        where = resources["nbgrader"]
        found = answers_in(nb, resources.get("metadata", {}).get("path"))
        for line in found.problems:
            self.log.warning("%s, %s: %s", where["student"], where["notebook"], line)
        resources.setdefault(OURS, {}).update(answers=found, saved=saved_outputs(nb))
        nb.cells = [cell for cell in nb.cells if not is_restoring(cell)]
        nb.cells.insert(0, restoring_cell(found, where["student"]))
        return nb, resources


def answers_in(nb, folder, assignment: str | None = None) -> Collected:
    """What was recorded in a notebook (as nbformat has it) and in the journals of ``folder``."""
    found = collect(json.loads(json.dumps(nb)), None, assignment)
    for path in sorted(Path(folder).glob(_JOURNALS)) if folder else ():
        if path.is_symlink() or not path.is_file():
            continue
        more = collect(None, path.read_bytes(), assignment, found.student)
        found.problems.extend(line for line in more.problems if line not in found.problems)
        for record in more.values():
            found.offer(record, assignment, None)
        found.student = found.student or more.student
    return found


def student_shown(found: Collected, handed_in_by: str) -> str | None:
    """Whose numbers stood in the notebook: the id typed there; nobody's if answers were recorded without
    one.
    """
    if found.student:
        return found.student
    return None if found else handed_in_by


def restoring_cell(found: Collected, handed_in_by: str):
    """The cell that marking puts first. It only carries data."""
    handed = {
        "student": student_shown(found, handed_in_by),
        "records": {question: record.to_dict() for question, record in found.items()},
    }
    text = json.dumps(handed, ensure_ascii=True, allow_nan=False)
    comment = "# Put here by marking: the answers recorded in this notebook."
    source = f"{comment}\nfrom eqlib.notebook import restore\n\nrestore({text!r})"
    cell = new_code_cell(source, metadata={OURS: {"restoring": True}, "jupyter": {"source_hidden": True}})
    cell.id = "answers-kept"
    return cell


def is_restoring(cell) -> bool:
    """Was this cell put in by an earlier marking?"""
    ours = cell.metadata.get(OURS)
    return isinstance(ours, dict) and bool(ours.get("restoring"))


class MendCells(NbGraderPreprocessor):
    """Give the cells back what makes them nbgrader's, and put back those that were deleted.

    nbgrader itself stops at metadata it cannot read, and can put back a deleted check cell only where a
    graded or
    solution cell precedes it. What was put back is listed in ``resources["eqlib"]["put_back"]``.
    """

    def preprocess(self, nb, resources):
        where = resources["nbgrader"]
        with Gradebook(where["db_url"]) as gradebook:
            try:
                source = gradebook.find_notebook(where["notebook"], where["assignment"])
            except MissingEntry:
                return nb, resources
            wanted = wanted_cells(source)
        for cell in nb.cells:
            _mend(cell, wanted)
        put_back = _put_back(nb, wanted)
        for name in put_back:
            self.log.warning(
                "%s, %s: cell %s was missing and was put back", where["student"], where["notebook"], name
            )
        resources.setdefault(OURS, {})["put_back"] = put_back
        return nb, resources


def wanted_cells(source) -> dict[str, dict]:
    """By grade id, in order: cell type, source and nbgrader metadata of every cell the gradebook knows."""
    points = {cell.name: float(cell.max_score) for cell in (*source.grade_cells, *source.task_cells)}
    grades = {cell.name for cell in source.grade_cells}
    solutions = {cell.name for cell in source.solution_cells}
    tasks = {cell.name for cell in source.task_cells}
    wanted = {}
    for cell in source.source_cells:
        meta = {
            "schema_version": 3,
            "grade_id": cell.name,
            "grade": cell.name in grades,
            "solution": cell.name in solutions,
            "locked": bool(cell.locked),
            "task": cell.name in tasks,
            "checksum": cell.checksum,
            "cell_type": cell.cell_type,
        }
        if cell.name in points:
            meta["points"] = points[cell.name]
        wanted[cell.name] = {"cell_type": cell.cell_type, "source": cell.source, "nbgrader": meta}
    return wanted


def _mend(cell, wanted) -> None:
    """Known cells get the source's own metadata; others that claim to be nbgrader's lose the claim."""
    if "nbgrader" not in cell.metadata:
        return
    meta = cell.metadata["nbgrader"]
    name = meta.get("grade_id") if isinstance(meta, dict) else None
    if isinstance(name, str) and name in wanted:
        cell.metadata["nbgrader"] = type(cell.metadata)(wanted[name]["nbgrader"])
    else:
        del cell.metadata["nbgrader"]


def _put_back(nb, wanted) -> list[str]:
    """Insert the missing cells, each after the one that precedes it in the source. Returns their names."""
    from nbformat.v4 import new_markdown_cell

    present = [cell.metadata.get("nbgrader", {}).get("grade_id") for cell in nb.cells]
    missing = [name for name in wanted if name not in present]
    order = list(wanted)
    for name in missing:
        data = wanted[name]
        make = new_code_cell if data["cell_type"] == "code" else new_markdown_cell
        cell = make(data["source"], metadata={"nbgrader": dict(data["nbgrader"]), OURS: {"put_back": True}})
        names = [c.metadata.get("nbgrader", {}).get("grade_id") for c in nb.cells]
        before = [i for i, there in enumerate(names) if there in order[: order.index(name)]]
        first = 1 if nb.cells and is_restoring(nb.cells[0]) else 0
        nb.cells.insert(before[-1] + 1 if before else first, cell)
        if cell.metadata.nbgrader["locked"] and compute_checksum(cell) != data["nbgrader"]["checksum"]:
            raise RuntimeError(f"cell {name} as the gradebook has it does not match its own checksum")
    return missing


class MakeSafe(NbGraderPreprocessor):
    """Take out of a marked notebook whatever could run in a reader's browser."""

    # The HTML exporter sets this for every step; a step that does not take it makes nbgrader warn.
    display_data_priority = List(help="Kept for the exporter; nothing is chosen here.").tag(config=True)

    def preprocess(self, nb, resources):
        if resources.get("output_extension") == ".html":
            # A page for the student: the answers are shown beside their questions already.
            nb.cells = [cell for cell in nb.cells if not is_restoring(cell)]
            for cell in nb.cells:
                _as_marked(cell)
        clean_notebook(nb)
        return nb, resources


def _as_marked(cell) -> None:
    """Leave out what was true before marking, and the bare number that only nbgrader reads."""
    outputs = cell.get("outputs", [])
    if cell.metadata.get("nbgrader", {}).get("grade") and len(outputs) > 1:
        cell["outputs"] = outputs = [out for out in outputs if not _is_bare_number(out)]
    for output in outputs:
        data = output.get("data", {})
        if "text/html" in data:
            html = data["text/html"]
            data["text/html"] = _BEFORE_MARKS.sub("", "".join(html) if isinstance(html, list) else html)


def _is_bare_number(output) -> bool:
    if output.get("output_type") != "execute_result":
        return False
    data = output.get("data", {})
    return set(data) == {"text/plain"} and bool(_NUMBER.fullmatch("".join(data["text/plain"])))


def drop_journals(assignment: str, student: str, notebooks) -> None:
    """After a release is made: remove journals left by trying the assignment out, so that none reaches a
    student.
    """
    for folder in Path("release").glob(f"**/{assignment}"):
        for journal in folder.glob(_JOURNALS):
            journal.unlink()
