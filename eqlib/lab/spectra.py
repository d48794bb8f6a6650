"""How strongly a mixture absorbs, from the catalogue's spectra (Beer-Lambert).

Molar absorptivities are decadic, in L mol^-1 cm^-1. Where only a maximum is published the catalogue draws a
Gaussian in wavenumber and says so. A species without a spectrum in the catalogue is taken as colourless.
"""

import os
from functools import lru_cache

import numpy as np

from eqlib.chem import catalogue
from eqlib.chem.catalogue.load import OWN_FOLDER
from eqlib.errors import EqlibError
from eqlib.lab.colour_lights import GRID_NM


def absorbance_spectrum(concentrations, path_cm=1.0):
    """Decadic absorbance on ``GRID_NM`` of a mapping species -> mol/L, through ``path_cm`` of it."""
    names, matrix = coloured(concentrations)
    amounts = np.array([concentrations[name] for name in names], dtype=float)
    return path_cm * (amounts @ matrix)


def absorbance_at(concentrations, nm, path_cm=1.0):
    """Decadic absorbance at ``nm`` (a number or an array) of a mapping species -> mol/L."""
    try:
        nm = np.asarray(nm, dtype=float)
    except (TypeError, ValueError):
        raise EqlibError(f"a wavelength must be a positive number of nm, not {nm!r:.40}") from None
    if not np.all(np.isfinite(nm)) or np.any(nm <= 0):
        raise EqlibError(f"a wavelength must be a positive number of nm, not {nm.tolist()!r}")
    total = np.zeros(nm.shape)
    for name, spectrum in _spectra(concentrations).items():
        total = total + path_cm * concentrations[name] * spectrum.epsilon(nm)
    return total if total.ndim else float(total)


def coloured(names):
    """Those of ``names`` that have a spectrum, and their molar absorptivities on ``GRID_NM`` as rows."""
    spectra, rows = _read(tuple(names), os.environ.get(OWN_FOLDER, ""))
    return tuple(spectra), rows


def _spectra(names):
    return _read(tuple(names), os.environ.get(OWN_FOLDER, ""))[0]


@lru_cache(maxsize=256)
def _read(names, _own_folder):
    """Spectra by name and as rows; kept for each folder of own systems, which may bring its own spectra."""
    found = {name: spectrum for name in names if (spectrum := catalogue.spectrum(name)) is not None}
    rows = np.array([spectrum.epsilon(GRID_NM) for spectrum in found.values()], dtype=float)
    rows = rows.reshape(len(found), GRID_NM.size)
    rows.setflags(write=False)
    return found, rows


def seen_through(state):
    """Species -> mol/L that light meets on its way through a State: the solution, or the gas where there is
    none.

    Gas above a solution is left out: one looks through the liquid.
    """
    if not hasattr(state, "concentrations"):
        raise EqlibError(
            f"a {type(state).__name__} has no colour of its own; give a State, such as mixture.equilibrate()"
        )
    everything = {name: float(amount) for name, amount in state.concentrations.items()}
    gases = {name: amount for name, amount in everything.items() if name.endswith("(g)")}
    dissolved = {name: c for name, c in everything.items() if not name.endswith(("(g)", "(s)", "(l)"))}
    return dissolved or gases
