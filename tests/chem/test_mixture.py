"""Mixtures and states as people meet them: names, numbers, notes, one-line errors."""

import math
import pickle
import re

import numpy as np
import pytest

import eqlib as eq

R = eq.Reaction
IRON = R("Fe^3+ + SCN^- <=> FeSCN^2+", K=140)
SILVER = R("AgSCN(s) <=> Ag^+ + SCN^-", K=1.0e-12)


@pytest.fixture
def mixture():
    return eq.Mixture(
        {"Fe^3+": 1e-3, "SCN^-": 1e-3, "Ag^+": 4e-4, "NO3^-": 3.4e-3, "K^+": 1e-3}, [IRON, SILVER], 0.010
    )


def test_amounts_are_concentrations_times_volume(mixture):
    assert mixture.amounts()["Fe^3+"] == pytest.approx(1e-5)
    s = mixture.equilibrate()
    assert s.amounts["AgSCN(s)"] == pytest.approx(4e-6, rel=1e-5)
    assert s.solids["AgSCN(s)"] == pytest.approx(4e-4, rel=1e-5)
    assert s.volume == 0.010


def test_as_mixed_has_not_reacted(mixture):
    s = mixture.as_mixed()
    assert (s["Fe^3+"], s["FeSCN^2+"], s.solids["AgSCN(s)"]) == (1e-3, 0.0, 0.0)
    assert s.Q(IRON) == 0.0
    assert s.Q(SILVER) == pytest.approx(4e-7)


def test_names_are_read_as_written(mixture):
    s = mixture.equilibrate()
    assert s["Fe+3"] == s["Fe³⁺"] == s["Fe^3+"]
    assert s["SCN-"] == s["SCN^-"]
    assert "FeSCN^2+" in s
    assert "Cl^-" not in s
    assert s.get("Cl^-") == 0.0


@pytest.mark.parametrize(
    ("name", "hint"),
    [
        ("FeSNC^2+", "did you mean FeSCN\\^2\\+"),
        ("AgSCN", "there it is a solid, written AgSCN\\(s\\)"),
        ("Fe^3+(s)", "there it is a solute"),
        ("Br^-", "is not in this mixture"),
    ],
)
def test_a_species_that_is_not_there_is_an_error_that_helps(mixture, name, hint):
    with pytest.raises(eq.EqlibError, match=hint) as caught:
        mixture.equilibrate()[name]
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("totals", "words"),
    [
        ({"Fe^3+": -1e-3}, ["Fe^3+", "-0.001"]),
        ({"Fe^3+": math.nan}, ["Fe^3+", "nan"]),
        ({"Fe^3+": math.inf}, ["Fe^3+", "inf"]),
        ({"Fe^3+": "much"}, ["Fe^3+", "much"]),
        ({"Fe3+": 1e-3}, ["Fe^3+"]),
        ({"Xq^3+": 1e-3}, ["Xq"]),
        ([1, 2], ["totals", "list"]),
    ],
)
def test_bad_totals(totals, words):
    with pytest.raises(eq.EqlibError) as caught:
        eq.Mixture(totals, [IRON])
    text = str(caught.value)
    assert "\n" not in text
    assert all(w in text for w in words)


@pytest.mark.parametrize(
    ("more", "word"),
    [
        ({"volume": 0.0}, "volume"),
        ({"T": -1.0}, "temperature"),
        ({"headspace": -0.1}, "headspace"),
        ({"pressure": 0.0}, "pressure"),
        ({"pressure": 1.0, "headspace": 0.1}, "either a pressure or a headspace"),
        ({"reactions": ["A <=> B"]}, "not a Reaction"),
        ({"reactions": [R("Fe^3+ + SCN^- <=> FeSCN^2+")]}, "equilibrium constant"),
        ({"reactions": [R("Fe^3+ + e^- <=> Fe^2+", K=1e13)]}, "half-reaction"),
        ({"reactions": [R("Fe^3+ + 2 SCN^- <=> FeSCN^2+", K=1.0)]}, "not balanced"),
    ],
)
def test_bad_mixtures(more, word):
    with pytest.raises(eq.EqlibError, match=word) as caught:
        eq.Mixture({"Fe^3+": 1e-3}, **{"reactions": [IRON], **more})
    assert "\n" not in str(caught.value)


def test_a_mixture_cannot_be_changed_but_copied(mixture):
    with pytest.raises(AttributeError):
        mixture.volume = 2.0
    with pytest.raises(TypeError):
        mixture.totals["Fe^3+"] = 1.0
    other = mixture.with_(volume=0.020)
    assert (other.volume, mixture.volume) == (0.020, 0.010)
    assert other.totals == mixture.totals
    with pytest.raises(eq.EqlibError, match="no 'colour'"):
        mixture.with_(colour="red")
    assert pickle.loads(pickle.dumps(mixture)) == mixture
    assert len({mixture, mixture.with_()}) == 1


def test_charge_that_does_not_balance_is_said_not_mended(mixture):
    assert not [n for n in mixture.equilibrate().notes if "charge" in n]
    s = eq.Mixture({"Fe^3+": 1e-3, "SCN^-": 1e-3}, [IRON]).equilibrate()
    assert s.charge_imbalance == pytest.approx(2e-3)
    assert any("charges do not balance" in n for n in s.notes)


def test_ionic_strength_counts_spectators(mixture):
    """Before reaction: (9 * 1 + 1 + 0.4 + 3.4 + 1) / 2 mmol/L."""
    assert mixture.as_mixed().ionic_strength == pytest.approx(7.4e-3)


def test_water_is_not_added_silently():
    s = eq.Mixture({"H^+": 0.1, "OH^-": 0.1}, []).equilibrate()
    assert (s["H^+"], s["OH^-"]) == (0.1, 0.1)
    assert any("no reaction links them" in n for n in s.notes)
    linked = eq.Mixture({"H^+": 0.1, "OH^-": 0.1}, [eq.water()]).equilibrate()
    assert not [n for n in linked.notes if "links" in n]


def test_pH():
    assert eq.Mixture({"H^+": 0.01, "Cl^-": 0.01}).equilibrate().pH == pytest.approx(2.0)
    only_base = eq.Mixture({"OH^-": 0.01, "Na^+": 0.01}).equilibrate()
    assert only_base.pH == pytest.approx(11.995)
    assert any("pKw 13.995" in n for n in only_base.notes)
    with pytest.raises(eq.EqlibError, match="no H"):
        _ = eq.Mixture({"Na^+": 0.01}).equilibrate().pH


def test_hydronium_is_the_proton():
    acid = R("CH3COOH + H2O(l) <=> H3O^+ + CH3COO^-", K=1.8e-5)
    s = eq.Mixture({"CH3COOH": 0.1}, [acid]).equilibrate()
    x = (-1.8e-5 + math.sqrt(1.8e-5**2 + 4 * 1.8e-6)) / 2
    assert s["H3O^+"] == s["H^+"] == pytest.approx(x, rel=1e-12)
    assert s.Q(acid) == pytest.approx(1.8e-5, rel=1e-12)


def test_a_buffer_held_at_its_pH():
    """[A-]/[HA] = Ka / [H+], whatever acid that takes."""
    acid = R("CH3COOH <=> H^+ + CH3COO^-", K=1.8e-5)
    m = eq.Mixture({"CH3COOH": 0.1}, [acid, eq.water()])
    s = m.equilibrate(fixed_pH=5.0)
    assert s.pH == pytest.approx(5.0)
    assert s["CH3COO^-"] / s["CH3COOH"] == pytest.approx(1.8, rel=1e-12)
    assert s["CH3COO^-"] + s["CH3COOH"] == pytest.approx(0.1, rel=1e-12)
    assert m.equilibrate(fixed={"H^+": 1e-5})["CH3COO^-"] == pytest.approx(s["CH3COO^-"], rel=1e-12)
    for wrong, word in (({"Br^-": 1.0}, "none of the reactions"), ({"H^+": -1.0}, "H\\^\\+")):
        with pytest.raises(eq.EqlibError, match=word):
            m.equilibrate(fixed=wrong)


def test_temperature_moves_the_constant_when_its_enthalpy_is_known():
    """ln(K2/K1) = -dH/R (1/T2 - 1/T1)."""
    warm = R("Fe^3+ + SCN^- <=> FeSCN^2+", K=140, dH=-6000.0)
    s = eq.Mixture({"Fe^3+": 1e-3, "SCN^-": 1e-3}, [warm], T=330.0).equilibrate()
    K = 140 * math.exp(6000.0 / 8.314462618 * (1 / 330.0 - 1 / 298.15))
    assert s["FeSCN^2+"] / (s["Fe^3+"] * s["SCN^-"]) == pytest.approx(K, rel=1e-9)
    assert s.K(warm) == pytest.approx(K, rel=1e-9)
    unknown = eq.Mixture({"Fe^3+": 1e-3, "SCN^-": 1e-3}, [IRON], T=330.0).equilibrate()
    assert unknown.K(IRON) == 140
    assert any("dH is not known" in n for n in unknown.notes)


def test_what_is_shown(mixture):
    s = mixture.equilibrate()
    assert "AgSCN(s) 0.0004 mol per L" in repr(s)
    page = s._repr_html_()
    assert '<th scope="col">' in page
    assert '<th scope="row"' in page
    assert "<caption>" in page
    assert "FeSCN²⁺" in page
    assert "iron three plus" in page


def test_water_itself():
    assert eq.Mixture({"H^+": 0.1}, [eq.water()]).equilibrate()["H2O(l)"] == 55.5
    with pytest.raises(eq.EqlibError, match="H2O"):
        eq.Mixture({"N2(g)": 0.1}).equilibrate()["H2O(l)"]


# -- what is given is read, or refused --------------------


def test_a_strong_acid_given_as_a_total_is_its_ions():
    """pH of 1.00e-3 mol/L hydrochloric acid is 3.00."""
    m = eq.Mixture({"HCl": 1e-3}, [eq.water()])
    assert dict(m.totals) == {"H^+": 1e-3, "Cl^-": 1e-3}
    assert m.equilibrate().pH == pytest.approx(3.0, abs=1e-6)
    assert "HCl is taken as H^+ and Cl^-." in m.equilibrate().notes


def test_salts_given_as_totals_react():
    """x = 140 (1e-3 - x)^2 by hand, whichever way the iron and the thiocyanate are named."""
    b = 2e-3 + 1 / 140
    x = (b - math.sqrt(b * b - 4e-6)) / 2
    salts = {"Fe(NO3)3.9H2O": 1e-3, "KSCN": 1e-3}
    state = eq.Mixture(salts, [IRON]).equilibrate()
    assert state["FeSCN^2+"] == pytest.approx(x, rel=1e-9)
    assert state["NO3^-"] == pytest.approx(3e-3)
    assert state.charge_imbalance == pytest.approx(0, abs=1e-15)
    many = eq.equilibrate_many([IRON], {name: np.array([value]) for name, value in salts.items()})
    assert many["FeSCN^2+"][0] == pytest.approx(x, rel=1e-9)
    assert many["K^+"][0] == pytest.approx(1e-3)


def test_a_species_of_the_reactions_is_never_split():
    acid = eq.Reaction("HCl <=> H^+ + Cl^-", K=1e6)
    assert dict(eq.Mixture({"HCl": 0.1}, [acid]).totals) == {"HCl": 0.1}
    silver = eq.Reaction("AgCl(s) <=> Ag^+ + Cl^-", K=1.8e-10)
    assert dict(eq.Mixture({"AgCl(s)": 0.1}, [silver]).totals) == {"AgCl(s)": 0.1}
    assert dict(eq.Mixture({"AgCl(s)": 0.1, "Na^+": 1.0}, [acid]).totals) == {"AgCl(s)": 0.1, "Na^+": 1.0}


def test_what_was_a_species_stays_one_when_its_reaction_goes():
    bismuth = eq.Reaction("Bi^3+ + 3 Cl^- <=> BiCl3", K=1e5)
    m = eq.Mixture({"BiCl3": 0.1}, [bismuth, eq.water()])
    assert dict(m.with_(reactions=[eq.water()]).totals) == {"BiCl3": 0.1}


def test_a_gas_named_without_its_phase_is_the_gas():
    m = eq.Mixture({"NO2": 0.04}, [eq.Reaction("2 NO2(g) <=> N2O4(g)", K=160)])
    assert dict(m.totals) == {"NO2(g)": 0.04}
    assert "NO2 is taken as NO2(g)." in m.remarks


@pytest.mark.parametrize(
    ("totals", "says"), [({"FeSCN": 1e-3}, "its ions"), ({"SNC^-": 1e-3}, "written SCN^-")]
)
def test_what_cannot_be_read_is_refused(totals, says):
    with pytest.raises(eq.EqlibError, match=re.escape(says)):
        eq.Mixture(totals, [IRON])


@pytest.mark.parametrize(
    "totals", [{"Fe^3+": 1e-3, "SCN^-": 1e-3}, {"Fe^3+": 1e-3, "NO3^-": 3e-3, "K^+": 1e-5}]
)
def test_charges_that_do_not_balance_are_remarked_on(totals):
    notes = eq.Mixture(totals, [IRON]).equilibrate().notes
    excess = 3 * totals["Fe^3+"] + totals.get("K^+", 0) - totals.get("SCN^-", 0) - totals.get("NO3^-", 0)
    assert any(f"{excess:.3g} mol/L too much positive charge" in note for note in notes)


def test_balanced_charges_are_not_remarked_on():
    notes = eq.Mixture({"Fe(NO3)3": 1e-3, "KSCN": 1e-3}, [IRON]).equilibrate().notes
    assert not any("charge" in note for note in notes)


def test_heating_to_60_kelvin_is_remarked_on_as_a_mixture_at_60_is():
    m = eq.Mixture({"Fe(NO3)3": 1e-3, "KSCN": 1e-3}, [IRON])
    said = [note for note in m.with_(T=60.0).remarks if "60 °C is meant, write 333.15" in note]
    assert said
    assert said[0] in eq.disturb(m, eq.Stress.heat_to(60)).notes
    assert not any("°C" in note for note in eq.disturb(m, eq.Stress.heat_to(333.15)).notes)


ESTER = eq.Reaction("CH3COOH + C2H5OH <=> CH3COOC2H5 + H2O(aq)", K=4)


def test_water_as_a_solute_counts():
    """Acid and alcohol, 1 mol each, K = 4: 2/3 mol of ester (any general chemistry text; from memory)."""
    assert ESTER.expression == "Kc = [CH3COOC2H5] [H2O] / ([CH3COOH] [C2H5OH])"
    table = eq.ice(ESTER, {"CH3COOH": 1.0, "C2H5OH": 1.0})
    assert table.extent == pytest.approx(2 / 3, rel=1e-12)
    state = eq.Mixture({"CH3COOH": 10.0, "C2H5OH": 10.0}, [ESTER], volume=0.1).equilibrate()
    assert state.amounts["CH3COOC2H5"] == pytest.approx(2 / 3, rel=1e-12)
    assert state["H2O(aq)"] == pytest.approx(20 / 3, rel=1e-12)
    assert ESTER.quotient({"CH3COOH": 1, "C2H5OH": 1, "CH3COOC2H5": 2, "H2O": 3}) == 6


def test_water_added_to_an_ester_turns_it_back_and_is_no_solvent():
    m = eq.Mixture({"CH3COOH": 10.0, "C2H5OH": 10.0, "H2O": 1.0}, [ESTER], volume=0.1)
    assert dict(m.totals)["H2O(aq)"] == 1.0
    d = eq.disturb(m, eq.Stress.add("H2O", 0.5))
    assert d.direction == "reverse"
    assert d.at_once.volume == d.before.volume


def test_water_without_a_phase_is_the_solvent():
    r = eq.Reaction("CH3COOH + C2H5OH <=> CH3COOC2H5 + H2O", K=4)
    assert "H2O" not in r.expression
    assert eq.species("H2O(aq)").unicode == "H₂O(aq)"
    assert eq.species("H2O").name == "H2O(l)"


def test_a_molecule_that_no_reaction_knows_is_remarked_on():
    water = eq.water()
    assert "H3PO4 takes part in none" in " ".join(eq.Mixture({"H3PO4": 0.01}, [water]).equilibrate().notes)
    both = eq.Mixture({"H3PO4": 0.01, "SiO2(s)": 0.01}, [water]).equilibrate().notes
    assert "H3PO4 and SiO2(s) take part in none of the reactions" in " ".join(both)
    for fine in ({"NaCl": 0.1}, {"H2O(l)": 1.0}, {"Na^+": 0.1, "Cl^-": 0.1}, {"H3PO4": 0.0}):
        assert "take" not in " ".join(n for n in eq.Mixture(fine, [water]).equilibrate().notes if "none" in n)
