"""What a student clicks and sees: panels, and what the notebook keeps of them.

``from eqlib.notebook import panel`` is the first line of a question's cell; ``restore`` is called by marking
only. Loaded on first use, so that importing this room costs nothing.
"""

from importlib import import_module as _import_module
from typing import Any as _Any

_HOME = {
    "panel": "eqlib.notebook.lesson",
    "student": "eqlib.notebook.lesson",
    "bench": "eqlib.notebook.lesson",
    "prompt": "eqlib.notebook.lesson",
    "receipt": "eqlib.notebook.lesson",
    "explore": "eqlib.notebook.lesson",
    "Slider": "eqlib.notebook.explorer",
    "Choose": "eqlib.notebook.explorer",
    "Switch": "eqlib.notebook.explorer",
    "numbers": "eqlib.notebook.lesson",
    "restore": "eqlib.notebook.store",
    "put_to_sleep": "eqlib.notebook.sheet",
}

__all__ = [
    "Choose",
    "Slider",
    "Switch",
    "bench",
    "explore",
    "numbers",
    "panel",
    "prompt",
    "put_to_sleep",
    "receipt",
    "restore",
    "student",
]


def __getattr__(name: str) -> _Any:
    try:
        home = _HOME[name]
    except KeyError:
        raise AttributeError(f"module 'eqlib.notebook' has no attribute {name!r}") from None
    # No module here is called like one of these: once imported it would be found in the call's place.
    found = getattr(_import_module(home), name)
    globals()[name] = found
    return found
