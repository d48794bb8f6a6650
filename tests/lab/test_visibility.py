"""Whether a class sees a change."""

import pytest

import eqlib as eq
from eqlib.lab.light import difference, simulate
from eqlib.lab.look import AUDIENCES, visibility


def diluted(strength, threshold="class", **options):
    reaction = eq.Reaction("Fe^3+ + SCN^- <=> FeSCN^2+", K=140)
    mixture = eq.Mixture({"Fe^3+": strength, "SCN^-": strength}, [reaction], volume=0.010)
    return visibility(eq.disturb(mixture, eq.Stress.dilute(0.010)), audience=threshold, **options)


def test_a_strong_change_is_visible_in_colour_and_in_grey():
    seen = diluted(1e-3)
    assert seen.visible
    assert seen.visible_in_grey
    assert seen.delta_e > AUDIENCES["class"][0]
    assert "visible, in colour and in grey" in str(seen)


def test_a_weak_change_is_not():
    seen = diluted(2e-4)
    assert not seen.visible
    assert "not visible" in str(seen)


def test_a_further_audience_asks_for_more():
    assert (
        diluted(2e-4, "bench").threshold
        < diluted(2e-4, "class").threshold
        < diluted(2e-4, "back row").threshold
    )
    own = diluted(1e-3, 13.0)
    assert (own.threshold, own.visible, own.visible_in_grey) == (13.0, True, False)


def test_a_deeper_tube_helps():
    shallow, deep = diluted(3e-4), diluted(3e-4, depth_cm=5.0)
    assert deep.delta_e > shallow.delta_e


def test_what_does_not_change_is_not_said_to_need_mending():
    reaction = eq.Reaction("Fe^3+ + SCN^- <=> FeSCN^2+", K=140)
    mixture = eq.Mixture({"Fe^3+": 1e-3, "SCN^-": 1e-3}, [reaction], volume=0.010)
    seen = visibility(eq.disturb(mixture, eq.Stress.catalyse()))
    assert not seen.visible
    assert "looks the same before and after" in seen.words


def test_a_white_cloud_is_visible_without_any_colour():
    system = eq.system("bismuth-chloride")
    seen = visibility(eq.disturb(system.before("water"), system.steps["water"].stress), audience="back row")
    assert seen.clouds
    assert seen.visible_in_grey
    assert seen.for_everyone


def test_a_pair_of_states_will_do_and_anything_else_is_named():
    states = tuple(
        eq.Mixture({"Fe^3+": c, "SCN^-": c}, [eq.Reaction("Fe^3+ + SCN^- <=> FeSCN^2+", K=140)]).equilibrate()
        for c in (1e-3, 2e-3)
    )
    assert visibility(states).visible
    with pytest.raises(eq.EqlibError, match="disturbance"):
        visibility("iron")
    with pytest.raises(eq.EqlibError, match="back row"):
        visibility(states, audience="balcony")


# Machado, Oliveira and Fernandes 2009, table of matrices for severity 1.0 (from memory), applied to linear
# red.
@pytest.mark.parametrize(
    ("kind", "column"),
    [
        ("protan", (0.152286, 0.114503, -0.003882)),
        ("deutan", (0.367322, 0.280085, -0.011820)),
        ("tritan", (1.255528, -0.078411, 0.004733)),
    ],
)
def test_pure_red_goes_where_the_published_matrix_sends_it(kind, column):
    def encoded(v):
        v = min(max(v, 0.0), 1.0)
        return round(255 * (12.92 * v if v <= 0.0031308 else 1.055 * v ** (1 / 2.4) - 0.055))

    assert simulate([255, 0, 0], kind).tolist() == [encoded(v) for v in column]


def test_red_and_green_that_differ_in_hue_alone_draw_together():
    red, green = (180, 106, 90), (118, 128, 90)
    for kind in ("protan", "deutan"):
        assert difference(red, green, kind) < 0.6 * eq.delta_e("#b46a5a", "#76805a")


def test_a_grey_copy_keeps_white_and_black_and_orders_by_luminance():
    assert simulate([[255, 255, 255], [0, 0, 0]], "grey").tolist() == [[255] * 3, [0] * 3]
    yellow, blue = simulate([255, 255, 0], "grey")[0], simulate([0, 0, 255], "grey")[0]
    assert yellow > 2 * blue


def test_an_unknown_deficiency_is_named():
    with pytest.raises(eq.EqlibError, match="colour-blind"):
        simulate([1, 2, 3], "colour-blind")
