"""The colour of a mixture: Beer and Lambert, words, views, light, gamut, clouds."""

import math
import subprocess
import sys
from dataclasses import dataclass, field

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import eqlib as eq
from eqlib.lab.colour import cloud_of, colour_from_absorbance, colour_of, hue_name, into_gamut, words_for
from eqlib.lab.look import compare

RED = {"FeSCN^2+": 1e-4}
AMOUNTS = st.floats(1e-7, 1e-2)


@dataclass(frozen=True)
class Vessel:
    """What colour_of reads of a State, so that these tests need no solver."""

    concentrations: dict
    volume: float = 0.010
    solids: dict = field(default_factory=dict)


def test_clear_water_is_white_colourless_and_absorbs_nothing():
    colour = colour_of({"Na^+": 0.1, "NO3^-": 0.1})
    assert colour.hex == "#ffffff"
    assert colour.rgb == (255, 255, 255)
    assert colour.lab == pytest.approx((100, 0, 0), abs=1e-6)
    assert (colour.words, colour.hue, colour.clipped, colour.absorbance) == ("colourless", "", False, 0.0)


@given(AMOUNTS, st.floats(0.1, 10))
def test_doubling_the_path_is_doubling_the_concentration(c, path):
    nm = np.arange(380.0, 781.0, 20.0)
    one = eq.absorbance({"FeSCN^2+": c}, nm, 2 * path)
    other = eq.absorbance({"FeSCN^2+": 2 * c}, nm, path)
    assert np.allclose(one, other, rtol=1e-12)
    assert colour_of({"FeSCN^2+": c}, 2 * path).lab == pytest.approx(colour_of({"FeSCN^2+": 2 * c}, path).lab)


@given(AMOUNTS, AMOUNTS, st.floats(380, 780))
def test_absorbances_of_a_mixture_add(first, second, nm):
    both = eq.absorbance({"FeSCN^2+": first, "Cu(NH3)4^2+": second}, nm)
    apart = eq.absorbance({"FeSCN^2+": first}, nm) + eq.absorbance({"Cu(NH3)4^2+": second}, nm)
    assert both == pytest.approx(apart, rel=1e-12)
    assert isinstance(both, float)


@given(AMOUNTS, st.floats(1.02, 50))
def test_more_of_one_coloured_substance_is_never_lighter(c, factor):
    weak, strong = colour_of({"FeSCN^2+": c}), colour_of({"FeSCN^2+": c * factor})
    assert strong.lightness < weak.lightness
    assert strong.absorbed > weak.absorbed
    assert strong.absorbance == pytest.approx(factor * weak.absorbance)


def test_the_absorbance_of_iron_thiocyanate_is_that_of_its_published_molar_absorptivity():
    # 4700 L/(mol cm) near 447 nm: Frank and Oswalt, J. Am. Chem. Soc. 69 (1947) 1321 (from memory).
    assert eq.absorbance(RED, 447) == pytest.approx(0.470, rel=0.01)
    assert eq.absorbance(RED, 447, path_cm=2.0) == pytest.approx(0.940, rel=0.01)


# Ph. Eur. 2.2.25, control of absorbance: 60.06 mg/L potassium dichromate in 0.005 mol/L sulfuric acid, A(1
# %, 1 cm) permitted ranges (from memory). 10 g/L belongs to A(1 %), so the limits are multiplied by
# 0.006006.
@pytest.mark.parametrize(
    ("nm", "low", "high"),
    [(235, 122.9, 126.2), (257, 142.8, 146.2), (313, 47.0, 50.3), (350, 105.6, 109.0), (430, 15.7, 16.1)],
)
def test_the_catalogues_dichromate_reads_within_the_pharmacopoeias_limits(nm, low, high):
    reading = eq.absorbance({"Cr2O7^2-": 0.06006 / 294.185}, nm)
    assert low * 0.006006 <= reading <= high * 0.006006


# G. Haupt, J. Res. Natl. Bur. Stand. 48 (1952) 414: 0.0400 g/L potassium chromate in 0.05 mol/L KOH (from
# memory).
@pytest.mark.parametrize(
    ("nm", "a"), [(250, 0.496), (340, 0.314), (370, 0.991), (400, 0.387), (420, 0.126), (440, 0.0535)]
)
def test_the_catalogues_chromate_reads_as_the_published_standard(nm, a):
    assert eq.absorbance({"CrO4^2-": 0.0400 / 194.19}, nm) == pytest.approx(a, rel=0.01)


@pytest.mark.parametrize("molar", [4e-4, 1e-3, 4e-3])
def test_iodine_vapour_is_violet(molar):
    """Its name says so (Greek iodes, violet-like); blue and red pass, green does not."""
    colour = colour_of({"I2(g)": molar, "H2(g)": 0.01, "HI(g)": 0.03})
    red, green, blue = colour.rgb
    assert "violet" in colour.words
    assert green < min(red, blue)


def test_from_above_dilution_alone_changes_nothing():
    before = colour_of(Vessel({"FeSCN^2+": 2e-4}, 0.010), view="above")
    after = colour_of(Vessel({"FeSCN^2+": 1e-4}, 0.020), view="above")
    assert after.path_cm == 2 * before.path_cm == 2.0
    assert after.absorbance == pytest.approx(before.absorbance)
    assert after.hex == before.hex
    beside = colour_of(Vessel({"FeSCN^2+": 1e-4}, 0.020), view="side")
    assert beside.absorbance == pytest.approx(before.absorbance / 2)


def test_the_area_of_a_dish_can_be_given():
    # 2.0 mL in a well of 1.9 cm2 stands 2.0/1.9 cm deep.
    assert colour_of(Vessel(RED, 0.002), view="above", area_cm2=1.9).path_cm == pytest.approx(2.0 / 1.9)


@pytest.mark.parametrize(
    "lamp", ["daylight", "tungsten", "warm LED", "neutral LED", "cool fluorescent", "D50"]
)
def test_every_light_shows_water_white_and_the_red_solution_darker(lamp):
    assert colour_of({}, light=lamp).hex == "#ffffff"
    assert colour_of(RED, light=lamp).lightness < 95


def test_a_blue_solution_looks_darker_by_lamp_light():
    # A tungsten lamp has little blue to let through; worked out from the spectra alone: luminance of what
    # passes.
    blue = {"Cu(NH3)4^2+": 0.02}
    assert colour_of(blue, light="tungsten").lightness < colour_of(blue, light="daylight").lightness - 1


def test_a_colour_no_screen_shows_is_reported_and_stays_near():
    strong = colour_of({"CuCl4^2-": 0.01})
    assert strong.clipped
    assert strong.excess > 0.0045
    assert eq.delta_e(strong, strong.hex) < 5.0  # the nearest a screen can do
    assert max(strong.rgb) == 255 or min(strong.rgb) == 0  # a channel at its end
    weak = colour_of({"FeSCN^2+": 1.3e-4})
    assert not colour_of({"Cu(NH3)4^2+": 0.005}).clipped
    assert eq.delta_e(colour_of({"Cu(NH3)4^2+": 0.005}), colour_of({"Cu(NH3)4^2+": 0.005}).hex) < 0.5
    assert weak.excess >= 0.0


@pytest.mark.parametrize(
    ("linear", "shown", "excess"),
    [
        ((0.2, 0.5, 1.0), (0.2, 0.5, 1.0), 0.0),
        ((1.25, 0.5, -0.1), (1.0, 0.5, 0.0), 0.25),
        ((0.5, -0.3, 0.1), (0.5, 0.0, 0.1), 0.3),
    ],
)
def test_clipping_says_how_far_outside(linear, shown, excess):
    inside, outside = into_gamut(linear)
    assert inside == pytest.approx(shown)
    assert outside == pytest.approx(excess)


@pytest.mark.parametrize(
    ("lab", "words"),
    [
        ((100.0, 0.0, 0.0), "colourless"),
        ((98.0, -1.0, 7.0), "very pale straw yellow"),
        ((95.0, -2.0, 25.0), "pale straw yellow"),
        ((90.0, -5.0, 95.0), "deep yellow"),
        ((45.0, 60.0, 40.0), "deep red"),
        ((75.0, 25.0, 55.0), "orange"),
        ((80.0, 40.0, -30.0), "purple-pink"),
        ((80.0, 50.0, -8.0), "pink"),
        ((85.0, 20.0, 5.0), "pale pink"),
        ((60.0, 0.0, -45.0), "blue"),
        ((88.0, -5.0, -14.0), "pale blue"),
        ((70.0, -35.0, 20.0), "green"),
        ((35.0, 18.0, 22.0), "brown"),
        ((3.0, 1.0, 1.0), "almost black"),
        ((50.0, 0.5, 0.5), "grey"),
        ((85.0, 0.5, 0.5), "pale grey"),
    ],
)
def test_words(lab, words):
    assert words_for(lab) == words


@given(st.floats(0, 100), st.floats(-100, 100), st.floats(-100, 100))
def test_every_colour_has_words(l, a, b):
    assert words_for((l, a, b))
    assert isinstance(hue_name((l, a, b)), str)


def test_a_white_cloud_is_said_lightens_and_says_which_solid():
    clear = colour_of(Vessel({"FeSCN^2+": 2e-4}))
    cloudy = colour_of(Vessel({"FeSCN^2+": 2e-4}, solids={"AgSCN(s)": 5e-3}))
    assert cloudy.lightness > clear.lightness
    assert "cloudy (white" in cloudy.words
    assert cloudy.cloud.solids == ("AgSCN(s)",)
    assert cloudy.clear_lab == pytest.approx(clear.lab)
    assert colour_of(Vessel({"FeSCN^2+": 2e-4}, solids={"AgSCN(s)": 5e-3}), cloudy=False) == clear


def test_a_cloud_grows_with_the_solid_and_a_trace_is_not_noticed():
    shares = [cloud_of({"AgSCN(s)": amount}).share for amount in (0.0, 1e-6, 1e-4, 1e-3, 1e-2)]
    assert shares[:2] == [0.0, 0.0]
    assert shares == sorted(shares)
    assert shares[-1] < 1.0
    assert cloud_of({"AgSCN(s)": 1e-3}, 2.0).share == pytest.approx(cloud_of({"AgSCN(s)": 2e-3}).share)


def test_gas_is_looked_through_where_nothing_is_dissolved():
    gas = colour_of(Vessel({"NO2(g)": 0.01, "N2O4(g)": 0.01}))
    assert gas.absorbance > 0.5
    assert gas.absorbance == pytest.approx(colour_of({"NO2(g)": 0.01}).absorbance)
    over = colour_of(Vessel({"NO2(g)": 0.01, "Na^+": 0.1}))
    assert over.absorbance == 0.0


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ({"view": "below"}, "side"),
        ({"path_cm": 0}, "path_cm"),
        ({"path_cm": -1}, "path_cm"),
        ({"path_cm": float("nan")}, "path_cm"),
        ({"path_cm": "1 cm"}, "path_cm"),
        ({"view": "above"}, "volume"),
        ({"light": "moon"}, "daylight"),
    ],
)
def test_bad_options_give_one_plain_line(options, words):
    with pytest.raises(eq.EqlibError, match=words) as caught:
        colour_of(RED, **options)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("amount", [-1e-3, float("nan"), "much", None])
def test_a_bad_concentration_is_named(amount):
    with pytest.raises(eq.EqlibError, match=r"FeSCN\^2\+"):
        colour_of({"FeSCN^2+": amount})


@pytest.mark.parametrize(
    "thing", [None, 3, "FeSCN^2+", eq.Mixture({"FeSCN^2+": 1e-4})], ids=["None", "3", "text", "mixture"]
)
def test_what_is_no_state_is_told_what_to_give(thing):
    for call in (
        colour_of,
        lambda t: eq.absorbance(t, 450),
        lambda t: colour_of(t, view="above"),
        lambda t: compare(t, t),
    ):
        with pytest.raises(eq.EqlibError, match="equilibrate"):
            call(thing)


@pytest.mark.parametrize("nm", [0, -400, float("inf"), [400, float("nan")]])
def test_a_bad_wavelength_is_named(nm):
    with pytest.raises(eq.EqlibError, match="wavelength"):
        eq.absorbance(RED, nm)


def test_any_spelling_of_a_species_is_read():
    assert colour_of({"Cu(NH3)4²⁺": 0.01}).hex == colour_of({"Cu(NH3)4^2+": 0.01}).hex


def test_an_absorbance_spectrum_of_ones_is_a_tenth_of_the_light():
    grey = colour_from_absorbance(np.ones(81))
    # L* of a luminance of 0.1: 116 x 0.1^(1/3) - 16 = 37.84, by hand.
    assert grey.lab == pytest.approx((116 * math.cbrt(0.1) - 16, 0, 0), abs=1e-6)
    assert grey.absorbed == pytest.approx(0.9)
    assert grey.words == "grey"


def test_html_names_the_colour_beside_the_swatch():
    html = colour_of(RED)._repr_html_()
    assert 'role="img"' in html
    assert f'aria-label="{colour_of(RED).words}"' in html
    assert "absorbance" in html


def test_colour_writes_nothing_to_the_error_stream_and_is_quick_to_load():
    code = (
        "import sys, eqlib as eq; print(eq.colour_of({'FeSCN^2+': 1e-4}).words); "
        "from eqlib.lab.light import simulate; assert 'colour' not in sys.modules; "
        "print(simulate([200, 100, 50], 'tritan'))"
    )
    done = subprocess.run(
        [sys.executable, "-W", "error", "-c", code], capture_output=True, text=True, timeout=120, check=False
    )
    assert done.stderr == ""
    assert done.returncode == 0


# -- what an experienced eye calls these, in the vessel of the recipe (common practice, no source) ---------


@pytest.mark.parametrize(
    ("name", "step", "when", "word", "hue"),
    [
        ("nitrogen-dioxide", "ice", "before", "brown", (40, 75)),
        ("nitrogen-dioxide", "warm", "after", "brown", (35, 75)),
        ("chromate-dichromate", "acid", "before", "yellow", (90, 115)),
        ("chromate-dichromate", "acid", "after", "orange", (55, 75)),
        ("copper-chloride", "acid", "before", "blue", (210, 250)),
        ("copper-chloride", "acid", "after", "green", (115, 150)),
        ("cobalt-chloride", "acid", "before", "violet", (295, 325)),
        ("cobalt-chloride", "acid", "after", "blue", (245, 290)),
        ("cobalt-chloride", "heat", "after", "deep blue", (270, 310)),
        ("cobalt-chloride", "ice", "after", "pink", (0, 20)),
        ("copper-ammonia", "more-ammonia", "after", "blue", (260, 300)),
        ("ammonia-indicator", "ammonium", "before", "pink", (300, 345)),
        ("bromothymol-blue", "alkali", "after", "blue", (230, 280)),
        ("bromothymol-blue", "acid", "after", "yellow", (85, 110)),
        ("iron-thiocyanate", "thiocyanate", "after", "red", (30, 55)),
    ],
)
def test_colours_an_experienced_eye_accepts(name, step, when, word, hue):
    system = eq.system(name)
    change = eq.disturb(system.before(step), system.steps[step].stress)
    colour = colour_of(getattr(change, when), system.recipe.path_cm)
    assert word in colour.words
    angle = math.degrees(math.atan2(colour.lab[2], colour.lab[1])) % 360
    assert hue[0] <= angle <= hue[1]


def test_a_strong_solution_of_the_blue_cobalt_complex_is_no_cyan():
    """Deep blue in concentrated hydrochloric acid, sky blue where it is thin (common practice, no source)."""
    strong, thin = (colour_of({"CoCl4^2-": molar}, 1.5) for molar in (0.1, 0.005))
    assert strong.words == "deep blue"
    assert strong.rgb[2] > 2 * strong.rgb[1]
    assert thin.rgb[1] > strong.rgb[1]


def test_brown_orange_and_blue_are_as_deep_as_in_the_tube():
    """Common practice: a tube of nitrogen dioxide at 1 bar is dark, the warm cobalt tube nearly ink."""
    brown = eq.system("nitrogen-dioxide")
    assert colour_of(brown.mixture().equilibrate(), brown.recipe.path_cm).lightness < 52
    cobalt = eq.system("cobalt-chloride")
    hot = eq.disturb(cobalt.mixture(), cobalt.steps["heat"].stress).after
    assert colour_of(hot, cobalt.recipe.path_cm).lightness < 35
