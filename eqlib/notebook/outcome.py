"""What is seen once a prediction was made and the thing was done: you said, it did, why; and other amounts.

Each part of the prediction stands beside what happened, with the answer to it. Then the same disturbance can be
tried with another volume, strength, temperature or plunger.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from html import escape
from typing import Any

from eqlib.assess.asks import ASKS
from eqlib.assess.asks.shift import Direction
from eqlib.assess.confront import Confronted, confront
from eqlib.assess.question import Case, Question
from eqlib.chem.disturb import Disturbance, disturb
from eqlib.chem.explain import Event, in_unicode
from eqlib.chem.state import State
from eqlib.chem.stress import Stress
from eqlib.errors import EqlibError
from eqlib.lab.drawing import SHAPES, Vessel, said_of, shelf
from eqlib.lab.look import lightness
from eqlib.lab.scene import Scene
from eqlib.notebook.explorer import BACK, Moves, Slider, Switch
from eqlib.notebook.form import legend_of
from eqlib.notebook.output import text
from eqlib.writing import number

#: What the events beside it tell already, or the row itself, needs no answer of its own.
_TOLD_ELSEWHERE = ("direction", "precipitate", "rate", "graph", "change")

_MOST = 4  # sentences of a Why
_TAGS = re.compile(r"<[^>]+>")
_SHORT = 18  # letters of a choice that is never broken: an arrow stays with its words


@dataclass(frozen=True)
class Told:
    """The pieces of an outcome, as HTML."""

    picture: str
    table: str
    answers: str
    why: str
    more: str

    @property
    def words(self) -> str:
        """All but the picture."""
        return (
            f'<div class="two even"><div>{self.table}{self.answers}</div>'
            f"<div>{self.why}{self.more}</div></div>"
        )


def told_html(question: Question, case: Case, answer: Mapping[str, Any], scene: Scene) -> Told:
    """What is shown once the prediction was made and the thing was done."""
    rows = confront(question, case, answer)
    imagined = next((row.if_right for row in rows if row.if_right is not None), None)
    picture = scene.outcome(question.title, imagined)
    body = "".join(_row(row) for row in rows)
    table = (
        '<table aria-label="Your prediction"><thead><tr><td></td><th scope="col">you said</th>'
        f'<th scope="col">it did</th></tr></thead><tbody>{body}</tbody></table>'
    )
    rest = (ASKS[part.ask].because(part, case) for part in question.parts)
    lines = [text(line) for line in dict.fromkeys(rest) if line]
    steps, full = why(scene.d)
    if lines:  # rates or a label were asked about: these come first, and alone where the rest is right
        went_wrong = any(row.agrees is False and row.part.ask in ("direction", "change", "K") for row in rows)
        if went_wrong and len(lines) + len(steps) > _MOST:  # of the events what decides: Q against K
            steps = [
                line for line, event in zip(steps, scene.d.events, strict=True) if event.kind == "quotient"
            ]
        steps = [*lines, *steps] if went_wrong else lines
    if imagined is not None:
        words = text(imagined.told)
        picture = f'<div class="beside">{picture}<p>{words}</p></div>'
    under, beside = _sides(rows, steps, lines)
    return Told(picture, table, under, _events(steps, full), beside)


def _events(steps: list[str], full: list[str]) -> str:
    """The steps, and, in their place once it is asked for, every step with all its numbers."""
    brief, long = (f"<ol class=events>{''.join(f'<li>{one}</li>' for one in s)}</ol>" for s in (steps, full))
    if steps == full:
        return f"<h4>Why</h4>{brief}"
    all_of_it = "<summary><h4>Why</h4> <span>every step, with all the numbers</span></summary>"
    return f"<details>{all_of_it}{long}</details>{brief}"


def _row(row: Confronted) -> str:
    sign = {
        True: '<span class="yes">✓</span><span class="vh"> so it was:</span> ',
        False: '<span class="no">✗</span><span class="vh"> not so:</span> ',
        None: "",
    }[row.agrees]
    name, said, did = text(legend_of(row.part)), text(row.said or "–"), _kept(text(row.happened))
    if row.part.ask == "reason":  # whole sentences: under each other, over the width of both columns
        happened = "" if row.agrees else f'<br><span class="soft">rather:</span> {did}'
        return f"<tr><th scope=row>{name}</th><td colspan=2>{sign}{said}{happened}</td></tr>"
    one_line = " class=one" if len(row.said) < _SHORT else ""
    return f"<tr><th scope=row>{name}</th><td{one_line}>{sign}{said}</td><td>{did}</td></tr>"


def _sides(rows: Sequence[Confronted], steps: list[str], why: list[str]) -> tuple[str, str]:
    """What is said to the reason and to each wrong part, each sentence once and none that ``why`` says: under the
    table, and under Why. The side that is shorter takes the next, so that the whole stays on one screen.
    """
    told: dict[str, str] = {row.answer: "" for row in rows if row.answer and row.part.ask == "reason"}
    spoken, to_reason = " ".join([*told, *why]), set(told)
    unasked = not any(row.part.ask == "reason" for row in rows)
    for row in rows:
        to_idea = unasked and row.idea and row.part.ask == "direction"
        if (row.part.ask in _TOLD_ELSEWHERE and not to_idea) or not row.answer or row.answer in told:
            continue
        if row.answer.rstrip(".") not in spoken:
            name = legend_of(row.part).rstrip("?")
            told[row.answer] = (
                "" if to_idea or row.answer.startswith(f"{name} ") else f"<b>{text(name)}</b>: "
            )
    sides: tuple[list[str], list[str]] = [], []
    long = [sum(_high(row) for row in rows), sum(_lines(step) + 0.3 for step in steps)]
    for words, name in told.items():
        side = 0 if words in to_reason or long[0] <= long[1] else 1
        sides[side].append(f"<p>{name}{_kept(text(words))}</p>")
        long[side] += _lines(words) + 0.25
    under, beside = (f'<div class="answers">{"".join(side)}</div>' if side else "" for side in sides)
    return under, beside


def _high(row: Confronted) -> float:
    """About how many lines a row of the table takes."""
    if row.part.ask == "reason":
        return 0.4 + 0.85 * sum(
            1 + len(words) // 50 for words in (row.said, *[row.happened] * (not row.agrees))
        )
    return 1.3 + 0.85 * (len(row.happened) > 27)


def _lines(words: str) -> int:
    """About how many lines this takes in one of two columns."""
    return 1 + len(_TAGS.sub("", words)) // 62


_OUTER = re.compile(r"\((?:[^()]|\([^()]*\))*\)")
_FLAT = re.compile(rf"= ([^=<]+ / {_OUTER.pattern}) =")


def why(d: Disturbance) -> tuple[list[str], list[str]]:
    """The events in HTML: one sentence each, and each with all its numbers; every Q as a fraction."""
    return [_told(event, event.brief) for event in d.events], [_told(e, e.unicode) for e in d.events]


def _told(event: Event, words: str) -> str:
    """An event's ``words`` in HTML, each Q written as a fraction over a line."""
    line = escape(words).replace("= infinity", "= ∞")
    for q in [event.quotient, *(rival.quotient for rival in event.rivals)]:
        for flat in (q.fraction(in_unicode), q.numbers()):
            line = line.replace(escape(flat), _over(flat))
    return _kept(_FLAT.sub(lambda found: f"= {_over(found[1])} =", line))


def _kept(line: str) -> str:
    """With powers of ten that no end of a line breaks."""
    return line.replace(" × 10", "\u00a0×\u00a010")


def _over(flat: str) -> str:
    """ "a / (b c)" as a fraction over a line."""
    top, bar, bottom = flat.partition(" / ")
    if not bar:
        return escape(flat)
    if bottom.startswith("(") and _OUTER.fullmatch(bottom):
        bottom = bottom[1:-1]
    return f'<span class="frac"><span>{escape(top)}</span><span>{escape(bottom)}</span></span>'


# -- other amounts --------------------

WAYS = dict(Direction.choices)
_SWITCHES = (
    Switch("above", "from above"),
    Switch("grey", "in grey"),
    Switch("alone", "without the rival"),
)


class Trying:
    """The sliders and switches of one scene, and what they show."""

    def __init__(self, scene: Scene, key: str) -> None:
        self.scene, self.key = scene, f"{key}/try"
        self.sliders = sliders_of(scene)
        self.moves = Moves([*self.sliders, *_SWITCHES])
        self.problem = ""
        self._fixed: dict[tuple[str, str, bool], Vessel] = {}
        self._work()

    @property
    def at(self) -> dict[str, Any]:
        """The values of the controls."""
        return self.moves.at

    # -- moving --------------------

    def move(self, values: Mapping[str, Any]) -> None:
        """Take over the controls' values."""
        self.moves.to({name: values.get(f"{self.key}/{name}", value) for name, value in self.at.items()})
        self._work()

    def undo(self) -> None:
        """One move back."""
        self.moves.undo()
        self._work()

    def reset(self) -> None:
        """As in the question."""
        self.moves.reset()
        self._work()

    def _work(self) -> None:
        d = self.scene.d
        try:
            made = disturb(d.before.mixture, self._stress(d.stress))
            if self.at["alone"]:
                made = made.without(*(r for r in d.rivals if r in made.mixture.reactions))
        except EqlibError as error:
            self.problem = str(error)
            return
        self.problem = ""
        self.now = Scene(made, self.scene.kind, "")
        self.now.nm = self.scene.nm  # one wavelength for the whole page

    def _stress(self, stress: Stress) -> Stress:
        changes: dict[str, Any] = {}
        if "volume" in self.at:
            changes["volume"] = max(self.at["volume"], 1e-3) / 1000
        if "celsius" in self.at:
            changes["T"] = self.at["celsius"] + 273.15
        if "strength" in self.at:
            factor = self.at["strength"] / self.moves.start["strength"]
            changes["amounts"] = tuple((name, value * factor) for name, value in stress.amounts)
        if "mmol" in self.at:
            changes["amounts"] = ((stress.amounts[0][0], self.at["mmol"] / 1000),)
        return replace(stress, **changes)

    # -- showing --------------------

    def html(self) -> str:
        """The controls."""
        drawn, offered = self.moves.drawn, _SWITCHES if self.scene.d.rivals else _SWITCHES[:2]
        rows = "".join(one.html(text(f"{self.key}/{one.name}"), drawn[one.name]) for one in self.sliders)
        boxes = "".join(one.box(f"{text(self.key)}/{one.name}", drawn[one.name]) for one in offered)
        return (
            f'<div class="try" data-turn="{self.moves.turns}"><h4>Try other amounts</h4>{rows}'
            f'<div class="picks" style="margin:4px 0 0">{boxes}{BACK}</div></div>'
        )

    def picture(self) -> str:
        """The vessels with these amounts, beside those of the question, and Q beside K."""
        view, grey = ("above" if self.at["above"] else "side"), self.at["grey"]
        d = self.now.d
        cast: list[Vessel | str] = [
            self.fixed(self.scene.d.before, "before", view, grey),
            "→",
            self.now.vessel(d.after, "after", view=view, grey=grey),
            "|",
            self.now.vessel(self.now.control, "control", view=view, grey=grey, more=(self.now.twin,)),
            "|",
            self.fixed(self.scene.d.after, "as in the question", view, grey),
        ]
        said = self.problem or self.sentence()
        line = self.now.line.svg("Q beside K", said, moving=False) if self.now.line else ""
        return f'{shelf(cast, "With these amounts", said_of(cast))}{line}<p role="status">{text(said)}</p>'

    def fixed(self, state: State, name: str, view: str, grey: bool) -> Vessel:
        """A vessel that no slider changes, worked out once for each way of looking at it."""
        key = name, view, grey
        if key not in self._fixed:
            self._fixed[key] = self.scene.vessel(state, name, view=view, grey=grey)
        return self._fixed[key]

    def sentence(self) -> str:
        """What these amounts do, in one line."""
        d = self.now.d
        view = "above" if self.at["above"] else "side"
        looks = lightness(self.scene.seen(d.before, view), self.now.seen(d.after, view))
        label, Q = self.now.line.marks[-1] if self.now.line else ("at once", d.Q)
        sign = "<" if Q < d.K / 1.001 else ">" if Q > d.K * 1.001 else "="
        return f"{label[:1].upper()}{label[1:]}: Q = {number(Q)} {sign} K = {number(d.K)}. It goes {WAYS[d.direction]}; {looks} from {'above' if view == 'above' else 'the side'}."

    def say(self) -> dict[str, str]:
        """The numbers beside the sliders."""
        return {f"{self.key}/{one.name}": one.said(self.at[one.name]) for one in self.sliders}


def sliders_of(scene: Scene) -> list[Slider]:
    """What can be changed in a stress."""
    stress = scene.d.stress
    found: list[Slider] = []
    if stress.kind in ("add_solution", "dilute", "change_volume"):
        now = 1000 * (stress.volume or 0.0)
        room = SHAPES[scene.kind].area_cm2 * SHAPES[scene.kind].height_cm - 1000 * scene.d.before.volume
        top = max(3 * now, 0.0) if stress.kind == "change_volume" else max(now, min(4 * now, room))
        low = 0.2 * now if stress.kind == "change_volume" else 0.0
        found.append(Slider("volume", _tidy(low), _tidy(top), now, _step(top), "mL", "Volume"))
    if stress.kind == "add_solution":
        main = 1000 * _acting(scene.d)
        words = "Strength of the bottle"
        found.append(Slider("strength", 0.0, _tidy(3 * main), main, _step(3 * main), "mM", words))
    if stress.kind == "heat_to":
        found.append(Slider("celsius", 1, 95, stress.kelvin - 273.15, 1, "°C", "Temperature of the bath"))
    if stress.kind in ("add_solid", "add", "remove", "add_inert"):
        now = 1000 * stress.amounts[0][1]
        found.append(Slider("mmol", 0.0, _tidy(4 * now), now, _step(4 * now), "mmol", "Amount"))
    return found


def _acting(d: Disturbance) -> float:
    """mol/L of what acts in the bottle: a species of the first reaction, else of a rival, else the strongest."""
    named = dict(d.stress.amounts)
    for reactions in ((d.reaction,), d.rivals):
        acting = [value for name, value in named.items() if any(name in r.coefficients for r in reactions)]
        if acting:
            return max(acting)
    return max(named.values())


def _step(top: float) -> float:
    return float(f"{top / 100:.0e}") or 0.01


def _tidy(value: float) -> float:
    return float(f"{value:.2g}")
