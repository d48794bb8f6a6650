"""Is a typed equilibrium expression the right one, in any equivalent form, and if not, which slip does it
show?

Two expressions are compared by their exact values (fractions) at a few fixed places: rational expressions of
so low a degree that agree in all of them are the same (J. T. Schwartz, J. ACM 27 (1980) 701; from memory).
"""

from __future__ import annotations

import itertools
import random
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache

from eqlib.assess.reading.expressions import Joined, Power, Term, Tree, parse_expression, resolve, terms_of

POINTS = 5


@dataclass(frozen=True)
class Verdict:
    """``right``; otherwise ``mistakes``, ids of the registry whose slip gives exactly this expression ('' if
    none).
    """

    right: bool
    mistakes: tuple[str, ...] = ()
    pressures: bool = False


def counted(coefficients: Mapping[str, int | Fraction]) -> dict[str, int | Fraction]:
    """Species that stand in K: no solids, liquids (so no solvent water) or electrons."""
    return {n: c for n, c in coefficients.items() if not n.endswith(("(s)", "(l)")) and n != "e^-"}


def judge_expression(value: str, coefficients: Mapping[str, int | Fraction]) -> Verdict:
    """Judge an expression (text as read by read_expression) for the reaction with these signed coefficients.

    Equivalent forms are right. Errors: Unreadable, if the text cannot be read or names another species.
    """
    tree, _ = resolve(parse_expression(value), list(coefficients))
    pressures = any(t.kind == "p" for t in terms_of(tree))
    names = sorted(coefficients)
    right = build(coefficients)
    if equivalent(tree, right, names):
        return Verdict(True, (), pressures)
    seen = _values(tree, names)
    truth = _values(right, names)
    for ids, wrong in _slips(coefficients):
        values = _values(wrong, names)
        if values != truth and seen is not None and values == seen:
            return Verdict(False, ids, pressures)
    return Verdict(False, (), pressures)


def _slips(coefficients: Mapping[str, int | Fraction]) -> Iterator[tuple[tuple[str, ...], Tree]]:
    """(ids, tree) of every combination of at most two slips, single ones first."""
    choices = []
    for inverted, powers, joined, solids in itertools.product(
        (False, True), ("right", "dropped", "times"), ("product", "bottom", "both"), (False, True)
    ):
        slips = []
        if inverted:
            slips.append("k_inverted")
        if powers != "right":
            slips.append("powers_missing")
        if joined != "product":
            slips.append("sum_not_product")
        if solids:
            slips.append("solid_in_k")
        if 0 < len(slips) <= 2:
            choices.append((tuple(slips), (inverted, powers, joined, solids)))
    choices.sort(key=lambda c: len(c[0]))
    for ids, (inverted, powers, joined, solids) in choices:
        yield ids, build(coefficients, inverted, powers, joined, solids)


def build(
    coefficients: Mapping[str, int | Fraction],
    inverted: bool = False,
    powers: str = "right",
    joined: str = "product",
    solids: bool = False,
) -> Tree:
    """The tree of K, or of K with these slips. ``powers``: "right", "dropped" or "times" (used as
    multipliers).
    """
    species = coefficients if solids else counted(coefficients)
    top = [_factor(n, Fraction(c), powers) for n, c in species.items() if c > 0]
    bottom = [_factor(n, Fraction(-c), powers) for n, c in species.items() if c < 0]
    if inverted:
        top, bottom = bottom, top
    return Joined(
        "/", _join(top, "+" if joined == "both" else "*"), _join(bottom, "*" if joined == "product" else "+")
    )


def _factor(name: str, number: Fraction, powers: str) -> Tree:
    if number == 1 or powers == "dropped":
        return Term(name)
    return Power(Term(name), number) if powers == "right" else Joined("*", number, Term(name))


def _join(factors: list[Tree], sign: str) -> Tree:
    tree = factors[0] if factors else Fraction(1)
    for factor in factors[1:]:
        tree = Joined(sign, tree, factor)
    return tree


def equivalent(a: Tree, b: Tree, names: list[str]) -> bool:
    """Are two trees the same rational expression of the named species? Certain but for a chance far below
    that of a misread disk: exact fractions at POINTS places.
    """
    values = _values(a, names)
    return values is not None and values == _values(b, names)


def _values(tree: Tree, names: list[str]) -> list[Fraction] | None:
    """The tree's exact values at the fixed places; None where it has no value."""
    try:
        return [_value(tree, roots) for roots in _places(tuple(names))]
    except (ZeroDivisionError, OverflowError):
        return None


@lru_cache(maxsize=64)
def _places(names: tuple[str, ...]) -> list[dict[str, Fraction]]:
    """Twelfth roots of the species' values, so that square, cube and fourth roots stay exact."""
    drawn = random.Random(12)
    return [{name: Fraction(drawn.randrange(2, 10_000), 7) for name in names} for _ in range(POINTS)]


def _value(tree: Tree, roots: Mapping[str, Fraction]) -> Fraction:
    if isinstance(tree, Fraction):
        return tree
    if isinstance(tree, Term):
        return roots[tree.name] ** 12
    if isinstance(tree, Power):
        if isinstance(tree.base, Term):
            return roots[tree.base.name] ** int(12 * tree.power)
        return _value(tree.base, roots) ** int(tree.power)
    left, right = _value(tree.left, roots), _value(tree.right, roots)
    if tree.sign == "+":
        return left + right
    if tree.sign == "-":
        return left - right
    return left * right if tree.sign == "*" else left / right
