"""Published exercises on Q, K, ICE tables and gases: the givens go to eqlib, the printed answer judges."""

import pytest

import eqlib as eq
from eqlib.chem.ice import ice_from_measured

ATM = 1.01325  # bar, exact by definition


def reaction(example, index=0, **details):
    return eq.Reaction(example["reactions"][index].removeprefix("net: "), **details)


def by_key(values):
    """Concentrations under the keys the table uses: no phase."""
    return {eq.species(name).key: value for name, value in values.items()}


def kelvin(given):
    return given["T_K"] if "T_K" in given else given.get("T_C", 25) + 273.15


def molar(given):
    """Amounts as given, in mol/L."""
    volume = given.get("V_L", 1.0)
    conc = dict(given.get("initial_M", given.get("eq_M", {})))
    for name, mol in {**given.get("initial_mol", {}), **given.get("eq_mol", {})}.items():
        conc[name] = mol / volume
    for name, gram in given.get("mass_g", {}).items():
        conc[name] = gram / eq.species(name).molar_mass / volume
    return conc


def find_K(example):
    given = example["given"]
    r = reaction(example)
    if "percent_decomposed" in given:
        start = given["initial_M"]
        left = start["NO2"] * (1 - given["percent_decomposed"] / 100)
        return {"Kc": ice_from_measured(r, start, {"NO2": left}).K}
    start = {name: mol / given["V_L"] for name, mol in given["initial_mol"].items()}
    return {"Kc": ice_from_measured(r, start, {"PCl3": given["eq_mol"]["PCl3"] / given["V_L"]}).K}


def linear(example):
    given = example["given"]
    r = reaction(example, K=given["Kp"], basis="p")
    table = eq.ice(r, {"n-C4H10(g)": given["P_total_atm"] * ATM})
    return {"P_atm": table.equilibrium["iso-C4H10(g)"] / ATM}


def quadratic(example):
    given = example["given"]
    if "Kp" in given:
        r = reaction(example)
        T, V = kelvin(given), given["V_L"]
        r = reaction(example, K=given["Kp"] * ATM ** int(r.dn_gas), basis="p", T=T)
        start = {name: mol * 0.0831446 * T / V for name, mol in given["initial_mol"].items()}
        return {k: v / ATM for k, v in by_key(eq.ice(r, start).equilibrium).items()}
    table = eq.ice(reaction(example, K=given["K"]), molar(given))
    volume = given.get("V_L", 1.0)
    return {k: v * volume for k, v in by_key(table.equilibrium).items()}


def hi_mass(example):
    given = example["given"]
    iodine = given["initial_mass_g"]["I2"] / eq.species("I2").molar_mass
    table = eq.ice(reaction(example, K=given["K"]), {**given["initial_mol"], "I2": iodine})
    return table.equilibrium["HI(g)"] * eq.species("HI").molar_mass


def quotient_answer(example):
    """K from what is there at equilibrium."""
    given = example["given"]
    (key,) = example["answer"]
    basis = "p" if "eq_P_atm" in given else "c"
    r = reaction(example, basis=basis)
    values = given.get("eq_M") or given["eq_P_atm"]
    if basis == "p":
        values = {name: p * ATM for name, p in values.items()}
        return {key: r.quotient(values) / ATM ** int(r.dn_gas)}
    return {key: r.quotient(values)}


def direction(example):
    given = example["given"]
    r = reaction(example, K=given["K"])
    start = {eq.species(name).key: 0.0 for name in r.coefficients} | molar(given)
    way = r.shift(start)
    return {"Qc": r.quotient(start), "direction": "at equilibrium" if way == "none" else way}


def conversion(example):
    given = example["given"]
    T = kelvin(given)
    dn = reaction(example).dn_gas
    assert dn == given["delta_n"]
    if "Kc" in given:
        return {"Kp": reaction(example, K=given["Kc"]).kp(T) / ATM**dn}
    return {"Kc": reaction(example, K=given["Kp"] * ATM**dn, basis="p").kc(T)}


def combined(example):
    given = example["given"]
    first, second = (reaction(example, i, K=given[f"K{i + 1}"]) for i in (0, 1))
    net = given["ops"]["1"] * first + given["ops"]["2"] * second
    assert net.coefficients == reaction(example, 2).coefficients
    return {"K": net.K}


def volume_change(example):
    given = example["given"]
    if "volume_factor" in given:
        r = reaction(example, K=2.5)  # any constant: the ratio does not depend on it
        d = eq.disturb(eq.Mixture({"NO2(g)": 1.0}, [r]), eq.Stress.change_volume(given["volume_factor"]))
        return {"Q_over_K": d.Q / d.K, "direction": d.direction}
    conc = {f"{k}(g)": m / given["molar_mass"][k] / given["V1_L"] for k, m in given["eq_mass_g"].items()}
    r = reaction(example)
    r = r.with_K(r.quotient(conc))
    m = eq.Mixture(conc, [r], volume=given["V1_L"], T=kelvin(given))
    after = eq.disturb(m, eq.Stress.change_volume(given["V2_L"])).after
    return {f"{k}_g": after.amounts[f"{k}(g)"] * given["molar_mass"][k] for k in given["molar_mass"]}


def le_chatelier(example):
    given = example["given"]
    r = reaction(example)
    if "K" in given:
        return {"CO2_M": r.with_K(given["K"]).solve_for("CO2", given["eq_M"])}
    r = r.with_K(r.quotient(given["eq_M"]))
    x = (given["new_eq_M"]["N2"] - given["eq_M"]["N2"]) / r.coefficients["N2(g)"]
    ammonia = given["eq_M"]["NH3"] + r.coefficients["NH3(g)"] * x
    hydrogen = r.solve_for("H2", {"N2": given["new_eq_M"]["N2"], "NH3": ammonia})
    removed = given["eq_M"]["H2"] + r.coefficients["H2(g)"] * x - hydrogen
    m = eq.Mixture({f"{k}(g)": v for k, v in given["eq_M"].items()}, [r], volume=given["V_L"])
    # Taking out all of it at once is impossible (0.63 mol of 0.50), so it is taken out in steps.
    for _ in range(4):
        m = eq.disturb(m, eq.Stress.remove("H2(g)", removed / 4)).mixture
    assert m.equilibrate()["N2(g)"] == pytest.approx(given["new_eq_M"]["N2"], rel=1e-9)
    return {"mol": removed}


def missing(example):
    given = example["given"]
    (key,) = example["answer"]
    name, unit = key.split("_")
    if unit == "atm":
        r = reaction(example)
        r = reaction(example, K=given["Kp"] * ATM ** int(r.dn_gas), basis="p")
        known = {k: p * ATM for k, p in given["eq_P_atm"].items()}
        (wanted,) = {eq.species(n).key for n in r.coefficients} - set(known)
        return {key: r.solve_for(wanted, known) / ATM}
    r = reaction(example, K=given.get("K", given.get("Kc")))
    known = molar(given)
    name = {"HI": "HI", "CO2": "CO2", "CO": "CO"}[name]
    return {key: r.solve_for(name, known) * (given["V_L"] if unit == "mol" else 1.0)}


def solids_left_out(example):
    given = example["given"]
    if "V_L" in given:
        r = reaction(example, K=given["Kc"])
        needed = eq.ice(r, {"CaCO3(s)": 10.0}).extent * given["V_L"]
        return {"mass_g": needed * eq.species("CaCO3").molar_mass}
    if "Kc" in given:
        return missing(example)
    if "Kp" in given:
        r = reaction(example)
        scaled = reaction(example, K=given["Kp"] * ATM ** int(r.dn_gas), basis="p")
        return {"P_atm": scaled.solve_for("H2O(g)", {}) / ATM}
    return quotient_answer(example)


def stoichiometry(example):
    r = reaction(example)
    change = example["given"]["delta_P_torr"]["NO2"]
    return {"torr": change * r.coefficients["O2(g)"] / -r.coefficients["NO2(g)"]}


def shortcut(example):
    given = example["given"]
    table = eq.ice(reaction(example, K=given["K"]), given["initial_M"])
    assert table.small_x.valid
    return table


HOW = {
    "ICE_find_K": find_K,
    "ICE_linear": linear,
    "ICE_quadratic": quadratic,
    "Kc_Kp_conversion": conversion,
    "Kc_from_concentrations": quotient_answer,
    "Kp_from_pressures": quotient_answer,
    "Q_and_direction": direction,
    "combine_reactions": combined,
    "gas_volume_change": volume_change,
    "le_chatelier_quantitative": le_chatelier,
    "missing_concentration": missing,
    "solid_liquid_omitted": solids_left_out,
    "stoichiometry_change": stoichiometry,
    "small_x": shortcut,
}


def test_printed_answer(example, compare):
    computed = HOW[example["kind"]](example) if not example["source_error"] else None
    if example["source_error"]:
        printed_mass = example["answer"]["HI_g"]
        charge = example["given"]["initial_mass_g"]["I2"] + 1.25 * eq.species("H2").molar_mass
        assert printed_mass > charge  # the book's 507 g cannot be right
        assert hi_mass(example) == pytest.approx(62.8, rel=2e-3)  # worked by hand in the note
        return
    if example["id"] == "os134-hi":
        # The book rounds x to 0.94; the unrounded values stand in the note.
        exact = {"H2": 0.065, "I2": 1.065, "HI": 1.870}
        assert computed == pytest.approx(exact, rel=1e-2)
    if example["kind"] == "small_x":
        compare(example, by_key(computed.equilibrium))
        compare(example, by_key(computed.small_x.equilibrium))
        return
    compare(example, computed)


def test_zero_quotients_are_exact(examples):
    """Q = 0 is exactly 0 when a product is absent."""
    zero = [e for e in examples if e["answer"].get("Qc") == 0]
    assert len(zero) == 3
    for e in zero:
        assert direction(e)["Qc"] == 0
