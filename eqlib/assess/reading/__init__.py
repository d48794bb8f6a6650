"""Read one answer: from whatever was clicked, typed or computed to a plain value, or to a kind word about it.

``read_part`` never raises for a bad answer: it returns a Reading whose ``ok`` is False and whose ``message``
says what was seen and what would do. Nothing is evaluated; see the sibling modules for each kind's grammar.
"""

from collections import Counter
from functools import lru_cache

from eqlib.assess.reading.equations import read_equation
from eqlib.assess.reading.expressions import read_expression
from eqlib.assess.reading.numbers import read_number
from eqlib.assess.reading.objects import plain
from eqlib.assess.reading.tables import read_order, read_table
from eqlib.assess.reading.text import MAX_TEXT, Reading, Unreadable, refused
from eqlib.assess.reading.words import read_choice
from eqlib.chem.equations import sides
from eqlib.errors import EqlibError
from eqlib.lab.practical.groups import stocks_of
from eqlib.lab.practical.plan import Bench
from eqlib.lab.practical.readings import read_readings

__all__ = ["MAX_TEXT", "Reading", "Unreadable", "read_part"]


def read_part(part, raw, species=()):
    """Read ``raw`` as an answer to ``part`` (see eqlib.assess.asks.base.Part). Returns a Reading, always.

    ``species``: canonical names of the reaction's species, for an expression; without them its brackets are
    not checked against the reaction until it is marked.
    """
    try:
        if part.kind == "expression":
            return read_expression(raw, species)
        return _READERS[part.kind](part, raw)
    except Unreadable as problem:
        return refused(str(problem))
    except RecursionError:
        return refused("The answer is nested too deeply to be read. A number or a few words are wanted.")


def _choice(part, raw):
    return read_choice(raw, part.options)


def _number(part, raw):
    return read_number(raw, part.unit, logarithm=part.quantity == "pKa")


def _table(part, raw):
    return read_table(raw, part.columns, part.rows, part.unit or "mol/L", part.units)


def _order(part, raw):
    return read_order(raw, part.options)


def _equation(part, raw):
    species, reactants = _species_of(part.skeleton)
    return read_equation(raw, species, reactants)


@lru_cache(maxsize=256)
def _species_of(skeleton):
    """(species in the order of the skeleton equation, how many are reactants)."""
    left, right = sides(skeleton)
    return (*left, *right), len(left)


def _text(_part, raw):
    value = plain(raw)
    if value is None or (isinstance(value, str) and not value.strip()):
        raise Unreadable("The explanation is still empty. A sentence or two would do.")
    if not isinstance(value, str):
        raise Unreadable("An explanation is wanted in words, as text. A sentence or two would do.")
    count = len(value.split())
    return Reading(True, value, f"read as a text of {count} word{'' if count == 1 else 's'}")


def _readings(_part, raw):
    """A table of readings as text; what was understood of it, and what was not, by line and column."""
    value = plain(raw)
    if not isinstance(value, str):
        raise Unreadable(
            "The readings are wanted as a table in text: a line of headings, a line for each tube."
        )
    try:
        found = read_readings(value, stocks_of(Bench()))
    except EqlibError as error:
        raise Unreadable(f"{str(error)[:1].upper()}{str(error)[1:]}.") from None
    counted = Counter(tube.role for tube in found.tubes)
    shown = f"read as {counted['standard']} standards and {counted['test']} tests"
    return Reading(True, value, shown, notes=(*found.notes[1:], *map(str, found.faults[:3])))


_READERS = {
    "readings": _readings,
    "choice": _choice,
    "number": _number,
    "text": _text,
    "table": _table,
    "order": _order,
    "equation": _equation,
}
