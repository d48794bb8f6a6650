"""Ideas that show in rates, graphs, speeds, picked particles, standards and repeats.

The students here work the answers out themselves, from the printed numbers, with K and bottle strengths
written down in this file.
"""

import math
import random
import re

import pytest

from eqlib.assess.check.course import check_course
from eqlib.assess.load import read_questions
from eqlib.assess.mark import mark
from eqlib.assess.tables import QuestionError

CLASS = [f"s{n:04d}" for n in range(1000)]
K_FESCN = 139.0  # Frank and Oswalt, J. Am. Chem. Soc. 69 (1947) 1321, from memory; I 0.5, 25 °C
EPSILON = 4700.0  # L/(mol cm) at 447 nm, the same source, from memory

FILE = '''
[assignment]
id = "05-test"
title = "T"
course = "c1"

[[question]]
id = "rates"
kind = "mixed"
points = 6
title = "Rates"
system = "iron-thiocyanate"
use = [0]
prompt = "{fe_mL} mL of 5.00 mM iron, {scn_mL} mL of 2.00 mM thiocyanate, {grains} mmol of solid KSCN."
[question.numbers]
fe_mL = [0.90, 1.10, 0.05]
scn_mL = [0.90, 1.10, 0.05]
grains = [0.010, 0.020, 0.002]
[question.start]
portions = [{ of_mM = { "Fe(NO3)3" = 5.0 }, mL = "fe_mL" }, { of_mM = { KSCN = 2.0 }, mL = "scn_mL" }]
[question.stress]
kind = "add_solid"
formula = "KSCN(s)"
mmol = "grains"
[[question.part]]
ask = "rate"
[[question.part]]
ask = "rate"
side = "reverse"
[[question.part]]
ask = "rate"
id = "later"
when = "after"
[[question.part]]
ask = "graph"
[[question.part]]
ask = "graph"
side = "reverse"
[[question.part]]
ask = "cause"
options = ["SCN^-", "K^+"]

[[question]]
id = "silver"
kind = "mixed"
points = 2
title = "Silver"
system = "iron-thiocyanate-silver"
prompt = "{drop_mL} mL of silver nitrate"
[question.numbers]
drop_mL = [0.10, 0.20, 0.02]
[question.start]
portions = [
  { of_mM = { "Fe(NO3)3" = 5.0, HNO3 = 100 }, mL = 1.0 },
  { of_mM = { KSCN = 2.0 }, mL = 1.0 },
]
[question.stress]
kind = "add_solution"
of_mM = { AgNO3 = 100 }
mL = "drop_mL"
[[question.part]]
ask = "bound"
options = ["Fe^3+", "SCN^-", "NO3^-", "K^+"]
[[question.part]]
ask = "cause"
options = ["Ag^+", "NO3^-"]

[[question]]
id = "speed"
kind = "mixed"
points = 2
title = "Speed"
prompt = "A: K {ka}, {ta} s; B: K {kb}, {tb} s; C: K {kc}, {tc} s"
[question.numbers]
ka = [2, 9, 1]
kb = [20, 90, 10]
kc = [2000, 9000, 1000]
ta = [1, 3, 1]
tb = [400, 900, 100]
tc = [40, 90, 10]
[[question.part]]
ask = "speed"
items = [
  { label = "B", K = "kb", seconds = "tb" },
  { label = "A", K = "ka", seconds = "ta" },
  { label = "C", K = "kc", seconds = "tc" },
]

[[question]]
id = "standard"
kind = "number"
points = 2
title = "Standard"
system = "iron-thiocyanate"
use = [0]
prompt = """{fe_mL} mL of 200 mM iron, {scn_mL} mL of 0.400 mM thiocyanate, to 10.00 mL;
{path} cm; A {absorbance}; blank {blank}"""
[question.numbers]
fe_mL = [4.50, 5.50, 0.25]
scn_mL = [2.00, 3.00, 0.25]
path = 0.50
blank = [0.040, 0.050, 0.005]
[question.start]
portions = [
  { of_mM = { "Fe(NO3)3" = 200, HNO3 = 1000 }, mL = "fe_mL" },
  { of_mM = { KSCN = 0.400 }, mL = "scn_mL" },
  { to_mL = 10.00 },
]
[question.measured]
reading = "absorbance"
species = "FeSCN^2+"
epsilon = "catalogue"
nm = 447
path_cm = "path"
blank = "blank"
[[question.part]]
ask = "number"
quantity = "epsilon"

[[question]]
id = "repeats"
kind = "number"
points = 3
title = "Repeats"
prompt = "{k1}, {k2}, {k3}, {k4}"
[question.numbers]
k1 = [128, 131, 1]
k2 = [136, 138, 1]
k3 = [146, 149, 1]
k4 = [152, 156, 1]
[question.measured]
reading = "runs"
runs = ["k1", "k2", "k3", "k4"]
[[question.part]]
ask = "number"
quantity = "mean"
tolerance = 0.005
[[question.part]]
ask = "number"
quantity = "s"
[[question.part]]
ask = "number"
quantity = "n"
'''


@pytest.fixture(scope="module")
def questions():
    return read_questions(FILE)


def printed(question, student):
    return [float(n) for n in re.findall(r"(?<![\w.])\d+(?:\.\d+)?(?!\w)", question.prompt_for(student))]


def rates(numbers):
    """By the law of mass action, from the quadratic formula."""
    fe_mL, _, scn_mL, _, grains = numbers
    V = fe_mL + scn_mL

    def formed(fe, scn):
        b = fe + scn + 1 / K_FESCN
        return (b - math.sqrt(b * b - 4 * fe * scn)) / 2

    def beside(before, now):
        return "up" if now > before * 1.01 else "down" if now < before / 1.01 else "same"

    fe, scn = 0.005 * fe_mL / V, 0.002 * scn_mL / V
    x = formed(fe, scn)
    before = (fe - x) * (scn - x)
    more = scn + grains / V  # mmol/mL; the grains take no room
    at_once = (fe - x) * (more - x)
    y = formed(fe, more)
    return {
        "forward-rate": beside(before, at_once),
        "reverse-rate": beside(x, x),
        "later": beside(before, (fe - y) * (more - y)),
        "forward-graph": "falls",  # reactants are used up on the way
        "reverse-graph": "rises",  # product appears where there was none
        "cause": "SCN^-",
    }


def standard(numbers):
    _, _, scn_mL, strength, _, path, A, blank = numbers
    return {"epsilon": (A - blank) / (path * 1e-3 * strength * scn_mL / 10)}


def repeats(numbers):
    mean = sum(numbers) / 4
    return {"mean": mean, "s": math.sqrt(sum((k - mean) ** 2 for k in numbers) / 3), "n": 4}


STUDENT = {
    "rates": rates,
    "silver": lambda numbers: {"bound": "SCN^-", "cause": "Ag^+"},  # AgSCN is what is insoluble
    "speed": lambda numbers: {"speed": ["A", "C", "B"]},  # seconds, tens of seconds, minutes
    "standard": standard,
    "repeats": repeats,
}


@pytest.mark.parametrize("name", STUDENT)
def test_a_thousand_correct_students_get_full_marks(questions, name):
    question = questions[name]
    for student in CLASS:
        answer = STUDENT[name](printed(question, student))
        for part in answer:
            if isinstance(answer[part], float):
                answer[part] = f"{answer[part]:.4g}"
        given = mark(question, answer, student)
        assert given.points == question.points, given.audit


#: question -> part -> wrong answer -> the idea
WRONG = {
    "rates": {
        "forward-rate": {"zero": "static_stop", "same": None},
        "reverse-rate": {"up": None, "down": "one_up_one_down", "zero": "static_stop"},
        "later": {"zero": "static_stop"},
        "forward-graph": {"rises": "fwd_rate_grows", "stops": "static_stop", "level": None},
        "reverse-graph": {"stops": "static_stop", "falls": None},
        "cause": {"K^+": "spectator_acts"},
    },
    "silver": {
        "bound": {"Fe^3+": "wrong_target", "NO3^-": "spectator_acts", "K^+": "spectator_acts"},
        "cause": {"NO3^-": "spectator_acts"},
    },
    "speed": {"speed": ({("C", "B", "A"): "rate_is_extent", ("B", "C", "A"): None})},
    "repeats": {"s": {0: "single_truth"}, "n": {1: "single_truth"}},
}


@pytest.mark.parametrize("name", WRONG)
def test_each_idea_is_named_and_never_right(questions, name):
    question = questions[name]
    for student in CLASS[:200]:
        right = STUDENT[name](printed(question, student))
        for part, choices in WRONG[name].items():
            for wrong, idea in choices.items():
                value = list(wrong) if isinstance(wrong, tuple) else wrong
                done = mark(question, {**right, part: value}, student).parts
                done = next(p for p in done if p.id == part)
                assert not done.right
                assert done.points < done.max_points
                assert done.mistake == idea, (part, wrong)


def test_opposite_rates_are_one_idea(questions):
    """More thiocyanate: the forward reaction is faster at once, the reverse one as fast as it was."""
    question = questions["rates"]
    for student in CLASS:
        right = rates(printed(question, student))
        assert (right["forward-rate"], right["reverse-rate"]) == ("up", "same")
        given = mark(question, {**right, "reverse-rate": "down"}, student)
        assert given.mistake == "one_up_one_down"
        given = mark(question, {**right, "forward-rate": "down", "reverse-rate": "up"}, student)
        assert "one_up_one_down" in [p.mistake for p in given.parts]


def test_one_run_for_all_is_named(questions):
    question, tried, named = questions["repeats"], 0, 0
    for student in CLASS[:400]:
        runs = printed(question, student)
        mean = sum(runs) / 4
        for run in runs:
            if abs(run / mean - 1) <= 0.005:
                continue
            tried += 1
            given = mark(question, {**repeats(runs), "mean": run}, student).parts[0]
            assert not given.right
            named += given.mistake == "single_truth"
    assert tried > 1200
    assert named >= 0.95 * tried


def test_a_standard_set_by_the_reactant_in_excess_is_named(questions):
    """ε from the concentration of iron, hundreds of times too small; the true ε is within a tenth."""
    question = questions["standard"]
    dice, random_names, tried = random.Random(7), 0, 0
    for student in CLASS[:400]:
        fe_mL, iron, scn_mL, strength, _, path, A, blank = printed(question, student)
        swapped = (A - blank) / (path * 1e-3 * iron * fe_mL / 10)
        given = mark(question, f"{swapped:.3g}", student)
        assert (given.points, given.mistake) == (0.0, "limiting_swapped")
        thiocyanate = 1e-3 * strength * scn_mL / 10
        right = (A - blank) / (path * thiocyanate)
        assert 0.90 * EPSILON < right < EPSILON, "a little is left unbound"
        assert mark(question, f"{A / (path * thiocyanate):.4g}", student).mistake == "blank_kept"
        assert mark(question, f"{(A - blank) / thiocyanate:.4g}", student).mistake == "path_ignored"
        value = right * 10 ** dice.uniform(-1.5, 1.5)
        if abs(value / right - 1) > 0.02:
            tried += 1
            random_names += mark(question, value, student).mistake is not None
    assert random_names < 0.03 * tried


def test_a_course_of_these_is_sound(tmp_path):
    (tmp_path / "questions.toml").write_text(FILE)
    found = [str(f) for f in check_course(tmp_path, samples=12)]
    assert [line for line in found if "no notebook" not in line] == []


FAULTS = {
    "no such side": ('side = "reverse"', 'side = "backward"', "did you mean|it can be forward, reverse"),
    "a moment that is none": ('when = "after"', 'when = "before"', "when is 'before'"),
    "one species only": ('options = ["Ag^+", "NO3^-"]', 'options = ["Ag^+"]', "two different species"),
    "a species that is none": ('options = ["Ag^+", "NO3^-"]', 'options = ["Ag^+", "Nx^-"]', "Nx"),
    "an item without a time": (', seconds = "ta"', "", "seconds is missing"),
    "an item of another kind": ('seconds = "ta"', 'second = "ta"', "did you mean 'seconds'"),
    "a name that is no number": ('seconds = "ta"', 'seconds = "tq"', "not one of the question's numbers"),
    "one run": ('runs = ["k1", "k2", "k3", "k4"]', 'runs = ["k1"]', "at least two"),
    "a run that is no number": ('"k3", "k4"]', '"k3", "k9"]', "not one of the question's numbers"),
    "a wavelength where nothing absorbs": ("nm = 447", "nm = 5000", "does not absorb"),
    "no wavelength": ("nm = 447\n", "", "needs nm"),
    "no blank": ('blank = "blank"', "", "a blank"),
    "epsilon given away": ("A {absorbance}", "A {absorbance} {epsilon}", "{epsilon} is not one of"),
}


@pytest.mark.parametrize("fault", FAULTS)
def test_a_question_file_that_will_not_do_is_refused(fault):
    before, after, says = FAULTS[fault]
    assert before in FILE
    with pytest.raises(QuestionError, match=says) as caught:
        read_questions(FILE.replace(before, after, 1))
    assert "\n" not in str(caught.value)


DOUBTS = {
    "a species that is not on offer": ('"SCN^-", "NO3^-", "K^+"]', '"NO3^-", "K^+"]', "none of the options"),
    "equal times": ("tc = [40, 90, 10]", "tc = 1", "nearly the same seconds"),
    "speeds that follow K": ("ta = [1, 3, 1]", "ta = 90000", "fastest also have the largest K"),
    "a rate that hardly changes": (
        "grains = [0.010, 0.020, 0.002]",
        "grains = 0.00002",
        "rate changes by less",
    ),
}


@pytest.mark.parametrize("fault", DOUBTS)
def test_a_question_that_nobody_can_answer_surely_is_found(tmp_path, fault):
    before, after, says = DOUBTS[fault]
    (tmp_path / "questions.toml").write_text(FILE.replace(before, after, 1))
    assert any(re.search(says, str(f)) for f in check_course(tmp_path, samples=4))
