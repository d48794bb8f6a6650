"""The plan's expectations by hand and by Monte Carlo; the instrument's laws; other constants from "
"printed data."""

from dataclasses import replace

import numpy as np
import pytest

from eqlib.errors import EqlibError
from eqlib.lab.practical.analysis import Tube, fit_all
from eqlib.lab.practical.groups import Group, class_in, marked
from eqlib.lab.practical.instrument import Instrument, read_tubes
from eqlib.lab.practical.others import ester_Kc, fit_indicator, silver_Ksp, weak_acid_Ka
from eqlib.lab.practical.pictures import class_page, class_text
from eqlib.lab.practical.plan import Bench, ionic_strength, plan

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
        (Bench(have_mL=(("iron", 3.0),)), "is no stock"),
    ],
)
def test_a_bench_that_cannot_do_it_is_told_what_to_change(bench, words):
    with pytest.raises(EqlibError, match=words) as caught:
        plan(bench)
    assert "\n" not in str(caught.value)


def test_a_stock_that_runs_short_is_said():
    p = plan(Bench(groups=10, have_mL=(("iron stock of the standards", 100.0),)))
    assert any("420 mL are needed" in line for line in p.advice)


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


# An organic weak acid read at several pH: D. Harvey, Analytical Chemistry 2.1, chapter 10, end-of-chapter
# problem
# (from memory; the points agree among themselves to 0.005 in pKa). Its acid and base forms read 0.010 and
# 0.317.
HARVEY_PH = [1.53, 2.20, 3.66, 4.11, 4.35, 4.75, 4.88, 5.09, 5.69, 7.20, 7.78]
HARVEY_A = [0.010, 0.010, 0.035, 0.072, 0.103, 0.169, 0.193, 0.227, 0.288, 0.317, 0.317]


def test_pKa_of_a_printed_data_set():
    fit = fit_indicator(HARVEY_PH, HARVEY_A)
    assert fit.pKa == pytest.approx(4.71, abs=0.01)
    assert (fit.acid, fit.base) == pytest.approx((0.010, 0.317), abs=0.002)


def test_Kc_of_a_printed_esterification():
    # Petrucci, Herring, Madura and Bissonnette, General Chemistry, 10th ed., chapter 15, exercise 3: 1.000
    # mol of
    # ethanoic acid and 0.5000 mol of ethanol; a hundredth of the mixture takes 28.85 mL of 0.1000 M Ba(OH)2.
    # By hand:
    # acid left 2 x 2.885e-3 x 100 = 0.5770 mol, ester and water 0.4230, alcohol 0.0770: Kc = 4.03.
    left = 2 * 0.02885 * 0.1000 * 100
    assert ester_Kc(1.000, 0.5000, [left]).mean == pytest.approx(4.03, abs=0.005)
    with pytest.raises(EqlibError, match="titration 1"):
        ester_Kc(1.0, 0.5, [0.4])


def test_Ka_of_ethanoic_acid_from_its_printed_pH():
    # 0.100 mol/L of ethanoic acid has pH 2.87 with Ka 1.8e-5 (OpenStax Chemistry 2e, section 14.7, titration
    # table at 0 mL, from memory).
    assert weak_acid_Ka([2.87, 2.87], [0.100, 0.100]).mean == pytest.approx(1.8e-5, rel=0.04)
    with pytest.raises(EqlibError, match="more H⁺ than acid"):
        weak_acid_Ka([0.5], [0.1])


def test_Ksp_of_silver_chloride():
    # Solubility 1.3e-5 mol/L with Ksp 1.6e-10 (OpenStax Chemistry 2e, section 15.1, from memory: 1.3e-5 M).
    assert silver_Ksp([1.3e-5]).mean == pytest.approx(1.6e-10, rel=0.06)
    with pytest.raises(EqlibError, match="above zero"):
        silver_Ksp([0.0])


def test_a_class_from_its_tables(tmp_path, rng, made):
    """Five sound tables, one with its blank left in, one that is no table: each is named, none stops "
    "the others."""

    def table(tubes):
        rows = [
            f"{t.label},{1000 * t.metal:g},{1000 * t.ligand:g},{t.absorbance:.3f}"
            for t in tubes
            if t.role != "repeat"
        ]
        return "\n".join(["tube,Fe / mM,SCN / mM,A", *rows])

    for n in range(5):
        (tmp_path / f"bench-{n}.csv").write_text(table(made(139.0, rng)))
    (tmp_path / "bench-5.csv").write_text(table(made(139.0, rng, blank=0.06)))
    (tmp_path / "bench-6.csv").write_text("our results were good")
    found = {g.name: g for g in class_in(tmp_path)}
    assert len(found) == 7
    for n in range(5):
        group = found[f"bench-{n}"]
        assert group.low < 139 < group.high or abs(group.K / 139 - 1) < 0.06
        assert not group.faults
    assert [f.kind for f in found["bench-5"].faults] == ["blank_kept"]
    assert found["bench-6"].K is None
    assert "headings" in found["bench-6"].likely
    text = class_text(list(found.values()))
    assert "6 of 7 tables give a Kc" in text
    page = class_page(list(found.values()))
    assert "<title>Kc of the class</title>" in page
    assert page.count("<circle") == 6
    with pytest.raises(EqlibError, match=r"no \.csv file"):
        class_in(tmp_path / "empty")


def test_a_value_far_from_the_others_stands_apart():
    # By hand: median 140, median absolute deviation 2; 180 has 0.6745 x 40/2 = 13.5, beyond 3.5; 144 has
    # 1.35.
    groups = [Group(str(K), float(K), K - 4.0, K + 4.0, ()) for K in (136, 138, 140, 142, 144, 180)]
    assert [g.name for g in marked(groups) if g.apart] == ["180"]
