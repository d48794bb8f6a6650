"""A tiny course, made afresh in a scratch folder: one prediction, one number from code, one explanation."""

import shutil
from pathlib import Path

import nbformat
import pytest
from nbformat.v4 import new_code_cell, new_markdown_cell, new_notebook

from eqlib.grading.course import Course
from eqlib.grading.demo import Work, fill, hand_in

ASSIGNMENT = "tiny"
QUESTIONS = """
[assignment]
id = "tiny"
title = "A tiny assignment"
course = "evening-class"
mode = "assessed"

[[question]]
id = "water"
kind = "prediction"
points = 4
title = "Only water"
prompt = "{well_mL} mL of the mixture; {water_mL} mL of water is added."
reactions = [{ text = "Fe^3+ + SCN^- <=> FeSCN^2+", K = 140 }]
[question.numbers]
well_mL = [1.00, 2.00, 0.25]
water_mL = [2.00, 3.00, 0.25]
[question.start]
portions = [{ of_mM = { "Fe(NO3)3" = 5.0, KSCN = 2.0 }, mL = "well_mL" }]
[question.stress]
kind = "dilute"
mL = "water_mL"
[[question.part]]
ask = "direction"
[[question.part]]
ask = "K"
[[question.part]]
ask = "reason"
weight = 2
options = ["q_above_K", "q_below_K", "volume_ignored", "k_moves_conc"]

[[question]]
id = "kc"
kind = "number"
points = 3
title = "Kc"
prompt = "[Fe3+] {fe_mM} mM, [SCN-] 2.00 mM to start with; [FeSCN2+] is {concentration} mol/L."
reactions = [{ text = "Fe^3+ + SCN^- <=> FeSCN^2+", K = 140 }]
[question.numbers]
fe_mM = [3.00, 5.00, 0.50]
[question.start]
portions = [{ of_mM = { "Fe(NO3)3" = "fe_mM", KSCN = 2.00 }, mL = 10.0 }]
[question.measured]
reading = "concentration"
species = "FeSCN^2+"
figures = 4
[[question.part]]
ask = "number"
id = "kc"
quantity = "K"
label = "Kc"
code = true

[[question]]
id = "why"
kind = "explanation"
points = 2
title = "In words"
prompt = "Why?"
[[question.part]]
ask = "explain"
rubric = ["2 points: says why."]
"""
KERNEL = {"name": "python3", "display_name": "Python 3 (ipykernel)", "language": "python"}
#: Worked by hand from the prompt: K = x / ((F - x)(S - x)).
WORKING = """n = numbers("kc")
x = n["concentration"]
Kc = x / ((n["fe_mM"] / 1000 - x) * (0.002 - x))"""
#: Dilution: more particles on the reactants' side, so the reverse way; K stays.
RIGHT = {"direction": "reverse", "K": "same", "reason": "q_above_K"}


def meta(name, grade=False, locked=True, solution=False, points=None):
    data = {
        "schema_version": 3,
        "grade_id": name,
        "grade": grade,
        "locked": locked,
        "solution": solution,
        "task": False,
    }
    return {"nbgrader": {**data, **({"points": points} if points else {})}}


def source_notebook():
    return new_notebook(
        metadata={"kernelspec": KERNEL},
        cells=[
            new_markdown_cell("# A tiny assignment"),
            new_code_cell("from eqlib.notebook import numbers, panel, student", metadata=meta("setup")),
            new_code_cell("student()", metadata=meta("form-student")),
            new_code_cell("# The bottle of water stands ready.", metadata=meta("form-water")),
            new_code_cell('panel("water")', metadata=meta("water", grade=True, points=4)),
            new_code_cell("# The tube has been read.", metadata=meta("form-kc")),
            new_code_cell(
                f"### BEGIN SOLUTION\n{WORKING}\n### END SOLUTION",
                metadata=meta("answer-kc", locked=False, solution=True),
            ),
            new_code_cell('panel("kc", Kc)', metadata=meta("kc", grade=True, points=3)),
            new_markdown_cell(
                "because", metadata=meta("why", grade=True, locked=False, solution=True, points=2)
            ),
        ],
    )


def lay_out(root: Path) -> Path:
    folder = root / "source" / ASSIGNMENT
    folder.mkdir(parents=True)
    nbformat.write(source_notebook(), folder / f"{ASSIGNMENT}.ipynb")
    (folder / "questions.toml").write_text(QUESTIONS, encoding="utf-8")
    config = "from eqlib.grading.settings import configure\n\nc = get_config()\nconfigure(c, __file__)\n"
    (root / "nbgrader_config.py").write_text(config, encoding="utf-8")
    return root


class Tiny:
    """The course and the ways to hand something in."""

    def __init__(self, root: Path):
        self.root = root
        self.course = Course.open(root)
        self.questions = self.course.questions(ASSIGNMENT)
        self.released = self.course.released_notebooks(ASSIGNMENT)[ASSIGNMENT]

    def folder(self, student):
        return self.root / "submitted" / student / ASSIGNMENT

    def work(self, student, water=None, code=WORKING, words="Because of Q.", **more):
        answers = {"water": RIGHT if water is None else water} if water != {} else {}
        return Work(
            student, answers, {"answer-kc": code} if code else {}, {"why": words} if words else {}, **more
        )

    def book(self, work):
        return fill(self.released, work, self.questions)

    def hand_in(self, work, book=None, name=ASSIGNMENT, journal=True):
        return hand_in(
            self.folder(work.student), name, book or self.book(work), work, self.questions, journal
        )


@pytest.fixture(scope="session")
def _released(tmp_path_factory):
    root = lay_out(tmp_path_factory.mktemp("tiny") / "course")
    Course.open(root).release(ASSIGNMENT)
    return root


@pytest.fixture
def tiny(_released, tmp_path):
    """A fresh copy of the released course, with nothing handed in."""
    root = tmp_path / "course"
    shutil.copytree(_released, root)
    return Tiny(root)
