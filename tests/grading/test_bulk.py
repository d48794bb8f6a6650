"""A class marked in bulk: release, answer, mark; what gains nothing; what stops nobody else."""

import copy
import csv
import json
import os
import re
import subprocess
import sysconfig
from pathlib import Path

import nbformat
import pytest
from nbformat.v4 import new_code_cell, new_output

from eqlib.assess.load import load_questions
from eqlib.grading import bulk, summary
from eqlib.grading.course import Course, CourseError
from eqlib.grading.report import report
from eqlib.grading.run.sandbox import Limits
from eqlib.grading.summary import export

pytestmark = pytest.mark.slow
LIMITS = Limits(cell_seconds=6, notebook_seconds=90)
#: Worked by hand: "volume_ignored" gets K right (1 of 4 weights of a 4-point question).
WRONG = {"direction": "none", "K": "same", "reason": "volume_ignored"}


def marked(tiny, **more):
    made = bulk.grade(tiny.root, "tiny", limits=LIMITS, **more)
    return made, {row.student: row for row in made.rows}


def notes(made, student):
    return [line for line in made.problems if line.startswith(f"{student}:")]


def drop(book, *names):
    book.cells = [c for c in book.cells if c.metadata.get("nbgrader", {}).get("grade_id") not in names]
    return book


def in_gradebook(tiny, student):
    with tiny.course.gradebook() as gradebook:
        submission = gradebook.find_submission("tiny", student)
        grades = {
            g.name: (g.auto_score, g.manual_score, g.score, g.needs_manual_grade)
            for b in submission.notebooks
            for g in b.grades
        }
        comments = {c.name: c.comment for b in submission.notebooks for c in b.comments}
        return submission.score, grades, comments


def test_a_class_with_broken_notebooks_is_marked_and_each_is_named_in_one_line(tiny):
    tiny.hand_in(tiny.work("s01"))
    tiny.hand_in(tiny.work("s02", water=WRONG))
    tiny.hand_in(tiny.work("s03", code="Kc = ="))
    tiny.hand_in(tiny.work("s04", water={}, code=None, words=None, named=False))
    tiny.hand_in(tiny.work("s05"), drop(tiny.book(tiny.work("s05")), "water", "kc", "form-water"))
    looped = tiny.book(tiny.work("s06"))
    looped.cells.insert(3, new_code_cell("while True:\n    pass"))
    tiny.hand_in(tiny.work("s06"), looped)
    for student, data in {"s07": "Dear teacher", "s08": ""}.items():
        tiny.folder(student).mkdir(parents=True)
        (tiny.folder(student) / "tiny.ipynb").write_text(data, encoding="utf-8")
    tiny.folder("s09").mkdir(parents=True)
    tiny.hand_in(tiny.work("s10"), name="My work (1)")
    steps = []
    made, rows = marked(tiny, jobs=2, progress=lambda done, of, who: steps.append((done, of)))

    assert {s: rows[s].points for s in rows} == {
        "s01": 7, "s02": 4, "s03": 4, "s04": 0, "s05": 7, "s06": 7,
        "s07": None, "s08": None, "s09": None, "s10": 7,
    }  # fmt: skip
    assert steps == [(n, 10) for n in range(1, 11)]
    assert notes(made, "s01") == notes(made, "s02") == []
    expected = {
        "s03": "syntax error", "s04": "nothing was answered",
        "s05": "deleted cells were put back: form-water, water, kc", "s06": "ran too long and was stopped",
        "s07": "not JSON", "s08": "empty", "s09": "no notebook was handed in",
        "s10": "was taken for tiny.ipynb",
    }  # fmt: skip
    for student, words in expected.items():
        (line,) = notes(made, student)
        assert words in line
    assert rows["s02"].questions[0].mistakes == ("volume_ignored",)

    # nbgrader's own places are filled: gradebook, autograded notebooks, feedback, and the marks for a
    # spreadsheet.
    score, grades, comments = in_gradebook(tiny, "s01")
    assert score == 7
    assert grades == {"water": (4, None, 4, False), "kc": (3, None, 3, False), "why": (None, None, 0, True)}
    assert "3 of 3" in comments["answer-kc"]
    for student in ("s01", "s06", "s10"):
        assert (tiny.root / "autograded" / student / "tiny" / "tiny.ipynb").is_file()
        page = (tiny.root / "feedback" / student / "tiny" / "tiny.html").read_text(encoding="utf-8")
        assert "Score: 7.0 / 7.0 so far, 2 still open" in page
        assert "Score: not read yet / 2.0" in page
        # The list at the top says which question is which, and nothing of before the marking stands there.
        assert "Test cell" not in page
        assert "Grade cell" not in page
        for name, question in load_questions(tiny.root / "source" / "tiny").items():
            assert f'<a href="#{name}">{question.title}</a>' in page
        assert "will be marked after" not in page
        assert "eqlib-asleep" not in page
        assert "<pre>3.0" not in page
    with made.marks_csv.open(encoding="utf-8", newline="") as stream:
        table = {line["student"]: line for line in csv.DictReader(stream)}
    assert table["s02"]["water"] == "1"
    assert table["s02"]["total"] == "4"
    assert table["s07"]["total"] == ""
    assert "not JSON" in table["s07"]["to look at 1"]


CHEATS = {
    "patch": "import eqlib.notebook as n\nn.panel = panel = lambda q, *v: {'water': 4.0, 'kc': 3.0}[q]",
    "pass": "get_ipython().input_transformers_post.append(lambda lines: ['pass\\n'])",
    "exit": "import os\nos._exit(0)",
    "forge": "import builtins, eqlib.assess.mark as m\nm.Mark.points = 99.0",
}


def test_cheats_earn_what_their_recorded_answers_deserve(tiny):
    for student, code in CHEATS.items():
        work = tiny.work(student, water=WRONG, code="Kc = 1.0")
        book = tiny.book(work)
        book.cells.insert(2, new_code_cell(code))
        for cell in book.cells:
            if cell.metadata.get("nbgrader", {}).get("grade_id") == "water":
                cell.source = "4.0"
                cell.outputs = [new_output("execute_result", data={"text/plain": "4.0"}, execution_count=1)]
        tiny.hand_in(work, book)
    made, rows = marked(tiny, feedback=False)
    assert {student: rows[student].points for student in CHEATS} == dict.fromkeys(CHEATS, 1)
    (line,) = notes(made, "patch")
    assert "check cells showed 7 points where the recorded answers earn 1" in line
    for student in CHEATS:
        book = nbformat.read(tiny.root / "autograded" / student / "tiny" / "tiny.ipynb", as_version=4)
        check = next(c for c in book.cells if c.metadata.get("nbgrader", {}).get("grade_id") == "water")
        assert check.source == 'panel("water")'
        assert check.outputs[-1].data["text/plain"] == "1.0"


def test_hostile_outputs_and_words_do_not_run_in_feedback_or_marked_notebook(tiny):
    bomb = "<script>alert('boo')</script><img src=x onerror=alert(1)>"
    work = tiny.work("s01", words=f"Because {bomb}")
    book = tiny.book(work)
    showing = f"import IPython.display as d\nd.display(d.HTML({bomb!r}), d.Javascript('alert(2)'))"
    book.cells.append(new_code_cell(showing))
    tiny.hand_in(work, book)
    marked(tiny)
    page = (tiny.root / "feedback" / "s01" / "tiny" / "tiny.html").read_text(encoding="utf-8")
    body = page[page.index("<body") :]
    assert "Because" in body
    assert not re.search(r"<script|<img[^>]*onerror", body)
    outputs = (
        nbformat.read(tiny.root / "autograded" / "s01" / "tiny" / "tiny.ipynb", as_version=4)
        .cells[-1]
        .outputs
    )
    shown = json.dumps([output.get("data", {}) for output in outputs])
    assert "<script" not in shown
    assert "onerror" not in shown
    assert "alert(2)" not in shown


def test_answers_survive_in_the_notebook_alone_or_in_the_journal_alone(tiny):
    tiny.hand_in(tiny.work("s01"), journal=False)
    cleared = tiny.book(tiny.work("s02"))
    for cell in cleared.cells:
        if cell.cell_type == "code":
            cell.outputs, cell.execution_count = [], None
    tiny.hand_in(tiny.work("s02"), cleared)
    tiny.hand_in(tiny.work("s03"))
    (tiny.folder("s03") / "tiny.ipynb").unlink()
    damaged = tiny.book(tiny.work("s04"))
    for cell in damaged.cells:
        for output in cell.get("outputs", []):
            if "application/vnd.eqlib.answer+json" in output.data:
                output.data["application/vnd.eqlib.answer+json"]["answer"]["direction"] = "forward"
    tiny.hand_in(tiny.work("s04"), damaged)
    made, rows = marked(tiny, feedback=False)
    assert rows["s01"].points == 7
    assert rows["s02"].points == 7
    lost = {q.question: (q.points, q.state) for q in rows["s03"].questions}
    assert lost == {"water": (4, ""), "kc": (None, "not found"), "why": (None, "not found")}
    assert rows["s04"].points == 7  # an altered record does not count; the journal's does
    assert "marked from the journal" in notes(made, "s03")[0]
    assert any("receipt" in line for line in notes(made, "s04"))


def test_answers_lost_on_the_way_are_held_apart_and_are_in_no_mean(tiny):
    """Worked in, but saved with its outputs cleared and handed in without the journal: asked for, not 0."""
    tiny.hand_in(tiny.work("s01"))
    tiny.hand_in(tiny.work("s02", water=WRONG))
    cleared = tiny.book(tiny.work("s03", code=""))
    for cell in cleared.cells:
        if cell.cell_type == "code":
            cell.outputs, cell.execution_count = [], None
    tiny.hand_in(tiny.work("s03", code=""), cleared, journal=False)
    made, rows = marked(tiny, feedback=False)
    assert "no answers found: ask for the file answers-tiny.journal.json" in notes(made, "s03")[0]
    lost = {q.question: (q.points, q.state) for q in rows["s03"].questions}
    assert lost == {"water": (None, "not found"), "kc": (None, "not found"), "why": (None, "to read")}
    with made.marks_csv.open(encoding="utf-8", newline="") as stream:
        line = next(line for line in csv.DictReader(stream) if line["student"] == "s03")
    assert (line["water"], line["total"]) == ("not found", "")
    # A platform takes an empty place for no mark, and a 0 for a 0.
    path, _ = export(tiny.root, "tiny", ("id", "points", "of", "percent", "questions"))
    assert "s03,,,,,," in path.read_text(encoding="utf-8").splitlines()
    assert [row.student for row in made.marked] == ["s01", "s02"]
    told = report(tiny.root, "tiny")
    water = next(question for question in told.questions if question.question == "water")
    assert water.marked == 2
    assert water.mean == (4 + rows["s02"].questions[0].points) / 2
    assert "2 of 3 submissions marked" in (told.folder / "class.md").read_text(encoding="utf-8")

    # The journal handed in later completes it.
    tiny.hand_in(tiny.work("s03", code=""), cleared)
    _, rows = marked(tiny, feedback=False)
    assert rows["s03"].questions[0].points == 4


def test_a_file_of_another_assignment_is_named_though_that_was_never_released(tiny):
    """05 handed in as 04, and 05 has not been given out yet."""
    other = tiny.root / "source" / "other"
    other.mkdir()
    book = nbformat.v4.new_notebook(
        cells=[
            nbformat.v4.new_code_cell("1", metadata={"nbgrader": {**CELL, "grade_id": f"cell-{n}"}})
            for n in range(4)
        ]
    )
    nbformat.write(book, other / "other.ipynb")
    tiny.folder("s01").mkdir(parents=True)
    nbformat.write(book, tiny.folder("s01") / "tiny.ipynb")
    made, rows = marked(tiny, feedback=False)
    assert rows["s01"].points is None
    assert "tiny.ipynb is other; ask for the right file" in notes(made, "s01")[0]


CELL = {"grade": False, "locked": True, "schema_version": 3, "solution": False, "task": False}


def test_other_numbers_and_copies_are_marked_as_shown_and_flagged(tiny):
    work = tiny.work("s01")
    tiny.hand_in(work)
    tiny.folder("s02").mkdir(parents=True)
    nbformat.write(tiny.book(work), tiny.folder("s02") / "tiny.ipynb")
    made, rows = marked(tiny, feedback=False)
    assert rows["s02"].points == 7
    assert any("recorded under the id s01" in line for line in notes(made, "s02"))


def test_marking_again_keeps_marks_and_comments_given_by_hand(tiny):
    tiny.hand_in(tiny.work("s01"))
    marked(tiny, feedback=False)
    with tiny.course.gradebook() as gradebook:
        gradebook.find_grade("why", "tiny", "tiny", "s01").manual_score = 1.5
        gradebook.find_grade("water", "tiny", "tiny", "s01").manual_score = 2.0
        gradebook.find_comment("why", "tiny", "tiny", "s01").manual_comment = "Say more about Q."
        gradebook.db.commit()
    _, rows = marked(tiny)
    assert rows["s01"].points == 2.0 + 3 + 1.5
    score, grades, comments = in_gradebook(tiny, "s01")
    assert score == 6.5
    assert grades["water"][:3] == (4, 2.0, 2.0)
    assert comments["why"] == "Say more about Q."
    assert "Say more about Q." in (tiny.root / "feedback/s01/tiny/tiny.html").read_text(encoding="utf-8")

    # A later hand-in that cannot be read takes nothing away.
    (tiny.folder("s01") / "tiny.ipynb").write_text("no", encoding="utf-8")
    (tiny.folder("s01") / "answers-tiny.journal.json").unlink()
    made, rows = marked(tiny, feedback=False)
    assert "its earlier marks stand" in notes(made, "s01")[0]
    assert in_gradebook(tiny, "s01")[0] == 6.5
    assert (tiny.root / "autograded/s01/tiny/tiny.ipynb").is_file()


def nbgrader(root, *arguments):
    scripts = sysconfig.get_path("scripts")
    env = {**os.environ, "PATH": os.pathsep.join([scripts, os.environ["PATH"]])}
    done = subprocess.run(
        [str(Path(scripts) / "nbgrader"), *arguments],
        cwd=root,
        env=env,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr[-2000:]
    return done.stderr


def test_plain_nbgrader_gives_the_same_scores_and_its_other_commands_work(tiny):
    tiny.hand_in(tiny.work("s01"))
    tiny.hand_in(tiny.work("s02", water=WRONG, code="Kc = 97"))
    tiny.hand_in(tiny.work("s03", water=None, code=None, words=None, named=False))
    tiny.hand_in(tiny.work("s04", water={}), drop(tiny.book(tiny.work("s04", water={})), "water"))
    marked(tiny, feedback=False)
    ours = {student: in_gradebook(tiny, student)[:2] for student in ("s01", "s02", "s03", "s04")}
    for file in ("gradebook.db",):
        (tiny.root / file).unlink()
    nbgrader(tiny.root, "generate_assignment", "tiny", "--force")
    nbgrader(tiny.root, "autograde", "tiny", "--force")
    plain = {student: in_gradebook(tiny, student)[:2] for student in ours}
    assert plain == ours
    nbgrader(tiny.root, "generate_feedback", "tiny")
    assert "Score: 7.0 / 7.0" in (tiny.root / "feedback/s01/tiny/tiny.html").read_text(encoding="utf-8")
    nbgrader(tiny.root, "export")
    assert "s01" in (tiny.root / "grades.csv").read_text(encoding="utf-8")


def test_the_release_holds_no_solution_and_no_journal(tiny):
    (tiny.root / "source/tiny/answers-tiny.journal.json").write_text("{}", encoding="utf-8")
    folder = tiny.course.release("tiny")
    text = (folder / "tiny.ipynb").read_text(encoding="utf-8")
    assert "concentration" not in text
    assert "because" not in text
    assert sorted(path.name for path in folder.iterdir()) == ["questions.toml", "tiny.ipynb"]


def test_a_late_submission_is_timed(tiny):
    tiny.hand_in(tiny.work("s01"))
    (tiny.folder("s01") / "timestamp.txt").write_text("2026-02-01 10:00:00 UTC", encoding="utf-8")
    tiny.hand_in(tiny.work("s02"))
    (tiny.folder("s02") / "timestamp.txt").write_text("yesterday, about noon", encoding="utf-8")
    with tiny.course.gradebook() as gradebook:
        gradebook.update_or_create_assignment("tiny", duedate="2026-02-01 09:00:00 UTC")
    text = (tiny.root / "nbgrader_config.py").read_text(encoding="utf-8")
    plugin = (
        "import nbgrader.plugins as p\nclass Late(p.LateSubmissionPlugin):\n    penalty_method = 'none'\n"
    )
    plugin += "    def late_submission_penalty(self, student, score, seconds):\n        return 1.0\n"
    (tiny.root / "nbgrader_config.py").write_text(
        f"{text}\n{plugin}c.AssignLatePenalties.plugin_class = Late\n", encoding="utf-8"
    )
    tiny.course = Course.open(tiny.root)
    _, rows = marked(tiny, feedback=False)
    assert (rows["s01"].points, rows["s01"].penalty) == (6, 1)
    assert (rows["s02"].points, rows["s02"].penalty) == (7, 0)
    assert any("timestamp.txt" in line for line in rows["s02"].notes)
    assert not any("timestamp.txt" in line for line in rows["s01"].notes)


def test_answers_recorded_after_the_due_date_are_named_where_the_file_is_not_late(tiny):
    for student, stamp in (
        ("s01", "2020-01-01 10:00:00 UTC"),
        ("s02", ""),
        ("s03", "2019-12-31 10:00:00 UTC"),
    ):
        tiny.hand_in(tiny.work(student))
        if stamp:
            (tiny.folder(student) / "timestamp.txt").write_text(stamp, encoding="utf-8")
    with tiny.course.gradebook() as gradebook:
        gradebook.update_or_create_assignment("tiny", duedate="2020-01-01 09:00:00 UTC")
    _, rows = marked(tiny, feedback=False)
    said = {
        who: any("after the assignment was due" in line for line in row.notes) for who, row in rows.items()
    }
    assert said == {"s01": False, "s02": True, "s03": True}, "s01 is late, and said to be"


def test_a_course_that_is_none_is_named(tiny, tmp_path):
    with pytest.raises(CourseError, match="no such folder"):
        bulk.grade(tmp_path / "nowhere", "tiny")
    with pytest.raises(CourseError, match="no assignment 'other'"):
        bulk.grade(tiny.root, "other")
    with pytest.raises(CourseError, match="no submissions of tiny"):
        bulk.grade(tiny.root, "tiny")


def test_marks_are_replaced_whole_or_not_at_all(tmp_path, monkeypatch):
    path = tmp_path / "marks.csv"
    path.write_text("old", encoding="utf-8")
    monkeypatch.setattr(summary.os, "replace", lambda *a: (_ for _ in ()).throw(OSError("disk full")))
    with pytest.raises(OSError, match="disk full"):
        summary.write_atomically(path, "new")
    assert path.read_text(encoding="utf-8") == "old"
    assert [p.name for p in tmp_path.iterdir()] == ["marks.csv"]


def test_a_spreadsheet_takes_no_id_for_a_formula():
    row = summary.StudentRow("=1+1", 3.0, 9.0, notes=("@home",))
    assert summary.marks_table([row]).splitlines()[1].startswith("'=1+1,")


def test_the_table_says_how_much_is_open_where_an_answer_was_not_found():
    rows = (summary.QuestionRow("water", 4.0, 4.0), summary.QuestionRow("why", None, 2.0, state="not found"))
    made = summary.GradeSummary(Path(), "tiny", (summary.StudentRow("s01", 4.0, 6.0, rows),))
    table = summary.terminal_table(made, "Marks")
    columns = {column.header: [*column.cells] for column in table.columns}
    assert (columns["Still open"], columns["Points of what is marked"]) == (["2"], ["4 / 4"])


def test_the_table_shows_two_decimals():
    rows = (summary.QuestionRow("ice", 2 + 2 / 9, 4.0), summary.QuestionRow("why", None, 2.0))
    made = summary.GradeSummary(Path(), "tiny", (summary.StudentRow("s01", 2 + 2 / 9, 6.0, rows),))
    columns = {column.header: [*column.cells] for column in summary.terminal_table(made, "Marks").columns}
    assert (columns["ice"], columns["why"]) == (["2.22"], ["to read"])
    assert columns["Points of what is marked"] == ["2.22 / 4"]


def test_a_copy_of_a_released_notebook_is_not_changed_by_filling_it_in(tiny):
    before = copy.deepcopy(tiny.released)
    tiny.book(tiny.work("s01"))
    assert tiny.released == before
