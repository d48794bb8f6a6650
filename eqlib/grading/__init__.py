"""What the instructor runs: a class marked in bulk, the gradebook, the report."""

import sys


def _import_jsonschema() -> None:
    """Import jsonschema without its check of IRIs, whose grammar is compiled for seconds at import; nothing
    here holds an IRI. It is an optional part, and stays importable for others.
    """
    slow = "rfc3987_syntax"
    if "jsonschema" in sys.modules or slow in sys.modules:
        return
    sys.modules[slow] = None  # type: ignore[assignment]  # so that importing it fails
    try:
        import jsonschema  # noqa: F401
    except ImportError:
        # Without the extra that marks; whoever needs it is told so.
        return
    finally:
        del sys.modules[slow]


_import_jsonschema()
