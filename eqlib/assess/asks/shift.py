"""What a change does: direction, colour, solid, K, one concentration; and what each misconception would say.

The stress is put into one of a few kinds by what it does to *this* reaction (``change_of``); then every wrong
option is traced to the idea that leads to it. An option that no known idea leads to is named by none.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

from eqlib.assess.asks.base import OPPOSITE, SAME, Ask, Part, PartTable, beside, close, in_unicode
from eqlib.assess.asks.carry import can_be, known_slip
from eqlib.assess.mistakes import Suspect
from eqlib.assess.tables import Formula
from eqlib.chem.salts import dissolved
from eqlib.chem.stress import Stress

if TYPE_CHECKING:
    from eqlib.assess.question import Case

# Changes that move nothing, and the idea that they do.
_NEVER_SHIFT = {
    "catalyst": "catalyst_shifts",
    "inert_volume": "inert_const_v",
    "solid": "solid_shifts",
    "spectator": "spectator_acts",
}
_SHIFTS = ("forward", "reverse")
#: By the kind of change: what a person can think, and the directions that this leads to.
_IDEAS: dict[str, dict[str, tuple[str, ...]]] = {
    **{kind: {idea: _SHIFTS} for kind, idea in _NEVER_SHIFT.items()},
    "spectator": {"spectator_acts": _SHIFTS, "volume_ignored": ("none",)},
    "reactant": {"more_always_right": ("forward",), "static_stop": ("none",)},
    "product": {"static_stop": ("none",)},
    "binder": {"not_in_equation": ("none",)},
    "dilute": {"volume_ignored": ("none",)},
    "inert_pressure": {"inert_const_p": ("none",)},
    "squeeze": {"dn_zero": _SHIFTS},
    "expand": {"dn_zero": _SHIFTS},
    "warm": {"heat_is_forward": ("forward",), "k_fixed_t": ("none",)},
    "cool": {"heat_is_forward": ("reverse",), "k_fixed_t": ("none",)},
}


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


def change_of(case: Case) -> Change:
    """The Change that the stress makes to the first reaction."""
    stress = case.done
    kind = stress.kind
    if kind == "catalyse":
        return Change("catalyst")
    if kind == "add_inert":
        return Change(f"inert_{stress.constant}")
    if kind == "dilute":
        return Change("dilute")
    if kind == "heat_to":
        return Change("warm" if case.temperature < (stress.T or 0.0) else "cool")
    if kind == "change_volume":
        return Change("squeeze" if (stress.volume or 0.0) < case.volume else "expand")
    return _of_matter(case, stress)


def _of_matter(case: Case, stress: Stress) -> Change:
    names = added_species(stress)
    first = case.reaction.coefficients
    own = tuple(n for n in names if n in first)
    more = stress.kind != "remove"
    solids = tuple(n for n in own if n.endswith(("(s)", "(l)")))
    known = {n for r in case.reactions for n in r.coefficients}
    if stress.kind == "add_solid" and case.direction == "none" and known & set(names):
        return Change("solid", names, more)
    if own and len(solids) == len(own):
        return Change("solid", solids, more)
    for side, sign in (("reactant", -1), ("product", 1)):
        found = tuple(n for n in own if first[n] * sign > 0 and n not in solids)
        if found:
            return Change(side, found, more)
    others = {n for r in case.reactions[1:] for n in r.coefficients}
    if any(n in others for n in names):
        return Change("binder", tuple(n for n in names if n in others), more)
    return Change("spectator", names, more)


def added_species(stress: Stress) -> tuple[str, ...]:
    """Names as they are in the mixture: soluble salts as their ions, and a solid under its own name too."""
    named = dict(stress.amounts)
    return tuple(dict.fromkeys((*dissolved(dict.fromkeys(named, 1.0)), *named)))


def said_to(case: Case, ask: str, said: Mapping[str, Any]) -> Any:
    """The student's answer to another ask of this question."""
    return next((said[part.id] for part in case.parts if part.ask == ask and part.id in said), None)


class _OfChange(Ask):
    """A choice about what a change does."""

    of_change = True
    order = "ranked"

    def suspects(self, part: Part, case: Case, said: Mapping[str, Any]) -> list[Suspect]:
        right, ideas = case.expected.get(part.id), self.ideas(part, case, change_of(case), said)
        return list(dict.fromkeys(suspect for suspect in ideas if suspect.value != right))

    def ideas(self, part: Part, case: Case, change: Change, said: Mapping[str, Any]) -> Iterator[Suspect]:
        """What each idea would choose, likeliest first."""
        raise NotImplementedError

    def as_shifted(
        self, part: Part, case: Case, change: Change, said: Mapping[str, Any]
    ) -> Iterator[Suspect]:
        """What goes with each wrong direction: the way that was said, or any where none was."""
        for suspect in _as_suspects(change, case.direction, said_to(case, "direction", said)):
            for seen in self.if_went(part, case, suspect.value):
                yield Suspect(suspect.mistake, seen)


# -- direction ------------------------------------------------------------------------------------------


class Direction(_OfChange):
    """forward | reverse | none, of the mixture's first reaction. Without a change: the way that it goes from
    the instant of mixing.
    """

    of_change = False
    legend = "Shift"
    label = "Which way does the equilibrium shift?"
    choices = (
        ("forward", "to products →"),
        ("reverse", "← to reactants"),
        ("none", "no shift"),
    )

    def if_went(self, part: Part, case: Case, way: str) -> set[str]:
        return {way}

    def expected(self, part: Part, case: Case, own: Mapping[str, Any]) -> str:
        if case.direction is not None:
            return case.direction
        mixed = case.states["mixed"]
        return way_of(mixed.Q(case.reaction), mixed.K(case.reaction))

    def suspects(self, part: Part, case: Case, said: Mapping[str, Any]) -> list[Suspect]:
        if case.disturbance is not None:
            return super().suspects(part, case, said)
        right = case.expected.get(part.id)
        found = [*against_own_Q(case, said)]
        if right in OPPOSITE:
            found += [Suspect("q_reversed", OPPOSITE[right]), Suspect("q_is_k", "none")]
        return list(dict.fromkeys(suspect for suspect in found if suspect.value != right))

    def carries(self, part: Part, case: Case, value: Any, own: Mapping[str, Any]) -> bool:
        return value == own_direction(case, own)

    def ideas(self, part: Part, case: Case, change: Change, said: Mapping[str, Any]) -> Iterator[Suspect]:
        expected = case.expected.get(part.id)
        yield from against_own_Q(case, said)
        # Where no colour is asked about, nobody goes by it.
        paler = "paler" in (said_to(case, "seen", said), said_to(case, "seen", case.expected))
        if paler and change.kind == "dilute":
            yield Suspect("paler_is_left", "reverse")
        yield from _as_suspects(change, expected)
        if paler:
            yield Suspect("paler_is_left", "reverse")


def own_direction(case: Case, own: Mapping[str, Any]) -> str | None:
    """The direction that follows from the student's own Q (and K); None where there is no Q to go on from."""
    asked = {part.quantity: part for part in case.parts if part.quantity in ("Q", "K") and part.id in own}
    if "Q" not in asked:
        return None
    value: dict[str, float] = {}
    for quantity, part in asked.items():
        number, right = own[part.id], case.expected.get(part.id)
        if isinstance(right, (int, float)) and (
            can_be(case, "K", "", number, right) or known_slip(part, case, number)
        ):
            value[quantity] = number
    if "Q" not in value:
        return None
    return way_of(
        value["Q"], value.get("K") or getattr(case.disturbance, "K", None) or case.reaction.require_K()
    )


def way_of(Q: float, K: float) -> str:
    """The way a reaction goes by its quotient."""
    return {"down": "forward", "up": "reverse", "same": "none"}[beside(Q, K)]


def direction_ideas(change: Change, expected: str | None) -> list[tuple[str, str]]:
    """(wrong direction, the mistake it comes from) for this change, where ``expected`` is what happens."""
    never = "more_always_right" if not change.more else "dn_zero" if expected != "none" else ""
    ideas = {idea: ways for idea, ways in _IDEAS.get(change.kind, {}).items() if idea != never}
    return [(way, idea) for idea, ways in ideas.items() for way in ways if way != expected]


def _as_suspects(change: Change, expected: str | None, said: str | None = None) -> Iterator[Suspect]:
    """``said``: the way that the student chose; who goes another way does not go by that idea."""
    for way, idea in direction_ideas(change, expected):
        if said in (None, way):
            yield Suspect(idea, way)


def against_own_Q(case: Case, said: Mapping[str, Any]) -> Iterator[Suspect]:
    """A direction that contradicts the Q (or the reason) the student gave in the same question."""
    side = None
    for part in case.parts:
        value = said.get(part.id)
        if part.quantity == "Q" and part.when in ("mixed", "at_once", "") and isinstance(value, (int, float)):
            K = getattr(case.disturbance, "K", None) or case.reaction.K
            # Where K is worked out too, 1/Q stands beside 1/K and not beside K.
            turned = bool(case.measured) and close(1 / value if value else 0, case.expected[part.id], 0.02)
            if K and value > 0 and abs(value / K - 1) > SAME and not turned:
                side = "below" if value < K else "above"
        elif part.ask == "reason" and value in ("q_below_K", "q_above_K"):
            side = side or value[2:7]
    if side is not None:
        yield Suspect("q_reversed", "reverse" if side == "below" else "forward")


def heat_may_help(case: Case, said: Mapping[str, Any], k: str = "") -> bool:
    """Can somebody who said this hold that heating helps the forward reaction? ``k``: the reason, if any."""
    warm = change_of(case).kind == "warm"
    back = "reverse" if warm else "forward"
    ways = {said.get(part.id) for part in case.parts if part.ask == "direction"}
    return back not in ways and k != ("k_falls" if warm else "k_rises")


# -- K --------------------------------------------------------------------------------------------------


class Constant(_OfChange):
    """larger | smaller | same."""

    think_of = "what does K depend on, and was that changed?"
    legend = "K"
    label = "What happens to the equilibrium constant K?"
    choices = (("larger", "larger"), ("smaller", "smaller"), ("same", "the same"))

    def expected(self, part: Part, case: Case, own: Mapping[str, Any]) -> str:
        before, after = case.change.before.K(case.reaction), case.change.K
        return {"up": "larger", "down": "smaller", "same": "same"}[beside(after, before, 0.001)]

    def ideas(self, part: Part, case: Case, change: Change, said: Mapping[str, Any]) -> Iterator[Suspect]:
        if change.kind in ("warm", "cool"):
            yield Suspect("k_fixed_t", "same")
            if heat_may_help(case, said):
                yield Suspect("heat_is_forward", "larger" if change.kind == "warm" else "smaller")
            return
        idea = {"catalyst": "catalyst_shifts", "solid": "solid_shifts"}.get(change.kind, "k_moves_conc")
        for way in ("larger", "smaller"):
            yield Suspect(idea, way)


# -- what is seen ---------------------------------------------------------------------------------------


class Seen(_OfChange):
    """darker | paler | same."""

    needs_look = True
    think_of = "is there more or less of the coloured substance in each millilitre?"
    legend = "Colour"
    label = "Compared with before, the colour will be"
    choices = (("darker", "darker"), ("paler", "paler"), ("same", "the same"))

    def expected(self, part: Part, case: Case, own: Mapping[str, Any]) -> str:
        return case.appearance.lightness

    def if_went(self, part: Part, case: Case, way: str) -> set[str]:
        return _turned(darker_direction(part, case), way, "darker", "paler")

    def worked(self, part: Part, case: Case) -> str:
        look = case.appearance
        old, new = f"{look.absorbance_before:.3f}", f"{look.absorbance_after:.3f}"
        told = f"stays {new}" if old == new else f"goes from {old} to {new} at {look.nm:.0f} nm"
        return f"{super().worked(part, case)} (the absorbance of 1 cm {told})"

    def ideas(self, part: Part, case: Case, change: Change, said: Mapping[str, Any]) -> Iterator[Suspect]:
        """Colour is a direction in disguise: the option that a wrong direction would bring about."""
        yield from self.as_shifted(part, case, change, said)


def darker_direction(part: Part, case: Case) -> str | None:
    """The direction that makes the mixture darker, from what really happens; None if it cannot be told."""
    direction, seen = case.direction, case.expected.get(part.id)
    if direction in OPPOSITE and seen in ("darker", "paler"):
        return direction if seen == "darker" else OPPOSITE[direction]
    # Nothing shifts: the product is then taken for the coloured one, as in most systems.
    return _rises_with(case.observed, case) or ("forward" if direction == "none" else None)


def _turned(up: str | None, way: str, more: str, less: str) -> set[str]:
    """``more`` where the reaction goes the way that is ``up``, ``less`` against it; nothing where none is."""
    return {{up: more, OPPOSITE[up]: less, "none": "same"}[way]} if up else set()


def _rises_with(species: str, case: Case) -> str | None:
    """The direction of the first reaction that makes more of ``species``; None where it takes no part."""
    coefficient = case.reaction.coefficients.get(species, 0)
    return "forward" if coefficient > 0 else "reverse" if coefficient < 0 else None


class Precipitate(_OfChange):
    """yes | no: is there more solid after the change than before?"""

    needs_look = True
    think_of = "which two could meet in a solid here, and is there enough of both?"
    legend = "A solid"
    label = "Does a solid form?"
    choices = (("yes", "yes, a solid forms"), ("no", "no, it stays clear"))

    def expected(self, part: Part, case: Case, own: Mapping[str, Any]) -> str:
        return "yes" if case.appearance.precipitate else "no"

    def ideas(self, part: Part, case: Case, change: Change, said: Mapping[str, Any]) -> Iterator[Suspect]:
        if change.kind == "binder" and case.expected.get(part.id) == "yes":
            yield Suspect("not_in_equation", "no")


# -- one concentration ----------------------------------------------------------------------------------


class ConcentrationTable(PartTable):
    ask: Literal["change"]
    species: Formula


class Concentration(_OfChange):
    """higher | lower | same, of the concentration of ``species``."""

    think_of = "what puts it in, what uses it up or sets it free, and how does the volume change?"
    Table = ConcentrationTable
    choices = (("higher", "higher"), ("lower", "lower"), ("same", "the same"))
    keys = ("species",)

    def legend_of(self, part: Part) -> str:
        return f"[{in_unicode(part.species)}]"

    def label_of(self, part: Part) -> str:
        return f"Compared with before, the concentration of {in_unicode(part.species)} will be"

    def expected(self, part: Part, case: Case, own: Mapping[str, Any]) -> str:
        moved = beside(case.after.get(part.species, 0.0), case.before.get(part.species, 0.0))
        return {"up": "higher", "down": "lower", "same": "same"}[moved]

    def if_went(self, part: Part, case: Case, way: str) -> set[str]:
        return _turned(_rises_with(part.species, case), way, "higher", "lower")

    def ideas(self, part: Part, case: Case, change: Change, said: Mapping[str, Any]) -> Iterator[Suspect]:
        if change.kind in _NEVER_SHIFT and case.direction == "none":
            for moved in ("higher", "lower"):
                yield Suspect(_NEVER_SHIFT[change.kind], moved)
            return
        coefficient = case.reaction.coefficients.get(part.species)
        if part.species in change.species and change.kind in ("reactant", "product"):
            yield Suspect("full_cancel", "same")
        elif change.kind == "reactant" and coefficient:
            yield Suspect("two_boxes" if coefficient < 0 else "static_stop", "same")
        elif change.kind == "binder" and coefficient:
            yield from _bound(part, case, float(coefficient), said_to(case, "direction", said))
        elif change.kind == "dilute":
            yield Suspect("volume_ignored", "same")
        if change.kind not in ("reactant", "product", "dilute"):
            yield from self.as_shifted(part, case, change, said)


def _bound(part: Part, case: Case, coefficient: float, way: str | None) -> Iterator[Suspect]:
    """Something binds one reactant: the other one taken for it, or, by who sees no shift, nothing bound."""
    if way in (None, "none"):
        yield Suspect("not_in_equation", "same")
    if coefficient < 0:
        wrong = {"lower": "higher", "higher": "lower"}.get(str(case.expected.get(part.id)))
        if wrong:
            yield Suspect("wrong_target", wrong)
