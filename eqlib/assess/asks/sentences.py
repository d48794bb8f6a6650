"""One sentence of several: what is true of a finished mixture, which root is its x, which rule holds in all
cases.

As with reasons, options are named and none is marked as right: a sentence is right when the mixture of the
student's own numbers says so, and what a misconception says never is. A rule says which way the first
reaction goes after a change; right is the one that the engine finds true in all cases of the question.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import lru_cache
from typing import TYPE_CHECKING, Any, ClassVar, Literal, NamedTuple

import numpy as np
from pydantic import field_validator

from eqlib.assess import feedback
from eqlib.assess.asks.base import (
    Answered,
    Ask,
    OptionsTable,
    Part,
    Picked,
    Verdict,
    close,
    in_unicode,
)
from eqlib.assess.asks.rates import rate_ratio
from eqlib.assess.asks.shift import added_species, way_of
from eqlib.assess.reading.plain import Reading
from eqlib.assess.setting import StressTable
from eqlib.assess.tables import Table, near
from eqlib.chem.disturb import Disturbance, disturb
from eqlib.chem.ice import FIVE_PERCENT, SmallX, ice
from eqlib.writing import number

if TYPE_CHECKING:
    from eqlib.assess.question import Case, Policy


class Sentence(NamedTuple):
    """Something to say about a mixture, whether it holds, and why."""

    words: str
    holds: Callable[[Case], bool]
    why: str = ""


def _nothing_missing(case: Case) -> bool:
    return all(case.before.get(name, 0.0) > 0 for name in case.reaction.quotient_species)


def _solid_over_solution(case: Case) -> bool:
    """Is a solid of the first reaction there beside what it dissolves to?"""
    solids = [name for name in case.reaction.coefficients if name.endswith("(s)")]
    there = case.states["before"].solids
    return any(there.get(name, 0.0) > 0 for name in solids) and _nothing_missing(case)


def small_x_share(case: Case) -> float:
    """x of the short cut that leaves x out, over the smallest amount it was neglected beside."""
    short = _short_cut(case)
    return float("inf") if short is None else short.largest_share


def _short_cut(case: Case) -> SmallX | None:
    start = {name: c for name, c in case.mixed.items() if name in case.reaction.coefficients}
    return ice(case.reaction, start).small_x


def _last_row(case: Case) -> bool:
    return min(case.before.values()) >= 0 and close(
        case.reaction.quotient(case.before), case.reaction.require_K(), 1e-6
    )


TRUE = {
    "rates_equal": Sentence(
        "Both reactions go on, and equally fast, so that no amount changes.",
        _nothing_missing,
        "As many particles form in each moment as fall apart again, so every amount stays, and none is 0.",
    ),
    "label_everywhere": Sentence(
        "In the solid and in the solution: ions keep leaving the one and joining the other.",
        _solid_over_solution,
        "In each moment as many ions leave the solid as join it: no amount changes, yet the particles change "
        "places, so a label spreads over the solid and the solution.",
    ),
    "small_x_fine": Sentence(
        "It was allowed: x comes out at 5 % or less of what it was left out beside.",
        lambda case: small_x_share(case) <= FIVE_PERCENT,
    ),
    "small_x_fails": Sentence(
        "It was not allowed: x comes out at more than 5 % of what it was left out beside.",
        lambda case: small_x_share(case) > FIVE_PERCENT,
    ),
    "last_row": Sentence(
        "Nothing in it is negative, and put into the expression for K it gives K.", _last_row
    ),
}
#: What a misconception says of such a mixture (ids as in mistakes.toml).
FALSE = {
    "static_stop": "Nothing happens any more: what is in one place or one form stays there.",
    "equal_amounts": "There is as much product as there is reactant.",
    "fwd_rate_grows": "The forward reaction is at its fastest now.",
    "goes_complete": "One of the reactants has been used up.",
    "solid_shifts": "All of it has gone into the solution, because more solid means more dissolved.",
    "unchecked_small_x": "It is always allowed with so small a K.",
    "initial_as_eq": "It was not needed: the first row can be put into K as it is.",
    "change_coeff": "The changes in the row above it are all equally large.",
    "full_cancel": "What was poured in is there again at the end.",
}


class _KnownTable(OptionsTable):
    """Options out of those that ``known`` names."""

    known: ClassVar[tuple[str, ...]]

    @field_validator("options")
    @classmethod
    def _of_the_known(cls, given: tuple[str, ...]) -> tuple[str, ...]:
        for name in given:
            if name not in cls.known:
                raise ValueError(f"holds {name!r}{near(name, cls.known)}")
        return given


class TrueTable(_KnownTable):
    ask: Literal["true"]
    known = (*TRUE, *FALSE)


class True_(Picked):
    """A sentence about the finished mixture; right is the one that it confirms."""

    Table = TrueTable
    label = "Which sentence is true?"

    def said_as(self, name: str) -> str:
        return TRUE[name].words if name in TRUE else FALSE[name]

    def holding(self, part: Part, case: Case) -> Sequence[str]:
        return [name for name, _ in part.options if name in TRUE and TRUE[name].holds(case)]

    def because(self, part: Part, case: Case) -> str:
        right = case.expected.get(part.id)
        return TRUE[right].why if right in TRUE else ""

    def answer_to(self, part: Part, case: Case, said: Any) -> str:
        """The sentence held against the numbers of this mixture, where it speaks of amounts."""
        names = [name for name in case.reaction.quotient_species if name in case.before]
        found = ", ".join(f"[{in_unicode(name)}] = {number(case.before[name])}" for name in names) + " mol/L"
        if said == "equal_amounts":
            return f"Here {found}: constant, and not equal."
        if said == "goes_complete" and _nothing_missing(case):
            return f"Here {found}: none of them is 0."
        if said == "fwd_rate_grows" and rate_ratio(case, "forward", case.mixed, case.before) < 1:
            return "It was fastest at the start, and has become slower since, for its reactants became less."
        return self.because(part, case)

    def worked(self, part: Part, case: Case) -> str:
        said = [super().worked(part, case), self.because(part, case)]
        if str(case.expected.get(part.id)).startswith("small_x"):
            short = _short_cut(case)
            if short is not None:
                x, share = number(short.extent), number(100 * short.largest_share)
                said.append(f"With x left out, x = {x} mol/L: {share} % of what it was left out beside.")
        return " ".join(filter(None, said))

    def idea(self, part: Part, case: Case, value: Any, said: Mapping[str, Any]) -> str | None:
        unchecked = value == "small_x_fine" and case.expected.get(part.id) == "small_x_fails"
        return "unchecked_small_x" if unchecked else super().idea(part, case, value, said)

    def doubts(self, part: Part, case: Case) -> Iterator[str]:
        holding = self.holding(part, case)
        if len(holding) != 1:
            yield f"{len(holding)} of the sentences of {part.id!r} are true; exactly one must be"
        if {"small_x_fine", "small_x_fails"} & dict(part.options).keys():
            share = small_x_share(case)
            if abs(share / FIVE_PERCENT - 1) < 0.1:
                yield f"x is {100 * share:.1f} %, at the edge of the 5 % rule; choose other numbers"


# -- the root -------------------------------------------------------------------------------------------


def real_roots(case: Case) -> list[float]:
    """The real roots x of K = Q(x) for the first reaction from ``mixed``, in ascending order."""
    top, bottom = np.poly1d([1.0]), np.poly1d([case.reaction.require_K()])
    scale = max(case.mixed.get(name, 0.0) for name in case.reaction.quotient_species)
    for name, nu in case.reaction.quotient_species.items():
        column = np.poly1d([float(nu) * scale, case.mixed.get(name, 0.0)]) ** int(abs(float(nu)))
        top, bottom = (top * column, bottom) if nu > 0 else (top, bottom * column)
    roots = (top - bottom).roots
    return sorted(float(root.real) * scale for root in roots if abs(root.imag) < 1e-9 * (1 + abs(root)))


class Root(Ask):
    """smaller | larger | either | neither: which root of the quadratic equation is the x of the table."""

    label = "The quadratic equation has two roots. Which of them is x?"
    choices = (
        ("either", "either: both solve the equation"),
        ("smaller", "the smaller one"),
        ("larger", "the larger one"),
        ("neither", "neither, but their mean"),
    )

    def expected(self, part: Part, case: Case, own: Mapping[str, Any]) -> str:
        roots = real_roots(case)
        nearest = min(range(len(roots)), key=lambda i: abs(roots[i] - (case.extent or 0.0)))
        return "smaller" if nearest == 0 else "larger"

    def idea(self, part: Part, case: Case, value: Any, said: Mapping[str, Any]) -> str | None:
        """An impossible root was not thrown out."""
        return "unchecked_small_x"

    def doubts(self, part: Part, case: Case) -> Iterator[str]:
        roots = real_roots(case)
        if len(roots) != 2:
            yield f"the equation has {len(roots)} real roots; ask for the root of a quadratic equation"
            return
        for root in roots:
            row = [
                case.mixed.get(n, 0.0) + float(nu) * root for n, nu in case.reaction.quotient_species.items()
            ]
            if min(row) >= 0 and not close(root, case.extent or 0.0, 1e-6):
                yield "both roots are possible mixtures; choose other numbers"


# -- the rule -------------------------------------------------------------------------------------------


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
    return way_of(d.Q, d.K)


def _named(d: Disturbance) -> set[str]:
    """What of the first reaction was brought in or taken out."""
    return set(added_species(d.stress)) & set(d.reaction.coefficients)


def _more_forward(d: Disturbance) -> str:
    """By the side of what was brought in; what was taken out is not more of anything."""
    signs = [] if d.stress.kind == "remove" else [d.reaction.coefficients[name] for name in _named(d)]
    return "forward" if any(nu < 0 for nu in signs) else "reverse" if signs else "none"


def _fewer_gas(d: Disturbance) -> str:
    """More gas or less room: to the side with fewer gas molecules; more room: to the other."""
    gases = sum(float(nu) for name, nu in d.reaction.coefficients.items() if name.endswith("(g)"))
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
    first, added = d.reaction.coefficients, set(added_species(d.stress))
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


class RuleTable(_KnownTable):
    ask: Literal["rule"]
    items: tuple[RuleCase, ...]
    known = tuple(RULES)

    @field_validator("items")
    @classmethod
    def _several(cls, given: tuple[RuleCase, ...]) -> tuple[RuleCase, ...]:
        if len(given) < 2:
            raise ValueError("needs at least two cases")
        return given


class RuleAsked(Picked):
    """A rule among several; right is the one that the engine finds true in every case."""

    Table = RuleTable
    label = "Which rule gets all of these cases right?"
    keys = ("items",)

    def said_as(self, name: str) -> str:
        return RULES[name].words

    def holding(self, part: Part, case: Case) -> Sequence[str]:
        tried = cases(part, case)
        return [n for n, _ in part.options if all(RULES[n].says(d) == d.direction for _, d in tried)]

    def idea(self, part: Part, case: Case, value: Any, said: Mapping[str, Any]) -> str | None:
        return RULES[value].mistake or None

    def doubts(self, part: Part, case: Case) -> Iterator[str]:
        right = self.holding(part, case)
        if len(right) != 1:
            yield f"{len(right)} rules of {part.id!r} get all cases right ({', '.join(right)}); one must"

    def judge(self, part: Part, case: Case, reading: Reading, answered: Answered, policy: Policy) -> Verdict:
        """A wrong rule is met with a case that it fails in."""
        verdict = super().judge(part, case, reading, answered, policy)
        failed = self._failed(part, case, reading.value)
        if verdict.share or not failed:
            return verdict
        return replace(verdict, said=feedback.RULE_FAILS.format(case=failed[0], way=failed[1]))

    def _failed(self, part: Part, case: Case, rule: str) -> tuple[str, ...]:
        """The first case that ``rule`` gets wrong: its label, what the rule says, what happens. Else ()."""
        tried = ((label, RULES[rule].says(d), d.direction) for label, d in cases(part, case))
        return next(((label, WAY[says], WAY[way]) for label, says, way in tried if says != way), ())

    def answer_to(self, part: Part, case: Case, said: Any) -> str:
        """The case in which a wrong rule fails, then all of them."""
        if said not in RULES or not (failed := self._failed(part, case, said)):
            return self.because(part, case)
        return "Try it on “{}”: by this rule it would go {}, but it goes {}.".format(*failed)

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
