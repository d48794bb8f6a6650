"""Activity coefficients of ions: Davies and extended Debye-Hückel, with the ionic strength made consistent.

log10(gamma) = -A z^2 (sqrt(I) / (1 + sqrt(I)) - 0.3 I)        Davies, usable to about I = 0.5 mol/L
log10(gamma) = -A z^2 sqrt(I) / (1 + B a sqrt(I))              extended Debye-Hückel, to about 0.1 mol/L

A and B follow from the permittivity of water at the temperature. A species without charge has gamma = 1.
Sources: C. W. Davies, Ion Association, 1962; J. Kielland, J. Am. Chem. Soc. 59 (1937) 1675 (ion sizes);
C. G. Malmberg and A. A. Maryott, J. Res. NBS 56 (1956) 1 (permittivity). All from memory.
"""

from __future__ import annotations

import math
from collections.abc import Collection
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from eqlib.chem.solver.single import Solution
from eqlib.chem.species import species
from eqlib.errors import EqlibError

if TYPE_CHECKING:
    from eqlib.chem.mixture import Found, Mixture

MODELS = ("ideal", "davies", "debye-huckel")
_VALID_TO = {"davies": 0.5, "debye-huckel": 0.1}
_NAMES = {"davies": "Davies equation", "debye-huckel": "extended Debye-Hückel equation"}

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
_ROUNDS = 100


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


# -- the ionic strength that agrees with itself --------------------


def solve_with_activities(
    mixture: Mixture,
    model: str,
    held: dict[int, float],
    by_activity: Collection[int] = frozenset(),
    start: Solution | None = None,
) -> tuple[Found, dict[str, float], tuple[str, ...]]:
    """Equilibrate with activity coefficients at the mixture's own ionic strength.

    ``held``: {row: ln concentration}, or ln activity for the rows in ``by_activity``. Returns (what was
    found, {ion: gamma}, remarks). The root I = I(composition(I)) is followed by false position between
    bounds, so it cannot wander off.
    """
    check_model(model)
    loop = _Consistent(mixture, model, held, by_activity, start)
    strength, gap = 0.0, loop.gap(0.0)
    low = (0.0, gap)
    high: tuple[float, float] | None = None
    for _ in range(_ROUNDS):
        if abs(gap) <= 1e-13 * max(strength, 1e-12):
            return loop.finished(strength)
        if gap > 0.0:
            low = (strength, gap)
        else:
            high = (strength, gap)
        strength = _next(low, high, strength, gap)
        gap = loop.gap(strength)
        if high is not None and high[0] - low[0] <= 1e-14 * high[0]:
            return loop.finished(strength)
    raise EqlibError(f"no ionic strength agrees with itself under the {_NAMES[model]}; use activity='ideal'")


def _next(low: tuple[float, float], high: tuple[float, float] | None, strength: float, gap: float) -> float:
    if high is None:
        return strength + gap
    step = strength + gap
    secant = low[0] + (high[0] - low[0]) * low[1] / (low[1] - high[1])
    width = high[0] - low[0]
    for guess in (secant, step):
        if low[0] + 1e-3 * width < guess < high[0] - 1e-3 * width:
            return guess
    return secant if low[0] < secant < high[0] else 0.5 * (low[0] + high[0])


@dataclass
class _Consistent:
    mixture: Mixture
    model: str
    held: dict[int, float]
    by_activity: Collection[int]
    start: Solution | None
    found: Found | None = None

    def __post_init__(self) -> None:
        network = self.mixture.network
        self.square = np.where(network.gas, 0.0, network.charge**2)
        others = self.mixture.others.items()
        self.spectators = math.fsum(v * species(n).charge ** 2 for n, v in others if species(n).phase == "aq")

    def gap(self, strength: float) -> float:
        """Ionic strength of the composition found with gammas at ``strength``, less ``strength``."""
        network, T = self.mixture.network, self.mixture.T
        pairs = zip(network.names, network.charge, strict=True)
        shift = np.array([ln_gamma(n, z, strength, self.model, T) for n, z in pairs])
        held = {
            row: value - (shift[row] if row in self.by_activity else 0.0) for row, value in self.held.items()
        }
        self.found = self.mixture.solve(self.mixture.ln_K - network.nu @ shift, held, self.start)
        self.start = solution = self.found[0]
        there = solution.n > 0.0
        return 0.5 * (float(self.square[there] @ solution.c[there]) + self.spectators) - strength

    def finished(self, strength: float) -> tuple[Found, dict[str, float], tuple[str, ...]]:
        gamma = {}
        for name in (*self.mixture.network.names, *self.mixture.others):
            one = species(name)
            if one.charge and one.phase == "aq":
                gamma[name] = float(np.exp(ln_gamma(name, one.charge, strength, self.model, self.mixture.T)))
        name, most = _NAMES[self.model], _VALID_TO[self.model]
        remarks = [f"Activities by the {name} at ionic strength {strength:.3g} mol/L."]
        if strength > most:
            remarks.append(
                f"The ionic strength {strength:.3g} mol/L is beyond the range of the {name} "
                f"(about {most:g} mol/L); take the numbers as a rough guide."
            )
        assert self.found is not None  # gap has found it
        return self.found, gamma, tuple(remarks)
