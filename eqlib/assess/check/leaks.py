"""Does anything that students can read give an answer away? Is a constant typed that the catalogue holds?

Students have the whole question file and the notebook. So no text in them (prompt, hint, rubric, markdown
cell) may name what forms in a question, or say in one sentence what was added and what it does. The texts
are compared with the computed case; what earns a point for which sentence belongs in the instructor's
folder, which is never released.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator
from decimal import Decimal
from functools import lru_cache

from eqlib.assess.case import Case
from eqlib.assess.check.notebook import nbgrader_of, source_of
from eqlib.assess.question import Question, QuestionSet
from eqlib.chem.catalogue import spectrum, system, systems
from eqlib.chem.disturb import Disturbance
from eqlib.chem.reactions import Reaction
from eqlib.chem.salts import dissolved
from eqlib.chem.species import species
from eqlib.errors import EqlibError

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


def leaks(questions: QuestionSet, notebook: dict | None = None) -> list[tuple[str, str]]:
    """(where, line) for every text that gives the answer of a question away."""
    texts = [*_texts(questions), *_cells(notebook or {"cells": []})]
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
        for where, text in _own_texts(question, notebook or {"cells": []}):
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
        if any(part.ask == "explain" and not part.rubric for part in question.parts):
            line = f'the explanation has no rubric; add [{question.id}] and rubric = ["..."] to {home}'
            lines.append((f"question {question.id!r}", line))
    return lines


def _cells(notebook: dict) -> Iterator[tuple[str, str]]:
    for number, cell in enumerate(notebook["cells"], start=1):
        if isinstance(cell, dict) and cell.get("cell_type") == "markdown":
            name = nbgrader_of(cell).get("grade_id")
            yield f"cell {number}" + (f" ({name})" if name else ""), source_of(cell)


def _given_away(question: Question, case: Case, text: str) -> Iterator[str]:
    for formula in formed(question, case):
        if re.search(rf"(?<!\w){re.escape(formula)}(?![A-Za-z0-9])", text):
            yield f"names {formula}, which forms in question {question.id!r}; leave that to the students"
    agents = _agents(case.disturbance)
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
    disturbance = case.disturbance
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


def typed_constants(question: Question) -> list[str]:
    """Constants written into a question though the catalogue holds them, with their source."""
    lines, setting = [], question.setting
    for table in setting.reactions or ():
        home = _catalogued().get(_key(table.text)) if isinstance(table.K, Decimal) else None
        if home:
            lines.append(
                f'K = {table.K} is typed; write system = "{home[0]}" and use = [{home[1]}], and {{K}} in '
                "the prompt where it is given"
            )
    measured = setting.measured
    if (
        measured is not None
        and isinstance(measured.epsilon, Decimal)
        and spectrum(measured.species or "") is not None
    ):
        lines.append(
            f'epsilon = {measured.epsilon} is typed; write epsilon = "catalogue" and nm = ..., and '
            "{epsilon} in the prompt where it is given"
        )
    return lines


def _key(text: str) -> frozenset:
    return frozenset(Reaction(text).coefficients.items())


@lru_cache(maxsize=1)
def _catalogued() -> dict:
    """Reaction -> (system, position) for all reactions of the catalogue; the simplest system first."""
    found: dict = {}
    for name in sorted(systems(), key=lambda name: (len(name), name)):
        for number, reaction in enumerate(system(name).reactions):
            found.setdefault(frozenset(reaction.coefficients.items()), (name, number))
    return found
