"""Slips a person makes at the keyboard: each gives one plain line, never a traceback of another kind."""

from fractions import Fraction

import pytest

import eqlib as eq

IRON = eq.Reaction("Fe^3+ + SCN^- <=> FeSCN^2+", K=140)


def tube(**more):
    return eq.Mixture({"Fe^3+": 1e-3, "SCN^-": 1e-3}, [IRON], volume=0.010, **more)


SLIPS = {
    "K too large for a float": (lambda: IRON.with_K(10**400), "K must be a finite number"),
    "K of thousands of digits": (lambda: IRON.with_K(10**6000), "K must be a finite number"),
    "a fraction too large": (
        lambda: eq.Mixture({"Fe^3+": Fraction(10**400)}, [IRON]),
        "must be a finite number",
    ),
    "no reactions": (lambda: eq.Mixture({"Fe^3+": 1.0}, None), "given as a list"),
    "a number for reactions": (lambda: eq.equilibrate_many(3, {"Fe^3+": 1.0}), "given as a list"),
    "a solid that is not there": (lambda: tube().equilibrate().solids["AgSCN(s)"], "AgSCN"),
    "a gas that is not there": (lambda: tube().equilibrate().pressures["NO2(g)"], "NO2"),
    "a solute that is not there": (lambda: tube().equilibrate().concentrations["Cu^2+"], "Cu"),
    "a wavelength in words": (lambda: eq.absorbance(tube().equilibrate(), "blue"), "wavelength"),
    "an ion as a solid": (lambda: eq.Stress.add_solid("SCN^-", 1e-3), "not a solid"),
    "stresses that are no list": (lambda: eq.time_course(tube(), until=9, stresses=3), "list of pairs"),
    "charge or count after a bracket": (
        lambda: eq.species("[Cu(NH3)4]2+"),
        r"two ways; write \[Cu\(NH3\)4\]\^2\+",
    ),
    "a coefficient in a formula": (lambda: eq.species("2 NO2(g)"), r"here write NO2\(g\)$"),
}


@pytest.mark.parametrize("name", SLIPS)
def test_one_plain_line(name):
    do, piece = SLIPS[name]
    with pytest.raises(eq.EqlibError, match=piece) as caught:
        do()
    assert "\n" not in str(caught.value)
    assert len(str(caught.value)) < 300


def test_a_salt_for_a_gas_mixture_is_not_called_a_gas():
    bulb = eq.Mixture({"NO2(g)": 0.04}, [eq.Reaction("2 NO2(g) <=> N2O4(g)", K=170)])
    with pytest.raises(eq.EqlibError, match=r"no solution$"):
        eq.disturb(bulb, eq.Stress.add_solid("NaCl", 1.0))


def test_values_are_found_however_a_species_is_spelt():
    found = tube().equilibrate()
    assert found.concentrations["Fe³⁺"] == found["Fe^3+"]
    assert "Fe³⁺" not in found.concentrations, "names are kept under one spelling"
    with pytest.raises(TypeError):
        found.concentrations["Fe^3+"] = 1.0


def test_degrees_celsius_for_kelvin_is_remarked():
    assert any("if 25 °C is meant, write 298.15" in note for note in tube(T=25).equilibrate().notes)
    assert not any("liquid" in note for note in tube(T=298.15).equilibrate().notes)
    warm = eq.disturb(tube(), eq.Stress.heat_to(400.0))
    assert sum("not liquid" in note for note in warm.notes) == 1
