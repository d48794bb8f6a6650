"""The practical on paper and in the panels: the dilution table, the line of the standards, dots along a
scale of Kc.
"""

from __future__ import annotations

from collections.abc import Sequence
from html import escape
from statistics import median

from eqlib.lab.drawing import svg
from eqlib.lab.practical.analysis import TubeByTube
from eqlib.lab.practical.groups import Group
from eqlib.lab.practical.plan import Plan, ionic_strength
from eqlib.writing import page

CHECK = (
    "Acid, iron and thiocyanate: gloves, eye protection, the iron/thiocyanate bottle; "
    "check your supplier's safety data sheet and local rules."
)


def plan_words(made: Plan) -> str:
    """What to expect, in a few sentences."""
    sd, K = made.relative_sd, made.bench.K
    helps = made.advice[0][:1].upper() + made.advice[0][1:]
    return (
        f"K near {K:.0f} would come out to about ±{sd * K:.0f} (one standard deviation, {sd:.1%}); "
        f"tube {made.limits} limits it most. {helps}. At least {made.converted:.0%} of a standard's "
        f"thiocyanate is converted; taken as all, K would read {made.if_ignored:.0f}. "
        f"Read within {made.minutes:.0f} minutes of mixing, each tube equally long after it. With "
        f"{made.bench.acid:.2f} M nitric acid throughout the ionic strength is about "
        f"{ionic_strength(made.bench, 'test'):.2f} mol/L in a test and "
        f"{ionic_strength(made.bench, 'standard'):.1f} in a standard: report it with K."
    )


def plan_table(made: Plan) -> str:
    """The dilution table, to print and take to the bench."""
    rows = "".join(
        f"<tr><th scope=row>{escape(('again ' if r.tube.role == 'repeat' else '') + r.tube.label)}</th>"
        f"<td>{r.metal_mL:.2f}</td><td>{r.ligand_mL:.2f}</td><td>{r.water_mL:.2f}</td><td>{r.tube.absorbance:.2f}</td></tr>"
        for r in made.rows
    )
    b = made.bench
    return (
        "<table><thead><tr><th scope=col>tube</th><th scope=col>iron(III) / mL</th><th "
        "scope=col>thiocyanate / mL</th>"
        "<th scope=col>acid / mL</th><th scope=col>A, about</th></tr></thead>"
        f"<tbody>{rows}</tbody></table><p class=soft>S: {1000 * b.metal_standard:g} mM iron(III) and "
        f"{1000 * b.ligand_standard:g} mM "
        f"thiocyanate. T: {1000 * b.metal_test:g} mM and {1000 * b.ligand_test:g} mM. {escape(CHECK)}</p>"
    )


def plan_text(made: Plan) -> str:
    """The same for a terminal."""
    head = ("tube", "iron/mL", "SCN/mL", "acid/mL", "A about")
    lines = ["  ".join(f"{word:>8}" for word in head)]
    for r in made.rows:
        name = ("again " if r.tube.role == "repeat" else "") + r.tube.label
        cells = (f"{v:.2f}" for v in (r.metal_mL, r.ligand_mL, r.water_mL, r.tube.absorbance))
        lines.append("  ".join(f"{word:>8}" for word in (name, *cells)))
    needs = "; ".join(f"{name} {mL:.0f} mL" for name, mL in made.needs_mL)
    told = [plan_words(made), *made.advice[1:], f"Stocks for all groups, a fifth to spare: {needs}.", CHECK]
    return "\n".join([*lines, "", *told]) + "\n"


def plan_page(made: Plan) -> str:
    """The same as a page to print."""
    body = f"<h1>The Kc practical: tubes</h1>{plan_table(made)}<p>{escape(plan_words(made))}</p>"
    return page("The Kc practical: tubes", body)


def class_text(groups: Sequence[Group]) -> str:
    """A line for each group, and the class's middle value."""
    wide = max(len(g.name) for g in groups)
    lines = [f"{g.name:<{wide}}  {_value(g):<22}{'apart  ' if g.apart else ''}{g.likely}" for g in groups]
    return "\n".join([*(line.rstrip() for line in lines), class_words(groups)]) + "\n"


def class_words(groups: Sequence[Group]) -> str:
    """The class in one sentence."""
    values = [g.K for g in groups if g.K is not None]
    if not values:
        return "No table gives a Kc."
    return (
        f"{len(values)} of {len(groups)} tables give a Kc, from {min(values):.0f} to {max(values):.0f}, "
        f"half of them under {median(values):.0f}."
    )


def class_page(groups: Sequence[Group]) -> str:
    """The class as a page: dots along one scale, a row for each group."""
    rows = "".join(
        f"<tr><th scope=row>{escape(g.name)}</th><td>{escape(_value(g))}</td><td>{escape(g.likely)}</td></tr>"
        for g in groups
    )
    shown = [(g.name, [g.K]) for g in groups if g.K is not None]
    picture = dots(shown, class_words(groups), "Kc of each group") if shown else ""
    head = "<tr><th scope=col>group</th><th scope=col>Kc, L/mol</th><th scope=col>ask about</th></tr>"
    return page(
        "Kc of the class",
        f"<h1>Kc of the class</h1>{picture}<p>{escape(class_words(groups))}</p><table>{head}{rows}</table>",
    )


def _value(group: Group) -> str:
    return "no Kc" if group.K is None else f"{group.K:.0f} ({group.low:.0f} to {group.high:.0f})"


def line_picture(found: TubeByTube, said: str) -> str:
    """Absorbance against concentration with the line, and the residuals under it, as SVG."""
    line = found.line
    wide, high, low = 380.0, 190.0, 70.0
    left, top = 52.0, 12.0
    xs = [1e6 * c for c in line.concentrations]
    most_x, most_y = max(xs) * 1.08 or 1.0, max(line.absorbances) * 1.12
    off = max((abs(r) for r in line.residuals), default=0.0) or 1e-4

    def at(x: float, y: float) -> tuple[float, float]:
        return left + x / most_x * wide, top + high - y / most_y * high

    base = top + high + 34 + low / 2
    body = [
        _path(f"M{left} {top} V{top + high} H{left + wide}"),
        _path(f"M{left} {base - low / 2} V{base + low / 2} M{left} {base} H{left + wide}"),
    ]
    ends = [at(x, max(line.intercept + line.slope * x * 1e-6, 0.0)) for x in (0.0, most_x / 1.08)]
    body.append(_path(f"M{ends[0][0]:.1f} {ends[0][1]:.1f} L{ends[1][0]:.1f} {ends[1][1]:.1f}", 1.5))
    for x, a, r in zip(xs, line.absorbances, line.residuals, strict=True):
        px, py = at(x, max(a, 0.0))
        rx, ry = px, base - r / off * low / 2.4
        body += [_ring(px, py, 4), _path(f"M{rx:.1f} {base} V{ry:.1f}"), _ring(rx, ry, 2.5)]
    for share in (0.5, 1.0):
        x, y = at(most_x / 1.08 * share, most_y / 1.12 * share)
        body.append(_word(x, top + high + 16, f"{most_x / 1.08 * share:.0f}", "middle"))
        body.append(_word(left - 6, y + 4, f"{most_y / 1.12 * share:.2f}", "end"))
    body.append(_word(left + wide, top + high + 30, "[FeSCN²⁺] in µmol/L", "end"))
    body.append(_word(left + 6, top + 10, "A", "start"))
    body.append(_word(left + 6, base - low / 2 + 2, f"residuals, up to {off:.4f}", "start"))
    return svg("".join(body), left + wide + 20, base + low / 2 + 8, "The line of the standards", said)


def _path(d: str, width: float = 1.0) -> str:
    return f'<path d="{d}" stroke="currentColor" stroke-width="{width:g}" fill="none"/>'


def _ring(x: float, y: float, r: float) -> str:
    return (
        f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{r:g}" fill="none" stroke="currentColor" stroke-width="1.6"/>'
    )


def _word(x: float, y: float, words: str, anchor: str) -> str:
    return f'<text x="{x:.1f}" y="{y:.1f}" font-size="12.5" text-anchor="{anchor}">{escape(words)}</text>'


def dots(groups: Sequence[tuple[str, Sequence[float]]], said: str, title: str = "Kc of each tube") -> str:
    """Rows of dots along one scale of Kc, a bar at each mean: for one student's tubes, or a class's
    benches."""
    everything = [v for _, values in groups for v in values]
    low, high = 0.9 * min(everything), 1.1 * max(everything)
    body, y = [], 22.0
    for name, values in groups:
        body.append(_word(104, y + 4, name, "end"))
        for v in values:
            body.append(_ring(112 + 420 * (v - low) / (high - low), y, 5))
        mean = sum(values) / len(values)
        body.append(_path(f"M{112 + 420 * (mean - low) / (high - low):.1f} {y - 11:g} v22", 2.5))
        y += 36
    body.append(f'<path d="M112 {y - 8:g} H532" stroke="currentColor"/>')
    for share in (0.0, 0.5, 1.0):
        body.append(_word(112 + 420 * share, y + 8, f"{low + share * (high - low):.0f}", "middle"))
    return svg("".join(body), 560, y + 16, title, said)
