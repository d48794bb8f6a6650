"""Outputs that can be replaced later: each has a name, and JupyterLab keeps the newest in the saved notebook.

Nothing here prints, and nothing goes to the error stream: nbgrader takes any word there for a failed check.
"""

from __future__ import annotations

import functools
import html
import re
from collections.abc import Mapping
from typing import Any

from eqlib.errors import EqlibError
from eqlib.notebook.records_session import marking
from eqlib.notebook.style import notice

_TAGS = re.compile(r"<style>.*?</style>|<[^>]+>", re.DOTALL)
_BLOCK = re.compile(r"</(p|div|tr|caption|li|h\d|table|summary)>")
_BETWEEN = re.compile(r"</t[hd]>")


def bundle(page: str, more: Mapping[str, Any] | None = None) -> dict[str, Any]:
    """An output: ``page`` (HTML), the same as plain text for readers without HTML, and other media types."""
    return {"text/html": page, "text/plain": words_of(page), **(more or {})}


def words_of(page: str) -> str:
    """What a reader sees of an HTML page, as plain lines."""
    flat = _BETWEEN.sub("  ", page)
    flat = html.unescape(_TAGS.sub("", _BLOCK.sub("\n", flat)))
    lines = (" ".join(line.split()) for line in flat.splitlines())
    return "\n".join(line for line in lines if line)


class Slot:
    """One output with a name of its own. ``put`` shows it, and replaces it wherever it stands."""

    def __init__(self, name: str):
        self.name = name
        self.shown = False

    def show(self, data: Mapping[str, Any]) -> None:
        """Show in the cell that is running; later ``put``s replace it."""
        from IPython.display import display

        display(dict(data), raw=True, display_id=self.name)
        self.shown = True

    def put(self, data: Mapping[str, Any]) -> None:
        """Replace what was shown, in every cell that showed it. Does nothing before ``show``."""
        if self.shown:
            from IPython.display import update_display

            update_display(dict(data), raw=True, display_id=self.name)


def show(page: str) -> None:
    """Show a page of HTML that is never replaced."""
    from IPython.display import display

    display(bundle(page), raw=True)


def kindly(method):
    """A student meets one plain line, never a traceback. While marking, an error stays an error: it scores
    0.
    """

    @functools.wraps(method)
    def wrapped(*args, **kwargs):
        try:
            return method(*args, **kwargs)
        except EqlibError as error:
            if marking():
                raise
            show(notice(str(error), start="Please note:"))
            return None

    return wrapped
