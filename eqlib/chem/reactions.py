"""A reaction with its equilibrium constant: how it is written, algebra of K, quotient and direction."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from types import MappingProxyType
from typing import Any

from eqlib.chem import equations
from eqlib.chem.equations import Number, ReactionError
from eqlib.chem.species import Species, canonical, species
from eqlib.chem.thermo import R_BAR, R_J, exp, power, product
from eqlib.errors import did_you_mean, finite, nearest, positive

_UNITS = {"c": "mol/L", "p": "bar"}


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
    _text: str

    # NumPy numbers must leave ``2 * reaction`` to us.
    __array_ufunc__ = None

    def __init__(
        self,
        text: Mapping[str, Number] | str,
        K: float | None = None,
        basis: str = "c",
        T: float = 298.15,
        dH: float | None = None,
        name: str | None = None,
        source: str | None = None,
    ) -> None:
        if isinstance(text, Mapping):
            coefficients = equations.from_mapping(text)
        else:
            coefficients = equations.read(text)
        where = _written(coefficients, lambda one: one.name, "<=>")
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
            "_text": where,
        }
        for key, value in values.items():
            object.__setattr__(self, key, value)

    # -- identity --------------------

    def __str__(self) -> str:
        return self._text

    def __repr__(self) -> str:
        extras = "" if self.K is None else f", K={self.K:.6g}"
        extras += ', basis="p"' if self.basis == "p" else ""
        return f'Reaction("{self}"{extras})'

    def _repr_latex_(self) -> str:
        return f"${self.latex}$"

    def _key(self) -> tuple:
        return frozenset(self.coefficients.items()), self.K, self.basis, self.T, self.dH

    def __eq__(self, other: object) -> bool:
        return self._key() == other._key() if isinstance(other, Reaction) else NotImplemented

    def __hash__(self) -> int:
        return hash(self._key())

    def __reduce__(self) -> tuple:
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

    @cached_property
    def is_balanced(self) -> bool:
        """Whether atoms and charge are the same on both sides."""
        return not equations.imbalance(self.coefficients)

    @property
    def dn_gas(self) -> Number:
        """Change in moles of gas, left to right."""
        return sum(number for name, number in self.coefficients.items() if species(name).phase == "g")

    @cached_property
    def quotient_species(self) -> Mapping[str, Number]:
        """Those species that stand in K, with their powers: no solids, pure liquids or solvent."""
        counted = {name: n for name, n in self.coefficients.items() if species(name).counts_in_K}
        return MappingProxyType(counted)

    @property
    def expression(self) -> str:
        """K in plain text: ``Kc = [FeSCN^2+] / ([Fe^3+] [SCN^-])``."""
        powers = self.quotient_species

        def factor(name: str, number: Number) -> str:
            one = species(name)
            # A gas is written without its phase, unless the same formula is there in solution too.
            plain = one.key if one.phase != "g" or one.key not in powers else one.name
            body = f"P({one.key})" if self.basis == "p" and one.phase == "g" else f"[{plain}]"
            power = abs(Fraction(number))
            return (
                body if power == 1 else f"{body}^{power}" if power.denominator == 1 else f"{body}^({power})"
            )

        top = [factor(name, n) for name, n in powers.items() if n > 0]
        bottom = [factor(name, n) for name, n in powers.items() if n < 0]
        below = bottom[0] if len(bottom) == 1 else f"({' '.join(bottom)})"
        return f"K{self.basis} = {' '.join(top) or '1'}" + (f" / {below}" if bottom else "")

    @property
    def latex(self) -> str:
        """The equation in LaTeX (mathematics mode)."""

        def times(number: Number) -> str:
            exact = Fraction(number)
            whole = exact.denominator == 1
            return (str(exact) if whole else rf"\tfrac{{{exact.numerator}}}{{{exact.denominator}}}") + r"\,"

        return _written(self.coefficients, lambda one: one.latex, r"\rightleftharpoons", times)

    @property
    def unicode(self) -> str:
        """The equation with real sub- and superscripts: Fe³⁺ + SCN⁻ ⇌ FeSCN²⁺."""
        return _written(self.coefficients, lambda one: one.unicode, "⇌")

    def require_balanced(self) -> None:
        """Raise ReactionError, saying what does not balance, unless atoms and charge do."""
        if not self.is_balanced:
            problem = equations.imbalance(self.coefficients)
            raise ReactionError(f"{self} is not balanced: {problem}; correct it, or let eqlib.balance do it")

    # -- algebra: K follows --------------------

    def reversed(self) -> Reaction:
        """The same change read from right to left; K becomes 1/K."""
        return self * -1

    def __neg__(self) -> Reaction:
        return self * -1

    def __pos__(self) -> Reaction:
        return self

    def __mul__(self, factor: Number | float) -> Reaction:
        """n times a reaction: K**n, n dH. A negative factor turns it round."""
        number = equations.as_number(factor, f"the factor for {self}")
        if number == 0:
            raise ReactionError(f"{self}: a reaction times 0 leaves nothing")
        names = self.coefficients if number > 0 else [*self.products, *self.reactants]
        return Reaction(
            {name: self.coefficients[name] * number for name in names},
            K=power(self.require_K(), number, str(self)) if self.has_K else None,
            basis=self.basis,
            T=self.T,
            dH=None if self.dH is None else self.dH * float(number),
            name=self.name if number == 1 else None,
            source=self.source,
        )

    __rmul__ = __mul__

    def __truediv__(self, divisor: Number | float) -> Reaction:
        number = equations.as_number(divisor, f"the divisor for {self}")
        if number == 0:
            raise ReactionError(f"{self}: a reaction cannot be divided by 0")
        return self * (Fraction(1) / number)

    def __add__(self, other: object) -> Reaction:
        """One reaction after the other: species on both sides cancel, K is the product."""
        if not isinstance(other, Reaction):
            return NotImplemented
        if self.T != other.T:
            raise ReactionError(
                f"{self} is given at {self.T:g} K but {other} at {other.T:g} K; "
                "bring both to one temperature with .at(T)"
            )
        total = dict(self.coefficients)
        for name, number in other.coefficients.items():
            total[name] = total.get(name, 0) + number
        total = {name: number for name, number in total.items() if number}
        if not total:
            raise ReactionError(f"{self} and {other} cancel completely: nothing reacts")
        both_K = self.has_K and other.has_K
        return Reaction(
            total,
            K=product(self.require_K(), other.require_K(), f"{self} plus {other}") if both_K else None,
            basis=_common_basis(self, other),
            T=self.T,
            dH=None if self.dH is None or other.dH is None else self.dH + other.dH,
            source=self.source if self.source == other.source else None,
        )

    def __radd__(self, other: object) -> Reaction:
        return self if other == 0 else NotImplemented  # so that sum([r1, r2]) works

    def __sub__(self, other: object) -> Reaction:
        return self + (-other) if isinstance(other, Reaction) else NotImplemented

    # -- quotient and direction --------------------

    def quotient(self, conc: Mapping[str, float]) -> float:
        """Q from concentrations in mol/L; with basis "p", gases in bar.

        Every species that stands in K must be given; others (spectators, solids, water) are passed over. A
        product of 0 gives 0, a reactant of 0 gives infinity. Raises ReactionError for a missing, negative or
        non-finite value, and when a reactant and a product are both 0, for then Q has no value.
        """
        self.require_balanced()
        return self.quotient_of(_complete(self, conc))

    def quotient_of(self, values: Mapping[str, float]) -> float:
        """The same from values that are known to be amounts, by canonical name; for what eqlib computed."""
        powers = self.quotient_species
        zero_products = [name for name, n in powers.items() if n > 0 and values[name] == 0]
        zero_reactants = [name for name, n in powers.items() if n < 0 and values[name] == 0]
        if zero_products and zero_reactants:
            raise ReactionError(
                f"{self}: Q has no value while both {zero_reactants[0]} and {zero_products[0]} are 0"
            )
        if zero_products:
            return 0.0
        if zero_reactants:
            return math.inf
        # A plain product where it fits a float, which keeps simple numbers exact; else through logarithms.
        top = bottom = 1.0
        for name, n in powers.items():
            if n > 0:
                top *= _raised(values[name], n)
            else:
                bottom *= _raised(values[name], -n)
        if 1e-290 < top < 1e290 and 1e-290 < bottom < 1e290:
            return top / bottom
        return exp(math.fsum(float(n) * math.log(values[name]) for name, n in powers.items()))

    def shift(self, conc: Mapping[str, float], rel_tol: float = 0.005) -> str:
        """ "forward", "reverse" or "none": which way the mixture must change to reach K.

        "none" when Q is within ``rel_tol`` of K, or when something needed is absent on both sides (a solid
        counts here if its amount is given).
        """
        self.require_balanced()
        known = {**_complete(self, conc), **equations.match(conc, self.coefficients, str(self))}
        empty = [name for name in self.coefficients if known.get(name, 1.0) == 0]
        no_reverse = any(self.coefficients[name] > 0 for name in empty)
        no_forward = any(self.coefficients[name] < 0 for name in empty)
        if no_reverse and no_forward:
            return "none"
        ratio = self.quotient_of(known) / self.require_K()
        if abs(ratio - 1) <= rel_tol:
            return "none"
        if ratio < 1:
            return "none" if no_forward else "forward"
        return "none" if no_reverse else "reverse"

    def solve_for(self, name: str, conc: Mapping[str, float]) -> float:
        """The one value of ``name`` that makes Q equal K, such as the Ag^+ at which AgCl appears.

        Units as in :meth:`quotient`. Raises ReactionError when ``name`` does not stand in K or another is
        missing.
        """
        self.require_balanced()
        K = self.require_K()
        key = equations.source_name(canonical(name), self.quotient_species, ())
        if key is None:  # NO2 for NO2(g)
            same = [other for other in self.quotient_species if species(other).key == species(name).key]
            key = same[0] if len(same) == 1 else None
        if key is None:
            hint = did_you_mean(canonical(name), self.quotient_species)
            raise ReactionError(f"{self}: {canonical(name)} does not stand in K, so K does not fix it{hint}")
        others = {k: n for k, n in self.quotient_species.items() if k != key}
        values = _complete(self, conc, besides=key)
        if zero := [k for k in others if values[k] == 0]:
            raise ReactionError(f"{self}: {zero[0]} is 0, so no value of {key} can satisfy K")
        log = math.log(K) - math.fsum(float(n) * math.log(values[k]) for k, n in others.items())
        return exp(log / float(self.quotient_species[key]))

    # -- other conditions --------------------

    def kc(self, T: float | None = None) -> float:
        """K in mol/L. ``T`` (K) is the temperature at which K holds; default, the reaction's own.

        Kp = Kc (RT)^dn with dn the change in moles of gas, pressures in bar (IUPAC standard pressure 1 bar).
        """
        return self._K_on("c", T)

    def kp(self, T: float | None = None) -> float:
        """K in bar. See :meth:`kc`."""
        return self._K_on("p", T)

    def _K_on(self, basis: str, T: float | None) -> float:
        if T is None:
            T = self.T
        temperature = positive(T, "the temperature T in kelvin", str(self), ReactionError)
        if self.basis == basis:
            return self.require_K()
        change = self.dn_gas if basis == "p" else -self.dn_gas
        return product(self.require_K(), power(R_BAR * temperature, change, str(self)), str(self))

    def as_basis(self, basis: str, T: float | None = None) -> Reaction:
        """The same reaction with K on the other basis."""
        if basis not in ("c", "p"):
            raise ReactionError(f"{self}: basis is 'c' (mol/L) or 'p' (bar), not {basis!r:.40}")
        value = self._K_on(basis, T) if self.has_K else None
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

    def _changed(self, **new: Any) -> Reaction:
        now = {"text": self.coefficients, "K": self.K, "basis": self.basis, "T": self.T, "dH": self.dH}
        return Reaction(**{**now, "name": self.name, "source": self.source, **new})

    def __iter__(self) -> Iterator[str]:
        raise TypeError("a Reaction is one equation; put several in a list")


def _written(
    coefficients: Mapping[str, Number],
    shown: Callable[[Species], str],
    arrow: str,
    times: Callable[[Number], str] = "{} ".format,
) -> str:
    """``2 NO2(g) <=> N2O4(g)``, in one style or another."""

    def side(sign: int) -> str:
        here = ((name, max(number, -number)) for name, number in coefficients.items() if number * sign > 0)
        return " + ".join((times(n) if n != 1 else "") + shown(species(name)) for name, n in here)

    return f"{side(-1)} {arrow} {side(1)}"


# -- algebra of K --------------------


def _common_basis(first: Reaction, second: Reaction) -> str:
    """The basis of the sum. Without a change in moles of gas K is the same on either."""
    if first.basis == second.basis or second.dn_gas == 0:
        return first.basis
    if first.dn_gas == 0:
        return second.basis
    raise ReactionError(
        f"{first} has K in {_UNITS[first.basis]} but {second} in {_UNITS[second.basis]}; "
        "convert one with .as_basis('c') or .as_basis('p') first"
    )


# -- quotient and direction --------------------


def _raised(value: float, power: Number) -> float:
    try:
        return value ** (power if isinstance(power, int) else float(power))
    except OverflowError:
        return math.inf


def _complete(r: Reaction, conc: Mapping[str, float], besides: str | None = None) -> dict[str, float]:
    """Values of the species in K, by canonical name; every one must be given but ``besides``."""
    if not isinstance(conc, Mapping):
        raise ReactionError(f"{r}: concentrations are written {{'Fe^3+': 1e-3}}, not {conc!r:.40}")
    found = equations.match(conc, r.coefficients, str(r))
    wanted = [name for name in r.quotient_species if name != besides]
    for name in wanted:
        # "H2O" typed beside H2O(l) <=> H2O(g) can only mean the vapour: the liquid does not stand in Q.
        if name not in found and species(name).key in conc:
            found[name] = equations.amount(conc[species(name).key], name, str(r))
    if missing := [name for name in wanted if name not in found]:
        stray = [name for name in conc if isinstance(name, str) and canonical(name) not in r.coefficients]
        near = nearest(missing[0], stray)
        hint = f"; is {near} a slip for it?" if near else ""
        raise ReactionError(f"{r}: no value is given for {missing[0]}{hint}")
    return {name: found[name] for name in wanted}


# -- balancing, particular reactions, and what a reaction is known by --------------------


def balance(text: str, K: float | None = None, **details: Any) -> Reaction:
    """Balance an equation exactly, atoms and charge; coefficients already written are ignored.

    Further arguments go to :class:`~eqlib.chem.reactions.Reaction`. Raises ReactionError when it cannot be
    balanced, or can be in more than one way (two reactions written as one).
    """
    return Reaction(equations.balanced(text), K=K, **details)


def water(T: float = 298.15) -> Reaction:
    """H2O(l) <=> H^+ + OH^- with pKw 13.995 at 25 °C (IAPWS release R11-07; from memory).

    At other temperatures the enthalpy 55.8 kJ/mol and heat capacity change -195 J/(mol K) of the CODATA
    and NIST compilations are used (from memory): within 0.02 of the IAPWS pKw from 0 to 60 °C.
    """
    temperature = positive(T, "the temperature T in kelvin", "water", ReactionError)
    start, enthalpy, heat_capacity = 298.15, 55.81e3, -195.0
    ln_K = -13.995 * math.log(10)
    ln_K += -(enthalpy - heat_capacity * start) / R_J * (1 / temperature - 1 / start)
    ln_K += heat_capacity / R_J * math.log(temperature / start)
    return Reaction(
        {"H2O(l)": -1, "H^+": 1, "OH^-": 1},
        K=exp(ln_K),
        T=temperature,
        dH=enthalpy + heat_capacity * (temperature - start),
        name="water",
        source="IAPWS R11-07, pKw 13.995 at 25 °C (from memory)",
    )


def with_protons(reaction: Reaction) -> Reaction:
    """H3O^+ is H^+ with a water of the solvent."""
    if not isinstance(reaction, Reaction) or "H3O^+" not in reaction.coefficients:
        return reaction
    terms = dict(reaction.coefficients)
    count = terms.pop("H3O^+")
    terms["H^+"] = terms.get("H^+", 0) + count
    terms["H2O(l)"] = terms.get("H2O(l)", 0) + count
    terms = {name: value for name, value in terms.items() if value}
    return reaction._changed(text=terms)


def characteristic_product(r: Reaction) -> str:
    """The product a reaction is known by: the largest solute or gas, a solid, or else a reactant."""
    in_K = [name for name in r.products if name in r.quotient_species]
    solid = [name for name in r.products if species(name).phase in ("s", "l") and name != "H2O(l)"]
    candidates = in_K or solid or list(r.reactants)
    return max(candidates, key=lambda name: (sum(species(name).elements.values()), name))
