"""Balancing an equation exactly: the null space of the matrix of atoms and charge."""

from __future__ import annotations

import math
from collections.abc import Iterable
from fractions import Fraction

from eqlib.chem.equations import ReactionError, short, sides
from eqlib.chem.species import Species, species


def balance(text: str, K=None, **details):
    """Balance an equation exactly, atoms and charge; coefficients already written are ignored.

    Further arguments go to :class:`~eqlib.chem.reactions.Reaction`. Raises ReactionError when it cannot be
    balanced, or can be in more than one way (two reactions written as one).
    """
    from eqlib.chem.reactions import Reaction

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
    return Reaction(numbers, K=K, **details)


def _null_vectors(members: list[Species]) -> list[list[int]]:
    """Smallest whole-number solutions of atoms x coefficients = 0, by SymPy's exact null space."""
    import sympy

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
