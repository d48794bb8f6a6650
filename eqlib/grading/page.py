"""The page a student gets back: nbgrader's feedback page, made safe, and with no mark that was not made.

It loads nothing from outside and runs nothing: formulas are set as MathML, and the page itself forbids the
rest. What students wrote is safe to look at, in a page and in a notebook: everything is an allow-list. HTML
keeps the tags and attributes a worked answer needs; drawings become images, in which a browser runs nothing;
of an output's several forms only those known to be harmless are kept.
"""

from __future__ import annotations

import base64
import binascii
import re
import tempfile
import warnings
from collections.abc import Mapping
from functools import cache, lru_cache
from html import escape, unescape
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import nh3
from jinja2 import pass_context
from latex2mathml.converter import convert
from nbconvert.exporters import HTMLExporter
from nbconvert.exporters.templateexporter import TemplateExporter
from nbconvert.filters.highlight import Highlight2HTML
from nbconvert.filters.markdown_mistune import IPythonRenderer, MarkdownWithMath
from nbformat import NotebookNode
from nbformat.v4 import new_output
from nbgrader.converters import GenerateFeedback
from nbgrader.coursedir import CourseDirectory
from traitlets.config import Config

from eqlib.assess.confront import IfRight, confront
from eqlib.assess.question import Question
from eqlib.assess.records import MIME
from eqlib.assess.scene import scene_of
from eqlib.grading.intake import put_in
from eqlib.grading.settings import configure
from eqlib.lab.drawing import as_image
from eqlib.lab.scene import Scene

#: Paragraphs of a recorded answer that are no longer true on a marked page.
_BEFORE_MARKS = ("eqlib-asleep", "eqlib-unmarked")
_CELL = 'style="padding: 0.2em 0.8em 0.2em 0; text-align: left; vertical-align: top"'
_NUMBER = re.compile(r"-?\d+(?:\.\d+)?(?:e-?\d+)?")
#: Cells of a submission's own beyond so many are left out of its page.
MOST_CELLS = 400
_TAGS_TEXT = """
a abbr b blockquote br caption code col colgroup dd del details div dl dt em figcaption figure h1 h2 h3
h4 h5 h6 hr i img kbd li ol p pre s samp section small span strong sub summary sup table tbody td tfoot
th thead tr u ul var
math mrow mi mn mo ms mtext mspace msup msub msubsup mfrac msqrt mroot mover munder munderover mtable mtr
mtd mstyle
"""
_TAGS = frozenset(_TAGS_TEXT.split())
_ATTRIBUTES = {
    "*": {"class", "role", "style", "title", "lang", "dir"},
    "a": {"href"},
    "img": {"src", "alt", "width", "height"},
    "td": {"colspan", "rowspan", "headers"},
    "th": {"colspan", "rowspan", "scope", "headers"},
    "ol": {"start", "type"},
    "details": {"open"},
    "col": {"span"},
    "colgroup": {"span"},
    "math": {"display", "xmlns"},
    "mo": {"stretchy", "fence"},
}
# Nothing that takes an element out of its place on the page: no position, no transform, no z-index.
_STYLES_TEXT = """
background background-color border border-bottom border-collapse border-color border-left border-radius
border-right border-spacing border-style border-top border-width box-sizing color display flex flex-wrap
font-family font-size font-style font-variant-numeric font-weight gap height line-height list-style
margin margin-bottom margin-left margin-right margin-top max-height max-width min-height min-width
overflow-x padding padding-bottom padding-left padding-right padding-top text-align text-decoration
vertical-align white-space width
"""
_STYLES = frozenset(_STYLES_TEXT.split())
_DATA_IMAGE = re.compile(r"data:image/(?:png|jpeg|gif|webp|svg\+xml);base64,[A-Za-z0-9+/=\s]*")
# Ours, tables' and highlighted code's; never a class that the pages of nbgrader act upon.
_CLASS = re.compile(r"(?:eq|eqlib)(?:[-_][\w-]*)?|dataframe|highlight|[a-z][a-z0-9]{0,2}")
_UNSAFE_STYLE = re.compile(r"url\s*\(|expression|@|\\|/\*|image-set|element\s*\(", re.IGNORECASE)

# What a browser is shown of an output; every other form of it (JavaScript, widgets, plots that load code)
# is dropped.
_TEXT_MIMES = ("text/plain", "text/latex", "text/markdown", MIME)
_IMAGE_MIMES = ("image/png", "image/jpeg")
_COLUMN = "padding: 0.1em 0.8em 0.1em 0; text-align: left"
_NOTE_DROPPED = "(an interactive output, not shown here for safety)"


#: Longest HTML of one output that is shown, and most drawings in it.
_LONGEST, _MOST_DRAWINGS = 400_000, 60


class Unmade(float):
    """A score that was not made: it prints as its reason where a page would print a number."""

    reason: str

    def __new__(cls, reason: str) -> Any:
        made = super().__new__(cls, 0.0)
        made.reason = "not read yet" if reason == "to read" else reason  # in a student's words
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
    others = 0
    kept = []
    for cell in notebook.cells:
        if put_in(cell):
            continue
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
        self.register_filter("highlight_code", lambda source, *language, **more: _coloured(source))
        return TemplateExporter.from_notebook_node(self, nb, resources, **kwargs)


@cache
def _highlighter() -> Highlight2HTML:
    return Highlight2HTML(pygments_lexer="ipython3")


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
    about = {"notebook": name, "score": total - penalty, "max_score": so_far(most, left)}
    about["late_penalty"] = penalty
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


# -- safe to look at ---------------------------------------------------------------------------------------


def clean_html(html: str) -> str:
    """``html`` with everything taken out that could run, load from elsewhere or cover the page."""
    if len(html) > _LONGEST or html.lower().count("<svg") > _MOST_DRAWINGS:
        return f"<p>(an output of {len(html):,} characters, too long to be shown here)</p>"
    return nh3.clean(
        _drawings_as_images(html),
        tags=set(_TAGS),
        clean_content_tags={"script", "style", "iframe", "object", "template", "noscript"},
        attributes=_ATTRIBUTES,
        attribute_filter=_filtered,
        generic_attribute_prefixes={"aria-"},
        url_schemes={"http", "https", "mailto", "data"},
        filter_style_properties=set(_STYLES),
        link_rel="noopener noreferrer nofollow",
        strip_comments=True,
    )


def _filtered(tag: str, attribute: str, value: str) -> str | None:
    squeezed = re.sub(r"[\s\x00-\x1f]+", "", unescape(value)).lower()
    if attribute == "src":
        # Only pictures carried in the page itself: a picture fetched from elsewhere tells its owner who
        # looked.
        return value if tag == "img" and _DATA_IMAGE.fullmatch(value.strip()) else None
    if attribute == "href":
        return None if squeezed.startswith(("data:", "javascript:", "vbscript:")) else value
    if attribute == "class":
        return " ".join(name for name in value.split() if _CLASS.fullmatch(name)) or None
    if attribute == "style":
        return None if _UNSAFE_STYLE.search(unescape(value)) else value
    return value


class _Drawings(HTMLParser):
    """Finds the drawings of a page: where each begins and ends, and what it is called."""

    def __init__(self, html: str) -> None:
        super().__init__(convert_charrefs=True)
        self.lines = [0]
        for line in html.split("\n"):
            self.lines.append(self.lines[-1] + len(line) + 1)
        self.found: list[tuple[int, int, str]] = []
        self.depth, self.start, self.label, self.titled = 0, 0, "", False
        self.feed(html)

    def _place(self) -> int:
        line, column = self.getpos()
        return self.lines[line - 1] + column

    def handle_starttag(self, tag: Any, attrs: Any) -> None:
        if tag == "svg":
            if self.depth == 0:
                self.start, self.label = self._place(), dict(attrs).get("aria-label") or ""
            self.depth += 1
        elif tag == "title" and self.depth and not self.label:
            self.titled = True

    def handle_data(self, data: Any) -> None:
        if self.titled and self.depth:
            self.label += data

    def handle_endtag(self, tag: Any) -> None:
        self.titled = False
        if tag == "svg" and self.depth:
            self.depth -= 1
            if self.depth == 0:
                self.found.append((self.start, self._place() + len("</svg>"), self.label.strip()))


def _drawings_as_images(html: str) -> str:
    if "<svg" not in html.lower():
        return html
    done, at = [], 0
    for start, end, label in _Drawings(html).found:
        done += [html[at:start], svg_image(html[start:end], label)]
        at = end
    return "".join(done) + html[at:]


def drawing(svg: str) -> str:
    """A drawing of our own as an image, called as it calls itself."""
    return svg_image(svg, svg.partition('aria-label="')[2].partition('"')[0])


def drawn(scene: Scene, title: str, imagined: IfRight | None) -> str:
    """A Scene on a page: its vessels, the one that an idea (an IfRight, or None) would have, Q beside K."""
    made = "".join(map(drawing, filter(None, (scene.outcome(title, imagined), scene.line_svg()))))
    return f"{made}<p>{escape(imagined.told)}</p>" if imagined is not None else made


def svg_image(svg: str, label: str = "") -> str:
    """A drawing of anybody's as an image."""
    if "xmlns=" not in svg[:400]:
        svg = f'<svg xmlns="http://www.w3.org/2000/svg"{svg[len("<svg") :]}'
    return as_image(svg, unescape(label or "drawing"), ' style="max-width: 100%"')


def clean_bundle(data: dict) -> dict:
    """The forms of one output that may be shown, cleaned. Never empty."""
    clean = {mime: _text(data[mime]) if mime != MIME else data[mime] for mime in _TEXT_MIMES if mime in data}
    # Raw HTML in Markdown is cleaned when it is rendered; see ``markdown_to_html``.
    if "text/html" in data:
        clean["text/html"] = clean_html(_text(data["text/html"]))
    if "image/svg+xml" in data and "text/html" not in clean:
        clean["text/html"] = svg_image(_text(data["image/svg+xml"]))
    for mime in _IMAGE_MIMES:
        if mime in data and (picture := _base64(data[mime])):
            clean[mime] = picture
    if not clean:
        clean["text/plain"] = _NOTE_DROPPED
    return clean


def _text(value: Any) -> str:
    if isinstance(value, list):
        return "".join(str(line) for line in value)
    return str(value)


def _base64(value: Any) -> str | None:
    text = "".join(_text(value).split())
    try:
        base64.b64decode(text, validate=True)
    except (binascii.Error, ValueError):
        return None
    return text


@pass_context
def markdown2html(context: Any, source: Any) -> Any:
    """What nbconvert's filter of this name does, with nothing left in the result that could run."""
    attachments = context.get("cell", {}).get("attachments")
    return markdown_to_html(source, attachments) if attachments else _markdown(source)


@lru_cache(maxsize=500)
def _markdown(source: str) -> str:
    """The text of an assignment stands in every submission: it is rendered once."""
    return markdown_to_html(source)


class _Renderer(IPythonRenderer):
    """nbconvert's own, with formulas as MathML."""

    def block_math(self, body: Any) -> Any:
        return mathml(body, "block")

    def inline_math(self, body: Any) -> Any:
        return mathml(body)


def markdown_to_html(source: str, attachments: Any = None) -> str:
    """Markdown (with formulas) as HTML that is safe to look at, whatever raw HTML stands in it."""
    renderer = _Renderer(escape=False, attachments=attachments or {}, exclude_anchor_links=True)
    html = clean_html(MarkdownWithMath(renderer=renderer).render(source))
    # nbgrader's page style leaves no room between the columns of a table.
    return html.replace("<td>", f'<td style="{_COLUMN}">').replace("<th>", f'<th style="{_COLUMN}">')


def mathml(tex: str, display: str = "inline") -> str:
    """A formula in TeX as MathML, which browsers set by themselves; as it was written if it is none."""
    tex = tex.strip().strip("$").strip()
    try:
        return convert(tex, display=display)
    except Exception:  # noqa: BLE001 - a student's formula may be anything; it is shown as it was typed
        return f"<code>{escape(tex)}</code>"


def clean_output(output: NotebookNode) -> None:
    """Make one notebook output safe, in place."""
    if output.get("output_type") in ("display_data", "execute_result", "update_display_data"):
        output["data"] = clean_bundle(dict(output.get("data") or {}))
        sizes = (output.get("metadata") or {}).get("image/png") or {}
        kept = {
            key: sizes[key]
            for key in ("width", "height")
            if isinstance(sizes, dict) and type(sizes.get(key)) is int
        }
        output["metadata"] = {"image/png": kept} if kept else {}


def clean_notebook(notebook: NotebookNode, page: bool = False) -> None:
    """Make a whole notebook safe to open or to turn into a page, in place. Sources are left as they are.

    For a ``page`` formulas become MathML, because it runs no script that could set them.
    """
    metadata = notebook.get("metadata", {})
    for key in [key for key in metadata if key not in ("kernelspec", "language_info", "eqlib")]:
        del metadata[key]
    language = metadata.get("language_info")
    if language is not None:
        metadata["language_info"] = {"name": "python"}
    for cell in notebook.get("cells", []):
        kept = ("nbgrader", "deletable", "editable", "eqlib")
        cell["metadata"] = type(cell["metadata"])({k: v for k, v in cell["metadata"].items() if k in kept})
        if "attachments" in cell:
            cell["attachments"] = _clean_attachments(cell["attachments"])
        for output in cell.get("outputs", []):
            clean_output(output)
            if (
                page
                and (tex := output.get("data", {}).get("text/latex"))
                and "text/html" not in output["data"]
            ):
                output["data"]["text/html"] = mathml(tex)


def _clean_attachments(attachments: Any) -> dict:
    clean = {}
    for name, bundle in dict(attachments).items():
        pictures = {mime: _base64(bundle[mime]) for mime in _IMAGE_MIMES if mime in bundle}
        if any(pictures.values()):
            clean[name] = {mime: picture for mime, picture in pictures.items() if picture}
    return clean
