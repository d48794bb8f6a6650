"""Kc from absorbances. Expected values are worked out here by hand or with the quadratic formula, never by
eqlib.
"""

from math import sqrt

import numpy as np
import pytest

from eqlib.errors import EqlibError
from eqlib.lab.photometry_kc import Tube, kc_from_absorbance, kc_iterated

EPSILON = 4700.0  # FeSCN2+ at 447 nm: Frank and Oswalt, J. Am. Chem. Soc. 69 (1947) 1321 (from memory)


def complex_by_quadratic(metal, ligand, K):
    """x of K = x / ((m - x)(l - x)), the root below both totals."""
    b = metal + ligand + 1 / K
    return (b - sqrt(b * b - 4 * metal * ligand)) / 2


def test_one_tube_worked_by_hand():
    # 5.00 mL of 2.00 mM iron, 3.00 mL of 2.00 mM thiocyanate, 2.00 mL of water; A 0.325 in 1.00 cm. By hand:
    # x = 0.325/4700 = 6.915e-5; K = 6.915e-5 / (9.3085e-4 x 5.3085e-4) = 139.9.
    result = kc_from_absorbance([(1.00e-3, 6.00e-4, 0.325)], epsilon=EPSILON)
    assert result.tubes[0].complex_ == pytest.approx(6.915e-5, rel=1e-4)
    assert result.mean == pytest.approx(139.9, rel=1e-3)
    assert (result.n, result.s, result.low) == (1, None, None)


# The test tubes of a common Kc practical: 5.00 mL of 2.00 mM iron and 1 to 5 mL of 2.00 mM thiocyanate in
# 10.00 mL; readings for K 140, rounded to three decimals.
TESTS = [(1.0e-3, i * 2.0e-4, a) for i, a in enumerate((0.113, 0.221, 0.325, 0.425, 0.520), start=1)]


def test_five_tubes_mean_spread_and_interval():
    result = kc_from_absorbance(TESTS, epsilon=EPSILON)
    by_hand = []
    for metal, ligand, a in TESTS:
        x = a / 4700
        by_hand.append(x / ((metal - x) * (ligand - x)))
    mean, s = np.mean(by_hand), np.std(by_hand, ddof=1)
    assert result.mean == pytest.approx(mean)
    assert result.mean == pytest.approx(140, rel=0.005)
    assert result.s == pytest.approx(s)
    # n = 5: t = 2.776 (any table).
    assert result.high - result.mean == pytest.approx(2.776 * s / sqrt(5), rel=1e-3)
    assert result.n == 5


STANDARD_LIGANDS = [i * 2.0e-5 for i in range(7)]


@pytest.mark.parametrize(("K", "converted"), [(98, 0.91), (140, 0.93), (250, 0.96)])
def test_share_converted_in_the_standards(K, converted):
    # 0.100 M iron: K x 0.100 / (1 + K x 0.100) to two figures, by hand.
    assert complex_by_quadratic(0.1, 1e-6, K) / 1e-6 == pytest.approx(converted, abs=0.005)


def test_taking_the_standards_as_all_converted_turns_140_into_152_and_iterating_mends_it():
    standards = [(0.100, l, EPSILON * complex_by_quadratic(0.100, l, 140)) for l in STANDARD_LIGANDS]
    tests = [(1.0e-3, i * 2e-4, EPSILON * complex_by_quadratic(1.0e-3, i * 2e-4, 140)) for i in range(1, 6)]
    result = kc_iterated(standards, tests)
    assert result.first.mean == pytest.approx(152, abs=1)
    assert result.final.mean == pytest.approx(140, rel=1e-6)
    assert result.final_line.epsilon == pytest.approx(EPSILON, rel=1e-6)
    assert result.first_line.epsilon < result.final_line.epsilon
    assert abs(result.final.trend) < 0.9 or result.final.s < 1e-3


@pytest.mark.parametrize("K", [20, 98, 700, 5000])
def test_iteration_finds_any_K_it_was_made_from(K):
    standards = [Tube(0.100, l, 2 * EPSILON * complex_by_quadratic(0.100, l, K)) for l in STANDARD_LIGANDS]
    tests = [Tube(1e-3, i * 2e-4, 2 * EPSILON * complex_by_quadratic(1e-3, i * 2e-4, K)) for i in range(1, 6)]
    assert kc_iterated(standards, tests, path_cm=2.0).final.mean == pytest.approx(K, rel=1e-6)


def test_path_and_blank_are_used():
    doubled = [(m, l, 2 * a + 0.020) for m, l, a in TESTS]
    result = kc_from_absorbance(doubled, epsilon=EPSILON, path_cm=2.0, blank=0.020)
    assert result.mean == pytest.approx(140, rel=0.005)
    # A blank of 0.020 left in R gives 151, by hand: x = 0.345/4700 = 7.340e-5 -> 150.4
    assert kc_from_absorbance([(1e-3, 6e-4, 0.345)], epsilon=EPSILON).mean == pytest.approx(150.4, rel=2e-3)


def test_faulty_tubes_are_named_and_left_out_of_the_mean_only_where_no_Kc_exists():
    tubes = [*TESTS, (1e-3, 2e-4, 1.2), (1e-3, 2e-4, -0.05), (1e-3, 4e-4, 0.0)]
    result = kc_from_absorbance(tubes, epsilon=EPSILON)
    assert result.n == 5
    kinds = {(f.where, f.kind) for f in result.faults}
    assert {
        ("tube 6", "impossible"),
        ("tube 7", "no_complex"),
        ("reading 7", "negative"),
        ("tube 8", "no_complex"),
    } <= kinds
    assert [t.Kc is None for t in result.tubes] == [False] * 5 + [True] * 3


def test_a_drift_of_Kc_is_flagged():
    # A blank of 0.05 left in every reading raises weak tubes more than strong ones.
    left_in = [(m, l, a + 0.05) for m, l, a in TESTS]
    result = kc_from_absorbance(left_in, epsilon=EPSILON)
    assert "trend" in [fault.kind for fault in result.faults]
    assert result.trend < -0.9
    assert "trend" not in [fault.kind for fault in kc_from_absorbance(TESTS, epsilon=EPSILON).faults]


@pytest.mark.parametrize(
    ("tubes", "options", "words"),
    [
        ([], {"epsilon": 4700}, "at least one"),
        ([(1e-3, 6e-4)], {"epsilon": 4700}, "tube 1 has 2 numbers"),
        ([(1e-3, 6e-4, "0,325")], {"epsilon": 4700}, "decimal comma"),
        ([(1e-3, -6e-4, 0.3)], {"epsilon": 4700}, "below zero"),
        ([(1e-3, 6e-4, 0.3)], {"epsilon": 0}, "epsilon"),
        ([(1e-3, 6e-4, 0.3)], {"epsilon": 4700, "path_cm": -1}, "path_cm"),
        ([(1e-3, 6e-4, 0.3)], {"epsilon": "4,7"}, "decimal comma"),
        ([(1e-3, 6e-4, 0.3)], {}, "either epsilon or a calibration"),
        ([(1e-3, 6e-4, 9.0)], {"epsilon": 4700}, "no tube gives a Kc"),
    ],
)
def test_errors_are_one_plain_line(tubes, options, words):
    with pytest.raises(EqlibError, match=words) as caught:
        kc_from_absorbance(tubes, **options)
    assert "\n" not in str(caught.value)
