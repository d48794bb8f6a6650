"""A reaction with its equilibrium constant: algebra of K, the quotient and the direction of change."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction
from types import MappingProxyType

from eqlib.chem import algebra, equations, quotients
from eqlib.chem.balancing import balance
from eqlib.chem.checks import exp, finite, positive, power, product
from eqlib.chem.equations import Number, ReactionError
from eqlib.chem.species import Species, species

__all__ = ["R_BAR", "R_J", "Number", "Reaction", "ReactionError", "balance", "water"]

R_J = 8.31446261815324
"""Gas constant, J/(mol K): exact since the 2019 SI (CODATA)."""
R_BAR = R_J / 100
"""Gas constant, L bar/(mol K)."""


@dataclass(frozen=True, init=False, repr=False, eq=False)
class Reaction:
    """One reversible reaction.

    ``text`` is an equation ("Fe^3+ + SCN^- <=> FeSCN^2+"; ``->``, ``=`` and ``⇌`` read as well) or a
    mapping of species to signed coefficients. ``K`` is the constant in mol/L (``basis="c"``) or in bar,
    standard state 1 bar (``basis="p"``); ``T`` is in K, ``dH`` in J per mole of the equation as written.
    ``K`` and ``dH`` may be unknown (None). An unbalanced equation may be written down; to use it is an
    error.

    Raises ReactionError, a one-line EqlibError.
    """

    K: float | None
    basis: str
    T: float
    dH: float | None
    name: str | None
    source: str | None
    coefficients: Mapping[str, Number]

    # NumPy numbers must leave ``2 * reaction`` to us.
    __array_ufunc__ = None

    def __init__(self, text, K=None, basis="c", T=298.15, dH=None, name=None, source=None):
        if isinstance(text, Mapping):
            coefficients = equations.from_mapping(text)
        else:
            coefficients = equations.read(text)
        where = equations.write(coefficients)
        if basis not in ("c", "p"):
            raise ReactionError(f"{where}: basis is 'c' (mol/L) or 'p' (bar), not {basis!r:.40}")
        values = {
            "K": None if K is None else positive(K, "K", where, ReactionError),
            "basis": basis,
            "T": positive(T, "the temperature T in kelvin", where, ReactionError),
            "dH": None if dH is None else finite(dH, "dH in J/mol", where, ReactionError),
            "name": name,
            "source": source,
            "coefficients": MappingProxyType(coefficients),
        }
        for key, value in values.items():
            object.__setattr__(self, key, value)

    # -- identity --------------------

    def __str__(self):
        return equations.write(self.coefficients)

    def __repr__(self):
        extras = "" if self.K is None else f", K={self.K:.6g}"
        extras += ', basis="p"' if self.basis == "p" else ""
        return f'Reaction("{self}"{extras})'

    def _repr_latex_(self):
        return f"${self.latex}$"

    def _key(self):
        return frozenset(self.coefficients.items()), self.K, self.basis, self.T, self.dH

    def __eq__(self, other):
        return self._key() == other._key() if isinstance(other, Reaction) else NotImplemented

    def __hash__(self):
        return hash(self._key())

    def __reduce__(self):
        given = (dict(self.coefficients), self.K, self.basis, self.T, self.dH, self.name, self.source)
        return Reaction, given

    # -- what it says --------------------

    @property
    def has_K(self) -> bool:
        """Whether a constant is known."""
        return self.K is not None

    def require_K(self) -> float:
        """K, or ReactionError when none was given."""
        if self.K is None:
            raise ReactionError(f"{self}: no equilibrium constant is given; write Reaction('{self}', K=...)")
        return self.K

    @property
    def reactants(self) -> dict[str, Number]:
        """Species on the left with their (positive) coefficients."""
        return {name: -number for name, number in self.coefficients.items() if number < 0}

    @property
    def products(self) -> dict[str, Number]:
        """Species on the right with their coefficients."""
        return {name: number for name, number in self.coefficients.items() if number > 0}

    @property
    def species(self) -> tuple[Species, ...]:
        """Every species, reactants first, in the order written."""
        return tuple(species(name) for name in self.coefficients)

    @property
    def is_balanced(self) -> bool:
        """Whether atoms and charge are the same on both sides."""
        return not equations.imbalance(self.coefficients)

    @property
    def dn_gas(self) -> Number:
        """Change in moles of gas, left to right."""
        return sum(number for name, number in self.coefficients.items() if species(name).phase == "g")

    @property
    def quotient_species(self) -> dict[str, Number]:
        """Those species that stand in K, with their powers: no solids, pure liquids or solvent."""
        return {name: number for name, number in self.coefficients.items() if species(name).counts_in_K}

    @property
    def expression(self) -> str:
        """K in plain text: ``Kc = [FeSCN^2+] / ([Fe^3+] [SCN^-])``."""
        return equations.expression(self.quotient_species, self.basis)

    @property
    def expression_latex(self) -> str:
        """K in LaTeX (mathematics mode)."""
        return equations.expression_latex(self.quotient_species, self.basis)

    @property
    def latex(self) -> str:
        """The equation in LaTeX (mathematics mode)."""
        return equations.write_latex(self.coefficients)

    @property
    def unicode(self) -> str:
        """The equation with real sub- and superscripts: Fe³⁺ + SCN⁻ ⇌ FeSCN²⁺."""
        return equations.write_unicode(self.coefficients)

    def require_balanced(self) -> None:
        """Raise ReactionError, saying what does not balance, unless atoms and charge do."""
        if problem := equations.imbalance(self.coefficients):
            raise ReactionError(f"{self} is not balanced: {problem}; correct it, or let eqlib.balance do it")

    # -- algebra: K follows --------------------

    def reversed(self) -> Reaction:
        """The same change read from right to left; K becomes 1/K."""
        return self * -1

    def __neg__(self):
        return self * -1

    def __pos__(self):
        return self

    def __mul__(self, factor):
        return algebra.scaled(self, factor)

    __rmul__ = __mul__

    def __truediv__(self, divisor):
        number = equations.as_number(divisor, f"the divisor for {self}")
        if number == 0:
            raise ReactionError(f"{self}: a reaction cannot be divided by 0")
        return self * (Fraction(1) / number)

    def __add__(self, other):
        if not isinstance(other, Reaction):
            return NotImplemented
        return algebra.summed(self, other)

    def __radd__(self, other):
        return self if other == 0 else NotImplemented  # so that sum([r1, r2]) works

    def __sub__(self, other):
        return self + (-other) if isinstance(other, Reaction) else NotImplemented

    # -- quotient and direction --------------------

    def quotient(self, conc: Mapping[str, float]) -> float:
        """Q from concentrations in mol/L; with basis "p", gases in bar.

        Every species that stands in K must be given; others (spectators, solids, water) are passed over. A
        product of 0 gives 0, a reactant of 0 gives infinity. Raises ReactionError for a missing, negative or
        non-finite value, and when a reactant and a product are both 0, for then Q has no value.
        """
        return quotients.quotient(self, conc)

    def shift(self, conc: Mapping[str, float], rel_tol: float = 0.005) -> str:
        """ "forward", "reverse" or "none": which way the mixture must change to reach K.

        "none" when Q is within ``rel_tol`` of K, or when something needed is absent on both sides (a solid
        counts here if its amount is given).
        """
        return quotients.shift(self, conc, rel_tol)

    def solve_for(self, name: str, conc: Mapping[str, float]) -> float:
        """The one value of ``name`` that makes Q equal K, such as the Ag^+ at which AgCl appears.

        Units as in :meth:`quotient`. Raises ReactionError when ``name`` does not stand in K or another is
        missing.
        """
        return quotients.solve_for(self, name, conc)

    # -- other conditions --------------------

    def kc(self, T: float | None = None) -> float:
        """K in mol/L. ``T`` (K) is the temperature at which K holds; default, the reaction's own.

        Kp = Kc (RT)^dn with dn the change in moles of gas, pressures in bar (IUPAC standard pressure 1 bar).
        """
        temperature = (
            self.T if T is None else positive(T, "the temperature T in kelvin", str(self), ReactionError)
        )
        if self.basis == "c":
            return self.require_K()
        return product(self.require_K(), power(R_BAR * temperature, -self.dn_gas, str(self)), str(self))

    def kp(self, T: float | None = None) -> float:
        """K in bar. See :meth:`kc`."""
        temperature = (
            self.T if T is None else positive(T, "the temperature T in kelvin", str(self), ReactionError)
        )
        if self.basis == "p":
            return self.require_K()
        return product(self.require_K(), power(R_BAR * temperature, self.dn_gas, str(self)), str(self))

    def as_basis(self, basis: str, T: float | None = None) -> Reaction:
        """The same reaction with K on the other basis."""
        if basis not in ("c", "p"):
            raise ReactionError(f"{self}: basis is 'c' (mol/L) or 'p' (bar), not {basis!r:.40}")
        value = None
        if self.has_K:
            value = self.kc(T) if basis == "c" else self.kp(T)
        return self._changed(K=value, basis=basis, T=self.T if T is None else T)

    def at(self, T: float, dH: float | None = None) -> Reaction:
        """The reaction at another temperature, by van 't Hoff with constant enthalpy.

        ``dH`` in J/mol of the equation as written; default, the reaction's own. The relation holds for the
        constant on the pressure basis; a Kc with a change in moles of gas is converted there and back, so
        that ``.at(T)`` agrees whichever basis K was given in. Raises ReactionError when no dH is known.
        """
        temperature = positive(T, "the temperature T in kelvin", str(self), ReactionError)
        enthalpy = self.dH if dH is None else finite(dH, "dH in J/mol", str(self), ReactionError)
        if temperature == self.T:
            return self._changed(dH=enthalpy)
        if enthalpy is None:
            raise ReactionError(
                f"{self}: the enthalpy is not known, so K at {temperature:g} K cannot be found; give dH "
                f"in J/mol"
            )
        growth = exp(-enthalpy / R_J * (1 / temperature - 1 / self.T))
        if self.basis == "c":
            growth = product(growth, power(self.T / temperature, self.dn_gas, str(self)), str(self))
        K = product(self.require_K(), growth, f"{self} at {temperature:g} K")
        return self._changed(K=K, T=temperature, dH=enthalpy)

    def with_K(self, K: float | None, source: str | None = None) -> Reaction:
        """The same equation with another constant."""
        return self._changed(K=K, source=source)

    def _changed(self, **new) -> Reaction:
        now = {"K": self.K, "basis": self.basis, "T": self.T, "dH": self.dH, "name": self.name}
        return Reaction(dict(self.coefficients), **{**now, "source": self.source, **new})

    def __iter__(self) -> Iterator[str]:
        raise TypeError("a Reaction is one equation; put several in a list")


def water(T: float = 298.15) -> Reaction:
    """H2O(l) <=> H^+ + OH^-, pKw 13.995 at 25 °C; see :mod:`eqlib.chem.solvent`."""
    from eqlib.chem.solvent import water_reaction

    return water_reaction(T)
