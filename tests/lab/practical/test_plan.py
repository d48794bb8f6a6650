"""The plan's expectations by hand and by Monte Carlo; the simulated instrument's laws."""

from dataclasses import replace

import numpy as np
import pytest

from eqlib.errors import EqlibError
from eqlib.lab.practical.analysis import Tube, fit_all
from eqlib.lab.practical.plan import Bench, Instrument, ionic_strength, plan, read_tubes

EPSILON = 4700.0  # as in conftest.py, with its source


def test_the_proposed_tubes_read_in_range_and_fill_the_volume(formed):
    p = plan()
    for row in p.rows:
        assert row.metal_mL + row.ligand_mL + row.water_mL == pytest.approx(10.0)
        if row.tube.ligand:
            # The reading expected, by the quadratic formula.
            expected = EPSILON * formed(row.tube.metal, row.tube.ligand, 139)
            assert row.tube.absorbance == pytest.approx(expected, abs=6e-4)
            assert 0.1 <= row.tube.absorbance <= 1.0
    # 0.100 M iron with K 139: 93 % converted (139 x 0.100 / (1 + 139 x 0.100), by hand).
    assert p.converted == pytest.approx(0.933, abs=0.002)
    assert p.if_ignored == pytest.approx(151, abs=1.5)


def test_the_ionic_strength_is_half_the_sum_of_concentration_times_charge_squared():
    """Lewis and Randall 1921 (from memory): I = (c1 z1² + c2 z2² + ...) / 2, here ion by ion as mixed."""
    p = plan()
    for role, iron, thiocyanate in (("test", 1.00e-3, 1.00e-3), ("standard", 0.100, 2.00e-4)):
        acid = 0.50
        ions = [(iron, 3), (3 * iron + acid, 1), (acid, 1), (thiocyanate, 1), (thiocyanate, 1)]
        assert ionic_strength(p.bench, role) == pytest.approx(sum(c * z**2 for c, z in ions) / 2, rel=1e-3)


def test_the_expected_uncertainty_is_what_simulated_classes_find(rng, formed):
    p = plan()
    found = []
    for _ in range(300):
        read = []
        for t in p.tubes:
            m, l = t.metal * (1 + 0.01 * rng.normal()), t.ligand * (1 + 0.01 * rng.normal())
            read.append(replace(t, absorbance=EPSILON * formed(m, l, 139) + 0.003 * rng.normal()))
        found.append(fit_all(read).K)
    assert np.std(found) / 139 == pytest.approx(p.relative_sd, rel=0.15)


@pytest.mark.parametrize(
    ("bench", "words"),
    [
        (Bench(ligand_standard=0.02), "too strong"),
        (Bench(metal_mL=10.0), "fills the tube"),
        (Bench(metal_standard=1e-2), "times the thiocyanate"),
        (Bench(ligand_test=1e-5), "another strength"),
    ],
)
def test_a_bench_that_cannot_do_it_is_told_what_to_change(bench, words):
    with pytest.raises(EqlibError, match=words) as caught:
        plan(bench)
    assert "\n" not in str(caught.value)


TUBE = [Tube(0.1, 1e-4, 0.0, "standard", "S1")]


def shown(**how):
    exact = {"reading_sd": 0.0, "volume_sd": 0.0}
    tubes = read_tubes(
        TUBE,
        139,
        lambda nm: 4700.0 - abs(nm - 447) * 20,
        447,
        np.random.default_rng(0),
        Instrument(**{**exact, **how}),
        decimals=9,
    )
    return tubes[0].absorbance


def test_the_instrument_obeys_its_laws(formed):
    ideal = 4700 * formed(0.1, 1e-4, 139)
    assert shown() == pytest.approx(ideal)
    assert shown(blank=0.02) == pytest.approx(ideal + 0.02)
    # Stray light, by its definition: A' = -log10((T + s)/(1 + s)).
    assert shown(stray=0.01) == pytest.approx(-np.log10((10**-ideal + 0.01) / 1.01))
    assert shown(wavelength_off=10) == pytest.approx(ideal * 4500 / 4700)
    assert shown(band=20) < ideal
    assert shown(fading=0.01) == pytest.approx(ideal * np.exp(-0.02))
    assert shown(ligand_bias=0.05) == pytest.approx(4700 * formed(0.1, 1.05e-4, 139))


def test_the_same_seed_gives_the_same_readings():
    a, b = (read_tubes(TUBE * 3, 139, lambda nm: 4700.0, 447, np.random.default_rng(5)) for _ in range(2))
    assert a == b
