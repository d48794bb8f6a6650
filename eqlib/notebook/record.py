"""What the notebook keeps of an answer: the record as data, and the same to read, with the last picture."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import datetime
from typing import Any

from eqlib.assess.asks import read_part
from eqlib.assess.asks.base import Part, in_unicode
from eqlib.assess.question import Question
from eqlib.assess.records import MIME, Record
from eqlib.lab.drawing import as_image
from eqlib.notebook.output import KEPT, UNMARKED, box, bundle, lead, paragraph, table, text

COUNTS = {
    "first": "Your first answer is the one that counts; later changes are kept beside it.",
    "before-reveal": "You can change it until you have seen what happens, or hand in.",
    "last": "You can change it until you hand in; the last answer counts.",
    "best": "You can change it until you hand in; the best answer counts.",
}
STANDS = "You have seen what happens, so your prediction stands as it was recorded."
UNSEEN = "You can change it until you hand in."
_SEEN = "color:#7b7b7b;"  # grey lines are seen in a light theme and in a dark one
GO_ON = "To go on with this question, click on this line and press Shift + Enter: its panel opens again."


def has_outcome(question: Question) -> bool:
    """Is there something to watch, and may it be seen?"""
    return question.setting.stress is not None and question.reveal == "after-answer"


def what_counts(question: Question, locked: bool) -> str:
    """Which answer counts, and until when it can be changed. ``locked``: the outcome was seen."""
    if locked:
        return STANDS
    rule = question.policy.attempts
    return UNSEEN if rule == "before-reveal" and not has_outcome(question) else COUNTS[rule]


def kept_bundle(
    question: Question,
    record: Record | None,
    *,
    picture: str = "",
    words: str = "",
    note: str = "",
    locked: bool = False,
) -> dict[str, Any]:
    """The output that holds one answer: what stands there when the panel is not running.

    ``picture`` (SVG without text) is the last one that was seen, ``words`` the same in words; ``note`` is one
    more plain line. ``locked``: the answer can no longer be changed. A notebook that is not trusted may not
    draw, and an image passes there.
    """
    if record is None:
        inner, more = lead(f"{question.title}.", "Not recorded yet."), {}
    else:
        inner, more = _recorded(question, record, locked), {MIME: record.to_dict()}
    inner += (
        picture
        + (as_image(picture.replace('style="', f'style="{_SEEN}', 1), words) if picture else "")
        + (paragraph(words) if words else "")
        + (paragraph(note) if note else "")
    )
    inner += f"<p class='{UNMARKED}' style='margin:.25em 0'>{text(GO_ON)}</p>"
    return bundle(box(inner, mark=KEPT, label=f"Your answer to {question.title}"), more)


def _recorded(question: Question, record: Record, locked: bool) -> str:
    page = (
        f"<p style='margin:.25em 0'><strong>{text(question.title)}. Recorded ✓</strong> {text(time_of(record))}, "
        f"receipt <code>{text(record.receipt)}</code></p>"
    )
    rows = answer_rows(question, record.answer)
    if rows:
        page += table("Your answer, as it was read", rows)
    if question.mode == "assessed":
        words = f"It will be marked after you hand in. {what_counts(question, locked)}"
        page += f"<p class='{UNMARKED}' style='margin:.25em 0'>{text(words)}</p>"
        if question.policy.attempts == "first" and dict(record.first) != dict(record.answer):
            page += table("Your first answer, which counts", answer_rows(question, record.first))
    return page


def answer_rows(question: Question, answer: Mapping[str, Any]) -> list[tuple[str, str]]:
    """(what was asked, what was read) for every part that holds something."""
    rows: list[tuple[str, str]] = []
    for part in question.parts:
        if part.id not in answer or answer[part.id] is None:
            continue
        found = read_part(part, answer[part.id])
        if part.kind == "table" and found.ok:
            rows.extend(_table_rows(part, found.value))
        else:
            rows.append((part.label, read_words(part, found)))
    return rows


def read_words(part: Part, found: Any) -> str:
    """A reading in words: the option's own label, or what was read of something typed."""
    if not found.ok:
        return f"could not be read: {found.message}"
    if part.kind == "choice":
        return next((label for value, label in part.options if value == found.value), found.shown)
    shown = found.shown
    return shown[8:] if shown.lower().startswith("read as ") else shown


def _table_rows(part: Part, value: Any) -> Iterator[tuple[str, str]]:
    for row in part.rows:
        cells = value.get(row, {}) if isinstance(value, dict) else {}
        shown = ", ".join(
            f"{in_unicode(column)} {_cell(cells[column])}"
            for column in part.columns
            if cells.get(column) is not None
        )
        yield row.capitalize(), shown or "empty"


def _cell(value: Any) -> str:
    """A place of a table: a number, or an expression in x as it was read."""
    return value if isinstance(value, str) else f"{value:.4g}"


def time_of(record: Record) -> str:
    """When an answer was recorded, in the clock of this computer."""
    when: datetime = record.when.astimezone()
    return f"{when.day} {when:%B %Y, %H:%M}"
