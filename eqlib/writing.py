"""The one way to print a number, a power of ten, an amount, a volume; to set a page; to write a file whole.

A formula is printed by its Species (``.unicode``, ``.latex``, ``.spoken``).
"""

from __future__ import annotations

import math
import os
import re
import tempfile
from collections.abc import Iterable
from decimal import ROUND_HALF_UP, Decimal
from html import escape
from pathlib import Path

_RAISED = str.maketrans("-+0123456789", "⁻⁺⁰¹²³⁴⁵⁶⁷⁸⁹")
_LOWERED = str.maketrans("⁻⁺⁰¹²³⁴⁵⁶⁷⁸⁹", "-+0123456789")
_POWER = re.compile(r"(\d+(?:\.\d+)?)e([+-]?\d+)\b")
_BRACED = re.compile(r"(?:\^|\*\*)\s*(?:\(\s*([+-]?\d+)\s*\)|\{\s*([+-]?\d+)\s*\})")
_UNIT_POWER = re.compile(r"(?:\^|\*\*|(?<=[A-Za-z]))([+-]?\d+)")


def raised(text: object) -> str:
    """Digits and signs as superscripts: ``"10" + raised(-5)`` is 10⁻⁵, and Fe³⁺ ends in ``raised("3+")``."""
    return str(text).translate(_RAISED)


def power_of_ten(mantissa: str, exponent: int | str) -> str:
    """1.4 × 10⁻⁴."""
    return f"{mantissa} × 10{raised(int(exponent))}"


def read_back(text: str) -> float:
    """The value of a number as it is printed here: "1.4 × 10⁻⁴", "−3.2"."""
    mantissa, _, power = text.replace("−", "-").partition(" × 10")
    return float(mantissa) * 10.0 ** int(power.translate(_LOWERED) or 0)


def in_powers(text: str) -> str:
    """Computer notation inside a sentence as it is printed: 2.1e-06 becomes 2.1 × 10⁻⁶."""
    return _POWER.sub(lambda found: power_of_ten(found[1], found[2]), text)


def pretty_unit(text: str) -> str:
    """A unit as it is printed: "M^-1 cm^-1" becomes M⁻¹ cm⁻¹."""
    bare = _BRACED.sub(r"^\1\2", text)
    return _UNIT_POWER.sub(lambda found: raised(found[1]), bare)


def _rounded(value: float, figures: int) -> tuple[str, str]:
    """Mantissa and power, rounded as on paper: a half goes up, whatever the thirteenth binary figure says."""
    exact = Decimal(f"{value:.{max(figures, 13) - 1}e}")
    kept = exact.quantize(Decimal(1).scaleb(exact.adjusted() - figures + 1), ROUND_HALF_UP)
    mantissa, power = f"{kept:.{figures - 1}e}".lower().split("e")
    return mantissa, power


def number(value: float, figures: int = 3) -> str:
    """Significant figures without empty zeros: 0.0123, 1470, 2.62 × 10⁻¹⁰."""
    if value == 0 or not math.isfinite(value):
        return f"{value:g}"
    mantissa, power = _rounded(value, figures)
    if -3 <= int(power) <= max(3, figures - 1):
        text = f"{float(f'{mantissa}e{power}'):.10f}".rstrip("0").rstrip(".")
    else:
        text = power_of_ten(mantissa.rstrip("0").rstrip(".") if "." in mantissa else mantissa, power)
    return text.replace("-", "−")


def with_figures(value: float, figures: int = 3) -> str:
    """Always this many significant figures, as in an answer: "140", "0.0473", "1.40 × 10⁻⁴".

    Whole numbers are written out if no figure is lost in doing so.
    """
    if value == 0 or not math.isfinite(value):
        return f"{value:g}"
    mantissa, power = _rounded(value, figures)
    exponent = int(power)
    if -4 < exponent < max(figures, 4):
        places = max(0, figures - 1 - exponent)
        return f"{float(f'{mantissa}e{exponent}'):.{places}f}".replace("-", "−")
    return power_of_ten(mantissa.replace("-", "−"), exponent)


def as_given(value: float, most: int = 9) -> str:
    """A number with no figure lost: three figures, or as many more (up to ``most``) as it has."""
    exact = (n for n in range(3, most) if math.isclose(float(f"{value:.{n - 1}e}"), value, rel_tol=1e-9))
    return with_figures(value, next(exact, most))


def as_written(value: Decimal) -> str:
    """A decimal of a question file as a reader expects it: "0.95", "140", "1.8e-10" -> "1.8 × 10⁻¹⁰"."""
    if value != 0 and not -5 < value.adjusted() < 6:
        mantissa, exponent = f"{value:e}".split("e")
        return power_of_ten(mantissa, exponent)
    return f"{value:f}"


def apart(first: float, second: float) -> tuple[str, str]:
    """Two different numbers with as many figures as it takes to tell them apart (three, at most nine)."""
    for figures in range(3, 9):
        pair = number(first, figures), number(second, figures)
        if pair[0] != pair[1]:
            return pair
    return number(first, 9), number(second, 9)


def adding_up(*terms: float, figures: int = 3) -> int | None:
    """The decimal place to which terms and their sum are written so that they add up as they stand there.

    The smallest has ``figures`` figures. None where one is too small beside the others to be seen in a sum.
    """
    sizes = [abs(value) for value in (*terms, math.fsum(terms)) if value]
    if not sizes or min(sizes) < 1e-4 * max(sizes):
        return None
    least = figures - 1 - math.floor(math.log10(min(sizes)))

    def adds_up(place: int) -> bool:
        gap = math.fsum(round(term, place) for term in terms) - round(math.fsum(terms), place)
        return abs(gap) < 0.5 * 10.0**-place

    return next((place for place in (least, least + 1, least + 2) if adds_up(place)), least)


def moles(value: float) -> str:
    """An amount with its unit: 0.25 mol, 5 mmol, 0.1 µmol."""
    size, unit = _amount_unit(value)
    return f"{number(value / size)} {unit}"


_AVOGADRO = 6.02214076e23
_BEYOND_NOTICE = 1e-6


def practically_none(amount: float, beside: float, in_moles: bool = False) -> bool:
    """Whether an amount is less than a millionth of what it stands beside; ``in_moles``: or than one ion."""
    return amount < _BEYOND_NOTICE * beside or (in_moles and amount * _AVOGADRO < 1)


def moles_change(start: float, end: float) -> str:
    """How an amount changes, in numbers that add up: "falls by 0.226 µmol, from 0.467 to 0.241 µmol"."""
    verb = "grows" if end > start else "falls"
    least, most = min(start, end), max(start, end)
    if practically_none(least, most, in_moles=True):
        if end > start:
            return f"grows from practically none to {moles(end)}"
        return f"falls from {moles(start)} to practically none"
    if least < 0.05 * most:  # a difference would only repeat the larger one
        whole = moles(start)
        value, unit = whole.rsplit(" ", 1)
        return f"{verb} from {value if moles(end).endswith(f' {unit}') else whole} to {moles(end)}"
    if most - least < 1e-3 * most:  # so many figures would be needed that nobody would read them
        return f"{verb} by only {moles(most - least)}, to {moles(end)}"
    size, unit = _amount_unit(most)
    power = ""
    if unit == "mol" and most < 1e-9:
        exponent = 3 * math.floor(math.log10(most) / 3)
        size, power = 10.0**exponent, f" × 10{raised(exponent)}"
    start, end = start / size, end / size
    fewest = max(0, 2 - math.floor(math.log10(abs(end - start))))
    places = next((n for n in (fewest, fewest + 1, fewest + 2) if _same_share(start, end, n)), fewest)
    start, end = round(start, places), round(end, places)
    texts = [f"{value:.{places}f}" for value in (abs(end - start), start, end)]
    by, first, second = ((t.rstrip("0").rstrip(".") if "." in t else t) + power for t in texts)
    return f"{verb} by {by} {unit}, from {first} to {second} {unit}"


def _same_share(start: float, end: float, places: int) -> bool:
    """Is the change of the rounded numbers the same share, to three figures, as that of the real ones?"""
    rounded = round(end, places) / round(start, places) if round(start, places) else math.inf
    return f"{rounded - 1:.2e}" == f"{end / start - 1:.2e}"


def _amount_unit(value: float) -> tuple[float, str]:
    if value >= 0.1 or value < 1e-10:
        return 1.0, "mol"
    return (1e-3, "mmol") if value >= 1e-4 else (1e-6, "µmol")


def volume(litres: float) -> str:
    """Litres from one litre on, millilitres below."""
    return f"{number(litres, 4)} L" if litres >= 1 else f"{number(litres * 1000, 4)} mL"


def volume_from_to(old: float, new: float) -> str:
    """Two volumes in one unit: from 500 to 200 mL."""
    if max(old, new) >= 1:
        return f"from {number(old, 4)} to {number(new, 4)} L"
    return f"from {number(old * 1000, 4)} to {number(new * 1000, 4)} mL"


def multiplied(factor: float, less: str = "dilutes") -> tuple[str, str]:
    """Verb and number for a change of volume: more than before as a factor, less as a part."""
    if factor > 1:
        return "multiplies", f"by {number(factor)}"
    return less, f"to {number(factor)} of what it was"


def as_share(start: float, end: float) -> str:
    """The change as a share, in the form that reads best."""
    if practically_none(start, end) or practically_none(end, start):
        return ""
    ratio = end / start
    if ratio > 3:
        return f" ({number(ratio)} times as much)"
    if ratio < 0.01:  # a percentage would read as if nothing were left
        return f" (to {number(ratio)} of what it was)"
    if abs(ratio - 1) < 1e-5:
        return ""
    return f" ({'+' if ratio > 1 else ''}{number(100 * (ratio - 1))} %)"


def in_one(told: Iterable[str]) -> str:
    """Sentences as one, with semicolons between them."""
    said = [words.removesuffix(".") for words in told if words]
    return "; ".join([*said[:1], *map(_lower, said[1:])]) + "." if said else ""


def _lower(words: str) -> str:
    """The first word small, where it is one: no formula, no Q."""
    return words[0].lower() + words[1:] if words.startswith(("At ", "The ", "No ", "This ")) else words


_STYLE = """
body{font:15px/1.5 system-ui,sans-serif;color:#1d2129;background:#fff;max-width:62em}
body{margin:2em auto;padding:0 1em}
table{border-collapse:collapse} td,th{padding:3px 12px 3px 0;text-align:left;vertical-align:top}
figure{display:inline-block;margin:.4em 1.2em .8em 0;vertical-align:top;max-width:100%} img{max-width:100%}
figcaption{max-width:19em;font-weight:600} .soft{color:#566170} h2{margin-top:1.6em}
@media print{figure,tr{break-inside:avoid}}
"""


def page(title: str, body: str) -> str:
    """A page to read or to print, from its body in HTML: it loads nothing and runs nothing."""
    nothing = "default-src 'none'; img-src data:; style-src 'unsafe-inline'"
    return (
        f'<!doctype html><html lang="en"><head><meta charset="utf-8"><title>{escape(title)}</title>'
        '<meta name="viewport" content="width=device-width">'
        f'<meta http-equiv="Content-Security-Policy" content="{nothing}">'
        f"<style>{_STYLE}</style></head><body><main>{body}</main></body></html>\n"
    )


def write_atomically(path: Path, text: str) -> None:
    """Replace a file whole, readable by its owner: whatever happens, the old or the new one is there.

    Raises OSError.
    """
    handle, spare = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}-", suffix=".part")
    try:
        with os.fdopen(handle, "w", encoding="utf-8", newline="") as stream:
            stream.write(text)
            stream.flush()
            os.fsync(stream.fileno())
        os.replace(spare, path)
    except BaseException:
        Path(spare).unlink(missing_ok=True)
        raise
