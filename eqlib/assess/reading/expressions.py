"""Equilibrium expressions in plain notation: "[FeSCN2+]/([Fe3+][SCN-])", "K = p(N2O4)/p(NO2)^2".

Read by our own parser into a tree and named after the reaction's species; nothing is handed to an evaluator.
Sizes, depth and powers are bounded. Terms written side by side belong together: [C]/[A][B] is [C] over
[A][B], as it is written in chemistry.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import TypeAlias

from eqlib.assess.reading.plain import Reading, Unreadable, plain, quote, tidy
from eqlib.assess.reading.species import match_species, species_key, stranger
from eqlib.writing import raised


def read_expression(raw: object, species: Sequence[str] = ()) -> Reading:
    """Read an equilibrium expression. The Reading's value is the expression in one plain notation.

    ``species``: names the brackets may hold (then matched loosely, so that Fe3+ means Fe^3+); without it any
    name is kept as typed. Errors: Unreadable.
    """
    text = plain(raw)
    if not isinstance(text, str):
        raise Unreadable(f"An equilibrium expression is wanted, as text. {EXAMPLE}")
    tree = parse_expression(in_brackets(text, species) if species else text)
    notes: tuple[str, ...] = ()
    if species:
        tree, notes = resolve(tree, species)
    if _product_after_quotient(tree):
        notes = (*notes, "only what comes right after / is under the line; use brackets to put more there")
    written = write_expression(tree)
    extra = f" ({'; '.join(notes)})" if notes else ""
    return Reading(True, written, f"read as {pretty_expression(written)}{extra}", notes=notes)


def in_brackets(text: str, species: Sequence[str]) -> str:
    """A typed expression with every concentration in brackets: "[Fe]3+" -> "[Fe3+]", and the formulas of one
    typed without any brackets, as "FeSCN2+/(Fe3+ * SCN-)", in some.
    """
    typed = tidy(text)
    if len(typed) > MAX_LENGTH:
        return typed

    def charge_inside(found: re.Match[str]) -> str:
        whole = found.group(1) + found.group(2)
        named = match_species(whole, species)[0] is not None and found.group(1) not in species
        return f"[{whole}]" if named else found.group()

    typed = re.sub(r"\[([^\[\]]+)\]\s*\^?(\d?[+-])(?=\s*(?:[/*·)\[]|$))", charge_inside, typed)
    if "[" in typed or re.search(r"\b[pPc]_?[({]", typed):
        return typed
    spellings = {re.escape(part) for name in species for part in (name, species_key(name))}
    alone = "|".join(sorted(spellings, key=len, reverse=True))
    return re.sub(rf"(?<![A-Za-z0-9_])({alone})(?![A-Za-z0-9+-])", r"[\1]", typed)


def _product_after_quotient(tree: Tree) -> bool:
    """Does the tree hold [C]/[A]*[B], where the [B] may have been meant to be under the line?"""
    if isinstance(tree, Power):
        return _product_after_quotient(tree.base)
    if not isinstance(tree, Joined):
        return False
    here = tree.sign == "*" and isinstance(tree.left, Joined) and tree.left.sign == "/"
    return here or _product_after_quotient(tree.left) or _product_after_quotient(tree.right)


def resolve(tree: Tree, species: Sequence[str]) -> tuple[Tree, tuple[str, ...]]:
    """The tree with every name replaced by the one of ``species`` it means, and notes. Errors: Unreadable."""
    notes: dict[str, None] = {}

    def named(tree: Tree) -> Tree:
        if isinstance(tree, Term):
            found, note = match_species(tree.name, species)
            if found is None:
                raise stranger(f"[{tree.name[:40]}]", note, species)
            notes.update({note: None} if note else {})
            return Term(found, tree.kind)
        if isinstance(tree, Power):
            return Power(named(tree.base), tree.power)
        if isinstance(tree, Joined):
            return Joined(tree.sign, named(tree.left), named(tree.right))
        return tree

    return named(tree), tuple(notes)


@dataclass(frozen=True)
class Term:
    """A concentration (kind "c") or partial pressure (kind "p") of the species called ``name``."""

    name: str
    kind: str = "c"


@dataclass(frozen=True)
class Power:
    """``base`` to a fixed power; the power may be a fraction only on a single Term."""

    base: Tree
    power: Fraction


@dataclass(frozen=True)
class Joined:
    """``left`` and ``right`` joined by one of + - * /."""

    sign: str
    left: Tree
    right: Tree


#: An expression as read; a plain number is a Fraction.
Tree: TypeAlias = Fraction | Term | Power | Joined
#: What one is read from, piece by piece: a concentration, a number, a sign or a bracket.
Token: TypeAlias = Term | Fraction | str


def degree(tree: Tree) -> Fraction:
    """An upper bound of the degree of numerator and denominator together."""
    if isinstance(tree, Term):
        return Fraction(1)
    if isinstance(tree, Power):
        # A power of a plain number counts as well: 9^9^9 must not grow without bound.
        return max(Fraction(1), degree(tree.base)) * max(Fraction(1), abs(tree.power))
    if isinstance(tree, Joined):
        return degree(tree.left) + degree(tree.right)
    return Fraction(0)


def value_at(tree: Tree, conc: Mapping[str, float]) -> float:
    """The value of an expression with these concentrations. Raises ZeroDivisionError or OverflowError."""
    if isinstance(tree, Fraction):
        return float(tree)
    if isinstance(tree, Term):
        return conc[tree.name]
    if isinstance(tree, Power):
        return value_at(tree.base, conc) ** float(tree.power)
    left, right = value_at(tree.left, conc), value_at(tree.right, conc)
    if tree.sign in "+-":
        return left + right if tree.sign == "+" else left - right
    return left * right if tree.sign == "*" else left / right


def write_expression(tree: Tree) -> str:
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


def pretty_expression(written: str) -> str:
    """The plain notation with raised powers and charges, for showing back."""
    return re.sub(r"\^(\d*[+-](?!\d)|-?\d+)", lambda m: raised(m.group(1)), written).replace("*", "·")


MAX_LENGTH = 300
MAX_TOKENS = 120
MAX_DEPTH = 20
MAX_POWER = 12
MAX_DEGREE = 24

EXAMPLE = "Something like [C]^2/([A][B]) would do."
_LABEL = re.compile(r"^\s*[KQ]_?\{?[A-Za-z]{0,3}\}?\s*(?:=|≈|:|\bis\b|\bequals\b)")
_LABEL_LAST = re.compile(r"(?:=|≈)\s*[KQ]_?\{?[A-Za-z]{0,3}\}?\s*$")
_SPELT_OUT = (
    (r"\\[dt]?frac\s*\{([^{}]*(?:\{[^{}]*\}[^{}]*)*)\}\s*\{([^{}]*(?:\{[^{}]*\}[^{}]*)*)\}", r"(\1)/(\2)"),
    (r"\s*\b(?:divided\s+by|over)\b\s*", " / "),
    (r"\s*\b(?:times|multiplied\s+by)\b\s*|\\times|\\cdot", " * "),
    (r"\s*\bsquared\b", "^2"),
    (r"\s*\bcubed\b", "^3"),
    (r"(?<=[\])}])_\{?eq\.?\}?", ""),  # [A]_eq
    (r"\bc_?\(([^()]*(?:\([^()]*\)[^()]*)*)\)", r"[\1]"),  # c(A), an amount concentration
    (r"(?<![\^_A-Za-z\d])\{([^{}]*[A-Za-z][^{}]*)\}", r"[\1]"),  # {A}, an activity
)
_OPENED = re.compile(r"\[|[pP]_?[({]")
_PRESSURE = re.compile(r"[pP]_?([A-Z][A-Za-z0-9]*)")
_NUMBER = re.compile(r"\d+(?:[.,]\d+)?")
_SYMBOLS = dict(zip("+-*·xX/:^(){}", "+-****//^()()", strict=True))


def parse_expression(text: str) -> Tree:
    """The tree of an expression in plain notation. Errors: Unreadable."""
    typed = tidy(text)
    if not typed:
        raise Unreadable(f"The expression is still empty. {EXAMPLE}")
    if len(typed) > MAX_LENGTH:
        raise Unreadable(f"{quote(text)} is longer than an equilibrium expression can be here. {EXAMPLE}")
    return _Parser(_tokens(_in_signs(typed).strip(" $"), text), text).whole()


def _in_signs(typed: str) -> str:
    """An expression without label, words and LaTeX: "K is [A] over [B] squared" -> "[A] / [B]^2"."""
    typed = _LABEL.sub("", _LABEL_LAST.sub("", typed))
    typed = typed.replace("**", "^").replace(r"\left", "").replace(r"\right", "")
    for pattern, sign in _SPELT_OUT:
        typed = re.sub(pattern, sign, typed)
    return typed


def _tokens(text: str, typed: str) -> list[Token]:
    """The pieces of an expression without label and words. Errors: Unreadable."""
    out: list[Token] = []
    i = 0
    while i < len(text):
        c = text[i]
        if c == " ":
            i += 1
            continue
        if (opened := _OPENED.match(text, i)) is not None:
            start = opened.end() - 1
            end = _closing(text, start, typed)
            name = text[start + 1 : end].strip()
            if not name or len(name) > 60:
                raise Unreadable(
                    f"A pair of brackets in {quote(typed)} does not hold the name of a species. {EXAMPLE}"
                )
            out.append(Term(name, "c" if c == "[" else "p"))
            i = end + 1
        elif (pressure := _PRESSURE.match(text, i)) is not None:
            out.append(Term(pressure.group(1), "p"))
            i = pressure.end()
        elif (found := _NUMBER.match(text, i)) is not None:
            out.append(Fraction(found.group().replace(",", ".")))
            i = found.end()
        elif c in _SYMBOLS:
            out.append(_SYMBOLS[c])
            i += 1
        else:
            raise Unreadable(_odd(c, text, i, typed))
        if len(out) > MAX_TOKENS:
            raise Unreadable(
                f"{quote(typed)} has more parts than an equilibrium expression can have. {EXAMPLE}"
            )
    return out


def _odd(c: str, text: str, i: int, typed: str) -> str:
    if c == "=":
        return (
            f"{quote(typed)} has an equals sign inside. Please type only the "
            f"expression, or K = and the expression."
        )
    if c.isalpha():
        return (
            f"{quote(text[i:], 15)} stands outside square brackets. Please write "
            f"concentrations like [Fe^3+]. {EXAMPLE}"
        )
    return f"The sign {quote(c)} could not be read in an expression. {EXAMPLE}"


def _closing(text: str, start: int, typed: str) -> int:
    pairs, depth = {"[": "]", "(": ")", "{": "}"}, []
    for i in range(start, len(text)):
        if text[i] in pairs:
            depth.append(pairs[text[i]])
        elif text[i] in "])}":
            if text[i] != depth.pop():
                break
            if not depth:
                return i
    raise Unreadable(f"A bracket is opened and not closed in {quote(typed)}. Please check the brackets.")


class _Parser:
    """Recursive descent over the tokens: sum, quotient, group of terms side by side, power."""

    def __init__(self, tokens: list[Token], typed: str) -> None:
        self.tokens, self.typed, self.i, self.depth = tokens, typed, 0, 0

    def whole(self) -> Tree:
        tree = self.sum()
        if self.i < len(self.tokens):
            raise self.problem()
        if not any(isinstance(token, Term) for token in self.tokens):
            raise Unreadable(f"{quote(self.typed)} holds no concentration. {EXAMPLE}")
        if degree(tree) > MAX_DEGREE:
            raise Unreadable(
                f"The powers in {quote(self.typed)} are larger than any here. Please check them."
            )
        return tree

    def problem(self) -> Unreadable:
        token = self.peek()
        if token is None:
            seen = "the end"
        elif isinstance(token, str):
            seen = token
        else:
            seen = "a concentration" if isinstance(token, Term) else "a number"
        return Unreadable(
            f"{quote(self.typed)} could not be read: {seen} comes where something else was due. {EXAMPLE}"
        )

    def peek(self) -> Token | None:
        return self.tokens[self.i] if self.i < len(self.tokens) else None

    def take(self) -> Token:
        if self.i >= len(self.tokens):
            raise self.problem()
        self.i += 1
        return self.tokens[self.i - 1]

    def one_of(self, signs: str) -> str | None:
        """The next token, taken, if it is one of these signs."""
        token = self.peek()
        if not isinstance(token, str) or token not in signs:
            return None
        self.i += 1
        return token

    def sum(self) -> Tree:
        self.depth += 1
        if self.depth > MAX_DEPTH:
            raise Unreadable(
                f"{quote(self.typed)} has too many brackets inside brackets to be read. {EXAMPLE}"
            )
        tree = self.quotient()
        while (sign := self.one_of("+-")) is not None:
            tree = Joined(sign, tree, self.quotient())
        self.depth -= 1
        return tree

    def quotient(self) -> Tree:
        tree = self.group()
        while (sign := self.one_of("*/")) is not None:
            tree = Joined(sign, tree, self.group())
        return tree

    def group(self) -> Tree:
        tree = self.power()
        while isinstance(self.peek(), Term | Fraction) or self.peek() == "(":
            tree = Joined("*", tree, self.power())
        return tree

    def power(self) -> Tree:
        base = self.atom()
        while self.one_of("^") or (isinstance(self.peek(), Fraction) and isinstance(base, Term)):
            base = self.raised(base)
        return base

    def raised(self, base: Tree) -> Power:
        power = self.exponent()
        if abs(power) > MAX_POWER or power.denominator > 4:
            raise Unreadable(
                f"The power {power} in {quote(self.typed)} is larger or odder than any here. Please check it."
            )
        if power.denominator != 1 and not isinstance(base, Term):
            raise Unreadable(
                f"A fraction as a power is read only on one concentration; "
                f"please rewrite {quote(self.typed)}."
            )
        return Power(base, power)

    def exponent(self) -> Fraction:
        token = self.take()
        if token == "(":
            sign = -1 if self.one_of("-") else 1
            top = self.number()
            if self.one_of("/"):
                bottom = self.number()
                if bottom == 0:
                    raise self.problem()
                top = top / bottom
            if self.take() != ")":
                raise self.problem()
            return sign * top
        if token == "-":
            return -self.number()
        if token == "+":
            return self.number()
        if not isinstance(token, Fraction):
            raise self.problem()
        return token

    def number(self) -> Fraction:
        token = self.take()
        if not isinstance(token, Fraction):
            raise self.problem()
        return token

    def atom(self) -> Tree:
        token = self.take()
        if isinstance(token, Term | Fraction):
            return token
        if token == "(":
            tree = self.sum()
            if self.take() != ")":
                raise self.problem()
            return tree
        self.i -= 1
        raise self.problem()
