"""Only cells from which an answer may come have to run; a change of the course's own cells makes all run."""

import copy
import json

import pytest
from nbformat.v4 import new_code_cell

from eqlib.grading.lean import cells_to_run, only_shows


def chosen(tiny, book):
    data = json.loads(json.dumps(book))
    ran = cells_to_run(data, tiny.released, tiny.questions)
    return None if ran is None else {data["cells"][i]["metadata"]["nbgrader"]["grade_id"] for i in ran}


def test_forms_and_outcomes_need_not_run(tiny):
    assert chosen(tiny, tiny.book(tiny.work("s01"))) == {"setup", "answer-kc", "kc"}


def test_a_cell_of_ones_own_makes_everything_run(tiny):
    book = copy.deepcopy(tiny.released)
    book.cells.append(new_code_cell("1 + 1"))
    assert chosen(tiny, book) is None


def test_a_changed_check_makes_everything_run(tiny):
    book = copy.deepcopy(tiny.released)
    cell = next(c for c in book.cells if c.metadata.get("nbgrader", {}).get("grade_id") == "water")
    cell.source = "4.0"
    assert chosen(tiny, book) is None


@pytest.mark.parametrize(
    ("source", "shows"),
    [
        ('lesson.ask("water")', True),
        ('lesson.check("water")', True),
        ('lesson.check("kc")', False),  # takes the value of a variable
        ('lesson.check("kc", Kc)', False),
        ('lesson.check("water", 3)', False),
        ('lesson.ask("water"); x = 1', False),
        ('lesson.ask(open("x"))', False),
        ('lesson.store.journal.write("x")', False),
        ("lesson.ask(", False),
        ("x = lesson.ask('water')", False),
    ],
)
def test_what_only_shows(tiny, source, shows):
    assert only_shows(source, tiny.questions) is shows
