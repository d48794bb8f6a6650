"""Two panels without marks for the table of three rows: where each number comes from, and a short cut.

In the first, x is moved by hand until the last row, put into K, gives K.
"""

from __future__ import annotations

from functools import lru_cache
from html import escape

from eqlib.chem.catalogue import system
from eqlib.chem.ice import IceTable, SmallX, ice
from eqlib.lab.curves import QuotientLine, curves
from eqlib.notebook.explorer import Slider, explore
from eqlib.writing import number, with_figures

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
    line = QuotientLine(K, [("last row", Q)], 620)
    line.low, line.high = -0.5, 4.5  # the same line for every x
    return _table(iron, thiocyanate, fe, scn, x) + line.svg("The last row put into K", said), said


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


# -- the short cut --------------------

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
