"""The instructor's pages and the path are made from the course itself."""

import json
from pathlib import Path

import pytest

from eqlib.assess.load import load_questions
from eqlib.errors import EqlibError
from eqlib.grading.guide import ideas_of, misconceptions_page, opening_of, path_table

COURSE = Path(__file__).resolve().parents[2] / "notebooks"
NAMES = sorted(file.parent.name for file in (COURSE / "source").glob("*/questions.toml"))


@pytest.mark.parametrize("name", NAMES)
def test_every_notebook_opens_with_a_puzzle_aims_and_a_time(name):
    opening = opening_of(COURSE / "source" / name / f"{name}.ipynb")
    assert 15 <= opening.minutes <= 60
    assert len(opening.aims) >= 3
    assert opening.puzzle.endswith("?")


def test_the_path_names_every_notebook_in_order():
    table = path_table(COURSE, NAMES)
    places = [table.index(f"{name}.ipynb") for name in NAMES]
    assert len(NAMES) == 9
    assert places == sorted(places)


def test_every_misconception_can_show_in_some_question():
    page = misconceptions_page(COURSE, NAMES)
    assert page.count("\n| ") >= 41  # a line for each of forty and more, and the head
    assert "**none**" not in page


def test_a_squeeze_without_a_change_of_molecules_can_show_that_idea_and_a_stranger_cannot():
    """Facts of the trade: which idea a question can show at all."""
    heat = load_questions(COURSE / "source" / "06-heat-and-squeeze")
    assert "dn_zero" in ideas_of(heat["iodide"])
    strangers = load_questions(COURSE / "source" / "05-strangers")
    assert "not_in_equation" in ideas_of(strangers["hydroxide"])
    assert "dn_zero" not in ideas_of(strangers["hydroxide"])


def test_a_first_cell_without_aims_is_named_with_what_it_lacks(tmp_path):
    book = tmp_path / "x.ipynb"
    cell = {"cell_type": "markdown", "source": "# X\n\n**Why?**\n\nIt takes about fifty minutes."}
    book.write_text(json.dumps({"cells": [cell]}))
    with pytest.raises(EqlibError, match="When you are through"):
        opening_of(book)
