"""The page a student gets back: nbgrader's feedback page, made safe, and with no mark that was not made.

It loads nothing from outside and runs nothing: formulas are set as MathML, and the page itself forbids the
rest.
"""

from __future__ import annotations

import re
import tempfile
import warnings
from collections.abc import Mapping
from functools import cache, lru_cache
from html import escape
from pathlib import Path
from typing import Any, ClassVar

from nbconvert.exporters import HTMLExporter
from nbconvert.exporters.templateexporter import TemplateExporter
from nbconvert.filters.highlight import Highlight2HTML
from nbformat import NotebookNode
from nbformat.v4 import new_output
from nbgrader.converters import GenerateFeedback
from nbgrader.coursedir import CourseDirectory
from traitlets.config import Config

from eqlib.assess.confront import confront
from eqlib.assess.question import Question
from eqlib.assess.scene import scene_of
from eqlib.grading.safety import clean_notebook, drawn
from eqlib.grading.settings import configure

#: Paragraphs of a recorded answer that are no longer true on a marked page.
_BEFORE_MARKS = ("eqlib-asleep", "eqlib-unmarked")
_CELL = 'style="padding: 0.2em 0.8em 0.2em 0; text-align: left; vertical-align: top"'
_NUMBER = re.compile(r"-?\d+(?:\.\d+)?(?:e-?\d+)?")
#: Cells of a submission's own beyond so many are left out of its page.
MOST_CELLS = 400


class Unmade(float):
    """A score that was not made: it prints as its reason where a page would print a number."""

    #: A state in a student's words.
    SAID: ClassVar = {"to read": "not read yet"}

    reason: str

    def __new__(cls, reason: str) -> Any:
        made = super().__new__(cls, 0.0)
        made.reason = cls.SAID.get(reason, reason)
        return made

    def __str__(self) -> Any:
        return self.reason


def as_float(value: Any) -> float:
    """The filter ``float`` of the pages."""
    return value if isinstance(value, Unmade) else float(value or 0.0)


def so_far(most: float, left: float) -> float:
    """The points to be had, for the head of a page; where ``left`` are not given yet, it says so."""
    return Unmade(f"{most:.1f} so far, {left:g} still open") if left else most


def rounded(value: Any, digits: int = 0) -> Any:
    """The filter ``round`` of the pages."""
    return value if isinstance(value, Unmade) else round(value, digits)


def for_student(notebook: NotebookNode) -> None:
    """Take out, in place, what is only for whoever marks, and what was true only before marking."""
    ours = [cell.metadata.get("eqlib") for cell in notebook.cells]
    notebook.cells = [
        cell
        for cell, mark in zip(notebook.cells, ours, strict=True)
        if not (isinstance(mark, dict) and (mark.get("rubric") or mark.get("restoring")))
    ]
    others = 0
    kept = []
    for cell in notebook.cells:
        others += not cell.metadata.get("nbgrader")
        if cell.metadata.get("nbgrader") or others <= MOST_CELLS:
            kept.append(cell)
    notebook.cells = kept
    for cell in notebook.cells:
        title, _, call = cell.source.partition("\n")
        if call and title.startswith("# ") and cell.metadata.get("jupyter", {}).get("source_hidden"):
            cell.source = title  # the student saw no more of it either
        outputs = cell.get("outputs", [])
        if cell.metadata.get("nbgrader", {}).get("grade") and len(outputs) > 1:
            cell["outputs"] = outputs = [out for out in outputs if not _is_bare_number(out)]
        for output in outputs:
            data = output.get("data", {})
            if "text/html" in data:
                data["text/html"] = _without(data["text/html"])


def _without(html: Any) -> str:
    """``html`` without our own paragraphs that marking made untrue; they hold no other paragraph."""
    html = "".join(html) if isinstance(html, list) else html
    for name in _BEFORE_MARKS:
        for quote in "\"'":
            opening = f"<p class={quote}{name}{quote}"
            while (start := html.find(opening)) >= 0:
                end = html.find("</p>", start)
                if end < 0:
                    break
                html = html[:start] + html[end + len("</p>") :]
    return html


def _is_bare_number(output: NotebookNode) -> bool:
    if output.get("output_type") != "execute_result":
        return False
    data = output.get("data", {})
    return set(data) == {"text/plain"} and bool(_NUMBER.fullmatch("".join(data["text/plain"])))


def show_outcomes(notebook: NotebookNode, questions: Mapping[str, Question]) -> None:
    """Put what was said beside what happened, in place, where an answer about a change was not all right."""
    for cell in notebook.cells:
        held, name = cell.metadata.get("eqlib"), cell.metadata.get("nbgrader", {}).get("grade_id")
        if name in questions and isinstance(held, dict) and held.get("said"):
            told = confronted(questions[name], held["said"], held["student"], held["set"])
            cell.outputs[:0] = [new_output("display_data", {"text/html": told})] if told else []


def confronted(question: Question, said: Mapping[str, str], student: str | None, numbers: int) -> str:
    """The vessels as they were, and as the idea behind the answer would have them; Q beside K; what was said
    beside what happened. "" where nothing is done to a mixture.
    """
    case = question.case(student, numbers)
    if (scene := scene_of(question, case)) is None:
        return ""
    rows = confront(question, case, said)
    imagined = next((row.if_right for row in rows if row.if_right is not None), None)
    sign = {True: "✓ ", False: "✗ ", None: ""}
    lines = [("Asked", "You said", "It did")]
    lines += [(row.part.label, f"{sign[row.agrees]}{row.said or '–'}", row.happened) for row in rows]
    body = "".join(
        f"<tr>{''.join(f'<td {_CELL}>{escape(words)}</td>' for words in line)}</tr>" for line in lines
    )
    return f"{drawn(scene, question.title, imagined)}<table>{body.replace('td', 'th', 6)}</table>"


class _Pages(HTMLExporter):
    """nbconvert's exporter without its last look over the whole page, which takes longer than all the rest.

    It gives pictures a text where they have none; ours have one.
    """

    def from_notebook_node(self, nb: NotebookNode, resources: Any = None, **kwargs: Any) -> Any:
        self.register_filter("highlight_code", _highlighted)
        return TemplateExporter.from_notebook_node(self, nb, resources, **kwargs)


@cache
def _highlighter() -> Highlight2HTML:
    return Highlight2HTML(pygments_lexer="ipython3")


def _highlighted(source: Any, language: Any = None, metadata: Any = None, strip_verbatim: Any = False) -> Any:
    """The filter ``highlight_code`` of the pages."""
    return _coloured(source)


@lru_cache(maxsize=500)
def _coloured(source: str) -> str:
    """The code of an assignment stands in every submission: it is coloured once."""
    return _highlighter()(source)


@cache
def _exporter() -> HTMLExporter:
    """nbgrader's exporter of feedback pages, made once: its templates take longer than a page."""
    config = Config()
    configure(config, root=Path(tempfile.gettempdir()) / "no-such-course")
    maker = GenerateFeedback(coursedir=CourseDirectory(), config=config)
    exporter = _Pages(config=maker.config)
    exporter._preprocessors = []
    exporter.register_preprocessor("nbconvert.preprocessors.CSSHTMLHeaderPreprocessor", enabled=True)
    return exporter


def make_page(
    notebook: NotebookNode,
    name: str,
    scores: Mapping[str, tuple],
    comments: Mapping[str, str | None],
    penalty: float,
    questions: Mapping[str, Question],
) -> str:
    """The page of one notebook (nbformat's object; it is changed).

    ``scores``: by grade id (score, most, state); ``questions``: ours, by grade id.
    """
    total = most = left = 0.0
    for cell in notebook.cells:
        meta = cell.metadata.get("nbgrader") or {}
        made = scores.get(meta.get("grade_id", ""))
        if made is not None:
            meta["score"] = Unmade(made[2]) if made[2] else made[0]
            meta["points"] = made[1]
            if made[2]:
                left += made[1]
            else:
                total, most = total + made[0], most + made[1]
        if meta.get("solution") or meta.get("task"):
            meta["comment"] = comments.get(meta.get("grade_id", ""))
    for_student(notebook)
    show_outcomes(notebook, questions)
    clean_notebook(notebook, page=True)
    about = {
        "notebook": name,
        "score": total - penalty,
        "max_score": so_far(most, left),
        "late_penalty": penalty,
    }
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        page, _ = _exporter().from_notebook_node(notebook, resources={"nbgrader": about})
    return finished(page, {name: question.title for name, question in questions.items()})


def finished(page: str, titles: Mapping[str, str]) -> str:
    """nbgrader's page with the questions' titles in its list and above each mark."""
    head, body = page.split("<body>", 1) if "<body>" in page else ("", page)
    body = body.replace('<img src="data:image/', '<img alt="a figure" src="data:image/')
    for name, title in titles.items():
        for kind in ("Test cell", "Written response"):
            body = body.replace(f'<a href="#{name}">{kind}</a>', f'<a href="#{name}">{escape(title)}</a>')
        body = body.replace(f"Grade cell: <code>{escape(name)}</code>", f"Marked: {escape(title)}")
        for comment in (f"comment-answer-{name}", f"comment-{name}"):
            body = body.replace(
                f'<a href="#{comment}">Comment</a>', f'<a href="#{comment}">Comment on {escape(title)}</a>'
            )
    return f"{head}<body>{body}"
