"""What an explanation says, read as a student reads it; expected numbers are worked by hand."""

import math
import re

import pytest

import eqlib as eq
from eqlib.writing import apart, moles, number, volume

S = eq.Stress
IRON = eq.Reaction("Fe^3+ + SCN^- <=> FeSCN^2+", K=140, dH=-6000)
SILVER = eq.Reaction("AgSCN(s) <=> Ag^+ + SCN^-", K=1e-12)
CHLORIDE = eq.Reaction("AgCl(s) <=> Ag^+ + Cl^-", K=1.8e-10)
DIOXIDE = eq.Reaction("2 NO2(g) <=> N2O4(g)", K=6.8, basis="p", dH=-57200)
IODIDE = eq.Reaction("H2(g) + I2(g) <=> 2 HI(g)", K=50, T=700.0)
HENRY = eq.Reaction("CO2(g) <=> CO2", K=0.034, basis="p")
ALUMINIUM = [
    eq.Reaction("Al(OH)3(s) <=> Al^3+ + 3 OH^-", K=2e-32),
    eq.Reaction("Al(OH)3(s) + OH^- <=> Al(OH)4^-", K=40),
    eq.water(),
]


def tube(*more):
    return eq.Mixture({"Fe^3+": 1e-3, "SCN^-": 1e-3}, [IRON, *more], volume=0.010)


def bulb(**more):
    return eq.Mixture({"NO2(g)": 0.04}, [DIOXIDE], **more)


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (0, "0"),
        (2.62e-10, "2.62 × 10⁻¹⁰"),
        (1e-12, "1 × 10⁻¹²"),
        (1469.6, "1470"),
        (12345.0, "1.23 × 10⁴"),
        (9999.6, "1 × 10⁴"),
        (0.00089, "8.9 × 10⁻⁴"),
        (0.00123, "0.00123"),
        (1.0000000002, "1"),
        (0.09999999, "0.1"),
        (-6.0, "−6"),
    ],
)
def test_numbers_are_printed_as_in_a_book(value, text):
    assert number(value) == text


def test_amounts_and_volumes_have_a_unit_that_suits():
    assert [moles(v) for v in (0.25, 5e-3, 1e-7, 0, 3e-12)] == [
        "0.25 mol",
        "5 mmol",
        "0.1 µmol",
        "0 mol",
        "3 × 10⁻¹² mol",
    ]
    assert [volume(v) for v in (0.0005, 0.75, 1, 2.5)] == ["0.5 mL", "750 mL", "1 L", "2.5 L"]


def test_two_numbers_are_told_apart():
    assert apart(140.2, 140.0) == ("140.2", "140")
    assert apart(22.2, 140.0) == ("22.2", "140")


def test_a_small_dilution_does_not_read_as_140_above_140():
    """Q at once is 140 × 10.01 / 10 = 140.14."""
    text = eq.disturb(tube(), S.dilute(1e-5)).explanation
    assert "= 140.1, a little above K = 140. The reaction runs to reactants" in text


CASES = [
    (tube(), S.add("KSCN", 1e-6)),
    (tube(SILVER), S.add_solution({"AgNO3": 0.1}, volume=0.0005)),
    (bulb(), S.heat_to(350.0)),
    (bulb(pressure=1.0), S.add_inert(0.1, constant="pressure")),
    (eq.Mixture({"CO2(g)": 0.04}, [HENRY], volume=0.5, headspace=0.5), S.change_volume(0.7)),
    (eq.Mixture({}, [eq.water()]), S.add("HNO3", 1e-3)),
    (eq.Mixture({"Al(OH)3(s)": 0.01}, ALUMINIUM, volume=0.1), S.dilute(1e6)),
]


@pytest.mark.parametrize(("mixture", "stress"), CASES, ids=range(len(CASES)))
def test_no_computer_notation(mixture, stress):
    text = eq.disturb(mixture, stress).explanation
    assert not re.search(r"\de[+-]?\d", text)
    assert not re.search(r"\d\.\d{6}", text)
    assert "\n" not in text
    assert "  " not in text


def test_a_solute_is_in_mol_per_litre_even_where_K_is_in_bar():
    m = eq.Mixture({"CO2(g)": 0.04}, [HENRY], volume=0.5, headspace=0.5)
    text = eq.disturb(m, S.add("CO2", 0.01)).explanation
    assert re.search(r"\[CO2\] rises from \S+ to \S+ mol/L at once", text)
    assert re.search(r"partial pressure rises from \S+ bar before to \S+ bar", text)
    squeezed = eq.disturb(m, S.change_volume(0.7)).explanation
    assert "from 500 to 200 mL multiplies every partial pressure at once by 2.5" in squeezed
    assert "every concentration" not in squeezed


def test_heating_at_constant_pressure_changes_no_partial_pressure_at_once():
    d = eq.disturb(bulb(pressure=1.0), S.heat_to(350.0))
    assert pytest.approx(6.8, rel=1e-9) == d.Q
    assert "no partial pressure changes at once" in d.explanation
    assert "dilutes" not in d.explanation


def test_as_many_moles_of_gas_on_either_side():
    d = eq.disturb(eq.Mixture({"HI(g)": 1.0}, [IODIDE], T=700.0), S.change_volume(0.5))
    assert "as many moles of gas on the left as on the right" in d.explanation


def test_a_solid_that_appears_or_goes_is_named():
    made = eq.disturb(tube(SILVER), S.add_solution({"AgNO3": 0.1}, volume=5e-5))
    assert "AgSCN(s) appears, 5 µmol of it" in made.explanation
    # 15 µmol in 2 L dissolves: less than the 1.34 × 10⁻⁵ mol/L that saturates.
    gone = eq.disturb(eq.Mixture({"AgCl(s)": 1.5e-5}, [CHLORIDE]), S.dilute(1.0))
    assert gone.explanation.endswith("No AgCl(s) is left.")


def test_a_solid_used_up_by_another_equilibrium_is_not_laid_to_the_first():
    """Alkali drives the first reaction backwards, yet the solid dissolves, as aluminate."""
    m = eq.Mixture({"Al(OH)3(s)": 0.01}, ALUMINIUM, volume=0.1)
    d = eq.disturb(m, S.add("NaOH", 0.5))
    assert d.direction == "reverse"
    assert d.explanation.endswith(
        "No Al(OH)3(s) is left, for it is used up by Al(OH)3(s) + OH^- <=> Al(OH)4^-."
    )


def test_a_chain_of_causes_is_told_in_its_order():
    """Acid binds oxalate; so the iron oxalate complex, at equilibrium until then, gives its iron back."""
    reactions = [
        eq.Reaction("Fe^3+ + SCN^- <=> FeSCN^2+", K=140),
        eq.Reaction("Fe^3+ + C2O4^2- <=> FeC2O4^+", K=2.5e7),
        eq.Reaction("HC2O4^- <=> H^+ + C2O4^2-", K=5.4e-5),
    ]
    m = eq.Mixture({"Fe^3+": 1e-3, "SCN^-": 1e-3, "C2O4^2-": 1e-3}, reactions)
    d = eq.disturb(m, S.add("H^+", 1.0))
    assert d.direction == "forward"
    acid, iron, answer = d.events[1:]
    assert [acid.kind, iron.kind, answer.kind] == ["driver", "rival", "answer"]
    assert (
        "HC2O4^- <=> H^+ + C2O4^2- has no HC2O4^- yet, so it runs to reactants (←) and takes up"
        in acid.sentence
    )
    assert "[C2O4^2-] falls" in acid.sentence
    assert "Fe^3+ + C2O4^2- <=> FeC2O4^+" in iron.sentence
    assert "so it runs to reactants (←) and gives back" in iron.sentence
    assert "[Fe^3+] rises" in iron.sentence
    assert "below K = 140, so the reaction runs to products" in answer.sentence
    assert d.rivals == (reactions[2], reactions[1])


def test_a_reaction_that_only_goes_along_is_not_called_a_cause():
    """Water shifts the complex by itself; a little hydrolysis beside it explains nothing (iron rises)."""
    hydrolysis = eq.Reaction("Fe^3+ + H2O(l) <=> FeOH^2+ + H^+", K=1.8e-3)
    m = eq.Mixture(
        {"Fe^3+": 2.5e-3, "SCN^-": 1e-3, "H^+": 0.05},
        [eq.Reaction("Fe^3+ + SCN^- <=> FeSCN^2+", K=140), hydrolysis],
    )
    assert eq.disturb(m, S.dilute(1.0)).rivals == ()
    assert eq.disturb(m, S.add("SCN^-", 1e-2)).rivals == ()


def test_ionic_strength_is_named_where_activities_count():
    salt = S.add_solution({"KNO3": 1.0}, volume=0.001)
    assert "The ionic strength rises" in eq.disturb(tube(), salt, activity="davies").explanation
    assert "ionic strength" not in eq.disturb(tube(), salt).explanation


def test_what_cannot_happen_is_only_asked_for():
    d = eq.disturb(eq.Mixture({"Ag^+": 1e-5}, [CHLORIDE]), S.add("NaCl", 1e-5))
    assert "would ask for change to products" in d.explanation
    assert "there is no AgCl(s) to react" in d.explanation


def test_what_the_answer_sets_free_the_rival_takes_up_too():
    """Where that is most of what it takes: acid in ammonia. Else it is a detail and the solid says it all."""
    reactions = [
        eq.Reaction("NH3 + H2O(l) <=> NH4^+ + OH^-", K=1.8e-5),
        eq.Reaction("H2O(l) <=> H^+ + OH^-", K=1e-14),
    ]
    m = eq.Mixture({"NH3": 0.010}, reactions, volume=0.002)
    d = eq.disturb(m, S.add_solution({"HCl": 0.10}, volume=0.0001))
    # Ten micromole of acid: OH- goes from 0.42 mmol/L (square root of 1.8e-5 x 0.01), 0.8 umol, to none.
    assert "The OH^- that this sets free is taken up in turn (9." in d.explanation
    d = eq.disturb(tube(SILVER), S.add_solution({"AgNO3": 0.1}, volume=0.0005))
    assert "in turn" not in d.explanation
    assert "AgSCN(s) appears" in d.explanation


@pytest.mark.parametrize(("share", "named"), [(0.5, True), (0.1, False)])
def test_a_second_rival_is_named_where_it_counts(share, named):
    """Both bind all that is added of them (invented constants), so what they take up is what was added."""
    second = "Fe^3+ + SO4^2- <=> FeSO4^+"
    reactions = [
        eq.Reaction("Fe^3+ + SCN^- <=> FeSCN^2+", K=140),
        eq.Reaction("Fe^3+ + F^- <=> FeF^2+", K=1e10),
        eq.Reaction(second, K=1e10),
    ]
    m = eq.Mixture({"Fe^3+": 2e-3, "SCN^-": 1e-4}, reactions, volume=0.010)
    added = S.add_solution({"NaF": 0.010, "Na2SO4": 0.010 * share}, volume=0.001)
    (told,) = (event for event in eq.disturb(m, added).events if event.kind == "rival")
    assert "takes up 10 µmol of Fe^3+" in told.sentence
    assert (f"(and {second} another 5 µmol)" in told.sentence) is named
    assert ("other equilibria take up 1 µmol more" in told.sentence) is not named


def test_a_gas_that_takes_no_part_leaves_the_others_their_pressures():
    assert "so their own partial pressures do not change" in eq.disturb(bulb(), S.add_inert(0.1)).explanation


def test_room_above_a_solution_changes_the_pressure_of_its_gas():
    acid = eq.Reaction("CO2 + H2O <=> H^+ + HCO3^-", K=4.5e-7)
    m = eq.Mixture({"CO2": 0.03}, [acid, eq.Reaction("CO2(g) <=> CO2", K=0.83)], volume=0.02, headspace=0.01)
    assert "so its pressure falls at once" in eq.disturb(m, S.change_volume(0.06)).explanation


def test_the_per_cent_told_are_those_of_the_amounts_told():
    """As in "falls by 0.226 µmol, from 0.467 to 0.241 µmol (−48.4 %)": 0.226/0.467."""
    told = 0
    for name in eq.systems():
        system = eq.system(name)
        for step in system.steps.values():
            if step.after is not None:
                continue
            text = eq.disturb(system.mixture(), step.stress).explanation
            for by, start, end, share in re.findall(
                r"by ([\d.]+) \S+, from ([\d.]+) to ([\d.]+) \S+ \(([+−]?[\d.]+) %\)", text
            ):
                change = 100 * (float(end) - float(start)) / float(start)
                unit = 10.0 ** (math.floor(math.log10(abs(change))) - 2)
                assert float(share.replace("−", "-")) == pytest.approx(change, abs=0.501 * unit), (name, text)
                assert float(by) == pytest.approx(abs(float(end) - float(start)), rel=1e-9)
                told += 1
    assert told > 10
