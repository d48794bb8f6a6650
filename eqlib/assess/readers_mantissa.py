"""The marks between the digits of a number: decimal point or comma, thousands, and what could be either."""

import re

from eqlib.assess.readers_base import Unreadable, quote


def mantissa_of(text, has_power, typed):
    """Digits with one decimal point, from a mantissa with points, commas, spaces or apostrophes in it.

    "1,400" may be fourteen hundred or one point four: the person is asked. "1,4", "0,140", "1,400·10^2" and
    "1.400,5" can mean only one thing.
    """
    if " " in text or "'" in text:
        return text.replace(" ", "").replace("'", "").replace(",", ".")
    if text.endswith(",") and text.count(",") == 1:
        text = text[:-1]
    commas, points = text.count(","), text.count(".")
    if commas == 0 and points <= 1:
        return text
    if commas == 1 and points == 0:
        if not has_power and re.fullmatch(r"[1-9]\d{0,2},\d{3}", text):
            plain_text = text.replace(",", "")
            raise Unreadable(
                f"{quote(typed)} could mean {plain_text} or {text.replace(',', '.')}. "
                "Please type it again without the comma, the way you mean it."
            )
        return text.replace(",", ".")
    mark, other = (",", ".") if text.rfind(",") > text.rfind(".") else (".", ",")
    if commas and points:
        whole, _, after = text.rpartition(mark)
    else:
        whole, after = text, ""
        other = mark
    if not re.fullmatch(rf"\d{{1,3}}(?:{re.escape(other)}\d{{3}})+", whole) or not (
        after.isdigit() or not after
    ):
        raise Unreadable(f"The marks between the digits of {quote(typed)} can be read in more than one way. "
                         "Please type one number, with a point for the decimal mark.")  # fmt: skip
    return whole.replace(other, "") + (f".{after}" if after else "")
