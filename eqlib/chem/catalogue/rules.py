"""Does a catalogue file make chemical sense, and do its claims agree with the engine?

The shape of a file is checked by the models in ``records``; here is what a model cannot see. Each rule notes
every fault it finds.
"""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

from eqlib.chem.catalogue.faults import CatalogueError, Faults, complaint, suggestion
from eqlib.chem.catalogue.one_system import CatalogueStress, System
from eqlib.chem.catalogue.records import CatalogueFile, Constant, Spectrum
from eqlib.chem.disturb import Disturbance, disturb
from eqlib.chem.reactions import Reaction
from eqlib.chem.species import Species, species
from eqlib.errors import EqlibError

if TYPE_CHECKING:
    from eqlib.chem.state import State

NOTICED = 1e-5  # mol per litre of mixture; less of a solid than this is not expected to be seen


def read_species(faults: Faults, where: str, text: str) -> Species | None:
    """The Species that ``text`` means; None, and a fault that says where it stands, when it means none."""
    try:
        return species(text)
    except EqlibError as error:
        faults.add(where, f"the species {text!r} cannot be read", str(error).rstrip("."))
        return None


def no_key_twice(doc: CatalogueFile, faults: Faults) -> None:
    """Keys name things, so a key stands once in its list (and a species once among spectra and solids)."""
    for kind in ("reaction", "reagent", "stock", "stress"):
        _once(faults, kind, "key", [one.key for one in getattr(doc, kind)])
    for kind in ("spectrum", "solid"):
        _once(faults, kind, "species", [one.species for one in getattr(doc, kind)])
    for reaction in doc.reaction:
        where = f"reaction {reaction.key!r}, constant"
        _once(faults, where, "key", [constant.key for constant in reaction.constant])


def _once(faults: Faults, where: str, name: str, values: list[str]) -> None:
    for value in dict.fromkeys(v for v in values if values.count(v) > 1):
        faults.add(f"{where} {value!r}", f"this {name} stands twice", "rename one or take it out")


def reactions_balance(doc: CatalogueFile, faults: Faults) -> None:
    """Every equation is read, its species too, and atoms and charge are the same on both sides."""
    for entry in doc.reaction:
        where = f"reaction {entry.key!r}, equation"
        try:
            balanced = Reaction(entry.equation, K=1.0, basis=entry.basis).is_balanced
        except EqlibError as error:
            faults.add(where, f"{entry.equation!r} cannot be read", str(error).rstrip("."))
            continue
        if not balanced:
            mend = "make the atoms and the charge the same on both sides; eqlib.balance can find the numbers"
            faults.add(where, f"{entry.equation!r} does not balance", mend)


def constants_say_one_value(doc: CatalogueFile, faults: Faults) -> None:
    """A constant gives K or log10_K, not both and not neither; the default is one of those listed."""
    for entry in doc.reaction:
        where = f"reaction {entry.key!r}"
        if not entry.constant:
            faults.add(f"{where}, constant", "no constant is given", "add [[reaction.constant]]")
            continue
        for constant in entry.constant:
            _one_value(faults, f"{where}, constant {constant.key!r}", constant)
        keys = [constant.key for constant in entry.constant]
        if entry.default not in keys:
            what = f"{entry.default!r} is not one of its constants"
            faults.add(f"{where}, default", what, suggestion(entry.default, keys))


def _one_value(faults: Faults, where: str, constant: Constant) -> None:
    if (constant.value is None) == (constant.log10_K is None):
        both = constant.value is not None
        what = "both K and log10_K stand here" if both else "neither K nor log10_K stands here"
        faults.add(f"{where}, K", what, "write exactly one of them")
    if abs(constant.log10_K or 0.0) > 200:
        faults.add(f"{where}, log10_K", f"is {constant.log10_K}", "write a power of ten under 200")


def concentrates_have_a_strength(doc: CatalogueFile, faults: Faults) -> None:
    """A concentrate is diluted by its mol/L."""
    for bottle in doc.reagent:
        if bottle.state == "concentrate" and bottle.molarity is None:
            where = f"reagent {bottle.key!r}, molarity"
            faults.add(where, "a concentrate needs its strength", "add molarity = mol/L")


def stocks_are_neutral(doc: CatalogueFile, faults: Faults) -> None:
    """A stock's species are in solution and its charges cancel, as in any bottle."""
    for stock in doc.stock:
        where = f"stock {stock.key!r}, species"
        if not stock.species:
            mend = 'add them, such as { "Ag^+" = 0.1, "NO3^-" = 0.1 }'
            faults.add(where, "this stock holds no species", mend)
        charge = total = 0.0
        readable = True
        for name, molar in stock.species.items():
            one = read_species(faults, where, name)
            readable = readable and one is not None
            if one is None:
                continue
            if one.phase != "aq":
                faults.add(where, f"{name} is not in solution", "name what is dissolved")
            charge += one.charge * molar
            total += abs(one.charge) * molar
        if readable and abs(charge) > 1e-6 * max(total, 1e-12):
            what = f"the charges add up to {charge:+.3g} mol/L"
            faults.add(where, what, "add the missing ion, such as NO3^-, or correct a number")


def spectra_are_possible(doc: CatalogueFile, faults: Faults) -> None:
    """Bands or a table, not both; a table's columns of equal length, its wavelengths rising."""
    for spectrum in doc.spectrum:
        where = f"spectrum {spectrum.species!r}"
        read_species(faults, where, spectrum.species)
        has_table = bool(spectrum.nm or spectrum.at_nm)
        if has_table == bool(spectrum.bands):
            what = (
                "both bands and a table stand here" if has_table else "neither bands nor a table stands here"
            )
            faults.add(where, what, "write bands = [...], or nm = [...] with epsilon = [...]")
        elif has_table:
            _table_is_possible(faults, where, spectrum)


def _table_is_possible(faults: Faults, where: str, spectrum: Spectrum) -> None:
    if len(spectrum.nm) != len(spectrum.at_nm) or len(spectrum.nm) < 2:
        what = f"nm has {len(spectrum.nm)} numbers and epsilon has {len(spectrum.at_nm)}"
        faults.add(f"{where}, epsilon", what, "give one epsilon for each wavelength, two or more")
    if any(b <= a for a, b in pairwise(spectrum.nm)):
        faults.add(f"{where}, nm", "the wavelengths do not rise", "sort the table from short to long")


def solids_are_solids(doc: CatalogueFile, faults: Faults) -> None:
    """A solid's look belongs to a species marked (s)."""
    for look in doc.solid:
        where = f"solid {look.species!r}"
        one = read_species(faults, where, look.species)
        if one is not None and one.phase != "s":
            faults.add(f"{where}, species", "is not a solid", "write it with (s), such as AgSCN(s)")


def enough_to_be_a_system(doc: CatalogueFile, faults: Faults) -> None:
    """A system needs a recipe, waste, PPE and at least one reaction of its own or used from another file."""
    if not doc.reaction and not doc.uses:
        faults.add("reaction", "there is no reaction", 'add [[reaction]], or uses = "iron-thiocyanate"')
    for key, mend in (
        ("recipe", "add a [recipe] with vessel, celsius, steps and portions"),
        ("ppe", 'add ppe = ["eye protection", ...]'),
        ("waste", 'add waste = ["where it goes", ...]'),
    ):
        if not getattr(doc, key):
            faults.add(key, "this key is missing", mend)


RULES = (
    no_key_twice,
    reactions_balance,
    constants_say_one_value,
    concentrates_have_a_strength,
    stocks_are_neutral,
    spectra_are_possible,
    solids_are_solids,
)


def check_meaning(doc: CatalogueFile, faults: Faults, *, is_system: bool) -> None:
    """Run every rule on one file by itself. What it takes from other files is checked when it is built."""
    for rule in (*RULES, enough_to_be_a_system) if is_system else RULES:
        rule(doc, faults)


# -- claims: what a file says about its stresses is tried, not believed --------------------------------------


def outcome_of(system: System, key: str) -> Disturbance:
    """The Disturbance of the stress ``key``, done to the recipe after the stresses that come ahead of it."""
    return disturb(system.before(key), system.steps[key].stress)


def check_claims(system: System) -> None:
    """Raise CatalogueError when a stress cannot be done, or its direction or solid is not what the engine
    finds.
    """
    faults = Faults(system.path)
    try:
        system.mixture().equilibrate()
    except EqlibError as error:
        raise complaint(system.path, "recipe", "cannot be solved", str(error).rstrip(".")) from None
    for key, claim in system.steps.items():
        where = f"stress {key!r}"
        try:
            outcome = outcome_of(system, key)
        except CatalogueError:
            raise
        except EqlibError as error:
            faults.add(where, "cannot be done to the recipe", str(error).rstrip("."))
            continue
        if outcome.direction != claim.direction:
            what = f"says {claim.direction}, but the first reaction goes {outcome.direction}"
            faults.add(f"{where}, direction", what, "correct the claim, the recipe or the constants")
        _check_solids(faults, where, claim, outcome.after)
    faults.stop_if_any()


def _check_solids(faults: Faults, where: str, claim: CatalogueStress, after: State) -> None:
    mend = "correct the claim, or the recipe"
    if claim.solid and after.solids[claim.solid] < NOTICED:
        what = f"{claim.solid} is hardly there: {after.solids[claim.solid]:.1e} mol/L"
        faults.add(f"{where}, solid", what, mend)
    if claim.solid_gone and after.solids[claim.solid_gone] >= NOTICED:
        what = f"{claim.solid_gone} is still there: {after.solids[claim.solid_gone]:.1e} mol/L"
        faults.add(f"{where}, solid_gone", what, mend)
