"""Species named loosely inside an answer, matched against the few that the question is about.

"Fe3+" is too ambiguous to be read on its own; next to a list that holds Fe^3+ it can mean only one thing.
"""

from __future__ import annotations

import re
from collections.abc import Iterable

from eqlib.assess.reading.plain import Unreadable, tidy
from eqlib.chem.species import species
from eqlib.errors import EqlibError

_PHASE = re.compile(r"\((aq|s|l|g)\)$")
_SIGNS = re.compile(r"([+-])\1*$")


def species_key(text: str) -> str:
    """A spelling-free key: "Fe^{3+}", "Fe+3", "Fe³⁺", "Fe+++" and "fe 3+" -> the same but for capitals."""
    bare = re.sub(r"[\s^{}_$]|\\mathrm|\\ce", "", tidy(text))
    bare = _PHASE.sub("", bare)
    bare = bare.replace("[", "(").replace("]", ")")
    bare = _without_outer_brackets(bare)
    bare = re.sub(r"([+-])(\d)$", r"\2\1", bare)
    signs = _SIGNS.search(bare)
    if signs and len(signs.group()) > 1:
        bare = bare[: signs.start()] + str(len(signs.group())) + signs.group(1)
    # A charge of one may be written with its 1 ("SCN1-"), unless the 1 belongs to a subscript such as 11.
    return re.sub(r"(?<=[A-Za-z)])1([+-])$", r"\1", bare)


def _without_outer_brackets(bare: str) -> str:
    """ "(Cu(NH3)4)2+" -> "Cu(NH3)42+": brackets around all but the charge say nothing."""
    found = re.fullmatch(r"\((.*)\)(\d?[+-]*\d?)", bare)
    if found is None:
        return bare
    depth = 0
    for c in found.group(1):
        depth += (c == "(") - (c == ")")
        if depth < 0:
            return bare
    return found.group(1) + found.group(2)


def match_species(text: str, names: Iterable[str]) -> tuple[str | None, str]:
    """(the one of ``names`` that ``text`` means, a note) or (None, reason).

    Tried in turn: the exact spelling, the key with capitals, the key without capitals or with the charge left
    out.
    """
    names = list(names)
    if text in names:
        return text, ""
    key = species_key(text)
    phase = _PHASE.search(tidy(text).replace(" ", ""))
    for fold, note in ((str, ""), (str.casefold, ""), (_uncharged, f"the charge of {key} taken as meant")):
        found = [n for n in names if fold(species_key(n)) == fold(key)]
        if len(found) > 1 and phase:
            found = [n for n in found if n.endswith(phase.group())] or found
        if len(found) == 1 and (fold is not _uncharged or not re.search(r"[+-]$", key)):
            return found[0], note
        if found:
            return None, "more than one"
    if key == "H3O+" and "H^+" in names:  # one and the same, written with its water
        return "H^+", ""
    return named(text, names)


def stranger(shown: str, reason: str, names: Iterable[str]) -> Unreadable:
    """The error for a species that is none of ``names``, or could be several (``reason``)."""
    listed = ", ".join(names)
    if reason == "more than one":
        return Unreadable(
            f"{shown} could mean more than one of {listed}. Please write it with its charge or phase."
        )
    return Unreadable(
        f"{shown} is not one of the species here, which are {listed}. Please check its formula and charge."
    )


#: Names in use beside those a formula is spoken with (IUPAC, Nomenclature of Inorganic Chemistry 2005; from
#: memory).
_NAMES = {
    "H^+": ("acid", "proton", "hydrogen ion", "oxonium"),
    "NO2(g)": ("nitrogen dioxide",),
    "N2O4(g)": ("dinitrogen tetroxide",),
    "I2": ("iodine",),
    "I3^-": ("triiodide",),
    "HF": ("hydrogen fluoride",),
    "CO2": ("carbon dioxide",),
    "FeSCN^2+": ("iron thiocyanate", "thiocyanatoiron", "iron(iii) thiocyanate", "thiocyanatoiron(iii)"),
    "AgSCN(s)": ("silver thiocyanate",),
    "AgCl(s)": ("silver chloride",),
    "Ag(NH3)2^+": ("diamminesilver", "diamminesilver(i)", "silver ammine"),
    "CoCl4^2-": ("tetrachloridocobaltate", "tetrachlorocobaltate", "cobalt chloride"),
    "Fe^3+": ("ferric",),
    "Fe^2+": ("ferrous",),
}
_ROMAN = {1: "i", 2: "ii", 3: "iii", 4: "iv", 5: "v", 6: "vi", 7: "vii"}
_SAYS_NOTHING = r"\b(?:ions?|cations?|anions?|the|an?|aqueous|aq|dissolved)\b|\((?:aq|s|l|g)\)"


def named(text: str, names: Iterable[str]) -> tuple[str | None, str]:
    """(the one of ``names`` called ``text``, "") or (None, reason): "silver", "silver ions", "iron(III)".

    A name that also begins the name of another one ("silver" beside silver chloride) fits more than one.
    """
    wanted = _plain_name(text)
    if len(wanted) < 3:
        return None, "none"
    known = {name: _called(name) for name in names}
    exact = [name for name, called in known.items() if wanted in called]
    longer = [n for n, called in known.items() if any(c.startswith(wanted + " ") for c in called)]
    if len(exact) == 1 and ("(" in wanted or not set(longer) - set(exact)):
        return exact[0], ""
    return None, "more than one" if exact else "none"


def _plain_name(text: str) -> str:
    words = re.sub(_SAYS_NOTHING, " ", tidy(text).casefold().replace("[", " ").replace("]", " "))
    return re.sub(r"\s+\(", "(", " ".join(words.split()))


def _called(name: str) -> set[str]:
    """The names a species goes by, in small letters: the one it is spoken with, and those of _NAMES."""
    called = {_plain_name(other) for other in _NAMES.get(name, ())}
    try:
        found = species(name)
    except EqlibError:
        return called
    if not re.search(r"\b[A-Z]\b", found.spoken):  # "iron S C N two plus" is no name
        first = found.spoken.split(" ")[0].casefold()
        called.add(first)
        if found.charge in _ROMAN and re.fullmatch(r"[A-Z][a-z]?\^\d?\+", name):
            called.add(f"{first}({_ROMAN[found.charge]})")
    return called


def _uncharged(key: str) -> str:
    return re.sub(r"\d?[+-]$", "", key).casefold()
