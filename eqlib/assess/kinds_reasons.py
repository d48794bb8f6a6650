"""The reasons a "why?" can offer: sound ones, which the chemistry confirms or not, and what misconceptions
say.

A question lists options by name and no name is marked as right. A sound reason is right when the computed
chemistry of the student's own numbers says so; a misconception never is. "binds:SCN^-" is a sound reason
with a species in it.
"""

from __future__ import annotations

import hashlib

#: Sound reasons, as a student would say them.
SOUND = {
    "q_below_K": "Right after the change Q is smaller than K, so more product has to form.",
    "q_above_K": (
        "Right after the change Q is larger than K, so some product has to turn back into reactants."
    ),
    "q_equals_K": "Right after the change Q still equals K, so nothing has to shift.",
    "k_rises": "K itself is larger at the new temperature, so the mixture now holds too little product.",
    "k_falls": "K itself is smaller at the new temperature, so the mixture now holds too much product.",
}
BINDS = (
    "What was added ties up {species} (in a solid or in another complex), so there is less of it in solution."
)

#: What a person with each misconception would say (ids as in eqlib.assess.mistakes). To tie up another ion
#: than the one really bound ("wrong_target") is said by a "binds:" option that does not hold.
SAID = {
    "static_stop": "Reactions stop once equilibrium is reached, so nothing can happen any more.",
    "equal_amounts": "The mixture shifts until there is as much product as reactant again.",
    "fwd_rate_grows": "The forward reaction keeps speeding up until equilibrium is reached.",
    "one_up_one_down": "One reaction speeds up and the opposite one slows down at the same moment.",
    "two_boxes": "What is added changes only its own side; the other reactant stays as it was.",
    "goes_complete": "The reaction runs until one of the reactants is used up.",
    "k_moves_conc": "Changing a concentration changes K, and the mixture follows the new K.",
    "q_is_k": "Q and K are always the same number, so nothing can push the mixture.",
    "q_reversed": (
        "When Q is smaller than K the mixture moves to the left, and when it is larger, to the right."
    ),
    "full_cancel": "The mixture shifts until the change is cancelled completely.",
    "solid_shifts": "There is more of the solid now, so the reaction moves away from it.",
    "catalyst_shifts": "The catalyst speeds up the forward reaction more, so more product forms.",
    "inert_const_v": (
        "The extra gas raises the pressure, so the mixture moves to the side with fewer molecules."
    ),
    "inert_const_p": "The added gas does not react, so it cannot have any effect.",
    "dn_zero": "Squeezing a gas mixture always moves it to one side.",
    "volume_ignored": "Water is not in the equation, so adding water moves nothing.",
    "more_always_right": "More of a reactant always means more product.",
    "heat_is_forward": "Heating always helps the forward reaction.",
    "k_fixed_t": "K is a constant, so warming the mixture cannot change it.",
    "rate_is_extent": "A large K means a fast reaction, so it has already finished.",
    "spectator_acts": "The other ions that came along with it (nitrate, potassium, sodium) cause the shift.",
    "not_in_equation": "What was added is not in the equation, so it does nothing.",
    "paler_is_left": "The colour gets paler, and paler always means that the reaction moved to the left.",
}


def is_sound(name: str) -> bool:
    """Is ``name`` a sound reason (rather than a misconception)?"""
    return name in SOUND or name.startswith("binds:")


def known_reason(name: str) -> bool:
    """Can a question offer this reason?"""
    return is_sound(name) or name in SAID


def reason_label(name: str) -> str:
    """The sentence shown for a reason."""
    if name.startswith("binds:"):
        from eqlib.chem.species import species

        return BINDS.format(species=species(name.removeprefix("binds:")).unicode)
    return SOUND.get(name) or SAID[name]


def shuffled(question: str, names) -> list[str]:
    """The options in an order that depends only on the question, so that the file's order gives nothing
    away.
    """
    return sorted(names, key=lambda name: hashlib.sha256(f"{question}/{name}".encode()).digest())


def true_reasons(names, problem) -> tuple[str, ...]:
    """Those of ``names`` that the chemistry of ``problem`` confirms."""
    return tuple(name for name in names if is_sound(name) and _holds(name, problem))


def _holds(name: str, problem) -> bool:
    disturbance = problem.disturbance
    if name.startswith("binds:"):
        return tied_up(problem) == name.removeprefix("binds:")
    at_new_K, at_old_K = disturbance.K, disturbance.before.K(disturbance.before.reactions[0])
    if name in ("k_rises", "k_falls"):
        return at_new_K > at_old_K * 1.005 if name == "k_rises" else at_new_K < at_old_K / 1.005
    if abs(at_new_K / at_old_K - 1) > 0.005:
        return False
    ratio = disturbance.Q / at_new_K
    return {
        "q_below_K": ratio < 1 / 1.005,
        "q_above_K": ratio > 1.005,
        "q_equals_K": 1 / 1.005 <= ratio <= 1.005,
    }[name]


def tied_up(problem, least: float = 0.1) -> str | None:
    """The reactant that other reactions take out of the first one, or None when they take less than
    ``least`` of it.

    What the first reaction itself uses is told apart by its product: a reactant's loss beyond that is the
    others' doing.
    """
    before, after = problem.disturbance.at_once, problem.disturbance.after
    coefficients = problem.reaction.coefficients
    products = [name for name, nu in coefficients.items() if nu > 0 and name in problem.after]
    if not products:
        return None
    product = products[0]
    losses = {}
    for name, nu in coefficients.items():
        if nu >= 0 or name not in problem.after:
            continue
        share = abs(float(nu)) / float(coefficients[product])
        had = before.amounts.get(name, 0.0) + share * before.amounts.get(product, 0.0)
        has = after.amounts.get(name, 0.0) + share * after.amounts.get(product, 0.0)
        losses[name] = (had - has) / had if had > 0 else 0.0
    worst = max(losses, key=losses.get, default=None)
    return worst if worst is not None and losses[worst] > least else None
