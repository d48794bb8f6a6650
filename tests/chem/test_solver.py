"""The solver on cases with a closed form or a plain answer: solids, exact stoichiometry, nothing at all."""

import math

import pytest

import eqlib as eq
from eqlib.chem.solver.single import NoSolution

R = eq.Reaction
AGCL = R("AgCl(s) <=> Ag^+ + Cl^-", K=1.8e-10)
AGSCN = R("AgSCN(s) <=> Ag^+ + SCN^-", K=1.0e-12)
WATER = R("H2O(l) <=> H^+ + OH^-", K=1.0e-14)
ALUMINIUM = [
    WATER,
    R("Al(OH)3(s) <=> Al^3+ + 3 OH^-", K=1.3e-33),
    R("Al(OH)3(s) + OH^- <=> Al(OH)4^-", K=1.3),
]


def solve(totals, reactions, **more):
    return eq.Mixture(totals, reactions, **more).equilibrate()


def test_one_reaction_has_the_root_of_its_quadratic():
    s = solve({"Fe^3+": 1e-3, "SCN^-": 2e-3}, [R("Fe^3+ + SCN^- <=> FeSCN^2+", K=140)])
    b = 1e-3 + 2e-3 + 1 / 140
    assert s["FeSCN^2+"] == pytest.approx((b - math.sqrt(b * b - 4 * 1e-3 * 2e-3)) / 2, rel=1e-12)


@pytest.mark.parametrize("start", [{"Fe^3+": 2e-3, "SCN^-": 3e-3}, {"FeSCN^2+": 2e-3, "SCN^-": 1e-3}])
def test_it_does_not_matter_from_which_side_it_starts(start):
    r = R("Fe^3+ + SCN^- <=> FeSCN^2+", K=140)
    b = 5e-3 + 1 / 140
    assert solve(start, [r])["FeSCN^2+"] == pytest.approx((b - math.sqrt(b * b - 4 * 6e-6)) / 2, rel=1e-12)


def test_exactly_stoichiometric_and_complete():
    """c = sqrt(T / K) of each reactant is left, to full precision, from totals a trillion trillion times
    larger.
    """
    s = solve({"Ag^+": 0.1, "Cl^-": 0.1}, [R("Ag^+ + Cl^- <=> AgCl", K=1e40)])
    left = (-1 + math.sqrt(1 + 4 * 1e40 * 0.1)) / 2e40
    assert s["Ag^+"] == pytest.approx(left, rel=1e-12)
    assert s["Cl^-"] == pytest.approx(left, rel=1e-12)


def test_a_tiny_excess_is_kept_to_the_last_digit():
    extra = 1e-14
    s = solve({"Ag^+": 0.5, "Cl^-": 0.5 + extra}, [R("Ag^+ + Cl^- <=> AgCl", K=1e40)])
    assert s["Cl^-"] == pytest.approx((0.5 + extra) - 0.5, rel=1e-12)


def test_pure_water_and_nothing_else():
    s = solve({}, [WATER])
    assert s["H^+"] == pytest.approx(1e-7, rel=1e-12)
    assert s.pH == pytest.approx(7.0, abs=1e-12)


def test_everything_zero_stays_zero():
    s = solve({"Ag^+": 0.0, "Cl^-": 0.0}, [AGCL])
    assert dict(s.amounts) == {"Ag^+": 0.0, "Cl^-": 0.0, "AgCl(s)": 0.0}


def test_no_reaction_leaves_things_as_they_are():
    s = solve({"Na^+": 0.2}, [])
    assert s["Na^+"] == 0.2
    assert s.ionic_strength == pytest.approx(0.1)


def test_species_that_cannot_form_are_exactly_zero():
    s = solve({"Fe^3+": 1e-3}, [R("Fe^3+ + SCN^- <=> FeSCN^2+", K=140), AGSCN])
    assert s["FeSCN^2+"] == s["SCN^-"] == s["Ag^+"] == s.solids["AgSCN(s)"] == 0.0
    assert s["Fe^3+"] == pytest.approx(1e-3, rel=1e-15)


def test_one_reaction_feeds_another():
    """The second reaction has nothing to run on until the first has made some Cl."""
    reactions = [R("NaCl + K <=> NaK + Cl", K=2.0), R("Cl + AgBr <=> AgBrCl", K=3.0)]
    s = solve({"NaCl": 0.1, "K": 0.1, "AgBr": 0.1}, reactions)
    assert s["NaK"] * s["Cl"] / (s["NaCl"] * s["K"]) == pytest.approx(2.0, rel=1e-10)
    assert s["AgBrCl"] / (s["Cl"] * s["AgBr"]) == pytest.approx(3.0, rel=1e-10)


def test_a_cycle_whose_carrier_is_absent():
    """X and Y carry a group from A to C; with neither there, only their sum A + C <=> B + D can be seen to
    run.
    """
    reactions = [R("NaF + K <=> Na + KF", K=4.0), R("KF + Ag <=> AgF + K", K=0.5)]
    s = solve({"NaF": 1.0, "Ag": 1.0}, reactions)
    # K^1/2 = sqrt(4.0 * 0.5): x / (1 - x) = sqrt(2)
    x = math.sqrt(2.0) / (1 + math.sqrt(2.0))
    assert s["AgF"] == pytest.approx(x, rel=1e-10)
    assert s["K"] == s["KF"] == 0.0


@pytest.mark.parametrize(("silver", "present"), [(1e-6, False), (1.9e-5, True)])
def test_a_solid_forms_only_above_its_product(silver, present):
    s = solve({"Ag^+": silver, "Cl^-": 1e-5}, [AGCL])
    assert (s.solids["AgCl(s)"] > 0) == present


def test_solid_exactly_at_saturation():
    """Both borders hold at once: nothing may be negative, nothing supersaturated."""
    s = solve({"Ag^+": 2.0**-17, "Cl^-": 2.0**-17}, [R("AgCl(s) <=> Ag^+ + Cl^-", K=2.0**-34)])
    assert 0.0 <= s.solids["AgCl(s)"] < 1e-15
    assert s["Ag^+"] == pytest.approx(2.0**-17, rel=1e-10)


def test_one_solid_turns_into_another():
    """SCN^- takes silver from AgCl(s) until [Cl^-]/[SCN^-] = 180, the ratio of the solubility products."""
    s = solve({"AgCl(s)": 0.1, "SCN^-": 0.05}, [AGCL, AGSCN])
    assert s["Cl^-"] / s["SCN^-"] == pytest.approx(180.0, rel=1e-10)
    assert s.solids["AgCl(s)"] > 0
    assert s.solids["AgSCN(s)"] > 0
    all_gone = solve({"AgCl(s)": 0.1, "SCN^-": 0.2}, [AGCL, AGSCN])
    assert all_gone.solids["AgCl(s)"] == 0.0
    assert all_gone.solids["AgSCN(s)"] == pytest.approx(0.1, rel=1e-9)


def test_a_solid_redissolves_in_ammonia():
    s = solve({"AgCl(s)": 0.1, "NH3": 5.0}, [AGCL, R("Ag^+ + 2 NH3 <=> Ag(NH3)2^+", K=1.7e7)])
    assert s.solids["AgCl(s)"] == 0.0
    assert s["Cl^-"] == pytest.approx(0.1, rel=1e-12)


@pytest.mark.parametrize("base", [0.0, 0.1, 0.29, 0.3, 0.31, 0.35, 0.4, 0.43, 0.6])
def test_aluminium_hydroxide_is_amphoteric(base):
    """Every constant holds, aluminium and charge are kept, whichever side of the precipitate the mixture is
    on.
    """
    s = solve({"Al^3+": 0.1, "Cl^-": 0.3, "Na^+": base, "OH^-": base}, ALUMINIUM)
    solid = s.solids["Al(OH)3(s)"]
    assert s["H^+"] * s["OH^-"] == pytest.approx(1.0e-14, rel=1e-10)
    saturation = s["Al^3+"] * s["OH^-"] ** 3 / 1.3e-33
    assert saturation == pytest.approx(1.0, rel=1e-9) if solid > 0 else saturation < 1.0 + 1e-9
    assert s["Al(OH)4^-"] / (s["Al^3+"] * s["OH^-"] ** 4) == pytest.approx(1.3 / 1.3e-33, rel=1e-9)
    assert s["Al^3+"] + s["Al(OH)4^-"] + solid == pytest.approx(0.1, rel=1e-12)
    assert abs(s.charge_imbalance) < 1e-12
    assert (solid > 0) == (base < 0.5)


def test_several_solids_share_an_ion():
    reactions = [AGCL, AGSCN, R("AgBr(s) <=> Ag^+ + Br^-", K=5.0e-13), R("AgI(s) <=> Ag^+ + I^-", K=8.5e-17)]
    s = solve({"Ag^+": 0.025, "Cl^-": 0.01, "Br^-": 0.01, "I^-": 0.01, "SCN^-": 1e-5}, reactions)
    free = s["Ag^+"]
    assert s["I^-"] * free == pytest.approx(8.5e-17, rel=1e-9)
    assert s["Br^-"] * free == pytest.approx(5.0e-13, rel=1e-9)
    assert s["Cl^-"] * free == pytest.approx(1.8e-10, rel=1e-9)
    solids = s.solids
    assert solids["AgCl(s)"] + solids["AgBr(s)"] + solids["AgI(s)"] + solids[
        "AgSCN(s)"
    ] + free == pytest.approx(0.025)
    assert s["SCN^-"] * free <= 1.0e-12 * (1 + 1e-9)


def test_more_solids_than_the_phase_rule_allows():
    """Three calcium sulfates that differ in water only: with water as the solvent just the least soluble
    stays.
    """
    reactions = [
        R("CaSO4(s) <=> Ca^2+ + SO4^2-", K=4.9e-5),
        R("CaSO4.2H2O(s) <=> Ca^2+ + SO4^2- + 2 H2O(l)", K=3.1e-5),
    ]
    s = solve({"CaSO4(s)": 0.05, "CaSO4.2H2O(s)": 0.05}, reactions)
    assert s.solids["CaSO4(s)"] == 0.0
    assert s["Ca^2+"] == pytest.approx(math.sqrt(3.1e-5), rel=1e-10)


def test_redundant_reactions_are_accepted():
    first, second = R("Ag^+ + NH3 <=> AgNH3^+", K=2.0e3), R("AgNH3^+ + NH3 <=> Ag(NH3)2^+", K=8.0e3)
    totals = {"Ag^+": 1e-2, "NH3": 5e-2}
    plain, more = solve(totals, [first, second]), solve(totals, [first, second, first + second])
    assert more["Ag^+"] == pytest.approx(plain["Ag^+"], rel=1e-12)
    assert not [n for n in more.notes if "follows" in n]


def test_table_values_that_nearly_agree_are_used_with_a_note():
    """Ka Kb = 1.008e-14: a table's two figures, not a contradiction."""
    acid = R("CH3COOH <=> H^+ + CH3COO^-", K=1.8e-5)
    base = R("CH3COO^- + H2O(l) <=> CH3COOH + OH^-", K=5.6e-10)
    s = solve({"CH3COOH": 0.1}, [WATER, acid, base])
    assert any("the latter is used" in n for n in s.notes)


def test_contradictory_constants_are_one_clear_error():
    with pytest.raises(eq.EqlibError, match="contradict each other") as caught:
        solve(
            {"Fe^3+": 1e-3}, [R("Fe^3+ + SCN^- <=> FeSCN^2+", K=140), R("FeSCN^2+ <=> Fe^3+ + SCN^-", K=0.5)]
        )
    assert "\n" not in str(caught.value)
    assert "FeSCN^2+" in str(caught.value)


def test_negative_component_totals():
    """Base in terms of H^+ is a negative total; Kw and the charge must still come out."""
    s = solve({"NaOH": 0.0, "Na^+": 0.25, "OH^-": 0.25}, [WATER])
    assert s["OH^-"] == pytest.approx(0.25, rel=1e-12)
    assert s["H^+"] == pytest.approx(4e-14, rel=1e-12)


def test_holding_a_species_without_limit_has_no_solution():
    with pytest.raises(NoSolution, match="without end"):
        eq.Mixture({"Ag^+": 0.1, "Cl^-": 0.1}, [AGCL]).equilibrate(fixed={"Ag^+": 0.1, "Cl^-": 0.1})


@pytest.mark.parametrize("scale", [1e-12, 1e-6, 1.0, 10.0])
def test_scale_of_the_amounts_does_not_matter(scale):
    """With K scaled along, all concentrations scale."""
    s = solve({"Ag^+": 2 * scale, "NH3": 3 * scale}, [R("Ag^+ + NH3 <=> AgNH3^+", K=5.0 / scale)])
    b = 2 + 3 + 0.2
    assert s["AgNH3^+"] / scale == pytest.approx((b - math.sqrt(b * b - 24)) / 2, rel=1e-11)
