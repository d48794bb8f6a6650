"""The right value of each part, from one student's Problem: choices, tables, orders, equations, numbers."""

from __future__ import annotations

from types import MappingProxyType

from eqlib.assess.kinds import Problem
from eqlib.assess.kinds_reasons import tied_up, true_reasons
from eqlib.assess.outcome_numbers import number_expected
from eqlib.assess.questions_schema import QuestionError


def expected_of(part, problem: Problem, own=MappingProxyType({})):
    """The right value of a part. ``own`` holds the student's earlier values, by part id, to carry forward."""
    if part.ask == "number":
        return number_expected(part, problem, own)
    return _EXPECTED[part.ask](part, problem, own)


def _direction(part, problem, own):
    """From the chemistry; or, when the student worked out Q and K themselves, from their own Q and K."""
    asked = {p.quantity: p.id for p in problem.parts if p.ask == "number" and p.quantity in ("Q", "K")}
    if "Q" in asked and asked["Q"] in own:
        Q = own[asked["Q"]]
        K = own.get(asked.get("K"), problem.disturbance.K)
        return "forward" if Q < K / 1.005 else "reverse" if Q > K * 1.005 else "none"
    return problem.disturbance.direction


def _seen(part, problem, own):
    return problem.look.lightness


def _precipitate(part, problem, own):
    return "yes" if problem.look.precipitate else "no"


def _constant(part, problem, own):
    before, after = problem.disturbance.before.K(problem.reaction), problem.disturbance.K
    return "larger" if after > before * 1.001 else "smaller" if after < before / 1.001 else "same"


def _change(part, problem, own):
    before, after = problem.before.get(part.species, 0.0), problem.after.get(part.species, 0.0)
    if after > before * 1.005:
        return "higher"
    return "lower" if after < before / 1.005 else "same"


def _reason(part, problem, own):
    """The one option that is true. (``eqlib check`` refuses a question with none or several.)"""
    true = true_reasons([value for value, _ in part.options], problem)
    return true[0] if true else None


def _ice(part, problem, own):
    extent = problem.extent
    rows = {"initial": {}, "change": {}, "equilibrium": {}}
    if extent is None:
        raise QuestionError("an ICE table needs one reaction, or a reading from which x can be worked out")
    for name in part.columns:
        start, change = problem.mixed.get(name, 0.0), float(problem.reaction.coefficients[name]) * extent
        rows["initial"][name], rows["change"][name] = start, change
        rows["equilibrium"][name] = start + change
    return rows


def _equation(part, problem, own):
    from eqlib.chem.reactions import balance

    return str(balance(part.skeleton))


def _expression(part, problem, own):
    return problem.reaction.expression


def _order(part, problem, own):
    from eqlib.assess.outcome_setting import stress_of
    from eqlib.chem.disturb import disturb

    def size(item):
        stress = stress_of({"stress": item["stress"]}, problem.numbers) if "stress" in item else None
        mixture = problem.disturbance.before.mixture if problem.disturbance else None
        state = disturb(mixture, stress).after if stress is not None else mixture.equilibrate()
        return state[part.species]

    ranked = sorted(part.items, key=size, reverse=True)
    return [item["label"] for item in ranked]


def _rate(part, problem, own):
    from eqlib.assess.outcome_rates import rate_after_change

    return rate_after_change(problem, part.side, part.when)


def _graph(part, problem, own):
    from eqlib.assess.outcome_rates import rate_on_the_way

    return rate_on_the_way(problem, part.side, part.when)


def _bound(part, problem, own):
    """What other reactions take out of the first one; None where that is not on offer."""
    found = tied_up(problem)
    return found if found in dict(part.options) else None


def _cause(part, problem, own):
    """The one added species that stands in the first reaction, or else binds one of its reactants."""
    from eqlib.chem.salts import dissolved

    added = dissolved(dict.fromkeys(dict(problem.stress.amounts), 1.0))
    acting = [name for name in added if name in problem.reaction.coefficients]
    if not acting:
        bound = tied_up(problem)
        others = [set(r.coefficients) for r in problem.reactions[1:] if bound in r.coefficients]
        acting = [name for name in added if any(name in other for other in others)]
    on_offer = [name for name in acting if name in dict(part.options)]
    return on_offer[0] if len(on_offer) == 1 else None


def _speed(part, problem, own):
    """Fastest first, by the times in the file."""
    from eqlib.assess.outcome_setting import value_of

    ranked = sorted(part.items, key=lambda item: value_of(item["seconds"], problem.numbers))
    return [item["label"] for item in ranked]


_EXPECTED = {
    "rate": _rate,
    "graph": _graph,
    "bound": _bound,
    "cause": _cause,
    "speed": _speed,
    "direction": _direction,
    "seen": _seen,
    "precipitate": _precipitate,
    "K": _constant,
    "change": _change,
    "reason": _reason,
    "ice": _ice,
    "equation": _equation,
    "expression": _expression,
    "order": _order,
}
