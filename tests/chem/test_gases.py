"""Gas equilibria: closed forms, and independent thermodynamic data (cantera 3.2, chemicals 1.5; tests
only).
"""

import math

import pytest

import eqlib as eq

R = eq.Reaction
RT = 8.31446261815324e-2  # L bar / (mol K)
DIMER = R("N2O4(g) <=> 2 NO2(g)", K=0.15, basis="p")
LIME = R("CaCO3(s) <=> CaO(s) + CO2(g)", K=0.01, basis="p", T=1000.0)


def solve(totals, reactions, **more):
    return eq.Mixture(totals, reactions, **more).equilibrate()


def test_constant_volume():
    """Kc = Kp / RT; x mol/L of N2O4 has come apart: 4 x^2 / (0.04 - x) = Kc."""
    s = solve({"N2O4(g)": 0.04}, [DIMER])
    Kc = 0.15 / (RT * 298.15)
    x = (-Kc + math.sqrt(Kc * Kc + 16 * 0.04 * Kc)) / 8
    assert s["NO2(g)"] == pytest.approx(2 * x, rel=1e-12)
    assert s.pressures["NO2(g)"] == pytest.approx(2 * x * RT * 298.15, rel=1e-12)
    assert s.Q(DIMER) == pytest.approx(0.15, rel=1e-12)


def test_constant_pressure():
    """Degree of dissociation at pressure P: sqrt(Kp / (Kp + 4 P))."""
    s = solve({"N2O4(g)": 0.04}, [DIMER], pressure=2.0)
    a = math.sqrt(0.15 / (0.15 + 8.0))
    assert s.amounts["NO2(g)"] == pytest.approx(0.08 * a, rel=1e-10)
    assert s.gas_volume == pytest.approx(0.04 * (1 + a) * RT * 298.15 / 2.0, rel=1e-10)
    assert s.total_pressure == pytest.approx(2.0, rel=1e-12)


def test_inert_gas_matters_at_constant_pressure_only():
    at_volume = solve({"N2O4(g)": 0.04, "Ar(g)": 0.1}, [DIMER])
    assert at_volume["NO2(g)"] == pytest.approx(solve({"N2O4(g)": 0.04}, [DIMER])["NO2(g)"], rel=1e-12)
    s = solve({"N2O4(g)": 0.04, "Ar(g)": 0.1}, [DIMER], pressure=1.0)
    x = s.amounts["NO2(g)"] / 2
    total = 0.04 + x + 0.1
    assert (2 * x / total) ** 2 / ((0.04 - x) / total) == pytest.approx(0.15, rel=1e-10)
    assert x > solve({"N2O4(g)": 0.04}, [DIMER], pressure=1.0).amounts["NO2(g)"] / 2


def test_lime_kiln_in_a_closed_vessel():
    s = solve({"CaCO3(s)": 0.1}, [LIME], T=1000.0)
    assert s.pressures["CO2(g)"] == pytest.approx(0.01, rel=1e-12)
    assert s.solids["CaO(s)"] == pytest.approx(0.01 / (RT * 1000.0), rel=1e-12)
    used_up = solve({"CaCO3(s)": 1e-5}, [LIME], T=1000.0)
    assert used_up.solids["CaCO3(s)"] == 0.0
    assert used_up["CO2(g)"] == pytest.approx(1e-5, rel=1e-12)
    excess = solve({"CaO(s)": 0.01, "CO2(g)": 0.1}, [LIME], T=1000.0)
    assert excess.solids["CaO(s)"] == 0.0
    assert excess["CO2(g)"] == pytest.approx(0.09, rel=1e-12)


def test_a_solid_that_may_or_may_not_give_off_gas():
    """Below the pressure of decomposition all of it goes; above, none, and there is no gas phase at all."""
    below = solve({"CaCO3(s)": 0.1}, [LIME], T=1000.0, pressure=0.005)
    assert below.amounts["CaCO3(s)"] == 0.0
    assert below.gas_volume == pytest.approx(0.1 * RT * 1000.0 / 0.005, rel=1e-10)
    above = solve({"CaCO3(s)": 0.1}, [LIME], T=1000.0, pressure=0.02)
    assert above.amounts["CaCO3(s)"] == pytest.approx(0.1, rel=1e-12)
    assert above.gas_volume == 0.0
    assert any("No gas phase" in n for n in above.notes)


def test_a_solid_that_becomes_two_gases():
    r = R("NH4HS(s) <=> NH3(g) + H2S(g)", K=0.11, basis="p")
    s = solve({"NH4HS(s)": 0.1}, [r])
    assert s.pressures["NH3(g)"] == pytest.approx(math.sqrt(0.11), rel=1e-12)
    with_ammonia = solve({"NH4HS(s)": 0.1, "NH3(g)": 0.05}, [r])
    p = with_ammonia.pressures
    assert p["NH3(g)"] - p["H2S(g)"] == pytest.approx(0.05 * RT * 298.15, rel=1e-10)
    assert p["NH3(g)"] * p["H2S(g)"] == pytest.approx(0.11, rel=1e-12)


def test_a_gas_dissolves_by_henrys_law():
    """c = 0.034 p; 0.1 mol shared between 1 L of water and 0.5 L of gas."""
    henry = R("CO2(g) <=> CO2", K=0.034, basis="p")
    s = solve({"CO2": 0.1}, [henry], headspace=0.5)
    p = 0.1 / (0.034 + 0.5 / (RT * 298.15))
    assert s.pressures["CO2(g)"] == pytest.approx(p, rel=1e-12)
    assert s["CO2"] == pytest.approx(0.034 * p, rel=1e-12)
    closed = solve({"CO2(g)": 0.1}, [henry])
    assert closed["CO2"] == pytest.approx(0.1, rel=1e-12)
    assert closed.pressures["CO2(g)"] == 0.0


def test_henrys_constant_on_either_basis():
    """0.034 mol/L per bar is 0.034 RT per mol/L of gas."""
    on_p = R("CO2(g) <=> CO2", K=0.034, basis="p")
    on_c = R("CO2(g) <=> CO2", K=0.034 * RT * 298.15, basis="c")
    one, other = (solve({"CO2": 0.1}, [r], headspace=0.5) for r in (on_p, on_c))
    assert one["CO2"] == pytest.approx(other["CO2"], rel=1e-12)


def test_bubbles_form_only_above_the_pressure():
    henry = R("CO2(g) <=> CO2", K=0.034, basis="p")
    fizzy = solve({"CO2": 0.1}, [henry], pressure=1.0)
    assert fizzy["CO2"] == pytest.approx(0.034, rel=1e-10)
    assert fizzy.gas_volume == pytest.approx((0.1 - 0.034) * RT * 298.15, rel=1e-9)
    flat = solve({"CO2": 0.01}, [henry], pressure=1.0)
    assert flat.gas_volume == 0.0
    assert flat["CO2"] == pytest.approx(0.01, rel=1e-12)


def test_rain_open_to_the_air():
    """Water under a fixed 4.0e-4 bar of CO2: [H+]^2 = Ka kH p + Kw, hydrogencarbonate only."""
    reactions = [
        eq.water(),
        R("CO2(g) <=> CO2", K=0.034, basis="p"),
        R("CO2 + H2O(l) <=> H^+ + HCO3^-", K=4.5e-7),
    ]
    s = eq.Mixture({}, reactions).equilibrate(fixed={"CO2(g)": 4.0e-4})
    assert s["H^+"] == pytest.approx(math.sqrt(4.5e-7 * 0.034 * 4.0e-4 + eq.water().K), rel=1e-10)
    assert s.pressures["CO2(g)"] == pytest.approx(4.0e-4, rel=1e-12)


def test_liquid_water_evaporates_into_an_empty_vessel():
    """No solute: liquid water is a pure liquid that can be used up."""
    r = R("H2O(l) <=> H2O(g)", K=0.0317, basis="p")
    s = solve({"H2O(l)": 1.0}, [r])
    assert s.pressures["H2O(g)"] == pytest.approx(0.0317, rel=1e-12)
    assert s.solids["H2O(l)"] == pytest.approx(1.0 - 0.0317 / (RT * 298.15), rel=1e-12)
    assert solve({"H2O(l)": 1e-4}, [r]).solids["H2O(l)"] == 0.0


def test_boiling_is_said():
    reactions = [eq.water(), R("H2O(l) <=> H2O(g)", K=1.5, basis="p")]
    with pytest.raises(eq.EqlibError, match="boils"):
        solve({"Na^+": 0.1, "OH^-": 0.1}, reactions, pressure=1.0)


# -- cantera --------------------


def _cantera_K(gas, coefficients, T):
    """Kp (bar) from the standard Gibbs energies of the mechanism, whose reference pressure is 1 atm."""
    gas.TP = T, 1e5
    g0 = gas.standard_gibbs_RT  # at the present pressure of 1 bar
    return math.exp(-sum(v * g0[gas.species_index(n)] for n, v in coefficients.items()))


# The mechanism's names, and ours.
CANTERA = {
    "water gas": (["CO(g) + H2O(g) <=> CO2(g) + H2(g)"], {"CO": 1.0, "H2O": 2.0, "H2": 0.1}, 1100.0, 3.0),
    "methane reforming": (
        ["CH4(g) + H2O(g) <=> CO(g) + 3 H2(g)", "CO(g) + H2O(g) <=> CO2(g) + H2(g)"],
        {"CH4": 1.0, "H2O": 3.0},
        1000.0,
        5.0,
    ),
    "ammonia": (["N2(g) + 3 H2(g) <=> 2 NH3(g)"], {"N2": 1.0, "H2": 3.0}, 700.0, 200.0),
    "nitric oxide": (
        ["N2(g) + O2(g) <=> 2 NO(g)", "2 NO(g) + O2(g) <=> 2 NO2(g)"],
        {"N2": 4.0, "O2": 1.0},
        1500.0,
        1.0,
    ),
}


@pytest.mark.parametrize("name", CANTERA)
def test_gas_composition_against_cantera(name):
    """cantera minimises the Gibbs energy of the whole mixture; we solve the reactions.

    Data: its GRI-Mech 3.0 file.
    """
    ct = pytest.importorskip("cantera", reason="cantera is not installed")
    texts, amounts, T, bar = CANTERA[name]
    everything = {s.name: s for s in ct.Species.list_from_file("gri30.yaml")}
    wanted = {n[:-3] for text in texts for n in R(text).coefficients}
    gas = ct.Solution(thermo="ideal-gas", species=[everything[n] for n in sorted(wanted)])
    reactions = []
    for text in texts:
        terms = {n[:-3]: float(v) for n, v in R(text).coefficients.items()}
        reactions.append(R(text, K=_cantera_K(gas, terms, T), basis="p", T=T))
    state = solve({f"{n}(g)": v for n, v in amounts.items()}, reactions, T=T, pressure=bar)
    gas.TPX = T, bar * 1e5, amounts
    gas.equilibrate("TP", rtol=1e-12)
    for n in wanted:
        share = state.pressures[f"{n}(g)"] / bar
        assert share == pytest.approx(gas[n].X[0], rel=1e-6, abs=1e-12), n


def test_gas_at_constant_volume_against_cantera():
    ct = pytest.importorskip("cantera", reason="cantera is not installed")
    everything = {s.name: s for s in ct.Species.list_from_file("gri30.yaml")}
    gas = ct.Solution(thermo="ideal-gas", species=[everything[n] for n in ("N2", "H2", "NH3")])
    r = R(
        "N2(g) + 3 H2(g) <=> 2 NH3(g)",
        K=_cantera_K(gas, {"N2": -1, "H2": -3, "NH3": 2}, 650.0),
        basis="p",
        T=650.0,
    )
    state = solve({"N2(g)": 0.5, "H2(g)": 1.5}, [r], T=650.0)
    gas.TPX = 650.0, 2.0 * RT * 650.0 * 1e5, {"N2": 1, "H2": 3}
    gas.equilibrate("TV", rtol=1e-12)
    assert state.total_pressure == pytest.approx(gas.P / 1e5, rel=1e-6)


# -- chemicals --------------------

CAS = {
    "CO(g)": "630-08-0",
    "H2O(g)": "7732-18-5",
    "CO2(g)": "124-38-9",
    "H2(g)": "1333-74-0",
    "SO2(g)": "7446-09-5",
    "O2(g)": "7782-44-7",
    "SO3(g)": "7446-11-9",
    "N2(g)": "7727-37-9",
    "NH3(g)": "7664-41-7",
}


@pytest.mark.parametrize(
    "text",
    ["CO(g) + H2O(g) <=> CO2(g) + H2(g)", "2 SO2(g) + O2(g) <=> 2 SO3(g)", "N2(g) + 3 H2(g) <=> 2 NH3(g)"],
)
def test_composition_from_the_thermodynamic_data_of_chemicals(text):
    """Enthalpies of formation and entropies from the chemicals package; the least Gibbs energy found by
    golden section.
    """
    chemicals = pytest.importorskip("chemicals", reason="the chemicals package is not installed")
    T, start = 298.15, 0.4
    terms = {n: float(v) for n, v in R(text).coefficients.items()}
    g = {n: chemicals.reaction.Hfg(CAS[n]) - T * chemicals.reaction.S0g(CAS[n]) for n in terms}
    dG = sum(v * g[n] for n, v in terms.items())
    r = R(text, K=eq.K_from_dG(dG, T), basis="p")
    first = {n: -start * v for n, v in terms.items() if v < 0}
    state = solve(first, [r], pressure=1.0)

    def affinity(x):
        n = {name: first.get(name, 0.0) + v * x for name, v in terms.items()}
        total = sum(n.values())
        return dG / (8.31446261815324 * T) + sum(v * math.log(n[name] / total) for name, v in terms.items())

    low, high = 0.0, start
    for _ in range(200):
        middle = 0.5 * (low + high)
        if middle in (low, high):
            break
        low, high = (middle, high) if affinity(middle) < 0 else (low, middle)
    product = next(n for n, v in terms.items() if v > 0)
    assert state.amounts[product] == pytest.approx(terms[product] * low, rel=1e-7)
