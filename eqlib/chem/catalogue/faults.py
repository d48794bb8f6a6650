"""What is wrong with a catalogue file, said in one line each: file, place, what is wrong, how to mend it.

First the shape, which the models in ``records`` check; then what a model cannot see: whether the file makes
chemical sense. Each rule notes every fault it finds.
"""

from __future__ import annotations

from collections.abc import Iterable
from itertools import pairwise
from pathlib import Path
from typing import Any, get_args, get_type_hints

from pydantic import ValidationError
from pydantic.fields import FieldInfo

from eqlib.chem.catalogue.records import CatalogueFile, Constant, Spectrum, Table
from eqlib.chem.reactions import Reaction
from eqlib.chem.species import Species, species
from eqlib.errors import EqlibError, nearest

MANY = 20  # more words than this are not listed in full; the near one is named


class CatalogueError(EqlibError):
    """A catalogue file or name that cannot be used. ``faults`` are its lines, ``str(error)`` all of them."""

    def __init__(self, *faults: str):
        super().__init__("\n".join(faults))
        self.faults = faults


class Faults:
    """The faults found in one file so far, a line each."""

    def __init__(self, path: Path):
        self.path = path
        self.lines: list[str] = []

    def add(self, where: str, what: str, mend: str) -> None:
        """Note one; ``where`` is "" when the whole file is meant."""
        place = f"{self.path}, {where}" if where else f"{self.path}"
        self.lines.append(" ".join(f"{place}: {what}; {mend}.".split()))

    def stop_if_any(self) -> None:
        """Raise CatalogueError with every line, if there is one."""
        if self.lines:
            raise CatalogueError(*self.lines)


def complaint(path: Path, where: str, what: str, mend: str) -> CatalogueError:
    """A single fault, to raise."""
    faults = Faults(path)
    faults.add(where, what, mend)
    return CatalogueError(*faults.lines)


def suggestion(name: str, names: Iterable[str]) -> str:
    """Mending words for an unknown name: the near one if any, then what may be written."""
    known = {n.lower(): n for n in names}
    wanted = str(name).lower()
    close = known.get(wanted) or known.get(nearest(wanted, known) or "")
    if close is None and len(wanted) >= 3:
        close = next((n for low, n in known.items() if low.startswith(wanted)), None)
    listing = f"be one of: {', '.join(sorted(known.values())) or 'none yet'}"
    return f"did you mean {close!r}? It may {listing}" if close else f"it may {listing}"


def shape_faults(path: Path, raw: dict[str, Any], error: ValidationError) -> Faults:
    """What pydantic found, in the words of the file: a line for each missing, unknown or wrong key."""
    faults = Faults(path)
    seen = set()
    errors = error.errors()
    for found in errors:
        table, field, where = _place(raw, found["loc"])
        if where in seen or _told_by_another(found, errors):
            continue
        seen.add(where)  # a value that may be of two kinds is told once
        given = found["input"]
        if found["type"] == "missing":
            faults.add(where, "this key is missing", f"add {field} = {wanted(table, field)}")
        elif found["type"] == "extra_forbidden":
            faults.add(where, "this key is not known here", suggestion(field, names_of(table)))
        elif found["type"].startswith("union_tag"):
            kinds = [kind for model in _tables(table, field) for kind in _kinds(model)]
            kind = given.get("kind") if isinstance(given, dict) else given
            if kind is None:
                faults.add(f"{where}, kind", "this key is missing", f"add one of: {', '.join(kinds)}")
            else:
                faults.add(
                    f"{where}, kind", f"{kind!r:.60} is not a known stress", suggestion(str(kind), kinds)
                )
        elif found["type"] == "literal_error" and len(words := _words_of(_hint(table, field))) > MANY:
            near = str(given).upper().replace("O", "0")  # the letter O is the commonest slip in a hazard code
            faults.add(where, f"{given!r:.60} is not known", suggestion(near, words))
        else:
            faults.add(where, f"is {_short(given)}", f"write {wanted(table, field)}")
    return faults


def _told_by_another(found: Any, errors: Any) -> bool:
    """Is a missing key only misspelt? Then the unknown key says so."""
    if found["type"] != "missing":
        return False
    *place, key = found["loc"]
    unknown = (e["loc"] for e in errors if e["type"] == "extra_forbidden")
    beside = [str(loc[-1]).lower() for loc in unknown if list(loc[:-1]) == place]
    return str(key).lower() in beside or nearest(str(key).lower(), beside) is not None


def names_of(table: type[Table]) -> list[str]:
    """The keys of a table as the file writes them."""
    return [info.alias or name for name, info in table.model_fields.items()]


def wanted(table: type[Table], key: str) -> str:
    """What may stand at a key, in words."""
    hint = _hint(table, key)
    described = _described(hint)
    if described:
        return described
    words = _words_of(hint)
    if words:
        return f"one of: {', '.join(words)}"
    inner = _tables(table, key)
    if inner:
        listed = "tuple" in str(getattr(hint, "__origin__", "")) or "tuple[" in str(hint)
        return f"tables, such as [[{key}]]" if listed else f"a table with {', '.join(names_of(inner[0])[:4])}"
    return "true or false, without quotes" if "bool" in str(hint).lower() else "a piece of text in quotes"


def _hint(table: type[Table], key: str) -> Any:
    hints = get_type_hints(table, include_extras=True)
    name = next((n for n, info in table.model_fields.items() if key in (n, info.alias)), None)
    return hints.get(name or "", str)


def _described(hint: Any) -> str | None:
    for part in getattr(hint, "__metadata__", ()):
        if isinstance(part, FieldInfo) and part.description:
            return part.description
    return next((words for part in get_args(hint) if (words := _described(part))), None)


def _words_of(hint: Any) -> list[str]:
    parts = get_args(hint)
    if parts and all(isinstance(part, str) for part in parts):
        return list(parts)
    return next((words for part in parts if (words := _words_of(part))), [])


def _tables(table: type[Table], key: str) -> list[type[Table]]:
    """The models that may stand at a key."""
    found: list[type[Table]] = []

    def search(hint: Any) -> None:
        if isinstance(hint, type) and issubclass(hint, Table):
            found.append(hint)
        for part in get_args(hint):
            search(part)

    search(_hint(table, key))
    return found


def _kinds(model: type[Table]) -> list[str]:
    return _words_of(_hint(model, "kind")) if "kind" in model.model_fields else []


#: What one member of a list is called.
_MEMBER = {"bands": "band number", "portions": "portion"}


def _place(raw: Any, loc: tuple[Any, ...]) -> tuple[type[Table], str, str]:
    """The table model, the key in it, and the place in words, of a pydantic location."""
    table: type[Table] = CatalogueFile
    key, words, value = "", [""], raw
    for part in loc:
        models = _tables(table, key) if key else []
        if isinstance(part, int):
            value = value[part] if isinstance(value, list) and part < len(value) else None
            words[-1] = f"{_MEMBER.get(words[-1], words[-1])} {_called(value) or part + 1}"
        elif len(models) > 1 and any(part in _kinds(model) for model in models):
            table, key = next(model for model in models if part in _kinds(model)), ""
        elif key and not models:
            break  # inside a plain value: the place of the value will do
        else:
            table, key = models[0] if models else table, str(part)
            words.append(key)
            value = value.get(part) if isinstance(value, dict) else None
    return table, key, ", ".join(words[1:])


def _called(value: Any) -> str | None:
    """What tells one member of a list from another, in quotes."""
    names = (
        (value.get(key) for key in ("key", "species", "stock", "reagent")) if isinstance(value, dict) else ()
    )
    return next((f"{name!r:.60}" for name in names if isinstance(name, str)), None)


def _short(value: object) -> str:
    try:
        text = repr(value)
    except ValueError:  # Python refuses to write out a whole number of thousands of digits
        return "a number of thousands of digits"
    return text if len(text) <= 60 else text[:57] + "..."


# -- meaning --------------------


def read_species(faults: Faults, where: str, text: str) -> Species | None:
    """The Species that ``text`` means; None, and a fault that says where it stands, when it means none."""
    try:
        return species(text)
    except EqlibError as error:
        faults.add(where, f"the species {text!r} cannot be read", str(error).rstrip("."))
        return None


def no_key_twice(doc: CatalogueFile, faults: Faults) -> None:
    """Keys name things, so a key stands once in its list (and a species once among spectra and solids)."""
    for kind in ("reaction", "reagent", "stock", "stress"):
        _once(faults, kind, "key", [one.key for one in getattr(doc, kind)])
    for kind in ("spectrum", "solid"):
        _once(faults, kind, "species", [one.species for one in getattr(doc, kind)])
    for reaction in doc.reaction:
        where = f"reaction {reaction.key!r}, constant"
        _once(faults, where, "key", [constant.key for constant in reaction.constant])


def _once(faults: Faults, where: str, name: str, values: list[str]) -> None:
    for value in dict.fromkeys(v for v in values if values.count(v) > 1):
        faults.add(f"{where} {value!r}", f"this {name} stands twice", "rename one or take it out")


def reactions_balance(doc: CatalogueFile, faults: Faults) -> None:
    """Every equation is read, its species too, and atoms and charge are the same on both sides."""
    for entry in doc.reaction:
        where = f"reaction {entry.key!r}, equation"
        try:
            balanced = Reaction(entry.equation, K=1.0, basis=entry.basis).is_balanced
        except EqlibError as error:
            faults.add(where, f"{entry.equation!r} cannot be read", str(error).rstrip("."))
            continue
        if not balanced:
            mend = "make the atoms and the charge the same on both sides; eqlib.balance can find the numbers"
            faults.add(where, f"{entry.equation!r} does not balance", mend)


def constants_say_one_value(doc: CatalogueFile, faults: Faults) -> None:
    """A constant gives K or log10_K, not both and not neither; the default is one of those listed."""
    for entry in doc.reaction:
        where = f"reaction {entry.key!r}"
        if not entry.constant:
            faults.add(f"{where}, constant", "no constant is given", "add [[reaction.constant]]")
            continue
        for constant in entry.constant:
            _one_value(faults, f"{where}, constant {constant.key!r}", constant)
        keys = [constant.key for constant in entry.constant]
        if entry.default not in keys:
            what = f"{entry.default!r} is not one of its constants"
            faults.add(f"{where}, default", what, suggestion(entry.default, keys))


def _one_value(faults: Faults, where: str, constant: Constant) -> None:
    if (constant.value is None) == (constant.log10_K is None):
        both = constant.value is not None
        what = "both K and log10_K stand here" if both else "neither K nor log10_K stands here"
        faults.add(f"{where}, K", what, "write exactly one of them")
    if abs(constant.log10_K or 0.0) > 200:
        faults.add(f"{where}, log10_K", f"is {constant.log10_K}", "write a power of ten under 200")


def concentrates_have_a_strength(doc: CatalogueFile, faults: Faults) -> None:
    """A concentrate is diluted by its mol/L."""
    for bottle in doc.reagent:
        if bottle.state == "concentrate" and bottle.molarity is None:
            where = f"reagent {bottle.key!r}, molarity"
            faults.add(where, "a concentrate needs its strength", "add molarity = mol/L")


def stocks_are_neutral(doc: CatalogueFile, faults: Faults) -> None:
    """A stock's species are in solution and its charges cancel, as in any bottle."""
    for stock in doc.stock:
        where = f"stock {stock.key!r}, species"
        if not stock.species:
            mend = 'add them, such as { "Ag^+" = 0.1, "NO3^-" = 0.1 }'
            faults.add(where, "this stock holds no species", mend)
        charge = total = 0.0
        readable = True
        for name, molar in stock.species.items():
            one = read_species(faults, where, name)
            readable = readable and one is not None
            if one is None:
                continue
            if one.phase != "aq":
                faults.add(where, f"{name} is not in solution", "name what is dissolved")
            charge += one.charge * molar
            total += abs(one.charge) * molar
        if readable and abs(charge) > 1e-6 * max(total, 1e-12):
            what = f"the charges add up to {charge:+.3g} mol/L"
            faults.add(where, what, "add the missing ion, such as NO3^-, or correct a number")


def spectra_are_possible(doc: CatalogueFile, faults: Faults) -> None:
    """Bands or a table, not both; a table's columns of equal length, its wavelengths rising."""
    for spectrum in doc.spectrum:
        where = f"spectrum {spectrum.species!r}"
        read_species(faults, where, spectrum.species)
        has_table = bool(spectrum.nm or spectrum.at_nm)
        if has_table == bool(spectrum.bands):
            what = (
                "both bands and a table stand here" if has_table else "neither bands nor a table stands here"
            )
            faults.add(where, what, "write bands = [...], or nm = [...] with epsilon = [...]")
        elif has_table:
            _table_is_possible(faults, where, spectrum)


def _table_is_possible(faults: Faults, where: str, spectrum: Spectrum) -> None:
    if len(spectrum.nm) != len(spectrum.at_nm) or len(spectrum.nm) < 2:
        what = f"nm has {len(spectrum.nm)} numbers and epsilon has {len(spectrum.at_nm)}"
        faults.add(f"{where}, epsilon", what, "give one epsilon for each wavelength, two or more")
    if any(b <= a for a, b in pairwise(spectrum.nm)):
        faults.add(f"{where}, nm", "the wavelengths do not rise", "sort the table from short to long")


def solids_are_solids(doc: CatalogueFile, faults: Faults) -> None:
    """A solid's look belongs to a species marked (s)."""
    for look in doc.solid:
        where = f"solid {look.species!r}"
        one = read_species(faults, where, look.species)
        if one is not None and one.phase != "s":
            faults.add(f"{where}, species", "is not a solid", "write it with (s), such as AgSCN(s)")


def enough_to_be_a_system(doc: CatalogueFile, faults: Faults) -> None:
    """A system needs a recipe, waste, PPE and at least one reaction of its own or used from another file."""
    if not doc.reaction and not doc.uses:
        faults.add("reaction", "there is no reaction", 'add [[reaction]], or uses = "iron-thiocyanate"')
    for key, mend in (
        ("recipe", "add a [recipe] with vessel, celsius, steps and portions"),
        ("ppe", 'add ppe = ["eye protection", ...]'),
        ("waste", 'add waste = ["where it goes", ...]'),
    ):
        if not getattr(doc, key):
            faults.add(key, "this key is missing", mend)


RULES = (
    no_key_twice,
    reactions_balance,
    constants_say_one_value,
    concentrates_have_a_strength,
    stocks_are_neutral,
    spectra_are_possible,
    solids_are_solids,
)


def check_meaning(doc: CatalogueFile, faults: Faults, *, is_system: bool) -> None:
    """Run every rule on one file by itself. What it takes from other files is checked when it is built."""
    for rule in (*RULES, enough_to_be_a_system) if is_system else RULES:
        rule(doc, faults)
