"""What is odd about a submission, each limit from both sides; none of it costs a point."""

import json
from datetime import UTC, datetime, timedelta

import pytest

from eqlib.assess.records.collect import Collected, oddities, rescue
from eqlib.assess.records.record import FORMAT, MIME, SEEN, Record, record_answer

START = datetime(2026, 1, 31, 18, 5, tzinfo=UTC)


def at(seconds):
    return (START + timedelta(seconds=seconds)).isoformat()


def kept(*answers, opened=(), student="s01"):
    """A submission with these (question, seconds) and outcomes opened by (who, question, seconds)."""
    found = Collected()
    for question, seconds in answers:
        found[question] = record_answer("04", question, {"direction": "none"}, student, at=at(seconds))
    found.opened = [(who, question, START + timedelta(seconds=seconds)) for who, question, seconds in opened]
    return found


@pytest.mark.parametrize(
    ("answers", "lines"),
    [
        ([("a", 0), ("b", 0.5), ("c", 1.0)], 1),
        ([("a", 0), ("b", 0.5), ("c", 1.5)], 0),
        ([("a", 0), ("b", 0)], 0),
        ([("a", 0), ("b", 0), ("eqlib:seen:a", 0)], 0),  # our own notes are no answers
        ([("a", 0), ("b", 0), ("student", 0)], 0),
    ],
)
def test_answers_all_at_once(answers, lines):
    found = oddities(kept(*answers), now=START + timedelta(days=1))
    assert len(found) == lines
    for line in found:
        assert line == "all 3 answers were recorded within one second (2026-01-31 18:05:00 UTC)"


@pytest.mark.parametrize(
    ("answers", "says"),
    [
        ([("a", 600)], None),  # clocks differ by ten minutes
        (
            [("a", 601)],
            (
                "1 recorded answer carries a time later than the time of marking (the first: a, "
                "2026-01-31 18:15:01 UTC)"
            ),
        ),
        (
            [("b", 900), ("a", 700)],
            (
                "2 recorded answers carry times later than the time of marking (the first: a, 2026-01-31 "
                "18:16:40 UTC)"
            ),
        ),
    ],
)
def test_answers_from_the_future(answers, says):
    assert oddities(kept(*answers), now=START) == ([says] if says else [])


@pytest.mark.parametrize(
    ("opened", "odd"),
    [
        (("s02", "a", -1), True),
        (("s02", "a", 0), False),
        (("s02", "a", 1), False),
        (("S 01", "a", -1), False),
        (("s02", "b", -1), False),  # that one was not answered
    ],
)
def test_an_outcome_opened_under_another_id_before_it_was_answered(opened, odd):
    found = oddities(kept(("a", 0), opened=[opened]), now=START + timedelta(days=1))
    says = (
        "the outcome of 'a' was opened under the id 's02' at 2026-01-31 18:04:59 UTC, before it "
        "was answered under 's01' at 2026-01-31 18:05:00 UTC"
    )
    assert found == ([says] if odd else [])
    nobody = oddities(kept(("a", 0), opened=[("", "a", -1)]), now=START + timedelta(days=1))
    assert "was opened under no id at" in nobody[0]


@pytest.mark.parametrize(
    ("source", "odd"),
    [
        ("import eqlib as eq", False),
        ("from eqlib import panel, bench", False),
        ("import eqlib.assess", True),
        ("from eqlib.assess.mark import mark", True),
        ("from eqlib import mark", True),
        ("from eqlib import load_questions", True),
        ("import eqlib as e\ne.mark(1)", True),
        ("import eqlib as e\ne.panel(1)", False),
        ("eqlib.grading", True),
        ("x.grading", False),
        ("# eqlib.assess is a word", False),
        ("from eqlib.assess import (", True),  # not Python, but told all the same
        ("from eqlib.notebook import (", False),
        (["import eqlib\n", "eqlib.load_questions('.')"], True),
        ("from eqlib.assessment import x", False),
    ],
)
def test_a_cell_that_imports_the_marker(source, odd):
    cells = [
        {"cell_type": "markdown", "source": "import eqlib.assess"},
        {"cell_type": "code", "source": source},
    ]
    found = oddities(kept(), {"cells": cells})
    assert found == (["cell 2 imports the part of eqlib that marks"] if odd else [])
    ours = {**cells[1], "metadata": {"eqlib": {"restoring": True}}}
    assert oddities(kept(), {"cells": [ours]}) == []
    assert oddities(kept(), {"cells": ["text", *cells[:1]]}) == []


def test_an_answer_in_any_alphabet_can_be_recorded_and_read_again():
    made = record_answer("04", "why", {"explain": "Weil ΔH < 0 ist: naïve Ö → ⇌"}, "s01", at=at(0))
    again = Record.from_json(json.dumps(made.to_dict()))
    assert again.answer == {"explain": "Weil ΔH < 0 ist: naïve Ö → ⇌"}
    assert again.receipt == made.receipt
    assert len(made.receipt) == 8


def test_the_names_under_which_answers_stand_in_saved_notebooks_stay_what_they_are():
    """Changing one would lose what a class has recorded."""
    assert MIME == "application/vnd.eqlib.answer+json"
    assert (SEEN, FORMAT) == ("eqlib:seen:", 1)
    made = record_answer("04", "a", {"direction": "none"}, "s01", at=at(0)).to_dict()
    assert {"format", "assignment", "question", "student", "answer", "at", "receipt"} <= set(made)


@pytest.mark.parametrize("place", ["metadata", "output"])
def test_an_answer_kept_in_one_place_of_a_notebook_is_brought_to_safety(tmp_path, place):
    made = record_answer("04", "a", {"direction": "none"}, "s01", at=at(0))
    metadata = {"eqlib": {"records": {"a": made.to_dict()}}} if place == "metadata" else {}
    output = {"output_type": "display_data", "data": {MIME: made.to_dict()}, "metadata": {}}
    cell = {"cell_type": "code", "outputs": [output] if place == "output" else []}
    (tmp_path / "mine.ipynb").write_text(json.dumps({"cells": [cell], "metadata": metadata}))
    assert rescue(tmp_path).bundle("a")[MIME]["answer"] == {"direction": "none"}
    (tmp_path / "mine.ipynb").unlink()
    assert rescue(tmp_path, write=False).bundle("a")[MIME]["answer"] == {"direction": "none"}, (
        "the journal has it"
    )
