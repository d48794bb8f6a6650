"""Every number that can be asked, against closed forms written down here, for students' own numbers."""

import math
import re

import pytest

from eqlib.assess.asks import ASKS
from eqlib.assess.asks.number import over
from eqlib.assess.load import read_questions
from eqlib.assess.mark import mark
from eqlib.assess.tables import QuestionError

R = 0.08314462618  # L bar/(mol K), CODATA 2018
T = 298.15

HEADER = """
[assignment]
id = "a1"
title = "T"
course = "c1"
mode = "practice"
"""
GAS = """
[[question]]
id = "gas"
kind = "mixed"
points = 7
title = "t"
prompt = "{n} mol/L of NO2, then {V} L"
reactions = [{ text = "2 NO2(g) <=> N2O4(g)", K = 6.8, basis = "p", dH_kJ = -57.2 }]
[question.numbers]
n = [0.020, 0.060, 0.005]
V = [0.20, 0.40, 0.05]
[question.start]
totals = { "NO2(g)" = "n" }
volume_L = 1.0
[question.stress]
kind = "change_volume"
L = "V"
[[question.part]]
ask = "number"
id = "before"
quantity = "concentration"
species = "N2O4(g)"
[[question.part]]
ask = "number"
id = "after"
quantity = "concentration"
species = "N2O4(g)"
when = "after"
unit = "mmol/L"
[[question.part]]
ask = "number"
quantity = "Q"
[[question.part]]
ask = "number"
quantity = "extent"
[[question.part]]
ask = "ice"
[[question.part]]
ask = "direction"
[[question.part]]
ask = "change"
species = "NO2(g)"
"""
COLOUR = """
[[question]]
id = "colour"
kind = "mixed"
points = 3
title = "t"
prompt = "{fe} mL, x = {concentration}"
reactions = [{ text = "Fe^3+ + SCN^- <=> FeSCN^2+", K = 139 }]
[question.numbers]
fe = [4.0, 6.0, 0.5]
[question.start]
portions = [
  { of_mM = { "Fe(NO3)3" = 2.00 }, mL = "fe" },
  { of_mM = { KSCN = 2.00 }, mL = 3.00 },
  { to_mL = 10.00 },
]
[question.measured]
reading = "concentration"
species = "FeSCN^2+"
epsilon = 4700
path_cm = 2.00
[[question.part]]
ask = "number"
quantity = "absorbance"
[[question.part]]
ask = "number"
id = "fe"
quantity = "concentration"
species = "Fe^3+"
when = "mixed"
[[question.part]]
ask = "number"
quantity = "K"
"""
CHANGE = """
[[question]]
id = "kp"
kind = "mixed"
points = 2
title = "t"
prompt = "{kc} at {t} degrees"
reactions = [{ text = "N2O4(g) <=> 2 NO2(g)", K = "kc" }]
[question.numbers]
kc = [0.0040, 0.0060, 0.0005]
t = [25, 75, 25]
[question.start]
totals = { "N2O4(g)" = 0.05 }
celsius = "t"
[[question.part]]
ask = "number"
quantity = "Kp"
"""
STUDENTS = [f"s{n:02d}" for n in range(30)]


@pytest.fixture(scope="module")
def questions():
    return read_questions(HEADER + GAS + COLOUR + CHANGE)


def dimer(n, V):
    """(NO2, N2O4) in mol/L from n mol of NO2 in V litres: 2 Kc a^2 + a - n/V = 0."""
    Kc = 6.8 * R * T
    a = (-1 + math.sqrt(1 + 8 * Kc * n / V)) / (4 * Kc)
    return a, (n / V - a) / 2


def ice(*cells):
    """The table with these (NO2, N2O4) in its rows."""
    rows = ("initial", "change", "equilibrium")
    return {row: {"NO2(g)": one, "N2O4(g)": two} for row, (one, two) in zip(rows, cells, strict=True)}


@pytest.mark.parametrize("student", STUDENTS)
def test_a_gas_that_is_squeezed(questions, student):
    question = questions["gas"]
    shown = {name: float(text) for name, text in question.variant(student).shown.items()}
    (a, b), (c, d) = dimer(shown["n"], 1.0), dimer(shown["n"], shown["V"])
    Q = (b / shown["V"] * R * T) / (a / shown["V"] * R * T) ** 2
    answer = {
        "before": b,
        "after": 1000 * d,
        "Q": Q,
        "extent": b,
        "ice": ice((shown["n"], 0), (-2 * b, b), (a, b)),
        "direction": "forward" if Q < 6.8 else "reverse",
        "change": "higher" if c > a else "lower",
    }
    given = mark(question, answer, student)
    assert given.points == 7.0, given.audit
    in_units = {**answer, "before": f"{1000 * b:.4g} mmol/L", "after": f"{d:.4g} mol/L"}
    assert mark(question, in_units, student).points == 7.0
    halved = {**answer, "ice": ice((shown["n"], 0), (-b, b), (shown["n"] - b, b))}
    table = next(p for p in mark(question, halved, student).parts if p.id == "ice")
    assert table.mistake == "change_coeff"
    assert table.points == pytest.approx(5 / 6), "E = I + C follows from the student's own C row"


@pytest.mark.parametrize("student", STUDENTS)
def test_an_absorbance_and_what_was_mixed(questions, student):
    question = questions["colour"]
    fe_mL = float(question.variant(student).shown["fe"])
    mantissa, power = question.prompt_for(student).split("x = ")[1].split(" × 10⁻")
    x = float(mantissa) / 10 ** "⁰¹²³⁴⁵⁶⁷⁸⁹".index(power)
    fe, scn = 2e-3 * fe_mL / 10, 6e-4
    answer = {"absorbance": 4700 * 2 * x, "fe": fe, "K": x / ((fe - x) * (scn - x))}
    assert mark(question, answer, student).points == 3.0
    one_cm = mark(question, {**answer, "absorbance": 4700 * x}, student)
    assert one_cm.parts[0].mistake == "path_ignored"
    bottle = mark(question, {**answer, "fe": 2e-3}, student)
    assert bottle.parts[1].mistake == "stock_conc"


@pytest.mark.parametrize("student", STUDENTS)
def test_kp_from_kc_with_gases_in_bar(questions, student):
    question = questions["kp"]
    shown = {name: float(text) for name, text in question.variant(student).shown.items()}
    right = shown["kc"] * R * (shown["t"] + 273.15)
    assert mark(question, f"{right:.3g}", student).points == 2.0
    assert mark(question, shown["kc"], student).points == 0.0
    assert mark(question, shown["kc"] / (R * (shown["t"] + 273.15)), student).points == 0.0


UNITS = {  # what a student types for 6.92e-5 mol/L: Fe3+ 1.00 mM, SCN- 0.600 mM, K 140 L/mol
    "mol/L": "6.92e-5",
    "mmol/L": "0.0692",
    "µM": "69.2",
    "mol/m^3": "0.0692",
    "nmol/L": "6.92e4",
}
MADE = """
[[question]]
id = "made"
kind = "number"
points = 1
title = "t"
prompt = "how much complex is there?"
reactions = [{ text = "Fe^3+ + SCN^- <=> FeSCN^2+", K = 140 }]
[question.start]
totals = { "Fe^3+" = 1.00e-3, "SCN^-" = 6.00e-4 }
[[question.part]]
ask = "number"
quantity = "concentration"
species = "FeSCN^2+"
unit = "UNIT"
"""


@pytest.mark.parametrize("unit", UNITS)
def test_a_concentration_can_be_asked_in_any_of_its_units(unit):
    """The quadratic formula gives 6.917e-5 mol/L; another unit changes the number and nothing else."""
    b = 1.00e-3 + 6.00e-4 + 1 / 140
    assert (b - math.sqrt(b * b - 4 * 6.00e-7)) / 2 == pytest.approx(6.917e-5, rel=1e-3)
    question = read_questions(HEADER + MADE.replace("UNIT", unit))["made"]
    assert mark(question, UNITS[unit], "s01").points == 1.0
    assert mark(question, "6.92e-5 mol/L", "s01").points == 1.0
    wrong = UNITS["mol/L" if unit != "mol/L" else "mmol/L"]
    assert mark(question, wrong, "s01").points == 0.0


def test_a_mean_keeps_the_unit_of_its_runs():
    text = """
[[question]]
id = "runs"
kind = "number"
points = 1
title = "t"
prompt = "{a}, {b} and {c} mmol/L"
[question.numbers]
a = 2.0
b = 4.0
c = 4.5
[question.measured]
reading = "runs"
runs = ["a", "b", "c"]
[[question.part]]
ask = "number"
quantity = "mean"
unit = "mmol/L"
"""
    question = read_questions(HEADER + text)["runs"]
    assert mark(question, "3.50", "s01").points == 1.0
    assert mark(question, "4.50", "s01").mistake == "single_truth"


@pytest.mark.parametrize("student", STUDENTS)
def test_moles_in_q_are_those_of_the_vessel_as_it_is_then(student):
    """2 NO2 <=> N2O4 in 0.5 L, squeezed: n2 / n1^2 = Kc / 0.5 whatever the new volume, for nothing has
    reacted.
    """
    small = GAS.replace('K = 6.8, basis = "p"', "K = 170").replace("volume_L = 1.0", "volume_L = 0.5")
    question = read_questions(HEADER + small.replace("[0.20, 0.40, 0.05]", "[0.10, 0.20, 0.05]"))["gas"]
    V = float(question.variant(student).shown["V"])
    assert mark(question, {"Q": f"{170 * V / 0.5:.4g}"}, student).parts[2].right
    assert mark(question, {"Q": f"{170 / 0.5:.4g}"}, student).mistake == "moles_as_conc"


# -- what a number is called, its unit, and what a file may say of it ---------------------------------------

IRON = 'reactions = [{ text = "Fe^3+ + SCN^- <=> FeSCN^2+", K = 140 }]\n'
ACID = 'reactions = [{ text = "HF <=> H^+ + F^-", K = 6.3e-4 }]\n'
AMMONIA = 'reactions = [{ text = "N2(g) + 3 H2(g) <=> 2 NH3(g)", K = 0.5 }]\n'
EVEN = 'reactions = [{ text = "H2(g) + I2(g) <=> 2 HI(g)", K = 50 }]\n'
SALT = 'reactions = [{ text = "PbCl2(s) <=> Pb^2+ + 2 Cl^-", K = 1.7e-5 }]\n'
BAR = 'reactions = [{ text = "2 NO2(g) <=> N2O4(g)", K = 6.8, basis = "p" }]\n'
STARTS = {
    IRON: '"Fe^3+" = 2e-3, "SCN^-" = 1e-3',
    ACID: "HF = 0.1",
    AMMONIA: '"N2(g)" = 0.1, "H2(g)" = 0.1',
    EVEN: '"H2(g)" = 0.1, "I2(g)" = 0.1',
    SALT: '"PbCl2(s)" = 0.1',
    BAR: '"NO2(g)" = 0.04',
}
TIN = '[question.stress]\nkind = "dilute"\nmL = 500\n'
READ = {
    "absorbance": '[question.measured]\nreading = "absorbance"\nspecies = "FeSCN^2+"\n'
    "epsilon = 4700\npath_cm = 2\n",
    "temperatures": '[question.measured]\nreading = "temperatures"\ncelsius1 = 25\n'
    "celsius2 = 60\nK1 = 100\nK2 = 80\n",
    "runs": '[question.measured]\nreading = "runs"\nruns = [138, 142, 140]\n',
}


def asked(keys, reaction=IRON, more="", stress=TIN):
    start = f"[question.start]\ntotals = {{ {STARTS[reaction]} }}\n" if reaction else ""
    head = '[[question]]\nid = "q"\nkind = "mixed"\npoints = 2\ntitle = "t"\nprompt = "p"\n'
    part = f'[[question.part]]\nask = "number"\n{keys}\n'
    return read_questions(f"{HEADER}{head}{reaction}{start}{more}{stress}{part}")["q"]


@pytest.mark.parametrize(
    ("keys", "more", "label", "unit", "when"),
    [
        ('quantity = "K"', "", "K", "", ""),
        ('quantity = "Q"', "", "The reaction quotient Q", "", "at_once"),
        ('quantity = "extent"', "", "x, the concentration that has reacted", "mol/L", ""),
        (
            'quantity = "concentration"\nspecies = "SCN^-"',
            "",
            "Concentration of SCN⁻ at equilibrium",
            "mol/L",
            "before",
        ),
        (
            'quantity = "concentration"\nspecies = "SCN^-"\nwhen = "mixed"',
            "",
            ("Concentration of SCN⁻ just after mixing, before any reaction"),
            "mol/L",
            "mixed",
        ),
        (
            'quantity = "concentration"\nspecies = "SCN^-"\nwhen = "at_once"',
            "",
            "Concentration of SCN⁻ at once, before any shift",
            "mol/L",
            "at_once",
        ),
        (
            'quantity = "concentration"\nspecies = "SCN^-"\nwhen = "after"',
            "",
            "Concentration of SCN⁻ at the new equilibrium",
            "mol/L",
            "after",
        ),
        ('quantity = "absorbance"', READ["absorbance"], "The absorbance", "", "before"),
        ('quantity = "dH"', READ["temperatures"], "The reaction enthalpy ΔH", "kJ/mol", ""),
        ('quantity = "mean"', READ["runs"], "The mean", "", ""),
        ('quantity = "s"', READ["runs"], "Their standard deviation, s", "", ""),
        ('quantity = "n"', READ["runs"], "The number of results, n", "", ""),
    ],
)
def test_a_number_goes_by_its_usual_name_unit_and_moment(keys, more, label, unit, when):
    (part,) = asked(keys, more=more).parts
    assert (part.label, part.unit, part.when) == (label, unit, when)


@pytest.mark.parametrize(
    ("quantity", "reading"),
    [
        ("epsilon", "absorbance"),
        ("dH", "temperatures"),
        ("mean", "runs"),
        ("s", "runs"),
        ("n", "runs"),
        ("pKa", "indicator"),
    ],
)
def test_a_number_without_its_reading_is_refused(quantity, reading):
    with pytest.raises(QuestionError, match=reading):
        asked(f'quantity = "{quantity}"')


@pytest.mark.parametrize(
    ("reaction", "good", "bad", "mend"),
    [
        (IRON, "L/mol", "mol/L", "write one like L/mol"),
        (IRON, "L/mmol", "L^2/mol^2", "write one like L/mol"),
        (ACID, "mol/L", "L/mol", "write one like mol/L"),
        (SALT, "mol^3/L^3", "mol/L", "write one like mol³/L³"),
        (AMMONIA, "L^2/mol^2", "L/mol", "write one like L²/mol²"),
        (EVEN, None, "L/mol", "leave it out"),
        (BAR, "bar^-1", "s", "leave it out"),
    ],
)
def test_K_is_asked_in_the_unit_that_it_has(reaction, good, bad, mend):
    """Kc has mol/L to the power of its coefficients, added up (common practice)."""
    if good is not None:
        assert asked(f'quantity = "K"\nunit = "{good}"', reaction, stress="").parts[0].unit == good
    with pytest.raises(QuestionError, match=re.escape(mend)):
        asked(f'quantity = "K"\nunit = "{bad}"', reaction, stress="")


@pytest.mark.parametrize(
    ("keys", "more", "mend"),
    [
        ('quantity = "extent"\nunit = "mol"', "", "write one like mol/L"),
        ('quantity = "concentration"\nspecies = "SCN^-"\nunit = "g"', "", "write one like mol/L"),
        ('quantity = "dH"\nunit = "J"', READ["temperatures"], "write one like kJ/mol"),
        ('quantity = "absorbance"\nunit = "cm"', READ["absorbance"], "leave it out"),
        ('quantity = "n"\nunit = "mol"', READ["runs"], "leave it out"),
        ('quantity = "K"\nunit = "furlong"', "", "not one that is known"),
        ('quantity = "K"\nspecies = "SCN^-"', "", "species does nothing here"),
        ('quantity = "K"\nwhen = "after"', "", "when does nothing here"),
        ('quantity = "concentration"', "", "species is missing"),
        ('quantity = "K"\ntolerance = 0', "", "write a fraction up to 0.5"),
        ('quantity = "K"\ntolerance = 0.51', "", "write a fraction up to 0.5"),
        ('quantity = "K"\nfigures = [0, 2]', "", "write .fewest, most."),
        ('quantity = "K"\nfigures = [3, 2]', "", "write .fewest, most."),
        ('quantity = "K"\nfigures = [1, 2, 3]', "", "write .fewest, most."),
        ('quantity = "K"\nfigures = [1.0, 2.0]', "", "write .fewest, most."),
        ('quantity = "K"\ncode = 1', "", "code"),
    ],
)
def test_what_a_file_may_not_say_of_a_number(keys, more, mend):
    with pytest.raises(QuestionError, match=mend if "." in mend and "0.5" not in mend else re.escape(mend)):
        asked(keys, more=more)


def test_what_it_may_say():
    part = asked('quantity = "K"\ntolerance = 0.5\nfigures = [1, 1]\ncode = true').parts[0]
    assert (part.tolerance, part.figures, part.code) == (0.5, (1, 1), True)
    assert asked('quantity = "s"', more=READ["runs"]).parts[0].figures == (1, 4)
    assert asked('quantity = "n"', more=READ["runs"]).parts[0].figures == (1, 3)
    assert asked('quantity = "n"\nfigures = [2, 2]', more=READ["runs"]).parts[0].figures == (2, 2)


@pytest.mark.parametrize(
    ("terms", "shown"),
    [
        ([("2", 1.0)], "2"),
        ([("2", 1.0), ("3", -1.0)], "2 / 3"),
        ([("2", 1.0), ("3", -1.0), ("4", -1.0)], "2 / (3 × 4)"),
        ([("2", 1.0), ("5", 1.0), ("3", -1.0)], "2 × 5 / 3"),
        ([("2", 1.0), ("3", -2.0)], "2 / (3)²"),
        ([("2", 3.0), ("3", -1.0)], "(2)³ / 3"),
        ([("(1 − x)", 2.0), ("3", -1.0)], "(1 − x)² / 3"),
        ([("2", 1.0), ("3 × 10⁻⁴", -1.0)], "2 / (3 × 10⁻⁴)"),
        ([("2", 1.0), ("3 × 10⁻⁴", -2.0)], "2 / (3 × 10⁻⁴)²"),
        ([("3", -1.0), ("4", -2.0)], "1 / (3 × (4)²)"),
    ],
)
def test_a_quotient_in_print(terms, shown):
    assert over(terms) == shown


@pytest.mark.parametrize(
    ("typed", "points", "mistake"),
    [
        ("140", 2, None),  # two or three figures, the doubt is the student's
        ("1e2", 0, "initial_as_eq"),  # 2.01e-4 / (2e-3 × 1e-3) is about 100
        ("140.0", 2, None),
        ("140.00", 1.8, "excess_digits"),  # five, where two to four are wanted
        ("142", 2, None),  # within 2 %
        ("143", 0, None),
    ],
)
def test_figures_cost_a_tenth(typed, points, mistake):
    found = mark(asked('quantity = "K"\nfigures = [2, 4]\ntolerance = 0.02', stress=""), typed)
    assert (found.points, found.mistake) == (pytest.approx(points), mistake)


def test_too_few_figures_are_told_and_cost_a_tenth_once():
    made = asked('quantity = "K"\nfigures = [4, 5]\ntolerance = 0.02', stress="")
    found = mark(made, "141")
    assert (found.points, found.mistake) == (pytest.approx(1.8), None)
    assert found.parts[0].figures_lost
    assert mark(made, "141", policy={"figures_deduction": 0}).points == 2
    in_code = asked('quantity = "K"\nfigures = [4, 5]\ntolerance = 0.02\ncode = true', stress="")
    assert mark(in_code, "141").points == 2


def test_numbers_in_words():
    made = asked('quantity = "n"', more=READ["runs"])
    part, case = made.parts[0], made.case()
    assert ASKS["number"].words(part, case, 3.0) == "3"
    assert ASKS["number"].words(part, case, "three") == "three"
    conc = asked('quantity = "concentration"\nspecies = "SCN^-"\nunit = "mmol/L"').parts[0]
    assert ASKS["number"].words(conc, case, 0.5) == "0.500 mmol/L"


@pytest.mark.parametrize(
    ("keys", "reaction", "more", "says"),
    [
        (
            'quantity = "dH"',
            IRON,
            READ["temperatures"],
            "−8.3145 × ln(80.0 / 100) / (1/333.15 − 1/298.15) J/mol",
        ),
        ('quantity = "absorbance"', IRON, READ["absorbance"], "ε l [FeSCN²⁺] = 4700 × 2 × "),
        ('quantity = "Kp"', AMMONIA, "", "Kc (R T)⁻² = 0.5000 × (0.08314 × 298.15)⁻²"),
        ('quantity = "Kp"', EVEN, "", "Kc = 50.0"),
    ],
)
def test_the_last_step_of_the_working(keys, reaction, more, says):
    made = asked(keys, reaction, more, stress="")
    assert says in ASKS["number"].worked(made.parts[0], made.case())
