"""Nothing that was recorded is lost, and nothing of anybody else's is taken."""

import json
import shutil

import pytest

from eqlib.assess.load import load_questions
from eqlib.assess.records import MIME, Journal, Record, record_answer
from eqlib.errors import EqlibError
from eqlib.notebook.store import Store, forget, hub_user, marking, marks_hidden, restore, restored

FORWARD = {"direction": "forward", "K": "same"}


@pytest.fixture
def questions(folder):
    return load_questions(folder)


@pytest.fixture
def store(questions, folder):
    return Store(questions, folder)


def notebook_with(*records):
    """A notebook whose outputs hold these records."""
    outputs = [{"output_type": "display_data", "metadata": {}, "data": {MIME: r.to_dict()}} for r in records]
    return {
        "cells": [{"cell_type": "code", "source": "", "metadata": {}, "outputs": outputs}],
        "metadata": {},
    }


def test_an_answer_is_found_again_by_a_new_kernel(store, questions, folder):
    store.choose_student("s01")
    saved = store.save("iron", FORWARD)
    assert saved.problem == ""
    again = Store(questions, folder)
    assert again.student == "s01"
    assert again.record_of("iron") == saved.record


@pytest.mark.parametrize(
    "place", ["handed-in.ipynb", "copy (2) of it.ipynb", ".ipynb_checkpoints/wells-checkpoint.ipynb"]
)
def test_the_outputs_of_any_notebook_of_the_folder_are_enough(questions, folder, place):
    record = record_answer("wells", "iron", FORWARD, None)
    path = folder / place
    path.parent.mkdir(exist_ok=True)
    path.write_text(json.dumps(notebook_with(record)), "utf-8")
    assert Store(questions, folder).record_of("iron") == record


def test_the_newest_copy_wins(questions, folder):
    old = record_answer("wells", "iron", FORWARD, None, at="2026-01-20T18:00:00Z")
    new = record_answer(
        "wells", "iron", {"direction": "reverse"}, None, at="2026-01-20T18:05:00Z", previous=old
    )
    (folder / "a.ipynb").write_text(json.dumps(notebook_with(new)), "utf-8")
    Journal(folder / "answers-wells.journal.json").write(old)
    assert Store(questions, folder).record_of("iron") == new


def test_changes_are_kept_with_the_first_answer(store):
    store.save("iron", FORWARD)
    record = store.save("iron", {**FORWARD, "direction": "reverse"}).record
    assert dict(record.first) == FORWARD
    assert record.answer["direction"] == "reverse"


def test_another_persons_answers_in_the_folder_are_left_alone(store, questions, folder):
    friend = record_answer("wells", "iron", FORWARD, "s02")
    (folder / "friend.ipynb").write_text(json.dumps(notebook_with(friend)), "utf-8")
    store.choose_student("s01")
    assert Store(questions, folder).record_of("iron") is None


def test_an_answer_given_before_the_id_counts_where_the_numbers_are_the_same(store):
    store.save("fixed", {"direction": "forward"})
    store.save("iron", FORWARD)
    differs = next(
        name
        for name in ("s01", "s02", "s03", "s04", "s05", "s06")
        if store.questions["iron"].variant(name).numbers != store.questions["iron"].variant(None).numbers
    )
    store.choose_student(differs)
    assert store.record_of("fixed").answer == {"direction": "forward"}
    assert store.record_of("iron") is None
    assert store.answered_for_others("iron")


@pytest.mark.parametrize("text", ["", "  ", "<script>", "a" * 200, "s01\n<b>"])
def test_an_id_that_cannot_be_one_is_refused_in_one_line(store, text):
    with pytest.raises(EqlibError, match="id") as caught:
        store.choose_student(text)
    assert "\n" not in str(caught.value)


def test_a_folder_that_cannot_be_written_still_keeps_the_answer_in_the_notebook(
    questions, folder, monkeypatch
):
    store = Store(questions, folder)

    def refuse(*_args, **_more):
        raise OSError(30, "Read-only file system")

    monkeypatch.setattr("eqlib.writing.tempfile.mkstemp", refuse)
    saved = store.save("iron", FORWARD)
    assert "Read-only" in saved.problem
    assert store.record_of("iron") == saved.record


def test_files_that_are_no_notebooks_are_passed_over(questions, folder):
    (folder / "broken.ipynb").write_text("{", "utf-8")
    (folder / "list.ipynb").write_text("[]", "utf-8")
    (folder / "odd.ipynb").write_text('{"cells": 3, "metadata": []}', "utf-8")
    assert Store(questions, folder).record_of("iron") is None


def test_marking_uses_only_what_it_handed_over_and_writes_nothing(questions, folder):
    Journal(folder / "answers-wells.journal.json").write(record_answer("wells", "iron", FORWARD, "s01"))
    handed = record_answer("wells", "fixed", {"direction": "forward"}, "s01")
    restore(json.dumps({"student": "s01", "records": {"fixed": handed.to_dict()}}))
    before = sorted(path.name for path in folder.iterdir())
    store = Store(questions, folder)
    assert store.record_of("iron") is None
    assert store.record_of("fixed") == handed
    assert isinstance(store.save("kc", {"kc": 140.0}).record, Record)
    assert sorted(path.name for path in folder.iterdir()) == before


def test_the_journal_alone_is_enough(store, questions, folder, tmp_path_factory):
    store.save("iron", FORWARD)
    elsewhere = tmp_path_factory.mktemp("elsewhere")
    shutil.copy(folder / "answers-wells.journal.json", elsewhere)
    shutil.copy(folder / "questions.toml", elsewhere)
    assert Store(load_questions(elsewhere), elsewhere).record_of("iron").answer == FORWARD


# -- whose kernel: marking, validating or a person's own, told apart by evidence --------------------

RECORD = record_answer("wells", "iron", {"direction": "forward"}, "s01")


def test_restore_hands_over_the_student_and_the_answers():
    restore(json.dumps({"student": "s01", "records": {"iron": RECORD.to_dict()}}))
    assert restored().student == "s01"
    assert restored().records == {"iron": RECORD}
    assert marking()
    forget()
    assert not marking()


def test_one_altered_record_is_left_out_and_named():
    altered = RECORD.to_dict() | {"answer": {"direction": "reverse"}}
    restore(json.dumps({"student": "s01", "records": {"iron": altered}}))
    assert restored().records == {}
    assert "'iron'" in restored().problems[0]


@pytest.mark.parametrize("text", ["", "not JSON", "[" * 100_000, "3", '"text"', b"\xff\xfe", None])
def test_what_is_no_table_of_answers_is_one_plain_line(text):
    with pytest.raises(EqlibError) as caught:
        restore(text)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("environment", "hidden"),
    [
        ({}, False),
        ({"JPY_SESSION_NAME": "/a/b.ipynb"}, True),
        ({"VSCODE_PID": "12"}, True),
        ({"NBGRADER_EXECUTION": "validate"}, True),
        ({"NBGRADER_EXECUTION": "autograde"}, False),
        ({"NBGRADER_EXECUTION": "autograde", "JPY_SESSION_NAME": "/a/b.ipynb"}, False),
    ],
)
def test_marks_are_hidden_only_on_evidence(monkeypatch, environment, hidden):
    for name, value in environment.items():
        monkeypatch.setenv(name, value)
    assert marks_hidden() is hidden


def test_what_was_restored_always_shows_its_marks(monkeypatch):
    monkeypatch.setenv("JPY_SESSION_NAME", "/a/b.ipynb")
    restore(json.dumps({"student": "s01", "records": {}}))
    assert marks_hidden() is False


def test_a_login_is_the_id_but_not_on_a_public_server(monkeypatch):
    assert hub_user() is None
    monkeypatch.setenv("JUPYTERHUB_USER", "s04")
    assert hub_user() == "s04"
    monkeypatch.setenv("BINDER_REPO_URL", "somewhere")
    assert hub_user() is None
