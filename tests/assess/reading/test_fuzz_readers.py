"""Arbitrary text and objects: nothing raises, nothing is read as another value, no mark passes its limit."""

import importlib.util
import json
import math
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from eqlib.assess.mark import read_part

_PATH = Path(__file__).parents[2] / "benchmarks" / "fuzz_readers.py"
_SPEC = importlib.util.spec_from_file_location("fuzz_readers", _PATH)
fuzz = importlib.util.module_from_spec(_SPEC)
_SPEC.loader.exec_module(fuzz)


def test_three_thousand_seeded_tries():
    """The long run is tests/benchmarks/fuzz_readers.py."""
    seen = fuzz.run(3_000)
    assert sum(seen.values()) == 3_000
    assert seen["known number read"] > 5 * seen["known number refused"]
    assert seen["full mark"] > 0  # the check of full marks was put to use


def test_the_bench_notices_a_wrong_reading(monkeypatch):
    """A check that cannot fail proves nothing: let the reader err by a factor, and it must be seen."""
    honest = fuzz.read_part

    def dishonest(part, raw, species=()):
        reading = honest(part, raw, species)
        if part.kind == "number" and isinstance(raw, str) and reading.ok:
            return replace(reading, value=reading.value * 1.001)
        return reading

    monkeypatch.setattr(fuzz, "read_part", dishonest)
    with pytest.raises(fuzz.Breach, match="read"):
        fuzz.run(400)


@given(st.text(max_size=80), st.sampled_from(fuzz.PARTS))
@example("1e400", fuzz.PARTS[0])
@example("9" * 9_999, fuzz.PARTS[0])
@example("(" * 299, fuzz.PARTS[7])
@example("[" * 299, fuzz.PARTS[7])
@example("\u202e\u200b\x00", fuzz.PARTS[0])
@example("ﷺ" * 3_000, fuzz.PARTS[0])
@example("\ud800", fuzz.PARTS[3])
def test_any_text(text, part):
    fuzz.check_reading(part, text)


plain_values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=20) | st.binary(max_size=8),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=8), inner, max_size=4),
    max_leaves=12,
)


@given(plain_values, st.sampled_from(fuzz.PARTS))
def test_any_plain_value(value, part):
    fuzz.check_reading(part, value)


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_a_float_is_read_as_itself(value):
    reading = read_part(fuzz.PARTS[0], value)
    assert reading.ok
    assert reading.value == value
    assert math.copysign(1, reading.value) == math.copysign(1, value)
    json.dumps(reading.value, allow_nan=False)


@given(st.decimals(min_value="1e-9", max_value="1e9", places=4), st.sampled_from(["", " M^-1", " L/mol"]))
def test_a_typed_decimal_is_read_as_itself(number, unit):
    reading = read_part(fuzz.PARTS[0], f"{number}{unit}")
    assert reading.ok
    assert reading.value == float(number)
