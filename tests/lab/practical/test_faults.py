"""Each injected fault is named, good sets are left alone. The sets are made without eqlib (conftest)."""

from dataclasses import replace

import numpy as np
import pytest

from eqlib.errors import EqlibError
from eqlib.lab.practical.faults import Group, class_in, class_page, class_text, faults_of, marked

EPSILON = 4700.0  # as in conftest.py, with its source


def swap(tubes, i, j):
    tubes = list(tubes)
    a, b = tubes[i].absorbance, tubes[j].absorbance
    tubes[i], tubes[j] = replace(tubes[i], absorbance=b), replace(tubes[j], absorbance=a)
    return tubes


def each(tubes, change):
    return [replace(t, absorbance=change(t.absorbance)) for t in tubes]


SPOILT = {
    "percent_as_absorbance": lambda made, K, rng: each(made(K, rng), lambda a: round(100 * 10**-a, 1)),
    "transmittance_as_absorbance": lambda made, K, rng: each(made(K, rng), lambda a: round(10**-a, 3)),
    "millimolar_as_molar": lambda made, K, rng: [
        replace(t, metal=1000 * t.metal, ligand=1000 * t.ligand) for t in made(K, rng)
    ],
    "swapped": lambda made, K, rng: swap(
        made(K, rng), i := int(rng.choice([1, 2, 3, 4, 7, 8, 9, 10])), i + 1
    ),
    "doubled": lambda made, K, rng: [*(t := made(K, rng))[:9], replace(t[8], label="T3"), *t[10:]],
    "blank_kept": lambda made, K, rng: made(K, rng, blank=0.03),
    "drift": lambda made, K, rng: made(K, rng, fading=0.008),
    "negative": lambda made, K, rng: each(made(K, rng), lambda a: a - 0.05),
    "saturated": lambda made, K, rng: each(made(K, rng), lambda a: 3.4 if a > 0.45 else a),
    "wavelength": lambda made, K, rng: each(made(K, rng), lambda a: 0.6 * a),
    "outlier": lambda made, K, rng: [
        replace(t, absorbance=t.absorbance + 0.08 * (i == 9)) for i, t in enumerate(made(K, rng))
    ],
}


@pytest.mark.parametrize("kind", SPOILT)
def test_an_injected_fault_is_flagged_in_at_least_nine_of_ten_sets(kind, rng, made):
    found = 0
    for _ in range(20):
        faults = faults_of(SPOILT[kind](made, rng.uniform(90, 300), rng), epsilon=EPSILON)
        found += kind in [f.kind for f in faults]
        assert all("\n" not in str(f) for f in faults)
    assert found >= 18


def test_false_alarms_stay_under_five_in_a_hundred(rng, made):
    alarms = sum(bool(faults_of(made(rng.uniform(90, 300), rng), epsilon=EPSILON)) for _ in range(150))
    assert alarms <= 7


def test_nothing_is_repaired(rng, made):
    tubes = made(140.0, rng, blank=0.05)
    before = [t.absorbance for t in tubes]
    faults_of(tubes, epsilon=EPSILON)
    assert [t.absorbance for t in tubes] == before


def test_one_fault_gets_one_name(made):
    for kind in ("swapped", "blank_kept", "outlier", "drift"):
        faults = faults_of(SPOILT[kind](made, 140.0, np.random.default_rng(3)), epsilon=EPSILON)
        assert [f.kind for f in faults] == [kind]


# -- a class --------------------


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
