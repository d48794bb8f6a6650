"""The eye and the lamp: weights that turn a spectrum into three numbers.

``colour_observer.csv`` holds the CIE 1931 2 degree colour-matching functions and five CIE illuminants every
5 nm from 380 to 780 nm. It was written by ``observer_table`` below from the colour-science package, and a
test compares the two. It is shipped because that package takes some two seconds to import, which a slider
should not wait for; any other illuminant that colour-science knows by name is fetched from it when asked
for.

Sources: CIE 015:2018, Colorimetry, 4th edition, as tabulated by colour-science (BSD licence).
"""

import contextlib
import csv
import io
import warnings
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources

import numpy as np

from eqlib.errors import EqlibError

GRID_NM = np.arange(380.0, 781.0, 5.0)
GRID_NM.setflags(write=False)

# What a person calls the lamp -> its CIE name. All but the names are data.
LIGHTS = {
    "daylight": "D65",
    "tungsten": "A",
    "warm LED": "LED-B1",
    "neutral LED": "LED-B3",
    "cool fluorescent": "FL2",
}


@dataclass(frozen=True, eq=False)
class Light:
    """An illuminant seen by the standard observer.

    ``weights`` has shape (3, 81): multiplied by a transmittance on ``GRID_NM`` it gives X, Y, Z with Y =
    100 for a perfect transmitter. ``white`` is that perfect transmitter's XYZ, ``name`` the CIE name,
    ``power`` the relative spectral power on ``GRID_NM``.
    """

    name: str
    weights: np.ndarray
    white: np.ndarray
    power: np.ndarray


@contextlib.contextmanager
def unremarked():
    """Keeps colour-science's notices (missing optional packages, the limits of a model) from the reader's
    screen.
    """
    with warnings.catch_warnings(), contextlib.redirect_stderr(io.StringIO()):
        warnings.simplefilter("ignore")
        yield


def colour_science():
    """The colour-science package, imported without its notices about optional packages; none is needed
    here.
    """
    with unremarked():
        import colour
    return colour


def observer_table():
    """Rows of (nm, x, y, z, then each illuminant of ``LIGHTS``) taken from colour-science: how the CSV was
    made.
    """
    library = colour_science()
    observer = library.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    columns = [GRID_NM]
    columns += [np.interp(GRID_NM, observer.wavelengths, observer.values[:, i]) for i in range(3)]
    columns += [_library_power(name) for name in LIGHTS.values()]
    return np.column_stack(columns)


@lru_cache(maxsize=32)
def light(name="daylight"):
    """The ``Light`` called ``name``: a key of ``LIGHTS``, or any CIE illuminant name such as "D50" or "FL11".

    Raises EqlibError for a name that neither this module nor colour-science knows.
    """
    header, table = _shipped()
    cie_name = LIGHTS.get(name, name)
    if cie_name in header:
        power = table[:, header.index(cie_name)]
    else:
        power = _library_power(cie_name)
    return _weighted(cie_name, power)


def _weighted(name, power):
    _, table = _shipped()
    raw = table[:, 1:4].T * power
    weights = 100.0 * raw / raw[1].sum()
    white = weights.sum(axis=1)
    for array in (weights, white, power):
        array.setflags(write=False)
    return Light(name, weights, white, power)


@lru_cache(maxsize=1)
def _shipped():
    text = resources.files("eqlib.lab").joinpath("colour_observer.csv").read_text(encoding="utf-8")
    rows = list(csv.reader(line for line in text.splitlines() if not line.startswith("#")))
    return rows[0], np.array(rows[1:], dtype=float)


def _library_power(name):
    known = colour_science().SDS_ILLUMINANTS
    if not isinstance(name, str) or name not in known:
        ours = ", ".join(repr(ours) for ours in LIGHTS)
        raise EqlibError(
            f"no light is called {name!r}; write {ours}, or a CIE illuminant such as 'D50' or 'FL11'"
        )
    spectrum = known[name]
    return np.interp(GRID_NM, spectrum.wavelengths, spectrum.values, left=0.0, right=0.0)
