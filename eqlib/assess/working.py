"""The worked solution of a question, in markdown, from the student's own numbers. Every number is
computed.
"""

from __future__ import annotations

import statistics
from collections.abc import Iterable, Mapping
from dataclasses import replace

from eqlib.assess.asks import ASKS
from eqlib.assess.asks.base import in_unicode
from eqlib.assess.asks.data import runs_of
from eqlib.assess.asks.number import digits, limiting, over, quotient_step
from eqlib.assess.asks.reasons import tied_up
from eqlib.assess.asks.sentences import real_roots
from eqlib.assess.asks.typed import with_unicode
from eqlib.assess.question import Case, Question
from eqlib.assess.setting import read_amount
from eqlib.chem.thermo import R_J
from eqlib.writing import as_given, in_powers, with_figures

#: A competing equilibrium is named in the working when it takes at least this share of a reactant.
_TELLING = 0.2
#: Less than this share of what was mixed is no difference that three figures show.
_USED_UP = 1e-3
_ROUNDED = "The table goes on from the rounded reading, so its last figures can differ a little."


def worked(question: Question, case: Case) -> str:
    """The working of one student's copy of a question; what is not asked is left out."""
    pieces = [_reaction_line(case), _mixing(case)] if case.reactions else []
    if case.measured:
        pieces.append(_reading(case))
    of = towards_the_end(case)
    if of is not None and _asks(question, "K", "Q", "ice", "extent", "concentration", "true"):
        change = {name: float(nu) * (of.extent or 0.0) for name, nu in of.reaction.quotient_species.items()}
        rows = {"Initial": of.mixed, "Change": change, "Equilibrium": of.equilibrium}
        pieces += [_net(case, of), _from_K(of), _grid(of, rows), _constant(question, of)]
    if case.disturbance is not None:
        pieces.append(_disturbance(case))
    pieces.append(
        _listed(
            "**Rates.** Each rate goes with the concentrations on its own side of the arrow, and at "
            "equilibrium both are equal and above zero.",
            (ASKS[p.ask].because(p, case) for p in question.parts if p.ask in ("rate", "graph")),
        )
    )
    pieces.append(_listed("**So:**", (ASKS[part.ask].worked(part, case) for part in question.parts)))
    return "\n\n".join(piece for piece in pieces if piece)


def _listed(head: str, lines: Iterable[str]) -> str:
    """The lines that say something, each once, below their head; "" where none does."""
    items = [f"- {line}" for line in dict.fromkeys(lines) if line]
    return "\n".join([head, *items]) if items else ""


def _asks(question: Question, *names: str) -> bool:
    return any(part.quantity in names or (part.ask in names and part.ask != "K") for part in question.parts)


def _reaction_line(case: Case) -> str:
    reaction = case.reaction
    K = f", with {with_unicode(reaction.expression, reaction)}" if reaction.quotient_species else ""
    return f"**Reaction:** {reaction.unicode}{K}."


def _mixing(case: Case) -> str:
    poured, shown = [p for p in case.portions if p.volume], digits(case)
    total = as_given(1e3 * case.volume)
    if len(poured) < 2:
        return ""  # nothing is thinned
    lines = []
    for name in case.reaction.quotient_species:
        terms = " + ".join(
            f"{as_given(portion.concentrations[name])} × {as_given(1e3 * portion.volume)}/{total}"
            for portion in poured
            if portion.concentrations.get(name)
        )
        lines.append(terms and f"[{in_unicode(name)}] = {terms} = {shown(name, case.mixed[name])} mol/L")
    return _listed(f"**Mixing.** The volume is {total} mL in all. Before any reaction:", lines)


def towards_the_end(case: Case) -> Case | None:
    """The case with the one reaction whose x leads to the end: the first, or the net equation that is asked
    for; None where several decide.
    """
    if case.extent is not None:
        return case
    one = case.net or (case.reaction if len(case.reactions) > 1 else None)
    if one is None or not case.equilibrium:
        return None
    moved = [
        (case.equilibrium.get(name, 0.0) - case.mixed.get(name, 0.0)) / float(nu)
        for name, nu in one.quotient_species.items()
    ]
    if not moved or max(moved) - min(moved) > 1e-4 * max(map(abs, moved)):
        return None
    return replace(case, reactions=(one,), extent=max(moved, key=abs))


def _net(case: Case, of: Case) -> str:
    """K of the net equation, from the constants of the reactions that it is made of."""
    net = of.reaction
    if net == case.reaction:
        return ""
    times = case.times_in(net)
    constants = [(with_figures(r.require_K()), float(n)) for r, n in zip(case.reactions, times, strict=True)]
    return (
        f"**Together.** {net.unicode}, with {with_unicode(net.expression, net)} = "
        f"{over(constants)} = {with_figures(net.require_K())}."
    )


def _from_K(case: Case) -> str:
    """The equation in x, and which of its roots is meant; where no reading gives x."""
    names, shown = case.reaction.quotient_species, digits(case)
    if case.observed or not case.reaction.has_K or any(int(nu) != nu for nu in names.values()):
        return ""
    scarce = [n for n in names if case.equilibrium[n] < _USED_UP * case.mixed.get(n, 0.0)]
    if scarce:
        return _from_what_is_left(case, scarce[0])
    terms = [(_in_x(shown(n, case.mixed.get(n, 0.0)), float(nu)), float(nu)) for n, nu in names.items()]
    told = f"**x.** If x mol/L react, K = {over(terms)} = {with_figures(case.reaction.require_K())}."
    roots = real_roots(case)
    if len(roots) != 2:
        return told
    wrong = max(roots, key=lambda root: abs(root - (case.extent or 0.0)))
    gone = min(names, key=lambda n: case.mixed.get(n, 0.0) + float(names[n]) * wrong)
    both = " and ".join(with_figures(root) for root in roots)
    return f"{told} It has two roots, {both}; with {with_figures(wrong)}, [{bare(gone)}] would be below zero."


def _from_what_is_left(case: Case, scarce: str) -> str:
    """Where hardly anything of a species is left: K gives that little from what the others come to."""
    names, shown = case.reaction.quotient_species, digits(case)
    others = [(shown(n, case.equilibrium[n]), float(nu)) for n, nu in names.items() if n != scarce]
    K, power = with_figures(case.reaction.require_K()), float(names[scarce])
    if abs(power) != 1:
        return ""
    terms = [(K, power), *((text, -nu * power) for text, nu in others)]
    left = f"{over(terms)} = {shown(scarce, case.equilibrium[scarce])} mol/L"
    return (
        f"**x.** Nearly all {in_unicode(scarce)} is used up, which gives the rest of the last row. "
        f"What is left of it follows from K: [{bare(scarce)}] = {left}."
    )


def bare(name: str) -> str:
    """A gas inside square brackets: no (g)."""
    return in_unicode(name).removesuffix("(g)")


def _in_x(start: str, nu: float) -> str:
    """A place of the last row: "0.0170 − x", "2x"."""
    x = "x" if abs(nu) == 1 else f"{abs(nu):g}x"
    if start == "0":
        return x if nu > 0 else f"(−{x})"
    return f"({start} {'+' if nu > 0 else '−'} {x})"


def _constant(question: Question, case: Case) -> str:
    """K from the last row, where it is needed and not asked for by itself."""
    needed = case.observed and _asks(question, "Q") and not _asks(question, "K", "Kp")
    if not needed and "last_row" not in case.expected.values():
        return ""
    K = case.reaction.quotient(case.equilibrium)
    return f"**K**, from the last row: {quotient_step(case, case.equilibrium)} = {with_figures(K)}."


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
            f"R = {R_J:.5g} J/(mol K), K₁ = {with_figures(m['K1'])} at "
            f"{m['T1']:.2f} K and K₂ = {with_figures(m['K2'])} at {m['T2']:.2f} K."
        )
    if "absorbance" in m:
        A, blank = f"{m['absorbance']:g}", f"{m['blank']:g}"
        symbols, numbers = ("(A − blank)", f"({A} − {blank})") if m["blank"] else ("A", A)
        found = digits(case)(case.observed, read_amount(m))
        return (
            f"**Reading.** [{in_unicode(case.observed)}] = {symbols} / (ε l) = "
            f"{numbers} / ({m['epsilon']:g} × {m['path']:g}) = {found} mol/L."
        )
    return (
        f"**Reading.** [{in_unicode(case.observed)}] = {as_given(m['concentration'])} mol/L at equilibrium."
    )


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
        f"{in_unicode(case.observed)}: c = {with_figures(amount_there)} mol/L. ε = (A − blank) / (c l) = "
        f"({m['absorbance']:g} − {m['blank']:g}) / ({with_figures(amount_there)} × {m['path']:g})."
    )


def _grid(case: Case, rows: Mapping[str, Mapping[str, float]]) -> str:
    """Rows of concentrations as a markdown table; what grows in the row of changes has its sign."""
    names, shown = list(case.reaction.quotient_species), digits(case)
    lines = [
        "| mol/L | " + " | ".join(in_unicode(name) for name in names) + " |",
        "|---|" + "---|" * len(names),
    ]
    for label, row in rows.items():
        values = {name: row.get(name, 0.0) for name in names}
        cells = [("+" if label == "Change" and v > 0 else "") + shown(n, v) for n, v in values.items()]
        lines.append(f"| {label} | " + " | ".join(cells) + " |")
    return "\n".join(lines)


def _disturbance(case: Case) -> str:
    d = case.change
    lines = [f"**The change.** {in_powers(d.explanation_unicode)}", _competitor(case)]
    if case.observed and case.reaction.basis == "c":
        theirs = with_figures(case.reaction.quotient(case.at_once))
        lines.append(_ROUNDED if theirs != with_figures(d.Q) else "")
    lines.append(_grid(case, {"Before": case.before, "At once": case.at_once, "After": case.after}))
    return "\n\n".join(line for line in lines if line)


def _competitor(case: Case) -> str:
    """Name what took a reactant away: the other reaction that holds it and gained most."""
    bound = tied_up(case, least=_TELLING) if len(case.reactions) > 1 else None
    at_once, after = case.change.at_once, case.change.after
    takers = {
        name: after.amounts.get(name, 0.0) - at_once.amounts.get(name, 0.0)
        for reaction in case.reactions[1:]
        for name in reaction.coefficients
        if bound in reaction.coefficients and name not in case.reaction.coefficients and name in after
    }
    gained = max(takers, key=lambda name: takers[name], default=None)
    if bound is None or gained is None or takers[gained] <= 0:
        return ""
    return f"A competing equilibrium takes {in_unicode(bound)} away, as {in_unicode(gained)}."
