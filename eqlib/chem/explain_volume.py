"""The sentences about volume: what more or less room does at once to solutes and gases."""

from __future__ import annotations

from eqlib.chem.competitors import Competitors
from eqlib.chem.species import species
from eqlib.chem.wording import SAME, number, volume, volume_from_to

_SAME_VOLUME = 1e-9


class Volumes(Competitors):
    """Dilution, compression, and gases that warm up."""

    def _phases(self) -> set[str]:
        return {species(name).phase for name in self.reaction.quotient_species}

    def dilution(self) -> str:
        """One factor for everything that was dissolved."""
        old, new = self.d.before.volume, self.d.at_once.volume
        if "aq" not in self._phases() or abs(new / old - 1) < _SAME_VOLUME:
            return ""
        what = "dissolved substance" if "g" in self._phases() else "concentration"
        return (
            f"The change of volume {volume_from_to(old, new)} {_multiplies(old / new)[0]} every {what} at "
            f"once {_multiplies(old / new)[1]}."
        )

    def squeeze(self) -> str:
        """The gas has more or less room at once: by hand, by an inert gas, or to keep its pressure."""
        d = self.d
        old, new = d.before.gas_volume, d.at_once.gas_volume
        if not old or not new or abs(new / old - 1) < _SAME_VOLUME:
            return ""
        if "g" not in self._phases():
            if d.stress.kind != "change_volume" and d.stress.constant != "pressure":
                return ""
            word = "falls" if new > old else "rises"
            what = "its pressure" if d.stress.kind == "change_volume" else "the pressure of each reacting gas"
            return f"The gas above takes {volume(new)} instead of {volume(old)}, so {what} {word} at once."
        if d.stress.kind == "heat_to" and self.in_bar:
            return (
                f"To keep its pressure the gas takes {volume(new)} instead of {volume(old)}; no partial "
                "pressure changes at once."
            )
        what = "partial pressure" if self.in_bar else "gas concentration"
        verb, by = _multiplies(old / new, less="lowers")
        return f"The change of the gas volume {volume_from_to(old, new)} {verb} every {what} at once {by}."

    def warm_gas(self) -> str:
        """At constant volume a gas presses in proportion to its temperature, so a Q in bar moves at once."""
        d = self.d
        if d.stress.kind != "heat_to" or d.mixture.pressure is not None or self.reaction.dn_gas == 0:
            return ""
        factor = d.at_once.T / d.before.T
        if not self.in_bar or abs(factor - 1) < SAME:
            return ""
        return f"At constant volume this multiplies every gas pressure by {number(factor)} at once."

    def cancels(self) -> str:
        """A change of volume that leaves Q alone: as many on the left as on the right."""
        old, new = self.d.before.gas_volume, self.d.at_once.gas_volume
        powers = self.reaction.quotient_species
        if self._phases() != {"g"} or sum(powers.values()) or abs(new / old - 1) < _SAME_VOLUME:
            return ""
        return ", for there are as many moles of gas on the left as on the right"


def _multiplies(factor: float, less: str = "dilutes") -> tuple[str, str]:
    """Verb and number for a change of volume: more than before as a factor, less as a part."""
    if factor > 1:
        return "multiplies", f"by {number(factor)}"
    return less, f"to {number(factor)} of what it was"
