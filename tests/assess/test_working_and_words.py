"""The worked solution holds the student's own numbers; what is said is kind; help comes bit by bit."""

import math
import re
from pathlib import Path

import pytest

from eqlib.assess import feedback
from eqlib.assess.kinds_reasons import SAID, SOUND, reason_label
from eqlib.assess.marking import mark
from eqlib.assess.mistakes import MISTAKES
from eqlib.assess.questions import load_questions

FOLDER = Path(__file__).parents[2] / "notebooks" / "source" / "04-disturbing-an-equilibrium"
STUDENTS = [f"s{n:02d}" for n in range(1, 41)]


@pytest.fixture(scope="module")
def questions():
    return load_questions(FOLDER)


def in_words(value):
    """Three figures as the working writes them, by an independent route."""
    if 1e-3 <= abs(value) < 1e4:
        return f"{value:.3g}" if abs(value) < 100 or abs(value) >= 1000 else f"{value:.0f}"
    power = math.floor(math.log10(abs(value)))
    return f"{value / 10**power:.2f} × 10{str(power).translate(str.maketrans('-0123456789', '⁻⁰¹²³⁴⁵⁶⁷⁸⁹'))}"


@pytest.mark.parametrize("student", STUDENTS)
def test_the_working_of_kc_is_the_students_own(questions, student):
    shown = {name: float(text) for name, text in questions["kc"].variant(student).shown.items()}
    prompt = questions["kc"].prompt_for(student)
    A = float(re.search(r"A = ([\d.]+)\.", prompt).group(1))
    fe, scn = 2.5e-3 * shown["fe_mL"] / 10, 2e-3 * shown["scn_mL"] / 10
    x = (A - shown["blank"]) / (4700 * shown["path_cm"])
    working = questions["kc"].outcome(student).working
    for value in (scn, x, fe - x, scn - x):
        assert in_words(value) in working, (value, in_words(value), working)
    assert in_words(x / ((fe - x) * (scn - x))) in working
    assert "| Initial |" in working
    assert "| Equilibrium |" in working


@pytest.mark.parametrize(("name", "names"), [("silver", ["AgSCN(s)", "SCN⁻"]), ("oxalate", ["C₂O₄", "Fe³⁺"])])
def test_the_working_names_the_competing_equilibrium(questions, name, names):
    working = questions[name].outcome("s01").working
    line = next(line for line in working.splitlines() if line.startswith("A competing equilibrium takes"))
    assert all(piece in line for piece in names)
    assert "competing equilibrium takes" not in questions["water"].outcome("s01").working


def test_working_compares_q_with_k(questions):
    for name in ("iron", "thiocyanate", "warm", "water", "solid", "silver", "oxalate", "q"):
        working = questions[name].outcome("s01").working
        assert "Q" in working
        assert "K" in working
        assert "| Before |" in working


def test_cautions_come_with_every_reagent_that_is_named(questions):
    for name in ("iron", "thiocyanate", "warm", "water", "silver", "oxalate", "q", "kc"):
        said = " ".join(questions[name].outcome("s01").cautions)
        for needed in ("potassium thiocyanate", "eye protection", "safety data sheet", "Waste"):
            assert needed in said, (name, needed)
    assert "Silver nitrate burns" in " ".join(questions["silver"].outcome("s01").cautions)
    assert "oxalate" in " ".join(questions["oxalate"].outcome("s01").cautions)
    assert "silver nitride" in " ".join(questions["solid"].outcome("s01").cautions)


SCOLDING = re.compile(
    r"\b(wrong|incorrect|fail|failed|bad|invalid|illegal|must|should have|obviously|simply|easy|error|"
    r"mistake|stupid|careless|you forgot|you did not|!)",
    re.IGNORECASE,
)


def everything_said():
    yield from (value for name, value in vars(feedback).items() if name.isupper() and isinstance(value, str))
    yield from (feedback.wrong_part(name) for name in MISTAKES)
    yield from (feedback.wrong_part(None, kind) for kind in ("choice", "number"))


def test_nothing_that_is_said_scolds():
    for text in everything_said():
        assert not SCOLDING.search(text), text
        assert text[0].isupper()
        assert text.rstrip()[-1] in ".?", text


def test_every_misconception_that_can_be_offered_has_a_hint():
    for name in SAID:
        assert name in MISTAKES
        title, hint = feedback.about(name)
        assert hint[-1] in ".?"
        assert not title.endswith(".")
    for name in (*SOUND, *SAID):
        assert reason_label(name).endswith(".")
    assert reason_label("binds:SCN^-").startswith("What was added ties up SCN⁻")


def test_the_same_hint_is_not_given_twice_over(questions):
    said = mark(questions["warm"], {"direction": "forward", "seen": "darker", "K": "larger"}, "s01").feedback
    assert said.count("heating always helps") == 1
    assert said.count("The question above may help here too.") == 2


def test_help_comes_a_little_at_a_time(questions):
    wrong = {"direction": "reverse", "seen": "paler", "scn": "same", "K": "larger", "reason": "two_boxes"}
    given = mark(questions["iron"], wrong, "s01")
    steps = [feedback.ladder(questions["iron"], given, tries) for tries in (1, 2, 3, 4)]
    assert steps[0] == "0 of 5 parts are right so far."
    assert "consistent with" in steps[1]
    assert "Hint: Which of the three" in steps[1]
    assert "Hint: Put the new" not in steps[1]
    assert "Hint: Put the new" in steps[2]
    lengths = [len(step) for step in steps]
    assert lengths == sorted(lengths)
    for step in steps:
        assert "towards the products" not in step
    right = questions["iron"].outcome("s01").expected
    assert (
        feedback.ladder(questions["iron"], mark(questions["iron"], dict(right), "s01"), 1)
        == "All right. Well done."
    )


def test_feedback_on_the_assignment_never_holds_the_right_choice(questions):
    """The label of the right option appears in no feedback to a wrong answer."""
    for question in questions.values():
        for part in question.parts:
            if part.kind != "choice" or not part.scored:
                continue
            right = question.outcome("s01").expected[part.id]
            label = dict(part.options)[right]
            for value, _ in part.options:
                if value == right or len(label) < 12:
                    continue
                assert label not in mark(question, {part.id: value}, "s01").feedback
