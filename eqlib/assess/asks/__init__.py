"""What a question can ask: one file a family, one line here a kind."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from eqlib.assess.asks import (
    design,
    number,
    order,
    practical,
    rates,
    reasons,
    sentences,
    shift,
    table,
    typed,
    words,
)
from eqlib.assess.asks.base import Ask, Part
from eqlib.assess.mistakes import Suspect
from eqlib.assess.reading.plain import Reading, Unreadable, refused

if TYPE_CHECKING:
    from eqlib.assess.case import Case

ASKS: dict[str, Ask] = {
    "direction": shift.Direction(),
    "seen": shift.Seen(),
    "precipitate": shift.Precipitate(),
    "K": shift.Constant(),
    "change": shift.Concentration(),
    "rate": rates.Rate(),
    "graph": rates.Graph(),
    "bound": reasons.Bound(),
    "cause": reasons.Cause(),
    "reason": reasons.Reason(),
    "true": sentences.True_(),
    "root": sentences.Root(),
    "rule": sentences.RuleAsked(),
    "confidence": words.Confidence(),
    "number": number.NumberAsked(),
    "ice": table.Ice(),
    "equation": typed.Equation(),
    "expression": typed.Expression(),
    "order": order.Order(),
    "speed": order.Speed(),
    "design": design.Design(),
    "explain": words.Explain(),
    "readings": practical.OwnReadings(),
    "work": practical.Work(),
}


def read_part(part: Part, raw: Any, species: tuple[str, ...] = ()) -> Reading:
    """One answer to ``part``, from whatever was clicked, typed or computed, as a plain value. Never raises: a
    Reading that is not ``ok`` says in its ``message`` what was seen and what would do. ``species``: canonical
    names of the reaction's; without them an expression's brackets are checked only when it is marked.
    """
    try:
        return ASKS[part.ask].read(part, raw, species)
    except Unreadable as problem:
        return refused(str(problem))
    except RecursionError:
        return refused("The answer is nested too deeply to be read. A number or a few words are wanted.")


def suspects(part: Part, case: Case, said: Mapping[str, Any] | None = None) -> list[Suspect]:
    """What each known mistake would have answered to ``part``, likeliest first.

    Numbers in the part's unit, or option values of a choice. A mistake that does not apply to these numbers
    is left out; one that happens to give the right answer is kept (it cannot be told apart). ``said`` holds
    the student's other answers, by part id.
    """
    return ASKS[part.ask].suspects(part, case, said or {})
