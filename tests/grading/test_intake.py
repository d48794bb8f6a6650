"""Whatever is handed in is read, or named in one line."""

import json

import nbformat
import pytest
from nbformat.v4 import new_code_cell, new_notebook

from eqlib.grading import intake
from eqlib.grading.intake import UnreadableNotebook, read_notebook, read_submission

IDS = {"tiny": {"water", "form-water", "kc"}}


def book(*sources, name="water"):
    cells = [new_code_cell(s) for s in sources]
    cells[0].metadata["nbgrader"] = {"grade_id": name}
    return new_notebook(cells=cells)


def test_bytes_that_are_no_notebook_are_named_with_a_mend(tmp_path):
    cases = {
        "text.ipynb": b"Dear teacher, here is my work",
        "list.ipynb": b"[1, 2]",
        "half.ipynb": b'{"cells": [',
        "nothing.ipynb": b"",
        "deep.ipynb": b'{"cells": ' + b"[" * 100_000,
        "none.ipynb": b'{"cells": [], "metadata": {}, "nbformat": 4, "nbformat_minor": 5, "x": 1}',
    }
    for name, data in cases.items():
        (tmp_path / name).write_bytes(data)
        with pytest.raises(UnreadableNotebook) as caught:
            intake._made_anew({"cells": []}, name) if name == "none.ipynb" else read_notebook(tmp_path / name)
        line = str(caught.value)
        assert name in line
        assert "ask for" in line
        assert "\n" not in line


def test_a_huge_file_is_not_even_opened(tmp_path, monkeypatch):
    monkeypatch.setattr(intake, "MAX_NOTEBOOK", 10)
    (tmp_path / "big.ipynb").write_text("x" * 11, encoding="utf-8")
    with pytest.raises(UnreadableNotebook, match=r"big\.ipynb is .* MB"):
        read_notebook(tmp_path / "big.ipynb")


def test_an_invalid_notebook_is_made_anew_from_what_is_usable(tmp_path):
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
    (tmp_path / "odd.ipynb").write_text(json.dumps(raw), encoding="utf-8")
    read = read_notebook(tmp_path / "odd.ipynb")
    assert [cell.source for cell in read.cells] == ["a = 1\na", "half ? pair"]
    nbformat.validate(read)


def test_a_lone_notebook_under_another_name_is_taken(tmp_path):
    nbformat.write(book("x"), tmp_path / "my work (1).ipynb")
    found = read_submission("s01", tmp_path, {"tiny": None}, IDS)
    assert list(found.notebooks) == ["tiny"]
    assert found.notes == ("my work (1).ipynb was taken for tiny.ipynb",)


def test_links_out_of_the_folder_are_not_followed(tmp_path):
    secret = tmp_path / "secret.txt"
    secret.write_text("key", encoding="utf-8")
    folder = tmp_path / "in"
    folder.mkdir()
    nbformat.write(book("x"), folder / "tiny.ipynb")
    (folder / "data.txt").symlink_to(secret)
    (folder / "good.csv").write_text("1,2", encoding="utf-8")
    assert dict(read_submission("s01", folder, {"tiny": None}, IDS).files) == {"good.csv": b"1,2"}


def test_an_empty_folder_is_unusable_and_says_what_is_wanted(tmp_path):
    assert "no notebook was handed in" in read_submission("s01", tmp_path, {"tiny": None}, IDS).unusable


def test_a_missing_one_of_several_notebooks_is_named(tmp_path):
    nbformat.write(book("x"), tmp_path / "tiny.ipynb")
    expected, ids = {"tiny": None, "second": None}, {**IDS, "second": {"other"}}
    found = read_submission("s01", tmp_path, expected, ids)
    assert list(found.notebooks) == ["tiny"]
    assert found.notes == ("second.ipynb was not handed in; it scores 0",)
