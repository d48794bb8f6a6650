"""From a student id to steps of a range: the same on any machine and in any version of Python.

The hash of (course, assignment, question, draw, student) seeds nothing; it *is* the draw. Each number takes
its own eight bytes of a SHA-256, so adding a number to a question leaves the others as they were.
"""

from __future__ import annotations

import hashlib
import unicodedata

SEPARATOR = "\x1f"


def normal_id(student) -> str:
    """A student id without case, spaces or typographical variants: "S 01" and "s01" are one person. None is
    ''.
    """
    if student is None:
        return ""
    text = unicodedata.normalize("NFKC", str(student)).casefold()
    return "".join(text.split())


def draw(
    choices: int, *, course: str, assignment: str, question: str, number: str, student: str, retry: int = 0
) -> int:
    """A whole number in [0, choices): which step of a range this student gets.

    The first eight bytes, big-endian, of the SHA-256 of the six names joined by the unit separator (U+001F),
    modulo
    ``choices``. ``retry`` counts fresh sets of numbers in practice.
    """
    names = (course, assignment, question, number, str(retry), normal_id(student))
    digest = hashlib.sha256(SEPARATOR.join(names).encode("utf-8")).digest()
    return int.from_bytes(digest[:8], "big") % choices
