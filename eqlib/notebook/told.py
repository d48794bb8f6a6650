"""You said, it did: each part of a prediction beside what happened, and why."""

from __future__ import annotations

from dataclasses import dataclass

from eqlib.lab.drawing import shelf
from eqlib.notebook.form import legend_of
from eqlib.notebook.output import text
from eqlib.notebook.scene import Scene, why


@dataclass(frozen=True)
class Told:
    """The pieces of an outcome, as HTML."""

    picture: str
    table: str
    answers: str
    why: str


def told_html(question, case, answer, scene: Scene) -> Told:
    """What is shown once the prediction was made and the thing was done."""
    d = case.disturbance
    cast = [
        scene.vessel(d.before, "before"),
        "→",
        scene.vessel(d.at_once, "at once"),
        "→",
        scene.vessel(d.after, "after"),
        "|",
        scene.vessel(scene.control, "control", more=(scene.twin,)),
    ]
    words = "; ".join(f"{v.name}: {', '.join(v.lines)}" for v in cast if not isinstance(v, str))
    rows = "".join(
        _row(part, case, answer, question)
        for part in question.parts
        if part.kind == "choice" and part.ask != "confidence"
    )
    table = f'<table><caption>Your prediction</caption><thead><tr><td></td><th scope="col">you said</th><th scope="col">it did</th></tr></thead><tbody>{rows}</tbody></table>'
    events = '<ol class="events">' + "".join(f"<li>{line}</li>" for line in why(d)) + "</ol>"
    return Told(shelf(cast, f"{question.title}: what happened", words), table, "", events)


def _row(part, case, answer, question) -> str:
    said, right = answer.get(part.id), case.expected.get(part.id)
    words = dict(part.options)
    mark = (
        ""
        if said is None
        else ('<span class="yes">✓ as you said</span> ' if said == right else '<span class="no">✗</span> ')
    )
    return f"<tr><th scope=row>{text(legend_of(part))}</th><td>{text(words.get(said, said or ''))}</td><td>{mark}{text(words.get(right, right or ''))}</td></tr>"
