"""The self-study image: practice copies without solutions, answers told at once, nothing of anybody's
overwritten.
"""

import importlib.util
import json
import re
import subprocess
import sys
from pathlib import Path

import pytest

BINDER = Path(__file__).resolve().parents[2] / "binder"
NAME = "04-disturbing-an-equilibrium"


@pytest.fixture(scope="module")
def copies(tmp_path_factory):
    target = tmp_path_factory.mktemp("copies")
    done = subprocess.run(
        [sys.executable, str(BINDER / "practice.py"), str(target)],
        capture_output=True,
        text=True,
        check=False,
        timeout=300,
    )
    assert done.returncode == 0, done.stderr
    assert f"{NAME}.ipynb" in done.stdout
    return target / NAME


def test_the_copies_are_for_practice(copies):
    from eqlib.assess.load import load_questions

    questions = load_questions(copies)
    assert questions.assignment.mode == "practice"
    assert {question.mode for question in questions.values()} == {"practice"}


def every(copies):
    """All practice notebooks and the page that shows the path."""
    found = [*sorted(copies.parent.glob("*/*.ipynb")), copies.parent / "start.ipynb"]
    assert len(found) == 10
    return found


def test_no_solution_remains(copies):
    for path in every(copies):
        text = path.read_text("utf-8")
        assert "SOLUTION" not in text
        for cell in json.loads(text)["cells"]:
            assert not cell.get("outputs")


def test_nobody_is_spoken_to_as_in_a_class(copies):
    words = re.compile(
        r"hand(ed|ing)? (it )?in\b|instructor|person reads|\byour id\b|neighbour|without a class", re.I
    )
    for path in every(copies):
        for cell in json.loads(path.read_text("utf-8"))["cells"]:
            assert not words.search("".join(cell["source"])), (path.name, cell["id"])
    for path in copies.parent.glob("*/questions.toml"):
        assert not words.search(path.read_text("utf-8")), path.parent.name


def test_each_copy_can_be_taken_home_and_brought_back(copies):
    for path in every(copies):
        sources = ["".join(cell["source"]) for cell in json.loads(path.read_text("utf-8"))["cells"]]
        assert sum("keep()" in source for source in sources) == 1, path.name


def test_hints_come_with_the_copy_and_rubrics_as_questions_to_oneself(copies):
    from eqlib.assess.load import load_questions

    questions = load_questions(copies.parent / "05-strangers")
    assert questions["phosphate"].hints
    assert "Is this in it:" in questions["explain"].prompt


def test_the_page_that_shows_the_path_links_to_every_notebook(copies):
    page = json.loads((copies.parent / "start.ipynb").read_text("utf-8"))
    (words, *_) = ["".join(cell["source"]) for cell in page["cells"]]
    links = re.findall(r"\]\((\S+\.ipynb)\)", words)
    assert len(links) == 9
    assert all((copies.parent / link).is_file() for link in links)


def test_a_copy_somebody_worked_in_is_left_alone(copies):
    spec = importlib.util.spec_from_file_location("practice_script", BINDER / "practice.py")
    script = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(script)
    mine = copies / f"{NAME}.ipynb"
    before = mine.read_text("utf-8")
    mine.write_text("my work", "utf-8")
    released = copies.parent / "released"
    released.mkdir(exist_ok=True)
    (released / mine.name).write_text("fresh", "utf-8")
    script.copy_out(released, copies)
    assert mine.read_text("utf-8") == "my work"
    mine.write_text(before, "utf-8")


def test_the_image_installs_this_checkout_and_opens_the_path():
    assert re.fullmatch(r"python-3\.\d+\n", (BINDER / "runtime.txt").read_text("utf-8"))
    wanted = [
        line
        for line in (BINDER / "requirements.txt").read_text("utf-8").splitlines()
        if line and not line.startswith("#")
    ]
    assert wanted == [".[grading]"]
    after = (BINDER / "postBuild").read_text("utf-8")
    assert "python binder/practice.py" in after
    assert "notebooks/practice/start.ipynb" in after
    assert (BINDER / "postBuild").stat().st_mode & 0o111
