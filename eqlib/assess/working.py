"""The worked solution of a question, in markdown, from the student's own numbers. Every number is
computed.
"""

from __future__ import annotations

import statistics

from eqlib.assess.kinds_reasons import tied_up
from eqlib.assess.outcome_numbers import R_J, limiting, runs_of
from eqlib.assess.reading.units import pretty_unit
from eqlib.assess.working_steps import last_step
from eqlib.assess.working_words import amount, in_print, in_unicode, with_unicode

#: A competing equilibrium is named in the working when it takes at least this share of a reactant.
_TELLING = 0.2
_ROUNDED = "The table goes on from the rounded reading, so its last figures can differ a little."


def worked(question, outcome) -> str:
    """The working of one student's copy of a question; what is not asked is left out."""
    problem = outcome.problem
    pieces: list[str] = []
    if problem.reactions:
        pieces.append(_reaction_line(problem))
    if problem.portions and problem.reactions:
        pieces.append(_mixing(problem))
    if problem.measured:
        pieces.append(_reading(problem))
    if problem.extent is not None and _asks(question, "K", "ice", "extent", "concentration"):
        pieces.append(ice_markdown(problem))
    if problem.disturbance is not None:
        pieces.append(_disturbance(problem))
    pieces.append(_rates(question, problem))
    pieces.extend(_answers(question, outcome))
    return "\n\n".join(piece for piece in pieces if piece)


def _rates(question, problem) -> str:
    """How many times as fast each rate that is asked about is at its moment as it was before the change."""
    from eqlib.assess.outcome_rates import rate_ratio

    if problem.disturbance is None or problem.stress.kind in ("heat_to", "catalyse"):
        return ""
    lines = []
    for part in question.parts:
        if part.ask == "rate":
            now = problem.at_once if part.when == "at_once" else problem.after
            ratio = rate_ratio(problem, part.side, problem.before, now)
            moment = "at once" if part.when == "at_once" else "at the new equilibrium"
            lines.append(f"- {part.side}, {moment}: {amount(ratio)} times as fast as before the change")
    if not lines:
        return ""
    return (
        "**Rates.** Each rate goes with the concentrations on its own side of the arrow, and at equilibrium "
        "both are equal and above zero.\n" + "\n".join(lines)
    )


def _asks(question, *names) -> bool:
    return any(part.quantity in names or (part.ask in names and part.ask != "K") for part in question.parts)


def _reaction_line(problem) -> str:
    reaction = problem.reaction
    line = f"**Reaction:** {reaction.unicode}"
    if reaction.quotient_species:
        line += f", with {with_unicode(reaction.expression, reaction)}"
    return f"{line}."


def _mixing(problem) -> str:
    total = problem.volume
    lines = [f"**Mixing.** The volume is {amount(1e3 * total)} mL in all. Before any reaction:"]
    for name in problem.reaction.quotient_species:
        terms = [
            f"{amount(portion.concentrations[name])} × {amount(1e3 * portion.volume)}/{amount(1e3 * total)}"
            for portion in problem.portions
            if portion.concentrations.get(name)
        ]
        if terms:
            lines.append(
                f"- [{in_unicode(name)}] = {' + '.join(terms)} = {amount(problem.mixed[name])} mol/L"
            )
    return "\n".join(lines) if len(lines) > 1 else ""


def _reading(problem) -> str:
    m = problem.measured
    if "run1" in m:
        return _runs(problem)
    if any(part.quantity == "epsilon" for part in problem.parts):
        return _standard(problem)
    if "K1" in m:
        return (
            "**van 't Hoff.** ΔH = −R ln(K₂/K₁) / (1/T₂ − 1/T₁) with "
            f"R = {R_J:.5g} J/(mol K), K₁ = {amount(m['K1'])} at "
            f"{m['T1']:.2f} K and K₂ = {amount(m['K2'])} at {m['T2']:.2f} K."
        )
    if "absorbance" in m:
        A, blank = f"{m['absorbance']:g}", f"{m['blank']:g}"
        symbols, numbers = ("(A − blank)", f"({A} − {blank})") if m["blank"] else ("A", A)
        found = (m["absorbance"] - m["blank"]) / (m["epsilon"] * m["path"])
        return (
            f"**Reading.** [{in_unicode(problem.observed)}] = {symbols} / (ε l) = "
            f"{numbers} / ({m['epsilon']:g} × {m['path']:g}) = {amount(found)} mol/L."
        )
    return (
        f"**Reading.** [{in_unicode(problem.observed)}] = {amount(m['concentration'])} mol/L at equilibrium."
    )


def _runs(problem) -> str:
    runs = runs_of(problem)
    terms = " + ".join(f"{value:g}" for value in runs)
    mean = statistics.fmean(runs)
    return (
        f"**Repeats.** n = {len(runs)}; mean = ({terms}) / {len(runs)} = {mean:.4g}; the standard deviation "
        f"s is the root of the sum of (value − mean)² over n − 1, which gives {statistics.stdev(runs):.3g}."
    )


def _standard(problem) -> str:
    m = problem.measured
    scarce, amount_there = limiting(problem)
    return (
        f"**Standard.** {in_unicode(scarce)} runs out first, so nearly all of it becomes "
        f"{in_unicode(problem.observed)}: c = {amount(amount_there)} mol/L. ε = (A − blank) / (c l) = "
        f"({m['absorbance']:g} − {m['blank']:g}) / ({amount(amount_there)} × {m['path']:g})."
    )


def ice_markdown(problem) -> str:
    """The ICE table of the first reaction as a markdown table, mol/L."""
    names = list(problem.reaction.quotient_species)
    changes = {name: float(problem.reaction.coefficients[name]) * problem.extent for name in names}
    rows = {
        "Initial": {name: problem.mixed.get(name, 0.0) for name in names},
        "Change": changes,
        "Equilibrium": {name: problem.equilibrium[name] for name in names},
    }
    lines = [
        "| mol/L | " + " | ".join(in_unicode(name) for name in names) + " |",
        "|---|" + "---|" * len(names),
    ]
    for label, row in rows.items():
        cells = [("+" if label == "Change" and row[name] > 0 else "") + amount(row[name]) for name in names]
        lines.append(f"| {label} | " + " | ".join(cells) + " |")
    return "\n".join(lines)


def _disturbance(problem) -> str:
    d = problem.disturbance
    lines = [f"**The change.** {in_print(d.explanation_unicode)}"]
    bound = tied_up(problem, least=_TELLING)
    if bound and len(problem.reactions) > 1:
        lines.append(_competitor(problem, bound))
    if problem.observed and problem.reaction.basis == "c":
        theirs = amount(problem.reaction.quotient(problem.at_once))
        lines.append(_ROUNDED if theirs != amount(d.Q) else "")
    lines.append(_before_after(problem))
    return "\n\n".join(line for line in lines if line)


def _competitor(problem, bound: str) -> str:
    """Name what took the reactant away: the other reaction that holds it and gained most."""
    at_once, after = problem.disturbance.at_once, problem.disturbance.after
    mine = problem.reaction.coefficients
    takers = {}
    for reaction in problem.reactions[1:]:
        if bound not in reaction.coefficients:
            continue
        for name in reaction.coefficients:
            if name not in mine and name in after:
                takers[name] = after.amounts.get(name, 0.0) - at_once.amounts.get(name, 0.0)
    gained = max(takers, key=takers.get, default=None)
    if gained is None or takers[gained] <= 0:
        return f"Another equilibrium takes {in_unicode(bound)} away."
    return f"A competing equilibrium takes {in_unicode(bound)} away, as {in_unicode(gained)}."


def _before_after(problem) -> str:
    names = list(problem.reaction.quotient_species)
    lines = [
        "| mol/L | " + " | ".join(in_unicode(name) for name in names) + " |",
        "|---|" + "---|" * len(names),
    ]
    for label, row in (("Before", problem.before), ("At once", problem.at_once), ("After", problem.after)):
        lines.append(f"| {label} | " + " | ".join(amount(row.get(name, 0.0)) for name in names) + " |")
    return "\n".join(lines)


def _answers(question, outcome):
    """One line for each part that has a right answer."""
    from eqlib.chem.reactions import Reaction

    lines = []
    for part in question.parts:
        value = outcome.expected.get(part.id)
        if value is None or part.ask == "ice":
            continue
        if part.kind == "choice":
            said = dict(part.options).get(value, value)
        elif part.kind == "number":
            shown = amount(value) if part.quantity != "n" else f"{value:g}"
            said = f"{shown} {pretty_unit(part.unit)}".strip()
            step = last_step(part, outcome.problem)
            if step:
                lines.append(f"- {part.label.rstrip('?:. ')} = {step} = **{said}**")
                continue
        elif part.ask == "equation":
            said = Reaction(value).unicode.replace("⇌", "→")
        elif part.ask == "expression":
            said = with_unicode(value, outcome.problem.reaction)
        else:
            said = ", ".join(value) if isinstance(value, list) else str(value)
        lines.append(f"- {part.label.rstrip('?:. ')}: **{said}**")
    return ["**So:**\n" + "\n".join(lines)] if lines else []
