"""Numbers as people type them. Every expected value is written out by hand."""

import math
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from eqlib.assess.asks.base import Part
from eqlib.assess.mark import read_part
from eqlib.assess.reading.numbers import read_number
from eqlib.assess.reading.plain import Unreadable
from eqlib.assess.reading.units import parse_unit, readings_of_unit
from eqlib.writing import pretty_unit


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
    ("140 150.5", "", 140150.5, (7, 7)),
    ("100 %", "", 1.0, (1, 3)),
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
    ("half", "mol/L", ("share", "number itself")),
    ("a quarter", "mol/L", ("share", "number itself")),
    ("gives out 5.9 kJ/mol", "kJ/mol", ("sign", "minus for exothermic")),
    ("5.9 kJ/mol released", "kJ/mol", ("sign", "minus for exothermic")),
    ("-5.9, taken up", "kJ/mol", ("sign", "minus for exothermic")),
    ("0.0058 or 0.0063", "mol/L", ("more than one value",)),
    ("127 < K", "L/mol", ("compares", "number alone")),
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
    ("130%", "", ("more than the whole",)),
    ("140 150", "", ("one number or two", "without a space")),
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


# What is said, and what it says: worked out by hand.
SAID = [
    ("Kc is 140", "", 140.0),
    ("Kc is about 140 M-1", "", 140.0),
    ("the value of Kc is 140", "", 140.0),
    ("K_c: 140", "", 140.0),
    ("Kc ~ 140", "", 140.0),
    ("Kc → 1,4·10²", "", 140.0),
    ("140 = Kc", "", 140.0),
    ("I get 140", "", 140.0),
    ("it comes to roughly 140", "", 140.0),
    ("140 or so", "", 140.0),
    ("140ish", "", 140.0),
    ("approximately equal to 140", "", 140.0),
    ("[140]", "", 140.0),
    ("≈ 140", "", 140.0),
    ("140 M-1", "", 140.0),
    ("1,5e2", "", 150.0),
    ("1.4·10^2", "", 140.0),
    ("1,4.10^2", "", 140.0),
    ("1.4 times 10^2", "", 140.0),
    ("1.27 10-3", "mol/L", 1.27e-3),
    ("1,27 10-3 mol/L", "mol/L", 1.27e-3),
    ("at 25 °C Kc is 140", "", 140.0),
    ("two", "", 2.0),
    ("Twelve", "", 12.0),
    ("it is zero", "", 0.0),
    ("minus three", "", -3.0),
    ("negative 0.5", "", -0.5),
    ("minus 57.2 kJ/mol", "kJ/mol", -57.2),
    ("-57.2 kJ", "kJ/mol", -57.2),
    ("-57192 J", "kJ/mol", -57.192),
    ("ΔH is about −57 kJ mol⁻¹", "kJ/mol", -57.0),
    ("delta H is minus 57.2 kJ/mol", "kJ/mol", -57.2),
    ("exothermic, -57.2 kJ/mol", "kJ/mol", -57.2),
    ("-57.2 kJ/mol (exothermic)", "kJ/mol", -57.2),
    ("57.2 kJ/mol, endothermic", "kJ/mol", 57.2),
    ("-57.2 kJ/mol of N2O4", "kJ/mol", -57.2),
    ("[Fe3+] is 1.2e-4", "mol/L", 1.2e-4),
    ("FeSCN2+: 0.12 mM", "mol/L", 1.2e-4),
    ("0.12 mM FeSCN2+", "mol/L", 1.2e-4),
    ("1.2e-4 mol/L of the complex", "mol/L", 1.2e-4),
    ("twelve mL", "mL", 12.0),
]


@pytest.mark.parametrize(("typed", "unit", "value"), SAID)
def test_numbers_are_read_out_of_what_people_say(typed, unit, value):
    reading = read_part(Part("n", "number", "number", "n", unit=unit), typed)
    assert reading.ok, reading.message
    assert reading.value == pytest.approx(value, rel=1e-12)


NOT_SAID = """
Kc is not 140|Kc is less than 140|more than 140|at least 140|no more than 140|140 or 150|130 to 150
Kc is 140 or 150|between 1 and 2|Kc is 140 and Q is 12|Kc = 140, Q = 12|K = 140 and Q = 12|log K is 2.1
the log is 2.1|two hundred|thirteen|two thirds|one or two|ten to the 2|x 10^2|maybe 140|140 maybe|K is
about|it is|minus minus 3|minus -3|K1 12|a) 140|1: 2|14O|1.4D2|140 is my answer|none|a dozen
"""


@pytest.mark.parametrize("typed", [t for line in NOT_SAID.split("\n")[1:-1] for t in line.split("|")])
def test_what_may_mean_another_number_is_asked_again(typed):
    assert not read_part(Part("n", "number", "number", "n"), typed).ok


@pytest.mark.parametrize("typed", ["57.2 exothermic", "exothermic 57.2 kJ/mol", "-57.2 kJ/mol endothermic"])
def test_a_sign_that_contradicts_the_direction_of_heat_is_asked_again(typed):
    reading = read_part(Part("n", "number", "number", "dH", unit="kJ/mol"), typed)
    assert not reading.ok
    assert "sign" in reading.message


def test_only_an_energy_may_leave_its_per_mole_unsaid():
    found = read_part(Part("n", "number", "number", "dH", unit="kJ/mol"), "-57.2 kJ")
    assert "per mole of reaction taken as meant" in found.notes
    assert not read_part(Part("n", "number", "number", "c", unit="mol/L"), "1.2e-4 mol").ok
    assert not read_part(Part("n", "number", "number", "dH", unit="kJ/mol"), "-57.2 kJ/K").ok


def test_a_whole_number_in_a_smaller_unit_is_not_blamed_for_its_figures():
    found = read_part(Part("n", "number", "number", "dH", unit="kJ/mol"), "-57192 J/mol")
    assert found.value == pytest.approx(-57.192)
    assert found.figures == (3, 5), "three figures are wanted, and no more are blamed"
    for unit, typed in (("kJ/mol", "-57.192"), ("mol/L", "0.12345 mM")):  # decimals claim their figures
        found = read_part(Part("n", "number", "number", "n", unit=unit), typed)
        assert found.figures == (5, 5)


INTRODUCTIONS = ["", "Kc = ", "Kc is ", "Kc is about ", "≈ ", "~", "the answer is ", "K: ", "I got ",
                 "about ", "= ", "My value of Kc comes out at "]  # fmt: skip
ENDINGS = ["", " ", ".", "!", " or so", " (approximately)", ", I think"]
OF_K = [("", 1), (" M^-1", 1), (" L/mol", 1), (" dm³ mol⁻¹", 1), (" mM^-1", 1000), (" per M", 1),
        (" m³/mol", 1000)]  # fmt: skip


@given(
    st.integers(1, 9999),
    st.integers(-12, 12),
    st.sampled_from([".", ","]),
    st.sampled_from(["{}e{}", "{}·10^{}", "{} x 10^{}", "{} × 10^({})", "{}*10**{}", "{}E{}"]),
    st.sampled_from(INTRODUCTIONS),
    st.sampled_from(OF_K),
    st.sampled_from(ENDINGS),
    st.booleans(),
)
def test_whatever_stands_around_a_number_it_is_read_as_that_number(
    digits, power, mark, form, before, unit, after, minus
):
    mantissa = f"{digits / 1000:.3f}".replace(".", mark)
    sign = "-" if minus else ""
    typed = before + sign + form.format(mantissa, power) + unit[0] + after
    reading = read_part(Part("n", "number", "number", "K"), typed)
    assert reading.ok, (typed, reading.message)
    exact = (-1 if minus else 1) * Fraction(digits, 1000) * Fraction(10) ** power * unit[1]
    assert reading.value == float(exact), typed
    again = read_part(Part("n", "number", "number", "K"), reading.value)
    assert again.value == reading.value


COUNTED = [
    "zero",
    "one",
    "two",
    "three",
    "four",
    "five",
    "six",
    "seven",
    "eight",
    "nine",
    "ten",
    "eleven",
    "twelve",
    "nought",
    "nil",
]


@given(st.text(alphabet="abcdefghijklmnopqrstuvwxyzKQΔ .,:;~≈=→-()[]<>", max_size=40))
def test_text_without_a_figure_or_a_counted_word_is_never_a_number(typed):
    reading = read_part(Part("n", "number", "number", "K"), typed)
    assert not reading.ok or any(word in typed.casefold() for word in COUNTED)


WORDS = [
    "Kc",
    "is",
    "not",
    "140",
    "or",
    "150",
    "less",
    "than",
    "=",
    "-",
    "about",
    "two",
    "and",
    "Q",
    "M-1",
    "x",
    "10",
    "^",
    "2",
    ",",
    ".",
]


@given(st.lists(st.sampled_from(WORDS), max_size=7))
def test_a_phrase_with_a_denial_or_a_choice_in_it_is_never_read(words):
    reading = read_part(Part("n", "number", "number", "K"), " ".join(words))
    if {"not", "or", "less", "and"} & set(words) and not {"=", "."} & set(words):
        assert not reading.ok, words


@pytest.mark.parametrize(
    ("typed", "value"),
    [("0,014.", 0.014), ("12,5.", 12.5), ("1.4e2.", 140.0), ("0.014,", 0.014), ("Kc is 1,4.", 1.4)],
)
def test_the_point_that_ends_a_sentence_is_no_decimal_mark(typed, value):
    assert read_part(Part("n", "number", "number", "K"), typed).value == value


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("Pa", "J m^-3"),
        ("bar L", "kJ"),
        ("L/cm", "cm^2"),
        ("M", "mol/m^3"),
        ("m^2/mol", "L/(mol cm)"),
        ("h", "s"),
    ],
)
def test_units_hang_together(one, other):
    # SI Brochure: Pa = J/m³, 1 L = 10⁻³ m³.
    assert parse_unit(one).dims == parse_unit(other).dims
    assert parse_unit(one).dims != parse_unit("K g").dims


@pytest.mark.parametrize(
    ("typed", "value"),
    [
        ("one half", 0.5),
        ("about a half", 0.5),
        ("minus one half", -0.5),
        ("three quarters", 0.75),
        ("a quarter", 0.25),
        ("½", 0.5),
        ("-1½", -1.5),
        ("2¼ mol/L", 2.25),
        ("0.75 (rounded)", 0.75),
        ("2.5 mM (free iron)", 0.0025),
    ],
)
def test_halves_quarters_and_remarks_in_brackets(typed, value):
    unit = "mol/L" if "mol/L" in typed or "mM" in typed else ""
    assert read_number(typed, unit).value == pytest.approx(value, rel=1e-15)


@pytest.mark.parametrize(
    "typed", ["pKa = 7.1", "pK: 7,1", "the pKa is 7.1", "pKa of HIn = 7.1", "7.1", "pH = 7.1"]
)
def test_a_pKa_is_given_where_a_pKa_is_wanted(typed):
    assert read_part(Part("p", "number", "number", "pKa", quantity="pKa"), typed).value == 7.1
    refused = read_part(Part("p", "number", "number", "Ka", quantity="K"), "pKa = 7.1")
    assert "gives a logarithm" in refused.message


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ("one hundred and forty", "in words"),
        ("a hundred", "in words"),
        ("two thirds", "in words"),
        ("one thousandth", "in words"),
        ("at least 140", "gives a limit"),
        ("less than 1e-9", "gives a limit"),
        ("between 0.1 and 0.2", "gives a range.*one value"),
        ("it is between 1 and 2", "gives a range"),
        ("-0.000", "lost its figures in rounding"),
        ("−0,00 mol/L", "lost its figures in rounding"),
    ],
)
def test_what_is_wrong_with_it_is_said(typed, said):
    with pytest.raises(Unreadable, match=said):
        read_number(typed, "mol/L")


def test_zero_itself_is_read():
    assert [read_number(typed, "mol/L").value for typed in ("0", "0.000", "zero", "-0")] == [0, 0, 0, 0]
