"""The receipt says what is answered and what is blank, and nothing of how well."""

from pathlib import Path

import pytest

from eqlib.assess.load import load_questions
from eqlib.notebook.record import receipt_lines, receipt_page, what_counts
from eqlib.notebook.store import Store


@pytest.fixture
def store(folder):
    return Store(load_questions(folder), folder)


def test_a_question_with_a_blank_part_is_not_done_and_the_part_is_named(store):
    question = store.questions["iron"]
    store.save("iron", {"direction": "forward"})
    (line,) = [line for line in receipt_lines(store) if line.title == question.title]
    assert not line.done
    assert f"blank: {question.part('K').label}" in line.recorded
    assert "Still to do: More iron(III)" in receipt_page(store)
    store.save("iron", {"K": "same"})  # the direction is kept
    (line,) = [line for line in receipt_lines(store) if line.title == question.title]
    assert line.done
    assert "1 of 6 questions are answered" in receipt_page(store)


def test_it_says_nothing_that_reads_as_marks(store):
    store.save("fixed", {"direction": "reverse"})  # wrong: more thiocyanate, more product
    page = receipt_page(store)
    assert "What they earn is worked out after you hand in" in page
    assert "of 13 points" not in page
    assert "not read yet" in page, "a written answer waits for a person"
    assert "Worth up to" in page, "the points of a question beside its ✓ are not the points earned"


def test_nothing_is_seen_of_what_is_only_worked_out():
    """04's last number is worked out from a reading: nothing happens after it that could end its changes."""
    course = Path(__file__).parents[2] / "notebooks" / "source" / "04-disturbing-an-equilibrium"
    questions = load_questions(course)
    assert what_counts(questions["kc"], locked=False) == "You can change it until you hand in."
    assert "until you have seen what happens" in what_counts(questions["iron"], locked=False)
    assert "stands as it was recorded" in what_counts(questions["iron"], locked=True)
