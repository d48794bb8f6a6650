"""Mass-action rates of a mixture: forward and reverse, with constants that agree with K.

The orders are the coefficients as written. That is the law of an elementary step; for other reactions it
still gives the right equilibrium, because the forward and reverse constants are tied by k_forward /
k_reverse = Kc.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from eqlib.chem.mixture import Mixture
from eqlib.chem.reactions import R_BAR
from eqlib.chem.species import species
from eqlib.chem.state import State

# A solid dissolves at a rate that does not depend on how much there is, until nearly the last of it.
_LAST_OF_SOLID = 1e-12


@dataclass(frozen=True, eq=False)
class RateLaw:
    """Everything the integration needs, for one vessel at one temperature.

    ``nu``: coefficients, shape (reactions, species); ``k_forward`` and ``k_reverse``: (mol/L)^(1-order)
    per second; ``loss``: first-order constants per species, 1/s.
    """

    mixture: Mixture
    names: tuple[str, ...]
    nu: np.ndarray
    k_forward: np.ndarray
    k_reverse: np.ndarray
    loss: np.ndarray
    gas: np.ndarray
    solute: np.ndarray
    pure: np.ndarray
    in_gas: np.ndarray
    least_solid: float

    def volumes(self, moles: np.ndarray) -> tuple[float, float]:
        """Litres of solution and of gas; at constant pressure the gas takes the room it needs."""
        m = self.mixture
        if m.pressure is None:
            return m.volume, m.gas_space * m.volume
        room = max(float(moles[self.gas].sum()), 1e-300) * R_BAR * m.T / m.pressure
        return m.volume, room

    def concentrations(self, moles: np.ndarray) -> np.ndarray:
        """mol/L of solutes and gases; for solids, 1 while there is some, falling to 0 with the last of it."""
        solution, room = self.volumes(moles)
        there = np.maximum(moles, 0.0)
        conc = np.ones(len(moles))
        conc[self.solute] = there[self.solute] / solution
        conc[self.gas] = there[self.gas] / room if room > 0 else 0.0
        conc[self.pure] = there[self.pure] / (there[self.pure] + self.least_solid)
        return conc

    def rates(self, moles: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Forward and reverse rate of each reaction, mol/L per second."""
        conc = self.concentrations(moles)
        left, right = np.where(self.nu < 0, -self.nu, 0.0), np.where(self.nu > 0, self.nu, 0.0)
        # A solid's order is 1 whatever its coefficient: it is an on-off factor.
        left[:, self.pure], right[:, self.pure] = left[:, self.pure] > 0, right[:, self.pure] > 0
        with np.errstate(over="ignore", under="ignore", invalid="ignore"):
            forward = self.k_forward * np.prod(conc**left, axis=1)
            return forward, self.k_reverse * np.prod(conc**right, axis=1)

    def change(self, moles: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Extents per second (mol/s) and losses per second (mol/s)."""
        forward, reverse = self.rates(moles)
        solution, room = self.volumes(moles)
        litres = np.where(self.in_gas, room, solution)
        return (forward - reverse) * litres, self.loss * np.maximum(moles, 0.0)


def rate_law(
    mixture: Mixture, names: tuple[str, ...], k_forward: np.ndarray, loss: Mapping[str, float]
) -> RateLaw:
    """The law for ``mixture``; ``k_forward`` one per reaction. The reverse ones follow from Kc at its T."""
    nu = np.array([[float(r.coefficients.get(name, 0)) for name in names] for r in mixture.reactions])
    phases = [species(name).phase for name in names]
    gas = np.array([phase == "g" for phase in phases])
    solute = np.array([phase == "aq" for phase in phases])
    takes_part = nu != 0
    return RateLaw(
        mixture=mixture,
        names=names,
        nu=nu,
        k_forward=k_forward,
        k_reverse=k_forward * np.exp(np.clip(-mixture.ln_K, -700.0, 700.0)),
        loss=np.array([loss.get(name, 0.0) for name in names]),
        gas=gas,
        solute=solute,
        pure=~gas & ~solute,
        in_gas=np.array([bool(row[gas].any() and not row[solute].any()) for row in takes_part]),
        least_solid=_LAST_OF_SOLID * max(sum(mixture.amounts().values()), 1e-30),
    )


def chosen_constants(end: State, tau: float) -> np.ndarray:
    """Forward constants that let every reaction, by itself, settle near ``end`` with relaxation time ``tau``.

    1/tau = (exchange rate) x sum of nu^2/c, the linear law of relaxation. The time scale is thus chosen for
    drawing; it is not measured.
    """
    constants = []
    for r, ln_K in zip(end.reactions, end.mixture.ln_K, strict=True):
        parts = {name: float(n) for name, n in r.quotient_species.items()}
        there = {name: end.concentrations.get(name, 0.0) for name in parts}
        left = [(there[name], -n) for name, n in parts.items() if n < 0]
        right = [(there[name], n) for name, n in parts.items() if n > 0]
        curvature = sum(n * n / there[name] for name, n in parts.items() if there[name] > 0)
        if not curvature or any(conc == 0 for conc, _ in left):
            # Nothing to settle at the end: take 1/tau for the way back instead.
            constants.append(math.exp(min(ln_K, 0.0)) / tau)
            continue
        exchange = 1 / (tau * curvature)
        product = math.exp(sum(n * math.log(conc) for conc, n in left))
        if not right:
            product = max(product, math.exp(-ln_K))
        constants.append(exchange / product)
    return np.array(constants)
