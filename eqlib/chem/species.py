"""A chemical species: read from text, with its composition, charge and phase.

Written ``Fe^3+``, ``FeSCN^2+``, ``AgSCN(s)``, ``NO2(g)``, ``H2O(l)``; no phase means dissolved. Water alone
is different: ``H2O`` is the liquid, the solvent that does not count in K, and ``H2O(aq)`` is water as one
solute among others (an esterification in an organic solvent), which counts like any of them. The parser is
strict on purpose: a subscript and a charge that cannot be told apart ("Fe3+", "NH4+") is an error,
never a guess.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from functools import lru_cache
from types import MappingProxyType

from eqlib.errors import EqlibError
from eqlib.writing import raised

PHASES = ("aq", "s", "l", "g")

_SUPERSCRIPTS = str.maketrans("⁰¹²³⁴⁵⁶⁷⁸⁹⁺⁻", "0123456789+-")
_SUBSCRIPTS = str.maketrans("₀₁₂₃₄₅₆₇₈₉", "0123456789")
_PLAIN = str.maketrans({"−": "-", "–": "-", "·": ".", "•": ".", "∙": ".", "⋅": "."})
_PREFIX = re.compile(
    r"(?:(?:n|iso|i|neo|sec|tert|t|cis|trans|fac|mer|o|m|p|D|L|α|β|alpha|beta|[1-9](?:,[1-9])*)-)+(?=[A-Z(\[])"
)
_TOKEN = re.compile(r"(?P<element>[A-Z][a-z]?)|(?P<open>[(\[])|(?P<close>[)\]])|(?P<count>\d+)")
_PAIRS = {")": "(", "]": "["}
_LONGEST = 200
_PERIODIC_TABLE = """
    H He Li Be B C N O F Ne Na Mg Al Si P S Cl Ar K Ca Sc Ti V Cr Mn Fe Co Ni Cu Zn Ga Ge As Se Br Kr
    Rb Sr Y Zr Nb Mo Tc Ru Rh Pd Ag Cd In Sn Sb Te I Xe Cs Ba La Ce Pr Nd Pm Sm Eu Gd Tb Dy Ho Er Tm Yb Lu
    Hf Ta W Re Os Ir Pt Au Hg Tl Pb Bi Po At Rn Fr Ra Ac Th Pa U Np Pu Am Cm Bk Cf Es Fm Md No Lr
    Rf Db Sg Bh Hs Mt Ds Rg Cn Nh Fl Mc Lv Ts Og
"""
_ELEMENTS = frozenset(_PERIODIC_TABLE.split())
# Letters for "some acid", "some metal", "some ligand" in general equations such as HA <=> H^+ + A^-.
_PLACEHOLDERS = frozenset("AMLXQR")
# Only these are offered as "did you mean", being the ones people write.
_FAMILIAR = "Na Mg Al Cl Ca Fe Cu Co Zn Ag Br Ba Cr Mn Ni Pb Sn Hg Li Si"
_LIKELY = frozenset(_FAMILIAR.split())
_SUB = str.maketrans("0123456789", "₀₁₂₃₄₅₆₇₈₉")
_NUMBERS = "zero one two three four five six seven eight nine ten eleven twelve"
_NUMBER_WORDS = _NUMBERS.split()
_TIMES = {2: "twice", 3: "three times"}
_PHASE_WORDS = {"aq": "", "s": " solid", "l": " liquid", "g": " gas"}
_WHOLE = {
    "H2O(l)": "water", "H2O(aq)": "dissolved water",
    "H^+": "hydrogen ion", "OH^-": "hydroxide", "e^-": "electron", "F^-": "fluoride",
    "Cl^-": "chloride", "Br^-": "bromide", "I^-": "iodide", "S^2-": "sulfide", "O^2-": "oxide",
    "SCN^-": "thiocyanate", "NO3^-": "nitrate", "NH4^+": "ammonium", "SO4^2-": "sulfate",
    "CO3^2-": "carbonate",
    "PO4^3-": "phosphate", "HPO4^2-": "hydrogen phosphate", "H2PO4^-": "dihydrogen phosphate",
    "NH3": "ammonia",
    "HCO3^-": "hydrogen carbonate", "HSO4^-": "hydrogen sulfate", "C2O4^2-": "oxalate", "CN^-": "cyanide",
    "CrO4^2-": "chromate", "Cr2O7^2-": "dichromate",
}  # fmt: skip
_BRITISH = {"Al": "aluminium", "Cs": "caesium"}


class FormulaError(EqlibError):
    """A species that cannot be read; the message quotes it and says how to write it."""


@dataclass(frozen=True)
class Species:
    """One species, compared by its canonical ``name``.

    ``formula`` is the text without charge and phase, ``elements`` counts atoms, ``charge`` is in units of e,
    ``phase`` is one of "aq", "s", "l", "g". Build one with :func:`species`.
    """

    name: str
    formula: str = field(compare=False)
    elements: Mapping[str, int | Fraction] = field(compare=False, repr=False)
    charge: int = field(compare=False)
    phase: str = field(compare=False)

    def __str__(self) -> str:
        return self.name

    def __reduce__(self) -> tuple:
        return species, (self.name,)

    @property
    def key(self) -> str:
        """Formula and charge without the phase: ``NO2`` for NO2(g)."""
        return self.formula + charge_text(self.charge)

    @property
    def counts_in_K(self) -> bool:
        """Solutes and gases stand in K and Q; solids, pure liquids, the solvent and electrons do not."""
        return self.phase in ("aq", "g") and self.name != "e^-"

    @property
    def molar_mass(self) -> float:
        """Grams per mole, from the atomic masses of the molmass library (the mass of electrons is neglected).

        Raises FormulaError for a general formula such as HA, and for an indicator written HIn.
        """
        from molmass import ELEMENTS  # takes longer than the rest of this module; few need a mass

        total = 0.0
        for symbol, count in self.elements.items():
            if _is_indicator(self) or symbol not in ELEMENTS:
                raise EqlibError(
                    f"'{self.name}' is a general formula and has no molar mass; name a real compound"
                )
            total += float(count) * ELEMENTS[symbol].mass
        return total

    @property
    def latex(self) -> str:
        r"""LaTeX for mathematics mode, such as ``\mathrm{Fe^{3+}}``."""
        main, *added = _hydrate_parts(self.formula)
        body = re.sub(r"(?<=[A-Za-z)\]])(\d+)", r"_{\1}", main)
        if prefix := re.match(r"(?:[^()\[\]]+-)+(?=[A-Z(\[])", body):
            body = prefix.group().replace("-", r"\text{-}") + body[prefix.end() :]
        body += "".join(r"\cdot " + re.sub(r"(?<=[A-Za-z)\]])(\d+)", r"_{\1}", part) for part in added)
        if self.charge:
            body += "^{" + _charge_shown(self) + "}"
        return r"\mathrm{" + body + _phase_shown(self) + "}"

    @property
    def unicode(self) -> str:
        """Text with real subscripts and superscripts: Fe³⁺, Cu(NH₃)₄²⁺."""
        body = "·".join(
            re.sub(r"(?<=[A-Za-z)\]])\d+", lambda digits: digits.group().translate(_SUB), part)
            for part in _hydrate_parts(self.formula)
        )
        charge = raised(_charge_shown(self)) if self.charge else ""
        return body + charge + _phase_shown(self)

    @property
    def spoken(self) -> str:
        """How to say it, for a screen reader: "iron three plus".

        Element names for two-letter symbols and for lone ions, letters otherwise.
        """
        if self.name in _WHOLE:
            return _WHOLE[self.name]
        if _is_indicator(self):
            words = "H In" if "H" in self.elements else "In"
        elif len(self.elements) == 1 and re.fullmatch(r"[A-Z][a-z]?", self.formula):
            words = _element_name(self.formula, alone=True)
        else:
            words = " dot ".join(_spell(part) for part in _hydrate_parts(self.formula))
        if self.charge:
            sign = "plus" if self.charge > 0 else "minus"
            words += " " + (f"{_number(abs(self.charge))} " if abs(self.charge) > 1 else "") + sign
        return words + _PHASE_WORDS[self.phase]


def charge_text(charge: int) -> str:
    """``^3+``, ``^-`` or nothing."""
    if not charge:
        return ""
    return "^" + (str(abs(charge)) if abs(charge) > 1 else "") + ("+" if charge > 0 else "-")


def canonical(text: str | Species) -> str:
    """The one name under which a species is kept: ``canonical("Fe+3") == "Fe^3+"``."""
    return species(text).name


def protonated(name: str | Species) -> str:
    """Canonical name, with H3O^+ and H^+ taken for the same thing."""
    name = canonical(name)
    return "H^+" if name == "H3O^+" else name


def species(text: str | Species) -> Species:
    """Read a species.

    Raises FormulaError (one line) for an unknown element, an ambiguous charge, an unclosed bracket, and so
    on.
    """
    if isinstance(text, Species):
        return text
    if not isinstance(text, str):
        raise FormulaError(f"a species is written as text such as 'Fe^3+', not {text!r:.60}")
    return _species(text)


@lru_cache(maxsize=4096)
def _species(text: str) -> Species:
    text = " ".join(text.split())
    if len(text) > _LONGEST:
        raise FormulaError(f"'{text[:40]}...' is too long for one species")
    plain = _to_plain(text)
    if not plain:
        raise FormulaError("a species is missing: nothing is written where a formula should be")
    body, phase = _split_phase(plain, text)
    formula, charge = _split_charge(body, text)
    if formula == "e" and charge == -1:
        return Species("e^-", "e", MappingProxyType({}), -1, "aq")
    formula = _strip_outer_brackets(formula)
    atoms = _composition(formula, text)
    water = formula == "H2O" and charge == 0
    if water and phase is None:
        phase = "l"  # water with no phase is the solvent
    phase = phase or "aq"
    name = formula + charge_text(charge) + (f"({phase})" if phase != "aq" or water else "")
    return Species(name, formula, MappingProxyType(atoms), charge, phase)


def _to_plain(text: str) -> str:
    """Unicode super- and subscripts to ASCII: Cu(NH₃)₄²⁺ becomes Cu(NH3)4^2+."""
    plain = text.strip().translate(_SUBSCRIPTS).translate(_PLAIN)
    plain = re.sub(r"[⁰¹²³⁴⁵⁶⁷⁸⁹⁺⁻]+", lambda run: "^" + run.group().translate(_SUPERSCRIPTS), plain)
    plain = re.sub(r"\^\{([^{}]*)\}", r"^\1", plain)
    return re.sub(r"\^?\((\d{0,2}[+-])\)(?=\(|$)", r"^\1", plain)  # Fe(3+), Fe^(3+)


def _split_phase(plain: str, text: str) -> tuple[str, str | None]:
    found = re.fullmatch(r"(.*?)\s*\(([a-z]+)\)", plain)
    if not found:
        return plain, None
    body, phase = found.groups()
    if phase not in PHASES:
        raise FormulaError(f"'{text}': the phase ({phase}) is not known; write (s), (l), (g) or (aq)")
    return body, phase


def _split_charge(body: str, text: str) -> tuple[str, int]:
    if "^" in body:
        formula, _, charge = body.partition("^")
        found = re.fullmatch(r"(\d{0,2})([+-])|([+-])(\d{1,2})", charge)
        if not found:
            raise FormulaError(f"'{text}': the charge after ^ is not clear; write it like Fe^3+ or SO4^2-")
        size, sign = (found[1], found[2]) if found[2] else (found[4], found[3])
        if size and int(size) == 0:
            raise FormulaError(f"'{text}': a charge of 0 is left out; write {formula}")
        return formula, (1 if sign == "+" else -1) * int(size or 1)
    if found := re.fullmatch(r"(.*[A-Za-z0-9)\]])([+-])(\d{1,2})", body):  # Fe+3
        if int(found[3]) == 0:
            raise FormulaError(f"'{text}': a charge of 0 is left out; write {found[1]}")
        return found[1], int(found[2] + found[3])
    if found := re.fullmatch(r"(.*[A-Za-z)]|\[.*\])(\d+)([+-])", body):  # Fe3+: subscript or charge?
        base, number, sign = found.groups()
        raise FormulaError(
            f"'{text}' can be read two ways; write {base}^{number}{sign} (charge {number}{sign}) "
            f"or {base}{number}^{sign} (charge 1{sign})"
        )
    if found := re.fullmatch(r"(.*(?:[A-Za-z)\]]|\]\d+))([+-])", body):  # Ag+, Cl-
        return found[1], 1 if found[2] == "+" else -1
    return body, 0


def _strip_outer_brackets(formula: str) -> str:
    """[Ag(NH3)2] is the same species as Ag(NH3)2."""
    if formula.startswith("[") and formula.endswith("]") and formula.count("[") == 1:
        return formula[1:-1]
    return formula


def _composition(formula: str, text: str) -> dict[str, int | Fraction]:
    """Atoms in a formula, hydrates included: Na2SO4.10H2O."""
    body = formula
    if prefix := _PREFIX.match(body):
        body = body[prefix.end() :]
    total: dict[str, int | Fraction] = {}
    for index, part in enumerate(_hydrate_parts(body)):
        found = re.fullmatch(r"(\d+/\d+|\d+\.\d+|\d+)?(.*)", part)
        if not found or not found[2] or (index == 0 and found[1]):
            raise FormulaError(_no_formula(part, found[1] if found else None, text))
        if found[1] and Fraction(found[1].split("/")[-1]) == 0:
            raise FormulaError(f"'{text}': the number '{found[1]}' must be more than 0")
        times = _whole(Fraction(found[1] or 1))
        for element, count in _count_atoms(found[2], text).items():
            total[element] = _whole(total.get(element, 0) + times * count)
    if problem := _unknown_symbol(total, formula):
        raise FormulaError(f"'{text}': {problem}")
    return total


def _no_formula(part: str, number: str | None, text: str) -> str:
    if number and part != number:
        return (
            f"'{text}': a number in front is a coefficient and belongs in an equation; "
            f"here write {text.strip()[len(number) :].strip()}"
        )
    return f"'{text}': a formula is missing; write it like Fe^3+ or Na2SO4.10H2O(s)"


def _hydrate_parts(body: str) -> list[str]:
    """Split at the dots that join, not at a decimal point (CaSO4.0.5H2O)."""
    return re.split(r"(?<![.]\d)\.", body) if "." in body else [body]


def _count_atoms(part: str, text: str) -> dict[str, int]:
    stack: list[tuple[str, dict[str, int]]] = [("", {})]
    position = 0
    while position < len(part):
        token = _TOKEN.match(part, position)
        if not token or token["count"]:
            raise FormulaError(_stuck(part, position, text))
        position = token.end()
        if token["open"]:
            stack.append((token.group(), {}))
            continue
        if token["close"] and (len(stack) == 1 or stack[-1][0] != _PAIRS[token.group()]):
            raise FormulaError(f"'{text}': the bracket '{token.group()}' has no partner")
        group = stack.pop()[1] if token["close"] else {token.group(): 1}
        if not group:
            raise FormulaError(f"'{text}': there is nothing inside the brackets")
        count, position = _subscript(part, position, text)
        for element, atoms in group.items():
            stack[-1][1][element] = stack[-1][1].get(element, 0) + atoms * count
    if len(stack) > 1:
        raise FormulaError(f"'{text}': a bracket '{stack[-1][0]}' is not closed")
    return stack[0][1]


def _subscript(part: str, position: int, text: str) -> tuple[int, int]:
    digits = re.compile(r"\d+").match(part, position)
    if not digits:
        return 1, position
    if digits.group().startswith("0") or len(digits.group()) > 4:
        raise FormulaError(f"'{text}': the subscript {digits.group()[:12]} is not a sensible count of atoms")
    return int(digits.group()), digits.end()


def _stuck(part: str, position: int, text: str) -> str:
    rest = part[position:]
    if rest[0].islower():
        return f"'{text}': stuck at '{rest}'; element symbols begin with a capital letter, as in AgCl"
    if "+" in rest and re.search(r"\+[A-Za-z]", rest):
        return f"'{text}': two species seem joined; put a space on each side of the plus sign"
    if re.search(r"[+-]{2}", rest):
        return f"'{text}': write the charge as a number and one sign, as in Ca^2+"
    if rest[0].isdigit():
        return f"'{text}': the number '{rest[:4]}' follows nothing; write the formula first, then its count"
    return f"'{text}': '{rest[0]}' is not part of a formula; write it like Fe^3+, SO4^2- or AgCl(s)"


def _whole(number: int | Fraction) -> int | Fraction:
    """An int where the value is whole, else the Fraction."""
    return int(number) if Fraction(number).denominator == 1 else Fraction(number)


# -- symbols --------------------


def _unknown_symbol(atoms: Mapping, formula: str) -> str:
    """What is wrong with the symbols of a formula, in words; empty when nothing is."""
    if not atoms:
        return "no element is read; write a formula such as Fe^3+"
    strange = [symbol for symbol in atoms if symbol not in _ELEMENTS]
    general = all(symbol in _PLACEHOLDERS or symbol in ("H", "O", "B") for symbol in atoms)
    if strange and not general:
        return f"there is no element '{strange[0]}'{_capitals_hint(strange[0], formula)}"
    return ""


def _capitals_hint(symbol: str, formula: str) -> str:
    """Capitals typed for small letters are the commonest slip: NACL."""
    following = formula[formula.find(symbol) + len(symbol) :][:1]
    before = formula[: formula.find(symbol)][-1:]
    for guess in (before + symbol.lower(), symbol + following.lower()):
        if guess in _LIKELY:
            return f"; did you mean {guess}?"
    return "; check the capitals and the spelling"


# -- for the eye and the ear --------------------


def _is_indicator(one: Species) -> bool:
    """HIn and In^- mean an acid-base indicator, not indium."""
    body = one.formula
    return bool(re.fullmatch(r"H\d?In", body)) or (body == "In" and one.charge < 0)


def _phase_shown(one: Species) -> str:
    return f"({one.phase})" if one.name.endswith(f"({one.phase})") else ""


def _charge_shown(one: Species) -> str:
    size = str(abs(one.charge)) if abs(one.charge) > 1 else ""
    return size + ("+" if one.charge > 0 else "-")


def _number(text: str | int) -> str:
    value = int(text)
    return _NUMBER_WORDS[value] if value < len(_NUMBER_WORDS) else str(value)


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
    from molmass import ELEMENTS  # as for the molar mass

    if (len(symbol) == 1 and not alone) or symbol not in ELEMENTS:
        return symbol
    return _BRITISH.get(symbol, ELEMENTS[symbol].name.lower())
