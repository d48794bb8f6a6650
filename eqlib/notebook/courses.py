"""Two panels without marks for time: both rates of a reaction, disturbed when one likes, and a labelled ion.

Rate constants are illustrative: they are chosen so that the way to equilibrium takes some seconds on the
page.
"""

from __future__ import annotations

import random
from collections.abc import Mapping
from functools import lru_cache

import numpy as np

from eqlib.chem.catalogue import system
from eqlib.chem.kinetics import TimeCourse, time_course
from eqlib.chem.mixture import Mixture
from eqlib.chem.stress import Stress
from eqlib.lab.curves import curves, numbers
from eqlib.lab.drawing import svg
from eqlib.notebook.explorer import Choose, Slider, explore
from eqlib.writing import number

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


# -- a labelled ion --------------------

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
