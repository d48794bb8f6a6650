"""Cells of tables, orders, and the limits of what is read: each held from both sides."""

import pytest

from eqlib.assess.reading.numbers import count_digits, figures_of_value, read_number
from eqlib.assess.reading.plain import Unreadable
from eqlib.assess.reading.tables import Linear, read_cell, read_table


@pytest.mark.parametrize(
    ("typed", "constant", "multiple"),
    [
        ("0.10 - x", 0.10, -1),
        ("0.10 + 2x", 0.10, 2),
        ("x", 0, 1),
        ("-x", 0, -1),
        ("+ x", 0, 1),
        ("minus x", 0, -1),
        ("0.1 minus 2 x", 0.1, -2),
        ("0.1 plus x", 0.1, 1),
        ("2*x", 0, 2),
        ("x/2", 0, 0.5),
        ("3/2 x", 0, 1.5),
        ("1/4x", 0, 0.25),
        ("(0.10 - x)", 0.10, -1),
        ("(0.10 - x) mol/L", 0.10, -1),
        ("(0.10 - x) M", 0.10, -1),
        ("0.10 M - x", 0.10, -1),
        ("10 mM - x", 0.010, -1),
        ("0.1 mol/L + x", 0.1, 1),
        ("y", 0, 1),
        ("0.1 - Y", 0.1, -1),
        ("0.1 - ξ", 0.1, -1),
        ("2s", 0, 2),
        ("1e-3 - x", 0.001, -1),
        ("0.1 + 0.2 - x + x", pytest.approx(0.3), 0),
        ("0.20", 0.2, 0),
        ("20 mM", 0.020, 0),
        (0.5, 0.5, 0),
        ("0.10 - 2 x + 0.05", pytest.approx(0.15), -2),
    ],
)
def test_a_cell_is_a_number_and_so_many_x(typed, constant, multiple):
    cell = read_cell(typed)
    assert (cell.constant, cell.multiple) == (constant, multiple)


@pytest.mark.parametrize("typed", ["", "?", "—", "-", "--", "n/a", "N/A".lower(), "empty", None, "  "])
def test_a_cell_with_nothing_in_it_is_empty(typed):
    assert read_cell(typed) is None


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ("x + y", "more than one unknown"),
        ("x/0", "divides by zero"),
        ("x x", "could not be read as a cell"),
        ("2 + + x", "could not be read as a cell"),
        ("x + " * 26, "too long for one cell"),
        ("x * x", "could not be read as a cell"),
    ],
)
def test_what_is_no_cell_is_asked_for_again(typed, says):
    with pytest.raises(Unreadable, match=says):
        read_cell(typed)


def test_a_cell_of_a_hundred_letters_is_read_and_one_of_more_is_not():
    assert read_cell("x" + " + x" * 24 + "+ x").multiple == 26  # 100 letters
    with pytest.raises(Unreadable, match="too long"):
        read_cell("x" + " + x" * 25)


def test_a_cell_in_another_unit():
    assert read_cell("20 - x", "mmol/L") == Linear(20.0, -1.0)
    assert read_cell("0.02 mol/L - x", "mmol/L") == Linear(20.0, -1.0)


@pytest.mark.parametrize(
    ("cell", "shown"),
    [
        (Linear(0.1, -1.0), "0.1 - x"),
        (Linear(0.1, 2.0), "0.1 + 2x"),
        (Linear(0.0, 1.0), "x"),
        (Linear(0.0, -1.0), "-x"),
        (Linear(0.0, -0.5), "-0.5x"),
        (Linear(0.3), "0.3"),
        (Linear(0.0, 1 / 3), "0.3333333333333333x"),
    ],
)
def test_a_cell_in_print_can_be_read_again(cell, shown):
    assert str(cell) == shown
    assert read_cell(shown) == cell


COLUMNS = ["Fe^3+", "SCN^-"]


@pytest.mark.parametrize(
    "raw",
    [
        {
            "initial": {"Fe^3+": 1.0, "SCN^-": 2},
            "change": {"Fe^3+": "-x", "SCN^-": "-x"},
            "equilibrium": {"Fe^3+": "1 - x", "SCN^-": "2.0 - x"},
        },
        {
            "initial": {"Fe3+": "1", "SCN-": "2"},
            "change": {"Fe3+": "-x", "SCN-": "-x"},
            "equilibrium": {"Fe3+": "1 - x", "SCN-": "2 - x"},
        },
    ],
)
def test_a_table_as_typed_and_as_recorded(raw):
    read = read_table(raw, COLUMNS)
    assert read.value == {
        "initial": {"Fe^3+": 1.0, "SCN^-": 2.0},
        "change": {"Fe^3+": "-x", "SCN^-": "-x"},
        "equilibrium": {"Fe^3+": "1.0 - x", "SCN^-": "2.0 - x"},
    }
    assert read.notes == ()
    assert read.shown == "read as initial: 1, 2; change: -x, -x; equilibrium: 1.0 - x, 2.0 - x"


@pytest.mark.parametrize(
    ("raw", "notes"),
    [
        (
            {
                "initial": {"Fe^3+": "1", "SCN^-": ""},
                "change": {"Fe^3+": "-x", "SCN^-": "-x"},
                "equilibrium": {"Fe^3+": "1 - x", "SCN^-": "2"},
            },
            ("1 cell is still empty",),
        ),
        (
            {"initial": {"Fe^3+": "1"}, "change": {"Fe^3+": "-x", "SCN^-": "-x"}},
            ("3 cells are still empty",),
        ),
    ],
)
def test_empty_cells_are_counted(raw, notes):
    assert read_table(raw, COLUMNS).notes == notes


@pytest.mark.parametrize(
    ("raw", "says"),
    [
        ({"initial": "1"}, "Row “initial” does not hold cells"),
        ({"initial": ["1", "2"]}, "Row “initial” does not hold cells"),
        ({"Q": {}}, "“Q” is not a row of this table, which has initial, change, equilibrium"),
        ({"initial": {"Cu^2+": "1"}}, "is not a column of this table"),
        ({"initial": {"SCN^-": "a lot"}}, "Row initial, SCN.-: "),
        ({}, "still empty"),
        ({"initial": {"Fe^3+": "", "SCN^-": None}}, "still empty"),
        ("1, 2", "still empty"),
        (7, "still empty"),
    ],
)
def test_a_table_that_cannot_be_read_says_where(raw, says):
    with pytest.raises(Unreadable, match=says):
        read_table(raw, COLUMNS)


# -- numbers ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("typed", "value"),
    [
        ("1e300", 1e300),
        ("1e-300", 1e-300),
        ("10^300", 1e300),
        ("1.4*10^2", 140.0),
        ("1.4 x 10^-2", 0.014),
        ("1.4·10(-2)", None),
        ("1.4 10^2", 140.0),
        ("1.4x10-2", 0.014),
        ("1.4E+2", 140.0),
        ("10^2", 100.0),
        ("-10^2", -100.0),
        ("10**-2", 0.01),
        ("(1.4 ± 0.1)e2", 140.0),
        ("(1.4 ± 0.1) x 10^2", 140.0),
        ("140 ± 5", 140.0),
        ("140 +- 5", 140.0),
        ("140 +/- 5", 140.0),
        ("140(5)", 140.0),
        ("1,4", 1.4),
        ("1'400", 1400.0),
        ("12 345.6", 12345.6),
        ("1.400,5", 1400.5),
        ("1,400.5", 1400.5),
        ("1,234,567", 1234567.0),
        ("1.234.567", 1234567.0),
        ("0,140", 0.14),
        ("1,4.10^2", 140.0),
        ("½", 0.5),
        ("3½", 3.5),
        ("¼", 0.25),
        ("¾", 0.75),
        ("three quarters", 0.75),
        ("a quarter", 0.25),
        ("half", 0.5),
        ("minus half", -0.5),
        ("zero", 0.0),
        ("nil", 0.0),
        ("nought", 0.0),
        ("one", 1.0),
        ("twelve", 12.0),
        ("minus two", -2.0),
        ("plus three", 3.0),
        ("negative 4", -4.0),
        ("Kc = 140", 140.0),
        ("140 = Kc", 140.0),
        ("K ≈ 140", 140.0),
        ("about 140", 140.0),
        ("the value of Kc is about 140", 140.0),
        ("I get 140", 140.0),
        ("~140", 140.0),
        ("140 or so", 140.0),
        ("5 or so", 5.0),
        ("5 approximately", 5.0),
        ("140ish", 140.0),
        ("140 I think", 140.0),
        ("$1.4 \\times 10^{2}$", 140.0),
        ("14 %", 0.14),
    ],
)
def test_a_number_as_people_type_it(typed, value):
    if value is None:
        with pytest.raises(Unreadable):
            read_number(typed)
    else:
        assert read_number(typed).value == pytest.approx(value, rel=1e-12)


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ("1e301", "power of ten .* outside"),
        ("1e-301", "power of ten .* outside"),
        ("1e999999", "power of ten .* outside"),
        ("9" * 201, "is a long text"),
        ("nan", "is not a number"),
        ("inf", "is infinite"),
        ("-inf", "is infinite"),
        ("∞", "is infinite"),
        ("1,400", "could mean 1400 or 1.400"),
        ("1,40,0", "can be read in more than one way"),
        ("1.4.0,0", "can be read in more than one way"),
        ("between 1 and 2", "gives a range"),
        ("> 140", "gives a limit"),
        ("less than 140", "gives a limit"),
        ("at least 140", "gives a limit"),
        ("thirteen", "number in words"),
        ("three hundred", "number in words"),
        ("log K = 2.1", "gives a logarithm"),
        ("pKa = 7", "gives a logarithm"),
        ("K = 140, Q = 12", "more than one value"),
        ("3*4", "more than one number"),
        ("3/4", "looks like a calculation"),
        ("1.4 x 102", "lost its sign"),
        ("1·4", "decimal mark or a multiplication"),
        ("-0.00", "lost its figures"),
        ("57 kJ exothermic", "names one direction of heat"),
        ("140 apples", "not one that is known"),
        ("140 s", "has the unit s"),
        ("", "still empty"),
        ("a lot", "does not start with one"),
    ],
)
def test_a_number_that_cannot_be_read_is_asked_for_again(typed, says):
    with pytest.raises(Unreadable, match=says):
        read_number(typed)


def test_a_number_of_two_hundred_digits_is_read():
    assert read_number("9" * 200).value == pytest.approx(1e200)


@pytest.mark.parametrize(
    ("digits", "least", "most", "decimals"),
    [
        ("0", 1, 1, 0),
        ("0.0", 1, 1, 1),
        ("0.000", 3, 3, 3),
        ("00", 1, 1, 0),
        ("140", 2, 3, 0),
        ("140.", 3, 3, 0),
        ("1400.0", 5, 5, 1),
        ("0.0140", 3, 3, 4),
        ("1", 1, 1, 0),
        ("100", 1, 3, 0),
        ("007", 1, 1, 0),
    ],
)
def test_figures_of_digits(digits, least, most, decimals):
    found = count_digits(digits)
    assert (found.least, found.most, found.decimals) == (least, most, decimals)


@pytest.mark.parametrize(
    ("digits", "words"),
    [("1", "1 significant figure"), ("140", "2 to 3 significant figures"), ("1.40", "3 significant figures")],
)
def test_figures_in_words(digits, words):
    assert str(count_digits(digits)) == words


@pytest.mark.parametrize(
    ("value", "count"), [(0.00714, 3), (67.0, 2), (0.0, 1), (-1.5, 2), (1e22, 1), (140.0, 2)]
)
def test_the_fewest_figures_that_write_a_number(value, count):
    assert figures_of_value(value) == count


@pytest.mark.parametrize(
    ("typed", "unit", "value", "decimals", "notes"),
    [
        ("140", "L/mol", 140.0, 0, ("unit taken as L/mol",)),
        ("140 without units", "L/mol", 140.0, 0, ("unit taken as L/mol",)),
        ("2.50 mM", "mol/L", 0.0025, 2, ("changed from mM",)),
        ("0.0025 M", "mol/L", 0.0025, 4, ()),
        ("-57.2 kJ", "kJ/mol", -57.2, 1, ("per mole of reaction taken as meant",)),
        ("-57200 J/mol", "kJ/mol", -57.2, 0, ("changed from J/mol",)),
        ("140 M^-1", "", 140.0, 0, ("unit written M⁻¹",)),
        ("0.14 mM^-1", "", 140.0, 2, ("unit written mM⁻¹",)),
        ("25.0 °C", "K", 298.15, 1, ("changed from °C",)),
        ("140 ± 5", "", 140.0, 0, ("the ± part is not used for marking",)),
        ("2.5 mM FeSCN2+", "mol/L", 0.0025, 1, ("changed from mM",)),
        ("2.5 mM of complex", "mol/L", 0.0025, 1, None),
    ],
)
def test_a_number_with_its_unit(typed, unit, value, decimals, notes):
    read = read_number(typed, unit)
    assert read.value == pytest.approx(value, rel=1e-12)
    if notes is not None:
        assert (read.decimals, read.notes) == (decimals, notes)


@pytest.mark.parametrize(
    ("typed", "unit", "figures"),
    [
        ("-57192 J/mol", "kJ/mol", (3, 5)),  # nobody rounds to thousands of joules
        ("-57192.0 J/mol", "kJ/mol", (6, 6)),
        ("25 °C", "K", (3, 3)),  # 298 K
        ("25.0 °C", "K", (4, 4)),
        ("2.50 mM", "mol/L", (3, 3)),
        ("10^2", "", (1, 1)),
    ],
)
def test_figures_after_a_change_of_unit(typed, unit, figures):
    assert read_number(typed, unit).figures == figures
