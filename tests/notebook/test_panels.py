"""A panel clicked without a browser: what it records, what it says, and when it shows the outcome."""

from pathlib import Path

import pytest

from eqlib.assess.load import load_questions
from eqlib.assess.records import MIME
from eqlib.notebook.panels import Panel, cautions_of, first_said, standing_alone
from eqlib.notebook.store import Store


@pytest.fixture
def panel(folder, screen):
    made = Panel(load_questions(folder)["iron"], Store(load_questions(folder), folder))
    made.show("(opens in Jupyter)")
    return made


def values(panel, **chosen):
    """All radio groups of the form, as the page would send them."""
    every = {f"iron/{part.id}": None for part in panel.question.parts}
    return every | {f"iron/{name}": value for name, value in chosen.items()}


def full(panel, **changed):
    first = {part.id: part.options[0][0] for part in panel.question.parts if part.kind == "choice"}
    return values(panel, **(first | changed))


def test_what_is_on_screen_but_not_recorded_says_so(panel):
    assert panel.page["say"]["state"] == "Not recorded yet."
    panel.on_set(full(panel), "")
    assert "press the button" in panel.page["say"]["state"]
    panel.on_record(full(panel), "")
    assert panel.page["say"]["state"].startswith("Recorded ")
    panel.on_set(full(panel, direction="none"), "")
    assert panel.page["say"]["state"] == "Changed, not recorded yet."
    assert "doit" in panel.page["off"]


def test_what_is_missing_is_named_and_nothing_is_recorded(panel):
    panel.on_record(values(panel, direction="forward"), "")
    assert panel.page["say"]["state"].startswith("Nothing was recorded yet. Please answer this too: “")
    assert panel.record is None


def test_what_is_refused_leaves_the_earlier_answer_and_says_so(folder, screen):
    made = Panel(load_questions(folder)["kc"], Store(load_questions(folder), folder))
    made.show("(opens in Jupyter)")
    made.on_record({"kc/kc": "many"}, "")
    assert made.state().startswith("Nothing was recorded yet. ")
    made.on_record({"kc/kc": "156 L/mol"}, "")
    made.on_record({"kc/kc": "many"}, "")
    assert made.state().startswith("Not recorded: what you recorded before stands. ")
    assert made.record.answer["kc"] == "156 L/mol"


def test_a_blank_that_is_recorded_is_named(tmp_path):
    course = Path(__file__).parents[2] / "notebooks" / "source"
    questions = load_questions(course / "04-disturbing-an-equilibrium")
    made = Panel(questions["q"], Store(questions, tmp_path))
    made.show("(opens in Jupyter)")
    made.on_record({"q/fe": "0.00366", "q/Q": "", "q/direction": "forward"}, "")
    assert "Still blank: Q." in made.state()


def test_the_outcome_is_covered_until_it_is_recorded_and_done(panel):
    def shown():
        return "".join(html for _, html in panel.page["sections"])

    panel.on_doit(full(panel), "")
    assert "you said" not in shown()
    panel.on_record(full(panel), "")
    assert "you said" not in shown()
    panel.on_doit(full(panel), "")
    assert panel.page["film"]["play"]
    panel.on_over({}, "")
    assert "you said" in shown()
    assert panel.store.seen("iron")
    assert panel.locked


def test_the_notebook_keeps_the_record_and_the_last_picture(panel, screen):
    panel.on_record(full(panel), "")
    assert screen.of("iron-kept")[MIME]["answer"]["direction"] == panel.record.answer["direction"]
    panel.on_doit(full(panel), "")
    panel.on_over({}, "")
    kept = screen.of("iron-kept")
    assert "<svg" in kept["text/html"]
    assert "before: " in kept["text/plain"]
    assert "after: " in kept["text/plain"]


def test_another_kernel_opens_where_the_last_one_stopped(panel, folder):
    panel.on_record(full(panel), "")
    panel.on_doit(full(panel), "")
    again = Panel(load_questions(folder)["iron"], Store(load_questions(folder), folder))
    assert again.stage == "done"


def test_every_control_keeps_its_keys_from_the_notebook(panel):
    import re

    form = "".join(html for _, html in panel.page["sections"])
    for control in re.findall(r"<(?:input|select|textarea)\b[^>]*>", form):
        assert 'data-lm-suppress-shortcuts="true"' in control


def test_sliders_undo_and_reset(panel):
    panel.on_record(full(panel), "")
    panel.on_doit(full(panel), "")
    panel.on_over({}, "")
    panel.on_try({}, "")
    trying = panel.trying
    name = trying.sliders[0].name
    before = dict(panel.page["sections"])["tried"]
    panel.on_slide({f"iron/try/{name}": 0.5 * trying.at[name]}, "")
    assert dict(panel.page["sections"])["tried"] != before
    panel.on_undo({}, "")
    assert dict(panel.page["sections"])["tried"] == before


def test_an_emptied_field_stands_as_recorded(folder, screen):
    made = Panel(load_questions(folder)["kc"], Store(load_questions(folder), folder))
    made.show("(opens in Jupyter)")
    made.on_record({"kc/kc": "156 L/mol"}, "")
    first = made.record
    forms = made.page["sections"]
    made.on_set({"kc/kc": ""}, "")
    assert made.page["say"]["kc/kc"] == ""
    made.on_record({"kc/kc": ""}, "")
    assert "not taken back" in made.page["say"]["state"]
    assert made.record == first
    assert made.page["sections"] != forms  # the page puts the recorded value into its field again


def test_a_slider_goes_back_with_undo_although_it_was_drawn_there(panel):
    panel.on_record(full(panel), "")
    panel.on_doit(full(panel), "")
    panel.on_over({}, "")
    panel.on_try({}, "")
    drawn = dict(panel.page["sections"])["try"]
    name = panel.trying.sliders[0].name
    panel.on_slide({f"iron/try/{name}": 0.5 * panel.trying.at[name]}, "")
    assert dict(panel.page["sections"])["try"] == drawn  # not while it is held
    panel.on_undo({}, "")
    assert dict(panel.page["sections"])["try"] != drawn


def test_a_caution_is_said_once_in_a_notebook():
    assert first_said("a caution of this test", "bench")
    assert not first_said("a caution of this test", "silver")
    assert first_said("a caution of this test", "bench")


def test_every_question_shows_the_cautions_of_its_vessel():
    """What they must hold is tested in tests/lab/test_cautions.py; here, that a question finds its own."""
    questions = load_questions(Path(__file__).parents[1] / "assess" / "wells")
    shown = {n: [c.words for c in cautions_of(questions[n], questions[n].case("s01"))] for n in questions}
    for name in ("iron", "warm", "silver", "oxalate", "kc"):
        assert "safety data sheet" in shown[name][-1]
    assert any("silver" in words for words in shown["silver"])
    assert not any("silver" in words for words in shown["iron"])


def test_a_sealed_tube_is_called_a_tube():
    course = Path(__file__).parents[2] / "notebooks" / "source"
    question = load_questions(course / "03-how-far")["split"]
    assert "your tube" in standing_alone(question, question.case())
