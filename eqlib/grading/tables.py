"""The tables that the command line prints."""

from __future__ import annotations

from typing import Any

from rich.table import Table

from eqlib.grading.intake import printable
from eqlib.grading.report import shown
from eqlib.grading.summary import shown_points


def marks_table(made: Any, title: str) -> Any:
    """Everybody's marks, a column for each question."""
    table = Table(title=title, title_justify="left")
    table.add_column("Id", no_wrap=True)
    names: list[str] = []
    for row in made.rows:
        names += [q.question for q in row.questions if q.question not in names]
    for name in names:
        table.add_column(name, justify="right")
    if late := any(row.late for row in made.rows):
        table.add_column("Late", justify="right")
    if unread := any(row.points is not None and row.could_be < row.max_points for row in made.rows):
        table.add_column("Still open", justify="right")
    table.add_column("Points of what is marked" if unread else "Points", justify="right")
    for row in made.rows:
        points = {q.question: shown_points(q) for q in row.questions}
        total = "not marked" if row.total is None else f"{row.total:g} / {row.could_be:g}"
        taken = [f"late, -{row.penalty:g}" if row.late else ""] if late else []
        left = row.max_points - row.could_be
        still = [f"{left:g}" if left and row.points is not None else ""] if unread else []
        table.add_row(
            printable(row.student), *(points.get(name, "") for name in names), *taken, *still, total
        )
    return table


def questions_table(made: Any) -> Any:
    """How each question went."""
    marked = sum(row.total is not None for row in made.rows)
    title = f"{made.title}: {marked} of {len(made.rows)} submissions marked"
    table = Table(title=title, title_justify="left")
    left = ("Question", "Id")
    for heading in (*left, "Mean", "Of", "Share", "Full marks", "No marks", "Still to read", "Not run"):
        table.add_column(heading, justify="left" if heading in left else "right")
    for line in made.questions:
        mean, of, *counts = line.cells
        table.add_row(line.title, line.question, mean, of, shown(line.share, ".0%"), *counts)
    return table


def mistakes_table(made: Any) -> Any:
    """The misconceptions of the class, the commonest first."""
    table = Table(title="Answers were consistent with", title_justify="left")
    for heading in ("Misconception", "What they seem to think", "Students", "In", "Who"):
        table.add_column(heading, justify="right" if heading == "Students" else "left")
    for line in made.mistakes:
        table.add_row(
            line.id, line.title, str(line.count), ", ".join(line.questions), ", ".join(line.students)
        )
    return table
