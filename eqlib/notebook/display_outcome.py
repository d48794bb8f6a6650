"""What happens: the computed outcome of a disturbance, in words, numbers and a figure."""

from __future__ import annotations

import math
import re

from eqlib.assess.records import MIME
from eqlib.notebook.display import bundle
from eqlib.notebook.style import box, details, lead, paragraph, table

_DIRECTIONS = {
    "forward": "It shifts towards the products (→).",
    "reverse": "It shifts towards the reactants (←).",
    "none": "It does not shift.",
}
_FORMULA = re.compile(r"[A-Z][A-Za-z0-9()]*(?:\^\d*[+-](?![A-Za-z0-9])|\((?:s|g|l|aq)\))")
_POWER = re.compile(r"(\d+(?:\.\d+)?)e([+-]?\d+)\b")
_RAISED = str.maketrans("-0123456789", "⁻⁰¹²³⁴⁵⁶⁷⁸⁹")


def outcome_bundle(question, outcome, seen=None) -> dict:
    """The output of a reveal cell, without its pictures. ``seen`` is the note that it was shown, if one is
    kept.
    """
    disturbance = outcome.disturbance
    from eqlib.lab.look import compare_disturbance

    look = compare_disturbance(disturbance)
    inner = (
        lead("What happens.", _DIRECTIONS[disturbance.direction])
        + paragraph(quotient_line(disturbance))
        + paragraph(f"What is seen: {in_print(look.words)}.")
        + concentrations(disturbance)
        + details("How this comes about, step by step", paragraph(disturbance.explanation_unicode))
    )
    page = box(inner, label=f"What happens: {question.title}")
    return bundle(page, {} if seen is None else {MIME: seen.to_dict()})


def in_print(words: str) -> str:
    """Plain wording as it is printed: Fe^3+ becomes Fe³⁺, 2.75e-07 becomes 2.75 × 10⁻⁷."""
    words = _FORMULA.sub(_printed_formula, words.replace("<=>", "⇌"))
    return _POWER.sub(lambda found: f"{found[1]} × 10{str(int(found[2])).translate(_RAISED)}", words)


def _printed_formula(found) -> str:
    from eqlib.chem.species import species
    from eqlib.errors import EqlibError

    try:
        return species(found[0]).unicode
    except EqlibError:
        return found[0]


def quotient_line(disturbance) -> str:
    """Q just after the change, set beside K."""
    Q, K = disturbance.Q, disturbance.K
    if not math.isfinite(Q):
        return f"Just after the change, Q cannot be written as a number; K = {number(K)}."
    if Q == 0:
        words = "Q < K, so the reaction can only go forward, if at all."
        return f"Just after the change Q = 0, and K = {number(K)}: {words}"
    sign = "<" if Q < K / 1.005 else ">" if Q > K * 1.005 else "="
    words, way = {
        "<": ("Q is smaller than K, so more product forms.", "forward"),
        ">": ("Q is larger than K, so product turns back.", "reverse"),
        "=": ("Q still equals K, so nothing shifts.", "none"),
    }[sign]
    if way != disturbance.direction:
        words = "That alone does not decide it: another equilibrium takes part, as the steps below show."
    equals = "" if sign == "=" else f": Q {sign} K"
    return f"Just after the change Q = {number(Q)}, and K = {number(K)}{equals}. {words}"


def concentrations(disturbance) -> str:
    """Concentrations of the first reaction's dissolved and gaseous species at three moments."""
    from eqlib.chem.species import species

    rows = []
    for name in disturbance.reaction.coefficients:
        kind = species(name)
        if kind.phase not in ("aq", "g"):
            continue
        values = [
            state.concentrations.get(name, 0.0)
            for state in (disturbance.before, disturbance.at_once, disturbance.after)
        ]
        rows.append((kind.unicode, *(number(value) for value in values)))
    head = ("mol/L", "before", "at once, before any shift", "at the new equilibrium")
    return table("Concentrations", rows, head) if rows else ""


def number(value: float) -> str:
    """A computed number to three figures: 0.00123, 140, 6.9 × 10⁻⁵."""
    value = float(value)
    if value == 0 or not math.isfinite(value):
        return "0" if value == 0 else "not a number" if math.isnan(value) else "infinite"
    exponent = math.floor(math.log10(abs(value)))
    mantissa = f"{value / 10.0**exponent:.2f}"
    if mantissa.lstrip("-") == "10.00":
        exponent, mantissa = exponent + 1, mantissa.replace("10.00", "1.00")
    if -3 <= exponent < 4:
        return f"{value:.{max(0, 2 - exponent)}f}"
    return f"{mantissa} × 10{str(exponent).translate(_RAISED)}"
