"""Activity coefficients of ions: Davies and extended Debye-Hückel, with the ionic strength made consistent.

log10(gamma) = -A z^2 (sqrt(I) / (1 + sqrt(I)) - 0.3 I)        Davies, usable to about I = 0.5 mol/L
log10(gamma) = -A z^2 sqrt(I) / (1 + B a sqrt(I))              extended Debye-Hückel, to about 0.1 mol/L

A and B follow from the permittivity of water at the temperature. A species without charge has gamma = 1.
Sources: C. W. Davies, Ion Association, 1962; J. Kielland, J. Am. Chem. Soc. 59 (1937) 1675 (ion sizes);
C. G. Malmberg and A. A. Maryott, J. Res. NBS 56 (1956) 1 (permittivity). All from memory.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from eqlib.chem.species import species
from eqlib.errors import EqlibError

MODELS = ("ideal", "davies", "debye-huckel")
VALID_TO = {"davies": 0.5, "debye-huckel": 0.1}
NAMES = {"davies": "Davies equation", "debye-huckel": "extended Debye-Hückel equation"}

# Effective diameter of the hydrated ion, in ångström (Kielland 1937, from memory).
_SIZES = {
    9.0: "H^+ Al^3+ Fe^3+ Cr^3+",
    8.0: "Mg^2+",
    6.0: "Li^+ Ca^2+ Cu^2+ Zn^2+ Mn^2+ Fe^2+ Ni^2+ Co^2+ Sn^2+",
    5.0: "Sr^2+ Ba^2+ Cd^2+ Hg^2+ S^2-",
    4.5: "Pb^2+ CO3^2- CH3COO^-",
    4.0: "Na^+ HCO3^- H2PO4^- SO4^2- HPO4^2- PO4^3-",
    3.5: "OH^- F^- SCN^- MnO4^-",
    3.0: "K^+ Cl^- Br^- I^- CN^- NO3^-",
    2.5: "Ag^+ NH4^+ Rb^+ Cs^+ Tl^+",
}
_SIZE = {name: size for size, names in _SIZES.items() for name in names.split()}
_USUAL_SIZE = 4.5


def permittivity(T: float) -> float:
    """Relative permittivity of water at T (K); 78.30 at 25 °C. Malmberg and Maryott 1956, 0 to 100 °C."""
    t = T - 273.15
    return 87.740 - 0.40008 * t + 9.398e-4 * t * t - 1.410e-6 * t**3


def debye_huckel_A(T: float = 298.15) -> float:
    """A for log10(gamma), in (L/mol)^(1/2); 0.51 at 25 °C."""
    return 1.8246e6 / (permittivity(T) * T) ** 1.5


def debye_huckel_B(T: float = 298.15) -> float:
    """B per ångström, in (L/mol)^(1/2); 0.33 at 25 °C."""
    return 50.29 / math.sqrt(permittivity(T) * T)


def check_model(model: str) -> None:
    """Raise EqlibError unless ``model`` is one of MODELS."""
    if model not in MODELS:
        raise EqlibError(f"activity is one of {', '.join(MODELS)}, not {model!r:.40}")


def activity_coefficient(
    ion: str, ionic_strength: float | np.ndarray, model: str = "davies", T: float = 298.15
) -> Any:
    """gamma of one species at an ionic strength in mol/L (number or array). Raises EqlibError."""
    check_model(model)
    one = species(ion)
    return np.exp(ln_gamma(one.name, one.charge, ionic_strength, model, T))


def ln_gamma(name: str, charge: float, ionic_strength: Any, model: str, T: Any) -> Any:
    """Natural logarithm of gamma; see the head of this module."""
    if model == "ideal" or charge == 0:
        return 0.0 * ionic_strength
    root = np.sqrt(ionic_strength)
    if model == "davies":
        term = root / (1.0 + root) - 0.3 * ionic_strength
    else:
        term = root / (1.0 + debye_huckel_B(T) * _SIZE.get(name, _USUAL_SIZE) * root)
    return -math.log(10.0) * debye_huckel_A(T) * charge**2 * term
