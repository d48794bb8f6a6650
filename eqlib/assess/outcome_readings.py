"""What a question gives the student to work from: readings, and constants out of the catalogue, as printed.

Nothing is typed twice: the same rounded number stands in the prompt, goes into the calculation and into the
working.
"""

from __future__ import annotations

from decimal import ROUND_HALF_EVEN, Decimal

from eqlib.assess.questions_schema import QuestionError

READINGS = ("absorbance", "concentration", "temperatures", "runs")
#: In a question file: take this absorptivity from the catalogue.
CATALOGUE = "catalogue"
#: Where a loaded question notes that it did.
FROM_CATALOGUE = "epsilon from the catalogue"
_KELVIN = 273.15


def round_to(value: float, *, decimals: int | None = None, figures: int | None = None) -> Decimal:
    """``value`` as a decimal with so many decimals, or so many significant figures."""
    exact = Decimal(repr(value))
    if decimals is None:
        decimals = figures - 1 - exact.adjusted() if exact else 0
    return exact.quantize(Decimal(1).scaleb(-decimals), rounding=ROUND_HALF_EVEN)


def catalogue_epsilon(table, where: str) -> Decimal:
    """The catalogue's absorptivity of the observed species at ``nm``, to three figures. Raises
    QuestionError.
    """
    from eqlib.chem.catalogue import spectrum

    found = spectrum(table["species"]) if "species" in table else None
    if found is None or not isinstance(table.get("nm"), (int, Decimal)):
        raise QuestionError(
            f"{where}: epsilon = {CATALOGUE!r} needs nm = ... and a species with a spectrum in the catalogue"
        )
    value = float(found.epsilon(float(table["nm"])))
    if value < 1:
        raise QuestionError(f"{where}: {table['species']} does not absorb at {table['nm']} nm")
    return round_to(value, figures=3)


def computed_names(given, parts) -> set[str]:
    """Placeholders of a prompt beside the question's own numbers: readings, and constants that are given."""
    table, names = given.get("measured", {}), set()
    asked = {part.quantity for part in parts}
    if table.get("reading") in ("absorbance", "concentration"):
        names.add(table["reading"])
    if table.get("reading") == "temperatures" and "K1" not in table:
        names |= {"K1", "K2"}
    if isinstance(table.get("epsilon"), (int, Decimal)) and "epsilon" not in asked:
        names.add("epsilon")
    if ("system" in given or "reactions" in given) and "K" not in asked and "dH" not in asked:
        names.add("K")
    return names


def catalogue_constants(table, reactions, numbers, value_of) -> dict[str, Decimal]:
    """K of the first reaction at both temperatures, to three figures: what the student is given. Raises
    EqlibError.
    """
    if not reactions:
        raise QuestionError("measured: K1 and K2 are missing, and there is no system to take them from")
    found = {}
    for n in (1, 2):
        kelvin = value_of(table[f"celsius{n}"], numbers) + _KELVIN
        found[f"K{n}"] = round_to(float(reactions[0].at(kelvin).K), figures=3)
    return found
