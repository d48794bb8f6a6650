"""Which mistakes an ICE table is consistent with, from its rows (numbers, or straight lines in x)."""

import math

from eqlib.assess.mistakes_starts import stock_starts
from eqlib.assess.mistakes_steps import in_K
from eqlib.assess.reading.tables import linear

_NEAR = 0.01


def table_mistakes(problem, value):
    """Ids of the mistakes a table shows, most telling first. ``value``: {row: {species: cell}} as read."""
    coefficients = {n: float(c) for n, c in problem.reaction.coefficients.items()}
    rows = {name: _cells(value, name, coefficients) for name in ("initial", "change", "equilibrium")}
    found = []
    for test in (_initial, _change, _equilibrium):
        found += [m for m in test(problem, coefficients, rows) if m not in found]
    return found


def _cells(value, row, coefficients):
    """{species: Linear} of the cells of one row that are filled in."""
    cells = value.get(row, {}) if isinstance(value, dict) else {}
    read = {n: linear(cells.get(n)) for n in coefficients}
    return {n: c for n, c in read.items() if c is not None}


def _near(a, b):
    return math.isclose(a, b, rel_tol=_NEAR, abs_tol=1e-12)


def _initial(problem, coefficients, rows):
    given = {n: c.constant for n, c in rows["initial"].items() if not c.multiple}
    right = problem.mixed
    wrong = [n for n, v in given.items() if not _near(v, right.get(n, 0.0))]
    if not wrong:
        return
    for mistake, start, _ in stock_starts(problem, coefficients):
        if all(_near(v, start.get(n, 0.0)) for n, v in given.items()):
            yield mistake
    if problem.volume > 0 and all(_near(v, right.get(n, 0.0) * problem.volume) for n, v in given.items()):
        yield "moles_as_conc"


def _change(problem, coefficients, rows):
    given = {n: c.multiple or c.constant for n, c in rows["change"].items()}
    given = {n: v for n, v in given.items() if v}
    if len(given) < 2:
        return
    reactants = [v for n, v in given.items() if coefficients[n] < 0]
    products = [v for n, v in given.items() if coefficients[n] > 0]
    if reactants and products and all(v * products[0] > 0 for v in (*reactants, *products)):
        yield "change_sign"
    sizes = {n: abs(v) for n, v in given.items()}
    unequal = len({abs(coefficients[n]) for n in given}) > 1
    if unequal and all(_near(v, next(iter(sizes.values()))) for v in sizes.values()):
        yield "change_coeff"


def _equilibrium(problem, coefficients, rows):
    given = {n: c.constant for n, c in rows["equilibrium"].items() if not c.multiple}
    powers = in_K(coefficients)
    reactants = [n for n in given if n in powers and powers[n] < 0]
    start = problem.mixed
    if any(given[n] == 0 and start.get(n, 0.0) > 0 for n in reactants):
        yield "goes_complete"
    same = [n for n in reactants if start.get(n, 0.0) and math.isclose(given[n], start[n], rel_tol=1e-6)]
    if reactants and len(same) == len(reactants) and any(given[n] > start.get(n, 0.0) for n in given):
        yield "initial_as_eq"
    shares = [given[n] / abs(powers[n]) for n in given if n in powers]
    if len(shares) == len(powers) > 1 and shares[0] > 0:
        values = [given[n] for n in given if n in powers]
        alike = any(all(_near(v, group[0]) for v in group) for group in (shares, values))
        right = problem.equilibrium
        if alike and not all(_near(given[n], right.get(n, 0.0)) for n in given):
            yield "equal_amounts"
