"""eqlib: the chemistry of equilibrium, its questions and their marks.

Names are loaded on first use, so that ``import eqlib`` is quick and needs no Jupyter, SymPy or matplotlib.
"""

from importlib import import_module as _import_module

TYPE_CHECKING = False  # to import typing takes ten times as long as this file
if TYPE_CHECKING:
    from typing import Any

__version__ = "0.1.0"

# Public name -> the module that defines it.
_HOME = {
    "EqlibError": "eqlib.errors",
    "Species": "eqlib.chem.species",
    "species": "eqlib.chem.species",
    "Reaction": "eqlib.chem.reactions",
    "balance": "eqlib.chem.reactions",
    "water": "eqlib.chem.reactions",
    "ice": "eqlib.chem.ice",
    "ice_from_measured": "eqlib.chem.ice",
    "ions_of": "eqlib.chem.salts",
    "K_from_dG": "eqlib.chem.thermo",
    "dG_from_K": "eqlib.chem.thermo",
    "dG_from_Q": "eqlib.chem.thermo",
    "K_from_dH_dS": "eqlib.chem.thermo",
    "vant_hoff": "eqlib.chem.thermo",
    "Mixture": "eqlib.chem.mixture",
    "State": "eqlib.chem.state",
    "equilibrate_many": "eqlib.chem.solver.batch",
    "Stress": "eqlib.chem.stress",
    "disturb": "eqlib.chem.disturb",
    "sweep": "eqlib.chem.sweeps",
    "time_course": "eqlib.chem.kinetics",
    "system": "eqlib.chem.catalogue",
    "systems": "eqlib.chem.catalogue",
    "Colour": "eqlib.lab.colour",
    "colour_of": "eqlib.lab.colour",
    "absorbance": "eqlib.lab.colour",
    "delta_e": "eqlib.lab.colour",
    "visibility": "eqlib.lab.look",
    "prep_sheet": "eqlib.lab.prep",
    "load_questions": "eqlib.assess.load",
    "mark": "eqlib.assess.mark",
}

__all__ = ["__version__", *sorted(_HOME)]


def __getattr__(name: str) -> "Any":
    try:
        module = _HOME[name]
    except KeyError:
        raise AttributeError(f"module 'eqlib' has no attribute {name!r}") from None
    value = getattr(_import_module(module), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted(set(globals()) | set(_HOME))
