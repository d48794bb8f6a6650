"""A form that is not running must look like a sentence, not like an error.

JupyterLab saves only a pointer to a form, and a pointer without its form is shown as an error. So every
form has a name that never changes, and the notebook's own metadata carries, under that name, an empty box:
a reopened notebook finds that box, draws nothing, and the record beside it says how to open the form again.
Running the cell puts the real form under the same name. Both the name and the metadata follow the published
widget-state format, version 2.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from eqlib.assess.load import load_questions
from eqlib.errors import EqlibError
from eqlib.notebook.store import WHO

STATE = "application/vnd.jupyter.widget-state+json"
VIEW = "application/vnd.jupyter.widget-view+json"
_OPENS = re.compile(r"""^(panel|student)\(\s*(?:["']([\w.-]+)["'])?""", re.MULTILINE)
_EXPLORES = re.compile(r"""^explore\(.*?title=["'](.+?)["']""", re.MULTILINE | re.DOTALL)
_PANELS = {"student": WHO, "panel": ""}
_BASE, _CONTROLS, _VERSION = "@jupyter-widgets/base", "@jupyter-widgets/controls", "2.0.0"


def form_id(assignment: str, name: str) -> str:
    """The lasting name of the form for a question (or of another panel)."""
    return f"eqlib-{assignment}-{name}"


def name_of(title: str) -> str:
    """The lasting name of the explorer with this title."""
    return "eqlib-explore-" + re.sub(r"[^a-z0-9]+", "-", title.lower()).strip("-")


def view_of(model_id: str, words: str) -> dict:
    """The output that shows a form. Where forms are not drawn at all, ``words`` or nothing stands in for
    it.
    """
    view = {"version_major": 2, "version_minor": 0, "model_id": model_id}
    return {VIEW: view, "text/plain": words, "text/html": ""}


def asleep_forms(assignment: str, names: Iterable[str]) -> dict:
    """The ``widgets`` entry of a notebook's metadata in which every form of ``names`` sleeps.

    ``names`` are question ids and "student". Put the result into ``notebook["metadata"]["widgets"]``.
    """
    layout = f"eqlib-{assignment}--layout"
    state = {
        layout: _model("LayoutModel", _BASE, {"display": "none"}),
    }
    for name in names:
        state[name if name.startswith("eqlib-") else form_id(assignment, name)] = _model(
            "BoxModel", _CONTROLS, {"layout": f"IPY_MODEL_{layout}"}
        )
    return {STATE: {"version_major": 2, "version_minor": 0, "state": state}}


def forms_in(notebook: dict) -> list[str]:
    """What a notebook's cells open: question ids, "student", and the names of explorers."""
    found = []
    for cell in notebook.get("cells", ()):
        source = cell.get("source", "")
        source = "".join(source) if isinstance(source, list) else source
        if cell.get("cell_type") == "code":
            found += [name or _PANELS[panel] for panel, name in _OPENS.findall(source)]
            found += [name_of(title) for title in _EXPLORES.findall(source)]
    return list(dict.fromkeys(found))


def put_to_sleep(path: Any) -> list[str]:
    """Write the sleeping forms into the metadata of the notebook at ``path``, after forms were added or
    renamed.

    The assignment is that of the ``questions.toml`` beside it. Returns the forms' names. Raises EqlibError.
    """
    path = Path(path)
    questions = load_questions(path.parent)
    try:
        notebook = json.loads(path.read_text("utf-8"))
    except (OSError, ValueError) as error:
        raise EqlibError(f"{path.name} could not be read as a notebook: {error}") from None
    names = forms_in(notebook)
    notebook.setdefault("metadata", {})["widgets"] = asleep_forms(questions.assignment.id, names)
    text = json.dumps(notebook, indent=1, ensure_ascii=False, sort_keys=True) + "\n"
    path.write_text(text, "utf-8")
    return names


def _model(name: str, module: str, state: dict) -> dict:
    return {"model_name": name, "model_module": module, "model_module_version": _VERSION, "state": state}
