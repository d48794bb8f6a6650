"""Practice: told at once how it went, a little more help each time, the working after some tries, fresh
numbers.
"""

from __future__ import annotations

from eqlib.assess import feedback
from eqlib.assess.marking import RETRY, Mark, mark
from eqlib.notebook.display import Slot, bundle
from eqlib.notebook.panels import Form
from eqlib.notebook.records_session import marking

_FIRST = "Record an answer and you are told at once how it went. Try as often as you like."


class PracticeForm(Form):
    """A question's form in practice. ``retry`` counts the sets of numbers asked for."""

    def __init__(self, question, store, tell=lambda question: None, reprompt=lambda: None):
        super().__init__(question, store, tell)
        self.reprompt = reprompt
        self.help_slot = Slot(f"{self.id}-help")
        record = store.record_of(question.id)
        self.retry = 0 if record is None else set_of(record.answer)
        self.working_shown = False

    def build(self):
        import ipywidgets as widgets

        made = super().build()
        self.working_button = widgets.Button(
            description="Show the working", tooltip="Show the worked solution", disabled=True
        )
        self.working_button.on_click(lambda _button: self._show_working())
        row = [self.button, self.working_button]
        if any(span.choices > 1 for span in self.question.ranges.values()):
            fresh = widgets.Button(description="New numbers", tooltip="Ask the same with other numbers")
            fresh.on_click(lambda _button: self._fresh())
            row.append(fresh)
        self._offer_working()
        bar = widgets.HBox(row, layout={"flex_flow": "row wrap"})
        return [bar if widget is self.button else widget for widget in made]

    def show(self):
        super().show()
        if not marking():
            self.help_slot.show(self.help_output())

    def refresh(self):
        super().refresh()
        self.help_slot.put(self.help_output())

    def record(self):
        self.working_shown = False
        super().record()
        self._offer_working()

    def marked(self) -> Mark | None:
        """The mark of what is recorded for the present numbers, or None."""
        record = self.store.record_of(self.question.id)
        if record is None or set_of(record.answer) != self.retry:
            return None
        return mark(self.question, {**record.answer, RETRY: self.retry}, record.student, retry=self.retry)

    def tries(self) -> int:
        """How often the present numbers were answered."""
        record = self.store.record_of(self.question.id)
        return 0 if record is None else sum(set_of(attempt) == self.retry for attempt in record.attempts)

    def help_output(self) -> dict:
        """How it went, in words that help a little more each time."""
        made = self.marked()
        if made is None:
            return bundle(f"<p>{_FIRST}</p>")
        words = feedback.ladder(self.question, made, self.tries())
        if self.working_shown:
            words += f"\n\n**The working**\n\n{self._working()}"
        return {"text/markdown": words, "text/plain": words}

    def _answer(self):
        return {**super()._answer(), RETRY: self.retry}

    def _working(self) -> str:
        return self.question.outcome(self.store.student, self.retry).working

    def _allowed(self) -> bool:
        made = self.marked()
        if made is None or not self.question.policy.working:
            return False
        return made.points >= made.max_points or self.tries() >= self.question.policy.working_after

    def _offer_working(self) -> None:
        self.working_button.disabled = not self._allowed()

    def _show_working(self) -> None:
        if self._allowed():
            self.working_shown = True
            self.refresh()

    def _fresh(self) -> None:
        self.retry += 1
        self.working_shown = False
        for control in self.controls:
            control.fill(None)
        self._offer_working()
        self.reprompt()
        self.refresh()
        self.announce("These are new numbers. What you recorded before is kept.")


def set_of(answer) -> int:
    """Which set of numbers an answer belongs to."""
    value = answer.get(RETRY, 0)
    return value if type(value) is int and value >= 0 else 0
