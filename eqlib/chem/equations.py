"""Chemical equations as text: reading, checking that they balance, balancing; amounts given by species."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping
from fractions import Fraction
from numbers import Rational, Real

from eqlib.chem.species import FormulaError, Species, species
from eqlib.errors import EqlibError

Number = int | Fraction
_ARROW = re.compile(r"<=>|<->|⇌|⇄|⇋|↔|→|(?<=\s)-->|->|=>|==|=")
_PLUS = re.compile(r"\s+\+\s+")
_COEFFICIENT = re.compile(r"(\d+\s*/\s*\d+|\d*\.\d+|\d+)\s*(?=\S)(.*)", re.S)
_HALVES = str.maketrans({"½": "1/2", "⅓": "1/3", "¼": "1/4", "¾": "3/4", "⅔": "2/3"})
_LONGEST = 2000
_PROTONS = {"H^+": "H3O^+", "H3O^+": "H^+"}


class ReactionError(EqlibError):
    """An equation that cannot be read or used; the message quotes it and says how to mend it."""


# -- reading --------------------


def read(text: str) -> dict[str, Number]:
    """Signed coefficients by canonical name, reactants first. A species on both sides is counted net."""
    left, right = sides(text)
    total: dict[str, Number] = {}
    for sign, side in ((-1, left), (1, right)):
        for name, number in side.items():
            total[name] = total.get(name, 0) + sign * number
    kept = {name: plain(number) for name, number in total.items() if number}
    if not kept:
        raise ReactionError(f"'{short(text)}': both sides are the same, so nothing reacts")
    if all(n < 0 for n in kept.values()) or all(n > 0 for n in kept.values()):
        raise ReactionError(f"'{short(text)}': after cancelling, one side is empty")
    return dict(sorted(kept.items(), key=lambda item: item[1] > 0))


def sides(text: str) -> tuple[dict[str, Number], dict[str, Number]]:
    """Left and right as typed."""
    if not isinstance(text, str):
        raise ReactionError(f"a reaction is written as text such as 'A + B <=> C', not {text!r:.60}")
    if len(text) > _LONGEST:
        raise ReactionError(f"'{short(text)}' is too long for one reaction")
    line = " ".join(text.translate(_HALVES).split())
    arrows = list(_ARROW.finditer(line))
    if len(arrows) != 1:
        problem = "has no arrow" if not arrows else f"has {len(arrows)} arrows"
        raise ReactionError(f"'{short(line)}' {problem}; write one <=> between the two sides")
    left, right = line[: arrows[0].start()], line[arrows[0].end() :]
    for side, word in ((left, "left"), (right, "right")):
        if not side.strip():
            raise ReactionError(f"'{short(line)}': nothing stands on the {word} of {arrows[0].group()}")
    return _side(left, line), _side(right, line)


def _side(side: str, line: str) -> dict[str, Number]:
    total: dict[str, Number] = {}
    for term in _PLUS.split(side.strip()):
        number, name = _term(term.strip(), line)
        total[name] = total.get(name, 0) + number
    return total


def _term(term: str, line: str) -> tuple[Number, str]:
    if term in ("", "+") or term.startswith("+ ") or term.endswith(" +"):
        raise ReactionError(f"'{short(line)}': a species is missing beside a plus sign")
    found = _COEFFICIENT.fullmatch(term)
    number, formula = (found[1].replace(" ", ""), found[2]) if found else ("1", term)
    if number.endswith("/0") or Fraction(number) == 0:
        raise ReactionError(f"'{short(line)}': the coefficient in '{term}' must be more than 0")
    try:
        return Fraction(number), species(formula).name
    except FormulaError as error:
        hint = "; leave a space on each side of +" if re.search(r"\w\+[A-Z(]|\s\+\S|\S\+\s", term) else ""
        raise ReactionError(f"'{short(line)}': {error}{'' if 'space' in str(error) else hint}") from None


def from_mapping(given: Mapping) -> dict[str, Number]:
    """Signed coefficients from a mapping such as ``{"NO2(g)": -2, "N2O4(g)": 1}``."""
    total: dict[str, Number] = {}
    for name, number in given.items():
        key = species(name).name
        total[key] = plain(total.get(key, 0) + as_number(number, f"the coefficient of {key}"))
    kept = {name: number for name, number in total.items() if number}
    if not any(n < 0 for n in kept.values()) or not any(n > 0 for n in kept.values()):
        raise ReactionError(
            "a reaction needs something on each side: negative coefficients left, positive right"
        )
    return dict(sorted(kept.items(), key=lambda item: item[1] > 0))


def as_number(value: object, what: str) -> Number:
    """An exact number from an int, Fraction, float (by its decimal text) or NumPy number."""
    if isinstance(value, Rational) and not isinstance(value, bool):
        return plain(Fraction(int(value.numerator), int(value.denominator)))
    if isinstance(value, Real) and not isinstance(value, bool) and math.isfinite(value):
        exact = Fraction(repr(float(value)))
        nearest = exact.limit_denominator(1000)
        # 1/3 typed as a float means one third.
        return plain(nearest if abs(nearest - exact) < Fraction(1, 10**14) * abs(exact) else exact)
    raise ReactionError(f"{what} must be a number, not {value!r:.40}")


def plain(number: Number) -> Number:
    """An int where the value is whole, else the Fraction."""
    return int(number) if Fraction(number).denominator == 1 else Fraction(number)


def short(text: str) -> str:
    """One line of at most 120 characters, to quote in a message."""
    line = " ".join(text.split())
    return line if len(line) <= 120 else line[:117] + "..."


# -- checking --------------------


def imbalance(coefficients: Mapping[str, Number]) -> str:
    """What does not balance, in words; empty when everything does."""
    problems = []
    atoms: dict[str, list[Number]] = {}
    charge: list[Number] = [0, 0]
    for name, number in coefficients.items():
        one, side, size = species(name), int(number > 0), max(number, -number)
        for element, count in one.elements.items():
            atoms.setdefault(element, [0, 0])[side] += size * count
        charge[side] += size * one.charge
    for element, (left, right) in atoms.items():
        if left != right:
            problems.append(f"{plain(left)} {element} on the left but {plain(right)} on the right")
    if charge[0] != charge[1]:
        problems.append(f"charge {_signed(charge[0])} on the left but {_signed(charge[1])} on the right")
    return " and ".join(problems)


def _signed(charge: Number) -> str:
    return f"{charge:+d}" if isinstance(charge, int) and charge else str(charge)


# -- balancing: the null space of the matrix of atoms and charge --------------------


def balanced(text: str) -> dict[str, int]:
    """Signed whole-number coefficients that balance the equation; those already written are ignored.

    Raises ReactionError when it cannot be balanced, or can be in more than one way.
    """
    left, right = sides(text)
    if both := [name for name in left if name in right]:
        raise ReactionError(f"'{short(text)}': {both[0]} stands on both sides; leave it out on one")
    names = [*left, *right]
    vectors = _null_vectors([species(name) for name in names])
    if not vectors:
        raise ReactionError(f"'{short(text)}' cannot be balanced{_why_not(left, right)}")
    if len(vectors) > 1:
        raise ReactionError(
            f"'{short(text)}' can be balanced in {len(vectors)} independent ways: "
            "it holds more than one reaction; write each by itself"
        )
    numbers = dict(zip(names, vectors[0], strict=True))
    if zero := [name for name in names if numbers[name] == 0]:
        raise ReactionError(
            f"'{short(text)}': {zero[0]} takes no part in the balanced equation; leave it out"
        )
    if numbers[names[0]] > 0:
        numbers = {name: -number for name, number in numbers.items()}
    wrong = [name for name in names if (numbers[name] > 0) != (name in right)]
    if wrong:
        raise ReactionError(
            f"'{short(text)}' cannot be balanced as written: {wrong[0]} belongs on the other side"
        )
    return numbers


def _null_vectors(members: list[Species]) -> list[list[int]]:
    """Smallest whole-number solutions of atoms x coefficients = 0, by SymPy's exact null space."""
    import sympy  # heavy: a second or more, and only balancing needs it here

    elements = sorted({element for one in members for element in one.elements})
    rows = [[sympy.Rational(Fraction(one.elements.get(e, 0))) for one in members] for e in elements]
    rows.append([sympy.Integer(one.charge) for one in members])
    vectors = []
    for vector in sympy.Matrix(rows).nullspace():
        entries = [Fraction(int(value.p), int(value.q)) for value in vector]
        scale = math.lcm(*(entry.denominator for entry in entries))
        whole = [int(entry * scale) for entry in entries]
        divisor = math.gcd(*whole)
        vectors.append([number // divisor for number in whole])
    return vectors


def _why_not(left: Iterable[str], right: Iterable[str]) -> str:
    on_left = {element for name in left for element in species(name).elements}
    on_right = {element for name in right for element in species(name).elements}
    if lonely := sorted(on_left ^ on_right):
        side = "left" if lonely[0] in on_left else "right"
        water_hint = "; should water, H^+ or OH^- take part?" if lonely[0] in "HO" else ""
        return f": {lonely[0]} occurs only on the {side}{water_hint}"
    return ": no coefficients make both the atoms and the charge equal"


# -- amounts given by species --------------------


def match(given: Mapping[str, float], wanted: Iterable[str], where: str) -> dict[str, float]:
    """Values for those of ``wanted`` that are given, whatever their spelling, checked to be amounts.

    ``NO2`` also answers for NO2(g) where no other species of the formula is meant, and H^+ for H3O^+.
    """
    values: dict[str, float] = {}
    for name, value in given.items():
        key = species(name).name
        if key in values:
            raise ReactionError(f"{where}: {key} is given twice")
        values[key] = amount(value, key, where)
    taken: dict[str, float] = {}
    wanted = list(wanted)
    for name in wanted:
        if (source := source_name(name, values, wanted)) is not None:
            taken[name] = values[source]
    return taken


def source_name(name: str, given: Iterable[str], wanted: Iterable[str]) -> str | None:
    """Which of the given names stands for ``name``."""
    given = set(given)
    if name in given:
        return name
    if (other := _PROTONS.get(name)) in given and other not in wanted:
        return other
    one = species(name)
    bare = "H2O(l)" if one.key == "H2O" else one.key
    rivals = [w for w in wanted if species(w).key == one.key]
    return bare if bare in given and len(rivals) == 1 and bare not in wanted else None


def amount(value: float, key: str, where: str) -> float:
    """A finite number, 0 or more."""
    if isinstance(value, bool) or not isinstance(value, Real):
        raise ReactionError(f"{where}: the amount of {key} must be a number, not {value!r:.40}")
    if not math.isfinite(value):
        raise ReactionError(f"{where}: the amount of {key} must be finite, not {value!r:.40}")
    if value < 0:
        raise ReactionError(f"{where}: the amount of {key} is {value:g}; it cannot be negative")
    return float(value)
