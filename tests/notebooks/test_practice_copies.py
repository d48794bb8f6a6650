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


def test_no_solution_remains(copies):
    text = (copies / f"{NAME}.ipynb").read_text("utf-8")
    assert "SOLUTION" not in text
    for cell in json.loads(text)["cells"]:
        assert not cell.get("outputs")


def test_a_copy_somebody_worked_in_is_left_alone(copies):
    spec = importlib.util.spec_from_file_location("practice_script", BINDER / "practice.py")
    script = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(script)
    mine = copies / f"{NAME}.ipynb"
    mine.write_text("my work", "utf-8")
    released = copies.parent / "released"
    released.mkdir(exist_ok=True)
    (released / mine.name).write_text("fresh", "utf-8")
    script.copy_out(released, copies)
    assert mine.read_text("utf-8") == "my work"


def test_the_image_installs_this_checkout_and_opens_the_assignment():
    assert re.fullmatch(r"python-3\.\d+\n", (BINDER / "runtime.txt").read_text("utf-8"))
    wanted = [
        line
        for line in (BINDER / "requirements.txt").read_text("utf-8").splitlines()
        if line and not line.startswith("#")
    ]
    assert wanted == [".[grading]"]
    after = (BINDER / "postBuild").read_text("utf-8")
    assert "python binder/practice.py" in after
    assert f"notebooks/practice/{NAME}/{NAME}.ipynb" in after
    assert (BINDER / "postBuild").stat().st_mode & 0o111
