"""Hazard codes in words, and what they mean for a mixture: which codes, pictograms and signal word a diluted
bottle carries.

The H statements are the standard phrases of the Globally Harmonized System (UN GHS, annex 3), from memory.
``classify`` follows the CLP regulation (EC 1272/2008, annex I, parts 3 and 4): generic concentration limits,
the acute toxicity estimate with its converted point estimates, additivity, M-factors; specific limits (annex
VI) stand with the reagent and go first. From memory. A supplier's safety data sheet is the authority for the
bottle in hand.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

CHECK_SDS = "Check your supplier's safety data sheet and your local rules before use."

STATEMENTS = {
    "H225": "highly flammable liquid and vapour",
    "H226": "flammable liquid and vapour",
    "H270": "may cause or intensify fire (oxidiser)",
    "H271": "may cause fire or explosion (strong oxidiser)",
    "H272": "may intensify fire (oxidiser)",
    "H280": "contains gas under pressure and may explode if heated",
    "H290": "may be corrosive to metals",
    "H301": "toxic if swallowed",
    "H302": "harmful if swallowed",
    "H311": "toxic in contact with skin",
    "H312": "harmful in contact with skin",
    "H314": "causes severe skin burns and eye damage",
    "H315": "causes skin irritation",
    "H317": "may cause an allergic skin reaction",
    "H318": "causes serious eye damage",
    "H319": "causes serious eye irritation",
    "H330": "fatal if inhaled",
    "H331": "toxic if inhaled",
    "H332": "harmful if inhaled",
    "H334": "may cause allergy or asthma symptoms or breathing difficulties if inhaled",
    "H335": "may cause respiratory irritation",
    "H336": "may cause drowsiness or dizziness",
    "H340": "may cause genetic defects",
    "H341": "suspected of causing genetic defects",
    "H350": "may cause cancer",
    "H350i": "may cause cancer by inhalation",
    "H351": "suspected of causing cancer",
    "H360": "may damage fertility or the unborn child",
    "H360F": "may damage fertility",
    "H361": "suspected of damaging fertility or the unborn child",
    "H361f": "suspected of damaging fertility",
    "H372": "causes damage to organs through prolonged or repeated exposure",
    "H373": "may cause damage to organs through prolonged or repeated exposure",
    "H400": "very toxic to aquatic life",
    "H410": "very toxic to aquatic life with long lasting effects",
    "H411": "toxic to aquatic life with long lasting effects",
    "H412": "harmful to aquatic life with long lasting effects",
    "EUH032": "contact with acids liberates very toxic gas",
    "EUH071": "corrosive to the respiratory tract",
    "EUH208": "may produce an allergic reaction",
    "EUH210": "safety data sheet available on request",
}

#: Pictogram -> the codes that ask for it.
PICTOGRAMS = {
    "flame": ("H225", "H226"),
    "flame over circle": ("H270", "H271", "H272"),
    "gas cylinder": ("H280",),
    "corrosion": ("H290", "H314", "H318"),
    "skull and crossbones": ("H301", "H311", "H330", "H331"),
    "health hazard": ("H334", "H340", "H341", "H350", "H350i", "H351", "H360", "H360F", "H361",
                      "H361f", "H372", "H373"),
    "exclamation mark": ("H302", "H312", "H315", "H317", "H319", "H332", "H335", "H336"),
    "environment": ("H400", "H410", "H411"),
}  # fmt: skip

#: A code -> the lesser codes it makes superfluous on a label (annex I, precedence; annex III).
_COVERS = {
    "H314": ("H315", "H318", "H319"),
    "H318": ("H319",),
    "H301": ("H302",),
    "H311": ("H312",),
    "H330": ("H331", "H332"),
    "H331": ("H332",),
    "H372": ("H373",),
    "H410": ("H400", "H411", "H412"),
    "H411": ("H412",),
    "H317": ("EUH208",),
    "H334": ("EUH208",),
}

#: Codes of an ingredient -> (mass % from which, code of the mixture). Acute toxicity: an ingredient alone, by
#: its converted estimate (oral 100 and 500, dermal 300 and 1100 mg/kg, mists 0.5 and 1.5, vapours 3 mg/L).
_LIMITS = {
    "H301": ((100 / 3, "H301"), (5, "H302")),
    "H302": ((25, "H302"),),
    "H311": ((30, "H311"), (15, "H312")),
    "H312": ((55, "H312"),),
    "H330": ((10, "H330"), (1, "H331")),
    "H331": ((30, "H331"), (15, "H332")),
    "H332": ((30, "H332"),),
    "H314": ((5, "H314"), (3, "H318"), (1, "H315"), (1, "H319")),
    "H318": ((3, "H318"), (1, "H319")),
    "H315": ((10, "H315"),),
    "H319": ((10, "H319"),),
    "H317": ((1, "H317"), (0.1, "EUH208")),
    "H334": ((1, "H334"), (0.1, "EUH208")),
    "H335": ((20, "H335"),),
    "H336": ((20, "H336"),),
    "H340": ((0.1, "H340"),),
    "H341": ((1, "H341"),),
    "H350": ((0.1, "H350"),),
    "H350i": ((0.1, "H350i"),),
    "H351": ((1, "H351"),),
    "H360": ((0.3, "H360"),),
    "H360F": ((0.3, "H360F"),),
    "H361": ((3, "H361"),),
    "H361f": ((3, "H361f"),),
    "H372": ((10, "H372"), (1, "H373")),
    "H373": ((10, "H373"),),
    "H400": ((25, "H400"),),
    "H410": ((25, "H400"), (25, "H410"), (2.5, "H411"), (0.25, "H412")),
    "H411": ((25, "H411"), (2.5, "H412")),
    "H412": ((25, "H412"),),
    # No limit in the regulation: acid bottles go on saying it (suppliers' practice); the limit R32 had.
    "H290": ((0.1, "H290"),),
    "EUH032": ((0.2, "EUH032"),),
    "EUH071": ((20, "EUH071"),),
}
_SKIN_AND_EYES = {"H314", "H315", "H318", "H319"}
_BY_WATER_LIFE = ("H400", "H410", "H411", "H412")
_DANGER = {
    "H225", "H270", "H271", "H301", "H311", "H314", "H318", "H330", "H331", "H334", "H340", "H350", "H350i",
    "H360", "H360F", "H372",
}  # fmt: skip
_NO_SIGNAL = {"H411", "H412"}


@dataclass(frozen=True)
class Ingredient:
    """One substance of a mixture: its codes, its mass %, its own limits (code -> mass %) and its M-factor."""

    codes: tuple[str, ...]
    percent: float
    limits: Mapping[str, float]
    m_factor: float = 1.0

    def thresholds(self) -> dict[str, float]:
        """Code of the mixture -> mass % from which this substance alone brings it."""
        generic = sorted((pair for code in self.codes for pair in _LIMITS.get(code, ())), reverse=True)
        found = {code: limit for limit, code in generic}
        if _SKIN_AND_EYES & set(self.limits):
            found = {code: limit for code, limit in found.items() if code not in _SKIN_AND_EYES}
        return found | dict(self.limits)


def classify(ingredients: Iterable[Ingredient]) -> tuple[str, ...]:
    """The codes of a mixture in water, in the order of STATEMENTS.

    What is tested and not calculated (fire, gas under pressure) is left out unless a substance has a limit of
    its own for it: a dilute solution in water is neither an oxidiser nor flammable.
    """
    shares: dict[str, float] = {}
    for one in ingredients:
        for code, limit in one.thresholds().items():
            weight = one.m_factor if code in _BY_WATER_LIFE else 1.0
            shares[code] = shares.get(code, 0.0) + weight * one.percent / limit
    return on_label(code for code, share in shares.items() if share >= 1.0)


def on_label(codes: Iterable[str]) -> tuple[str, ...]:
    """Codes in order, without those that a graver one covers."""
    there = set(codes)
    covered = {less for code in there for less in _COVERS.get(code, ())}
    return tuple(code for code in STATEMENTS if code in there - covered)


def pictograms_of(codes: Iterable[str]) -> tuple[str, ...]:
    """The pictograms of a set of codes, with the rules of precedence (annex I, article 26)."""
    there = set(codes)
    if there & {"H314", "H318"}:
        there -= {"H315", "H319"}
    if there & set(PICTOGRAMS["skull and crossbones"]):
        there -= {"H302", "H312", "H332"}
    if "H334" in there:
        there -= {"H315", "H317", "H319"}
    return tuple(name for name, asking in PICTOGRAMS.items() if there & set(asking))


def signal_word(codes: Iterable[str]) -> str:
    """ "Danger", "Warning" or "" for a set of codes."""
    there = set(codes)
    if there & _DANGER:
        return "Danger"
    return "Warning" if any(code.startswith("H") and code not in _NO_SIGNAL for code in there) else ""
