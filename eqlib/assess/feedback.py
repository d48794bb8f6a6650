"""What a student is told. All wording stands here, so that it can be read aloud and mended in one place.

The rules: plain and kind, no scolding; a hint and not the answer; "consistent with", never "you think".
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from eqlib.assess.mistakes import MISTAKES

if TYPE_CHECKING:
    from eqlib.assess.mark import Mark, PartMark
    from eqlib.assess.question import Question

NO_ANSWER = "No answer was recorded for this question, so it has no points."
MANUAL = "This answer is read by a person; no mark is worked out here."
RIGHT = "Right."
CARRIED = "Right, going on from your own earlier value. The earlier slip is counted only once."
NOT_YET = "Not right yet."
NOT_YET_NUMBER = (
    "Not right yet; it fits none of the usual slips. Going through the steps once more may help: "
    "what was poured together, what reacted, what is left?"
)
NOT_YET_RESULT = (
    "Not right yet; it fits none of the usual slips. Going through the steps once more may help: "
    "which numbers go in, in which units, and in which order?"
)
NEGATIVE = "Not right yet: there cannot be less than none of anything, so this number has no minus sign."
DIVIDED_BY_N = (
    "Not right yet. This is what comes out when the sum of the squares is divided by n. "
    "A question that may help: the mean came from the same results, so by what is it divided?"
)
NO_ROOT = "Not right yet. This is the square of it: which step is still missing?"
ONE_LEFT_OUT = (
    "Not right yet. This is what comes out when one of the results is left out. "
    "A question that may help: may a result be dropped because it is far from the others?"
)
AS_BEFORE_THE_MOVE = (
    "Not right yet. This is the concentration before the change. "
    "A question that may help: the same amount is in which volume now?"
)
VOLUMES_SWAPPED = (
    "Not right yet. This is what comes out with the two volumes exchanged. "
    "A question that may help: is there more room now, or less?"
)
OTHER_WAY_ROUND = (
    "Not right yet. It is balanced, but it runs the other way: what goes in, and what comes out?"
)
BYSTANDER = (
    "Not right yet: Q right after the change is not what decides here. "
    "A question that may help: could what was added bind, or set free, anything that is in the equation?"
)
RULE_FAILS = "Not right yet. Try it on “{case}”: by this rule it would go {way}; does it?"
FOLLOWS = "Not right yet. It goes with the direction chosen above: that comes first, then this."
NOT_WITH_REASON = (
    "Not right yet, and it does not go with the reason chosen below. "
    "A question that may help: which way does that reason point?"
)
AS_ABOVE = "Not right yet. The question above may help here too."
MISSING = "No answer was recorded for this part."
TOO_MANY_FIGURES = (
    "The value is right. It is written with more figures "
    "than the data can carry, which costs a little, once. "
    "How many figures did the instrument give?"
)
TOO_FEW_FIGURES = (
    "The value is right. It is written with fewer figures "
    "than the data can carry, which costs a little, once."
)
MULTIPLE = "Right: it is balanced. Usually the smallest whole numbers are written."
COUNT = "Not right yet. A count that may help: {what}, {left} on the left and {right} on the right."


def think_about(hint: str) -> str:
    """A hint of assessed work, once its marks are back."""
    return f"- A question to think about: {hint}"


def right_part(how: str) -> str:
    """The sentence for a part that earns its points; ``how`` is "right" or "carried"."""
    return CARRIED if how == "carried" else RIGHT


def consistent_with(mistake: str) -> str:
    """The sentence for a part that fits a known idea: which, and a question that helps."""
    title, hint = about(mistake)
    return f"{NOT_YET} It is consistent with this idea: {title}. A question that may help: {hint}"


def of_places(right: int, places: int, mistake: str | None) -> str:
    """How much of a table is right, and the idea that the rest of it fits."""
    idea = consistent_with(mistake).removeprefix(NOT_YET) if mistake else ""
    return f"Partly right: {right} of {places} places.{idea}"


def about(mistake: str) -> tuple[str, str]:
    """(what the idea is, the hint) of a mistake id."""
    entry = MISTAKES[mistake]
    return _bare(entry.title), entry.hint


def _bare(text: str) -> str:
    """A title within a sentence: no full stop, and no capital unless it is a symbol such as K."""
    text = text.strip().rstrip(".")
    first = text.split(" ")[0]
    return text if first in ("K", "Kc", "Kp", "Q") else text[:1].lower() + text[1:]


def whole(question: Question, made: Sequence[PartMark], points: float) -> str:
    """The feedback for a question: one line a part, and what it came to."""
    if all(part.shown == "" and not part.right and not part.note for part in made if part.max_points):
        return NO_ANSWER
    lines: list[str] = []
    asked: set[str] = set()
    several = sum(1 for part in made if part.max_points) > 1
    for part in made:
        if not part.feedback:
            continue
        said = AS_ABOVE if part.mistake in asked and part.note == "wrong" else part.feedback
        if part.mistake is not None:
            asked.add(part.mistake)
        said = _answered(part.shown) + said
        lines.append(f"- **{part.label}** {said}" if several else said)
    return "\n".join([*lines, "", f"{_points(points)} of {_points(question.points)} points."])


def _answered(shown: str) -> str:
    """The answer to a part as it was read, as a sentence; "" where none was."""
    read = shown.removeprefix("read as ")
    return f"Your answer: {read}{'' if read.endswith('.”') else '.'} " if read else ""


def _points(value: float) -> str:
    """Points as a person writes them: two decimals at most (the mark itself is not rounded)."""
    return f"{value:.2f}".rstrip("0").rstrip(".")


def _of_part(part: PartMark, several: bool) -> str:
    """What is said about a part, with its label where there are others."""
    return f"**{part.label}** {part.feedback}" if several else part.feedback


def ladder(question: Question, mark: Mark, tries: int) -> str:
    """Practice: a little more help with every attempt (``tries`` counts from 1).

    First how many parts are right; then one wrong part, the first of which it can be said what it is
    consistent with; then all of them. The question's own hints come one by one. The worked solution follows
    when the policy allows it.
    """
    scored = [part for part in mark.parts if part.max_points]
    wrong = [part for part in scored if not part.right]
    if not wrong:
        return "All right. Well done."
    hints = [f"Hint: {hint}" for hint in question.hints[: max(0, tries - 1)]]
    several = len(scored) > 1
    said = [_of_part(part, several) for part in wrong if part.feedback]
    unread = [_of_part(part, several) for part in wrong if part.note == "unreadable"]
    if len(scored) == 1:
        first = said[0] if tries > 1 or unread or not question.hints else NOT_YET
        return "\n\n".join([first, *hints])
    count = f"{len(scored) - len(wrong)} of {len(scored)} parts are right so far."
    one = [_of_part(part, several) for part in sorted(wrong, key=lambda part: part.mistake is None)][:1]
    shown = said if tries > 2 else one if tries == 2 or not question.hints else unread
    return "\n\n".join([count, *dict.fromkeys(shown), *hints])
