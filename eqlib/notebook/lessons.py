"""The lesson: what the cells of a notebook call.

``lesson.ask`` opens a question's form, ``lesson.reveal`` shows what happens once a prediction is recorded,
``lesson.check`` says what is recorded (and scores it when the notebook is marked), ``lesson.receipt`` lists
it all.
"""

from __future__ import annotations

import os
from pathlib import Path

from eqlib.assess.questions import load_questions
from eqlib.errors import EqlibError
from eqlib.notebook.display import Slot, bundle, kindly, show
from eqlib.notebook.lessons_check import check_answer, receipt_bundle, waiting
from eqlib.notebook.lessons_receipt import receipt_page
from eqlib.notebook.lessons_words import bench_page, intro_page, prompt_bundle
from eqlib.notebook.panels import Form
from eqlib.notebook.panels_asleep import form_id
from eqlib.notebook.panels_practice import PracticeForm
from eqlib.notebook.panels_student import StudentForm
from eqlib.notebook.records import Store

_UNSET = object()


class Lesson:
    """The assignment whose ``questions.toml`` lies in this notebook's folder, or at ``path`` (file or
    folder).

    Answers are kept beside it. Everything here speaks plainly: a problem is one line in the notebook, no
    traceback.
    """

    def __init__(self, path=None):
        self._forms: dict[str, Form] = {}
        self._prompts: dict[str, Slot] = {}
        self._checks: dict[str, Slot] = {}
        self._reveals: dict[str, Slot] = {}
        self._store: Store | None = None
        self._problem = ""
        self._open(path)

    @kindly
    def _open(self, path) -> None:
        try:
            questions = load_questions(find_questions(path))
        except EqlibError as error:
            self._problem = str(error)
            raise
        self._store = Store(questions, questions.path.parent)

    def __repr__(self):
        return f"Lesson({self._store.assignment!r})" if self._store else "Lesson (no questions found)"

    @property
    def questions(self):
        """The QuestionSet. Raises EqlibError when the lesson could not be opened."""
        return self.store.questions

    @property
    def store(self) -> Store:
        """Where the answers are. Raises EqlibError when the lesson could not be opened."""
        if self._store is None:
            raise EqlibError(f"This lesson could not be opened. {self._problem}")
        return self._store

    @kindly
    def intro(self) -> None:
        """What this assignment is, how answering works, and what it counts."""
        show(intro_page(self.questions))

    @kindly
    def bench(self, system: str) -> None:
        """One system of the catalogue: its reactions and constants, what is needed, what to take care of."""
        show(bench_page(system))

    @kindly
    def student(self) -> None:
        """The form for the student's id (never a name). The numbers of the questions follow from it."""
        StudentForm(self.store, self._refresh).show()

    @kindly
    def try_it(self) -> None:
        """A question that is not marked, to see how answering works."""
        from eqlib.notebook.panels_try import try_form

        form = try_form(self.store)
        show(f"<p>{form.question.prompt}</p>")
        form.show()

    @kindly
    def ask(self, question: str) -> None:
        """The question, with this student's numbers, and its form. What is recorded stands under the form."""
        asked = self.questions[question]
        kind = PracticeForm if asked.mode == "practice" else Form
        reprompt = {"reprompt": lambda: self._reprompt(question)} if kind is PracticeForm else {}
        form = kind(asked, self.store, self._recorded, **reprompt)
        self._forms[question] = form
        slot = self._slot(self._prompts, question, "prompt")
        slot.show(self._prompt(question))
        if form.parts and not asked.manual:
            form.show()

    @kindly
    def reveal(self, question: str) -> None:
        """What happens, computed; only once a prediction is recorded."""
        from eqlib.notebook.lessons_reveal import reveal

        slot = self._slot(self._reveals, question, "reveal")
        if not reveal(self.questions[question], self.store, slot, self._retry(question)):
            return
        del self._reveals[question]
        if question in self._forms and self.store.locked(self.questions[question]):
            self._forms[question].lock()
            self._forms[question].refresh()
            if question in self._checks:
                self._checks[question].put(receipt_bundle(self.questions[question], self.store))

    @kindly
    def check(self, question: str, value=_UNSET):
        """What is recorded for ``question``; for a number worked out in code, ``value`` (or the variable of
        that name).

        Returns the points, a built-in float from 0 to the question's points, wherever notebooks are marked
        and in practice. In a student's own session of assessed work nothing is returned: the mark comes
        after handing in.
        """
        given = () if value is _UNSET else (value,)
        slot = self._slot(self._checks, question, "check")
        return check_answer(self.questions[question], self.store, slot, given)

    @kindly
    def receipt(self) -> None:
        """Everything that is recorded, what is missing, and whether the saved notebook holds it."""
        show(receipt_page(self.store))

    def numbers(self, question: str) -> dict[str, float]:
        """This student's numbers for ``question``, by name, with the reading they are given: for use in
        code.
        """
        from eqlib.notebook.lessons_words import numbers_of

        return numbers_of(self.questions[question], self.store.student)

    # After something was recorded

    def _slot(self, slots: dict[str, Slot], question: str, role: str) -> Slot:
        if question not in slots:
            slots[question] = Slot(f"{form_id(self.store.assignment, question)}-{role}")
        return slots[question]

    def _retry(self, question: str) -> int:
        form = self._forms.get(question)
        return form.retry if isinstance(form, PracticeForm) else 0

    def _prompt(self, question: str) -> dict:
        return prompt_bundle(self.questions[question], self.store.student, self._retry(question))

    def _reprompt(self, question: str) -> None:
        self._prompts[question].put(self._prompt(question))

    def _recorded(self, question: str) -> None:
        """The cells below hear of a new answer: the check shows its receipt, a waiting reveal says it is
        ready.
        """
        if question in self._checks:
            self._checks[question].put(receipt_bundle(self.questions[question], self.store))
        if question in self._reveals:
            self._reveals[question].put(bundle(waiting(recorded=True)))

    def _refresh(self) -> None:
        """Another id: other numbers and other answers everywhere on the page."""
        for question, form in self._forms.items():
            self._reprompt(question)
            form.refill()
            form.refresh()
        for question, slot in self._checks.items():
            slot.put(receipt_bundle(self.questions[question], self.store))


def find_questions(path=None) -> Path:
    """The ``questions.toml`` at ``path``, in the working folder, or beside the notebook. Raises
    EqlibError."""
    if path is not None:
        found = Path(path)
        return found / "questions.toml" if found.is_dir() else found
    folders = [Path.cwd()]
    session = os.environ.get("JPY_SESSION_NAME", "")
    if os.path.isabs(session):
        folders.append(Path(session).parent)
    for folder in folders:
        if (folder / "questions.toml").is_file():
            return folder / "questions.toml"
    raise EqlibError(
        f"There is no questions.toml in the folder {folders[0].name or folders[0]}. "
        "Put the file that came with this notebook beside it, then choose Kernel, Restart Kernel and "
        "Run All Cells."
    )
