"""The scene of a question: in which vessel its mixture stands, and what the bottle beside it says."""

from __future__ import annotations

from eqlib.assess.question import Case, Question
from eqlib.chem.salts import dissolved
from eqlib.chem.species import species
from eqlib.chem.state import State
from eqlib.chem.stress import Stress
from eqlib.errors import EqlibError
from eqlib.lab.scene import Scene, is_closed, vessel_kind
from eqlib.writing import number


def scene_of(question: Question, case: Case, recorded: bool = False) -> Scene | None:
    """What there is to see in a student's copy (``case``), or None where nothing is done to a mixture."""
    d = case.disturbance
    if d is None:
        return None
    kind, bottle = kind_of(question, d.before), bottle_of(question, d.stress)
    return Scene(d, kind, bottle, recorded, is_closed(question.prompt + question_vessel(question)))


def kind_of(question: Question, state: State) -> str:
    """Which vessel holds a mixture: said by the question or the system's recipe, else by what is in it."""
    measured = question.setting.measured
    dissolved_in_it = any(species(name).phase == "aq" for name in state.amounts)
    if dissolved_in_it and measured is not None and measured.path_cm is not None:
        return "cell"
    return vessel_kind(state, question_vessel(question))


def question_vessel(question: Question) -> str:
    """The vessel as the question's own text or the system's recipe names it."""
    found = question.setting.found
    usual = "" if found is None else found.recipe.vessel
    for kind in ("tube", "flask"):
        if kind in question.prompt.lower():
            return kind if "syringe" in usual or kind not in usual else usual
    return usual


def bottle_of(question: Question, stress: Stress) -> str:
    """The label of what is about to be added: "0.18 mL of 0.100 M AgNO₃"."""
    table = question.setting.stress
    if stress.kind == "dilute":
        return f"{number(1000 * stress.litres)} mL of water"
    if stress.kind == "heat_to":
        return f"bath at {stress.kelvin - 273.15:.0f} °C"
    if stress.kind == "change_volume":
        return f"plunger to {number(1000 * stress.litres)} mL"
    if stress.kind == "catalyse":
        return "a catalyst"
    if stress.kind in ("add_solid", "add", "remove", "add_inert"):
        name, mol = stress.amounts[0]
        return f"{number(1000 * mol)} mmol of {species(name).unicode}"
    salts = list(getattr(table, "of", None) or getattr(table, "of_mM", None) or ())
    named = dict(stress.amounts)
    main = salts[0] if salts else max(named, key=lambda name: named[name])
    if main not in named:
        ions = dissolved({main: 1.0})
        named[main] = min(named[name] / count for name, count in ions.items() if name in named)
    value = named[main]
    strength = f"{number(value)} M" if value >= 0.5 else f"{number(1000 * value)} mM"
    return f"{number(1000 * stress.litres)} mL of {strength} {salt(main)}"


def salt(formula: str) -> str:
    """A formula as printed, salts included: Fe(NO3)3 -> Fe(NO₃)₃."""
    try:
        return species(formula).unicode
    except EqlibError:
        return formula
