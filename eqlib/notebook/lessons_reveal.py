"""The reveal cell: predict first, then see."""

from __future__ import annotations

import math

from eqlib.notebook.display import Slot, bundle
from eqlib.notebook.lessons_check import waiting
from eqlib.notebook.records import Store
from eqlib.notebook.records_session import marking
from eqlib.notebook.style import notice

_LATER = "What happens is shown when this has been marked."
_NEVER = "This question shows no outcome; talk it over in class."
_NONE = "There is nothing to show here: this question has no change to watch."


def reveal(question, store: Store, slot: Slot, retry: int = 0) -> bool:
    """Show the outcome in ``slot`` if it may be seen. True when it was."""
    words = _not_yet(question, store)
    if words:
        slot.show(bundle(words))
        return False
    from eqlib.notebook.display_outcome import outcome_bundle

    record = store.record_of(question.id)
    student = store.student if record is None or record.student else None
    outcome = question.outcome(student, retry)
    if outcome.disturbance is None:
        slot.show(bundle(notice(_NONE)))
        return False
    if marking():
        slot.show(outcome_bundle(question, outcome))
        return True
    slot.show(outcome_bundle(question, outcome, store.note_seen(question.id)))
    show_wells(outcome.disturbance)
    return True


def _not_yet(question, store: Store) -> str:
    if question.reveal == "never":
        return notice(_NEVER)
    if question.reveal == "after-marking" and not marking():
        return notice(_LATER)
    if store.record_of(question.id) is None:
        return waiting(recorded=False)
    return ""


def show_wells(disturbance) -> None:
    """The pictures: the wells before, at once and after, and Q on its way to K."""
    from IPython.display import display

    from eqlib.notebook.figures import q_and_k, wells

    display(wells(disturbance))
    if 0 < disturbance.Q < math.inf:
        display(q_and_k(disturbance.Q, disturbance.K))
