"""Nothing recorded is lost or overlooked, and nothing counts that was not recorded before marking."""

import json
import os
import shutil
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from eqlib.assess.load import read_questions
from eqlib.assess.records import (
    MIME,
    SEEN,
    Journal,
    Record,
    code_answers,
    collect,
    kept_parts,
    no_answers,
    oddities,
    record_answer,
    rescue,
    same_answer,
    standing,
)
from eqlib.assess.records.journal import read_journal

QUESTIONS = read_questions(
    """
[assignment]
id = "04"
title = "Four"
course = "evening-class"

[[question]]
id = "silver"
kind = "prediction"
points = 2
title = "Silver"
prompt = "What happens?"
system = "iron-thiocyanate-silver"
[question.stress]
kind = "add_solution"
of_mM = { AgNO3 = 100 }
mL = 0.5
[[question.part]]
ask = "direction"
[[question.part]]
ask = "seen"

[[question]]
id = "kc"
kind = "number"
points = 2
title = "Kc"
prompt = "Work out Kc"
system = "iron-thiocyanate"
[[question.part]]
ask = "number"
quantity = "K"
id = "K"
code = true
"""
)


def at(minute, second=0):
    return f"2026-01-31T18:{minute:02}:{second:02}Z"


def record(answer, minute=0, question="silver", student="s01", previous=None, second=0):
    return record_answer("04", question, answer, student, at=at(minute, second), previous=previous)


def notebook(*records, sources=()):
    cells = [{"cell_type": "code", "source": "", "outputs": [{"data": {MIME: r.to_dict()}}]} for r in records]
    cells += [{"cell_type": "code", "source": source, "outputs": []} for source in sources]
    return {"cells": cells, "metadata": {}}


FULL = {"free": "4.6e-4", "x": 1.2e-4, "Kc": "140"}


def test_a_part_left_blank_keeps_the_earlier_answer_and_says_so():
    first = record(FULL)
    for nothing in ({}, {"Kc": None}, {"Kc": ""}, {"Kc": "  "}):
        given_now = {"free": "4.5e-4", "x": 1.2e-4, **nothing}
        assert kept_parts(given_now, first) == ("Kc",)
        assert record(given_now, 1, previous=first).answer == {**FULL, "free": "4.5e-4"}
    assert record({**FULL, "Kc": 0}, 1, previous=first).answer["Kc"] == 0, "a zero says something"
    table = {"ice": {"initial": {"Fe^3+": None}, "change": {}}}
    filled = record({"ice": {"initial": {"Fe^3+": "0.1"}}})
    assert record(table, 1, previous=filled).answer == filled.answer


def test_another_set_of_numbers_keeps_nothing():
    first = record({**FULL, "_set": 0})
    assert record({"Kc": "9", "_set": 1}, 1, previous=first).answer == {"Kc": "9", "_set": 1}


def test_changed_on_screen_is_not_recorded():
    held = record(FULL)
    assert same_answer(held, dict(FULL))
    assert same_answer(held, {**FULL, "Kc": " 140 ", "note": ""})
    assert not same_answer(held, {**FULL, "Kc": "141"})
    assert not same_answer(held, {**FULL, "Kc": ""})
    assert same_answer(None, {"Kc": "", "x": None})
    assert not same_answer(None, {"Kc": "1"})
    assert same_answer(Record.from_json(json.dumps({**held.to_dict()})), {**FULL, "x": 0.00012})


def test_the_receipt_says_answered_and_never_how_well():
    question = QUESTIONS["silver"]
    assert standing(question, None).state == "not answered"
    half = standing(question, record({"direction": "forward"}))
    assert (half.state, half.answered, half.missing) == ("partly answered", ("direction",), ("seen",))
    assert standing(question, record({"direction": "forward", "seen": "same"})).state == "answered"


ATTEMPTS = st.lists(
    st.tuples(st.integers(0, 59), st.sampled_from(["forward", "reverse", "none"])), min_size=1, max_size=8
)


def chain(attempts):
    made = None
    for minute, direction in sorted(attempts):
        made = record({"direction": direction}, minute, previous=made)
    return made


def told(made):
    return {(e["at"], e["answer"]["direction"]) for e in made.history} | {(made.at, made.answer["direction"])}


@given(ATTEMPTS, ATTEMPTS)
def test_merging_two_copies_loses_no_attempt_and_depends_on_no_order(one, other):
    a, b = chain(one), chain(other)
    both = a.merged(b)
    assert told(both) == told(a) | told(b)
    assert both.when == max(a.when, b.when)
    assert told(b.merged(a)) == told(both)
    assert both.merged(a) == both
    assert [e["at"] for e in both.history] == sorted(e["at"] for e in both.history)
    assert Record.from_json(json.dumps(both.to_dict())) == both


def test_a_journal_loses_no_attempt_whatever_is_written_to_it(tmp_path):
    journal = Journal(tmp_path / "answers-04.journal.json")
    new = record({"direction": "forward"}, 9)
    journal.write(new)
    journal.write(record({"direction": "none"}, 3))
    held = read_journal(journal.path.read_text())[0]["s01"]["silver"]
    assert held.answer == new.answer, "an older copy does not replace a newer"
    assert held.first == {"direction": "none"}
    before = journal.path.stat().st_mtime_ns
    journal.write(new)
    assert journal.path.stat().st_mtime_ns == before, "nothing new, nothing written"


def test_records_in_a_notebook_are_safe_before_its_outputs_are_replaced(tmp_path):
    """A notebook copied without its question file: every record is in the journal, and can go into new
    outputs.
    """
    records = [record({"direction": "forward"}, n, question=f"q{n}") for n in range(26)]
    path = tmp_path / "copy of 04.ipynb"
    path.write_text(json.dumps(notebook(*records)))
    found = rescue(tmp_path)
    assert not found.problems
    kept = read_journal((tmp_path / "answers-04.journal.json").read_text())[0]
    assert kept == {"s01": {r.question: r for r in records}}
    assert Record.from_json(found.bundle("q7")[MIME]) == records[7]
    assert found.bundle("never asked") == {}
    path.write_text(json.dumps({"cells": [], "metadata": {}}))  # run again without records, and saved
    assert rescue(tmp_path).bundle("q25") == {MIME: records[25].to_dict()}, "from the journal"
    (tmp_path / "answers-04.journal.json").unlink()
    assert rescue(tmp_path).bundle("q25") == {}, "a changed file is read again"


def test_a_checkpoint_and_a_renamed_notebook_count_and_somebody_elses_record_stays_theirs(tmp_path):
    (tmp_path / ".ipynb_checkpoints").mkdir()
    old, new = record({"direction": "forward"}, 1), record({"direction": "none"}, 2)
    (tmp_path / ".ipynb_checkpoints" / "a-checkpoint.ipynb").write_text(json.dumps(notebook(old)))
    theirs = record({"direction": "reverse"}, 5, student="s02")
    (tmp_path / "b.ipynb").write_text(json.dumps(notebook(new, theirs)))
    (tmp_path / "c.ipynb").write_text("not a notebook " + MIME)
    found = rescue(tmp_path)
    (mine,) = [record for record in found.records if record.student == "s01"]
    assert (mine.first, mine.answer) == ({"direction": "forward"}, {"direction": "none"})
    assert found.bundle("silver")[MIME]["student"] == "s02", "the newest of anybody's"


def test_where_nothing_can_be_written_the_records_are_handed_back_all_the_same(tmp_path, monkeypatch):
    (tmp_path / "a.ipynb").write_text(json.dumps(notebook(record({"direction": "none"}))))

    def refuse(*_args, **_kwargs):
        raise OSError(30, "Read-only file system")

    monkeypatch.setattr("eqlib.writing.tempfile.mkstemp", refuse)
    found = rescue(tmp_path)
    assert "save the notebook" in found.problems[0]
    assert found.bundle("silver")
    assert not list(tmp_path.glob("answers-*"))
    assert rescue(tmp_path / "nowhere").records == ()
    monkeypatch.undo()
    assert rescue(tmp_path, write=False).bundle("silver")
    assert not list(tmp_path.glob("answers-*")), "while marking nothing is written"


def test_answers_that_appear_only_while_marking_do_not_count():
    honest = collect(notebook(record({"direction": "none"}, 1)))
    forged = collect(
        notebook(record({"direction": "reverse", "seen": "paler"}, 30), record({"K": 140.0}, 30, "kc"))
    )
    counted, lines = code_answers(honest, forged, QUESTIONS)
    assert counted["silver"] == honest["silver"]
    assert counted["kc"].answer == {"K": 140.0}, "a number worked out in code comes from the run"
    assert lines == ["an answer to 'silver' appeared only while marking; it was not counted"]
    blank, lines = code_answers(collect(notebook()), forged, QUESTIONS)
    assert set(blank) == {"kc"}
    assert len(lines) == 1
    again, lines = code_answers(honest, honest, QUESTIONS)
    assert (again, lines) == (dict(honest), []), "a record shown again is the same record"


def test_a_value_from_code_leaves_what_was_typed_beside_it_as_it_was():
    kept = collect(notebook(record({"K": 12.0}, 1, "kc")))
    counted, lines = code_answers(kept, collect(notebook(record({"K": 140.0}, 2, "kc"))), QUESTIONS)
    assert counted["kc"].answer == {"K": 140.0}
    assert counted["kc"].first == {"K": 12.0}
    assert lines == []


def test_a_submission_without_any_answer_is_named_with_the_file_that_would_complete_it():
    line = no_answers(collect(notebook()), QUESTIONS, "04")
    assert line == "no answers found: ask for the file answers-04.journal.json"
    found = collect(notebook(record({"direction": "none"})))
    assert no_answers(found, QUESTIONS, "04") == ""
    journal = {"format": 1, "records": {"s01": {"silver": record({"direction": "none"}).to_dict()}}}
    assert no_answers(collect(notebook(), journal), QUESTIONS, "04") == "", "completed by adding it"
    only_code = {"kc": QUESTIONS["kc"]}
    assert no_answers(collect(notebook()), only_code, "04") == ""


NOW = datetime(2026, 2, 1, tzinfo=UTC)


def test_what_is_odd_is_said_neutrally():
    quick = collect(notebook(*(record({"direction": "none"}, 1, f"q{n}") for n in range(4))))
    assert oddities(quick, now=NOW) == [
        "all 4 answers were recorded within one second (2026-01-31 18:01:00 UTC)"
    ]
    slower = (record({"direction": "none"}, 1, "q0"), record({"direction": "none"}, 1, "q1", second=2))
    third = record({"direction": "none"}, 1, "q2")
    assert oddities(collect(notebook(*slower, third)), now=NOW) == []
    pair = collect(notebook(third, slower[0]))
    assert oddities(pair, now=NOW) == [], "two may come together"


def test_times_after_the_due_date_or_after_the_marking_are_listed():
    found = collect(notebook(record({"direction": "none"}, 30)))
    when = found["silver"].when
    assert oddities(found, due=when + timedelta(hours=1), now=NOW) == []
    assert oddities(found, due=when - timedelta(hours=1), now=NOW) == [
        "1 recorded answer carries a time after the assignment was due "
        "(the first: silver, 2026-01-31 18:30:00 UTC)"
    ]
    assert oddities(found, now=when - timedelta(hours=1)) == [
        "1 recorded answer carries a time later than the time of marking "
        "(the first: silver, 2026-01-31 18:30:00 UTC)"
    ]


def test_an_outcome_opened_under_another_id_before_answering_is_listed():
    seen = record({"seen": True}, 5, SEEN + "silver", student="test")
    mine = record({"direction": "none"}, 7)
    journal = {
        "format": 1,
        "records": {"test": {seen.question: seen.to_dict()}, "s01": {"silver": mine.to_dict()}},
    }
    found = collect(notebook(mine), journal, student="s01")
    (line,) = oddities(found, now=NOW)
    assert "'silver' was opened under the id 'test' at 2026-01-31 18:05:00 UTC" in line
    earlier = record({"direction": "none"}, 3)
    journal["records"]["s01"]["silver"] = earlier.to_dict()
    assert oddities(collect(notebook(earlier), journal, student="s01"), now=NOW) == []


@pytest.mark.parametrize(
    ("source", "odd"),
    [
        ("from eqlib.notebook import panel\n\npanel('iron')", False),
        ("import eqlib as eq\n\neq.ice", False),
        ("from eqlib.assess.records import record_answer", True),
        ("import eqlib.grading.bulk", True),
        ("from eqlib import mark", True),
        ("import eqlib as e\n\ne.load_questions('questions.toml')", True),
        ("import eqlib\neqlib.mark", True),
        ("%pip list\nfrom eqlib.assess.mark import mark", True),
        ("mark = 3", False),
    ],
)
def test_a_cell_that_imports_the_marker_is_listed(source, odd):
    lines = oddities(collect(notebook()), notebook(sources=["x = 1", source]), now=NOW)
    assert lines == (["cell 2 imports the part of eqlib that marks"] if odd else [])
    ours = notebook(sources=[source])
    ours["cells"][0]["metadata"] = {"eqlib": {"restoring": True}}
    assert oddities(collect(notebook()), ours, now=NOW) == []


def test_a_folder_handed_in_without_outputs_is_completed_by_its_journal(tmp_path):
    (tmp_path / "a.ipynb").write_text(json.dumps(notebook(record({"direction": "none"}))))
    rescue(tmp_path)
    shutil.copy(tmp_path / "answers-04.journal.json", tmp_path / "sent later.json")
    cleared = collect(notebook(), (tmp_path / "sent later.json").read_bytes(), "04", "s01")
    assert cleared["silver"].answer == {"direction": "none"}


def test_a_clock_that_was_set_back_does_not_make_the_newest_answer_old(tmp_path):
    from eqlib.assess.records import Journal, record_answer

    late = record_answer("wells", "iron", {"K": "same"}, "s01", at="2999-01-01T00:00:00Z")
    newest = record_answer("wells", "iron", {"K": "larger"}, "s01", previous=late)
    journal = Journal(tmp_path / "answers-wells.journal.json")
    journal.write(late)
    journal.write(newest)
    assert read_journal(journal.path.read_text())[0]["s01"]["iron"].answer == {"K": "larger"}


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
@pytest.mark.parametrize("name", ["mine.ipynb", "MINE.IPYNB"])
def test_a_notebook_saved_by_another_program_is_rescued_as_well(tmp_path, encoding, name):
    record = record_answer("04", "silver", {"direction": "forward"}, "s01")
    cells = [{"cell_type": "code", "outputs": [{"data": {MIME: record.to_dict()}}]}]
    (tmp_path / name).write_bytes(json.dumps({"cells": cells}).encode(encoding))
    os.utime(tmp_path / name, (1, 1))
    for number in range(70):  # a term's notebooks, all newer
        (tmp_path / f"other{number}.ipynb").write_text("{}")
    assert rescue(tmp_path).records == (record,)
    kept = (tmp_path / "answers-04.journal.json").read_text("utf-8")
    assert read_journal(kept)[0] == {"s01": {"silver": record}}


@pytest.mark.parametrize(("minutes", "told"), [(9.9, False), (10.1, True)])
def test_clocks_may_differ_by_ten_minutes_and_no_more(minutes, told):
    found = collect(notebook(record({"direction": "none"}, 30)))
    limit = found["silver"].when - timedelta(minutes=minutes)
    assert bool(oddities(found, now=limit)) is told
    assert bool(oddities(found, due=limit, now=NOW)) is told
