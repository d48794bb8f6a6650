"""Conditional constants at one pH against the fractions written out by hand."""

import pytest

import eqlib as eq
from eqlib.chem.sweeps import conditional_K, fraction_free

R = eq.Reaction
PHOSPHORIC = [
    R("H3PO4 <=> H^+ + H2PO4^-", K=7.1e-3),
    R("H2PO4^- <=> H^+ + HPO4^2-", K=6.3e-8),
    R("PO4^3- + H2O(l) <=> HPO4^2- + OH^-", K=1.0e-14 / 4.5e-13),
    R("H2O(l) <=> H^+ + OH^-", K=1.0e-14),
]


@pytest.mark.parametrize("pH", [1.0, 4.7, 7.2, 12.3])
def test_fraction_of_a_polyprotic_acid(pH):
    h = 10.0**-pH
    k1, k2, k3 = 7.1e-3, 6.3e-8, 4.5e-13
    whole = h**3 + h**2 * k1 + h * k1 * k2 + k1 * k2 * k3
    assert fraction_free("PO4^3-", PHOSPHORIC, pH) == pytest.approx(k1 * k2 * k3 / whole, rel=1e-12)
    assert fraction_free("H2PO4^-", PHOSPHORIC, pH) == pytest.approx(h**2 * k1 / whole, rel=1e-12)


def test_a_metal_and_a_ligand_at_a_pH():
    """Fe + F <=> FeF with HF (Ka 6.8e-4) and FeOH (K 6.5e-3): K' = K alpha_Fe alpha_F."""
    side = [R("HF <=> H^+ + F^-", K=6.8e-4), R("Fe^3+ + H2O(l) <=> FeOH^2+ + H^+", K=6.5e-3)]
    h = 10.0**-2.5
    free_iron, free_fluoride = h / (h + 6.5e-3), 6.8e-4 / (h + 6.8e-4)
    K = conditional_K(R("Fe^3+ + F^- <=> FeF^2+", K=1.6e5), side, 2.5)
    assert pytest.approx(1.6e5 * free_iron * free_fluoride, rel=1e-12) == K


def test_it_is_what_the_solver_finds_at_that_pH():
    side = [R("HF <=> H^+ + F^-", K=6.8e-4), R("Fe^3+ + H2O(l) <=> FeOH^2+ + H^+", K=6.5e-3), eq.water()]
    main = R("Fe^3+ + F^- <=> FeF^2+", K=1.6e5)
    s = eq.Mixture({"Fe^3+": 1e-3, "F^-": 2e-3}, [main, *side]).equilibrate(fixed_pH=2.5)
    ratio = s["FeF^2+"] / ((s["Fe^3+"] + s["FeOH^2+"]) * (s["F^-"] + s["HF"]))
    assert conditional_K(main, side, 2.5) == pytest.approx(ratio, rel=1e-10)


def test_protons_leave_the_expression():
    """Al(OH)3(s) <=> Al^3+ + 3 OH^-: at pH 5, [Al^3+] = Ksp / (1e-9)^3."""
    r = R("Al(OH)3(s) <=> Al^3+ + 3 OH^-", K=1.3e-33)
    water = R("H2O(l) <=> H^+ + OH^-", K=1.0e-14)
    assert conditional_K(r, [water], 5.0) == pytest.approx(1.3e-33 / 1e-27, rel=1e-9)


def test_a_pH_that_is_not_a_number():
    with pytest.raises(eq.EqlibError, match="pH"):
        conditional_K(R("Fe^3+ + F^- <=> FeF^2+", K=1.6e5), [], "high")
