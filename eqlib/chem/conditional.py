"""Constants that hold at one pH: what analysts call conditional constants (A. Ringbom, 1963; from memory).

At a fixed pH part of a metal is bound to hydroxide and part of a ligand to protons. Counting every such form
as "metal not bound to the ligand" and "ligand not bound to the metal" gives a constant that a calculation at
that pH can use as it stands.
"""

import math

from eqlib.chem.errors import EqlibError
from eqlib.chem.reactions import Reaction, water
from eqlib.chem.species import species
from eqlib.chem.state import protonated, with_protons

_WATERY = ("H^+", "OH^-", "H2O(l)")


def fraction_free(name, reactions, pH, T=298.15):
    """Share of a solute that is in the form ``name`` at a pH, among its forms with more or fewer H^+ or OH^-.

    ``reactions``: those that link the forms one by one (others are passed over). Raises EqlibError.
    """
    return 1.0 / sum(_relative_forms(protonated(name), reactions, pH, T).values())


def conditional_K(reaction, reactions, pH, T=298.15):
    """K of ``reaction`` at a fixed pH, with every solute counted in all its forms with H^+ and OH^-.

    K' = K [H^+]^-h [OH^-]^-o prod(alpha_i^-nu_i), alpha being :func:`fraction_free`; H^+ and OH^- themselves
    leave the expression. On the basis of ``reaction``, at temperature ``T`` (K) where enthalpies are known.
    Raises EqlibError.
    """
    reaction = with_protons(reaction)
    reaction.require_balanced()
    ln_K = math.log(_at(reaction, T).require_K())
    logs = _levels(reactions, pH, T)
    for name, power in reaction.quotient_species.items():
        if name in logs:
            ln_K -= float(power) * logs[name]
        elif species(name).phase == "aq":
            ln_K -= float(power) * math.log(fraction_free(name, reactions, pH, T))
    return math.exp(ln_K)


def _at(reaction, T):
    return reaction if reaction.dH is None or reaction.T == T else reaction.at(T)


def _levels(reactions, pH, T):
    """ln[H^+] and ln[OH^-], with the reactions' own water constant when there is one."""
    if isinstance(pH, bool) or not isinstance(pH, (int, float)) or not math.isfinite(pH):
        raise EqlibError(f"the pH must be a finite number, not {pH!r:.40}")
    ln_H = -pH * math.log(10.0)
    ln_Kw = math.log(water(T).K)
    for r in reactions:
        if set(r.coefficients) == set(_WATERY) and abs(r.coefficients["H^+"]) == 1:
            ln_Kw = math.log(_at(r, T).require_K()) * (1 if r.coefficients["H^+"] > 0 else -1)
    return {"H^+": ln_H, "OH^-": ln_Kw - ln_H}


def _relative_forms(name, reactions, pH, T):
    """{form: its concentration relative to ``name``}."""
    logs = _levels(reactions, pH, T)
    links = [_link(with_protons(r), logs, T) for r in reactions if isinstance(r, Reaction)]
    known, todo = {name: 0.0}, [name]
    while todo:
        form = todo.pop()
        for link in links:
            if link is None or form not in link[:2]:
                continue
            first, second, ln_ratio = link
            other = second if form == first else first
            if other not in known:
                known[other] = known[form] + (ln_ratio if form == first else -ln_ratio)
                todo.append(other)
    return {form: math.exp(value) for form, value in known.items()}


def _link(reaction, logs, T):
    """(one form, another, ln of their ratio) for a reaction that only moves H^+ or OH^- between two
    solutes.
    """
    forms = {n: v for n, v in reaction.coefficients.items() if n not in _WATERY}
    if sorted(forms.values()) != [-1, 1] or any(species(n).phase != "aq" for n in forms):
        return None
    (first,) = (n for n, v in forms.items() if v == -1)
    (second,) = (n for n, v in forms.items() if v == 1)
    ln_K = math.log(_at(reaction, T).require_K())
    return first, second, ln_K - sum(float(reaction.coefficients.get(n, 0)) * logs[n] for n in logs)
