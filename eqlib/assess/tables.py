"""What a table of a question file is made of (keys, numbers, names that stand for numbers, formulas), and how
its faults are said: every one at once, each as one line with the place, the key and what would do.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from decimal import Decimal
from pathlib import Path
from types import UnionType
from typing import Annotated, Any, Union, get_args, get_origin

from pydantic import BaseModel, BeforeValidator, ConfigDict, PlainValidator, ValidationError

from eqlib.chem.species import canonical
from eqlib.errors import EqlibError, nearest

#: In a question file: take this absorptivity from the catalogue.
CATALOGUE = "catalogue"


class QuestionError(EqlibError):
    """A question that cannot be used: names the file, the question, the key and the mend.

    ``faults``: one line each; ``str`` of it has them all.
    """

    def __init__(self, *faults: str):
        super().__init__("\n".join(faults))
        self.faults = faults


def near(word: object, known: Iterable[object]) -> str:
    """ "; did you mean 'x'?" when one of ``known`` is close, else the list of them."""
    names = [str(name) for name in known]
    close = nearest(str(word), names)
    return f"; did you mean {close!r}?" if close else f"; it can be {', '.join(names)}"


# -- tables of a question file --------------------------------------------------------------------------


class Name(str):
    """The name of one of the question's numbers, where a number could stand."""


def _a_value(given: object) -> Decimal | Name:
    if isinstance(given, str):
        return Name(given)
    return _a_number(given, "a number, or the name of one of the question's numbers")


def _a_number(given: object, wanted: str = "a number") -> Decimal:
    if isinstance(given, bool) or not isinstance(given, (int, float, Decimal)):
        raise ValueError(f"is {given!r}; write {wanted}")
    return given if isinstance(given, Decimal) else Decimal(str(given))


def _a_species(given: object) -> str:
    if not isinstance(given, str):
        raise ValueError(f"is {given!r}; write a formula in quotes")
    return canonical(given)


#: A number, or the name of one of the question's numbers.
Value = Annotated[Decimal | Name, PlainValidator(_a_value)]
#: A number that stands in the file itself.
Number = Annotated[Decimal, PlainValidator(_a_number)]
#: A formula; its canonical name.
Formula = Annotated[str, BeforeValidator(_a_species)]


def value_of(item: Decimal | float | str, numbers: Mapping[str, float]) -> float:
    """A number of the question file, or the student's number of that name."""
    return numbers[item] if isinstance(item, str) else float(item)


class Table(BaseModel):
    """One table of a question file. A key it does not know is a fault."""

    model_config = ConfigDict(extra="forbid", frozen=True, arbitrary_types_allowed=True)


def names_in(table: object, key: str = "") -> Iterator[tuple[str, Name]]:
    """(key, name) wherever a name stands for one of the question's numbers."""
    if isinstance(table, Name):
        yield key, table
    elif isinstance(table, BaseModel):
        for name in type(table).model_fields:
            if not (name == "epsilon" and getattr(table, name) == CATALOGUE):
                yield from names_in(getattr(table, name), name)
    elif isinstance(table, dict):
        for name, item in table.items():
            yield from names_in(item, str(name))
    elif isinstance(table, (tuple, list)):
        for item in table:
            yield from names_in(item, key)


# -- what a table says, fault by fault ----------------------------------------------------------------------


def validated(model: Any, entry: Any, where: str, folder: Path | None = None) -> tuple[Any, list[str]]:
    """The table as its model, or None and one line for each fault."""
    if entry is None:
        return None, [f"{where.replace(': [', ': ').rstrip(']')} is missing; add a table [assignment]"]
    if not isinstance(entry, dict):
        return None, [f"{where} is {entry!r}; write a table of keys and values"]
    try:
        return model.model_validate(entry, context={"folder": folder}), []
    except ValidationError as error:
        return None, [_line(found, model, where) for found in _without_echo(error.errors())]


def _without_echo(errors: list[Any]) -> list[Any]:
    """A key that is misspelt is also missing under its right name: that is one fault."""
    strange = [error["loc"] for error in errors if error["type"] == "extra_forbidden"]
    return [
        error
        for error in errors
        if error["type"] != "missing"
        or not any(
            loc[:-1] == error["loc"][:-1] and nearest(str(loc[-1]), [str(error["loc"][-1])])
            for loc in strange
        )
    ]


_WANTED = {
    "string_type": "text in quotes",
    "tuple_type": "a list [ ... ]",
    "dict_type": "a table { ... }",
    "model_type": "a table { ... }",
    "model_attributes_type": "a table { ... }",
    "bool_type": "true or false",
    "int_type": "a whole number",
}
_CALLED = {"part": "part", "portions": "portion", "reactions": "reaction", "items": "item"}
_OF_KEY = ("is ", "needs ", "holds ", "should ", "'", '"', "[")


def _line(error: Any, model: type[BaseModel], where: str) -> str:
    """One fault as one line: the place, the key, what is there, and what would do."""
    place, key, table = _place(error["loc"], model)
    kind, given = error["type"], error["input"]
    where += place
    if kind == "missing":
        name = error["loc"][-1]
        mend = "at least one [[question.part]]" if name == "part" else f"a line {name} = ..."
        return f"{where.removesuffix(f', {name}')}: {name} is missing; add {mend}"
    if kind == "extra_forbidden":
        return f"{where}: there is no key {key!r}{near(key, table.model_fields if table else ())}"
    if kind == "union_tag_invalid":
        tag = error["ctx"]["discriminator"].strip("'")
        known = re.findall(r"'([^']*)'", error["ctx"]["expected_tags"])
        said = "kind" if tag.endswith("()") else tag
        known = [name for name in known if name != "name"]
        return f"{where}: {said} is {error['ctx']['tag']!r}{near(error['ctx']['tag'], known)}"
    if kind == "union_tag_not_found":
        tag = error["ctx"]["discriminator"].strip("'")
        said = "kind" if tag.endswith("()") else tag
        return f"{where}: {said} is missing; add a line {said} = ..."
    if kind == "literal_error":
        known = re.findall(r"'([^']*)'", error["ctx"]["expected"])
        return f"{where}: {key} is {given!r}{near(given, known)}"
    if kind == "value_error":
        said = str(error["ctx"]["error"])
        return f"{where}: {key} {said}" if key and said.startswith(_OF_KEY) else f"{where}: {said}"
    if kind == "string_type" and isinstance(error["loc"][-1], int):
        return f"{where}: {key} should be a list of texts"
    if kind.startswith(("greater", "less", "int_")) and table is not None:
        limits = {type(m).__name__: m for m in table.model_fields[key].metadata}
        low, high = (getattr(limits.get(n), n.lower(), None) for n in ("Ge", "Le"))
        return f"{where}: {key} is {given}; write a whole number from {low} to {high}"
    return f"{where}: {key} is {given!r}; write {_WANTED.get(kind, error['msg'])}"


def _place(loc: tuple[Any, ...], model: type[BaseModel]) -> tuple[str, str, type[BaseModel] | None]:
    """(where in the question, the key, the table that the key stands in) of pydantic's location."""
    words, key = "", ""
    at: type[BaseModel] | None = model
    steps = list(loc)
    while steps:
        step = steps.pop(0)
        if isinstance(step, int) or at is None or step not in at.model_fields:
            key = key if isinstance(step, int) else str(step)
            continue
        inner = list(_tables(at.model_fields[step].annotation))
        if inner and (steps or not words.endswith(step)):
            if steps and isinstance(steps[0], int):
                words += f", {_CALLED[step]} number {steps.pop(0) + 1}"
            else:
                words += f", {step}"
            tag = steps[0] if steps and len(inner) > 1 else None
            at = next((t for t in inner if tag is None or tag in _tags(t)), None)
            if tag is not None and at is not None:
                steps.pop(0)
                words += f" ({tag})" if step == "part" else ""
            key = ""
            continue
        key = step
        at = at if not steps else None if not inner else at
        if steps and isinstance(steps[0], str):
            key, steps = str(steps[0]), []
    return words, key, at


def _tables(annotation: Any) -> Iterator[type[BaseModel]]:
    """The tables that an annotation can hold."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield annotation
    elif get_origin(annotation) in (tuple, Union, UnionType, Annotated):
        for inner in get_args(annotation):
            yield from _tables(inner)


def _tags(table: type[BaseModel]) -> tuple[Any, ...]:
    """The values of ``ask`` or ``kind`` that mean this table."""
    for key in ("ask", "kind"):
        if key in table.model_fields:
            return get_args(table.model_fields[key].annotation)
    return ()
