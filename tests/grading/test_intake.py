"""Whatever is handed in is read, or named in one line."""

import io
import json
import zipfile

import nbformat
import pytest
from nbformat.v4 import new_code_cell, new_notebook

from eqlib.grading import intake
from eqlib.grading.intake import (
    HandedIn,
    UnreadableNotebook,
    as_notebook,
    collect_files,
    printable,
    read_notebook,
    read_submission,
    submitted,
)

IDS = {"tiny": {"water", "form-water", "kc"}}


def book(*sources, name="water"):
    cells = [new_code_cell(s) for s in sources]
    cells[0].metadata["nbgrader"] = {"grade_id": name}
    return new_notebook(cells=cells)


def read(folder, expected=IDS, others=None):
    given = collect_files("s01", [folder])
    return read_submission(given, expected, others or {}, lambda plain: 0)


def as_bytes(*sources, **more):
    return nbformat.writes(book(*sources, **more)).encode()


def test_bytes_that_are_no_notebook_are_named_with_a_mend():
    cases = {
        "text.ipynb": b"Dear teacher, here is my work",
        "list.ipynb": b"[1, 2]",
        "half.ipynb": b'{"cells": [',
        "nothing.ipynb": b"",
        "deep.ipynb": b'{"cells": ' + b"[" * 100_000,
        "none.ipynb": b'{"cells": [], "metadata": {}, "nbformat": 4, "nbformat_minor": 5, "x": 1}',
    }
    for name, data in cases.items():
        with pytest.raises(UnreadableNotebook) as caught:
            read_notebook(name, data)
        line = str(caught.value)
        assert name in line
        assert "ask for" in line
        assert "\n" not in line


def test_a_huge_file_is_not_even_opened(tmp_path, monkeypatch):
    monkeypatch.setattr(intake, "MAX_NOTEBOOK", 10)
    (tmp_path / "big.ipynb").write_text("x" * 11, encoding="utf-8")
    given = collect_files("s01", [tmp_path])
    assert given.files == {}
    assert "big.ipynb was left out (0 MB)" in given.notes[0]


@pytest.mark.parametrize("coding", ["utf-8-sig", "utf-16", "utf-16-le", "utf-32", "cp1252"])
def test_other_codings_and_marks_are_read(coding):
    data = nbformat.writes(book("x = 'ä'")).encode(coding)
    assert read_notebook("a.ipynb", data)["cells"][0]["source"] == "x = 'ä'"


def test_a_damaged_byte_costs_its_letter_and_no_other():
    whole = json.dumps(book("a = 'Fe³⁺'; b = 'ä'"), ensure_ascii=False).encode()
    assert "ä".encode() in whole
    damaged = whole.replace("ä".encode(), b"\xe4")
    assert read_notebook("a.ipynb", damaged)["cells"][0]["source"] == "a = 'Fe³⁺'; b = '\ufffd'"
    of_windows = json.dumps(book("b = 'ä µ'"), ensure_ascii=False).encode("cp1252")
    assert b"\xe4 \xb5" in of_windows
    assert read_notebook("a.ipynb", of_windows)["cells"][0]["source"] == "b = 'ä µ'"


def test_numbers_that_are_no_numbers_and_thousands_of_cells_are_read():
    huge = (
        b'{"cells": [{"cell_type": "code", "source": "x", "outputs": [], "metadata": {"a": ' + b"9" * 10_000
    )
    assert read_notebook("a.ipynb", huge + b'}}], "x": NaN}')["cells"][0]["source"] == "x"
    cells = [{"cell_type": "code", "source": "", "metadata": {}, "outputs": []}] * 20_000
    many = {"cells": [*cells, {"cell_type": "code", "source": "y", "metadata": {}, "outputs": []}]}
    assert [c["source"] for c in read_notebook("a.ipynb", json.dumps(many).encode())["cells"]] == ["y"]


def test_a_zip_is_opened_by_plain_names_only(tmp_path):
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as file:
        file.writestr("work/tiny.ipynb", as_bytes("x"))
        file.writestr("../../outside.txt", "no")
        file.writestr("/root.txt", "no")
        file.writestr("__MACOSX/tiny.ipynb", "no")
    (tmp_path / "work.zip").write_bytes(packed.getvalue())
    given = collect_files("s01", [tmp_path])
    assert list(given.files) == ["work/tiny.ipynb"]
    assert list(read_submission(given, IDS, {}, lambda plain: 0).notebooks) == ["tiny"]
    assert not (tmp_path.parent / "outside.txt").exists()


def test_misnamed_folders_and_loose_files_are_found(tmp_path):
    for place in ("a/tiny", "b/Tiny ", "c/other"):
        (tmp_path / "submitted" / place).mkdir(parents=True)
        (tmp_path / "submitted" / place / "tiny.ipynb").write_bytes(as_bytes("x"))
    (tmp_path / "submitted/d").mkdir()
    (tmp_path / "submitted/d/mine.ipynb").write_bytes(as_bytes("x"))
    (tmp_path / "submitted/e.ipynb").write_bytes(as_bytes("x"))
    found = submitted(tmp_path, "tiny", ["other"])
    assert [student for student, _ in found] == ["a", "b", "d", "e"]
    assert all(collect_files(s, places).files for s, places in found)


def test_another_assignment_is_named(tmp_path):
    (tmp_path / "x.ipynb").write_bytes(as_bytes("x", name="solve"))
    found = read(tmp_path, others={"03-constant": {"solve", "more"}})
    assert found.unusable == "x.ipynb is 03-constant; ask for the right file"


def test_what_steers_a_terminal_is_not_printed():
    assert len(printable("s01\ns02: full marks\u2028\t.").splitlines()) == 1
    assert printable("\x1b[2Jred\u202e") == "?[2Jred?"
    assert HandedIn("s01").files == {}


def test_an_invalid_notebook_is_made_anew_from_what_is_usable():
    raw = {
        "cells": [
            {
                "cell_type": "code",
                "source": ["a = 1\n", "a"],
                "outputs": [{"output_type": "nonsense"}, 7],
                "metadata": 3,
            },
            {"cell_type": "code", "source": "half \ud800 pair", "outputs": None},
            "not a cell",
        ],
        "nbformat": 4,
    }
    found = read_notebook("odd.ipynb", json.dumps(raw).encode())
    assert [cell["source"] for cell in found["cells"]] == ["a = 1\na", "half ? pair"]
    nbformat.validate(as_notebook(found))


def test_a_lone_notebook_under_another_name_is_taken(tmp_path):
    nbformat.write(book("x"), tmp_path / "my work (1).ipynb")
    found = read(tmp_path)
    assert list(found.notebooks) == ["tiny"]
    assert found.notes == ("my work (1).ipynb was taken for tiny.ipynb",)


@pytest.mark.parametrize("name", ["tiny.ipynb.txt", "tiny.ipynb.json", "tiny.IPYNB"])
def test_a_notebook_that_a_browser_renamed_is_a_notebook(tmp_path, name):
    (tmp_path / name).write_bytes(as_bytes("x"))
    assert list(read(tmp_path).notebooks) == ["tiny"]
    (tmp_path / "submitted").mkdir()
    (tmp_path / "submitted" / name).write_bytes(as_bytes("x"))
    assert [student for student, _ in submitted(tmp_path, "ps1")] == ["tiny"]


def test_links_out_of_the_folder_are_not_followed(tmp_path):
    secret = tmp_path / "secret.txt"
    secret.write_text("key", encoding="utf-8")
    folder = tmp_path / "in"
    folder.mkdir()
    nbformat.write(book("x"), folder / "tiny.ipynb")
    (folder / "data.txt").symlink_to(secret)
    (folder / "good.csv").write_text("1,2", encoding="utf-8")
    assert dict(read(folder).files) == {"good.csv": b"1,2"}


def test_an_empty_folder_is_unusable_and_says_what_is_wanted(tmp_path):
    assert "no notebook was handed in" in read(tmp_path).unusable


def test_a_missing_one_of_several_notebooks_is_named(tmp_path):
    nbformat.write(book("x"), tmp_path / "tiny.ipynb")
    found = read(tmp_path, {**IDS, "second": {"other"}})
    assert list(found.notebooks) == ["tiny"]
    assert found.notes == ("second.ipynb was not handed in; it scores 0",)
