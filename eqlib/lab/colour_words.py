"""A colour in words: how strong it is, then a hue name as an extra.

The bounds are this project's own, chosen by eye on a contact sheet; there is no source for them. No mark
rests on a hue name: see ``look`` for what "darker" and "paler" rest on.
"""

import math

# Hue angle in CIE Lab (degrees) up to which a name holds, for a light colour and for a dark one.
_HUES = (
    (20, "pink", "crimson"),
    (45, "salmon pink", "red"),
    (60, "peach", "orange-red"),
    (74, "apricot", "orange"),
    (84, "straw", "amber"),
    (111, "straw yellow", "yellow"),
    (122, "yellow-green", "yellow-green"),
    (168, "green", "green"),
    (222, "blue-green", "blue-green"),
    (300, "blue", "blue"),
    (314, "violet", "violet"),
    (335, "purple-pink", "purple"),
    (360, "pink", "crimson"),
)
_COLOURLESS, _FAINT, _PALE, _DEEP = 2.5, 12.0, 38.0, 85.0
_BLACK_BELOW, _BROWN_BELOW = 6.0, 52.0


def strength(lab):
    """Distance in Lab from clear water: 0 for none, about 100 for a strong colour."""
    lightness, a, b = lab
    return math.sqrt((100.0 - lightness) ** 2 + a * a + b * b)


def hue_name(lab):
    """The name of the hue alone, such as "straw yellow"; "" for a grey or a clear solution."""
    lightness, a, b = lab
    chroma = math.hypot(a, b)
    if chroma < _COLOURLESS:
        return ""
    angle = math.degrees(math.atan2(b, a)) % 360.0
    if 30.0 <= angle < 90.0 and lightness < _BROWN_BELOW and chroma < 55.0:
        return "brown"
    if 300.0 < angle < 310.0 and chroma > 60.0:  # Lab bends a vivid blue towards violet
        return "blue"
    pinkish = (angle < 20.0 or angle > 314.0) and lightness > 55.0
    soft = pinkish or (lightness > 62.0 and (chroma < 45.0 or angle < 45.0))
    return next(pale if soft else full for limit, pale, full in _HUES if angle <= limit)


def words_for(lab):
    """A short description such as "pale straw yellow" or "deep red"; "colourless" for a clear solution."""
    depth, hue = strength(lab), hue_name(lab)
    if lab[0] < _BLACK_BELOW:
        return "almost black"
    if not hue:
        return "colourless" if depth < 6.0 else ("pale grey" if lab[0] > 70 else "grey")
    if depth < _FAINT:
        return f"very pale {hue}"
    if depth < _PALE:
        return f"pale {hue}"
    if depth > _DEEP or lab[0] < 30.0:
        return f"deep {hue}"
    return hue
