"""What every kind of asking shares: the part of a question, the keys it takes, how it is judged.

A kind of asking is one subclass of ``Ask`` in one file of this folder, and one line in ``asks/__init__.py``.
"""

from __future__ import annotations

import hashlib
import math
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import TYPE_CHECKING, Any, ClassVar

from pydantic import field_validator

from eqlib.assess import feedback
from eqlib.assess.mistakes import MISTAKES, Suspect
from eqlib.assess.reading.choices import read_choice
from eqlib.assess.reading.plain import Reading
from eqlib.assess.tables import Number, Table
from eqlib.chem.species import species as species_of

if TYPE_CHECKING:
    from eqlib.assess.question import Case, Policy
    from eqlib.chem.reactions import Reaction

ID = re.compile(r"[A-Za-z0-9][A-Za-z0-9_.-]{0,59}")
#: Moments of a disturbed mixture. ``mixed``: after mixing, before any reaction.
MOMENTS = ("mixed", "before", "at_once", "after")
#: A column of a table that is no species, and its unit.
CONSTANTS = {"Kc": "L/mol"}
ICE_ROWS = ("initial", "change", "equilibrium")
#: A value, a rate or a constant this close to another passes for the same.
SAME = 0.005
OPPOSITE = {"forward": "reverse", "reverse": "forward"}


class PartTable(Table):
    """The keys that every [[question.part]] takes."""

    ask: str
    id: str | None = None
    label: str | None = None
    help: str | None = None
    weight: Number = Decimal(1)

    @field_validator("id")
    @classmethod
    def _an_id(cls, given: str | None) -> str | None:
        if given is not None and not ID.fullmatch(given):
            raise ValueError(f"is {given!r}; write letters, digits, dots, dashes and underscores")
        return given

    @field_validator("weight")
    @classmethod
    def _some_weight(cls, given: Decimal) -> Decimal:
        if given < 0:
            raise ValueError(f"is {float(given):g}; write 0 or more")
        return given


class OptionsTable(PartTable):
    """A part whose answer is picked from a list in the file."""

    options: tuple[str, ...]
    _what: ClassVar[str] = "reasons"

    @field_validator("options")
    @classmethod
    def _some_options(cls, given: tuple[str, ...]) -> tuple[str, ...]:
        if len(set(given)) != len(given) or len(given) < 2:
            raise ValueError(f"needs at least two different {cls._what}")
        return given


# -- what is asked --------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Part:
    """One thing asked: one row of a form.

    ``ask`` says what is asked (a name in ``ASKS``), ``kind`` how it is filled in: choice, number, text,
    table, order, equation or expression. ``options`` are (value, label) pairs of a choice or an order.
    ``own_unit``: of a Kc asked without one (None: not known).
    ``columns`` are the species of a table (or Kc), ``rows`` its rows. ``tolerance`` is relative and
    ``figures`` (fewest, most) significant figures; None takes the policy's. ``weight`` is relative to the
    question's other parts; 0 is never scored. ``table`` is the part as the question file has it, with the
    keys of its own kind.
    """

    id: str
    kind: str
    ask: str
    label: str
    options: tuple[tuple[str, str], ...] = ()
    unit: str = ""
    own_unit: str | None = None
    weight: float = 1.0
    help: str = ""
    quantity: str = ""
    species: str = ""
    when: str = ""
    columns: tuple[str, ...] = ()
    rows: tuple[str, ...] = ICE_ROWS
    tolerance: float | None = None
    figures: tuple[int, int] | None = None
    rubric: tuple[str, ...] = ()
    skeleton: str = ""
    items: tuple[Any, ...] = ()
    code: bool = False
    side: str = ""
    table: Any = None

    @property
    def units(self) -> Mapping[str, str]:
        """The units of a table's columns, where they are not the table's own."""
        return {name: CONSTANTS[name] for name in self.columns if name in CONSTANTS}

    @property
    def scored(self) -> bool:
        """Does this part earn points?"""
        return self.weight > 0


@dataclass(frozen=True)
class Verdict:
    """How one part was judged. ``share`` of its points; ``note`` is right, carried, partly or wrong."""

    share: float
    note: str
    mistake: str | None = None
    said: str = ""
    figures_lost: bool = False


@dataclass(frozen=True)
class Answered:
    """What a student answered beside the part that is judged.

    ``said``: all readable parts, by id. ``earlier``: those before this one, to be carried forward.
    ``figures_spent``: the one deduction for figures has been made.
    """

    said: Mapping[str, Any]
    earlier: Mapping[str, Any]
    figures_spent: bool = False


class Ask:
    """One kind of asking. Subclasses say what is expected, how it is judged and what mistakes it can show."""

    kind: ClassVar[str] = "choice"
    Table: ClassVar[type[PartTable]] = PartTable
    label: ClassVar[str] = ""
    #: Its short name, in a row of a form; "": the label.
    legend: ClassVar[str] = ""
    help: ClassVar[str] = ""
    choices: ClassVar[tuple[tuple[str, str], ...]] = ()
    #: Other keys of the table that go into the Part as they are.
    keys: ClassVar[tuple[str, ...]] = ()
    #: Is there a right answer only where the question has a reaction, and where something is done to it?
    of_chemistry: ClassVar[bool] = True
    of_change: ClassVar[bool] = False
    #: How a student meets the options: "listed", as they stand; "shuffled", in an order of their own, so that
    #: no place is the right one for a whole class; "ranked", in natural order, from one end or the other.
    order: ClassVar[str] = "listed"
    #: Is there a right value, and is it computed? Or is it a person who gives the points?
    computed: ClassVar[bool] = True
    by_person: ClassVar[bool] = False
    #: Is the change of appearance needed for its right value?
    needs_look: ClassVar[bool] = False
    #: A question for a wrong answer that no known idea leads to.
    think_of: ClassVar[str] = ""

    def needs_stress(self, part: Part) -> bool:
        """Does the part ask what a change does?"""
        return self.of_change

    def needs_reaction(self, part: Part) -> bool:
        """Is there a right answer only where the question has a reaction?"""
        return self.of_chemistry

    def needs_reading(self, part: Part) -> str:
        """The reading under [question.measured] without which it has no answer, or ""."""
        return ""

    def part(self, table: Any, question: str) -> Part:
        """The Part of its table in the file. ``question`` is the id that shuffles the options."""
        settings = {key: getattr(table, key) for key in self.keys}
        made = Part(
            id=table.id or self.default_id(table),
            kind=self.kind,
            ask=table.ask,
            label="",
            options=self.options(table, question),
            weight=float(table.weight),
            help=self.help if table.help is None else table.help,
            table=table,
            **settings,
        )
        return self.finished(made, table)

    def finished(self, part: Part, table: Any) -> Part:
        """The part with its label, once all else is known."""
        return replace(part, label=table.label or self.label_of(part))

    def of_reaction(self, part: Part, reaction: Reaction) -> Part:
        """The part with what it has from the question's first reaction."""
        return part

    def unit_fault(self, part: Part, reaction: Reaction | None) -> str:
        """What is wrong with the unit it is asked in, with one that would do; "" when nothing is."""
        return ""

    def default_id(self, table: Any) -> str:
        """The part's id where the file gives none."""
        return str(table.ask)

    def label_of(self, part: Part) -> str:
        """The usual wording."""
        return self.label

    def legend_of(self, part: Part) -> str:
        """The short name of a part, as it stands in its row."""
        return self.legend or part.label

    def options(self, table: Any, question: str) -> tuple[tuple[str, str], ...]:
        """(value, label) pairs to choose from."""
        return self.choices

    def read(self, part: Part, raw: Any, species: tuple[str, ...]) -> Reading:
        """An answer as read. ``species``: those of the reaction, for an expression. Raises Unreadable."""
        return read_choice(raw, part.options)

    def expected(self, part: Part, case: Case, own: Mapping[str, Any]) -> Any:
        """The right value; ``own`` holds earlier values of the student's, by part id, to go on from."""
        raise NotImplementedError

    def judge(self, part: Part, case: Case, reading: Reading, answered: Answered, policy: Policy) -> Verdict:
        """Right, right from one's own earlier value, or wrong and perhaps consistent with a known idea."""
        if reading.value == case.expected.get(part.id):
            return Verdict(1.0, "right")
        if self.carries(part, case, reading.value, answered.earlier):
            return Verdict(1.0, "carried")
        found = (s.mistake for s in self.suspects(part, case, answered.said) if s.value == reading.value)
        return Verdict(0.0, "wrong", next(found, None))

    def carries(self, part: Part, case: Case, value: Any, own: Mapping[str, Any]) -> bool:
        """Is ``value`` right going on from the student's own earlier values?"""
        return False

    def suspects(self, part: Part, case: Case, said: Mapping[str, Any]) -> list[Suspect]:
        """What each known mistake would answer, likeliest first. ``said``: the student's other parts."""
        right = case.expected.get(part.id)
        found = [(self.idea(part, case, value, said), value) for value, _ in part.options if value != right]
        return [Suspect(mistake, value) for mistake, value in found if mistake]

    def idea(self, part: Part, case: Case, value: Any, said: Mapping[str, Any]) -> str | None:
        """The known mistake that leads to a wrong choice; an option named after one says it."""
        return value if value in MISTAKES else None

    def doubts(self, part: Part, case: Case) -> Iterator[str]:
        """What makes this part ill posed with these numbers, one line each."""
        return iter(())

    def if_went(self, part: Part, case: Case, way: str) -> set[str]:
        """The answers that go with the first reaction going ``way``."""
        return set()

    def not_yet(self, part: Part) -> str:
        """What is said of a wrong answer that no known idea leads to."""
        if part.kind == "number":
            return feedback.NOT_YET_NUMBER
        helps = f" A question that may help: {self.think_of}" if self.think_of else ""
        return f"{feedback.NOT_YET}{helps}"

    def words(self, part: Part, case: Case, value: Any) -> str:
        """A value of this part as a sentence's object: what was said, or what happens."""
        return dict(part.options).get(value, str(value))

    def worked(self, part: Part, case: Case) -> str:
        """One line of the worked solution, "label: **answer**", or "" where it stands elsewhere."""
        value = case.expected.get(part.id)
        return "" if value is None else f"{part.label.rstrip('?:. ')}: **{self.words(part, case, value)}**"

    def answer_to(self, part: Part, case: Case, said: Any) -> str:
        """What the mixture says to the choice ``said``."""
        return self.because(part, case)

    def because(self, part: Part, case: Case) -> str:
        """What the mixture says to this part, with its numbers; "" where the events tell it."""
        return ""


class Picked(Ask):
    """One of the options that the file lists by name; none is marked as right there."""

    order = "shuffled"

    def options(self, table: Any, question: str) -> tuple[tuple[str, str], ...]:
        return tuple((name, self.said_as(name)) for name in shuffled(question, table.options))

    def said_as(self, name: str) -> str:
        """The words of an option."""
        raise NotImplementedError

    def expected(self, part: Part, case: Case, own: Mapping[str, Any]) -> str | None:
        """The one option that holds. (``eqlib check`` refuses a question with none or several.)"""
        return next(iter(self.holding(part, case)), None)

    def holding(self, part: Part, case: Case) -> Sequence[str]:
        """The options that the mixture of the student's own numbers confirms."""
        raise NotImplementedError


def shuffled(question: str, names: Iterable[str]) -> list[str]:
    """The options in an order that depends only on the question: the file's order gives nothing away."""
    return sorted(names, key=lambda name: hashlib.sha256(f"{question}/{name}".encode()).digest())


def in_unicode(name: str) -> str:
    """A species with real sub- and superscripts; a constant as it is."""
    return name if name in CONSTANTS else species_of(name).unicode


def close(value: float, expected: float, relative: float) -> bool:
    """Is ``value`` within a relative distance of ``expected``? (For 0: within 1e-12.)"""
    return math.isfinite(expected) and abs(value - expected) <= relative * abs(expected) * (
        1 + 1e-9
    ) + 1e-300 + (1e-12 if expected == 0 else 0.0)


def beside(now: float, before: float, least: float = SAME) -> str:
    """ "up", "down" or "same": a value beside what it was."""
    return "up" if now > before * (1 + least) else "down" if now < before / (1 + least) else "same"


def in_order(said: Sequence[str], expected: Sequence[str]) -> float:
    """1 for the right order, else the share of pairs in order beyond what chance gives."""
    if list(said) == list(expected):
        return 1.0
    place = {label: number for number, label in enumerate(expected)}
    if sorted(said) != sorted(place):
        return 0.0
    pairs = [(place[a], place[b]) for n, a in enumerate(said) for b in said[n + 1 :]]
    return max(0.0, 2.0 * sum(a < b for a, b in pairs) / len(pairs) - 1.0)
