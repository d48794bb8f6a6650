"""How our outputs look: HTML that reads well without any style, in light and dark JupyterLab and on paper.

Meaning is carried by words. Lines and tints only help the eye; text keeps the notebook's own colour, so its
contrast is the reader's own choice of theme. Styles stand in the elements themselves, because a page that
is not trusted (and nbgrader's feedback) throws style sheets away; only what hides a form that cannot work
needs a sheet.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape

#: Classes of a live form's outermost box, of the line shown while there is none, and of any record.
FORM = "eqlib-form"
ASLEEP = "eqlib-asleep"
RECORD = "eqlib-record"
#: Class of what is true only until the work is marked; the marked pages leave it out.
UNMARKED = "eqlib-unmarked"

_LINE = "var(--jp-border-color0, #757575)"
_BOX = "border-left:4px {kind} {line};padding:.35em .9em;margin:.3em 0;max-width:46em;line-height:1.5"
_CELL = f"text-align:left;vertical-align:top;padding:.3em .8em .3em 0;border-bottom:1px solid {_LINE}"
_CAPTION = "text-align:left;font-weight:bold;padding:.2em 0;caption-side:top"

#: A form is live while its box is on the page and connected; a sleeping one, and anything of a widget that
#: could not be drawn, is hidden and the line that says how to open the form stands in its place.
SHEET = (
    "<style>"
    f".jp-OutputArea:has(.{FORM}:not(.jupyter-widgets-disconnected)) .{ASLEEP}{{display:none}}"
    f".{FORM}.jupyter-widgets-disconnected,.{FORM}-none,"
    f".jp-OutputArea:has(.{RECORD}) .lm-Panel.jp-OutputArea-output:not(:has(*)){{display:none}}"
    "</style>"
)

#: For live forms only: long options wrap, labels stand above what they name, and the focused control is
#: outlined.
FORM_SHEET = f"""<style>
.{FORM} .widget-radio,.{FORM} .widget-text,.{FORM} .widget-textarea,.{FORM} .widget-dropdown{{
 flex-direction:column;align-items:flex-start;width:auto;max-width:46em;height:auto;margin:.3em 2px}}
.{FORM} .widget-label{{width:auto!important;max-width:46em;height:auto;white-space:normal;text-align:left;
 font-weight:600;line-height:1.4;color:inherit;overflow:visible}}
.{FORM} .widget-radio-box{{width:auto;max-width:46em;margin:0!important}}
.{FORM} .widget-radio-box label{{display:flex;flex-direction:row-reverse;justify-content:flex-end;gap:.5em;
 align-items:flex-start;height:auto;min-height:24px;line-height:1.4;padding:.15em .3em;white-space:normal;
 font-size:var(--jp-content-font-size1,14px)}}
.{FORM} .widget-radio-box input{{margin:.2em 0 0 0;width:16px;height:16px;flex:none}}
.{FORM} .widget-text input,.{FORM} .widget-dropdown select{{width:16em;max-width:100%;flex:none;height:32px;
 font-size:var(--jp-content-font-size1,14px)}}
.{FORM} .widget-textarea textarea{{width:40em;max-width:100%;height:7em}}
.{FORM} .eqlib-grid .widget-text input{{width:8em}}
.{FORM} .jupyter-button{{height:34px;line-height:34px;width:auto;align-self:flex-start;padding:0 1em;
 font-size:var(--jp-content-font-size1,14px);border:1px solid {_LINE}}}
.{FORM} .widget-html-content{{line-height:1.5;font-size:var(--jp-content-font-size1,14px);max-width:46em}}
.{FORM} input:focus-visible,.{FORM} select:focus-visible,.{FORM} textarea:focus-visible,
.{FORM} button:focus-visible{{outline:3px solid #1a73e8!important;outline-offset:2px}}
.{FORM} .widget-radio-box label:focus-within{{outline:2px solid #1a73e8;outline-offset:1px;border-radius:3px}}
</style>"""


def text(value) -> str:
    """Any text, safe inside HTML."""
    return escape(str(value), quote=True)


def paragraph(words: str) -> str:
    """One paragraph of plain words."""
    return f"<p style='margin:.25em 0'>{text(words)}</p>"


def lead(strong: str, words: str = "") -> str:
    """A paragraph that begins with a strong word or two."""
    return f"<p style='margin:.25em 0'><strong>{text(strong)}</strong> {text(words)}</p>"


def box(inner: str, *, kind: str = "solid", label: str = "", status: bool = False, mark: str = "") -> str:
    """A block with a line at its left. ``kind``: solid (done), dashed (waiting), double (attention)."""
    attributes = f' class="{mark}"' if mark else ""
    if status:
        attributes += ' role="status"'
    elif label:
        attributes += ' role="group"'
    if label:
        attributes += f' aria-label="{text(label)}"'
    return f'<div{attributes} style="{_BOX.format(kind=kind, line=_LINE)}">{inner}</div>'


def notice(words: str, start: str = "") -> str:
    """One plain line that asks for attention."""
    return box(lead(start, words) if start else paragraph(words), kind="double", status=True)


def table(caption: str, rows: Iterable[Sequence[str]], head: Sequence[str] = ()) -> str:
    """A table with a caption and headers; the first cell of each row is the row's header. Everything is
    escaped.
    """
    top = ""
    if head:
        cells = "".join(f'<th scope="col" style="{_CELL}">{text(cell)}</th>' for cell in head)
        top = f"<thead><tr>{cells}</tr></thead>"
    body = ""
    for first, *rest in rows:
        cells = "".join(f'<td style="{_CELL}">{text(cell)}</td>' for cell in rest)
        body += f'<tr><th scope="row" style="{_CELL}">{text(first)}</th>{cells}</tr>'
    return (
        '<table style="border-collapse:collapse;margin:.3em 0;min-width:16em">'
        f'<caption style="{_CAPTION}">{text(caption)}</caption>'
        f"{top}<tbody>{body}</tbody></table>"
    )


def items(lines: Iterable[str]) -> str:
    """A list of plain lines."""
    return (
        "<ul style='margin:.2em 0 .2em 1.2em;padding:0'>"
        + "".join(f"<li>{text(line)}</li>" for line in lines)
        + "</ul>"
    )


def details(summary: str, inner: str) -> str:
    """Something that opens when asked for; readable with the keyboard alone."""
    # Some pages take the triangle away from a summary; as a list item it keeps it.
    head = f"<summary style='cursor:pointer;display:list-item'>{text(summary)}</summary>"
    return f"<details style='margin:.3em 0'>{head}{inner}</details>"
