"""What the notebooks on rates, on Q, on the table of three rows and on rivals draw for their own sliders.

Functions without arguments are whole panels; those that take ``at`` are drawn by ``explore`` in a cell. Nothing
of it is marked or recorded.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Mapping
from functools import lru_cache
from html import escape
from typing import Any

import numpy as np

from eqlib.assess.asks.sentences import WAY
from eqlib.chem.catalogue import system
from eqlib.chem.disturb import disturb
from eqlib.chem.ice import IceTable, SmallX, ice
from eqlib.chem.kinetics import TimeCourse, time_course
from eqlib.chem.mixture import Mixture
from eqlib.chem.reactions import Reaction
from eqlib.chem.salts import dissolved
from eqlib.chem.state import State
from eqlib.chem.stress import Stress
from eqlib.chem.sweeps import sweep
from eqlib.lab.curves import QuotientLine, bars, curves, numbers
from eqlib.lab.drawing import shelf, svg, vessel_of
from eqlib.notebook.explorer import Choose, Slider
from eqlib.notebook.lesson import explore
from eqlib.writing import number, with_figures

# -- 01: both rates of a reaction, disturbed when one likes --------------------

#: How far the clock runs (s), and the illustrative forward rate constant (L/mol/s).
UNTIL, FORWARD = 20.0, 60.0
STARTS = {
    "the reactants alone": {"Fe^3+": 2.5e-3, "SCN^-": 1.0e-3},
    "the product alone": {"Fe^3+": 1.5e-3, "FeSCN^2+": 1.0e-3},
    "half and half": {"Fe^3+": 2.0e-3, "SCN^-": 0.5e-3, "FeSCN^2+": 0.5e-3},
}
CHANGES = {
    "nothing": "",
    "grains of KSCN": "When the grains went in",
    "as much water again": "When the water went in",
    "an (imagined) catalyst": "When the catalyst went in",
}


def both_rates() -> None:
    """The panel: where it starts from, what is done and when; concentrations and both rates along time."""
    explore(
        lambda at: rates_at(at["start"], at["change"], at["when"]),
        Choose("start", list(STARTS), "Start from"),
        Choose("change", list(CHANGES), "Then add"),
        Slider("when", 2, 16, start=10, step=1, words="at this moment", unit="s"),
        title="Two rates",
        after=("approach", "other-side"),
    )


@lru_cache(maxsize=256)
def rates_at(start: str, change: str, when: float) -> tuple[str, str]:
    """(picture, one sentence) of Fe³⁺ + SCN⁻ ⇌ FeSCN²⁺ from ``start``, with ``change`` after ``when`` s."""
    done = {
        "grains of KSCN": Stress.add_solid("KSCN(s)", 1.5e-6),
        "as much water again": Stress.dilute(0.002),
        "an (imagined) catalyst": Stress.catalyse(),
    }.get(change)
    reaction = system("iron-thiocyanate").reactions[0]
    mixture = Mixture(STARTS[start], reactions=(reaction,), volume=0.002)
    stresses = [(float(when), done)] if done else []
    course = time_course(mixture, UNTIL, stresses, rates=FORWARD, points=120)
    events = [(float(when), change.removeprefix("an (imagined) "))] if done else []
    shown = {"Fe³⁺": "Fe^3+", "SCN⁻": "SCN^-", "FeSCN²⁺": "FeSCN^2+"}
    amounts = {name: 1e3 * course[key] for name, key in shown.items()}
    rates = {"forward": 1e3 * course.forward[0], "reverse": 1e3 * course.reverse[0]}
    said = _told(course, rates, CHANGES[change])
    both = (
        curves(course.t, amounts, "time / s", "mmol/L", "Concentrations against time", said, events)
        + curves(course.t, rates, "time / s", "mmol/L per second", "Both rates against time", said, events)
        + numbers(course.t, rates, "time / s", "rates in mmol/L per second")
    )
    return both, said


def _told(course: TimeCourse, rates: Mapping[str, np.ndarray], moment: str) -> str:
    """What the two rates do, in one or two sentences."""
    first, last = {k: v[0] for k, v in rates.items()}, {k: v[-1] for k, v in rates.items()}
    text = (
        f"At the start: forward {_rate(first['forward'])}, reverse {_rate(first['reverse'])}. "
        f"After {UNTIL:g} s: forward {_rate(last['forward'])}, reverse {_rate(last['reverse'])} "
        f"mmol/L per second."
    )
    if not moment:
        return text
    after = next(i for i in range(1, len(course.t)) if course.t[i] == course.t[i - 1])
    jumps = ", ".join(f"{k} {_rate(v[after - 1])} → {_rate(v[after])}" for k, v in rates.items())
    return f"{text} {moment}: {jumps}."


def _rate(value: float) -> str:
    return "0" if value < 5e-4 else f"{value:.3f}"


# -- 01: a labelled ion --------------------

SOLID, DISSOLVED, LABELLED, PER_MINUTE = 60, 20, 12, 2


def labelled_ions() -> None:
    """The panel: minutes since a labelled grain went in; where the labelled and the other silver is."""
    explore(
        lambda at: ions_at(int(at["minutes"])),
        Slider("minutes", 0, 60, start=0, step=1, words="Minutes since the grain went in", unit="min"),
        title="Follow the label",
        after=("label",),
    )


@lru_cache(maxsize=64)
def ions_at(minutes: int) -> tuple[str, str]:
    """(picture, one sentence). Each minute PER_MINUTE ions, taken at random, dissolve and as many are laid
    down (always the same chances, so that the panel repeats itself). True marks a labelled one.
    """
    chance = random.Random(49)
    solid = [i < LABELLED for i in range(SOLID)]
    solution = [False] * DISSOLVED
    for _ in range(minutes * PER_MINUTE):
        out, back = chance.randrange(SOLID), chance.randrange(DISSOLVED)
        solid[out], solution[back] = solution[back], solid[out]
    moved = minutes * PER_MINUTE
    said = (
        f"After {number(minutes)} min: {DISSOLVED} silver ions in the solution, {sum(solution)} of "
        f"them labelled; {SOLID} in the "
        f"solid, {sum(solid)} labelled. So far {moved} have dissolved and {moved} have been laid down."
    )
    return _crowd(solution, solid, said), said


def _crowd(solution: list[bool], solid: list[bool], said: str) -> str:
    """Silver ions as circles: full ones carry the label."""
    body = ['<path d="M10 6 V214 H430 V6" fill="none" stroke="currentColor" stroke-width="2"/>']
    body += [
        _dot(34 + 42 * (i % 10), 34 + 44 * (i // 10) + 7 * (i % 3), lab) for i, lab in enumerate(solution)
    ]
    body += [_dot(26 + 20 * (i % 20), 146 + 24 * (i // 20), lab) for i, lab in enumerate(solid)]
    body.append('<path d="M12 132 H428" stroke="currentColor" stroke-dasharray="4 4"/>')
    for y, words in ((60, "in solution"), (176, "in the solid")):
        body.append(f'<text x="440" y="{y}" font-size="13">{words}</text>')
    return svg("".join(body), 540, 222, "Silver ions in solution and in the solid", said)


def _dot(x: float, y: float, labelled: bool) -> str:
    fill = "currentColor" if labelled else "none"
    return f'<circle cx="{x}" cy="{y}" r="8" fill="{fill}" stroke="currentColor" stroke-width="1.6"/>'


# -- 02: Q beside K --------------------

#: Kc of N2 + 3 H2 = 2 NH3 near 400 °C, L²/mol²: the usual textbook value (from memory); T in K, pressure in
#: bar.
AMMONIA, HOT, PRESSURE = 0.50, 673.15, 100.0
MORE = 0.1  # mol of nitrogen let in for each mol of feed


def quotient_now() -> None:
    """The panel: three concentrations; Q of the iron and thiocyanate reaction beside K, and the way
    it goes.
    """
    names = {"Fe^3+": "[Fe³⁺]", "SCN^-": "[SCN⁻]", "FeSCN^2+": "[FeSCN²⁺]"}
    sliders = [Slider(k, 0.1, 4.0, start=1.0, step=0.1, words=v, unit="mmol/L") for k, v in names.items()]
    explore(lambda at: now(tuple(at[k] for k in names)), *sliders, title="Q now")


def now(millimolar: tuple[float, float, float]) -> tuple[str, str]:
    """(line, one sentence) for [Fe³⁺], [SCN⁻] and [FeSCN²⁺] in mmol/L."""
    reaction = system("iron-thiocyanate").reactions[0]
    there = dict(zip(("Fe^3+", "SCN^-", "FeSCN^2+"), (1e-3 * c for c in millimolar), strict=True))
    Q, K = reaction.quotient(there), reaction.require_K()
    said = f"Q = {with_figures(Q)} and K = {with_figures(K)}: it goes {WAY[reaction.shift(there)]}."
    return _line(K, "now", Q, (0.0, 5.0), said), said


def more_nitrogen() -> None:
    """The panel: the share of nitrogen in the feed; which way it goes when more is let in at
    constant pressure.
    """
    explore(
        lambda at: let_in(float(at["share"])),
        Slider("share", 10, 95, start=30, step=1, words="Nitrogen in the feed", unit="%"),
        title="More nitrogen, the pressure held",
        after=("nitrogen-little", "nitrogen-much"),
    )


@lru_cache(maxsize=128)
def let_in(share: float) -> tuple[str, str]:
    """(line, two sentences): MORE nitrogen let into the equilibrium of a feed with ``share`` % of it."""
    reaction = Reaction("N2(g) + 3 H2(g) <=> 2 NH3(g)", K=AMMONIA, T=HOT)
    feed = {"N2(g)": share / 100, "H2(g)": 1 - share / 100}
    mixture = Mixture(feed, reactions=(reaction,), volume=1.0, T=HOT, pressure=PRESSURE)
    d = disturb(mixture, Stress.add("N2(g)", MORE))
    amounts, names = d.before.amounts, ("N2(g)", "H2(g)", "NH3(g)")
    part = amounts["N2(g)"] / sum(amounts.values())
    change = ", ".join(
        f"[{name}] × {with_figures(d.at_once[key] / d.before[key])}"
        for name, key in zip(("N₂", "H₂", "NH₃"), names, strict=True)
    )
    said = (
        f"At equilibrium {number(100 * part)} % of the gas is nitrogen. On letting in more: {change}. "
        f"So Q = {with_figures(d.Q)} beside K = {with_figures(d.K)}: it goes {WAY[d.direction]}."
    )
    return _line(d.K, "just let in", d.Q, (-0.95, 0.05), said), said


def _line(
    K: float, label: str, Q: float, span: tuple[float, float], said: str, title: str = "Q beside K"
) -> str:
    """Q and K on a line that stays the same for every Q."""
    line = QuotientLine(K, [(label, Q)], 620)
    line.low, line.high = span
    return line.svg(title, said)


# -- 03: the table of three rows --------------------

#: Bottles of the iron and thiocyanate table, mmol/L, and the volume everything is made up to, mL.
IRON, THIOCYANATE, MADE_UP = 5.00, 2.00, 10.00


def row_by_row() -> None:
    """The panel: two volumes and x; every cell says where its number comes from."""
    explore(
        lambda at: table_at(at["iron"], at["thiocyanate"], at["x"]),
        Slider("iron", 0.5, 5.0, start=3.0, step=0.5, words="Iron(III), 5.00 mM", unit="mL"),
        Slider("thiocyanate", 0.5, 5.0, start=3.0, step=0.5, words="Thiocyanate, 2.00 mM", unit="mL"),
        Slider("x", 0, 100, start=10, step=1, words="x, as a share of the limiting reactant", unit="%"),
        title="Find x by hand",
    )


def table_at(iron: float, thiocyanate: float, share: float) -> tuple[str, str]:
    """(table as HTML with the line of Q and K, one sentence). ``share``: x in % of what there could be."""
    reaction = system("iron-thiocyanate").reactions[0]
    fe, scn = IRON * iron / MADE_UP, THIOCYANATE * thiocyanate / MADE_UP
    x = min(fe, scn) * share / 100.0
    last = {"Fe^3+": fe - x, "SCN^-": scn - x, "FeSCN^2+": x}
    empty = last["Fe^3+"] <= 0 or last["SCN^-"] <= 0
    Q = float("inf") if empty else reaction.quotient({name: 1e-3 * c for name, c in last.items()})
    K = reaction.require_K()
    said = _verdict(Q, K, empty)
    line = _line(K, "last row", Q, (-0.5, 4.5), said, "The last row put into K")
    return _table(iron, thiocyanate, fe, scn, x) + line, said


def _verdict(Q: float, K: float, empty: bool) -> str:
    if empty:
        return (
            f"One reactant is down to nothing: below the line in K stands a zero, and no K is that "
            f"large. K is {number(K)}."
        )
    if abs(Q / K - 1) < 0.05:
        return (
            f"The last row gives {number(Q)}, and K is {number(K)}: this row is the equilibrium, "
            f"as near as the slider can come."
        )
    word = "too small" if Q < K else "too large"
    return f"The last row gives {number(Q)}, but K is {number(K)}: x is {word}."


def _table(iron: float, thiocyanate: float, fe: float, scn: float, x: float) -> str:
    """Three rows; under each number, in small type, where it comes from."""
    rows = [
        (
            "initial (mixed)",
            (with_figures(fe), f"{IRON:.2f} × {iron:.2f} / {MADE_UP:.2f}"),
            (with_figures(scn), f"{THIOCYANATE:.2f} × {thiocyanate:.2f} / {MADE_UP:.2f}"),
            ("0", "none yet"),
        ),
        (
            "change",
            (f"−{with_figures(x)}", "−x"),
            (f"−{with_figures(x)}", "−x"),
            (f"+{with_figures(x)}", "+x"),
        ),
        (
            "equilibrium?",
            (with_figures(fe - x), "first row − x"),
            (with_figures(scn - x), "first row − x"),
            (with_figures(x), "0 + x"),
        ),
    ]
    head = "".join(f'<th scope="col">{name}</th>' for name in ("mmol/L", "Fe³⁺", "SCN⁻", "FeSCN²⁺"))
    body = "".join(
        f'<tr><th scope="row">{escape(name)}</th>'
        + "".join(f"<td>{escape(value)}<br><small>{escape(source)}</small></td>" for value, source in cells)
        + "</tr>"
        for name, *cells in rows
    )
    return f"<table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>"


# -- 03: the short cut --------------------

_POWERS = [-6 + i / 20 for i in range(101)]


def short_cut() -> None:
    """The panel: the concentration of dissolved CO2; what leaving x out costs, with one and the same K."""
    explore(
        lambda at: short_cut_at(float(at["power"])),
        Slider("power", -6, -1, start=-1.5, step=0.1, words="log₁₀ of [CO₂] at the start"),
        title="CO₂ + H₂O ⇌ H⁺ + HCO₃⁻",
        after=("shortcut",),
    )


def short_cut_at(power: float) -> tuple[str, str]:
    """(curve of the short cut's error, two sentences) at 10**power mol/L of CO2."""
    table, short = _acid(10.0**power)
    said = (
        f"c = {with_figures(10.0**power, 2)} mol/L. The short cut gives x = {with_figures(short.extent)}, "
        f"which is {number(100 * short.largest_share, 2)} % of c: "
        f"{'allowed' if short.valid else 'not allowed'}. "
        f"The true x is {with_figures(table.extent)}, so the short cut is "
        f"{number(100 * short.error, 2)} % too high."
    )
    picture = curves(
        _POWERS,
        {"short cut": _errors()},
        "log₁₀ of [CO₂] at the start, with K the same everywhere",
        "error / %",
        "What leaving x out costs",
        said,
        [(power, "here")],
    )
    return picture, said


@lru_cache(maxsize=1)
def _errors() -> list[float]:
    """The error of the short cut along _POWERS, %."""
    return [100 * _acid(10.0**power)[1].error for power in _POWERS]


def _acid(c: float) -> tuple[IceTable, SmallX]:
    """The table of ``c`` mol/L of the acid, and its short cut."""
    table = ice(system("carbonic-acid").reactions[0], {"CO2": c})
    assert table.small_x is not None  # a weak acid has one
    return table, table.small_x


# -- 05: where the ions are kept, and a curve guessed first --------------------

#: What can be dripped in: words -> (salt, mol/L).
BOTTLES = {
    "silver nitrate, 0.10 M": ("AgNO3", 0.10),
    "disodium hydrogenphosphate, 0.10 M": ("Na2HPO4", 0.10),
    "sodium oxalate, 0.10 M": ("Na2C2O4", 0.10),
    "sodium hydroxide, 1.0 M": ("NaOH", 1.0),
    "potassium nitrate, 0.10 M": ("KNO3", 0.10),
    "water": ("", 0.0),
}
SHAPES: dict[str, Callable[[np.ndarray], np.ndarray]] = {
    "straight down to the bend, then nothing is left": lambda x: np.clip(1 - x, 0, 1),
    "ever more slowly, never quite to nothing": lambda x: np.exp(-x),
    "as far as half way, then no further": lambda x: np.clip(1 - 0.5 * x, 0.5, 1),
    "no change at all": lambda x: np.ones_like(x),
}


@lru_cache(maxsize=256)
def _well(bottle: str, millilitres: float) -> State:
    """The well of the recipe with so much from one bottle, at equilibrium."""
    start = system("iron-thiocyanate").mixture()
    salt, strength = BOTTLES[bottle]
    volume = start.volume + millilitres / 1000
    amounts = {name: c * start.volume for name, c in start.totals.items()}
    for name, c in dissolved({salt: strength}).items() if salt else ():
        amounts[name] = amounts.get(name, 0.0) + c * millilitres / 1000
    totals = {name: amount / volume for name, amount in amounts.items()}
    return Mixture(totals, reactions=start.reactions, volume=volume, T=start.T).equilibrate()


def kept_where(at: Mapping[str, Any]) -> tuple[str, str]:
    """Bars: how much of the iron and of the thiocyanate is free, orange, or held by what came from the bottle.

    ``at``: "bottle" (a key of BOTTLES) and "volume" in mL.
    """
    before, now = _well("water", 0.0), _well(at["bottle"], at["volume"])
    rows = [
        (f"{ion} {where}", {"before": kept(before), "now": kept(now)})
        for ion, places in (("iron", _IRON), ("SCN⁻", _THIOCYANATE))
        for where, kept in places
    ]
    told = (
        f"Of the thiocyanate {100 * now.amounts['SCN^-'] / 2.0e-6:.0f} % is free, and of the orange "
        f"{100 * now.amounts['FeSCN^2+'] / before.amounts['FeSCN^2+']:.0f} % is left."
    )
    wells = shelf(
        [vessel_of(before, "before"), "→", vessel_of(now, "now")],
        title="The well before and now",
        desc="The well as it was mixed, and with what was dripped in.",
    )
    return wells + bars(rows, unit="µmol", title="Where the ions are kept", desc=told), told


def _micromoles(*names: str) -> Callable[[State], float]:
    return lambda state: 1e6 * sum(state.amounts.get(name, 0.0) for name in names)


def _rest(total: float, *names: str) -> Callable[[State], float]:
    """Micromoles of what is in none of these species, of a well that holds ``total`` micromoles."""
    return lambda state: max(total - _micromoles(*names)(state), 0.0)


_ORANGE = ("FeSCN^2+", "Fe(SCN)2^+")
_IRON = (
    ("free", _micromoles("Fe^3+", "FeOH^2+")),
    ("orange", _micromoles(*_ORANGE)),
    ("held", _rest(5.0, "Fe^3+", "FeOH^2+", *_ORANGE)),
)
_THIOCYANATE = (
    ("free", _micromoles("SCN^-")),
    ("orange", lambda s: _micromoles("FeSCN^2+")(s) + 2 * _micromoles("Fe(SCN)2^+")(s)),
    ("held", _micromoles("AgSCN(s)")),
)


@lru_cache(maxsize=1)
def _run_in() -> tuple[np.ndarray, np.ndarray]:
    """Millilitres of 0.020 M silver nitrate, and the share of the orange that is left."""
    well = system("iron-thiocyanate-silver").mixture()
    path = sweep(well, "volume", np.linspace(0, 3e-4, 61), titrant={"AgNO3": 0.020})
    left = path.amount("FeSCN^2+")
    return 1000 * path.values, left / left[0]


def guessed(at: Mapping[str, Any]) -> tuple[str, str]:
    """The orange of the well while silver nitrate runs in: a guess, and what happens once that is switched on.

    ``at``: "shape" (a key of SHAPES), "bend" in mL and "show".
    """
    volumes, left = _run_in()
    guess = SHAPES[at["shape"]](volumes / at["bend"])
    lines = [("your guess", volumes, guess)]
    told = "Your guess. Switch on what happens when you are content with it."
    if at["show"]:
        lines.append(("computed", volumes, left))
        off = 100 * float(np.max(np.abs(guess - left)))
        told = f"Where they differ most, your guess is off by {off:.0f} % of the orange."
    return _curves(lines, "mL of 20 mM silver nitrate", "share of the orange that is left", told), told


def _curves(lines: list[tuple[str, np.ndarray, np.ndarray]], across: str, up: str, desc: str) -> str:
    """Curves over the same volumes; the first dashed, the others full, each with its name at its end."""
    most = max(float(xs[-1]) for _, xs, _ in lines)
    body = [
        '<path d="M60 20 V240 H520" fill="none" stroke="currentColor"/>',
        f'<text x="290" y="284" text-anchor="middle" font-size="13">{across}</text>',
        f'<text x="60" y="12" font-size="13">{up}</text>',
    ]
    for n in range(7):
        x = 60 + 460 * n / 6
        body.append(
            f'<text x="{x:.0f}" y="260" text-anchor="middle" font-size="12">{most * n / 6:.2f}</text>'
        )
    for y in (0, 0.5, 1):
        body.append(f'<text x="52" y="{244 - 220 * y:.0f}" text-anchor="end" font-size="12">{y:g}</text>')
    for i, (name, xs, ys) in enumerate(lines):
        points = " ".join(
            f"{60 + 460 * x / most:.1f},{240 - 220 * y:.1f}" for x, y in zip(xs, ys, strict=True)
        )
        dash = ' stroke-dasharray="7 5"' if i == 0 else ""
        body.append(
            f'<polyline points="{points}" fill="none" stroke="currentColor" stroke-width="2.2"{dash}/>'
        )
        body.append(
            f'<text x="330" y="{60 + 22 * i}" font-size="13">{"- - -" if i == 0 else "——"} {name}</text>'
        )
    return svg("".join(body), 560, 292, "The orange that is left", desc)
