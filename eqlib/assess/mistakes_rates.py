"""Ideas behind a choice of rates, graphs or speeds, of the ion that is taken away, and of one run out of
several.

Each function takes what was chosen, in plain words, and returns the id of the idea it is consistent with, or
None.
"""


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


def runs_mistake(value, runs, figures=3):
    """ "single_truth" if a reported mean is one of several differing runs (to ``figures``), or None."""
    mean = sum(runs) / len(runs)
    unit = 10.0 ** (1 - figures)
    if len(runs) < 2 or abs(value / mean - 1) <= 0.5 * unit:
        return None
    return "single_truth" if any(abs(value / run - 1) <= 0.5 * unit for run in runs) else None
