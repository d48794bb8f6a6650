"""What our cells show: outputs that can be replaced later, pages of HTML, and one plain line for an error.

Each output has a name, and JupyterLab keeps the newest of that name in the saved notebook. Nothing here
prints, and nothing goes to the error stream: nbgrader takes any word there for a failed check. HTML that is
kept carries its meaning in words, for a page that is not trusted throws styles and drawings away.
"""

from __future__ import annotations

import html
import re
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import IPython.display

#: On every control: or JupyterLab takes its keys (on a parent it does not help).
KEYS = 'data-lm-suppress-shortcuts="true"'
#: Class of what the notebook keeps of an answer, and of what is true only until the work is marked.
KEPT = "eqlib-kept"
UNMARKED = "eqlib-unmarked"
_LINE = "var(--jp-border-color0, #757575)"
_BOX = f"border-left:4px solid {_LINE};padding:.35em .9em;margin:.3em 0;max-width:60em;line-height:1.5"
_CELL = f"text-align:left;vertical-align:top;padding:.25em .9em .25em 0;border-bottom:1px solid {_LINE}"
_TAGS = re.compile(r"<(style|desc|title)>.*?</\1>|<[^>]+>", re.DOTALL)
_BLOCK = re.compile(r"</(p|div|tr|caption|li|h\d|table|summary|text)>")
_BETWEEN = re.compile(r"</t[hd]>")


def bundle(page: str, more: Mapping[str, Any] | None = None) -> dict[str, Any]:
    """An output: ``page`` (HTML), the same as plain text for readers without HTML, and other media types."""
    return {"text/html": page, "text/plain": words_of(page), **(more or {})}


def words_of(page: str) -> str:
    """What a reader sees of an HTML page, as plain lines."""
    flat = re.sub(r"<svg\b.*?</svg>", "", page, flags=re.DOTALL)
    flat = html.unescape(_TAGS.sub("", _BLOCK.sub("\n", _BETWEEN.sub("  ", flat))))
    lines = (" ".join(line.split()) for line in flat.splitlines())
    return "\n".join(line for line in lines if line)


class Slot:
    """One output with a name of its own. ``put`` shows it, and replaces it wherever it stands."""

    def __init__(self, name: str) -> None:
        self.name = name
        self.shown = False

    def show(self, data: Mapping[str, Any]) -> None:
        """Show in the cell that is running; later ``put``s replace it."""
        IPython.display.display(dict(data), raw=True, display_id=self.name)
        self.shown = True

    def put(self, data: Mapping[str, Any]) -> None:
        """Replace what was shown, in every cell that showed it. Does nothing before ``show``."""
        if self.shown:
            IPython.display.update_display(dict(data), raw=True, display_id=self.name)


def show_data(data: Mapping[str, Any]) -> None:
    """Show an output that is never replaced."""
    IPython.display.display(dict(data), raw=True)


def text(value: Any) -> str:
    """Any text, safe inside HTML."""
    return html.escape(str(value), quote=True)


def paragraph(words: str) -> str:
    """One paragraph of plain words."""
    return f"<p style='margin:.25em 0'>{text(words)}</p>"


def lead(strong: str, words: str = "") -> str:
    """A paragraph that begins with a strong word or two."""
    return f"<p style='margin:.25em 0'><strong>{text(strong)}</strong> {text(words)}</p>"


def box(inner: str, *, label: str = "", mark: str = "") -> str:
    """A block with a line at its left."""
    attributes = f' class="{mark}"' if mark else ""
    if label:
        attributes += f' role="group" aria-label="{text(label)}"'
    return f'<div{attributes} style="{_BOX}">{inner}</div>'


def table(caption: str, rows: Iterable[Sequence[str]], head: Sequence[str] = ()) -> str:
    """A table with a caption and headers; the first cell of each row is the row's header. All is escaped."""
    top = ""
    if head:
        cells = "".join(f'<th scope="col" style="{_CELL}">{text(cell)}</th>' for cell in head)
        top = f"<thead><tr>{cells}</tr></thead>"
    body = ""
    for first, *rest in rows:
        cells = "".join(f'<td style="{_CELL}">{text(cell)}</td>' for cell in rest)
        body += f'<tr><th scope="row" style="{_CELL}">{text(first)}</th>{cells}</tr>'
    return (
        '<table style="border-collapse:collapse;margin:.3em 0">'
        f'<caption style="text-align:left;caption-side:top">{text(caption)}</caption>{top}<tbody>{body}</tbody></table>'
    )
