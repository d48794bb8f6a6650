"""Two panels without marks for Q beside K: any mixture on one line, and more nitrogen at constant
pressure.
"""

from __future__ import annotations

from functools import lru_cache

from eqlib.assess.asks.sentences import WAY
from eqlib.chem.catalogue import system
from eqlib.chem.disturb import disturb
from eqlib.chem.mixture import Mixture
from eqlib.chem.reactions import Reaction
from eqlib.chem.stress import Stress
from eqlib.lab.curves import QuotientLine
from eqlib.notebook.explorer import Slider, explore
from eqlib.writing import number, with_figures

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


def _line(K: float, label: str, Q: float, span: tuple[float, float], said: str) -> str:
    """Q and K on a line that stays the same for every Q."""
    line = QuotientLine(K, [(label, Q)], 620)
    line.low, line.high = span
    return line.svg("Q beside K", said)
