"""Equilibrium expressions, balanced equations and cells of ICE tables, as typed. Verdicts are worked out by
hand.
"""

import pytest

from eqlib.assess.asks.base import Part
from eqlib.assess.asks.typed import slips_in
from eqlib.assess.mark import read_part
from eqlib.assess.reading.equations import read_equation
from eqlib.assess.reading.expressions import read_expression
from eqlib.assess.reading.plain import Unreadable
from eqlib.assess.reading.species import match_species
from eqlib.assess.reading.tables import read_cell

IRON = {"Fe^3+": -1, "SCN^-": -1, "FeSCN^2+": 1}
NITROGEN = {"NO2(g)": -2, "N2O4(g)": 1}
AMMONIA = {"N2(g)": -1, "H2(g)": -3, "NH3(g)": 2}
SALT = {"AgSCN(s)": -1, "Ag^+": 1, "SCN^-": 1}
ACID = {"CH3COOH": -1, "H2O(l)": -1, "H3O^+": 1, "CH3COO^-": 1}

RIGHT = [
    (IRON, "[FeSCN2+]/([Fe3+][SCN-])"),
    (IRON, "[FeSCN^2+] / [Fe^3+] / [SCN^-]"),
    (IRON, "K = [FeSCN2+]/[Fe3+][SCN-]"),
    (IRON, "Kc = [FeSCN²⁺]/([Fe³⁺]·[SCN⁻])"),
    (IRON, "[fescn2+]/([fe3+] x [scn-])"),
    (IRON, "[FeSCN2+][Fe3+]^-1[SCN-]**-1"),
    (IRON, "1/([Fe3+][SCN-]/[FeSCN2+])"),
    (IRON, "[FeSCN2+]^2/([Fe3+][SCN-][FeSCN2+])"),
    (IRON, "[FeSCN2+]([Fe3+]+[SCN-])/([Fe3+]^2[SCN-]+[Fe3+][SCN-]^2)"),
    (NITROGEN, "[N2O4]/[NO2]^2"),
    (NITROGEN, "[N2O4]/[NO2]²"),
    (NITROGEN, "K_{c} = [N2O4]/{[NO2]^{2}}"),
    (NITROGEN, "[N₂O₄]:[NO₂]²"),
    (NITROGEN, "[N2O4(g)]/([NO2(g)][NO2(g)])"),
    (NITROGEN, "p(N2O4)/p(NO2)**2"),
    (NITROGEN, "P_{N2O4}/P_{NO2}^2"),
    (NITROGEN, "([N2O4]^0.5/[NO2])^2"),
    (NITROGEN, "([N2O4]^(1/2)/[NO2])^2"),
    (AMMONIA, "[NH3]^2/([N2][H2]^3)"),
    (SALT, "[Ag+][SCN-]"),
    (ACID, "[H3O+][CH3COO-]/[CH3COOH]"),
]
WRONG = [
    (IRON, "[Fe3+][SCN-]/[FeSCN2+]", ("k_inverted",)),
    (IRON, "[FeSCN2+]/([Fe3+]+[SCN-])", ("sum_not_product",)),
    (IRON, "[FeSCN2+]", ()),
    (IRON, "2[FeSCN2+]/([Fe3+][SCN-])", ()),
    (IRON, "[FeSCN2+]/[Fe3+]*[SCN-]", ()),
    (IRON, "[FeSCN2+]/([Fe3+]-[Fe3+])", ()),
    (NITROGEN, "[N2O4]/[NO2]", ("powers_missing",)),
    (NITROGEN, "[N2O4]/(2[NO2])", ("powers_missing",)),
    (NITROGEN, "[NO2]^2/[N2O4]", ("k_inverted",)),
    (NITROGEN, "[NO2]/[N2O4]", ("k_inverted", "powers_missing")),
    (AMMONIA, "[NH3]^2/([N2]+[H2]^3)", ("sum_not_product",)),
    (AMMONIA, "2[NH3]/([N2]*3[H2])", ("powers_missing",)),
    (SALT, "[Ag+][SCN-]/[AgSCN]", ("solid_in_k",)),
    (SALT, "[Ag+]+[SCN-]", ("sum_not_product",)),
    (ACID, "[H3O+][CH3COO-]/([CH3COOH][H2O])", ("solid_in_k",)),
]


@pytest.mark.parametrize(("reaction", "typed"), RIGHT)
def test_equivalent_expressions_are_right(reaction, typed):
    reading = read_expression(typed, reaction)
    assert slips_in(reading.value, reaction) == ()
    assert read_expression(reading.value, reaction).value == reading.value


@pytest.mark.parametrize(("reaction", "typed", "mistakes"), WRONG)
def test_wrong_expressions_show_their_slip(reaction, typed, mistakes):
    assert slips_in(read_expression(typed, reaction).value, reaction) == (mistakes or None)


@pytest.mark.parametrize(
    ("typed", "named"),
    [
        ("", "empty"),
        ("[Ag+]/[Fe3+]", "[Ag+]"),
        ("Fe3 over SCN", "square brackets"),
        ("[Fe3+", "not closed"),
        ("[]", "name of a species"),
        ("[Fe3+][SCN-", "not closed"),
        ("((((", "would do"),
        ("[Fe3+]//[SCN-]", "would do"),
        ("[FeSCN2+]^99", "power 99"),
        ("[FeSCN2+]^(1/7)", "power 1/7"),
        ("(2[FeSCN2+])^(1/2)", "fraction as a power"),
        ("[FeSCN2+]^(1/0)", "would do"),
        ("9^9^9[FeSCN2+]", "powers"),
        ("((9^12)^12)^12*[FeSCN2+]", "powers"),
        ("K=5", "no concentration"),
        ("[FeSCN2+]=[Fe3+]", "equals sign"),
        ("import os", "square brackets"),
        ("__import__('os')", "could not be read"),
        ("[Fe3+]፩", "“፩”"),  # ETHIOPIC DIGIT ONE: a digit that is no decimal (Unicode, UnicodeData.txt)
        ("(" * 40 + "[Fe3+]" + ")" * 40, "brackets"),
        ("[Fe3+]" * 100, "longer"),
        ("[Fe3+]+" * 42, "would do"),
    ],
)
def test_expressions_that_cannot_be_read(typed, named):
    with pytest.raises(Unreadable) as error:
        read_expression(typed, IRON)
    assert named in str(error.value)
    assert "\n" not in str(error.value)


def test_a_product_after_a_quotient_is_pointed_out():
    assert "under the line" in read_expression("[FeSCN2+]/[Fe3+]*[SCN-]", IRON).notes[0]
    assert not read_expression("[FeSCN2+]/[Fe3+][SCN-]", IRON).notes


def test_an_expression_without_a_species_list_keeps_its_names():
    assert read_part(Part("k", "expression", "expression", "K"), "[B]^2 / [A]").value == "[B]^2/[A]"


@pytest.mark.parametrize(
    ("typed", "meant"),
    [
        ("Fe3+", "Fe^3+"),
        ("Fe+3", "Fe^3+"),
        ("Fe+++", "Fe^3+"),
        ("Fe", "Fe^3+"),
        ("SCN1-", "SCN^-"),
        ("AgSCN", "AgSCN(s)"),
        ("H3O+", "H^+"),
        ("[Cu(NH3)4]2+", "Cu(NH3)4^2+"),
        ("cu(nh3)4 2+", "Cu(NH3)4^2+"),
        ("Cl-", None),
        ("", None),
    ],
)
def test_species_named_loosely(typed, meant):
    names = ["Fe^3+", "SCN^-", "FeSCN^2+", "AgSCN(s)", "H^+", "Cu(NH3)4^2+"]
    assert match_species(typed, names)[0] == meant


def test_a_charge_left_out_must_not_be_ambiguous():
    assert match_species("Fe", ["Fe^2+", "Fe^3+"]) == (None, "more than one")
    assert match_species("Fe4+", ["Fe^2+", "Fe^3+"])[0] is None


# -- equations --------------------

PERMANGANATE = ["MnO4^-", "Fe^2+", "H^+", "Mn^2+", "Fe^3+", "H2O(l)"]
BALANCED = {"MnO4^-": -1, "Fe^2+": -5, "H^+": -8, "Mn^2+": 1, "Fe^3+": 5, "H2O(l)": 4}


@pytest.mark.parametrize(
    "typed",
    [
        "MnO4- + 5Fe2+ + 8H+ -> Mn2+ + 5Fe3+ + 4H2O",
        "MnO4-+5Fe2++8H+=Mn2++5Fe3++4H2O",
        "MnO4⁻ + 5 Fe²⁺ + 8 H⁺ ⇌ Mn²⁺ + 5 Fe³⁺ + 4 H₂O",
        "MnO4^- + 5Fe+2 + 8H^+ <=> Mn+2 + 5Fe+++ + 4H2O(l)",
        "MnO4- + 5Fe2+ + 8H3O+ -> Mn2+ + 5Fe3+ + 12H2O",
        "1,5,8,1,5,4",
        "1 5 8 1 5 4",
        BALANCED,
    ],
)
def test_equations_are_read(typed):
    assert read_equation(typed, PERMANGANATE, 3).value == BALANCED


@pytest.mark.parametrize(
    ("typed", "named"),
    [
        ("", "empty"),
        ("NO2 N2O4", "no arrow"),
        ("NO2 -> N2O4 -> NO2", "more than one arrow"),
        ("2 NO2 -> N2O3", "N2O3"),
        ("2 NO2 -> ", "side"),
        ("NO2 -> N2O4 + NO2", "both sides"),
        ("1/0 NO2 -> N2O4", "zero"),
        ("1,2,3", "3 numbers"),
        ("0,0", "zero"),
        ("9999, 1", "coefficient of NO2(g)"),
        ({"NO2(g)": -1, "N2O4(g)": "x"}, "coefficient of N2O4(g)"),
        ({"NO2(g)": 1e9}, "coefficient of NO2(g)"),
        ({"NO2": 1, "NO2(g)": 2}, "not one of the species"),
        ([2, 1], "empty"),
        (7, "empty"),
        ("+" * 200 + "->" + "+" * 50, "side"),
        ("x" * 301, "longer"),
    ],
)
def test_equations_that_cannot_be_read(typed, named):
    with pytest.raises(Unreadable) as error:
        read_equation(typed, ["NO2(g)", "N2O4(g)"], 1)
    assert named in str(error.value)


def test_the_part_brings_its_species():
    asked = Part("e", "equation", "equation", "Balance", skeleton="NO2(g) <=> N2O4(g)")
    assert read_part(asked, "2 NO2 -> N2O4").value == NITROGEN
    assert read_part(asked, "2, 1").value == NITROGEN


# -- tables --------------------

CELLS = [
    ("-x", 0, -1),
    ("2x", 0, 2),
    ("0.10 - x", 0.10, -1),
    ("0.10-2x", 0.10, -2),
    ("1,0e-3 - x", 1e-3, -1),
    ("x/2", 0, 0.5),
    ("1/2 x", 0, 0.5),
    ("-2*x", 0, -2),
    ("0.0010 M - x", 1e-3, -1),
    ("(0.10 - x)", 0.10, -1),
    ("0.5 mM", 5e-4, 0),
    ("0.5 mM - x", 5e-4, -1),
    ("0", 0, 0),
    ("+x", 0, 1),
    ("−x", 0, -1),
    ("- X", 0, -1),
    ("0.10 - x M", 0.10, -1),
    ("x + 0.1", 0.1, 1),
    ("0.1 + 0.2 - x - x", 0.3, -2),
    (".5x", 0, 0.5),
    ("1.0·10⁻³ – 2 x", 1e-3, -2),
    (0.25, 0.25, 0),
    ("1e-3x", 0, 1e-3),
]


@pytest.mark.parametrize(("typed", "constant", "multiple"), CELLS)
def test_cells(typed, constant, multiple):
    cell = read_cell(typed)
    assert cell.constant == pytest.approx(constant, rel=1e-15)
    assert cell.multiple == pytest.approx(multiple, rel=1e-15)
    assert read_cell(str(cell)) == cell


@pytest.mark.parametrize(
    "typed", ["x^2", "abc", "x - y", "5 x x", "1 2", "x/0", "--x", "0.1 - ", "nan", "1e999 - x", "x" * 200]
)
def test_cells_that_cannot_be_read(typed):
    with pytest.raises(Unreadable):
        read_cell(typed)


def test_cells_compare_by_meaning():
    assert read_cell("0.1 - 2x") == read_cell("-2x + 0.10")
    assert read_cell("-x") != read_cell("x")


IRON = {"Fe^3+": -1, "SCN^-": -1, "FeSCN^2+": 1}
PAIRS = {"NO2(g)": -2, "N2O4(g)": 1}


@pytest.mark.parametrize(
    ("coefficients", "typed"),
    [
        *(
            (IRON, typed)
            for typed in (
                "FeSCN2+/(Fe3+ * SCN-)",
                "[FeSCN]2+/[Fe]3+[SCN]-",
                "c(FeSCN2+)/(c(Fe3+) c(SCN-))",
                "{FeSCN2+}/({Fe3+}{SCN-})",
                "[FeSCN2+] divided by [Fe3+][SCN-]",
                "Kc is [FeSCN2+]/([Fe3+] times [SCN-])",
                "[FeSCN2+]/([SCN-][Fe3+]) = Kc",
                "[FeSCN^2+]_eq/([Fe^3+]_eq[SCN^-]_eq)",
                r"\frac{[FeSCN2+]}{[Fe3+][SCN-]}",
            )
        ),
        *((PAIRS, typed) for typed in ("[N2O4] over [NO2] squared", "(N2O4)/(NO2)^2", "N2O4/NO2^2")),
    ],
)
def test_expressions_as_people_type_them(coefficients, typed):
    reading = read_part(Part("x", "expression", "expression", "K"), typed, tuple(coefficients))
    assert reading.ok, reading.message
    assert slips_in(reading.value, coefficients) == ()


COPPER = "Cu(s) + NO3^- + H^+ -> Cu^2+ + NO2(g) + H2O(l)"


@pytest.mark.parametrize(
    "typed",
    [
        "Cu + 2NO3- + 4H+ gives Cu2+ + 2NO2 + 2H2O",
        "Cu + 2 x NO3- + 4 x H+ -> Cu2+ + 2 x NO2 + 2 x H2O",
        "Cu + 2NO3(-) + 4H(+) -> Cu(2+) + 2NO2 + 2H2O",
        "one Cu + two NO3- + four H+ to Cu2+ + two NO2 + two H2O",
        "Cu + NO3- + NO3- + 4H+ -> Cu2+ + NO2 + NO2 + 2H2O",
        "1:2:4:1:2:2",
    ],
)
def test_equations_as_people_type_them(typed):
    reading = read_part(Part("q", "equation", "equation", "Balance", skeleton=COPPER), typed)
    assert reading.ok, reading.message
    # Balanced by hand: two electrons leave one copper, each nitrate takes one.
    assert reading.value == {"Cu(s)": -1, "NO3^-": -2, "H^+": -4, "Cu^2+": 1, "NO2(g)": 2, "H2O(l)": 2}


@pytest.mark.parametrize(
    ("typed", "constant", "multiple"),
    [
        ("0.10 minus x", 0.1, -1),
        ("minus 2x", 0, -2),
        ("plus x", 0, 1),
        ("(0.10 − x) M", 0.1, -1),
        ("zero", 0, 0),
    ],
)
def test_cells_as_people_type_them(typed, constant, multiple):
    cell = read_cell(typed)
    assert (cell.constant, cell.multiple) == pytest.approx((constant, multiple))


@pytest.mark.parametrize("typed", ["-", "–", "n/a", "", "?"])
def test_a_dash_is_an_empty_cell(typed):
    assert read_cell(typed) is None


def test_a_name_that_fits_two_species_of_an_equation_is_told_as_such():
    with pytest.raises(Unreadable, match="could mean more than one of"):
        read_equation("Fe -> Cu", ["Fe^3+", "Fe^2+", "Cu^2+"], 2)
