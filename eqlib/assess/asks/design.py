"""A demonstration to plan: no right answer, but requirements that a plan meets or misses.

The five parts of a plan are five parts of one question (``of`` = demo, vessel, start, add, back). Each is
worth the requirements it decides, and all of them are judged by mixing the whole plan. The question has a
number ``least_mL``: what is wanted in the end, in mL.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import TYPE_CHECKING, Any, Literal

from eqlib.assess.asks.base import Answered, Ask, Part, PartTable, Verdict
from eqlib.assess.reading.numbers import read_number
from eqlib.assess.reading.plain import Reading
from eqlib.errors import EqlibError
from eqlib.lab.demonstration import VESSELS, Judged, Plan, demonstrations, judge, some_plan

if TYPE_CHECKING:
    from eqlib.assess.question import Case, Policy

LEAST = "least_mL"
#: Part of a plan -> its label, its field of a Plan, and the requirements that it decides.
PIECES = {
    "demo": ("What is shown", "demo", ("safe",)),
    "vessel": ("In what", "vessel", ("large enough",)),
    "start": ("Start with", "start_mL", ("amount",)),
    "add": ("Then add", "add_mL", ("seen", "grey", "more than dilution")),
    "back": ("Turn it back with", "back_mL", ("turned back",)),
}


class DesignTable(PartTable):
    ask: Literal["design"]
    of: Literal["demo", "vessel", "start", "add", "back"]


class Design(Ask):
    """One part of a plan. Its share is that of its requirements which the whole plan meets."""

    Table = DesignTable
    of_chemistry = False

    def default_id(self, table: Any) -> str:
        return str(table.of)

    def options(self, table: Any, question: str) -> tuple[tuple[str, str], ...]:
        offered: dict[str, Mapping[str, Any]] = {"demo": demonstrations(), "vessel": VESSELS}
        return tuple((key, one.words) for key, one in offered.get(table.of, {}).items())

    def finished(self, part: Part, table: Any) -> Part:
        part = replace(part, label=table.label or PIECES[table.of][0])
        return part if part.options else replace(part, kind="number", unit="mL")

    def read(self, part: Part, raw: Any, species: tuple[str, ...]) -> Reading:
        return super().read(part, raw, species) if part.options else read_number(raw, part.unit)

    def expected(self, part: Part, case: Case, own: Mapping[str, Any]) -> Any:
        """This part of one plan that meets everything; many others do as well."""
        plan = some_plan(_least(case))
        if plan is None:
            raise EqlibError(
                f"no plan meets every requirement with {LEAST} = {_least(case):g}; change its range"
            )
        return getattr(plan, PIECES[part.table.of][1])

    def words(self, part: Part, case: Case, value: Any) -> str:
        return f"{value:g} mL" if part.kind == "number" else super().words(part, case, value)

    def judge(self, part: Part, case: Case, reading: Reading, answered: Answered, policy: Policy) -> Verdict:
        judged = self._mixed(part, case, {**answered.said, part.id: reading.value})
        if isinstance(judged, str):
            return Verdict(0.0, "wrong", said=judged)
        mine = [one for one in judged.requirements if one.key in PIECES[part.table.of][2]]
        share = sum(one.met for one in mine) / len(mine)
        said = " ".join(
            f"{one.key.capitalize()}: {'met' if one.met else 'not met'}. {one.words}" for one in mine
        )
        return Verdict(share, "right" if share == 1 else "partly" if share else "wrong", said=said)

    def _mixed(self, part: Part, case: Case, said: Mapping[str, Any]) -> Judged | str:
        """The whole plan, mixed; or what is missing from it."""
        pieces: dict[str, Any] = {
            other.table.of: said.get(other.id) for other in case.parts if other.ask == "design"
        }
        missing = [PIECES[of][0].lower() for of in PIECES if pieces.get(of) is None]
        if missing:
            return f"A plan is judged as a whole; still missing: {', '.join(missing)}."
        try:
            return judge(Plan(**{PIECES[of][1]: value for of, value in pieces.items()}), _least(case))
        except EqlibError as error:
            return f"This plan could not be mixed: {error}."


def _least(case: Case) -> float:
    """What is wanted in the end, mL."""
    try:
        return case.numbers[LEAST]
    except KeyError:
        raise EqlibError(
            f"a design needs a number {LEAST} under [question.numbers]: the mL wanted in the end"
        ) from None
