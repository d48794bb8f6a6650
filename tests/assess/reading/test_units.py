"""Units as people type them: sizes by the SI brochure, and what is understood, letter by letter."""

from fractions import Fraction

import pytest

from eqlib.assess.reading.numbers import read_number
from eqlib.assess.reading.plain import Unreadable
from eqlib.assess.reading.units import (
    is_power_of_concentration,
    parse_unit,
    readings_of_unit,
    standard_size,
)
from eqlib.writing import pretty_unit

LENGTH, MASS, TIME, AMOUNT, WARMTH = range(5)


def dims(**powers):
    return tuple(powers.get(name, 0) for name in ("m", "kg", "s", "mol", "K"))


#: Sizes in SI: SI brochure (9th ed., 2019), tables 4 and 8; NIST SP 811, appendix B (atm, torr, mmHg, cal).
SIZES = {
    "mol": (1, dims(mol=1)),
    "M": (1000, dims(mol=1, m=-3)),
    "L": (Fraction(1, 1000), dims(m=3)),
    "m": (1, dims(m=1)),
    "g": (Fraction(1, 1000), dims(kg=1)),
    "s": (1, dims(s=1)),
    "min": (60, dims(s=1)),
    "h": (3600, dims(s=1)),
    "K": (1, dims(K=1)),
    "J": (1, dims(m=2, kg=1, s=-2)),
    "MJ": (10**6, dims(m=2, kg=1, s=-2)),
    "cal": (Fraction("4.184"), dims(m=2, kg=1, s=-2)),
    "Pa": (1, dims(m=-1, kg=1, s=-2)),
    "MPa": (10**6, dims(m=-1, kg=1, s=-2)),
    "bar": (10**5, dims(m=-1, kg=1, s=-2)),
    "atm": (101325, dims(m=-1, kg=1, s=-2)),
    "torr": (Fraction(101325, 760), dims(m=-1, kg=1, s=-2)),
    "mmHg": (Fraction("133.322387415"), dims(m=-1, kg=1, s=-2)),
    "%": (Fraction(1, 100), dims()),
    "1": (1, dims()),
    "": (1, dims()),
}
PREFIXES = {"k": 3, "d": -1, "c": -2, "m": -3, "μ": -6, "u": -6, "n": -9, "p": -12}
#: Which of them are in use before which unit (common practice, no source).
TAKEN = {
    "mol": "kmμunp",
    "M": "mμunp",
    "L": "dcmμun",
    "m": "kdcmμunp",
    "g": "kmμun",
    "s": "mμun",
    "min": "",
    "h": "",
    "K": "m",
    "J": "km",
    "cal": "k",
    "Pa": "k",
    "bar": "m",
    "atm": "",
    "torr": "",
    "mmHg": "",
    "%": "",
}


@pytest.mark.parametrize("name", SIZES)
def test_the_size_and_the_dimensions_of_each_unit(name):
    found = parse_unit(name)
    assert (found.size, found.dims, found.offset) == (*SIZES[name], 0)


@pytest.mark.parametrize("name", TAKEN)
def test_prefixes_that_are_in_use_and_no_others(name):
    size, powers = SIZES[name]
    for prefix, ten in PREFIXES.items():
        if prefix in TAKEN[name]:
            found = parse_unit(prefix + name)
            assert (found.size, found.dims) == (size * Fraction(10) ** ten, powers), prefix + name
        elif prefix + name not in ("min", "m%"):
            with pytest.raises(Unreadable):
                parse_unit(prefix + name)


@pytest.mark.parametrize(
    ("typed", "meant"),
    [
        ("kilojoule", "kJ"),
        ("kilojoules", "kJ"),
        ("decilitre", "dL"),
        ("centimetre", "cm"),
        ("millimolar", "mM"),
        ("millimoles", "mmol"),
        ("micromolar", "μM"),
        ("microlitres", "μL"),
        ("nanometers", "nm"),
        ("MMOL", "mmol"),
        ("KJ", "kJ"),
        ("MBAR", "mbar"),
        ("unitless", "1"),
        ("dimensionless", "1"),
        ("none", "1"),
        ("abs", "1"),
        ("AU", "1"),
        ("a.u.", "1"),
        ("absorbance", "1"),
        ("kJ per mole", "kJ/mol"),
        ("mol per L", "mol/L"),
        ("mol L-1", "mol/L"),
        ("mol L^-1", "mol/L"),
        ("mol·L**-1", "mol/L"),
        ("mol*L^(-1)", "mol/L"),
        ("mol.L^-1", "mol/L"),
        ("mol/dm3", "mol/L"),
        ("mol dm^-3.0", "mol/L"),
        ("M^-1", "L/mol"),
        ("1/M", "L/mol"),
        ("L/(mol cm)", "L mol^-1 cm^-1"),
        ("(L/mol)/cm", "L mol^-1 cm^-1"),
        ("(mol/L)^-1", "L/mol"),
        ("(mol/L)**2", "mol^2/L^2"),
        ("1/(M cm)", "M^-1 cm^-1"),
        ("(unit written M^-1)", "M^-1"),
        ("in units of mM", "mM"),
        ("with a unit of bar", "bar"),
        ("[mM]", "mM"),
        ("mM.", "mM"),
        ("{mol/L}", "mol/L"),
        ("(mM", "mM"),
    ],
)
def test_spellings_that_mean_the_same(typed, meant):
    a, b = parse_unit(typed), parse_unit(meant)
    assert (a.size, a.dims) == (b.size, b.dims)


@pytest.mark.parametrize(
    "typed",
    [
        "degC",
        "deg C",
        "deg. C",
        "°C",
        "Celsius",
        "degrees C",
        "degrees Celsius",
        "degree celsius",
        "degree_Celsius",
        "C",
    ],
)
def test_a_celsius_temperature_starts_at_273_15_kelvin(typed):
    found = parse_unit(typed)
    assert (found.size, found.dims, found.offset) == (1, dims(K=1), Fraction("273.15"))


def test_a_slash_may_be_meant_for_all_that_follows():
    """L/mol cm: L mol⁻¹ cm by the rules, L/(mol cm) by many people."""
    by_rule, meant = readings_of_unit("L/mol cm")
    assert by_rule.dims == dims(m=4, mol=-1)
    assert meant.dims == dims(m=2, mol=-1)
    assert len(readings_of_unit("L/(mol cm)")) == 1
    assert len(readings_of_unit("mol/L")) == 1
    assert read_number("4700 L/mol cm", "L/(mol cm)").value == 4700


@pytest.mark.parametrize(
    "typed", ["apples", "mol/apples", "M^13", "Lm" * 40, "a b c d e f g h i", "(mol", "mol^99", "€"]
)
def test_what_is_no_unit_is_asked_for_again(typed):
    if typed == "(mol":
        assert parse_unit(typed).dims == dims(mol=1)
        return
    with pytest.raises(Unreadable):
        parse_unit(typed)
    long = "too long" if len(typed) > 60 else "not one that is known here"
    with pytest.raises(Unreadable, match=long):
        parse_unit(typed)


def test_eight_factors_are_read_and_nine_are_not():
    assert parse_unit(" ".join(["m"] * 8)).dims == dims(m=8)
    with pytest.raises(Unreadable):
        parse_unit(" ".join(["m"] * 9))
    assert parse_unit("m^12").dims == dims(m=12)


@pytest.mark.parametrize(
    ("typed", "is_one"),
    [
        ("M", True),
        ("L/mol", True),
        ("mM^2", True),
        ("bar", True),
        ("atm^-1", True),
        ("Pa", True),
        ("K", False),
        ("mol", False),
        ("L", False),
        ("kJ/mol", False),
        ("M/s", False),
        ("M bar", False),
        ("M K", False),
        ("J", False),
        ("g/L", False),
        ("kg m^-1", False),
    ],
)
def test_powers_of_a_concentration_or_of_a_pressure(typed, is_one):
    assert is_power_of_concentration(parse_unit(typed)) is is_one


@pytest.mark.parametrize(
    ("typed", "size"),
    [
        ("M", 1),
        ("mM", Fraction(1, 1000)),
        ("L/mmol", 1000),
        ("bar", 1),
        ("kPa", Fraction(1, 100)),
        ("kPa^-1", 100),
    ],
)
def test_a_K_is_taken_relative_to_one_mole_a_litre_or_one_bar(typed, size):
    assert standard_size(parse_unit(typed)) == size


@pytest.mark.parametrize(
    ("typed", "shown"),
    [
        ("M^-1 cm^-1", "M⁻¹ cm⁻¹"),
        ("L/(mol cm)", "L/(mol cm)"),
        ("mol^(-2)", "mol⁻²"),
        ("mol^{+2}", "mol⁺²"),
        ("mol**-1", "mol⁻¹"),
        ("dm3", "dm³"),
        ("mol L-1", "mol L⁻¹"),
    ],
)
def test_a_unit_in_print(typed, shown):
    assert pretty_unit(typed) == shown
