"""Rates beside each other: the forward or reverse rate of the first reaction at two moments, or its graph.

Only the ratio of a rate to itself is needed, never a rate constant. Each rate is taken as proportional to
the concentrations of its own side, each to the power of its coefficient, as in the law of mass action; which
way a rate goes is the same for any positive orders.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any, Literal

from eqlib.assess.asks.base import OPPOSITE, Ask, Part, PartTable, beside, in_unicode
from eqlib.assess.tables import QuestionError
from eqlib.writing import apart, number

if TYPE_CHECKING:
    from eqlib.assess.question import Case

#: A rate changes clearly when it does by this share.
CLEAR = 0.05
_TIMELESS = ("heat_to", "catalyse")


def rate_ratio(case: Case, side: str, start: Mapping[str, float], end: Mapping[str, float]) -> float:
    """The rate with the concentrations ``end``, over that with ``start``. Infinite when it begins at zero."""
    own = case.reaction.quotient_species
    powers = {n: abs(float(nu)) for n, nu in own.items() if (side == "forward") is (nu < 0)}
    if not powers:
        raise QuestionError(f"the {side} rate depends on no concentration here; ask about the other side")
    ratio = 1.0
    for name, power in powers.items():
        was, now = start.get(name, 0.0), end.get(name, 0.0)
        if was <= 0:
            return math.inf
        ratio *= (now / was) ** power
    return ratio


def rate_after_change(case: Case, side: str, when: str) -> str:
    """ "up", "down" or "same": a rate at once (or at the new equilibrium) beside that before the change."""
    if case.done.kind in _TIMELESS:
        if when != "at_once":
            raise QuestionError('rates after a change of temperature or a catalyst need when = "at_once"')
        return "down" if case.done.kind == "heat_to" and case.temperature > (case.done.T or 0.0) else "up"
    return beside(rate_ratio(case, side, case.before, getattr(case, when)), 1.0)


def _times(ratio: float) -> str:
    """ "1.84 times as fast", "as fast"."""
    return "as fast" if beside(ratio, 1.0) == "same" else f"{number(ratio)} times as fast"


def _for(case: Case, part: Part) -> str:
    """The concentrations on the rate's own side that moved, or that none did."""
    then = getattr(case, part.when)
    own = case.reaction.quotient_species
    side = [name for name, nu in own.items() if (nu < 0) is (part.side == "forward")]
    moved = [name for name in side if beside(then.get(name, 0.0), case.before.get(name, 0.0)) != "same"]
    if not moved:
        return ", for no concentration on its side has changed"
    told = (
        "[{}] goes from {} to {} mol/L".format(in_unicode(n), *apart(case.before[n], then[n])) for n in moved
    )
    return f", for {' and '.join(told)}"


class _Rates(Ask):
    keys = ("side", "when")

    def needs_stress(self, part: Part) -> bool:
        return part.ask == "rate" or part.when == "after"

    def default_id(self, table: Any) -> str:
        return f"{table.side}-{table.ask}"

    def ratio(self, part: Part, case: Case) -> float:
        """The rate at the later of two moments over that at the earlier one."""
        start, end = {
            "before": ("mixed", "before"),
            "at_once": ("before", "at_once"),
            "after": ("before" if part.ask == "rate" else "at_once", "after"),
        }[part.when]
        return rate_ratio(case, part.side, getattr(case, start), getattr(case, end))

    def doubts(self, part: Part, case: Case) -> Iterator[str]:
        if part.ask == "rate" and getattr(case.stress, "kind", "") in _TIMELESS:
            return
        ratio = self.ratio(part, case)
        if math.isfinite(ratio) and 1e-6 < abs(ratio - 1) < CLEAR:
            yield (
                f"the {part.side} rate changes by less than {100 * CLEAR:g} %; make the change nil or larger"
            )


class RateTable(PartTable):
    ask: Literal["rate"]
    side: Literal["forward", "reverse"] = "forward"
    when: Literal["at_once", "after"] = "at_once"


class Rate(_Rates):
    """up | down | same | zero: a rate beside what it was before the change."""

    order = "ranked"
    Table = RateTable
    choices = (
        ("up", "faster than before"),
        ("down", "slower than before"),
        ("same", "as fast as before"),
        ("zero", "it stands still"),
    )

    def legend_of(self, part: Part) -> str:
        return f"{part.side.capitalize()} rate, {'at once' if part.when == 'at_once' else 'in the end'}"

    def label_of(self, part: Part) -> str:
        moment = "right after the change" if part.when == "at_once" else "once the new equilibrium is reached"
        return f"The {part.side} reaction, {moment}, is"

    def expected(self, part: Part, case: Case, own: Mapping[str, Any]) -> str:
        return rate_after_change(case, part.side, part.when)

    def because(self, part: Part, case: Case) -> str:
        if case.done.kind == "catalyse":
            return "A catalyst speeds up both reactions by the same factor, so they stay equally fast."
        if case.done.kind == "heat_to":
            word = "faster" if rate_after_change(case, part.side, "at_once") == "up" else "slower"
            return f"Every reaction goes {word} at that temperature, but not all by the same factor."
        moment = "Right after the change" if part.when == "at_once" else "At the new equilibrium"
        times = _times(self.ratio(part, case))
        return f"{moment} the {part.side} reaction goes {times} as before{_for(case, part)}."

    def idea(self, part: Part, case: Case, value: str, said: Mapping[str, Any]) -> str | None:
        if value == "zero":
            return "static_stop"
        if part.when == "at_once" and {value, self._other(part, case, said)} == {"up", "down"}:
            return "one_up_one_down"
        # One of the two faster and the other as before: only that would move the mixture.
        one_sided = value == "same" and self._other(part, case, said) == "up"
        return "catalyst_shifts" if one_sided and getattr(case.stress, "kind", "") == "catalyse" else None

    def _other(self, part: Part, case: Case, said: Mapping[str, Any]) -> str:
        """The other side's rate as the student has it, or else as it is."""
        side = OPPOSITE[part.side]
        for other in case.parts:
            if (other.ask, other.side, other.when) == ("rate", side, part.when) and other.id in said:
                return said[other.id]
        return rate_after_change(case, side, part.when)


class GraphTable(PartTable):
    ask: Literal["graph"]
    side: Literal["forward", "reverse"] = "forward"
    when: Literal["before", "after"] = "before"


class Graph(_Rates):
    """falls | rises | level | stops: how a rate runs until equilibrium."""

    Table = GraphTable
    choices = (
        ("falls", "It starts high, falls, and stays level above zero."),
        ("rises", "It starts low or at zero, rises, and stays level at its highest."),
        ("level", "It is level from start to end."),
        ("stops", "It falls to zero and stays there."),
    )

    def label_of(self, part: Part) -> str:
        begin = "mixing" if part.when == "before" else "the change"
        side = part.side
        return f"A graph of the rate of the {side} reaction against time, from {begin} to equilibrium and on:"

    def because(self, part: Part, case: Case) -> str:
        ratio = self.ratio(part, case)
        if not math.isfinite(ratio):
            return f"The {part.side} reaction begins at 0 and grows until it is as fast as the other one."
        return f"In the end the {part.side} reaction goes {_times(ratio)} as at the start of the graph."

    def expected(self, part: Part, case: Case, own: Mapping[str, Any]) -> str:
        return {"up": "rises", "down": "falls", "same": "level"}[beside(self.ratio(part, case), 1.0)]

    def idea(self, part: Part, case: Case, value: str, said: Mapping[str, Any]) -> str | None:
        if value == "stops":
            return "static_stop"
        return "fwd_rate_grows" if part.side == "forward" and value == "rises" else None
