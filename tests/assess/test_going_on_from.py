"""What can be gone on from: each bound on a student's own value from both sides. And rates, told in words."""

import math

import pytest
from one_question import BULB, TUBE, question

from eqlib.assess.asks import ASKS
from eqlib.assess.asks.base import Part, beside, close, in_order
from eqlib.assess.asks.carry import can_be, known_slip, left_by_K, repeats
from eqlib.assess.mark import mark
from eqlib.assess.question import Case
from eqlib.assess.setting import Portion
from eqlib.assess.working import worked
from eqlib.chem.reactions import Reaction

IRON = Reaction("Fe^3+ + SCN^- <=> FeSCN^2+", K=140)
F, S, X = 1.00e-3, 6.00e-4, 6.9e-5
END = {"Fe^3+": F - X, "SCN^-": S - X, "FeSCN^2+": X}
CASE = Case(
    (),
    reactions=(IRON,),
    portions=(Portion({"Fe^3+": 2e-3}, 5e-3), Portion({"SCN^-": 2e-3}, 3e-3), Portion({}, 2e-3)),
    volume=0.01,
    mixed={"Fe^3+": F, "SCN^-": S, "FeSCN^2+": 0.0},
    before=END,
    equilibrium=END,
    extent=X,
)
SALT = Case(
    (),
    reactions=(Reaction("PbCl2(s) <=> Pb^2+ + 2 Cl^-", K=1.7e-5),),
    mixed={"Pb^2+": 0.0, "Cl^-": 0.0},
    equilibrium={"Pb^2+": 0.0162, "Cl^-": 0.0324},
    extent=0.0162,
)


@pytest.mark.parametrize(
    ("key", "name", "value", "right", "can"),
    [
        # A constant: within a factor of a hundred, and not just 1.
        ("K", "", 140.0, 140.0, True),
        ("K", "", 1.5, 140.0, True),
        ("K", "", 1.39, 140.0, False),
        ("K", "", 13900.0, 140.0, True),
        ("K", "", 14100.0, 140.0, False),
        ("K", "", 1.0, 50.0, False),
        ("K", "", 1.0, 1.0, True),
        ("K", "", -140.0, 140.0, False),
        ("K", "", math.inf, 140.0, False),
        ("K", "", math.nan, 140.0, False),
        # What was mixed: half of it, up to bottle strength.
        ("mixed", "Fe^3+", 0.51e-3, F, True),
        ("mixed", "Fe^3+", 0.49e-3, F, False),
        ("mixed", "Fe^3+", 2.03e-3, F, True),
        ("mixed", "Fe^3+", 2.05e-3, F, False),
        ("mixed", "SCN^-", 2.0e-3, S, True),  # the bottle
        ("mixed", "SCN^-", 2.1e-3, S, False),
        ("mixed", "Fe^3+", 0.0, F, False),
        # In another unit all along.
        ("mixed", "Fe^3+", 1.0, F, True),
        ("mixed", "Fe^3+", 1.0e-6, F, True),
        ("mixed", "FeSCN^2+", 1e-3, 0.0, False),
        ("K", "", 140e3, 140.0, False),
        # x: something must be left of each reactant.
        ("x", "", 5.9e-4, X, True),
        ("x", "", 6.0e-4, X, False),
        ("x", "", 6.8e-7, X, False),  # a hundredth
        ("x", "", 7.1e-7, X, True),
        # The complex likewise; a reactant with what was made of it is about what was put in.
        ("before", "FeSCN^2+", 5.9e-4, X, True),
        ("before", "FeSCN^2+", 6.1e-4, X, False),
        ("before", "Fe^3+", 1.92e-3, F - X, True),  # with 0.07 mM it is twice 1 mM
        ("before", "Fe^3+", 1.94e-3, F - X, False),
        ("before", "Fe^3+", 0.44e-3, F - X, True),
        ("before", "Fe^3+", 0.42e-3, F - X, False),
        ("before", "Na^+", 1e-3, 0.0, False),
        # Just after a change: within a factor of two.
        ("at_once", "Fe^3+", 1.9e-3, F, True),
        ("at_once", "Fe^3+", 2.1e-3, F, False),
        ("at_once", "Fe^3+", 0.51e-3, F, True),
        ("at_once", "Fe^3+", 0.49e-3, F, False),
    ],
)
def test_what_can_be_gone_on_from(key, name, value, right, can):
    assert can_be(CASE, key, name, value, right) is can


@pytest.mark.parametrize(("value", "can"), [(0.0082, True), (0.0080, False), (0.032, True), (0.033, False)])
def test_ions_over_their_solid_within_a_factor_of_two(value, can):
    assert can_be(SALT, "before", "Pb^2+", value, 0.0162) is can


def test_their_own_complex_counts_in_the_balance():
    """With 0.5 mM complex of their own, 1.6 mM iron makes 2.1 mM of 1.0: more than twice."""
    assert can_be(CASE, "before", "Fe^3+", 1.6e-3, F - X)
    assert not can_be(CASE, "before", "Fe^3+", 1.6e-3, F - X, {"before": {"FeSCN^2+": 5e-4}})
    assert not can_be(CASE, "before", "Fe^3+", 1.6e-3, F - X, {"x": {"": 5e-4}})


def test_what_a_known_slip_gives_is_gone_on_from():
    part = Part("k", "number", "number", "", quantity="K")
    case = Case((part,), {"k": X / ((F - X) * (S - X))}, **{
        key: getattr(CASE, key) for key in ("reactions", "volume", "mixed", "equilibrium", "extent")
    })  # fmt: skip
    assert known_slip(part, case, X / (F * S))  # starting values
    assert not known_slip(part, case, 60.0)
    assert not known_slip(part, case, -X / (F * S))
    assert not known_slip(part, case, math.nan)


def test_what_K_leaves_of_the_last_species():
    row = {"Fe^3+": 1e-3, "FeSCN^2+": 7e-5}
    assert left_by_K("SCN^-", CASE, row) == pytest.approx(7e-5 / (140 * 1e-3))
    assert left_by_K("FeSCN^2+", CASE, {"Fe^3+": 1e-3, "SCN^-": 5e-4}) == pytest.approx(7e-5)
    assert left_by_K("SCN^-", CASE, {"Fe^3+": 1e-3, "FeSCN^2+": 0.0}) == 0
    assert left_by_K("Na^+", CASE, row) == 0
    assert left_by_K("Cl^-", SALT, {"Pb^2+": 0.017}) == pytest.approx(math.sqrt(1.7e-5 / 0.017))


@pytest.mark.parametrize(
    ("value", "own", "again"),
    [
        (0.0, {}, True),
        (1.0, {}, True),
        (1e-3, {}, True),  # what was mixed
        (2e-3, {}, True),  # a bottle
        (123.0, {}, False),
        (123.0, {"a": 123.0}, True),
        (123.0, {"a": {"initial": {"Fe^3+": 123.0}}}, True),
        (123.0, {"a": {"initial": {"Fe^3+": "0.1 - x"}}}, False),
        (123.0, {"a": {"initial": None}}, False),
        (123.0, {"a": "123"}, False),
    ],
)
def test_a_value_that_only_repeats_another_is_no_step(value, own, again):
    assert repeats(value, 140.0, CASE, own, 1e-6) is again
    assert not repeats(1e-3, 1e-3, CASE, own, 1e-6), (
        "where the right value is one of these, nothing is held against it"
    )


@pytest.mark.parametrize(
    ("value", "right", "relative", "near"),
    [
        (102.0, 100.0, 0.02, True),
        (102.1, 100.0, 0.02, False),
        (98.0, 100.0, 0.02, True),
        (0.0, 0.0, 0.02, True),
        (1e-12, 0.0, 0.02, True),
        (1e-11, 0.0, 0.02, False),
        (1.0, math.inf, 0.02, False),
        (-98.0, -100.0, 0.02, True),
    ],
)
def test_close_is_within_a_share_of_the_right_value(value, right, relative, near):
    assert close(value, right, relative) is near


@pytest.mark.parametrize(
    ("now", "before", "word"),
    [
        (1.006, 1.0, "up"),
        (1.004, 1.0, "same"),
        (0.996, 1.0, "same"),
        (0.994, 1.0, "down"),
        (0.0, 0.0, "same"),
        (1e-9, 0.0, "up"),
    ],
)
def test_half_a_per_cent_is_the_same(now, before, word):
    assert beside(now, before) == word


@pytest.mark.parametrize(
    ("said", "share"),
    [
        ("abcd", 1.0),
        ("abdc", 2 * 5 / 6 - 1),
        ("badc", 2 * 4 / 6 - 1),
        ("dcba", 0.0),
        ("abc", 0.0),
        ("bcda", 0.0),
        ("acbd", 2 * 5 / 6 - 1),
    ],
)
def test_an_order_is_worth_its_pairs_in_order_beyond_chance(said, share):
    assert in_order(said, "abcd") == pytest.approx(share)


# -- rates ---------------------------------------------------------------------------------------------------

IRON_IN = '[question.stress]\nkind = "add"\nspecies = "Fe^3+"\nmmol = 0.02\n'
HALVED = '[question.stress]\nkind = "change_volume"\nmL = 50\n'
WATER = '[question.stress]\nkind = "dilute"\nmL = 10\n'
HOT, COLD = (f'[question.stress]\nkind = "heat_to"\ncelsius = {n}\n' for n in (60, 5))
CATALYST = '[question.stress]\nkind = "catalyse"\n'


def rate(side="forward", when="at_once", ask="rate"):
    return f'[[question.part]]\nask = "{ask}"\nside = "{side}"\nwhen = "{when}"\nid = "{side}-{when}"\n'


def made_by(fe, scn, K=140):
    b = fe + scn + 1 / K
    return (b - math.sqrt(b * b - 4 * fe * scn)) / 2


X0, X1 = made_by(2e-3, 1e-3), made_by(4e-3, 1e-3)


def told(value):
    return f"{float(f'{value:.3g}'):g}"


@pytest.mark.parametrize(
    ("system", "stress", "side", "when", "right", "because"),
    [
        (
            TUBE,
            IRON_IN,
            "forward",
            "at_once",
            "up",
            (
                f"Right after the change the forward reaction goes {told((4e-3 - X0) / (2e-3 - X0))} "
                f"times as fast as before, for [Fe³⁺] goes from {told(2e-3 - X0)} to {told(4e-3 - X0)} "
                "mol/L."
            ),
        ),
        (
            TUBE,
            IRON_IN,
            "reverse",
            "at_once",
            "same",
            (
                "Right after the change the reverse reaction goes as fast as before, for no "
                "concentration on its side has changed."
            ),
        ),
        (
            TUBE,
            IRON_IN,
            "reverse",
            "after",
            "up",
            (
                f"At the new equilibrium the reverse reaction goes {told(X1 / X0)} times as fast as "
                "before, for [FeSCN²⁺]"
            ),
        ),
        (
            TUBE,
            WATER,
            "forward",
            "at_once",
            "down",
            ("Right after the change the forward reaction goes 0.25 times as fast as before"),
        ),
        (
            BULB,
            HALVED,
            "forward",
            "at_once",
            "up",
            ("Right after the change the forward reaction goes 4 times as fast as before"),
        ),
        (
            BULB,
            HALVED,
            "reverse",
            "at_once",
            "up",
            ("Right after the change the reverse reaction goes 2 times as fast as before"),
        ),
        (
            BULB,
            HOT,
            "forward",
            "at_once",
            "up",
            ("Every reaction goes faster at that temperature, but not all by the same factor."),
        ),
        (
            BULB,
            COLD,
            "forward",
            "at_once",
            "down",
            ("Every reaction goes slower at that temperature, but not all by the same factor."),
        ),
        (
            BULB,
            CATALYST,
            "forward",
            "at_once",
            "up",
            ("A catalyst speeds up both reactions by the same factor, so they stay equally fast."),
        ),
    ],
    ids=str,
)
def test_a_rate_beside_what_it_was(system, stress, side, when, right, because):
    """Mass action: halving the room doubles each concentration, so 2 NO2 go 4 times as fast, N2O4 twice."""
    made = question(system, stress, rate(side, when))
    part, case = made.parts[0], made.case()
    assert case.expected[part.id] == right
    assert ASKS["rate"].because(part, case).startswith(because)
    assert because[:40] in worked(made, case)


@pytest.mark.parametrize(
    ("stress", "side", "when", "ideas"),
    [
        (IRON_IN, "forward", "at_once", {("zero", "static_stop")}),  # the other one stays as it was
        (WATER, "forward", "at_once", {("zero", "static_stop"), ("up", "one_up_one_down")}),
        (WATER, "forward", "after", {("zero", "static_stop")}),
        (
            CATALYST,
            "forward",
            "at_once",
            {("zero", "static_stop"), ("same", "catalyst_shifts"), ("down", "one_up_one_down")},
        ),
        (HOT, "reverse", "at_once", {("zero", "static_stop"), ("down", "one_up_one_down")}),
    ],
)
def test_ideas_about_rates(stress, side, when, ideas):
    made = question(TUBE, stress, rate(side, when))
    assert {
        (s.value, s.mistake) for s in ASKS[made.parts[0].ask].suspects(made.parts[0], made.case(), {})
    } == ideas


@pytest.mark.parametrize(
    ("side", "when", "right", "wrong", "because"),
    [
        (
            "forward",
            "before",
            "falls",
            {("rises", "fwd_rate_grows"), ("stops", "static_stop")},
            "In the end the forward reaction goes ",
        ),
        (
            "reverse",
            "before",
            "rises",
            {("stops", "static_stop")},
            ("The reverse reaction begins at 0 and grows until it is as fast as the other one."),
        ),
        (
            "forward",
            "after",
            "falls",
            {("rises", "fwd_rate_grows"), ("stops", "static_stop")},
            "In the end the forward reaction goes ",
        ),
        (
            "reverse",
            "after",
            "rises",
            {("stops", "static_stop")},
            (f"In the end the reverse reaction goes {told(X1 / X0)} times as fast as at the start"),
        ),
    ],
)
def test_the_graph_of_a_rate(side, when, right, wrong, because):
    made = question(TUBE, IRON_IN, rate(side, when, "graph"))
    part, case = made.parts[0], made.case()
    assert case.expected[part.id] == right
    assert {(s.value, s.mistake) for s in ASKS[part.ask].suspects(part, case, {})} == wrong
    assert ASKS["graph"].because(part, case).startswith(because)
    begin = "mixing" if when == "before" else "the change"
    assert part.label == (
        f"A graph of the rate of the {side} reaction against time, from {begin} to equilibrium and on:"
    )


def test_a_rate_that_changes_too_little_is_not_asked_about():
    """0.8 µmol of iron beside 18 µmol: 4.4 %; 1 µmol: 5.6 %."""
    for mmol, doubt in ((0.0008, 1), (0.001, 0)):
        made = question(TUBE, IRON_IN.replace("0.02", str(mmol)), rate())
        doubts = list(ASKS["rate"].doubts(made.parts[0], made.case()))
        assert len(doubts) == doubt
    assert "the forward rate changes by less than 5 %" in next(
        ASKS["rate"].doubts(made.parts[0], question(TUBE, IRON_IN.replace("0.02", "0.0008"), rate()).case())
    )


def test_one_up_one_down_is_seen_in_ones_own_two_answers():
    made = question(TUBE, WATER, rate("forward"), rate("reverse"))
    found = mark(made, {"forward-at_once": "up", "reverse-at_once": "down"})
    assert found.parts[0].mistake == "one_up_one_down"
    assert mark(made, {"forward-at_once": "up", "reverse-at_once": "up"}).parts[0].mistake is None
