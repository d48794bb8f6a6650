"""Kc from absorbances. Expected values come from print, from the quadratic formula, from scipy or from a
Monte
Carlo written here, never from eqlib.
"""

from dataclasses import replace
from math import sqrt

import numpy as np
import pytest
import scipy.stats
from hypothesis import given
from hypothesis import strategies as st

from eqlib.errors import EqlibError
from eqlib.lab.practical import analysis as an

EPSILON = 4700.0  # as in conftest.py, with its source

# NIST Statistical Reference Datasets, Norris (linear regression, lower level of difficulty): y and x, and the
# certified values to the digits printed there (from memory; the data reproduce the certified values to all
# digits).
NORRIS = """0.1 0.2 338.8 337.4 118.1 118.2 888.0 884.6 9.2 10.1 228.1 226.5 668.5 666.3 998.5 996.3 449.1
448.6
778.9 777.0 559.2 558.2 0.3 0.4 0.1 0.6 778.1 775.5 668.8 666.9 339.3 338.0 448.9 447.5 10.8 11.6 557.7 556.0
228.3 228.1 998.0 995.8 888.8 887.6 119.6 120.2 0.3 0.3 0.6 0.3 557.6 556.8 339.3 339.1 888.0 887.2 998.5
999.0
778.9 779.0 10.2 11.1 117.6 118.3 228.9 229.2 668.4 669.1 449.2 448.9 0.2 0.5"""


def test_the_regression_reference_data_of_nist():
    values = np.array(NORRIS.split(), dtype=float).reshape(-1, 2)
    line = an.calibrate(values[:, 1], values[:, 0])
    assert line.n == 36
    assert line.intercept == pytest.approx(-0.262323073774029, rel=1e-11)
    assert line.slope == pytest.approx(1.00211681802045, rel=1e-13)
    assert line.se_intercept == pytest.approx(0.232818234301152, rel=1e-11)
    assert line.se_slope == pytest.approx(0.429796848199937e-03, rel=1e-11)
    assert line.s == pytest.approx(0.884796396144373, rel=1e-11)


def with_epsilon(tests):
    """Test tubes beside ideal standards of the published absorptivity, so that the line adds nothing "
    "of its own."""
    standards = [an.Tube(1e9, c, EPSILON * c, "standard") for c in (0.0, 4e-5, 8e-5, 12e-5)]
    return [*standards, *(an.Tube(m, l, a) for m, l, a in tests)]


# The test tubes of a common Kc practical: 5.00 mL of 2.00 mM iron and 1 to 5 mL of 2.00 mM thiocyanate in
# 10.00 mL; readings for K 140, rounded to three decimals.
TESTS = [(1.0e-3, i * 2.0e-4, a) for i, a in enumerate((0.113, 0.221, 0.325, 0.425, 0.520), start=1)]


def test_one_tube_worked_by_hand():
    # 5.00 mL of 2.00 mM iron, 3.00 mL of 2.00 mM thiocyanate, 2.00 mL of water; A 0.325 in 1.00 cm. By hand:
    # x = 0.325/4700 = 6.915e-5; K = 6.915e-5 / (9.3085e-4 x 5.3085e-4) = 139.9.
    result = an.tube_by_tube(with_epsilon([TESTS[2]]), all_converted=True)
    tube = result.tubes[0]
    assert tube.complex_ == pytest.approx(6.915e-5, rel=1e-4)
    assert (tube.free_metal, tube.free_ligand) == pytest.approx((9.3085e-4, 5.3085e-4), rel=1e-4)
    assert result.mean == pytest.approx(139.9, rel=1e-3)
    assert (result.n, result.s, result.low) == (1, None, None)


def test_five_tubes_mean_spread_and_interval():
    result = an.tube_by_tube(with_epsilon(TESTS), all_converted=True)
    by_hand = [a / 4700 / ((m - a / 4700) * (l - a / 4700)) for m, l, a in TESTS]
    mean, s = np.mean(by_hand), np.std(by_hand, ddof=1)
    assert (result.mean, result.s) == pytest.approx((mean, s))
    assert result.mean == pytest.approx(140, rel=0.005)
    # n = 5: t = 2.776 (any table).
    assert result.high - result.mean == pytest.approx(2.776 * s / sqrt(5), rel=1e-3)


def test_taking_the_standards_as_all_converted_turns_140_into_152_and_working_them_out_mends_it(made):
    tubes = made(140.0, repeat=False)
    assert an.tube_by_tube(tubes, all_converted=True).mean == pytest.approx(152, abs=1)
    mended = an.tube_by_tube(tubes)
    assert mended.mean == pytest.approx(140, rel=1e-6)
    assert mended.line.epsilon == pytest.approx(EPSILON, rel=1e-6)
    # 0.100 M iron: K x 0.100 / (1 + K x 0.100) = 0.93, by hand.
    assert mended.converted == pytest.approx(0.93, abs=0.005)


@pytest.mark.parametrize("K", [20, 98, 700, 5000])
def test_both_ways_find_any_K_the_readings_were_made_from(K, made):
    tubes = made(K)
    assert an.tube_by_tube([t for t in tubes if t.role != "repeat"]).mean == pytest.approx(K, rel=1e-6)
    fit = an.fit_all(tubes)
    assert (fit.K, fit.epsilon) == pytest.approx((K, EPSILON), rel=1e-6)
    assert fit.low < K < fit.high


def test_a_longer_path_gives_the_same_constant(made):
    doubled = [replace(t, absorbance=2 * t.absorbance) for t in made(140.0)]
    fit = an.fit_all(doubled, path_cm=2.0)
    assert (fit.K, fit.epsilon) == pytest.approx((140.0, EPSILON), rel=1e-6)


def test_a_tube_that_gives_no_constant_says_why_and_the_others_go_on():
    tubes = [*with_epsilon(TESTS), an.Tube(1e-3, 2e-4, 1.2), an.Tube(1e-3, 2e-4, -0.05)]
    result = an.tube_by_tube(tubes, all_converted=True)
    assert result.n == 5
    assert "cannot form from 0.0002 mol/L" in result.tubes[5].why
    assert "not above the blank" in result.tubes[6].why


def test_a_trend_of_Kc_with_the_complex_is_tested_as_scipy_does():
    # A blank of 0.05 left in the tests alone raises weak tubes more than strong ones.
    tubes = [replace(t, absorbance=t.absorbance + 0.05 * (t.role == "test")) for t in with_epsilon(TESTS)]
    result = an.tube_by_tube(tubes, all_converted=True)
    theirs = scipy.stats.pearsonr([t.complex_ for t in result.tubes], [t.Kc for t in result.tubes])
    assert (result.trend, result.trend_p) == pytest.approx((theirs.statistic, theirs.pvalue), rel=1e-6)
    assert result.trend < -0.9
    assert result.trend_p < 0.05


def test_the_interval_of_the_fit_covers_the_true_constant_93_to_97_times_in_100(rng, made):
    inside, n = 0, 400
    for _ in range(n):
        K = rng.uniform(90, 300)
        fit = an.fit_all(made(K, rng))
        inside += fit.low <= K <= fit.high
    # 95 % of 400 is 380, give or take 3 standard deviations of a count (13); the long run is in
    # tests/benchmarks.
    assert 367 <= inside <= 393


def test_the_propagated_uncertainty_agrees_with_monte_carlo(rng, made):
    true = made(140.0, repeat=False)
    total, shares = an.budget(true)
    means = []
    for _ in range(1500):
        noisy = made(140.0, rng, repeat=False)
        means.append(an.tube_by_tube(noisy).mean)
    # The standard deviation of 1500 values is itself known to 1/sqrt(3000) = 1.8 %; three of those.
    assert total == pytest.approx(np.std(means, ddof=1), rel=0.06)
    assert sum(shares.values()) == pytest.approx(1.0)


def test_extrapolation_to_time_zero():
    minutes = [1.0, 2.0, 4.0, 8.0, 12.0]
    a0, se, loss = an.at_time_zero(minutes, [0.420 * np.exp(-0.012 * t) for t in minutes])
    assert (a0, loss) == pytest.approx((0.420, 0.012), rel=1e-9)
    assert se == pytest.approx(0.0, abs=1e-9)
    with pytest.raises(EqlibError, match="logarithm"):
        an.at_time_zero([1, 2, 3], [0.3, 0.2, 0.0])


def test_enthalpy_and_entropy_from_constants_at_several_temperatures():
    # Made by the van 't Hoff equation with R = 8.314462618 J/(mol K) (CODATA 2018), dH -20 kJ/mol, dS 10
    # J/(mol K).
    T = [278.15, 298.15, 318.15, 338.15]
    K = [np.exp(20_000 / (8.314462618 * t) + 10 / 8.314462618) for t in T]
    found = an.van_t_hoff(T, K)
    assert found.dH == pytest.approx(-20_000, rel=1e-9)
    assert found.dS == pytest.approx(10.0, rel=1e-7)
    with pytest.raises(EqlibError, match="kelvin"):
        an.van_t_hoff([5, 25, -10], [1, 2, 3])


@pytest.mark.parametrize(
    ("tubes", "words"),
    [
        ([], "0 standards are too few"),
        (with_epsilon([]), "no test tubes"),
        (with_epsilon([(1e-3, 6e-4, 9.0)]), "no tube gives a Kc"),
    ],
)
def test_errors_are_one_plain_line(tubes, words):
    with pytest.raises(EqlibError, match=words) as caught:
        an.tube_by_tube(tubes, all_converted=True)
    assert "\n" not in str(caught.value)


def test_readings_that_determine_nothing_are_refused_and_no_warning_escapes(rng, made):
    noise = [replace(t, absorbance=abs(rng.normal(0, 0.001)) + 1e-4 * i) for i, t in enumerate(made(140.0))]
    try:
        fit = an.fit_all(noise)
    except EqlibError:
        return
    assert fit.se_K > 0.2 * fit.K


# -- Beer and Lambert, a line of standards --------------------


def test_molar_absorptivity_of_a_published_example():
    # Harvey, Analytical Chemistry 2.1, chapter 10.2: A 0.338, 1.00 cm, 5.00e-4 M at 490 nm gives 676 (from
    # memory).
    assert an.epsilon_from_reading(0.338, 5.00e-4, 1.0) == pytest.approx(676, rel=1e-9)


# Mass concentration 60.06 mg/L of potassium dichromate in 0.005 mol/L sulfuric acid: Ph. Eur. 2.2.25,
# specific absorbance A(1 %, 1 cm) and its permitted range (from memory).
DICHROMATE = {
    235: (124.5, 122.9, 126.2),
    257: (144.5, 142.8, 146.2),
    313: (48.6, 47.0, 50.3),
    350: (107.3, 105.6, 109.0),
}
K2CR2O7 = 294.185  # g/mol


@pytest.mark.parametrize("nm", DICHROMATE)
def test_the_dichromate_absorbance_standard(nm):
    specific, low, high = DICHROMATE[nm]
    concentration = 0.06006 / K2CR2O7
    # A(1 %, 1 cm) belongs to 10 g/L, so 0.06006 g/L reads 0.006006 of it.
    epsilon = an.epsilon_from_reading(specific * 0.006006, concentration)
    assert low <= epsilon * 10 / K2CR2O7 <= high
    if nm == 350:  # per Cr2O7 formula unit about 3.16e3 L/(mol cm), as usually quoted (from memory)
        assert epsilon == pytest.approx(3.16e3, rel=0.005)
    assert an.concentration_from_reading(specific * 0.006006, epsilon) == pytest.approx(concentration)


# Standard fluorescein solutions, Miller and Miller, Statistics and Chemometrics for Analytical Chemistry,
# section 5.4 on (from memory): concentration in pg/mL and signal.
MILLER_X = [0, 2, 4, 6, 8, 10, 12]
MILLER_Y = [2.1, 5.0, 9.0, 12.6, 17.3, 21.0, 24.7]


def test_the_regression_of_a_textbook():
    line = an.calibrate(MILLER_X, MILLER_Y)
    assert (line.slope, line.intercept) == pytest.approx((1.93, 1.52), abs=0.005)
    assert line.s == pytest.approx(0.4329, abs=1e-4)
    assert (line.se_slope, line.se_intercept) == pytest.approx((0.0409, 0.2950), abs=1e-4)


@given(st.integers(0, 2**32 - 1))
def test_regression_agrees_with_scipy_on_random_lines(seed):
    rng = np.random.default_rng(seed)
    x = np.sort(rng.uniform(0, 1e-4, 7))
    y = 0.01 + 4700 * x + rng.normal(0, 0.004, 7)
    line, theirs = an.calibrate(x, y), scipy.stats.linregress(x, y)
    assert line.slope == pytest.approx(theirs.slope, rel=1e-9)
    assert line.intercept == pytest.approx(theirs.intercept, rel=1e-7, abs=1e-12)
    assert line.se_slope == pytest.approx(theirs.stderr, rel=1e-9)
    assert line.se_intercept == pytest.approx(theirs.intercept_stderr, rel=1e-9)
    assert sum(line.residuals) == pytest.approx(0.0, abs=1e-12)


def test_students_t_as_tabulated():
    # Two-sided 95 %: 12.706, 2.776 and 2.571 for 1, 4 and 5 degrees of freedom, any table.
    assert [an.student_t(n) for n in (1, 4, 5)] == pytest.approx([12.706, 2.776, 2.571], abs=5e-4)


@pytest.mark.parametrize(
    ("x", "y", "words"),
    [
        ([0, 1e-5], [0, 0.1], "at least 3"),
        ([1e-5, 1e-5, 1e-5], [0.1, 0.1, 0.1], "same concentration"),
        ([0, 1e-5, 2e-5], [0, 0.1], "one absorbance for each"),
        ([0, 1e-5, 2e-5], [0, "0,10", 0.2], "decimal comma"),
        ([0, 1e-5, 2e-5], [0, None, 0.2], "absorbance 2"),
        ([0, "n/a", 2e-5], [0, 0.1, 0.2], "concentration 2"),
        ([0, 1e-5, 2e-5], [0.1, 0.1, 0.1], "does not change"),
        ([0, 1e-5, 2e-5], [0, float("nan"), 0.2], "absorbance 2"),
    ],
)
def test_what_gives_no_line_is_one_plain_line_of_error(x, y, words):
    with pytest.raises(EqlibError, match=words) as caught:
        an.calibrate(x, y)
    assert "\n" not in str(caught.value)


def test_an_untaken_blank_shows_as_an_intercept():
    x = np.arange(7) * 2e-5
    noise = np.array([0.001, -0.003, 0.002, 0.004, -0.002, -0.001, -0.001])
    assert an.calibrate(x, 0.020 + 4400 * x + noise).intercept_differs_from_zero
    assert not an.calibrate(x, 4400 * x + noise).intercept_differs_from_zero


@given(st.floats(0, 4), st.floats(1, 1e5), st.floats(0.1, 10))
def test_a_concentration_and_its_reading_undo_each_other(a, epsilon, path):
    concentration = an.concentration_from_reading(a, epsilon, path)
    assert concentration * epsilon * path == pytest.approx(a)


# -- other constants --------------------

# An organic weak acid read at several pH: D. Harvey, Analytical Chemistry 2.1, chapter 10, end-of-chapter
# problem
# (from memory; the points agree among themselves to 0.005 in pKa). Its acid and base forms read 0.010 and
# 0.317.
HARVEY_PH = [1.53, 2.20, 3.66, 4.11, 4.35, 4.75, 4.88, 5.09, 5.69, 7.20, 7.78]
HARVEY_A = [0.010, 0.010, 0.035, 0.072, 0.103, 0.169, 0.193, 0.227, 0.288, 0.317, 0.317]


def test_pKa_of_a_printed_data_set():
    fit = an.fit_indicator(HARVEY_PH, HARVEY_A)
    assert fit.pKa == pytest.approx(4.71, abs=0.01)
    assert (fit.acid, fit.base) == pytest.approx((0.010, 0.317), abs=0.002)


def test_Kc_of_a_printed_esterification():
    # Petrucci, Herring, Madura and Bissonnette, General Chemistry, 10th ed., chapter 15, exercise 3: 1.000
    # mol of
    # ethanoic acid and 0.5000 mol of ethanol; a hundredth of the mixture takes 28.85 mL of 0.1000 M Ba(OH)2.
    # By hand:
    # acid left 2 x 2.885e-3 x 100 = 0.5770 mol, ester and water 0.4230, alcohol 0.0770: Kc = 4.03.
    left = 2 * 0.02885 * 0.1000 * 100
    assert an.ester_Kc(1.000, 0.5000, [left]).mean == pytest.approx(4.03, abs=0.005)
    with pytest.raises(EqlibError, match="titration 1"):
        an.ester_Kc(1.0, 0.5, [0.4])


def test_Ka_of_ethanoic_acid_from_its_printed_pH():
    # 0.100 mol/L of ethanoic acid has pH 2.87 with Ka 1.8e-5 (OpenStax Chemistry 2e, section 14.7, titration
    # table at 0 mL, from memory).
    assert an.weak_acid_Ka([2.87, 2.87], [0.100, 0.100]).mean == pytest.approx(1.8e-5, rel=0.04)
    with pytest.raises(EqlibError, match="more H⁺ than acid"):
        an.weak_acid_Ka([0.5], [0.1])


def test_Ksp_of_silver_chloride():
    # Solubility 1.3e-5 mol/L with Ksp 1.6e-10 (OpenStax Chemistry 2e, section 15.1, from memory: 1.3e-5 M).
    assert an.silver_Ksp([1.3e-5]).mean == pytest.approx(1.6e-10, rel=0.06)
    with pytest.raises(EqlibError, match="above zero"):
        an.silver_Ksp([0.0])
