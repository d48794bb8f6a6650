"""What no machine marks: an explanation in words, and how sure somebody is."""

from __future__ import annotations

from decimal import Decimal
from typing import Any, Literal

from pydantic import field_validator

from eqlib.assess.asks.base import Ask, Part, PartTable
from eqlib.assess.reading.plain import Reading, Unreadable, plain
from eqlib.assess.tables import Number


class ExplainTable(PartTable):
    ask: Literal["explain"]
    rubric: tuple[str, ...] = ()


class Explain(Ask):
    """Read by a person, against ``rubric``."""

    computed = False
    by_person = True
    kind = "text"
    Table = ExplainTable
    of_chemistry = False
    label = "Explain in your own words"
    keys = ("rubric",)

    def read(self, part: Part, raw: Any, species: tuple[str, ...]) -> Reading:
        value = plain(raw)
        if value is None or (isinstance(value, str) and not value.strip()):
            raise Unreadable("The explanation is still empty. A sentence or two would do.")
        if not isinstance(value, str):
            raise Unreadable("An explanation is wanted in words, as text. A sentence or two would do.")
        count = len(value.split())
        return Reading(True, value, f"read as a text of {count} word{'' if count == 1 else 's'}")


class ConfidenceTable(PartTable):
    ask: Literal["confidence"]
    weight: Number = Decimal(0)

    @field_validator("weight")
    @classmethod
    def _never(cls, given: Decimal) -> Decimal:
        if given:
            raise ValueError("is never marked; leave it out")
        return given


class Confidence(Ask):
    """guess | unsure | fairly | certain; never scored."""

    computed = False
    Table = ConfidenceTable
    of_chemistry = False
    legend = "How sure"
    label = "How sure are you? (This is never marked.)"
    choices = (
        ("guess", "a guess"),
        ("unsure", "not very sure"),
        ("fairly", "fairly sure"),
        ("certain", "certain"),
    )
