"""Ideas behind a choice of rates, graphs or speeds, and of the particle that is taken away.

The first four functions take what was chosen, in plain words, and return the id of the idea it is consistent
with, or None; ``picked_suspects`` turns them into the suspects of a part.
"""

from eqlib.assess.mistakes_match import Suspect

_OTHER_SIDE = {"forward": "reverse", "reverse": "forward"}


def rates_mistake(forward, reverse):
    """Rates at the instant after a change, each "up", "down", "same" or "zero": the idea they are consistent
    with.
    """
    if forward == reverse == "zero":
        return "static_stop"
    return "one_up_one_down" if {forward, reverse} == {"up", "down"} else None


def approach_mistake(forward_rate):
    """The forward rate on the way from reactants only to equilibrium: "rises" is a known idea, "falls" is
    right.
    """
    return "fwd_rate_grows" if forward_rate == "rises" else None


def speed_mistake(order, constants):
    """An order of reactions by speed (fastest first) that just follows their constants, K by name."""
    by_K = sorted(constants, key=constants.get, reverse=True)
    return "rate_is_extent" if len(by_K) > 1 and list(order) == by_K else None


def removed_mistake(picked, right, spectators=()):
    """Which species an added ion takes away: a spectator, or another than the right one."""
    if picked == right:
        return None
    return "spectator_acts" if picked in spectators else "wrong_target"


def picked_suspects(problem):
    """Suspects of a rate, a graph or a pick of species: Suspect(id, option value). See mistakes.suspects."""
    part = problem.part
    name = {"rate": _of_rate, "graph": _of_graph}.get(part.ask, _of_pick)
    found = ((value, name(problem, value)) for value, _ in part.options if value != problem.expected)
    return [Suspect(mistake, value, part.ask) for value, mistake in found if mistake]


def _of_rate(problem, value):
    if value == "zero":
        return "static_stop"
    if problem.part.when == "at_once" and rates_mistake(value, _other_rate(problem)):
        return "one_up_one_down"
    catalyst = getattr(problem.stress, "kind", "") == "catalyse"
    return "catalyst_shifts" if catalyst and value == "same" else None


def _other_rate(problem):
    """The other side's rate as the student has it, or else as it is."""
    from eqlib.assess.outcome_rates import rate_after_change

    side, when = _OTHER_SIDE[problem.part.side], problem.part.when
    for part in problem.parts:
        if part.ask == "rate" and part.side == side and part.when == when and part.id in problem.answers:
            return problem.answers[part.id]
    return rate_after_change(problem, side, when)


def _of_graph(problem, value):
    if value == "stops":
        return "static_stop"
    return approach_mistake(value) if problem.part.side == "forward" else None


def _of_pick(problem, value):
    """A species that takes part in none of the reactions is a spectator."""
    parts = {name for reaction in problem.reactions for name in reaction.coefficients}
    spectators = {name for name, _ in problem.part.options} - parts
    if problem.part.ask == "cause":
        return "spectator_acts"
    return removed_mistake(value, problem.expected, spectators) if problem.expected else None
