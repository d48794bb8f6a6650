"""What is true of a mixture that has come to equilibrium: a sentence about it, and which root is its x.

As with reasons, options are named and none is marked as right: a sentence is right when the mixture of the
student's own numbers says so, and what a misconception says never is.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from typing import TYPE_CHECKING, Any, Literal, NamedTuple

import numpy as np
from pydantic import field_validator

from eqlib.assess.asks.base import Ask, OptionsTable, Part, PartTable, close, in_unicode, shuffled
from eqlib.assess.asks.rates import rate_ratio
from eqlib.assess.mistakes import MISTAKES, Suspect
from eqlib.assess.tables import near
from eqlib.chem.ice import FIVE_PERCENT, SmallX, ice
from eqlib.writing import number

if TYPE_CHECKING:
    from eqlib.assess.case import Case


class Sentence(NamedTuple):
    """Something to say about a finished mixture, whether it holds, and why."""

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


class TrueTable(OptionsTable):
    ask: Literal["true"]

    @field_validator("options")
    @classmethod
    def _known(cls, given: tuple[str, ...]) -> tuple[str, ...]:
        for name in given:
            if name not in TRUE and name not in FALSE:
                raise ValueError(f"holds {name!r}{near(name, (*TRUE, *FALSE))}")
        return given


class True_(Ask):
    """A sentence about the finished mixture; right is the one that it confirms."""

    Table = TrueTable
    label = "Which sentence is true?"

    def options(self, table: TrueTable, question: str) -> tuple[tuple[str, str], ...]:
        words = {name: sentence.words for name, sentence in TRUE.items()} | FALSE
        return tuple((name, words[name]) for name in shuffled(question, table.options))

    def expected(self, part: Part, case: Case, own: Mapping[str, Any]) -> str | None:
        """The one option that holds. (``eqlib check`` refuses a question with none or several.)"""
        return next(iter(self._holding(part, case)), None)

    def _holding(self, part: Part, case: Case) -> list[str]:
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

    def suspects(self, part: Part, case: Case, said: Mapping[str, Any]) -> list[Suspect]:
        found = [Suspect(name, name, "said so") for name, _ in part.options if name in MISTAKES]
        if "small_x_fine" in dict(part.options) and case.expected.get(part.id) == "small_x_fails":
            found.append(Suspect("unchecked_small_x", "small_x_fine", "not checked"))
        return found

    def doubts(self, part: Part, case: Case) -> Iterator[str]:
        holding = self._holding(part, case)
        if len(holding) != 1:
            yield f"{len(holding)} of the sentences of {part.id!r} are true; exactly one must be"
        if {"small_x_fine", "small_x_fails"} & dict(part.options).keys():
            share = small_x_share(case)
            if abs(share / FIVE_PERCENT - 1) < 0.1:
                yield f"x is {100 * share:.1f} %, at the edge of the 5 % rule; choose other numbers"


# -- the root -------------------------------------------------------------------------------------------


class RootTable(PartTable):
    ask: Literal["root"]


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

    Table = RootTable
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

    def suspects(self, part: Part, case: Case, said: Mapping[str, Any]) -> list[Suspect]:
        right = case.expected.get(part.id)
        wrong = (value for value, _ in part.options if value != right)
        return [Suspect("unchecked_small_x", value, "an impossible root not thrown out") for value in wrong]

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
