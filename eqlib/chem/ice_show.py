"""An ICE table in words, plain text and HTML."""

from __future__ import annotations

import math
from collections.abc import Mapping
from html import escape
from typing import TYPE_CHECKING

from eqlib.chem import ice_exact
from eqlib.chem.species import species

if TYPE_CHECKING:
    from eqlib.chem.ice import IceTable


def number(value: float) -> str:
    """Four significant figures."""
    return "0" if value == 0 else f"{value:.4g}"


def signed(value: float) -> str:
    """With its sign: a change."""
    return "0" if value == 0 else f"{value:+.4g}".replace("-", "−")


def why_root(table: IceTable) -> str:
    """Which root is meant, and why the others cannot be."""
    low, high = table.limits
    if low == high == 0:
        missing = " and ".join(name for name, value in table.initial.items() if value == 0)
        return f"Nothing can react: {missing} start at 0, so the extent is 0."
    span = f"between {number(low)} and {number(high)}"
    if math.isinf(high):
        span = f"above {number(low)}"
    if math.isinf(low):
        span = f"below {number(high)}"
    if table.used_up and table.extent == 0:
        return f"There is no {table.used_up}, and Q asks for more of it to react, so nothing changes: x = 0."
    if table.used_up:
        return (
            f"{table.used_up} is used up at x = {number(table.extent)} before Q reaches K, "
            "so the extent is set by its amount and not by K."
        )
    if table.extent == 0:
        return f"Q already equals K, so x = 0, which lies {span} as it must."
    degree = ice_exact.degree(table._powers)
    if degree > ice_exact.HIGHEST_DEGREE:
        return (
            f"x = {number(table.extent)} is the only value {span} that satisfies K (degree {degree}, solved "
            "numerically): there Q rises steadily and no amount is negative."
        )
    others = [root for root in table.exact if root is not table.exact_extent]
    if not others:
        return (
            f"x = {number(table.extent)} is the only real root; it lies {span}, where no amount is negative."
        )
    listed = ", ".join(_beside(float(root), table) for root in others)
    return (
        f"x = {number(table.extent)} lies {span}, where no amount is negative; the other "
        f"{'root' if len(others) == 1 else 'roots'} ({listed}) would make an amount negative."
    )


def _beside(root: float, table: IceTable) -> str:
    """A rejected root; with more figures where four would make it look like a limit."""
    same = {number(end) for end in (*table.limits, table.extent) if end}
    return f"{root:.12g}" if number(root) in same else number(root)


def small_x_words(shares: Mapping[str, float], table: IceTable) -> str:
    """What was neglected, and how large it is."""
    if not shares:
        return "Nothing is neglected: every species in K starts at 0, so the shortcut is exact."
    worst = max(shares, key=shares.get)
    listed = " and ".join(shares)
    verdict = "within" if shares[worst] <= 0.05 else "more than"
    return (
        f"x is neglected beside the starting amount of {listed}; it is {100 * shares[worst]:.3g} % of "
        f"{worst}, "
        f"{verdict} the 5 % allowed."
    )


def _unit(table: IceTable, name: str) -> str:
    return "bar" if table.reaction.basis == "p" and species(name).phase == "g" else "mol/L"


def _rows(table: IceTable) -> list[tuple[str, list[str]]]:
    return [
        ("Initial", [number(value) for value in table.initial.values()]),
        ("Change", [signed(value) for value in table.change.values()]),
        ("Equilibrium", [number(value) for value in table.equilibrium.values()]),
    ]


def text(table: IceTable) -> str:
    """Columns lined up for a terminal."""
    heads = ["", *(f"{name} / {_unit(table, name)}" for name in table.initial)]
    rows = [heads, *([label, *cells] for label, cells in _rows(table))]
    widths = [max(len(row[i]) for row in rows) for i in range(len(heads))]
    lines = [f"{table.reaction}   K = {number(table.K)}"]
    for row in rows:
        first, *rest = row
        cells = [cell.rjust(width) for cell, width in zip(rest, widths[1:], strict=True)]
        lines.append("  ".join([first.ljust(widths[0]), *cells]).rstrip())
    if table.in_plenty:
        lines.append(f"In plenty, so left out: {', '.join(table.in_plenty)}")
    return "\n".join(lines)


def html(table: IceTable) -> str:
    """An accessible table: caption, column and row headers with their scope."""
    caption = f"{escape(table.reaction.unicode)}, K = {number(table.K)}"
    if table.in_plenty:
        caption += (
            f" (in plenty, so left out: {escape(', '.join(species(n).unicode for n in table.in_plenty))})"
        )
    heads = "".join(
        f'<th scope="col">{escape(species(name).unicode)}<br>{_unit(table, name)}</th>'
        for name in table.initial
    )
    body = "".join(
        f'<tr><th scope="row">{label}</th>' + "".join(f"<td>{cell}</td>" for cell in cells) + "</tr>"
        for label, cells in _rows(table)
    )
    return (
        f'<table><caption>{caption}</caption><thead><tr><th scope="col">Amount</th>{heads}</tr></thead>'
        f"<tbody>{body}</tbody></table>"
    )
