"""The sentences about the other equilibria: which of them moved what the first reaction needs, and why."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import TYPE_CHECKING

from eqlib.chem.reactions import Reaction
from eqlib.chem.wording import SAME, Wording, moles, number

if TYPE_CHECKING:
    from eqlib.chem.stresses import Response

_NOTABLE = 0.01  # a share of an amount too small to be mentioned
_BESIDE_THE_MAIN = 0.1  # a competitor this much less important than the main one is left out
_AT_EQUILIBRIUM = 0.005  # Q this near to K does not drive a competitor by itself
Share = tuple[float, "Response", str, float]


class Competitors(Wording):
    """Sentences on the competing equilibria of one disturbance."""

    def competitors(self) -> str:
        """The other equilibria that took up or gave back what the first reaction needs."""
        found = [share for share in self.ranked(self.reaction, besides=()) if self.decides(*share[2:])]
        if not found:
            return ""
        said = []
        for share, response, name, amount in found[:2]:
            if share < _BESIDE_THE_MAIN * found[0][0]:
                break
            said += [self.competitor(response, name, amount), self.behind(response)]
        name = found[0][2]
        now, later = self.value(self.d.at_once, name), self.value(self.d.after, name)
        if self.d.direction != "none" and abs(later - now) > SAME * max(now, later):
            word = "falls" if later < now else "rises"
            said.append(
                f"So {self.bracket(name)} {word} from {self.given(self.d.at_once, name)} to "
                f"{self.given(self.d.after, name)} {self.unit(name)}."
            )
        return " ".join(part for part in said if part)

    def decides(self, name: str, amount: float) -> bool:
        """Does moving ``amount`` of a species account for the shift of the first reaction, not just go along?

        What drives the shift moves at least as much of the species as the first reaction does, and the way
        the species really goes: water added to an iron complex also hydrolyses some iron, but iron rises.
        """
        if self.d.direction == "none":
            return True
        own = abs(float(self.reaction.coefficients[name]) * self.d.extent)
        change = self.amount(self.d.after, name) - self.amount(self.d.at_once, name)
        return abs(amount) > own * (1 - SAME) and amount * change > 0

    def ranked(self, r: Reaction, besides: tuple[Reaction, ...]) -> list[Share]:
        """The reactions that moved a species of ``r``, the most telling first, one entry for each."""
        best: dict[Reaction, Share] = {}
        for share in self.shares(r):
            known = best.get(share[1].reaction)
            if share[1].reaction not in besides and (known is None or share[0] > known[0]):
                best[share[1].reaction] = share
        return sorted(best.values(), key=lambda share: -share[0])

    def shares(self, r: Reaction) -> Iterator[Share]:
        """(share of the amount there, response, species, moles) per other reaction and species of ``r``."""
        for response in self.d.responses:
            if response.reaction in (r, self.reaction) or response.direction == "none":
                continue
            if not response.determined:
                continue
            for name in r.quotient_species:
                amount = float(response.reaction.coefficients.get(name, 0)) * response.extent
                there = max(self.amount(self.d.at_once, name), self.amount(self.d.after, name))
                if there > 0 and abs(amount) > _NOTABLE * there:
                    yield abs(amount) / there, response, name, amount

    def competitor(self, response: Response, name: str, amount: float) -> str:
        """One competitor: its Q and K, its way, and what it moved."""
        Q, K = response.Q, response.K
        compared = ""
        if abs(Q / K - 1) < _AT_EQUILIBRIUM:
            compared = f" is still at equilibrium at once (K = {number(K)}), but then follows: it"
        elif math.isfinite(Q):
            compared = f" has Q = {number(Q)} at once against K = {number(K)}; it"
        verb = "takes up" if amount < 0 else "gives back"
        way = "forward" if response.direction == "forward" else "in reverse"
        return (
            f"The competing equilibrium {self.equation(response.reaction)}{compared} runs {way} and {verb} "
            f"{self.shown(name)} ({moles(abs(amount))})."
        )

    def behind(self, response: Response) -> str:
        """Where its own Q and K do not account for a competitor: the third reaction that drives it."""
        if math.isfinite(response.Q) and (response.Q / response.K < 0.5 or response.Q / response.K > 2):
            return ""
        sign = 1 if response.direction == "forward" else -1
        for _, other, name, amount in self.ranked(response.reaction, besides=(response.reaction,)):
            # Taking up its product, or giving back its reactant, pulls a reaction forward.
            if float(response.reaction.coefficients[name]) * amount * sign < 0:
                verb = "takes up" if amount < 0 else "gives back"
                return f"It does so because {self.equation(other.reaction)} {verb} {self.shown(name)}."
        return ""
