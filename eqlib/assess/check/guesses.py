"""Can points be had without knowing anything? Measured over the copies of 200 students.

``lucky``    the first option of every choice, and one number typed blind.
``printed``  a number that stands on a page students have: its own prompt, another question's, a text of a
             notebook, or the result that a practice question shows.
``places``   the place of the right options in the released file.
"""

from __future__ import annotations

import re
import tomllib
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from typing import NamedTuple

import numpy as np

from eqlib.assess.check.notebook import source_of
from eqlib.assess.question import Question, QuestionSet
from eqlib.assess.variants import SHUFFLED, options_for
from eqlib.errors import EqlibError

#: Students tried.
STUDENTS = 200
#: A blind number may be right for at most this share of the students; the first option may score at most this
#: share of the points above or below chance.
MOST = 0.10
#: A number of another assignment gives an answer away when it is right for this share: nobody carries numbers
#: across by chance.
ELSEWHERE = 0.5
#: Fewer choices than this in a file say nothing about a habit.
_ENOUGH_CHOICES = 6
#: How many results there are is no unknown.
_COUNTED = frozenset(["n"])
_FIGURE = re.compile(
    r"(?<![\w.,^])[-−]?\d+(?:[.,]\d+)?(?:\s?(?:×|·|\*)\s?10\^?(?P<power>[-−⁻⁺]?[\d⁰¹²³⁴-⁹]+))?"
)
_MILLI = re.compile(r"\s?(?:mM|mmol/L|mmol per litre)\b")
_RAISED = str.maketrans("⁰¹²³⁴⁵⁶⁷⁸⁹⁻−", "0123456789--")


class Asked(NamedTuple):
    """One number that is asked, for every student: where, the right values and what is let pass."""

    assignment: str
    question: str
    part: str
    unit: str
    right: np.ndarray
    tolerance: float
    assessed: bool


class Shown(NamedTuple):
    """One number that students can read, for every student (nan where there is none).

    ``worked``: it is the result of a practice question, not a part of a prompt or text.
    """

    assignment: str
    question: str
    where: str
    values: np.ndarray
    worked: bool = False


def students() -> list[str]:
    """The ids that are tried; the same as for the other checks, whose cases are at hand then."""
    return [f"sample-{number}" for number in range(STUDENTS)]


# -- blind luck -------------------------------------------------------------------------------------------


def lucky(questions: QuestionSet) -> list[tuple[str, str]]:
    """(where, line) for each way of earning points blind."""
    lines = []
    for asked in numbers_asked(questions):
        if not asked.assessed:
            continue
        guess, share = best_guess(asked.right, asked.tolerance)
        if share > MOST:
            lines.append(
                (
                    f"question {asked.question!r}",
                    f"{asked.part}: {guess:.3g} typed blind is right for {share:.0%} of the students; "
                    f"make the range of the numbers behind it wider (at most {MOST:.0%})",
                )
            )
    return lines + _first_options(questions)


def best_guess(right: np.ndarray, tolerance: float) -> tuple[float, float]:
    """(the number, the share of students) of the constant within ``tolerance`` of most right values."""
    right = right[np.isfinite(right)]
    if not len(right):
        return 0.0, 0.0
    ends = np.stack([right * (1 - tolerance), right * (1 + tolerance)])
    low, high = np.sort(ends, axis=0)
    # The best guess can be moved down to the low end of one of the intervals that hold it.
    inside = (low[:, None] >= low[None, :]) & (low[:, None] <= high[None, :])
    hits = inside.sum(axis=1)
    best = int(np.argmax(hits))
    return float(low[best]), float(hits[best]) / len(right)


def _first_options(questions: QuestionSet) -> list[tuple[str, str]]:
    """What somebody earns who always takes the first option shown, beside what chance would give."""
    got, by_chance, worth, choices = 0.0, 0.0, 0.0, 0
    for question, part in _choices(questions):
        hits = [
            options_for(part, question, student)[0][0] == expected.get(part.id)
            for student, expected in _copies(question)
        ]
        if not hits:
            continue
        points = question.points * part.weight / sum(p.weight for p in question.parts if p.scored)
        got += points * sum(hits) / len(hits)
        by_chance += points / len(part.options)
        worth += points
        choices += 1
    if choices < _ENOUGH_CHOICES or abs(got - by_chance) <= MOST * worth:
        return []
    return [
        (
            "",
            f"always the first option scores {got / worth:.0%} of the choices' points, chance "
            f"{by_chance / worth:.0%}; let the right answers vary",
        )
    ]


def _choices(questions: QuestionSet) -> Iterator[tuple]:
    for question in questions.values():
        for part in question.parts:
            if (
                question.mode == "assessed"
                and part.kind == "choice"
                and part.scored
                and len(part.options) > 1
            ):
                yield question, part


def places(questions: QuestionSet) -> list[tuple[str, str]]:
    """Do the right options stand in one place of the released file? Students can read it."""
    if questions.path is None:
        return []
    tables = {t["id"]: t for t in tomllib.loads(questions.path.read_text("utf-8"))["question"]}
    found: Counter = Counter()
    for question in questions.values():
        for part, table in zip(question.parts, tables[question.id].get("part", ()), strict=True):
            if part.ask in SHUFFLED and question.mode == "assessed" and "options" in table:
                right = next(iter(_copies(question, 1)))[1].get(part.id)
                listed = [str(option) for option in table["options"]]
                found[listed.index(right) if right in listed else None] += 1
    found.pop(None, None)
    if not found or found.total() < 2 or found.most_common(1)[0][1] <= 0.75 * found.total():
        return []
    place, count = found.most_common(1)[0]
    return [
        (
            "",
            f"the right option stands in place {place + 1} of the list in {count} of {found.total()} "
            "questions, and students have this file; vary the place",
        )
    ]


# -- what is printed --------------------------------------------------------------------------------------


def numbers_asked(questions: Mapping[str, Question]) -> list[Asked]:
    """Every number that is asked in a file."""
    found = []
    for question in questions.values():
        for part in question.parts:
            if part.ask != "number" or not part.scored or part.quantity in _COUNTED:
                continue
            right = np.array([_finite(expected.get(part.id)) for _, expected in _copies(question)])
            right = np.resize(right, STUDENTS) if len(right) else np.full(STUDENTS, np.nan)
            tolerance = part.tolerance or question.policy.tolerance
            assessed = question.mode == "assessed"
            name = question.assignment.id
            found.append(Asked(name, question.id, part.id, part.unit, right, tolerance, assessed))
    return found


def numbers_shown(questions: QuestionSet, texts: Iterable[tuple[str, str]] = ()) -> list[Shown]:
    """Every number in the prompts and in ``texts`` ((where, text) that everybody sees), and the results of
    practice questions, which are shown with the working.
    """
    found = []
    for question in questions.values():
        name = question.assignment.id
        try:
            prompts = [figures_in(question.prompt_for(student)) for student in students()]
        except EqlibError:
            continue  # reported by check_question
        where = f"the prompt of question {question.id!r}"
        found += [Shown(name, question.id, where, values) for values in _columns(prompts)]
        if question.mode == "practice":
            where = f"the working of practice question {question.id!r}"
            for asked in numbers_asked({question.id: question}):
                found.append(Shown(name, question.id, where, asked.right, worked=True))
    for where, text in texts:
        for value in figures_in(text):
            found.append(Shown(questions.assignment.id, "", where, np.full(STUDENTS, value)))
    return found


def texts_of(notebook: dict) -> list[tuple[str, str]]:
    """(where, text) of a notebook's markdown cells."""
    return [
        (f"cell {number}", source_of(cell))
        for number, cell in enumerate(notebook["cells"], start=1)
        if isinstance(cell, dict) and cell.get("cell_type") == "markdown"
    ]


def figures_in(text: str) -> list[float]:
    """The numbers in a text, in order; one in millimoles per litre also in moles per litre. Single digits are
    coefficients and counts; they are left out.
    """
    found = []
    for hit in _FIGURE.finditer(text):
        if len(hit[0]) == 1:
            continue
        mantissa = hit[0].split(" ")[0].split("×")[0].split("·")[0].split("*")[0]
        value = float(mantissa.replace(",", ".").replace("−", "-"))
        if hit["power"]:
            value *= 10.0 ** int(hit["power"].translate(_RAISED).replace("⁺", ""))
        found.append(value)
        if _MILLI.match(text, hit.end()):
            found.append(value / 1000)
    return found


def printed(asked: list[Asked], shown: list[Shown]) -> list[tuple[str, str, str]]:
    """(assignment, question, line) for each number asked that can be read off somewhere.

    An assessed number may stand nowhere in the course. A practice question's result is shown by its own
    working, so only the pages of its own assignment are looked at.
    """
    lines = []
    for number in asked:
        worst: dict[str, float] = {}
        for seen in shown:
            here = seen.assignment == number.assignment
            if (here and seen.worked and seen.question == number.question) or not (
                number.assessed or (here and not seen.worked)
            ):
                continue
            near = np.abs(seen.values - number.right) <= number.tolerance * np.abs(number.right)
            share = float(np.mean(near & np.isfinite(number.right) & (number.right != 0)))
            if share > (MOST if here else ELSEWHERE):
                where = seen.where if here else f"{seen.where} of {seen.assignment!r}"
                worst[where] = max(share, worst.get(where, 0.0))
        for where, share in worst.items():
            lines.append(
                (
                    number.assignment,
                    number.question,
                    f"{number.part} stands in {where} for {share:.0%} of the students (at most {MOST:.0%}); "
                    "change the numbers there or here",
                )
            )
    return lines


def _columns(rows: list[list[float]]) -> list[np.ndarray]:
    """The n-th number of every student's text, for each n."""
    width = max((len(row) for row in rows), default=0)
    return [np.array([row[n] if n < len(row) else np.nan for row in rows]) for n in range(width)]


def _copies(question: Question, count: int = STUDENTS) -> Iterator[tuple[str, Mapping]]:
    """(student, right answers by part) of the first ``count`` students' copies."""
    for student in students()[:count]:
        try:
            yield student, question.case(student).expected
        except EqlibError:
            return  # reported by check_question


def _finite(value: object) -> float:
    return float(value) if isinstance(value, int | float) and np.isfinite(value) else float("nan")
