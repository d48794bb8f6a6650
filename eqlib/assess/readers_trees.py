"""Trees of equilibrium expressions: a fraction, a concentration or pressure, a power, two trees joined by a
sign.
"""

import re
from dataclasses import dataclass
from fractions import Fraction


@dataclass(frozen=True)
class Term:
    """A concentration (kind "c") or partial pressure (kind "p") of the species called ``name``."""

    name: str
    kind: str = "c"


@dataclass(frozen=True)
class Power:
    """``base`` to a fixed power; the power may be a fraction only on a single Term."""

    base: object
    power: Fraction


@dataclass(frozen=True)
class Joined:
    """``left`` and ``right`` joined by one of + - * /."""

    sign: str
    left: object
    right: object


def terms_of(tree):
    """Every Term in a tree, in order of appearance."""
    if isinstance(tree, Term):
        return [tree]
    if isinstance(tree, Power):
        return terms_of(tree.base)
    if isinstance(tree, Joined):
        return terms_of(tree.left) + terms_of(tree.right)
    return []


def degree(tree):
    """An upper bound of the degree of numerator and denominator together."""
    if isinstance(tree, Term):
        return 1
    if isinstance(tree, Power):
        # A power of a plain number counts as well: 9^9^9 must not grow without bound.
        return max(1, degree(tree.base)) * max(1, abs(tree.power))
    if isinstance(tree, Joined):
        return degree(tree.left) + degree(tree.right)
    return 0


def write_expression(tree):
    """A tree in plain notation; reading it again gives an equal tree."""
    if isinstance(tree, Fraction):
        return f"{tree.numerator}" if tree.denominator == 1 else f"({tree.numerator}/{tree.denominator})"
    if isinstance(tree, Term):
        return f"[{tree.name}]" if tree.kind == "c" else f"p({tree.name})"
    if isinstance(tree, Power):
        base = write_expression(tree.base)
        base = base if isinstance(tree.base, Term) else f"({base})"
        return f"{base}^{tree.power}" if tree.power.denominator == 1 else f"{base}^({tree.power})"
    left, right = write_expression(tree.left), write_expression(tree.right)
    if tree.sign in "*/" and isinstance(tree.left, Joined) and tree.left.sign in "+-":
        left = f"({left})"
    if isinstance(tree.right, Joined) and (tree.sign in "/*-" and tree.right.sign in "+-*/"):
        right = f"({right})"
    return f"{left} {tree.sign} {right}" if tree.sign in "+-" else f"{left}{tree.sign}{right}"


_RAISED = str.maketrans("0123456789-+", "⁰¹²³⁴⁵⁶⁷⁸⁹⁻⁺")


def pretty_expression(written):
    """The plain notation with raised powers and charges, for showing back."""
    return re.sub(r"\^(\d*[+-](?!\d)|-?\d+)", lambda m: m.group(1).translate(_RAISED), written).replace(
        "*", "·"
    )
