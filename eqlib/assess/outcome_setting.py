"""From a question's text and one student's numbers to the objects of the chemistry: reactions, start,
stress.
"""

from __future__ import annotations

import difflib
from decimal import Decimal

from eqlib.assess.kinds import Portion
from eqlib.assess.questions_schema import QuestionError
from eqlib.errors import EqlibError

_KELVIN = 273.15
#: Where a loaded question keeps its System, so that a catalogue file is read once and not for every student.
FOUND = "system found"


def system_of(given):
    """The catalogue system a question names (a path ending in .toml is taken from the question file's
    folder).
    """
    if FOUND in given:
        return given[FOUND]
    from eqlib.chem.catalogue import system, systems

    name = given["system"]
    if name.endswith(".toml"):
        return system(given["folder"] / name if given.get("folder") else name)
    try:
        return system(name)
    except EqlibError as error:
        close = difflib.get_close_matches(name, list(systems()), n=1)
        if close and close[0] not in str(error):
            raise QuestionError(
                f"system {name!r} is not in the catalogue; did you mean {close[0]!r}?"
            ) from None
        raise


def first_reaction(given):
    """The question's first reaction, whatever its K."""
    from eqlib.chem.reactions import Reaction

    if "system" in given:
        return _used(system_of(given).reactions, given)[0]
    return Reaction(given["reactions"][0]["text"])


def reactions_of(given, numbers) -> tuple:
    """The question's reactions with this student's constants. Empty when there is no chemistry."""
    if "system" in given:
        reactions = _used(system_of(given).reactions, given)
    else:
        reactions = tuple(_inline(table, numbers) for table in given.get("reactions", ()))
    if reactions and given.get("basis", reactions[0].basis) != reactions[0].basis:
        reactions = (reactions[0].as_basis(given["basis"], reactions[0].T), *reactions[1:])
    if reactions and "K" in given:
        reactions = (reactions[0].with_K(value_of(given["K"], numbers)), *reactions[1:])
    return reactions


def _used(reactions, given) -> tuple:
    chosen = given.get("use")
    if chosen is None:
        return tuple(reactions)
    for index in chosen:
        if type(index) is not int or not 0 <= index < len(reactions):
            raise QuestionError(f"use holds {index!r}; the system has reactions 0 to {len(reactions) - 1}")
    return tuple(reactions[index] for index in chosen)


def _inline(table, numbers):
    from eqlib.chem.reactions import Reaction

    settings = {"basis": table.get("basis", "c")}
    if "K" in table:
        settings["K"] = value_of(table["K"], numbers)
    if "celsius" in table:
        settings["T"] = value_of(table["celsius"], numbers) + _KELVIN
    if "dH_kJ" in table:
        settings["dH"] = 1000.0 * value_of(table["dH_kJ"], numbers)
    return Reaction(table["text"], **settings)


def value_of(item, numbers) -> float:
    """A number of the question file, or the student's number of that name."""
    if isinstance(item, str):
        return numbers[item]
    return float(item) if isinstance(item, (int, Decimal)) else item


def contents(table, numbers) -> dict[str, float]:
    """What is in a bottle, as species -> mol/L, from ``of`` (mol/L) or ``of_mM``. Salts become their ions."""
    from eqlib.chem.salts import dissolved

    scale = 1.0 if "of" in table else 1e-3
    named = table.get("of", table.get("of_mM", {}))
    return dissolved({name: scale * value_of(item, numbers) for name, item in named.items()})


def portions_of(given, numbers) -> tuple[Portion, ...]:
    """What is poured together, in order; ``to_mL`` is completed with water (or with the portion's own
    solution).
    """
    poured, volume = [], 0.0
    for table in given.get("start", {}).get("portions", ()):
        litres = 1e-3 * value_of(table["mL"] if "mL" in table else table["to_mL"], numbers)
        if "mL" in table and litres < 0:
            raise QuestionError(f"start: a portion has {1e3 * litres:g} mL; write a volume of 0 or more")
        if "to_mL" in table:
            litres -= volume
        if litres < -1e-12:
            raise QuestionError(f"start: the portions already pass {table['to_mL']} mL; raise it")
        poured.append(Portion(contents(table, numbers), max(litres, 0.0)))
        volume += max(litres, 0.0)
    return tuple(poured)


def start_mixture(given, reactions, portions, numbers):
    """The Mixture before any stress, or None when the question has no start to compute."""
    from eqlib.chem.mixture import Mixture
    from eqlib.chem.species import canonical

    start = given.get("start")
    if start is None:
        return system_of(given).mixture() if "system" in given else None
    settings = {}
    if "celsius" in start:
        settings["T"] = value_of(start["celsius"], numbers) + _KELVIN
    if "pressure_bar" in start:
        settings["pressure"] = value_of(start["pressure_bar"], numbers)
    if "headspace_L" in start:
        settings["headspace"] = value_of(start["headspace_L"], numbers)
    if portions:
        volume = sum(portion.volume for portion in portions)
        if volume <= 0:
            raise QuestionError("start: the portions have no volume; give at least one a volume above 0")
        totals: dict[str, float] = {}
        for portion in portions:
            for name, molar in portion.concentrations.items():
                totals[name] = totals.get(name, 0.0) + molar * portion.volume / volume
    else:
        volume = value_of(start.get("volume_L", 1), numbers)
        totals = {canonical(name): value_of(item, numbers) for name, item in start.get("totals", {}).items()}
    for name, item in start.get("solids", {}).items():
        totals[canonical(name)] = 1e-3 * value_of(item, numbers) / volume
    return Mixture(totals, reactions=list(reactions), volume=volume, **settings)


def stress_of(given, numbers):
    """The eqlib.chem Stress of a question, or None."""
    table = given.get("stress")
    if table is None:
        return None
    if isinstance(table, str):
        return system_of(given).steps[table].stress
    from eqlib.chem.stress import Stress

    def number(key, scale=1.0):
        return scale * value_of(table[key], numbers)

    makers = {
        "add_solution": lambda: Stress.add_solution(contents(table, numbers), volume=number("mL", 1e-3)),
        "dilute": lambda: Stress.dilute(number("mL", 1e-3)),
        "add_solid": lambda: Stress.add_solid(table["formula"], number("mmol", 1e-3)),
        "add": lambda: Stress.add(table["species"], number("mmol", 1e-3)),
        "remove": lambda: Stress.remove(table["species"], number("mmol", 1e-3)),
        "heat_to": lambda: Stress.heat_to(number("celsius") + _KELVIN),
        "change_volume": lambda: Stress.change_volume(number("L") if "L" in table else number("mL", 1e-3)),
        "add_inert": lambda: Stress.add_inert(number("mmol", 1e-3), constant=table["constant"]),
        "catalyse": lambda: Stress.catalyse(),
    }
    return makers[table["kind"]]()


def cautions_of(given, numbers) -> tuple[str, ...]:
    """The few cautions for what is in this question's vessel, gravest first (see eqlib.lab.cautions)."""
    from eqlib.chem.catalogue import system
    from eqlib.lab.cautions import cautions_for

    systems = [system_of(given)] if "system" in given else []
    systems += [system(name) for name in given.get("cautions_from", ())]
    mixture = start_mixture(given, reactions_of(given, numbers), portions_of(given, numbers), numbers)
    return tuple(caution.words for caution in cautions_for(systems, mixture, stress_of(given, numbers)))
