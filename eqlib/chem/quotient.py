"""A quotient in one state with its fraction written out, beside the K it is compared with."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from eqlib.chem.equations import Number
from eqlib.chem.reactions import Reaction
from eqlib.chem.species import species
from eqlib.chem.state import State
from eqlib.writing import number, raised, read_back

Shown = Callable[[str], str]
SAME = 1e-6
"""A relative difference that is only rounding."""
NEGLIGIBLE = 1e-21
"""mol/L (or bar): less than one ion in a millilitre, so the number would say nothing."""

_BEYOND = math.log(1e5)
"""A Q so far from K says little by itself: how many times it is off is told too."""


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

    @property
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
