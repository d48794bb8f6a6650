"""Forms: what is filled in is read, said back and kept; what is missing is asked for; a seen outcome closes
them.
"""

import ipywidgets as widgets
import pytest

from eqlib.assess.kinds import Part
from eqlib.assess.records import MIME, collect
from eqlib.notebook import Lesson, restore
from eqlib.notebook.panels_controls import control_for
from eqlib.notebook.panels_student import StudentForm

PREDICTION = {"direction": "forward", "K": "same"}


@pytest.fixture
def lesson(folder):
    return Lesson(folder)


def form_of(lesson, question):
    """The form that ``ask`` opened."""
    return lesson._forms[question]


def fill(form, **answers):
    """Fill controls in, by part."""
    for control in form.controls:
        if control.part.id in answers:
            control.fill(answers[control.part.id])


def answered(lesson, question, **answers):
    """Ask, fill in and record."""
    lesson.ask(question)
    fill(form_of(lesson, question), **answers)
    form_of(lesson, question).button.click()


def everything_in(widget):
    """A widget and all it contains."""
    yield widget
    for child in getattr(widget, "children", ()):
        yield from everything_in(child)


def test_a_click_puts_the_record_into_the_cells_output_and_the_journal(lesson, folder, screen):
    answered(lesson, "iron", **PREDICTION)
    shown = screen.of("iron-record")
    assert shown[MIME]["answer"] == PREDICTION
    assert "Recorded ✓" in shown["text/plain"]
    assert "towards the products" in shown["text/plain"]
    assert (folder / "answers-wells.journal.json").exists()
    assert collect(screen.as_notebook())["iron"].answer == PREDICTION


def test_nothing_is_recorded_while_a_choice_is_missing(lesson, screen):
    answered(lesson, "iron", direction="forward")
    assert MIME not in screen.of("iron-record")
    said = form_of(lesson, "iron").answer.value
    assert "What happens to the equilibrium constant K?" in said
    assert 'role="status"' in said


def test_confidence_may_be_left_out_or_given(lesson, screen):
    answered(lesson, "iron", **PREDICTION, confidence="unsure")
    assert screen.of("iron-record")[MIME]["answer"]["confidence"] == "unsure"


def test_after_clearing_everything_the_form_comes_back_filled_in(lesson, folder, screen):
    answered(lesson, "iron", **PREDICTION)
    screen.clear()
    again = Lesson(folder)
    again.ask("iron")
    assert {c.part.id: c.raw for c in form_of(again, "iron").controls} == {**PREDICTION, "confidence": None}
    assert screen.of("iron-record")[MIME]["answer"] == PREDICTION


def test_the_outcome_is_shown_only_after_a_prediction(lesson, screen):
    lesson.ask("iron")
    lesson.reveal("iron")
    assert "Record your prediction" in screen.of("iron-reveal")["text/plain"]
    assert "What happens." not in screen.text
    fill(form_of(lesson, "iron"), **PREDICTION)
    form_of(lesson, "iron").button.click()
    assert "Run this cell" in screen.of("iron-reveal")["text/plain"]
    lesson.reveal("iron")
    assert "It shifts towards the products" in screen.of("iron-reveal")["text/plain"]


def test_a_prediction_stands_once_its_outcome_was_seen(lesson, folder, screen):
    answered(lesson, "iron", direction="reverse", K="same")
    lesson.reveal("iron")
    assert form_of(lesson, "iron").button.disabled
    again = Lesson(folder)
    again.ask("iron")
    assert form_of(again, "iron").controls == []
    assert again.store.record_of("iron").answer["direction"] == "reverse"
    assert "this answer stands" in screen.of("iron-record")["text/plain"]


def test_a_seen_outcome_is_known_from_the_notebook_alone(lesson, folder, screen):
    import json

    answered(lesson, "iron", **PREDICTION)
    lesson.reveal("iron")
    (folder / "renamed.ipynb").write_text(json.dumps(screen.as_notebook()), "utf-8")
    (folder / "answers-wells.journal.json").unlink()
    again = Lesson(folder)
    assert again.store.locked(again.questions["iron"])


def test_what_is_recorded_past_the_form_after_the_outcome_does_not_count(lesson, folder, screen):
    """However the later answer got in: the notebook alone says when the outcome had been shown."""
    import json

    from eqlib.assess.marking import mark
    from eqlib.assess.records import collect

    answered(lesson, "iron", **{**PREDICTION, "direction": "reverse"})
    before = mark(lesson.questions["iron"], lesson.store.record_of("iron"))
    lesson.reveal("iron")
    lesson.store.save("iron", PREDICTION)
    lesson._forms["iron"].refresh()
    handed_in = collect(json.loads(json.dumps(screen.as_notebook())))["iron"]
    journalled = lesson.store.journal.read(lesson.store.student)["iron"]
    for record in (handed_in, journalled, lesson.store.record_of("iron")):
        assert record.answer["direction"] == "forward"
        assert mark(lesson.questions["iron"], record).points == before.points


def test_while_marking_there_is_the_record_and_no_form(folder, screen):
    restore({"student": "s01", "records": {}})
    lesson = Lesson(folder)
    lesson.ask("iron")
    lesson.student()
    lesson.try_it()
    assert not [
        data for data in screen.outputs.values() if "application/vnd.jupyter.widget-view+json" in data
    ]


def test_the_page_loaded_again_puts_the_form_to_sleep(lesson, screen):
    lesson.ask("iron")
    from eqlib.notebook.panels import _live

    box = _live["eqlib-wells-iron"][0]
    box.set_state({"_view_count": 1})
    assert box.comm is not None
    box.set_state({"_view_count": 2})
    assert box.comm is None
    assert "eqlib-wells-iron" not in _live


def test_a_form_opened_twice_has_one_lasting_name(lesson, screen):
    lesson.ask("iron")
    first = screen.of("iron-record")
    lesson.ask("iron")
    assert screen.of("iron-record") == first
    view = "application/vnd.jupyter.widget-view+json"
    ids = {data[view]["model_id"] for data in screen.outputs.values() if view in data}
    assert ids == {"eqlib-wells-iron"}


def test_every_control_has_a_label(lesson, screen):
    from eqlib.notebook.panels import _live

    for question in ("iron", "table", "balance"):
        lesson.ask(question)
        body = _live[f"eqlib-wells-{question}"][0]
        kinds = (widgets.RadioButtons, widgets.Text, widgets.Textarea, widgets.Dropdown, widgets.Button)
        fields = [widget for widget in everything_in(body) if isinstance(widget, kinds)]
        assert fields
        assert all(field.description.strip() for field in fields)


def test_a_table_is_filled_in_row_by_row(lesson, screen):
    rows = {
        "initial": {"Fe^3+": "0.001", "SCN^-": "6.0e-4", "FeSCN^2+": "0"},
        "change": {"Fe^3+": "-6.9e-5", "SCN^-": "-6.9e-5", "FeSCN^2+": "6.9e-5"},
        "equilibrium": {"Fe^3+": "9.31e-4", "SCN^-": "5.31e-4", "FeSCN^2+": "6.9e-5"},
    }
    answered(lesson, "table", ice=rows)
    assert screen.of("table-record")[MIME]["answer"]["ice"] == rows
    assert lesson.check("table") == 3.0


def test_a_table_may_be_filled_in_with_x(lesson, screen):
    columns = lesson.questions["table"].parts[0].columns
    rows = {"change": {columns[0]: "-x"}, "equilibrium": {columns[0]: "0.001 - x"}}
    answered(lesson, "table", ice=rows)
    assert "0.001 - x" in screen.of("table-record")["text/plain"]


def test_an_equation_that_cannot_be_read_says_so_and_is_not_recorded(lesson, screen):
    answered(lesson, "balance", equation="two of these")
    assert MIME not in screen.of("balance-record")
    assert "Nothing was recorded yet" in form_of(lesson, "balance").answer.value


def test_a_written_answer_has_no_form(lesson, screen):
    lesson.ask("why")
    assert "Write your answer in the cell below" in screen.text
    assert not [name for name in screen.outputs if name.endswith("-record")]


@pytest.mark.parametrize(
    ("kind", "ask", "typed", "kept"),
    [
        ("number", "number", "1,4·10²", "1,4·10²"),
        ("text", "explain", "Because Q < K.", "Because Q < K."),
        ("equation", "equation", "2 NO2(g) -> N2O4(g)", "2 NO2(g) -> N2O4(g)"),
        ("order", "order", ["b", "a", "c"], ["b", "a", "c"]),
    ],
)
def test_each_kind_of_control_gives_back_what_was_put_in(kind, ask, typed, kept):
    options = (("a", "a"), ("b", "b"), ("c", "c")) if kind == "order" else ()
    control = control_for(Part("p", kind, ask, "A label", options=options, skeleton="NO2(g) -> N2O4(g)"))
    assert control.raw is None
    control.fill(typed)
    assert control.raw == kept
    control.fill(None)
    assert control.raw is None


def test_a_typed_number_is_said_back_before_it_is_recorded():
    control = control_for(Part("p", "number", "number", "Q", unit="mol/L"))
    control.line.value = "0.14 mM"
    assert "1.4 × 10⁻⁴ mol/L" in control.said.value
    control.line.value = "<img src=x onerror=alert(1)>"
    assert "<img" not in control.said.value


class TestStudentForm:
    def test_the_id_is_kept_and_the_questions_follow(self, lesson, folder, screen):
        lesson.ask("iron")
        form = self.opened(lesson)
        form.line.value = " s03 "
        form.button.click()
        assert lesson.store.student == "s03"
        assert "numbers for s03" in screen.of("iron-prompt")["text/plain"]
        assert Lesson(folder).store.student == "s03"

    def test_a_name_is_not_kept(self, lesson, folder, screen):
        lesson.student()
        form = StudentForm(lesson.store)
        form.show()
        form.line.value = "Some  Body"
        form.button.click()
        assert "looks like a name" in form.answer.value
        assert lesson.store.student is None
        assert not list(folder.glob("*.journal.json"))

    def test_changing_it_later_is_said_first(self, lesson, screen):
        form = self.opened(lesson)
        form.line.value = "s03"
        form.button.click()
        answered(lesson, "iron", **PREDICTION)
        form.line.value = "s04"
        form.button.click()
        assert lesson.store.student == "s03"
        assert "1 answer is recorded under s03" in form.answer.value
        form.button.click()
        assert lesson.store.student == "s04"
        assert lesson.store.record_of("iron") is None

    def test_a_login_leaves_nothing_to_fill_in(self, lesson, screen, monkeypatch):
        monkeypatch.setenv("JUPYTERHUB_USER", "s09")
        lesson.student()
        assert lesson.store.student == "s09"
        assert "Your id is s09" in screen.text

    @staticmethod
    def opened(lesson):
        from eqlib.notebook.panels_student import StudentForm

        form = StudentForm(lesson.store, lesson._refresh)
        form.show()
        return form


class TestPractice:
    @pytest.fixture
    def lesson(self, practice):
        return Lesson(practice)

    def test_help_grows_and_the_working_comes_after_some_tries(self, lesson, screen):
        answered(lesson, "iron", direction="reverse", K="same")
        form = form_of(lesson, "iron")
        assert "1 of 2 parts are right" in screen.of("iron-help")["text/plain"]
        assert form.working_button.disabled
        fill(form, direction="none")
        form.button.click()
        assert "Which concentration has just gone up?" in screen.of("iron-help")["text/plain"]
        assert not form.working_button.disabled
        form.working_button.click()
        assert "The working" in screen.of("iron-help")["text/plain"]

    def test_new_numbers_ask_again_and_keep_what_was_recorded(self, lesson, screen):
        answered(lesson, "iron", **PREDICTION)
        before = lesson.store.record_of("iron")
        form = form_of(lesson, "iron")
        form.build()
        form._fresh()
        assert form.retry == 1
        assert all(control.raw is None for control in form.controls)
        assert lesson.store.record_of("iron") == before
        fill(form, **PREDICTION)
        form.record()
        assert lesson.store.record_of("iron").answer["_set"] == 1
        assert lesson.check("iron") == 3.0
