"""Do a system's claims agree with the engine? What a file says about its stresses is tried, not believed."""

from eqlib.chem.catalogue.errors import complaint
from eqlib.errors import EqlibError

NOTICED = 1e-5  # mol per litre of mixture; less of a solid than this is not expected to be seen


def check_claims(system):
    """Raise CatalogueError at the first stress whose direction or solid is not what the engine finds."""
    try:
        system.mixture().equilibrate()
    except EqlibError as error:
        raise complaint(system.path, "recipe", "cannot be solved", str(error).rstrip(".")) from None
    for key, claim in system.steps.items():
        where = f"stress {key!r}"
        try:
            outcome = outcome_of(system, key)
        except EqlibError as error:
            raise complaint(
                system.path, where, "cannot be done to the recipe", str(error).rstrip(".")
            ) from None
        if outcome.direction != claim.direction:
            what = f"says {claim.direction}, but the first reaction goes {outcome.direction}"
            raise complaint(
                system.path, f"{where}, direction", what, "correct the claim, the recipe or the constants"
            )
        _check_solids(system, where, claim, outcome)


def _check_solids(system, where, claim, outcome):
    there = outcome.after.solids
    if claim.solid and there[claim.solid] < NOTICED:
        what = f"{claim.solid} is hardly there: {there[claim.solid]:.1e} mol/L"
        raise complaint(system.path, f"{where}, solid", what, "correct the claim, or the recipe")
    if claim.solid_gone and there[claim.solid_gone] >= NOTICED:
        what = f"{claim.solid_gone} is still there: {there[claim.solid_gone]:.1e} mol/L"
        raise complaint(system.path, f"{where}, solid_gone", what, "correct the claim, or the recipe")


def outcome_of(system, key):
    """The Disturbance of the stress ``key``, done to the recipe after the stresses that come ahead of it."""
    from eqlib.chem.disturb import disturb

    return disturb(system.before(key), system.steps[key].stress)
