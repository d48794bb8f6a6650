"""Misconceptions and errors: the registry, and which of them an answer is consistent with.

A wrong answer is named when it is what a known mistake would have given *for this student's numbers*. The
right answer is always tested first. A match never says more than "consistent with", and lists the other
mistakes it fits as well.
"""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from types import MappingProxyType

from eqlib.assess.mistakes_match import Match, Suspect, name_mistake

__all__ = [
    "MISTAKES",
    "Match",
    "Mistake",
    "Suspect",
    "candidates",
    "name_mistake",
    "suspects",
    "table_mistake",
]


@dataclass(frozen=True)
class Mistake:
    """One misconception or error.

    title: what the person seems to think.  hint: a question that makes them think, never the answer.
    source: where it is reported.  remedy: a contrasting demonstration for the instructor.
    """

    id: str
    title: str
    hint: str
    source: str
    remedy: str


@lru_cache(maxsize=1)
def _load():
    table = tomllib.loads((files("eqlib.assess") / "mistakes.toml").read_text("utf-8"))
    sources = table.pop("sources")
    return MappingProxyType(
        {
            name: Mistake(
                name, m["title"], m["hint"], "; ".join(sources[s] for s in m["source"]), m["remedy"]
            )
            for name, m in table.items()
        }
    )


MISTAKES: Mapping[str, Mistake] = _load()


def suspects(problem):
    """What each known mistake would have answered to ``problem`` (eqlib.assess.kinds.Problem), likeliest
    first.

    A list of Suspect(mistake, value): numbers in the part's unit, or option values of a choice. A mistake
    that does not apply to these numbers is left out; one that happens to give the right answer is kept (it
    cannot be told apart).
    """
    part = problem.part
    if part.kind == "number":
        from eqlib.assess.mistakes_number import number_suspects

        return number_suspects(problem)
    if part.kind == "choice":
        from eqlib.assess.mistakes_shift import choice_suspects

        return choice_suspects(problem)
    return []


def candidates(problem):
    """The same as (id, value) pairs."""
    return [(s.mistake, s.value) for s in suspects(problem)]


def table_mistake(problem, value):
    """The id of the mistake an ICE table (as read) is consistent with, or None."""
    from eqlib.assess.mistakes_table import table_mistakes

    return next(iter(table_mistakes(problem, value)), None)
