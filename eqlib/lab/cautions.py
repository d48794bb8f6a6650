"""What to take care of: the few cautions that matter for what is in one vessel.

``cautions_for`` looks at the substances in the vessel, at the strength of what is poured in and at the
temperature, and says the gravest first; a bottle of concentrate that stays in the prep room is not in it.

Where work becomes irritating or corrosive: the limits by mass of the CLP regulation (EC 1272/2008; annex
VI: nitric acid 1 and 5 %, hydrochloric acid 10 and 25 %, sodium hydroxide 0.5 and 2 %; annex I: ammonia 1
and 5 %), as mol/L, from memory. The rest is common practice, no source; the supplier's safety data sheet
and local rules decide.
"""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from functools import cache

from eqlib.chem.catalogue import System, system
from eqlib.chem.catalogue.ghs import CHECK_SDS, STATEMENTS
from eqlib.chem.mixture import Mixture
from eqlib.chem.reactions import Reaction
from eqlib.chem.salts import dissolved
from eqlib.chem.species import species
from eqlib.chem.stress import Stress

MOST_DANGERS = 4  # a student reads a few lines, not a page
BOILS_K = 373.15  # hotter than that it is no water bath
SCALDS_FROM_K = 273.15 + 45  # hot water hurts from here (common practice, no source)
#: mol/L from which (an irritant, a corrosive) it is.
#: Hydrochloric acid fumes long before its legal 7.9 mol/L, so it is called strong from 6.
ACID = {"nitric": (0.16, 0.8), "hydrochloric": (2.9, 6.0)}
FUMES = 6.0  # mol/L of strong acid
ALKALI = (0.125, 0.5)
AMMONIA = (0.6, 2.9)
SILVER = 2e-4  # mol/L of silver ions from which a solution stains (common practice, no source)
_FORMED = 1e-6  # mol/L: some of what a reaction makes is there, how much does not matter
THIOCYANATE_ACID = 2.0  # mol/L of acid that may meet thiocyanate by staff only (common practice, no source)


@dataclass(frozen=True)
class Caution:
    """One caution in words for a student. ``gravity`` 1 (can injure for life) to 3 (ordinary care); 4 is the
    standing line on the supplier's sheet.
    """

    key: str
    gravity: int
    words: str

    def __str__(self) -> str:
        return self.words


@dataclass(frozen=True)
class _Vessel:
    """What the rules look at: mol/L in the vessel and in whatever is poured in, the highest temperature."""

    inside: Mapping[str, float]
    poured: tuple[Mapping[str, float], ...]
    hottest: float
    squeezed: bool

    def has(self, *elements: str, least: float = 1e-9) -> bool:
        """Is one species with all these elements (or of that name) there?"""
        return any(
            amount > least and (elements == (name,) or set(elements) <= _elements(name))
            for name, amount in self.inside.items()
        )

    def holds(self, piece: str) -> bool:
        """Is there a species with this group of atoms in its formula?"""
        return any(piece in name for name, amount in self.inside.items() if amount > 0)

    def named(self, *formulas: str) -> str:
        """The first of these formulas that is there, in any phase; else ""."""
        phases = ("", "(g)", "(l)", "(s)")
        there = {name for name, amount in self.inside.items() if amount > 0}
        return next((one for one in formulas if any(f"{one}{phase}" in there for phase in phases)), "")

    def strongest(self, *names: str) -> float:
        """The highest concentration at which one of these is handled, in mol/L."""
        return max((c.get(name, 0.0) for name in names for c in (self.inside, *self.poured)), default=0.0)

    def acid(self) -> tuple[str, float]:
        """The strongest acid handled: its name and mol/L."""
        best = ("nitric", 0.0)
        for content in (self.inside, *self.poured):
            strong = content.get("H^+", 0.0)
            if strong > best[1]:
                chloride = content.get("Cl^-", 0.0) > content.get("NO3^-", 0.0)
                best = ("hydrochloric" if chloride else "nitric", strong)
        return best

    def acid_is(self) -> str:
        """ "fuming", "corrosive", "irritating" or ""."""
        name, strong = self.acid()
        steps = (FUMES, "fuming"), (ACID[name][1], "corrosive"), (ACID[name][0], "irritating")
        return next((word for least, word in steps if strong >= least), "")


@dataclass(frozen=True)
class _Rule:
    """A caution and when it holds; ``words`` may depend on the vessel; ``bottle`` is where the waste goes."""

    key: str
    gravity: int
    holds: Callable[[_Vessel], bool]
    words: str | Callable[[_Vessel], str]
    gloves: bool = False
    bottle: str = ""

    def caution(self, vessel: _Vessel) -> Caution:
        words = self.words if isinstance(self.words, str) else self.words(vessel)
        return Caution(self.key, self.gravity, words)


def _fuming_words(vessel: _Vessel) -> str:
    name, strong = vessel.acid()
    return (
        f"{strong:.2g} mol/L {name} acid burns and fumes: trained staff add it, in the fume cupboard, "
        "with face shield and gloves."
    )


def _acid_words(vessel: _Vessel) -> str:
    name, strong = vessel.acid()
    if vessel.acid_is() == "corrosive":
        return (
            f"{strong:.2g} mol/L {name} acid burns skin and eyes: gloves, drop by drop; rinse a splash at "
            "once with plenty of water."
        )
    return f"{strong:.2g} mol/L {name} acid irritates eyes and skin: rinse a splash at once with much water."


def _alkali_words(vessel: _Vessel) -> str:
    strong = vessel.strongest("OH^-")
    if strong >= ALKALI[1]:
        return (
            f"{strong:.2g} mol/L sodium hydroxide burns skin and harms eyes badly: gloves; rinse a splash "
            "at once and long, and tell a teacher."
        )
    return f"{strong:.2g} mol/L sodium hydroxide irritates eyes and skin: rinse a splash at once."


#: Gases (dissolved ones come out) that can kill, and those that burn the airways (GHS H330, H331 and H314,
#: from memory).
_POISONOUS = {
    "H2S": "Hydrogen sulfide, which the nose soon stops smelling,",
    "HS^-": "Hydrogen sulfide, which comes off with acid,",
    "S^2-": "Hydrogen sulfide, which comes off with acid,",
    "Cl2": "Chlorine",
    "Br2": "Bromine",
    "COCl2": "Phosgene",
    "CO": "Carbon monoxide, which nobody smells,",
    "NO": "Nitrogen monoxide, which turns brown in air,",
    "NOCl": "Nitrosyl chloride",
    "PCl3": "Phosphorus trichloride",
    "PCl5": "Phosphorus pentachloride",
}
_CHOKING = {
    "SO2(g)": "Sulfur dioxide",
    "SO3(g)": "Sulfur trioxide",
    "HCl(g)": "Hydrogen chloride",
    "HBr(g)": "Hydrogen bromide",
    "HI(g)": "Hydrogen iodide",
    "NH3(g)": "Ammonia gas",
}
_EXPLODING = {"H2(g)": "Hydrogen", "CH4(g)": "Methane", "C2H4(g)": "Ethene", "C2H6(g)": "Ethane"}
_BURNING = ("C2H5OH", "CH3OH", "CH3COOC2H5", "CH3COCH3", "CH3COOCH3", "C6H14", "C6H12", "C6H6")


def _recorded_only(key: str, holds: Callable[[_Vessel], bool], danger: str) -> _Rule:
    """What no class mixes."""
    words = f"{danger}: nobody mixes this, the class works from recorded data."
    return _Rule(key, 1, holds, words, bottle="none: nothing is mixed")


_RULES = (
    _Rule(
        "nitrogen-dioxide", 1,
        lambda v: v.has("NO2(g)") or v.has("N2O4(g)"),
        "Nitrogen dioxide is very poisonous to breathe, and the harm may show only hours later. It stays "
        "in its sealed tube or locked syringe, in the fume cupboard, in the hands of trained staff; you "
        "watch.",
        bottle="the sealed tube stays sealed and is kept by the staff",
    ),
    _recorded_only(
        "cyanide",
        lambda v: bool(v.named("CN^-", "HCN")) or v.holds("(CN)"),
        "Cyanides kill in small amounts, and with any acid give off hydrogen cyanide",
    ),
    _recorded_only(
        "mercury", lambda v: v.has("Hg"), "Mercury compounds are very poisonous, through the skin too"
    ),
    _Rule(
        "poisonous-gas", 1,
        lambda v: bool(v.named(*_POISONOUS)),
        lambda v: f"{_POISONOUS[v.named(*_POISONOUS)]} is very poisonous to breathe: only trained staff, in "
        "the fume cupboard and with equipment made for it, or computed only.",
        bottle="none: the staff destroy what is left in the fume cupboard",
    ),
    _recorded_only(
        "azide",
        lambda v: bool(v.named("N3^-", "HN3")),
        "Azides are very poisonous and explode with heavy metals",
    ),
    _recorded_only(
        "hydrogen-fluoride",
        lambda v: v.has("F") and (v.has("H^+", least=1e-4) or bool(v.named("HF"))),
        "Fluoride in acid is hydrogen fluoride, which goes through skin and poisons",
    ),
    _recorded_only(
        "chromium-six",
        lambda v: v.holds("CrO4") or v.holds("Cr2O7"),
        "Chromates and dichromates cause cancer",
    ),
    _Rule(
        "ammoniacal-silver", 1,
        lambda v: v.has("Ag") and (v.has("NH3") or v.holds("(NH3)")),
        "Never keep silver in ammonia: on standing it can turn into a solid that explodes. Add the dilute "
        "nitric acid to every such well before the lesson ends, then empty it into the silver bottle.",
        gloves=True,
        bottle="the silver bottle, acidified the same day",
    ),
    _Rule(
        "cobalt", 1,
        lambda v: v.has("Co"),
        "Cobalt(II) chloride may cause cancer, asthma and skin allergy. Trained staff make it up in "
        "closed tubes; do not open one.",
        gloves=True,
        bottle="the cobalt bottle, by the staff; never the sink",
    ),
    _Rule(
        "lead", 1,
        lambda v: v.has("Pb"),
        "Lead compounds may harm an unborn child and build up in the body: trained staff mix this, "
        "with gloves and no dust; you watch.",
        gloves=True,
        bottle="the lead bottle, by the staff; never the sink",
    ),
    _Rule(
        "carcinogenic-metal", 1,
        lambda v: any(v.has(metal) for metal in ("Ni", "Cd", "As", "Be")),
        "Salts of nickel, cadmium, arsenic and beryllium can cause cancer and are poisonous: trained staff "
        "mix this, in closed tubes; you watch.",
        gloves=True,
        bottle="the heavy metal bottle, by the staff; never the sink",
    ),
    _Rule(
        "bleach", 1,
        lambda v: bool(v.named("ClO^-", "HClO")),
        "Bleach with acid or ammonia gives off poisonous gases: never together, and fume cupboard.",
        gloves=True,
    ),
    _Rule(
        "thiocyanate-strong-acid", 1,
        lambda v: v.holds("SCN") and v.acid()[1] > THIOCYANATE_ACID,
        "Strong acid on more thiocyanate than these drops gives off a very poisonous gas: staff add it, "
        "to this well only, with ventilation; never to the thiocyanate bottle and never to its waste.",
        gloves=True,
    ),
    _Rule("fuming-acid", 1, lambda v: v.acid_is() == "fuming", _fuming_words, gloves=True),
    _Rule(
        "strong-ammonia", 1,
        lambda v: v.strongest("NH3") >= AMMONIA[1],
        "This ammonia burns eyes and airways: only in the fume cupboard, with gloves.",
        gloves=True,
    ),
    _Rule("strong-acid", 2, lambda v: v.acid_is() == "corrosive", _acid_words, gloves=True),
    _Rule("strong-alkali", 2, lambda v: v.strongest("OH^-") >= ALKALI[1], _alkali_words, gloves=True),
    _Rule(
        "silver", 2,
        lambda v: v.strongest("Ag^+") >= SILVER,
        "Silver solutions harm eyes and stain skin and benches brown-black some hours later: gloves, and "
        "wipe up at once with damp paper.",
        gloves=True,
        bottle="the silver bottle, and the wiping paper too; never the sink",
    ),
    _Rule(
        "hot-bath", 2,
        lambda v: SCALDS_FROM_K <= v.hottest <= BOILS_K,
        lambda v: f"Water at {v.hottest - 273.15:.0f} °C scalds: tubes stand in a rack, lift them with "
        "tongs, and never warm a tightly stoppered tube; a sealed one only if it was made for that, by "
        "staff, behind a screen.",
    ),
    _Rule(
        "hot-vessel", 2,
        lambda v: v.hottest > BOILS_K,
        lambda v: f"At {v.hottest - 273.15:.0f} °C a vessel burns whoever touches it, and a closed one can "
        "burst: trained staff and equipment made for it, or computed only.",
    ),
    _Rule(
        "copper", 2,
        lambda v: v.has("Cu"),
        "Copper salts harm eyes and are harmful if swallowed, and very poisonous to water life.",
        gloves=True,
        bottle="the copper bottle; never the sink",
    ),
    _Rule(
        "ammonia", 2,
        lambda v: AMMONIA[0] <= v.strongest("NH3") < AMMONIA[1],
        "Ammonia stings eyes and airways: fume cupboard or open window, and close the bottle at once.",
    ),
    _Rule(
        "oxalate", 2,
        lambda v: v.holds("C2O4"),
        "Oxalates are harmful if swallowed or on the skin and can damage eyes.",
        gloves=True,
        bottle="the iron/oxalate bottle",
    ),
    _Rule(
        "squeezed-gas", 2,
        lambda v: v.squeezed,
        "A gas under a moving plunger pushes back: hold the plunger, point it away from faces.",
    ),
    _Rule(
        "fizzy", 2,
        lambda v: v.squeezed and v.holds("CO2"),
        "Fizzy water sprays, and a gas under a plunger pushes back: hold the plunger, point it away "
        "from faces.",
    ),
    _Rule(
        "thiocyanate", 3,
        lambda v: v.holds("SCN"),
        "Thiocyanate is harmful if swallowed, and gives off a very poisonous gas with concentrated acid "
        "or with bleach. The little dilute acid of the iron solution is far too weak for that.",
        bottle="the iron/thiocyanate bottle: no acid concentrates, no bleach",
    ),
    _Rule(
        "choking-gas", 2,
        lambda v: bool(v.named(*_CHOKING)),
        lambda v: f"{_CHOKING[v.named(*_CHOKING)]} burns eyes and airways: only in the fume cupboard, "
        "a little at a time, or computed only.",
    ),
    _Rule(
        "burning-gas", 2,
        lambda v: bool(v.named(*_EXPLODING)),
        lambda v: f"{_EXPLODING[v.named(*_EXPLODING)]} burns, and explodes with air: no flame, no spark, "
        "trained staff only, or computed only.",
    ),
    _Rule(
        "iodine", 2,
        lambda v: bool(v.named("I2", "I3^-")),
        "Iodine harms skin and eyes, its vapour irritates, and it stains: gloves; keep the vessel closed.",
        gloves=True,
        bottle="the iodine bottle, after enough thiosulfate to take its colour",
    ),
    _Rule(
        "permanganate", 2,
        lambda v: v.holds("MnO4"),
        "Permanganate feeds fires, stains, and harms eyes: gloves, and away from anything that burns.",
        gloves=True,
        bottle="the manganese bottle",
    ),
    _Rule(
        "peroxide", 2,
        lambda v: bool(v.named("H2O2")),
        "Hydrogen peroxide bleaches skin and harms eyes, and gives off oxygen: gloves, no closed bottle.",
        gloves=True,
    ),
    _Rule(
        "fluoride", 2,
        lambda v: v.has("F^-"),
        "Fluorides are poisonous if swallowed, and become hydrogen fluoride with acid: never with acid.",
        gloves=True,
        bottle="the fluoride bottle; no acid",
    ),
    _Rule(
        "burning-liquid", 2,
        lambda v: bool(v.named(*_BURNING)),
        "This liquid and its vapour catch fire: no flame in the room; warm it only in a water bath.",
        bottle="the solvent bottle, without halogens",
    ),
    _Rule("barium", 3, lambda v: v.has("Ba"), "Soluble barium salts are harmful if swallowed."),
    _Rule(
        "bismuth", 3,
        lambda v: v.has("Bi"),
        "The bismuth solution holds much hydrochloric acid: a splash irritates eyes and skin.",
        bottle="the bismuth bottle",
    ),
    _Rule("irritating-acid", 3, lambda v: v.acid_is() == "irritating", _acid_words),
    _Rule(
        "irritating-alkali", 3,
        lambda v: ALKALI[0] <= v.strongest("OH^-") < ALKALI[1],
        _alkali_words,
    ),
    _Rule(
        "iron", 3,
        lambda v: v.has("Fe"),
        "The iron(III) solution is acid: it irritates eyes and spots clothes.",
    ),
)  # fmt: skip


#: A graver caution that says all that a lesser one would.
_COVERS = {
    "ammoniacal-silver": "silver",
    "thiocyanate-strong-acid": "thiocyanate",
    "nitrogen-dioxide": "squeezed-gas",
    "fizzy": "squeezed-gas",
    "hot-vessel": "squeezed-gas",
    "hydrogen-fluoride": "fluoride",
}


def cautions_for(
    systems: str | System | Iterable[str | System] = (),
    mixture: Mixture | None = None,
    stress: Stress | Iterable[Stress] | None = None,
) -> tuple[Caution, ...]:
    """The few cautions for what is in one vessel, gravest first, then what to wear, the waste and CHECK_SDS.

    ``systems``: a catalogue system, its name, or several. ``mixture``: the start, before any stress
    (default: the first system's recipe). ``stress``: what is done to it, or several in turn; with neither,
    all that a system's sheet does to its recipe counts. Never empty for a system of the catalogue; () when
    neither a system nor a substance that is known to need care is named.
    """
    found = _systems(systems)
    recorded = any(one.data_only for one in found)
    if mixture is None and stress is None:
        vessels = [_vessel(one.mixture(), chain) for one in found for chain in _chains(one)]
    else:
        start = mixture if mixture is not None or not found else found[0].mixture()
        vessels = [_vessel(start, (stress,) if isinstance(stress, Stress) else stress or ())]
    holding = {rule: vessel for vessel in vessels for rule in _RULES if rule.holds(vessel)}
    if not holding and not found:
        return ()
    return _said(holding, found, recorded)


def _chains(found: System) -> list[list[Stress]]:
    """Each stress of a system's sheet with those that come ahead of it."""
    chains: list[list[Stress]] = []
    for key in found.steps:
        chain: list[Stress] = []
        at: str | None = key
        while at is not None:
            chain.insert(0, found.steps[at].stress)
            at = found.steps[at].after
        chains.append(chain)
    return chains


def _said(holding: Mapping[_Rule, _Vessel], found: tuple[System, ...], recorded: bool) -> tuple[Caution, ...]:
    rules = sorted(holding, key=lambda rule: (rule.gravity, _RULES.index(rule)))
    keys = {rule.key for rule in rules}
    covered = {less for grave, less in _COVERS.items() if grave in keys}
    shown = [rule.caution(holding[rule]) for rule in rules if rule.key not in covered][:MOST_DANGERS]
    if recorded and not any(caution.gravity == 1 for caution in shown):
        shown.insert(0, Caution("recorded", 1, "Nobody mixes this: the class works from recorded data."))
    if not recorded and "nitrogen-dioxide" not in keys:
        gloves = " and gloves" if any(rule.gloves for rule in rules) else ""
        shown.append(Caution("wear", 3, f"Wear eye protection{gloves}; wash your hands afterwards."))
    bottles = [rule.bottle for rule in rules if rule.bottle]
    whole_sheet = len({id(vessel) for vessel in holding.values()}) > 1
    waste = "; ".join(found[0].waste) if found and (whole_sheet or not bottles) else "".join(bottles[:1])
    if waste and not recorded:
        shown.append(Caution("waste", 3, f"Waste: {waste}."))
    return (*shown, Caution("check", 4, CHECK_SDS))


def statements(codes: Iterable[str]) -> tuple[str, ...]:
    """Hazard codes spelt out: "H302 Harmful if swallowed" ..."""
    return tuple(f"{code} {STATEMENTS[code]}" for code in codes)


def _systems(given: str | System | Iterable[str | System]) -> tuple[System, ...]:
    several = (given,) if isinstance(given, str | System) else tuple(given)
    return tuple(one if isinstance(one, System) else system(one) for one in several)


def _vessel(start: Mixture | None, done: Iterable[Stress]) -> _Vessel:
    volume, hottest, totals = (1.0, 298.15, {}) if start is None else (start.volume, start.T, start.totals)
    mol = {name: amount * volume for name, amount in totals.items()}
    poured, squeezed = [], False
    for one in done:
        hottest = max(hottest, one.T or 0.0)
        squeezed = squeezed or one.kind == "change_volume"
        if one.kind == "add_solution":
            poured.append(dissolved(dict(one.amounts)))
            for name, molar in poured[-1].items():
                mol[name] = mol.get(name, 0.0) + molar * (one.volume or 0.0)
        elif one.kind in ("add", "add_solid"):
            for name, amount in one.amounts:
                mol[name] = mol.get(name, 0.0) + amount
        volume += (one.volume or 0.0) if one.kind in ("add_solution", "dilute") else 0.0
    inside = {name: amount / volume for name, amount in mol.items()}
    for name in _can_form(start.reactions if start is not None else (), inside):
        inside.setdefault(name, _FORMED)
    return _Vessel(inside, tuple(poured), hottest, squeezed)


def _can_form(reactions: Iterable[Reaction], inside: Mapping[str, float]) -> set[str]:
    """The species that these reactions, either way, can make of what is there."""
    there = {name for name, amount in inside.items() if amount > 0}
    sides = [
        side for one in reactions for side in ((one.reactants, one.products), (one.products, one.reactants))
    ]
    for _ in sides:  # each round can open one more reaction
        for given, made in sides:
            if there.issuperset(given):
                there |= set(made)
    return there


@cache
def _elements(name: str) -> frozenset[str]:
    return frozenset(species(name).elements)
