"""Numbers, amounts and files as people meet them; expected texts are written by hand."""

import os

import pytest

from eqlib.errors import did_you_mean
from eqlib.writing import (
    in_powers,
    moles_change,
    number,
    practically_none,
    raised,
    volume_from_to,
    with_figures,
    write_atomically,
)


@pytest.mark.parametrize(
    ("value", "figures", "text"),
    [
        (140, 3, "140"),
        (0.0473, 3, "0.0473"),
        (1.4e-4, 3, "1.40 × 10⁻⁴"),
        (0.00014, 2, "1.4 × 10⁻⁴"),
        (1470, 3, "1470"),
        (14700, 3, "1.47 × 10⁴"),
        (9.999, 3, "10.0"),
        (0.0055 * 2.30 / 10, 3, "0.00127"),
        (0.01845, 3, "0.0185"),
        (170.5, 3, "171"),
        (-1.265, 3, "−1.27"),
        (1.2649, 3, "1.26"),
        (0, 3, "0"),
    ],
)
def test_always_as_many_figures(value, figures, text):
    assert with_figures(value, figures) == text


def test_a_half_is_rounded_as_on_paper():
    """5.5 mM x 2.30/10 = 1.265 mM."""
    assert number(0.0055 * 2.30 / 10) == "0.00127"
    assert number(1.25e-5, 2) == "1.3 × 10⁻⁵"
    assert number(12340000.5, 9) == "12340000.5"


@pytest.mark.parametrize(
    ("start", "end", "text"),
    [
        (0.467e-6, 0.241e-6, "falls by 0.226 µmol, from 0.467 to 0.241 µmol"),
        (1e-3, 1.5e-3, "grows by 0.5 mmol, from 1 to 1.5 mmol"),
        (0.2e-3, 0.20007e-3, "grows by only 0.07 µmol, to 0.2 mmol"),
        (1.091e-12, 0.692e-12, "falls by 0.399 × 10⁻¹² mol, from 1.091 × 10⁻¹² to 0.692 × 10⁻¹² mol"),
        (0.2, 0.1999, "falls by only 0.1 mmol, to 0.2 mol"),
        (1e-5, 4e-7, "falls from 10 to 0.4 µmol"),
        (2e-9, 5e-3, "grows from practically none to 5 mmol"),
        (0.25, 0.0, "falls from 0.25 mol to practically none"),
        (1e-24, 1e-18, "grows from practically none to 1 × 10⁻¹⁸ mol"),
        (3e-5, 2.1e-3, "grows from 30 µmol to 2.1 mmol"),
    ],
)
def test_an_amount_that_changes(start, end, text):
    assert moles_change(start, end) == text


def test_practically_none_is_a_millionth_or_less_than_one_ion():
    assert practically_none(0.9e-6, 1.0)
    assert not practically_none(1.1e-6, 1.0)
    assert practically_none(1.6e-24, 1e-20, in_moles=True)
    assert not practically_none(1.7e-24, 1e-20, in_moles=True)
    assert not practically_none(1.6e-24, 1e-20)


def test_powers_of_ten_in_a_sentence():
    assert in_powers("[H^+] = 2.1e-06 and 3e+4 of 5.") == "[H^+] = 2.1 × 10⁻⁶ and 3 × 10⁴ of 5."
    assert raised("3+") == "³⁺"


def test_two_volumes_have_one_unit():
    assert volume_from_to(0.5, 0.2) == "from 500 to 200 mL"
    assert volume_from_to(0.5, 1.0) == "from 0.5 to 1 L"


def test_the_nearest_name_is_offered_and_nothing_far():
    assert did_you_mean("SNC^-", ["Fe^3+", "SCN^-"]) == "; did you mean SCN^-?"
    assert did_you_mean("dillute", ["dilute", "heat_to"]) == "; did you mean dilute?"
    assert did_you_mean("xyz", ["dilute", "heat_to"]) == ""


def test_a_file_is_replaced_whole_or_not_at_all(tmp_path, monkeypatch):
    path = tmp_path / "marks.csv"
    write_atomically(path, "old")
    assert path.stat().st_mode & 0o077 == 0

    def refuse(*_):
        raise OSError("disk full")

    monkeypatch.setattr(os, "replace", refuse)
    with pytest.raises(OSError, match="disk full"):
        write_atomically(path, "new")
    assert path.read_text(encoding="utf-8") == "old"
    assert list(tmp_path.iterdir()) == [path]
