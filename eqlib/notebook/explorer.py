"""Sliders over a picture, without marks: how the controls look, where they stand, undo and reset.

Every move of a control of an Explorer calls its ``make`` with a dict of the controls' values; what that returns
(a picture as SVG or HTML, or a picture and one sentence) takes the place of what stood there. Nothing is recorded.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, TypeAlias

from eqlib.errors import EqlibError
from eqlib.notebook.output import KEPT, KEYS, bundle, text
from eqlib.notebook.record import GO_ON
from eqlib.notebook.sheet import Sheet, name_of
from eqlib.notebook.store import Store
from eqlib.writing import number

BACK = (
    '<button type="button" class="quiet" data-do="undo">Undo</button>'
    '<button type="button" class="quiet" data-do="reset">Reset</button>'
)


@dataclass(frozen=True)
class Slider:
    """A number between ``low`` and ``high``. ``words`` is its label, ``unit`` stands behind its value."""

    name: str
    low: float
    high: float
    start: float | None = None
    step: float = 1.0
    unit: str = ""
    words: str = ""

    @property
    def first(self) -> float:
        """Where it stands at first."""
        return self.low if self.start is None else self.start

    def html(self, key: str, value: float) -> str:
        """The control."""
        return (
            f'<div class="slider"><label for="{key}">{text(self.words or self.name)}</label>'
            f'<input type="range" id="{key}" name="{key}" min="{self.low:g}" max="{self.high:g}" step="{self.step:g}" value="{value:g}" {KEYS}>'
            f'<output for="{key}" data-say="{key}"></output></div>'
        )

    def said(self, value: Any) -> str:
        """Its value in words."""
        if self.unit == "mM" and value >= 500:  # strong bottles in M
            return f"{number(value / 1000)} M"
        return f"{number(float(value), 4)} {self.unit}".strip()


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
        return f'<div class="picks" style="margin:3px 0">{self.box(key, value)}</div>'

    def box(self, key: str, value: bool) -> str:
        """The control alone, for a line of several."""
        on = " checked" if value else ""
        return (
            f'<label><input type="checkbox" data-slide="1" name="{key}" {KEYS}{on}>{text(self.words)}</label>'
        )


@dataclass(frozen=True)
class Choose:
    """One of several: ``options`` are words, or (value, words) pairs."""

    name: str
    options: Sequence[str | tuple[str, str]]
    words: str = ""

    @property
    def pairs(self) -> list[tuple[str, str]]:
        """(value, words) of each option."""
        return [(o, o) if isinstance(o, str) else (o[0], o[1]) for o in self.options]

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


class Moves:
    """Where the controls stand (``at``), where they stood when they were last drawn afresh (``drawn``, for the
    ``turns``th time), and the way there.
    """

    def __init__(self, controls: Sequence[Control]) -> None:
        self.start: dict[str, Any] = {control.name: control.first for control in controls}
        self.at = self.drawn = self.start
        self.turns, self.past = 0, list[dict[str, Any]]()

    def to(self, at: dict[str, Any]) -> None:
        """A move; nothing where they stand there already."""
        if at != self.at:
            self.past.append(self.at)
            self.at = at

    def undo(self) -> None:
        """One move back, if there is one."""
        if self.past:
            self.at = self.drawn = self.past.pop()
            self.turns += 1

    def reset(self) -> None:
        """As at first."""
        self.to(self.start)
        self.drawn = self.start
        self.turns += 1


class Explorer(Sheet):
    """The sheet of one ``explore``. ``after`` names questions of ``store`` to be answered before it shows anything."""

    def __init__(
        self,
        make: Draw,
        controls: Sequence[Control],
        title: str,
        words: str = "",
        after: Sequence[str] = (),
        store: Store | None = None,
    ) -> None:
        super().__init__(name_of(title))
        self.make, self.controls, self.title, self.words = make, controls, title, words
        self.after, self.store, self.moves = tuple(after), store, Moves(controls)
        self.picture, self.sentence = self.made()

    def made(self) -> tuple[str, str]:
        """The picture and the sentence for the controls as they stand; an error is one plain sentence."""
        try:
            found = self.make(dict(self.moves.at))
        except EqlibError as error:
            return "", str(error)
        return found if isinstance(found, tuple) else (found, "")

    def key(self, name: str) -> str:
        """A control's name on the page."""
        return text(f"{self.model_id}/{name}")

    def waiting(self) -> str:
        """What stands here until the questions before it are answered, or ""."""
        if self.store is None:
            return ""
        asked = [self.store.questions[name] for name in self.after if self.store.record_of(name) is None]
        titles = " and to ".join(f"“{question.title}”" for question in asked)
        return f"Record your answer to {titles} first." if asked else ""

    def kept_data(self) -> dict[str, Any]:
        """The sentence and the picture, or what they wait for."""
        wait = self.waiting()
        rest = "" if wait else f"{self.picture}<p>{text(GO_ON)}</p>"
        return bundle(
            f'<div class="{KEPT}"><p><strong>{text(self.title)}.</strong> {text(wait or self.sentence)}</p>{rest}</div>'
        )

    def sections(self) -> list[tuple[str, str]]:
        wait = self.waiting()
        if wait:
            button = '<button type="button" data-do="look">I have: show it</button>'
            page = f'<div class="head"><h3>{text(self.title)}</h3></div><p role="status">{text(wait)}</p>'
            return [("head", f'{page}<div class="go">{button}</div>')]
        head = f'<div class="head"><h3>{text(self.title)}</h3><small>to try, not marked</small></div>'
        controls = "".join(one.html(self.key(one.name), self.moves.drawn[one.name]) for one in self.controls)
        form = f"<form data-form=\"{self.moves.turns}\" onsubmit='return false'>{controls}</form>"
        return [
            ("head", f"{head}<p>{text(self.words)}</p>" if self.words else head),
            ("controls", form),
            ("picture", self.picture),
            ("sentence", f'<p class="said" role="status">{text(self.sentence)}</p>'),
            ("go", f'<div class="go">{BACK}</div>'),
        ]

    def draw(self, **more: Any) -> None:
        sliders = [control for control in self.controls if isinstance(control, Slider)]
        say = {self.key(one.name): one.said(self.moves.at[one.name]) for one in sliders}
        self.put(say=say, off=() if self.moves.past else ("undo",), **more)

    def on_recorded(self) -> None:
        """The questions before it may have been answered by now."""
        if self.after:
            self.draw()
            self.keep()

    def on_look(self, values: dict[str, Any], name: str) -> None:
        """The same, asked for by hand."""
        self.on_recorded()

    def on_slide(self, values: dict[str, Any], name: str) -> None:
        """A control was moved."""
        self.moves.to({n: values.get(self.key(n), value) for n, value in self.moves.at.items()})
        self._again()

    def on_undo(self, values: dict[str, Any], name: str) -> None:
        """One move back."""
        self.moves.undo()
        self._again()

    def on_reset(self, values: dict[str, Any], name: str) -> None:
        """As at first."""
        self.moves.reset()
        self._again()

    def _again(self) -> None:
        self.picture, self.sentence = self.made()
        self.draw()
