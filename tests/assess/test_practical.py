"""The Kc practical as it is marked: students simulated here with numpy alone, right or with one slip."""

import csv
import statistics
from collections import Counter
from math import log, sqrt
from pathlib import Path

import numpy as np
import pytest

from eqlib.assess.asks.practical import simulated
from eqlib.assess.load import load_questions
from eqlib.assess.mark import mark

FILE = Path(__file__).parents[2] / "notebooks" / "source" / "07-measuring-kc" / "questions.toml"
# Student's t, two-sided 95 %, 4 degrees of freedom: 2.776 (any table).
T4 = 2.776
COLUMNS = ("FeSCN^2+", "Fe^3+", "SCN^-", "Kc")


@pytest.fixture(scope="module")
def own():
    return load_questions(FILE)["own"]


def table_of(text):
    """(standards, tests) as rows of (label, metal, ligand, A), mixed by hand from the stocks on the page."""
    standards, tests = [], []
    for label, fe, scn, water, a in list(csv.reader(text.splitlines(), delimiter=";"))[1:]:
        if label.startswith("again"):
            continue
        fe, scn, water, a = (float(v) for v in (fe, scn, water, a))
        stocks, kind = ((0.200, 4.00e-4), standards) if label.startswith("S") else ((2.00e-3, 2.00e-3), tests)
        total = fe + scn + water
        kind.append((label, stocks[0] * fe / total, stocks[1] * scn / total, a))
    return standards, tests


def work(text, slip=None):
    """What a student writes down who makes at most one slip and goes on from there."""
    standards, tests = table_of(text)
    slope, intercept = np.polyfit([r[2] for r in standards], [r[3] for r in standards], 1)
    answer = {"slope": f"{slope:.4g}", "work": {}}
    constants = []
    for label, m0, l0, a in tests:
        a = {"transmittance": 10**-a, "ln": a * log(10)}.get(slip, a)
        x = (a - intercept) / slope
        x *= {"moles": 0.010}.get(slip, 1.0)
        if slip == "excess":
            x = a * 0.100 / max(r[3] for r in standards)
        m, l = m0 - x, l0 - x
        if slip == "sign":
            m, l = m0 + x, l0 + x
        if slip == "initial":
            m, l = m0, l0
        if slip == "stock":
            m, l = 2e-3 - x, 2e-3 - x
        K = {"inverted": m * l / x, "sum": x / (m + l)}.get(slip, x / (m * l))
        constants.append(K)
        cells = zip(COLUMNS, (x, m, l, K), strict=True)
        answer["work"][label] = {name: f"{value:.4g}" for name, value in cells}
    mean, s = statistics.fmean(constants), statistics.stdev(constants)
    half = T4 * s / sqrt(len(constants))
    answer |= {
        "mean": f"{mean:.4g}",
        "s": f"{s:.3g}",
        "low": f"{mean - half:.4g}",
        "high": f"{mean + half:.4g}",
    }
    return answer


IDS = [f"w{n:03d}" for n in range(40)]


def test_a_student_who_works_it_out_gets_full_marks_and_a_blank_none(own):
    for student in IDS:
        text = simulated(own.case(student))
        assert mark(own, work(text), student).points == own.points
    assert mark(own, {}, "w001").points == 0.0
    assert mark(own, {"readings": simulated(own.case("w001"))}, "w001").points == 0.0


def test_every_student_has_readings_of_their_own(own):
    assert len({simulated(own.case(student)) for student in IDS}) == len(IDS)


SLIPS = {
    "transmittance": "log_slip",
    "ln": "log_slip",
    "moles": "moles_as_conc",
    "excess": "limiting_swapped",
    "sign": "change_sign",
    "initial": "initial_as_eq",
    "stock": "stock_conc",
    "inverted": "k_inverted",
    "sum": "sum_not_product",
}


@pytest.mark.parametrize("slip", SLIPS)
def test_one_slip_is_recognised_in_95_of_100_and_costs_once(own, slip):
    named = Counter()
    for student in IDS:
        text = simulated(own.case(student))
        made = mark(own, work(text, slip), student)
        named[made.mistake] += 1
        lost = own.points - made.points
        # At most two of the five shares of the work's four points; what follows is carried.
        # With the excess taken for the complex more has formed than there was, and where
        # transmittance passes for absorbance in a weak tube: nothing can be carried from that.
        assert 0 < lost <= {"excess": 4.0, "transmittance": 2.5}.get(slip, 2.0) + 1e-9, (
            student,
            slip,
            made.audit,
        )
    assert named[SLIPS[slip]] >= 0.95 * len(IDS), named


def test_what_is_judged_is_the_students_own_readings(own):
    # Another set than the simulated one: made for K 150 by the quadratic formula, with decimal commas.
    def x(m, l, K=150.0):
        b = m + l + 1 / K
        return (b - sqrt(b * b - 4 * m * l)) / 2

    lines = ["tube; Fe / mL; SCN / mL; water / mL; A"]
    for i, v in enumerate((0, 1, 2, 3, 4)):
        lines.append(f"S{i}; 5,00; {v:.2f}; {5 - v:.2f}; {4000 * x(0.1, v * 4e-5):.4f}".replace(".", ","))
    for i, v in enumerate((1, 2, 3, 4, 5), start=1):
        lines.append(f"T{i}; 5,00; {v:.2f}; {5 - v:.2f}; {4000 * x(1e-3, v * 2e-4):.4f}".replace(".", ","))
    mine = "\n".join(lines)
    answer = {"readings": mine} | work(mine.replace(",", "."))
    assert mark(own, answer, "w001").points == own.points
    # The simulated readings' work does not fit these.
    wrong = {"readings": mine} | work(simulated(own.case("w001")))
    assert mark(own, wrong, "w001").points <= own.points - 1.6


@pytest.mark.parametrize("cell", ["0", "1e300", "-1", "1"])
def test_impossible_cells_earn_nothing_and_carry_nothing(own, cell):
    filled = {label: dict.fromkeys(COLUMNS, cell) for label in ("T1", "T2", "T3", "T4", "T5")}
    assert mark(own, {"work": filled}, "w001").points <= 0.05 * own.points


def test_keeping_the_best_run_is_named(own):
    answer = work(simulated(own.case("w003")))
    mean = float(answer["mean"])
    best = max((row["Kc"] for row in answer["work"].values()), key=lambda K: abs(float(K) - mean))
    assert abs(float(best) / mean - 1) > 0.02
    made = mark(own, answer | {"mean": best}, "w003")
    part = next(p for p in made.parts if p.id == "mean")
    assert part.points == 0
    assert part.mistake == "single_truth"


@pytest.mark.parametrize("typed", ["x", "0.001 - x", "2x"])
def test_a_cell_in_x_is_asked_for_as_a_number(own, typed):
    """Common practice, no source: a table of results holds results."""
    answer = work(simulated(own.case("s01")))
    label = next(iter(answer["work"]))
    answer["work"][label]["Kc"] = typed
    made = mark(own, answer, student="s01")
    judged = next(part for part in made.parts if part.id == "work")
    assert judged.points == 0
    assert f"Row {label}, Kc: a number is wanted here" in made.feedback


def test_a_tube_that_is_left_out_costs_its_own_cells(own):
    answer = work(simulated(own.case("s01")))
    whole = mark(own, answer, student="s01").points
    label, row = next(iter(answer["work"].items()))
    for kept in ({}, {"FeSCN^2+": row["FeSCN^2+"]}):
        made = mark(own, answer | {"work": answer["work"] | {label: kept}}, student="s01")
        assert 0.8 * whole <= made.points < whole
        assert made.mistake is None
