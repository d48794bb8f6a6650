"""Can points be had without knowing anything: read off what students have, or guessed?

Students have the whole question file and the notebook. Measured over the copies of 200 of them:

``leaks``    a text (prompt, hint, markdown cell) that names what forms in a question, or says in one sentence
             what was added and what it does. They are compared with the computed case; what earns a point for
             which sentence belongs in the instructor's folder, which is never released.
``printed``  a number that stands on a page students have: its own prompt, another question's, a text of a
             notebook, or the result that a practice question shows.
``lucky``    the first option of every choice, and one number typed blind.
``places``   the place of the right options in the released file.
"""

from __future__ import annotations

import re
import tomllib
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from typing import Any, NamedTuple

import numpy as np

from eqlib.assess.asks import ASKS
from eqlib.assess.question import Case, Question, QuestionSet, options_for
from eqlib.chem.disturb import Disturbance
from eqlib.chem.salts import dissolved
from eqlib.chem.species import species
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
_SAYING = {
    ("seen", "paler"): r"\b(fades?|faded|fading|paler|lighter|bleach\w*|loses? (its )?colour)\b",
    ("seen", "darker"): r"\b(darken\w*|darker|deepen\w*|deeper)\b",
    ("precipitate", "yes"): r"\b(precipitat\w*|insoluble|settled?|settles|cloud\w*|(a )?solid forms)\b",
    ("direction", "reverse"): r"\b(to the left|to(wards)?( the)? reactants?)\b",
    ("direction", "forward"): r"\b(to the right|to(wards)?( the)? products?)\b",
}
_CHANGES = {"dilute": ["water", "dilut"], "heat_to": ["warm", "heat", "hot", "°C"]}
_SENTENCES = re.compile(r"(?<=[.?!:])\s")
_LEAST = 1e-9  # mol: less of a new substance is not worth a word


def nbgrader_of(cell: dict[str, Any]) -> dict[str, Any]:
    """The nbgrader metadata of a cell, or an empty table."""
    meta = cell.get("metadata", {})
    found = meta.get("nbgrader", {}) if isinstance(meta, dict) else {}
    return found if isinstance(found, dict) else {}


def source_of(cell: dict[str, Any]) -> str:
    """The text of a cell."""
    text = cell.get("source", "")
    return "".join(text) if isinstance(text, list) else str(text)


def markdown_in(notebook: dict[str, Any]) -> Iterator[tuple[int, dict[str, Any]]]:
    """The markdown cells of a notebook, with their numbers."""
    for number, cell in enumerate(notebook["cells"], start=1):
        if isinstance(cell, dict) and cell.get("cell_type") == "markdown":
            yield number, cell


# -- what a text says ---------------------------------------------------------------------------------------


def leaks(questions: QuestionSet, notebook: dict | None = None) -> list[tuple[str, str]]:
    """(where, line) for every text that gives the answer of a question away."""
    notebook = notebook or {"cells": []}
    texts = list(_texts(questions))
    for number, cell in markdown_in(notebook):
        name = nbgrader_of(cell).get("grade_id")
        texts.append((f"cell {number}" + (f" ({name})" if name else ""), source_of(cell)))
    found = []
    for question in questions.values():
        try:
            case = question.case(None)
        except EqlibError:
            continue  # reported by check_question
        if case.disturbance is None:
            continue
        for where, text in texts:
            found += [(where, line) for line in _given_away(question, case, text)]
        for where, text in _own_texts(question, notebook):
            found += [(where, line) for line in _told(question, case, text)]
    return list(dict.fromkeys(found))


def _own_texts(question: Question, notebook: dict) -> Iterator[tuple[str, str]]:
    """What stands over a question: its title, its prompt, the words right above its cell."""
    yield f"question {question.id!r}, title", question.title
    yield f"question {question.id!r}, prompt", question.prompt
    above: list[tuple[str, str]] = []
    for place, cell in enumerate(notebook["cells"], start=1):
        if isinstance(cell, dict) and cell.get("cell_type") == "markdown":
            above.append((f"cell {place}", source_of(cell)))
        else:
            if isinstance(cell, dict) and nbgrader_of(cell).get("grade_id") == question.id:
                yield from above
            above = []


def _told(question: Question, case: Case, text: str) -> Iterator[str]:
    """The right option of this very question in so many words; no agent need be named, for all of the text
    speaks of this change. What asks, or names the other options too, tells nothing.
    """
    for part in question.parts:
        words = {value: said for (ask, value), said in _SAYING.items() if ask == part.ask}
        if part.ask == "reason":
            words = {value: re.escape(label.rstrip(".")) for value, label in part.options}
        others = [said for value, said in words.items() if value != case.expected.get(part.id)]
        if len(others) == len(words) or any(re.search(said, text, re.IGNORECASE) for said in others):
            continue
        (right,) = set(words.values()) - set(others)
        for sentence in _SENTENCES.split(text):
            hit = re.search(right, sentence, re.IGNORECASE)
            if hit and not re.search(r"(?i)\?|\b(or|whether|if)\b", sentence):
                yield f"says {hit[0]!r}, which part {part.id!r} asks; word it so that nothing is given away"


def _texts(questions: QuestionSet) -> Iterator[tuple[str, str]]:
    """Everything readable in the question file, with where it stands."""
    for question in questions.values():
        where = f"question {question.id!r}"
        yield f"{where}, prompt", question.prompt
        for hint in question.hints if question.mode == "practice" else ():
            yield f"{where}, hint", hint
        for part in question.parts:
            yield f"{where}, part {part.id!r}", f"{part.label}. {part.help}"


def not_to_be_released(questions: QuestionSet) -> list[tuple[str, str]]:
    """(where, line) for rubrics and hints of assessed questions in the released file, and for explanations
    that have no rubric anywhere.
    """
    if questions.path is None:
        return []
    home = f"instructor/{questions.assignment.id}.toml"
    lines = []
    for table in tomllib.loads(questions.path.read_text("utf-8"))["question"]:
        question = questions[table["id"]]
        held = ["rubric"] * any("rubric" in part for part in table.get("part", ()))
        held += ["hints"] * ("hints" in table and question.mode == "assessed")
        for key in held:
            line = f"{key} would be released with this file; move it to [{question.id}] of {home}"
            lines.append((f"question {question.id!r}", line))
        if any(ASKS[part.ask].by_person and not part.rubric for part in question.parts):
            line = f'the explanation has no rubric; add [{question.id}] and rubric = ["..."] to {home}'
            lines.append((f"question {question.id!r}", line))
    return lines


def _given_away(question: Question, case: Case, text: str) -> Iterator[str]:
    for formula in formed(question, case):
        if re.search(rf"(?<!\w){re.escape(formula)}(?![A-Za-z0-9])", text):
            yield f"names {formula}, which forms in question {question.id!r}; leave that to the students"
    agents = _agents(case.change)
    for sentence in _SENTENCES.split(text):
        if not any(re.search(rf"(?<!\w){re.escape(agent)}", sentence, re.IGNORECASE) for agent in agents):
            continue
        for (ask, value), words in _SAYING.items():
            asked = [p.id for p in question.parts if p.ask == ask and case.expected.get(p.id) == value]
            hit = re.search(words, sentence, re.IGNORECASE)
            if asked and hit:
                yield (
                    f"says {hit[0]!r} of what question {question.id!r} asks students to predict; "
                    "word it so that nothing is given away"
                )


def formed(question: Question, case: Case) -> tuple[str, ...]:
    """Formulas (as printed) of what was not there before, is afterwards, and is not named in the prompt."""
    disturbance = case.change
    names = []
    for name, amount in disturbance.after.amounts.items():
        if amount > _LEAST and disturbance.at_once.amounts.get(name, 0.0) <= _LEAST / 1000:
            printed = species(name).unicode.split("(s)")[0]
            if printed not in question.prompt:
                names.append(printed)
    return tuple(names)


def _agents(disturbance: Disturbance) -> list[str]:
    """Words for what is done: the ions that are new to the mixture, or the change itself."""
    stress = disturbance.stress
    if stress.kind in _CHANGES:
        return _CHANGES[stress.kind]
    added = dissolved(dict.fromkeys(dict(stress.amounts), 1.0))
    new = [species(name) for name in added if disturbance.before.amounts.get(name, 0.0) <= _LEAST]
    idle = {"Na^+", "K^+", "NO3^-"}
    return [word for s in new if s.name not in idle for word in (s.spoken.split(" ")[0], s.unicode)]


# -- numbers ------------------------------------------------------------------------------------------------


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
            line = (
                f"{asked.part}: {guess:.3g} typed blind is right for {share:.0%} of the students; "
                f"make the range of the numbers behind it wider (at most {MOST:.0%})"
            )
            lines.append((f"question {asked.question!r}", line))
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
    line = f"always the first option scores {got / worth:.0%} of the choices' points, chance "
    return [("", line + f"{by_chance / worth:.0%}; let the right answers vary")]


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
            shuffled = part.kind == "choice" and ASKS[part.ask].order == "shuffled"
            if shuffled and question.mode == "assessed" and "options" in table:
                right = next(iter(_copies(question, 1)))[1].get(part.id)
                listed = [str(option) for option in table["options"]]
                found[listed.index(right) if right in listed else None] += 1
    found.pop(None, None)
    if not found or found.total() < 2 or found.most_common(1)[0][1] <= 0.75 * found.total():
        return []
    place, count = found.most_common(1)[0]
    line = f"the right option stands in place {place + 1} of the list in {count} of {found.total()} questions"
    return [("", f"{line}, and students have this file; vary the place")]


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
            line = f"{number.part} stands in {where} for {share:.0%} of the students (at most {MOST:.0%}); "
            lines.append((number.assignment, number.question, line + "change the numbers there or here"))
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
