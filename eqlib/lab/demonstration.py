"""A demonstration as a plan, and whether it does what a demonstration must.

A plan says which change of the catalogue is shown, in which vessel, with how much of everything, and how much
of the reagent that turns it back. ``judge`` mixes it and says, requirement by requirement, whether the back
row sees it, without colour too, whether it is more than dilution, safe, turned back, large enough, and what
is left to throw away.

The thresholds of sight are those of eqlib.lab.look. Sizes of vessels, the least width that a back row
makes out and the least filling are common practice, no source: the room itself decides.
"""

from dataclasses import dataclass, replace
from functools import lru_cache
from math import pi
from typing import Any

from eqlib.chem.catalogue import CatalogueStress, System, system, systems
from eqlib.chem.disturb import Disturbance, disturb
from eqlib.chem.mixture import Mixture
from eqlib.chem.stress import Stress
from eqlib.errors import EqlibError
from eqlib.lab.cautions import cautions_for
from eqlib.lab.look import AUDIENCES, Visibility, visibility
from eqlib.writing import number

BACK_ROW = AUDIENCES["back row"][0]
NOT_DILUTION = AUDIENCES["class"][0]  # beside a control with as much water, both in one hand
LEAST_WIDTH_CM = 2.5  # what a back row makes out
#: What ``judge`` looks at, in this order.
REQUIREMENTS = ("seen", "grey", "more than dilution", "safe", "turned back", "large enough", "amount")
SPARE_ML = 8.0  # more than what is wanted that may be left to throw away


@dataclass(frozen=True)
class Vessel:
    """A vessel: inside width and least filling in cm, capacity in mL; ``above``: it lies on the projector."""

    words: str
    width_cm: float
    capacity_mL: float
    least_cm: float
    above: bool = False

    @property
    def area_cm2(self) -> float:
        """The floor."""
        return pi * self.width_cm**2 / 4

    def path_cm(self, millilitres: float) -> float:
        """What one looks through: the width, or from above the depth."""
        return millilitres / self.area_cm2 if self.above else self.width_cm


VESSELS = {
    "well": Vessel("a well of a plate, from the side", 1.6, 3.4, 0.5),
    "tube": Vessel("a wide test tube, from the side", 2.2, 40.0, 2.5),
    "cylinder": Vessel("a measuring cylinder, from the side", 2.8, 100.0, 2.5),
    "beaker": Vessel("a tall beaker, from the side", 4.8, 150.0, 2.5),
    "dish": Vessel("a glass dish on the projector, from above", 9.0, 90.0, 0.4, above=True),
}


@dataclass(frozen=True)
class Plan:
    """What is shown. ``demo`` is a key of ``demonstrations()``, ``vessel`` of VESSELS; volumes in mL."""

    demo: str
    vessel: str
    start_mL: float
    add_mL: float
    back_mL: float


@dataclass(frozen=True)
class Requirement:
    """One requirement: its key (see REQUIREMENTS), whether it is met, and why in one sentence."""

    key: str
    met: bool
    words: str


@dataclass(frozen=True)
class Judged:
    """A plan that was mixed. ``change`` and ``back`` are what the two additions did"""

    plan: Plan
    requirements: tuple[Requirement, ...]
    change: Disturbance
    back: Disturbance
    seen: Visibility

    def met(self, *keys: str) -> tuple[bool, ...]:
        """Whether each of these requirements is met."""
        found = {one.key: one.met for one in self.requirements}
        return tuple(found[key] for key in keys)


@dataclass(frozen=True)
class Demo:
    """A change of the catalogue that a solution makes and another solution turns back."""

    system: System
    step: CatalogueStress
    reversal: CatalogueStress

    @property
    def words(self) -> str:
        """The system and what is added."""
        title = self.system.title.split(":")[0]
        return f"{title}: add {_reagent(self.step)}, then {_reagent(self.reversal)}"


def _reagent(step: CatalogueStress) -> str:
    """What is in the bottle of a step: "0.10 M silver nitrate"."""
    title = step.title.split(",")[0]
    return title.split(" of ", 1)[1] if " of " in title else title[0].lower() + title[1:]


@lru_cache(maxsize=1)
def demonstrations() -> dict[str, Demo]:
    """All changes that can be planned, by "system/step"."""
    found = {}
    for name in systems():
        one = system(name)
        for key, step in one.steps.items():
            if one.data_only or step.after or not step.on_bench or not _poured(step):
                continue
            back = [s for s in one.steps.values() if s.after == key and _poured(s)]
            back = [s for s in back if {s.direction, step.direction} == {"forward", "reverse"}]
            if back:
                found[f"{name}/{key}"] = Demo(one, step, back[0])
    return found


def _poured(step: CatalogueStress) -> bool:
    return step.stress.kind in ("add_solution", "dilute")


def _of(stress: Stress, millilitres: float) -> Stress:
    """The same solution (or water), another volume of it."""
    return replace(stress, volume=millilitres / 1000)


def judge(plan: Plan, least_mL: float) -> Judged:
    """Mix the plan and hold it against REQUIREMENTS. In the end ``least_mL`` are wanted, and hardly more
    (SPARE_ML): enough to go round, little to throw away.

    Raises EqlibError for an unknown demonstration or vessel, or a volume that is not above 0.
    """
    demo, vessel = _found(plan)
    start = demo.system.mixture().with_(volume=plan.start_mL / 1000)
    change = disturb(start, _of(demo.step.stress, plan.add_mL))
    back = disturb(change.after.mixture, _of(demo.reversal.stress, plan.back_mL))
    water = disturb(start, Stress.dilute(plan.add_mL / 1000))
    path, view = vessel.path_cm(plan.start_mL), "above" if vessel.above else "side"

    def look(pair: Any, audience: float) -> Visibility:
        return visibility(pair, depth_cm=path, audience=audience, view=view)

    seen = look(change, BACK_ROW)
    left = plan.start_mL + plan.add_mL + plan.back_mL
    said = (
        _seen(seen),
        _grey(seen),
        _dilution(look((water.after, change.after), NOT_DILUTION)),
        _safe(demo, start, plan),
        _turned(look((change.after, back.after), BACK_ROW), change, back),
        _size(plan, vessel, left),
        _amount(left, least_mL),
    )
    return Judged(plan, said, change, back, seen)


def _found(plan: Plan) -> tuple[Demo, Vessel]:
    known = demonstrations()
    if plan.demo not in known:
        raise EqlibError(f"there is no demonstration {plan.demo!r}; write one of {', '.join(known)}")
    if plan.vessel not in VESSELS:
        raise EqlibError(f"there is no vessel {plan.vessel!r}; write one of {', '.join(VESSELS)}")
    for name in ("start_mL", "add_mL", "back_mL"):
        value = getattr(plan, name)
        if not 0 < value <= 1000:
            raise EqlibError(f"{name} is {value:g}; write millilitres above 0, and at most 1000")
    return known[plan.demo], VESSELS[plan.vessel]


def _seen(look: Visibility) -> Requirement:
    if look.clouds:
        return Requirement("seen", True, "A cloud comes or goes: the back row sees that.")
    words = f"The colours differ by {look.delta_e:.0f}; the back row needs {BACK_ROW:.0f}."
    return Requirement("seen", look.visible, words)


def _grey(look: Visibility) -> Requirement:
    least = min(look.delta_e_grey, *look.by_deficiency.values())
    if look.clouds:
        return Requirement("grey", True, "A cloud needs no colour.")
    words = (
        f"In grey they differ by {look.delta_e_grey:.0f}, and for the colour-blind eye that sees least by "
        f"{least:.0f}; {BACK_ROW:.0f} is needed."
    )
    return Requirement("grey", look.for_everyone, words)


def _dilution(look: Visibility) -> Requirement:
    words = (
        f"Beside a control with as much water it differs by {look.delta_e:.0f}; {NOT_DILUTION:.0f} is needed."
    )
    return Requirement("more than dilution", look.visible, words)


def _safe(demo: Demo, start: Mixture, plan: Plan) -> Requirement:
    """Nothing that can injure for life, and nothing for staff in a fume cupboard only."""
    done = (_of(demo.step.stress, plan.add_mL), _of(demo.reversal.stress, plan.back_mL))
    cautions = cautions_for(demo.system, start, done)
    grave = [c for c in cautions if c.gravity == 1]
    if demo.system.recipe.demonstration_only and not grave:
        return Requirement("safe", False, "Only trained staff may show this one.")
    if grave:
        return Requirement("safe", False, f"Not on an open bench: {grave[0].words}")
    care = next((f" Take care: {c.words}" for c in cautions if c.gravity == 2), "")
    return Requirement("safe", True, f"Nothing in it needs a fume cupboard or trained staff alone.{care}")


def _turned(look: Visibility, change: Disturbance, back: Disturbance) -> Requirement:
    opposite = {change.direction, back.direction} == {"forward", "reverse"}
    words = f"Turning it back changes the look by {look.delta_e:.0f}; {BACK_ROW:.0f} is needed."
    if not opposite:
        words = "The second addition does not drive the reaction back."
    elif look.clouds:
        words = "Turning it back brings or clears the cloud."
    return Requirement("turned back", opposite and look.visible, words)


def _size(plan: Plan, vessel: Vessel, left: float) -> Requirement:
    depth = plan.start_mL / vessel.area_cm2
    if left > vessel.capacity_mL:
        words = f"{number(left)} mL run over: it holds {vessel.capacity_mL:g} mL."
        return Requirement("large enough", False, words)
    if vessel.width_cm < LEAST_WIDTH_CM:
        words = (
            f"{vessel.width_cm:g} cm across is too small for a back row, which needs {LEAST_WIDTH_CM:g} cm."
        )
        return Requirement("large enough", False, words)
    words = f"It stands {depth:.1f} cm high; {vessel.least_cm:g} cm are needed."
    return Requirement("large enough", depth >= vessel.least_cm, words)


def _amount(left: float, least: float) -> Requirement:
    most = least + SPARE_ML
    words = f"{number(left)} mL stand there in the end; {number(least)} to {number(most)} mL are wanted."
    return Requirement("amount", least <= left <= most, words)


@lru_cache(maxsize=256)
def some_plan(least_mL: float) -> Plan | None:
    """A plan that meets every requirement, the first found; None where none of those tried does."""
    for demo, found in demonstrations().items():
        start, add, back = (
            1000 * (part.volume or 0.0)
            for part in (found.system.mixture(), found.step.stress, found.reversal.stress)
        )
        for vessel in ("cylinder", "dish", "beaker"):
            for more in (1.0, 1.5):
                scale = (least_mL + SPARE_ML / 2) / (start + more * (add + back))
                volumes = (round(v * scale, 2) for v in (start, more * add, more * back))
                plan = Plan(demo, vessel, *volumes)
                if all(one.met for one in judge(plan, least_mL).requirements):
                    return plan
    return None
