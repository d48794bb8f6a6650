"""The tables that the command line prints."""

from __future__ import annotations

from rich.table import Table


def marks_table(made, title: str):
    """Everybody's marks, a column for each question."""
    table = Table(title=title, title_justify="left")
    table.add_column("Id", no_wrap=True)
    names: list[str] = []
    for row in made.rows:
        names += [q.question for q in row.questions if q.question not in names]
    for name in names:
        table.add_column(name, justify="right")
    table.add_column("Total", justify="right")
    for row in made.rows:
        points = {q.question: "to read" if q.points is None else f"{q.points:g}" for q in row.questions}
        total = "not marked" if row.points is None else f"{row.points:g} / {row.max_points:g}"
        table.add_row(row.student, *(points.get(name, "") for name in names), total)
    return table


def questions_table(made):
    """How each question went."""
    table = Table(title=f"{made.title}: {len(made.rows)} submissions", title_justify="left")
    for heading in ("Question", "Id", "Mean", "Of", "Share", "Full marks", "No marks", "Still to read"):
        table.add_column(heading, justify="left" if heading in ("Question", "Id") else "right")
    for line in made.questions:
        table.add_row(
            line.title,
            line.question,
            f"{line.mean:.2f}",
            f"{line.max_points:g}",
            f"{line.share:.0%}",
            str(line.full),
            str(line.none),
            str(line.to_read),
        )
    return table


def mistakes_table(made):
    """The misconceptions of the class, the commonest first."""
    table = Table(title="Answers were consistent with", title_justify="left")
    for heading in ("Misconception", "What they seem to think", "Students", "In", "Who"):
        table.add_column(heading, justify="right" if heading == "Students" else "left")
    for line in made.mistakes:
        table.add_row(
            line.id, line.title, str(line.count), ", ".join(line.questions), ", ".join(line.students)
        )
    return table
