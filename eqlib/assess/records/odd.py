"""What is odd about a submission: facts for the instructor, who alone can say what they mean.

None of these costs a point. Every line says what was seen, where and when.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from typing import Any

from eqlib.assess.records.collect import Collected
from eqlib.assess.records.record import read_time
from eqlib.assess.variants import normal_id

#: Answers to this many questions within AT_ONCE are remarked on: nobody fills in so many forms so fast.
MANY = 3
AT_ONCE = timedelta(seconds=1)
#: Clocks of students' computers differ by a little.
CLOCK = timedelta(minutes=10)
_MARKER = re.compile(
    r"\beqlib\.(?:assess|grading)\b|\bfrom\s+eqlib\s+import\b[^\n]*\b(?:mark|load_questions)\b"
)


def oddities(
    kept: Collected,
    notebook: dict[str, Any] | None = None,
    due: datetime | None = None,
    now: datetime | None = None,
) -> list[str]:
    """One neutral line for each odd thing. ``due``: until when answers were to be recorded, if that is known;
    ``now``: when it was collected (default: now).
    """
    return [
        *_all_at_once(kept),
        *_outside_time(kept, due, now or datetime.now(UTC)),
        *_opened_elsewhere(kept),
        *_uses_marker(notebook or {}),
    ]


def _attempts(kept: Collected) -> Iterator[tuple[str, datetime]]:
    """(question, when) of every attempt at a question; our own notes are left out."""
    for name, record in kept.items():
        if ":" not in name and name != "student":
            for at in (*(entry["at"] for entry in record.history), record.at):
                yield name, read_time(at)


def _all_at_once(kept: Collected) -> Iterator[str]:
    times = [when for _, when in _attempts(kept)]
    count = len({name for name, _ in _attempts(kept)})
    if count >= MANY and max(times) - min(times) <= AT_ONCE:
        yield f"all {count} answers were recorded within one second ({_said(min(times))})"


def _outside_time(kept: Collected, due: datetime | None, now: datetime) -> Iterator[str]:
    for limit, what in ((due, "after the assignment was due"), (now, "later than the time of marking")):
        found = sorted((w, n) for n, w in _attempts(kept) if limit is not None and w > limit + CLOCK)
        if found:
            when, name = found[0]
            count = f"{len(found)} recorded answer{'s carry times' if len(found) > 1 else ' carries a time'}"
            yield f"{count} {what} (the first: {name}, {_said(when)})"


def _opened_elsewhere(kept: Collected) -> Iterator[str]:
    """Outcomes shown under another id before the answer that stands was recorded."""
    for who, question, when in dict.fromkeys(kept.opened):
        record = kept.get(question)
        if record is None or normal_id(who) == normal_id(record.student) or when >= record.when:
            continue
        under = f"the id {who!r}" if who else "no id"
        yield (
            f"the outcome of {question!r} was opened under {under} at {_said(when)}, before it was answered "
            f"under {record.student!r} at {_said(record.when)}"
        )


def _uses_marker(notebook: dict[str, Any]) -> Iterator[str]:
    for number, cell in enumerate(notebook.get("cells") or (), start=1):
        if not isinstance(cell, dict) or cell.get("cell_type") != "code":
            continue
        ours = cell.get("metadata", {})
        if isinstance(ours, dict) and isinstance(ours.get("eqlib"), dict) and ours["eqlib"].get("restoring"):
            continue
        source = cell.get("source", "")
        if _imports_marker("".join(source) if isinstance(source, list) else str(source)):
            yield f"cell {number} imports the part of eqlib that marks"


def _imports_marker(source: str) -> bool:
    if "eqlib" not in source:
        return False
    try:
        tree = ast.parse(source)
    except (SyntaxError, ValueError, RecursionError, MemoryError):
        return _MARKER.search(source) is not None
    names = {"eqlib"}
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            names |= {alias.asname for alias in node.names if alias.name == "eqlib" and alias.asname}
    for node in ast.walk(tree):
        if isinstance(node, ast.Import) and any(_marks(alias.name) for alias in node.names):
            return True
        if isinstance(node, ast.ImportFrom) and node.module:
            taken = {f"{node.module}.{alias.name}" for alias in node.names}
            if _marks(node.module) or any(_marks(name) for name in taken):
                return True
        if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name):  # noqa: SIM102
            if node.value.id in names and _marks(f"eqlib.{node.attr}"):
                return True
    return False


def _marks(name: str) -> bool:
    return re.match(r"eqlib\.(assess|grading|mark|load_questions)(\.|$)", name) is not None


def _said(when: datetime) -> str:
    return f"{when.astimezone(UTC):%Y-%m-%d %H:%M:%S} UTC"
