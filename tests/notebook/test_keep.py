"""What was done is taken home in one file, and brought back without losing anything recorded since."""

import io
import zipfile

import pytest

from eqlib.assess.records import Journal, journal_name, record_answer
from eqlib.assess.records.journal import read_journal
from eqlib.errors import EqlibError
from eqlib.notebook.keep import pack, unpack

NAME = "05-strangers"
TOML = '[assignment]\nid = "05-strangers"\ntitle = "S"\ncourse = "c"\n'


@pytest.fixture
def hosted(tmp_path):
    home = tmp_path / "practice" / NAME
    home.mkdir(parents=True)
    (home / "questions.toml").write_text(TOML, "utf-8")
    (home / f"{NAME}.ipynb").write_text('{"cells": [], "mine": 1}', "utf-8")
    return tmp_path / "practice"


def journal(hosted):
    return Journal(hosted / NAME / journal_name(NAME))


def kept(hosted):
    """The answer that the journal there holds."""
    return read_journal(journal(hosted).path.read_text("utf-8"))[0][""]["phosphate"]


def answer(value):
    return record_answer(NAME, "phosphate", {"direction": value}, None)


def test_a_fresh_server_goes_on_where_the_old_one_was(hosted):
    journal(hosted).write(answer("reverse"))
    taken = pack(hosted)
    (hosted / NAME / journal_name(NAME)).unlink()
    (hosted / NAME / f"{NAME}.ipynb").write_text('{"cells": []}', "utf-8")
    assert unpack(taken, hosted)
    assert kept(hosted).answer == {"direction": "reverse"}
    assert '"mine"' in (hosted / NAME / f"{NAME}.ipynb").read_text("utf-8")
    assert (hosted / NAME / f"{NAME}-earlier-1.ipynb").is_file()


def test_what_was_recorded_since_is_kept(hosted):
    journal(hosted).write(answer("reverse"))
    taken = pack(hosted)
    journal(hosted).write(answer("none"))
    unpack(taken, hosted)
    assert [attempt["direction"] for attempt in kept(hosted).attempts] == ["reverse", "none"]


def test_one_assignment_alone_can_be_taken_home(hosted):
    journal(hosted).write(answer("reverse"))
    with zipfile.ZipFile(io.BytesIO(pack(hosted / NAME))) as packed:
        assert f"{NAME}/{journal_name(NAME)}" in packed.namelist()


def test_what_is_taken_from_inside_a_notebook_is_brought_back_anywhere(hosted, monkeypatch):
    journal(hosted).write(answer("reverse"))
    monkeypatch.chdir(hosted / NAME)
    taken = pack(".")
    (hosted / NAME / journal_name(NAME)).unlink()
    assert unpack(taken, hosted) == [f"{NAME}: 1 recorded answer is back."]
    (hosted / NAME / journal_name(NAME)).unlink()
    assert unpack(taken, ".") == [f"{NAME}: 1 recorded answer is back."]


@pytest.mark.parametrize("data", [b"", b"not a zip", b"PK\x03\x04broken"])
def test_another_file_is_refused_in_one_line(hosted, data):
    with pytest.raises(EqlibError) as refused:
        unpack(data, hosted)
    assert "\n" not in str(refused.value)


def test_nothing_is_written_outside_the_assignments(hosted):
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w") as packed:
        packed.writestr("../evil.ipynb", '{"cells": []}')
        packed.writestr(f"{NAME}/../../evil.ipynb", '{"cells": []}')
        packed.writestr(f"{NAME}/stranger.ipynb", '{"cells": []}')
    unpack(stream.getvalue(), hosted)
    assert not list(hosted.parent.rglob("evil.ipynb"))
    assert not (hosted / NAME / "stranger.ipynb").exists()
