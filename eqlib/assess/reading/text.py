"""What every reader shares: the result, the polite refusal, and the tidying of typed text.

Nothing that a person types is ever evaluated. Text is cut to a size first, then tidied into a small alphabet,
then matched by the readers' own grammars.
"""

import unicodedata
from dataclasses import dataclass

from eqlib.errors import EqlibError

MAX_TEXT = 10_000  # characters and bytes of one typed answer

_SUPER = dict(zip("⁰¹²³⁴⁵⁶⁷⁸⁹⁺⁻⁽⁾", "0123456789+-()", strict=True))
_SUB = dict(zip("₀₁₂₃₄₅₆₇₈₉₊₋₍₎", "0123456789+-()", strict=True))
_SAME = {
    **dict.fromkeys("‐‑‒–—―−﹣－", "-"),
    **dict.fromkeys("×✕✖⨯∗＊⨉", "*"),
    **dict.fromkeys("·⋅∙•‧・", "·"),
    **dict.fromkeys("’‘ʼ′`", "'"),
    **dict.fromkeys("“”„«»", '"'),
    **dict.fromkeys("→⟶➔➜⟹⇒➡", "→"),
    **dict.fromkeys("←⟵⟸⇐⬅", "←"),
    **dict.fromkeys("⇌⇋⇄⇆↔⟷⟺⇔", "⇌"),
    **dict.fromkeys("⁄∕÷", "/"),
    "٫": ".",
    "٬": "'",
    "µ": "μ",
    "ℓ": "L",
    "≃": "≈",
    "≅": "≈",
    "∼": "~",
}


class Unreadable(EqlibError):
    """An answer that cannot be read; the text says what was seen and what would do."""


@dataclass(frozen=True)
class Reading:
    """One answer as read.

    ok: whether it could be read.  value: a plain JSON value (``None`` if not ok), in the part's unit; reading
    ``value`` again gives the same value.  shown: what was read, in words, for the person to check.
    message: if not ok, one line with what was seen and what would do; else "".
    figures: (fewest, most) significant figures typed, or None when nothing was typed as digits.
    decimals: digits typed after the decimal mark of the value as shown (for pH and other logarithms), or
    None.
    notes: short remarks on what was taken for granted ("unit taken as mol/L").
    """

    ok: bool
    value: object = None
    shown: str = ""
    message: str = ""
    figures: tuple[int, int] | None = None
    decimals: int | None = None
    notes: tuple[str, ...] = ()


def refused(message: str) -> Reading:
    """A reading that was not possible, with the one line that says why and what would do."""
    return Reading(False, message=one_line(message))


def one_line(text: str, limit: int = 400) -> str:
    """``text`` without line breaks or invisible characters, cut to ``limit`` characters."""
    text = " ".join("".join(c if c.isprintable() else " " for c in text[: 4 * limit]).split())
    return text if len(text) <= limit else text[: limit - 1] + "…"


def quote(text: str, limit: int = 40) -> str:
    """What was typed, in quotation marks, short enough to stand in a message."""
    return f"“{one_line(text, limit)}”"


def too_long(text: str) -> bool:
    """True if the text is above the size cap, measured in characters or in UTF-8 bytes."""
    return len(text) > MAX_TEXT or len(text.encode("utf-8", "replace")) > MAX_TEXT


def tidy(text: str) -> str:
    """Typed text in a small alphabet: raised figures become ``^``, the many dashes one, odd spaces a blank.

    "1,4·10²" -> "1,4·10^2";  "Fe³⁺" -> "Fe^3+";  "6.9 × 10⁻⁵" -> "6.9 * 10^-5".
    """
    out, raised = [], False
    for c in text[:MAX_TEXT]:
        if c in _SUPER:
            out.append(_SUPER[c] if raised else "^" + _SUPER[c])
            raised = True
            continue
        raised = False
        out.append(_plain_character(c))
    text = "".join(out).replace("^^", "^")
    return " ".join(text.split())


def _plain_character(c: str) -> str:
    if c in _SUB:
        return _SUB[c]
    if c in _SAME:
        return _SAME[c]
    if c < "\x7f":
        return c if c >= " " else " "
    digit = unicodedata.decimal(c, None)
    if digit is not None:
        return str(digit)
    kind = unicodedata.category(c)
    if kind in ("Zs", "Zl", "Zp", "Cc"):
        return " "
    if kind in ("Cf", "Cs", "Co", "Cn", "Mn"):
        return ""
    return "".join(_SAME.get(d, d) for d in unicodedata.normalize("NFKC", c))
