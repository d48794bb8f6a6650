"""Choices as people say them: "right", "to the products", "->", "no change", "paler".

A phrase is reduced to its telling words; each telling word belongs to one idea; the option that stands for
that idea is chosen. A word that is not known, two ideas at once, or a "not" in front of one: the person is
asked again.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Callable, Iterable

from eqlib.assess.reading.plain import Reading, Unreadable, plain, quote, tidy
from eqlib.assess.reading.species import match_species

# idea: the words for it (lower case, after tidying). Phrases of several words come first, see _PHRASES.
_IDEAS = """
forward: forward forwards right rightwards rightward product products rhs fwd → -> --> => >
reverse: reverse reversed left leftwards leftward back backward backwards reactant reactants lhs
    rev ← <- <-- <= <
still: none same unchanged nothing neither constant unaffected identical nowhere nochange ⇌ <=>
    <-> = ==
dark: darker dark deeper deep stronger strong intense redder bolder darkens darken deepens
pale: paler pale lighter light fainter faint weaker weak fades faded fade lightens lighten
up: larger higher increase increases increased increasing up rise rises rose bigger greater big
    high large more ↑ grow grows
down: smaller lower decrease decreases decreased decreasing down fall falls fell less small low
    ↓ drop drops fewer reduced reduces shrinks
yes: yes y true
no: no n false
"""
_IDEA_OF = {
    word: idea
    for idea, words in re.findall(r"^(\w+): (.*(?:\n    .*)*)", _IDEAS, re.MULTILINE)
    for word in words.split()
}
_PHRASES = (
    (r"\b(?:does|do|did|will|would|is|are|has|have|could|can)\s?n[o']?t\b|\bcannot\b|\bdoesnt\b",
     "not"),
    (r"\bfrom\s+(?:the\s+)?(?:left|reactants?)\s+to\s+(?:the\s+)?(?:right|products?)\b|\bleft\s+to\s+right\b",
     "forward"),
    (r"\bfrom\s+(?:the\s+)?(?:right|products?)\s+to\s+(?:the\s+)?(?:left|reactants?)\b|\bright\s+to\s+left\b",
     "reverse"),
    (r"\b(?:no|not|zero|without|any)\s+(?:net\s+|visible\s+|observable\s+|real\s+)?"
     r"(?:chang\w*|shift\w*|differen\w*|effect|mov\w*|affect\w*|altered|reaction)\b", "nochange"),
    (r"\bnot\s+(?:\w+\s+)?(?:shift|change|move|differ)\b", "nochange"),
    (r"\bneither\s+(?:\w+\s+)?(?:left|right|darker|lighter|paler|up|down|higher|lower|larger|smaller|"
     r"forwards?|backwards?|reverse)\s+n?or\s+\w+\b", "nochange"),
    (r"\b(?:stays?|remains?)\s+(?:as\s+it\s+(?:is|was)|put)\b", "nochange"),
    (r"\b(?:stays?|remains?)\s+(?:at\s+)?\d[\d.,]*$", "nochange"),
    (r"\bmore\s+(intense|dark|pale|red|orange|blue|brown|coloured|colored|colour|color)\b", r"darker_\1"),
    (r"\b(?:less|not\s+as|not\s+so)\s+(?:intense|dark|red|orange|blue|brown|coloured|colored|strong|colour|"
     r"color)\b|\b(?:los(?:es?|ing|t)\s+(?:its\s+|the\s+|some\s+)?colou?r|bleach\w*)\b", "paler"),
    (r"\bno\s+(?:solid|precipitate|cloud\w*)\b|\b(?:stays?|remains?)\s+clear\b", "no"),
    (r"^\s*(?:an?\s+)?(?:white\s+)?(?:solid|precipitate)(?:\s+(?:forms?|appears?))?\s*[.!]?$", "yes"),
    (r"\b(?:fewer|less|lower)\s+products?\b|\bmore\s+reactants?\b", "reverse"),
    (r"\b(?:fewer|less|lower)\s+reactants?\b|\bmore\s+products?\b", "forward"),
)  # fmt: skip
_DARKER = {
    f"darker_{w}": "darker"
    for w in ("intense", "dark", "red", "orange", "blue", "brown", "coloured", "colored", "colour", "color")
}
_DARKER["darker_pale"] = "paler"
_FILLER_WORDS = """
a an the it it's its i think to toward towards into on in of and that this is are be been was will would
gets get got becomes become became becoming turns turn goes go going went moves move moving moved shifts
shift shifting shifted stays stay staying stayed remains remain remaining remained equilibrium position
reaction side direction way net colour color coloured solution mixture k kc kp value concentration
slightly bit little much very far favours favors favour favor favoured so then there forms form formed
making makes make hand exactly about still just all what which only slight amount level number by looks
look looking appears at does did do happens happen happening changes change as before put visible
visibly shade red orange yellow green blue violet purple pink brown
"""
_FILLER = frozenset(_FILLER_WORDS.split())
_DENIALS = {"not", "never", "away", "against", "opposite", "opposes", "without", "un"}

#: An option: its value and its label.
Pair = tuple[str, str]


def read_choice(raw: object, options: Iterable[str | Pair], name: str = "This answer") -> Reading:
    """Read a choice among ``options``, (value, label) pairs or plain values. Returns a Reading whose value is
    an option's value. Errors: Unreadable, listing what would do.
    """
    pairs = [(o, o) if isinstance(o, str) else (str(o[0]), str(o[1])) for o in options]
    value = plain(raw)
    if isinstance(value, list) and len(value) == 1:
        value = value[0]
    if isinstance(value, bool):
        value = "yes" if value else "no"
    if isinstance(value, int | float):
        value = f"{value:g}"
    if value is None or (isinstance(value, str) and not value.strip()):
        raise Unreadable(f"{name} is still empty. Please choose one of: {_listed(pairs)}.")
    if not isinstance(value, str):
        raise Unreadable(f"{name} wants one choice. Please choose one of: {_listed(pairs)}.")
    chosen = _exactly(value, pairs) or _by_name(value, pairs) or _by_meaning(value, pairs)
    return Reading(True, chosen[0], f"read as {quote(chosen[1], 200)}")


def _listed(pairs: list[Pair]) -> str:
    shown = [f"{label}" for _, label in pairs[:12]]
    return "; ".join(label.rstrip(".") for label in shown) + ("; …" if len(pairs) > 12 else "")


def _folded(text: str) -> str:
    """Lower case, one blank between words, no full stop: for comparing with the options themselves."""
    return tidy(text).casefold().strip(" .!\"'()").strip()


def _exactly(text: str, pairs: list[Pair]) -> Pair | None:
    """The option that was typed as it stands, by value before label; case matters only to tell two apart."""
    folds: tuple[Callable[[str], str], ...] = (str.strip, _folded, _bare)
    for fold in folds:
        wanted = fold(text)
        for i in (0, 1):
            found = [p for p in pairs if fold(p[i]) == wanted]
            if wanted and len({p[0] for p in found}) == 1:
                return found[0]
    return None


def _by_name(text: str, pairs: list[Pair]) -> Pair | None:
    """The option that is the species called so: "silver" for Ag^+."""
    found, _ = match_species(text, [value for value, _ in pairs if re.match(r"[A-Z]", value)])
    return next((pair for pair in pairs if pair[0] == found), None)


def _bare(text: str) -> str:
    """Letters, digits and signs only: "Fe3+" and "Fe^{3+}" are the same species."""
    bare = re.sub(r"[\s^{}_\[\]()]", "", tidy(text).casefold())
    return re.sub(r"([+-])(\d+)$", r"\2\1", bare)


def _by_meaning(text: str, pairs: list[Pair]) -> Pair:
    ideas, unknown, denied = _ideas(text)
    on_offer: dict[str, set[Pair]] = {}
    for pair in pairs:
        for idea in _ideas_of_option(pair):
            on_offer.setdefault(idea, set()).add(pair)
    if "still" in ideas and "still" not in on_offer and "no" in on_offer:
        ideas = (ideas - {"still"}) | {"no"}
    if ideas == {"no"} and "no" not in on_offer and "still" in on_offer:
        ideas = {"still"}
    telling = ideas & set(on_offer)
    if not denied and not unknown and len(telling) == 1 and ideas <= telling | {"up"}:
        found = on_offer[telling.pop()]
        if len(found) == 1:
            return next(iter(found))
    raise Unreadable(f"{quote(text)} could not be matched to one of the choices. "
                     f"Please choose one of: {_listed(pairs)}.")  # fmt: skip


def _ideas_of_option(pair: Pair) -> set[str]:
    """What an option stands for, from its value, or else from its label if that is short."""
    word = _IDEA_OF.get(pair[0].casefold())
    if word:
        return {word}
    if len(pair[1]) > 40:
        return set()
    ideas, unknown, denied = _ideas(pair[1])
    return ideas if len(ideas) == 1 and not unknown and not denied else set()


def _ideas(text: str) -> tuple[set[str], bool, bool]:
    """(ideas named, was a word unknown, was something denied) in a phrase."""
    phrase = tidy(text[:200]).casefold()
    phrase = re.sub(r"(?:\b(?:wo|ca))?n't\b", " not", phrase)
    for pattern, instead in _PHRASES:
        phrase = re.sub(pattern, f" {instead} ", phrase)
    words = re.findall(r"[a-z_']+|<=>|<->|<-+|-+>|=+>|<=|[→←⇌↑↓<>]|=+|[^\s\w.,;:!?()\"]|\d+", phrase)
    ideas, unknown, denied = set(), len(text) > 200, False
    for word in words:
        word = _DARKER.get(word, word.strip("'"))
        if word in _DENIALS:
            denied = True
        elif word in _IDEA_OF:
            ideas.add(_IDEA_OF[word])
        elif word and word not in _FILLER:
            guess = _misspelt(word)
            ideas |= {guess} if guess else set()
            unknown = unknown or guess is None
    return ideas, unknown, denied


def _misspelt(word: str) -> str | None:
    """The idea of a word with a slip of the finger ("foward"), if only one idea is near."""
    if len(word) < 5:
        return None
    near = difflib.get_close_matches(word, [w for w in _IDEA_OF if len(w) > 3], n=4, cutoff=0.85)
    found = {_IDEA_OF[w] for w in near}
    return found.pop() if len(found) == 1 else None
