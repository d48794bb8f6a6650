"""What a question can ask: one file a family, one line here a kind."""

from __future__ import annotations

from eqlib.assess.asks import (
    beside,
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
from eqlib.assess.asks.base import Ask

ASKS: dict[str, Ask] = {
    "direction": shift.Direction(),
    "seen": shift.Seen(),
    "beside": beside.Beside(),
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
