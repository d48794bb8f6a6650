"""Figures in words: alternative text and the table of numbers behind it.

Every figure has two alternatives. ``alt`` tells what the figure shows, numbers included. ``alt_neutral``
says what is drawn and never how it comes out: it is the one to use wherever a prediction is still asked for
(WCAG 2, success criterion 1.1.1, allows that for a test).
"""

import html
from dataclasses import dataclass

from eqlib.chem.species import species

_SHOWN_ROWS = 40


@dataclass(frozen=True)
class Table:
    """The numbers of a figure: a ``caption``, a ``header`` and ``rows`` of text, the first column naming
    the row.
    """

    caption: str
    header: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]

    def to_html(self):
        """An HTML table with headers that a screen reader announces; a long one is thinned to 40 rows and
        says so.
        """
        rows, note = self.rows, ""
        if len(rows) > _SHOWN_ROWS:
            step = -(-len(rows) // _SHOWN_ROWS)
            rows, note = rows[::step], f" (every {step}th of {len(rows)} rows)"
        head = "".join(f'<th scope="col">{html.escape(cell)}</th>' for cell in self.header)
        body = "".join(
            f'<tr><th scope="row">{html.escape(row[0])}</th>'
            + "".join(f"<td>{html.escape(cell)}</td>" for cell in row[1:])
            + "</tr>"
            for row in rows
        )
        caption = html.escape(self.caption + note)
        return (
            f"<table><caption>{caption}</caption><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>"
        )

    def to_text(self):
        """The same as plain lines."""
        return "\n".join([self.caption, *("; ".join(row) for row in (self.header, *self.rows))])


def shown(name):
    """A species as it is printed: FeSCN²⁺. A name that is no species is left alone."""
    return _of_species(name, "unicode")


def spoken(name):
    """A species as it is said: "iron three plus". A name that is no species is left alone."""
    return _of_species(name, "spoken")


def _of_species(name, attribute):
    from eqlib.errors import EqlibError

    try:
        return getattr(species(name), attribute)
    except EqlibError:
        return name


def number(value, digits=3):
    """A number for a label: three figures, no needless zeros, 1.2 × 10⁻⁵ where plain digits would be long."""
    if value == 0:
        return "0"
    if 1e-3 <= abs(value) < 1e5:
        text = f"{value:.{digits}g}"
        return f"{float(text):g}" if "e" in text else text
    mantissa, exponent = f"{value:.{digits - 1}e}".split("e")
    raised = str(int(exponent)).translate(str.maketrans("-0123456789", "⁻⁰¹²³⁴⁵⁶⁷⁸⁹"))
    return f"{mantissa} × 10{raised}"


def said(value, digits=3):
    """A number for a sentence read aloud: "1.2 times ten to the minus 5" where plain digits would be long."""
    if value == 0 or 1e-3 <= abs(value) < 1e5:
        return number(value, digits)
    mantissa, exponent = f"{value:.{digits - 1}e}".split("e")
    return f"{mantissa} times ten to the {str(int(exponent)).replace('-', 'minus ')}"


def listed(parts):
    """ "a", "a and b", "a, b and c"."""
    parts = list(parts)
    return parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}" if parts else "nothing"


def in_words(label):
    """An axis label as it is said: "time in s" for "time / s"."""
    quantity, slash, unit = label.partition(" / ")
    return f"{quantity} in {unit}" if slash else label


def course(values):
    """How a series runs, in words: its first and last value, and its highest or lowest point where that
    lies between.
    """
    first, last, top, bottom = values[0], values[-1], max(values), min(values)
    words = f"from {said(first)} to {said(last)}"
    span = top - bottom
    if span <= 1e-3 * max(abs(top), abs(bottom)):
        return f"steady at {said(first)}"
    if top > max(first, last) + 0.02 * span:
        words += f", with a highest value of {said(top)}"
    if bottom < min(first, last) - 0.02 * span:
        words += f", with a lowest value of {said(bottom)}"
    return words
