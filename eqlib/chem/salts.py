"""What a substance becomes in water: a salt or strong acid its ions, anything else itself.

``ions_of("Na2HPO4") == {"Na^+": 2, "HPO4^2-": 1}``. Water of crystallisation joins the solvent and is left
out. The charges are those met in first-year work (common practice, no source); an unknown salt is an error
that says how to name its ions instead.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from functools import lru_cache
from itertools import product
from types import MappingProxyType
from typing import Any

from eqlib.chem.species import FormulaError, Species, charge_text, protonated, species
from eqlib.errors import EqlibError, finite

# Metal (or group) -> charges it takes in salts, the likelier first.
CATIONS: Mapping[str, tuple[int, ...]] = {
    "NH4": (1,), "Li": (1,), "Na": (1,), "K": (1,), "Rb": (1,), "Cs": (1,), "Ag": (1,), "Tl": (1, 3),
    "Be": (2,), "Mg": (2,), "Ca": (2,), "Sr": (2,), "Ba": (2,), "Zn": (2,), "Cd": (2,), "Ni": (2,),
    "Pb": (2, 4),
    "Mn": (2, 3), "Fe": (2, 3), "Co": (2, 3), "Cr": (2, 3), "Cu": (1, 2), "Hg": (2,), "Sn": (2, 4),
    "V": (2, 3),
    "Al": (3,), "Ga": (3,), "In": (3,), "Sc": (3,), "Y": (3,), "La": (3,), "Ce": (3, 4), "Gd": (3,),
    "Bi": (3,),
    "Zr": (4,), "Th": (4,), "UO2": (2,), "VO": (2,), "Pd": (2,), "Pt": (2,), "Au": (1, 3), "Ti": (3, 4),
    "Eu": (3,), "Nd": (3,), "Pr": (3,), "Sm": (3,), "Tb": (3,), "Dy": (3,), "Er": (3,), "Yb": (3,),
    "(CH3)4N": (1,), "C6H5NH3": (1,), "CH3NH3": (1,), "(CH3)3NH": (1,), "(CH3)2NH2": (1,), "NH3OH": (1,),
}  # fmt: skip
ANIONS: Mapping[str, int] = {
    "F": -1, "Cl": -1, "Br": -1, "I": -1, "O": -2, "S": -2, "OH": -1, "SCN": -1, "NCS": -1, "CN": -1,
    "OCN": -1,
    "HS": -1, "N3": -1, "I3": -1, "NO3": -1, "NO2": -1, "ClO": -1, "OCl": -1, "ClO2": -1, "ClO3": -1,
    "ClO4": -1,
    "BrO": -1, "BrO3": -1, "IO3": -1, "IO4": -1, "MnO4": -1, "HF2": -1, "BF4": -1, "PF6": -1, "HSO4": -1,
    "HSO3": -1, "HCO3": -1, "H2PO4": -1, "H2PO2": -1, "HC2O4": -1, "H2AsO4": -1, "HC4H4O6": -1, "VO3": -1,
    "SO4": -2, "SO3": -2, "S2O3": -2, "S2O8": -2, "CO3": -2, "CrO4": -2, "Cr2O7": -2, "C2O4": -2, "HPO4": -2,
    "HPO3": -2, "C4H4O6": -2, "MoO4": -2, "WO4": -2, "SiO3": -2, "O2": -2, "HAsO4": -2, "SeO4": -2,
    "SiF6": -2, "B4O7": -2, "CoCl4": -2, "CuCl4": -2, "Zn(OH)4": -2, "ZnO2": -2, "PO4": -3, "AsO4": -3,
    "AsO3": -3, "BO3": -3, "C6H5O7": -3, "HC6H5O7": -2, "H2C6H5O7": -1, "BO2": -1, "AlO2": -1, "Al(OH)4": -1,
    "CH3COO": -1, "CH3CO2": -1, "C2H3O2": -1, "H3C2O2": -1, "HCOO": -1, "HCO2": -1, "CHO2": -1, "C6H5COO": -1,
    "C6H5CO2": -1, "C7H5O2": -1, "C3H5O3": -1, "C2H5COO": -1, "Ag(CN)2": -1, "Au(CN)2": -1, "Ag(S2O3)2": -3,
    "AlF6": -3, "P2O7": -4, "C10H14N2O8": -2, "Fe(C2O4)3": -3,
}  # fmt: skip
# Complex anions whose charge follows from the cation: hexacyanidoferrate(II) or (III), and so on.
VARIABLE_ANIONS: Mapping[str, tuple[int, ...]] = {
    "Fe(CN)6": (-4, -3), "Co(CN)6": (-3,), "Cr(CN)6": (-3,), "Ni(CN)4": (-2,), "Co(NO2)6": (-3,),
    "PtCl6": (-2,),
}  # fmt: skip
STRONG_ACIDS: Mapping[str, Mapping[str, int]] = {
    "HCl": {"H^+": 1, "Cl^-": 1}, "HBr": {"H^+": 1, "Br^-": 1}, "HI": {"H^+": 1, "I^-": 1},
    "HNO3": {"H^+": 1, "NO3^-": 1}, "HClO4": {"H^+": 1, "ClO4^-": 1}, "HClO3": {"H^+": 1, "ClO3^-": 1},
    "H2SO4": {"H^+": 2, "SO4^2-": 1},
}  # fmt: skip
# Salts whose formula alone misleads.
SPECIAL: Mapping[str, Mapping[str, int]] = {
    "Hg2Cl2": {"Hg2^2+": 1, "Cl^-": 2}, "Hg2Br2": {"Hg2^2+": 1, "Br^-": 2}, "Hg2I2": {"Hg2^2+": 1, "I^-": 2},
    "Hg2(NO3)2": {"Hg2^2+": 1, "NO3^-": 2}, "Hg2SO4": {"Hg2^2+": 1, "SO4^2-": 1},
    "KI3": {"K^+": 1, "I3^-": 1}, "K2MnO4": {"K^+": 2, "MnO4^2-": 1},
    "NH4NO3": {"NH4^+": 1, "NO3^-": 1}, "NH4NO2": {"NH4^+": 1, "NO2^-": 1},
}  # fmt: skip

# A metal with neutral ligands, in the square brackets (by now round ones) of the formula or without.
_COMPLEX_CATION = re.compile(
    r"(?P<open>\()?(?P<complex>(?P<metal>[A-Z][a-z]?)(?:\((?:NH3|H2O)\)\d*)+)(?(open)\)(?P<count>\d*))"
)


class SaltError(EqlibError):
    """A compound that cannot be split into ions."""


def ions_of(text: str | Species) -> dict[str, int]:
    """Moles of each dissolved species from one mole of the substance.

    A salt (hydrates too), a strong acid (both protons of H2SO4) or a base is split; an ion or a molecule
    such as NH3 stays whole. Raises SaltError for a salt it does not know, FormulaError for a formula that
    cannot be read.
    """
    return dict(_ions_of(species(text).name))


@lru_cache(maxsize=1024)
def _ions_of(name: str) -> tuple[tuple[str, int], ...]:
    one = species(name)
    if one.charge or one.name == "H2O(l)" or one.phase == "g":
        return ((one.name, 1),)
    body = _anhydrous(one).replace("[", "(").replace("]", ")")
    for table in (SPECIAL, STRONG_ACIDS):
        if body in table:
            return tuple(table[body].items())
    if split := _split(body):
        return tuple(split.items())
    if any(element in CATIONS for element in one.elements):
        raise SaltError(
            f"'{one.name}': its ions are not known here; name them yourself, such as {{'Ag^+': 0.1, "
            f"'NO3^-': 0.1}}"
        )
    return ((one.formula, 1),)


def _anhydrous(one: Species) -> str:
    """The formula without its water of crystallisation."""
    main, *added = re.split(r"(?<![.]\d)\.", one.formula)
    if any(not re.fullmatch(r"(?:\d+(?:\.\d+|/\d+)?)?H2O", part) for part in added):
        raise SaltError(
            f"'{one.name}': only water of crystallisation is read after the dot; name the ions yourself"
        )
    return main


def _split(body: str) -> dict[str, int] | None:
    """Cations then anion, or an organic anion then its cation; the charges must cancel."""
    for cations, rest in _leading_cations(body):
        if (tail := _anion(rest)) and (found := _neutral(cations, *tail)):
            return found
    for cation in CATIONS:
        if ending := re.fullmatch(rf"(.+?){re.escape(cation)}(\d*)", body):
            tail = _anion(ending[1], last=False)
            if tail and "C" in tail[0]:
                answer = _neutral(((cation, int(ending[2] or 1)),), *tail)
                if answer:
                    return answer
    return None


def _leading_cations(body: str, already: tuple = ()) -> Iterator[tuple[tuple[tuple[str, int], ...], str]]:
    """Every way to read up to three cations from the left, longest name first."""
    if len(already) == 3:
        return
    if not already and (found := _COMPLEX_CATION.match(body)) and found["metal"] in CATIONS:
        yield ((found["complex"], int(found["count"] or 1)),), body[found.end() :]
    for cation in sorted(CATIONS, key=len, reverse=True):
        pattern = rf"(?:\({re.escape(cation)}\)(\d+)|{re.escape(cation)}(?![a-z])(\d*))"
        found = re.match(pattern, body)
        if not found:
            continue
        group = (*already, (cation, int(found[1] or found[2] or 1)))
        rest = body[found.end() :]
        yield group, rest
        yield from _leading_cations(rest, group)


def _anion(rest: str, last: bool = True) -> tuple[str, int, tuple[int, ...]] | None:
    """Name, count and possible charges of the anion that is the whole of ``rest``."""
    found = re.fullmatch(r"\((.+)\)(\d+)", rest)
    options = [(found[1], int(found[2]))] if found else []
    options.append((rest[1:-1] if re.fullmatch(r"\([^()]*(?:\([^()]*\)\d*[^()]*)*\)", rest) else rest, 1))
    if last and (single := re.fullmatch(r"([A-Z][a-z]?)(\d+)", rest)):
        options.insert(0, (single[1], int(single[2])))
    for name, count in options:
        charges = (ANIONS[name],) if name in ANIONS else VARIABLE_ANIONS.get(name)
        if charges:
            return name, count, charges
    return None


def _neutral(
    cations: tuple[tuple[str, int], ...], anion: str, count: int, charges: tuple[int, ...]
) -> dict[str, int] | None:
    """The ions, if some choice of charges makes the salt neutral."""
    for anion_charge in charges:
        for chosen in product(*(_cation_charges(name) for name, _ in cations)):
            total = sum(charge * n for charge, (_, n) in zip(chosen, cations, strict=True))
            if total + anion_charge * count == 0:
                ions = [(name, charge, n) for charge, (name, n) in zip(chosen, cations, strict=True)]
                return _named([*ions, (anion, anion_charge, count)])
    return None


def _cation_charges(name: str) -> tuple[int, ...]:
    """Neutral ligands leave the metal's charge as it is."""
    return CATIONS.get(name) or CATIONS[re.findall(r"[A-Z][a-z]?", name)[0]]


def _named(ions: list[tuple[str, int, int]]) -> dict[str, int] | None:
    try:
        return {species(name + charge_text(charge)).name: n for name, charge, n in ions}
    except FormulaError:
        return None


def dissolved(given: Mapping[str, float]) -> dict[str, float]:
    """Amounts of ions from amounts of substances: ``{"AgNO3": 0.1}`` becomes Ag^+ 0.1 and NO3^- 0.1."""
    total: dict[str, float] = {}
    for name, value in given.items():
        for ion, number in ions_of(name).items():
            total[ion] = total.get(ion, 0.0) + number * value
    return total


# -- what a substance is in a mixture that knows certain species --------------------


def _amount(value: object, what: str) -> float:
    amount = finite(value, what)
    if amount < 0:
        raise EqlibError(f"{what} must be 0 or more, not {amount:g}")
    return amount


def split_totals(
    totals: object, known: tuple[str, ...], number: Callable = _amount
) -> tuple[dict[str, Any], list[str]]:
    """Totals by species as the mixture writes them, and remarks on what was read as something else.

    ``number(value, what)`` checks each value and makes it a float or an array. Raises EqlibError.
    """
    if not isinstance(totals, Mapping):
        kind = type(totals).__name__
        raise EqlibError(f"totals are given as {{species: mol/L}}, such as {{'Ag^+': 0.1}}, not as a {kind}")
    found: dict[str, Any] = {}
    remarks: list[str] = []
    for name, value in totals.items():
        amount = number(value, f"the total of {name} in mol/L")
        here = protonated(name)
        into: Mapping[str, int] = {here: 1}
        if here not in known and _may_be_other(here):
            into, notes = parts(here, known)
            remarks += notes
            if here not in into:
                remarks.append(f"{here} is taken as {' and '.join(into)}.")
        for part, count in into.items():
            found[part] = found.get(part, 0.0) + count * amount
    return found, remarks


def _may_be_other(name: str) -> bool:
    """Solids, gases and single elements are what they say."""
    one = species(name)
    return name == "H2O(l)" or (one.phase == "aq" and len(one.elements) > 1)


@lru_cache(maxsize=4096)
def parts(name: str, known: tuple[str, ...]) -> tuple[Mapping[str, int], tuple[str, ...]]:
    """Moles of each species that one mole of ``name`` brings to a mixture of ``known`` species; and notes.

    A species of the mixture is itself, in its own spelling; a salt or strong acid is split into ions, spelt
    as the mixture spells them. Raises SaltError for a salt that cannot be split, and for another spelling,
    a slip or an isomer of a species of the mixture.
    """
    if (key := resolve(name, known)) is not None:
        return MappingProxyType({key: 1}), ()
    found: dict[str, int] = {}
    notes = []
    for ion, count in ions_of(name).items():
        here = _spelt_here(ion, known)
        if here != ion:
            notes.append(f"{ion} is taken as {here}.")
        found[here] = count
    return MappingProxyType(found), tuple(notes)


def resolve(name: str, known: tuple[str, ...]) -> str | None:
    """The species of the mixture that ``name`` means: itself, or the gas of that formula; None if absent."""
    name = protonated(name)
    if name in known:
        return name
    if name == "H2O(l)" and "H2O(aq)" in known:
        return "H2O(aq)"
    one = species(name)
    if one.phase == "aq" and not one.charge:
        gases = [other for other in known if species(other).key == one.key and species(other).phase == "g"]
        if gases:
            return gases[0]
    same = [other for other in known if _same_atoms(species(other), one)]
    if same:
        # Another spelling, a typo or an isomer: only the person who wrote it knows which.
        raise SaltError(f"{name} is not in this mixture; the same atoms are written {' or '.join(same)} here")
    return None


def _spelt_here(ion: str, known: tuple[str, ...]) -> str:
    """The ion of a salt as the mixture writes it: sodium acetate's CH3COO^- may be CH3CO2^- here."""
    same = [name for name in known if name == ion or _same_atoms(species(name), species(ion))]
    return same[0] if len(same) == 1 else ion


def _same_atoms(first: Species, second: Species) -> bool:
    """CH3COO^- and CH3CO2^-: same atoms, charge and phase, written differently."""
    return (
        first.elements == second.elements
        and first.charge == second.charge
        and first.phase == second.phase
        and "-" not in first.formula + second.formula
        and len(first.elements) > 1
    )
