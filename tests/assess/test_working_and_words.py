"""The worked solution holds the student's own numbers; what is said is kind; help comes bit by bit."""

import math
import re
from pathlib import Path

import pytest

from eqlib.assess import feedback
from eqlib.assess.asks import ASKS
from eqlib.assess.asks.base import Part
from eqlib.assess.asks.reasons import SAID, SOUND
from eqlib.assess.load import load_questions
from eqlib.assess.mark import mark
from eqlib.assess.mistakes import MISTAKES
from eqlib.assess.working import worked

FOLDER = Path(__file__).parent / "wells"
STUDENTS = [f"s{n:02d}" for n in range(1, 41)]


def working_of(question, student):
    return worked(question, question.case(student))


@pytest.fixture(scope="module")
def questions():
    return load_questions(FOLDER)


def in_words(value):
    """Three figures as the working writes them, by an independent route."""
    if 1e-3 <= abs(value) < 1e4:
        return f"{value:#.3g}".rstrip(".") if abs(value) < 1000 else f"{float(f'{value:.3g}'):.0f}"
    power = math.floor(math.log10(abs(value)))
    return f"{value / 10**power:.2f} × 10{str(power).translate(str.maketrans('-0123456789', '⁻⁰¹²³⁴⁵⁶⁷⁸⁹'))}"


@pytest.mark.parametrize("student", STUDENTS)
def test_the_working_of_kc_is_the_students_own(questions, student):
    shown = {name: float(text) for name, text in questions["kc"].variant(student).shown.items()}
    prompt = questions["kc"].prompt_for(student)
    A = float(re.search(r"A = ([\d.]+)\.", prompt).group(1))
    fe, scn = 2.5e-3 * shown["fe_mL"] / 10, 2e-3 * shown["scn_mL"] / 10
    x = (A - shown["blank"]) / (4700 * shown["path_cm"])
    working = working_of(questions["kc"], student)
    numbers = [plain_number(text) for text in re.findall(r"[\d.]*\d(?: × 10[⁻⁰¹²³⁴⁵⁶⁷⁸⁹]+)?", working)]
    for value in (scn, x, fe - x, scn - x):
        assert any(number == pytest.approx(value, rel=5e-3) for number in numbers), (value, working)
    assert in_words(x / ((fe - x) * (scn - x))) in working
    assert "| Initial |" in working
    assert "| Equilibrium |" in working


PRACTICE = Path(__file__).parent / "writing-the-constant"
LAST_STEPS = {
    ("light", "A"): r"absorbance = ε l \[FeSCN²⁺\] = 4700 × 0\.5 × (.+?) = \*\*([\d.]+)\*\*",
    ("gas", "Kc"): r"Kc = ([\d.]+) / \(([\d.]+)\)² = \*\*([\d.]+) L/mol\*\*",
    ("gas", "Kp"): r"Kp = Kc \(R T\)⁻¹ = ([\d.]+) × \(0\.08314 × 298\.15\)⁻¹ = \*\*([\d.]+)\*\*",
    ("enthalpy", "dH"): r"ln\(([\d.]+) / ([\d.]+)\) / \(1/([\d.]+) − 1/([\d.]+)\) J/mol = \*\*−([\d.]+) kJ",
}


def plain_number(text):
    """A printed number such as 1.05 × 10⁻⁴ as a float."""
    mantissa, _, power = text.partition(" × 10")
    digits = str.maketrans("⁻⁰¹²³⁴⁵⁶⁷⁸⁹", "-0123456789")
    return float(mantissa) * 10.0 ** int(power.translate(digits) or 0)


@pytest.mark.parametrize("student", STUDENTS[:15])
@pytest.mark.parametrize("step", LAST_STEPS)
def test_the_last_step_of_the_working_gives_the_number_beside_it(step, student):
    """Whoever types the printed formula into a calculator gets the printed result, to three figures."""
    working = working_of(load_questions(PRACTICE)[step[0]], student)
    hit = re.search(LAST_STEPS[step], working)
    assert hit, working
    n = [plain_number(text) for text in hit.groups()]
    found = {
        "A": lambda: 4700 * 0.5 * n[0],
        "Kc": lambda: n[0] / n[1] ** 2,
        "Kp": lambda: n[0] / (0.08314 * 298.15),
        "dH": lambda: 8.3145e-3 * math.log(n[0] / n[1]) / (1 / n[2] - 1 / n[3]),
    }[step[1]]()
    assert abs(found) == pytest.approx(n[-1], rel=6e-3)


COURSE = Path(__file__).parents[2] / "notebooks" / "source"
WITH_NUMBERS = ["03-how-far", "04-disturbing-an-equilibrium", "05-strangers", "07-measuring-kc"]


def workings_of(folder, students=STUDENTS[:4]):
    for question in load_questions(COURSE / folder).values():
        for student in students if question.case("s01").reactions else ():
            yield question, student, working_of(question, student)


def last_place(text):
    """The size of one unit of the last figure printed."""
    mantissa, _, _ = text.partition(" × 10")
    power = math.log10(plain_number(text) / plain_number(mantissa))
    return 10.0 ** (round(power) - len(mantissa.partition(".")[2]))


@pytest.mark.parametrize("folder", WITH_NUMBERS)
def test_whoever_adds_up_the_printed_table_gets_its_last_row(folder):
    added = 0
    for question, student, working in workings_of(folder):
        rows = {
            line.split("|")[1].strip(): [cell.strip() for cell in line.split("|")[2:-1]]
            for line in working.splitlines()
            if line.startswith(("| Initial", "| Change", "| Equilibrium"))
        }
        for start, change, end in zip(*rows.values(), strict=True) if rows else ():
            total = plain_number(start) + plain_number(change.replace("−", "-").replace("+", ""))
            if plain_number(end) < 1e-3 * plain_number(start):
                continue  # practically nothing is left: no sum shows how much
            assert total == pytest.approx(plain_number(end), abs=0.5 * last_place(end)), (
                question.id,
                student,
            )
            added += 1
    assert added or folder == "07-measuring-kc"


@pytest.mark.parametrize("folder", WITH_NUMBERS)
def test_whoever_types_the_printed_sum_gets_the_printed_result(folder):
    """a × b/c = d in the mixing, and the quotient beside K, Q or what is left; to three figures."""
    found = 0
    for question, student, working in workings_of(folder):
        for line in working.splitlines():
            for left, right in re.findall(
                r"= ([^=A-Za-z*|]+[×/][^=A-Za-z*|]+) = \**([\d.]*\d(?: × 10[⁻⁰¹²³⁴⁵⁶⁷⁸⁹]+)?)", line
            ):
                sum_ = re.sub(r"[\d.]+ × 10[⁻⁰¹²³⁴⁵⁶⁷⁸⁹]+", lambda m: repr(plain_number(m[0])), left)
                sum_ = re.sub(r"[⁻⁰¹²³⁴⁵⁶⁷⁸⁹]+", lambda m: f"**({int(m[0].translate(DOWN))})", sum_)
                value = eval(sum_.replace("×", "*").replace("−", "-"))
                assert f"{value:.2e}" == f"{plain_number(right):.2e}", (question.id, student, line)
                found += 1
    assert found > 4


DOWN = str.maketrans("⁻⁰¹²³⁴⁵⁶⁷⁸⁹", "-0123456789")


@pytest.mark.parametrize("student", STUDENTS[:6])
def test_a_net_equation_is_worked_out_from_its_two_constants(student):
    """K1/K2, then x/(c - x) = K, so that x = K c/(1 + K)."""
    question = load_questions(COURSE / "05-strangers")["net"]
    n = question.variant(student).numbers
    K, c = float(n["k1"]) / float(n["k2"]), float(n["cl"])
    working = working_of(question, student)
    assert f"/ ({in_words(float(n['k2']))}) = {in_words(K)}." in working
    assert re.search(rf"K = x / \({c:.2f}0? − x\) = {re.escape(in_words(K))}", working), working
    assert f"**{in_words(K * c / (1 + K))} mol/L**" in working


@pytest.mark.parametrize("student", STUDENTS[:6])
def test_what_is_left_of_a_used_up_ion_follows_from_its_constant(student):
    """Ag+ less SCN-, then Ksp over it (Ksp 1.0e-12); and the colour that is gone anyway stays the same."""
    question = load_questions(COURSE / "05-strangers")["enough"]
    n = {key: float(value) for key, value in question.variant(student).numbers.items()}
    volume = n["fe_mL"] + n["scn_mL"] + n["ag_mL"]
    left = (20e-3 * n["ag_mL"] - 2e-3 * n["scn_mL"]) / volume
    working = working_of(question, student)
    assert "[SCN⁻] = 1.00 × 10⁻¹² / " in working
    assert f"= {in_words(1e-12 / left)} mol/L" in working
    assert "the same** (the absorbance of 1 cm stays 0.000)" in working


@pytest.mark.parametrize("student", STUDENTS[:6])
def test_a_quadratic_is_written_out_with_both_its_roots(student):
    """Fe + SCN from K = 139, by the formula for quadratic equations."""
    question = load_questions(COURSE / "03-how-far")["complete"]
    start = {name: float(text) for name, text in question.variant(student).numbers.items()}
    case = question.case(student)
    a, b, K = case.mixed["Fe^3+"], case.mixed["SCN^-"], 139.0
    half, root = (a + b + 1 / K) / 2, math.sqrt((a + b + 1 / K) ** 2 / 4 - a * b)
    working = working_of(question, student)
    assert f"two roots, {in_words(half - root)} and {in_words(half + root)}" in working, start


def test_the_working_of_q_holds_the_k_that_the_direction_needs():
    question = load_questions(COURSE / "04-disturbing-an-equilibrium")["q"]
    for student in STUDENTS[:6]:
        case = question.case(student)
        x = float(f"{case.measured['concentration']:.3g}")
        K = x / ((case.mixed["Fe^3+"] - x) * (case.mixed["SCN^-"] - x))
        assert re.search(
            rf"\*\*K\*\*, from the last row: .* = {in_words(K)}\.", working_of(question, student)
        )


def test_nothing_is_mixed_where_one_liquid_fills_the_flask():
    assert "Mixing" not in working_of(load_questions(COURSE / "03-how-far")["dissolve"], "s01")


def test_the_mean_of_the_printed_constants_is_the_printed_mean():
    question = load_questions(COURSE / "07-measuring-kc")["own"]
    for student in STUDENTS[:6]:
        working = working_of(question, student)
        values = [plain_number(line.split("|")[5].strip()) for line in re.findall(r"\| T\d .*", working)]
        mean = float(re.search(r"Mean of Kc: \*\*([\d.]+)", working)[1])
        assert f"{sum(values) / len(values):.3g}" == f"{mean:.3g}"


def test_water_that_counts_is_written_as_everything_else():
    assert "[H₂O]" in (working := working_of(load_questions(COURSE / "07-measuring-kc")["ester"], "s01"))
    assert "H2O" not in working


def test_no_number_is_printed_for_machines():
    for folder in (FOLDER, PRACTICE, COURSE / "07-measuring-kc"):
        for question in load_questions(folder).values():
            for student in STUDENTS[:10]:
                working = working_of(question, student)
                assert not re.search(r"\de[-+]?\d|\d\.0*[1-9]\d{6,}| -\d|\*-\d", working), working


def test_points_are_said_with_two_decimals_at_most():
    found = mark(load_questions(PRACTICE)["repeats"], {"mean": "1", "s": "1", "n": "4"}, "s01")
    assert found.points == pytest.approx(2 / 3, abs=1e-6)
    assert found.feedback.endswith("\n0.67 of 2 points.")


def test_a_wrong_choice_that_fits_no_idea_is_answered_with_a_question_about_what_was_asked():
    """Chloride takes Ag+ away as AgCl: who says that [Ag+] rises is asked who uses it up."""
    question = load_questions(COURSE / "05-strangers")["rival"]
    given = mark(
        question, {"direction": "forward", "seen": "darker", "scn": "higher", "silver": "higher"}, "s01"
    )
    silver = next(part for part in given.parts if part.id == "silver")
    assert not silver.right
    assert "what uses it up" in silver.feedback


def test_the_general_advice_suits_the_number():
    found = mark(load_questions(PRACTICE)["enthalpy"], "3.21", "s01").feedback
    assert "poured" not in found
    assert "in which units" in found


def test_an_equation_the_wrong_way_round_is_told_so():
    question = load_questions(PRACTICE)["balance"]
    turned = "Cu^2+ + 2 NO2(g) + 2 H2O(l) -> Cu(s) + 2 NO3^- + 4 H^+"
    found = mark(question, turned, "s01")
    assert found.points == 0.0
    assert "the other way" in found.feedback


def test_help_in_practice_says_which_part_it_is_about():
    question = load_questions(PRACTICE)["baths"]
    given = mark(question, {"direction": "forward", "K": "same"}, "s01")
    said = feedback.ladder(question, given, 3)
    for part in question.parts:
        assert f"**{part.label}**" in said


def test_the_audit_says_the_tolerance_that_was_used():
    """The mean of the repeats is marked with 0.5 %, by its own line in the question file."""
    audit = mark(load_questions(PRACTICE)["repeats"], {"mean": "1"}, "s01").audit
    assert "mean 1: wrong, 0 of 0.6667 (its own tolerance 0.005)" in audit


@pytest.mark.parametrize(("name", "names"), [("silver", ["AgSCN(s)", "SCN⁻"]), ("oxalate", ["C₂O₄", "Fe³⁺"])])
def test_the_working_names_the_competing_equilibrium(questions, name, names):
    working = working_of(questions[name], "s01")
    line = next(line for line in working.splitlines() if line.startswith("A competing equilibrium takes"))
    assert all(piece in line for piece in names)
    assert "competing equilibrium takes" not in working_of(questions["water"], "s01")


def test_working_compares_q_with_k(questions):
    for name in ("iron", "thiocyanate", "warm", "water", "solid", "silver", "oxalate", "q"):
        working = working_of(questions[name], "s01")
        assert "Q" in working
        assert "K" in working
        assert "| Before |" in working


SCOLDING = re.compile(
    r"\b(wrong|incorrect|fail|failed|bad|invalid|illegal|must|should have|obviously|simply|easy|error|"
    r"mistake|stupid|careless|you forgot|you did not|!)",
    re.IGNORECASE,
)


def everything_said():
    yield from (value for name, value in vars(feedback).items() if name.isupper() and isinstance(value, str))
    yield from (feedback.consistent_with(name) for name in MISTAKES)
    yield from (ask.not_yet(Part("p", ask.kind, name, "")) for name, ask in ASKS.items())


def test_nothing_that_is_said_scolds():
    for text in everything_said():
        assert not SCOLDING.search(text), text
        assert text[0].isupper()
        assert text.rstrip()[-1] in ".?", text


def test_every_misconception_that_can_be_offered_has_a_hint():
    for name in SAID:
        assert name in MISTAKES
        title, hint = feedback.about(name)
        assert hint[-1] in ".?"
        assert not title.endswith(".")
    for name in (*SOUND, *SAID):
        assert ASKS["reason"].said_as(name).endswith(".")
    assert ASKS["reason"].said_as("binds:SCN^-").startswith("What was added ties up SCN⁻")


def test_the_same_hint_is_not_given_twice_over(questions):
    said = mark(questions["warm"], {"direction": "forward", "seen": "darker", "K": "larger"}, "s01").feedback
    assert said.count("heating always helps") == 1
    assert said.count("The question above may help here too.") == 2


def test_help_comes_a_little_at_a_time(questions):
    wrong = {"direction": "reverse", "seen": "paler", "scn": "same", "K": "larger", "reason": "two_boxes"}
    given = mark(questions["iron"], wrong, "s01")
    steps = [feedback.ladder(questions["iron"], given, tries) for tries in (1, 2, 3, 4)]
    assert steps[0] == "0 of 5 parts are right so far."
    assert "consistent with" in steps[1]
    assert "Hint: Which of the three" in steps[1]
    assert "Hint: Put the new" not in steps[1]
    assert "Hint: Put the new" in steps[2]
    lengths = [len(step) for step in steps]
    assert lengths == sorted(lengths)
    for step in steps:
        assert "towards the products" not in step
    right = questions["iron"].case("s01").expected
    assert (
        feedback.ladder(questions["iron"], mark(questions["iron"], dict(right), "s01"), 1)
        == "All right. Well done."
    )


def test_how_sure_somebody_was_is_no_part_of_what_is_said_of_the_answer(questions):
    """The form says that it is never marked; the page after marking need not say it again."""
    said = mark(questions["iron"], {"direction": "none", "confidence": "certain"}, "s01").feedback
    assert "sure" not in said
    assert "never marked" not in said


def test_what_is_said_of_a_part_begins_with_what_was_answered(questions):
    said = mark(questions["kc"], "0.5 L/mol", "s01").feedback
    assert said.startswith("Your answer: 0.5 L/mol, 1 significant figure. Not right yet")
    said = mark(questions["warm"], {"direction": "forward", "K": "what?"}, "s01").feedback
    assert "**Which way does the equilibrium shift?** Your answer: “to products →”. Not right yet" in said
    assert said.count("Your answer") == 1


def test_feedback_on_the_assignment_never_holds_the_right_choice(questions):
    """The label of the right option appears in no feedback to a wrong answer."""
    for question in questions.values():
        for part in question.parts:
            if part.kind != "choice" or not part.scored:
                continue
            right = question.case("s01").expected[part.id]
            label = dict(part.options)[right]
            for value, _ in part.options:
                if value == right or len(label) < 12:
                    continue
                assert label not in mark(question, {part.id: value}, "s01").feedback
