"""Initial, change, equilibrium: the table a student fills in, with the root, its reason and the small-x
shortcut."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from functools import cached_property

from eqlib.chem import ice_exact, ice_root, ice_show, names
from eqlib.chem.equations import ReactionError
from eqlib.chem.reactions import R_BAR, Reaction
from eqlib.chem.species import species

FIVE_PERCENT = 0.05
"""The small-x rule taught with these tables: neglect x where it is at most 5 % of what it is added to."""


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
        key = names.source_name(species(name).name, self.equilibrium, ())
        same = [other for other in self.equilibrium if species(other).key == species(name).key]
        if key is None and len(same) != 1:
            hint = names.near_hint(species(name).name, self.equilibrium)
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
        return ice_exact.real_roots(self.start, powers, Fraction(repr(self.K))) if powers else ()

    @cached_property
    def exact_extent(self):
        """The one root of :attr:`exact` inside the limits (SymPy), or None when there is none to choose."""
        inside = [root for root in self.exact if self._is_physical(root)]
        return min(inside, key=lambda root: abs(float(root) - self.extent)) if inside else None

    @cached_property
    def why_root(self) -> str:
        """One sentence: which root is meant and why."""
        return ice_show.why_root(self)

    @cached_property
    def small_x(self) -> SmallX | None:
        """The shortcut, or None where it says nothing (nothing that stands in K starts at 0)."""
        return _small_x(self)

    @property
    def _powers(self):
        return {name: n for name, n in self.reaction.quotient_species.items() if name in self.start}

    def _is_physical(self, root) -> bool:
        low, high = self.limits
        slack = 1e-9 * (min(high - low, abs(low) + abs(high)) if math.isfinite(high - low) else 1e-6)
        return low - slack <= float(root) <= high + slack

    def __str__(self):
        return ice_show.text(self)

    def _repr_html_(self):
        return ice_show.html(self)


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
    problem = ice_root.Problem(
        {name: value * _scale(r, name) for name, value in start.items()},
        {name: r.coefficients[name] for name in start},
        powers,
        math.log(r.K),
    )
    root = _nothing(problem) or ice_root.solve(problem)
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
    found = names.match(measured, start, str(r))
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
    found = names.match(initial, r.coefficients, str(r))
    given = {species(name).name for name in initial}
    known = {names.source_name(name, given, r.coefficients) for name in found}
    for name in initial:
        if species(name).name not in known:
            hint = names.near_hint(species(name).name, r.coefficients)
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


def _nothing(problem: ice_root.Problem) -> ice_root.Root | None:
    """Neither direction is open: something is missing on both sides."""
    if problem.lower == 0 == problem.upper:
        return ice_root.Root(0.0, {k: float(v) for k, v in problem.start.items()}, (0.0, 0.0), None)
    return None


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
        assumption=ice_show.small_x_words(kept, table),
    )
