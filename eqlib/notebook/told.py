"""You said, it did: each part of a prediction beside what happened, the answer to it, and why it happened."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from html import escape
from typing import Any

from eqlib.assess.asks import ASKS
from eqlib.assess.case import Case
from eqlib.assess.confront import Confronted, confront
from eqlib.assess.question import Question
from eqlib.chem.disturb import Disturbance
from eqlib.chem.explain import Event, in_unicode
from eqlib.lab.scene import Scene
from eqlib.notebook.form import legend_of
from eqlib.notebook.output import text

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
