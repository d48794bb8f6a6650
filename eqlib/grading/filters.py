"""The one filter our pages put in place of nbconvert's own: Markdown rendered, then cleaned."""

from __future__ import annotations

from jinja2 import pass_context

from eqlib.grading.safety import markdown_to_html


@pass_context
def markdown2html(context, source):
    """What nbconvert's filter of this name does, with nothing left in the result that could run."""
    cell = context.get("cell", {})
    return markdown_to_html(source, cell.get("attachments", {}))
