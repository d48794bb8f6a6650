"""Questions are data: a system, a start, a stress, what is asked, points. The right answers are computed.

``questions.toml`` beside the notebook::

    [assignment]
    id = "04-disturbing-an-equilibrium"
    title = "Disturbing an equilibrium"
    course = "evening-class"          # goes into the hash that gives every student their own numbers
    mode = "assessed"                 # or "practice"
    policy = { tolerance = 0.02 }     # optional; any rule of eqlib.assess.policy

    [[question]]
    id = "iron"
    kind = "prediction"               # prediction, number, ice, equation, expression, order, explanation,
    mixed points = 3
    title = "More iron(III)"
    prompt = "A well holds {fe_mL} mL of ..."    # names in braces become the student's numbers
    system = "iron-thiocyanate"       # of the catalogue, or a TOML file of your own
    # or: reactions = [{ text = "2 NO2(g) <=> N2O4(g)", K = 6.8, basis = "p", dH_kJ = -57.2 }]
    # use = [0]                       # only some of the system's reactions, by position
    # basis = "c"                     # the first reaction's constant as Kc ("p": as Kp)
    # K = "k"                         # another K for the first reaction than the system's
    # cautions_from = ["iron-thiocyanate"]   # systems whose cautions are shown, when there is no system
    # mode = "practice"   reveal = "never"   hints = ["...", "..."]   policy = { attempts = "first" }

    [question.numbers]                # a number, or a range [low, high, step] that differs between students
    fe_mL = [0.80, 1.20, 0.10]

    [question.start]                  # what is poured together ...
    portions = [{ of_mM = { "Fe(NO3)3" = 2.00 }, mL = "fe_mL" }, { to_mL = 3.00 }]   # to_mL: water up to this
    # ... or totals = { "NO2(g)" = 0.02 } (mol/L), volume_L = 1.0; celsius = 25; pressure_bar; headspace_L
    # solids = { "AgCl(s)" = 2.0 }    # mmol put in as well

    [question.stress]                 # or: stress = "silver", one of the system's own
    kind = "add_solution"             # add_solution dilute add_solid add remove heat_to change_volume
    add_inert catalyse of_mM = { AgNO3 = 100 }
    mL = 0.10

    [question.measured]               # a reading the student is given, made from the start mixture
    reading = "absorbance"            # or "concentration"
                                      # or "temperatures" (celsius1, celsius2; K1 and K2, or a system: then
                                      # {K1} and {K2} come from the catalogue)
                                      # or "runs" (runs = [names of numbers], for "mean", "s" and "n")
    species = "FeSCN^2+"              # -> placeholder {absorbance} or {concentration}
    epsilon = "catalogue"             # at nm, to three figures -> placeholder {epsilon}; or a number
    nm = 447
    path_cm = 1.00
    decimals = 3                      # {K} is the first reaction's constant, to three figures

    [[question.part]]                 # what is asked; weights are relative
    ask = "direction"                 # see eqlib.assess.kinds.ASKS
    weight = 1
    [[question.part]]
    ask = "reason"
    options = ["q_below_K", "q_above_K", "two_boxes", "k_moves_conc"]
    [[question.part]]
    ask = "number"
    quantity = "K"                    # see eqlib.assess.kinds.QUANTITIES

A part may also have: ``id``, ``label``, ``help``, ``unit``, ``species`` and ``when`` (mixed, before,
at_once, after),
``tolerance``, ``figures`` = [fewest, most], ``code`` = true (answered by code), ``rubric`` (explain),
``skeleton`` (equation), ``items`` = [{ label, stress }] (order: most of ``species`` first) or
[{ label, K, seconds }] (speed: the shortest time first), ``side`` = "forward" or "reverse" (rate, graph),
``options`` = species to pick from (bound: what the added one ties up; cause: which added one acts).

Wherever a number is expected, the name of one of ``numbers`` may stand instead. The loader is strict: a key
it does not know is an error that names the file, the question, the key and the mend.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from pathlib import Path
from string import Formatter
from typing import Any

from eqlib.assess.kinds import Outcome, Part
from eqlib.assess.policy import DEFAULT, Policy
from eqlib.assess.questions_build import build_question
from eqlib.assess.questions_schema import QuestionError, check_assignment, check_top
from eqlib.assess.variants import Range, Variant, make_variant

MODES = ("practice", "assessed")


@dataclass(frozen=True)
class Assignment:
    """The header of a question file."""

    id: str
    title: str
    course: str
    mode: str = "assessed"
    policy: Policy = DEFAULT


@dataclass(frozen=True, eq=False)
class Question:
    """One question. ``given`` is what the file says about its chemistry; ``ranges`` its numbers."""

    id: str
    kind: str
    title: str
    points: float
    prompt: str
    parts: tuple[Part, ...]
    assignment: Assignment
    ranges: Mapping[str, Range] = field(default_factory=dict)
    given: Mapping[str, Any] = field(default_factory=dict)
    policy: Policy = DEFAULT
    mode: str = "assessed"
    reveal: str = "after-answer"
    hints: tuple[str, ...] = ()

    @property
    def manual(self) -> bool:
        """Is all of this question marked by a person?"""
        return all(part.ask == "explain" for part in self.parts if part.scored)

    @property
    def placeholders(self) -> frozenset[str]:
        """The names in braces of the prompt."""
        return frozenset(name for _, name, _, _ in Formatter().parse(self.prompt) if name)

    @property
    def code(self) -> bool:
        """Is it answered by a number worked out in a code cell?"""
        return any(part.code for part in self.parts)

    def part(self, name: str) -> Part:
        """The part called ``name``. Raises QuestionError."""
        for part in self.parts:
            if part.id == name:
                return part
        raise QuestionError(
            f"question {self.id!r} has no part {name!r}; its parts are {', '.join(p.id for p in self.parts)}"
        )

    def variant(self, student=None, retry: int = 0) -> Variant:
        """The numbers of ``student``; None gives the fixed mid-range ones. ``retry`` counts fresh sets in
        practice.
        """
        return make_variant(
            self.ranges,
            course=self.assignment.course,
            assignment=self.assignment.id,
            question=self.id,
            student=student,
            retry=retry,
        )

    def prompt_for(self, student=None, retry: int = 0) -> str:
        """The prompt, in markdown, with the student's numbers and readings."""
        from eqlib.assess.outcome import shown_numbers

        return self.prompt.format_map(shown_numbers(self, self.variant(student, retry)))

    def outcome(self, student=None, retry: int = 0) -> Outcome:
        """What the chemistry says about this student's copy (cached)."""
        from eqlib.assess.outcome import outcome_of

        return outcome_of(self, self.variant(student, retry))


class QuestionSet(Mapping):
    """The questions of one file, by id, in the file's order. ``assignment``, ``points`` (their sum) and
    ``path``.
    """

    def __init__(self, assignment: Assignment, questions, path: Path | None = None):
        self.assignment = assignment
        self.path = path
        self._questions = {question.id: question for question in questions}

    def __getitem__(self, name) -> Question:
        try:
            return self._questions[name]
        except (KeyError, TypeError):
            known = ", ".join(self._questions)
            raise QuestionError(
                f"no question {name!r} in assignment {self.assignment.id!r}; it has {known}"
            ) from None

    def __contains__(self, name) -> bool:
        return isinstance(name, str) and name in self._questions

    def __iter__(self) -> Iterator[str]:
        return iter(self._questions)

    def __len__(self) -> int:
        return len(self._questions)

    @property
    def points(self) -> float:
        """All points of the assignment."""
        return float(sum(question.points for question in self.values()))


def load_questions(path) -> QuestionSet:
    """The questions of a ``questions.toml``, or of the folder that holds one. Raises QuestionError."""
    path = Path(path)
    if path.is_dir():
        path = path / "questions.toml"
    try:
        text = path.read_text("utf-8")
    except FileNotFoundError:
        raise QuestionError(
            f"{path} is not there; write the path of a questions.toml or of its folder"
        ) from None
    except (OSError, UnicodeDecodeError) as error:
        raise QuestionError(
            f"{path} could not be read: {getattr(error, 'strerror', None) or error}"
        ) from None
    return read_questions(text, path)


def read_questions(text: str, path: Path | None = None) -> QuestionSet:
    """As load_questions, from the text of the file. ``path`` is named in messages."""
    name = "questions" if path is None else str(Path(*path.parts[-2:]))
    try:
        data = tomllib.loads(text, parse_float=Decimal)
    except tomllib.TOMLDecodeError as error:
        raise QuestionError(f"{name}: not readable as TOML: {error}") from None
    check_top(data, name)
    header = check_assignment(data["assignment"], name)
    assignment = Assignment(**header)
    questions = []
    for number, entry in enumerate(data["question"], start=1):
        settings = build_question(entry, number, name, assignment, path)
        if any(settings["id"] == question.id for question in questions):
            raise QuestionError(
                f"{name}: question {settings['id']!r} stands twice; give one of them another id"
            )
        questions.append(Question(assignment=assignment, **settings))
    return QuestionSet(assignment, questions, path)
