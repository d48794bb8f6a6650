"""The course's nbgrader settings, in one place: ``nbgrader_config.py`` only calls ``configure``."""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path
from typing import Any

import nbgrader

from eqlib.grading.run.sandbox import CELL_SECONDS


def configure(c: Any, config_file: Any = None, course_id: str = "equilibrium", root: Any = None) -> None:
    """Fill in nbgrader's configuration object ``c``.

    ``config_file`` is the path of the calling ``nbgrader_config.py``: the course is the folder it lies in,
    wherever the command is run from. ``root`` names the folder outright instead.
    """
    if root is None:
        root = Path.cwd() if config_file is None else Path(config_file).resolve().parent
    exchange = Path(root) / "exchange"
    if not exchange.exists() and exchange.parent.is_dir():
        # Open to all, as nbgrader asks. A course on a read-only disk simply has none.
        with suppress(OSError):
            exchange.mkdir()
            exchange.chmod(0o777)

    c.CourseDirectory.root = str(root)
    c.CourseDirectory.course_id = course_id
    c.Exchange.root = str(exchange)

    # Students see where to write; nothing of the worked solution remains, and no error greets an empty cell.
    c.ClearSolutions.code_stub = {"python": "# Your working goes here."}
    c.ClearSolutions.text_stub = "Write your answer here (double-click to edit)."
    c.GenerateAssignment.post_convert_hook = "eqlib.grading.preprocessors.drop_journals"

    c.Execute.timeout = CELL_SECONDS
    _set_steps(c)
    _set_pages(c)


def _set_steps(c: Any) -> None:
    """One marker: nbgrader's command, the formgrader's button and ``eqlib grade`` take the same steps."""
    ours = "eqlib.grading.preprocessors."
    nbg = "nbgrader.preprocessors."
    # Nothing is cleared or run before our step: it reads the recorded answers, and runs cells in its
    # sandbox only.
    c.Autograde.sanitize_preprocessors = []
    c.Autograde.autograde_preprocessors = [
        ours + "MarkSubmission",
        ours + "SaveMarks",
        nbg + "AssignLatePenalties",
        nbg + "CheckCellMetadata",
    ]
    c.GenerateFeedback.preprocessors = [
        ours + "GetMarks",
        ours + "MakeSafe",
        "nbconvert.preprocessors.CSSHTMLHeaderPreprocessor",
    ]
    # A page of before the reading is there already, from ``eqlib grade``: anew, it holds the marks given.
    c.GenerateFeedback.force = True


def _set_pages(c: Any) -> None:
    """Feedback pages and the formgrader's view of a submission are both made by HTMLExporter."""
    c.HTMLExporter.filters = {
        "markdown2html": "eqlib.grading.page.markdown2html",
        # A score that was not made prints as its reason, never as 0.
        "float": "eqlib.grading.page.as_float",
        "round": "eqlib.grading.page.rounded",
    }
    c.HTMLExporter.exclude_raw = True
    # Ours first: with it a feedback page loads nothing from outside, and may not.
    theirs = Path(nbgrader.__file__).parent / "server_extensions" / "formgrader" / "templates"
    c.HTMLExporter.extra_template_basedirs = [str(Path(__file__).parent / "templates"), str(theirs)]
