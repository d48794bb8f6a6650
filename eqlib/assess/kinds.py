"""The vocabulary of the assess room: what is asked, of whom, and what the chemistry says.

``Part``     one thing a question asks for (one row of its form).
``Problem``  one part as one student meets it: their numbers and the computed chemistry. Mistakes are
functions of it.
``Outcome``  everything the chemistry says about one student's copy of a question.

All are frozen, so that a mark depends only on a question, an answer and a student.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Any

#: How a part is filled in (which control a form shows, which reader reads it).
PART_KINDS = ("choice", "number", "text", "table", "order", "equation", "expression")

#: What a part asks -> the kind of control it is filled in with.
ASKS = {
    "direction": "choice",  # forward | reverse | none, of the mixture's first reaction
    "seen": "choice",  # darker | paler | same
    "precipitate": "choice",  # yes | no: is there more solid after the change than before?
    "K": "choice",  # larger | smaller | same
    "change": "choice",  # higher | lower | same, of the concentration of ``species``
    "rate": "choice",  # up | down | same | zero: a rate (``side``) beside what it was before the change
    "graph": "choice",  # falls | rises | level | stops: how a rate runs until equilibrium
    "bound": "choice",  # which of the named species the added one takes out of the first reaction
    "cause": "choice",  # which of the named species, added together, makes the first reaction shift
    "reason": "choice",  # a sound reason or a misconception id (see reasons.py)
    "confidence": "choice",  # never scored
    "number": "number",  # the number named by ``quantity``
    "ice": "table",  # rows initial, change, equilibrium; one column a species; mol/L
    "equation": "equation",  # the balanced equation of ``skeleton``
    "expression": "expression",  # the equilibrium expression of the first reaction
    "order": "order",  # labels of ``items`` in order
    "speed": "order",  # labels of ``items``, fastest first, from the times measured
    "explain": "text",  # read by a person, against ``rubric``
}

#: The numbers that can be asked for: ``quantity`` -> (usual unit, meaning).
QUANTITIES = {
    "K": ("", "equilibrium constant (Kc) worked out from what was measured"),
    "Kp": ("", "Kp (bar, standard state 1 bar) from a Kc"),
    "Q": ("", "reaction quotient at the moment given by ``when``"),
    "concentration": ("mol/L", "concentration of ``species`` at the moment given by ``when``"),
    "extent": ("mol/L", "x, how far the first reaction went, per litre"),
    "absorbance": ("", "absorbance of the mixture at the moment given by ``when``"),
    "dH": ("kJ/mol", "reaction enthalpy from K at two temperatures"),
    "epsilon": ("L/(mol cm)", "absorptivity from a standard whose reactant runs out (nearly) completely"),
    "mean": ("", "mean of the repeated results under [question.measured]"),
    "s": ("", "standard deviation of those results, with n - 1"),
    "n": ("", "how many results there are"),
}

#: Moments of a disturbed mixture. ``mixed``: after mixing, before any reaction.
MOMENTS = ("mixed", "before", "at_once", "after")

ICE_ROWS = ("initial", "change", "equilibrium")


def _nothing() -> Mapping[str, Any]:
    """An empty mapping that nobody can write to."""
    return MappingProxyType({})


@dataclass(frozen=True)
class Part:
    """One thing asked. ``kind`` is one of PART_KINDS, ``ask`` one of ASKS.

    ``options`` are (value, label) pairs of a choice (and, for an order, the labels to put in order).
    ``columns`` are the species of a table, by canonical name. ``tolerance`` is relative; None takes the
    policy's.
    ``side`` is whose rate is asked, "forward" or "reverse".
    ``figures`` is (fewest, most) significant figures expected, or None for the policy's. ``weight`` is
    relative to the question's other parts; 0 is never scored.
    """

    id: str
    kind: str
    ask: str
    label: str
    options: tuple[tuple[str, str], ...] = ()
    unit: str = ""
    weight: float = 1.0
    help: str = ""
    quantity: str = ""
    species: str = ""
    when: str = ""
    columns: tuple[str, ...] = ()
    tolerance: float | None = None
    figures: tuple[int, int] | None = None
    rubric: tuple[str, ...] = ()
    skeleton: str = ""
    items: tuple[Any, ...] = ()
    code: bool = False
    side: str = ""

    @property
    def scored(self) -> bool:
        """Does this part earn points?"""
        return self.weight > 0 and self.ask != "confidence"


@dataclass(frozen=True)
class Portion:
    """One solution poured in: ``concentrations`` (species -> mol/L in its bottle) and ``volume`` (L). Water
    has none.
    """

    concentrations: Mapping[str, float]
    volume: float


@dataclass(frozen=True)
class Problem:
    """One part as one student meets it.

    Concentrations are mol/L by canonical species name, aqueous and gaseous species together.
    ``portions``   what was poured together to make the start (empty when the start is given as totals).
    ``mixed``      concentrations after mixing, before any reaction (row I of the ICE table).
    ``before``     at equilibrium, before the stress.  ``at_once``  just after it.  ``after``  at the new
    equilibrium.
    ``equilibrium`` the concentrations that go into K for this question (from what was measured, where
    something was).
    ``measured``   readings by name: "absorbance", "epsilon", "path", "blank", "nm"; or "concentration"; or
                   "K1", "T1", "K2", "T2" (kelvin); or "run1", "run2" ... (repeated results).
                   ``observed`` is the species the reading belongs to.
    ``expected``   the right value of this part.  ``answers`` the student's other readable parts (part id ->
    value).
    ``stress``     an eqlib.chem stress, or None.  ``disturbance`` what it did, or None.
    ``look``       the change of appearance (an eqlib.lab Look), where the question asks for it.
    ``parts``      all parts of the question, so that a mistake can look at the student's own earlier value.
    """

    question: str
    part: Part
    expected: Any
    numbers: Mapping[str, float] = field(default_factory=_nothing)
    reactions: tuple[Any, ...] = ()
    portions: tuple[Portion, ...] = ()
    volume: float = 0.0
    temperature: float = 298.15
    mixed: Mapping[str, float] = field(default_factory=_nothing)
    before: Mapping[str, float] = field(default_factory=_nothing)
    at_once: Mapping[str, float] = field(default_factory=_nothing)
    after: Mapping[str, float] = field(default_factory=_nothing)
    equilibrium: Mapping[str, float] = field(default_factory=_nothing)
    measured: Mapping[str, float] = field(default_factory=_nothing)
    observed: str = ""
    extent: float | None = None
    stress: Any = None
    disturbance: Any = None
    look: Any = None
    answers: Mapping[str, Any] = field(default_factory=_nothing)
    parts: tuple[Part, ...] = ()

    @property
    def reaction(self):
        """The first reaction: the one a direction, Q, K or ICE table is about."""
        return self.reactions[0]


@dataclass(frozen=True)
class Outcome:
    """What the chemistry says about one student's copy of a question.

    ``expected``: part id -> right value (parts a person marks have none). ``states``: moment -> eqlib State.
    ``working`` is markdown; ``cautions`` are the catalogue's, for the reagents named.
    """

    expected: Mapping[str, Any]
    problem: Problem | None = None
    disturbance: Any = None
    states: Mapping[str, Any] = field(default_factory=dict)
    working: str = ""
    cautions: tuple[str, ...] = ()
