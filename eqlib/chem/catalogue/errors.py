"""The one kind of complaint about a catalogue file: file, key, what is wrong, how to mend it."""

from difflib import get_close_matches

from eqlib.errors import EqlibError


class CatalogueError(EqlibError):
    """A catalogue file or name that cannot be used. ``str(error)`` is one line."""


def complaint(path, where, what, mend):
    """One line, ``file, key: what; mend.``; ``where`` is "" when the whole file is meant."""
    place = f"{path}, {where}" if where else f"{path}"
    return CatalogueError(" ".join(f"{place}: {what}; {mend}.".split()))


def near(name, names):
    """The known name nearest to ``name``, or None when nothing is close."""
    known = {n.lower(): n for n in names}
    wanted = str(name).lower()
    found = get_close_matches(wanted, known, n=1, cutoff=0.6)
    if not found and len(wanted) >= 3:
        found = [n for n in known if n.startswith(wanted)]
    return known[found[0]] if found else None


def suggestion(name, names):
    """Mending words for an unknown name: the near one if any, then what may be written."""
    closest = near(name, names)
    listing = ", ".join(sorted(names)) if names else "none yet"
    return (
        f"did you mean {closest!r}? It may be one of: {listing}"
        if closest
        else f"it may be one of: {listing}"
    )
