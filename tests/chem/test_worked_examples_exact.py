"""Examples whose source approximates: its assumption reproduced, and the exact answer found independently.

The exact answers come from mpmath at 50 digits or scipy, on equations written out here; never from eqlib.
Constants beyond the book's own carry their source.
"""

import math

import mpmath
import pytest
from scipy.optimize import brentq

import eqlib as eq

PKW = 13.995


def chosen(examples, name):
    (one,) = (e for e in examples if e["id"] == name)
    return one


def positive_root(equation, low, high):
    """One root of a rising or falling function between two bounds, at 50 digits."""
    with mpmath.workdps(50):
        return float(
            mpmath.findroot(equation, (mpmath.mpf(low), mpmath.mpf(high)), solver="anderson", tol=1e-60)
        )


def test_formic_acid_small_x_and_exact(examples):
    e = chosen(examples, "os143-formic")
    Ka, C = e["given"]["Ka"], e["given"]["C_M"]
    table = eq.ice(eq.Reaction(e["reactions"][0], K=Ka), {"HCO2H": C})
    assert table.small_x.extent == pytest.approx(math.sqrt(Ka * C), rel=1e-12)
    assert table.small_x.extent == pytest.approx(e["answer"]["H_M"], rel=1e-2)  # the book's way
    exact = (-Ka + math.sqrt(Ka * Ka + 4 * Ka * C)) / 2
    assert exact == pytest.approx(9.71e-3, rel=1e-3)  # as the note says
    assert table.extent == pytest.approx(exact, rel=1e-12)


def test_hydrogen_sulfate_needs_the_quadratic(examples):
    e = chosen(examples, "os143-hso4")
    Ka, C = e["given"]["Ka"], e["given"]["C_M"]
    table = eq.ice(eq.Reaction(e["reactions"][0], K=Ka), {"HSO4^-": C})
    assert not table.small_x.valid
    assert table.small_x.error > 0.05
    assert table.extent == pytest.approx((-Ka + math.sqrt(Ka * Ka + 4 * Ka * C)) / 2, rel=1e-12)


def test_dimer_in_chloroform(examples):
    e = chosen(examples, "os134-ex-n2o4-chcl3")
    K, C = e["given"]["K"], e["given"]["initial_M"]["N2O4"]
    table = eq.ice(eq.Reaction(e["reactions"][0], K=K), {"N2O4": C})
    assert table.small_x.equilibrium["NO2"] == pytest.approx(1.1749e-3, rel=1e-4)  # as the note says
    exact = (-K + math.sqrt(K * K + 16 * K * C)) / 8
    assert table.extent == pytest.approx(exact, rel=1e-12)
    assert table.small_x.error == pytest.approx(math.sqrt(K * C) / 2 / exact - 1, rel=1e-9)
    assert abs(table.small_x.error) < 3e-3


def test_hydrocyanic_acid_with_and_without_water(examples):
    e = chosen(examples, "os134-hcn")
    K, C = e["given"]["K"], e["given"]["initial_M"]["HCN"]
    r = eq.Reaction(e["reactions"][0], K=K)
    assert eq.ice(r, {"HCN": C}).extent == pytest.approx(e["answer"]["H^+"], rel=e["rel_tol"])
    Kw = mpmath.mpf(10) ** -PKW
    exact = positive_root(lambda h: h - Kw / h - K * C / (K + h), 1e-6, 1e-4)
    state = eq.Mixture({"HCN": C}, [r, eq.water()]).equilibrate()
    assert state["H^+"] == pytest.approx(exact, rel=1e-9)
    assert exact == pytest.approx(e["answer"]["H^+"], rel=e["rel_tol"])  # water adds under 0.01 %


def test_aluminium_hydroxide_source_and_water(examples):
    """The book forgets water's own OH^-; with it, dissolution alone gives 2e-11 mol/L, as the note says."""
    e = chosen(examples, "os153-aloh3-w")
    Ksp = e["given"]["Ksp"]
    r = eq.Reaction(e["reactions"][0], K=Ksp)
    assert eq.ice(r, {}).extent == pytest.approx(e["answer"]["s_M"], rel=e["rel_tol"])
    Kw = 10**-PKW
    hydroxide = brentq(
        lambda oh: math.log((oh - Kw / oh) / 3 * oh**3 / Ksp) if oh > Kw / oh else -99.0, 1e-8, 1e-6
    )
    exact = Ksp / hydroxide**3
    state = eq.Mixture({"Al(OH)3(s)": 0.1}, [r, eq.water()]).equilibrate()
    assert state["Al^3+"] == pytest.approx(exact, rel=1e-6)
    assert exact == pytest.approx(2e-11, rel=0.05)


def test_aluminium_hydroxide_overwhelms_its_buffer(examples):
    """At a held pH the formula gives 0.12 mol/L; in the real buffer far less dissolves and the pH rises."""
    e = chosen(examples, "os153-aloh3-form")
    g = e["given"]
    dissolve, acid = (eq.Reaction(t, K=k) for t, k in zip(e["reactions"], (g["Ksp"], g["Ka"]), strict=True))
    m = eq.Mixture({"Al(OH)3(s)": 1.0, "Na^+": 0.1, **g["buffer_M"]}, [dissolve, acid, eq.water()])
    Kw = mpmath.mpf(10) ** -PKW

    def charge(pH):
        h = mpmath.mpf(10) ** -pH
        aluminium = g["Ksp"] * (h / Kw) ** 3
        return 3 * aluminium + h + mpmath.mpf("0.1") - Kw / h - mpmath.mpf("0.2") * g["Ka"] / (g["Ka"] + h)

    pH = positive_root(charge, 3.8, 6.0)
    state = m.equilibrate()
    assert state.pH == pytest.approx(pH, abs=1e-8)
    assert state["Al^3+"] < 0.3 * e["answer"]["s_M"]


def test_calcium_phosphate_with_and_without_hydrolysis(examples):
    """Phosphoric acid: pKa 2.15, 7.20, 12.35 at 25 °C, I = 0 (CRC Handbook; from memory)."""
    e = chosen(examples, "av-ca3po42")
    Ksp = e["given"]["Ksp"]
    r = eq.Reaction(e["reactions"][0], K=Ksp)
    assert eq.ice(r, {}).extent == pytest.approx((Ksp / 108) ** 0.2, rel=1e-12)
    steps = [("H3PO4", "H2PO4^-", 2.15), ("H2PO4^-", "HPO4^2-", 7.20), ("HPO4^2-", "PO4^3-", 12.35)]
    acids = [eq.Reaction(f"{a} <=> H^+ + {b}", K=10**-pK) for a, b, pK in steps]
    state = eq.Mixture({"Ca3(PO4)2(s)": 0.1}, [r, *acids, eq.water()]).equilibrate()
    with mpmath.workdps(50):
        K1, K2, K3, Kw = (mpmath.mpf(10) ** -mpmath.mpf(str(p)) for p in (2.15, 7.20, 12.35, PKW))

        def parts(h):
            """Shares of phosphate with 0..3 protons, relative to PO4^3-."""
            return 1, h / K3, h**2 / (K3 * K2), h**3 / (K3 * K2 * K1)

        def charge(pH):
            h = mpmath.mpf(10) ** -pH
            share = parts(h)
            # Ca = 3s, P total = 2s, PO4 = 2s/sum(share): Ksp = (3s)^3 (2s/sum)^2.
            s = (Ksp * sum(share) ** 2 / 108) ** mpmath.mpf("0.2")
            phosphate = 2 * s / sum(share)
            minus = phosphate * (3 * share[0] + 2 * share[1] + share[2])
            return 6 * s + h - minus - Kw / h

    exact_pH = positive_root(charge, 6.0, 12.0)
    assert state.pH == pytest.approx(exact_pH, abs=1e-8)
    assert state["Ca^2+"] / 3 > 2 * e["answer"]["s_M"]  # hydrolysis more than doubles the solubility


def test_cadmium_sulfide_hydrolysis_changes_the_answer(examples):
    """With HS^- of Ka2 = 1e-19 (OpenStax Appendix H; from memory) the sulfide is almost all protonated."""
    e = chosen(examples, "os151-ci-cds")
    g = e["given"]
    r = eq.Reaction(e["reactions"][0], K=g["Ksp"])
    assert eq.ice(r, g["M"]).extent == pytest.approx(e["answer"]["s_M"], rel=e["rel_tol"])
    Ka2 = 1.0e-19
    state = eq.Mixture(
        {"CdS(s)": 0.1, **g["M"]}, [r, eq.Reaction("HS^- <=> H^+ + S^2-", K=Ka2), eq.water()]
    ).equilibrate()
    with mpmath.workdps(60):
        Kw, cadmium = mpmath.mpf(10) ** -PKW, mpmath.mpf("0.01")
        free = g["Ksp"] / cadmium

        def protons(pH):  # what dissolves takes protons from water: [OH] = [H] + [HS]
            h = mpmath.mpf(10) ** -pH
            return h + free * h / Ka2 - Kw / h

    h = 10.0 ** -positive_root(protons, 5.0, 9.0)
    dissolved = float(free) * (1 + h / Ka2)
    assert state["S^2-"] + state["HS^-"] == pytest.approx(dissolved, rel=1e-6)
    assert dissolved > 1e6 * e["answer"]["s_M"]


def test_silver_chloride_in_ammonia_with_protonation(examples):
    """Ammonia's own Kb 1.8e-5 (given elsewhere in the book) hardly matters at this strength."""
    e = chosen(examples, "os153-agcl-nh3")
    g = e["given"]
    silver = [eq.Reaction(t, K=k) for t, k in zip(e["reactions"], (g["Ksp"], g["Kf"]), strict=True)]
    base = eq.Reaction("NH3 + H2O <=> NH4^+ + OH^-", K=1.8e-5)
    amount = g["mass_AgCl_g"] / 143.32
    needed = e["answer"]["mass_g"] / 17.031
    with_base = eq.Mixture({"AgCl(s)": amount, "NH3": needed}, [*silver, base, eq.water()]).equilibrate()

    def excess(a):
        """Ammonia beyond what was added, at a free: [Cl] = [Ag] + [complex], and [NH4] = [OH] - [H]."""
        chloride = math.sqrt(g["Ksp"] * (1 + g["Kf"] * a * a))
        complexed = g["Kf"] * g["Ksp"] / chloride * a * a
        hydroxide = math.sqrt(1.8e-5 * a + 10**-PKW)
        return a + 1.8e-5 * a / hydroxide + 2 * complexed - needed

    a = brentq(excess, 1e-6, needed, xtol=1e-15)
    dissolved = math.sqrt(g["Ksp"] * (1 + g["Kf"] * a * a))
    assert amount - with_base.solids["AgCl(s)"] == pytest.approx(dissolved, rel=1e-6)
    assert dissolved == pytest.approx(amount, rel=0.02)


def test_silver_cyanide_both_strategies(examples):
    """Complete reaction, then a little back: the small-x of the reversed reaction, from the complex."""
    e = chosen(examples, "os152-agcn")
    g = e["given"]
    silver = g["mass_g"]["AgNO3"] / 169.87
    cyanide = g["mass_g"]["KCN"] / 65.12
    back = eq.Reaction(e["reactions"][0], K=g["Kf"]).reversed()
    table = eq.ice(back, {"Ag(CN)2^-": silver, "CN^-": cyanide - 2 * silver})
    assert table.small_x.valid
    assert table.small_x.extent == pytest.approx(e["answer"]["Ag_M"], rel=e["rel_tol"])
    with mpmath.workdps(60):
        s, c, K = (mpmath.mpf(repr(v)) for v in (silver, cyanide, g["Kf"]))
        exact = positive_root(lambda x: K * x * (c - 2 * s + 2 * x) ** 2 - (s - x), 1e-25, 1e-18)
    whole = eq.Mixture({"Ag^+": silver, "CN^-": cyanide}, [back.reversed()]).equilibrate()
    assert whole["Ag^+"] == pytest.approx(exact, rel=1e-9)
    assert table.extent == pytest.approx(exact, rel=1e-9)


def test_nitrous_acid_is_sensitive_to_two_decimals(examples):
    """pH 2.34 stands for 2.335 to 2.345; the printed Ka is just beyond that: the book rounds on the way."""
    e = chosen(examples, "os143-hno2")
    C = e["given"]["C_M"]

    def Ka(pH):
        h = 10.0**-pH
        return h * h / (C - h)

    assert Ka(2.345) < Ka(2.335) < e["answer"]["Ka"] < 1.02 * Ka(2.335)
    from eqlib.chem.ice import ice_from_measured

    r = eq.Reaction(e["reactions"][0])
    assert pytest.approx(Ka(2.34), rel=1e-12) == ice_from_measured(r, {"HNO2": C}, {"H3O^+": 10**-2.34}).K


def test_every_example_has_a_home(examples):
    """104 examples; the absorbance of light belongs to the bench, and is tested there."""
    import importlib.util
    from pathlib import Path

    kinds = set()
    for name in ("gases", "solutions"):
        path = Path(__file__).with_name(f"test_worked_examples_{name}.py")
        spec = importlib.util.spec_from_file_location(f"worked_{name}", path)
        module = importlib.util.module_from_spec(spec)
        spec.loader.exec_module(module)
        kinds |= set(module.HOW)
    assert len(examples) == 104
    assert {e["kind"] for e in examples} - kinds == {"beer_law", "beer_law_multicomponent"}
