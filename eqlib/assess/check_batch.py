"""Thousands of students' numbers at once, with the batch solver: is every shift clear?"""

from __future__ import annotations

import numpy as np

from eqlib.assess.outcome_setting import portions_of, reactions_of, start_mixture, stress_of


def doubtful_shifts(question, count: int, clear: float) -> list[str]:
    """One line when the first reaction's shift is too small in some of ``count`` variants.

    Only stresses that leave volume, temperature and amounts to be counted up in solution are done here; the
    others are covered one by one.
    """
    from eqlib.chem.batch import equilibrate_many

    given = question.given
    if "add_solution" not in str(given.get("stress")) and "dilute" not in str(given.get("stress")):
        return []
    rows, volumes, reactions = [], [], ()
    seen = set()
    for number in range(count):
        variant = question.variant(f"batch-{number}")
        key = tuple(variant.numbers.values())
        if key in seen:
            continue
        seen.add(key)
        reactions = reactions_of(given, variant.numbers)
        if "K" in given:
            return []  # the constants differ between students; done one by one
        mixture = start_mixture(given, reactions, portions_of(given, variant.numbers), variant.numbers)
        after = _after(mixture, stress_of(given, variant.numbers))
        rows.append((dict(mixture.totals), after[0]))
        volumes.append((mixture.volume, after[1]))
    names = sorted({name for row in rows for part in row for name in part})
    totals = {name: np.array([[part.get(name, 0.0) for part in row] for row in rows]) for name in names}
    found = equilibrate_many(list(reactions), totals)
    product = next(name for name, nu in reactions[0].quotient_species.items() if nu > 0)
    amounts = np.asarray(found[product]) * np.array(volumes)
    shares = np.abs(amounts[:, 1] - amounts[:, 0]) / np.max(amounts, axis=1)
    expected = question.outcome(None).disturbance.direction
    bad = int(np.sum(shares < clear)) if expected != "none" else int(np.sum(shares > clear / 100))
    signs = np.sign(amounts[:, 1] - amounts[:, 0])
    mixed = expected != "none" and len(set(signs.tolist())) > 1
    lines = []
    if bad:
        lines.append(
            f"the shift is not clear in {bad} of {len(rows)} further sets of numbers; make the change larger"
        )
    if mixed:
        lines.append("the shift goes one way for some students and the other way for others")
    return lines


def _after(mixture, stress):
    """Totals (mol/L) and volume after a solution or water was poured in, before any reaction."""
    from eqlib.chem.salts import dissolved

    volume = mixture.volume + stress.volume
    amounts = mixture.amounts()
    for name, molar in dissolved(dict(stress.amounts)).items():
        amounts[name] = amounts.get(name, 0.0) + molar * stress.volume
    return {name: value / volume for name, value in amounts.items()}, volume
