"""You said, it did: each part of a prediction beside what happened, the answer to it, and why it happened."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from eqlib.assess.asks import ASKS
from eqlib.assess.case import Case
from eqlib.assess.confront import Confronted, IfRight, confront
from eqlib.assess.question import Question
from eqlib.lab.drawing import Vessel, shelf
from eqlib.notebook.form import legend_of
from eqlib.notebook.output import text
from eqlib.notebook.scene import Scene, why

#: What the events beside it tell already needs no answer of its own.
_TOLD_BY_WHY = ("direction", "precipitate", "rate")


@dataclass(frozen=True)
class Told:
    """The pieces of an outcome, as HTML."""

    picture: str
    table: str
    answers: str
    why: str

    @property
    def words(self) -> str:
        """All but the picture."""
        return (
            f'<div class="two even"><div>{self.table}{self.answers}</div>'
            f"<div><h4>Why</h4>{self.why}</div></div>"
        )


def told_html(question: Question, case: Case, answer: Mapping[str, Any], scene: Scene) -> Told:
    """What is shown once the prediction was made and the thing was done."""
    rows = confront(question, case, answer)
    imagined = next((row.if_right for row in rows if row.if_right is not None), None)
    body = "".join(_row(row) for row in rows)
    table = (
        '<table><caption>Your prediction</caption><thead><tr><td></td><th scope="col">you said</th>'
        f'<th scope="col">it did</th></tr></thead><tbody>{body}</tbody></table>'
    )
    rest = (ASKS[part.ask].because(part, case) for part in question.parts)
    lines = [text(line) for line in dict.fromkeys(rest) if line]
    steps = why(scene.d)
    if lines:  # rates or a label were asked about: these come first
        folded = "".join(f"<p>{step}</p>" for step in steps)
        steps = [*lines, f"<details><summary>Q beside K, step by step</summary>{folded}</details>"]
    events = '<ol class="events">' + "".join(f"<li>{line}</li>" for line in steps) + "</ol>"
    return Told(_picture(question, scene, imagined), table, _answers(rows, imagined), events)


def _picture(question: Question, scene: Scene, imagined: IfRight | None) -> str:
    """The well in three moments, its control, and the well as the student's idea would have it."""
    d = scene.d
    cast: list[Vessel | str] = [
        scene.vessel(d.before, "before"),
        "→",
        scene.vessel(d.at_once, "at once"),
        "→",
        scene.vessel(d.after, "after"),
    ]
    cast += ["|", scene.vessel(scene.control, "control", more=(scene.twin,))]
    if imagined is not None:
        if imagined.view == "above":
            cast.append(scene.vessel(d.after, "after, from above", view="above"))
        cast.append(scene.vessel(imagined.state, "if your idea were right", view=imagined.view))
    words = "; ".join(f"{v.name}: {', '.join(v.lines)}" for v in cast if not isinstance(v, str))
    return shelf(cast, f"{question.title}: what happened", words)


def _row(row: Confronted) -> str:
    sign = {
        True: '<span class="yes">✓</span><span class="vh"> so it was:</span> ',
        False: '<span class="no">✗</span><span class="vh"> not so:</span> ',
        None: "",
    }[row.agrees]
    name, said = text(legend_of(row.part)), text(row.said or "–")
    return f"<tr><th scope=row>{name}</th><td>{sign}{said}</td><td>{text(row.happened)}</td></tr>"


def _answers(rows: Any, imagined: IfRight | None) -> str:
    """What is said to each wrong part and to the reason, each sentence once; then the idea's own picture."""
    told: dict[str, str] = {}
    for row in rows:
        if row.answer and row.part.ask == "reason":
            told[row.answer] = f"<p>{text(row.answer)}</p>"
    spoken = " ".join(told)
    for row in rows:
        if row.part.ask in _TOLD_BY_WHY:
            continue
        if row.answer and row.answer.rstrip(".") not in spoken and row.answer not in told:
            name = "" if row.part.ask == "change" else f"<b>{text(legend_of(row.part))}</b>: "
            told[row.answer] = f"<p>{name}{text(row.answer)}</p>"
    made = "".join(told.values())
    if imagined is not None:
        made += f"<p>{text(imagined.words)} {text(imagined.test)}</p>"
    return f'<div class="answers">{made}</div>'
