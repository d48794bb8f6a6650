"""Wrong numbers and the mistakes they come from.

The reference item is the one worked by hand for a class: 5.00 mL of 2.00 mM iron(III), 3.00 mL of 2.00 mM
thiocyanate, 2.00 mL of water, absorbance 0.325 at an absorptivity of 4700 L/(mol cm) in 1.00 cm. Every
expected number is written out as arithmetic here or was worked out by hand; none comes from eqlib.
"""

import math
import random
from dataclasses import dataclass, field, replace
from pathlib import Path

import pytest

from eqlib.assess import feedback
from eqlib.assess.asks import ASKS
from eqlib.assess.asks.base import Part
from eqlib.assess.load import load_questions, read_questions
from eqlib.assess.mark import mark
from eqlib.assess.mistakes import MISTAKES, Suspect, name_mistake
from eqlib.assess.question import Case
from eqlib.assess.setting import Portion
from eqlib.chem.reactions import Reaction
from eqlib.chem.stress import Stress

COURSE = Path(__file__).parents[2] / "notebooks" / "source"
NET = "AgSCN(s) + Cl^- -> AgCl(s) + SCN^-"


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


def candidates(asked):
    return [(s.mistake, s.value) for s in suspects(asked)]


IRON = Reaction("Fe^3+ + SCN^- <=> FeSCN^2+", K=140)
F, S, V = 1.00e-3, 6.00e-4, 0.01000
POURED = (Portion({"Fe^3+": 2e-3}, 5e-3), Portion({"SCN^-": 2e-3}, 3e-3), Portion({}, 2e-3))


def K_of(x, iron=F, thiocyanate=S):
    return x / ((iron - x) * (thiocyanate - x))


def item(quantity="K", A=0.325, path=1.0, blank=0.0, epsilon=4700.0, species="", unit="", when="before"):
    x = (A - blank) / (epsilon * path)
    end = {"Fe^3+": F - x, "SCN^-": S - x, "FeSCN^2+": x}
    expected = {"K": K_of(x), "extent": x, "concentration": end.get(species)}.get(quantity)
    return asking(
        Part("n", "number", "number", "", quantity=quantity, unit=unit, species=species, when=when),
        expected,
        reactions=(IRON,),
        portions=POURED,
        volume=V,
        mixed={"Fe^3+": F, "SCN^-": S, "FeSCN^2+": 0.0},
        before=end,
        equilibrium=end,
        measured={"absorbance": A, "epsilon": epsilon, "path": path, "blank": blank},
        observed="FeSCN^2+",
        extent=x,
    )


PUBLISHED = [
    # value as printed for the class, mistake, item
    (0.00714, "k_inverted", item()),
    (0.0473, "sum_not_product", item()),
    (18.6, "stock_conc", item()),
    (67.0, "stock_conc", item()),
    (86.0, "stock_conc", item()),
    (115.0, "initial_as_eq", item()),
    (97.0, "change_sign", item()),
    (14000.0, "moles_as_conc", item()),
    (224.0, "log_slip", item()),
    (430.0, "log_slip", item()),
    (348.0, "path_ignored", item(A=0.650, path=2.0)),
    (151.0, "blank_kept", item(A=0.345, blank=0.020)),
    (6.0e-4, "goes_complete", item("extent")),
    (8.4e-5, "unchecked_small_x", item("extent")),
    (6.0e-4, "goes_complete", item("concentration", species="FeSCN^2+")),
    (0.0, "goes_complete", item("concentration", species="SCN^-")),
]


@pytest.mark.parametrize(("value", "mistake", "problem"), PUBLISHED)
def test_the_published_wrong_values_are_recognised(value, mistake, problem):
    assert name_mistake(value, suspects(problem), problem.expected) == mistake


@pytest.mark.parametrize("value", [140.0, 139.0, 141.0, 138.0])
def test_the_right_value_comes_first(value):
    assert name_mistake(value, suspects(item()), item().expected) is None


x = 0.325 / 4700  # 6.915e-5 mol/L
EXACT = [
    ("k_inverted", (F - x) * (S - x) / x),
    ("sum_not_product", x / ((F - x) + (S - x))),
    ("stock_conc", x / ((2e-3 - x) * (2e-3 - x))),
    ("stock_conc", x / ((2e-3 - x) * (S - x))),
    ("stock_conc", x / ((F - x) * (2e-3 - x))),
    ("stock_conc", x / ((1.25e-3 - x) * (0.75e-3 - x))),
    ("initial_as_eq", x / (F * S)),
    ("change_sign", x / ((F + x) * (S + x))),
    ("moles_as_conc", (x * V) / ((F - x) * V * (S - x) * V)),
    ("moles_as_conc", (1e3 * x) / (1e3 * (F - x) * 1e3 * (S - x))),
    ("log_slip", K_of(10**-0.325 / 4700)),
    ("log_slip", K_of(0.325 * math.log(10) / 4700)),
]


@pytest.mark.parametrize(("mistake", "value"), EXACT)
def test_each_slip_is_worked_out_exactly(mistake, value):
    found = [v for name, v in candidates(item()) if name == mistake]
    assert any(math.isclose(v, value, rel_tol=1e-9) for v in found)


def test_values_follow_the_unit_of_the_part():
    assert dict(candidates(item(unit="L/mol")))["initial_as_eq"] == pytest.approx(x / (F * S))
    milli = dict(candidates(item("extent", unit="mmol/L")))
    assert milli["goes_complete"] == pytest.approx(0.600)


def test_standards_with_the_excess_reactant_give_an_absorptivity_near_five():
    """0.100 M iron, 1.0e-4 M thiocyanate, A 0.47: 4700 if thiocyanate limits, 4.7 if iron is taken."""
    problem = asking(
        Part("e", "number", "number", "", quantity="epsilon", unit="L/(mol cm)"),
        4700.0,
        reactions=(IRON,),
        portions=(Portion({"Fe^3+": 0.2}, 5e-3), Portion({"SCN^-": 4e-4}, 2.5e-3), Portion({}, 2.5e-3)),
        volume=V,
        mixed={"Fe^3+": 0.100, "SCN^-": 1.0e-4, "FeSCN^2+": 0.0},
        measured={"absorbance": 0.470, "path": 1.0, "blank": 0.0},
        observed="FeSCN^2+",
    )
    assert name_mistake(4.70, suspects(problem), 4700.0) == "limiting_swapped"
    assert name_mistake(1175.0, suspects(problem), 4700.0) == "stock_conc"  # 0.470 / 4.0e-4


# -- other stoichiometry: 2 NO2 <=> N2O4 --------------------

NITROGEN = Reaction("2 NO2(g) <=> N2O4(g)", K=200)
START, MADE = 0.0400, 0.0150  # mol/L NO2 put in; N2O4 found: 0.0100 mol/L of NO2 left


def gas(quantity="K", species="", measured=True):
    end = {"NO2(g)": START - 2 * MADE, "N2O4(g)": MADE}
    return asking(
        Part("n", "number", "number", "", quantity=quantity, species=species, when="before"),
        {"K": MADE / end["NO2(g)"] ** 2, "extent": MADE}.get(quantity, end.get(species)),
        reactions=(NITROGEN,),
        volume=2.0,
        mixed={"NO2(g)": START, "N2O4(g)": 0.0},
        before=end,
        equilibrium=end,
        measured={"concentration": MADE} if measured else {},
        observed="N2O4(g)" if measured else "",
        extent=MADE,
    )


@pytest.mark.parametrize(
    ("mistake", "value"),
    [
        ("powers_missing", 0.0150 / 0.0100),
        ("powers_missing", 0.0150 / (2 * 0.0100)),
        ("k_inverted", 0.0100**2 / 0.0150),
        ("change_coeff", 0.0150 / (0.0400 - 0.0150) ** 2),
        ("change_sign", 0.0150 / (0.0400 + 0.0300) ** 2),
        ("initial_as_eq", 0.0150 / 0.0400**2),
        ("moles_as_conc", 0.0300 / 0.0200**2),
    ],
)
def test_slips_that_need_a_coefficient(mistake, value):
    problem = gas()
    assert problem.expected == pytest.approx(150.0)
    assert name_mistake(value, suspects(problem), problem.expected) == mistake


def test_x_solved_from_K_with_each_slip():
    """K = x/(0.04 - 2x)^2 = 150. Quadratics solved by hand for every slip."""
    problem = gas("extent", measured=False)
    K = 150.0

    def root(a, b, c):
        """Smaller root of a x^2 + b x + c = 0."""
        return (-b - math.sqrt(b * b - 4 * a * c)) / (2 * a)

    assert root(4 * K, -(4 * 0.04 * K + 1), K * 0.04**2) == pytest.approx(MADE)
    for mistake, value in (
        ("goes_complete", 0.0200),
        ("unchecked_small_x", 150.0 * 0.0400**2),
        ("k_inverted", root(4 / K, -(4 * 0.04 / K + 1), 0.04**2 / K)),
        ("powers_missing", 0.04 * K / (1 + 2 * K)),
        ("change_coeff", root(K, -(2 * 0.04 * K + 1), K * 0.04**2)),
        ("equal_amounts", 0.04 / 3),
        ("moles_as_conc", 2 * 0.0150),
    ):
        found = [v for name, v in candidates(problem) if name == mistake]
        assert any(math.isclose(v, value, rel_tol=1e-6) for v in found), mistake


def test_concentration_left_over():
    problem = gas("concentration", species="NO2(g)", measured=False)
    values = {}
    for name, value in candidates(problem):
        values.setdefault(name, []).append(value)
    assert 0.0 in [pytest.approx(v, abs=1e-15) for v in values["goes_complete"]] or min(
        values["goes_complete"]
    ) == pytest.approx(0.0, abs=1e-15)
    assert values["initial_as_eq"] == [START]
    assert values["change_sign"][0] == pytest.approx(0.0700)
    assert any(v == pytest.approx(0.0250) for v in values["change_coeff"])


def test_a_slip_in_Kc_goes_through_to_Kp():
    """Kp = Kc / (R T) here, R T = 24.790 L bar/mol at 298.15 K: 150 -> 6.051, and 1.5 -> 0.06051."""
    problem = asking(
        Part("n", "number", "number", "", quantity="Kp"),
        150.0 / 24.790,
        **{key: getattr(gas("K").case, key) for key in ("reactions", "volume", "mixed", "before")},
        **{key: getattr(gas("K").case, key) for key in ("equilibrium", "measured", "observed", "extent")},
    )
    for value, mistake in (
        (1.5 / 24.790, "powers_missing"),
        (24.790 / 150.0, "k_inverted"),
        (0.0150 / 0.0400**2 / 24.790, "initial_as_eq"),
    ):
        assert name_mistake(value, suspects(problem), problem.expected) == mistake


# -- Q, absorbance, enthalpy --------------------


def disturbed(quantity="Q", when="at_once", species="", unit=""):
    """1.00 mL of 0.100 M iron(III) into 9.00 mL that held 1.0, 0.5, 0.07 mM (Q was 140)."""
    before = {"Fe^3+": 1.0e-3, "SCN^-": 5.0e-4, "FeSCN^2+": 7.0e-5}
    at_once = {"Fe^3+": 1.09e-2, "SCN^-": 4.5e-4, "FeSCN^2+": 6.3e-5}
    after = {"Fe^3+": 1.065e-2, "SCN^-": 2.06e-4, "FeSCN^2+": 3.07e-4}
    part = Part("q", "number", "number", "", quantity=quantity, when=when, species=species, unit=unit)
    moments = {"before": before, "at_once": at_once, "after": after}
    q = {name: c["FeSCN^2+"] / (c["Fe^3+"] * c["SCN^-"]) for name, c in moments.items()}
    return asking(
        part,
        q[when] if quantity == "Q" else moments[when][species],
        reactions=(IRON,),
        volume=9e-3,
        mixed=before,
        equilibrium=before,
        stress=Stress.add_solution({"Fe^3+": 0.100, "NO3^-": 0.300}, 1e-3),
        **moments,
    )


def test_Q_and_its_slips():
    problem = disturbed()
    assert problem.expected == pytest.approx(12.844, rel=1e-3)
    for value, mistake in (
        (3.07e-4 / (1.065e-2 * 2.06e-4), "q_is_k"),
        (1 / 12.8440, "k_inverted"),
        (6.3e-5 / (1.09e-2 + 4.5e-4), "sum_not_product"),
        (7.0e-5 / ((1.0e-3 + 1e-4 / 9e-3) * 5.0e-4), "stock_conc"),
        (7.0e-5 / (0.101 * 5.0e-4), "stock_conc"),
    ):
        assert name_mistake(value, suspects(problem), problem.expected) == mistake


def test_the_change_is_not_cancelled():
    problem = disturbed("concentration", "after", "Fe^3+", unit="mmol/L")
    assert name_mistake(1.00, suspects(problem), 10.65) == "full_cancel"
    assert "full_cancel" not in dict(candidates(disturbed("concentration", "after", "SCN^-")))


def test_dilution_left_out_of_Q():
    before = {"Fe^3+": 1.0e-3, "SCN^-": 5.0e-4, "FeSCN^2+": 7.0e-5}
    half = {name: c / 2 for name, c in before.items()}
    problem = asking(
        Part("q", "number", "number", "", quantity="Q", when="at_once"),
        280.0,
        reactions=(IRON,),
        volume=0.01,
        before=before,
        at_once=half,
        after={"Fe^3+": 5.2e-4, "SCN^-": 2.7e-4, "FeSCN^2+": 1.96e-5},
        stress=Stress.dilute(0.01),
    )
    assert name_mistake(140.0, suspects(problem), 280.0) in ("volume_ignored", "q_is_k")  # both give it


def test_absorbance_slips():
    """4700 x 2.00 x 3.5e-5 = 0.329; without the path 0.1645; as transmittance 0.4688; with ln 0.7575."""
    end = {"Fe^3+": 9.65e-4, "SCN^-": 5.65e-4, "FeSCN^2+": 3.5e-5}
    problem = asking(
        Part("A", "number", "number", "", quantity="absorbance", when="before"),
        0.329,
        reactions=(IRON,),
        volume=V,
        mixed={"Fe^3+": F, "SCN^-": S, "FeSCN^2+": 0.0},
        before=end,
        equilibrium=end,
        measured={"epsilon": 4700.0, "path": 2.0},
        observed="FeSCN^2+",
        extent=3.5e-5,
    )
    for value, mistake in (
        (0.1645, "path_ignored"),
        (0.4688, "log_slip"),
        (0.7575, "log_slip"),
        (5.64, "goes_complete"),
    ):
        assert name_mistake(value, suspects(problem), 0.329) == mistake


def test_enthalpy_slips():
    """K 100 at 298.15 K and 80 at 333.15 K: R ln 0.8 / (1/298.15 - 1/333.15) = -5.265 kJ/mol."""
    dH = 8.314462618e-3 * math.log(0.8) / (1 / 298.15 - 1 / 333.15)
    assert dH == pytest.approx(-5.265, abs=0.001)
    problem = asking(
        Part("dH", "number", "number", "", quantity="dH", unit="kJ/mol"),
        dH,
        measured={"K1": 100.0, "T1": 298.15, "K2": 80.0, "T2": 333.15},
    )
    assert name_mistake(round(dH / 2.302585, 3), suspects(problem), dH) == "log_slip"
    assert name_mistake(5.265, suspects(problem), dH) == "heat_sign"
    warm = asking(problem.part, -dH, measured={"K1": 80.0, "T1": 298.15, "K2": 100.0, "T2": 333.15})
    assert name_mistake(-5.265, suspects(warm), -dH) == "heat_sign"


# -- naming --------------------


def test_of_several_the_nearest_is_named():
    found = [Suspect("blank_kept", 150.0), Suspect("log_slip", 150.6), Suspect("k_inverted", 0.00714)]
    assert name_mistake(150.1, found, 140.0) == "blank_kept"
    assert name_mistake(150.5, found, 140.0) == "log_slip"
    assert name_mistake(170.0, found, 140.0) is None
    assert name_mistake(150.0, [Suspect("blank_kept", 150.0)], 140.0) == "blank_kept"


def test_a_mistake_that_gives_the_right_value_is_never_named():
    assert name_mistake(140.1, [Suspect("path_ignored", 140.0)], 140.0) is None
    assert name_mistake(143.2, [Suspect("path_ignored", 140.5)], 140.0) is None
    same = item(path=1.0)
    assert "path_ignored" not in dict(candidates(same))


@pytest.mark.parametrize("value", [math.nan, math.inf, "140", None, True, 140 + 0j])
def test_what_is_not_a_number_is_not_named(value):
    assert name_mistake(value, suspects(item()), 140.0) is None


@pytest.mark.parametrize(
    "problem",
    [
        item(),
        item(A=0.650, path=2.0),
        item(A=0.345, blank=0.020),
        item("extent"),
        gas(),
        gas("extent", measured=False),
        gas("concentration", species="NO2(g)", measured=False),
        disturbed(),
    ],
    ids=lambda p: f"{len(p.case.mixed)}-{p.part.quantity}",
)
@pytest.mark.parametrize("spread", [3.0, 10.0, 100.0])
def test_random_wrong_numbers_are_seldom_named(problem, spread):
    """Log-uniform within a factor on either side; full precision, and as typed to three figures."""
    rng = random.Random(20260131)
    found = suspects(problem)
    for digits in (None, 3):
        named = wrong = 0
        for _ in range(10_000):
            value = problem.expected * spread ** rng.uniform(-1, 1)
            value = value if digits is None else float(f"{value:.{digits - 1}e}")
            wrong += abs(value / problem.expected - 1) > 0.02
            named += name_mistake(value, found, problem.expected) is not None
        assert named / wrong < 0.03, f"{named} of {wrong}"


def test_variants_that_make_a_mistake_get_it_named():
    """Numbers as a class would have them; every slip of the reading and of K, to three figures."""
    rng = random.Random(7)
    tried = named = 0
    for _ in range(300):
        iron, thiocyanate = rng.uniform(0.8e-3, 1.2e-3), rng.uniform(3e-4, 7e-4)
        made = rng.uniform(0.08, 0.18) * thiocyanate
        path, blank = 2.0, 0.020
        A = blank + 4700 * path * made
        end = {"Fe^3+": iron - made, "SCN^-": thiocyanate - made, "FeSCN^2+": made}
        K = made / (end["Fe^3+"] * end["SCN^-"])
        problem = asking(
            Part("k", "number", "number", "", quantity="K"),
            K,
            reactions=(IRON,),
            volume=V,
            portions=(
                Portion({"Fe^3+": iron * 2}, 5e-3),
                Portion({"SCN^-": thiocyanate * 10 / 3}, 3e-3),
                Portion({}, 2e-3),
            ),
            mixed={"Fe^3+": iron, "SCN^-": thiocyanate, "FeSCN^2+": 0.0},
            before=end,
            equilibrium=end,
            measured={"absorbance": A, "epsilon": 4700.0, "path": path, "blank": blank},
            observed="FeSCN^2+",
            extent=made,
        )

        def of(x, a=iron, b=thiocyanate):
            return x / ((a - x) * (b - x))

        slips = {
            "k_inverted": 1 / K,
            "initial_as_eq": made / (iron * thiocyanate),
            "change_sign": made / ((iron + made) * (thiocyanate + made)),
            "path_ignored": of(2 * made),
            "blank_kept": of(A / 9400),
            "stock_conc": of(made, 2 * iron, thiocyanate * 10 / 3),
            "sum_not_product": made / (end["Fe^3+"] + end["SCN^-"]),
            "log_slip": of((A - blank) * math.log(10) / 9400),
        }
        for mistake, value in slips.items():
            others = [v for name, v in [*slips.items(), ("", K)] if name != mistake]
            if value <= 0 or any(abs(value / v - 1) < 0.02 for v in others):
                continue  # not distinguishable, or impossible, with these numbers
            tried += 1
            named += name_mistake(float(f"{value:.3g}"), suspects(problem), K) == mistake
    assert tried > 1500
    assert named / tried >= 0.95


@pytest.mark.parametrize("value", [0.0, -0.0, 5e-324, -1e-308, 1.7e308, -140.0])
def test_numbers_at_the_edge_are_not_named(value):
    assert name_mistake(value, suspects(item()), item().expected) is None


def test_what_makes_no_difference_is_not_suspected():
    """Thiocyanate at bottle strength does not touch the iron left over: 1.00 - 0.069 mM either way."""
    left = item("concentration", species="Fe^3+")
    assert left.expected == pytest.approx(1e-3 - x)
    assert not any(math.isclose(v, left.expected, rel_tol=1e-3) for _, v in candidates(left))


def test_a_part_without_an_expected_value_is_no_trouble():
    assert suspects(Asked(item().part, None, replace(item().case, expected={})))


def test_every_suspect_is_in_the_registry():
    for problem in (
        item(),
        item(A=0.650, path=2.0, blank=0.02),
        gas(),
        gas("extent", measured=False),
        disturbed(),
    ):
        for suspect in suspects(problem):
            assert suspect.mistake in MISTAKES
            assert math.isfinite(suspect.value)
        assert len(suspects(problem)) <= 20


def net_slips(k1, k2, cl):
    """What slips with AgSCN(s) + Cl- <=> AgCl(s) + SCN-, K = k1/k2, give for [SCN-]; right is K c/(1 + K)."""
    K = k1 / k2
    return {
        "not_in_equation": math.sqrt(k1),  # AgSCN in water: the chloride is forgotten
        "k_is_conc": K,
        "k_inverted": cl / K,  # and x left out; exactly, cl/(1 + K) is as good as all of it
        "goes_complete": cl,
    }


def test_slips_with_a_net_equation_are_named_from_the_questions_own_constants():
    question = load_questions(COURSE / "05-strangers")["net"]
    for student in [f"n{number:02d}" for number in range(12)]:
        n = {key: float(value) for key, value in question.variant(student).numbers.items()}
        right = n["k1"] / n["k2"] * n["cl"] / (1 + n["k1"] / n["k2"])
        assert mark(question, {"equation": NET, "scn": f"{right:.3g}"}, student).points == 3
        for mistake, value in net_slips(n["k1"], n["k2"], n["cl"]).items():
            found = mark(question, {"equation": NET, "scn": f"{value:.3g}"}, student)
            assert found.points == 1, (mistake, found.audit)
            assert found.mistake == mistake, (student, value, found.audit)


# -- whole lists: nothing more is suspected, and nothing less ----


def amounts(value, volume, micro=True):
    """An amount in place of a concentration: mol, mmol, µmol."""
    return [value * volume, 1e3 * value * volume, *([1e6 * value * volume] if micro else [])]


def solved(quantity="extent", species="", K=140.0, iron=F, thiocyanate=S, made=0.0, portions=()):
    """x from K, by the quadratic formula."""
    b = iron + thiocyanate + 1 / K
    x = (b - math.sqrt(b * b - 4 * (iron * thiocyanate - made / K))) / 2
    end = {"Fe^3+": iron - x, "SCN^-": thiocyanate - x, "FeSCN^2+": made + x}
    part = Part("n", "number", "number", "", quantity=quantity, species=species, when="before")
    return asking(
        part,
        x if quantity == "extent" else end[species],
        reactions=(IRON,),
        portions=portions,
        volume=V,
        mixed={"Fe^3+": iron, "SCN^-": thiocyanate, "FeSCN^2+": made},
        before=end,
        equilibrium=end,
        extent=x,
    )


def standard(quantity="epsilon", A=0.470, path=2.0, blank=0.02):
    return asking(
        Part("e", "number", "number", "", quantity=quantity, unit="L/(mol cm)"),
        (A - blank) / (path * 1e-4),
        reactions=(IRON,),
        portions=(Portion({"Fe^3+": 0.2}, 5e-3), Portion({"SCN^-": 4e-4}, 2.5e-3), Portion({}, 2.5e-3)),
        volume=V,
        mixed={"Fe^3+": 0.100, "SCN^-": 1.0e-4, "FeSCN^2+": 0.0},
        measured={"absorbance": A, "path": path, "blank": blank},
        observed="FeSCN^2+",
    )


def seen(when="before", path=2.0, **measured):
    end = {"Fe^3+": 9.65e-4, "SCN^-": 5.65e-4, "FeSCN^2+": 3.5e-5}
    return asking(
        Part("A", "number", "number", "", quantity="absorbance", when=when),
        4700 * path * 3.5e-5,
        reactions=(IRON,),
        volume=V,
        mixed={"Fe^3+": F, "SCN^-": S, "FeSCN^2+": 0.0},
        before=end,
        equilibrium=end,
        measured={"epsilon": 4700.0, "path": path, **measured},
        observed="FeSCN^2+",
        extent=3.5e-5,
    )


RUNS = {"run1": 138.0, "run2": 143.0, "run3": 149.0}


def repeated(quantity):
    right = {
        "mean": 430 / 3,
        "s": math.sqrt(((138 - 430 / 3) ** 2 + (143 - 430 / 3) ** 2 + (149 - 430 / 3) ** 2) / 2),
        "n": 3.0,
    }[quantity]
    return asking(Part("r", "number", "number", "", quantity=quantity), right, measured=RUNS)


def diluted():
    before = {"Fe^3+": 1.0e-3, "SCN^-": 5.0e-4, "FeSCN^2+": 7.0e-5}
    half = {name: c / 2 for name, c in before.items()}
    return asking(
        Part("q", "number", "number", "", quantity="Q", when="at_once"),
        280.0,
        reactions=(IRON,),
        volume=0.01,
        before=before,
        at_once=half,
        after={"Fe^3+": 5.2e-4, "SCN^-": 2.7e-4, "FeSCN^2+": 1.96e-5},
        stress=Stress.dilute(0.01),
    )


def kp():
    return asking(
        Part("n", "number", "number", "", quantity="Kp"),
        150.0 / 24.790,
        reactions=(Reaction("2 NO2(g) <=> N2O4(g)", K=150),),
        volume=2.0,
        mixed={},
        temperature=298.15,
    )


LOG, NATURAL = 10**-0.325 / 4700, 0.325 * math.log(10) / 4700  # x, where the absorbance is misread
K2_x = 0.630 / 9400  # A 0.650 less 0.020, in 2 cm
AT_ONCE_Q = 6.3e-5 / (1.09e-2 * 4.5e-4)
WHOLE = {
    "K": (
        item(),
        {
            "k_inverted": [1 / K_of(x)],
            "sum_not_product": [x / (F - x + S - x)],
            "stock_conc": [K_of(x, 2e-3, 2e-3), K_of(x, F / 0.8, S / 0.8), K_of(x, 2e-3), K_of(x, F, 2e-3)],
            "initial_as_eq": [x / (F * S)],
            "change_sign": [K_of(x, F + 2 * x, S + 2 * x)],
            "log_slip": [K_of(LOG), K_of(NATURAL)],
            "moles_as_conc": [K_of(x) / V, K_of(x) / (1e3 * V), K_of(x) / 1e3],
            "unit_prefix": [1e3 * K_of(x)],
        },
    ),
    "K in 2 cm beside a blank": (
        item(A=0.650, path=2.0, blank=0.02),
        {
            "k_inverted": [1 / K_of(K2_x)],
            "sum_not_product": [K2_x / (F + S - 2 * K2_x)],
            "stock_conc": [
                K_of(K2_x, 2e-3, 2e-3),
                K_of(K2_x, F / 0.8, S / 0.8),
                K_of(K2_x, 2e-3),
                K_of(K2_x, F, 2e-3),
            ],
            "initial_as_eq": [K2_x / (F * S)],
            "change_sign": [K2_x / ((F + K2_x) * (S + K2_x))],
            "log_slip": [K_of(10**-0.630 / 9400), K_of(0.630 * math.log(10) / 9400)],
            "path_ignored": [K_of(0.630 / 4700)],
            "blank_kept": [K_of(0.650 / 9400)],
            "moles_as_conc": [K_of(K2_x) / V, K_of(K2_x) / (1e3 * V), K_of(K2_x) / 1e3],
            "unit_prefix": [1e3 * K_of(K2_x)],
        },
    ),
    "x": (
        item("extent"),
        {
            "log_slip": [LOG, NATURAL],
            "goes_complete": [S],
            "unchecked_small_x": [K_of(x) * F * S],
            "moles_as_conc": amounts(x, V, micro=False),
            "unit_prefix": [1e3 * x, x / 1e3],
        },
    ),
    "the complex": (
        item("concentration", species="FeSCN^2+"),
        {
            "log_slip": [LOG, NATURAL],
            "goes_complete": [S],
            "unchecked_small_x": [K_of(x) * F * S],
            "initial_as_eq": [0.0],
            "moles_as_conc": amounts(x, V),
            "unit_prefix": [1e3 * x, x / 1e3],
        },
    ),
    "free thiocyanate": (
        item("concentration", species="SCN^-"),
        {
            "log_slip": [S - LOG, S - NATURAL],
            "goes_complete": [0.0],
            "unchecked_small_x": [S - K_of(x) * F * S],
            "change_sign": [S + x],
            "stock_conc": [2e-3 - x, S / 0.8 - x],
            "initial_as_eq": [S],
            "moles_as_conc": amounts(S - x, V),
            "unit_prefix": [1e3 * (S - x), (S - x) / 1e3],
        },
    ),
    "K of a gas": (
        gas(),
        {
            "k_inverted": [1 / 150],
            "powers_missing": [0.015 / 0.010, 0.015 / (2 * 0.010)],
            "initial_as_eq": [0.015 / 0.040**2],
            "change_sign": [0.015 / 0.070**2],
            "change_coeff": [0.015 / 0.025**2],
            "moles_as_conc": [150 / 2, 150 / 2e3, 150 / 1e3],
            "unit_prefix": [150e3],
        },
    ),
    "a gas left over": (
        gas("concentration", species="NO2(g)", measured=False),
        {
            "goes_complete": [0.0],
            "unchecked_small_x": [0.04 - 2 * 150 * 0.04**2],
            "equal_amounts": [0.04 / 3],
            "k_inverted": [0.04 - 2 * 1.06553040366e-5],  # x/(0.04 - 2x)² = 1/150
            "powers_missing": [0.04 - 2 * 0.04 * 150 / 301],  # x/(0.04 - 2x) = 150
            "change_sign": [0.070],
            "change_coeff": [0.025],
            "initial_as_eq": [0.04],
            "moles_as_conc": amounts(0.010, 2.0),
            "unit_prefix": [10.0, 1e-5],
        },
    ),
    "Q": (
        disturbed(),
        {
            "q_is_k": [3.07e-4 / (1.065e-2 * 2.06e-4)],
            "stock_conc": [7e-5 / ((1e-3 + 0.1 / 9) * 5e-4), 7e-5 / (0.101 * 5e-4)],
            "k_inverted": [1 / AT_ONCE_Q],
            "sum_not_product": [6.3e-5 / (1.09e-2 + 4.5e-4)],
            "moles_as_conc": [AT_ONCE_Q / 9e-3, AT_ONCE_Q / 9, AT_ONCE_Q / 1e3],
            "unit_prefix": [1e3 * AT_ONCE_Q],
        },
    ),
    "iron just after": (
        disturbed("concentration", "at_once", "Fe^3+"),
        {
            "stock_conc": [1e-3 + 0.1 / 9, 0.101],
            "moles_as_conc": amounts(1.09e-2, 9e-3),
            "unit_prefix": [10.9, 1.09e-5],
        },
    ),
    "iron in the end": (
        disturbed("concentration", "after", "Fe^3+"),
        {
            "full_cancel": [1e-3],
            "moles_as_conc": amounts(1.065e-2, 9e-3),
            "unit_prefix": [10.65, 1.065e-5],
        },
    ),
}


def x_of(K, iron=F, thiocyanate=S):
    """x/((a - x)(b - x)) = K by the quadratic formula."""
    b = iron + thiocyanate + 1 / K
    return 2 * iron * thiocyanate / (b + math.sqrt(b * b - 4 * iron * thiocyanate))


X = x_of(140)
STANDARD = 0.450 / (2 * 1e-4)  # A 0.470 less 0.020, in 2 cm, all of 0.100 mM thiocyanate as complex
PER = 4700 * 2.0
MADE_END = x_of(140, F + 2e-5, S + 2e-5)  # the same end as from 2e-5 more of both
K_SEEN = 3.5e-5 / (9.65e-4 * 5.65e-4)
WHOLE |= {
    "x from K": (
        solved(portions=POURED),
        {
            "goes_complete": [S],
            "limiting_swapped": [F],
            "unchecked_small_x": [140 * F * S],
            "equal_amounts": [S / 2],
            "k_inverted": [x_of(1 / 140)],
            "stock_conc": [
                x_of(140, 2e-3, 2e-3),
                x_of(140, F / 0.8, S / 0.8),
                x_of(140, 2e-3),
                x_of(140, F, 2e-3),
            ],
            "moles_as_conc": amounts(X, V, micro=False),
            "unit_prefix": [1e3 * X, X / 1e3],
        },
    ),
    "thiocyanate left by K": (
        solved("concentration", "SCN^-"),
        {
            "goes_complete": [0.0],
            "unchecked_small_x": [S - 140 * F * S],
            "equal_amounts": [S / 2],
            "k_inverted": [S - x_of(1 / 140)],
            "change_sign": [S + X],
            "initial_as_eq": [S],
            "moles_as_conc": amounts(S - X, V),
            "unit_prefix": [1e3 * (S - X), (S - X) / 1e3],
        },
    ),
    "some complex from the start": (  # with it x is not small by any short cut
        solved("concentration", "FeSCN^2+", made=2e-5),
        {
            "goes_complete": [2e-5 + S],
            "limiting_swapped": [2e-5 + F],
            "equal_amounts": [2e-5 + (S - 2e-5) / 2],
            "k_inverted": [(F + 2e-5) * (S + 2e-5) / 140],  # practically all of it back
            "initial_as_eq": [2e-5],
            "moles_as_conc": amounts(MADE_END, V),
            "unit_prefix": [1e3 * MADE_END, MADE_END / 1e3],
        },
    ),
    "an absorptivity": (
        standard(),
        {
            "limiting_swapped": [0.450 / (2 * 0.1)],
            "path_ignored": [0.450 / 1e-4],
            "blank_kept": [0.470 / 2e-4],
            "log_slip": [10**-0.450 / 2e-4, 0.450 * math.log(10) / 2e-4],
            "stock_conc": [0.450 / (2 * 4e-4), 0.450 / (2 * 1e-4 / 0.75)],
            "unit_prefix": [1e3 * STANDARD],
        },
    ),
    "an absorptivity in 1 cm": (
        standard(path=1.0, blank=0.0),
        {
            "limiting_swapped": [4.70],
            "log_slip": [10**-0.470 / 1e-4, 0.470 * math.log(10) / 1e-4],
            "stock_conc": [1175.0, 3525.0],
            "unit_prefix": [4700e3],
        },
    ),
    "an absorbance": (
        seen(),
        {
            "path_ignored": [0.1645],
            "log_slip": [10**-0.329, 0.329 * math.log(10)],
            "goes_complete": [PER * S],
            "limiting_swapped": [PER * F],
            "unchecked_small_x": [PER * K_SEEN * F * S],
            "equal_amounts": [PER * S / 2],
            "k_inverted": [PER * x_of(1 / K_SEEN)],
            "initial_as_eq": [0.0],
        },
    ),
    "an absorbance of a given concentration": (
        seen(concentration=3.5e-5),
        {"path_ignored": [0.1645], "log_slip": [10**-0.329, 0.329 * math.log(10)]},
    ),
    "an absorbance of a given concentration in 1 cm": (
        seen(path=1.0, concentration=3.5e-5),
        {"log_slip": [10**-0.1645, 0.1645 * math.log(10)]},
    ),
    "a mean": (repeated("mean"), {"single_truth": [138.0, 143.0, 149.0]}),
    "a spread": (repeated("s"), {"single_truth": [0.0]}),
    "a number of runs": (repeated("n"), {"single_truth": [1.0]}),
    "Q after water": (
        diluted(),
        {
            "volume_ignored": [140.0],
            "q_is_k": [1.96e-5 / (5.2e-4 * 2.7e-4)],
            "k_inverted": [1 / 280],
            "sum_not_product": [3.5e-5 / 7.5e-4],
            "moles_as_conc": [280 / 0.01, 280 / 10, 280 / 1e3],
            "unit_prefix": [280e3],
        },
    ),
    "Kp": (
        kp(),  # R T = 24.790 L bar/mol at 298.15 K
        {
            "k_inverted": [24.790 / 150],
            "rt_wrong_side": [150 * 24.790, 150.0],
        },
    ),
}


@pytest.mark.parametrize("name", WHOLE)
def test_every_value_that_is_suspected_and_no_other(name):
    problem, worked = WHOLE[name]
    found = {}
    for mistake, value in candidates(problem):
        found.setdefault(mistake, []).append(value)
    assert set(found) == set(worked)
    for mistake, values in worked.items():
        assert sorted(found[mistake]) == pytest.approx(sorted(values), rel=1e-9, abs=1e-12), mistake


def test_slips_that_are_rare_are_marked_so():
    """Millimoles for moles, and a factor of a thousand: nobody should choose numbers to keep these apart."""
    assert {s.mistake for s in suspects(item("extent")) if s.rare} == {"moles_as_conc", "unit_prefix"}
    assert [s.rare for s in suspects(item("extent")) if s.mistake == "moles_as_conc"] == [False, True]
    assert all(s.rare for s in suspects(item("extent")) if s.mistake == "unit_prefix")
    assert not any(s.rare for s in suspects(item()) if s.mistake in ("log_slip", "stock_conc"))


RUN_HEAD = """
[assignment]
id = "runs"
title = "R"
course = "evening-class"
[[question]]
id = "q"
kind = "number"
points = 1
title = "Q"
prompt = "A question."
[question.measured]
reading = "runs"
runs = [130, 143, 160]
[[question.part]]
ask = "number"
quantity = "{}"
"""


@pytest.mark.parametrize(
    ("quantity", "typed", "told"),
    [
        ("s", "12.28", feedback.DIVIDED_BY_N),  # the root of 452.67/3
        ("s", "226.3", feedback.NO_ROOT),  # 452.67/2
        ("s", "9.192", feedback.ONE_LEFT_OUT),  # of 130 and 143: 13/sqrt(2)
        ("s", "9.4", feedback.NOT_YET_RESULT),
        ("mean", "151.5", feedback.ONE_LEFT_OUT),  # of 143 and 160
        ("mean", "120.0", feedback.NOT_YET_RESULT),
        ("n", "2", feedback.ONE_LEFT_OUT),
        ("n", "7", feedback.NOT_YET_RESULT),
    ],
)
def test_slips_with_repeated_results_are_told_in_words(quantity, typed, told):
    made = read_questions(RUN_HEAD.format(quantity))["q"]
    assert mark(made, typed).parts[0].feedback == told


SQUEEZE = (
    RUN_HEAD[: RUN_HEAD.index("[question.measured]")].replace("number", "mixed")
    + """
reactions = [{{ text = "2 NO2(g) <=> N2O4(g)", K = 170 }}]
[question.start]
totals = {{ "NO2(g)" = 0.04 }}
volume_L = 0.1
[question.stress]
kind = "change_volume"
mL = 40
[[question.part]]
ask = "number"
quantity = "concentration"
species = "NO2(g)"
when = "{}"
"""
)


@pytest.mark.parametrize(
    ("when", "factor", "told"),
    [
        ("at_once", 1.0, feedback.AS_BEFORE_THE_MOVE),
        ("at_once", 0.4, feedback.VOLUMES_SWAPPED),
        ("at_once", 0.75, feedback.NOT_YET_RESULT),
        ("after", 0.4, feedback.NOT_YET_RESULT),
    ],
)
def test_a_squeeze_left_out_or_upside_down_is_told_in_words(when, factor, told):
    """2 x² 170 + x = 0.04 by the quadratic formula; at once in 40 mL it is 2.5 times as much."""
    before = (math.sqrt(1 + 8 * 170 * 0.04) - 1) / (4 * 170)
    made = read_questions(SQUEEZE.format(when))["q"]
    assert mark(made, f"{factor * before:.4g}").parts[0].feedback == told


@pytest.mark.parametrize("volume", [1.0, 0.0])
def test_in_one_litre_an_amount_is_a_concentration(volume):
    """So nobody can have taken one for the other, and where no volume is known neither."""
    problem = solved("concentration", "SCN^-")
    case = replace(problem.case, volume=volume)
    assert "moles_as_conc" not in {s.mistake for s in ASKS["number"].suspects(problem.part, case, {})}
    part = replace(problem.part, quantity="extent", species="")
    extent = replace(case, expected={part.id: X})
    assert "moles_as_conc" not in {s.mistake for s in ASKS["number"].suspects(part, extent, {})}


def test_who_adds_what_stands_above_the_line_of_K_is_recognised():
    """FeSCN2+ to Fe3+ and SCN-: the two above the line added instead of multiplied."""
    end = {"FeSCN^2+": 2e-4, "Fe^3+": 8e-4, "SCN^-": 4e-4}
    asked = asking(
        Part("n", "number", "number", "", quantity="K", when="before"),
        8e-4 * 4e-4 / 2e-4,
        reactions=(Reaction("FeSCN^2+ <=> Fe^3+ + SCN^-", K=1 / 140),),
        portions=(Portion({"FeSCN^2+": 1e-3}, 1e-2),),
        volume=1e-2,
        mixed={"FeSCN^2+": 1e-3},
        before=end,
        equilibrium=end,
    )
    added = [value for mistake, value in candidates(asked) if mistake == "sum_not_product"]
    assert added == [pytest.approx((8e-4 + 4e-4) / 2e-4)]
