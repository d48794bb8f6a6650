"""Thousands of students' numbers at once, with the batch solver: is every shift clear, and to the same
side?
"""

from __future__ import annotations

import numpy as np

from eqlib.assess.outcome_setting import portions_of, reactions_of, start_mixture, stress_of

#: Stresses whose totals can be written down before anything reacts; the others are checked one by one only.
_ADDED_UP = ("add_solution", "dilute", "heat_to")


def doubtful_shifts(question, count: int, clear: float) -> list[str]:
    """Lines about the first reaction's shift over ``count`` students.

    ``clear`` is the share by which the product's amount must move to be sure of a shift; a hundredth of it
    may pass for none.
    """
    given = question.given
    stress = stress_of(given, question.variant(None).numbers)
    if stress is None or stress.kind not in _ADDED_UP:
        return []
    pairs = {tuple(v.numbers.values()): v for v in (question.variant(f"batch-{n}") for n in range(count))}
    rows = [_before_and_after(given, variant.numbers) for variant in pairs.values()]
    made = _product_amounts(question, rows)
    moved = made[:, 1] - made[:, 0]
    shares = np.abs(moved) / np.maximum(made.max(axis=1), 1e-300)
    if question.outcome(None).disturbance.direction == "none":
        bad, mixed = int(np.sum(shares > clear / 100)), False
    else:
        bad, mixed = int(np.sum(shares < clear)), bool(np.any(moved > 0) and np.any(moved < 0))
    lines = []
    if bad:
        lines.append(
            f"the shift is not clear in {bad} of {len(rows)} further sets of numbers; change the amounts"
        )
    if mixed:
        lines.append(
            "the shift goes one way for some students and the other way for others; narrow the ranges"
        )
    return lines


def _before_and_after(given, numbers):
    """Both mixtures as (totals in mol/L, volume in L, temperature in K), and the constant of the first
    reaction.
    """
    from eqlib.chem.salts import dissolved

    reactions = reactions_of(given, numbers)
    mixture = start_mixture(given, reactions, portions_of(given, numbers), numbers)
    stress = stress_of(given, numbers)
    added = stress.volume if stress.kind != "heat_to" else 0.0
    volume = mixture.volume + added
    amounts = mixture.amounts()
    for name, molar in dissolved(dict(stress.amounts)).items():
        amounts[name] = amounts.get(name, 0.0) + molar * added
    after = {name: amount / volume for name, amount in amounts.items()}
    T = stress.T if stress.kind == "heat_to" else mixture.T
    return (dict(mixture.totals), mixture.volume, mixture.T), (after, volume, T), reactions[0].K


def _product_amounts(question, rows) -> np.ndarray:
    """Moles of the first reaction's product, one row a student: before, after."""
    from eqlib.chem.batch import equilibrate_many

    reactions = list(reactions_of(question.given, question.variant(None).numbers))
    names = sorted({name for row in rows for totals, _, _ in row[:2] for name in totals})
    totals = {
        name: np.array([[side[0].get(name, 0.0) for side in row[:2]] for row in rows]) for name in names
    }
    volumes = np.array([[side[1] for side in row[:2]] for row in rows])
    temperatures = np.array([[side[2] for side in row[:2]] for row in rows])
    own = {0: np.array([[row[2]] for row in rows])} if "K" in question.given else None
    found = equilibrate_many(reactions, totals, T=temperatures, K=own)
    coefficients = reactions[0].quotient_species
    product = next((name for name, nu in coefficients.items() if nu > 0), next(iter(coefficients)))
    return np.asarray(found[product]) * volumes
