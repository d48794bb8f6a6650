"""What the notebooks on heat and pressure, on the Kc practical and on demonstrations draw for their own sliders.

All of it is drawn by ``explore`` in a notebook's cells; nothing is marked or recorded. The practical's lines and
slips work on the student's own readings as recorded, or on those of the simulated instrument until there are any.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from functools import cache, lru_cache
from html import escape
from typing import Any, NamedTuple

from eqlib.assess.asks.practical import own_readings as of_case
from eqlib.chem.catalogue import system
from eqlib.chem.disturb import Disturbance, disturb
from eqlib.chem.mixture import Mixture
from eqlib.chem.reactions import Reaction
from eqlib.chem.state import State
from eqlib.chem.stress import Stress
from eqlib.errors import EqlibError
from eqlib.lab.colour import absorbance, colour_of
from eqlib.lab.curves import bars, dots, path, ring
from eqlib.lab.demonstration import VESSELS, Judged, Plan, demonstrations, judge
from eqlib.lab.drawing import SHAPES, svg, word
from eqlib.lab.light import simulate
from eqlib.lab.practical.analysis import Calibration, fit_all, tube_by_tube
from eqlib.lab.practical.faults import faults_of
from eqlib.lab.practical.plan import Bench, ionic_strength, plan, plan_table, plan_words
from eqlib.lab.practical.readings import Readings
from eqlib.notebook.explorer import Choose, Slider, Switch
from eqlib.notebook.lesson import store_here
from eqlib.writing import number, with_figures

# -- 06: a syringe seen from two sides, and a tube in a bath --------------------

BORE_CM, AREA_CM2 = SHAPES["syringe"].width_cm, SHAPES["syringe"].area_cm2
FILLED = 0.025  # mol NO2 per litre: even pushed to 8 mL it stays a gas at 25 °C
NM = 546  # green light, of which NO2 takes little: a barrel of gas can still be read along its whole length


@cache
def _in_mol_per_litre() -> tuple[Reaction, ...]:
    """The reaction with Kc (L/mol), as the questions of the notebook have it; the catalogue gives Kp."""
    reaction = system("nitrogen-dioxide").reactions[0]
    return (reaction.as_basis("c", reaction.T),)


@lru_cache(maxsize=64)
def _push(millilitres: float) -> Disturbance:
    gas = Mixture({"NO2(g)": FILLED}, reactions=_in_mol_per_litre(), volume=0.020)
    return disturb(gas, Stress.change_volume(millilitres / 1000))


def pushed(at: Mapping[str, Any]) -> tuple[str, str]:
    """Before and now, from the side and along the axis. ``at``: "volume" in mL, "moment" ("at once" or later)."""
    push = _push(at["volume"])
    now = push.at_once if at["moment"] == "at once" else push.after
    seen = [(name, _views(state)) for name, state in (("before", push.before), (at["moment"], now))]
    (side_was, axis_was), (side, axis) = (one[1] for one in seen)
    told = (
        f"From the side A = {side.A:.2f} (before: {side_was.A:.2f}); along the axis A = {axis.A:.2f} "
        f"(before: {axis_was.A:.2f}), at {NM} nm. Q = {number(push.Q if at['moment'] == 'at once' else push.K)}, "
        f"K = {number(push.K)} L/mol."
    )
    return _two_views(seen, title="The syringe from the side and along its axis", desc=told), told


class _View(NamedTuple):
    """A colour and an absorbance along one line of sight, in cm."""

    colour: str
    A: float
    path_cm: float


def _views(state: State) -> list[_View]:
    """From the side, and along the axis."""
    ways = BORE_CM, 1000 * state.gas_volume / AREA_CM2
    return [_View(colour_of(state, way).hex, absorbance(state, NM, way), way) for way in ways]


def _two_views(seen: list[tuple[str, list[_View]]], title: str, desc: str) -> str:
    """Before and now, one under the other: the barrel from the side, and the disc that the axis shows."""
    rows = []
    for row, (name, (side, axis)) in enumerate(seen):
        y, length = 120 * row, 300 * axis.path_cm / (20.0 / AREA_CM2)
        rows.append(
            f'<g transform="translate(0,{y})"><text x="0" y="16" font-weight="600">{name}</text>'
            f'<rect x="90" y="24" width="320" height="76" rx="8" fill="#fff" stroke="#c6ccd4"/>'
            f'<rect x="100" y="30" width="{length:.1f}" height="64" fill="{side.colour}"/>'
            f'<path d="M100 30 H404 M100 94 H404 M100 30 V94" fill="none" stroke="#566170" stroke-width="2"/>'
            f'<path d="M{100 + length:.1f} 30 h9 v64 h-9 z M{109 + length:.1f} 62 H440" fill="#8b95a3" stroke="#566170"/>'
            f'<text x="250" y="16" text-anchor="middle" font-size="12.5">from the side: {side.path_cm:.2f} cm, A = {side.A:.2f}</text>'
            f'<circle cx="560" cy="62" r="38" fill="#fff" stroke="#c6ccd4"/>'
            f'<circle cx="560" cy="62" r="32" fill="{axis.colour}" stroke="#566170" stroke-width="2"/>'
            f'<text x="560" y="16" text-anchor="middle" font-size="12.5">along the axis: {axis.path_cm:.1f} cm, A = {axis.A:.2f}</text></g>'
        )
    return svg("".join(rows), 680, 120 * len(seen), title, desc)


@lru_cache(maxsize=64)
def _warm(celsius: float) -> Disturbance:
    tube = Mixture({"NO2(g)": 0.015}, reactions=_in_mol_per_litre(), volume=0.020)
    return disturb(tube, Stress.heat_to(273.15 + celsius))


def bathed(at: Mapping[str, Any]) -> tuple[str, str]:
    """A sealed tube at 25 °C and in the bath: its colour, K, where the nitrogen is. ``at``: "celsius"."""
    warmed = _warm(at["celsius"])
    bench, now = warmed.before, warmed.after
    share = 100 * now["NO2(g)"] / 0.015
    told = (
        f"At {at['celsius']:g} °C Kc is {number(warmed.K)} L/mol (at 25 °C {number(bench.K(bench.reactions[0]))}); "
        f"{share:.0f} % of the nitrogen is in NO₂."
    )
    tubes = "".join(
        f'<g transform="translate({20 + 150 * i},0)"><rect x="0" y="0" width="76" height="126" rx="10" fill="#fff" stroke="#c6ccd4"/>'
        f'<rect x="18" y="10" width="40" height="106" rx="20" fill="{colour_of(state, 1.6).hex}" stroke="#566170" stroke-width="2"/>'
        f'<text x="38" y="146" text-anchor="middle" font-weight="600">{name}</text></g>'
        for i, (name, state) in enumerate((("25 °C", bench), (f"{at['celsius']:g} °C", now)))
    )
    there = f"{at['celsius']:g} °C"
    rows = [
        ("in NO₂", {"25 °C": 1000 * bench["NO2(g)"], there: 1000 * now["NO2(g)"]}),
        ("in N₂O₄", {"25 °C": 2000 * bench["N2O4(g)"], there: 2000 * now["N2O4(g)"]}),
    ]
    picture = svg(tubes, 320, 156, "The tube", told)
    return picture + bars(rows, unit="mmol N/L", title="Where the nitrogen is", desc=told), told


# -- 07: plan the tubes, the line of the standards, one slip on purpose --------------------


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
    return line_picture(line, said) + notes, said


def line_picture(line: Calibration, said: str) -> str:
    """Absorbance against concentration with the line, and the residuals under it, as SVG."""
    wide, high, low = 380.0, 190.0, 70.0
    left, top = 52.0, 12.0
    xs = [1e6 * c for c in line.concentrations]
    most_x, most_y = max(xs) * 1.08 or 1.0, max(line.absorbances) * 1.12
    off = max((abs(r) for r in line.residuals), default=0.0) or 1e-4

    def at(x: float, y: float) -> tuple[float, float]:
        return left + x / most_x * wide, top + high - y / most_y * high

    base = top + high + 34 + low / 2
    body = [
        path(f"M{left} {top} V{top + high} H{left + wide}"),
        path(f"M{left} {base - low / 2} V{base + low / 2} M{left} {base} H{left + wide}"),
    ]
    ends = [at(x, max(line.intercept + line.slope * x * 1e-6, 0.0)) for x in (0.0, most_x / 1.08)]
    body.append(path(f"M{ends[0][0]:.1f} {ends[0][1]:.1f} L{ends[1][0]:.1f} {ends[1][1]:.1f}", 1.5))
    for x, a, r in zip(xs, line.absorbances, line.residuals, strict=True):
        px, py = at(x, max(a, 0.0))
        rx, ry = px, base - r / off * low / 2.4
        body += [ring(px, py, 4), path(f"M{rx:.1f} {base} V{ry:.1f}"), ring(rx, ry, 2.5)]
    for share in (0.5, 1.0):
        x, y = at(most_x / 1.08 * share, most_y / 1.12 * share)
        body.append(word(x, top + high + 16, f"{most_x / 1.08 * share:.0f}", small=True, anchor="middle"))
        body.append(word(left - 6, y + 4, f"{most_y / 1.12 * share:.2f}", small=True, anchor="end"))
    body.append(word(left + wide, top + high + 30, "[FeSCN²⁺] in µmol/L", small=True, anchor="end"))
    body.append(word(left + 6, top + 10, "A", small=True, anchor="start"))
    body.append(word(left + 6, base - low / 2 + 2, f"residuals, up to {off:.4f}", small=True, anchor="start"))
    return svg("".join(body), left + wide + 20, base + low / 2 + 8, "The line of the standards", said)


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


# -- 08: a plan is mixed, looked at and held against its requirements --------------------

_EYES = (
    ("in colour", ""),
    ("red-blind", "protan"),
    ("green-blind", "deutan"),
    ("blue-blind", "tritan"),
    ("in grey", "grey"),
)
_SIGNS = {True: "✓ met", False: "✗ not met"}


def sheet_for(question: str) -> Callable[[Mapping[str, Any]], tuple[str, str]]:
    """What ``explore`` draws: ``at`` ("demo", "vessel", "start", "add", "back") to a picture and a sentence, with
    the student's own limits out of ``question``.
    """

    def draw(at: Mapping[str, Any]) -> tuple[str, str]:
        store = store_here()
        limit = store.questions[question].variant(store.student).numbers["least_mL"]
        return planned(Plan(at["demo"], at["vessel"], at["start"], at["add"], at["back"]), limit)

    return draw


def demos() -> list[tuple[str, str]]:
    """(key, words) of what can be shown."""
    return [(key, demo.words) for key, demo in demonstrations().items()]


def vessels() -> list[tuple[str, str]]:
    """(key, words) of what it can be shown in."""
    return [(key, vessel.words) for key, vessel in VESSELS.items()]


def planned(plan: Plan, least_mL: float) -> tuple[str, str]:
    """The picture of a plan with its requirements, and one sentence."""
    judged = judge(plan, least_mL)
    met = sum(one.met for one in judged.requirements)
    told = f"{met} of {len(judged.requirements)} requirements are met."
    lines = "".join(
        f'<li><b class="{"yes" if one.met else "no"}">{_SIGNS[one.met]}</b> {one.key}. {one.words}</li>'
        for one in judged.requirements
    )
    return _strips(judged) + f"<ul>{lines}</ul>", told


def _strips(judged: Judged) -> str:
    """Five eyes, one row each: before, after the addition, turned back."""
    vessel = VESSELS[judged.plan.vessel]
    path, view = vessel.path_cm(judged.plan.start_mL), "above" if vessel.above else "side"
    area = vessel.area_cm2 if vessel.above else None
    moments = (
        ("before", judged.change.before),
        ("added", judged.change.after),
        ("turned back", judged.back.after),
    )
    colours = [colour_of(state, path, view, area_cm2=area).rgb for _, state in moments]
    body = [
        f'<text x="{205 + 130 * i}" y="14" text-anchor="middle" font-size="13">{name}</text>'
        for i, (name, _) in enumerate(moments)
    ]
    for row, (eye, kind) in enumerate(_EYES):
        y = 22 + 34 * row
        body.append(f'<text x="130" y="{y + 19}" text-anchor="end" font-size="13">{eye}</text>')
        for i, rgb in enumerate(colours):
            seen = simulate(rgb, kind) if kind else rgb
            fill = "#" + "".join(f"{int(v):02x}" for v in seen)
            body.append(
                f'<rect x="{145 + 130 * i}" y="{y}" width="120" height="28" rx="4" fill="{fill}" stroke="#566170"/>'
            )
    desc = f"The liquid through {path:.1f} cm, {vessel.words}. {judged.seen.words}."
    return svg("".join(body), 540, 22 + 34 * len(_EYES), "Before, with the addition, and turned back", desc)
