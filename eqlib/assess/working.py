"""The worked solution of a question, in markdown, from the student's own numbers. Every number is
computed.
"""

from __future__ import annotations

import statistics

from eqlib.assess.asks import ASKS
from eqlib.assess.asks.base import in_unicode
from eqlib.assess.asks.number import amount, limiting, runs_of
from eqlib.assess.asks.reasons import tied_up
from eqlib.assess.asks.typed import with_unicode
from eqlib.assess.case import Case
from eqlib.assess.question import Question
from eqlib.assess.setting import read_amount
from eqlib.chem.thermo import R_J
from eqlib.writing import in_powers

#: A competing equilibrium is named in the working when it takes at least this share of a reactant.
_TELLING = 0.2
_ROUNDED = "The table goes on from the rounded reading, so its last figures can differ a little."


def worked(question: Question, case: Case) -> str:
    """The working of one student's copy of a question; what is not asked is left out."""
    pieces: list[str] = []
    if case.reactions:
        pieces.append(_reaction_line(case))
    if case.portions and case.reactions:
        pieces.append(_mixing(case))
    if case.measured:
        pieces.append(_reading(case))
    if case.extent is not None and _asks(question, "K", "ice", "extent", "concentration"):
        pieces.append(ice_markdown(case))
    if case.disturbance is not None:
        pieces.append(_disturbance(case))
    pieces.append(_rates(question, case))
    answers = [ASKS[part.ask].worked(part, case) for part in question.parts]
    if any(answers):
        pieces.append("**So:**\n" + "\n".join(f"- {answer}" for answer in answers if answer))
    return "\n\n".join(piece for piece in pieces if piece)


def _rates(question: Question, case: Case) -> str:
    """How fast each rate that is asked about is at its moment, beside what it was before the change."""
    parts = [part for part in question.parts if part.ask in ("rate", "graph")]
    lines = dict.fromkeys(f"- {ASKS[part.ask].because(part, case)}" for part in parts)
    if not lines:
        return ""
    return (
        "**Rates.** Each rate goes with the concentrations on its own side of the arrow, and at equilibrium "
        "both are equal and above zero.\n" + "\n".join(lines)
    )


def _asks(question: Question, *names: str) -> bool:
    return any(part.quantity in names or (part.ask in names and part.ask != "K") for part in question.parts)


def _reaction_line(case: Case) -> str:
    reaction = case.reaction
    line = f"**Reaction:** {reaction.unicode}"
    if reaction.quotient_species:
        line += f", with {with_unicode(reaction.expression, reaction)}"
    return f"{line}."


def _mixing(case: Case) -> str:
    total = case.volume
    lines = [f"**Mixing.** The volume is {amount(1e3 * total)} mL in all. Before any reaction:"]
    for name in case.reaction.quotient_species:
        terms = [
            f"{amount(portion.concentrations[name])} × {amount(1e3 * portion.volume)}/{amount(1e3 * total)}"
            for portion in case.portions
            if portion.concentrations.get(name)
        ]
        if terms:
            lines.append(f"- [{in_unicode(name)}] = {' + '.join(terms)} = {amount(case.mixed[name])} mol/L")
    return "\n".join(lines) if len(lines) > 1 else ""


def _reading(case: Case) -> str:
    m = case.measured
    if "run1" in m:
        return _runs(case)
    if any(part.quantity == "epsilon" for part in case.parts):
        return _standard(case)
    if "between" in m:
        return ""  # an indicator: its part tells the whole of it
    if "K1" in m:
        return (
            "**van 't Hoff.** ΔH = −R ln(K₂/K₁) / (1/T₂ − 1/T₁) with "
            f"R = {R_J:.5g} J/(mol K), K₁ = {amount(m['K1'])} at "
            f"{m['T1']:.2f} K and K₂ = {amount(m['K2'])} at {m['T2']:.2f} K."
        )
    if "absorbance" in m:
        A, blank = f"{m['absorbance']:g}", f"{m['blank']:g}"
        symbols, numbers = ("(A − blank)", f"({A} − {blank})") if m["blank"] else ("A", A)
        found = read_amount(m)
        return (
            f"**Reading.** [{in_unicode(case.observed)}] = {symbols} / (ε l) = "
            f"{numbers} / ({m['epsilon']:g} × {m['path']:g}) = {amount(found)} mol/L."
        )
    return f"**Reading.** [{in_unicode(case.observed)}] = {amount(m['concentration'])} mol/L at equilibrium."


def _runs(case: Case) -> str:
    runs = runs_of(case)
    terms = " + ".join(f"{value:g}" for value in runs)
    mean = statistics.fmean(runs)
    return (
        f"**Repeats.** n = {len(runs)}; mean = ({terms}) / {len(runs)} = {mean:.4g}; the standard deviation "
        f"s is the root of the sum of (value − mean)² over n − 1, which gives {statistics.stdev(runs):.3g}."
    )


def _standard(case: Case) -> str:
    m = case.measured
    scarce, amount_there = limiting(case)
    return (
        f"**Standard.** {in_unicode(scarce)} runs out first, so nearly all of it becomes "
        f"{in_unicode(case.observed)}: c = {amount(amount_there)} mol/L. ε = (A − blank) / (c l) = "
        f"({m['absorbance']:g} − {m['blank']:g}) / ({amount(amount_there)} × {m['path']:g})."
    )


def ice_markdown(case: Case) -> str:
    """The ICE table of the first reaction as a markdown table, mol/L."""
    names, extent = list(case.reaction.quotient_species), case.extent or 0.0
    changes = {name: float(case.reaction.coefficients[name]) * extent for name in names}
    rows = {
        "Initial": {name: case.mixed.get(name, 0.0) for name in names},
        "Change": changes,
        "Equilibrium": {name: case.equilibrium[name] for name in names},
    }
    lines = [
        "| mol/L | " + " | ".join(in_unicode(name) for name in names) + " |",
        "|---|" + "---|" * len(names),
    ]
    for label, row in rows.items():
        cells = [("+" if label == "Change" and row[name] > 0 else "") + amount(row[name]) for name in names]
        lines.append(f"| {label} | " + " | ".join(cells) + " |")
    return "\n".join(lines)


def _disturbance(case: Case) -> str:
    d = case.disturbance
    lines = [f"**The change.** {in_powers(d.explanation_unicode)}"]
    bound = tied_up(case, least=_TELLING)
    if bound and len(case.reactions) > 1:
        lines.append(_competitor(case, bound))
    if case.observed and case.reaction.basis == "c":
        theirs = amount(case.reaction.quotient(case.at_once))
        lines.append(_ROUNDED if theirs != amount(d.Q) else "")
    lines.append(_before_after(case))
    return "\n\n".join(line for line in lines if line)


def _competitor(case: Case, bound: str) -> str:
    """Name what took the reactant away: the other reaction that holds it and gained most."""
    at_once, after = case.disturbance.at_once, case.disturbance.after
    mine = case.reaction.coefficients
    takers: dict[str, float] = {}
    for reaction in case.reactions[1:]:
        if bound not in reaction.coefficients:
            continue
        for name in reaction.coefficients:
            if name not in mine and name in after:
                takers[name] = after.amounts.get(name, 0.0) - at_once.amounts.get(name, 0.0)
    gained = max(takers, key=lambda name: takers[name], default=None)
    if gained is None or takers[gained] <= 0:
        return f"Another equilibrium takes {in_unicode(bound)} away."
    return f"A competing equilibrium takes {in_unicode(bound)} away, as {in_unicode(gained)}."


def _before_after(case: Case) -> str:
    names = list(case.reaction.quotient_species)
    lines = [
        "| mol/L | " + " | ".join(in_unicode(name) for name in names) + " |",
        "|---|" + "---|" * len(names),
    ]
    for label, row in (("Before", case.before), ("At once", case.at_once), ("After", case.after)):
        lines.append(f"| {label} | " + " | ".join(amount(row.get(name, 0.0)) for name in names) + " |")
    return "\n".join(lines)
