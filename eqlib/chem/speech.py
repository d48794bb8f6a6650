"""A species for the eye and the ear: LaTeX, real sub- and superscripts, spoken words, and its molar mass."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from eqlib.chem.errors import EqlibError

if TYPE_CHECKING:
    from eqlib.chem.species import Species

_SUB = str.maketrans("0123456789", "₀₁₂₃₄₅₆₇₈₉")
_SUP = str.maketrans("0123456789+-", "⁰¹²³⁴⁵⁶⁷⁸⁹⁺⁻")
_NUMBERS = "zero one two three four five six seven eight nine ten eleven twelve"
_NUMBER_WORDS = _NUMBERS.split()
_TIMES = {2: "twice", 3: "three times"}
_PHASE_WORDS = {"aq": "", "s": " solid", "l": " liquid", "g": " gas"}
_WHOLE = {
    "H2O(l)": "water", "H^+": "hydrogen ion", "OH^-": "hydroxide", "e^-": "electron", "F^-": "fluoride",
    "Cl^-": "chloride", "Br^-": "bromide", "I^-": "iodide", "S^2-": "sulfide", "O^2-": "oxide",
    "SCN^-": "thiocyanate", "NO3^-": "nitrate", "NH4^+": "ammonium", "SO4^2-": "sulfate",
    "CO3^2-": "carbonate",
    "PO4^3-": "phosphate", "HPO4^2-": "hydrogen phosphate", "H2PO4^-": "dihydrogen phosphate",
    "NH3": "ammonia",
    "HCO3^-": "hydrogen carbonate", "HSO4^-": "hydrogen sulfate", "C2O4^2-": "oxalate", "CN^-": "cyanide",
    "CrO4^2-": "chromate", "Cr2O7^2-": "dichromate",
}  # fmt: skip
_BRITISH = {"Al": "aluminium", "Cs": "caesium"}


def is_indicator(species: Species) -> bool:
    """HIn and In^- mean an acid-base indicator, not indium."""
    body = species.formula
    return bool(re.fullmatch(r"H\d?In", body)) or (body == "In" and species.charge < 0)


def molar_mass(species: Species) -> float:
    """Grams per mole from molmass's atomic masses."""
    from molmass import ELEMENTS

    total = 0.0
    for symbol, count in species.elements.items():
        if is_indicator(species) or symbol not in ELEMENTS:
            raise EqlibError(
                f"'{species.name}' is a general formula and has no molar mass; name a real compound"
            )
        total += float(count) * ELEMENTS[symbol].mass
    return total


def _charge_shown(species: Species) -> str:
    size = str(abs(species.charge)) if abs(species.charge) > 1 else ""
    return size + ("+" if species.charge > 0 else "-")


def latex(species: Species) -> str:
    r"""``\mathrm{Cu(NH_{3})_{4}^{2+}}``."""
    main, *added = _parts(species.formula)
    body = re.sub(r"(?<=[A-Za-z)\]])(\d+)", r"_{\1}", main)
    if prefix := re.match(r"(?:[^()\[\]]+-)+(?=[A-Z(\[])", body):
        body = prefix.group().replace("-", r"\text{-}") + body[prefix.end() :]
    body += "".join(r"\cdot " + re.sub(r"(?<=[A-Za-z)\]])(\d+)", r"_{\1}", part) for part in added)
    if species.charge:
        body += "^{" + _charge_shown(species) + "}"
    phase = f"({species.phase})" if species.phase != "aq" else ""
    return r"\mathrm{" + body + phase + "}"


def unicode(species: Species) -> str:
    """Cu(NH₃)₄²⁺, Na₂SO₄·10H₂O(s)."""
    body = "·".join(
        re.sub(r"(?<=[A-Za-z)\]])\d+", lambda digits: digits.group().translate(_SUB), part)
        for part in _parts(species.formula)
    )
    charge = _charge_shown(species).translate(_SUP) if species.charge else ""
    return body + charge + (f"({species.phase})" if species.phase != "aq" else "")


def _parts(formula: str) -> list[str]:
    return re.split(r"(?<![.]\d)\.", formula)


def _number(text: str | int) -> str:
    value = int(text)
    return _NUMBER_WORDS[value] if value < len(_NUMBER_WORDS) else str(value)


def spoken(species: Species) -> str:
    """Element names for two-letter symbols and for lone ions, letters otherwise."""
    if species.name in _WHOLE:
        return _WHOLE[species.name]
    if is_indicator(species):
        words = "H In" if "H" in species.elements else "In"
    elif len(species.elements) == 1 and re.fullmatch(r"[A-Z][a-z]?", species.formula):
        words = _element_name(species.formula, alone=True)
    else:
        words = "; dot ".join(_spell(part) for part in _parts(species.formula)).replace("; dot", " dot")
    if species.charge:
        sign = "plus" if species.charge > 0 else "minus"
        words += " " + (f"{_number(abs(species.charge))} " if abs(species.charge) > 1 else "") + sign
    return words + _PHASE_WORDS[species.phase]


def _spell(part: str) -> str:
    words: list[str] = []
    for token in re.finditer(r"([A-Z][a-z]?)|([)\]])(\d*)|([(\[])|(\d+(?:/\d+|\.\d+)?)|([a-zα-ω]+)-", part):
        element, close, times, opening, number, prefix = token.groups()
        if element:
            words.append(_element_name(element, alone=False))
        elif close:
            words.append(f"{_TIMES.get(int(times), _number(times) + ' times')}," if times else "")
        elif opening:
            words.append("bracket")
        elif number:
            words.append(_number(number) if number.isdigit() else number)
        elif prefix:
            words.append(prefix)
    return " ".join(word for word in words if word).rstrip(",")


def _element_name(symbol: str, alone: bool) -> str:
    from molmass import ELEMENTS

    if (len(symbol) == 1 and not alone) or symbol not in ELEMENTS:
        return symbol
    return _BRITISH.get(symbol, ELEMENTS[symbol].name.lower())
