"""Every notebook of the course: well formed, runs clean, blank earns nothing, right earns everything.

Marks are computed for every question and several students. Marking whole submissions, by nbgrader alone and
by ``eqlib grade``, is sampled (see SAMPLED): each takes seconds, and the path is the same for all notebooks.
"""

import json
import os
import re
import shutil
import subprocess
import sys
import warnings
from itertools import pairwise
from pathlib import Path

import nbformat
import pytest

import eqlib as eq
from eqlib.grading.course import Course
from eqlib.grading.demo import Work, answer_of, fill, hand_in, make_course
from eqlib.notebook.sheet import asleep_forms, forms_in

COURSE = Path(__file__).resolve().parents[2] / "notebooks"
NAMES = sorted(path.name for path in (COURSE / "source").iterdir() if (path / "questions.toml").is_file())
#: Marked from end to end: the shortest, and that of the practical; all nine with EQLIB_EVERY=1 (minutes).
SAMPLED = [name for name in NAMES if name[:2] in ("00", "07") or os.environ.get("EQLIB_EVERY")]
CHECKS = {"blank": 0.0, "right": 1.0}


def read(name):
    return nbformat.read(COURSE / "source" / name / f"{name}.ipynb", as_version=4)


def grading(cell):
    """The nbgrader metadata of a cell."""
    return cell.metadata.get("nbgrader", {})


def typed(question, student):
    """The right answer as somebody types it: three figures for a number, in every cell of a table as well."""
    answer = answer_of(question, student, ())
    for part in question.parts:
        if part.kind == "number":
            answer[part.id] = f"{float(answer[part.id]):.2e}"
        elif part.kind == "table":
            rows = answer[part.id].items()
            answer[part.id] = {row: {n: f"{v:.3e}" for n, v in cells.items()} for row, cells in rows}
    return answer


@pytest.mark.parametrize("name", NAMES)
def test_it_is_well_formed(name):
    from nbgrader.nbgraderformat import MetadataValidator

    book, questions = read(name), eq.load_questions(COURSE / "source" / name)
    nbformat.validate(book)
    ids = [cell.id for cell in book.cells]
    assert len(set(ids)) == len(ids)
    assert all(re.fullmatch(r"[A-Za-z0-9-]{3,40}", one) for one in ids)
    for cell in book.cells:
        MetadataValidator().validate_cell(cell)
    points = {grading(c)["grade_id"]: grading(c)["points"] for c in book.cells if grading(c).get("grade")}
    assert points == {question.id: question.points for question in questions.values()}
    assert book.metadata["widgets"] == asleep_forms(name, forms_in(book))
    assert any(question.manual for question in questions.values())


@pytest.mark.parametrize("name", NAMES)
def test_it_reads_from_the_top(name):
    book = read(name)
    found = [
        re.findall(r"^(#+) (.*)", c.source, re.MULTILINE) for c in book.cells if c.cell_type == "markdown"
    ]
    levels = [len(marks) for headings in found for marks, _ in headings]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(later <= earlier + 1 for earlier, later in pairwise(levels))
    numbered = [int(n) for headings in found for _, words in headings for n in re.findall(r"^(\d+)\.", words)]
    assert numbered[:1] in ([], [1])
    assert numbered == sorted(set(numbered))
    for cell in book.cells:
        if cell.cell_type == "code":
            assert len(cell.source.splitlines()) < 15
            if grading(cell):
                assert cell.metadata["jupyter"]["source_hidden"]


@pytest.mark.parametrize("name", NAMES)
def test_its_links_lead_somewhere(name):
    for target in re.findall(r"\]\(([^)#]+)\)", "\n".join(c.source for c in read(name).cells)):
        there = (COURSE / "source" / name / target).resolve()
        if (COURSE / "source" / there.parent.name).exists() or there.suffix != ".ipynb":
            assert there.exists(), target


@pytest.mark.parametrize("name", NAMES)
def test_it_runs_from_top_to_bottom_without_error_or_stderr(name, tmp_path, monkeypatch):
    from nbclient import NotebookClient

    shutil.copytree(COURSE / "source" / name, tmp_path / name)
    monkeypatch.setenv("IPYTHONDIR", str(tmp_path / ".ipython"))
    for variable in ("JPY_SESSION_NAME", "NBGRADER_EXECUTION", "JUPYTERHUB_USER"):
        monkeypatch.delenv(variable, raising=False)
    book = read(name)
    client = NotebookClient(
        book,
        timeout=180,
        kernel_name="python3",
        allow_errors=True,
        resources={"metadata": {"path": str(tmp_path / name)}},
    )
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # the transport's own remarks are not the notebook's
        client.execute()
    for cell in book.cells:
        for output in cell.get("outputs", ()):
            assert output.output_type != "error", (cell.id, output.get("evalue"))
            assert output.get("name") != "stderr", (cell.id, output.get("text"))
            assert "Traceback" not in json.dumps(output)


@pytest.mark.parametrize("name", NAMES)
def test_right_answers_earn_all_points_and_none_earn_nothing(name):
    for question in eq.load_questions(COURSE / "source" / name).values():
        if question.manual:
            continue
        for student in ("w01", "w02", "w03", "w04"):
            # released: with the working, as the feedback of a marked class has it
            right = eq.mark(question, typed(question, student), student=student, released=True)
            assert right.points == pytest.approx(question.points), (question.id, student, right.feedback)
            assert right.working.strip(), question.id
            assert eq.mark(question, {}, student=student, released=True).points == 0


@pytest.fixture(scope="module", params=SAMPLED)
def handed_in(request, tmp_path_factory):
    """A course with one released notebook, handed in blank and with every answer right."""
    name = request.param
    course = make_course(tmp_path_factory.mktemp("marked") / "course")
    course.release(name)
    questions, released = course.questions(name), course.released_notebooks(name)[name]
    for student in CHECKS:
        asked = [question for question in questions.values() if not question.manual]
        answers = {q.id: typed(q, student) for q in asked} if student == "right" else {}
        work = Work(student, answers)
        folder = course.root / "submitted" / student / name
        hand_in(folder, name, fill(released, work, questions), work, questions)
        shutil.copy(course.source(name) / "questions.toml", folder)
    return course, name


def scores(course: Course, name: str) -> dict[str, float]:
    """The marks in nbgrader's own gradebook."""
    with course.gradebook() as book:
        return {student: book.find_submission(name, student).score for student in CHECKS}


@pytest.mark.parametrize("marker", ["nbgrader", "eqlib"])
def test_marked_by_nbgrader_alone_and_by_eqlib_alike(marker, handed_in, tmp_path):
    made, name = handed_in
    shutil.copytree(made.root, tmp_path / "course")
    course = Course.open(tmp_path / "course")
    words = {
        "nbgrader": ["-m", "nbgrader", "autograde", name],
        "eqlib": ["-m", "eqlib.cli", "grade", ".", name],
    }
    path = os.pathsep.join([str(Path(sys.executable).parent), os.environ.get("PATH", "")])
    done = subprocess.run(
        [sys.executable, *words[marker]],
        cwd=course.root,
        capture_output=True,
        text=True,
        check=False,
        timeout=600,
        env={**os.environ, "PATH": path},
    )
    assert done.returncode in (0, 1), done.stderr[-2000:]
    counted = sum(q.points for q in course.questions(name).values() if not q.manual)
    assert scores(course, name) == {who: pytest.approx(share * counted) for who, share in CHECKS.items()}


def test_constants_typed_in_open_cells_are_those_of_the_course():
    """What a student may run and change begins with the numbers of the questions around it."""
    from eqlib.notebook.diagrams import AMMONIA

    iron = eq.system("iron-thiocyanate").reactions[0]
    gas = eq.system("nitrogen-dioxide").reactions[0]
    typed_in = {
        name: "\n".join(c.source for c in read(name).cells if c.cell_type == "code") for name in NAMES
    }
    assert f'FeSCN^2+", K={iron.K:.0f})' in typed_in["03-how-far"]
    assert f'N2O4(g)", K={gas.kc(298.15):.0f})' in typed_in["02-which-way"]
    given = eq.load_questions(COURSE / "source" / "02-which-way")
    for name in ("nitrogen-little", "nitrogen-much", "rule"):
        assert given[name].case().reaction.K == AMMONIA
