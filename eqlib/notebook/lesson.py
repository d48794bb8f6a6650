"""What the cells of a notebook call. Each call stands alone: any cell may be run first.

``panel("iron")`` is one question, ``student()`` asks who is working, ``bench(system)`` says what stands on the
bench, ``prompt("explain")`` shows a question that is answered in a cell of its own, ``receipt()`` lists what
is recorded.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from eqlib.assess.load import load_questions
from eqlib.assess.question import Question
from eqlib.assess.records import rescue
from eqlib.chem.catalogue import system
from eqlib.errors import EqlibError
from eqlib.lab.cautions import cautions_for, hazard_table
from eqlib.notebook.graded import ended
from eqlib.notebook.output import (
    box,
    bundle,
    details,
    items,
    kindly,
    lead,
    paragraph,
    show,
    show_data,
    table,
    text,
    words_of,
)
from eqlib.notebook.record import receipt_page
from eqlib.notebook.session import marking
from eqlib.notebook.store import WHO, Store
from eqlib.writing import number

#: The store of each version of a question file: the cells of a notebook share one.
_stores: dict[tuple[Path, int], Store] = {}


def store_here(path: str | Path | None = None) -> Store:
    """The answers of the assignment whose ``questions.toml`` lies beside this notebook. Raises EqlibError."""
    path = find_questions(path)
    version = (path, path.stat().st_mtime_ns)
    if version not in _stores:
        _stores[version] = Store(load_questions(path), path.parent)
    return _stores[version]


def folders() -> list[Path]:
    """The working folder and, where it is known, that of the notebook."""
    session = os.environ.get("JPY_SESSION_NAME", "")
    return list(dict.fromkeys([Path.cwd(), *([Path(session).parent] if os.path.isabs(session) else [])]))


def find_questions(path: str | Path | None = None) -> Path:
    """The ``questions.toml`` at ``path`` (file or folder), of the working folder, or of the notebook's. Raises EqlibError."""
    if path is not None:
        return (Path(path) / "questions.toml" if Path(path).is_dir() else Path(path)).resolve()
    for folder in folders():
        if (folder / "questions.toml").is_file():
            return (folder / "questions.toml").resolve()
    raise EqlibError(
        f"The file questions.toml that was handed out with this notebook is not in the folder {folders()[0].name or folders()[0]}. "
        "Take it from the folder you were given and put it beside this notebook; what you recorded is safe."
    )


def panel(question: str, *value: object) -> float | None:
    """The panel of one question; where notebooks are marked, its points: a built-in float in [0, points].

    ``value``: what the notebook's own code worked out, for a question that is answered in code.
    """
    with safely(question):
        store = store_here()
        asked = store.questions[question]
        if not marking():
            from eqlib.notebook.panels import cell  # widgets: not where notebooks are marked

            cell(asked, store)
        return ended(asked, store, value)


def student() -> None:
    """Who is working: an id, never a name."""
    with safely(WHO):
        store = store_here()
        if not marking():
            from eqlib.notebook.who import cell  # widgets, as above

            cell(store, refresh)


@contextmanager
def safely(question: str) -> Iterator[None]:
    """One plain line for an error, and with it every record that the output it replaces may have held."""
    here = [] if marking() else [rescue(folder) for folder in folders()]
    try:
        yield
    except EqlibError as error:
        if marking():
            raise
        kept = next((data for found in here if (data := found.bundle(question))), {})
        inner = lead("Please note:", str(error))
        if kept:
            inner += paragraph(
                "Your recorded answer to this question is kept here and in the file of answers beside this notebook."
            )
        inner += "".join(paragraph(line) for found in here for line in found.problems)
        show_data(bundle(box(inner), kept))


@kindly
def prompt(question: str) -> None:
    """A question that is answered in the next cell, with this student's numbers."""
    store = store_here()
    show_data(prompt_bundle(store.questions[question], store.student))


@kindly
def receipt() -> None:
    """What is recorded, what is missing, and whether the saved notebook holds it."""
    show(receipt_page(store_here()))


@kindly
def bench(system: str) -> None:
    """What stands on the bench: the reaction, the few cautions that matter, the rest folded away."""
    show(bench_page(system))


def refresh() -> None:
    """Another id: other numbers and other answers in every panel of the page."""
    from eqlib.notebook.panels import Panel  # widgets, as above
    from eqlib.notebook.sheet import live

    for sheet in live():
        if isinstance(sheet, Panel):
            sheet.open_up()
            sheet.keep()
            sheet.draw()


def prompt_bundle(question: Question, student: str | None = None, retry: int = 0) -> dict[str, Any]:
    """The question as its student meets it: title, points, numbers."""
    whose = f" · numbers for {student}" if student and question.ranges else ""
    points = f"{question.points:g} point{'s' if question.points != 1 else ''}"
    words = f"### {question.title}\n\n*{points}{whose}*\n\n{question.prompt_for(student, retry).strip()}\n"
    return {"text/markdown": words, "text/plain": words_of(words)}


def numbers(question: str) -> dict[str, float]:
    """A student's numbers of one question by name, with what was measured: for a calculation of one's own."""
    store = store_here()
    own = store.questions[question]
    asked = {part.quantity for part in own.parts}
    measured = own.case(store.student).measured
    found = {name: float(value) for name, value in measured.items() if name not in asked}
    return {**found, **own.variant(store.student).numbers}


def bench_page(name: str) -> str:
    """A system of the catalogue, without anything that would give a prediction away."""
    from eqlib.notebook.panels import first_said  # widgets, as above

    found = system(name)
    reaction = found.reactions[0]
    cautions = cautions_for(found)
    for caution in cautions:
        first_said(caution.key, "bench")
    inner = (
        lead(found.title + ".")
        + f"<p style='margin:.25em 0'>{text(reaction.unicode)} &nbsp; K = {number(reaction.require_K())} at {found.recipe.T - 273.15:.0f} °C</p>"
    )
    inner += "<p style='margin:.25em 0'>Take care:</p>" + items(c.words for c in cautions)
    rows = [(row.bottle, "; ".join(row.statements), row.note) for row in hazard_table(found)]
    inner += details(
        "Everything about the bottles, protection, spills and waste",
        table("The bottles as bought", rows, ("Bottle", "Statements", "Note"))
        + table(
            "At the bench",
            [
                ("Wear", "; ".join(found.ppe)),
                ("Waste", "; ".join(found.waste)),
                ("If something is spilt", "; ".join(found.spill)),
            ],
        ),
    )
    if found.data_only:
        inner += paragraph(found.data_only)
    return box(inner, label=found.title)


__all__ = ["bench", "bundle", "panel", "prompt", "receipt", "student"]
