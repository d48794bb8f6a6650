"""Panels: what a student clicks. ``Panel`` keeps a form alive or asleep, ``Form`` asks one question.

A form works only while the page that opened it is there. When the page is loaded again the form is drawn a
second time, and what it would write could no longer reach the notebook; so it goes to sleep, and the record
beside it says how to open it again. Nothing recorded is touched by that.
"""

from __future__ import annotations

from collections.abc import Callable

from eqlib.errors import EqlibError
from eqlib.notebook.display import Slot
from eqlib.notebook.display_record import record_bundle
from eqlib.notebook.panels_asleep import form_id, view_of
from eqlib.notebook.records import Store
from eqlib.notebook.records_session import marking
from eqlib.notebook.style import FORM, FORM_SHEET, text

_STANDS = "You have seen what happens, so your prediction stands as it was recorded."
#: The live form of each name; opening one anew ends the one before.
_live: dict[str, list] = {}


class Panel:
    """Something to fill in, under a lasting name. Subclasses build its widgets and its record."""

    def __init__(self, assignment: str, name: str, words: str):
        self.id = form_id(assignment, name)
        self.words = words
        self.record_slot = Slot(f"{self.id}-record")

    def build(self) -> list:
        """The widgets of the form, top to bottom."""
        raise NotImplementedError

    def record_output(self) -> dict:
        """The output under the form: what is recorded."""
        raise NotImplementedError

    def show(self) -> None:
        """Open the form in the cell that is running, with the record under it. While marking, the record
        alone.
        """
        if not marking():
            from IPython.display import display

            display(view_of(self._open(), self.words), raw=True)
        self.record_slot.show(self.record_output())

    def refresh(self) -> None:
        """Show again what is recorded."""
        self.record_slot.put(self.record_output())

    def _open(self) -> str:
        import ipywidgets as widgets

        close(self.id)
        # A form's box belongs to this page alone: a second drawing means that the page was loaded again.
        body = widgets.VBox([widgets.HTML(FORM_SHEET), *self.build()], model_id=self.id)
        body.add_class(FORM)
        body._view_count = 0
        body.observe(lambda change: (change["new"] or 0) > 1 and close(self.id), names="_view_count")
        _live[self.id] = _family(body)
        return body.model_id


def close(name: str) -> None:
    """End a live form; its place on the page then shows how to open it again."""
    for widget in _live.pop(name, ()):
        widget.close()


def _family(widget) -> list:
    """``widget``, all it contains, and their layouts and styles."""
    found = [widget]
    for child in getattr(widget, "children", ()):
        found += _family(child)
    found += [
        getattr(widget, name) for name in ("layout", "style") if getattr(widget, name, None) is not None
    ]
    return found


class Form(Panel):
    """The form of one question. ``tell`` is called with the question's id after something was recorded."""

    def __init__(self, question, store: Store, tell: Callable[[str], None] = lambda question: None):
        super().__init__(
            store.assignment, question.id, f"(The form for “{question.title}” opens in Jupyter.)"
        )
        self.question = question
        self.store = store
        self.tell = tell
        self.controls: list = []
        self.problem = ""

    @property
    def parts(self):
        """The parts answered here; a number worked out in code is taken from its check cell."""
        return [part for part in self.question.parts if not part.code]

    def build(self):
        import ipywidgets as widgets

        from eqlib.notebook.panels_controls import control_for

        if self.store.locked(self.question):
            self.controls = []
            return [widgets.HTML(f"<p>{_STANDS}</p>")]
        self.controls = [control_for(part) for part in self.parts]
        self.fill()
        self.button = widgets.Button(
            description=f"Record my {'prediction' if self.question.kind == 'prediction' else 'answer'}",
            tooltip=f"Record what is filled in for “{self.question.title}”",
            button_style="primary",
        )
        self.button.on_click(lambda _button: self.record())
        self.answer = widgets.HTML()
        for control in self.controls:
            control.watch(self._changed)
        return [*(control.widget for control in self.controls), self.button, self.answer]

    def lock(self) -> None:
        """The outcome was seen: the prediction stands as it was recorded."""
        for control in self.controls:
            control.disable()
        if self.controls:
            self.button.disabled = True
            self.announce(_STANDS)

    def fill(self) -> None:
        """Put what is recorded back into the form."""
        record = self.store.record_of(self.question.id)
        if record is not None:
            for control in self.controls:
                control.fill(record.answer.get(control.part.id))

    def refill(self) -> None:
        """After another id was given: its answers, or an empty form. A form that was locked has to be
        opened anew.
        """
        if not self.controls or self.button.disabled:
            close(self.id)
            return
        record = self.store.record_of(self.question.id)
        for control in self.controls:
            control.fill(None if record is None else record.answer.get(control.part.id))

    def record(self) -> None:
        """Read what is filled in, say it back, and keep it; or say what is still needed."""
        try:
            answer = self._answer()
            saved = self.store.save(self.question.id, answer)
        except EqlibError as error:
            self.announce(f"Nothing was recorded yet. {error}")
            return
        self.problem = saved.problem
        self.refresh()
        self.announce(
            "Recorded. What was read stands below; save the notebook with Ctrl + S before you leave."
        )
        self.tell(self.question.id)

    def announce(self, words: str) -> None:
        """Say something in the form, in words a screen reader speaks."""
        self.answer.value = f'<div role="status">{text(words)}</div>'

    def record_output(self):
        record = self.store.record_of(self.question.id)
        note = self.problem
        if record is None and self.store.answered_for_others(self.question.id):
            note = "You answered this before you gave your id, for other numbers. Please answer again."
        locked = self.store.locked(self.question)
        return record_bundle(self.question, record, note=note, form=not marking(), locked=locked)

    def _changed(self) -> None:
        if self.answer.value:
            self.answer.value = ""

    def _answer(self) -> dict:
        """What is filled in, by part. Raises EqlibError naming what is missing or cannot be read."""
        answer, missing = {}, []
        for control in self.controls:
            part, raw = control.part, control.raw
            if raw is None:
                if part.scored:
                    missing.append(part)
                continue
            found = control.reading()
            if not found.ok:
                raise EqlibError(f"{part.label}: {found.message}")
            answer[part.id] = found.value if part.kind in ("choice", "order") else raw
        needed = [part for part in missing if part.kind == "choice"] or (missing if not answer else [])
        if needed:
            raise EqlibError(_still_missing(needed))
        return answer


def _still_missing(parts) -> str:
    """What to answer before the record can be made: each by name, or the first of many."""
    names = [f"“{part.label}”" for part in parts]
    if len(names) > 2:
        return f"{len(names)} answers are still missing; the first is {names[0]}"
    return f"Please answer this too: {' and '.join(names)}"
