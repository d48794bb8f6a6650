"""Reading species: what is accepted, what is refused and in which words."""

import pickle
import string

import pytest
from hypothesis import given
from hypothesis import strategies as st

import eqlib as eq
from eqlib.chem.species import FormulaError, canonical

SPELLINGS = [
    ("Fe^3+", "Fe^3+"),
    ("Fe+3", "Fe^3+"),
    ("Fe³⁺", "Fe^3+"),
    ("Fe^{3+}", "Fe^3+"),
    ("Fe^+3", "Fe^3+"),
    ("Fe(3+)", "Fe^3+"),
    ("Fe^(3+)", "Fe^3+"),
    (" Fe^3+ ", "Fe^3+"),
    ("Ag+", "Ag^+"),
    ("Cl-", "Cl^-"),
    ("Cl⁻", "Cl^-"),
    ("Cl^−", "Cl^-"),
    ("SO4-2", "SO4^2-"),
    ("SO₄²⁻", "SO4^2-"),
    ("Cu(NH3)4²⁺", "Cu(NH3)4^2+"),
    ("[Cu(NH3)4]^2+", "Cu(NH3)4^2+"),
    ("[Ag(NH3)2]+", "Ag(NH3)2^+"),
    ("Hg2^2+", "Hg2^2+"),
    ("HCN(aq)", "HCN"),
    ("AgSCN (s)", "AgSCN(s)"),
    ("H2O", "H2O(l)"),
    ("H2O(g)", "H2O(g)"),
    ("Na2SO4·10H2O(s)", "Na2SO4.10H2O(s)"),
    ("n-C4H10(g)", "n-C4H10(g)"),
    ("(CH3)3NH^+", "(CH3)3NH^+"),
    ("e-", "e^-"),
]


@pytest.mark.parametrize(("text", "name"), SPELLINGS)
def test_spellings(text, name):
    assert canonical(text) == name


@pytest.mark.parametrize(
    ("text", "elements", "charge", "phase"),
    [
        ("Fe^3+", {"Fe": 1}, 3, "aq"),
        ("Cu(NH3)4^2+", {"Cu": 1, "N": 4, "H": 12}, 2, "aq"),
        ("Na2SO4.10H2O(s)", {"Na": 2, "S": 1, "O": 14, "H": 20}, 0, "s"),
        ("K3[Fe(CN)6](s)", {"K": 3, "Fe": 1, "C": 6, "N": 6}, 0, "s"),
        ("iso-C4H10(g)", {"C": 4, "H": 10}, 0, "g"),
        ("NH4MgAsO4.6H2O(s)", {"N": 1, "H": 16, "Mg": 1, "As": 1, "O": 10}, 0, "s"),
        ("CH3CO2H", {"C": 2, "H": 4, "O": 2}, 0, "aq"),
        ("Ag(S2O3)2^3-", {"Ag": 1, "S": 4, "O": 6}, -3, "aq"),
    ],
)
def test_composition(text, elements, charge, phase):
    one = eq.species(text)
    assert (dict(one.elements), one.charge, one.phase) == (elements, charge, phase)


# Molar masses as printed on reagent bottles (common practice, no source).
@pytest.mark.parametrize(
    ("text", "gram"),
    [
        ("AgNO3", 169.87),
        ("KSCN", 97.18),
        ("Fe(NO3)3.9H2O", 404.00),
        ("CuSO4.5H2O", 249.69),
        ("n-C4H10(g)", 58.12),
        ("(CH3)3N", 59.11),
        ("CaSO4.1/2H2O(s)", 145.15),
    ],
)
def test_molar_mass(text, gram):
    assert eq.species(text).molar_mass == pytest.approx(gram, rel=2e-4)


REFUSED = [
    ("Fe3+", "Fe^3+"),
    ("NH4+", "NH4^+"),
    ("Ag(NH3)2+", "Ag(NH3)2^+"),
    ("Xx", "'Xx'"),
    ("FeSCM^2+", "'M'"),
    ("NACL", "Na"),
    ("agcl", "capital"),
    ("Fe^3", "Fe^3+"),
    ("Ca++", "Ca^2+"),
    ("AgCl(x)", "(x)"),
    ("Ag(NH3", "not closed"),
    ("AgCl)", "no partner"),
    ("Ag()2", "inside"),
    ("2NO2", "write NO2"),
    ("H2+I2", "space"),
    ("", "missing"),
    ("H0", "0"),
    ("Fe SCN", "' '"),
    ("Na\nCl^^-", "charge"),
    ("A" * 500, "too long"),
]


@pytest.mark.parametrize(("text", "says"), REFUSED)
def test_refused_with_a_hint(text, says):
    with pytest.raises(FormulaError) as caught:
        eq.species(text)
    message = str(caught.value)
    assert says in message
    assert "\n" not in message


@pytest.mark.parametrize("thing", [None, 3, 2.5, ["Fe"], {"Fe": 1}])
def test_not_text(thing):
    with pytest.raises(FormulaError, match="written as text"):
        eq.species(thing)


@given(st.text(alphabet=string.ascii_letters + string.digits + "()[]^+-.{}⁺²³ ", max_size=30))
def test_any_text_is_read_or_refused_in_one_line(text):
    refusal = ""
    try:
        name = eq.species(text).name
    except FormulaError as error:
        refusal = str(error)
    assert len(refusal.splitlines()) <= 1
    assert refusal or eq.species(name).name == name


def test_shown_and_spoken():
    assert eq.species("Fe^3+").spoken == "iron three plus"
    assert eq.species("Fe^3+").unicode == "Fe³⁺"
    assert eq.species("Cu(NH3)4^2+").unicode == "Cu(NH₃)₄²⁺"
    assert eq.species("Cu(NH3)4^2+").latex == r"\mathrm{Cu(NH_{3})_{4}^{2+}}"
    assert "silver" in eq.species("AgSCN(s)").spoken
    assert eq.species("AgSCN(s)").spoken.endswith("solid")
    assert eq.species("Na2SO4.10H2O(s)").unicode == "Na₂SO₄·10H₂O(s)"


def test_unicode_reads_back():
    for text, name in SPELLINGS:
        assert canonical(eq.species(text).unicode) == name, text


def test_general_formulas():
    assert eq.Reaction("HA <=> H^+ + A^-").is_balanced
    assert eq.Reaction("HIn <=> H^+ + In^-").is_balanced
    for text in ("HA", "HIn", "In^-"):
        with pytest.raises(eq.EqlibError, match="no molar mass"):
            _ = eq.species(text).molar_mass
    assert eq.species("In^3+").molar_mass == pytest.approx(114.82, rel=1e-4)


def test_pickles():
    one = eq.species("FeSCN^2+")
    assert pickle.loads(pickle.dumps(one)) == one
