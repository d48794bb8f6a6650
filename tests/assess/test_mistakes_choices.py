"""Wrong choices and tables, and the ideas they are consistent with; the registry itself.

Each row is a case from the teaching literature's list of misconceptions, worked out in words; the mixtures
are computed only to have a real disturbance at hand, the expected ids are written by hand.
"""

import tomllib
from dataclasses import dataclass, field, replace
from importlib.resources import files

import pytest

from eqlib.assess.asks import ASKS, order, rates
from eqlib.assess.asks.base import Part
from eqlib.assess.asks.table import filled_in
from eqlib.assess.asks.table import table_mistake as mistake_of
from eqlib.assess.mistakes import MISTAKES
from eqlib.assess.question import Case
from eqlib.assess.setting import Portion
from eqlib.chem.disturb import disturb
from eqlib.chem.mixture import Mixture
from eqlib.chem.reactions import Reaction
from eqlib.chem.stress import Stress


@dataclass(frozen=True)
class Asked:
    """One part of a case, its right value, and what else was answered."""

    part: Part
    expected: object
    case: Case
    said: dict = field(default_factory=dict)


def asking(part, expected, answers=None, parts=(), **settings):
    """A case with this part, as a question would make it."""
    return Asked(part, expected, Case((part, *parts), {part.id: expected}, **settings), answers or {})


def suspects(asked):
    return ASKS[asked.part.ask].suspects(asked.part, asked.case, asked.said)


def table_mistake(asked, value):
    return mistake_of(asked.case, filled_in(value, asked.case.reaction.coefficients))


IRON = Reaction("Fe^3+ + SCN^- <=> FeSCN^2+", K=140, dH=-6000.0)
SILVER = Reaction("AgSCN(s) <=> Ag^+ + SCN^-", K=1e-12)
NITROGEN = Reaction("2 NO2(g) <=> N2O4(g)", K=170, dH=-57200.0)
IODIDE = Reaction("H2(g) + I2(g) <=> 2 HI(g)", K=50)
AMMONIA = Reaction("N2(g) + 3 H2(g) <=> 2 NH3(g)", K=10.0)
LIME = Reaction("CaCO3(s) <=> CaO(s) + CO2(g)", K=0.01)

LISTED = """
static_stop equal_amounts fwd_rate_grows one_up_one_down two_boxes goes_complete k_moves_conc q_is_k
q_reversed full_cancel solid_shifts solid_in_k catalyst_shifts inert_const_v inert_const_p dn_zero
volume_ignored more_always_right heat_is_forward k_fixed_t rate_is_extent spectator_acts not_in_equation
wrong_target paler_is_left k_inverted powers_missing sum_not_product stock_conc initial_as_eq change_sign
change_coeff moles_as_conc unchecked_small_x limiting_swapped log_slip path_ignored blank_kept excess_digits
single_truth unit_prefix rt_wrong_side heat_sign k_is_conc
"""
IDS = LISTED.split()


def iron(extra=(), **totals):
    return Mixture({"Fe^3+": 1e-3, "SCN^-": 1e-3, **totals}, reactions=[IRON, *extra], volume=0.010)


def gases(reaction, totals, **settings):
    return Mixture(totals, reactions=[reaction], volume=1.0, **settings)


CASES = {
    "iron": (lambda: iron(), Stress.add_solution({"Fe^3+": 0.1, "NO3^-": 0.3}, 1e-4)),
    "silver": (lambda: iron([SILVER]), Stress.add_solution({"AgNO3": 0.1}, 1e-4)),
    "crystal": (lambda: iron(), Stress.add_solid("KNO3", 1e-4)),
    "nitrate": (lambda: iron(), Stress.add("KNO3", 1e-4)),
    "water": (lambda: iron(), Stress.dilute(0.010)),
    "warm": (lambda: iron(), Stress.heat_to(333.15)),
    "ice": (lambda: iron(), Stress.heat_to(274.15)),
    "catalyst": (lambda: iron(), Stress.catalyse()),
    "squeeze": (lambda: gases(NITROGEN, {"NO2(g)": 0.04}), Stress.change_volume(0.5)),
    "squeeze_even": (lambda: gases(IODIDE, {"H2(g)": 0.02, "I2(g)": 0.02}), Stress.change_volume(0.5)),
    "argon_v": (lambda: gases(NITROGEN, {"NO2(g)": 0.04}), Stress.add_inert(0.05)),
    "argon_p": (
        lambda: gases(NITROGEN, {"NO2(g)": 0.04}, pressure=1.0),
        Stress.add_inert(0.05, constant="pressure"),
    ),
    "lime": (lambda: gases(LIME, {"CaCO3(s)": 0.1}), Stress.add_solid("CaCO3", 0.1)),
    "nitrogen": (
        lambda: gases(AMMONIA, {"N2(g)": 0.08, "H2(g)": 0.01, "NH3(g)": 0.01}, pressure=1.0),
        Stress.add("N2(g)", 0.05),
    ),
}

WRONG = [
    # case, what is asked, species, right answer, wrong answer, idea
    ("iron", "direction", "", "forward", "none", "static_stop"),
    ("iron", "direction", "", "forward", "reverse", None),
    ("crystal", "direction", "", "none", "forward", "spectator_acts"),
    ("iron", "K", "", "same", "larger", "k_moves_conc"),
    ("iron", "K", "", "same", "smaller", "k_moves_conc"),
    ("iron", "change", "SCN^-", "lower", "same", "two_boxes"),
    ("iron", "change", "Fe^3+", "higher", "same", "full_cancel"),
    ("iron", "seen", "", "darker", "same", "static_stop"),
    ("silver", "direction", "", "reverse", "none", "not_in_equation"),
    ("silver", "seen", "", "paler", "same", "not_in_equation"),
    ("silver", "precipitate", "", "yes", "no", "not_in_equation"),
    ("silver", "change", "Fe^3+", "higher", "lower", "wrong_target"),
    ("silver", "change", "FeSCN^2+", "lower", "same", "not_in_equation"),
    ("silver", "K", "", "same", "smaller", "k_moves_conc"),
    ("nitrate", "direction", "", "none", "forward", "spectator_acts"),
    ("nitrate", "direction", "", "none", "reverse", "spectator_acts"),
    ("water", "direction", "", "reverse", "none", "volume_ignored"),
    ("water", "change", "FeSCN^2+", "lower", "same", "volume_ignored"),
    ("water", "seen", "", "paler", "same", "volume_ignored"),
    ("water", "K", "", "same", "smaller", "k_moves_conc"),
    ("warm", "direction", "", "reverse", "forward", "heat_is_forward"),
    ("warm", "direction", "", "reverse", "none", "k_fixed_t"),
    ("warm", "K", "", "smaller", "same", "k_fixed_t"),
    ("warm", "K", "", "smaller", "larger", "heat_is_forward"),
    ("warm", "seen", "", "paler", "darker", "heat_is_forward"),
    ("warm", "seen", "", "paler", "same", "k_fixed_t"),
    ("ice", "direction", "", "forward", "reverse", "heat_is_forward"),
    ("ice", "K", "", "larger", "same", "k_fixed_t"),
    ("catalyst", "direction", "", "none", "forward", "catalyst_shifts"),
    ("catalyst", "K", "", "same", "larger", "catalyst_shifts"),
    ("catalyst", "change", "FeSCN^2+", "same", "higher", "catalyst_shifts"),
    ("squeeze_even", "direction", "", "none", "forward", "dn_zero"),
    ("squeeze_even", "direction", "", "none", "reverse", "dn_zero"),
    ("squeeze", "direction", "", "forward", "reverse", None),
    ("argon_v", "direction", "", "none", "forward", "inert_const_v"),
    ("argon_v", "change", "N2O4(g)", "same", "higher", "inert_const_v"),
    ("argon_p", "direction", "", "reverse", "none", "inert_const_p"),
    ("lime", "direction", "", "none", "forward", "solid_shifts"),
    ("lime", "K", "", "same", "larger", "solid_shifts"),
    ("lime", "change", "CO2(g)", "same", "higher", "solid_shifts"),
    ("nitrogen", "direction", "", "reverse", "forward", "more_always_right"),
]


def problem(case, ask, species="", expected=None, answers=None, parts=()):
    build, stress = CASES[case]
    mixture = build()
    d = disturb(mixture, stress)
    kinds = {"direction": "choice", "seen": "choice"}
    part = Part(ask, kinds.get(ask, "choice"), ask, "", species=species)
    reaction = mixture.reactions[0]
    moments = {
        name: {n: state[n] for n in reaction.coefficients if not n.endswith("(s)")}
        for name, state in (("before", d.before), ("at_once", d.at_once), ("after", d.after))
    }
    return asking(
        part,
        expected,
        reactions=tuple(mixture.reactions),
        volume=mixture.volume,
        temperature=mixture.T,
        stress=stress,
        disturbance=d,
        answers=answers or {},
        parts=parts,
        **moments,
    )


def idea(found, value):
    return next((s.mistake for s in found if s.value == value), None)


@pytest.mark.parametrize(("case", "ask", "species", "right", "wrong", "mistake"), WRONG)
def test_wrong_choices_are_traced_to_their_idea(case, ask, species, right, wrong, mistake):
    asked = problem(case, ask, species, right)
    if ask == "direction":
        assert asked.case.disturbance.direction == right  # the case is what it is meant to be
    found = suspects(asked)
    assert idea(found, wrong) == mistake
    assert idea(found, right) is None


def test_a_direction_against_ones_own_Q():
    own_Q = Part("Q", "number", "number", "", quantity="Q", when="at_once")
    asked = problem("water", "direction", "", "reverse", {"Q": 280.0}, (own_Q,))
    assert idea(suspects(asked), "forward") == "q_reversed"
    asked = problem("water", "direction", "", "reverse", {"Q": 70.0}, (own_Q,))
    assert idea(suspects(asked), "none") == "volume_ignored"
    why = Part("why", "choice", "reason", "", options=(("q_below_K", "Q is smaller than K"),))
    asked = problem("iron", "direction", "", "forward", {"why": "q_below_K"}, (why,))
    assert suspects(asked)[0].mistake == "q_reversed"
    assert suspects(asked)[0].value == "reverse"


def test_paler_is_not_always_to_the_left():
    """As many dissolved species left and right: dilution makes it paler and shifts nothing."""
    even = Reaction("FeSCN^2+ + Cl^- <=> FeCl^2+ + SCN^-", K=0.2)
    mixture = Mixture({"FeSCN^2+": 1e-3, "Cl^-": 1e-3}, reactions=[even], volume=0.010)
    stress = Stress.dilute(0.010)
    d = disturb(mixture, stress)
    assert d.direction == "none"
    part, seen = Part("d", "choice", "direction", ""), Part("s", "choice", "seen", "")
    moments = {n: dict(getattr(d, n).concentrations) for n in ("before", "at_once", "after")}
    asked = asking(
        part,
        "none",
        reactions=(even,),
        volume=0.010,
        stress=stress,
        disturbance=d,
        answers={"s": "paler"},
        parts=(seen,),
        **moments,
    )
    assert idea(suspects(asked), "reverse") == "paler_is_left"


def test_reasons_name_themselves():
    options = (("q_below_K", "..."), ("two_boxes", "..."), ("k_moves_conc", "..."))
    part = Part("why", "choice", "reason", "", options=options)
    found = suspects(asking(part, "q_below_K"))
    assert {(s.mistake, s.value) for s in found} == {
        ("two_boxes", "two_boxes"),
        ("k_moves_conc", "k_moves_conc"),
    }


def test_without_a_stress_nothing_is_guessed():
    assert suspects(asking(Part("d", "choice", "direction", ""), "none", reactions=(IRON,))) == []


def test_rates_and_speeds():
    """What is said of one rate is held against what is said of the other."""
    forward = Part("f", "choice", "rate", "", options=rates.Rate.choices, side="forward", when="at_once")
    reverse = Part("r", "choice", "rate", "", options=rates.Rate.choices, side="reverse", when="at_once")
    asked = problem("iron", "rate", "", "up", {"r": "up"}, (reverse,))
    asked = Asked(forward, "up", asked.case, {"r": "up"})
    assert idea(suspects(asked), "down") == "one_up_one_down"
    assert idea(suspects(asked), "zero") == "static_stop"
    assert idea(suspects(asked), "same") is None
    graph = Part("g", "choice", "graph", "", options=rates.Graph.choices, side="forward", when="before")
    asked = Asked(graph, "falls", Case((graph,), {"g": "falls"}, reactions=(IRON,)))
    assert idea(suspects(asked), "rises") == "fwd_rate_grows"
    items = tuple(order.TimedItem(label=n, K=K, seconds=s) for n, K, s in (("a", 1, 1), ("b", 1e9, 9)))
    part, case = Part("s", "order", "speed", "", items=items), Case(())
    assert order.Speed().idea(part, case, ["b", "a"], {}) == "rate_is_extent"
    assert order.Speed().idea(part, case, ["a", "b"], {}) is None


# -- tables --------------------


def table_problem(reaction=NITROGEN, mixed=None, equilibrium=None):
    mixed = mixed or {"NO2(g)": 0.040, "N2O4(g)": 0.0}
    end = equilibrium or {"NO2(g)": 0.010, "N2O4(g)": 0.015}
    return asking(
        Part("t", "table", "ice", "", columns=tuple(mixed)),
        None,
        reactions=(reaction,),
        volume=2.0,
        mixed=mixed,
        equilibrium=end,
        portions=(Portion({"NO2(g)": 0.080}, 1.0), Portion({}, 1.0)),
    )


def table(start, change, end):
    names = ("NO2(g)", "N2O4(g)")
    rows = zip(("initial", "change", "equilibrium"), (start, change, end), strict=True)
    return {row: dict(zip(names, cells, strict=True)) for row, cells in rows}


@pytest.mark.parametrize(
    ("start", "change", "end", "mistake"),
    [
        ((0.040, 0.0), (-0.030, 0.015), (0.010, 0.015), None),
        ((0.040, 0.0), ("-2x", "x"), ("0.04 - 2x", "x"), None),
        ((0.080, 0.0), (-0.030, 0.015), (0.050, 0.015), "stock_conc"),
        ((0.080, 0.0), ("-2x", "x"), (None, None), "stock_conc"),
        ((0.020 * 4, 0.0), (None, None), (None, None), "stock_conc"),
        ((0.040, 0.0), ("2x", "x"), ("0.04 + 2x", "x"), "change_sign"),
        ((0.040, 0.0), (0.030, 0.015), (0.070, 0.015), "change_sign"),
        ((0.040, 0.0), ("-x", "x"), ("0.04 - x", "x"), "change_coeff"),
        ((0.040, 0.0), (-0.015, 0.015), (0.025, 0.015), "change_coeff"),
        ((0.040, 0.0), (-0.040, 0.020), (0.0, 0.020), "goes_complete"),
        ((0.040, 0.0), (None, 0.015), (0.040, 0.015), "initial_as_eq"),
        ((0.040, 0.0), (None, None), (0.0133, 0.0133), "equal_amounts"),
        ((0.040, 0.0), (-0.020, 0.010), (0.020, 0.010), "equal_amounts"),
        ((None, None), (None, None), (None, None), None),
    ],
)
def test_tables_show_their_mistake(start, change, end, mistake):
    assert table_mistake(table_problem(), table(start, change, end)) == mistake


def test_moles_in_the_first_row():
    poured = {"NO2(g)": 0.040, "N2O4(g)": 0.004}
    asked = table_problem(mixed=poured)
    asked = Asked(asked.part, None, replace(asked.case, portions=()))
    assert table_mistake(asked, table((0.080, 0.008), (None, None), (None, None))) == "moles_as_conc"


@pytest.mark.parametrize("value", [{}, {"initial": {}}, {"initial": {"NO2(g)": None}}])
def test_an_empty_table_shows_nothing(value):
    assert table_mistake(table_problem(), value) is None


# -- registry --------------------


def test_all_are_there():
    assert sorted(MISTAKES) == sorted(IDS)
    assert len(IDS) == 44


@pytest.mark.parametrize("name", IDS)
def test_each_entry_is_complete_and_kind(name):
    entry = MISTAKES[name]
    assert entry.id == name
    for text in (entry.title, entry.hint, entry.source, entry.remedy):
        assert len(text) > 10
        assert "\n" not in text
    assert entry.hint.endswith("?"), "a hint is a question"
    assert not entry.title.endswith(".")
    said = f"{entry.title} {entry.hint}".lower()
    for scolding in (
        "wrong",
        "error",
        "careless",
        "obviously",
        "should have",
        "simply",
        "stupid",
        "fail",
        "you forgot",
    ):
        assert scolding not in said


def test_every_source_is_cited_somewhere():
    data = tomllib.loads((files("eqlib.assess") / "mistakes.toml").read_text("utf-8"))
    cited = {source for name, entry in data.items() if name != "sources" for source in entry["source"]}
    assert cited == set(data["sources"])
