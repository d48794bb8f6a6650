"""Numbers as people type them: 1.4e2, 1,4·10², 1.4 x 10^2, 140 M^-1, 0.14 mM, 14 %, 140 ± 5.

A fixed grammar (sign, mantissa, power of ten, unit) and no arithmetic: nothing typed is evaluated. The digits
are kept, so that significant figures are counted from what was typed and conversion between units is exact.
The counting of significant figures comes first.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from fractions import Fraction

from eqlib.assess.reading.plain import Reading, Typed, Unreadable, plain, quote, tidy
from eqlib.assess.reading.units import (
    ENERGY,
    ENERGY_PER_AMOUNT,
    Unit,
    is_power_of_concentration,
    parse_unit,
    readings_of_unit,
    standard_size,
    without_filler,
)
from eqlib.writing import pretty_unit, with_figures

# Significant figures, as commonly taught (common practice, no source): leading zeros never count; zeros after
# a decimal mark count; trailing zeros of a whole number may or may not, so both counts are kept and the doubt
# goes to the student. In a logarithm (pH, pK) only the digits after the decimal mark count.


@dataclass(frozen=True)
class Figures:
    """Significant figures of a typed number: at least, at most, and the digits after the decimal mark."""

    least: int
    most: int
    decimals: int

    def __str__(self) -> str:
        count = f"{self.least}" if self.least == self.most else f"{self.least} to {self.most}"
        return f"{count} significant figure{'' if self.most == 1 else 's'}"


def count_digits(mantissa: str) -> Figures:
    """Figures of a mantissa made only of digits and at most one point."""
    whole, point, after = mantissa.partition(".")
    digits = (whole + after).lstrip("0")
    if not digits:  # zero: each zero after the point is a measured place
        count = max(1, len(after))
        return Figures(count, count, len(after))
    most = len(digits)
    least = most if point else max(1, len(digits.rstrip("0")))
    return Figures(least, most, len(after))


def figures_of_value(value: float) -> int:
    """Fewest figures that write this float exactly: 0.00714 -> 3, 67.0 -> 2. Zero counts 1."""
    text = f"{abs(value)!r}".partition("e")[0].replace(".", "").strip("0")
    return max(1, len(text))


# Numbers as typed.

_MAX_NUMBER_TEXT = 200
_MAX_EXPONENT = 300
#: A whole number in a smaller unit is never blamed for more figures than these.
_WHOLE = 3

_MANTISSA = r"(?:\d{1,3}(?:[ ']\d{3})+(?:[.,]\d+)?(?!\d)|\d[\d.,]*|[.,]\d+)"
_POWER = (
    r"(?:\s*[eE]\s*(?P<e>[+-]?\s?\d+)"
    r"|(?:\s*(?:\*|·|[xX]|times)\s*|\s+)10\s*(?:\^|\*\*)\s*[({]?\s*(?P<p>[+-]?\s?\d+)\s*[)}]?"
    r"|(?:\s*(?:\*|·|[xX])\s*10\s?|\s+10)(?P<q>[+-]\d+))"
)
_NUMBER = re.compile(rf"(?P<sign>[+-]?)\s*(?P<mantissa>{_MANTISSA})(?P<spread>\(\d{{1,3}}\))?(?:{_POWER})?")
_BARE_POWER = re.compile(r"(?P<sign>[+-]?)\s*10\s*(?:\^|\*\*)\s*[({]?\s*(?P<p>[+-]?\s?\d+)\s*[)}]?")
_PLUS_MINUS = re.compile(r"\s*(?:±|\+\s?/\s?-|\+-)\s*")
_LATER_POWER = re.compile(_POWER)
#: "1,4.10^2": with a decimal mark before it, the second point can only be a multiplication.
_POINT_TIMES = re.compile(r"(?<=\d)([.,]\d+)\.10(?=\s*(?:\^|\*\*))")

#: A point at the end belongs to a whole number ("140." has three figures); elsewhere it ends a sentence.
_KEEPS_ITS_POINT = re.compile(r"(?:^|[^\d.,])(?:\d+\.|[1-9]\d{0,2}(?:,\d{3})+\.)$")
_POWER_THEN_POINT = re.compile(r"(?:\d\s*[eE]|\^|\*\*)[\s({+-]*\d+\.$")

# What people put before a number: "Kc is about 140", "I get 140", "the value of x was -3".
_LEADING = re.compile(
    r"(?:(?:i|we|get|got|find|found|think|guess|say|makes?|calculated?|it|it's|that|that's|this|so|then|thus|hence"
    r"|therefore|the|my|our|an?|answer|value|result|number|constant|equilibrium|quotient|is|was|are|be|would"
    r"|will|should|must|has|turns|turned|about|approximately|approx|approx\.|roughly|around|circa|ca|ca\.|c\.|nearly|almost|some"
    r"|equals?|to|comes?|out|at|gives|giving|of|for|exactly|[kK][cCpP]?|[kK]_?eq|[qQ][cC]?)(?=[\s:,≈~(+-])[\s:,]*"
    r"|[~≈:→]\s*|->\s*)",
    re.IGNORECASE,
)
_RELATION = re.compile(
    r"(?P<label>[A-Za-zΔδεμ\[][^=≈]{0,60}?)\s*"
    r"(?:\b(?:is|was|equals?|gives|comes?\s+(?:out\s+)?(?:at|to|as))\s|[:~→]|->)\s*(?=\S)"
)
#: A label with one of these says something else than "this is the value".
_NOT_A_LABEL = re.compile(
    r"\b(?:not|no|nor|never|less|more|below|above|under|over|between|least|most|max\w*|min\w*|smaller|larger"
    r"|greater|if|or|log|ln|lg|pK\w?)\b",
    re.IGNORECASE,
)
_SIGN_WORD = re.compile(r"(minus|negative|plus|positive)\s+(?=[\w.,])", re.IGNORECASE)
COUNTED = ("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven",
            "twelve")  # fmt: skip
_FRACTIONS = {"½": ".5", "¼": ".25", "¾": ".75"}
_FRACTION_WORD = re.compile(r"([+-]?)(?:(an?|one|three)\s+)?(half|quarters?)\b(?!\s+of\b)", re.IGNORECASE)
_MORE_WORDS = re.compile(
    r"(?:hundred|thousand|million|teen|ty|third|fourth|fifth|tenth|hundredth|thousandth)s?\b", re.IGNORECASE
)
_LIMIT = re.compile(
    r"\s*(?:[<>≤≥]|(?:less|more|smaller|larger|greater)\s+than\b|at\s+(?:least|most)\b)", re.I
)
_COUNT_WORD = re.compile(rf"([+-]?)\s*({'|'.join(COUNTED)}|nought|nil)\b", re.IGNORECASE)
# What they put after it: "140 or so", "140ish", "-57 kJ/mol (exothermic)".
_TRAILING = re.compile(
    r"[\s,;(]*(?:\b(?:or\s+so|or\s+thereabouts|more\s+or\s+less|approx|approximately|roughly|about|exactly"
    r"|i\s+think|i\s+guess|(?:exo|endo)thermic)|(?<=\d)\s?-?ish)\s*[).]*$",
    re.IGNORECASE,
)
_HEAT = re.compile(
    r"[\s,;:(]*\b(?:(exothermic|giv(?:es?|en)\s+(?:out|off)|released?s?)"
    r"|endothermic|tak(?:es?|en)\s+(?:up|in)|absorb(?:s|ed))\b[\s,;:)]*",
    re.IGNORECASE,
)
#: What a unit may be followed by: whose amount it is.
_REMARK = re.compile(r"\s+\([a-z][a-z ]{2,}[^()=/]*\)$")
_OF_WHAT = re.compile(r"\s+(?:of\s+(?:the\s+)?\S.*|\[?[A-Z][A-Za-z0-9()]+[\d^{}+-]*\]?)$")
_LATEX = ((r"\times", "*"), (r"\cdot", "·"), (r"\,", " "), ("$", ""), (r"\mathrm", ""), (r"\text", ""))
_WORDS = {
    "nan": "not a number",
    "inf": "infinite",
    "infinity": "infinite",
    "∞": "infinite",
    "-inf": "infinite",
}


@dataclass(frozen=True)
class Digits:
    """A number as typed: exact value, figures, and the power of ten it was typed with."""

    value: Fraction
    figures: Figures
    exponent: int = 0


#: A number in the unit that is wanted: its value, the digits after the decimal mark, notes.
_InUnit = tuple[Fraction, int, tuple[str, ...]]


def read_number(
    raw: object,
    unit: str = "",
    name: str = "This answer",
    logarithm: bool = False,
    own_unit: str | None = None,
) -> Reading:
    """Read a number meant in ``unit`` ("" for one without unit). Returns a Reading with a float value in that
    unit. ``logarithm``: a pKa is wanted, so that "pKa = 7.1" is it.

    A typed unit is checked and converted; without one, ``unit`` is taken. Where no unit is wanted, a power of
    a concentration or pressure (a K typed as M^-1) is taken relative to the standard state, 1 mol/L or 1 bar;
    only the right power, where ``own_unit`` says which it is.
    Errors: Unreadable.
    """
    value = plain(raw)
    if isinstance(value, Typed):
        return _from_text(value.text, unit, name, logarithm, own_unit)
    if isinstance(value, str):
        return _from_text(value, unit, name, logarithm, own_unit)
    if isinstance(value, bool):
        raise Unreadable(f"{name} wants a number, and {value} is a yes or no. Please type the number.")
    if isinstance(value, int | float):
        return _from_value(value, unit)
    if value is None:
        raise Unreadable(f"{name} is still empty. Please type a number.")
    if isinstance(value, list) and len(value) == 1:
        return read_number(value[0], unit, name, logarithm, own_unit)
    raise Unreadable(
        f"{name} wants one number, and this is a list or table of them. Please give the one asked for."
    )


def _from_value(value: float, unit: str) -> Reading:
    try:
        value = float(value)
    except OverflowError:
        raise Unreadable(
            "This whole number is far too large to be an answer here. Please check the last step."
        ) from None
    said = " ".join(p for p in (with_figures(value, min(figures_of_value(value), 6)), pretty_unit(unit)) if p)
    return Reading(True, value, f"read as {said}")


def _from_text(
    text: str, unit: str, name: str, logarithm: bool = False, own_unit: str | None = None
) -> Reading:
    typed = tidy(re.sub("[½¼¾]", lambda found: _FRACTIONS[found[0]], text))
    if len(typed) > _MAX_NUMBER_TEXT:
        raise Unreadable(
            f"{name} wants one number; {quote(text)} is a long text. Please "
            f"type just the number and its unit."
        )
    body = _strip_decoration(typed, typed, logarithm)
    if not body:
        raise Unreadable(f"{name} is still empty. Please type a number.")
    if _FRACTION_WORD.fullmatch(typed) and parse_unit(unit).dims == parse_unit("mol/L").dims:
        raise Unreadable(f"{quote(text)} may be a share of something. Please type the number itself.")
    digits, rest, spread = _split(body, typed, name)
    if re.match(r"-\s*0*[.,]0", body) and not digits.value:
        raise Unreadable(
            f"{quote(text)} has lost its figures in rounding. Please type more of them, like -4.0e-4, or 0."
        )
    value, decimals, notes = _in_unit(digits, rest, unit, typed, name, own_unit)
    if spread:
        notes = ("the ± part is not used for marking", *notes)
    try:
        result = float(value)
    except OverflowError:
        raise Unreadable(
            f"{quote(text)} is too large a number to hold. Please check the power of ten."
        ) from None
    if result == 0 and value != 0:
        raise Unreadable(f"{quote(text)} is too small a number to hold. Please check the power of ten.")
    figures = digits.figures
    if "." not in body.replace(",", ".") and any("changed from" in note for note in notes):
        # A whole number in another unit (-57192 J/mol for kJ/mol): nobody rounds to thousands of joules.
        figures = replace(figures, least=min(figures.least, _WHOLE))
    if value and digits.value and any("°C" in part for part in (unit, *notes)):
        # A shift between scales keeps the decimals, not the figures: 25 °C is 298 K.
        figures = count_digits(f"{abs(result):.{decimals}f}")
    return Reading(True, result, _say(result, figures, unit, notes), "",
                   (figures.least, figures.most), decimals, tuple(notes))  # fmt: skip


def _say(value: float, figures: Figures, unit: str, notes: tuple[str, ...]) -> str:
    said = " ".join(p for p in (with_figures(value, min(figures.most, 15)), pretty_unit(unit)) if p)
    extra = f" ({'; '.join(notes)})" if notes else ""
    return f"read as {said}, {figures}{extra}" if value else f"read as {said}{extra}"


def _strip_decoration(text: str, typed: str, logarithm: bool = False) -> str:
    """The number and its unit, without the words and brackets around them. Errors: Unreadable."""
    for old, new in _LATEX:
        text = text.replace(old, new)
    text = text.strip(" \"'`;!?")
    told = re.search(r"[=≈:~]|\b(?:is|was|equals)\b", text)
    if logarithm:
        text = re.sub(r"^(?:the\s+)?pK_?[aA]?\b\s*(?:of\s+\S+\s*)?(?:[=≈:~]|is\b|was\b)?\s*", "", text)
    elif told and re.match(r"\s*(?:the\s+)?(?:-\s*)?(?:log|ln|lg|p(?=K))[\s_(0-9]*[A-Za-z]", text):
        raise Unreadable(f"{quote(text)} gives a logarithm. Please work out the number itself and type that.")
    if "=" in text or "≈" in text:  # "Kc = 140": what stands after the last sign is the answer
        parts = [part.strip() for part in re.split(r"=|≈", text)]
        if any(re.match(r"[\d.,].*(?:[,;]|\band\b)\s*[A-Za-z\[]", part) for part in parts[1:-1]):
            raise Unreadable(f"{quote(text)} gives more than one value. Please type only the one asked for.")
        backwards = (
            len(parts) == 2 and re.match(r"[+-]?[\d.,]", parts[0]) and re.match(r"[A-Za-zΔ\[]", parts[1])
        )
        text = parts[0] if backwards and not _COUNT_WORD.match(parts[1]) else parts[-1]
    text = _without_introduction(text.strip())
    text = _with_signs_in_figures(text)
    while (found := _TRAILING.search(text) or _REMARK.search(text)) is not None and found.start() > 0:
        text = text[: found.start()].strip()
    for opening, closing in ("()", "[]"):
        if text.startswith(opening) and text.endswith(closing) and text.count(opening) == 1:
            text = text[1:-1].strip()
    heat = _HEAT.search(typed)
    if heat is not None and text.startswith("-") != bool(heat.group(1)):
        raise Unreadable(
            f"{quote(typed)} names one direction of heat with the sign of the other. "
            "Please type the value with its sign: minus for exothermic."
        )
    text = _POINT_TIMES.sub(r"\1·10", text)
    return (
        text if _KEEPS_ITS_POINT.search(text) and not _POWER_THEN_POINT.search(text) else text.rstrip(" .,")
    )


def _without_introduction(text: str) -> str:
    """ "the value of Kc is about 140" -> "140"; one with a "not", an "or" or a limit is left as it is."""
    text = _HEAT.sub("", text) if _HEAT.match(text) else text
    label = _RELATION.match(text)
    if label is not None and not _NOT_A_LABEL.search(label.group("label")):
        text = text[label.end() :]
    while (found := _LEADING.match(text)) is not None and found.end():
        text = text[found.end() :]
    return text.strip()


def _with_signs_in_figures(text: str) -> str:
    """ "minus two" -> "-2"; words of numbers go up to twelve."""
    sign = _SIGN_WORD.match(text)
    if sign is not None:
        text = ("-" if sign.group(1).lower() in ("minus", "negative") else "+") + text[sign.end() :]
    part = _FRACTION_WORD.match(text)
    if part is not None:
        minus, many, share = (group.lower() if group else "" for group in part.groups())
        value = (3 if many == "three" else 1) * (0.5 if share == "half" else 0.25)
        return f"{minus}{value}{text[part.end() :]}"
    count = _COUNT_WORD.match(text)
    if count is not None:
        word = count.group(2).lower()
        digits = COUNTED.index(word) if word in COUNTED else 0
        text = f"{count.group(1)}{digits}{text[count.end() :]}"
    return text


def _split(body: str, typed: str, name: str) -> tuple[Digits, str, bool]:
    """The number at the front of ``body``, the rest (a unit), and whether a ± followed."""
    opened = body.startswith("(")
    if opened:
        body = body[1:].lstrip()
    digits, end = number_at(body, typed, name)
    rest, spread = body[end:], False
    found = _PLUS_MINUS.match(rest)
    if found is not None:
        _, more = number_at(rest[found.end() :], typed, name)
        rest, spread = rest[found.end() + more :], True
    if opened:
        rest = rest.lstrip()
        if rest.startswith(")"):
            rest = rest[1:]
            later = _LATER_POWER.match(rest)
            if later is not None:
                digits, rest = _shift(digits, _exponent(later, typed)), rest[later.end() :]
    return digits, rest.strip(), spread


def number_at(text: str, typed: str, name: str) -> tuple[Digits, int]:
    """(Digits, length) of the number that ``text`` starts with. Errors: Unreadable."""
    bare = _BARE_POWER.match(text)
    if bare is not None:
        one = Digits(Fraction(-1 if bare.group("sign") == "-" else 1), Figures(1, 1, 0))
        return _shift(one, _exponent(bare, typed)), bare.end()
    found = _NUMBER.match(text)
    if found is None:
        raise _not_a_number(text, typed, name)
    power = _exponent(found, typed)
    mantissa = mantissa_of(found.group("mantissa"), power is not None, typed)
    value = Fraction(mantissa) if mantissa[-1] != "." else Fraction(mantissa[:-1])
    digits = Digits(-value if found.group("sign") == "-" else value, count_digits(mantissa))
    return _shift(digits, power), found.end()


def _not_a_number(text: str, typed: str, name: str) -> Unreadable:
    word = text.lower().strip(" .+")
    if word in _WORDS:
        return Unreadable(
            f"{quote(typed)} is {_WORDS[word]}: a step before it had no ordinary "
            f"result. A plain number is wanted."
        )
    span = re.search(r"\bbetween\b", typed, re.IGNORECASE)
    if span or _LIMIT.match(typed):
        return Unreadable(
            f"{quote(typed)} gives a {'range' if span else 'limit'}; {name.lower()} wants one value. "
            "Please type your best value."
        )
    if _MORE_WORDS.search(text):
        return Unreadable(f"{quote(typed)} is a number in words. Please type it in figures.")
    return Unreadable(
        f"{name} wants a number; {quote(typed)} does not start with one. "
        f"Something like 0.0140 or 1.4e-2 would do."
    )


def _exponent(found: re.Match[str], typed: str) -> int | None:
    text = next((v for k, v in found.groupdict().items() if k in ("e", "p", "q") and v is not None), None)
    if text is None:
        return None
    text = text.replace(" ", "")
    if len(text) > 5 or abs(int(text)) > _MAX_EXPONENT:
        raise Unreadable(f"The power of ten in {quote(typed)} is outside what can be held. Please check it.")
    return int(text)


def _shift(digits: Digits, power: int | None) -> Digits:
    if power is None:
        return digits
    return Digits(digits.value * Fraction(10) ** power, digits.figures, digits.exponent + power)


def _in_unit(digits: Digits, rest: str, unit: str, typed: str, name: str, own_unit: str | None) -> _InUnit:
    """(value in ``unit``, decimals, notes) of digits followed by ``rest``. Errors: Unreadable."""
    decimals = max(0, digits.figures.decimals - digits.exponent)
    if not rest or not without_filler(rest):  # "140 without units" as well
        return digits.value, decimals, (f"unit taken as {pretty_unit(unit)}",) if unit else ()
    if re.match(r"(?:or|and)\s+[+-]?[\d.,]", rest):
        raise Unreadable(f"{quote(typed)} gives more than one value. Please type only the one asked for.")
    if re.match(r"[<>≤≥]", rest):
        raise Unreadable(f"{quote(typed)} compares two things. Please type the number alone.")
    if re.match(r"·\d", rest):
        raise Unreadable(
            f"The mark between the digits of {quote(typed)} could be a decimal mark or a multiplication. "
            "Please type one number, with a point for the decimal mark."
        )
    if re.match(r"[xX*·]\s*10\d+", rest):
        raise Unreadable(
            f"The power of ten in {quote(typed)} lost its sign. Please write it like 1.4e2 or 1.4*10^2."
        )
    if re.match(r"[-+*/^(]?\s*[\d.]", rest) and not re.match(r"1\s*/", rest) and not re.match(r"/", rest):
        raise Unreadable(
            f"{quote(typed)} looks like more than one number, or a calculation. "
            f"Please work it out and type the result."
        )
    if re.match(r"/\s*[(\d.]", rest) and not re.match(r"/\s*\(?\s*[A-Za-zμ]", rest):
        raise Unreadable(
            f"{quote(typed)} looks like a calculation. Please work it out and type the result as one number."
        )
    rest, given = _unit_of(rest, typed)
    wanted = parse_unit(unit)
    for reading in given:
        if reading.dims == wanted.dims:
            if without_filler(rest) == "%" and digits.value > 100 and wanted.size == 1:
                raise Unreadable(f"{quote(typed)} is more than the whole. Please type the number itself.")
            return _convert(digits, reading, wanted, decimals, rest, unit)
    for reading in given:
        if reading.dims == ENERGY and wanted.dims == ENERGY_PER_AMOUNT:  # "-57 kJ" for a reaction enthalpy
            value, decimals, _ = _convert(digits, reading, wanted, decimals, rest, unit)
            return value, decimals, ("per mole of reaction taken as meant",)
    if not any(wanted.dims) and wanted.size == 1:
        for reading in given:
            fits = own_unit is None or reading.dims == parse_unit(own_unit).dims
            if fits and is_power_of_concentration(reading):
                return digits.value * standard_size(reading), decimals, (f"unit written {_seen(rest)}",)
    raise _wrong_unit(rest, unit or own_unit or "", typed, name)


def _unit_of(rest: str, typed: str) -> tuple[str, tuple[Unit, ...]]:
    """(the unit's text, its readings) of what follows a number; "mM FeSCN2+" and "mol/L of silver" say whose.

    Errors: Unreadable.
    """
    try:
        return rest, readings_of_unit("1" + rest if rest.startswith("/") else rest)
    except Unreadable:
        of_what = _OF_WHAT.search(rest)
        if of_what is None and _MORE_WORDS.search(rest):
            raise Unreadable(f"{quote(typed)} is a number in words. Please type it in figures.") from None
        if of_what is None:
            raise
        shorter = rest[: of_what.start()]
        return shorter, readings_of_unit("1" + shorter if shorter.startswith("/") else shorter)


def _convert(digits: Digits, given: Unit, wanted: Unit, decimals: int, rest: str, unit: str) -> _InUnit:
    value = (digits.value * given.size + given.offset - wanted.offset) / wanted.size
    if given.size == wanted.size and given.offset == wanted.offset:
        return value, decimals, ()
    return value, decimals, (f"changed from {'°C' if given.offset else _seen(rest)}",)


def _seen(rest: str) -> str:
    """The unit as typed, without the words and brackets around it."""
    return pretty_unit(without_filler(rest) or rest)


def _wrong_unit(rest: str, unit: str, typed: str, name: str) -> Unreadable:
    seen = _seen(rest)
    if not unit:
        return Unreadable(f"{quote(typed)} has the unit {seen}, and {name.lower()} has none. "
                          "If the number itself is right, type it without a unit.")  # fmt: skip
    hint = " (m is the metre; mol/L is a capital M)" if seen == "m" else ""
    return Unreadable(
        f"{quote(typed)} has the unit {seen}{hint}, and {name.lower()} wants {pretty_unit(unit)}. "
        f"If the number itself is right, type it with {pretty_unit(unit)} or with no unit."
    )


def mantissa_of(text: str, has_power: bool, typed: str) -> str:
    """Digits with one decimal point, from a mantissa with points, commas, spaces or apostrophes in it.

    "1,400" may be fourteen hundred or one point four: the person is asked. "1,4", "0,140", "1,400·10^2" and
    "1.400,5" can mean only one thing.
    """
    if re.fullmatch(r"[1-9]\d\d \d{3}", text) and not has_power:
        raise Unreadable(
            f"{quote(typed)} could be one number or two. Please type one number, without a space in it."
        )
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
    if not re.fullmatch(rf"[1-9]\d{{0,2}}(?:{re.escape(other)}\d{{3}})+", whole) or not (
        after.isdigit() or not after
    ):
        raise Unreadable(f"The marks between the digits of {quote(typed)} can be read in more than one way. "
                         "Please type one number, with a point for the decimal mark.")  # fmt: skip
    return whole.replace(other, "") + (f".{after}" if after else "")
