"""The assignment notebook: well formed, nothing typed in that is computed, nothing left in it, and it runs
clean.
"""

import json
import re
import shutil
import subprocess
import sys
import warnings
from itertools import pairwise
from pathlib import Path

import nbformat
import pytest

from eqlib.assess.load import load_questions
from eqlib.notebook.sheet import asleep_forms, forms_in

NAME = "04-disturbing-an-equilibrium"
COURSE = Path(__file__).resolve().parents[2] / "notebooks"
FOLDER = COURSE / "source" / NAME


@pytest.fixture(scope="module")
def book():
    return nbformat.read(FOLDER / f"{NAME}.ipynb", as_version=4)


@pytest.fixture(scope="module")
def questions():
    return load_questions(FOLDER)


def grading(cell):
    """The nbgrader metadata of a cell."""
    return cell.metadata.get("nbgrader", {})


def named(book):
    """Cells by grade id."""
    return {grading(cell)["grade_id"]: cell for cell in book.cells if grading(cell)}


def test_it_is_a_valid_notebook_with_stable_ids(book):
    nbformat.validate(book)
    ids = [cell.id for cell in book.cells]
    assert len(set(ids)) == len(ids)
    assert all(re.fullmatch(r"[a-z0-9-]{3,40}", name) for name in ids)


def test_its_marking_metadata_is_valid(book):
    from nbgrader.nbgraderformat import MetadataValidator

    validator = MetadataValidator()
    for cell in book.cells:
        validator.validate_cell(cell)
    names = [grading(cell)["grade_id"] for cell in book.cells if grading(cell)]
    assert len(set(names)) == len(names)


def test_every_question_is_asked_and_checked_for_its_points(book, questions):
    cells = named(book)
    graded = {name: grading(cell)["points"] for name, cell in cells.items() if grading(cell)["grade"]}
    assert graded == {question.id: question.points for question in questions.values()}
    assert len(graded) >= 8


def test_no_computed_number_is_typed_into_the_prose(book):
    for cell in book.cells:
        if cell.cell_type == "markdown":
            prose = re.sub(r"^#+ \d+\.", "", cell.source, flags=re.MULTILINE)
            prose = re.sub(r"\]\([^)]*\)", "]", prose)  # where a link leads to is no prose
            assert not re.search(r"\d", prose), cell.source[:200]


def test_cells_are_short(book):
    for cell in book.cells:
        if cell.cell_type == "code":
            assert len(cell.source.splitlines()) < 15


def test_headings_go_down_one_step_at_a_time(book):
    levels = [
        len(found.group(1))
        for cell in book.cells
        if cell.cell_type == "markdown"
        for found in re.finditer(r"^(#+) ", cell.source, re.MULTILINE)
    ]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(later <= earlier + 1 for earlier, later in pairwise(levels))


def test_every_form_has_its_sleeping_box(book, questions):
    assert book.metadata["widgets"] == asleep_forms(NAME, forms_in(book))


def executed(folder, monkeypatch):
    """The notebook of ``folder`` after a run in a fresh kernel."""
    from nbclient import NotebookClient

    monkeypatch.setenv("IPYTHONDIR", str(folder / ".ipython"))
    for name in ("JPY_SESSION_NAME", "NBGRADER_EXECUTION", "JUPYTERHUB_USER"):
        monkeypatch.delenv(name, raising=False)
    book = nbformat.read(folder / f"{NAME}.ipynb", as_version=4)
    client = NotebookClient(
        book,
        timeout=120,
        kernel_name="python3",
        allow_errors=True,
        resources={"metadata": {"path": str(folder)}},
    )
    with warnings.catch_warnings():
        # The transport's own remarks are not the notebook's.
        warnings.simplefilter("ignore")
        client.execute()
    return book


@pytest.fixture
def released(tmp_path):
    """The students' version, made by the script that makes practice copies, in assessed mode."""
    script = COURSE.parent / "binder" / "practice.py"
    done = subprocess.run(
        [sys.executable, str(script), str(tmp_path / "copies")],
        capture_output=True,
        text=True,
        check=False,
        timeout=300,
    )
    assert done.returncode == 0, done.stderr
    shutil.copy(FOLDER / "questions.toml", tmp_path / "copies" / NAME)
    return tmp_path / "copies" / NAME


def test_the_released_copy_holds_no_solution_and_runs_clean(released, monkeypatch):
    text = (released / f"{NAME}.ipynb").read_text("utf-8")
    assert "BEGIN SOLUTION" not in text
    book = executed(released, monkeypatch)
    for cell in book.cells:
        for output in cell.get("outputs", ()):
            assert output.output_type != "error", (cell.id, output.get("evalue"))
            assert output.get("name") != "stderr", (cell.id, output.get("text"))
            assert "Traceback" not in json.dumps(output)
        if grading(cell).get("grade") and cell.cell_type == "code":
            results = [output for output in cell.outputs if output.output_type == "execute_result"]
            assert [result.data["text/plain"] for result in results] == ["0.0"], cell.id
