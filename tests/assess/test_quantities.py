"""Every number that can be asked, against closed forms written down here, for students' own numbers."""

import math

import pytest

from eqlib.assess.load import read_questions
from eqlib.assess.mark import mark

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
        "ice": [[shown["n"], 0], [-2 * b, b], [a, b]],
        "direction": "forward" if Q < 6.8 else "reverse",
        "change": "higher" if c > a else "lower",
    }
    given = mark(question, answer, student)
    assert given.points == 7.0, given.audit
    in_units = {**answer, "before": f"{1000 * b:.4g} mmol/L", "after": f"{d:.4g} mol/L"}
    assert mark(question, in_units, student).points == 7.0
    halved = {**answer, "ice": [[shown["n"], 0], [-b, b], [shown["n"] - b, b]]}
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
