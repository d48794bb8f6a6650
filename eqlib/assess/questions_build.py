"""One [[question]] of a question file, checked as a whole."""

from __future__ import annotations

from eqlib.assess.outcome_readings import (
    CATALOGUE,
    FROM_CATALOGUE,
    READINGS,
    catalogue_epsilon,
)
from eqlib.assess.outcome_units import check_units
from eqlib.assess.questions_asked import check_asked, check_items, check_present, check_prompt
from eqlib.assess.questions_parts import build_part, read_species, texts
from eqlib.assess.questions_schema import (
    ID,
    KINDS,
    MEASURED,
    PORTION,
    QUESTION,
    REACTION,
    REVEALS,
    START,
    QuestionError,
    check_keys,
    check_stress,
    near,
    need,
    one_of,
    read_policy,
)
from eqlib.assess.variants import VariantError, read_range
from eqlib.errors import EqlibError

#: Readings that are made by computing the mixture.
_OF_MIXTURE = ("absorbance", "concentration")
_CHEMISTRY = ("system", "reactions", "use", "K", "basis", "start", "stress", "measured", "cautions_from")


def build_question(entry, number: int, name: str, assignment, path) -> dict:
    """The settings of a Question. Raises QuestionError."""
    label = entry.get("id") if isinstance(entry, dict) else None
    where = f"{name}: question {label!r}" if isinstance(label, str) else f"{name}: question number {number}"
    check_keys(entry, QUESTION, where)
    need(entry, ("id", "kind", "points", "title", "prompt", "part"), where)
    if not ID.fullmatch(entry["id"]):
        raise QuestionError(
            f"{where}: id {entry['id']!r} should be letters, digits, dots, dashes and underscores"
        )
    points = float(entry["points"])
    if not 0 < points <= 1000:
        raise QuestionError(f"{where}: points is {points:g}; write a number above 0")
    parts = _parts(entry, where)
    ranges = _ranges(entry.get("numbers", {}), where)
    given = {key: entry[key] for key in _CHEMISTRY if key in entry}
    given["folder"] = None if path is None else path.parent
    _check_chemistry(given, where)
    _check_names(given, ranges, where)
    check_items(parts, ranges, where)
    _try_chemistry(given, ranges, parts, where)
    check_asked(entry, parts, where)
    check_prompt(entry["prompt"], ranges, given, parts, where)
    return {
        "id": entry["id"],
        "kind": one_of(entry["kind"], KINDS, where, "kind"),
        "title": entry["title"],
        "points": points,
        "prompt": entry["prompt"],
        "parts": _with_columns(parts, given, where),
        "ranges": ranges,
        "given": given,
        "policy": read_policy(entry.get("policy", {}), assignment.policy, where),
        "mode": one_of(entry.get("mode", assignment.mode), ("practice", "assessed"), where, "mode"),
        "reveal": one_of(entry.get("reveal", "after-answer"), REVEALS, where, "reveal"),
        "hints": texts(entry, "hints", where),
    }


def _parts(entry, where):
    if not entry["part"]:
        raise QuestionError(f"{where}: nothing is asked; add at least one [[question.part]]")
    parts = [
        build_part(table, f"{where}, part number {number}", entry["id"])
        for number, table in enumerate(entry["part"], start=1)
    ]
    names = [part.id for part in parts]
    for name in names:
        if names.count(name) > 1:
            raise QuestionError(f"{where}: two parts are called {name!r}; give one of them another id")
    if not any(part.scored for part in parts):
        raise QuestionError(f"{where}: no part earns points; give one of them a weight above 0")
    return tuple(parts)


def _ranges(table, where):
    ranges = {}
    for name, given in table.items():
        if not name.isidentifier():
            raise QuestionError(f"{where}: number {name!r} needs a name of letters, digits and underscores")
        try:
            ranges[name] = read_range(name, given)
        except VariantError as error:
            raise QuestionError(f"{where}: {error}") from None
    return ranges


def _check_chemistry(given, where) -> None:
    if "system" in given and "reactions" in given:
        raise QuestionError(f"{where}: has both system and reactions; keep one")
    for number, table in enumerate(given.get("reactions", ()), start=1):
        check_keys(table, REACTION, f"{where}, reaction number {number}")
        need(table, ("text",), f"{where}, reaction number {number}")
    if "basis" in given:
        one_of(given["basis"], ("c", "p"), where, "basis")
    if "reactions" in given and not given["reactions"]:
        raise QuestionError(f"{where}: reactions is empty; write at least one")
    start = given.get("start", {})
    check_keys(start, START, f"{where}, start")
    if "portions" in start and "totals" in start:
        raise QuestionError(f"{where}, start: has both portions and totals; keep one")
    for number, portion in enumerate(start.get("portions", ()), start=1):
        here = f"{where}, start, portion number {number}"
        check_keys(portion, PORTION, here)
        if ("mL" in portion) == ("to_mL" in portion):
            raise QuestionError(
                f"{here}: say how much once, as mL (this portion) or to_mL (water up to this volume)"
            )
        if "of" in portion and "of_mM" in portion:
            raise QuestionError(f"{here}: say what is in it once, as of (mol/L) or of_mM (mmol/L)")
    for name in start.get("solids", {}):
        if not read_species(name, f"{where}, start, solids").endswith("(s)"):
            raise QuestionError(f"{where}, start, solids: {name!r} is not a solid; pour it in under portions")
    if "stress" in given:
        check_stress(given["stress"], where)
    if "measured" in given:
        _check_measured(given, f"{where}, measured")
    _look_up(given, where)


def _check_measured(given, where) -> None:
    table = given["measured"]
    check_keys(table, MEASURED, where)
    need(table, ("reading",), where)
    reading = one_of(table["reading"], READINGS, where, "reading")
    constants = () if "system" in given else ("K1", "K2")
    needed = {
        "absorbance": ("species", "epsilon", "path_cm"),
        "concentration": ("species",),
        "temperatures": (*constants, "celsius1", "celsius2"),
        "runs": ("runs",),
    }[reading]
    need(table, needed, where)
    if reading in _OF_MIXTURE and "start" not in given and "system" not in given:
        raise QuestionError(f"{where}: there is no mixture to read; add [question.start]")
    for key, least in (("decimals", 0), ("figures", 1)):
        if key in table and (type(table[key]) is not int or not least <= table[key] <= 9):
            raise QuestionError(f"{where}: {key} is {table[key]}; write a whole number from {least} to 9")
    if "species" in table:
        table["species"] = read_species(table["species"], where)
    if table.get("epsilon") == CATALOGUE:
        table["epsilon"] = catalogue_epsilon(table, where)
        given[FROM_CATALOGUE] = True
    if len(table.get("runs", [0, 0])) < 2:
        raise QuestionError(f"{where}: runs needs at least two of the question's numbers")


def _look_up(given, where) -> None:
    """The system, its stress and the reactions exist and can be read."""
    from eqlib.assess.outcome_setting import FOUND, system_of
    from eqlib.chem.reactions import Reaction

    try:
        if "system" in given:
            found = given[FOUND] = system_of(given)
            key = given.get("stress")
            if isinstance(key, str) and key not in found.steps:
                raise QuestionError(
                    f"{where}: system {given['system']!r} has no stress {key!r}{near(key, found.steps)}"
                )
        elif isinstance(given.get("stress"), str):
            raise QuestionError(
                f"{where}: stress {given['stress']!r} is a name, but there is no system to look it up in"
            )
        for table in given.get("reactions", ()):
            Reaction(table["text"])
        for name in given.get("cautions_from", ()):
            system_of({"system": name})
    except QuestionError:
        raise
    except EqlibError as error:
        raise QuestionError(f"{where}: {error}") from None


def _try_chemistry(given, ranges, parts, where) -> None:
    """Put the middle numbers in: constants, formulas, amounts and the stress can be used. Nothing is solved
    yet.
    """
    from eqlib.assess.outcome_setting import portions_of, reactions_of, start_mixture, stress_of

    numbers = {name: float(span.value(span.choices // 2)) for name, span in ranges.items()}
    try:
        reactions = reactions_of(given, numbers)
        for reaction in reactions:
            reaction.require_balanced()
        stress = stress_of(given, numbers)
        _check_heat(stress, reactions)
        portions = portions_of(given, numbers)
        if all(reaction.has_K for reaction in reactions):
            mixture = start_mixture(given, reactions, portions, numbers)
            check_present(parts, given, reactions, mixture, stress)
        elif given.get("measured", {}).get("reading") in _OF_MIXTURE:
            raise QuestionError("the reading is made with K; give every reaction its K")
        check_units(parts, reactions[0] if reactions else None, where)
    except QuestionError as error:
        raise QuestionError(str(error) if str(error).startswith(where) else f"{where}: {error}") from None
    except EqlibError as error:
        raise QuestionError(f"{where}: {error}") from None


def _check_heat(stress, reactions) -> None:
    """Nobody can say what warming does to a reaction whose heat is not known."""
    if stress is not None and stress.kind == "heat_to" and reactions and reactions[0].dH is None:
        raise QuestionError(
            f"stress heat_to: whether {reactions[0]} gives out heat is not known; add dH_kJ to that reaction"
        )


def _check_names(given, ranges, where) -> None:
    """Every name that stands for a number is one of the question's numbers."""
    values = {"mL", "to_mL", "mmol", "celsius", "L", "epsilon", "path_cm", "blank", "nm", "K", "K1", "K2"}
    values |= {"runs", "celsius1", "celsius2", "volume_L", "pressure_bar", "headspace_L", "dH_kJ"}

    def walk(key, value, inside):
        if isinstance(value, dict):
            for name, item in value.items():
                walk(
                    name,
                    item,
                    "values" if inside == "values" or key in ("of", "of_mM", "totals", "solids") else "",
                )
        elif isinstance(value, list):
            for item in value:
                walk(key, item, inside)
        elif isinstance(value, str) and (inside == "values" or key in values) and value not in ranges:
            known = near(value, ranges) if ranges else "; add it under [question.numbers]"
            raise QuestionError(
                f"{where}: {key} is {value!r}, which is not one of the question's numbers{known}"
            )

    for key in ("K", "start", "stress", "measured", "reactions"):
        if key in given and not (key == "stress" and isinstance(given[key], str)):
            table = given[key]
            for name, item in table.items() if isinstance(table, dict) else [(key, table)]:
                walk(name, item, "values" if name in ("of", "of_mM", "totals", "solids") else "")


def _with_columns(parts, given, where):
    """ICE tables get the first reaction's species as columns."""
    if not any(part.ask == "ice" for part in parts):
        return parts
    from dataclasses import replace

    from eqlib.assess.outcome_setting import first_reaction

    try:
        reaction = first_reaction(given)
    except EqlibError as error:
        raise QuestionError(f"{where}: {error}") from None
    from eqlib.chem.species import species

    columns = tuple(name for name in reaction.coefficients if species(name).phase in ("aq", "g"))
    return tuple(replace(part, columns=columns) if part.ask == "ice" else part for part in parts)
