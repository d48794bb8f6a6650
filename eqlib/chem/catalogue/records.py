"""What a catalogue file holds. The models here are the schema: their fields are the keys of the TOML tables,
their types what may stand there, their docstrings what it means.

Lists of tables are written in the singular ([[reaction]], [[stress]]). A key that is not a field is a fault.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated, Any, Literal

import numpy as np
from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, StrictBool, StringConstraints

from eqlib.chem.catalogue.ghs import CHECK_SDS, STATEMENTS, pictograms_of

Direction = Literal["forward", "reverse", "none"]
Seen = Literal["darker", "paler", "same", "other colour"]

_LIMITED: dict[str, Any] = {"allow_inf_nan": False, "strict": True}
_TEXT = "a piece of text in quotes that is not empty"
_KELVIN = "a temperature in kelvin between 200 and 500, such as 298.15"
_CELSIUS = "a temperature in degrees Celsius between -20 and 120, such as 25"
_MEDIUM = 'a number in mol/L that is 0 or more, or "not stated", or "gas phase"'
_AMOUNTS = 'a table of species and numbers that are 0 or more, such as { "Fe^3+" = 0.002 }'

# The description of a type is what a complaint asks for.
Text = Annotated[
    str, StringConstraints(strict=True, strip_whitespace=True, min_length=1), Field(description=_TEXT)
]
Texts = Annotated[tuple[Text, ...], Field(description='a list of texts, such as ["gloves", "goggles"]')]
Number = Annotated[float, Field(**_LIMITED, description="an ordinary number (not nan, not inf)")]
Above0 = Annotated[float, Field(gt=0, **_LIMITED, description="a number greater than 0")]
AtLeast0 = Annotated[float, Field(ge=0, **_LIMITED, description="a number that is 0 or more")]
Kelvin = Annotated[float, Field(ge=200, le=500, **_LIMITED, description=_KELVIN)]
Celsius = Annotated[float, Field(ge=-20, le=120, **_LIMITED, description=_CELSIUS)]
Nanometres = Annotated[
    float, Field(ge=150, le=1500, **_LIMITED, description="a wavelength in nm between 150 and 1500")
]
Amounts = Annotated[dict[Text, AtLeast0], Field(description=_AMOUNTS)]
if TYPE_CHECKING:
    Code = str  # one of the codes of STATEMENTS
else:
    Code = Literal[tuple(STATEMENTS)]


def _some(values: Any) -> Any:
    """A text alone stands for a list of one."""
    return (values,) if isinstance(values, str) else values


class Table(BaseModel):
    """A TOML table: frozen, and no key but its fields."""

    model_config = ConfigDict(frozen=True, extra="forbid", arbitrary_types_allowed=True)


class Constant(Table):
    """[[reaction.constant]]: one published (or plainly illustrative) value of an equilibrium constant.

    Exactly one of ``K`` and ``log10_K`` is written. ``T`` in kelvin; ``ionic_strength`` in mol/L, or "not
    stated", or "gas phase". ``from_memory``: recalled, not seen in print. ``illustrative``: not published.
    """

    key: Text
    value: Annotated[Above0 | None, Field(alias="K")] = None
    log10_K: Number | None = None
    T: Kelvin
    medium: Annotated[
        AtLeast0 | Literal["not stated", "gas phase"], Field(alias="ionic_strength", description=_MEDIUM)
    ]
    source: Text
    from_memory: StrictBool
    illustrative: StrictBool = False
    note: str = ""

    @property
    def K(self) -> float:
        """The constant itself."""
        return float(self.value if self.value is not None else 10.0 ** (self.log10_K or 0.0))


class Heat(Table):
    """[reaction.heat]: the reaction enthalpy ``dH_kJ`` in kJ/mol; positive: heat is taken up forward."""

    dH_kJ: Number
    source: Text
    from_memory: StrictBool
    illustrative: StrictBool = False
    note: str = ""

    @property
    def dH(self) -> float:
        """J/mol."""
        return 1000.0 * self.dH_kJ


class ReactionTable(Table):
    """[[reaction]]: an equation, every value known for its constant, the one lessons use (``default``) and
    why.
    """

    key: Text
    equation: Text
    basis: Literal["c", "p"] = "c"
    words: str = ""
    default: Text
    why_default: Text
    constant: tuple[Constant, ...]
    heat: Heat | None = None


class Reagent(Table):
    """[[reagent]]: a bottle from the supplier, a solid to weigh (``formula`` with its water) or a
    concentrate.

    ``molarity`` (mol/L) of a concentrate; ``other_forms``: other hydrates that give the same solution.
    ``codes``: H and EUH codes of the bottle as bought; ``limits``: its specific concentration limits, code
    of a mixture -> mass % from which; ``m_factor`` for water life.
    """

    key: Text
    name: Text
    formula: Text
    state: Literal["solid", "concentrate", "liquid", "gas"]
    molarity: Above0 | None = None
    other_forms: Texts = ()
    codes: tuple[Code, ...] = ()
    limits: dict[Code, Above0] = Field(default_factory=dict)
    m_factor: Above0 = 1.0
    hazard_source: Text
    hazard_note: str = ""
    keep: str = ""
    note: str = ""

    @property
    def hazard(self) -> Hazard:
        """What its label warns of."""
        return Hazard(self.name, self.formula, self.codes, self.hazard_source, self.hazard_note)


class MadeFrom(Table):
    """{ reagent, M }: a reagent of a stock and its mol/L there."""

    reagent: Text
    M: Above0


class Stock(Table):
    """[[stock]]: a stock solution: mol/L of each species as put in, and what it is made from.

    ``steps``: how, when "dissolve and make up" is not enough. ``safe_here``: why a hazard of the label (an
    EUH code) is none in the wells.
    """

    key: Text
    name: Text
    species: Amounts
    made_from: Annotated[tuple[MadeFrom, ...], Field(alias="from")] = ()
    steps: Texts = ()
    safe_here: str = ""
    waste: str = ""
    keep: str = ""
    solvent: str = "water"


class Portion(Table):
    """{ stock, mL }: so much of a stock, or of "water"."""

    stock: Text
    mL: Above0


class RecipeTable(Table):
    """[recipe]: the starting mixture of one group.

    ``portions`` of stocks; ``put_in``: mmol of anything added as itself; ``mL``: the volume where nothing
    is poured. ``colour``: what is seen. ``demonstration_only``: trained staff show it, the class watches.
    ``note``: what a reader of the constants should know of this mixture (its ionic strength, say).
    """

    vessel: Text
    portions: tuple[Portion, ...] = ()
    put_in: Amounts = Field(default_factory=dict)
    mL: Above0 | None = None
    celsius: Celsius
    headspace_mL: AtLeast0 = 0.0
    pressure_bar: Above0 | None = None
    path_cm: Above0 = 1.0
    colour: str = ""
    demonstration_only: StrictBool = False
    steps: Annotated[Texts, Field(min_length=1)]
    note: str = ""


class AddSolution(Table):
    """A solution: one of the stocks, or ``of`` (mol/L) or ``of_mM``, and its ``mL``."""

    kind: Literal["add_solution"]
    stock: Text | None = None
    of: Amounts | None = None
    of_mM: Amounts | None = None
    mL: Above0


class Dilute(Table):
    """``mL`` of water."""

    kind: Literal["dilute"]
    mL: Above0


class AddSolid(Table):
    """``mmol`` of a solid of the reactions, or of a soluble salt."""

    kind: Literal["add_solid"]
    formula: Text
    mmol: Above0


class AddOrRemove(Table):
    """``mmol`` of a species, put in or taken out without a change of volume."""

    kind: Literal["add", "remove"]
    species: Text
    mmol: Above0


class HeatTo(Table):
    """Bring to so many degrees Celsius."""

    kind: Literal["heat_to"]
    celsius: Celsius


class ChangeVolume(Table):
    """Bring the vessel to ``mL`` or ``L``."""

    kind: Literal["change_volume"]
    mL: Above0 | None = None
    L: Above0 | None = None


class AddInert(Table):
    """``mmol`` of argon at constant "volume" or "pressure"."""

    kind: Literal["add_inert"]
    mmol: Above0
    constant: Literal["volume", "pressure"]


class Catalyse(Table):
    """A catalyst."""

    kind: Literal["catalyse"]


Does = Annotated[
    AddSolution | Dilute | AddSolid | AddOrRemove | HeatTo | ChangeVolume | AddInert | Catalyse,
    Field(discriminator="kind"),
]


class StressTable(Table):
    """[[stress]]: something worth showing: what is done (``does``, written as in a question file), which
    way the first reaction goes, what is seen and why.

    ``after``: the key of the stress that comes first, if any. ``solid``: a precipitate that should be there
    at the end; ``solid_gone``: one that should have dissolved. ``seen`` compares the colour with just
    before; "other colour" where an eye would not agree on darker or paler.
    """

    key: Text
    title: Text
    does: Does
    direction: Direction
    seen: Seen
    seen_words: Text
    why: Text
    caution: Text
    reversal: Text
    after: Text | None = None
    solid: Text | None = None
    solid_gone: Text | None = None
    on_bench: StrictBool = True


class Band(Table):
    """A band: maximum (nm), molar absorptivity there (L/(mol cm)), full width at half height (cm⁻¹)."""

    max_nm: Nanometres
    epsilon: AtLeast0
    width_cm1: Above0


class Spectrum(Table):
    """[[spectrum]]: molar absorptivity of one species, as ``bands`` or as a table (``nm``, ``table``).

    In the file the table's second row is called epsilon. ``shape`` says how rough it is; ``called`` is the
    hue that chemists name when this species alone gives the colour (the same light is "orange" of one,
    "brown" of another).
    """

    species: Text
    called: str = ""
    bands: tuple[Band, ...] = ()
    nm: tuple[Nanometres, ...] = ()
    at_nm: Annotated[tuple[AtLeast0, ...], Field(alias="epsilon")] = ()
    source: Text
    from_memory: StrictBool
    illustrative: StrictBool = False
    shape: Text

    def epsilon(self, nm: Any) -> Any:
        """Molar absorptivity (L/(mol cm), base 10) at wavelengths ``nm`` (array or number).

        Bands are Gaussian in wavenumber; a table is joined by straight lines and is zero outside its ends.
        """
        nm = np.asarray(nm, dtype=float)
        if self.nm:
            return np.interp(nm, self.nm, self.at_nm, left=0.0, right=0.0)
        total = np.zeros_like(nm)
        for band in self.bands:
            offset = (1e7 / nm - 1e7 / band.max_nm) / band.width_cm1
            total = total + band.epsilon * np.exp(-4 * np.log(2) * offset**2)
        return total


class SolidLook(Table):
    """[[solid]]: how a solid looks: words, an sRGB hex for its body colour, and an illustrative scatter
    strength.

    ``scatter`` is the extinction by scattering of the suspended solid, per cm for each mol of it in a litre
    of mixture; it depends on particle size, so it is a picture and never a measurement.
    """

    species: Text
    words: Text
    hex: Annotated[
        str,
        StringConstraints(strict=True, pattern="^#[0-9a-fA-F]{6}$", to_lower=True),
        Field(description="it as #rrggbb, such as #f0f0f0"),
    ]
    scatter: AtLeast0
    source: Text
    from_memory: StrictBool
    note: str = ""


class CatalogueFile(Table):
    """A whole file. ``uses`` names others ("iron-thiocyanate") or single reactions
    ("iron-thiocyanate/complex"); ``main`` the reaction under study; ``bottles`` reagents that no stock is
    made from; ``data_only`` the words that say it must not be done on a bench.
    """

    title: Text
    about: str = ""
    uses: Annotated[Texts, BeforeValidator(_some)] = ()
    main: Text | None = None
    data_only: str = ""
    reaction: tuple[ReactionTable, ...] = ()
    reagent: tuple[Reagent, ...] = ()
    stock: tuple[Stock, ...] = ()
    bottles: Texts = ()
    recipe: RecipeTable | None = None
    stress: tuple[StressTable, ...] = ()
    spectrum: tuple[Spectrum, ...] = ()
    solid: tuple[SolidLook, ...] = ()
    ppe: Texts = ()
    waste: Texts = ()
    spill: Texts = ()
    pitfalls: Texts = ()
    sources: Texts = ()


@dataclass(frozen=True)
class Hazard:
    """One bottle's hazards: H and EUH codes, and where the classification was read."""

    reagent: str
    formula: str
    codes: tuple[str, ...]
    source: str
    note: str = ""

    @property
    def pictograms(self) -> tuple[str, ...]:
        """The pictograms that the codes ask for, in words."""
        return pictograms_of(self.codes)

    @property
    def words(self) -> str:
        """The codes spelt out, one line; ends with the standing advice to check the supplier's sheet."""
        spelt = (
            "; ".join(f"{code} {STATEMENTS[code]}" for code in self.codes)
            or "no hazard code known for this bottle"
        )
        return f"{self.reagent}: {spelt}. {CHECK_SDS}"
