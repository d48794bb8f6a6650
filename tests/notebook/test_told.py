"""What a panel says once something was done: whatever was chosen, there is an answer, and it holds."""

import re
from pathlib import Path

import pytest

from eqlib.assess.confront import confront
from eqlib.assess.load import load_questions
from eqlib.assess.scene import Scene, bottle_of, kind_of, why
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
    for question, _case, scene in staged(file):
        lines, full = why(scene.d)
        assert 1 <= len(lines) == len(full) <= 4
        for line in lines:
            seen = re.sub(r"<[^>]+>", "", line)
            assert len(seen) < 300, (question.id, seen)
            assert "infinity" not in seen


@pytest.mark.parametrize(("name", "word"), [("jump", "reaction goes"), ("label", "label spreads")])
def test_rates_and_labels_come_before_q(name, word):
    (told,) = (told_html(q, case, {}, scene) for q, case, scene in staged(FILES[1]) if q.id == name)
    assert word in told.why.partition("<details>")[0]
    assert "has Q" not in told.why.partition("<details>")[0]


def test_an_idea_is_named_and_a_colourless_product_is_not_what_the_eye_meets():
    question = load_questions(COURSE / "04-disturbing-an-equilibrium")["silver"]
    rows = confront(question, question.case("s07"), {"reason": "not_in_equation"})
    words = next(row.if_right.words for row in rows if row.if_right)
    assert words.startswith("If “")
    warm = load_questions(COURSE / "06-heat-and-squeeze")["warm"]
    (row,) = [r for r in confront(warm, warm.case("s07"), {"seen": "paler"}) if r.part.ask == "seen"]
    assert "[NO₂(g)]" in row.answer  # dinitrogen tetroxide is colourless (common knowledge, no source)
