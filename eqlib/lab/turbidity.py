"""A precipitate stirred up: how it clouds the view. Illustrative only.

Scatter depends on particle size and on how long ago the tube was shaken, which no catalogue knows. So this
is a picture and never a measurement: the share of the light that meets a particle is 1 - exp(-scatter x
amount x path), and that share comes back with the solid's own body colour, tinted by half the path of
solution. No mark rests on it.
"""

from dataclasses import dataclass

import numpy as np

from eqlib.chem import catalogue
from eqlib.lab.colour_spaces import decode_srgb

# A solid present in a smaller amount than this (mol per L of mixture) is not expected to be noticed.
# Common practice, no source.
SEEN_FROM = 1e-5
# Cloud share -> words.
_WORDS = ((0.03, ""), (0.25, "faintly cloudy"), (0.7, "cloudy"), (1.01, "very cloudy"))


@dataclass(frozen=True)
class Cloud:
    """A suspended precipitate.

    ``share`` is the part of the light (0 to 1) that meets a particle; ``body`` is the linear sRGB of the
    solids, mixed by how much each scatters; ``words`` such as "cloudy (white)", "" when there is nothing to
    notice; ``solids`` names.
    """

    share: float
    body: tuple[float, float, float]
    words: str
    solids: tuple[str, ...] = ()


CLEAR = Cloud(0.0, (1.0, 1.0, 1.0), "")


def cloud_of(solids, path_cm=1.0):
    """The ``Cloud`` of a mapping solid -> mol per L of mixture, through ``path_cm``."""
    looks = {name: catalogue.solid_look(name) for name, amount in solids.items() if amount >= SEEN_FROM}
    extinction = {
        name: look.scatter * solids[name] * path_cm for name, look in looks.items() if look is not None
    }
    total = sum(extinction.values())
    if total <= 0:
        return CLEAR
    share = 1.0 - float(np.exp(-total))
    body = sum(x * decode_srgb(_channels(looks[name].hex)) for name, x in extinction.items()) / total
    names = tuple(sorted(extinction, key=extinction.get, reverse=True))
    degree = next(words for limit, words in _WORDS if share < limit)
    return Cloud(
        share, tuple(float(v) for v in body), f"{degree} ({looks[names[0]].words})" if degree else "", names
    )


def stirred(clear_linear, tinted_linear, cloud):
    """Linear sRGB of a cloudy mixture from that of its clear solution, and of half the path of it."""
    body = np.asarray(tinted_linear) * np.asarray(cloud.body)
    return (1.0 - cloud.share) * np.asarray(clear_linear) + cloud.share * body


def _channels(hex_colour):
    digits = hex_colour.lstrip("#")
    return np.array([int(digits[i : i + 2], 16) for i in (0, 2, 4)]) / 255.0
