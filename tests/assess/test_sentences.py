"""Sentences about a finished mixture, the root that is x, the rule for every case, and the way from
mixing: each against a fact of the trade or a hand calculation.
"""

import math

import pytest

import eqlib as eq
from eqlib.assess.asks import ASKS
from eqlib.assess.asks.sentences import FALSE, RULES, TRUE, real_roots
from eqlib.assess.confront import confront
from eqlib.assess.load import read_questions
from eqlib.assess.mark import mark
from eqlib.assess.mistakes import MISTAKES
from eqlib.assess.working import worked
from eqlib.errors import EqlibError

HEAD = """
[assignment]
id = "a"
title = "A"
course = "evening-class"
[[question]]
id = "q"
kind = "mixed"
points = 1
title = "Q"
prompt = "A question."
"""
IRON = 'reactions = [{ text = "Fe^3+ + SCN^- <=> FeSCN^2+", K = 140 }]\n'
ACID = 'reactions = [{ text = "HA <=> H^+ + A^-", K = 1e-6 }]\n'
GAS = 'reactions = [{ text = "N2O4(g) <=> 2 NO2(g)", K = 0.0058 }]\n'


def question(text):
    return read_questions(HEAD + text)["q"]


def start(**conc):
    pairs = ", ".join(f'"{name}" = {value}' for name, value in conc.items())
    return f"[question.start]\ntotals = {{ {pairs} }}\nvolume_L = 1.0\n"


def part(text):
    return f"[[question.part]]\n{text}\n"


def right(text):
    made = question(text)
    return made.case().expected[made.parts[0].id]


def choice(ask, options):
    return part(f'ask = "{ask}"\noptions = {list(options)}')


# -- sentences --------------------


def test_at_equilibrium_the_rates_are_equal_and_nothing_else_that_is_said():
    options = ["equal_amounts", "rates_equal", "static_stop", "goes_complete"]
    made = IRON + start(**{"Fe^3+": 0.002, "SCN^-": 0.001}) + choice("true", options)
    assert right(made) == "rates_equal"
    told = mark(question(made), {"true": "equal_amounts"})
    assert (told.points, told.mistake) == (0, "equal_amounts")


@pytest.mark.parametrize(("c", "fine"), [(1e-2, True), (5e-4, True), (3e-4, False), (1e-5, False)])
def test_the_short_cut_is_allowed_up_to_five_per_cent(c, fine):
    """By hand: x = sqrt(K c), so x/c = sqrt(K/c); for K = 1e-6 the edge lies at c = 4e-4."""
    assert fine is (math.sqrt(1e-6 / c) <= 0.05)
    options = ["unchecked_small_x", "small_x_fine", "small_x_fails"]
    assert right(ACID + start(HA=c) + choice("true", options)) == (
        "small_x_fine" if fine else "small_x_fails"
    )


def test_a_label_spreads_only_where_a_solid_and_its_ions_are_both_there():
    salt = 'reactions = [{ text = "AgCl(s) <=> Ag^+ + Cl^-", K = 1.6e-10 }]\n'
    asked = choice("true", ["static_stop", "label_everywhere"])
    solid = '[question.start]\nportions = [{ of = {}, mL = 2.0 }]\nsolids = { "AgCl(s)" = 0.5 }\n'
    assert right(salt + solid + asked) == "label_everywhere"
    assert right(salt + start(**{"Ag^+": 1e-6, "Cl^-": 1e-6}) + asked) is None


def test_every_false_sentence_is_a_known_misconception_and_no_true_one_is():
    assert set(FALSE) <= set(MISTAKES)
    assert not set(TRUE) & set(MISTAKES)
    assert {rule.mistake for rule in RULES.values()} - {""} <= set(MISTAKES)


def test_the_working_shows_what_the_sentence_rests_on():
    """By hand: x = sqrt(1e-6 c); for c = 1e-5 that is 3.16e-6, 31.6 %. Iron 2 mM, thiocyanate 1 mM, K 140."""
    short = question(ACID + start(HA=1e-5) + choice("true", ["unchecked_small_x", "small_x_fails"]))
    told = worked(short, short.case())
    assert "x = 3.16 × 10⁻⁶ mol/L: 31.6 %" in told
    last = question(
        IRON + start(**{"Fe^3+": 0.002, "SCN^-": 0.001}) + choice("true", ["last_row", "full_cancel"])
    )
    told = worked(last, last.case())
    for piece in ("| Equilibrium |", "**K**, from the last row", "= 140"):
        assert piece in told


def test_the_working_of_an_order_says_how_much_of_it_there_is():
    """Each is the small root of 140 (F - x)(S - x) = x, by hand: in one, two and three litres."""

    def x(f, s):
        b = f + s + 1 / 140
        return (b - math.sqrt(b * b - 4 * f * s)) / 2

    items = ", ".join(f'{{ label = "{n}", stress = {{ kind = "dilute", mL = {n}000 }} }}' for n in (1, 2))
    text = f'ask = "order"\nspecies = "FeSCN^2+"\nitems = [{{ label = "none" }}, {items}]'
    made = question(IRON + start(**{"Fe^3+": 0.002, "SCN^-": 0.001}) + part(text))
    told = f"{1e4 * x(2e-3, 1e-3):.2f} × 10⁻⁴, {1e5 * x(1e-3, 5e-4):.2f} × 10⁻⁵"
    assert f"none, 1, 2**; [FeSCN²⁺] = {told}" in worked(made, made.case())


def test_the_working_of_a_rule_has_q_and_k_of_each_case():
    """In twice the volume each concentration is halved: Q of A + B = C becomes 2 x 140."""
    water = '{ label = "water", stress = { kind = "dilute", mL = 1000 } }'
    more = '{ label = "iron", stress = { kind = "add", species = "Fe^3+", mmol = 1 } }'
    text = 'ask = "rule"\noptions = ["compare_q", "more_always_right"]\n' + f"items = [{water}, {more}]"
    made = question(IRON + start(**{"Fe^3+": 0.002, "SCN^-": 0.001}) + part(text))
    assert "water: Q = 280, K = 140, to reactants" in worked(made, made.case())


# -- the root --------------------


@pytest.mark.parametrize(
    ("text", "a", "b", "c", "which"),
    [
        # K (F - x)(S - x) = x and 4 x² + K x - K c = 0, as one writes them on paper
        (IRON + start(**{"Fe^3+": 0.002, "SCN^-": 0.001}), 140, -(140 * 0.003 + 1), 140 * 2e-6, "smaller"),
        (GAS + start(**{"N2O4(g)": 0.1}), 4, 0.0058, -0.00058, "larger"),
    ],
)
def test_the_root_that_leaves_nothing_negative(text, a, b, c, which):
    made = question(text + part('ask = "root"'))
    half = math.sqrt(b * b - 4 * a * c)
    assert real_roots(made.case()) == pytest.approx(sorted([(-b - half) / (2 * a), (-b + half) / (2 * a)]))
    assert made.case().expected["root"] == which
    assert mark(made, {"root": "either"}).mistake == "unchecked_small_x"
    assert not list(ASKS["root"].doubts(made.parts[0], made.case()))


# -- rules --------------------

#: Each is a fact of the trade; what the engine finds is compared with it through the rule that must come out.
AMMONIA = 'reactions = [{ text = "N2(g) + 3 H2(g) <=> 2 NH3(g)", K = 0.50, celsius = 400, dH_kJ = -92 }]\n'


def ruled(reaction, begin, options, *stresses):
    items = ", ".join(f'{{ label = "case {n}", stress = {s} }}' for n, s in enumerate(stresses))
    return right(reaction + begin + part(f'ask = "rule"\noptions = {list(options)}\nitems = [{items}]'))


def held(pressure=True, **conc):
    extra = "pressure_bar = 100\n" if pressure else ""
    return start(**conc) + "celsius = 400\n" + extra


def test_only_the_comparison_survives_nitrogen_and_argon_at_constant_pressure():
    options = ["more_always_right", "not_reacting", "compare_q", "fewer_gas"]
    begin = held(**{"N2(g)": 0.8, "H2(g)": 0.2})
    nitrogen = '{ kind = "add", species = "N2(g)", mmol = 400 }'
    argon = '{ kind = "add_inert", mmol = 400, constant = "pressure" }'
    assert ruled(AMMONIA, begin, options, nitrogen, argon) == "compare_q"
    made = question(
        AMMONIA
        + begin
        + part(
            f'ask = "rule"\noptions = {options}\nitems = [{{ label = "nitrogen", stress = {nitrogen} }}, '
            f'{{ label = "argon", stress = {argon} }}]'
        )
    )
    told = mark(made, {"rule": "more_always_right"})
    assert (told.points, told.mistake) == (0, "more_always_right")
    said = ASKS["rule"].because(made.parts[0], made.case())
    assert said == "nitrogen: to reactants; argon: to reactants."
    # More nitrogen at constant pressure: the rule of thumb says products (common practice, no source).
    assert told.parts[0].feedback.endswith(
        "Try it on “nitrogen”: by this rule it would go to products; does it?"
    )
    answers = {name: confront(made, made.case(), {"rule": name})[0].answer for name in options}
    assert answers["more_always_right"] == (
        "Try it on “nitrogen”: by this rule it would go to products, but it goes to reactants."
    )
    assert answers["not_reacting"].startswith("Try it on “argon”: by this rule it would go neither way, but")
    assert "Try it" not in answers["compare_q"]


def test_heating_an_exothermic_reaction_and_squeezing_it():
    begin = held(pressure=False, **{"N2(g)": 0.3, "H2(g)": 0.7})
    hot, squeezed = '{ kind = "heat_to", celsius = 500 }', '{ kind = "change_volume", L = 0.5 }'
    assert ruled(AMMONIA, begin, ["heat_forward", "compare_q"], hot, squeezed) == "compare_q"
    two = '{ kind = "add_inert", mmol = 100, constant = "volume" }'
    assert ruled(AMMONIA, begin, ["fewer_gas", "compare_q"], squeezed, two) == "compare_q"


def test_a_stranger_that_binds():
    silver = (
        'reactions = [{ text = "Fe^3+ + SCN^- <=> FeSCN^2+", K = 140 }, '
        '{ text = "AgSCN(s) <=> Ag^+ + SCN^-", K = 1e-12 }]\n'
    )
    begin = start(**{"Fe^3+": 0.002, "SCN^-": 0.001})
    added = '{ kind = "add_solution", of_mM = { AgNO3 = 100 }, mL = 20 }'
    water = '{ kind = "dilute", mL = 500 }'
    assert ruled(silver, begin, ["only_named", "binds_there"], added, water) == "binds_there"


def test_a_rule_that_is_not_known_is_refused_kindly():
    with pytest.raises(EqlibError, match=r"compare_Q.*compare_q"):
        ruled(AMMONIA, held(**{"N2(g)": 1}), ["compare_Q", "fewer_gas"], '{ kind = "dilute", mL = 1 }')


# -- the way from mixing --------------------


@pytest.mark.parametrize(
    ("red", "way"),
    [(0.0, "forward"), (2e-5, "forward"), (5e-4, "reverse"), (140 * 2e-6, "none")],
)
def test_the_way_from_mixing_is_q_beside_k(red, way):
    made = question(
        IRON
        + start(**{"Fe^3+": 0.002, "SCN^-": 0.001, "FeSCN^2+": red})
        + part('ask = "number"\nquantity = "Q"\nwhen = "mixed"')
        + part('ask = "direction"')
    )
    assert made.case().expected["direction"] == way
    wrong = {"forward": "reverse", "reverse": "forward"}.get(way)
    if wrong:
        assert mark(made, {"direction": wrong}).mistake == "q_reversed"


def test_a_direction_that_follows_from_an_own_q_is_carried_forward():
    made = question(
        IRON
        + start(**{"Fe^3+": 0.002, "SCN^-": 0.001, "FeSCN^2+": 2e-5})
        + part('ask = "number"\nquantity = "Q"\nwhen = "mixed"')
        + part('ask = "direction"')
    )
    assert made.case().expected["Q"] == pytest.approx(10)
    assert mark(made, {"Q": "1000", "direction": "reverse"}).points == pytest.approx(0.5)


def test_why_a_rate_is_what_it_is():
    """2 NO2 to N2O4 pressed to half: concentrations double, so 2² = 4 times forward, 2 in reverse."""
    dioxide = 'reactions = [{ text = "2 NO2(g) <=> N2O4(g)", K = 170, dH_kJ = -57.2 }]\n'
    begin = '[question.start]\ntotals = { "NO2(g)" = 0.04 }\nvolume_L = 0.1\n'
    squeeze = '[question.stress]\nkind = "change_volume"\nmL = 50\n'
    rates = part('ask = "rate"') + part('ask = "rate"\nside = "reverse"') + part('ask = "graph"')
    made = question(dioxide + begin + squeeze + rates)
    forward, reverse, graph = (ASKS[p.ask].because(p, made.case()) for p in made.parts)
    assert "forward reaction goes 4 times as fast as before, for [NO₂(g)] goes from" in forward
    assert "reverse reaction goes 2 times as fast as before, for [N₂O₄(g)] goes from" in reverse
    # From mixing on: K = (0.04 - c) / 2 / c² = 170 by hand; (c / 0.04)² is what is left of the forward rate.
    c = (-1 + (1 + 8 * 170 * 0.04) ** 0.5) / (4 * 170)
    assert f"{(c / 0.04) ** 2:.3g} times as fast as at the start" in graph
    warmer = question(
        dioxide + begin + '[question.stress]\nkind = "heat_to"\ncelsius = 60\n' + part('ask = "rate"')
    )
    assert "faster at that temperature" in ASKS["rate"].because(warmer.parts[0], warmer.case())
    faster = question(dioxide + begin + '[question.stress]\nkind = "catalyse"\n' + part('ask = "rate"'))
    assert "by the same factor" in ASKS["rate"].because(faster.parts[0], faster.case())


CATALYST = """
[assignment]
id = "rates"
title = "Rates"
course = "evening"
[[question]]
id = "catalyst"
kind = "prediction"
points = 3
title = "A catalyst"
prompt = "A catalyst is put in."
reactions = [{ text = "CO(g) + H2O(g) <=> CO2(g) + H2(g)", K = 12 }]
[question.start]
totals = { "CO(g)" = 0.05, "H2O(g)" = 0.05 }
volume_L = 1.0
celsius = 400
[question.stress]
kind = "catalyse"
[[question.part]]
ask = "direction"
[[question.part]]
ask = "rate"
[[question.part]]
ask = "rate"
side = "reverse"
[[question.part]]
ask = "K"
[[question.part]]
ask = "reason"
options = ["q_equals_K", "catalyst_shifts", "rate_is_extent", "static_stop"]
"""


def test_nothing_changes_is_not_called_a_shift_by_the_catalyst():
    """Both rates as before and no shift: that is standing still, not a catalyst that helps one side."""
    asked = read_questions(CATALYST)["catalyst"]
    same = {"direction": "none", "forward-rate": "same", "reverse-rate": "same", "K": "same"}
    assert mark(asked, {**same, "reason": "static_stop"}).mistake == "static_stop"
    one_side = {"direction": "forward", "forward-rate": "up", "reverse-rate": "same", "K": "same"}
    assert mark(asked, {**one_side, "reason": "catalyst_shifts"}).mistake == "catalyst_shifts"


def test_of_two_ideas_the_one_said_as_a_reason_leads():
    asked = read_questions(CATALYST)["catalyst"]
    given = {"direction": "none", "forward-rate": "up", "reverse-rate": "up", "K": "larger"}
    assert mark(asked, {**given, "reason": "rate_is_extent"}).mistake == "rate_is_extent"


def test_a_false_sentence_is_answered_with_the_numbers_of_the_mixture():
    """Fe(III) and SCN- in equal parts at K = 139: x by the quadratic formula."""
    asked = question(
        IRON.replace("140", "139")
        + start(**{"Fe^3+": 0.002, "SCN^-": 0.001})
        + part('ask = "true"\noptions = ["equal_amounts", "goes_complete", "fwd_rate_grows", "rates_equal"]')
    )
    b = 0.002 + 0.001 + 1 / 139
    x = (b - math.sqrt(b * b - 4 * 0.002 * 0.001)) / 2
    (only,) = asked.parts
    told = {name: ASKS["true"].answer_to(only, asked.case(), name) for name, _ in only.options}
    for value in (0.002 - x, 0.001 - x, x):
        digits = f"{value:.3g}" if value >= 1e-3 else f"{value * 1e4:.3g} × 10⁻⁴"
        assert digits in told["equal_amounts"]
        assert digits in told["goes_complete"]
    assert told["fwd_rate_grows"].startswith("It was fastest at the start")


# -- what each rule says of each change --------------------

TUBE = eq.Mixture(
    {"Fe^3+": 2e-3, "SCN^-": 1e-3}, [eq.Reaction("Fe^3+ + SCN^- <=> FeSCN^2+", K=140)], volume=0.01
)
BULB = eq.Mixture({"NO2(g)": 0.04}, [eq.Reaction("2 NO2(g) <=> N2O4(g)", K=170, dH=-57.2e3)], volume=0.1)
APART = eq.Mixture({"N2O4(g)": 0.04}, [eq.Reaction("N2O4(g) <=> 2 NO2(g)", K=1 / 170, dH=57.2e3)], volume=0.1)
EVEN = eq.Mixture({"HI(g)": 0.02}, [eq.Reaction("H2(g) + I2(g) <=> 2 HI(g)", K=50, dH=-9e3)], volume=0.1)
RIVALS = TUBE.with_(
    totals={"Fe^3+": 2e-3, "SCN^-": 1e-3, "Ag^+": 0.0, "F^-": 0.0},
    reactions=[
        *TUBE.reactions,
        eq.Reaction("Ag^+ + SCN^- <=> AgSCN(s)", K=1e12),
        eq.Reaction("Fe^3+ + F^- <=> FeF^2+", K=1e5),
    ],
)
L, R, N = "reverse", "forward", "none"
NAMES = (
    "compare_q",
    "binds_there",
    "more_always_right",
    "only_named",
    "any_rival",
    "fewer_gas",
    "heat_forward",
    "not_reacting",
)
#: What the sentences say, read by a person; a rule about gases says nothing of a solution (none).
SAYS = {
    "a reactant": (
        TUBE,
        eq.Stress.add("Fe^3+", 1e-5),
        (R, R, R, R, R, N, R, R),
    ),
    "the product": (TUBE, eq.Stress.add("FeSCN^2+", 1e-5), (L, L, L, L, L, N, L, L)),
    "a reactant taken out": (
        TUBE,
        eq.Stress.remove("Fe^3+", 1e-6),
        (L, L, N, N, N, N, L, L),
    ),
    "water": (TUBE, eq.Stress.dilute(0.01), (L, L, N, N, L, N, L, L)),
    "other salts": (
        TUBE,
        eq.Stress.add_solution({"Na^+": 0.1, "Cl^-": 0.1}, 5e-3),
        (L, L, N, N, L, N, L, N),
    ),
    "silver": (RIVALS, eq.Stress.add("Ag^+", 5e-6), (N, L, N, N, L, N, N, N)),
    "fluoride": (RIVALS, eq.Stress.add("F^-", 5e-6), (N, L, N, N, L, N, N, N)),
    "iron beside rivals": (
        RIVALS,
        eq.Stress.add("Fe^3+", 1e-5),
        (R, R, R, R, R, N, R, R),
    ),
    "less room": (BULB, eq.Stress.change_volume(0.05), (R, R, N, N, L, R, R, R)),
    "more room": (BULB, eq.Stress.change_volume(0.2), (L, L, N, N, L, L, L, L)),
    "less room for two": (
        APART,
        eq.Stress.change_volume(0.05),
        (L, L, N, N, L, L, L, L),
    ),
    "less room, as many": (
        EVEN,
        eq.Stress.change_volume(0.05),
        (N, N, N, N, L, N, N, N),
    ),
    "a gas of it": (BULB, eq.Stress.add("NO2(g)", 1e-3), (R,) * 8),
    "a gas of it out": (
        BULB,
        eq.Stress.remove("NO2(g)", 1e-4),
        (L, L, N, N, N, L, L, L),
    ),
    "argon": (BULB, eq.Stress.add_inert(4e-3), (N, N, N, N, L, R, N, N)),
    "argon, room to move": (
        BULB,
        eq.Stress.add_inert(4e-3, "pressure"),
        (L, L, N, N, L, R, L, N),
    ),
    "warmth": (BULB, eq.Stress.heat_to(330.0), (L, L, N, N, L, N, R, L)),
    "cold": (BULB, eq.Stress.heat_to(275.0), (R, R, N, N, L, N, L, R)),
    "a catalyst": (BULB, eq.Stress.catalyse(), (N, N, N, N, L, N, N, N)),
}


@pytest.mark.parametrize("change", SAYS)
def test_what_each_rule_says_of_a_change(change):
    mixture, stress, said = SAYS[change]
    d = eq.disturb(mixture, stress)
    assert set(NAMES) == set(RULES)
    assert {name: RULES[name].says(d) for name in NAMES} == dict(zip(NAMES, said, strict=True))


def test_a_rule_about_what_ties_up_a_product_says_forward():
    """Ammonia takes the silver ions that silver chloride lets go: more dissolves (common practice)."""
    pair = [
        eq.Reaction("AgCl(s) <=> Ag^+ + Cl^-", K=1.8e-10),
        eq.Reaction("Ag^+ + 2 NH3 <=> Ag(NH3)2^+", K=1.6e7),
    ]
    d = eq.disturb(eq.Mixture({"AgCl(s)": 0.01, "NH3": 0.0}, pair, volume=0.01), eq.Stress.add("NH3", 1e-4))
    assert d.direction == RULES["binds_there"].says(d) == R
