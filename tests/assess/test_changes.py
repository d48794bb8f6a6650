"""What a change is to a reaction, and what each misconception would answer: read off the ideas themselves."""

import pytest
from one_question import BULB, TUBE, part, stress
from one_question import question as made_of

import eqlib as eq
from eqlib.assess.asks import ASKS
from eqlib.assess.asks.shift import Change, added_species, change_of, direction_ideas

RIVAL = TUBE.replace("dH_kJ = -6 }", 'dH_kJ = -6 }, { text = "Ag^+ + SCN^- <=> AgSCN(s)", K = 1e12 }')
SALT = """
reactions = [{ text = "PbCl2(s) <=> Pb^2+ + 2 Cl^-", K = 1.7e-5 }]
[question.start]
solids = { "PbCl2(s)" = 5 }
volume_L = 0.1
"""
EVEN = """
reactions = [{ text = "H2(g) + I2(g) <=> 2 HI(g)", K = 50, dH_kJ = -9 }]
[question.start]
totals = { "HI(g)" = 0.02 }
volume_L = 0.1
"""
PARTS = """
[[question.part]]
ask = "direction"
[[question.part]]
ask = "K"
[[question.part]]
ask = "change"
id = "one"
species = "{one}"
[[question.part]]
ask = "change"
id = "other"
species = "{other}"
"""


def question(system, done, more=""):
    one, other = {BULB: ("NO2(g)", "N2O4(g)"), EVEN: ("H2(g)", "HI(g)"), SALT: ("Pb^2+", "Cl^-")}.get(
        system, ("SCN^-", "FeSCN^2+")
    )
    parts = PARTS.format(one=one, other=other)
    return made_of(system, stress(done), parts, more)


IRON = 'kind = "add_solution"\nof_mM = { "Fe(NO3)3" = 100 }\nmL = 0.5'
SILVER = 'kind = "add_solution"\nof_mM = { AgNO3 = 20 }\nmL = 0.2'
WATER = 'kind = "dilute"\nmL = 10'
PRODUCT = 'kind = "add"\nspecies = "FeSCN^2+"\nmmol = 0.004'
TAKEN = 'kind = "remove"\nspecies = "Fe^3+"\nmmol = 0.005'
NITRATE = 'kind = "add_solution"\nof_mM = { NaNO3 = 100 }\nmL = 5'
WARM, COOL = 'kind = "heat_to"\ncelsius = 60', 'kind = "heat_to"\ncelsius = 5'
SMALL, LARGE = 'kind = "change_volume"\nmL = 50', 'kind = "change_volume"\nmL = 200'
ARGON = 'kind = "add_inert"\nmmol = 4\nconstant = "{}"'
CATALYST = 'kind = "catalyse"'
MORE_SALT = 'kind = "add_solid"\nformula = "PbCl2"\nmmol = 1'


@pytest.mark.parametrize(
    ("system", "stress", "change", "direction"),
    [
        (TUBE, IRON, Change("reactant", ("Fe^3+",)), "forward"),
        (TUBE, PRODUCT, Change("product", ("FeSCN^2+",)), "reverse"),
        (TUBE, TAKEN, Change("reactant", ("Fe^3+",), more=False), "reverse"),
        (TUBE, WATER, Change("dilute"), "reverse"),
        (TUBE, NITRATE, Change("spectator", ("Na^+", "NO3^-")), "reverse"),
        (RIVAL, SILVER, Change("binder", ("Ag^+",)), "reverse"),
        (TUBE, WARM, Change("warm"), "reverse"),
        (TUBE, COOL, Change("cool"), "forward"),
        (BULB, SMALL, Change("squeeze"), "forward"),
        (BULB, LARGE, Change("expand"), "reverse"),
        (BULB, ARGON.format("volume"), Change("inert_volume"), "none"),
        (BULB, ARGON.format("pressure"), Change("inert_pressure"), "reverse"),
        (BULB, CATALYST, Change("catalyst"), "none"),
        (EVEN, SMALL, Change("squeeze"), "none"),
        (SALT, MORE_SALT, Change("solid", ("PbCl2(s)",)), "none"),
    ],
)
def test_what_a_change_is_to_the_reaction(system, stress, change, direction):
    case = question(system, stress).case()
    found = change_of(case)
    assert (found.kind, found.more, case.direction) == (change.kind, change.more, direction)
    assert set(found.species) >= set(change.species)


def test_a_soluble_salt_is_added_as_its_ions_and_a_solid_under_its_own_name_too():
    assert set(added_species(eq.Stress.add_solution({"Fe(NO3)3": 0.1}, 1e-3))) >= {"Fe^3+", "NO3^-"}
    assert "AgCl(s)" in added_species(eq.Stress.add_solid("AgCl(s)", 1e-3))


@pytest.mark.parametrize(
    ("kind", "really", "ideas"),
    [
        # What moves nothing, and is thought to move something.
        ("catalyst", "none", {"forward": ["catalyst_shifts"], "reverse": ["catalyst_shifts"]}),
        ("inert_volume", "none", {"forward": ["inert_const_v"], "reverse": ["inert_const_v"]}),
        ("solid", "none", {"forward": ["solid_shifts"], "reverse": ["solid_shifts"]}),
        # What moves something, and is thought to do nothing.
        ("reactant", "forward", {"reverse": [], "none": ["static_stop"]}),
        ("product", "reverse", {"forward": [], "none": ["static_stop"]}),
        ("binder", "reverse", {"forward": [], "none": ["not_in_equation"]}),
        ("dilute", "reverse", {"forward": [], "none": ["volume_ignored"]}),
        ("inert_pressure", "reverse", {"forward": [], "none": ["inert_const_p"]}),
        ("spectator", "reverse", {"forward": ["spectator_acts"], "none": ["volume_ignored"]}),
        # A reactant that pushes back all the same; room where the numbers of molecules are equal.
        ("reactant", "reverse", {"forward": ["more_always_right"], "none": ["static_stop"]}),
        ("squeeze", "none", {"forward": ["dn_zero"], "reverse": ["dn_zero"]}),
        ("expand", "none", {"forward": ["dn_zero"], "reverse": ["dn_zero"]}),
        ("squeeze", "forward", {"reverse": [], "none": []}),
        # Heat.
        ("warm", "reverse", {"forward": ["heat_is_forward"], "none": ["k_fixed_t"]}),
        ("warm", "forward", {"reverse": [], "none": ["k_fixed_t"]}),
        ("cool", "forward", {"reverse": ["heat_is_forward"], "none": ["k_fixed_t"]}),
    ],
)
def test_the_ideas_behind_a_wrong_direction(kind, really, ideas):
    led_to = [(way, idea) for way, found in ideas.items() for idea in found]
    assert direction_ideas(Change(kind), really) == led_to


def test_less_of_a_reactant_is_no_more_of_it():
    assert direction_ideas(Change("reactant", more=False), "reverse") == [("none", "static_stop")]


def named(system, stress, part):
    made = question(system, stress)
    case = made.case()
    (found,) = [p for p in made.parts if p.id == part]
    return {(s.value, s.mistake) for s in ASKS[found.ask].suspects(found, case, {})}


@pytest.mark.parametrize(
    ("system", "stress", "part", "expected"),
    [
        (TUBE, WARM, "K", {("same", "k_fixed_t"), ("larger", "heat_is_forward")}),
        (TUBE, COOL, "K", {("same", "k_fixed_t"), ("smaller", "heat_is_forward")}),
        (TUBE, IRON, "K", {("larger", "k_moves_conc"), ("smaller", "k_moves_conc")}),
        (BULB, CATALYST, "K", {("larger", "catalyst_shifts"), ("smaller", "catalyst_shifts")}),
        (SALT, MORE_SALT, "K", {("larger", "solid_shifts"), ("smaller", "solid_shifts")}),
        (TUBE, IRON, "one", {("same", "two_boxes")}),
        (TUBE, IRON, "other", {("same", "static_stop")}),
        (TUBE, WATER, "one", {("same", "volume_ignored")}),
        (TUBE, PRODUCT, "other", {("same", "full_cancel")}),
        (RIVAL, SILVER, "one", {("same", "not_in_equation"), ("higher", "wrong_target")}),
        (RIVAL, SILVER, "other", {("same", "not_in_equation")}),
        (BULB, CATALYST, "one", {("higher", "catalyst_shifts"), ("lower", "catalyst_shifts")}),
        (TUBE, WARM, "one", {("same", "k_fixed_t"), ("lower", "heat_is_forward")}),
        (TUBE, WARM, "other", {("same", "k_fixed_t"), ("higher", "heat_is_forward")}),
        (EVEN, SMALL, "direction", {("forward", "dn_zero"), ("reverse", "dn_zero")}),
    ],
)
def test_what_each_idea_would_answer(system, stress, part, expected):
    assert named(system, stress, part) == expected


@pytest.mark.parametrize(
    ("way", "one", "other", "reasons"),
    [
        ("forward", "lower", "higher", {"q_below_K", "k_rises"}),
        ("reverse", "higher", "lower", {"q_above_K", "k_falls"}),
        ("none", "same", "same", {"q_equals_K"}),
    ],
)
def test_what_goes_with_a_direction(way, one, other, reasons):
    def went(part, case, way):
        return ASKS[part.ask].if_went(part, case, way)

    more = '[[question.part]]\nask = "reason"\noptions = ["q_below_K", "q_above_K"]\n'
    made = question(TUBE, IRON, more)
    case, parts = made.case(), {part.id: part for part in made.parts}
    assert went(parts["one"], case, way) == {one}
    assert went(parts["other"], case, way) == {other}
    assert went(parts["reason"], case, way) == reasons
    assert went(parts["direction"], case, way) == {way}
    assert went(parts["K"], case, way) == set()


@pytest.mark.parametrize(
    ("start", "way"),
    [
        ('"Fe^3+" = 1e-3, "SCN^-" = 1e-3', "forward"),
        ('"FeSCN^2+" = 1e-3, "Fe^3+" = 1e-5, "SCN^-" = 1e-3', "reverse"),
    ],
)
def test_a_fresh_mixture_goes_to_where_Q_is_K(start, way):
    text = TUBE.replace('"Fe^3+" = 2e-3, "SCN^-" = 1e-3', start)
    made = made_of(text, part('ask = "direction"'))
    assert made.case().expected["direction"] == way
    wrong = {"forward": "reverse", "reverse": "forward"}[way]
    found = {(s.value, s.mistake) for s in ASKS[made.parts[0].ask].suspects(made.parts[0], made.case(), {})}
    assert found == {(wrong, "q_reversed"), ("none", "q_is_k")}


def test_labels_of_what_is_asked():
    parts = {part.id: part for part in question(TUBE, IRON).parts}
    assert parts["one"].label == "Compared with before, the concentration of SCN⁻ will be"
    assert dict(parts["direction"].options) == {
        "forward": "to products →",
        "reverse": "← to reactants",
        "none": "no shift",
    }
    assert dict(parts["K"].options) == {"larger": "larger", "smaller": "smaller", "same": "the same"}
    assert dict(parts["one"].options) == {"higher": "higher", "lower": "lower", "same": "the same"}
    assert not ASKS["direction"].needs_stress(parts["direction"])
    assert ASKS["K"].needs_stress(parts["K"])


def test_which_of_the_added_ions_acts_and_which_one_is_tied_up():
    """Silver takes thiocyanate out as a solid; nitrate comes along (common practice)."""
    more = (
        '[[question.part]]\nask = "cause"\noptions = ["Ag^+", "NO3^-"]\n'
        '[[question.part]]\nask = "bound"\noptions = ["Fe^3+", "SCN^-", "NO3^-"]\n'
    )
    made = question(RIVAL, SILVER, more)
    case, parts = made.case(), {part.id: part for part in made.parts}
    assert (case.expected["cause"], case.expected["bound"]) == ("Ag^+", "SCN^-")
    assert {(s.value, s.mistake) for s in ASKS["cause"].suspects(parts["cause"], case, {})} == {
        ("NO3^-", "spectator_acts")
    }
    assert {(s.value, s.mistake) for s in ASKS["bound"].suspects(parts["bound"], case, {})} == {
        ("Fe^3+", "wrong_target"),
        ("NO3^-", "spectator_acts"),
    }
    assert not list(ASKS["cause"].doubts(parts["cause"], case))
    without = question(RIVAL, SILVER, more.replace('"Ag^+"', '"K^+"').replace('"SCN^-", ', ""))
    case = without.case()
    for asked in without.parts[-2:]:
        assert case.expected[asked.id] is None
        assert "is right; add or take out some" in next(ASKS[asked.ask].doubts(asked, case))
    direct = question(TUBE, IRON, '[[question.part]]\nask = "cause"\noptions = ["Fe^3+", "NO3^-"]\n')
    assert direct.case().expected["cause"] == "Fe^3+"
