"""How a colour looks with a colour-vision deficiency, or on a grey copy: for checking, never for marking.

About 8 % of men have one. The simulation is that of G. M. Machado, M. M. Oliveira and L. A. F. Fernandes,
IEEE Transactions on Visualization and Computer Graphics 15 (2009) 1291-1298, with the matrices that
colour-science carries, applied to linear sRGB; for tritan its authors call it an approximation. It shows
which differences are lost; it does not show what anyone feels.
"""

from functools import lru_cache

import numpy as np

from eqlib.errors import EqlibError
from eqlib.lab.colour_difference import ciede2000
from eqlib.lab.colour_lights import colour_science, unremarked
from eqlib.lab.colour_spaces import decode_srgb, encode_srgb, linear_to_xyz, rgb_to_lab

# Our word -> the library's.
KINDS = {"protan": "Protanomaly", "deutan": "Deuteranomaly", "tritan": "Tritanomaly"}
GREY = "grey"


def simulate(rgb, kind, severity=1.0):
    """Screen colours (integers 0-255, last axis 3) as someone with the deficiency ``kind`` sees them.

    ``kind`` is "protan", "deutan" or "tritan", or "grey" for a copy without colour. ``severity`` runs from
    0 (none) to 1 (the cone type is missing) and is not used for "grey". Returns integers 0-255 of the same
    shape.
    """
    linear = decode_srgb(np.asarray(rgb, dtype=float) / 255.0)
    if kind == GREY:
        changed = np.repeat(linear_to_xyz(linear)[..., 1:2], 3, axis=-1)
    else:
        changed = linear @ _matrix(kind, severity).T
    return np.rint(255.0 * encode_srgb(np.clip(changed, 0.0, 1.0))).astype(int)


def difference(first, second, kind, severity=1.0):
    """CIEDE2000 between two screen colours as seen with the deficiency ``kind`` (or "grey")."""
    return float(ciede2000(*(rgb_to_lab(simulate(rgb, kind, severity) / 255.0) for rgb in (first, second))))


@lru_cache(maxsize=64)
def _matrix(kind, severity):
    if kind not in KINDS:
        raise EqlibError(f"no colour-vision deficiency is called {kind!r}; write {', '.join([*KINDS, GREY])}")
    if not 0.0 <= severity <= 1.0:
        raise EqlibError(
            f"severity is {severity!r}; write a number from 0 (none) to 1 (a cone type is missing)"
        )
    library = colour_science()
    with unremarked():
        matrix = library.matrix_cvd_Machado2009(KINDS[kind], severity)
    return np.asarray(matrix, dtype=float)
