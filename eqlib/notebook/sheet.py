"""A sheet: sections of HTML that Python makes and a page shows. All that is decided is decided in Python.

A form that is not running must look like a sentence, not like an error: JupyterLab saves only a pointer to a
form. So every form has a name that never changes, and the notebook's own metadata carries, under that name, an
empty box: a reopened notebook finds that box, draws nothing, and the record beside it says how to open the
form again. Running the cell puts the real form under the same name. Both follow the published widget-state
format, version 2.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

import anywidget
import traitlets

from eqlib.assess.load import load_questions
from eqlib.errors import EqlibError
from eqlib.notebook.output import Slot, show_data
from eqlib.notebook.store import WHO
from eqlib.writing import write_atomically

STATE = "application/vnd.jupyter.widget-state+json"
VIEW = "application/vnd.jupyter.widget-view+json"
_OPENS = re.compile(r"""^(panel|student)\(\s*(?:["']([\w.-]+)["'])?""", re.MULTILINE)
_EXPLORES = re.compile(r"""^explore\(.*?title=["'](.+?)["']""", re.MULTILINE | re.DOTALL)
_PANELS = {"student": WHO, "panel": ""}
_BASE, _CONTROLS, _VERSION = "@jupyter-widgets/base", "@jupyter-widgets/controls", "2.0.0"
#: The live sheet of each name; opening one anew ends the one before.
_live: dict[str, Sheet] = {}


class Sheet(anywidget.AnyWidget):
    """Something to work with in a cell's output, under a lasting name.

    ``page`` is one dict: ``sections`` [[name, html], ...], ``say`` {key: text} for lines marked ``data-say``,
    ``off`` names of buttons that cannot be pressed, and now and then ``film``, ``focus`` and ``rerun``. A
    subclass makes ``sections()`` and has a method ``on_<what>(values, name)`` for each thing a person can do::

        class Bell(Sheet):
            def sections(self):
                return [("bell", '<button data-do="ring">Ring</button> <span data-say="heard"></span>')]

            def on_ring(self, values, name):
                self.draw(say={"heard": "It rang."})
    """

    _esm = Path(__file__).with_name("sheet.js")
    _css = Path(__file__).with_name("sheet.css")
    page = traitlets.Dict().tag(sync=True)

    def __init__(self, name: str) -> None:
        if name in _live:
            _live.pop(name).close()
        super().__init__(model_id=name)
        _live[name], self.kept = self, Slot(f"{name}-kept")
        self.opened_in, self.loaded_again, self.films = None, False, 0
        self.on_msg(lambda _widget, content, _buffers: self.heard(content))

    def sections(self) -> list[tuple[str, str]]:
        """The names and the HTML of the sections, top to bottom."""
        raise NotImplementedError

    def draw(self, **more: Any) -> None:
        """Show the sheet as it is now; a subclass that has lines or buttons of its own calls ``put`` with them."""
        self.put(**more)

    def put(
        self,
        say: Mapping[str, str] | None = None,
        off: Iterable[str] = (),
        film: dict[str, Any] | None = None,
        **more: Any,
    ) -> None:
        """Hand the sections to the page, with ``say``, ``off`` and the rest of what ``page`` can hold."""
        if film is not None:
            self.films += 1
            film = {"id": f"{id(self)}-{self.films}", **film}
        sections = [[name, html] for name, html in self.sections()]
        self.page = {"sections": sections, "say": say or {}, "off": list(off), "film": film, **more}

    def redraw(self, say: dict[str, str], **sections: str) -> None:
        """These sections and lines anew, all others as they stand: for what moves while a slider is dragged."""
        made = [[name, sections.get(name, html)] for name, html in self.page["sections"]]
        self.page = {**self.page, "sections": made, "say": {**self.page["say"], **say}, "film": None}

    def show(self, words: str) -> None:
        """Draw it in the running cell, and under it what the notebook keeps; ``words`` stand in where nothing of
        the kind is shown.
        """
        self.draw()
        show_data(view_of(self.model_id, words))
        self.kept.show(self.kept_data())

    def kept_data(self) -> dict[str, Any]:
        """The output that stands in for the sheet when it is not running."""
        raise NotImplementedError

    def keep(self) -> None:
        """Put ``kept_data`` where the notebook is saved."""
        self.kept.put(self.kept_data())

    def heard(self, content: dict[str, Any]) -> None:
        """Something was done on the page."""
        self.send({"heard": content.get("number") or 1})
        if content.get("what") == "shown":
            self.loaded_again = self.opened_in not in (None, content.get("page"))
            self.opened_in = self.opened_in or content.get("page")
            if self.loaded_again:
                self.on_loaded_again()
            return
        act = getattr(self, f"on_{content.get('what')}".replace("-", "_"), None)
        if act is not None:
            act(content.get("values") or {}, content.get("name") or "")

    def on_recorded(self) -> None:
        """An answer was recorded somewhere in this notebook."""

    def on_loaded_again(self) -> None:
        """The page was loaded again: what is shown from now on no longer reaches the notebook's file."""


def live() -> tuple[Sheet, ...]:
    """The sheets that are open in this kernel."""
    return tuple(_live.values())


# -- asleep --------------------


def form_id(assignment: str, name: str) -> str:
    """The lasting name of the form for a question (or of another panel)."""
    return f"eqlib-{assignment}-{name}"


def name_of(title: str) -> str:
    """The lasting name of the explorer with this title."""
    return "eqlib-explore-" + re.sub(r"[^a-z0-9]+", "-", title.lower()).strip("-")


def view_of(model_id: str, words: str) -> dict:
    """The output that shows a form. Where forms are not drawn at all, ``words`` or nothing stands in for
    it.
    """
    view = {"version_major": 2, "version_minor": 0, "model_id": model_id}
    return {VIEW: view, "text/plain": words, "text/html": ""}


def asleep_forms(assignment: str, names: Iterable[str]) -> dict:
    """The ``widgets`` entry of a notebook's metadata in which every form of ``names`` sleeps.

    ``names`` are question ids and "student". Put the result into ``notebook["metadata"]["widgets"]``.
    """
    layout = f"eqlib-{assignment}--layout"
    state = {layout: _model("LayoutModel", _BASE, {"display": "none"})}
    box = _model("BoxModel", _CONTROLS, {"layout": f"IPY_MODEL_{layout}"})
    for name in names:
        state[name if name.startswith("eqlib-") else form_id(assignment, name)] = box
    return {STATE: {"version_major": 2, "version_minor": 0, "state": state}}


def forms_in(notebook: dict) -> list[str]:
    """What a notebook's cells open: question ids, "student", and the names of explorers."""
    found = []
    for cell in notebook.get("cells", ()):
        source = "".join(cell.get("source", ""))
        if cell.get("cell_type") == "code":
            found += [name or _PANELS[panel] for panel, name in _OPENS.findall(source)]
            found += [name_of(title) for title in _EXPLORES.findall(source)]
    return list(dict.fromkeys(found))


def put_to_sleep(path: Any) -> list[str]:
    """Write the sleeping forms into the metadata of the notebook at ``path``, after forms were added or
    renamed.

    The assignment is that of the ``questions.toml`` beside it. Returns the forms' names. Raises EqlibError.
    """
    path = Path(path)
    questions = load_questions(path.parent)
    try:
        notebook = json.loads(path.read_text("utf-8"))
    except (OSError, ValueError) as error:
        raise EqlibError(f"{path.name} could not be read as a notebook: {error}") from None
    names = forms_in(notebook)
    notebook.setdefault("metadata", {})["widgets"] = asleep_forms(questions.assignment.id, names)
    text = json.dumps(notebook, indent=1, ensure_ascii=False, sort_keys=True) + "\n"
    mode = path.stat().st_mode
    write_atomically(path, text)
    path.chmod(mode)  # others may read it as before
    return names


def _model(name: str, module: str, state: dict) -> dict:
    return {"model_name": name, "model_module": module, "model_module_version": _VERSION, "state": state}
