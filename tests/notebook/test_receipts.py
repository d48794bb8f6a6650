"""The receipt says what is answered and what is blank, and nothing of how well."""

import pytest

from eqlib.assess.load import load_questions
from eqlib.notebook.receipts import receipt_lines, receipt_page
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
