"""Row by row beside plain nbgrader: equal, or safer and said; never worse.

As a test a part of it; as a script all of it, with the table. Plain is nbgrader's own command with its own
settings, on nbgrader's own test notebooks and on courses in other people's style.
"""

import os
import shutil
import sqlite3
import subprocess
import sys
import sysconfig
import tempfile
from pathlib import Path

import nbformat
import nbgrader
import pytest
from nbformat.v4 import new_code_cell, new_markdown_cell, new_notebook

from eqlib.grading import bulk
from eqlib.grading.course import Course
from eqlib.grading.demo import ASSIGNMENT, course_source, hand_everything_in

THEIRS = Path(nbgrader.__file__).parent / "tests" / "apps" / "files"
KERNEL = {"name": "python3", "display_name": "Python 3", "language": "python"}
OURS = "from eqlib.grading.settings import configure\n\nc = get_config()\nconfigure(c, __file__)\n"
#: nbgrader's own hand-ins were made from a release with nbgrader's words in its empty cells.
THEIR_STUBS = """c.ClearSolutions.code_stub = {"python": "# YOUR CODE HERE\\nraise NotImplementedError()"}
c.ClearSolutions.text_stub = "YOUR ANSWER HERE"
"""


def cell(source, name, kind="code", **meta):
    made = (new_code_cell if kind == "code" else new_markdown_cell)(source)
    plain = {"grade": False, "solution": False, "locked": False, "task": False, "schema_version": 3}
    made.metadata["nbgrader"] = {"grade_id": name, **plain, **meta}
    return made


def answer(source, name="sq", **meta):
    return cell(f"### BEGIN SOLUTION\n{source}\n### END SOLUTION", name, solution=True, **meta)


def check(source, name="test_sq", points=2, **meta):
    return cell(source, name, grade=True, locked=True, points=points, **meta)


def words(name="why", points=3):
    return cell("because", name, "markdown", grade=True, solution=True, points=points)


def task(name="task1", points=4):
    return cell("Do this.", name, "markdown", task=True, locked=True, points=points)


SQUARE = "def square(x):\n    return x * x"
TEST = "assert square(3) == 9\nassert square(-2) == 4"


class Style:
    """A course in somebody's style: notebooks, files beside them, settings, and what students make of it."""

    assignment = "ps1"

    def __init__(self, *cells, more=None, files=None, config="", late=False, fill=None):
        self.books = {"p1": cells, **(more or {})}
        self.files, self.config, self.late = files or {}, config, late
        self.fill = fill or {}

    def lay_out(self, root):
        folder = root / "source" / "ps1"
        folder.mkdir(parents=True)
        for name, cells in self.books.items():
            nbformat.write(
                new_notebook(cells=list(cells), metadata={"kernelspec": KERNEL}), folder / f"{name}.ipynb"
            )
        for name, text in self.files.items():
            (folder / name).write_text(text, encoding="utf-8")

    def hand_in(self, root):
        for student, change in {"blank": {}, **self.fill}.items():
            target = root / "submitted" / student / "ps1"
            shutil.copytree(root / "release" / "ps1", target)
            for name in self.books:
                book = nbformat.read(target / f"{name}.ipynb", as_version=4)
                for one in book.cells:
                    one.source = change.get(one.metadata.get("nbgrader", {}).get("grade_id"), one.source)
                book.cells[:0] = [new_code_cell(text) for text in change.get("+", ())]
                nbformat.write(book, target / f"{name}.ipynb")
            if self.late:
                (target / "timestamp.txt").write_text("2026-02-02 10:00:00 UTC", encoding="utf-8")


PASS = "get_ipython().input_transformers_post.append(lambda lines: ['pass\\n'])"
QUIET = "get_ipython().showtraceback = lambda *a, **k: None"
RIGHT, WRONG, BROKEN = (
    {"sq": SQUARE},
    {"sq": "def square(x):\n    return x"},
    {"sq": "def square(x) return x"},
)
ALL = {
    "right": RIGHT,
    "wrong": WRONG,
    "broken": BROKEN,
    "pass": {"+": [PASS]},
    "quiet": {**WRONG, "+": [QUIET]},
}
PENALTY = "c.LateSubmissionPlugin.penalty_method = 'zero'\n"
STYLES = {
    "one test": Style(answer(SQUARE), check(TEST), fill=ALL),
    "partial credit": Style(
        answer(SQUARE),
        check("2.0 * (square(3) == 9) / 2"),
        check("float('nan')", "t2"),
        check("square(2) == 5", "t3"),
        check("'0/3'", "t4"),
        fill={"right": RIGHT},
    ),
    "several notebooks": Style(
        answer(SQUARE),
        check(TEST),
        more={"p2": [answer("y = 2", "y"), check("assert y == 2", "ty")]},
        fill=ALL,
    ),
    "data file": Style(
        answer("total = sum(map(int, open('data.txt')))", "sq"),
        check("assert total == 6"),
        files={"data.txt": "1\n2\n3\n"},
        fill={"right": {"sq": "total = sum(map(int, open('data.txt')))"}, "typed": {"sq": "total = 6"}},
    ),
    "written": Style(words(), task(), fill={"wrote": {"why": "Because of Q."}}),
    "code read by a person": Style(
        answer(SQUARE, grade=True, points=5), words(), fill={"right": RIGHT, "wrong": WRONG}
    ),
    "zero points": Style(answer(SQUARE), check(TEST, points=0), fill={"right": RIGHT, "wrong": WRONG}),
    "late": Style(answer(SQUARE), check(TEST), words(), config=PENALTY, late=True, fill={"right": RIGHT}),
    "hidden tests": Style(
        answer(SQUARE),
        check(f"assert square(1) == 1\n### BEGIN HIDDEN TESTS\n{TEST}\n### END HIDDEN TESTS"),
        fill={"right": RIGHT, "guess": {"sq": "def square(x):\n    return 1"}},
    ),
    "printing and warnings": Style(
        answer(SQUARE),
        check(f"print('checking')\n{TEST}"),
        check("import warnings\nwarnings.warn('odd')", "t2"),
        check("import sys\nsys.stderr.write('')\nx = 3", "t3"),
        fill={"right": RIGHT},
    ),
    "all at once": Style(
        answer(SQUARE),
        check(f"assert square(1) == 1\n### BEGIN HIDDEN TESTS\n{TEST}\n### END HIDDEN TESTS"),
        check("2.0 * (square(3) == 9) / 2", "t2"),
        check("print('checking')\nassert square(0) == 0", "t3", points=0),
        answer("def cube(x):\n    return x ** 3", "cube", grade=True, points=5),
        words(),
        task(),
        more={
            "p2": [
                answer("total = sum(map(int, open('data.txt')))", "sum"),
                check("assert total == 6", "t4"),
                check("### AUTOTEST total", "t5"),
                words("also", 2),
            ]
        },
        files={
            "data.txt": "1\n2\n3\n",
            "autotests.yml": (THEIRS / "autotests.yml").read_text("utf-8"),
        },
        config=PENALTY,
        late=True,
        fill={
            **ALL,
            "wrote": {"why": "Because of Q.", "also": "So it is.", "task1": "Done: 3 mL."},
            "typed": {**WRONG, "sum": "total = 6", "cube": "cube = 8"},
            "hurt": {**RIGHT, "sum": "import os\nos._exit(0)"},
            "long": {**RIGHT, "sum": "total = 6\nwhile True: pass"},
        },
    ),
}


class Theirs:
    """nbgrader's own notebooks: one as the source, others handed in."""

    assignment = "ps1"

    def __init__(self, source, *handed_in, config=THEIR_STUBS, more=()):
        self.source, self.handed_in, self.config, self.more, self.late = (
            source,
            handed_in,
            config,
            more,
            False,
        )

    def lay_out(self, root):
        folder = root / "source" / "ps1"
        folder.mkdir(parents=True)
        shutil.copy(THEIRS / f"{self.source}.ipynb", folder / "p1.ipynb")
        for name in self.more:
            shutil.copy(THEIRS / name, root / "source" / name)
            shutil.copy(THEIRS / name, folder / name)

    def hand_in(self, root):
        for name in self.handed_in:
            target = root / "submitted" / name / "ps1"
            target.mkdir(parents=True)
            shutil.copy(THEIRS / f"{name}.ipynb", target / "p1.ipynb")


THEIR_OWN = {
    "nbgrader: submitted": Theirs(
        "submitted-unchanged",
        "submitted-unchanged",
        "submitted-changed",
        "submitted-grade-cell-changed",
        "submitted-locked-cell-changed",
        "submitted-cheat-attempt",
        "submitted-cheat-attempt-alternative",
    ),
    "nbgrader: cheat": Theirs("submitted-cheat-attempt", "submitted-cheat-attempt"),
    "nbgrader: test": Theirs("test", "test", "test-with-output"),
    "nbgrader: side effects": Theirs("side-effects", "side-effects"),
    "nbgrader: hidden": Theirs("test-hidden-tests", "test-hidden-tests"),
    "nbgrader: zero points": Theirs("validation-zero-points", "validation-zero-points"),
    "nbgrader: environment": Theirs("validating-environment-variable", "validating-environment-variable"),
    "nbgrader: autotest": Theirs("autotest-simple", "autotest-simple", more=["autotests.yml"]),
}


class OurCourse:
    """Our own: the demonstration's class of 24, of whom more than half hold a misconception.

    Without our settings nbgrader sees no recorded answer and gives 0: here our two doors are compared.
    """

    assignment, config, late = ASSIGNMENT, "", False

    def lay_out(self, root):
        shutil.copytree(course_source() / "source" / ASSIGNMENT, root / "source" / ASSIGNMENT)

    def hand_in(self, root):
        hand_everything_in(Course.open(root), ASSIGNMENT)


OURSELVES = {"our course": OurCourse()}
QUICK = ("one test",)


def rows(database):
    """Every row of grades, comments and penalties, by student, notebook and cell."""
    link = sqlite3.connect(database)
    inner = (
        "from {0} g join submitted_notebook sn on g.notebook_id = sn.id join submitted_assignment sa on "
        "sn.assignment_id = sa.id join base_cell b on b.id = g.cell_id join notebook n on n.id = "
        "sn.notebook_id"
    )
    found = {}
    for table, columns in (("grade", "auto_score, needs_manual_grade"), ("comment", "auto_comment")):
        for row in link.execute(f"select sa.student_id, n.name, b.name, {columns} {inner.format(table)}"):
            found[(table, *row[:3])] = row[3:]
    late = (
        "select sa.student_id, n.name, late_submission_penalty from submitted_notebook sn join notebook n on "
    )
    late += "n.id = sn.notebook_id join submitted_assignment sa on sn.assignment_id = sa.id"
    for row in link.execute(late):
        found[("penalty", *row[:2], "")] = row[2:]
    link.close()
    return found


def nbgrader_command(root, *arguments):
    scripts = sysconfig.get_path("scripts")
    env = {**os.environ, "PATH": os.pathsep.join([scripts, os.environ["PATH"]])}
    command = [str(Path(scripts) / "nbgrader"), *arguments]
    return subprocess.run(command, cwd=root, env=env, capture_output=True, text=True, check=False)


def three_doors(style, root):
    """The rows of plain nbgrader, of ``eqlib grade``, and of nbgrader's command with our settings."""
    found = {}
    doors = ("eqlib", "nbgrader") if isinstance(style, OurCourse) else ("plain", "eqlib", "nbgrader")
    for door in doors:
        course = root / door
        style.lay_out(course)
        own = "c = get_config()\n" if door == "plain" else OURS
        (course / "nbgrader_config.py").write_text(own + style.config, encoding="utf-8")
        done = nbgrader_command(course, "generate_assignment", style.assignment)
        assert done.returncode == 0, done.stderr[-1500:]
        if style.late:
            done = nbgrader_command(
                course, "db", "assignment", "add", style.assignment, "--duedate", "2026-02-01 10:00:00 UTC"
            )
            assert done.returncode == 0, done.stderr[-1500:]
        style.hand_in(course)
        if door == "eqlib":
            made = bulk.grade(course, style.assignment, feedback=False)
            said = "\n".join(made.problems)
        else:
            nbgrader_command(course, "autograde", style.assignment)
        found[door] = rows(course / "gradebook.db")
        if door == "plain":  # of what it could not finish it keeps rows, but no marked notebook
            whole = {path.parent.name for path in course.glob(f"autograded/*/{style.assignment}")}
            found[door] = {key: row for key, row in found[door].items() if key[1] in whole}
    return {"plain": found["nbgrader"], **found}, said


def judge(plain, ours):
    """equal, safer (fewer points, or a person asked), or worse (more points than plain gives)."""
    if plain == ours:
        return "equal"
    if plain is None or ours is None:
        return "safer" if plain is None else "worse"
    before, now = plain[0], ours[0]
    if now is None and len(ours) > 1 and ours[1]:
        return "safer"
    if isinstance(before, float | int) and isinstance(now, float | int) and now < before:
        return "safer"
    return "worse"


def compare(style, root):
    """(table, student, notebook, cell) -> verdicts of the two doors, with the values."""
    found, said = three_doors(style, root)
    table = {}
    for key in sorted({*found["plain"], *found["eqlib"], *found["nbgrader"]}):
        plain, one, two = (found[door].get(key) for door in ("plain", "eqlib", "nbgrader"))
        table[key] = (judge(plain, one), judge(plain, two), plain, one, two)
    return table, said


@pytest.mark.slow
@pytest.mark.parametrize("name", QUICK)
def test_no_row_is_worse_than_plain_and_both_doors_agree(tmp_path, name):
    table, said = compare(STYLES[name], tmp_path)
    assert table
    for key, (one, two, plain, ours, theirs) in table.items():
        assert "worse" not in (one, two), (key, plain, ours, theirs)
        assert ours == theirs or plain is None, (key, ours, theirs)
        if one == "safer" and plain is not None and ours[0] is not None:
            assert key[3] in said or key[1] in ("pass", "quiet", "blank"), (key, plain, ours, said)


if __name__ == "__main__":
    counts = {"equal": 0, "safer": 0, "worse": 0}
    chosen = sys.argv[1:]
    for name, style in {**STYLES, **OURSELVES, **THEIR_OWN}.items():
        if chosen and name not in chosen:
            continue
        with tempfile.TemporaryDirectory() as folder:
            table, _ = compare(style, Path(folder))
        print(f"{name}: {len(table)} rows")
        for key, (one, two, *values) in table.items():
            counts[one] += 1
            counts[two] += 1
            if one != "equal" or two != "equal" or values[1] != values[2]:
                print("  ", *key, f"eqlib grade: {one}, nbgrader autograde: {two}", values)
        sys.stdout.flush()
    print(counts)
