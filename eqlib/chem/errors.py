"""Errors a person can act on: one plain line that names the thing and the mend."""


class EqlibError(ValueError):
    """Bad input. ``str(error)`` is one line: what was read, where, and how to mend it."""
