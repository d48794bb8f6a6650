"""The older way to call panels, ``lesson.ask("iron")`` and ``lesson.check("iron")``: for notebooks not yet moved."""

from __future__ import annotations

from eqlib.notebook import lesson as calls
from eqlib.notebook.graded import ended
from eqlib.notebook.output import kindly
from eqlib.notebook.session import marking


class Lesson:
    """Calls ``panel`` and its neighbours under their earlier names."""

    def __init__(self, path=None):
        self.path = path

    @property
    def store(self):
        return calls.store_here(self.path)

    @property
    def questions(self):
        return self.store.questions

    def intro(self):
        return None

    bench = staticmethod(calls.bench)

    @kindly
    def student(self):
        calls.student()

    @kindly
    def ask(self, question):
        asked = self.questions[question]
        if asked.manual:
            calls.prompt(question)
        elif not marking():
            calls.panel(question)

    def reveal(self, question):
        return None

    @kindly
    def check(self, question, *value):
        return ended(self.questions[question], self.store, value)

    def receipt(self):
        calls.receipt()

    def numbers(self, question):
        return calls.numbers_of(self.questions[question], self.store.student)
