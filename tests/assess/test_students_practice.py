"""A practice sheet of every kind of number: a class works it out from the printed numbers alone.

Constants stand in this file with their sources; nothing is asked of eqlib but the prompt and the mark.
"""

import math
import re
from pathlib import Path

import pytest

from eqlib.assess import feedback
from eqlib.assess.load import load_questions
from eqlib.assess.mark import mark

FOLDER = Path(__file__).parent / "writing-the-constant"
CLASS = [f"s{n:04d}" for n in range(1000)]
R_BAR, R_J = 0.0831446, 8.31446  # L bar/(mol K) and J/(mol K), CODATA 2018
DH_NO2 = -57.2  # kJ/mol, NIST and CRC enthalpies of formation, from memory


@pytest.fixture(scope="module")
def questions():
    return load_questions(FOLDER)


def find(prompt, *patterns):
    found = []
    for pattern in patterns:
        hit = re.search(pattern, prompt)
        assert hit, f"{pattern!r} is not in the prompt: {prompt}"
        found.append(float(hit.group(1)))
    return found


def decimal(prompt, pattern):
    """A number as printed, perhaps with a power of ten."""
    hit = re.search(pattern + r"([\d.]+)(?: × 10⁻([⁰¹²³⁴⁵⁶⁷⁸⁹]))?", prompt)
    power = "⁰¹²³⁴⁵⁶⁷⁸⁹".index(hit.group(2)) if hit.group(2) else 0
    return float(hit.group(1)) * 10.0**-power


def gas(prompt):
    total, left = find(prompt, r"([\d.]+) mol of it per litre", r"finds \[NO₂\] = ([\d.]+)")
    made = (total - left) / 2
    kc = made / left**2
    table = {
        "initial": {"NO2(g)": total, "N2O4(g)": 0.0},
        "change": {"NO2(g)": left - total, "N2O4(g)": made},
        "equilibrium": {"NO2(g)": left, "N2O4(g)": made},
    }
    return {"ice": table, "Kc": f"{kc:.3g} L/mol", "Kp": f"{kc / (R_BAR * 298.15):.3g}"}


def squeeze(prompt):
    total, left, K, small = find(
        prompt,
        r"([\d.]+) mol NO₂ per litre",
        r"\[NO₂\] = ([\d.]+)",
        r"Kc is ([\d.]+)",
        r"\*\*([\d.]+) mL",
    )
    factor = 20.0 / small
    Q = factor * (total - left) / 2 / (factor * left) ** 2
    return {"Q": f"{Q:.3g}", "direction": "forward" if Q < K else "reverse"}


def light(prompt):
    epsilon, path = find(prompt, r"447 nm is ([\d.]+) L", r"cell is ([\d.]+) cm")
    return {"absorbance": f"{epsilon * path * decimal(prompt, r'FeSCN²⁺] = '):.3g}"}


def standard(prompt):
    scn, path, A, blank = find(
        prompt, r"([\d.]+) mL of 0\.400 mM", r"In a ([\d.]+) cm", r"A = ([\d.]+);", r"reads ([\d.]+)\.\n"
    )
    return {"epsilon": f"{(A - blank) / (path * 0.400e-3 * scn / 10):.3g} L/(mol cm)"}


def repeats(prompt):
    runs = [float(n) for n in re.findall(r"\*\*(\d+)\*\*", prompt)]
    mean = sum(runs) / len(runs)
    s = math.sqrt(sum((run - mean) ** 2 for run in runs) / (len(runs) - 1))
    return {"mean": f"{mean:.4g}", "s": f"{s:.2g}", "n": "4"}


def enthalpy(prompt):
    K1, cold, K2, hot = find(
        prompt, r"Kp is ([\d.]+) at", r"at ([\d.]+) °C and", r"and ([\d.]+) at", r"at (\d+) °C\.\n"
    )
    slope = 1 / (hot + 273.15) - 1 / (cold + 273.15)
    dH = -R_J * math.log(K2 / K1) / slope / 1000
    assert abs(dH / DH_NO2 - 1) < 0.01
    return {"dH": f"{dH:.1f} kJ/mol"}


def fixed(**answer):
    return lambda prompt: answer


STUDENT = {
    "balance": fixed(equation="Cu(s) + 2 NO3^- + 4 H^+ -> Cu^2+ + 2 NO2(g) + 2 H2O(l)"),
    "expression": fixed(expression="[Ag(NH3)2^+]*[Cl^-]/[NH3]^2"),
    "gas": gas,
    "squeeze": squeeze,
    "light": light,
    "standard": standard,
    "repeats": repeats,
    "enthalpy": enthalpy,
    # Heat is given off, so cold makes most.
    "baths": fixed(
        order=["in ice water", "on the bench", "in the hot bath"], direction="reverse", K="smaller"
    ),
    # More SCN- at once: its own side is faster; the complex has not changed yet; later both are faster.
    "rates": fixed(**{"forward-graph": "falls", "forward-rate": "up", "reverse-rate": "same", "later": "up"}),
    "particles": fixed(cause="Ag^+", bound="SCN^-"),
    "speed": fixed(speed=["A", "C", "B"]),
}


def test_every_question_has_its_student(questions):
    assert set(STUDENT) == set(questions)


@pytest.mark.parametrize("name", STUDENT)
def test_a_thousand_correct_students_get_full_marks(questions, name):
    question = questions[name]
    seen = set()
    for student in CLASS:
        prompt = question.prompt_for(student)
        if prompt in seen:
            continue  # the same numbers give the same mark; see test_marking
        seen.add(prompt)
        given = mark(question, STUDENT[name](prompt), student)
        assert given.points == question.points, given.audit


WRONG = {
    "expression": {
        "[Ag(NH3)2^+]*[Cl^-]/([AgCl(s)]*[NH3]^2)": "solid_in_k",
        "[Ag(NH3)2^+]*[Cl^-]/[NH3]": "powers_missing",
        "[NH3]^2/([Ag(NH3)2^+]*[Cl^-])": "k_inverted",
    },
    "speed": {("C", "B", "A"): "rate_is_extent"},
}


@pytest.mark.parametrize("name", WRONG)
def test_what_is_written_wrongly_is_named(questions, name):
    for wrong, idea in WRONG[name].items():
        given = mark(questions[name], list(wrong) if isinstance(wrong, tuple) else wrong, "s01")
        assert (given.mistake, given.points < given.max_points) == (idea, True)


def test_a_change_row_without_coefficients_goes_on_from_itself(questions):
    """N2O4 gains all that NO2 loses; the student's own Kc and Kp follow from that and are right."""
    question = questions["gas"]
    for student in CLASS[:100]:
        prompt = question.prompt_for(student)
        total, left = find(prompt, r"([\d.]+) mol of it per litre", r"finds \[NO₂\] = ([\d.]+)")
        table = gas(prompt)["ice"]
        table["change"]["N2O4(g)"] = table["equilibrium"]["N2O4(g)"] = total - left
        kc = (total - left) / left**2
        answer = {"ice": table, "Kc": kc, "Kp": kc / (R_BAR * 298.15)}
        given = mark(question, answer, student)
        assert given.parts[0].mistake == "change_coeff"
        assert [p.note for p in given.parts] == ["partly", "carried", "carried"]


def test_an_equation_that_does_not_balance_says_where_to_count(questions):
    balance = questions["balance"]
    for typed, says in (
        ("Cu + NO3^- + H^+ -> Cu^2+ + NO2 + H2O", "atoms of H, 1 on the left and 2 on the right"),
        ("Cu + NO3^- + 2 H^+ -> Cu^2+ + NO2 + H2O", "charge in all, +1 on the left and +2 on the right"),
        ("Cu + 3 NO3^- + 4 H^+ -> Cu^2+ + 2 NO2 + 2 H2O", "atoms of N, 3 on the left and 2 on the right"),
    ):
        given = mark(balance, typed, "s01")
        assert given.points == 0.0
        assert says in given.feedback


def test_what_cannot_be_read_is_said_at_the_first_try(questions):
    given = mark(questions["balance"], "copper", "s01")
    assert "no arrow" in feedback.ladder(questions["balance"], given, 1)


def test_no_message_before_the_working_holds_an_answer(questions):
    """A worried student with everything wrong reads all the help there is."""
    for name in ("gas", "squeeze", "light", "standard", "enthalpy"):
        question = questions[name]
        right = STUDENT[name](question.prompt_for("s01"))
        numbers = [value.split(" ")[0] for value in right.values() if isinstance(value, str)]
        wrong = {part.id: "1.23e9" for part in question.parts if part.kind == "number"}
        given = mark(question, wrong, "s01")
        for tries in (1, 2, 3, 9):
            said = feedback.ladder(question, given, tries)
            assert not [n for n in numbers if re.search(rf"(?<![\d.]){re.escape(n)}(?![\d.])", said)]
