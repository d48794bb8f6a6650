"""Choose the rule: one sentence that gets every case right. Each rule is tried on each case by the engine.

A rule says which way the first reaction goes after a change; right is the one that agrees with what happens
in all cases of the question.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from functools import lru_cache
from typing import TYPE_CHECKING, Any, Literal, NamedTuple

from pydantic import field_validator

from eqlib.assess import feedback
from eqlib.assess.asks.base import SAME, Answered, Ask, OptionsTable, Part, Verdict, shuffled
from eqlib.assess.asks.shift import added_species
from eqlib.assess.mistakes import Suspect
from eqlib.assess.reading.plain import Reading
from eqlib.assess.setting import StressTable
from eqlib.assess.tables import Table, near
from eqlib.chem.disturb import Disturbance, disturb
from eqlib.chem.reactions import Reaction
from eqlib.writing import number

if TYPE_CHECKING:
    from eqlib.assess.case import Case
    from eqlib.assess.question import Policy


class RuleCase(Table):
    """One case: what is done to the start mixture."""

    label: str
    stress: StressTable


class Rule(NamedTuple):
    """A rule in words, which way it says, and the misconception it comes from ("" for a sound one)."""

    words: str
    says: Callable[[Disturbance], str]
    mistake: str = ""


def _compare(d: Disturbance) -> str:
    ratio = d.Q / d.K
    return "forward" if ratio < 1 / (1 + SAME) else "reverse" if ratio > 1 + SAME else "none"


def _first(d: Disturbance) -> Reaction:
    return d.before.reactions[0]


def _named(d: Disturbance) -> set[str]:
    """What of the first reaction was brought in or taken out."""
    return set(added_species(d.stress)) & set(_first(d).coefficients)


def _more_forward(d: Disturbance) -> str:
    """By the side of what was brought in; what was taken out is not more of anything."""
    signs = [] if d.stress.kind == "remove" else [_first(d).coefficients[name] for name in _named(d)]
    return "forward" if any(nu < 0 for nu in signs) else "reverse" if signs else "none"


def _fewer_gas(d: Disturbance) -> str:
    """More gas or less room: to the side with fewer gas molecules; more room: to the other."""
    gases = sum(float(nu) for name, nu in _first(d).coefficients.items() if name.endswith("(g)"))
    kind = d.stress.kind
    more = kind in ("add", "add_inert") or (kind == "change_volume" and d.after.volume < d.before.volume)
    less = kind in ("remove", "dilute") or (kind == "change_volume" and not more)
    if not gases or not (more or less):
        return "none"
    return "forward" if (gases < 0) is more else "reverse"


def _heat_forward(d: Disturbance) -> str:
    if d.stress.kind != "heat_to":
        return _compare(d)
    return "forward" if d.after.T > d.before.T else "reverse"


def _not_reacting(d: Disturbance) -> str:
    """What takes no part itself does nothing; otherwise compare."""
    return "none" if d.stress.amounts and not _named(d) else _compare(d)


def _binds_there(d: Disturbance) -> str:
    """What is added acts where another reaction ties up a species of the first one; else compare."""
    first, added = _first(d).coefficients, set(added_species(d.stress))
    rivals = [r.coefficients for r in d.before.reactions[1:] if added & set(r.coefficients)]
    bound = [first[name] for names in rivals for name in names if name in first]
    if _named(d) or not bound:
        return _compare(d)
    return "reverse" if bound[0] < 0 else "forward"


def _any_rival(d: Disturbance) -> str:
    return _more_forward(d) if _named(d) else "reverse"


RULES = {
    "compare_q": Rule(
        "Work out Q right after the change, and compare it with K at the temperature there is then.",
        _compare,
    ),
    "binds_there": Rule(
        "What brings a reactant goes to products, what ties one up to reactants; for the rest only the "
        "dilution counts.",
        _binds_there,
    ),
    "more_always_right": Rule(
        "More of a reactant goes to products, more of a product to reactants; anything else does nothing.",
        _more_forward,
        "more_always_right",
    ),
    "only_named": Rule(
        "Only what stands in the equation can do anything: a reactant goes to products, a product to "
        "reactants.",
        _more_forward,
        "not_in_equation",
    ),
    "any_rival": Rule(
        "What stands in the equation acts as it always does; whatever does not sends it to reactants.",
        _any_rival,
        "wrong_target",
    ),
    "fewer_gas": Rule(
        "More gas in the vessel, or less room, goes to the side with fewer gas molecules.",
        _fewer_gas,
    ),
    "heat_forward": Rule(
        "Heating always goes to products; for everything else compare Q with K.",
        _heat_forward,
        "heat_is_forward",
    ),
    "not_reacting": Rule(
        "What does not react can do nothing; for everything else compare Q with K.",
        _not_reacting,
        "inert_const_p",
    ),
}


class RuleTable(OptionsTable):
    ask: Literal["rule"]
    items: tuple[RuleCase, ...]

    @field_validator("options")
    @classmethod
    def _known(cls, given: tuple[str, ...]) -> tuple[str, ...]:
        for name in given:
            if name not in RULES:
                raise ValueError(f"holds {name!r}{near(name, RULES)}")
        return given

    @field_validator("items")
    @classmethod
    def _several(cls, given: tuple[RuleCase, ...]) -> tuple[RuleCase, ...]:
        if len(given) < 2:
            raise ValueError("needs at least two cases")
        return given


class RuleAsked(Ask):
    """A rule among several; right is the one that the engine finds true in every case."""

    Table = RuleTable
    label = "Which rule gets all of these cases right?"
    keys = ("items",)

    def options(self, table: RuleTable, question: str) -> tuple[tuple[str, str], ...]:
        return tuple((name, RULES[name].words) for name in shuffled(question, table.options))

    def expected(self, part: Part, case: Case, own: Mapping[str, Any]) -> str | None:
        return next(iter(self._right(part, case)), None)

    def _right(self, part: Part, case: Case) -> list[str]:
        names = [name for name, _ in part.options]
        tried = cases(part, case)
        return [name for name in names if all(RULES[name].says(d) == d.direction for _, d in tried)]

    def suspects(self, part: Part, case: Case, said: Mapping[str, Any]) -> list[Suspect]:
        return [Suspect(RULES[n].mistake, n, "rule") for n, _ in part.options if RULES[n].mistake]

    def doubts(self, part: Part, case: Case) -> Iterator[str]:
        right = self._right(part, case)
        if len(right) != 1:
            yield f"{len(right)} rules of {part.id!r} get all cases right ({', '.join(right)}); one must"

    def judge(self, part: Part, case: Case, reading: Reading, answered: Answered, policy: Policy) -> Verdict:
        """A wrong rule is met with a case that it fails in."""
        verdict = super().judge(part, case, reading, answered, policy)
        failed = self._failed(part, case, reading.value)
        if verdict.share or failed is None:
            return verdict
        label, says, _ = failed
        return replace(verdict, said=feedback.RULE_FAILS.format(case=label, way=says))

    def _failed(self, part: Part, case: Case, rule: str) -> tuple[str, str, str] | None:
        """The first case that ``rule`` gets wrong: its label, what the rule says, what happens."""
        for label, d in cases(part, case):
            if (says := RULES[rule].says(d)) != d.direction:
                return label, WAY[says], WAY[d.direction]
        return None

    def answer_to(self, part: Part, case: Case, said: Any) -> str:
        """The case in which a wrong rule fails, then all of them."""
        failed = self._failed(part, case, said) if said in RULES else None
        if failed is None:
            return self.because(part, case)
        label, says, happens = failed
        return f"Try it on “{label}”: by this rule it would go {says}, but it goes {happens}."

    def worked(self, part: Part, case: Case) -> str:
        """The rule, and how Q stands beside K in each case (where no rival acts before Q says all)."""
        tried = cases(part, case)
        if any(len(d.before.reactions) > 1 for _, d in tried):
            return f"{super().worked(part, case)} In turn: {self.because(part, case)}"
        steps = (f"{label}: Q = {number(d.Q)}, K = {number(d.K)}, {WAY[d.direction]}" for label, d in tried)
        return f"{super().worked(part, case)} Right after each change: {'; '.join(steps)}."

    def because(self, part: Part, case: Case) -> str:
        """What happens in each of the cases."""
        return f"{'; '.join(f'{label}: {WAY[d.direction]}' for label, d in cases(part, case))}."


WAY = {"forward": "to products", "reverse": "to reactants", "none": "neither way"}


def cases(part: Part, case: Case) -> list[tuple[str, Disturbance]]:
    """(label, what happens) of every case."""
    return [
        (item.label, _happens(case.start, case.setting.stress_for(case.numbers, item.stress)))
        for item in part.items
    ]


@lru_cache(maxsize=512)
def _happens(mixture: Any, stress: Any) -> Disturbance:
    return disturb(mixture, stress)
