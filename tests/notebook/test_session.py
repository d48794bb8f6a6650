"""Marking, validating or a person's own session: told apart by evidence, with doubt on the side of a
number.
"""

import json

import pytest

from eqlib.assess.records import record_answer
from eqlib.errors import EqlibError
from eqlib.notebook.session import forget, hub_user, marking, marks_hidden, restore, restored

RECORD = record_answer("wells", "iron", {"direction": "forward"}, "s01")


def test_restore_hands_over_the_student_and_the_answers():
    restore(json.dumps({"student": "s01", "records": {"iron": RECORD.to_dict()}}))
    assert restored().student == "s01"
    assert restored().records == {"iron": RECORD}
    assert marking()
    forget()
    assert not marking()


def test_a_list_of_records_is_read_too():
    restore({"student": None, "records": [RECORD.to_dict()]})
    assert restored().student is None
    assert list(restored().records) == ["iron"]


def test_one_altered_record_is_left_out_and_named():
    altered = RECORD.to_dict() | {"answer": {"direction": "reverse"}}
    restore({"student": "s01", "records": {"iron": altered}})
    assert restored().records == {}
    assert "'iron'" in restored().problems[0]


@pytest.mark.parametrize("text", ["", "not JSON", "[" * 100_000, "3", '"text"', b"\xff\xfe"])
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
    restore({"student": "s01", "records": {}})
    assert marks_hidden() is False


def test_a_login_is_the_id_but_not_on_a_public_server(monkeypatch):
    assert hub_user() is None
    monkeypatch.setenv("JUPYTERHUB_USER", "s04")
    assert hub_user() == "s04"
    monkeypatch.setenv("BINDER_REPO_URL", "somewhere")
    assert hub_user() is None
