"""The check cell never fails open: a finite built-in float in [0, points], or nothing where marks stay
hidden.
"""

import json
import math

import numpy as np
import pytest

from eqlib.assess.records import MIME, record_answer
from eqlib.errors import EqlibError
from eqlib.notebook import Lesson, restore

#: 5.00 mL 2.00 mM iron(III), 3.00 mL 2.00 mM thiocyanate, to 10 mL; A = 0.325, epsilon 4700, 1 cm: Kc 140.
#: The trade's reference item, worked by hand: x = 6.91e-5; 6.91e-5 / (9.31e-4 * 5.31e-4) = 140.
KC = 140.0


def given(folder, **answers):
    """A lesson in which these answers are recorded."""
    lesson = Lesson(folder)
    for question, answer in answers.items():
        lesson.store.save(question, answer)
    return lesson


class Liar(float):
    """A float that claims to equal anything."""

    def __eq__(self, other):
        return True

    __hash__ = float.__hash__

    def __ge__(self, other):
        return True


@pytest.mark.parametrize(
    ("answer", "points"),
    [
        ({"direction": "forward", "K": "same"}, 3.0),
        ({"direction": "forward", "K": "larger"}, 1.5),
        ({"direction": "reverse", "K": "larger"}, 0.0),
        ({}, 0.0),
    ],
)
def test_a_prediction_scores(folder, screen, answer, points):
    found = given(folder, iron=answer).check("iron")
    assert type(found) is float
    assert found == points


def test_a_missing_answer_is_zero_with_the_reason(folder, screen):
    assert Lesson(folder).check("iron") == 0.0
    assert "Nothing is recorded" in screen.text


@pytest.mark.parametrize("value", [KC, np.float64(KC), "140", "1,40·10^2 L/mol", 140])
def test_a_computed_value_is_recorded_and_scored(folder, screen, value):
    lesson = Lesson(folder)
    found = lesson.check("kc", value)
    assert type(found) is float
    assert found == 2.0
    (data,) = [data for data in screen.outputs.values() if MIME in data]
    assert data[MIME]["answer"] == {"kc": 140.0}
    assert Lesson(folder).store.record_of("kc").answer == {"kc": 140.0}


@pytest.mark.parametrize(
    "value",
    [math.nan, math.inf, -math.inf, True, [], {}, object(), "x" * 10_000_000, Liar(1.0), float, lambda: 1],
)
def test_no_object_earns_anything(folder, screen, value):
    found = Lesson(folder).check("kc", value)
    assert type(found) is float
    assert found == 0.0


@pytest.mark.parametrize("value", [None, ...])
def test_an_unfilled_scaffold_is_a_missing_answer(folder, screen, value):
    assert Lesson(folder).check("kc", value) == 0.0
    assert "no value yet" in screen.text


def test_the_variable_is_found_by_its_name(folder, screen, monkeypatch):
    class Shell:
        def __init__(self):
            self.user_ns = {"Kc": 140.0, "K": 1.0, "_kc": 2.0}

    monkeypatch.setattr("IPython.get_ipython", Shell)
    assert Lesson(folder).check("kc") == 2.0


def test_an_earlier_value_stands_when_the_code_gives_none_today(folder, screen):
    assert given(folder, kc={"kc": 140.0}).check("kc") == 2.0


def test_assessed_marks_stay_hidden_in_a_students_own_session(folder, screen, monkeypatch):
    monkeypatch.setenv("JPY_SESSION_NAME", str(folder / "a.ipynb"))
    lesson = given(folder, iron={"direction": "reverse", "K": "larger"})
    assert lesson.check("iron") is None
    assert "marked after you hand in" in screen.text
    for telling in ("0 of", "of 3 points", "Not right", "consistent with", "working"):
        assert telling not in screen.text


def test_validation_passes_what_is_recorded_and_points_at_what_is_not(folder, screen, monkeypatch):
    monkeypatch.setenv("NBGRADER_EXECUTION", "validate")
    lesson = given(folder, iron={"direction": "reverse", "K": "larger"})
    assert lesson.check("iron") is None
    assert lesson.check("fixed") == 0.0


def test_plain_autograding_without_restored_answers_reads_the_journal(folder, screen, monkeypatch):
    given(folder, iron={"direction": "forward", "K": "same"})
    monkeypatch.setenv("NBGRADER_EXECUTION", "autograde")
    assert Lesson(folder).check("iron") == 3.0
    assert Lesson(folder).check("fixed") == 0.0


def test_restored_answers_are_scored_with_the_students_own_numbers(folder, screen):
    record = record_answer("wells", "iron", {"direction": "forward", "K": "same"}, "s01")
    restore(json.dumps({"student": "s01", "records": {"iron": record.to_dict()}}))
    assert Lesson(folder).check("iron") == 3.0


def test_an_altered_record_scores_zero_and_says_why(folder, screen):
    altered = record_answer("wells", "iron", {"direction": "reverse"}, "s01").to_dict()
    altered["answer"] = {"direction": "forward", "K": "same"}
    restore({"student": "s01", "records": {"iron": altered}})
    assert Lesson(folder).check("iron") == 0.0
    assert "receipt" in screen.text


def test_while_marking_a_broken_course_is_an_error_and_not_a_score(tmp_path, screen):
    restore({"student": "s01", "records": {}})
    with pytest.raises(EqlibError, match=r"questions\.toml"):
        Lesson(tmp_path)


def test_a_student_meets_a_line_and_no_traceback(tmp_path, screen):
    lesson = Lesson(tmp_path)
    lesson.ask("iron")
    lesson.check("iron")
    assert screen.text.count("questions.toml") >= 2
    assert "Traceback" not in screen.text


def test_an_unknown_question_is_named(folder, screen):
    Lesson(folder).ask("irn")
    assert "no question 'irn'" in screen.text


def test_practice_says_at_once_how_it_went(practice, screen, monkeypatch):
    monkeypatch.setenv("JPY_SESSION_NAME", str(practice / "a.ipynb"))
    assert given(practice, fixed={"direction": "forward"}).check("fixed") == 2.0
    assert "2 of 2 points" in screen.text


def test_nothing_goes_to_the_error_stream(folder, screen, capfd):
    lesson = given(folder, iron={"direction": "forward", "K": "same"})
    lesson.intro()
    lesson.ask("iron")
    lesson.reveal("iron")
    lesson.check("iron")
    lesson.receipt()
    assert capfd.readouterr().err == ""
