"""A class of a thousand for every question of the assignment: right answers are right, mistakes are named.

The students here read their numbers from the prompt as printed and work with closed forms, mpmath and
constants written down in this file. Nothing is asked of eqlib but the prompt and the mark.
"""

import math
import random
import re
from functools import cache
from pathlib import Path

import mpmath as mp
import pytest

from eqlib.assess.load import load_questions
from eqlib.assess.mark import mark

FOLDER = Path(__file__).parent / "wells"
CLASS = [f"s{n:04d}" for n in range(1000)]
K_FESCN = 139.0  # Frank and Oswalt, J. Am. Chem. Soc. 69 (1947) 1321, from memory; I 0.5, 25 °C
DH_FESCN = -6000.0  # J/mol, laboratory handouts, from memory: only its sign matters here
EPSILON = 4700.0  # L/(mol cm) at 447 nm, given to the students
KSP_AGSCN = 1.0e-12  # OpenStax Chemistry 2e, Appendix J
OXALATE = (10**7.5, 10**13.6, 10**18.5)  # overall constants with Fe(III), Martell and Smith, from memory
OXALIC = (0.060, 6.1e-5)  # OpenStax Chemistry 2e, Appendix H
R = 8.314462618  # J/(mol K), CODATA 2018


@pytest.fixture(scope="module")
def questions():
    return load_questions(FOLDER)


def numbers(prompt, *patterns):
    """The numbers of the prompt, found by the words around them."""
    found = []
    for pattern in patterns:
        hit = re.search(pattern, prompt)
        assert hit, f"{pattern!r} is not in the prompt: {prompt}"
        found.append(float(hit.group(1)))
    return found


WELL = (r"([\d.]+) mL of 5\.0+ mM iron", r"([\d.]+) mL of 2\.0+ mM potassium thiocyanate")


def complex_formed(fe, scn, K):
    """x of Fe + SCN <=> FeSCN by the quadratic formula; the smaller root is the one that is possible."""
    b = fe + scn + 1 / K
    return (b - math.sqrt(b * b - 4 * fe * scn)) / 2


def by_size(before, after, more, less):
    ratio = after / before
    assert abs(ratio - 1) > 0.02, "too close to call: the question itself is at fault"
    return more if ratio > 1 else less


def one_reaction(fe_mL, scn_mL, drop_mL, fe_in_drop, scn_in_drop):
    """(before, after, Q at once) of the well; mol/L; the drop's contents in mol/L."""
    V, W = fe_mL + scn_mL, fe_mL + scn_mL + drop_mL
    fe, scn = 0.005 * fe_mL / V, 0.002 * scn_mL / V
    x = complex_formed(fe, scn, K_FESCN)
    fe2, scn2 = (fe * V + fe_in_drop * drop_mL) / W, (scn * V + scn_in_drop * drop_mL) / W
    y = complex_formed(fe2, scn2, K_FESCN)
    Q = (x * V / W) / ((fe2 - x * V / W) * (scn2 - x * V / W))
    return (fe - x, scn - x, x), (fe2 - y, scn2 - y, y), Q, V, W


def shift(Q, K):
    return "forward" if Q < K else "reverse"


def iron(prompt):
    fe, scn, drop, strong = numbers(
        prompt, *WELL, r"Now ([\d.]+) mL", r"mL of ([\d.]+) mM iron\(III\) nitrate is"
    )
    before, after, Q, _, _ = one_reaction(fe, scn, drop, strong / 1000, 0.0)
    return {
        "direction": shift(Q, K_FESCN),
        "seen": by_size(before[2], after[2], "darker", "paler"),
        "scn": by_size(before[1], after[1], "higher", "lower"),
        "K": "same",
        "reason": "q_below_K" if Q < K_FESCN else "q_above_K",
    }


def thiocyanate(prompt):
    fe, scn, drop = numbers(prompt, *WELL, r"This time ([\d.]+) mL")
    before, after, Q, _, _ = one_reaction(fe, scn, drop, 0.0, 0.100)
    return {
        "direction": shift(Q, K_FESCN),
        "seen": by_size(before[2], after[2], "darker", "paler"),
        "fe": by_size(before[0], after[0], "higher", "lower"),
        "reason": "q_below_K" if Q < K_FESCN else "q_above_K",
    }


def warm(prompt):
    fe, scn, cold, hot = numbers(prompt, *WELL, r"([\d.]+) °C\. It is moved", r"water bath at ([\d.]+) °C")
    V = fe + scn
    K1, K2 = (K_FESCN * math.exp(-DH_FESCN / R * (1 / (t + 273.15) - 1 / 298.15)) for t in (cold, hot))
    x, y = (complex_formed(0.005 * fe / V, 0.002 * scn / V, K) for K in (K1, K2))
    return {
        "direction": "forward" if y > x else "reverse",
        "seen": by_size(x, y, "darker", "paler"),
        "K": by_size(K1, K2, "larger", "smaller"),
        "reason": "k_rises" if K2 > K1 else "k_falls",
    }


def water(prompt):
    fe, scn, added = numbers(prompt, *WELL, r"Now ([\d.]+) mL of \*\*water")
    before, after, Q, _, _ = one_reaction(fe, scn, added, 0.0, 0.0)
    return {
        "direction": shift(Q, K_FESCN),
        "seen": by_size(before[2], after[2], "darker", "paler"),
        "K": "same",
        "reason": "q_below_K" if Q < K_FESCN else "q_above_K",
    }


def solid(_prompt):
    """The solid is in no quotient: Q = [Ag+][Cl-] is K before and after, as long as some of it was there."""
    return {"direction": "none", "chloride": "same", "K": "same", "reason": "q_equals_K"}


def silver(prompt):
    fe, scn, drop = numbers(prompt, *WELL, r"Now ([\d.]+) mL")
    before, _, _, V, W = one_reaction(fe, scn, drop, 0.0, 0.0)
    ag, scn_total, fe_total = 0.100 * drop / W, 0.002 * scn / W, 0.005 * fe / W
    assert ag * before[1] * V / W > KSP_AGSCN, "a solid must form"

    def complex_with(s):
        return K_FESCN * s * fe_total / (1 + K_FESCN * s)

    def gap(ln_s):
        s = mp.e**ln_s
        return mp.log(s * (ag - scn_total + s + complex_with(s)) / KSP_AGSCN)

    ends = (mp.log(1e-20), mp.log(scn_total))
    y = float(complex_with(mp.e ** mp.findroot(gap, ends, solver="anderson", tol=1e-12)))
    return {
        "direction": "forward" if y * W > before[2] * V else "reverse",
        "seen": by_size(before[2], y, "darker", "paler"),
        "precipitate": "yes",
        "K": "same",
        "reason": "binds:SCN^-",
    }


@cache
def iron_with_oxalate(fe, scn, ox, h):
    """Free [Fe3+] by mpmath: mass balances of iron, oxalate and thiocyanate at fixed [H+] (the acid is in
    excess).
    """
    alpha = 1 + h / OXALIC[1] + h * h / (OXALIC[0] * OXALIC[1])

    def free_oxalate(f):
        def gap(lo):
            o = mp.e**lo
            return mp.log(
                (o * alpha + sum((n + 1) * b * f * o ** (n + 1) for n, b in enumerate(OXALATE))) / ox
            )

        return mp.e ** mp.findroot(gap, (mp.log(1e-30), mp.log(ox)), solver="anderson", tol=1e-12)

    def gap(lf):
        f = mp.e**lf
        o = free_oxalate(f)
        bound = sum(b * o ** (n + 1) for n, b in enumerate(OXALATE))
        return mp.log(f * (1 + bound + K_FESCN * scn / (1 + K_FESCN * f)) / fe)

    return float(mp.e ** mp.findroot(gap, (mp.log(1e-20), mp.log(fe)), solver="anderson", tol=1e-12))


def oxalate(prompt):
    fe, scn, drop = numbers(prompt, *WELL, r"Now ([\d.]+) mL")
    before, _, _, V, W = one_reaction(fe, scn, drop, 0.0, 0.0)
    ox, h = 0.100 * drop / W, 0.100 * fe / W
    free = iron_with_oxalate(0.005 * fe / W, 0.002 * scn / W, ox, h)
    free_scn = 0.002 * scn / W / (1 + K_FESCN * free)
    y = K_FESCN * free * free_scn
    return {
        "direction": "forward" if y * W > before[2] * V else "reverse",
        "seen": by_size(before[2], y, "darker", "paler"),
        "scn": by_size(before[1], free_scn, "higher", "lower"),
        "reason": "binds:Fe^3+",
    }


def quotient(prompt):
    fe, scn, x, drop = numbers(prompt, *WELL, r"\[FeSCN²⁺\] = ([\d.e-]+) mol/L", r"Then ([\d.]+) mL")
    V, W = fe + scn, fe + scn + drop
    free_fe, free_scn = 0.005 * fe / V - x, 0.002 * scn / V - x
    Q = (x * V / W) / ((free_fe * V + 0.100 * drop) / W * (free_scn * V / W))
    return {"fe": free_fe, "Q": Q, "direction": shift(Q, K_FESCN)}


def colorimeter(prompt):
    patterns = (
        r"([\d.]+) mL of 2\.50 mM",
        r"([\d.]+) mL of 2\.00 mM",
        r"([\d.]+) cm cell",
        r"A = ([\d.]+)\.",
        r"reads ([\d.]+)\.\n",
    )
    return numbers(prompt, *patterns)


def kc(prompt):
    fe_mL, scn_mL, path, A, blank = colorimeter(prompt)
    fe, scn, x = 2.5e-3 * fe_mL / 10, 2e-3 * scn_mL / 10, (A - blank) / (EPSILON * path)
    return {"kc": x / ((fe - x) * (scn - x))}


STUDENT = {
    "iron": iron,
    "thiocyanate": thiocyanate,
    "warm": warm,
    "water": water,
    "solid": solid,
    "silver": silver,
    "oxalate": oxalate,
    "q": quotient,
    "kc": kc,
}


def kc_mistakes(prompt):
    """(id, value) of each slip with a Kc, as the trade describes them, from the printed numbers."""
    fe_mL, scn_mL, path, A, blank = colorimeter(prompt)
    fe, scn, net = 2.5e-3 * fe_mL / 10, 2e-3 * scn_mL / 10, A - blank
    x = net / (EPSILON * path)

    def K(fe, scn, x):
        return x / ((fe - x) * (scn - x))

    right = K(fe, scn, x)
    poured = fe_mL + scn_mL
    return [
        ("k_inverted", 1 / right),
        ("sum_not_product", x / ((fe - x) + (scn - x))),
        ("stock_conc", K(2.5e-3, 2e-3, x)),
        ("stock_conc", K(2.5e-3, scn, x)),
        ("stock_conc", K(2.5e-3 * fe_mL / poured, 2e-3 * scn_mL / poured, x)),
        ("initial_as_eq", x / (fe * scn)),
        ("change_sign", x / ((fe + x) * (scn + x))),
        ("log_slip", K(fe, scn, 10**-net / (EPSILON * path))),
        ("log_slip", K(fe, scn, net * math.log(10) / (EPSILON * path))),
        ("path_ignored", K(fe, scn, net / EPSILON)),
        ("blank_kept", K(fe, scn, A / (EPSILON * path))),
        ("moles_as_conc", right / 0.010),
    ]


def q_mistakes(prompt):
    """The same for Q: K given for it, the quotient upside down, the terms added, the drop's dilution
    forgotten.
    """
    fe, scn, x, drop = numbers(prompt, *WELL, r"\[FeSCN²⁺\] = ([\d.e-]+) mol/L", r"Then ([\d.]+) mL")
    V, W = fe + scn, fe + scn + drop
    f, s, c = (0.005 * fe / V - x) * V / W + 0.1 * drop / W, (0.002 * scn / V - x) * V / W, x * V / W
    undiluted = (0.005 * fe / V - x) + 0.1 * drop / V  # the drop counted in, its volume forgotten
    return [
        ("q_is_k", K_FESCN),
        ("k_inverted", f * s / c),
        ("sum_not_product", c / (f + s)),
        ("stock_conc", x / (undiluted * (0.002 * scn / V - x))),
    ]


#: question -> part -> wrong choice -> ids that fit, with every other part right: who chose the right reason,
#: or the right way, has not the idea that would say otherwise there
WRONG_CHOICES = {
    "iron": {
        "direction": {"reverse": {"q_reversed"}, "none": {None}},
        "scn": {"same": {"two_boxes"}},
        "K": {"larger": {"k_moves_conc"}, "smaller": {"k_moves_conc"}},
        "reason": {
            "two_boxes": {"two_boxes"},
            "k_moves_conc": {"k_moves_conc"},
            "one_up_one_down": {"one_up_one_down"},
        },
    },
    "thiocyanate": {
        "direction": {"reverse": {"q_reversed"}, "none": {None}},
        "fe": {"same": {"two_boxes"}},
        "reason": {"spectator_acts": {"spectator_acts"}, "full_cancel": {"full_cancel"}},
    },
    "warm": {
        "direction": {"forward": {"heat_is_forward"}, "none": {None}},
        "K": {"same": {"k_fixed_t"}, "larger": {None}},
        "seen": {"darker": {None}, "same": {None}},
        "reason": {"rate_is_extent": {"rate_is_extent"}, "k_fixed_t": {"k_fixed_t"}},
    },
    "water": {
        "direction": {"none": {None}, "forward": {"q_reversed"}},
        "K": {"smaller": {"k_moves_conc"}},
        "reason": {"volume_ignored": {"volume_ignored"}, "paler_is_left": {"paler_is_left"}},
    },
    "solid": {
        "direction": {"forward": {"solid_shifts"}, "reverse": {"solid_shifts"}},
        "K": {"larger": {"solid_shifts"}},
        "reason": {"solid_shifts": {"solid_shifts"}, "goes_complete": {"goes_complete"}},
    },
    "silver": {
        "direction": {"none": {None}},
        "precipitate": {"no": {"not_in_equation"}},
        "K": {"smaller": {"k_moves_conc"}},
        "reason": {"binds:Fe^3+": {"wrong_target"}, "spectator_acts": {"spectator_acts"}},
    },
    "oxalate": {
        "direction": {"none": {None}},
        "scn": {"lower": {"wrong_target"}, "same": {None}},
        "reason": {"binds:SCN^-": {"wrong_target"}, "static_stop": {"static_stop"}},
    },
    "q": {"direction": {"reverse": {"q_reversed"}}},
}


def handed_in(question, answer):
    """A single number is handed in as such, as a check cell does."""
    return answer["kc"] if question.id == "kc" else answer


def copies(question):
    """(student, prompt) for every different copy of a question among the thousand students.

    Two students with the same prompt get the same mark for the same answer: see the next test.
    """
    found = {}
    for student in CLASS:
        found.setdefault(question.prompt_for(student), student)
    return [(student, prompt) for prompt, student in found.items()]


def test_the_same_numbers_get_the_same_mark(questions):
    question = questions["kc"]
    first = {prompt: student for student, prompt in copies(question)}
    for student in CLASS[:300]:
        prompt = question.prompt_for(student)
        for answer in (kc(prompt)["kc"], "140", "0.5"):
            ours, theirs = mark(question, answer, student), mark(question, answer, first[prompt])
            assert (ours.points, ours.mistake, ours.working) == (
                theirs.points,
                theirs.mistake,
                theirs.working,
            )


@pytest.mark.parametrize("name", STUDENT)
def test_a_thousand_correct_students_get_full_marks(questions, name):
    question = questions[name]
    for student, prompt in copies(question):
        answer = STUDENT[name](prompt)
        given = mark(question, handed_in(question, answer), student)
        assert given.points == question.points, (student, answer, given.audit)
        assert given.mistake is None


def test_every_question_that_is_not_read_by_a_person_has_a_student(questions):
    assert {q.id for q in questions.values() if not q.manual} == set(STUDENT)
    assert sum(q.points for q in questions.values()) == 24


@pytest.mark.parametrize("name", WRONG_CHOICES)
def test_a_misconception_is_named_and_never_told_right(questions, name):
    question = questions[name]
    for student, prompt in copies(question):
        right = STUDENT[name](prompt)
        for part, wrongs in WRONG_CHOICES[name].items():
            for value, fits in wrongs.items():
                given = mark(question, {**right, part: value}, student)
                assert given.points < question.points
                done = next(p for p in given.parts if p.id == part)
                assert not done.right
                assert done.mistake in fits, (student, part, value, given.audit)


@pytest.mark.parametrize(("name", "part", "slips"), [("kc", "kc", kc_mistakes), ("q", "Q", q_mistakes)])
def test_slips_with_numbers_are_named_in_95_per_cent(questions, name, part, slips):
    question, tried, named = questions[name], 0, 0
    for student, prompt in copies(question):
        right = STUDENT[name](prompt)
        made = slips(prompt)
        for mistake, value in made:
            value = float(f"{value:.3g}")
            if abs(value / right[part] - 1) <= 0.02:
                continue  # nobody could tell it from a right answer
            others = [float(f"{v:.3g}") for m, v in made if m != mistake]
            if any(abs(value / v - 1) < 0.005 for v in others):
                continue  # two slips meet
            tried += 1
            given = mark(question, handed_in(question, {**right, part: value}), student)
            assert given.points < question.points, (student, mistake)
            named += next(p for p in given.parts if p.id == part).mistake == mistake
    assert tried > 300
    assert named >= 0.95 * tried, f"{named} of {tried}"


@pytest.mark.parametrize(("name", "part"), [("kc", "kc"), ("q", "Q")])
def test_random_wrong_numbers_are_seldom_called_a_mistake(questions, name, part):
    question, dice = questions[name], random.Random(20260131)
    named = tried = 0
    for student in CLASS:
        right = STUDENT[name](question.prompt_for(student))
        for _ in range(4):
            value = right[part] * 10 ** dice.uniform(-1.5, 1.5)
            if abs(value / right[part] - 1) <= 0.02:
                continue
            tried += 1
            given = mark(question, handed_in(question, {**right, part: value}), student)
            done = next(p for p in given.parts if p.id == part)
            assert not done.right
            named += done.mistake is not None
    assert named < 0.03 * tried, f"{named} of {tried}"


def test_a_slip_is_penalised_once_and_carried_forward(questions):
    """The amount that reacted was not taken off the iron; Q and the direction then follow from the student's
    value.
    """
    question = questions["q"]
    for student in CLASS[:200]:
        prompt = question.prompt_for(student)
        fe, scn, x, drop = numbers(prompt, *WELL, r"\[FeSCN²⁺\] = ([\d.e-]+) mol/L", r"Then ([\d.]+) mL")
        V, W = fe + scn, fe + scn + drop
        wrong_fe, free_scn = 0.005 * fe / V, 0.002 * scn / V - x
        Q = (x * V / W) / ((wrong_fe * V + 0.100 * drop) / W * (free_scn * V / W))
        given = mark(question, {"fe": wrong_fe, "Q": Q, "direction": shift(Q, K_FESCN)}, student)
        assert given.parts[0].note == "wrong"
        assert given.parts[0].mistake == "initial_as_eq"
        assert [p.right for p in given.parts] == [False, True, True], given.audit
        assert given.points == pytest.approx(question.points * 3 / 4)
