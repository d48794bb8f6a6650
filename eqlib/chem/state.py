"""What is in the vessel: concentrations, solids, pressures, pH, what to be told about them; how far reactions
have gone from one such state to another; the quotient of a reaction there, its fraction written out, beside
the K it is compared with.
"""

from __future__ import annotations

import html
import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

import numpy as np

from eqlib.chem.equations import Number, ReactionError
from eqlib.chem.reactions import Reaction, water
from eqlib.chem.species import Species, protonated, species
from eqlib.chem.thermo import R_BAR
from eqlib.errors import EqlibError, did_you_mean
from eqlib.writing import number, raised, read_back

if TYPE_CHECKING:
    from eqlib.chem.mixture import Mixture
    from eqlib.chem.solver.single import Solution

WATER_MOLAR = 55.5
"""mol of water in a litre of dilute solution, as textbooks put it (common practice, no source)."""
_SLIGHT = 1e-6
# Amounts are solved to about 1e-14 of themselves; a hundred times that is taken as their uncertainty.
_NOISE = 1e-12
# An extent this small beside the smallest amount in the reaction is no shift at all.
_SMALLEST_SHIFT = 1e-7

Shown = Callable[[str], str]
SAME = 1e-6
"""A relative difference that is only rounding."""
NEGLIGIBLE = 1e-21
"""mol/L (or bar): less than one ion in a millilitre, so the number would say nothing."""

_BEYOND = math.log(1e5)
"""A Q so far from K says little by itself: how many times it is off is told too."""


class _Named(dict[str, float]):
    """Values by species, whichever way the species is spelt; one plain line for what is not there."""

    def __missing__(self, name: str) -> float:
        key = protonated(name)
        if key in self:
            return self[key]
        there = ", ".join(self) or "nothing of the kind"
        raise EqlibError(f"{key} is not among these; there is {there}")


@dataclass(frozen=True, eq=False, repr=False)
class State:
    """The contents of a mixture at one moment.

    ``amounts``: mol of every species; ``volume``: L of solution, or of the vessel when there is none;
    ``gas_volume``: L of gas space; ``T``: K; ``mixture``: where it came from; ``gamma``: activity
    coefficients that are not 1; ``remarks``: what the solver wants said; ``solution``: the solver's result,
    or None before reaction. ``s["Fe^3+"]`` is mol/L; of a gas, mol per litre of gas space; of a solid, mol
    per litre of mixture.
    """

    mixture: Mixture
    amounts: Mapping[str, float]
    volume: float
    gas_volume: float
    T: float
    activity: str = "ideal"
    gamma: Mapping[str, float] = field(default_factory=lambda: MappingProxyType({}))
    remarks: tuple[str, ...] = ()
    solution: Solution | None = None
    fine: Mapping[str, float] = field(default_factory=lambda: MappingProxyType({}))

    # -- reading it --------------------

    @property
    def reactions(self) -> tuple[Reaction, ...]:
        """The reactions of the mixture."""
        return self.mixture.reactions

    @cached_property
    def concentrations(self) -> Mapping[str, float]:
        """mol/L of every solute and gas, by name."""
        values = {}
        for name, amount in self.amounts.items():
            phase = species(name).phase
            if phase == "aq":
                values[name] = self.fine.get(name, amount / self.volume)
            elif phase == "g":
                values[name] = self.fine.get(name, amount / self.gas_volume if self.gas_volume else 0.0)
        return MappingProxyType(_Named(values))

    @cached_property
    def solids(self) -> Mapping[str, float]:
        """mol per litre of mixture of every solid and pure liquid, by name; 0 when it is not there."""
        return MappingProxyType(
            _Named({n: v / self.volume for n, v in self.amounts.items() if species(n).phase in ("s", "l")})
        )

    @cached_property
    def pressures(self) -> Mapping[str, float]:
        """Partial pressure in bar of every gas, by name."""
        rt = R_BAR * self.T
        return MappingProxyType(
            _Named({n: c * rt for n, c in self.concentrations.items() if species(n).phase == "g"})
        )

    @property
    def total_pressure(self) -> float:
        """Sum of the partial pressures, bar."""
        return math.fsum(self.pressures.values())

    def __getitem__(self, name: str) -> float:
        key = protonated(name)
        if key in self.concentrations:
            return self.concentrations[key]
        if key in self.solids:
            return self.solids[key]
        if key == "H2O(l)" and self.mixture.has_solution:
            return WATER_MOLAR
        raise EqlibError(self._unknown(key))

    def get(self, name: str, default: float = 0.0) -> float:
        """Like ``s[name]``, but ``default`` for a species that is not in this mixture."""
        return self[name] if protonated(name) in self.amounts else default

    def __contains__(self, name: str) -> bool:
        return protonated(name) in self.amounts

    def __iter__(self) -> Iterator[str]:
        return iter(self.amounts)

    def __len__(self) -> int:
        return len(self.amounts)

    def _unknown(self, key: str) -> str:
        wanted = species(key)
        same = [n for n in self.amounts if species(n).key == wanted.key]
        words = {"aq": "a solute", "s": "a solid", "l": "a liquid", "g": "a gas"}
        if same:
            kind = words[species(same[0]).phase]
            return f"{key} is not in this mixture; there it is {kind}, written {same[0]}"
        there = ", ".join(list(self.amounts)[:6])
        hint = did_you_mean(key, self.amounts) or (
            f"; there is {there}" if there else "; the mixture is empty"
        )
        return f"{key} is not in this mixture{hint}"

    # -- derived --------------------

    @cached_property
    def pH(self) -> float:
        """-log10 of the activity of H^+ (its concentration when ideal); from OH^- when only that is there.

        Raises EqlibError when the mixture holds neither.
        """
        for name in ("H^+", "OH^-"):
            value = self.concentrations.get(name, 0.0) * self.gamma.get(name, 1.0)
            if value > 0.0:
                p = -math.log10(value)
                return p if name == "H^+" else -math.log10(water(self.T).require_K()) - p
        raise EqlibError(
            "the pH has no value: this mixture holds no H^+ and no OH^-; include eq.water() if it should"
        )

    @cached_property
    def ionic_strength(self) -> float:
        """Half the sum of c z^2 over all ions, mol/L."""
        return 0.5 * math.fsum(c * species(n).charge ** 2 for n, c in self._ions())

    @cached_property
    def charge_imbalance(self) -> float:
        """Positive minus negative charge in solution, mol/L; 0 for what can really be mixed."""
        return math.fsum(c * species(n).charge for n, c in self._ions())

    def _ions(self) -> list[Any | tuple[str, float]]:
        return [
            (n, c) for n, c in self.concentrations.items() if species(n).charge and species(n).phase == "aq"
        ]

    @cached_property
    def notes(self) -> tuple[str, ...]:
        """Plain sentences: what was assumed, what is odd about the mixture."""
        found = list(self.remarks)
        ions = self._ions()
        size = math.fsum(c * abs(species(n).charge) for n, c in ions)
        if ions and abs(self.charge_imbalance) > _SLIGHT * size:
            sign = "positive" if self.charge_imbalance > 0 else "negative"
            found.append(
                f"The charges do not balance: {abs(self.charge_imbalance):.3g} mol/L too much {sign} charge. "
                "Counter-ions that take no part may have been left out."
            )
        names = self.concentrations
        if names.get("OH^-", 0.0) > 0.0 and names.get("H^+", 0.0) == 0.0:
            found.append(f"The pH is taken from OH^- with pKw {-math.log10(water(self.T).require_K()):.3f}.")
        return tuple(found)

    def values_for(self, reaction: Reaction) -> dict[str, float]:
        """Activities (concentrations when ideal; bar for gases of a reaction on basis "p") for its
        quotient.
        """
        values = {n: c * self.gamma.get(n, 1.0) for n, c in self.concentrations.items()}
        if reaction.basis == "p":
            values |= self.pressures
        for name in reaction.quotient_species:
            if name not in values:
                if name == "H3O^+" and "H^+" in values:
                    values[name] = values["H^+"]
                else:
                    raise EqlibError(f"{reaction}: {self._unknown(name)}")
        return values

    def Q(self, reaction: Reaction) -> float:
        """The reaction quotient, on the reaction's own basis; of activities when these were asked for."""
        reaction.require_balanced()
        return reaction.quotient_of(self.values_for(reaction))

    def quotient_or_nan(self, reaction: Reaction) -> float:
        """Q, or nan where it has no value (a reactant and a product both absent)."""
        try:
            return self.Q(reaction)
        except ReactionError:
            return math.nan

    def K(self, reaction: Reaction) -> float:
        """The constant at this temperature, on the reaction's own basis (unchanged when dH is not known)."""
        if reaction.dH is None or reaction.T == self.T:
            return reaction.require_K()
        return reaction.at(self.T).require_K()

    # -- showing it --------------------

    def _rows(self) -> Iterator[tuple[str, Species, str, str]]:
        for name, value in self.concentrations.items():
            kind = species(name)
            if kind.phase == "g":
                yield name, kind, f"{self.pressures[name]:.4g}", "bar"
            else:
                yield name, kind, f"{value:.4g}", "mol/L"
        for name, value in self.solids.items():
            yield name, species(name), f"{value:.4g}", "mol per L of mixture"

    def __repr__(self) -> str:
        parts = ", ".join(f"{name} {value} {unit}" for name, _, value, unit in self._rows())
        return f"State({self.T:g} K, {self.volume:g} L: {parts})"

    def _repr_html_(self) -> str:
        lines = [
            "<table><caption>"
            + html.escape(f"Composition at {self.T:g} K, {self.volume * 1000:.4g} mL")
            + '</caption><thead><tr><th scope="col">Species</th><th scope="col">Amount</th>'
            + '<th scope="col">Unit</th></tr></thead><tbody>'
        ]
        for _, kind, value, unit in self._rows():
            phase = "" if kind.phase == "aq" else f"({kind.phase})"
            phase = "" if kind.unicode.endswith(phase) else phase
            lines.append(
                f'<tr><th scope="row" aria-label="{html.escape(kind.spoken)}">{html.escape(kind.unicode)}'
                f"{phase}</th><td>{value}</td><td>{unit}</td></tr>"
            )
        lines.append("</tbody></table>")
        lines.extend(f"<p>{html.escape(note)}</p>" for note in self.notes)
        return "".join(lines)


# -- how far each of several reactions has gone, from the amounts before and after --------------------


@dataclass(frozen=True)
class Extent:
    """How far one reaction has gone: mol, the ``doubt`` in them, and whether they are determined (the
    reaction is not a sum of the others).
    """

    mol: float
    doubt: float
    determined: bool
    direction: str


def extents(
    reactions: Sequence[Reaction], once: Mapping[str, float], after: Mapping[str, float]
) -> list[Extent]:
    """Solve (changes of amount) = (coefficients) x (extents), by the amounts that are known best.

    The small amounts are the telling ones: a precipitate of a nanomole says more about its reaction than
    the change of a solute that there is a millimole of, and what is absent throughout is known exactly. So
    the species are taken in the order of how well they are known, until there are as many independent ones
    as reactions.
    """
    names = list(
        dict.fromkeys(name for r in reactions for name in r.coefficients if name in once or name in after)
    )
    matrix = np.array([[float(r.coefficients.get(name, 0)) for r in reactions] for name in names])
    matrix = matrix.reshape(len(names), len(reactions))
    change = np.array([after.get(name, 0.0) - once.get(name, 0.0) for name in names])
    doubt = _NOISE * np.array([max(once.get(name, 0.0), after.get(name, 0.0)) for name in names])
    rows, columns = _independent(matrix, np.argsort(doubt, kind="stable"))
    inverse = np.linalg.inv(matrix[np.ix_(rows, columns)])
    values, spread = np.zeros(len(reactions)), np.zeros(len(reactions))
    values[columns] = inverse @ change[rows]
    spread[columns] = np.abs(inverse) @ doubt[rows]
    determined = _determined(matrix, len(rows))
    found = []
    for i, r in enumerate(reactions):
        least = max(10 * float(spread[i]), _SMALLEST_SHIFT * _smallest(r, once, after))
        way = "none" if abs(values[i]) <= least else "forward" if values[i] > 0 else "reverse"
        found.append(Extent(float(values[i]), least, determined[i], way))
    return found


def _independent(matrix: np.ndarray, order: np.ndarray) -> tuple[list[int], list[int]]:
    """The first independent rows in ``order``, and the columns that make a regular square with them."""
    reduced: list[tuple[int, np.ndarray]] = []
    rows = []
    for i in order:
        rest = matrix[i].copy()
        for column, known in reduced:
            rest -= rest[column] * known
        column = int(np.abs(rest).argmax()) if rest.size else 0
        if rest.size and abs(rest[column]) > 1e-9:
            reduced.append((column, rest / rest[column]))
            rows.append(int(i))
    return rows, [column for column, _ in reduced]


def _determined(matrix: np.ndarray, rank: int) -> tuple[bool, ...]:
    """Which columns are no sum of the others."""
    count = matrix.shape[1]
    if rank == count:
        return (True,) * count
    others = [np.delete(matrix, i, axis=1) for i in range(count)]
    return tuple(
        bool(not np.any(matrix[:, i]) or np.linalg.matrix_rank(rest) < rank) for i, rest in enumerate(others)
    )


def _smallest(r: Reaction, once: Mapping[str, float], after: Mapping[str, float]) -> float:
    """The smallest amount among the species in K, per unit of coefficient."""
    sizes = [
        max(once.get(name, 0.0), after.get(name, 0.0)) / abs(float(number))
        for name, number in r.coefficients.items()
        if name in r.quotient_species
    ]
    return min((size for size in sizes if size > 0), default=0.0)


# -- Q written out --------------------


@dataclass(frozen=True)
class Factor:
    """One species of a quotient: mol/L of a solute or gas, bar where K is in bar; ``power`` is positive."""

    name: str
    value: float
    power: float
    symbol: str = "[]"

    def written(self, shown: Shown = str) -> str:
        """``[Ag^+]``, ``P(NO2)^2``."""
        left, right = ("[", "]") if self.symbol == "[]" else (f"{self.symbol}(", ")")
        name = shown(self.name)
        return left + (name.removesuffix("(g)") if self.symbol == "P" else name) + right + self._power()

    def number(self, figures: int = 3) -> str:
        """Its value: ``0.0126``, ``(2.1 × 10⁻⁴)²``."""
        text = number(self.value, figures)
        if self.power == 1:
            return text
        return (f"({text})" if "×" in text else text) + self._power()

    def _power(self) -> str:
        if self.power == 1:
            return ""
        return raised(int(self.power)) if self.power == int(self.power) else f"^{self.power:g}"


@dataclass(frozen=True)
class Quotient:
    """Q of a reaction in one state, with what it is made of, and the K it is compared with."""

    reaction: Reaction
    top: tuple[Factor, ...]
    bottom: tuple[Factor, ...]
    Q: float
    K: float

    @property
    def ln_ratio(self) -> float:
        """ln(Q/K): below 0 asks for change forward; nan or infinite where Q is."""
        if math.isnan(self.Q) or self.Q in (0.0, math.inf):
            return {0.0: -math.inf}.get(self.Q, self.Q)
        return math.log(self.Q) - math.log(self.K)

    @property
    def way(self) -> str:
        """The way Q against K asks for: "forward", "reverse", or "none" (equal, or no value)."""
        if math.isnan(self.Q) or abs(self.ln_ratio) < SAME:
            return "none"
        return "forward" if self.ln_ratio < 0 else "reverse"

    @cached_property
    def figures(self) -> int:
        """How many figures it takes to tell Q from K: at least three, at most nine."""
        tells = (n for n in range(3, 9) if number(self.Q, n) != number(self.K, n))
        return 3 if self.way == "none" else next(tells, 9)

    @property
    def absent(self) -> tuple[str, ...]:
        """The species of which there is none."""
        return tuple(f.name for f in (*self.top, *self.bottom) if f.value == 0)

    def fraction(self, shown: Shown = str) -> str:
        """``[FeSCN^2+] / ([Fe^3+] [SCN^-])``."""
        return _over([f.written(shown) for f in self.top], [f.written(shown) for f in self.bottom], " ")

    def numbers(self) -> str:
        """``2.17 × 10⁻⁴ / (0.00204 × 1.43 × 10⁻¹⁰)``, with figures enough to come out at Q as it is shown."""
        n = next((n for n in range(self.figures, self.figures + 5) if self._comes_out(n)), self.figures)
        return _over([f.number(n) for f in self.top], [f.number(n) for f in self.bottom], " × ")

    def _comes_out(self, figures: int) -> bool:
        if not all(f.value for f in (*self.top, *self.bottom)):
            return True
        top, bottom = (
            math.prod(read_back(number(f.value, figures)) ** f.power for f in side)
            for side in (self.top, self.bottom)
        )
        return number(top / bottom, self.figures) == self.shown_Q()

    def shown_Q(self) -> str:
        """Q, told apart from K."""
        return number(self.Q, self.figures)

    def shown_K(self) -> str:
        """K, told apart from Q."""
        return number(self.K, self.figures)

    def equation(self, shown: Shown = str) -> str:
        """``Q = [..] / [..] = .. / .. = 149``, or why Q is 0, endless or without value."""
        if math.isnan(self.Q):
            missing = " and no ".join(map(shown, self.absent))
            return f"Q = {self.fraction(shown)} without a value, for there is no {missing}"
        for factors, text in ((self.top, " = 0"), (self.bottom, " with 0 below the line")):
            if gone := [f.name for f in factors if f.value == 0]:
                return f"Q = {self.fraction(shown)}{text}, for there is no {shown(gone[0])} yet"
            if gone := [f.name for f in factors if f.value < NEGLIGIBLE]:
                return f"Q = {self.fraction(shown)} with practically no {shown(gone[0])} left"
        if len(self.top) + len(self.bottom) == 1 and (self.top or self.bottom)[0].power == 1 and self.top:
            return f"Q = {self.fraction(shown)} = {self.shown_Q()}"
        return f"Q = {self.fraction(shown)} = {self.numbers()} = {self.shown_Q()}"

    def against_K(self, K: str = "K") -> str:
        """ "far above K = 139", "a little below K = 139", "equal to K = 139"."""
        if abs(self.ln_ratio) < SAME:
            return f"equal to {K} = {self.shown_K()}"
        size = abs(self.ln_ratio)
        how = "a little " if size < math.log(1.1) else "far " if size > math.log(100) else ""
        times = f" (about 10{raised(round(size / math.log(10)))} times)" if size > _BEYOND else ""
        return f"{how}{'above' if self.ln_ratio > 0 else 'below'} {K} = {self.shown_K()}{times}"


def _over(top: Sequence[str], bottom: Sequence[str], join: str) -> str:
    below = bottom[0] if len(bottom) == 1 else f"({join.join(bottom)})"
    return (join.join(top) or "1") + (f" / {below}" if bottom else "")


def quotient_in(r: Reaction, state: State) -> Quotient:
    """The quotient of ``r`` in ``state``, in activities where the state has them."""
    values = state.values_for(r)

    def factor(name: str, power: Number) -> Factor:
        gas = r.basis == "p" and species(name).phase == "g"
        symbol = "P" if gas else "a" if state.gamma.get(name, 1.0) != 1.0 else "[]"
        return Factor(name, values[name], abs(float(power)), symbol)

    parts = r.quotient_species
    top = tuple(factor(name, n) for name, n in parts.items() if n > 0)
    bottom = tuple(factor(name, n) for name, n in parts.items() if n < 0)
    return Quotient(r, top, bottom, state.quotient_or_nan(r), state.K(r))
