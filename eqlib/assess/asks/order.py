"""Putting things in order: mixtures by what they hold, reactions by how fast they are."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from itertools import pairwise
from typing import TYPE_CHECKING, Any, ClassVar, Literal

from pydantic import field_validator

from eqlib.assess.asks.base import Answered, Ask, Part, PartTable, Verdict, in_order, in_unicode
from eqlib.assess.reading.choices import read_order
from eqlib.assess.reading.plain import Reading
from eqlib.assess.setting import StressTable
from eqlib.assess.tables import Formula, QuestionError, Table, Value, value_of
from eqlib.chem.disturb import disturb
from eqlib.writing import number

if TYPE_CHECKING:
    from eqlib.assess.question import Case, Policy


class Item(Table):
    """One entry of an order: the mixture after ``stress``, or as it is without one."""

    label: str
    stress: StressTable | None = None


class TimedItem(Table):
    """One entry of an order of speeds: its constant and the time it took."""

    label: str
    K: Value
    seconds: Value


def _enough(items: tuple[Any, ...]) -> tuple[Any, ...]:
    if len(items) < 3 or len({item.label for item in items}) != len(items):
        raise ValueError("needs at least three entries with different labels")
    return items


class _Ordered(Ask):
    kind = "order"
    order = "shuffled"
    keys: ClassVar[tuple[str, ...]] = ("items",)

    def options(self, table: Any, question: str) -> tuple[tuple[str, str], ...]:
        return tuple((item.label, item.label) for item in table.items)

    def read(self, part: Part, raw: Any, species: tuple[str, ...]) -> Reading:
        return read_order(raw, part.options)

    def judge(self, part: Part, case: Case, reading: Reading, answered: Answered, policy: Policy) -> Verdict:
        """All in order, or the share of pairs in order beyond what chance gives."""
        share = in_order(reading.value, case.expected[part.id])
        if share == 1.0:
            return Verdict(1.0, "right")
        mistake = self.idea(part, case, reading.value, answered.said)
        return Verdict(share, "partly" if share else "wrong", mistake)

    def idea(self, part: Part, case: Case, value: Any, said: Mapping[str, Any]) -> str | None:
        return None

    def words(self, part: Part, case: Case, value: Any) -> str:
        return ", ".join(value)


class OrderTable(PartTable):
    ask: Literal["order"]
    items: tuple[Item, ...]
    species: Formula
    when: Literal["after"] = "after"

    _items = field_validator("items")(_enough)


class Order(_Ordered):
    """Labels of ``items`` in order of the concentration of ``species``, the most first."""

    Table = OrderTable
    label = "Put these in order"
    keys = ("items", "species", "when")

    def expected(self, part: Part, case: Case, own: Mapping[str, Any]) -> list[str]:
        return sorted(sizes := self._sizes(part, case), key=lambda label: sizes[label], reverse=True)

    def worked(self, part: Part, case: Case) -> str:
        sizes = self._sizes(part, case)
        found = ", ".join(number(sizes[label]) for label in case.expected[part.id])
        return f"{super().worked(part, case)}; [{in_unicode(part.species)}] = {found} mol/L."

    def _sizes(self, part: Part, case: Case) -> dict[str, float]:
        """label -> mol/L of the species."""
        found, start = {}, case.start
        if start is None:
            raise QuestionError("there is no mixture to put in order; add [question.start]")
        for item in part.items:
            stress = case.setting.stress_for(case.numbers, item.stress) if item.stress is not None else None
            state = disturb(start, stress).after if stress is not None else start.equilibrate()
            found[item.label] = state[part.species]
        return found


class SpeedTable(PartTable):
    ask: Literal["speed"]
    items: tuple[TimedItem, ...]

    _items = field_validator("items")(_enough)


class Speed(_Ordered):
    """Labels of ``items``, fastest first, from the times measured."""

    Table = SpeedTable
    of_chemistry = False
    label = "Put these in order, the fastest first"

    def expected(self, part: Part, case: Case, own: Mapping[str, Any]) -> list[str]:
        ranked = sorted(part.items, key=lambda item: value_of(item.seconds, case.numbers))
        return [item.label for item in ranked]

    def idea(self, part: Part, case: Case, value: Any, said: Mapping[str, Any]) -> str | None:
        """An order that just follows the constants."""
        by_K = sorted(part.items, key=lambda item: value_of(item.K, case.numbers), reverse=True)
        return "rate_is_extent" if value == [item.label for item in by_K] else None

    def doubts(self, part: Part, case: Case) -> Iterator[str]:
        items = [(value_of(i.seconds, case.numbers), value_of(i.K, case.numbers)) for i in part.items]
        for at, what in ((0, "seconds"), (1, "K")):
            values = sorted(item[at] for item in items)
            if any(high < 1.2 * low for low, high in pairwise(values)):
                yield f"two items of {part.id} have nearly the same {what}; set them further apart"
        if sorted(items) == sorted(items, key=lambda item: -item[1]):
            yield f"{part.id}: the fastest also have the largest K, so nobody can show a confusion of the two"
