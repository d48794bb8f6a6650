"""The last step of each number in the working: the formula with the student's own numbers put in."""

from __future__ import annotations

import math

from eqlib.assess.outcome_numbers import R_J
from eqlib.assess.working_words import amount, in_unicode


def last_step(part, problem) -> str:
    """The right-hand side with numbers, such as "5.79 × 10⁻⁵ / (8.17 × 10⁻⁴ × 4.92 × 10⁻⁴)", or ""."""
    make = _STEPS.get(part.quantity)
    return make(part, problem) if make else ""


def _K(part, problem):
    return _quotient(problem, problem.equilibrium)


def _Q(part, problem):
    return _quotient(problem, getattr(problem, part.when))


def _quotient(problem, conc) -> str:
    """The quotient with its numbers; pressures where the constant is a Kp. Four figures where three would not
    lead to the result.
    """
    reaction = problem.reaction
    per_bar = R_J / 100 * problem.temperature if reaction.basis == "p" else 1.0
    terms = [
        (conc.get(name, 0.0) * (per_bar if name.endswith("(g)") else 1.0), float(power))
        for name, power in reaction.quotient_species.items()
    ]
    if not all(value for value, _ in terms):
        return ""
    shown = f"{math.prod(value**power for value, power in terms):.3g}"
    rounded = math.prod(float(f"{value:.3g}") ** power for value, power in terms)
    figures = 3 if f"{rounded:.3g}" == shown else 4
    top, bottom = (
        " × ".join(
            _to_power(amount(value, figures), abs(power)) for value, power in terms if (power > 0) is side
        )
        for side in (True, False)
    )
    if not bottom:
        return top
    return f"{top or '1'} / {f'({bottom})' if '×' in bottom else bottom}"


def _to_power(shown: str, power: float) -> str:
    if power == 1:
        return shown
    raised = f"{power:g}".translate(str.maketrans("0123456789", "⁰¹²³⁴⁵⁶⁷⁸⁹"))
    return f"({shown}){raised}"


def _Kp(part, problem):
    """Kp from a Kc: every gas brings a factor RT."""
    reaction = problem.reaction
    if reaction.basis != "c":
        return ""
    kc = problem.reaction.quotient(problem.equilibrium) if problem.measured else reaction.K
    change = int(reaction.dn_gas)
    RT = f"({R_J / 100:.5f} × {problem.temperature:.2f})"
    raised = str(change).translate(str.maketrans("-0123456789", "⁻⁰¹²³⁴⁵⁶⁷⁸⁹"))
    return f"Kc (R T){raised} = {amount(kc)} × {RT}{raised}" if change else f"Kc = {amount(kc)}"


def _absorbance(part, problem):
    m, name = problem.measured, part.species or problem.observed
    conc = getattr(problem, part.when).get(name, 0.0)
    return f"ε l [{in_unicode(name)}] = {m['epsilon']:g} × {m['path']:g} × {amount(conc)}"


def _dH(part, problem):
    m = problem.measured
    return (
        f"−{R_J:.5g} × ln({amount(m['K2'])} / {amount(m['K1'])}) / (1/{m['T2']:.2f} − 1/{m['T1']:.2f}) J/mol"
    )


_STEPS = {"K": _K, "Q": _Q, "Kp": _Kp, "absorbance": _absorbance, "dH": _dH}
