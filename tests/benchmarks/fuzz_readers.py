"""Throw arbitrary text and objects at the readers and at marking.

    python tests/benchmarks/fuzz_readers.py 100000

What must hold in every try: nothing raises; a reading is plain JSON and reads back as itself; a number
composed from known digits, powers and units is read as exactly that number or not at all; a mark lies in [0,
points]; full marks go only to a right value. Prints what was tried, and exits with 1 at the first breach. The
same seed gives the same tries.
"""

import ast
import decimal
import fractions
import json
import math
import operator
import random
import sys
import time
from collections import Counter
from fractions import Fraction

from eqlib.assess.asks.base import Part
from eqlib.assess.load import read_questions
from eqlib.assess.mark import mark, read_part

DIRECTION = (("forward", "to the right"), ("reverse", "to the left"), ("none", "no shift"))
PARTS = (
    Part("K", "number", "number", "K", quantity="K"),
    Part("c", "number", "number", "c", unit="mol/L", quantity="concentration"),
    Part("T", "number", "number", "T", unit="°C"),
    Part("d", "choice", "direction", "Which way?", options=DIRECTION),
    Part("o", "order", "order", "Order", options=(("a", "273 K"), ("b", "298 K"), ("c", "330 K"))),
    Part("t", "table", "ice", "Fill in", columns=("NO2(g)", "N2O4(g)"), unit="mol/L"),
    Part("q", "equation", "equation", "Balance", skeleton="NO2(g) <=> N2O4(g)"),
    Part("x", "expression", "expression", "K"),
    Part("e", "text", "explain", "Explain"),
)
SPECIES = ("NO2(g)", "N2O4(g)")

# The reference item: x = 0.325/4700, so K = x / ((1e-3 - x) (6e-4 - x)) = 139.94, worked out by hand.
QUESTIONS = """
[assignment]
id = "fuzz"
title = "Fuzz"
course = "fuzz"
[[question]]
id = "kc"
kind = "number"
points = 2
title = "K"
prompt = "A = {absorbance}"
reactions = [{ text = "Fe^3+ + SCN^- <=> FeSCN^2+", K = 140 }]
start.portions = [
  { of_mM = { "Fe^3+" = 2 }, mL = 5 },
  { of_mM = { "SCN^-" = 2 }, mL = 3 },
  { to_mL = 10 },
]
measured = { reading = "absorbance", species = "FeSCN^2+", epsilon = 4700, path_cm = 1, decimals = 3 }
[[question.part]]
ask = "number"
quantity = "K"
[[question]]
id = "way"
kind = "prediction"
points = 1
title = "Which way?"
prompt = "Water is added."
reactions = [{ text = "Fe^3+ + SCN^- <=> FeSCN^2+", K = 140 }]
start = { totals = { "Fe^3+" = 0.001, "SCN^-" = 0.001 }, volume_L = 0.010 }
stress = { kind = "dilute", mL = 10 }
[[question.part]]
ask = "direction"
[[question]]
id = "write"
kind = "expression"
points = 1
title = "Write K"
prompt = "Write K."
reactions = [{ text = "2 NO2(g) <=> N2O4(g)", K = 170 }]
[[question.part]]
ask = "expression"
"""
X = 0.325 / 4700
K_BY_HAND = X / ((1e-3 - X) * (6e-4 - X))

SEEDS = """
140|1.4e2|1,4·10²|1.4 x 10^2|140 M^-1|140 L/mol|0.14 mM|140 (unit written M⁻¹)|1,400|14 %|140 ± 5|nan|inf|
-1e-5|right|to the products|->|no change|not right|darker|yes|none|b, a, c|a > b > c|2 NO2 -> N2O4|2,1|x|-x|
0.10 - 2x|[N2O4]/[NO2]^2|p(N2O4)/p(NO2)²|K = [N2O4]/([NO2][NO2])|[NO2]^2/[N2O4]|9^9^9^9|((((|[[[[|]]]]|()()|
**|//|__import__('os').system('true')|lambda: 0|{{7*7}}|%s%n|\\x00|<script>|../../etc|1/0|1e99999|
9999999999999999|[N2O4]^12/[NO2]^12|25 °C|298 K|0.5 mmol/L|1.0 atm|{"a": 1}|null|True|ΔH = -5.7 kJ/mol|½|
١٤٠|１４０|²³⁻¹|x·10⁻⁴
"""
SEEDS = [seed for seed in SEEDS.replace("\n", "").split("|") if seed]
ALPHABET = "0123456789.,eE+-−–*·×^/()[]{} xXKMmolLμµ%±=<>→←⇌⁻¹²³₂ΔNaOaHgs'\"\\\n\t\0\u200b\u202e🧪ß𝟙"

UNITS_OF_K = ("", " M^-1", " L/mol", " M⁻¹", " dm³ mol⁻¹", " L mol-1", " (M^-1)", " 1/M", " unit M^-1")
UNITS_OF_C = (("", 1), (" mol/L", 1), (" M", 1), (" mM", Fraction(1, 1000)), (" mmol/L", Fraction(1, 1000)),
              (" µM", Fraction(1, 10**6)), (" mol dm⁻³", 1), (" mol/m³", Fraction(1, 1000)))  # fmt: skip


class Breach(AssertionError):
    """Something that must never happen."""


class Liar(float):
    """Equal to everything, and 140 whenever it is asked."""

    def __eq__(self, other):
        return True

    def __hash__(self):
        return 0

    def __float__(self):
        return 140.0

    def __repr__(self):
        return "140"


class Thrower:
    """Raises whatever is done with it."""

    def __getattribute__(self, name):
        raise RuntimeError(name)

    __str__ = __repr__ = __float__ = __eq__ = __len__ = __iter__ = __hash__ = __bool__ = __getattribute__


def any_text(rng):
    """Noise, or a seed with some characters changed, dropped, doubled or glued to another."""
    if rng.random() < 0.3:
        return "".join(rng.choices(ALPHABET, k=rng.randrange(0, 40)))
    if rng.random() < 0.02:
        return rng.choice(SEEDS) * rng.randrange(1, 4000)
    text = list(rng.choice(SEEDS))
    for _ in range(rng.randrange(0, 4)):
        where = rng.randrange(0, len(text) + 1)
        text[where : where + rng.randrange(0, 2)] = rng.choice([rng.choice(ALPHABET), "", rng.choice(SEEDS)])
    return "".join(text)


def any_object(rng, depth=0):
    """Plain values, library numbers, containers of them, and objects that lie or raise."""
    makers = [
        lambda: rng.choice([None, True, False, math.nan, math.inf, -math.inf, 0, -0.0, 140, 10**400, 5e-324]),
        lambda: rng.uniform(-1e3, 1e3),
        lambda: rng.getrandbits(rng.randrange(1, 5000)),
        lambda: complex(rng.random(), rng.choice([0, 1])),
        lambda: fractions.Fraction(rng.randrange(-99, 99), rng.randrange(1, 99)),
        lambda: decimal.Decimal(rng.choice(["1.40e2", "nan", "-Infinity", "1e9999", "0.00", "sNaN"])),
        lambda: Liar(rng.uniform(0, 1e3)),
        Thrower,
        lambda: Thrower,
        lambda: any_text(rng).encode("utf-8", "replace"),
        lambda: rng.choice([object(), len, int, range(5), {1, 2}, iter([140]), memoryview(b"140"), Ellipsis]),
        lambda: type("Text", (str,), {"strip": lambda self: "140", "__str__": lambda self: "140"})(
            any_text(rng)
        ),
    ]
    if depth < 3:
        makers += [
            lambda: [any_object(rng, depth + 1) for _ in range(rng.randrange(0, 4))],
            lambda: {any_text(rng)[:20]: any_object(rng, depth + 1) for _ in range(rng.randrange(0, 4))},
            lambda: {row: [any_text(rng)[:12], any_object(rng, 3)] for row in ("I", "C", "E")},
        ]
    return rng.choice(makers)()


def known_number(rng):
    """(text, exact value, part): digits, power and unit put together in one of the ways people write them."""
    digits = str(rng.randrange(1, 10 ** rng.randrange(1, 6)))
    places = rng.randrange(0, len(digits) + 1)
    whole, after = digits[: len(digits) - places] or "0", digits[len(digits) - places :]
    value, mark = Fraction(int(digits), 10**places), rng.choice(".,") if after else ""
    text = whole + mark + after
    if rng.random() < 0.6:
        power = rng.randrange(-12, 13)
        value *= Fraction(10) ** power
        raised = str(power).translate(str.maketrans("-0123456789", "⁻⁰¹²³⁴⁵⁶⁷⁸⁹"))
        text += rng.choice([f"e{power}", f"E{power}", f" x 10^{power}", f"·10{raised}", f"*10**{power}",
                            f" × 10^({power})", f" x 10^{{{power}}}"])  # fmt: skip
    if rng.random() < 0.3:
        text, value = rng.choice("-−") + text, -value
    if rng.random() < 0.5:
        return rng.choice(["", "K = ", "about "]) + text + rng.choice(UNITS_OF_K), value, PARTS[0]
    unit, size = rng.choice(UNITS_OF_C)
    return text + unit, value * size, PARTS[1]


def check_reading(part, raw):
    """Read, and hold the reading to what every reading must be. Returns it."""
    species = SPECIES if part.kind == "expression" else ()
    reading = read_part(part, raw, species)
    if not reading.ok:
        if reading.value is not None or not reading.message or "\n" in reading.message:
            raise Breach(f"a refusal without one line of message: {reading}")
        return reading
    if json.loads(json.dumps(reading.value, allow_nan=False)) != reading.value:
        raise Breach(f"not plain JSON: {reading}")
    again = read_part(part, reading.value, species)
    if not again.ok or again.value != reading.value:
        raise Breach(f"{part.kind}: {reading.value!r} reads back as {again}")
    return reading


def check_known(rng):
    """A number whose value is known: exact, or refused."""
    text, value, part = known_number(rng)
    reading = check_reading(part, text)
    if reading.ok and reading.value != float(value):
        raise Breach(f"{text!r} is {float(value)!r} and was read as {reading.value!r}")
    return reading


def check_mark(questions, rng):
    """A mark within its bounds; full only for what is right by hand."""
    question = questions[rng.choice(["kc", "way", "write"])]
    raw = any_text(rng) if rng.random() < 0.7 else any_object(rng)
    if rng.random() < 0.1:
        raw = {question.parts[0].id: raw}
    made = mark(question, raw)
    if type(made.points) is not float or not 0.0 <= made.points <= question.points:
        raise Breach(f"{made.points!r} of {question.points} for {raw!r}")
    if made.points == question.points and not right_by_hand(question, raw):
        raise Breach(f"full marks in {question.id} for {raw!r}")
    return made.points == question.points


def right_by_hand(question, raw):
    """Is what was read right, by the values worked out by hand above?"""
    if type(raw) is dict:
        raw = raw[question.parts[0].id]
    reading = read_part(question.parts[0], raw, SPECIES if question.id == "write" else ())
    if question.id == "kc":
        return reading.ok and abs(reading.value / K_BY_HAND - 1) <= 0.0201
    if question.id == "way":
        return reading.value == "reverse"
    text = reading.value.replace("(g)", "").replace("p(N2O4)", "[N2O4]").replace("p(NO2)", "[NO2]")
    text = text.replace("[N2O4]", "3.0").replace("[NO2]", "7.0").replace("^", "**")
    return abs(worked_out(ast.parse(text, mode="eval").body) * 7.0**2 / 3.0 - 1) < 1e-9


def worked_out(node):
    """The value of a syntax tree of numbers, signs and powers; anything else is a breach."""
    signs = {ast.Add: operator.add, ast.Sub: operator.sub, ast.Mult: operator.mul, ast.Div: operator.truediv,
             ast.Pow: operator.pow}  # fmt: skip
    if isinstance(node, ast.Constant) and type(node.value) in (int, float):
        return node.value
    if isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.USub):
        return -worked_out(node.operand)
    if isinstance(node, ast.BinOp) and type(node.op) in signs:
        return signs[type(node.op)](worked_out(node.left), worked_out(node.right))
    raise Breach(f"an expression was read as {ast.dump(node)[:200]}")


def run(tries, seed=20260131):
    """Do ``tries`` tries; returns a Counter of what happened. Raises Breach at the first one."""
    rng, seen = random.Random(seed), Counter()
    questions = read_questions(QUESTIONS)
    for number in range(tries):
        kind = number % 4
        if kind == 0:
            seen["known number read" if check_known(rng).ok else "known number refused"] += 1
        elif kind == 1:
            part, text = rng.choice(PARTS), any_text(rng)
            seen["text read" if check_reading(part, text).ok else "text refused"] += 1
        elif kind == 2:
            part, raw = rng.choice(PARTS), any_object(rng)
            seen["object read" if check_reading(part, raw).ok else "object refused"] += 1
        else:
            seen["full mark" if check_mark(questions, rng) else "no full mark"] += 1
    return seen


def main():
    tries = int(sys.argv[1]) if len(sys.argv) > 1 else 100_000
    began = time.perf_counter()
    try:
        seen = run(tries)
    except Breach as breach:
        print(f"breach: {breach}")
        return 1
    took = time.perf_counter() - began
    print(
        f"{tries:,} tries in {took:.1f} "
        f"s, no breach: " + ", ".join(f"{k} {n:,}" for k, n in sorted(seen.items()))
    )
    return 0


if __name__ == "__main__":
    sys.exit(main())
