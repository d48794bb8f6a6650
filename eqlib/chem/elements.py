"""The element symbols, and the hint for one that does not exist."""

from __future__ import annotations

from collections.abc import Mapping

_PERIODIC_TABLE = """
    H He Li Be B C N O F Ne Na Mg Al Si P S Cl Ar K Ca Sc Ti V Cr Mn Fe Co Ni Cu Zn Ga Ge As Se Br Kr
    Rb Sr Y Zr Nb Mo Tc Ru Rh Pd Ag Cd In Sn Sb Te I Xe Cs Ba La Ce Pr Nd Pm Sm Eu Gd Tb Dy Ho Er Tm Yb Lu
    Hf Ta W Re Os Ir Pt Au Hg Tl Pb Bi Po At Rn Fr Ra Ac Th Pa U Np Pu Am Cm Bk Cf Es Fm Md No Lr
    Rf Db Sg Bh Hs Mt Ds Rg Cn Nh Fl Mc Lv Ts Og
"""
ELEMENTS = frozenset(_PERIODIC_TABLE.split())
# Letters for "some acid", "some metal", "some ligand" in general equations such as HA <=> H^+ + A^-.
PLACEHOLDERS = frozenset("AMLXQR")
# Only these are offered as "did you mean", being the ones people write.
_FAMILIAR = "Na Mg Al Cl Ca Fe Cu Co Zn Ag Br Ba Cr Mn Ni Pb Sn Hg Li Si"
_LIKELY = frozenset(_FAMILIAR.split())


def unknown(atoms: Mapping, formula: str) -> str:
    """What is wrong with the symbols of a formula, in words; empty when nothing is."""
    if not atoms:
        return "no element is read; write a formula such as Fe^3+"
    strange = [symbol for symbol in atoms if symbol not in ELEMENTS]
    general = all(symbol in PLACEHOLDERS or symbol in ("H", "O", "B") for symbol in atoms)
    if strange and not general:
        return f"there is no element '{strange[0]}'{_hint(strange[0], formula)}"
    return ""


def _hint(symbol: str, formula: str) -> str:
    """Capitals typed for small letters are the commonest slip: NACL."""
    following = formula[formula.find(symbol) + len(symbol) :][:1]
    before = formula[: formula.find(symbol)][-1:]
    for guess in (before + symbol.lower(), symbol + following.lower()):
        if guess in _LIKELY:
            return f"; did you mean {guess}?"
    return "; check the capitals and the spelling"
