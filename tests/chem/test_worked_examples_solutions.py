"""Published exercises on acids, bases, solubility, complexes and free energy; the printed answer judges."""

import math

import pytest

import eqlib as eq
from eqlib.chem.ice import ice_from_measured
from eqlib.chem.salts import ions_of
from eqlib.chem.thermo import K_from_dH_dS, dG_from_Q, vant_hoff


def reaction(example, index=0, **details):
    return eq.Reaction(example["reactions"][index].removeprefix("net: "), **details)


def kelvin(given):
    return given["T_K"] if "T_K" in given else given.get("T_C", 25) + 273.15


def pH_answers(state):
    return {"H_M": state["H^+"], "pH": state.pH, "OH_M": state["OH^-"], "pOH": -math.log10(state["OH^-"])}


# -- acids and bases --------------------


def weak_acid(example):
    given = example["given"]
    r = reaction(example, K=given["Ka"])
    (acid,) = (name for name in r.reactants if name != "H2O(l)")
    return pH_answers(eq.Mixture({acid: given["C_M"]}, [r, eq.water()]).equilibrate())


def weak_base(example):
    given = example["given"]
    r = reaction(example, K=given["Kb"])
    (base,) = (name for name in r.reactants if name != "H2O(l)")
    return pH_answers(eq.Mixture({base: given["C_M"]}, [r, eq.water()]).equilibrate())


def salt_pH(example):
    """Ka of the anilinium ion from Kb of aniline, by adding reactions."""
    given = example["given"]
    base = eq.Reaction("C6H5NH2 + H2O <=> C6H5NH3^+ + OH^-", K=given["Kb_aniline"])
    acid = eq.water() - base
    return pH_answers(eq.Mixture({"C6H5NH3^+": given["C_M"]}, [acid, eq.water()]).equilibrate())


def buffer_pH(example):
    given = example["given"]
    r = reaction(example, K=given["Ka"])
    return pH_answers(eq.Mixture(given["C_M"], [r, eq.water()]).equilibrate())


def diprotic(example):
    given = example["given"]
    steps = [reaction(example, i, K=given[f"Ka{i + 1}"]) for i in (0, 1)]
    s = eq.Mixture({"H2CO3": given["C_M"]}, [*steps, eq.water()]).equilibrate()
    return {"H_M": s["H^+"], "HCO3_M": s["HCO3^-"], "CO3_M": s["CO3^2-"]}


def titration(example):
    given = example["given"]
    acid = eq.Reaction("CH3CO2H <=> H^+ + CH3CO2^-", K=given["Ka"])
    m = eq.Mixture({"CH3CO2H": given["C_M"]}, [acid, eq.water()], volume=given["V_acid_mL"] / 1000)
    curve = eq.sweep(m, over="volume", values=[given["V_base_mL"] / 1000], titrant={"NaOH": given["C_M"]})
    return {"pH": float(curve.pH[0])}


def constant_from_pH(example):
    given = example["given"]
    r = reaction(example)
    return {"Ka": ice_from_measured(r, {"HNO2": given["C_M"]}, {"H3O^+": 10 ** -given["pH"]}).K}


def constant_from_concentrations(example):
    (key,) = example["answer"]
    return {key: reaction(example).quotient(example["given"]["eq_M"])}


# -- solubility --------------------


def product_from_solubility(example):
    given = example["given"]
    r = reaction(example)
    (solid,) = r.reactants
    if "eq_M" in given:
        return {"Ksp": ice_from_measured(r, {}, given["eq_M"]).K}
    mass = eq.species(solid).molar_mass
    assert given["molar_mass"] == pytest.approx(mass, rel=1e-3)
    dissolved = given["solubility_g_per_L"] / mass
    ion = next(name for name in r.products if name != "H2O(l)")
    return {"Ksp": ice_from_measured(r, {}, {ion: dissolved * r.products[ion]}).K}


def solubility(example):
    return {"s_M": eq.ice(reaction(example, K=example["given"]["Ksp"]), {}).extent}


def common_ion(example):
    given = example["given"]
    table = eq.ice(reaction(example, K=given["Ksp"]), given["M"])
    return {"s_M": table.extent, "Ag_M": table.equilibrium.get("Ag^+")}


def at_fixed_pH(example):
    """A buffer of formic acid holds the pH; how much Al(OH)3 dissolves there?"""
    given = example["given"]
    buffer = reaction(example, 1, K=given["Ka"])
    hydrogen = buffer.solve_for("H^+", given["buffer_M"])
    m = eq.Mixture({"Al(OH)3(s)": 5.0}, [reaction(example, K=given["Ksp"]), eq.water()])
    return {"s_M": m.equilibrate(fixed_pH=-math.log10(hydrogen))["Al^3+"]}


def onset(example):
    given = example["given"]
    r = reaction(example, K=given["Ksp"])
    if example["kind"] == "precipitation_pH":
        return {"pH": 14.0 + math.log10(r.solve_for("OH^-", given["M"]))}
    (key,) = example["answer"]
    (ion,) = (name for name in r.products if name not in given["M"])
    return {key: r.solve_for(ion, given["M"])}


def which_first(example):
    given = example["given"]
    answer = {}
    for index, name in enumerate(given["Ksp"]):
        r = reaction(example, index, K=given["Ksp"][name])
        anion = next(ion for ion in r.products if ion != "Ag^+")
        answer[f"Ag_for_{name}_M"] = r.solve_for("Ag^+", {anion: given["M"][anion]})
    first = min(answer, key=answer.get)
    return answer | {"first": first.removeprefix("Ag_for_").removesuffix("_M")}


def will_it(example):
    given = example["given"]
    r = reaction(example, K=given["Ksp"])
    way = r.shift(given["initial_M"])
    verdict = "precipitates" if way == "reverse" else "no precipitate"
    return {"Qsp": r.quotient(given["initial_M"]), "verdict": verdict}


# -- complexes, several equilibria --------------------


def complexes(example):
    given = example["given"]
    if "Kd" in given:
        table = eq.ice(reaction(example, K=given["Kd"]), given["initial_M"]).equilibrium
        return {f"{eq.species(name).formula}_M": value for name, value in table.items()}
    totals = dict(given.get("initial_M", {}))
    for salt, gram in given["mass_g"].items():
        for ion, number in ions_of(salt).items():
            mol = number * gram / eq.species(salt).molar_mass
            totals[ion] = totals.get(ion, 0.0) + mol / given["V_L"]
    r = reaction(example, K=given["Kf"])
    s = eq.Mixture(totals, [r]).equilibrate()
    return {f"{next(iter(r.reactants)).split('^')[0]}_M": s[next(iter(r.reactants))]}


def competing(example):
    given = example["given"]
    if "molar_mass_CoCO3" in given:
        pair = [reaction(example, i, K=given["Ksp"][name]) for i, name in enumerate(("NiCO3", "CoCO3"))]
        s = eq.Mixture({"NiCO3(s)": 1.0, "CoCO3(s)": 1.0}, pair).equilibrate()
        return {"mass_g": s["Co^2+"] * given["V_L"] * given["molar_mass_CoCO3"]}
    net = reaction(example, 0, K=given["Ksp"]) + reaction(example, 1, K=given["Kf"])
    (solid,) = (name for name in net.reactants if name.endswith("(s)"))
    (ligand,) = (name for name in net.reactants if name != solid)
    (gram,) = (value for key, value in given.items() if key.startswith("mass_"))
    amount = gram / eq.species(solid).molar_mass / given["V_L"]
    free = net.solve_for(ligand, dict.fromkeys(net.products, amount))
    needed = (free + net.reactants[ligand] * amount) * given["V_L"]
    salt = {"molar_mass_hypo": "Na2S2O3.5H2O", "molar_mass_Na2S2O3": "Na2S2O3"}
    compound = next((salt[key] for key in given if key in salt), "NH3")
    mass = needed * eq.species(compound).molar_mass
    just_gone = eq.Mixture(
        {solid: amount, ligand: needed},
        [reaction(example, 0, K=given["Ksp"]), reaction(example, 1, K=given["Kf"])],
    ).equilibrate()
    assert just_gone.solids[solid] < 1e-3 * amount  # the full solver agrees that nothing is left
    return {"mass_g": mass, "K_net": net.K, "S2O3_free_M": free}


# -- free energy --------------------


def energy(example):
    given = example["given"]
    T = kelvin(given)
    if example["kind"] == "deltaG_to_K":
        return {key: eq.K_from_dG(given["dG0_kJ"] * 1000, T) for key in ("K", "Kp")}
    if example["kind"] == "deltaG_Q":
        Q = reaction(example, basis="p").quotient(given["P_atm"])  # the book's standard pressure is 1 atm
        return {"dG_kJ": dG_from_Q(given["dG0_kJ"] * 1000, Q, T) / 1000}
    if example["kind"] == "thermo_K_of_T":
        return {"K": K_from_dH_dS(given["dH_kJ"] * 1000, given["dS_J_per_K"], T)}
    first = eq.K_from_dG(given["dG0_kJ_25C"] * 1000, given["T1_K"])
    second = vant_hoff(first, given["dH_kJ"] * 1000, given["T1_K"], given["T2_K"])
    r = reaction(example, K=first, basis="p", T=given["T1_K"])
    assert pytest.approx(second, rel=1e-12) == r.at(given["T2_K"], dH=given["dH_kJ"] * 1000).K
    return {"K2": second}


HOW = {
    "Ka_Kb_from_concentrations": constant_from_concentrations,
    "Ka_from_pH": constant_from_pH,
    "Ksp_from_concentrations": constant_from_concentrations,
    "Ksp_from_solubility": product_from_solubility,
    "buffer_pH": buffer_pH,
    "common_ion": common_ion,
    "competing_equilibria": competing,
    "complex_ion": complexes,
    "deltaG_Q": energy,
    "deltaG_to_K": energy,
    "pH_dependent_solubility": at_fixed_pH,
    "polyprotic": diprotic,
    "precipitation_pH": onset,
    "precipitation_threshold": onset,
    "salt_hydrolysis_pH": salt_pH,
    "selective_precipitation": which_first,
    "solubility_from_Ksp": solubility,
    "thermo_K_of_T": energy,
    "titration_pH": titration,
    "van_t_hoff": energy,
    "weak_acid_pH": weak_acid,
    "weak_base_pH": weak_base,
    "will_precipitate": will_it,
}


def test_printed_answer(example, compare):
    compare(example, HOW[example["kind"]](example))
