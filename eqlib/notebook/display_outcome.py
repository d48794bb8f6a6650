"""What happens: the computed outcome of a disturbance, in words, numbers and a figure."""

from __future__ import annotations

import math

from eqlib.notebook.display import bundle
from eqlib.notebook.style import box, paragraph, table, text

_DIRECTIONS = {
    "forward": "It shifts towards the products (→).",
    "reverse": "It shifts towards the reactants (←).",
    "none": "It does not shift.",
}
_RAISED = str.maketrans("-0123456789", "⁻⁰¹²³⁴⁵⁶⁷⁸⁹")


def outcome_bundle(question, outcome) -> dict:
    """The output of a reveal cell, without its figure."""
    disturbance = outcome.disturbance
    from eqlib.lab.look import compare_disturbance

    look = compare_disturbance(disturbance)
    inner = (
        f"<p style='margin:.25em 0'><strong>What happens.</strong> {text(_DIRECTIONS[disturbance.direction])}</p>"
        + paragraph(quotient_line(disturbance))
        + paragraph(disturbance.explanation)
        + paragraph(f"What is seen: {look.words}.")
        + concentrations(disturbance)
    )
    return bundle(box(inner, label=f"What happens: {question.title}"))


def quotient_line(disturbance) -> str:
    """Q just after the change, set beside K."""
    Q, K = disturbance.Q, disturbance.K
    if not math.isfinite(Q):
        return f"Just after the change, Q cannot be written as a number; K = {number(K)}."
    sign = "<" if Q < K / 1.005 else ">" if Q > K * 1.005 else "="
    words = {
        "<": "Q is smaller than K, so more product forms.",
        ">": "Q is larger than K, so product turns back.",
        "=": "Q still equals K, so nothing shifts.",
    }[sign]
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
