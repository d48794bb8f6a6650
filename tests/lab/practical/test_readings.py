"""Tables as students write them, and thirty spoilt ones, each answered by one line that says where and "
"what to do."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from eqlib.errors import EqlibError
from eqlib.lab.practical.readings import read_readings

STOCKS = {"standard": {"metal": 0.200, "ligand": 4e-4}, "test": {"metal": 2e-3, "ligand": 2e-3}}
GOOD = "tube,Fe / mL,SCN / mL,water / mL,A\nS1,5.00,1.00,4.00,0.175\nT1,5.00,3.00,2.00,0.325\n"


def test_volumes_become_concentrations_as_mixed():
    standard, test = read_readings(GOOD, STOCKS).tubes
    # 5.00 mL of 0.200 M and 1.00 mL of 0.400 mM in 10.00 mL; 5.00 and 3.00 mL of 2.00 mM: by hand.
    assert (standard.metal, standard.ligand) == pytest.approx((0.100, 4.0e-5))
    assert (test.metal, test.ligand) == pytest.approx((1.0e-3, 6.0e-4))
    assert (standard.role, test.role, test.absorbance) == ("standard", "test", 0.325)


SAME = [
    GOOD.replace(",", ";").replace(".", ","),
    GOOD.replace(",", "\t"),
    "\ufeff" + GOOD,
    GOOD.encode("utf-16"),
    ("\ufeff" + GOOD).encode(),
    GOOD.replace("\n", "\r\n"),
    "sep=;\n" + GOOD.replace(",", ";"),
    GOOD.replace("Fe / mL", "V(Fe) (mL)").replace("SCN / mL", "volume of KSCN [mL]"),
    GOOD.replace("Fe / mL", "iron(III)/mL")
    .replace("SCN / mL", "thiocyanate_mL")
    .replace(",A\n", ",Absorbance\n"),
    "\n\n" + GOOD + "\n,,,,\n",
    GOOD.replace("\n", ",,\n"),
    "# readings of Tuesday\n" + GOOD,
    GOOD.replace("water / mL", "total / mL")
    .replace("4.00,0.175", "10,0.175")
    .replace("2.00,0.325", "10,0.325"),
    "set,Fe / mmol/L,SCN mM,A\nstandard,100,0.04,0.175\ntest,1.0,0.6,0.325\n",
    "set,c(Fe3+) [mol/L],c(SCN-) [mol/L],A\nstandard,0.1,4e-5,0.175\ntest,1e-3,6.0x10^-4,0.325\n",
    "set,Fe mM,SCN µM,%T\nstandard,100,40,66.834\ntest,1.0,600,47.315\n",
    "set,Fe mM,SCN mM,A,blank\nstandard,100,0.04,0.195,0.020\ntest,1.0,0.6,0.345,0.020\n",
    "set,Fe mM,SCN mM,A1,A2\nstandard,100,0.04,0.174,0.176\ntest,1.0,0.6,0.324,0.326\n",
]


@pytest.mark.parametrize("text", SAME)
def test_the_same_table_in_other_clothes_reads_the_same(text):
    found = read_readings(text, STOCKS)
    assert not found.faults
    (s, t) = found.tubes
    assert (s.metal, s.ligand, s.absorbance) == pytest.approx((0.1, 4e-5, 0.175), rel=1e-4)
    assert (t.metal, t.ligand, t.absorbance) == pytest.approx((1e-3, 6e-4, 0.325), rel=1e-4)


def test_what_was_understood_is_said_back():
    notes = " ".join(read_readings("Fe mM;SCN mM;%T\n1,0;0,6;47,3\n").notes)
    assert "decimal sign" in notes
    assert "percent transmittance" in notes


def test_a_tube_read_again_keeps_its_first_line():
    *_, again = read_readings(GOOD + "again S1,,,,0.170\n", STOCKS).tubes
    assert (again.role, again.label, again.absorbance) == ("repeat", "S1", 0.170)


# What is spoilt, and what the one line must name.
REFUSED = [
    ("", "empty"),
    ("   \n\n", "empty"),
    ("Fe", "headings"),
    ("Fe / mL,SCN / mL,water / mL\n5,1,4", "A or %T"),
    ("tube,SCN / mL,water / mL,A\nT1,1,4,0.1", "Fe / mL"),
    ("tube,Fe / mL,water / mL,A\nT1,1,4,0.1", "SCN / mL"),
    ("Fe,SCN,A\n1,2,0.3", "no unit"),
    ("Fe / mL,SCN / mL,A\n5,1,0.3", "neither the water nor the total"),
    ("Fe / mL,SCN / mL,water / mL,A\n5,3,2,0,325", "semicolons"),
    ("Fe mM,SCN mM,A,A\n", "no readings"),
    ("Fe mM,Fe mM,SCN mM,A\n1,1,1,0.1", "two columns"),
    ("Fe mM,SCN mM,colour\n1,1,red", "“colour”"),
    ("Fe mM,,SCN mM,A\n1,1,1,0.1", "column 2 has no heading"),
    ("PK\x03\x04\x14\x00", "Save As, CSV"),
    ("Fe mM,SCN mM,A\n" + "1,1,0.1\n" * 300, "300 lines"),
    ("Fe mM,SCN mM,A\n1,1,red\n", "line 2, column A"),
    ("Fe mM,SCN mM,%T\n1,1,0\n", "between 0 and 100"),
    ('Fe mM,SCN mM,A\n1,1,0.1\n1,"1,0.2\n2,1,0.3\n', "line 3: a quotation mark is not closed"),
    ("Fe mM;SCN mM;A\n1;1;0.1\n\n1,2,0.2\n", "line 4 is not separated as the headings are"),
    ("# our group\nFe mM,SCN mM,A\n\n1,1,45 %\n", "line 4, column A"),
    ("<table><tr><td>Fe</td></tr></table>", "no line of headings"),
]


@pytest.mark.parametrize(("text", "words"), REFUSED)
def test_a_table_that_cannot_be_used_is_refused_in_one_line(text, words):
    with pytest.raises(EqlibError) as caught:
        read_readings(text, STOCKS)
    assert words in str(caught.value)
    assert "\n" not in str(caught.value)


LINE = "S9,5,1,4,0.175\n"
FLAGGED = [
    ("T1,5,3,2,n/a", "unreadable", "line 2, column A"),
    ("T1,5,three,2,0.3", "unreadable", "line 2, column SCN / mL"),
    ("T1,5,3,2,", "empty", "line 2"),
    ("T1,,3,2,0.3", "empty", "line 2"),
    ("T1,5,-3,2,0.3", "negative", "T1"),
    ("T1,5,3,2,inf", "unreadable", "column A"),
    ("T1,5,3,2,0.3.2", "unreadable", "column A"),
    ("again T8,,,,0.3", "repeats", "T8"),
]


@pytest.mark.parametrize(("row", "kind", "where"), FLAGGED)
def test_a_line_that_cannot_be_used_is_left_out_and_named_and_the_others_stay(row, kind, where):
    found = read_readings("tube,Fe / mL,SCN / mL,water / mL,A\n" + row + "\n" + LINE, STOCKS)
    assert [t.label for t in found.tubes] == ["S9"]
    (fault,) = found.faults
    assert fault.kind == kind
    assert where in str(fault)


TOTALS = [
    ("T1,5,3,4,10,0.3", "total", "12 mL, not to 10 mL"),
    ("T1,7,6,,10,0.3", "total", "do not fit"),
]


@pytest.mark.parametrize(("row", "kind", "where"), TOTALS)
def test_volumes_that_do_not_add_up_are_flagged_and_kept(row, kind, where):
    found = read_readings("tube,Fe / mL,SCN / mL,water / mL,total / mL,A\n" + row + "\n", STOCKS)
    assert len(found.tubes) == 1
    assert (found.faults[0].kind, where in str(found.faults[0])) == (kind, True)


def test_repeats_far_apart_are_flagged():
    found = read_readings("Fe mM,SCN mM,A1,A2\n1,0.6,0.32,0.42\n")
    assert [f.kind for f in found.faults] == ["repeats"]
    assert found.tubes[0].absorbance == pytest.approx(0.37)


def read_as(heading, value):
    """What a tube reads whose cell under ``heading`` holds ``value``."""
    return read_readings(f"Fe mM,SCN mM,{heading}\n1,1,{value!r}\n").tubes[0].absorbance


def test_percent_transmittance_of_a_published_exercise():
    # Harvey, Analytical Chemistry 2.1, chapter 10.2, exercise: A = 1.27 is 5.4 %T (from memory).
    assert read_as("%T", 5.4) == pytest.approx(1.27, abs=0.005)


@given(st.floats(0, 4))
def test_transmittance_is_ten_to_the_minus_absorbance(a):
    assert read_as("T", 10.0**-a) == pytest.approx(a, abs=1e-12)
    assert read_as("%T", 100.0 * 10.0**-a) == pytest.approx(a, abs=1e-12)


@pytest.mark.parametrize("bad", [0.0, -0.1, 1.2])
def test_a_transmittance_outside_its_range_is_named(bad):
    with pytest.raises(EqlibError, match="no transmittance: it lies between 0 and 1"):
        read_as("T", bad)
