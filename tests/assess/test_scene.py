"""What is seen of a change: the vessel, the label of the bottle, the numbers under it, the film."""

import math
import re
from types import SimpleNamespace

import pytest

import eqlib as eq
from eqlib.assess.confront import IfRight
from eqlib.assess.scene import bottle_of, kind_of, salt
from eqlib.lab.colour import absorbance
from eqlib.lab.scene import Scene, is_closed, mixed
from eqlib.notebook.outcome import why

IRON = eq.Reaction("Fe^3+ + SCN^- <=> FeSCN^2+", K=140)
DIOXIDE = eq.Reaction("2 NO2(g) <=> N2O4(g)", K=170, dH=-57.2e3)
TUBE = eq.Mixture({"Fe^3+": 2e-3, "SCN^-": 1e-3}, [IRON], volume=0.002)
BULB = eq.Mixture({"NO2(g)": 0.04}, [DIOXIDE], volume=0.05)


def asked(prompt="", vessel="", measured=None, stress=None, system=True):
    """As much of a question as the picture needs."""
    found = SimpleNamespace(recipe=SimpleNamespace(vessel=vessel)) if system else None
    return SimpleNamespace(
        prompt=prompt, setting=SimpleNamespace(found=found, measured=measured, stress=stress)
    )


def scene(mixture, stress, kind="well", **settings):
    return Scene(eq.disturb(mixture, stress), kind, **settings)


IRON_DROPS = eq.Stress.add_solution({"Fe^3+": 0.1}, 1e-4)


# -- which vessel ----------------------------------------------------

MORE = eq.Mixture({"Fe^3+": 2e-3, "SCN^-": 1e-3}, [IRON], volume=0.0035)
ROOM = eq.Mixture({"NO2(g)": 0.04}, [DIOXIDE], volume=0.15)
BREATH = eq.Mixture(
    {"CO2(g)": 0.01, "CO2": 0.01}, [eq.Reaction("CO2(g) <=> CO2", K=0.8)], volume=0.02, headspace=0.02
)


@pytest.mark.parametrize(
    ("question", "mixture", "kind"),
    [
        (asked(), TUBE, "well"),  # 2 mL fit into a well of 3.4 mL
        (asked(), MORE, "flask"),  # 3.5 mL do not
        (asked(system=False), TUBE, "well"),
        (asked(vessel="test tube"), TUBE, "tube"),
        (asked(vessel="well plate"), MORE, "well"),
        (asked("Two Tubes stand in ice."), TUBE, "tube"),
        (asked("In a flask."), TUBE, "well"),
        (asked(measured=SimpleNamespace(path_cm=1)), TUBE, "cell"),
        (asked(measured=SimpleNamespace(path_cm=None)), TUBE, "well"),
        (asked(), BULB, "syringe"),
        (asked(vessel="gas syringe"), BULB, "syringe"),
        (asked(vessel="sealed tube"), BULB, "sealed"),
        (asked("In a tube.", vessel="stoppered tube of about 1.5 cm bore"), TUBE, "test tube"),
        (asked("A sealed tube.", vessel="gas-tight syringe or sealed tube"), BULB, "sealed"),
        (asked(), ROOM, "vessel"),  # no syringe of a classroom holds 150 mL
        (asked(vessel="syringe"), BREATH, "barrel"),
    ],
)
def test_the_vessel_is_the_one_of_the_recipe_or_fits_what_is_in_it(question, mixture, kind):
    assert kind_of(question, mixture.equilibrate()) == kind


def test_a_closed_vessel_is_drawn_with_its_stopper():
    shut, open_ = (scene(TUBE, IRON_DROPS, "tube", closed=closed).standing() for closed in (True, False))
    assert is_closed("a full, closed flask")
    assert not is_closed("a well of a 24-well plate")
    assert shut.count("#4b525c") == 2 + open_.count("#4b525c")


def test_every_reading_of_a_gas_is_one_that_a_colorimeter_gives():
    """Pushed to half, twice as much of the gas stands in each cm of the way (Beer and Lambert)."""
    push = scene(BULB, eq.Stress.change_volume(0.025), "syringe")
    read = [absorbance(state, push.nm, 1.95) for state in (push.d.before, push.d.at_once, push.d.after)]
    assert read[1] == pytest.approx(2 * read[0])
    assert read[0] < read[2] < read[1] <= 3


# -- what stands on the bottle and the button -------------------------------------------------------------

DILUTE = SimpleNamespace(of=None, of_mM={"Fe(NO3)3": 100})
S = eq.Stress


@pytest.mark.parametrize(
    ("stress", "label"),
    [
        (S.dilute(2e-3), "2 mL of water"),
        (S.heat_to(333.15), "bath at 60 °C"),
        (S.change_volume(0.025), "plunger to 25 mL"),
        (S.catalyse(), "a catalyst"),
        (S.add("NO2(g)", 2e-3), "2 mmol of NO₂(g)"),
        (S.add_solution({"Fe^3+": 0.1, "NO3^-": 0.3}, 1e-4), "0.1 mL of 100 mM Fe(NO₃)₃"),
        (S.add_solution({"Fe^3+": 0.5, "NO3^-": 1.5}, 1e-4), "0.1 mL of 0.5 M Fe(NO₃)₃"),
        (S.add_solution({"Fe^3+": 0.49, "NO3^-": 1.47}, 1e-4), "0.1 mL of 490 mM Fe(NO₃)₃"),
    ],
)
def test_the_bottle_says_what_comes_in(stress, label):
    assert (
        re.sub(r"(\.\d*?)0+(?=\D|$)", r"\1", bottle_of(asked(stress=DILUTE), stress)).replace(". ", " ")
        == label
    )


def test_a_bottle_without_a_salt_is_named_after_the_most_of_what_is_in_it():
    stress = S.add_solution({"SCN^-": 0.1, "H^+": 0.2}, 1e-4)
    assert bottle_of(asked(stress=SimpleNamespace(of=None, of_mM=None)), stress).endswith(" H⁺")


def test_a_formula_that_is_no_species_stays_as_it_was_written():
    assert salt("Fe(NO3)3") == "Fe(NO₃)₃"
    assert salt("buffer, pH 7") == "buffer, pH 7"


@pytest.mark.parametrize(
    ("mixture", "stress", "verb"),
    [
        (TUBE, S.add_solution({"Fe^3+": 0.1}, 0.5e-3), "Add the drops"),  # ten drops (20 a mL)
        (TUBE, S.add_solution({"Fe^3+": 0.1}, 0.6e-3), "Pour it in"),
        (TUBE, S.dilute(0.002), "Add the water"),
        (TUBE, S.heat_to(330), "Into the bath"),
        (BULB, S.change_volume(0.02), "Move the plunger"),
        (BULB, S.catalyse(), "Add the catalyst"),
        (BULB, S.add("NO2(g)", 1e-4), "Add it"),
        (BULB, S.remove("NO2(g)", 1e-4), "Take it out"),
        (BULB, S.add_inert(1e-3), "Let the gas in"),
    ],
)
def test_the_button_says_what_is_done(mixture, stress, verb):
    kind = "syringe" if mixture is BULB else "well"
    assert scene(mixture, stress, kind).verb == verb
    assert scene(mixture, stress, kind, recorded=True).verb == "See the record"


# -- what stands under a vessel ---------------------------------------------------------------------------


def complexed(fe, scn, K=140):
    b = fe + scn + 1 / K
    return (b - math.sqrt(b * b - 4 * fe * scn)) / 2


def test_under_a_vessel_stand_its_colour_its_volume_and_its_absorbance():
    shown = scene(TUBE, IRON_DROPS)
    before = shown.vessel(shown.d.before, "before")
    colour, numbers = before.lines
    assert "red" in colour or "orange" in colour
    assert numbers.startswith("2.00 mL · A ")
    after = float(shown.vessel(shown.d.after, "after").lines[1].rpartition(" ")[2])
    grown = complexed((4e-6 + 1e-5) / 2.1e-3, 2e-6 / 2.1e-3) / complexed(2e-3, 1e-3)
    assert after / float(numbers.rpartition(" ")[2]) == pytest.approx(grown, rel=0.1)  # Beer and Lambert


def test_an_absorbance_that_no_simple_colorimeter_reads_is_not_told():
    strong = eq.Mixture({"Fe^3+": 0.1, "SCN^-": 0.1}, [IRON], volume=0.002)
    shown = scene(strong, IRON_DROPS)
    assert shown.vessel(shown.d.before, "before").lines[1].endswith("A over 3")


def test_a_vessel_in_the_bath_says_how_warm_it_is():
    shown = scene(TUBE, S.heat_to(333.15))
    assert [
        shown.vessel(state, "x").lines[1].partition(" · ")[0] for state in (shown.d.before, shown.d.after)
    ] == ["25 °C", "60 °C"]
    assert shown.vessel(shown.d.after, "x").bath == pytest.approx(60)
    assert scene(TUBE, IRON_DROPS).vessel(shown.d.after, "x").bath is None


def test_ten_millilitres_and_more_are_told_to_three_figures():
    flask = eq.Mixture({"Fe^3+": 2e-3, "SCN^-": 1e-3}, [IRON], volume=0.025)
    shown = scene(flask, IRON_DROPS, "flask")
    assert shown.vessel(shown.d.before, "x").lines[1].startswith("25 mL")


SILVER = eq.Reaction("Ag^+ + SCN^- <=> AgSCN(s)", K=1e12)


def test_a_solid_is_named_once_it_has_settled():
    cloudy = eq.Mixture({"Fe^3+": 2e-3, "SCN^-": 1e-3, "Ag^+": 0.0}, [IRON, SILVER], volume=0.002)
    shown = scene(cloudy, S.add_solution({"Ag^+": 0.1}, 1e-5))
    assert "solid" in shown.vessel(shown.d.after, "x").lines[0]
    assert "solid" not in shown.vessel(shown.d.after, "x", settled=False).lines[0]
    assert "solid" not in shown.vessel(shown.d.before, "x").lines[0]


@pytest.mark.parametrize(
    ("mixture", "stress", "drops", "twin"),
    [
        (TUBE, IRON_DROPS, True, "gets 0.1 mL of water"),
        (TUBE, S.dilute(1e-3), True, "is left as it is"),
        (TUBE, S.heat_to(330), False, "is left as it is"),
    ],
)
def test_the_control_gets_as_much_water_or_nothing(mixture, stress, drops, twin):
    shown = scene(mixture, stress)
    assert shown.twin.replace("0.100", "0.1") == twin
    assert shown.vessel(shown.d.after, "x").drops is drops
    assert not scene(mixture, stress, recorded=True).vessel(shown.d.after, "x").drops
    expected = 0.0021 if "water" in twin else 0.002
    assert shown.control.volume == pytest.approx(expected)
    held = shown.control.amounts["Fe^3+"] + shown.control.amounts["FeSCN^2+"]
    assert held == pytest.approx(4e-6)


@pytest.mark.parametrize(
    ("kind", "noun"), [("cell", "cuvette"), ("sealed", "tube"), ("well", "well"), ("flask", "flask")]
)
def test_the_vessel_is_called_by_its_everyday_name(kind, noun):
    mixture = BULB if kind == "sealed" else TUBE
    shown = scene(mixture, S.heat_to(330), kind)
    assert shown.noun == noun
    assert f"The {noun} as it stands" in shown.standing()


def test_three_moments_and_a_control_are_shown_and_the_idea_beside_them():
    shown = scene(TUBE, IRON_DROPS)
    plain = shown.outcome("T")
    for name in ("before: ", "at once: ", "after", "control (water): "):
        assert name in plain
    assert "if that were so" not in plain
    imagined = shown.outcome("T", IfRight("", "", shown.d.before, view="above"))
    assert "if that were so" in imagined
    assert "after, from above" in imagined
    assert "after, from above" not in shown.outcome("T", IfRight("", "", shown.d.before))
    assert "control: " in scene(TUBE, S.heat_to(330)).outcome("T")


# -- Q beside K ----------------------------------------------------


def test_the_line_says_K_and_Q_at_once():
    """0.1 mL of 0.1 M iron into 2 mL: Q = x (2.1 mL) / ((Fe + 10 µmol) SCN)."""
    x = complexed(2e-3, 1e-3) * 2e-6 * 1e3
    fe, scn = 4e-6 - x * 1 + 1e-5, 2e-6 - x
    Q = x * 2.1e-3 / (fe * scn)
    said = scene(TUBE, IRON_DROPS).line_svg()
    assert "K = 140; at once: Q = " in said
    assert float(re.search(r"Q = ([\d.]+);", said)[1]) == pytest.approx(Q, rel=0.005)


def test_in_a_bath_the_line_says_both_constants():
    """van 't Hoff for Kp, ln(K2/K1) = -dH/R (1/T2 - 1/T1) with R = 8.314 J/(mol K); here Kc = Kp RT."""
    said = scene(BULB, S.heat_to(323.15), "syringe").line_svg()
    later = 170 * math.exp(57.2e3 / 8.314 * (1 / 323.15 - 1 / 298.15)) * 323.15 / 298.15
    told = re.search(r"K = ([\d.]+), then ([\d.]+);", said)
    assert float(told[1]) == pytest.approx(170, rel=0.01)
    assert float(told[2]) == pytest.approx(later, rel=0.01)


def test_the_rival_is_told_on_the_line_as_what_it_tied_up():
    cloudy = eq.Mixture({"Fe^3+": 2e-3, "SCN^-": 1e-3, "Ag^+": 0.0}, [IRON, SILVER], volume=0.002)
    said = scene(cloudy, S.add_solution({"Ag^+": 0.1}, 1e-5)).line_svg()
    assert "SCN⁻ tied up: Q = " in said


def test_where_nothing_is_there_yet_there_is_no_line():
    empty = eq.Mixture({"Fe^3+": 2e-3, "SCN^-": 0.0}, [IRON], volume=0.002)
    assert scene(empty, S.heat_to(330)).line_svg() == ""


# -- the film --------------------------------------------------------------------------------


def test_a_film_moves_every_amount_by_the_same_share():
    a, b = TUBE.equilibrate(), eq.disturb(TUBE, S.dilute(0.002)).after
    third = mixed(a, b, 0.25)
    for name in a.amounts:
        assert third.amounts[name] == pytest.approx(0.75 * a.amounts[name] + 0.25 * b.amounts[name])
    assert third.volume == pytest.approx(0.0025)


def test_on_the_way_Q_moves_evenly_on_its_line():
    """Nine steps: the n-th stands at the n-th of nine parts of the logarithm."""
    d = eq.disturb(TUBE, IRON_DROPS)
    way = scene(TUBE, IRON_DROPS).between(d.at_once, d.after, 9)
    assert len(way) == 9
    for n, (_, q) in enumerate(way, start=1):
        assert math.log(q / d.Q) == pytest.approx(n / 9 * math.log(140 / d.Q), rel=1e-4)
    assert way[-1][0] is d.after


def test_the_film_runs_from_before_over_the_mixing_to_the_end():
    shown = scene(TUBE, IRON_DROPS)
    frames = shown.frames()
    assert [frame["ms"] for frame in frames] == [700, 1300, *[200] * 9, 500]
    cloudy = eq.Mixture({"Fe^3+": 2e-3, "SCN^-": 1e-3, "Ag^+": 0.0}, [IRON, SILVER], volume=0.002)
    film = scene(cloudy, S.add_solution({"Ag^+": 0.1}, 1e-5)).frames()
    assert [frame["ms"] for frame in film] == [700, 1300, *[170] * 4, 1100, *[200] * 9, 500]
    assert "q" in frames[0]["set"]


# -- the order of events ----------------------------------------------------


def test_a_Q_is_told_as_a_fraction_over_a_line():
    lines, full = why(eq.disturb(TUBE, IRON_DROPS))
    assert '<span class="frac"><span>[FeSCN²⁺]</span><span>[Fe³⁺] [SCN⁻]</span></span>' in " ".join(full)
    assert all(
        len(re.sub("<[^>]+>", "", short)) <= len(re.sub("<[^>]+>", "", long))
        for short, long in zip(lines, full, strict=True)
    )
