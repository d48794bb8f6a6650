"""The contact sheet is of the catalogue as it stands, and each of its rows is told apart without colour.

What was seen on it and changed: bright yellows (chromate, the chlorocuprate) came out almost white, because
a colour outside the screen's range was mixed with grey until it fitted; it is now clipped. Phenolphthalein
was called violet and methyl red crimson; the hue bounds were moved. White clouds vanish on a white sheet;
they carry dots, and a cloud counts as visible by itself. Names ran into the swatches; the columns were
moved.
"""

import importlib.util
import struct
from pathlib import Path

import pytest

import eqlib as eq
from eqlib.lab.look import visibility, why_not_ask

HERE = Path(__file__).parent


@pytest.fixture(scope="module")
def sheet():
    spec = importlib.util.spec_from_file_location("contact_sheet", HERE / "contact_sheet.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def rows(sheet):
    return list(sheet.rows())


def test_every_stress_of_every_system_has_a_row(rows):
    wanted = {(name, key) for name in eq.systems() for key in eq.system(name).steps}
    assert {(name, key) for name, key, *_ in rows} == wanted
    assert len(wanted) > 40


def test_the_picture_beside_this_file_has_a_row_for_each(sheet, rows):
    data = (HERE / "contact_sheet.png").read_bytes()
    assert data.startswith(b"\x89PNG")
    width, height = struct.unpack(">II", data[16:24])
    figure = sheet.draw()
    assert (width, height) == figure.canvas.get_width_height(), "run tests/lab/contact_sheet.py again"
    assert len(data) < 600_000


def test_each_verdict_is_the_one_the_catalogue_states(rows):
    for name, key, _, side, _ in rows:
        seen = "other colour" if why_not_ask(side) else side.lightness
        assert seen == eq.system(name).steps[key].seen, (name, key)


def test_darker_and_paler_hold_on_a_grey_copy_or_are_said_in_words(rows):
    # Where lightness hardly moves (a yellow that deepens, blue for violet) the words must differ instead.
    for name, key, _, side, _ in rows:
        if side.lightness == "same":
            continue
        agrees = side.delta_lightness < 0 if side.lightness == "darker" else side.delta_lightness > 0
        assert (abs(side.delta_lightness) >= 2 and agrees) or side.before.words != side.after.words, (
            name,
            key,
        )


def test_every_row_that_changes_is_visible_at_the_bench(rows):
    for name, key, change, side, _ in rows:
        if side.lightness != "same" or side.precipitate or side.redissolved:
            path = eq.system(name).recipe.path_cm
            cloudier = abs(side.before.cloud.share - side.after.cloud.share) > 0
            seen = visibility(change, depth_cm=path, audience="bench")
            assert seen.visible or cloudier or side.precipitate, (name, key)


def test_above_and_side_agree_when_nothing_is_poured_in(rows):
    for name, key, change, side, above in rows:
        if change.before.volume == pytest.approx(change.after.volume, rel=1e-9):
            assert side.lightness == above.lightness, (name, key)
            assert side.delta_e == pytest.approx(above.delta_e, rel=1e-6, abs=1e-9), (name, key)
