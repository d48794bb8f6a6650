"""Sliders over a picture, without marks: ``explore(draw, Slider("volume", 10, 60))``.

Every move of a control calls ``draw`` with a dict of the controls' values; what it returns (a picture as SVG
or HTML, or a picture and one sentence) takes the place of what stood there. Nothing is recorded.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, TypeAlias

from eqlib.errors import EqlibError
from eqlib.notebook.form import KEYS, Slider
from eqlib.notebook.lesson import store_here
from eqlib.notebook.output import KEPT, Slot, bundle, kindly, text
from eqlib.notebook.record import GO_ON
from eqlib.notebook.session import marking
from eqlib.notebook.sheet import Sheet, name_of


@dataclass(frozen=True)
class Switch:
    """Something that is on or off."""

    name: str
    words: str
    start: bool = False

    @property
    def first(self) -> bool:
        """Where it stands at first."""
        return self.start

    def html(self, key: str, value: bool) -> str:
        """The control."""
        on = " checked" if value else ""
        return f'<div class="picks" style="margin:3px 0"><label><input type="checkbox" data-slide="1" name="{key}" {KEYS}{on}>{text(self.words)}</label></div>'


@dataclass(frozen=True)
class Choose:
    """One of several: ``options`` are words, or (value, words) pairs."""

    name: str
    options: Sequence[str | tuple[str, str]]
    words: str = ""

    @property
    def pairs(self) -> list[tuple[str, str]]:
        """(value, words) of each option."""
        return [
            (str(o[0]), str(o[1])) if isinstance(o, (tuple, list)) else (str(o), str(o)) for o in self.options
        ]

    @property
    def first(self) -> str:
        """The option that is chosen at first."""
        return self.pairs[0][0]

    def html(self, key: str, value: str) -> str:
        """The control."""
        made = "".join(
            f'<label><input type="radio" data-slide="1" name="{key}" value="{text(v)}" {KEYS}{" checked" if v == value else ""}>{text(w)}</label>'
            for v, w in self.pairs
        )
        return f'<fieldset><legend>{text(self.words or self.name)}</legend><div class="picks">{made}</div></fieldset>'


Control: TypeAlias = Slider | Switch | Choose
#: Takes {name: value} of the controls; returns a picture, or a picture and one sentence.
Draw: TypeAlias = Callable[[dict[str, Any]], str | tuple[str, str]]


class Explorer(Sheet):
    """The sheet of one ``explore``."""

    def __init__(
        self, draw: Draw, controls: Sequence[Control], title: str, words: str, after: Sequence[str] = ()
    ) -> None:
        super().__init__(name_of(title))
        self.after, self.store = tuple(after), store_here() if after else None
        self.make, self.controls, self.title, self.words = draw, controls, title, words
        self.at: dict[str, Any] = {control.name: control.first for control in controls}
        self.past: list[dict[str, Any]] = []
        self.drawn, self.turns = dict(self.at), 0
        self.kept = Slot(f"{self.model_id}-kept")
        self.picture, self.sentence = self.made()

    def made(self) -> tuple[str, str]:
        """The picture and the sentence for the controls as they stand; an error is one plain sentence."""
        try:
            found = self.make(dict(self.at))
        except EqlibError as error:
            return "", str(error)
        return found if isinstance(found, tuple) else (found, "")

    def key(self, name: str) -> str:
        """A control's name on the page."""
        return text(f"{self.model_id}/{name}")

    def waits_for(self) -> list[str]:
        """The titles of the questions that are to be answered before anything is shown."""
        store = self.store
        if store is None:
            return []
        return [store.questions[name].title for name in self.after if store.record_of(name) is None]

    def on_recorded(self) -> None:
        """The questions before it may have been answered by now."""
        if self.after:
            self.draw()
            self.keep()

    def on_look(self, values: dict[str, Any], name: str) -> None:
        """The same, asked for by hand."""
        self.on_recorded()

    def keep(self, show: bool = False) -> None:
        """What the notebook keeps: the sentence and the picture, or what they wait for."""
        wait = self.waiting()
        rest = f"{self.picture}<p>{text(GO_ON)}</p>" if not wait else ""
        page = f'<div class="{KEPT}"><p><strong>{text(self.title)}.</strong> {text(wait or self.sentence)}</p>{rest}</div>'
        self.kept.show(bundle(page)) if show else self.kept.put(bundle(page))

    def waiting(self) -> str:
        """What stands here until they are, or ""."""
        titles = [f"“{title}”" for title in self.waits_for()]
        return f"Record your answer to {' and to '.join(titles)} first." if titles else ""

    def sections(self) -> list[tuple[str, str]]:
        wait = self.waiting()
        if wait:
            button = '<button type="button" data-do="look">I have: show it</button>'
            page = f'<div class="head"><h3>{text(self.title)}</h3></div><p role="status">{text(wait)}</p>'
            return [("head", f'{page}<div class="go">{button}</div>')]
        head = f'<div class="head"><h3>{text(self.title)}</h3><small>to try, not marked</small></div>' + (
            f"<p>{text(self.words)}</p>" if self.words else ""
        )
        controls = "".join(
            control.html(self.key(control.name), self.drawn[control.name]) for control in self.controls
        )
        go = '<div class="go"><button type="button" class="quiet" data-do="undo">Undo</button><button type="button" class="quiet" data-do="reset">Reset</button></div>'
        return [
            ("head", head),
            ("controls", f"<form data-form=\"{self.turns}\" onsubmit='return false'>{controls}</form>"),
            ("picture", str(self.picture)),
            ("sentence", f'<p class="said" role="status">{text(self.sentence)}</p>'),
            ("go", go),
        ]

    def draw(self, **more: Any) -> None:
        sliders = [control for control in self.controls if isinstance(control, Slider)]
        say = {self.key(control.name): control.said(self.at[control.name]) for control in sliders}
        self.put(say=say, off=() if self.past else ("undo",), **more)

    def on_slide(self, values: dict[str, Any], name: str) -> None:
        """A control was moved."""
        self._go(
            {
                control.name: values.get(self.key(control.name), self.at[control.name])
                for control in self.controls
            }
        )

    def on_undo(self, values: dict[str, Any], name: str) -> None:
        """One move back."""
        if self.past:
            self.at = self.drawn = self.past.pop()
            self.turns += 1
            self.picture, self.sentence = self.made()
            self.draw()

    def on_reset(self, values: dict[str, Any], name: str) -> None:
        """As at first."""
        first = {control.name: control.first for control in self.controls}
        self.drawn = first
        self.turns += 1
        self._go(first)

    def _go(self, at: dict[str, Any]) -> None:
        if at != self.at:
            self.past.append(self.at)
        self.at = at
        self.picture, self.sentence = self.made()
        self.draw()


@kindly
def explore(draw: Draw, *controls: Control, title: str, words: str = "", after: Sequence[str] = ()) -> None:
    """Show ``draw``'s picture with ``controls`` (Slider, Switch, Choose) over it. Shows nothing while marking.

    ``draw(at)`` takes {name: value} and returns a picture (SVG or HTML text), or (picture, one sentence); an
    EqlibError it raises is shown as the sentence. ``title`` is also its lasting name: no two alike in a
    notebook. ``words`` is one line under the title. ``after`` names questions that must have been answered
    before it shows anything: a picture is no prediction.
    """
    if marking():
        return
    made = Explorer(draw, controls, title, words, after)
    made.show(f"(“{title}” opens in Jupyter.)")
    made.keep(show=True)
