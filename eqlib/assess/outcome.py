"""What the chemistry says about one student's copy of a question. Nothing here is stored in the question
file.
"""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from functools import lru_cache
from types import MappingProxyType

from eqlib.assess.kinds import Outcome, Problem
from eqlib.assess.outcome_numbers import moved, reading_of, worked_extent
from eqlib.assess.outcome_parts import expected_of
from eqlib.assess.outcome_readings import catalogue_constants, round_to
from eqlib.assess.outcome_setting import (
    cautions_of,
    portions_of,
    reactions_of,
    start_mixture,
    stress_of,
    value_of,
)
from eqlib.assess.questions_schema import QuestionError
from eqlib.assess.variants import Variant, show
from eqlib.errors import EqlibError

_CACHED = 4096


def outcome_of(question, variant) -> Outcome:
    """The Outcome of one variant of a question, cached. Raises QuestionError, naming the question, if none
    exists.
    """
    return _outcome(question, tuple(variant.numbers.items()))


@lru_cache(maxsize=_CACHED)
def _outcome(question, numbers) -> Outcome:
    """Students with the same numbers share one Outcome: it depends on nothing else."""
    return outcome_for_numbers(question, Variant("", dict(numbers), {}))


def outcome_for_numbers(question, variant) -> Outcome:
    """As outcome_of, for any numbers at all (not cached). Raises QuestionError."""
    try:
        problem, states = _problem(question, variant)
        expected = {
            part.id: expected_of(part, problem)
            for part in question.parts
            if part.ask not in ("explain", "confidence")
        }
        outcome = Outcome(
            expected=MappingProxyType(expected),
            problem=problem,
            disturbance=problem.disturbance,
            states=MappingProxyType(states),
            cautions=_cautions(question),
        )
        from eqlib.assess.working import worked

        return replace(outcome, working=worked(question, outcome))
    except QuestionError as error:
        raise QuestionError(f"question {question.id!r}: {error}") from None
    except EqlibError as error:
        raise QuestionError(f"question {question.id!r} with {dict(variant.numbers)}: {error}") from None


@lru_cache(maxsize=_CACHED)
def _cautions(question) -> tuple[str, ...]:
    """The same for all students of a question: they all use the same bottles."""
    return cautions_of(question.given, question.variant(None).numbers)


def shown_numbers(question, variant) -> dict[str, str]:
    """What the placeholders of the prompt become: the student's numbers and the reading they are given."""
    shown = dict(variant.shown)
    try:
        for name in question.placeholders - shown.keys():
            shown[name] = show(_given(question, variant, name))
    except EqlibError as error:
        raise QuestionError(f"question {question.id!r}: {error}") from None
    return shown


def _given(question, variant, name: str) -> Decimal:
    """A reading, or a constant the student is given, as printed."""
    given = question.given
    if name in ("absorbance", "concentration"):
        return _reading(question, variant)
    if name == "epsilon":
        return Decimal(given["measured"]["epsilon"])
    reactions = reactions_of(given, variant.numbers)
    if name == "K":
        return round_to(float(reactions[0].K), figures=3)
    return catalogue_constants(given["measured"], reactions, variant.numbers, value_of)[name]


def _reading(question, variant) -> Decimal:
    """The rounded reading, as printed."""
    return _reading_for(question, tuple(variant.numbers.items()))


@lru_cache(maxsize=_CACHED)
def _reading_for(question, pairs) -> Decimal:
    given, numbers = question.given, dict(pairs)
    reactions = reactions_of(given, numbers)
    mixture = start_mixture(given, reactions, portions_of(given, numbers), numbers)
    state = mixture.equilibrate()
    table = {key: _number(item, numbers) for key, item in given["measured"].items() if key != "runs"}
    return reading_of(table, state)


def _number(item, numbers):
    return value_of(item, numbers) if not isinstance(item, str) or item in numbers else item


def _problem(question, variant) -> tuple[Problem, dict]:
    """The Problem of the question as a whole (its ``part`` is the first one) and the states by moment."""
    given, numbers = question.given, variant.numbers
    reactions = reactions_of(given, numbers)
    portions = portions_of(given, numbers)
    mixture = start_mixture(given, reactions, portions, numbers)
    stress = stress_of(given, numbers)
    states, disturbance = {}, None
    if mixture is not None and reactions and all(reaction.has_K for reaction in reactions):
        states["mixed"] = mixture.as_mixed()
        states["before"] = mixture.equilibrate()
        if stress is not None:
            from eqlib.chem.disturb import disturb

            disturbance = disturb(mixture, stress)
            states["at_once"], states["after"] = disturbance.at_once, disturbance.after
    moments = {moment: MappingProxyType(_dissolved(state, reactions)) for moment, state in states.items()}
    problem = Problem(
        question=question.id,
        part=question.parts[0],
        expected=None,
        numbers=MappingProxyType(dict(numbers)),
        reactions=reactions,
        portions=portions,
        volume=0.0 if mixture is None else mixture.volume,
        temperature=298.15 if mixture is None else mixture.T,
        stress=stress,
        disturbance=disturbance,
        look=_look(question, disturbance),
        parts=question.parts,
        equilibrium=moments.get("before", MappingProxyType({})),
        **moments,
    )
    return _with_reading(question, variant, problem), states


def _look(question, disturbance):
    """The change of appearance, where some part asks for it."""
    if disturbance is None or not any(part.ask in ("seen", "precipitate") for part in question.parts):
        return None
    from eqlib.lab.look import compare_disturbance

    return compare_disturbance(disturbance)


def _with_reading(question, variant, problem: Problem) -> Problem:
    """Put what was measured into the problem; from then on it is the reading, not the engine, that K is
    worked from.
    """
    table = question.given.get("measured")
    if table is None:
        return problem if not problem.reactions else replace(problem, extent=_engine_extent(problem))
    numbers = variant.numbers
    if table["reading"] == "temperatures":
        known = table
        if "K1" not in table:
            known = catalogue_constants(table, problem.reactions, numbers, value_of)
        measured = {name: value_of(known[name], numbers) for name in ("K1", "K2")}
        measured |= {f"T{n}": value_of(table[f"celsius{n}"], numbers) + 273.15 for n in (1, 2)}
        return replace(problem, measured=MappingProxyType(measured))
    if table["reading"] == "runs":
        measured = {f"run{n}": value_of(item, numbers) for n, item in enumerate(table["runs"], start=1)}
        return replace(problem, measured=MappingProxyType(measured))
    value = _reading(question, variant)
    measured = {table["reading"]: float(value)}
    if "epsilon" in table:
        measured["epsilon"] = value_of(table["epsilon"], numbers)
        measured["path"] = value_of(table.get("path_cm", 1), numbers)
        measured["blank"] = value_of(table.get("blank", 0), numbers)
    if "nm" in table:
        measured["nm"] = value_of(table["nm"], numbers)
    problem = replace(problem, measured=MappingProxyType(measured), observed=table["species"])
    extent = worked_extent(problem)
    return _read_off(problem, extent)


def _read_off(problem: Problem, extent: float) -> Problem:
    """Before and at once as the student can know them: from the rounded reading, not from the engine's
    digits.
    """
    equilibrium = moved(problem, extent)
    before = {**problem.before, **equilibrium}
    at_once = dict(problem.at_once)
    if problem.disturbance is not None:
        share = problem.disturbance.before.volume / problem.disturbance.at_once.volume
        for name, value in equilibrium.items():
            at_once[name] += share * (value - problem.before.get(name, 0.0))
    return replace(
        problem,
        extent=extent,
        equilibrium=MappingProxyType(equilibrium),
        before=MappingProxyType(before),
        at_once=MappingProxyType(at_once),
    )


def _engine_extent(problem: Problem) -> float | None:
    """How far the first reaction went from mixing to ``before``, when it is the only one."""
    if len(problem.reactions) != 1 or not problem.before:
        return None
    name, nu = next(iter(problem.reaction.quotient_species.items()))
    return (problem.before.get(name, 0.0) - problem.mixed.get(name, 0.0)) / float(nu)


def _dissolved(state, reactions) -> dict[str, float]:
    """Concentrations of everything that is not a solid or the solvent; what stands in a K and is absent is
    0.
    """
    found = {name: float(value) for name, value in state.concentrations.items()}
    for reaction in reactions:
        for name in reaction.quotient_species:
            found.setdefault(name, 0.0)
    return found
