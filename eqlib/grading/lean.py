"""Which cells have to run at all: those from which an answer may come.

A form or an outcome that the course itself put in the notebook shows the same as when the student saw it, and
what it showed is saved in the notebook. So where the course's own cells are unchanged and nothing was added,
only the cells that define things, the student's working, and the checks of answers given in code are run. If
anything else was changed or added, everything runs, as in nbgrader.
"""

from __future__ import annotations

import ast

from eqlib.assess.question import QuestionSet
from eqlib.assess.records import Record
from eqlib.grading.class_of import plain_bundle

#: Longest saved output of one cell that is kept, as JSON characters.
MOST_KEPT = 2_000_000
#: Lesson methods that only show something.
_SHOWS = frozenset(["ask", "bench", "check", "intro", "panel", "prompt", "receipt", "reveal", "student"])


def cells_to_run(notebook: dict, released, questions: QuestionSet) -> set[int] | None:
    """The numbers of the code cells that have to run; None for all of them."""
    given = (
        {_key(cell) for cell in released.cells if cell.cell_type == "code"} if released is not None else set()
    )
    chosen = set()
    for index, cell in enumerate(notebook["cells"]):
        if cell["cell_type"] != "code" or not _source(cell).strip():
            continue
        if is_ours(cell) or _meta(cell).get("solution"):
            chosen.add(index)
        elif _key(cell) not in given:
            return None
        elif not only_shows(_source(cell), questions):
            chosen.add(index)
    return chosen


def is_ours(cell: dict) -> bool:
    """Is this the cell that marking put first?"""
    ours = cell.get("metadata", {}).get("eqlib")
    return isinstance(ours, dict) and bool(ours.get("restoring"))


def only_shows(source: str, questions: QuestionSet) -> bool:
    """Is ``source`` one call such as ``lesson.reveal("silver")``, from which no answer can come?"""
    try:
        body = ast.parse(source).body
    except (SyntaxError, ValueError, RecursionError, MemoryError):
        return False
    body = [
        line for line in body if not (isinstance(line, ast.ImportFrom) and line.module == "eqlib.notebook")
    ]
    if len(body) != 1 or not isinstance(body[0], ast.Expr) or not isinstance(body[0].value, ast.Call):
        return False
    call = body[0].value
    of_lesson = isinstance(call.func, ast.Attribute) and isinstance(call.func.value, ast.Name)
    name = call.func.attr if of_lesson else getattr(call.func, "id", "")
    called = name in _SHOWS
    plain = all(isinstance(argument, ast.Constant) for argument in call.args) and not call.keywords
    if not called or not plain:
        return False
    if name != "check":
        return True
    asked = call.args[0].value if call.args else None
    return len(call.args) == 1 and asked in questions and not questions[asked].code


def saved_outputs(submitted) -> dict[str, list]:
    """What the cells of a submitted notebook showed when it was saved, by grade id; over-long ones are left
    out.
    """
    kept = {}
    for cell in submitted.cells:
        meta = cell.metadata.get("nbgrader")
        name = meta.get("grade_id") if isinstance(meta, dict) else None
        if cell.cell_type == "code" and isinstance(name, str) and len(str(cell.outputs)) <= MOST_KEPT:
            kept[name] = [dict(output) for output in cell.outputs if output.get("output_type") != "error"]
    return kept


def as_saved(
    notebook: dict, ran: set[int], saved: dict[str, list], records: dict[str, Record], questions
) -> dict[int, list]:
    """Outputs for the cells that did not run: the saved ones, or the recorded answer if the outputs were
    cleared.
    """
    outputs = {}
    for index, cell in enumerate(notebook["cells"]):
        if cell["cell_type"] != "code" or index in ran:
            continue
        name = str(_meta(cell).get("grade_id", ""))
        outputs[index] = saved.get(name) or _recorded(name.removeprefix("form-"), records, questions)
    return outputs


def _recorded(name: str, records: dict[str, Record], questions: QuestionSet) -> list:
    if name not in records or name not in questions:
        return []
    return [
        {"output_type": "display_data", "data": plain_bundle(questions[name], records[name]), "metadata": {}}
    ]


def _meta(cell: dict) -> dict:
    meta = cell.get("metadata", {}).get("nbgrader")
    return meta if isinstance(meta, dict) else {}


def _source(cell) -> str:
    source = cell["source"]
    return "".join(source) if isinstance(source, list) else source


def _key(cell) -> tuple[str, str]:
    """A cell by its grade id and its text."""
    meta = cell["metadata"].get("nbgrader", {})
    return str(meta.get("grade_id", "")), _source(cell).strip()
