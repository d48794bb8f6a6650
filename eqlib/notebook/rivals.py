"""Two pictures of the notebook on competing equilibria: where the ions are kept, and a curve guessed first.

``kept_where`` and ``guessed`` are drawn by ``explore`` in the notebook's cells; nothing of them is marked.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import lru_cache
from typing import Any

import numpy as np

from eqlib.chem.catalogue import system
from eqlib.chem.mixture import Mixture
from eqlib.chem.salts import dissolved
from eqlib.chem.state import State
from eqlib.chem.sweeps import sweep
from eqlib.lab.curves import bars
from eqlib.lab.drawing import shelf, svg, vessel_of

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
