"""Species named loosely inside an answer, matched against the few that the question is about.

"Fe3+" is too ambiguous to be read on its own; next to a list that holds Fe^3+ it can mean only one thing.
"""

import re

from eqlib.assess.reading.text import tidy

_PHASE = re.compile(r"\((aq|s|l|g)\)$")
_SIGNS = re.compile(r"([+-])\1*$")


def species_key(text):
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


def _without_outer_brackets(bare):
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


def match_species(text, names):
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
    return None, "none"


def _uncharged(key):
    return re.sub(r"\d?[+-]$", "", key).casefold()
