"""Q of a mixture, the way it must change, and the one missing value that would put it at equilibrium."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import TYPE_CHECKING

from eqlib.chem import names
from eqlib.chem.checks import exp
from eqlib.chem.equations import ReactionError
from eqlib.chem.species import canonical, species

if TYPE_CHECKING:
    from eqlib.chem.reactions import Reaction


def quotient(r: Reaction, conc: Mapping[str, float]) -> float:
    """See :meth:`eqlib.chem.reactions.Reaction.quotient`."""
    r.require_balanced()
    values = _complete(r, conc)
    powers = r.quotient_species
    zero_products = [name for name, n in powers.items() if n > 0 and values[name] == 0]
    zero_reactants = [name for name, n in powers.items() if n < 0 and values[name] == 0]
    if zero_products and zero_reactants:
        raise ReactionError(
            f"{r}: Q has no value while both {zero_reactants[0]} and {zero_products[0]} are 0"
        )
    if zero_products:
        return 0.0
    if zero_reactants:
        return math.inf
    return _product_of_powers(values, powers)


def _product_of_powers(values: Mapping[str, float], powers: Mapping) -> float:
    """A plain product where it fits a float, which keeps simple numbers exact; else through logarithms."""
    top = bottom = 1.0
    for name, n in powers.items():
        if n > 0:
            top *= _raised(values[name], n)
        else:
            bottom *= _raised(values[name], -n)
    if 1e-290 < top < 1e290 and 1e-290 < bottom < 1e290:
        return top / bottom
    return exp(math.fsum(float(n) * math.log(values[name]) for name, n in powers.items()))


def _raised(value: float, power) -> float:
    try:
        return value ** (power if isinstance(power, int) else float(power))
    except OverflowError:
        return math.inf


def _complete(r: Reaction, conc: Mapping[str, float], besides: str | None = None) -> dict[str, float]:
    """Values of the species in K, by canonical name; every one must be given but ``besides``."""
    if not isinstance(conc, Mapping):
        raise ReactionError(f"{r}: concentrations are written {{'Fe^3+': 1e-3}}, not {conc!r:.40}")
    found = names.match(conc, r.coefficients, str(r))
    wanted = [name for name in r.quotient_species if name != besides]
    for name in wanted:
        # "H2O" typed beside H2O(l) <=> H2O(g) can only mean the vapour: the liquid does not stand in Q.
        if name not in found and species(name).key in conc:
            found[name] = names.amount(conc[species(name).key], name, str(r))
    if missing := [name for name in wanted if name not in found]:
        stray = [name for name in conc if isinstance(name, str) and canonical(name) not in r.coefficients]
        near = names.nearest(missing[0], stray)
        hint = f"; is {near} a slip for it?" if near else ""
        raise ReactionError(f"{r}: no value is given for {missing[0]}{hint}")
    return {name: found[name] for name in wanted}


def shift(r: Reaction, conc: Mapping[str, float], rel_tol: float) -> str:
    """See :meth:`eqlib.chem.reactions.Reaction.shift`."""
    r.require_balanced()
    known = {**_complete(r, conc), **names.match(conc, r.coefficients, str(r))}
    empty = [name for name in r.coefficients if known.get(name, 1.0) == 0]
    no_reverse = any(r.coefficients[name] > 0 for name in empty)
    no_forward = any(r.coefficients[name] < 0 for name in empty)
    if no_reverse and no_forward:
        return "none"
    ratio = quotient(r, known) / r.require_K()
    if abs(ratio - 1) <= rel_tol:
        return "none"
    if ratio < 1:
        return "none" if no_forward else "forward"
    return "none" if no_reverse else "reverse"


def solve_for(r: Reaction, name: str, conc: Mapping[str, float]) -> float:
    """See :meth:`eqlib.chem.reactions.Reaction.solve_for`."""
    r.require_balanced()
    K = r.require_K()
    key = names.source_name(canonical(name), r.quotient_species, ()) or _by_key(r, name)
    if key is None:
        hint = names.near_hint(canonical(name), r.quotient_species)
        raise ReactionError(f"{r}: {canonical(name)} does not stand in K, so K does not fix it{hint}")
    others = {k: n for k, n in r.quotient_species.items() if k != key}
    values = _complete(r, conc, besides=key)
    if zero := [k for k in others if values[k] == 0]:
        raise ReactionError(f"{r}: {zero[0]} is 0, so no value of {key} can satisfy K")
    log = math.log(K) - math.fsum(float(n) * math.log(values[k]) for k, n in others.items())
    return exp(log / float(r.quotient_species[key]))


def _by_key(r: Reaction, name: str) -> str | None:
    """NO2 for NO2(g)."""
    same = [other for other in r.quotient_species if species(other).key == species(name).key]
    return same[0] if len(same) == 1 else None
