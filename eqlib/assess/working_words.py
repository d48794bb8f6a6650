"""How names and numbers are printed in the working."""

from __future__ import annotations

import re

_RAISED = str.maketrans("-0123456789", "⁻⁰¹²³⁴⁵⁶⁷⁸⁹")


def in_unicode(name: str) -> str:
    """A species with real sub- and superscripts."""
    from eqlib.chem.species import species

    return species(name).unicode


def amount(value: float, figures: int = 3) -> str:
    """A number for reading: three figures (or more), powers of ten written out."""
    if value == 0:
        return "0"
    if 1000 <= abs(value) < 1e4:
        return f"{float(f'{value:.{figures}g}'):.0f}".replace("-", "−")
    if 1e-3 <= abs(value) < 1000:
        return f"{value:#.{figures}g}".rstrip(".").replace("-", "−")
    mantissa, exponent = f"{value:.{figures - 1}e}".split("e")
    return f"{mantissa.replace('-', '−')} × 10{str(int(exponent)).translate(_RAISED)}"


def with_unicode(text: str, reaction) -> str:
    """Species and powers of an expression with real sub- and superscripts."""
    for name in sorted(reaction.coefficients, key=len, reverse=True):
        for plain in (name, name.removesuffix("(g)")):
            printed = in_unicode(name).removesuffix("(g)") if plain != name else in_unicode(name)
            text = text.replace(f"[{plain}]", f"[{printed}]").replace(f"P({plain})", f"P({printed})")
    return re.sub(r"\^(\d+)", lambda found: found[1].translate(_RAISED), text)


def in_print(text: str) -> str:
    """Powers of ten as they are printed: 2.1e-06 becomes 2.1 × 10⁻⁶."""
    return re.sub(
        r"(\d(?:\.\d+)?)e([+-]?\d+)\b",
        lambda found: f"{found[1]} × 10{str(int(found[2])).translate(_RAISED)}",
        text,
    )
