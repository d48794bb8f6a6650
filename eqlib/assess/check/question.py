"""Is a question well posed for every student, whatever numbers they get?

A sample of students' numbers is tried, with every corner of the ranges among them. A question is refused
when a shift, a colour or a change is too small to be sure of, when a reason is not right exactly once, when
K cannot be worked out well enough from the reading, or when two mistakes would give the same number.
"""

from __future__ import annotations

import itertools
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import replace
from decimal import Decimal
from functools import lru_cache

import numpy as np

from eqlib.assess.asks import ASKS
from eqlib.assess.asks.base import Part, close
from eqlib.assess.asks.carry import moved
from eqlib.assess.asks.number import worked_extent
from eqlib.assess.asks.reasons import SAID
from eqlib.assess.mistakes import MISTAKES
from eqlib.assess.question import Case, Question, Variant
from eqlib.assess.setting import Setting
from eqlib.chem.catalogue import spectrum, system, systems
from eqlib.chem.reactions import Reaction
from eqlib.chem.salts import dissolved
from eqlib.chem.solver.batch import equilibrate_many
from eqlib.errors import EqlibError
from eqlib.lab.look import Look, why_not_ask
from eqlib.writing import as_written

#: A shift is clear when the product's amount moves by at least this share; "none" when by less than a
#: hundredth of it.
CLEAR = 0.03
#: Values closer than this share to each other are told apart by no student's rounding.
APART = 0.01
_MOST_CORNERS = 64
#: Mistakes that give the same number whatever the numbers.
#: A small constant upside down is so large that everything reacts, a large one so small that nothing does.
_ONE_AND_THE_SAME = {
    ("concentration", "goes_complete", "k_inverted"),
    ("concentration", "initial_as_eq", "k_inverted"),
}
#: Two mistakes that meet by chance in so small a share of all sets of numbers are let pass: whoever gets such
#: a set is told of the likelier one, "consistent with", and loses no mark by it.
RARELY = 0.03
#: From so many sets on, a single one that meets is chance.
_MANY = 20
#: A part, a mistake, and whether the mistake can be told from the right answer there.
Seen = tuple[str, str, bool]
#: A mixture before it reacts: totals in mol/L, volume in L, temperature in K.
_Poured = tuple[Mapping[str, float], float, float]
_Row = tuple[_Poured, _Poured, float, Mapping[str, float]]


def check_question(question: Question, samples: int) -> list[str]:
    """One line for each thing that is not safe. Counts say in how many of the sampled variants."""
    if question.manual:
        return []
    lines = typed_constants(question)
    tally: Counter[str] = Counter()
    reached: Counter[Seen] = Counter()
    tried = 0
    for variant in sampled(question, samples):
        tried += 1
        try:
            case = question.case_of(variant.numbers)
        except EqlibError as error:
            return [*lines, f"has no answer for some numbers: {error}"]
        tally.update(set(_doubts(question, case)))
        reached.update(_reachable(question, case))
    lines += [
        f"{what} (in {count} of {tried} sets of numbers)"
        for what, count in tally.items()
        if not what.startswith("two mistakes") or (count > RARELY * tried and (count > 1 or tried < _MANY))
    ]
    lines += _never(question, reached)
    if any(part.ask == "direction" and part.scored for part in question.parts):
        # Thousands more sets of numbers at once, for the shift alone.
        lines += doubtful_shifts(question, 10 * samples, CLEAR)
    return lines


def typed_constants(question: Question) -> list[str]:
    """Constants written into a question though the catalogue holds them, with their source."""
    lines, setting = [], question.setting
    for table in setting.reactions or ():
        home = _catalogued().get(_key(table.text)) if isinstance(table.K, Decimal) else None
        if home:
            lines.append(
                f'K = {table.K} is typed; write system = "{home[0]}" and use = [{home[1]}], and {{K}} in '
                "the prompt where it is given"
            )
    measured = setting.measured
    if (
        measured is not None
        and isinstance(measured.epsilon, Decimal)
        and spectrum(measured.species or "") is not None
    ):
        lines.append(
            f'epsilon = {measured.epsilon} is typed; write epsilon = "catalogue" and nm = ..., and '
            "{epsilon} in the prompt where it is given"
        )
    return lines


def _key(text: str) -> frozenset:
    return frozenset(Reaction(text).coefficients.items())


@lru_cache(maxsize=1)
def _catalogued() -> dict:
    """Reaction -> (system, position) for all reactions of the catalogue; the simplest system first."""
    found: dict = {}
    for name in sorted(systems(), key=lambda name: (len(name), name)):
        for number, reaction in enumerate(system(name).reactions):
            found.setdefault(frozenset(reaction.coefficients.items()), (name, number))
    return found


def sampled(question: Question, samples: int) -> Iterator[Variant]:
    """Variants to try: the mid-range one, the corners of all ranges, then students' own."""
    ranges = question.ranges
    yield question.variant(None)
    spans = [(name, (0, span.choices - 1)) for name, span in ranges.items() if span.choices > 1]
    if not spans:
        return
    for corner in itertools.islice(itertools.product(*(ends for _, ends in spans)), _MOST_CORNERS):
        choice = {name: end for (name, _), end in zip(spans, corner, strict=True)}
        values = {name: span.value(choice.get(name, 0)) for name, span in ranges.items()}
        yield Variant(
            "corner", {n: float(v) for n, v in values.items()}, {n: as_written(v) for n, v in values.items()}
        )
    for number in range(samples):
        yield question.variant(f"sample-{number}")


def _doubts(question: Question, case: Case) -> Iterator[str]:
    for part in question.parts:
        if not part.scored:
            continue
        if part.ask == "direction":
            yield from _direction(case)
        elif part.ask in ("seen", "precipitate"):
            yield from _look(case.appearance, part)
        elif part.ask == "change":
            yield from _change(part, case)
        elif part.ask == "number":
            yield from _number(part, case, question)
        else:
            yield from ASKS[part.ask].doubts(part, case)


def moved_share(case: Case) -> float:
    """How far the first reaction moved: the change of its most telling species, as a share of what was
    there.
    """
    d, shares = case.change, [0.0]
    for name in case.reaction.quotient_species:
        was, now = d.at_once.amounts.get(name, 0.0), d.after.amounts.get(name, 0.0)
        if max(was, now) > 0:
            shares.append(abs(now - was) / max(was, now))
    return max(shares)


#: Where a mixture goes from the instant of mixing is clear when Q is at least this much off K.
_OFF = 1.1


def _direction(case: Case) -> Iterator[str]:
    if case.disturbance is None:
        mixed = case.states["mixed"]
        if 1 / _OFF < mixed.Q(case.reaction) / mixed.K(case.reaction) < _OFF:
            yield "Q of the mixture is too close to K; choose other numbers"
        return
    share = moved_share(case)
    heading = case.disturbance.direction
    if heading == "none" and share > CLEAR / 100:
        yield (
            "the shift is close to none (the amounts move by "
            f"{100 * CLEAR / 100:g} % or more); make the change nil or larger"
        )
    if heading != "none" and share < CLEAR:
        yield f"the shift is smaller than {100 * CLEAR:g} %; make the change larger"


def _look(look: Look, part: Part) -> Iterator[str]:
    if part.ask == "seen" and look.borderline:
        yield "the change of colour is at the edge of what an eye can see; make it larger or smaller"
    if part.ask == "seen" and why_not_ask(look):
        yield f"darker, paler or the same is no fair question here ({why_not_ask(look)}); ask something else"


def _change(part: Part, case: Case) -> Iterator[str]:
    was, now = case.before.get(part.species, 0.0), case.after.get(part.species, 0.0)
    if was == now == 0:
        yield f"{part.species} is not there at all"
    elif 1e-4 < abs(now - was) / max(now, was) < CLEAR:
        yield (
            f"the concentration of {part.species} changes by less "
            f"than {100 * CLEAR:g} %; make the change larger"
        )


def _number(part: Part, case: Case, question: Question) -> Iterator[str]:
    tolerance = part.tolerance or question.policy.tolerance
    if part.quantity in ("K", "Kp"):
        yield from _well_determined(part, case, tolerance)
    found = [
        s
        for s in ASKS[part.ask].suspects(part, case, {})
        if type(s.value) in (int, float) and s.value and not s.rare
    ]
    seen = set()
    for one, other in itertools.combinations(found, 2):
        pair = tuple(sorted((one.mistake, other.mistake)))
        if (part.quantity, *pair) in _ONE_AND_THE_SAME:
            continue
        if pair[0] != pair[1] and pair not in seen and abs(one.value / other.value - 1) < APART:
            seen.add(pair)
            yield (
                f"two mistakes, {pair[0]} and {pair[1]}, give the same value of {part.id}; change the numbers"
            )


def _well_determined(part: Part, case: Case, tolerance: float) -> Iterator[str]:
    """Half a unit of the reading's last figure must not move K by more than half the tolerance."""
    name = next((n for n in ("absorbance", "concentration") if n in case.measured), None)
    table = case.setting.measured
    if name is None or table is None:
        return
    reading = case.measured[name]
    step = 0.5 * 10.0 ** (-table.decimals if name == "absorbance" else _power(reading) + 1 - table.figures)
    for nudge in (-step, step):
        nudged = replace(case, measured={**case.measured, name: reading + nudge})
        extent = worked_extent(nudged)
        nudged = replace(nudged, extent=extent, equilibrium=moved(nudged, nudged.mixed, extent))
        try:
            value = ASKS["number"].expected(part, nudged, {})
        except EqlibError:
            value = float("inf")
        if abs(value / case.expected[part.id] - 1) > tolerance / 2:
            yield (
                f"{part.id} hangs on the last figure of the reading; "
                "choose numbers that give a larger reading"
            )
            return


def _power(value: float) -> int:
    return int(f"{value:e}".split("e")[1])


def _reachable(question: Question, case: Case) -> Iterator[Seen]:
    """Mistakes that some wrong answer to this variant would show."""
    for part in question.parts:
        if not part.scored or part.kind not in ("choice", "number"):
            continue
        if part.ask == "reason":
            continue
        right = case.expected[part.id]
        tolerance = part.tolerance or question.policy.tolerance
        for found in ASKS[part.ask].suspects(part, case, {}):
            hidden = part.kind == "number" and close(found.value, right, tolerance)
            yield part.id, found.mistake, not hidden and found.value != right


def _never(question: Question, reached: Counter[Seen]) -> list[str]:
    """Mistakes that apply to a part but that no set of numbers lets anybody see, and reasons without an
    entry.
    """
    lines = []
    for part_id, mistake in sorted({(p, m) for p, m, _ in reached}):
        if not reached[part_id, mistake, True]:
            lines.append(
                f"the mistake {mistake} can never be told from the "
                f"right answer to {part_id}; change the numbers"
            )
    for part in question.parts:
        for value, _ in part.options if part.ask == "reason" else ():
            if value in SAID and value not in MISTAKES:
                lines.append(f"the reason {value} has no entry among the mistakes")
    return lines


#: Stresses whose totals can be written down before anything reacts; the others are checked one by one only.
_ADDED_UP = ("add_solution", "dilute", "heat_to")


def doubtful_shifts(question: Question, count: int, clear: float) -> list[str]:
    """Lines about the first reaction's shift over ``count`` students.

    ``clear`` is the share by which the product's amount must move to be sure of a shift; a hundredth of it
    may pass for none.
    """
    setting = question.setting
    stress = setting.stress_for(question.variant(None).numbers)
    if stress is None or stress.kind not in _ADDED_UP:
        return []
    pairs = {tuple(v.numbers.values()): v for v in (question.variant(f"batch-{n}") for n in range(count))}
    rows = [_before_and_after(setting, variant.numbers) for variant in pairs.values()]
    made = _product_amounts(question, rows)
    moved = made[:, 1] - made[:, 0]
    shares = np.abs(moved) / np.maximum(made.max(axis=1), 1e-300)
    if question.case(None).direction == "none":
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


def _before_and_after(setting: Setting, numbers: Mapping[str, float]) -> _Row:
    """Both mixtures of one student, the constant of the first reaction, and what was brought in (mol)."""
    reactions = setting.reactions_for(numbers)
    mixture, stress = setting.mixture(reactions, numbers), setting.stress_for(numbers)
    assert mixture is not None
    assert stress is not None
    added = stress.litres
    volume = mixture.volume + added
    brought = {name: molar * added for name, molar in dissolved(dict(stress.amounts)).items()}
    amounts = mixture.amounts()
    after = {n: (amounts.get(n, 0.0) + brought.get(n, 0.0)) / volume for n in {*amounts, *brought}}
    T = stress.kelvin or mixture.T
    return (
        (dict(mixture.totals), mixture.volume, mixture.T),
        (after, volume, T),
        reactions[0].require_K(),
        brought,
    )


def _product_amounts(question: Question, rows: list[_Row]) -> np.ndarray:
    """Moles of the first reaction's product, one row a student: just after the change, and in the end."""
    reactions = list(question.setting.reactions_for(question.variant(None).numbers))
    names = sorted({name for row in rows for totals, _, _ in row[:2] for name in totals})
    totals = {
        name: np.array([[side[0].get(name, 0.0) for side in row[:2]] for row in rows]) for name in names
    }
    volumes = np.array([[side[1] for side in row[:2]] for row in rows])
    temperatures = np.array([[side[2] for side in row[:2]] for row in rows])
    own = {0: np.array([[row[2]] for row in rows])} if question.setting.K is not None else None
    found = equilibrate_many(reactions, totals, T=temperatures, K=own)
    # Of several products one that was not brought in: beside acid that is added, what forms of it is lost.
    products = [n for n, nu in reactions[0].coefficients.items() if nu > 0 and n in found]
    products.sort(key=lambda name: bool(rows[0][3].get(name)))
    product = products[0] if products else next(iter(reactions[0].quotient_species))
    return np.asarray(found[product]) * volumes + [[row[3].get(product, 0.0), 0.0] for row in rows]
