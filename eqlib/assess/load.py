"""Read a question file. Questions are data: a system, a start, a stress, what is asked, points.

``questions.toml`` beside the notebook::

    [assignment]
    id = "04-disturbing-an-equilibrium"
    title = "Disturbing an equilibrium"
    course = "evening-class"          # goes into the hash that gives every student their own numbers
    mode = "assessed"                 # or "practice"
    policy = { tolerance = 0.02 }     # optional; any rule of eqlib.assess.question

    [[question]]
    id = "iron"
    kind = "prediction"   # or number, ice, equation, expression, order, explanation, mixed
    points = 3
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
    kind = "add_solution"   # or dilute, add_solid, add, remove, heat_to, change_volume, add_inert, catalyse
    of_mM = { AgNO3 = 100 }
    mL = 0.10

    [question.measured]               # a reading the student is given, made from the start mixture
    reading = "absorbance"            # or "concentration"
                                      # or "temperatures" (celsius1, celsius2; K1 and K2, or a system: then
                                      # {K1} and {K2} come from the catalogue)
                                      # or "runs" (runs = [names of numbers], for "mean", "s" and "n")
                                      # or "indicator" (acid, base, pH, share -> {between}, for "pKa")
    species = "FeSCN^2+"              # -> placeholder {absorbance} or {concentration}
    epsilon = "catalogue"             # at nm, to three figures -> placeholder {epsilon}; or a number
    nm = 447
    path_cm = 1.00
    decimals = 3                      # {K} is the first reaction's constant, to three figures

    [[question.part]]                 # what is asked; weights are relative
    ask = "direction"                 # see eqlib.assess.asks
    weight = 1
    [[question.part]]
    ask = "reason"
    options = ["q_below_K", "q_above_K", "two_boxes", "k_moves_conc"]
    [[question.part]]
    ask = "number"
    quantity = "K"                    # see QUANTITIES in eqlib/assess/asks/number.py

A part may also have: ``id``, ``label``, ``help``, ``unit``, ``species`` and ``when`` (mixed, before,
at_once, after),
``tolerance``, ``figures`` = [fewest, most], ``code`` = true (answered by code),
``skeleton`` (equation), ``items`` = [{ label, stress }] (order: most of ``species`` first) or
[{ label, K, seconds }] (speed: the shortest time first), ``side`` = "forward" or "reverse" (rate, graph),
``options`` = species to pick from (bound: what the added one ties up; cause: which added one acts).

The file is released. Rubrics of explanations and the hints of assessed questions stand beside ``source/``
instead, in ``instructor/<assignment>.toml`` of the course, which is never released: one table a question, ::

    [explain]                                   # the question's id
    rubric = ["1/2 point: what the added ions did.", "1/2 point: Q beside K."]
    hints = ["Which ion is new to the well?"]   # for talking it over

Wherever a number is expected, the name of one of ``numbers`` may stand instead. The loader is strict: a key
it does not know is an error that names the file, the question, the key and the mend.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import replace
from decimal import Decimal
from pathlib import Path
from string import Formatter
from typing import TYPE_CHECKING, Annotated, Any, Literal, Union

from pydantic import Field, field_validator

from eqlib.assess.asks import ASKS
from eqlib.assess.asks.base import ID, Part, PartTable
from eqlib.assess.question import (
    DEFAULT,
    Assignment,
    Policy,
    PolicyError,
    Question,
    QuestionSet,
    Range,
    read_range,
)
from eqlib.assess.setting import Setting
from eqlib.assess.tables import Number, QuestionError, Table, names_in, near, validated
from eqlib.chem.catalogue import system
from eqlib.chem.mixture import Mixture
from eqlib.chem.reactions import Reaction
from eqlib.chem.salts import dissolved
from eqlib.chem.stress import Stress
from eqlib.errors import EqlibError

#: The ask that a kind of question must have; "mixed" may have any.
KINDS = {
    "prediction": "direction",
    "number": "number",
    "ice": "ice",
    "equation": "equation",
    "expression": "expression",
    "order": "order",
    "explanation": "explain",
    "mixed": "",
}
Mode = Literal["practice", "assessed"]


class BareTable(PartTable):
    """A part that takes no keys of its own."""

    ask: Literal[tuple(name for name, ask in ASKS.items() if ask.Table is PartTable)]  # type: ignore[valid-type]


if TYPE_CHECKING:
    _PartTable = PartTable
else:  # which table a part is, its ``ask`` says
    _PartTable = Annotated[
        Union[BareTable, *{type(ask).Table: 1 for ask in ASKS.values() if ask.Table is not PartTable}],
        Field(discriminator="ask"),
    ]


class AssignmentTable(Table):
    """[assignment]"""

    id: str
    title: str
    course: str
    mode: Mode = "assessed"
    policy: Mapping[str, Any] = Field(default_factory=dict)

    @field_validator("id")
    @classmethod
    def _an_id(cls, given: str) -> str:
        return _an_id(given)


class QuestionTable(Setting):
    """[[question]]"""

    id: str
    kind: Literal[tuple(KINDS)]  # type: ignore[valid-type]  # made as the module loads
    points: Number
    title: str
    prompt: str
    part: tuple[_PartTable, ...]
    numbers: dict[str, Range] = Field(default_factory=dict)
    policy: Mapping[str, Any] = Field(default_factory=dict)
    mode: Mode | None = None
    reveal: Literal["after-answer", "after-marking", "never"] = "after-answer"
    hints: tuple[str, ...] = ()

    @field_validator("id")
    @classmethod
    def _an_id(cls, given: str) -> str:
        return _an_id(given)

    @field_validator("points")
    @classmethod
    def _some_points(cls, given: Decimal) -> Decimal:
        if not 0 < given <= 1000:
            raise ValueError(f"is {float(given):g}; write a number above 0")
        return given

    @field_validator("part")
    @classmethod
    def _some_parts(cls, given: tuple[Any, ...]) -> tuple[Any, ...]:
        if not given:
            raise ValueError("is empty: nothing is asked; add at least one [[question.part]]")
        return given

    @field_validator("numbers", mode="before")
    @classmethod
    def _ranges(cls, given: Any) -> Any:
        if not isinstance(given, dict):
            return given
        for name in given:
            if not name.isidentifier():
                raise ValueError(f"{name!r} needs a name of letters, digits and underscores")
        return {name: read_range(name, item) for name, item in given.items()}


def _an_id(given: str) -> str:
    if not ID.fullmatch(given):
        raise ValueError(f"{given!r} should be letters, digits, dots, dashes and underscores")
    return given


# -- reading ----------------------------------------------------------------------------------------------


def load_questions(path: str | Path) -> QuestionSet:
    """The questions of a ``questions.toml``, or of the folder that holds one, with the instructor's rubrics
    and hints where there are any. Raises QuestionError.
    """
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
    return _with_notes(read_questions(text, path))


def read_questions(text: str, path: Path | None = None) -> QuestionSet:
    """As load_questions, from the text of the file. ``path`` is named in messages.

    All faults are told at once, one line each; ``QuestionError.faults`` lists them.
    """
    name = "questions" if path is None else str(Path(*path.parts[-2:]))
    try:
        data = tomllib.loads(text, parse_float=Decimal)
    except tomllib.TOMLDecodeError as error:
        raise QuestionError(f"{name}: not readable as TOML: {error}") from None
    faults = [f"{name}: there is no key {key!r}{near(key, _TOP)}" for key in data if key not in _TOP]
    header, wrong = validated(AssignmentTable, data.get("assignment"), f"{name}: [assignment]")
    faults += wrong
    entries = data.get("question", [])
    if not isinstance(entries, list):
        entries = []
    if not entries and set(data) <= set(_TOP):
        faults.append(f"{name}: there is no question; add at least one [[question]]")
    assignment, wrong = _assignment(header, f"{name}: [assignment]")
    faults += wrong
    questions: list[Question] = []
    for number, entry in enumerate(entries, start=1):
        question, wrong = _question(entry, number, name, assignment, path)
        faults += wrong
        if question is not None and any(question.id == other.id for other in questions):
            faults.append(f"{name}: question {question.id!r} stands twice; give one of them another id")
        elif question is not None:
            questions.append(question)
    if faults:
        raise QuestionError(*faults)
    return QuestionSet(assignment, questions, path)


_TOP = ("assignment", "question")


def _assignment(header: AssignmentTable | None, where: str) -> tuple[Assignment, list[str]]:
    if header is None:
        return Assignment("", "", ""), []
    policy, faults = _policy(header.policy, DEFAULT, where)
    return Assignment(header.id, header.title, header.course, header.mode, policy), faults


def _policy(table: Mapping[str, Any], base: Policy, where: str) -> tuple[Policy, list[str]]:
    """``base`` with the rules of ``table``."""
    settings = {key: float(value) if isinstance(value, Decimal) else value for key, value in table.items()}
    try:
        return base.changed(**settings), []
    except PolicyError as error:
        return base, [f"{where}: {error}"]


def _question(
    entry: Any, number: int, name: str, assignment: Assignment, path: Path | None
) -> tuple[Question | None, list[str]]:
    """The Question of one [[question]], or what is wrong with it."""
    label = entry.get("id") if isinstance(entry, dict) else None
    where = f"{name}: question {label!r}" if isinstance(label, str) else f"{name}: question number {number}"
    table, faults = validated(QuestionTable, entry, where, None if path is None else path.parent)
    if table is None:
        return None, faults
    parts = tuple(ASKS[asked.ask].part(asked, table.id) for asked in table.part)
    policy, faults = _policy(table.policy, assignment.policy, where)
    faults += [f"{where}{_joined(fault)}" for fault in _faults(table, parts)]
    if faults:
        return None, faults
    return (
        Question(
            id=table.id,
            kind=table.kind,
            title=table.title,
            points=float(table.points),
            prompt=table.prompt,
            parts=_of_reaction(parts, table),
            assignment=assignment,
            ranges=table.numbers,
            setting=table,
            policy=policy,
            mode=table.mode or assignment.mode,
            reveal=table.reveal,
            hints=table.hints,
        ),
        [],
    )


def _joined(fault: str) -> str:
    """A fault that begins with a place of its own (", stress: ...") goes on where the question's ends."""
    return fault if fault.startswith(",") else f": {fault}"


def _of_reaction(parts: tuple[Part, ...], setting: Setting) -> tuple[Part, ...]:
    """With what they have from the first reaction: the columns of a table, the unit of a constant."""
    first = setting.first_reaction()
    return parts if first is None else tuple(ASKS[part.ask].of_reaction(part, first) for part in parts)


# -- what only the instructor has -------------------------------------------------------------------------

_NOTES = ("rubric", "hints")


def notes_path(questions: QuestionSet) -> Path | None:
    """Where the instructor's file of these questions stands, if they come from a course's folder."""
    if questions.path is None:
        return None
    path = questions.path.resolve()
    name = f"{questions.assignment.id}.toml"
    return path.parents[2] / "instructor" / name if len(path.parents) > 2 else None


def _with_notes(questions: QuestionSet) -> QuestionSet:
    """The questions with what the instructor's file says, if there is one. Raises QuestionError."""
    path = notes_path(questions)
    if path is None or not path.is_file():
        return questions
    name = f"instructor/{path.name}"
    try:
        data = tomllib.loads(path.read_text("utf-8"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise QuestionError(f"{name}: not readable as TOML: {error}") from None
    strangers = [key for key in data if key not in questions]
    faults = [f"{name}: there is no question {key!r}{near(key, questions)}" for key in strangers]
    noted = []
    for question in questions.values():
        table = data.get(question.id, {})
        wrong = _note_faults(question, table, f"{name}: [{question.id}]")
        faults += wrong
        noted.append(question if wrong else _noted(question, table))
    if faults:
        raise QuestionError(*faults)
    return QuestionSet(questions.assignment, noted, questions.path)


def _note_faults(question: Question, table: object, where: str) -> list[str]:
    if not isinstance(table, dict):
        return [f"{where} is {table!r}; write a table with rubric and hints"]
    faults = [f"{where}: there is no key {key!r}{near(key, _NOTES)}" for key in table if key not in _NOTES]
    for key in set(_NOTES) & set(table):
        if not isinstance(table[key], list) or not all(isinstance(t, str) and t.strip() for t in table[key]):
            faults.append(f"{where}: {key} should be a list of texts")
    if "rubric" in table and not any(ASKS[part.ask].by_person for part in question.parts):
        faults.append(f"{where}: rubric belongs to a written explanation; remove it here")
    return faults


def _noted(question: Question, table: dict) -> Question:
    rubric = tuple(table.get("rubric", ()))
    parts = tuple(
        replace(p, rubric=rubric or p.rubric) if ASKS[p.ask].by_person else p for p in question.parts
    )
    return replace(question, parts=parts, hints=(*question.hints, *table.get("hints", ())))


# -- do the parts, the chemistry and the prompt fit together? -----------------------------------------------


def _faults(table: QuestionTable, parts: tuple[Part, ...]) -> list[str]:
    """One line for each thing that does not fit."""
    for checks in (_OF_FILE, _OF_CHEMISTRY):
        found = [fault for check in checks for fault in _safely(check, table, parts)]
        if found:
            return list(dict.fromkeys(found))
    return []


def _safely(check: Callable[..., Iterable[str]], table: QuestionTable, parts: tuple[Part, ...]) -> list[str]:
    """What ``check`` finds; an error of the chemistry is a fault as well."""
    try:
        return list(check(table, parts))
    except EqlibError as error:
        return [str(error)]


def _ids(table: QuestionTable, parts: tuple[Part, ...]) -> Iterator[str]:
    names = [part.id for part in parts]
    for name in dict.fromkeys(names):
        if names.count(name) > 1:
            yield f"two parts are called {name!r}; give one of them another id"
    if not any(part.scored for part in parts):
        yield "no part earns points; give one of them a weight above 0"
    if any(not hint.strip() for hint in table.hints):
        yield "hints should be a list of texts"


def _sources(table: QuestionTable, parts: tuple[Part, ...]) -> Iterator[str]:
    if table.system is not None and table.reactions is not None:
        yield "has both system and reactions; keep one"
    if table.reactions == ():
        yield "reactions is empty; write at least one"
    for name in table.cautions_from:
        system(name)
    if isinstance(table.stress, str):
        table.stress_for({})
    for reaction in table.reactions or ():
        Reaction(reaction.text)


def _number_names(table: QuestionTable, parts: tuple[Part, ...]) -> Iterator[str]:
    """Every name that stands for a number is one of the question's numbers."""
    keys = [getattr(table, key) for key in ("K", "start", "stress", "measured", "reactions")]
    where = ("K", "start", "stress", "measured", "reactions")
    places = [("", named) for key, item in zip(where, keys, strict=True) for named in names_in(item, key)]
    places += [(f"part {part.id!r}: ", named) for part in parts for named in names_in(part.table)]
    for place, (key, name) in places:
        if name not in table.numbers:
            known = near(name, table.numbers) if table.numbers else "; add it under [question.numbers]"
            yield f"{place}{key} is {str(name)!r}, which is not one of the question's numbers{known}"


def _asked(table: QuestionTable, parts: tuple[Part, ...]) -> Iterator[str]:
    """The chemistry, the stress and the readings that the parts need are there."""
    scored = [part for part in parts if part.scored]
    asks = {part.ask for part in scored}
    wanted = KINDS[table.kind]
    if wanted and wanted not in asks:
        yield f"kind is {table.kind!r} but no part asks {wanted!r}; add one or change the kind"
    if not table.has_chemistry and any(ASKS[part.ask].needs_reaction(part) for part in scored):
        yield "there is no chemistry; add system = ... or reactions = [...]"
    elif table.stress is None:
        for part in scored:
            if ASKS[part.ask].needs_stress(part):
                yield (
                    f"part {part.id!r} asks what a change does, but there is no stress; add [question.stress]"
                )
    if len(asks) > 1 and any(ASKS[ask].by_person for ask in asks):
        yield "a written explanation is marked by a person; give it a question of its own"
    for part in scored:
        yield from _beside(part, table)


def _beside(part: Part, table: QuestionTable) -> Iterator[str]:
    """What a single part needs beside it: a reading, a blank."""
    wanted = ASKS[part.ask].needs_reading(part)
    if part.quantity == "epsilon" and (part.code or table.measured is None or table.measured.blank is None):
        yield (
            'epsilon needs [question.measured] with reading = "absorbance" and a blank, '
            "and is answered in the form"
        )
    elif wanted and (table.measured is None or table.measured.reading != wanted):
        yield f'{part.quantity} needs [question.measured], reading = "{wanted}"'


def _prompt(table: QuestionTable, parts: tuple[Part, ...]) -> Iterator[str]:
    """Every name in braces is a number of the question, or one that is computed."""
    allowed = set(table.numbers) | table.placeholders({part.quantity for part in parts})
    try:
        fields = list(Formatter().parse(table.prompt))
    except ValueError as error:
        yield f"prompt: {error}; write {{{{ and }}}} for braces that are meant as such"
        return
    for _, name, spec, conversion in fields:
        if name is None:
            continue
        if name in allowed and (spec or conversion):
            yield f"prompt: write {{{name}}} alone; numbers are shown as they stand in the file"
        if name not in allowed:
            known = near(name, sorted(allowed)) if allowed else "; the question has no numbers"
            yield f"prompt: {{{name}}} is not one of the question's numbers{known}"


def _chemistry(table: QuestionTable, parts: tuple[Part, ...]) -> Iterator[str]:
    """Put the middle numbers in: constants, formulas, amounts and the stress can be used. Nothing is solved
    yet.
    """
    numbers = {name: float(span.value(span.choices // 2)) for name, span in table.numbers.items()}
    measured = table.measured
    if measured is not None and measured.of_mixture and table.start is None and table.found is None:
        yield ", measured: there is no mixture to read; add [question.start]"
        return
    given = measured is None or measured.reading != "temperatures" or measured.K1 is not None
    if not given and table.found is None:
        yield ", measured: K1 is missing; add a line K1 = ..."
        return
    reactions = table.reactions_for(numbers)
    for reaction in reactions:
        reaction.require_balanced()
    stress = table.stress_for(numbers)
    if stress is not None and stress.kind == "heat_to" and reactions and reactions[0].dH is None:
        yield (
            f"stress heat_to: whether {reactions[0]} gives out heat is not known; add dH_kJ to that reaction"
        )
    table.portions(numbers)
    if all(reaction.has_K for reaction in reactions):
        mixture = table.mixture(reactions, numbers)
        if mixture is not None and reactions:
            yield from _absent(table, parts, reactions, mixture, stress)
    elif measured is not None and measured.of_mixture:
        yield "the reading is made with K; give every reaction its K"
    for part in parts:
        fault = ASKS[part.ask].unit_fault(part, reactions[0] if reactions else None)
        if fault:
            yield f"part {part.id!r}: {fault}"


def _absent(
    table: QuestionTable,
    parts: tuple[Part, ...],
    reactions: tuple[Reaction, ...],
    mixture: Mixture,
    stress: Stress | None,
) -> Iterator[str]:
    """What is read or asked about but can never be in the mixture: a slip in a formula would make it 0."""
    there = {name for reaction in reactions for name in reaction.coefficients} | set(mixture.totals)
    there |= set(dissolved(dict(stress.amounts))) if stress is not None else set()
    wanted = {part.species: f"part {part.id!r}" for part in parts if part.species}
    if table.measured is not None and table.measured.species:
        wanted[table.measured.species] = "measured"
    for name, where in wanted.items():
        if name not in there:
            yield f"{where}: {name} is not in this mixture{near(name, sorted(there))}"


_OF_FILE = (_ids, _sources, _number_names, _asked)
_OF_CHEMISTRY = (_chemistry, _prompt)
