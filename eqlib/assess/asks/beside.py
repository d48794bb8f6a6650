"""The colour beside a control that got as much water: what is left of a change without the dilution."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any

from eqlib.assess.asks.base import Ask, Part
from eqlib.assess.asks.shift import Change, Seen
from eqlib.assess.mistakes import Suspect
from eqlib.lab.look import Look, compare, control_of, why_not_ask
from eqlib.writing import number

if TYPE_CHECKING:
    from eqlib.assess.question import Case


class Beside(Seen):
    """darker | paler | same, of the mixture after the change, beside its control."""

    needs_look = False
    think_of = "the two hold as much liquid: in which is there more of the coloured substance?"
    legend = "Beside control"
    label = "Beside the control, which gets as much water instead, the colour will be"

    def expected(self, part: Part, case: Case, own: Mapping[str, Any]) -> str:
        return _look(case).lightness

    def ideas(self, part: Part, case: Case, change: Change, said: Mapping[str, Any]) -> Iterator[Suspect]:
        """Who takes any paling for the way back sees it beside the control as well."""
        if case.change.direction == "forward":
            yield Suspect("paler_is_left", "paler")
        yield from super().ideas(part, case, change, said)

    def doubts(self, part: Part, case: Case) -> Iterator[str]:
        if case.done.kind != "add_solution":
            yield "a control gets as much water as solution is added, and none is; ask something else"
            return
        look = _look(case)
        if look.borderline:
            yield "the difference from the control is at the edge of what an eye can see; change the amounts"
        if why_not_ask(look):
            yield f"darker, paler or the same is no fair question here ({why_not_ask(look)})"

    def worked(self, part: Part, case: Case) -> str:
        return f"{Ask.worked(self, part, case)}. {self.because(part, case)}"

    def because(self, part: Part, case: Case) -> str:
        look = _look(case)
        if look.lightness == "same" or not look.absorbance_before:
            return "It absorbs as much as the control, which was only thinned."
        times = number(look.absorbance_after / look.absorbance_before, 2)
        return f"Its absorbance is {times} times that of the control, which was only thinned."


def _look(case: Case) -> Look:
    """The mixture after the change, compared with its control."""
    return compare(control_of(case.change), case.change.after, at_once=case.change.at_once)
