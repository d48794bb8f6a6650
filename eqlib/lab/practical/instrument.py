"""A simulated colorimeter and bench for those without one: what a real set of readings would look like.

Every departure from the ideal is one field, zero when it is absent, so that a lesson or a test can put one in
on purpose. Stray light and a wide band bend Beer's law as they do in a real instrument: stray light, A =
-log10((T + s)/(1 + s)); a band of light, the mean of T over it (D. A. Skoog, Principles of Instrumental
Analysis, chapter 13, from memory).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from eqlib.lab.practical.analysis import READING_SD, VOLUME_SD, Tube, complex_at

LEAST_LIGHT = 10.0**-3.5


@dataclass(frozen=True)
class Instrument:
    """What happens between mixing and the number written down.

    ``reading_sd`` (absorbance) and ``volume_sd`` (relative, each measured volume) are random; ``stray`` is
    the share of light that misses the sample, ``wavelength_off`` and ``band`` are in nm, ``metal_bias`` and
    ``ligand_bias`` are relative errors of a pipette used throughout, ``blank`` is an absorbance not taken
    off, ``dirty`` is added to the readings from the third tube of each set on, ``fading`` is the share of
    complex lost per minute, and the tubes are read ``pace`` minutes apart, the first after ``first``.
    """

    reading_sd: float = READING_SD
    volume_sd: float = VOLUME_SD
    stray: float = 0.0
    wavelength_off: float = 0.0
    band: float = 0.0
    metal_bias: float = 0.0
    ligand_bias: float = 0.0
    blank: float = 0.0
    dirty: float = 0.0
    fading: float = 0.0
    first: float = 2.0
    pace: float = 1.0


def read_tubes(
    tubes: Sequence[Tube],
    K: float,
    epsilon: Callable[[float], float],
    nm: float,
    rng: np.random.Generator,
    instrument: Instrument | None = None,
    path_cm: float = 1.0,
    decimals: int = 3,
) -> tuple[Tube, ...]:
    """The planned ``tubes`` with the absorbance that this instrument shows, and the minutes of each reading.

    ``epsilon`` gives the molar absorptivity, L/(mol cm), at a wavelength in nm.
    """
    how = instrument or Instrument()
    read: list[Tube] = []
    mixed: dict[str, tuple[float, float]] = {}
    number = {"standard": 0, "test": 0, "repeat": 0}
    for i, tube in enumerate(tubes):
        if tube.role == "repeat" and tube.label in mixed:
            metal, ligand = mixed[tube.label]
        else:
            metal, ligand = _pipetted(tube, how, rng)
        mixed[tube.label] = metal, ligand
        minutes = how.first + how.pace * i
        formed = float(complex_at(metal, ligand, K)) * np.exp(-how.fading * minutes) if ligand else 0.0
        shown = _absorbance(formed * path_cm, epsilon, nm, how) + how.blank
        shown += how.dirty * (number[tube.role] >= 2) + how.reading_sd * rng.standard_normal()
        number[tube.role] += 1
        read.append(replace(tube, absorbance=round(float(shown), decimals), minutes=minutes))
    return tuple(read)


def _pipetted(tube: Tube, how: Instrument, rng: np.random.Generator) -> tuple[float, float]:
    metal = tube.metal * (1 + how.metal_bias) * (1 + how.volume_sd * rng.standard_normal())
    return metal, tube.ligand * (1 + how.ligand_bias) * (1 + how.volume_sd * rng.standard_normal())


def _absorbance(amount: float, epsilon: Callable[[float], float], nm: float, how: Instrument) -> float:
    centre = nm + how.wavelength_off
    band = centre + how.band * np.linspace(-0.5, 0.5, 9) if how.band else [centre]
    light = float(np.mean([10.0 ** (-epsilon(at) * amount) for at in band]))
    light = (light + how.stray) / (1.0 + how.stray)
    return float(-np.log10(max(light, LEAST_LIGHT)))
