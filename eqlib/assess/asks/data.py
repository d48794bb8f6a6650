"""Numbers worked out of given data: repeated results, an enthalpy from two constants, the pKa of an indicator
from three absorbances. Their right values, the last step of the working, and the usual slips.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING, Any

from eqlib.assess import feedback
from eqlib.chem.thermo import R_J
from eqlib.writing import with_figures

if TYPE_CHECKING:
    from eqlib.assess.asks.base import Part
    from eqlib.assess.question import Case

LN10 = math.log(10)

# -- repeated results -------------------------------------------------------------------------------------


def runs_of(case: Case) -> list[float]:
    """The repeated results the student is given, in the file's order."""
    return [value for name, value in case.measured.items() if name.startswith("run")]


def mean(part: Part, case: Case, path: Any) -> float:
    return statistics.fmean(runs_of(case))


def deviation(part: Part, case: Case, path: Any) -> float:
    """The standard deviation of one result."""
    return statistics.stdev(runs_of(case))


def count(part: Part, case: Case, path: Any) -> float:
    return float(len(runs_of(case)))


def _mean_slips(case: Case, right: float) -> Iterator[tuple[str, float]]:
    """One run taken for the whole."""
    means = [mean for mean, _ in _without_one(runs_of(case))]
    for value in runs_of(case):
        if not any(math.isclose(value, mean, rel_tol=0.001) for mean in means):
            yield "single_truth", value


def _without_one(runs: list[float]) -> list[tuple[float, float]]:
    """(mean, standard deviation) of the runs with each of them left out in turn."""
    rest = [runs[:i] + runs[i + 1 :] for i in range(len(runs))] if len(runs) > 2 else []
    return [(statistics.fmean(some), statistics.stdev(some)) for some in rest]


def plain_slips(part: Part, case: Case) -> Iterator[tuple[float, str]]:
    """(value, sentence) of slips with repeated results that are no misconception."""
    runs = runs_of(case)
    if part.quantity not in ("mean", "s", "n") or len(runs) < 3:
        return
    if part.quantity == "s":
        yield statistics.pstdev(runs), feedback.DIVIDED_BY_N
        yield statistics.variance(runs), feedback.NO_ROOT
    for some, spread in _without_one(runs):
        yield {"mean": some, "s": spread, "n": len(runs) - 1.0}[part.quantity], feedback.ONE_LEFT_OUT


# -- an enthalpy, a pKa -----------------------------------------------------------------------------------


def dH(part: Part, case: Case, path: Any) -> float:
    """van 't Hoff between two temperatures: ln(K2/K1) = -(dH/R) (1/T2 - 1/T1)."""
    m = case.measured
    return -R_J * math.log(m["K2"] / m["K1"]) / (1.0 / m["T2"] - 1.0 / m["T1"])


def dH_step(part: Part, case: Case) -> str:
    m = case.measured
    ratio = f"{with_figures(m['K2'])} / {with_figures(m['K1'])}"
    return f"−{R_J:.5g} × ln({ratio}) / (1/{m['T2']:.2f} − 1/{m['T1']:.2f}) J/mol"


def _dH_slips(case: Case, right: float) -> Iterator[tuple[str, float]]:
    if right:
        yield "log_slip", right / LN10  # logarithm to base ten
        yield "heat_sign", -right  # sign, or the ratio of the constants, the wrong way round


def pKa(part: Part, case: Case, path: Any) -> float:
    """pH less the logarithm of base form over acid form, from the three absorbances."""
    m = case.measured
    return m["pH"] - math.log10((m["between"] - m["acid"]) / (m["base"] - m["between"]))


def pKa_step(part: Part, case: Case) -> str:
    m = case.measured
    top, bottom = (f"({m[a]:.3f} − {m[b]:.3f})" for a, b in (("between", "acid"), ("base", "between")))
    return f"pH − log₁₀([In⁻]/[HIn]) = {m['pH']:.2f} − log₁₀({top} / {bottom})"


def _pKa_slips(case: Case, right: float) -> Iterator[tuple[str, float]]:
    m = case.measured
    up, down = m["between"] - m["acid"], m["base"] - m["between"]
    yield "k_inverted", m["pH"] + math.log10(up / down)  # acid form over base form
    yield "log_slip", m["pH"] - math.log(up / down)  # natural logarithm
    yield "blank_kept", m["pH"] - math.log10(m["between"] / down)  # the acid form's own absorbance left in
    yield "equal_amounts", m["pH"]  # half and half taken for granted


#: (mistake, value) by quantity: ``right`` is the right value in J/mol or without unit.
SLIPS: dict[str, Callable[[Case, float], Iterator[tuple[str, float]]]] = {
    "mean": _mean_slips,
    "s": lambda case, right: iter([("single_truth", 0.0)]),
    "n": lambda case, right: iter([("single_truth", 1.0)]),
    "dH": _dH_slips,
    "pKa": _pKa_slips,
}
