"""What the notebook keeps of an answer: the record as data, and the same to read."""

from __future__ import annotations

from datetime import datetime

from eqlib.assess.kinds import ICE_ROWS
from eqlib.assess.reading import read_part
from eqlib.assess.records import MIME, Record
from eqlib.notebook.display import bundle
from eqlib.notebook.style import ASLEEP, RECORD, SHEET, UNMARKED, box, lead, paragraph, table, text

_COUNTS = {
    "first": "Your first answer is the one that counts; later changes are kept beside it.",
    "before-reveal": "You can change it until you have seen what happens, or hand in.",
    "last": "You can change it until you hand in; the last answer counts.",
    "best": "You can change it until you hand in; the best answer counts.",
}
_STANDS = "You have seen what happens, so this answer stands."
_OPEN = "To open the form, run the first cell of this page and then the cell above this line (Shift + Enter)."
_REOPEN = (
    "To change your answer, run the first cell of this page and then the cell above this line "
    "(Shift + Enter): the form opens again."
)


def record_bundle(question, record: Record | None, *, note="", form=True, locked=False, brief=False) -> dict:
    """The output that holds one answer.

    ``note`` is one more plain line. ``form`` says whether a form belongs to it, ``locked`` that the answer
    can no longer be changed; ``brief`` leaves out the table of what was read.
    """
    if record is None:
        inner = lead("Not recorded yet.", note)
        more = {}
    else:
        inner = _recorded(question, record, locked, brief) + (paragraph(note) if note else "")
        more = {MIME: record.to_dict()}
    page = box(
        inner,
        kind="dashed" if record is None else "solid",
        mark=RECORD,
        label=f"Your answer to {question.title}",
        status=True,
    )
    if form:
        line = "" if locked else asleep_line(_OPEN if record is None else _REOPEN)
        page = SHEET + page + line
    return bundle(page, more)


def asleep_line(words: str = _OPEN) -> str:
    """The line that stands in for a form while there is none on the page."""
    return f"<p class='{ASLEEP}' style='margin:.25em 0'>{text(words)}</p>"


def _recorded(question, record: Record, locked: bool, brief: bool) -> str:
    page = (
        f"<p style='margin:.25em 0'><strong>Recorded ✓</strong> {text(time_of(record))}, "
        f"receipt <code>{text(record.receipt)}</code></p>"
    )
    rows = [] if brief else answer_rows(question, record.answer)
    if rows:
        page += table("Your answer, as it was read", rows)
    if question.mode == "assessed":
        # A number worked out in code has no outcome that is shown later.
        rule = "last" if question.code and question.policy.attempts == "before-reveal" else None
        counts = _STANDS if locked else _COUNTS[rule or question.policy.attempts]
        words = text(f"It will be marked after you hand in. {counts}")
        page += f"<p class='{UNMARKED}' style='margin:.25em 0'>{words}</p>"
        changed = question.policy.attempts == "first" and dict(record.first) != dict(record.answer)
        if changed and not brief:
            page += table("Your first answer, which counts", answer_rows(question, record.first))
    return page


def answer_rows(question, answer) -> list[tuple[str, str]]:
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


def read_words(part, found) -> str:
    """A reading in words: the option's own label, or what was read of something typed."""
    if not found.ok:
        return f"could not be read: {found.message}"
    if part.kind == "choice":
        return next((label for value, label in part.options if value == found.value), found.shown)
    shown = found.shown
    return shown[8:] if shown.lower().startswith("read as ") else shown


def _table_rows(part, value):
    from eqlib.chem.species import species

    for row in ICE_ROWS:
        cells = value.get(row, {}) if isinstance(value, dict) else {}
        shown = ", ".join(
            f"{species(column).unicode} {_cell(cells[column])}"
            for column in part.columns
            if cells.get(column) is not None
        )
        yield row.capitalize(), shown or "empty"


def _cell(value) -> str:
    """A place of a table: a number, or an expression in x as it was read."""
    return value if isinstance(value, str) else f"{value:.4g}"


def time_of(record: Record) -> str:
    """When an answer was recorded, in the clock of this computer."""
    when: datetime = record.when.astimezone()
    return f"{when.day} {when:%B %Y, %H:%M}"
