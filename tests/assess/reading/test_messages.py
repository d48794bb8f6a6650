"""What a worried student is told when an answer cannot be read: the messages, read aloud once and kept here.

A message is one line, says what was seen, says what would do, and does not scold.
"""

import importlib.util
import random
from pathlib import Path

import pytest

from eqlib.assess.asks.base import Part
from eqlib.assess.mark import read_part
from eqlib.assess.reading.numbers import read_number
from eqlib.assess.reading.plain import Unreadable

NUMBER = Part("k", "number", "number", "K", quantity="K")
MOLAR = Part("c", "number", "number", "c", unit="mol/L", quantity="concentration")
WAY = Part(
    "d", "choice", "direction", "Which way?", options=(("forward", "to the right"), ("none", "no shift"))
)
TABLE = Part("t", "table", "ice", "", columns=("NO2(g)", "N2O4(g)"), unit="mol/L")
BALANCE = Part("q", "equation", "equation", "", skeleton="NO2(g) <=> N2O4(g)")
WRITE = Part("x", "expression", "expression", "")

SPOKEN = [
    (NUMBER, "", "This answer is still empty. Please type a number."),
    (
        NUMBER,
        "1,400",
        "“1,400” could mean 1400 or 1.400. Please type it again without the comma, the way you mean it.",
    ),
    (
        NUMBER,
        "0.5/3",
        "“0.5/3” looks like a calculation. Please work it out and type the result as one number.",
    ),
    (
        NUMBER,
        "1.4x104",
        "The power of ten in “1.4x104” lost its sign. Please write it like 1.4e2 or 1.4*10^2.",
    ),
    (
        NUMBER,
        "hello",
        "This answer wants a number; “hello” does not start with one. "
        "Something like 0.0140 or 1.4e-2 would do.",
    ),
    (
        NUMBER,
        float("nan"),
        "The answer is “nan” (not a number): a step before it had no result. A plain number is wanted.",
    ),
    (
        NUMBER,
        object(),
        "An answer here is a number or a few words, and this is a Python object of type object. "
        "Hand over the number itself, for example float(result).",
    ),
    (
        MOLAR,
        "0.14 m",
        "“0.14 m” has the unit m (m is the metre; mol/L is a capital M), and this answer wants mol/L. "
        "If the number itself is right, type it with mol/L or with no unit.",
    ),
    (
        WAY,
        "sideways",
        "“sideways” could not be matched to one of the choices. "
        "Please choose one of: to the right; no shift.",
    ),
    (
        TABLE,
        {"initial": {"NO2(g)": "abc"}},
        "Row initial, NO2(g): A cell wants a number; “abc” does not start with one. "
        "Something like 0.0140 or 1.4e-2 would do.",
    ),
    (
        BALANCE,
        "NO2 N2O4",
        "“NO2 N2O4” has no arrow. Please type the equation with one arrow, such as A + B -> C.",
    ),
    (
        WRITE,
        "Fe3+/SCN-",
        "“Fe3+/SCN-” stands outside square brackets. Please write concentrations like [Fe^3+]. "
        "Something like [C]^2/([A][B]) would do.",
    ),
    (WRITE, "[A]/[B", "A bracket is opened and not closed in “[A]/[B”. Please check the brackets."),
]


@pytest.mark.parametrize(("part", "raw", "said"), SPOKEN)
def test_what_is_said(part, raw, said):
    assert read_part(part, raw).message == said


SCOLDING = (
    "invalid",
    "illegal",
    "error",
    "must",
    "wrong",
    "bad ",
    "fail",
    "forbidden",
    "not allowed",
    "incorrect",
    "stupid",
    "obviously",
    "should have",
    "!",
    "traceback",
    "exception",
    "none type",
    "parse",
    "token",
    "null",
    "regex",
)


def test_no_message_scolds_or_speaks_like_a_machine():
    """Over thousands of unreadable answers of every kind."""
    path = Path(__file__).parents[2] / "benchmarks" / "fuzz_readers.py"
    spec = importlib.util.spec_from_file_location("fuzz_readers_messages", path)
    fuzz = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(fuzz)
    rng, seen = random.Random(3), set()
    for _ in range(6_000):
        raw = fuzz.any_text(rng) if rng.random() < 0.7 else fuzz.any_object(rng)
        reading = read_part(rng.choice(fuzz.PARTS), raw)
        if not reading.ok:
            seen.add(reading.message)
    assert len(seen) > 200
    for message in seen:
        ours = _without_quotes(message).lower()
        assert not [word for word in SCOLDING if word in ours], message
        assert message.isprintable(), message
        assert message[0].isupper() or message[0] in "“[", message
        assert message.endswith((".", "…", "?")), message
        assert len(message) <= 400


def _without_quotes(message):
    """The message without what it quotes from the answer."""
    out, inside = [], False
    for c in message:
        inside = c == "“" or (inside and c != "”")
        if not inside:
            out.append(c)
    return "".join(out)


@pytest.mark.parametrize("typed", ["log K = 2.15", "ln K = 4.9", "lg(K) = 2,15", "pK = -2.15"])
def test_a_logarithm_is_not_taken_for_the_number(typed):
    with pytest.raises(Unreadable, match="logarithm"):
        read_number(typed, "L/mol")
