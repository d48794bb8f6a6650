"""What a panel says once something was done: whatever was chosen, there is an answer, and it holds."""

import re
from pathlib import Path

import pytest

from eqlib.assess.confront import confront, why_of
from eqlib.assess.load import load_questions
from eqlib.notebook.scene import Scene, bottle_of, kind_of, why
from eqlib.notebook.told import told_html

COURSE = Path(__file__).parents[2] / "notebooks" / "source"
FILES = sorted(COURSE.glob("*/questions.toml"))


def staged(file):
    """(question, case, scene) of every question of a file in which something is done."""
    for question in load_questions(file).values():
        if question.kind != "explanation" and question.setting.stress is not None:
            case = question.case("s07")
            d = case.disturbance
            if d is not None:
                yield question, case, Scene(d, kind_of(question, d.before), bottle_of(question, d.stress))


@pytest.mark.parametrize("file", FILES, ids=lambda file: file.parent.name)
def test_every_choice_is_answered_without_an_error(file):
    # An error here would leave a panel without its outcome, and nobody would see why.
    for question, case, scene in staged(file):
        for part in question.parts:
            for value, _ in part.options if part.kind == "choice" else ():
                told = told_html(question, case, {part.id: value}, scene)
                assert "you said" in told.table
                assert "nan" not in re.sub(r"<[^>]+>", "", told.words).lower().split()


@pytest.mark.parametrize("file", FILES, ids=lambda file: file.parent.name)
def test_the_order_of_events_is_short(file):
    for question, case, scene in staged(file):
        lines = why_of(question, case) or why(scene.d)
        assert 1 <= len(lines) <= 4
        for line in lines:
            seen = re.sub(r"<details>.*</details>|<[^>]+>", "", line)
            assert len(seen) < 420, (question.id, seen)
            assert "infinity" not in seen


def test_rates_are_told_as_rates():
    # Law of mass action, elementary step: a rate goes with the product of the concentrations of its own side.
    question = load_questions(COURSE / "01-dynamic-equilibrium")["jump"]
    case = question.case("s07")
    was, once = case.before, case.at_once
    forward = once["Fe^3+"] * once["SCN^-"] / (was["Fe^3+"] * was["SCN^-"])
    said = " ".join(why_of(question, case))
    assert float(re.search(r"the forward rate is ([\d.]+) times", said)[1]) == pytest.approx(
        forward, rel=5e-3
    )
    assert "the reverse rate is what it was before" in said


def test_a_label_spreads_as_far_as_its_element():
    question = load_questions(COURSE / "01-dynamic-equilibrium")["label"]
    case = question.case("s07")
    after = case.disturbance.after
    dissolved = after.amounts["Ag^+"]
    share = 100 * dissolved / (dissolved + after.solids["AgCl(s)"] * after.volume)
    said = " ".join(why_of(question, case))
    assert float(re.search(r"itself: ([\d.]+) %", said)[1]) == pytest.approx(share, rel=5e-3)


def test_an_idea_is_named_and_a_colourless_product_is_not_what_the_eye_meets():
    question = load_questions(COURSE / "04-disturbing-an-equilibrium")["silver"]
    rows = confront(question, question.case("s07"), {"reason": "not_in_equation"})
    words = next(row.if_right.words for row in rows if row.if_right)
    assert words.startswith("If “")
    warm = load_questions(COURSE / "06-heat-and-squeeze")["warm"]
    (row,) = [r for r in confront(warm, warm.case("s07"), {"seen": "paler"}) if r.part.ask == "seen"]
    assert "[NO₂(g)]" in row.answer  # dinitrogen tetroxide is colourless (common knowledge, no source)
