"""The sheet of the notebook on demonstrations: a plan is mixed, looked at and held against its requirements.

It is drawn by ``explore`` in the notebook's cell; nothing of it is marked or recorded.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from eqlib.lab.colour import colour_of
from eqlib.lab.demonstration import VESSELS, Judged, Plan, demonstrations, judge
from eqlib.lab.drawing import svg
from eqlib.lab.light import simulate
from eqlib.notebook.lesson import store_here

_EYES = (
    ("in colour", ""),
    ("red-blind", "protan"),
    ("green-blind", "deutan"),
    ("blue-blind", "tritan"),
    ("in grey", "grey"),
)
_SIGNS = {True: "✓ met", False: "✗ not met"}


def sheet_for(question: str) -> Callable[[Mapping[str, Any]], tuple[str, str]]:
    """What ``explore`` draws: ``at`` ("demo", "vessel", "start", "add", "back") to a picture and a sentence, with
    the student's own limits out of ``question``.
    """

    def draw(at: Mapping[str, Any]) -> tuple[str, str]:
        store = store_here()
        limit = store.questions[question].variant(store.student).numbers["least_mL"]
        return planned(Plan(at["demo"], at["vessel"], at["start"], at["add"], at["back"]), limit)

    return draw


def demos() -> list[tuple[str, str]]:
    """(key, words) of what can be shown."""
    return [(key, demo.words) for key, demo in demonstrations().items()]


def vessels() -> list[tuple[str, str]]:
    """(key, words) of what it can be shown in."""
    return [(key, vessel.words) for key, vessel in VESSELS.items()]


def planned(plan: Plan, least_mL: float) -> tuple[str, str]:
    """The picture of a plan with its requirements, and one sentence."""
    judged = judge(plan, least_mL)
    met = sum(one.met for one in judged.requirements)
    told = f"{met} of {len(judged.requirements)} requirements are met."
    lines = "".join(
        f'<li><b class="{"yes" if one.met else "no"}">{_SIGNS[one.met]}</b> {one.key}. {one.words}</li>'
        for one in judged.requirements
    )
    return _strips(judged) + f"<ul>{lines}</ul>", told


def _strips(judged: Judged) -> str:
    """Five eyes, one row each: before, after the addition, turned back."""
    vessel = VESSELS[judged.plan.vessel]
    path, view = vessel.path_cm(judged.plan.start_mL), "above" if vessel.above else "side"
    area = vessel.area_cm2 if vessel.above else None
    moments = (
        ("before", judged.change.before),
        ("added", judged.change.after),
        ("turned back", judged.back.after),
    )
    colours = [colour_of(state, path, view, area_cm2=area).rgb for _, state in moments]
    body = [
        f'<text x="{205 + 130 * i}" y="14" text-anchor="middle" font-size="13">{name}</text>'
        for i, (name, _) in enumerate(moments)
    ]
    for row, (eye, kind) in enumerate(_EYES):
        y = 22 + 34 * row
        body.append(f'<text x="130" y="{y + 19}" text-anchor="end" font-size="13">{eye}</text>')
        for i, rgb in enumerate(colours):
            seen = simulate(rgb, kind) if kind else rgb
            fill = "#" + "".join(f"{int(v):02x}" for v in seen)
            body.append(
                f'<rect x="{145 + 130 * i}" y="{y}" width="120" height="28" rx="4" fill="{fill}" stroke="#566170"/>'
            )
    desc = f"The liquid through {path:.1f} cm, {vessel.words}. {judged.seen.words}."
    return svg("".join(body), 540, 22 + 34 * len(_EYES), "Before, with the addition, and turned back", desc)
