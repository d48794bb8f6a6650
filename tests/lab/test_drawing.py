"""The drawing: well-formed, named, true to volume and colour, and the same for a picture and for its film."""

import math
import re
import xml.etree.ElementTree as ET

import pytest
from coloraide import Color

import eqlib as eq
from eqlib.errors import EqlibError
from eqlib.lab.curves import QuotientLine, bars
from eqlib.lab.drawing import frame, grey_of, shapes, shelf, vessel_of

SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def red():
    return eq.system("iron-thiocyanate").mixture().equilibrate()


def test_a_picture_is_well_formed_and_says_what_it_shows(red):
    picture = ET.fromstring(
        shelf([vessel_of(red, "your <well>"), "→", vessel_of(red, "after")], "Two wells", "red & still")
    )
    assert picture.find(f"{SVG}title").text == "Two wells"
    assert picture.find(f"{SVG}desc").text == "red & still"
    assert picture.get("role") == "img"
    assert "your <well>" in "".join(picture.itertext())


def test_the_level_is_the_volume_over_the_floor(red):
    """A well of 15.6 mm bore and 1.78 cm depth (common practice, no source)."""
    depth = 1000 * red.volume / (math.pi * 0.78**2)
    assert vessel_of(red).level == pytest.approx(depth / 1.78, rel=0.01)


def test_grey_has_the_luminance_of_the_colour():
    for colour in ("#d75400", "#2255aa", "#ffffff", "#102000"):
        assert Color(grey_of(colour)).luminance() == pytest.approx(Color(colour).luminance(), abs=0.004)


def test_a_frame_moves_what_the_picture_holds(red):
    vessel = vessel_of(red, "well", lines=("orange",))
    drawn = set(re.findall(r'data-id="([^"]+)"', shelf([vessel], "a well")))
    assert set(frame([vessel])) == drawn
    assert shapes(vessel)["liquid"][1]["fill"] == vessel.colour


def test_from_above_the_floor_is_seen_through_the_depth(red):
    from eqlib.lab.colour import colour_of

    assert vessel_of(red, view="above").colour == colour_of(red, view="above", area_cm2=1.91).hex


def test_q_stands_to_its_own_side_of_k():
    line = QuotientLine(139, [("at once", 1e6), ("none yet", 0.0), ("endless", math.inf)])
    assert line.x(0.0) < line.x(1.0) < line.x(139) < line.x(1e6) < line.x(math.inf)
    decade = line.x(1e5) - line.x(1e4)
    assert line.x(1e4) - line.x(1e3) == pytest.approx(decade)
    ET.fromstring(line.svg("Q beside K", "three of them"))


def test_bars_are_as_long_as_their_numbers():
    picture = ET.fromstring(bars([("Fe³⁺", {"before": 1.0, "after": 2.0})], "iron"))
    widths = [float(bar.get("width")) for bar in picture.iter(f"{SVG}rect")]
    assert widths[1] == pytest.approx(2 * widths[0], rel=0.01)


def test_a_vessel_that_cannot_be_drawn_is_named(red):
    with pytest.raises(EqlibError, match="bucket"):
        vessel_of(red, kind="bucket")


def test_a_gas_fills_a_sealed_tube():
    from eqlib.lab.drawing import SHAPES, Vessel, rows_of, shapes

    tube = shapes(Vessel("sealed", 1.0, "#aa5500"))
    assert set(tube) == {"liquid"}  # no meniscus, no bed, no cloud
    assert f"V{SHAPES['sealed'].px[1] - 21}" in tube["liquid"][1]["d"]
    long = Vessel("well", 0.5, "#ffffff", "if your idea were right", ("pale bluish green; dark brown solid",))
    assert all(len(row) <= 24 for row in rows_of(long))
    assert " ".join(rows_of(long)).startswith("if your idea were right pale")
