"""What each misconception would choose: direction, K, colour, which concentration changes, reason.

First the stress is put into one of a few kinds by what it does to *this* reaction (``change_of``); then every
wrong option is traced to the idea that leads to it. An option that no known idea leads to is named by none.
"""

from dataclasses import dataclass

from eqlib.assess.mistakes_match import Suspect
from eqlib.assess.mistakes_rates import picked_suspects

_OPPOSITE = {"forward": "reverse", "reverse": "forward"}


# Changes that move nothing, and the idea that they do.
_NEVER_SHIFT = {
    "catalyst": "catalyst_shifts",
    "inert_volume": "inert_const_v",
    "solid": "solid_shifts",
    "spectator": "spectator_acts",
}
# Changes after which comparing Q with K decides; an answer the other way round may have compared them
# backwards.
_Q_DECIDES = ("reactant", "product", "binder", "dilute", "squeeze", "expand")


@dataclass(frozen=True)
class Change:
    """A stress as this reaction meets it.

    kind: "reactant", "product" (more or less of it), "binder" (acts through another reaction), "spectator",
    "solid", "dilute", "warm", "cool", "squeeze", "expand", "inert_volume", "inert_pressure" or "catalyst".
    species: which of the reaction's species is added or removed.  more: added (True) or removed (False).
    """

    kind: str
    species: tuple[str, ...] = ()
    more: bool = True


def change_of(problem):
    """The Change that a Problem's stress makes to its first reaction, or None without a stress."""
    stress = problem.stress
    if stress is None or not problem.reactions:
        return None
    kind = stress.kind
    if kind == "catalyse":
        return Change("catalyst")
    if kind == "add_inert":
        return Change(f"inert_{stress.constant}")
    if kind == "dilute":
        return Change("dilute")
    if kind == "heat_to":
        return Change("warm" if problem.temperature < stress.T else "cool")
    if kind == "change_volume":
        return Change("squeeze" if stress.volume < problem.volume else "expand")
    return _of_matter(problem, stress)


def _of_matter(problem, stress):
    names = _what_is_added(stress)
    first = problem.reaction.coefficients
    own = tuple(n for n in names if n in first)
    more = stress.kind != "remove"
    solids = tuple(n for n in own if n.endswith(("(s)", "(l)")))
    if stress.kind == "add_solid" and _outcome(problem, "direction") == "none":
        return Change("solid", names, more)
    if own and len(solids) == len(own):
        return Change("solid", solids, more)
    for side, sign in (("reactant", -1), ("product", 1)):
        found = tuple(n for n in own if first[n] * sign > 0 and n not in solids)
        if found:
            return Change(side, found, more)
    others = {n for r in problem.reactions[1:] for n in r.coefficients}
    if any(n in others for n in names):
        return Change("binder", tuple(n for n in names if n in others), more)
    return Change("spectator", names, more)


def _what_is_added(stress):
    """Names as they are in the mixture: soluble salts as their ions, and a solid under its own name too."""
    from eqlib.chem.salts import dissolved

    named = dict(stress.amounts)
    return tuple(dict.fromkeys((*dissolved(dict.fromkeys(named, 1.0)), *named)))


def choice_suspects(problem):
    """Suspects of a choice: Suspect(id, option value), likeliest first. See mistakes.suspects."""
    part = problem.part
    if part.ask == "reason":
        return _reasons(part)
    if part.ask in ("rate", "graph", "bound", "cause"):
        return picked_suspects(problem)
    change = change_of(problem)
    if change is None or part.ask not in _BY_ASK:
        return []
    found = [s for s in _BY_ASK[part.ask](problem, change) if s.value != problem.expected]
    return list(dict.fromkeys(found))


def _reasons(part):
    from eqlib.assess.mistakes import MISTAKES

    return [Suspect(value, value, "said so") for value, _ in part.options if value in MISTAKES]


# -- direction --------------------


def direction_ideas(problem, change, expected):
    """{wrong direction: mistake ids} for this change, where ``expected`` is what really happens."""
    ideas = {"forward": [], "reverse": [], "none": []}
    if change.kind in _NEVER_SHIFT:
        for way in ("forward", "reverse"):
            ideas[way].append(_NEVER_SHIFT[change.kind])
    if change.kind in ("reactant", "product"):
        ideas["none"].append("static_stop")
        if change.kind == "reactant" and change.more:
            ideas["forward"].append("more_always_right")
    elif change.kind == "binder":
        ideas["none"].append("not_in_equation")
    elif change.kind in ("dilute", "spectator"):
        ideas["none"].append("volume_ignored")
    elif change.kind == "inert_pressure":
        ideas["none"].append("inert_const_p")
        if expected in _OPPOSITE:
            ideas[_OPPOSITE[expected]].append("inert_const_v")
    elif change.kind in ("squeeze", "expand") and expected == "none":
        for way in ("forward", "reverse"):
            ideas[way].append("dn_zero")
    elif change.kind in ("warm", "cool"):
        ideas["none"].append("k_fixed_t")
        ideas["forward" if change.kind == "warm" else "reverse"].append("heat_is_forward")
    return {way: found for way, found in ideas.items() if way != expected}


def _direction(problem, change):
    expected = problem.expected
    yield from _against_own_Q(problem)
    ideas = direction_ideas(problem, change, expected)
    paler = "paler" in (_answer(problem, "seen"), _outcome(problem, "seen"))
    if paler and expected != "reverse" and change.kind == "dilute":
        yield Suspect("paler_is_left", "reverse", "paler, so to the left")
    yield from _as_suspects(ideas)
    if paler and expected != "reverse":
        yield Suspect("paler_is_left", "reverse", "paler, so to the left")
    if expected in _OPPOSITE and change.kind in _Q_DECIDES:
        yield Suspect("q_reversed", _OPPOSITE[expected], "Q against K read the wrong way round")


def _as_suspects(ideas):
    for way, names in ideas.items():
        for name in names:
            yield Suspect(name, way, "direction")


def _against_own_Q(problem):
    """A direction that contradicts the Q (or the reason) the student gave in the same question."""
    side = None
    for part in problem.parts:
        value = problem.answers.get(part.id)
        if part.quantity == "Q" and part.when in ("at_once", "") and type(value) in (int, float):
            K = getattr(problem.disturbance, "K", None) or problem.reaction.K
            if K and value > 0 and abs(value / K - 1) > 0.005:
                side = "below" if value < K else "above"
        elif part.ask == "reason" and value in ("q_below_K", "q_above_K"):
            side = side or value[2:7]
    if side is not None:
        yield Suspect("q_reversed", "reverse" if side == "below" else "forward", "against one's own Q")


def _answer(problem, ask):
    return next((problem.answers.get(p.id) for p in problem.parts if p.ask == ask), None)


def _outcome(problem, ask):
    """The right answer to another ask of this question, where it can be told from this Problem alone."""
    if ask == "direction":
        return getattr(problem.disturbance, "direction", None)
    if ask == "seen" and problem.before and problem.after:
        name = problem.observed or next((n for n, c in problem.reaction.coefficients.items() if c > 0), None)
        was, now = problem.before.get(name, 0.0), problem.after.get(name, 0.0)
        if was > 0:
            return "darker" if now > 1.02 * was else "paler" if now < 0.98 * was else "same"
    return None


# -- K --------------------


def _constant(problem, change):
    if change.kind in ("warm", "cool"):
        yield Suspect("k_fixed_t", "same", "K")
        yield Suspect("heat_is_forward", "larger" if change.kind == "warm" else "smaller", "K")
        return
    idea = {"catalyst": "catalyst_shifts", "solid": "solid_shifts"}.get(change.kind, "k_moves_conc")
    for way in ("larger", "smaller"):
        yield Suspect(idea, way, "K")


# -- what is seen, and which concentration changes --------------------


def _seen(problem, change):
    """Colour is a direction in disguise: the option that a wrong direction would bring about."""
    towards = _darker_direction(problem)
    if towards is None:
        return
    real = _outcome(problem, "direction")
    as_seen = {towards: "darker", _OPPOSITE[towards]: "paler", "none": "same"}
    for suspect in _as_suspects(direction_ideas(problem, change, real)):
        yield Suspect(suspect.mistake, as_seen[suspect.value], "colour as if " + suspect.value)


def _darker_direction(problem):
    """The direction that makes the mixture darker, from what really happens; None if it cannot be told."""
    direction, seen = _outcome(problem, "direction"), problem.expected
    if direction in _OPPOSITE and seen in ("darker", "paler"):
        return direction if seen == "darker" else _OPPOSITE[direction]
    coefficient = problem.reaction.coefficients.get(problem.observed)
    if coefficient:
        return "forward" if coefficient > 0 else "reverse"
    return "forward" if _calm(problem) else None


def _calm(problem):
    """Nothing shifts: the product is then taken for the coloured one, as in most systems."""
    return _outcome(problem, "direction") == "none"


def _change(problem, change):
    name, real = problem.part.species, _outcome(problem, "direction")
    if change.kind in _NEVER_SHIFT and real == "none":
        for way in ("higher", "lower"):
            yield Suspect(_NEVER_SHIFT[change.kind], way, "concentration as if something shifted")
        return
    coefficient = problem.reaction.coefficients.get(name)
    if name in change.species and change.kind in ("reactant", "product"):
        yield Suspect("full_cancel", "same", "back to where it was")
    elif change.kind == "reactant" and coefficient:
        yield Suspect("two_boxes" if coefficient < 0 else "static_stop", "same", "left as it was")
    elif change.kind == "binder" and coefficient:
        yield from _bound(problem, name, coefficient)
    elif change.kind == "dilute":
        yield Suspect("volume_ignored", "same", "as if no water came in")
    if not coefficient or change.kind in ("reactant", "product", "dilute"):
        return
    up = "forward" if coefficient > 0 else "reverse"
    as_seen = {up: "higher", _OPPOSITE[up]: "lower", "none": "same"}
    for suspect in _as_suspects(direction_ideas(problem, change, real)):
        yield Suspect(suspect.mistake, as_seen[suspect.value], "concentration as if " + suspect.value)


def _bound(problem, name, coefficient):
    """Something binds one reactant: the other one taken for it, or nothing bound at all."""
    yield Suspect("not_in_equation", "same", "nothing bound")
    if coefficient < 0:
        wrong = {"lower": "higher", "higher": "lower"}.get(problem.expected)
        if wrong:
            yield Suspect("wrong_target", wrong, "another ion bound")


def _precipitate(problem, change):
    if change.kind == "binder" and problem.expected == "yes":
        yield Suspect("not_in_equation", "no", "nothing bound")


_BY_ASK = {
    "direction": _direction,
    "K": _constant,
    "seen": _seen,
    "change": _change,
    "precipitate": _precipitate,
}
