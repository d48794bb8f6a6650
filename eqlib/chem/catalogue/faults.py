"""What is wrong with a catalogue file, said in one line each: file, place, what is wrong, how to mend it."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import Any, get_args, get_type_hints

from pydantic import ValidationError
from pydantic.fields import FieldInfo

from eqlib.chem.catalogue.records import CatalogueFile, Table
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
    beside = [
        e["loc"][-1] for e in errors if e["type"] == "extra_forbidden" and e["loc"][:-1] == found["loc"][:-1]
    ]
    return any(nearest(str(found["loc"][-1]).lower(), [str(key).lower()]) for key in beside) or any(
        str(key).lower() == str(found["loc"][-1]).lower() for key in beside
    )


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
