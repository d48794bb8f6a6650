"""Three panels without marks for the Kc practical: plan the tubes, the line of the standards, one slip on
purpose.

Each returns what ``explore`` takes: the function that draws, and its controls. Lines and slips work on the
student's own readings as recorded, or on those of the simulated instrument until there are any.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from html import escape

from eqlib.assess.asks.practical import own_readings as of_case
from eqlib.errors import EqlibError
from eqlib.lab.practical.analysis import fit_all, tube_by_tube
from eqlib.lab.practical.faults import faults_of
from eqlib.lab.practical.pictures import dots, line_picture, plan_table, plan_words
from eqlib.lab.practical.plan import Bench, ionic_strength, plan
from eqlib.lab.practical.readings import Readings
from eqlib.notebook.explorer import Choose, Slider, Switch
from eqlib.notebook.lesson import store_here
from eqlib.writing import with_figures


def planner() -> tuple:
    """What to mix and what to expect of it, for stocks and tolerances that sliders choose."""
    return (
        lambda at: plan_at(at["iron"], at["thiocyanate"], at["volumes"], at["reading"], at["path"]),
        Slider("iron", 50, 400, start=200, step=25, words="Iron(III) stock of the standards", unit="mM"),
        Slider(
            "thiocyanate", 1.0, 4.0, start=2.0, step=0.5, words="Thiocyanate stock of the tests", unit="mM"
        ),
        Slider("volumes", 0.2, 3.0, start=1.0, step=0.2, words="Error of one volume", unit="%"),
        Slider("reading", 1, 20, start=3, step=1, words="Error of one reading", unit="thousandths of A"),
        Choose("path", [("1", "1 cm cell"), ("0.5", "0.5 cm cell"), ("2", "2 cm cell")], words="Cell"),
    )


def plan_at(iron: float, thiocyanate: float, volumes: float, reading: float, path: str) -> tuple[str, str]:
    """(dilution table as HTML, one sentence). Raises EqlibError, one line, for stocks that cannot do it."""
    bench = Bench(
        metal_standard=iron / 1000,
        ligand_test=thiocyanate / 1000,
        volume_sd=volumes / 100,
        reading_sd=reading / 1000,
        path_cm=float(path),
    )
    made = plan(bench)
    return plan_table(made), plan_words(made)


def calibration(question: str) -> tuple:
    """The line through the standards of the student's own readings, its residuals, and what looks wrong."""
    return (
        lambda at: line_at(own_readings(question), at["all"]),
        Switch("all", "take the standards as all converted", start=True),
    )


def line_at(readings: Readings, all_converted: bool, path_cm: float = 1.0) -> tuple[str, str]:
    """(the graph with what looks wrong under it, one sentence)."""
    tubes = tuple(t for t in readings.tubes if t.role != "repeat")
    found = tube_by_tube(tubes, path_cm, all_converted)
    line = found.line
    said = (
        f"Slope {with_figures(line.slope)} ± {with_figures(line.se_slope, 2)} L/mol, so the molar "
        f"absorptivity is {with_figures(line.slope / path_cm)} "
        f"L/(mol cm); intercept {line.intercept:.4f} ± {line.se_intercept:.4f}"
    )
    said += ", which is not zero: was the blank taken off? " if line.intercept_differs_from_zero else ". "
    said += (
        "Standards taken as all converted."
        if all_converted
        else f"The strongest standard is {found.converted:.1%} converted."
    )
    faults = [*readings.faults, *faults_of(readings.tubes, path_cm)]
    listed = "".join(f"<li>{escape(str(f))}</li>" for f in faults)
    notes = (
        f"<ul>{listed}</ul>"
        if listed
        else "<p class=soft>Nothing looks wrong with these readings. That is no proof that nothing is.</p>"
    )
    return line_picture(found, said) + notes, said


#: What can be done wrong with one's own readings: value -> (words, what it does to the readings).
SLIPS: dict[str, tuple[str, Callable]] = {
    "none": ("no slip", lambda t: t),
    "blank": (
        "the tests keep a blank of 0.030",
        lambda t: replace(t, absorbance=t.absorbance + 0.030 * (t.role == "test")),
    ),
    "stock": (
        "the tests' iron was weighed as the anhydrous salt, 60 % strength",
        lambda t: replace(t, metal=t.metal * (0.6 if t.role == "test" else 1.0)),
    ),
    "stocks": (
        "stock strengths used for the tests, not those after mixing",
        lambda t: replace(t, metal=2.0e-3, ligand=2.0e-3) if t.role == "test" else t,
    ),
    "transmittance": (
        "ln in place of log for the tests",
        lambda t: replace(t, absorbance=t.absorbance * (2.302585 if t.role == "test" else 1.0)),
    ),
    "faded": (
        "the tests stood twenty minutes and lost 5 % of their colour",
        lambda t: replace(t, absorbance=t.absorbance * (0.95 if t.role == "test" else 1.0)),
    ),
}


def one_slip(question: str) -> tuple:
    """The student's own readings with one slip put in: Kc tube by tube, and what becomes of the mean."""
    return (
        lambda at: slip_at(own_readings(question), at["slip"]),
        Choose("slip", [(key, words) for key, (words, _) in SLIPS.items()], words="The slip"),
    )


def slip_at(readings: Readings, slip: str) -> tuple[str, str]:
    """(Kc of each tube as a dot diagram, one sentence)."""
    tubes = [t for t in readings.tubes if t.role != "repeat"]
    clean = tube_by_tube(tubes)
    try:
        now = tube_by_tube([SLIPS[slip][1](t) for t in tubes])
    except EqlibError as error:
        return "", f"With this slip nothing can be worked out: {error}."
    values = [t.Kc for t in now.tubes if t.Kc is not None]
    said = f"Kc {now.mean:.0f}"
    if now.s is not None and now.low is not None:
        said += f", s {now.s:.0f}, 95 % interval {now.low:.0f} to {now.high:.0f}, from {now.n} tubes"
    if slip == "none":
        fit = fit_all(tubes)
        said += f". All readings fitted at once: {fit.K:.0f}, 95 % interval {fit.low:.0f} to {fit.high:.0f}."
        said += (
            f" It holds for this recipe's ionic strength, about {ionic_strength(Bench(), 'test'):.2f} mol/L."
        )
    else:
        said += f". Without the slip it was {clean.mean:.0f}: {now.mean / clean.mean - 1:+.0%}. "
        drift = now.trend_p is not None and now.trend_p < 0.05
        said += (
            "Kc drifts from tube to tube, which gives it away."
            if drift
            else "The tubes agree with each other as before: nothing gives it away."
        )
    return dots(
        [("your readings", [t.Kc for t in clean.tubes if t.Kc]), ("with the slip", values)], said
    ), said


def own_readings(question: str) -> Readings:
    """The readings recorded for ``question``, or the simulated ones. Raises EqlibError when they
    cannot be read.
    """
    store = store_here()
    asked = store.questions[question]
    record = store.record_of(question)
    given = {} if record is None else {k: v for k, v in record.answer.items() if isinstance(v, str)}
    return of_case(asked.case(store.student), given)
