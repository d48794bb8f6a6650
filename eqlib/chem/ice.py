"""Initial, change, equilibrium: the table a student fills in, with its roots and the small-x shortcut."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from functools import cached_property
from html import escape
from typing import Any

from eqlib.chem import equations
from eqlib.chem.equations import Number, ReactionError
from eqlib.chem.reactions import Reaction
from eqlib.chem.species import species
from eqlib.chem.thermo import R_BAR
from eqlib.errors import did_you_mean

FIVE_PERCENT = 0.05
"""The small-x rule taught with these tables: neglect x where it is at most 5 % of what it is added to."""
_HIGHEST_DEGREE = 4


@dataclass(frozen=True)
class SmallX:
    """The shortcut that neglects x beside the starting amounts.

    ``error`` is its extent relative to the exact one, minus 1; ``largest_share`` is x (times its
    coefficient) over the smallest amount it was neglected against; ``valid`` applies the 5 % rule to that
    share.
    """

    extent: float
    equilibrium: Mapping[str, float]
    error: float
    largest_share: float
    valid: bool
    assumption: str


@dataclass(frozen=True)
class IceTable:
    """The finished table. Amounts are mol/L (``basis="p"``: bar for gases), by canonical name.

    Water, and a solid or liquid on the left that was not named, are taken to be there in plenty and have
    no column. ``limits`` is the interval of extents in which nothing is negative; ``used_up`` names a
    solid that ran out before K was reached, so that Q still differs from K.
    """

    reaction: Reaction
    initial: Mapping[str, float]
    change: Mapping[str, float]
    equilibrium: Mapping[str, float]
    extent: float
    limits: tuple[float, float]
    used_up: str | None
    in_plenty: tuple[str, ...]
    start: Mapping[str, Fraction] = field(repr=False)

    def __getitem__(self, name: str) -> float:
        """The equilibrium amount of a species, found as in the input (``NO2`` for NO2(g))."""
        key = equations.source_name(species(name).name, self.equilibrium, ())
        same = [other for other in self.equilibrium if species(other).key == species(name).key]
        if key is None and len(same) != 1:
            hint = did_you_mean(species(name).name, self.equilibrium)
            raise ReactionError(f"{self.reaction}: {species(name).name} has no column in this table{hint}")
        return self.equilibrium[key or same[0]]

    @property
    def K(self) -> float:
        """The constant used."""
        return self.reaction.require_K()

    @property
    def direction(self) -> str:
        """ "forward", "reverse" or "none", by the extent."""
        if self.extent == 0:
            return "none"
        return "forward" if self.extent > 0 else "reverse"

    @cached_property
    def exact(self) -> tuple:
        """Every distinct real root of the equation, exact (SymPy), rising; empty above degree four."""
        powers = self._powers
        return _real_roots(self.start, powers, Fraction(repr(self.K))) if powers else ()

    @cached_property
    def small_x(self) -> SmallX | None:
        """The shortcut, or None where it says nothing (nothing that stands in K starts at 0)."""
        return _small_x(self)

    @property
    def _powers(self) -> dict[str, Fraction | int]:
        return {name: n for name, n in self.reaction.quotient_species.items() if name in self.start}

    def __str__(self) -> str:
        heads = ["", *(f"{name} / {_unit(self, name)}" for name in self.initial)]
        rows = [heads, *([label, *cells] for label, cells in _rows(self))]
        widths = [max(len(row[i]) for row in rows) for i in range(len(heads))]
        lines = [f"{self.reaction}   K = {_number(self.K)}"]
        for row in rows:
            first, *rest = row
            cells = [cell.rjust(width) for cell, width in zip(rest, widths[1:], strict=True)]
            lines.append("  ".join([first.ljust(widths[0]), *cells]).rstrip())
        if self.in_plenty:
            lines.append(f"In plenty, so left out: {', '.join(self.in_plenty)}")
        return "\n".join(lines)

    def _repr_html_(self) -> str:
        """An accessible table: caption, column and row headers with their scope."""
        caption = f"{escape(self.reaction.unicode)}, K = {_number(self.K)}"
        if self.in_plenty:
            caption += (
                f" (in plenty, so left out: {escape(', '.join(species(n).unicode for n in self.in_plenty))})"
            )
        heads = "".join(
            f'<th scope="col">{escape(species(name).unicode)}<br>{_unit(self, name)}</th>'
            for name in self.initial
        )
        body = "".join(
            f'<tr><th scope="row">{label}</th>' + "".join(f"<td>{cell}</td>" for cell in cells) + "</tr>"
            for label, cells in _rows(self)
        )
        return (
            f'<table><caption>{caption}</caption><thead><tr><th scope="col">Amount</th>{heads}</tr></thead>'
            f"<tbody>{body}</tbody></table>"
        )


def ice(r: Reaction, initial: Mapping[str, float]) -> IceTable:
    """The equilibrium reached from ``initial`` (mol/L; gases in bar with ``basis="p"``; solids mol per L
    of mixture).

    A species not named starts at 0, except water and solids or liquids on the left: those are in plenty
    unless an amount is given, and then they can run out. Works from either side. Raises ReactionError for
    a name that is not in the reaction, a negative amount, an unbalanced reaction, an unknown K, or nothing
    to start from.
    """
    if not isinstance(r, Reaction):
        raise ReactionError(
            f"ice needs a Reaction first, not {type(r).__name__}; make one with eqlib.Reaction"
        )
    r.require_balanced()
    r.require_K()
    _one_phase_of_solutes(r)
    start, plenty = _start(r, initial)
    powers = {name: n for name, n in r.quotient_species.items() if name in start}
    if not powers:
        raise ReactionError(f"{r}: only solids and pure liquids, so no concentration can adjust to K")
    problem = _Problem(
        {name: value * _scale(r, name) for name, value in start.items()},
        {name: r.coefficients[name] for name in start},
        powers,
        math.log(r.require_K()),
    )
    root = _solve(problem)
    equilibrium = {name: value / float(_scale(r, name)) for name, value in root.amounts.items()}
    return IceTable(
        reaction=r,
        initial={name: float(value) for name, value in start.items()},
        change={name: float(r.coefficients[name]) * root.extent / float(_scale(r, name)) for name in start},
        equilibrium=equilibrium,
        extent=root.extent,
        limits=root.limits,
        used_up=root.used_up,
        in_plenty=plenty,
        start=start,
    )


def ice_from_measured(r: Reaction, initial: Mapping[str, float], measured: Mapping[str, float]) -> IceTable:
    """The same table when one equilibrium amount was measured and K is asked: read ``.K`` from the result.

    ``measured`` names one species of the reaction with its amount at equilibrium, in the units of
    ``initial``.
    """
    r.require_balanced()
    _one_phase_of_solutes(r)
    start, _ = _start(r, initial)
    found = equations.match(measured, start, str(r))
    if len(measured) != 1 or len(found) != 1:
        raise ReactionError(f"{r}: give exactly one measured amount, of a species in the reaction")
    ((name, value),) = found.items()
    extent = (Fraction(repr(value)) - start[name]) * _scale(r, name) / Fraction(r.coefficients[name])
    final = {k: v * _scale(r, k) + r.coefficients[k] * extent for k, v in start.items()}
    if short := [k for k, v in final.items() if v < 0]:
        raise ReactionError(f"{r}: {name} = {value:g} would need more {short[0]} than there is at the start")
    if gone := [k for k in r.quotient_species if final[k] == 0]:
        raise ReactionError(f"{r}: {name} = {value:g} leaves no {gone[0]}, so K has no value; check it")
    K = r.quotient({k: float(v) for k, v in final.items()})
    return ice(r.with_K(K, source="measured"), initial)


def _scale(r: Reaction, name: str) -> Fraction:
    """Solids stay in mol/L while gases are in bar: mol/L times RT is bar."""
    solid = r.basis == "p" and species(name).phase in ("s", "l") and r.dn_gas != 0
    return Fraction(R_BAR * r.T) if solid else Fraction(1)


def _one_phase_of_solutes(r: Reaction) -> None:
    phases = {species(name).phase for name in r.quotient_species}
    if phases == {"aq", "g"}:
        raise ReactionError(
            f"{r}: a gas and a dissolved species do not share one volume; use Mixture(..., "
            f"headspace=litres of gas)"
        )


def _start(r: Reaction, initial: Mapping[str, float]) -> tuple[dict[str, Fraction], tuple[str, ...]]:
    """Exact start amounts of what can run out, and the names of what cannot."""
    if not isinstance(initial, Mapping):
        raise ReactionError(f"{r}: initial amounts are written {{'Fe^3+': 1e-3}}, not {initial!r:.40}")
    found = equations.match(initial, r.coefficients, str(r))
    given = {species(name).name for name in initial}
    known = {equations.source_name(name, given, r.coefficients) for name in found}
    for name in initial:
        if species(name).name not in known:
            hint = did_you_mean(species(name).name, r.coefficients)
            raise ReactionError(f"{r}: {species(name).name} is not in the reaction{hint}")
    dissolved = any(species(name).phase == "aq" for name in r.coefficients)
    plenty = tuple(
        name
        for name, number in r.coefficients.items()
        if (name == "H2O(l)" and dissolved)
        or (name not in found and number < 0 and species(name).phase in ("s", "l"))
    )
    start = {n: Fraction(repr(found.get(n, 0.0))) for n in r.coefficients if n not in plenty and n != "e^-"}
    if not any(start.values()) and not all(name in plenty for name in r.reactants):
        example = next(iter(start))
        raise ReactionError(f"{r}: nothing to start from; give an amount, such as {{'{example}': 1e-3}}")
    return start, plenty


def _small_x(table: IceTable) -> SmallX | None:
    """Solve K = (constants) x^p, with only those species changing that start at 0."""
    powers = table._powers
    zero = [name for name in powers if table.start[name] == 0]
    sign = 1 if all(powers[name] > 0 for name in zero) else -1
    if not zero or any(powers[name] * sign < 0 for name in zero):
        return None
    log_constant = math.fsum(float(n) * math.log(table.start[k]) for k, n in powers.items() if k not in zero)
    log_constant += math.fsum(float(powers[k]) * math.log(abs(powers[k])) for k in zero)
    x = math.exp(min((math.log(table.K) - log_constant) / float(sum(powers[k] for k in zero)), 700.0))
    extent = sign * x
    kept = {k: float(abs(n)) * x / float(table.start[k]) for k, n in powers.items() if k not in zero}
    share = max(kept.values(), default=0.0)
    scaled = {k: float(n / _scale(table.reaction, k)) for k, n in table.reaction.coefficients.items()}
    final = {k: float(v) + scaled[k] * extent for k, v in table.start.items()}
    return SmallX(
        extent=extent,
        equilibrium=final,
        error=extent / table.extent - 1 if table.extent else math.inf,
        largest_share=share,
        valid=share <= FIVE_PERCENT,
        assumption=_small_x_words(kept, table),
    )


# -- the one extent at which Q equals K, to full relative precision in the smallest amount ------

# Q rises from 0 to infinity as the extent runs over the interval in which no amount is negative, so there
# is exactly one root there. It is sought from the nearer end of the interval, as the logarithm of the
# distance from that end: an amount of 1e-40 then never comes out as a difference of two large numbers.


@dataclass(frozen=True)
class _Root:
    """Extent, amounts at that extent, the physical interval, and what ran out first (or None)."""

    extent: float
    amounts: Mapping[str, float]
    limits: tuple[float, float]
    used_up: str | None


@dataclass(frozen=True)
class _Problem:
    """Start amounts (exact) and coefficients of every species that can run out; ``powers`` are those in K."""

    start: Mapping[str, Fraction]
    coefficients: Mapping[str, Number]
    powers: Mapping[str, Number]
    ln_K: float

    @property
    def lower(self) -> Fraction | float:
        """How far back the reaction could go, 0 or negative."""
        ends = [-self.start[name] / Fraction(n) for name, n in self.coefficients.items() if n > 0]
        return max(ends, default=-math.inf)

    @property
    def upper(self) -> Fraction | float:
        """How far forward it could go, 0 or positive."""
        ends = [self.start[name] / Fraction(-n) for name, n in self.coefficients.items() if n < 0]
        return min(ends, default=math.inf)

    def ln_Q_at_start(self) -> float:
        """ln Q of the start; -inf or inf where a product or reactant in K is 0."""
        total = 0.0
        for name, power in self.powers.items():
            if self.start[name] == 0:
                return -math.inf if power > 0 else math.inf
            total += float(power) * math.log(self.start[name])
        return total


class _End:
    """The view from one end of the interval: amounts there, and their change per unit of distance from it."""

    def __init__(self, problem: _Problem, position: Fraction, sign: int) -> None:
        self.position, self.sign, self.powers = position, sign, problem.powers
        self.amounts = {n: value + problem.coefficients[n] * position for n, value in problem.start.items()}
        self.slopes = {n: float(sign * problem.coefficients[n]) for n in problem.start}

    def amount(self, name: str, distance: float) -> float:
        return max(float(self.amounts[name]) + self.slopes[name] * distance, 0.0)

    def ln_Q(self, log_distance: float) -> tuple[float, float]:
        """ln Q and its derivative with respect to the logarithm of the distance."""
        distance = math.exp(log_distance)
        value = slope = 0.0
        for name, power in self.powers.items():
            there, rate = float(self.amounts[name]), self.slopes[name]
            if there == 0:
                value += float(power) * (math.log(abs(rate)) + log_distance)
                slope += float(power)
            else:
                amount = there + rate * distance
                value += float(power) * math.log(amount)
                slope += float(power) * rate * distance / amount
        return value, slope

    def finite_ln_Q(self) -> float | None:
        """ln Q at the end itself, or None where a species in K vanishes there."""
        if any(self.amounts[name] == 0 for name in self.powers):
            return None
        return math.fsum(float(power) * math.log(self.amounts[name]) for name, power in self.powers.items())


def _solve(problem: _Problem) -> _Root:
    """The extent at equilibrium; 0 where something is missing on both sides, or Q is K already."""
    lower, upper = problem.lower, problem.upper
    limits = (float(lower), float(upper))
    same = abs(problem.ln_Q_at_start() - problem.ln_K) < 1e-13 * max(1.0, abs(problem.ln_K))
    if same or lower == 0 == upper:
        return _Root(0.0, {name: float(value) for name, value in problem.start.items()}, limits, None)
    ends = {
        -1: None if isinstance(lower, float) else _End(problem, lower, 1),
        1: None if isinstance(upper, float) else _End(problem, upper, -1),
    }
    for way, end in ends.items():
        there = end.finite_ln_Q() if end else None
        # At an end where only a solid has run out, Q may still be on the far side of K: then the solid is
        # used up.
        if end is not None and there is not None and (there - problem.ln_K) * way <= 0:
            used_up = next(name for name, value in end.amounts.items() if value == 0)
            return _Root(float(end.position), {k: float(v) for k, v in end.amounts.items()}, limits, used_up)
    end, farthest = _nearer(problem, ends[-1], ends[1])
    log_distance = _log_root(end, problem.ln_K, farthest)
    distance = math.exp(log_distance)
    amounts = {name: end.amount(name, distance) for name in problem.start}
    extent = float(end.position + end.sign * Fraction(distance))
    return _Root(extent, amounts, limits, None)


def _nearer(problem: _Problem, low: _End | None, high: _End | None) -> tuple[_End, float | None]:
    """The end to start from, and the logarithm of the farthest distance needed (None: no bound)."""
    if low is None or high is None:
        end = low or high
        assert end is not None  # both limits infinite: no reaction has nothing on either side
        return end, None
    half = math.log((high.position - low.position) / 2)
    return (low if low.ln_Q(half)[0] >= problem.ln_K else high), half


def _log_root(end: _End, ln_K: float, farthest: float | None) -> float:
    """Guarded Newton on the logarithm of the distance; the bracket halves whenever Newton would leave it."""

    def gap(t: float) -> tuple[float, float]:
        value, slope = end.ln_Q(t)
        return end.sign * (value - ln_K), end.sign * slope

    high = 0.0 if farthest is None else farthest
    step = 1.0
    while farthest is None and gap(high)[0] < 0 and high < 700:
        high, step = min(high + step, 700.0), 2 * step
    low, step = high - 1.0, 2.0
    while gap(low)[0] > 0 and low > -2e4:
        low, step = low - step, 2 * step
    t = (low + high) / 2
    for _ in range(200):
        value, slope = gap(t)
        low, high = (t, high) if value < 0 else (low, t)
        newton = t - value / slope if slope > 0 else math.nan
        following = newton if low < newton < high else (low + high) / 2
        if abs(following - t) <= 4e-16 * max(1.0, abs(t)):
            return following
        t = following
    return t


# -- the roots in closed form, from the decimal text of the numbers given --------------------


def _polynomial(start: Mapping[str, Fraction], powers: Mapping[str, Number], K: Fraction) -> Any:
    """K times the reactants minus the products, as a SymPy polynomial in x with exact rational coefficients.

    Fractional coefficients are cleared first: the equation is raised to their common denominator.
    """
    import sympy  # heavy: a second or more, and only the roots in closed form need it

    scale = math.lcm(*(Fraction(power).denominator for power in powers.values()))
    x = sympy.Symbol("x")
    left = sympy.Rational(K.numerator, K.denominator) ** scale
    right = sympy.Integer(1)
    for name, power in powers.items():
        whole = int(power * scale)
        amount = sympy.Rational(start[name].numerator, start[name].denominator)
        rate = sympy.Rational(Fraction(power).numerator, Fraction(power).denominator)
        if whole > 0:
            right *= (amount + rate * x) ** whole
        else:
            left *= (amount + rate * x) ** -whole
    return sympy.Poly(left - right, x)


def _real_roots(start: Mapping[str, Fraction], powers: Mapping[str, Number], K: Fraction) -> tuple:
    """Distinct real roots in rising order, as exact SymPy numbers; empty above degree four."""
    poly = _polynomial(start, powers, K)
    if not 0 < poly.degree() <= _HIGHEST_DEGREE:
        return ()
    return tuple(dict.fromkeys(poly.real_roots()))


# -- in words, plain text and HTML --------------------


def _number(value: float) -> str:
    """Four significant figures."""
    return "0" if value == 0 else f"{value:.4g}"


def _signed(value: float) -> str:
    """With its sign: a change."""
    return "0" if value == 0 else f"{value:+.4g}".replace("-", "−")


def _small_x_words(shares: Mapping[str, float], table: IceTable) -> str:
    """What was neglected, and how large it is."""
    if not shares:
        return "Nothing is neglected: every species in K starts at 0, so the shortcut is exact."
    worst = max(shares, key=lambda name: shares[name])
    listed = " and ".join(shares)
    verdict = "within" if shares[worst] <= FIVE_PERCENT else "more than"
    return (
        f"x is neglected beside the starting amount of {listed}; it is {100 * shares[worst]:.3g} % of "
        f"{worst}, "
        f"{verdict} the 5 % allowed."
    )


def _unit(table: IceTable, name: str) -> str:
    return "bar" if table.reaction.basis == "p" and species(name).phase == "g" else "mol/L"


def _rows(table: IceTable) -> list[tuple[str, list[str]]]:
    return [
        ("Initial", [_number(value) for value in table.initial.values()]),
        ("Change", [_signed(value) for value in table.change.values()]),
        ("Equilibrium", [_number(value) for value in table.equilibrium.values()]),
    ]
