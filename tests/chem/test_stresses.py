"""Disturbing an equilibrium: direction by amount formed, Q and K at once, and the words that explain them."""

import math
import pickle

import pytest
from hypothesis import given
from hypothesis import strategies as st

import eqlib as eq
from eqlib.chem.reactions import characteristic_product

S = eq.Stress
IRON = eq.Reaction("Fe^3+ + SCN^- <=> FeSCN^2+", K=140, dH=-6000)
SILVER = eq.Reaction("AgSCN(s) <=> Ag^+ + SCN^-", K=1.0e-12)
DIMER = eq.Reaction("2 NO2(g) <=> N2O4(g)", K=160, dH=-57200)
AMMONIA = eq.Reaction("N2(g) + 3 H2(g) <=> 2 NH3(g)", K=0.5, T=673.15, dH=-92.2e3)
IODIDE = eq.Reaction("H2(g) + I2(g) <=> 2 HI(g)", K=50.0, T=700.0, dH=-9.5e3)


def tube(*others):
    return eq.Mixture({"Fe^3+": 1e-3, "SCN^-": 1e-3}, [IRON, *others], volume=0.010)


def bulb(**more):
    return eq.Mixture({"NO2(g)": 0.1}, [DIMER], **more)


# Directions taught in every first course (common practice, no source).
DIRECTIONS = [
    (tube, S.add("KSCN", 1e-6), "forward"),
    (tube, S.add("Fe(NO3)3", 1e-6), "forward"),
    (tube, S.add("FeSCN^2+", 1e-6), "reverse"),
    (tube, S.remove("SCN^-", 1e-6), "reverse"),
    (tube, S.remove("FeSCN^2+", 1e-7), "forward"),
    (tube, S.dilute(0.010), "reverse"),
    (tube, S.add("KNO3", 1e-3), "none"),
    (tube, S.heat_to(333.15), "reverse"),
    (tube, S.heat_to(275.15), "forward"),
    (tube, S.catalyse(), "none"),
    (tube, S.add_solution({"KSCN": 0.1}, volume=0.0005), "forward"),
    (lambda: tube(SILVER), S.add_solution({"AgNO3": 0.1}, volume=0.0005), "reverse"),
    (lambda: tube(SILVER), S.add_solid("AgSCN", 1e-5), "forward"),
    (bulb, S.change_volume(0.5), "forward"),
    (bulb, S.change_volume(2.0), "reverse"),
    (bulb, S.add_inert(0.1), "none"),
    (bulb, S.add_inert(0.1, constant="pressure"), "reverse"),
    (lambda: bulb(pressure=1.0), S.add_inert(0.1, constant="pressure"), "reverse"),
    (lambda: bulb(pressure=1.0), S.add_inert(0.1, constant="volume"), "none"),
    (bulb, S.heat_to(350.0), "reverse"),
    (bulb, S.add("NO2", 0.1), "forward"),
    (bulb, S.catalyse(), "none"),
    (lambda: eq.Mixture({"HI(g)": 1.0}, [IODIDE], T=700.0), S.change_volume(0.5), "none"),
    (
        lambda: eq.Mixture({"HI(g)": 1.0}, [IODIDE], T=700.0),
        S.add_inert(1.0, constant="pressure"),
        "none",
    ),
    (lambda: eq.Mixture({"N2(g)": 1.0, "H2(g)": 3.0}, [AMMONIA], T=673.15), S.change_volume(0.5), "forward"),
]


@pytest.mark.parametrize(("make", "stress", "way"), DIRECTIONS)
def test_directions(make, stress, way):
    d = eq.disturb(make(), stress)
    assert d.direction == way
    if way == "none":
        assert d.extent == 0
    else:
        assert (d.extent > 0) == (way == "forward")
    assert d.after.Q(d.reaction) == pytest.approx(d.K, rel=1e-8)
    assert "\n" not in d.explanation


def test_more_of_a_solid_already_there_shifts_nothing():
    first = eq.disturb(tube(SILVER), S.add_solution({"AgNO3": 0.1}, volume=0.0005))
    assert first.after.solids["AgSCN(s)"] > 0
    second = eq.disturb(first.mixture, S.add_solid("AgSCN(s)", 1e-4))
    assert second.direction == "none"
    assert [r.direction for r in second.responses] == ["none", "none"]
    assert second.after["SCN^-"] == pytest.approx(first.after["SCN^-"], rel=1e-9)
    assert "pure phase" in second.explanation


def test_chaining_starts_where_the_last_one_ended():
    first = eq.disturb(tube(), S.dilute(0.010))
    second = eq.disturb(first.mixture, S.add("KSCN", 1e-6))
    assert dict(second.before.concentrations) == pytest.approx(dict(first.after.concentrations), rel=1e-9)
    assert second.before.volume == pytest.approx(0.020)


def test_at_once_is_arithmetic():
    """Before anything reacts only mixing and dilution count: all worked by hand from the state before."""
    m = tube(SILVER)
    d = eq.disturb(m, S.add_solution({"AgNO3": 0.10}, volume=0.0005))
    for name in ("Fe^3+", "SCN^-", "FeSCN^2+"):
        assert d.at_once[name] == pytest.approx(d.before[name] * 10 / 10.5, rel=1e-12)
    assert d.at_once["Ag^+"] == pytest.approx(0.10 * 0.5 / 10.5, rel=1e-12)
    assert pytest.approx(140 * 10.5 / 10, rel=1e-9) == d.Q
    assert pytest.approx(0.10 * 0.5 / 10.5 * d.before["SCN^-"] * 10 / 10.5, rel=1e-9) == d.responses[1].Q


@given(st.floats(0.05, 20.0))
def test_Q_follows_the_volume(factor):
    """Q at once is K times factor^(number of moles made), for solutions and for gases."""
    d = eq.disturb(bulb(), S.change_volume(factor))
    assert pytest.approx(factor, rel=1e-9) == d.Q / d.K
    assert d.direction == ("none" if factor == 1 else "forward" if factor < 1 else "reverse")
    if factor > 1.001:
        water = eq.disturb(tube(), S.dilute(0.010 * (factor - 1)))
        assert pytest.approx(factor, rel=1e-9) == water.Q / water.K


@given(st.floats(1e-9, 1e-3), st.sampled_from(["Fe^3+", "SCN^-", "FeSCN^2+"]))
def test_adding_shifts_away_and_never_wholly_back(mol, name):
    """What was added ends above where it was, but below where it was put: opposed, not cancelled."""
    d = eq.disturb(tube(), S.add(name, mol))
    assert d.direction == ("reverse" if name == "FeSCN^2+" else "forward")
    assert d.before[name] < d.after[name] < d.at_once[name]


@given(st.floats(278.0, 370.0), st.floats(-80e3, 80e3))
def test_heat_goes_with_the_sign_of_dH(T, dH):
    r = eq.Reaction("Fe^3+ + SCN^- <=> FeSCN^2+", K=140, dH=dH)
    d = eq.disturb(eq.Mixture({"Fe^3+": 1e-3, "SCN^-": 1e-3}, [r]), S.heat_to(T))
    push = dH * (T - 298.15)
    if abs(push) > 1.0:
        assert d.direction == ("forward" if push > 0 else "reverse")


def test_concentration_falls_while_amount_grows():
    """An equal volume of the same iron solution: more complex in moles, less in mol/L."""
    d = eq.disturb(tube(), S.add_solution({"FeCl3": 1e-3}, volume=0.010))
    assert d.direction == "forward"
    assert d.after.amounts["FeSCN^2+"] > d.before.amounts["FeSCN^2+"]
    assert d.after["FeSCN^2+"] < d.before["FeSCN^2+"]
    assert "concentration falls all the same" in d.explanation


def test_explanation_names_the_competitor():
    d = eq.disturb(tube(SILVER), S.add_solution({"AgNO3": 0.10}, volume=0.0005))
    text = d.explanation
    for piece in (
        "AgNO3",
        "AgSCN(s) <=> Ag^+ + SCN^-",
        "of SCN^-: [SCN^-] falls",
        "far above K",
        "to reactants",
    ):
        assert piece in text
    assert "Ag⁺" in d.explanation_unicode
    assert "^" not in d.explanation_unicode


def test_competitor_can_overrule_Q():
    """Concentrated iron solution that brings oxalate along: Q < K at once, yet the complex ends up less."""
    oxalate = eq.Reaction("Fe^3+ + C2O4^2- <=> FeC2O4^+", K=2.5e7)
    d = eq.disturb(tube(oxalate), S.add("Na2C2O4", 2e-5))
    assert pytest.approx(d.K, rel=1e-9) == d.Q
    assert d.direction == "reverse"
    assert "still equals K" in d.explanation
    assert "[Fe^3+] falls" in d.explanation


def test_extents_share_species():
    """Two complexes of one ligand: each extent is the change of its own product."""
    fluoride = eq.Reaction("Fe^3+ + F^- <=> FeF^2+", K=1.6e5)
    d = eq.disturb(tube(fluoride, SILVER), S.add("NaF", 5e-6))
    gained = {n: d.after.amounts[n] - d.at_once.amounts.get(n, 0.0) for n in ("FeSCN^2+", "FeF^2+")}
    assert d.responses[0].extent == pytest.approx(gained["FeSCN^2+"], rel=1e-9)
    assert d.responses[1].extent == pytest.approx(gained["FeF^2+"], rel=1e-9)
    assert d.responses[2].direction == "none"


def test_redundant_first_reaction_goes_by_its_product():
    """The overall formation is the sum of two steps, so its own extent has no meaning; its product has."""
    overall = eq.Reaction("Ag^+ + 2 NH3 <=> Ag(NH3)2^+", K=2.0e3 * 8.0e3)
    steps = [
        eq.Reaction("Ag^+ + NH3 <=> Ag(NH3)^+", K=2.0e3),
        eq.Reaction("Ag(NH3)^+ + NH3 <=> Ag(NH3)2^+", K=8.0e3),
    ]
    m = eq.Mixture({"Ag^+": 0.01, "NH3": 0.02, "NO3^-": 0.01}, [overall, *steps])
    assert not eq.disturb(m, S.add("NH3", 0.01)).responses[0].determined
    assert eq.disturb(m, S.add("NH3", 0.01)).direction == "forward"
    assert eq.disturb(m, S.dilute(1.0)).direction == "reverse"
    assert eq.disturb(m, S.catalyse()).direction == "none"
    assert characteristic_product(overall) == "Ag(NH3)2^+"


def test_precipitate_first():
    """The first reaction may be the precipitate itself, dissolving in ammonia."""
    chloride = eq.Reaction("AgCl(s) <=> Ag^+ + Cl^-", K=1.8e-10)
    complex_ion = eq.Reaction("Ag^+ + 2 NH3 <=> Ag(NH3)2^+", K=1.7e7)
    m = eq.Mixture({"AgCl(s)": 0.01}, [chloride, complex_ion])
    d = eq.disturb(m, S.add("NH3", 1.0))
    assert d.direction == "forward"
    assert d.after.solids["AgCl(s)"] == 0
    back = eq.disturb(d.mixture, S.add("NaCl", 0.5))
    assert back.direction == "reverse"
    assert eq.disturb(m, S.remove("AgCl(s)", 0.001)).direction == "none"


def test_acid_and_base():
    indicator = eq.Reaction("HIn <=> H^+ + In^-", K=1e-7)
    m = eq.Mixture({"HIn": 1e-4}, [indicator, eq.water()])
    assert eq.disturb(m, S.add("HNO3", 1e-3)).direction == "reverse"
    assert eq.disturb(m, S.add("NaOH", 1e-3)).direction == "forward"
    assert eq.disturb(m, S.add("NaOH", 1e-3)).after.pH == pytest.approx(10.95, abs=0.05)
    lonely = eq.disturb(eq.Mixture({"HIn": 1e-4}, [indicator]), S.add("NaOH", 1e-3))
    assert any("eq.water()" in note for note in lonely.notes)


def test_gas_over_a_solution():
    henry = eq.Reaction("CO2(g) <=> CO2", K=0.83)
    acid = eq.Reaction("CO2 + H2O <=> H^+ + HCO3^-", K=4.5e-7)
    m = eq.Mixture({"CO2": 0.03}, [acid, henry, eq.water()], volume=0.020, headspace=0.010)
    pulled = eq.disturb(m, S.change_volume(0.060))
    assert pulled.direction == "reverse"
    assert pulled.after.pH > pulled.before.pH


def test_heat_without_enthalpy_says_so():
    r = eq.Reaction("Fe^3+ + SCN^- <=> FeSCN^2+", K=140)
    d = eq.disturb(eq.Mixture({"Fe^3+": 1e-3, "SCN^-": 1e-3}, [r]), S.heat_to(330.0))
    assert d.direction == "none"
    assert "not known" in d.explanation
    assert any("dH is not known" in note for note in d.notes)


def test_names_are_matched_and_spectators_reported():
    acetate = eq.Reaction("CH3CO2H <=> H^+ + CH3CO2^-", K=1.8e-5)
    m = eq.Mixture({"CH3CO2H": 0.1}, [acetate])
    d = eq.disturb(m, S.add("CH3COONa", 0.1))
    assert d.direction == "reverse"
    assert any("CH3COO^- is taken as CH3CO2^-" in note for note in d.notes)
    assert any("Na^+ takes part in none" in note for note in d.notes)


@pytest.mark.parametrize("model", ["davies", "debye-huckel"])
def test_with_activities_a_spectator_does_shift(model):
    """Salt screens the ions: Q, in activities, is no longer K although no reacting concentration changed."""
    d = eq.disturb(tube(), S.add("KNO3", 1e-3), activity=model)
    assert d.direction == "reverse"
    assert d.Q > d.K
    assert eq.disturb(tube(), S.catalyse(), activity=model).direction == "none"
    assert pytest.approx(140, rel=1e-9) == eq.disturb(tube(), S.catalyse(), activity=model).Q


def test_stresses_are_values():
    stress = S.add_solution({"AgNO3": 0.1}, volume=0.0005)
    assert stress == S.add_solution({"AgNO3": 0.1}, volume=0.0005)
    assert hash(stress) == hash(pickle.loads(pickle.dumps(stress)))
    assert stress.describe() == "add 0.5 mL of a solution of 0.1 mol/L AgNO3"
    assert S.heat_to(333.15).describe() == "bring the temperature to 333.15 K (60 °C)"


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (lambda: eq.disturb(tube(), S.remove("SCN^-", 1.0)), "8.893e-06 mol"),
        (lambda: eq.disturb(tube(), S.remove("SNC^-", 1.0)), "the same atoms are written SCN^- here"),
        (lambda: eq.disturb(tube(), S.add("SNC^-", 1.0)), "the same atoms are written SCN^- here"),
        (lambda: eq.disturb(tube(), S.remove("Xe", 1.0)), "not in this mixture"),
        (lambda: eq.disturb(tube(), S.remove("H2O", 1.0)), "solvent"),
        (lambda: eq.disturb(tube(), S.change_volume(1.0)), "dilute"),
        (lambda: eq.disturb(tube(), S.add_inert(1.0)), "no gas"),
        (lambda: eq.disturb(tube(), S.add("NO2(g)", 1.0)), "gas space"),
        (lambda: eq.disturb(bulb(), S.dilute(1.0)), "no solution"),
        (lambda: eq.disturb(bulb(), S.add("KSCN", 1.0)), "no solution"),
        (lambda: eq.disturb(eq.Mixture({"Ag^+": 1.0}), S.dilute(1.0)), "no reactions"),
        (lambda: eq.disturb("tube", S.dilute(1.0)), "Mixture"),
        (lambda: eq.disturb(tube(), "dilute"), "Stress"),
        (lambda: S.heat_to(-5), "above 0 K"),
        (lambda: S.heat_to(0), "above 0 K"),
        (lambda: S.add("KSCN", -1), "negative"),
        (lambda: S.add("KSCN", math.nan), "finite"),
        (lambda: S.add("KSCN", "1"), "finite number"),
        (lambda: S.add("Xx", 1), "Xx"),
        (lambda: S.add_solution({"KSCN": 0.1}, volume=0), "more than 0"),
        (lambda: S.add_solution({}, volume=1), "nothing is named"),
        (lambda: S.add_solution("KSCN", volume=1), "concentrations"),
        (lambda: S.add_solid("NO2(g)", 1), "gas"),
        (lambda: S.change_volume(-1), "more than 0"),
        (lambda: S.add_inert(1, constant="mass"), "'volume' or 'pressure'"),
    ],
)
def test_bad_input_is_one_plain_line(make, says):
    with pytest.raises(eq.EqlibError) as caught:
        make()
    assert says in str(caught.value)
    assert "\n" not in str(caught.value)
