"""Numbers as people type them. Every expected value is written out by hand."""

import math

import pytest

from eqlib.assess.kinds import Part
from eqlib.assess.reading import read_part
from eqlib.assess.reading.numbers import read_number
from eqlib.assess.reading.units import parse_unit, pretty_unit, readings_of_unit


def part(unit=""):
    return Part("n", "number", "number", "A number", unit=unit, quantity="K")


READ = [
    # typed, unit wanted, value, figures
    ("1.4e2", "", 140.0, (2, 2)),
    ("1,4·10²", "", 140.0, (2, 2)),
    ("1.4 x 10^2", "", 140.0, (2, 2)),
    ("1.4*10**2", "", 140.0, (2, 2)),
    ("1.40 × 10²", "", 140.0, (3, 3)),
    ("1.4 E 2", "", 140.0, (2, 2)),
    ("$1.4\\times 10^{2}$", "", 140.0, (2, 2)),
    ("140", "", 140.0, (2, 3)),
    ("140.", "", 140.0, (3, 3)),
    ("140 M^-1", "", 140.0, (2, 3)),
    ("140 L/mol", "", 140.0, (2, 3)),
    ("140 dm³ mol⁻¹", "", 140.0, (2, 3)),
    ("0.14 mM^-1", "", 140.0, (2, 2)),
    ("140 1/M", "", 140.0, (2, 3)),
    ("140 per M", "", 140.0, (2, 3)),
    ("140/M", "", 140.0, (2, 3)),
    ("140 (unit written M⁻¹)", "", 140.0, (2, 3)),
    ("140 L/mol", "M^-1", 140.0, (2, 3)),
    ("140 M^-1", "L/mol", 140.0, (2, 3)),
    ("140 L mol^{-1}", "", 140.0, (2, 3)),
    ("140 (mol/L)^-1", "", 140.0, (2, 3)),
    ("140 1/(mol/L)", "", 140.0, (2, 3)),
    ("140 M^(-1)", "", 140.0, (2, 3)),
    ("140 l mol⁻¹", "", 140.0, (2, 3)),
    ("140, M^-1", "", 140.0, (2, 3)),
    ("140 ?", "", 140.0, (2, 3)),
    ("1.4x10²", "", 140.0, (2, 2)),
    ("0.325 AU", "", 0.325, (3, 3)),
    ("0.325 a.u.", "", 0.325, (3, 3)),
    ("25C", "K", 298.15, (3, 3)),
    ("K_c = 140", "", 140.0, (2, 3)),
    ("Kc: 140", "", 140.0, (2, 3)),
    ("Kc = 140", "", 140.0, (2, 3)),
    ("K ≈ 1.4e2", "", 140.0, (2, 2)),
    ("about 140", "", 140.0, (2, 3)),
    ("~140", "", 140.0, (2, 3)),
    ("140 ± 5", "", 140.0, (2, 3)),
    ("(1.40 ± 0.05) x 10^2 M^-1", "", 140.0, (3, 3)),
    ("140(5)", "", 140.0, (2, 3)),
    ("0.14 mM", "mol/L", 1.4e-4, (2, 2)),
    ("0.14 mmol/L", "mol/L", 1.4e-4, (2, 2)),
    ("0.14 mmol L-1", "mol/L", 1.4e-4, (2, 2)),
    ("140 µM", "mol/L", 1.4e-4, (2, 3)),
    ("140 uM", "mol/L", 1.4e-4, (2, 3)),
    ("0.140 millimolar", "mol/L", 1.4e-4, (3, 3)),
    ("1.4e-4", "mol/L", 1.4e-4, (2, 2)),
    ("1.4e-4 mol/L", "mM", 0.14, (2, 2)),
    ("6.92×10⁻⁵ mol dm⁻³", "mol/L", 6.92e-5, (3, 3)),
    ("6.92 x 10-5 M", "mol/L", 6.92e-5, (3, 3)),
    ("5 mol per litre", "mol/L", 5.0, (1, 1)),
    ("4700 L/mol cm", "M^-1 cm^-1", 4700.0, (2, 4)),
    ("4700 L/(mol cm)", "M^-1 cm^-1", 4700.0, (2, 4)),
    ("4700 M-1cm-1", "L/(mol cm)", 4700.0, (2, 4)),
    ("-5.7 kJ/mol", "kJ/mol", -5.7, (2, 2)),
    ("−5700 J mol⁻¹", "kJ/mol", -5.7, (2, 4)),
    ("1 kcal/mol", "kJ/mol", 4.184, (1, 1)),
    ("14 %", "", 0.14, (2, 2)),
    ("14%", "%", 14.0, (2, 2)),
    ("0.14", "%", 0.14, (2, 2)),
    ("25 °C", "K", 298.15, (3, 3)),
    ("298.15 K", "°C", 25.0, (4, 4)),
    ("1.0 atm", "bar", 1.01325, (2, 2)),
    ("0,140", "", 0.140, (3, 3)),
    ("1,4", "", 1.4, (2, 2)),
    (",5", "", 0.5, (1, 1)),
    ("1.400,5", "", 1400.5, (5, 5)),
    ("1,400.5", "", 1400.5, (5, 5)),
    ("1,400,000", "", 1.4e6, (2, 7)),
    ("1 400", "", 1400.0, (2, 4)),
    ("1'400", "", 1400.0, (2, 4)),
    ("1,400·10^2", "", 140.0, (4, 4)),
    ("10^-4", "", 1e-4, (1, 1)),
    ("٣٫٥", "", 3.5, (2, 2)),
    ("１４０", "", 140.0, (2, 3)),
    ("\u200b140\u00a0M⁻¹", "", 140.0, (2, 3)),
    ("0", "", 0.0, (1, 1)),
    ("-0.014", "", -0.014, (2, 2)),
]  # fmt: skip


@pytest.mark.parametrize(("typed", "unit", "value", "figures"), READ)
def test_tolerant_numbers(typed, unit, value, figures):
    reading = read_part(part(unit), typed)
    assert reading.ok, reading.message
    assert reading.value == pytest.approx(value, rel=1e-15, abs=0)
    assert type(reading.value) is float
    assert reading.figures == figures


REFUSED = [
    # typed, unit wanted, what the message must name
    ("1,400", "", ("1400", "1.400")),
    ("12,345", "", ("12345", "12.345")),
    ("1·4", "", ("decimal mark", "point")),
    ("140 ((mol) L", "", ("not one that is known",)),
    ("140 mol^", "mol", ("not one that is known",)),
    ("1.4x104", "", ("lost its sign", "1.4e2")),
    ("1/140", "", ("calculation", "one number")),
    ("0.5*3", "", ("calculation",)),
    ("1.4.5", "", ("more than one way",)),
    ("1,2,3", "", ("more than one way",)),
    ("nan", "", ("not a number",)),
    ("inf", "", ("infinite",)),
    ("∞", "", ("infinite",)),
    ("<5", "", ("limit", "one value")),
    ("1e999", "", ("power of ten",)),
    ("1e400000000000000", "", ("power of ten",)),
    ("", "", ("empty",)),
    ("   ", "", ("empty",)),
    ("hello", "", ("“hello”", "would do")),
    ("140 bananas", "", ("“bananas”",)),
    ("0.14 m", "mol/L", ("metre", "capital M")),
    ("0.14 mmol", "mol/L", ("mmol", "mol/L")),
    ("140 M^-1", "mol/L", ("M⁻¹", "mol/L")),
    ("0.325 cm", "", ("cm", "without a unit")),
    ("14 %", "mol/L", ("%", "mol/L")),
    ("5 5 5 5", "", ("one number",)),
    ("__import__('os').system('x')", "", ("wants a number",)),
    ("9" * 20_000, "", ("20,000",)),
    ("9" * 400, "", ("long",)),
]  # fmt: skip


@pytest.mark.parametrize(("typed", "unit", "named"), REFUSED)
def test_refused_numbers_say_what_was_seen_and_what_would_do(typed, unit, named):
    reading = read_part(part(unit), typed)
    assert not reading.ok
    assert reading.value is None
    assert "\n" not in reading.message
    for words in named:
        assert words in reading.message


@pytest.mark.parametrize(("typed", "unit", "value", "_figures"), READ)
def test_reading_a_read_value_again_changes_nothing(typed, unit, value, _figures):
    first = read_part(part(unit), typed)
    again = read_part(part(unit), first.value)
    assert again.ok
    assert again.value == first.value


def test_what_was_read_is_said_in_words():
    assert read_number("0.14 mM", "mol/L").shown == (
        "read as 1.4 × 10⁻⁴ mol/L, 2 significant figures (changed from mM)"
    )
    assert read_number("140 M^-1").shown == "read as 140, 2 to 3 significant figures (unit written M⁻¹)"
    assert read_number("0.1", "mol/L").shown == (
        "read as 0.1 mol/L, 1 significant figure (unit taken as mol/L)"
    )


def test_conversion_is_exact():
    """0.1 x 0.001 in floats is 1.0000000000000002e-04 ; by fractions it is the float nearest to 1/10000."""
    assert read_number("0.1 mM", "mol/L").value == 1e-4
    assert read_number("0.3 mM", "mol/L").value == 3e-4
    assert read_number("4.35 mL", "L").value == 0.00435


def test_decimals_follow_the_power_of_ten():
    assert read_number("3.20").decimals == 2
    assert read_number("1.4e-4").decimals == 5
    assert read_number("1.4e2").decimals == 0


def test_two_readings_of_a_slash():
    dims = {reading.dims for reading in readings_of_unit("L/mol cm")}
    assert dims == {(4, 0, 0, -1, 0), (2, 0, 0, -1, 0)}
    assert parse_unit("J/(mol K)").dims == (2, 1, -2, -1, -1)
    assert math.isclose(parse_unit("kJ mol^-1").size, 1000)
    assert pretty_unit("M^-1 cm^-1") == "M⁻¹ cm⁻¹"
