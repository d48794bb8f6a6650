"""Significant figures: counted from what was typed, compared with what the data can carry.

Rules as commonly taught (common practice, no source): leading zeros never count; zeros after a decimal mark
count; trailing zeros of a whole number may or may not, so both counts are kept and the doubt goes to the
student. In a logarithm (pH, pK) only the digits after the decimal mark count.
"""

import math
import re
from dataclasses import dataclass
from decimal import Decimal

from eqlib.chem.errors import EqlibError

_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,5})?")
_RAISED = str.maketrans("0123456789-", "⁰¹²³⁴⁵⁶⁷⁸⁹⁻")


@dataclass(frozen=True)
class Figures:
    """Significant figures of a typed number: at least, at most, and the digits after the decimal mark."""

    least: int
    most: int
    decimals: int

    def __str__(self):
        count = f"{self.least}" if self.least == self.most else f"{self.least} to {self.most}"
        return f"{count} significant figure{'' if self.most == 1 else 's'}"


def sigfigs(text):
    """Count the significant figures of a number written with a decimal point, such as "0.0140" or "1.40e2".

    "140" gives 2 to 3, "140." gives 3, "0" gives 1. Errors: EqlibError when ``text`` is not one plain number.
    """
    found = _NUMBER.fullmatch(text.strip()) if isinstance(text, str) and len(text) <= 1000 else None
    if found is None:
        raise EqlibError("significant figures are counted in one plain number, such as 0.0140 or 1.40e2")
    return count_digits(found.group(1))


def count_digits(mantissa):
    """Figures of a mantissa made only of digits and at most one point."""
    whole, point, after = mantissa.partition(".")
    digits = (whole + after).lstrip("0")
    if not digits:  # zero: each zero after the point is a measured place
        count = max(1, len(after))
        return Figures(count, count, len(after))
    most = len(digits)
    least = most if point else max(1, len(digits.rstrip("0")))
    return Figures(least, most, len(after))


def figures_of_value(value):
    """Fewest figures that write this float exactly: 0.00714 -> 3, 67.0 -> 2. Zero counts 1."""
    text = f"{abs(value)!r}".partition("e")[0].replace(".", "").strip("0")
    return max(1, len(text))


def supported(*typed):
    """Figures that a product or quotient of these typed numbers can carry: the fewest among them."""
    if not typed:
        raise EqlibError("give at least one of the data, as typed, to count its significant figures")
    return min(sigfigs(t).most for t in typed)


def compare_figures(figures, wanted, slack=1):
    """ "fits", "too many" or "too few" figures against ``wanted``; one figure either way is let pass by
    default.

    ``figures``: Figures, or the (fewest, most) pair of a reading.
    """
    least, most = (figures.least, figures.most) if isinstance(figures, Figures) else figures
    if least > wanted + slack:
        return "too many"
    return "too few" if most < wanted - slack else "fits"


def compare_decimals(decimals, wanted, slack=0):
    """The same for a logarithm: digits after the decimal mark against those wanted."""
    if decimals > wanted + slack:
        return "too many"
    return "too few" if decimals < wanted - slack else "fits"


def round_to(value, figures):
    """``value`` rounded to this many significant figures (a float)."""
    if value == 0 or not math.isfinite(value):
        return value
    return float(f"{value:.{figures - 1}e}")


def show(value, figures=3):
    """A number in print: "140", "0.0473", "1.4 × 10⁻⁴"; always this many significant figures.

    Whole numbers are written out if no figure is lost in doing so.
    """
    if value == 0 or not math.isfinite(value):
        return f"{value:g}"
    mantissa, exponent = f"{Decimal(value):.{figures - 1}e}".replace("E", "e").split("e")
    exponent = int(exponent)
    if -4 < exponent < max(figures, 4):
        places = max(0, figures - 1 - exponent)
        return f"{float(f'{mantissa}e{exponent}'):.{places}f}"
    return f"{mantissa} × 10{str(exponent).translate(_RAISED)}"
