"""Beer-Lambert conversions and calibration lines, against published and independent numbers."""

import numpy as np
import pytest
import scipy.stats
from hypothesis import given
from hypothesis import strategies as st

from eqlib.errors import EqlibError
from eqlib.lab import photometry as ph


def test_percent_transmittance_of_a_published_exercise():
    # Harvey, Analytical Chemistry 2.1, chapter 10.2, exercise: A = 1.27 is 5.4 %T (from memory).
    assert ph.absorbance_from_percent(5.4) == pytest.approx(1.27, abs=0.005)


def test_molar_absorptivity_of_a_published_example():
    # Harvey, Analytical Chemistry 2.1, chapter 10.2: A 0.338, 1.00 cm, 5.00e-4 M at 490 nm gives 676 (from
    # memory).
    assert ph.epsilon_from_reading(0.338, 5.00e-4, 1.0) == pytest.approx(676, rel=1e-9)


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
    epsilon = ph.epsilon_from_reading(specific * 0.006006, concentration)
    assert low <= epsilon * 10 / K2CR2O7 <= high
    if nm == 350:  # per Cr2O7 formula unit about 3.16e3 L/(mol cm), as usually quoted (from memory)
        assert epsilon == pytest.approx(3.16e3, rel=0.005)
    assert ph.concentration_from_reading(specific * 0.006006, epsilon) == pytest.approx(concentration)


# Standard fluorescein solutions, Miller and Miller, Statistics and Chemometrics for Analytical Chemistry,
# section 5.4 on (from memory): concentration in pg/mL and signal.
MILLER_X = [0, 2, 4, 6, 8, 10, 12]
MILLER_Y = [2.1, 5.0, 9.0, 12.6, 17.3, 21.0, 24.7]


def test_the_regression_of_a_textbook():
    line = ph.calibrate(MILLER_X, MILLER_Y)
    assert (line.slope, line.intercept) == pytest.approx((1.93, 1.52), abs=0.005)
    assert line.s == pytest.approx(0.4329, abs=1e-4)
    assert (line.se_slope, line.se_intercept) == pytest.approx((0.0409, 0.2950), abs=1e-4)
    assert line.r_squared**0.5 == pytest.approx(0.9989, abs=5e-5)


@given(st.integers(0, 2**32 - 1))
def test_regression_agrees_with_scipy_on_random_lines(seed):
    rng = np.random.default_rng(seed)
    x = np.sort(rng.uniform(0, 1e-4, 7))
    y = 0.01 + 4700 * x + rng.normal(0, 0.004, 7)
    line, theirs = ph.calibrate(x, y), scipy.stats.linregress(x, y)
    assert line.slope == pytest.approx(theirs.slope, rel=1e-9)
    assert line.intercept == pytest.approx(theirs.intercept, rel=1e-7, abs=1e-12)
    assert line.se_slope == pytest.approx(theirs.stderr, rel=1e-9)
    assert line.se_intercept == pytest.approx(theirs.intercept_stderr, rel=1e-9)
    assert line.r_squared == pytest.approx(theirs.rvalue**2, rel=1e-9)
    assert sum(line.residuals) == pytest.approx(0.0, abs=1e-12)


def test_students_t_as_tabulated():
    # Two-sided 95 %: 12.706, 2.776 and 2.571 for 1, 4 and 5 degrees of freedom, any table.
    assert [ph.student_t(n) for n in (1, 4, 5)] == pytest.approx([12.706, 2.776, 2.571], abs=5e-4)


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
        ph.calibrate(x, y)
    assert "\n" not in str(caught.value)


def test_an_untaken_blank_shows_as_an_intercept():
    x = np.arange(7) * 2e-5
    noise = np.array([0.001, -0.003, 0.002, 0.004, -0.002, -0.001, -0.001])
    assert ph.calibrate(x, 0.020 + 4400 * x + noise).intercept_differs_from_zero
    assert not ph.calibrate(x, 4400 * x + noise).intercept_differs_from_zero


@given(st.floats(0, 4), st.floats(1, 1e5), st.floats(0.1, 10))
def test_conversions_undo_each_other(a, epsilon, path):
    assert ph.absorbance_from_transmittance(10.0**-a) == pytest.approx(a, abs=1e-12)
    assert ph.absorbance_from_percent(100.0 * 10.0**-a) == pytest.approx(a, abs=1e-12)
    concentration = ph.concentration_from_reading(a, epsilon, path)
    assert concentration * epsilon * path == pytest.approx(a)


@pytest.mark.parametrize("bad", [0.0, -0.1, 1.2, float("nan")])
def test_a_transmittance_outside_its_range_is_an_error(bad):
    with pytest.raises(EqlibError, match="transmittance"):
        ph.absorbance_from_transmittance(bad)
