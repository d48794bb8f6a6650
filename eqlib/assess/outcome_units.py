"""The unit a number is asked in: how the chemistry's value is written in it, and whether it suits."""

from __future__ import annotations

from functools import cache

from eqlib.assess.questions_schema import QuestionError
from eqlib.assess.reading.text import Unreadable
from eqlib.assess.reading.units import (
    is_power_of_concentration,
    parse_unit,
    pretty_unit,
    standard_size,
)

#: Results that are in the unit of the data they come from, whatever that is.
_AS_GIVEN = ("mean", "s", "n", "absorbance")
#: What these are measured in; K, Kp and Q are looked at by their reaction.
_USUAL = {
    "concentration": "mol/L",
    "extent": "mol/L",
    "dH": "kJ/mol",
    "epsilon": "L/(mol cm)",
    "absorbance": "",
    "n": "",
}
_ABSORPTIVITY = (2, 0, 0, -1, 0)


def part_scale(part) -> float:
    """The factor from mol/L (J/mol, L/(mol cm), or no unit) to the unit ``part`` is asked in."""
    return 1.0 if part.quantity in _AS_GIVEN else unit_scale(part.unit)


@cache
def unit_scale(unit: str) -> float:
    """The factor from mol/L and its powers, J/mol or L/(mol cm) to ``unit``."""
    found = parse_unit(unit)
    if found.dims == _ABSORPTIVITY:  # the path is in cm
        return float(parse_unit("L/(mol cm)").size / found.size)
    return float(1 / (standard_size(found) if is_power_of_concentration(found) else found.size))


def check_units(parts, reaction, where: str) -> None:
    """Every number is asked in a unit that it can have. Raises QuestionError naming one that would do."""
    for part in parts:
        if part.ask == "number" and part.unit:
            _check_unit(part, reaction, f"{where}: part {part.id!r}")


def _check_unit(part, reaction, where) -> None:
    try:
        given = parse_unit(part.unit)
    except Unreadable as error:
        raise QuestionError(f"{where}: unit: {error}") from None
    usual = _USUAL.get(part.quantity)
    if part.quantity in ("K", "Q", "Kp"):
        if reaction is None or (is_power_of_concentration(given) and _suits(given, part, reaction)):
            return
        usual = _unit_of_K(reaction) if reaction.basis == "c" and part.quantity != "Kp" else ""
    if usual is not None and parse_unit(usual).dims != given.dims:
        mend = f"write one like {pretty_unit(usual)}" if usual else "leave it out"
        raise QuestionError(f"{where}: unit is {part.unit!r}, which this number does not have; {mend}")


def _suits(given, part, reaction) -> bool:
    """The right power of a concentration for a Kc; a Kp, with gases in bar, is looked at less closely."""
    if reaction.basis != "c" or part.quantity == "Kp":
        return True
    usual = _unit_of_K(reaction)
    return bool(usual) and parse_unit(usual).dims == given.dims


def _unit_of_K(reaction) -> str:
    """The unit of a Kc: mol/L to the power of the coefficients that stand in it, added up."""
    power = sum(reaction.quotient_species.values())
    size = "" if abs(power) == 1 else f"^{abs(power):g}"
    return "" if not power else f"mol{size}/L{size}" if power > 0 else f"L{size}/mol{size}"
