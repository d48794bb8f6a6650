"""From a System to a Mixture: the recipe with chosen constants, and the mixture a stress is done to."""

from collections.abc import Mapping
from typing import Any

from eqlib.chem.catalogue.faults import CatalogueError, suggestion
from eqlib.chem.catalogue.records import ConstantChoice, System
from eqlib.chem.disturb import disturb
from eqlib.chem.mixture import Mixture
from eqlib.chem.reactions import Reaction
from eqlib.chem.species import species

Chosen = Mapping[str, float | str] | None


def reactions_with(
    system: System, constants: Chosen = None, at_zero_ionic_strength: bool = False
) -> tuple[Reaction, ...]:
    """The reactions; ``constants`` maps a reaction's key to a number, or to the key of a listed value."""
    constants = dict(constants or {})
    unknown = next((key for key in constants if key not in system.constants), None)
    if unknown is not None:
        raise CatalogueError(
            f"{system.name} has no reaction {unknown!r}; {suggestion(unknown, system.constants)}."
        )
    return tuple(
        _with(choice, constants.get(key), system.name, at_zero_ionic_strength)
        for key, choice in system.constants.items()
    )


def _with(choice: ConstantChoice, wanted: float | str | None, name: str, at_zero: bool) -> Reaction:
    """One reaction with the constant wanted: a number, a listed value's key, or None for the usual."""
    if isinstance(wanted, str):
        if wanted not in choice.values:
            mend = suggestion(wanted, choice.values)
            raise CatalogueError(f"{name}, {choice.key}: no value {wanted!r}; {mend}.")
        value = choice.pick(wanted)
    else:
        value = choice.pick(None, at_zero)
    r = choice.reaction
    if wanted is not None and not isinstance(wanted, str):
        return Reaction(
            str(r), K=float(wanted), basis=r.basis, T=r.T, dH=r.dH, name=choice.key, source="given by hand"
        )
    if value is choice.default:
        return r
    return Reaction(
        str(r), K=value.K, basis=r.basis, T=value.T, dH=r.dH, name=choice.key, source=value.source
    )


def mixture(
    system: System,
    totals: Mapping[str, float] | None,
    volume: float | None,
    T: float | None,
    constants: Chosen,
    at_zero_ionic_strength: bool,
    more: dict[str, Any],
) -> Mixture:
    """The starting recipe of ``system`` as a Mixture.

    ``totals`` (mol/L) replaces or adds to the recipe's; ``volume`` L and ``T`` K replace its own;
    ``constants`` maps reaction keys to numbers or to keys of listed values; ``at_zero_ionic_strength``
    takes the I = 0 values where they are listed, which is what activity corrections need. ``more`` goes to
    Mixture (headspace, pressure).
    """
    known = ("headspace", "pressure")
    wrong = next((key for key in more if key not in known), None)
    if wrong is not None:
        listing = ("totals", "volume", "T", "constants", "at_zero_ionic_strength", *known)
        raise CatalogueError(f"{system.name}: a mixture has no {wrong!r}; {suggestion(wrong, listing)}.")
    if totals is not None and not isinstance(totals, Mapping):
        raise CatalogueError(
            f"{system.name}: totals are written {{'Ag^+': 0.1}} in mol/L, not {totals!r:.60}."
        )
    recipe = system.recipe
    given = {species(name).name: value for name, value in (totals or {}).items()}
    more = {"headspace": recipe.headspace, "pressure": recipe.pressure, **more}
    return Mixture(
        {**recipe.totals, **given},
        reactions=reactions_with(system, constants, at_zero_ionic_strength),
        volume=recipe.volume if volume is None else volume,
        T=recipe.T if T is None else T,
        **more,
    )


def mixture_before(system: System, key: str) -> Mixture:
    """The Mixture to which the stress ``key`` is done: the recipe after the stresses named by ``after``."""
    if key not in system.steps:
        raise CatalogueError(f"{system.name} has no stress {key!r}; {suggestion(key, system.steps)}.")
    earlier = system.steps[key].after
    if earlier is None:
        return system.mixture()
    return disturb(mixture_before(system, earlier), system.steps[earlier].stress).mixture
