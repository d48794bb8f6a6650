"""Recorded answers: what is written can be read back whole, and nothing damaged passes for an answer."""

import copy
import hashlib
import json
import subprocess
import sys

import pytest

from eqlib.assess.records import (
    MIME,
    SEEN,
    AnswerError,
    Journal,
    Record,
    collect,
    journal_name,
    record_answer,
)
from eqlib.assess.records.journal import read_journal
from eqlib.errors import EqlibError

EARLY, LATE = "2026-01-31T18:05:00Z", "2026-01-31T18:07:00Z"


def record(answer=None, student="s01", at=EARLY, question="silver", previous=None):
    return record_answer(
        "04", question, answer or {"direction": "reverse"}, student, at=at, previous=previous
    )


def notebook(*records, metadata=None):
    outputs = [{"output_type": "display_data", "data": {MIME: r.to_dict()}} for r in records]
    return {"cells": [{"cell_type": "code", "outputs": [o]} for o in outputs], "metadata": metadata or {}}


def test_a_record_survives_json_and_carries_its_format():
    made = record({"direction": "reverse", "kc": "140 M^-1", "n": 2.5})
    data = json.loads(json.dumps(made.to_dict()))
    assert (data["format"], data["assignment"], data["question"], data["student"]) == (
        1,
        "04",
        "silver",
        "s01",
    )
    assert data["at"] == EARLY
    assert data["history"] == []
    assert Record.from_json(json.dumps(made.to_dict())) == made
    assert Record.from_json(data) == made


def test_the_receipt_is_the_start_of_a_sha256_of_the_answer():
    text = '["04","silver","s01",{"direction":"reverse"},"2026-01-31T18:05:00Z"]'
    assert record().receipt == hashlib.sha256(text.encode()).hexdigest()[:8]


def test_first_answer_and_later_changes_are_kept_in_order():
    first = record({"direction": "forward"})
    second = record({"direction": "none"}, at=LATE, previous=first)
    third = record({"direction": "reverse"}, at="2026-01-31T18:09:00+00:00", previous=second)
    assert [a["direction"] for a in third.attempts] == ["forward", "none", "reverse"]
    assert third.first == {"direction": "forward"}
    assert record({"direction": "reverse"}, at=LATE, previous=third) is third, (
        "recording the same again adds nothing"
    )


SHOWN = "2026-01-31T18:06:00Z"


def test_a_record_may_say_when_its_outcome_was_shown():
    made = record().revealed(SHOWN)
    assert json.loads(json.dumps(made.to_dict()))["revealed_at"] == SHOWN
    assert Record.from_json(json.dumps(made.to_dict())) == made
    assert made.receipt == record().receipt, "the receipt is of the answer"
    assert "revealed_at" not in record().to_dict(), "as it was written before outcomes were noted"
    assert made.revealed(LATE).revealed_at == SHOWN, "the first time counts"
    changed = record({"direction": "none"}, at=LATE, previous=made)
    assert changed.revealed_at == SHOWN
    assert (changed.before_reveal, len(changed.attempts)) == (1, 2)
    assert record({"direction": "none"}, at=LATE, previous=record()).before_reveal == 2
    for wrong in (7, "yesterday", "2026-01-31T18:06:00", {}, True):
        with pytest.raises(AnswerError, match="no readable time"):
            Record.from_json({**record().to_dict(), "revealed_at": wrong})


def test_when_the_outcome_was_shown_is_found_wherever_it_was_noted():
    """In the answer, in an older copy of it, or in the note that stands under the outcome itself."""
    changed = record({"direction": "none"}, at=LATE, previous=record())
    note = record({"seen": True}, at=SHOWN, question=SEEN + "silver")
    old = record().revealed(SHOWN)
    for found in (
        collect(notebook(changed, note)),
        collect(notebook(note, changed)),
        collect(notebook(changed, old)),
        collect(notebook(old, changed)),
        collect(notebook(changed), {"format": 1, "records": {"s01": {"silver": old.to_dict()}}}),
    ):
        assert found["silver"].answer == {"direction": "none"}
        assert found["silver"].revealed_at == SHOWN
    another = record({"seen": True}, student="s02", at=SHOWN, question=SEEN + "silver")
    assert collect(notebook(changed, another))["silver"].revealed_at is None, "somebody else saw it"


def test_a_long_history_keeps_its_beginning_and_its_end():
    made = record({"n": 0})
    for n in range(1, 300):
        made = record({"n": n}, previous=made)
    assert len(made.history) == 100
    assert made.first == {"n": 0}
    assert [a["n"] for a in made.attempts[-3:]] == [297, 298, 299]


@pytest.mark.parametrize(
    ("written", "saved"),
    [(139.0, "139"), (-0.0, "0"), (1e20, "100000000000000000000"), (1e22, "1e+22"), (2.5e-7, "2.5e-7")],
)
def test_a_number_as_a_browser_writes_it_into_the_notebook_is_still_the_recorded_one(written, saved):
    # ECMA-262, Number::toString, which JSON.stringify uses: no ".0" after a whole number.
    made = record({"kc": written, "row": {"x": [written]}}, question="kc")
    data = made.to_dict() | {"answer": json.loads(f'{{"kc": {saved}, "row": {{"x": [{saved}]}}}}')}
    found = collect({"cells": [{"cell_type": "code", "outputs": [{"data": {MIME: data}}]}]})
    assert found.problems == []
    assert found["kc"].answer["kc"] == written
    assert found["kc"].receipt == made.receipt


@pytest.mark.parametrize(
    "change",
    [
        {"answer": {"direction": "forward"}},
        {"receipt": "00000000"},
        {"receipt": None},
        {"format": 2},
        {"question": ""},
        {"question": "../x\n"},
        {"student": 7},
        {"at": "yesterday"},
        {"at": "2026-01-31T18:05:00"},
        {"answer": ["reverse"]},
        {"answer": {"direction": float("nan")}},
        {"history": [{"at": EARLY}]},
        {"history": "none"},
        {"history": [{"at": EARLY, "answer": {}}] * 101},
    ],
)
def test_an_altered_or_broken_record_is_refused_in_one_line(change):
    data = {**record().to_dict(), **change}
    with pytest.raises(AnswerError) as caught:
        Record.from_json(data)
    assert "\n" not in str(caught.value)
    assert isinstance(caught.value, EqlibError)


@pytest.mark.parametrize("text", ["", "null", "[]", "{", "7", "[" * 50_000, "x" * 500_000, b"\xff\xfe"])
def test_text_that_is_no_record_is_refused(text):
    with pytest.raises(AnswerError):
        Record.from_json(text)


@pytest.mark.parametrize("value", [float("inf"), object(), {"deep": [[[[[[[[1]]]]]]]]}, b"raw", "x" * 30_000])
def test_only_plain_data_can_be_recorded(value):
    with pytest.raises(AnswerError):
        record({"kc": value})


def test_the_journal_is_named_after_the_assignment_and_keeps_students_apart(tmp_path):
    journal = Journal(tmp_path / journal_name("04"))
    assert journal.path.name == "answers-04.journal.json"
    journal.write(record())
    journal.write(record({"direction": "none"}, student="S 02"))
    journal.write(record({"direction": "forward"}, student=None))
    records, problems = read_journal(journal.path.read_text())
    assert problems == []
    said = {who: theirs["silver"].answer["direction"] for who, theirs in records.items()}
    assert said == {"s01": "reverse", "s02": "none", "": "forward"}
    assert set(json.loads(journal.path.read_text())["records"]) == {"", "s01", "s02"}
    assert [p.name for p in tmp_path.iterdir()] == [journal.path.name], "no temporary file is left"


WRITER = """
import sys
from eqlib.assess.records import Journal, record_answer
for n in range(25):
    Journal(sys.argv[1]).write(record_answer("04", f"q{n}", {"n": n}, sys.argv[2]))
"""


def test_two_processes_writing_at_once_lose_nothing(tmp_path):
    path = tmp_path / "j.json"
    people = ("s01", "s02", "s03")
    writers = [subprocess.Popen([sys.executable, "-c", WRITER, str(path), who]) for who in people]
    assert [writer.wait(60) for writer in writers] == [0, 0, 0]
    records, _ = read_journal(path.read_text())
    assert [len(records[who]) for who in people] == [25, 25, 25]


def test_a_damaged_journal_is_set_aside_and_said(tmp_path):
    path = tmp_path / "answers-04.journal.json"
    path.write_text('{"format": 1, "records"')
    found, problems = read_journal(path.read_text())
    assert (found, len(problems)) == ({}, 1)
    Journal(path).write(record())
    assert read_journal(path.read_text()) == ({"s01": {"silver": record()}}, [])
    assert (tmp_path / "answers-04.journal.json.damaged-1").read_text().startswith('{"format"')


def test_a_journal_that_cannot_be_written_says_where_the_answer_still_is(tmp_path):
    with pytest.raises(AnswerError, match="in the notebook"):
        Journal(tmp_path / "no-such-folder" / "j.json").write(record())


def test_collect_takes_the_newest_copy_wherever_it_stands(tmp_path):
    old = record()
    new = record({"direction": "none"}, at=LATE, previous=old)
    journal = {"format": 1, "records": {"s01": {"silver": new.to_dict()}}}
    assert collect(notebook(old), journal)["silver"] == new
    assert collect(notebook(old, new, old), None)["silver"] == new
    journal["records"]["s01"]["silver"] = old.to_dict()
    assert collect(json.dumps(notebook(new)), json.dumps(journal))["silver"] == new
    kept = {"eqlib": {"student": "s01", "records": {"silver": new.to_dict()}}}
    found = collect(notebook(metadata=kept), None)
    assert found["silver"] == new
    assert found.student == "s01"


def test_times_are_compared_as_times_and_not_as_text():
    eight_utc = record(at="2026-01-31T20:00:00+00:00")
    half_past_seven = record({"direction": "none"}, at="2026-01-31T20:30:00+01:00")
    assert collect(notebook(eight_utc, half_past_seven))["silver"].answer == eight_utc.answer


def test_collect_leaves_out_other_assignments_and_other_students():
    other = record_answer("05", "silver", {"direction": "none"}, "s01", at=LATE)
    found = collect(notebook(record(), other), None, assignment="04")
    assert found["silver"] == record()
    assert "05" in found.problems[0]
    shared = {
        "format": 1,
        "records": {
            "s01": {"q": record(question="q").to_dict()},
            "s02": {"silver": record({"direction": "none"}, student="s02", at=LATE).to_dict()},
        },
    }
    found = collect(notebook(record()), shared)
    assert found["silver"] == record(), "a neighbour's newer answer on the same computer is not taken"
    assert "q" in found
    assert set(collect(None, shared, student="s02")) == {"silver"}


def test_one_corrupt_record_never_hides_the_others():
    book = notebook(record(), record(question="water"))
    broken = copy.deepcopy(book)
    broken["cells"][0]["outputs"][0]["data"][MIME]["answer"] = {"direction": "forward"}
    broken["cells"] += [None, {"outputs": 3}, {"outputs": [None, {"data": []}, {"data": {MIME: "{"}}]}]
    found = collect(broken, "not json")
    assert set(found) == {"water"}
    assert len(found.problems) == 3


@pytest.mark.parametrize("book", ["", "[]", "{", b"\x00", 7])
def test_a_notebook_that_is_none_gives_one_problem(book):
    found = collect(book)
    assert dict(found) == {}
    assert len(found.problems) == 1


def test_an_answer_recorded_in_the_second_in_which_its_outcome_was_shown_came_before_it():
    """The button records and shows: both carry the same second."""
    shown = record().revealed(EARLY)
    assert shown.before_reveal == 1
    assert record({"direction": "none"}, at=LATE, previous=shown).before_reveal == 1


@pytest.mark.parametrize("key", ["assignment", "question"])
def test_a_record_without_a_name_says_which(key):
    data = json.loads(json.dumps(record().to_dict()))
    data[key] = 5
    with pytest.raises(AnswerError, match=key):
        Record.from_json(data)
