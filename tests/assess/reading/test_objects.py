"""Objects handed over by code: every make of number is read; giants and strangers are refused."""

import decimal
import fractions
import math
from collections import OrderedDict, namedtuple

import numpy as np
import pint
import pytest
import sympy
import uncertainties

from eqlib.assess.asks.base import Part
from eqlib.assess.mark import read_part

NUMBER = Part("k", "number", "number", "K", quantity="K")
CHOICE = Part("d", "choice", "direction", "Which way?", options=(("forward", "right"), ("none", "no shift")))

GOOD = [
    (140, 140.0),
    (140.5, 140.5),
    (np.float64(1.5), 1.5),
    (np.float32(0.5), 0.5),
    (np.longdouble(3), 3.0),
    (np.int64(7), 7.0),
    (np.array(1.5), 1.5),
    (np.array([1.5]), 1.5),
    (np.array([[2]]), 2.0),
    (np.str_("1.4e2"), 140.0),
    (fractions.Fraction(1, 4), 0.25),
    (decimal.Decimal("1.40e2"), 140.0),
    (sympy.Rational(1, 4), 0.25),
    (sympy.Integer(5), 5.0),
    (sympy.S.Half, 0.5),
    (sympy.Float("1.4e-5"), 1.4e-5),
    (-sympy.Float("1.4e5"), -1.4e5),
    (sympy.sqrt(2) / 2, math.sqrt(0.5)),
    (2 * sympy.pi, 2 * math.pi),
    (sympy.exp(1), math.e),
    (uncertainties.ufloat(140, 3), 140.0),
    (uncertainties.ufloat(140, 3) * 2, 280.0),
    (1 + 0j, 1.0),
    ([140], 140.0),
]


@pytest.mark.parametrize(("raw", "value"), GOOD, ids=lambda v: type(v).__name__)
def test_numbers_of_every_make(raw, value):
    reading = read_part(NUMBER, raw)
    assert reading.ok, reading.message
    assert type(reading.value) is float
    assert reading.value == pytest.approx(value, rel=1e-15)


def test_a_quantity_keeps_its_unit():
    units = pint.UnitRegistry()
    assert read_part(NUMBER, 0.14 / units.millimolar).value == pytest.approx(140.0, rel=1e-12)
    molar = Part("c", "number", "number", "c", unit="mol/L", quantity="concentration")
    assert read_part(molar, 0.14 * units.mmol / units.L).value == pytest.approx(1.4e-4, rel=1e-12)
    assert not read_part(molar, 3 * units.second).ok


def test_subclasses_are_read_as_what_they_are():
    assert read_part(NUMBER, namedtuple("One", "k")(7.5)).value == 7.5
    assert not read_part(NUMBER, type("Text", (str,), {})("7" * 20_000)).ok
    assert not read_part(NUMBER, type("Whole", (int,), {})(10**5000)).ok


class Raises:
    def __getattribute__(self, name):
        raise RuntimeError("no")

    def __str__(self):
        raise RuntimeError("no")


def _nested(depth):
    inner = 1
    for _ in range(depth):
        inner = [inner]
    return inner


BAD = [
    lambda: None,
    lambda: True,
    lambda: math.nan,
    lambda: math.inf,
    lambda: -math.inf,
    lambda: np.float64("nan"),
    lambda: decimal.Decimal("nan"),
    lambda: decimal.Decimal("Infinity"),
    lambda: decimal.Decimal("1e9999"),
    lambda: 10**400,
    lambda: 10**5000,
    lambda: "9" * 10_000_000,
    lambda: "x" * 20_000,
    lambda: 1 + 2j,
    lambda: sympy.Symbol("x"),
    lambda: sympy.nan,
    lambda: sympy.oo,
    lambda: sympy.zoo,
    lambda: sympy.sqrt(-1),
    lambda: sympy.Integer(10) ** 100000,
    lambda: np.ma.masked,
    lambda: np.datetime64("2026-01-01"),
    lambda: np.arange(5.0),
    lambda: np.arange(1e5),
    lambda: np.array([1, 2], dtype=object),
    lambda: Raises(),
    lambda: object(),
    lambda: object,
    lambda: int,
    lambda: len,
    lambda: {1, 2},
    lambda: b"140",
    lambda: bytearray(b"140"),
    lambda: memoryview(b"140"),
    lambda: range(3),
    lambda: iter([1]),
    lambda: (x for x in [1]),
    lambda: {"a": 1},
    lambda: OrderedDict(a=1),
    lambda: {},
    lambda: [],
    lambda: [1, 2],
    lambda: [[1, 2]],
    lambda: _nested(50),
    lambda: _nested(5000),
    lambda: list(range(10_000)),
]


# Made inside the test: pytest itself trips over some of these.
@pytest.mark.parametrize("number", range(len(BAD)))
def test_everything_else_is_refused_in_one_line(number):
    reading = read_part(NUMBER, BAD[number]())
    assert not reading.ok
    assert reading.value is None
    assert reading.message
    assert "\n" not in reading.message
    assert len(reading.message) <= 400


def test_objects_do_not_pass_for_choices():
    for raw in (
        Raises(),
        ["forward", "none"],
        {"d": "forward"},
    ):
        assert not read_part(CHOICE, raw).ok


def test_a_self_containing_list_is_refused():
    loop = []
    loop.append(loop)
    assert not read_part(NUMBER, loop).ok
    table = {}
    table["I"] = table
    ice = Part("t", "table", "ice", "Fill in", columns=("A", "B"), unit="mol/L")
    assert not read_part(ice, table).ok
