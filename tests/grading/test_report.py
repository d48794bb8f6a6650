"""Kc of a class out of what was handed in: own readings beside each other, simulated ones left out."""

import random

import pytest

from eqlib.assess.asks.practical import simulated
from eqlib.cli import run
from eqlib.grading.demo import Work, fill, hand_in, make_course
from eqlib.grading.report import class_handed_in

NAME = "07-measuring-kc"
MADE_WITH, EPSILON = 163.0, 4400.0


def table(seed, blank=0.0):
    """Readings made here: the quadratic formula, a molar absorptivity, noise; the volumes of the prompt."""
    noise, rows = random.Random(seed), ["tube; Fe / mL; SCN / mL; water / mL; A"]
    tubes = [(f"S{n}", 0.200, 4.00e-4, scn) for n, scn in enumerate((0, 0.75, 1.5, 2.5, 3.25, 4.25, 5.0))]
    tubes += [(f"T{n}", 2.00e-3, 2.00e-3, float(n)) for n in range(1, 6)]
    for label, iron, thiocyanate, mL in tubes:
        m, l = iron / 2, thiocyanate * mL / 10
        b = m + l + 1 / MADE_WITH
        x = (b - (b * b - 4 * m * l) ** 0.5) / 2
        A = EPSILON * x * (1 + noise.gauss(0, 0.005)) + noise.gauss(0, 0.002)
        A += blank * label.startswith("T")
        rows.append(f"{label}; 5.00; {mL:.2f}; {5 - mL:.2f}; {A:.3f}")
    return "\n".join(rows)


@pytest.fixture(scope="module")
def course(tmp_path_factory):
    made = make_course(tmp_path_factory.mktemp("practical") / "course")
    made.release(NAME)
    questions, released = made.questions(NAME), made.released_notebooks(NAME)[NAME]
    own = {f"w{n:02d}": table(n) for n in range(1, 7)} | {"w07": table(7, blank=0.20)}
    own["w08"] = simulated(questions["own"].case("w08"))
    for student, readings in own.items():
        work = Work(student, {"own": {"readings": readings}})
        hand_in(
            made.root / "submitted" / student / NAME, NAME, fill(released, work, questions), work, questions
        )
    return made


def test_the_class_comes_out_near_the_constant_its_readings_were_made_with(course):
    groups, on_simulated = class_handed_in(course.root, NAME)
    assert [group.name for group in groups] == [f"w{n:02d}" for n in range(1, 8)]
    assert on_simulated == 1
    for group in groups[:6]:
        assert abs(group.K / MADE_WITH - 1) < 0.08
        assert not group.apart
    assert groups[6].apart
    assert groups[6].likely


def test_the_command_says_it_and_writes_the_page(course, tmp_path, capsys):
    page = tmp_path / "class.html"
    status = run(["practical", "class", str(course.root), NAME, "--html", str(page)])
    said = capsys.readouterr().out
    assert status == 1  # one to look at
    assert "1 worked on the simulated instrument" in said
    assert "w07" in said
    assert "<svg" in page.read_text("utf-8")


def test_an_assignment_without_readings_is_named(course, capsys):
    assert run(["practical", "class", str(course.root), "00-start-here"]) != 0
    assert "asks for no table of readings" in "".join(capsys.readouterr())
