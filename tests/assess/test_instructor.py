"""Rubrics and hints of assessed questions come from a file that students never get."""

import pytest

from eqlib.assess.check.unearned import not_to_be_released
from eqlib.assess.load import load_questions, notes_path
from eqlib.errors import EqlibError

FILE = """
[assignment]
id = "a1"
title = "T"
course = "c1"
[[question]]
id = "words"
kind = "explanation"
points = 1
title = "t"
prompt = "why?"
[[question.part]]
ask = "explain"
[[question]]
id = "write"
kind = "expression"
points = 1
title = "t"
prompt = "Write K"
reactions = [{ text = "2 NO2(g) <=> N2O4(g)" }]
[[question.part]]
ask = "expression"
"""


@pytest.fixture
def course(tmp_path):
    (tmp_path / "source" / "a1").mkdir(parents=True)
    (tmp_path / "source" / "a1" / "questions.toml").write_text(FILE)
    (tmp_path / "instructor").mkdir()
    return tmp_path


def notes(course, text):
    (course / "instructor" / "a1.toml").write_text(text)
    return load_questions(course / "source" / "a1")


def test_they_are_added_where_the_file_is_and_missing_where_it_is_not(course):
    bare = load_questions(course / "source" / "a1")
    assert bare["words"].part("explain").rubric == ()
    assert notes_path(bare) == course / "instructor" / "a1.toml"
    full = notes(course, '[words]\nrubric = ["says why"]\nhints = ["look"]\n[write]\nhints = ["powers?"]')
    assert full["words"].part("explain").rubric == ("says why",)
    assert full["words"].hints == ("look",)
    assert full["write"].hints == ("powers?",)
    assert full.path == bare.path
    assert list(full) == list(bare)


def test_every_fault_is_told_at_once_with_the_nearest_name(course):
    text = '[word]\nrubric = ["x"]\n[write]\nrubric = ["x"]\nhint = ["x"]\nhints = [" "]\n'
    with pytest.raises(EqlibError) as told:
        notes(course, text)
    lines = str(told.value).splitlines()
    assert len(lines) == 4
    assert "no question 'word'; did you mean 'words'?" in lines[0]
    assert any("no key 'hint'; did you mean 'hints'?" in line for line in lines)
    assert any("hints should be a list of texts" in line for line in lines)
    assert any("rubric belongs to a written explanation" in line for line in lines)
    assert all(line.startswith("instructor/a1.toml: ") for line in lines)
    with pytest.raises(EqlibError, match="not readable as TOML"):
        notes(course, "[words")
    with pytest.raises(EqlibError, match="write a table"):
        notes(course, "words = 3")


def test_what_would_be_released_is_refused_and_a_missing_rubric_is_found(course):
    path = course / "source" / "a1" / "questions.toml"
    assert [line for _, line in not_to_be_released(load_questions(path))] == [
        'the explanation has no rubric; add [words] and rubric = ["..."] to instructor/a1.toml'
    ]
    assert not_to_be_released(notes(course, '[words]\nrubric = ["says why"]')) == []
    path.write_text(
        FILE.replace('ask = "explain"', 'ask = "explain"\nrubric = ["says why"]').replace(
            'prompt = "Write K"', 'prompt = "Write K"\nhints = ["powers?"]'
        )
    )
    found = not_to_be_released(load_questions(path))
    assert [where for where, _ in found] == ["question 'words'", "question 'write'"]
    assert "rubric would be released" in found[0][1]
    assert "hints would be released" in found[1][1]
    path.write_text(path.read_text().replace('course = "c1"', 'course = "c1"\nmode = "practice"'))
    assert [where for where, _ in not_to_be_released(load_questions(path))] == ["question 'words'"]
