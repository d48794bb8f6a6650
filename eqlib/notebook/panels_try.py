"""A question that is not marked, to see how answering works before it matters."""

from __future__ import annotations

from eqlib.assess.kinds import Part
from eqlib.assess.questions import Question
from eqlib.notebook.panels import Form
from eqlib.notebook.records import TRY

_PROMPT = "Milk is stirred into a cup of black tea."
_OPTIONS = (("darker", "darker"), ("paler", "paler"), ("same", "the same"))


def try_question(assignment) -> Question:
    """The question to try; it belongs to no question file and carries no points."""
    part = Part(
        id="tea",
        kind="choice",
        ask="seen",
        label="Compared with before, the tea will be",
        options=_OPTIONS,
    )
    return Question(TRY, "mixed", "A cup of tea", 0.0, _PROMPT, (part,), assignment, mode="try")


def try_form(store) -> Form:
    """Its form. What is recorded is kept exactly as a marked answer is."""
    return Form(try_question(store.questions.assignment), store)
