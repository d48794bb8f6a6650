"""From a System to a Mixture: the recipe with chosen constants, and the mixture a stress is done to."""

from collections.abc import Mapping
from dataclasses import replace

from eqlib.chem.catalogue.errors import CatalogueError, suggestion


def reactions_with(system, constants=None, at_zero_ionic_strength=False):
    """The reactions; ``constants`` maps a reaction's key to a number, or to the key of a listed value."""
    from eqlib.chem.reactions import Reaction

    constants = dict(constants or {})
    unknown = next((key for key in constants if key not in system.constants), None)
    if unknown is not None:
        raise CatalogueError(
            f"{system.name} has no reaction {unknown!r}; {suggestion(unknown, system.constants)}."
        )
    chosen = []
    for key, choice in system.constants.items():
        wanted = constants.get(key)
        if isinstance(wanted, str):
            if wanted not in choice.values:
                raise CatalogueError(
                    f"{system.name}, {key}: no value {wanted!r}; {suggestion(wanted, choice.values)}."
                )
            value = choice.pick(wanted)
        elif wanted is not None:
            value = replace(choice.default, K=float(wanted), source="given by hand")
        else:
            value = choice.pick(None, at_zero_ionic_strength)
        r = choice.reaction
        same = value is choice.default
        chosen.append(
            r
            if same
            else Reaction(str(r), K=value.K, basis=r.basis, T=value.T, dH=r.dH, name=key, source=value.source)
        )
    return tuple(chosen)


def mixture(system, totals, volume, T, constants, at_zero_ionic_strength, more):
    """The starting recipe of ``system`` as a Mixture.

    ``totals`` (mol/L) replaces or adds to the recipe's; ``volume`` L and ``T`` K replace its own;
    ``constants`` maps reaction keys to numbers or to keys of listed values; ``at_zero_ionic_strength``
    takes the I = 0 values where they are listed, which is what activity corrections need. ``more`` goes to
    Mixture (headspace, pressure).
    """
    from eqlib.chem.mixture import Mixture

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
    given = {_species_name(name): value for name, value in (totals or {}).items()}
    more = {"headspace": recipe.headspace, "pressure": recipe.pressure, **more}
    return Mixture(
        {**recipe.totals, **given},
        reactions=list(reactions_with(system, constants, at_zero_ionic_strength)),
        volume=recipe.volume if volume is None else volume,
        T=recipe.T if T is None else T,
        **more,
    )


def _species_name(text):
    from eqlib.chem.species import species

    return species(text).name


def mixture_before(system, key):
    """The Mixture to which the stress ``key`` is done: the recipe after the stresses named by ``after``."""
    from eqlib.chem.disturb import disturb

    if key not in system.steps:
        raise CatalogueError(f"{system.name} has no stress {key!r}; {suggestion(key, system.steps)}.")
    earlier = system.steps[key].after
    if earlier is None:
        return system.mixture()
    return disturb(mixture_before(system, earlier), system.steps[earlier].stress).mixture
