"""A sheet: sections of HTML that Python makes and a page shows. All that is decided is decided in Python."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

import anywidget
import traitlets

from eqlib.notebook.asleep import view_of

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
        _live[name] = self
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
        """Draw it in the running cell; ``words`` stand in where nothing of the kind is shown."""
        from IPython.display import display

        self.draw()
        display(view_of(self.model_id, words), raw=True)

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
