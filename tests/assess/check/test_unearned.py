"""Nothing is given away: no number typed blind, no place of an option, no number on a page earns points."""

import math
import random
import re

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from eqlib.assess.check.unearned import (
    STUDENTS,
    Asked,
    Shown,
    best_guess,
    figures_in,
    lucky,
    numbers_asked,
    numbers_shown,
    places,
    printed,
)
from eqlib.assess.load import load_questions, read_questions

HEAD = """
[assignment]
id = "a1"
title = "T"
course = "c1"
"""


def number(name="q1", high=90, step=10, mode="assessed", prompt="{v} L", more="", unit=""):
    return f"""
[[question]]
id = "{name}"
kind = "number"
points = 1
title = "t"
mode = "{mode}"
prompt = "{prompt}"
reactions = [{{ text = "n-C4H10(g) <=> iso-C4H10(g)", K = "k" }}]
[question.numbers]
v = 2.00
k = [10, {high}, {step}]
{more}
[question.start]
totals = {{ "n-C4H10(g)" = 0.1 }}
[question.measured]
reading = "concentration"
species = "iso-C4H10(g)"
figures = 6
[[question.part]]
ask = "number"
quantity = "K"
id = "K"
{unit}
"""


def test_a_number_with_a_narrow_range_is_refused():
    # K is one of 10, 20, ... 90: nine values, each for about 200/9 = 22 students, 11 %.
    ((where, line),) = lucky(read_questions(HEAD + number()))
    assert where == "question 'q1'"
    assert "typed blind is right" in line
    # One of 10 to 910 in tens: 91 values, at most a handful of students each within 2 %.
    assert lucky(read_questions(HEAD + number(high=910))) == []
    assert lucky(read_questions(HEAD + number(mode="practice"))) == [], "practice earns nothing"


@given(st.lists(st.floats(0.01, 100), min_size=1, max_size=40), st.sampled_from([0.01, 0.05, 0.2]))
def test_the_best_blind_guess_is_the_best_of_very_many(values, tolerance):
    right = np.array(values)
    guess, share = best_guess(right, tolerance)

    def hits(g):
        return sum(abs(g - v) <= tolerance * v * (1 + 1e-12) for v in values)

    assert share * len(values) == pytest.approx(hits(guess))
    rng = random.Random(1)
    tried = [v * (1 + tolerance * rng.uniform(-1, 1)) for v in values for _ in range(20)]
    assert all(hits(g) <= share * len(values) + 1e-9 for g in tried)


def test_negative_numbers_are_guessed_as_well():
    assert best_guess(np.array([-57.0, -57.5, -20.0]), 0.02)[1] == pytest.approx(2 / 3)
    assert best_guess(np.array([math.nan]), 0.02) == (0.0, 0.0)


def picks(rights):
    """Questions whose right reason stands where ``rights`` says; water added: Q is above K for A <=> 2 B."""
    out = [HEAD]
    for n, place in enumerate(rights):
        options = ["two_boxes", "q_is_k", "static_stop"]
        options.insert(place, "q_below_K")
        out.append(
            f"""
[[question]]
id = "q{n}"
kind = "mixed"
points = 1
title = "t"
prompt = "?"
reactions = [{{ text = "N2O4(g) <=> 2 NO2(g)", K = 0.15, basis = "p" }}]
[question.start]
totals = {{ "N2O4(g)" = 0.02 }}
volume_L = 1.0
[question.stress]
kind = "change_volume"
mL = 2000
[[question.part]]
ask = "reason"
options = {options}
"""
        )
    return "".join(out)


@pytest.mark.parametrize(
    ("rights", "fine"),
    [([0, 0, 0, 0], False), ([2, 2], False), ([0, 1, 2, 3], True), ([0, 0, 1, 2], True), ([1], True)],
)
def test_right_options_in_one_place_of_the_file_are_refused(tmp_path, rights, fine):
    (tmp_path / "questions.toml").write_text(picks(rights))
    lines = places(load_questions(tmp_path))
    assert (lines == []) is fine, lines
    if not fine:
        assert f"place {rights[0] + 1}" in lines[0][1]


def test_shuffled_reasons_give_the_first_option_only_chance():
    questions = read_questions(picks([0] * 8))
    assert lucky(questions) == [], "the order shown is each student's own"


def one_way(count):
    """Questions of one part, the direction: to products in all of them."""
    return re.sub(r'ask = "reason"\noptions = .*', 'ask = "direction"', picks([0] * count))


def test_a_file_whose_answer_always_stands_at_an_end_of_the_row_is_refused():
    ((_, line),) = lucky(read_questions(one_way(8)))
    # Always forward, of three options; every other student has it first, so half of them are right blind.
    scored, chance = map(
        int, re.search(r"always the first option scores (\d+)%.*chance (\d+)%", line).groups()
    )
    assert 40 < scored < 60
    assert chance == 33
    beside = picks([0] * 8).replace(
        'ask = "reason"\noptions', 'ask = "direction"\n[[question.part]]\nask = "reason"\noptions'
    )
    assert lucky(read_questions(beside)) == [], "(1/2 + 1/4) / 2 beside (1/3 + 1/4) / 2: within a tenth"


def test_a_number_on_the_page_is_found():
    plain = read_questions(HEAD + number(high=910))
    assert printed(numbers_asked(plain), numbers_shown(plain)) == []
    told = read_questions(HEAD + number(high=910, prompt="{k} said the neighbour"))
    ((_, name, line),) = printed(numbers_asked(told), numbers_shown(told))
    assert name == "q1"
    assert "the prompt of question 'q1' for 100%" in line


def test_another_question_or_a_practice_result_or_a_text_that_answers_is_found():
    fixed = number("q2", high=10, step=10, mode="practice", prompt="?")
    both = read_questions(HEAD + number("q1", high=10, step=10, prompt="?") + fixed)
    lines = [line for _, name, line in printed(numbers_asked(both), numbers_shown(both)) if name == "q1"]
    assert ["the working of practice question 'q2'" in line for line in lines] == [True]
    alone = read_questions(HEAD + number("q1", high=10, step=10, prompt="?"))
    shown = numbers_shown(alone, [("cell 3", "On the bench K is 9.95 (from the table).")])
    ((_, _, line),) = printed(numbers_asked(alone), shown)
    assert "stands in cell 3 for 100% of the students" in line
    practice = read_questions(HEAD + number(mode="practice", high=10, step=10, prompt="?"))
    assert printed(numbers_asked(practice), numbers_shown(practice)) == [], "its own working is its own"


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("K = 139 and [Fe³⁺] = 1.25 × 10⁻⁴ mol/L", [139.0, 1.25e-4]),
        ("2.00 mM iron", [2.0, 0.002]),
        ("−57.2 kJ/mol at 25 °C", [-57.2, 25.0]),
        ("0,95 mL", [0.95]),
        ("FeSCN2+ and NO₂ and 4.6*10^-3", [4.6e-3]),
        ("## 7. What 2 NO₂ do", []),
        ("no number", []),
    ],
)
def test_numbers_are_found_in_a_text(text, found):
    assert figures_in(text) == pytest.approx(found)


def test_two_hundred_students_are_tried():
    assert STUDENTS == 200
    assert len(numbers_asked(read_questions(HEAD + number()))[0].right) == 200


def seen_by(share):
    """A number shown that is right (1.0) for this share of 200 students."""
    return np.where(np.arange(200) < round(200 * share), 1.0, 9.0)


@pytest.mark.parametrize(
    ("share", "assignment", "assessed", "refused"),
    [
        (0.10, "here", True, False),
        (0.11, "here", True, True),
        (0.11, "here", False, True),
        (0.50, "elsewhere", True, False),
        (0.51, "elsewhere", True, True),
        (1.00, "elsewhere", False, False),
    ],
)
def test_a_tenth_of_the_students_here_and_half_of_them_elsewhere(share, assignment, assessed, refused):
    asked = [Asked("here", "q", "K", "", np.ones(200), 0.02, assessed)]
    shown = [Shown(assignment, "other", "the prompt", seen_by(share))]
    assert bool(printed(asked, shown)) is refused


def test_what_is_let_pass_as_right_is_what_counts_as_read_off():
    asked = [Asked("here", "q", "K", "", np.full(200, 2.0), 0.05, True)]
    for value, refused in ((2.099, True), (2.11, False), (1.901, True), (1.89, False)):
        shown = [Shown("here", "other", "the prompt", np.full(200, value))]
        assert bool(printed(asked, shown)) is refused


@pytest.mark.parametrize(("share", "refused"), [(0.10, False), (0.105, True)])
def test_at_most_a_tenth_may_be_guessed_blind(monkeypatch, share, refused):
    # Right for a share of the students: 1.0; for the others numbers that are far from each other.
    right = np.where(np.arange(200) < round(200 * share), 1.0, 10.0 ** (np.arange(200) + 2.0))
    asked = [Asked("here", "q", "K", "", right, 0.02, True)]
    monkeypatch.setattr("eqlib.assess.check.unearned.numbers_asked", lambda _questions: asked)
    assert bool(lucky({})) is refused


def test_a_habit_is_judged_from_six_choices_on():
    few, enough = (one_way(count) for count in (5, 6))
    assert lucky(read_questions(few)) == []
    assert lucky(read_questions(enough)) != []


def test_a_practice_question_before_it_does_not_hide_a_number_that_can_be_typed_blind():
    """Three constants, 10, 20 and 30: one of them typed blind is right for a third."""
    narrow = number("narrow", high=30)
    text = HEAD + number("free", high=30, mode="practice") + narrow
    lines = lucky(read_questions(text))
    assert [where for where, _ in lines if where] == ["question 'narrow'"]
    assert "typed blind is right for" in lines[0][1]
