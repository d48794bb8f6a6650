"""Reactions multiplied and added: K to the power, K times K."""

from __future__ import annotations

from typing import TYPE_CHECKING

from eqlib.chem import equations
from eqlib.chem.checks import power, product
from eqlib.chem.equations import ReactionError

if TYPE_CHECKING:
    from eqlib.chem.reactions import Reaction

_UNITS = {"c": "mol/L", "p": "bar"}


def scaled(r: Reaction, factor) -> Reaction:
    """n times a reaction: K**n, n dH. A negative factor turns it round."""
    number = equations.as_number(factor, f"the factor for {r}")
    if number == 0:
        raise ReactionError(f"{r}: a reaction times 0 leaves nothing")
    names = r.coefficients if number > 0 else [*r.products, *r.reactants]
    return type(r)(
        {name: r.coefficients[name] * number for name in names},
        K=power(r.K, number, str(r)) if r.has_K else None,
        basis=r.basis,
        T=r.T,
        dH=None if r.dH is None else r.dH * float(number),
        name=r.name if number == 1 else None,
        source=r.source,
    )


def summed(first: Reaction, second: Reaction) -> Reaction:
    """One reaction after the other: species on both sides cancel, K is the product."""
    if first.T != second.T:
        raise ReactionError(
            f"{first} is given at {first.T:g} K but {second} at {second.T:g} K; "
            "bring both to one temperature with .at(T)"
        )
    total = dict(first.coefficients)
    for name, number in second.coefficients.items():
        total[name] = total.get(name, 0) + number
    total = {name: number for name, number in total.items() if number}
    if not total:
        raise ReactionError(f"{first} and {second} cancel completely: nothing reacts")
    both_K = first.has_K and second.has_K
    return type(first)(
        total,
        K=product(first.K, second.K, f"{first} plus {second}") if both_K else None,
        basis=_common_basis(first, second),
        T=first.T,
        dH=None if first.dH is None or second.dH is None else first.dH + second.dH,
        source=first.source if first.source == second.source else None,
    )


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
