"""What a table of a question file is made of: keys, numbers, names that stand for numbers, formulas."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from decimal import Decimal
from typing import Annotated

from pydantic import BaseModel, BeforeValidator, ConfigDict, PlainValidator

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
