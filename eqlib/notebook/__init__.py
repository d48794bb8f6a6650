"""What a student clicks and sees: lessons, panels and figures.

``from eqlib.notebook import Lesson`` is the first line of every lesson; ``restore`` is called by marking
only. Loaded on first use, so that importing this room costs nothing.
"""

from importlib import import_module as _import_module

_HOME = {
    "Lesson": "eqlib.notebook.lessons",
    "restore": "eqlib.notebook.records_session",
    "put_to_sleep": "eqlib.notebook.panels_asleep",
}

__all__ = ["Lesson", "put_to_sleep", "restore"]


def __getattr__(name):
    try:
        home = _HOME[name]
    except KeyError:
        raise AttributeError(f"module 'eqlib.notebook' has no attribute {name!r}") from None
    return getattr(_import_module(home), name)
