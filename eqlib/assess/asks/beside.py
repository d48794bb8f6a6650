"""The colour beside a twin that got as much water instead: what is left of a change without the dilution."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any

from eqlib.assess.asks.base import Part
from eqlib.assess.asks.shift import Change, OfChange, darker_direction, turned
from eqlib.assess.mistakes import Suspect
from eqlib.lab.look import Look, compare, control_of, why_not_ask

if TYPE_CHECKING:
    from eqlib.assess.question import Case


class Beside(OfChange):
    """darker | paler | same, of the mixture after the change beside its twin."""

    think_of = "the two hold as much liquid: in which is there more of the coloured substance?"
    label = "Beside a twin that gets as much water instead, the colour will be"
    choices = (("darker", "darker"), ("paler", "paler"), ("same", "the same"))

    def expected(self, part: Part, case: Case, own: Mapping[str, Any]) -> str:
        return _look(case).lightness

    def if_went(self, part: Part, case: Case, way: str) -> set[str]:
        return turned(darker_direction(part, case), way, "darker", "paler")

    def ideas(self, part: Part, case: Case, change: Change, said: Mapping[str, Any]) -> Iterator[Suspect]:
        """Who takes any paling for the way back sees it beside the twin as well."""
        if case.change.direction == "forward":
            yield Suspect("paler_is_left", "paler")
        yield from self.as_shifted(part, case, change, said)

    def doubts(self, part: Part, case: Case) -> Iterator[str]:
        if case.done.kind != "add_solution":
            yield "a twin gets as much water as solution was added, and none was; ask something else"
            return
        look = _look(case)
        if look.borderline:
            yield "the difference from the twin is at the edge of what an eye can see; change the amounts"
        if why_not_ask(look):
            yield f"darker, paler or the same is no fair question here ({why_not_ask(look)})"

    def worked(self, part: Part, case: Case) -> str:
        return f"{super().worked(part, case)}. {self.because(part, case)}"

    def because(self, part: Part, case: Case) -> str:
        look = _look(case)
        twin, mine = f"{look.absorbance_before:.3f}", f"{look.absorbance_after:.3f}"
        return f"Water alone brings the absorbance of 1 cm at {look.nm:.0f} nm to {twin}; here it is {mine}."


def _look(case: Case) -> Look:
    """The mixture after the change, compared with its twin."""
    return compare(control_of(case.change), case.change.after, at_once=case.change.at_once)
