"""What a panel says once something was done: whatever was chosen, there is an answer, and it holds."""

import re
from pathlib import Path

import pytest

import eqlib as eq
from eqlib.assess.confront import confront
from eqlib.assess.load import load_questions
from eqlib.assess.scene import scene_of
from eqlib.grading.demo import answer_of
from eqlib.notebook.outcome import told_html, why

COURSE = Path(__file__).parents[2] / "notebooks" / "source"
FILES = sorted(COURSE.glob("*/questions.toml"))


def staged(file):
    """(question, case, scene) of every question of a file in which something is done."""
    for question in load_questions(file).values():
        if question.kind != "explanation" and question.setting.stress is not None:
            case = question.case("s07")
            if (scene := scene_of(question, case)) is not None:
                yield question, case, scene


@pytest.mark.parametrize("file", FILES, ids=lambda file: file.parent.name)
def test_every_choice_is_answered_without_an_error(file):
    # An error here would leave a panel without its outcome, and nobody would see why.
    for question, case, scene in staged(file):
        for part in question.parts:
            for value, _ in part.options if part.kind == "choice" else ():
                told = told_html(question, case, {part.id: value}, scene)
                assert "you said" in told.table
                assert "nan" not in re.sub(r"<[^>]+>", "", told.words).lower().split()


def sentences(html):
    """The sentences that are seen before a fold is opened."""
    seen = re.sub(r"<details>.*</details>|<h4>.*</h4>|<[^>]+>", "", html.replace("</li>", " "))
    assert "infinity" not in seen
    return [one for one in re.split(r"(?<=[.?!])\s+(?=[A-ZΔ\[])", seen.strip()) if one]


@pytest.mark.parametrize("file", FILES, ids=lambda file: file.parent.name)
def test_why_is_at_most_four_sentences_whatever_was_said(file):
    for question, case, scene in staged(file):
        answers = [{}, *({p.id: v} for p in question.parts if p.kind == "choice" for v, _ in p.options)]
        for answer in answers:
            told = told_html(question, case, answer, scene)
            assert 1 <= len(sentences(told.why)) <= 4, (question.id, answer, sentences(told.why))


@pytest.mark.parametrize("name", eq.systems())
def test_why_is_at_most_four_sentences_for_every_stress_of_the_catalogue(name):
    system = eq.system(name)
    for key, entry in system.steps.items():
        change = eq.disturb(system.before(key), entry.stress)
        lines, full = why(change)
        assert len(lines) == len(full) == len(change.events)
        assert all(len(sentences(line)) == 1 for line in lines), (key, lines)
        # The rival comes before the reaction that it moves.
        kinds = [event.kind for event in change.events]
        assert "rival" not in kinds or kinds.index("rival") < kinds.index("answer")


@pytest.mark.parametrize(("name", "word"), [("jump", "reaction goes"), ("label", "label spreads")])
def test_rates_and_labels_come_before_q(name, word):
    (told,) = (told_html(q, case, {}, scene) for q, case, scene in staged(FILES[1]) if q.id == name)
    assert word in told.why.rpartition("</details>")[2]
    assert "has Q" not in told.why.rpartition("</details>")[2]


def test_an_idea_is_named_and_a_colourless_product_is_not_what_the_eye_meets():
    question = load_questions(COURSE / "04-disturbing-an-equilibrium")["silver"]
    rows = confront(question, question.case("s07"), {"reason": "not_in_equation"})
    words = next(row.if_right.words for row in rows if row.if_right)
    assert words.startswith("If “")
    warm = load_questions(COURSE / "06-heat-and-squeeze")["warm"]
    (row,) = [r for r in confront(warm, warm.case("s07"), {"seen": "paler"}) if r.part.ask == "seen"]
    assert "[NO₂(g)]" in row.answer  # dinitrogen tetroxide is colourless (common knowledge, no source)


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("rescue", ("H⁺ takes up C₂O₄²⁻", "gives back Fe³⁺")),  # oxalic acid is weak
        ("rival", ("Cl⁻ takes up Ag⁺", "gives back SCN⁻")),  # silver chloride is hardly soluble
        ("ammonia", ("H⁺ takes up NH₃", "gives back Ag⁺")),
    ],
)
def test_an_idea_behind_a_wrong_way_is_answered_where_no_reason_was_asked_for(name, words):
    """What is not in the equation does something all the same: it acts on what is in it."""
    question = load_questions(COURSE / "05-strangers")[name]
    answer = answer_of(question, "w31", ("not_in_equation",))
    case = question.case("w31")
    told = told_html(question, case, answer, scene_of(question, case))
    said = re.sub(r"<[^>]+>", "", told.answers + told.more)
    assert all(one in said for one in ("need not stand in the equation", *words)), said
