"""A marking that is stopped, cannot run code or meets a gradebook in use: nothing is lost or twice."""

import csv
import errno
import os
import shutil
import sqlite3
import stat
import subprocess
import sys

import pytest
from nbformat.v4 import new_code_cell, new_markdown_cell
from nbgrader.utils import get_username

from eqlib import cli
from eqlib.grading import bulk, desk, summary
from eqlib.grading.course import CourseError
from eqlib.grading.gradebook import Standing
from eqlib.grading.intake import collect_files
from eqlib.grading.report import report
from eqlib.grading.run.sandbox import Isolation

pytestmark = pytest.mark.slow
RIGHT = {"direction": "reverse", "K": "same", "reason": "q_above_K"}
UNMOVED = {"direction": "none", "K": "same", "reason": "volume_ignored"}


def marked(tiny, **more):
    seen = []
    made = bulk.grade(tiny.root, "tiny", log=lambda event, **facts: seen.append(facts.get("student")), **more)
    return made, {row.student: row for row in made.rows}, seen


def table(made):
    with made.marks_csv.open(encoding="utf-8", newline="") as stream:
        return {line["student"]: line for line in csv.DictReader(stream)}


def no_sandbox(monkeypatch):
    class Nothing:
        isolation, door = Isolation("none"), None

        def __init__(self, cover=()):
            pass

        def close(self):
            pass

    monkeypatch.setattr(desk, "Sandbox", Nothing)


def test_what_could_not_be_run_is_not_run_everywhere_and_is_completed_later(tiny, monkeypatch):
    tiny.hand_in(tiny.work("s01"))
    with monkeypatch.context() as patch:
        no_sandbox(patch)
        made, rows, _ = marked(tiny)
        row = rows["s01"]
        assert (row.points, row.could_be, row.not_run, row.to_read) == (4, 4, 1, 1)
        line = table(made)["s01"]
        assert (line["kc"], line["why"], line["total"]) == ("not run", "to read", "4")
        assert "bubblewrap" in line["to look at 1"]
        assert "No code of the submissions was run" in made.notices[0]
        shown = report(tiny.root, "tiny")
        kc = next(q for q in shown.questions if q.question == "kc")
        assert (kc.mean, kc.not_run, kc.none) == (None, 1, 0)
        assert "bubblewrap" in (shown.folder / "class.md").read_text(encoding="utf-8")
        page = (tiny.root / "feedback/s01/tiny/tiny.html").read_text(encoding="utf-8")
        assert "Score: not run / 3.0" in page
        with pytest.raises(bulk.NoSandbox, match="bubblewrap"):
            marked(tiny, require_sandbox=True)
    made, rows, seen = marked(tiny)
    if made.notices and "No code" in made.notices[0]:
        pytest.skip("nothing of a student's can be run here")
    assert seen == ["s01"]
    assert (rows["s01"].points, rows["s01"].could_be) == (7, 7)


def test_only_what_is_new_or_changed_is_marked_again(tiny):
    for student in ("s01", "s02"):
        tiny.hand_in(tiny.work(student))
    assert sorted(marked(tiny, feedback=False)[2]) == ["s01", "s02"]
    made, rows, seen = marked(tiny, feedback=False)
    assert (seen, made.kept, rows["s01"].points) == ([], 2, 7)
    tiny.hand_in(tiny.work("s02", water={"direction": "none", "K": "same", "reason": "volume_ignored"}))
    made, rows, seen = marked(tiny, feedback=False)
    assert (seen, rows["s02"].points) == (["s02"], 4)
    assert marked(tiny, feedback=False, only=["s01"], force=True)[2] == ["s01"]
    assert len(marked(tiny, feedback=False, force=True)[2]) == 2
    with pytest.raises(CourseError, match="nothing handed in by s09"):
        marked(tiny, only=["s09"])


def test_a_gradebook_in_use_is_one_line_and_what_is_saved_is_safe(tiny):
    for student in ("s01", "s02"):
        tiny.hand_in(tiny.work(student))
    marked(tiny, feedback=False, only=["s01"])
    held = sqlite3.connect(tiny.root / "gradebook.db", isolation_level=None)
    held.execute("begin exclusive")
    with pytest.raises(bulk.GradebookError, match="database is locked: another program holds it") as caught:
        marked(tiny, feedback=False)
    assert len(str(caught.value).splitlines()) == 1
    held.close()
    assert marked(tiny, feedback=False)[2] == ["s02"]
    assert list((tiny.root / "backups").glob("gradebook-*.db"))


@pytest.mark.parametrize(
    ("refused", "words"),
    [(errno.ENOSPC, "No space left on device"), (errno.EROFS, "Read-only file system")],
)
def test_a_disk_that_refuses_is_one_line_and_what_is_saved_is_safe(tiny, monkeypatch, capsys, refused, words):
    no_sandbox(monkeypatch)
    for student in ("s01", "s02"):
        tiny.hand_in(tiny.work(student))
    marked(tiny, only=["s01"])
    prepare = bulk.prepare

    def full(target, files):
        if "s02" in target.parts:
            raise OSError(refused, os.strerror(refused), str(target))
        return prepare(target, files)

    with monkeypatch.context() as patch:
        patch.setattr(bulk, "prepare", full)
        assert cli.run(["grade", str(tiny.root), "tiny", "-q"]) == 1
    out, err = capsys.readouterr()
    (line,) = err.splitlines()
    assert words in line
    assert "mark again" in line
    assert "safe" in out
    made, rows, seen = marked(tiny)
    assert (seen, made.stopped) == (["s02"], "")
    assert rows["s01"].points == rows["s02"].points == 4


def test_from_release_to_feedback_through_the_exchange(tiny, monkeypatch, tmp_path):
    """nbgrader's own commands on both sides; the student is whoever runs the tests."""
    no_sandbox(monkeypatch)

    def nbgrader(where, *command):
        whole = [sys.executable, "-m", "nbgrader", *command]
        subprocess.run(whole, cwd=where, capture_output=True, check=True)

    desk_of_student = tmp_path / "student"
    desk_of_student.mkdir()
    (desk_of_student / "nbgrader_config.py").write_text(
        f"c = get_config()\nc.CourseDirectory.course_id = 'equilibrium'\n"
        f"c.Exchange.root = {str(tiny.root / 'exchange')!r}\nc.Exchange.cache = {str(tmp_path / 'cache')!r}\n"
    )
    nbgrader(tiny.root, "release_assignment", "tiny")
    nbgrader(desk_of_student, "fetch_assignment", "tiny")
    student = get_username()
    handed_in = tiny.hand_in(tiny.work(student, water=UNMOVED)).parent
    shutil.copytree(handed_in, desk_of_student / "tiny", dirs_exist_ok=True)
    shutil.rmtree(tiny.root / "submitted")
    nbgrader(desk_of_student, "submit", "tiny")
    nbgrader(tiny.root, "collect", "tiny")
    _, rows, _ = marked(tiny)
    points = rows[student].points
    assert 0 < points < 4
    with tiny.course.gradebook() as gradebook:
        gradebook.find_grade("why", "tiny", "tiny", student).manual_score = 1.5
        gradebook.find_comment("why", "tiny", "tiny", student).manual_comment = "Say which way."
        gradebook.db.commit()
    nbgrader(tiny.root, "generate_feedback", "tiny")
    nbgrader(tiny.root, "release_feedback", "tiny")
    nbgrader(desk_of_student, "fetch_feedback", "tiny")
    (page,) = (desk_of_student / "tiny" / "feedback").glob("*/tiny.html")
    text = page.read_text("utf-8")
    assert "Say which way." in text
    assert f"{points + 1.5:g}" in text
    assert "You said" in text


def test_a_wrong_prediction_comes_back_beside_what_happened(tiny):
    """Water on iron thiocyanate: two particles on the left, one on the right, so it goes back (textbook)."""
    paper, pages = tiny.course.paper("tiny"), {}
    for student, water in (("wrong", UNMOVED), ("right", RIGHT)):
        book = tiny.book(tiny.work(student, water=water))
        for cell in book.cells:
            cell.metadata["eqlib"] = {"said": {"direction": "forward"}}  # not theirs to say
        tiny.hand_in(tiny.work(student, water=water), book)
        given = collect_files(student, [tiny.folder(student)])
        pages[student] = desk.do(paper, desk.Task(given, Standing()), None).pages["tiny"]
    _, _, row = pages["wrong"].partition("Which way does the equilibrium shift?")
    said, _, did = row.partition("</tr>")[0].rpartition("<td")
    assert "no shift" in said
    assert "to reactants" in did
    assert "Only water: what happened. before: " in pages["wrong"]
    assert "You said" not in pages["right"]
    assert "what happened" not in pages["right"]


def test_files_of_marks_are_private(tiny):
    tiny.hand_in(tiny.work("s01"))
    made, _, _ = marked(tiny)
    private = [made.marks_csv, made.folder / "marks.json", tiny.root / "feedback/s01/tiny/tiny.html"]
    private.append(tiny.root / "autograded/s01/tiny/tiny.ipynb")
    for path in private:
        assert stat.S_IMODE(path.stat().st_mode) == 0o600, path
    assert stat.S_IMODE(made.folder.stat().st_mode) == 0o700


def test_marks_by_hand_reach_the_table_and_the_export(tiny):
    tiny.hand_in(tiny.work("s01"))
    made, _, _ = marked(tiny, feedback=False)
    with tiny.course.gradebook() as gradebook:
        gradebook.find_grade("why", "tiny", "tiny", "s01").manual_score = 1.5
        gradebook.update_or_create_student("s01", first_name="=cmd()", last_name="Ö")
        gradebook.db.commit()
    path, count = summary.export(tiny.root, "tiny", ("id", "first", "points", "of", "percent", "questions"))
    assert count == 1
    with path.open(encoding="utf-8", newline="") as stream:
        (line,) = csv.DictReader(stream)
    assert line == {
        "id": "s01", "first": "'=cmd()", "points": "8.5", "of": "9", "percent": "94.4",
        "water": "4", "kc": "3", "why": "1.5",
    }  # fmt: skip
    assert table(made)["s01"]["why"] == "1.5"
    assert report(tiny.root, "tiny").questions[-1].mean == 1.5


def test_the_commonest_accidents_are_marked_and_named(tiny):
    copied = tiny.book(tiny.work("s01"))
    names = [cell.metadata.get("nbgrader", {}).get("grade_id") for cell in copied.cells]
    place = names.index("answer-kc")
    copied.cells.insert(
        place, new_code_cell("# Your working goes here.", metadata=copied.cells[place].metadata)
    )
    tiny.hand_in(tiny.work("s01"), copied)
    bare = tiny.book(tiny.work("s02", words=None))
    for cell in bare.cells:
        cell.metadata.pop("nbgrader", None)
    bare.cells.append(new_markdown_cell("It goes back because Q is above K now."))
    tiny.hand_in(tiny.work("s02", words=None), bare)
    (tiny.root / "submitted/s03").mkdir(parents=True)
    os.replace(tiny.hand_in(tiny.work("s04")).parent, tiny.root / "submitted/s03/Tiny (2)")
    (tiny.root / "submitted/s05/other").mkdir(parents=True)
    made, rows, _ = marked(tiny, feedback=False)
    assert rows["s01"].points == 7
    assert any("answer-kc is there twice" in line for line in rows["s01"].notes)
    assert rows["s02"].points >= 4
    assert next(q for q in rows["s02"].questions if q.question == "why").state == "to read"
    assert rows["s03"].points == 7
    assert {"s04", "s05"} <= set(made.absent)
    assert all(len(row.notes) <= 3 for row in made.rows)


def test_an_answer_that_appears_only_while_marking_does_not_count(tiny):
    book = tiny.book(tiny.work("s01", water={}))
    forged = (
        "from eqlib.assess.records import record_answer, MIME\nfrom IPython.display import display\n"
        "said = {'direction': 'reverse', 'K': 'same', 'reason': 'q_above_K'}\n"
        "made = record_answer('tiny', 'water', said, 's01')\n"
        "display({MIME: made.to_dict(), 'text/plain': 'x'}, raw=True)"
    )
    book.cells.append(new_code_cell(forged))
    tiny.hand_in(tiny.work("s01", water={}), book)
    made, rows, _ = marked(tiny, feedback=False)
    if made.notices and "No code" in made.notices[0]:
        pytest.skip("nothing of a student's can be run here")
    assert rows["s01"].points == 3
    assert any("only while marking" in line for line in rows["s01"].notes)


def test_one_monstrous_file_does_not_stop_the_class(tiny, monkeypatch):
    monkeypatch.setattr(bulk, "_PROCESSORS", 2)
    tiny.hand_in(tiny.work("s01"))
    book = tiny.book(tiny.work("s02"))
    shown = next(cell for cell in book.cells if cell.get("outputs"))
    shown.outputs[0].data["text/html"] = "<svg>" * 120_000
    tiny.hand_in(tiny.work("s02"), book)
    tiny.folder("s03").mkdir(parents=True)
    (tiny.folder("s03") / "tiny.ipynb").write_bytes(b'{"cells": ' + b"[" * 3_000_000)
    _, rows, _ = marked(tiny)
    assert rows["s01"].points == rows["s02"].points == 7
    assert "not JSON" in rows["s03"].notes[0]
    assert summary.read(tiny.root, "tiny")[2].points is None
