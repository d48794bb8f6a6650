"""A practical worked out from the student's own readings: their table, the work tube by tube, and Kc.

The readings are those typed in or, for those without an instrument, those of a simulated one, another set
for each student. Everything after them is judged from the student's own readings and, step by step, from
their own earlier cells, so that one slip costs once: complex from the line of the standards, what is left of
both reactants, Kc of each tube, their mean and its interval.
"""

from __future__ import annotations

import math
import statistics
from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import cache, lru_cache
from typing import TYPE_CHECKING, Any, Literal, NamedTuple

import numpy as np

from eqlib.assess import feedback
from eqlib.assess.asks.base import Answered, Ask, Part, PartTable, Verdict, close
from eqlib.assess.asks.carry import Path
from eqlib.assess.asks.shift import said_to
from eqlib.assess.mistakes import Suspect
from eqlib.assess.reading.plain import Reading, Unreadable, plain
from eqlib.assess.reading.tables import read_table
from eqlib.assess.tables import QuestionError, Value, value_of
from eqlib.errors import EqlibError
from eqlib.lab.practical.analysis import Calibration, Tube, TubeByTube, TubeResult, student_t, tube_by_tube
from eqlib.lab.practical.plan import Bench, Instrument, Row, read_tubes, rows_of, stocks_of
from eqlib.lab.practical.readings import Readings, read_readings
from eqlib.writing import with_figures

if TYPE_CHECKING:
    from eqlib.assess.question import Case, Policy

#: The columns of the work, in the order in which they are worked out, and what a cell of each is worth: the
#: step from a reading to a concentration counts double, the others follow from it by taking away.
WORTH = {"FeSCN^2+": 2, "Fe^3+": 1, "SCN^-": 1, "Kc": 1}
#: Cells are recomputed from the student's own data; this allows for figures rounded on the way.
CLOSE = 0.03
#: A slip is named when it explains at least this share of the cells that are wrong.
_TELLING = 0.6
_FEWEST = 3
_BENCH = Bench()


class ReadingsTable(PartTable):
    """``K`` and ``epsilon`` are what the simulated readings are made with, ``seed`` makes each student's own;
    ``path_cm`` is the path of the cell.
    """

    ask: Literal["readings"]
    K: Value
    seed: Value
    epsilon: Value
    path_cm: Value


class OwnReadings(Ask):
    """The table of readings, as text: typed, pasted or from a file; left as it is, the simulated ones."""

    kind = "readings"
    Table = ReadingsTable
    of_chemistry = False
    label = "Your readings"
    help = "Type over them or paste your own: a line for each tube, headings with units."

    def read(self, part: Part, raw: Any, species: tuple[str, ...]) -> Reading:
        """The table as text; what was understood of it, and what was not, by line and column."""
        value = plain(raw)
        if not isinstance(value, str):
            raise Unreadable(
                "The readings are wanted as a table in text: a line of headings, a line for each tube."
            )
        try:
            found = read_readings(value, stocks_of(_BENCH))
        except EqlibError as error:
            raise Unreadable(f"{str(error)[:1].upper()}{str(error)[1:]}.") from None
        counted = Counter(tube.role for tube in found.tubes)
        shown = f"read as {counted['standard']} standards and {counted['test']} tests"
        return Reading(True, value, shown, notes=(*found.notes[1:], *map(str, found.faults[:3])))

    def finished(self, part: Part, table: Any) -> Part:
        return replace(super().finished(part, table), weight=0.0)

    def expected(self, part: Part, case: Case, own: Mapping[str, Any]) -> str:
        return simulated(case)

    def worked(self, part: Part, case: Case) -> str:
        return ""


class Work(Ask):
    """The work, a row for each test tube: complex, both free reactants, Kc; each from the cells before it."""

    kind = "table"
    of_chemistry = False
    label = "Tube by tube"
    help = "mol/L at equilibrium, Kc in L/mol. Each cell is judged from your own readings and earlier cells."

    def finished(self, part: Part, table: Any) -> Part:
        labels = tuple(row.tube.label for row in _planned() if row.tube.role == "test")
        return replace(super().finished(part, table), columns=tuple(WORTH), rows=labels, unit="mol/L")

    def read(self, part: Part, raw: Any, species: tuple[str, ...]) -> Reading:
        found = read_table(raw, part.columns, part.rows, part.unit, part.units)
        in_x = [(row, c) for row, cells in found.value.items() for c in cells if isinstance(cells[c], str)]
        if in_x:
            raise Unreadable(f"Row {in_x[0][0]}, {in_x[0][1]}: a number is wanted here, without an x.")
        return found

    def expected(self, part: Part, case: Case, own: Mapping[str, Any]) -> dict[str, dict[str, float | None]]:
        return {done.tube.label: _right(done) for done in worked_out(case, own).tubes}

    def judge(self, part: Part, case: Case, reading: Reading, answered: Answered, policy: Policy) -> Verdict:
        try:
            lines = [worked_out(case, answered.earlier, all_converted=way) for way in (True, False)]
        except EqlibError as error:
            return Verdict(0.0, "wrong", None, f"Your readings give no line to work from: {error}.")
        tried = [(line, self._cells(line, reading.value, policy)) for line in lines]
        line, cells = max(tried, key=lambda found: _worth(found[1]))
        good, wanted = _worth(cells), sum(WORTH.values()) * len(line.tubes)
        if good == wanted:
            return Verdict(1.0, "carried" if "carried" in cells.values() else "right")
        wrong = [place for place, note in cells.items() if note == "wrong"]
        mistake = slip_of(line, reading.value, wrong, case)
        said = feedback.of_places(len(cells) - len(wrong), len(WORTH) * len(line.tubes), mistake)
        return Verdict(good / wanted, "partly" if good else "wrong", mistake, said)

    def _cells(
        self, line: TubeByTube, value: Mapping[str, Any], policy: Policy
    ) -> dict[tuple[str, str], str]:
        """(row, column) -> right, carried or wrong, for the cells that are filled in."""
        notes: dict[tuple[str, str], str] = {}
        for done in line.tubes:
            row = value[done.tube.label]
            for column, right in _right(done).items():
                if (cell := row[column]) is None:
                    continue
                then = _following(done.tube, row, column) if policy.carry_forward else None
                if right is not None and close(cell, right, CLOSE):
                    notes[done.tube.label, column] = "right"
                elif then is not None and close(cell, then, CLOSE):
                    notes[done.tube.label, column] = "carried"
                else:
                    notes[done.tube.label, column] = "wrong"
        return notes

    def words(self, part: Part, case: Case, value: Any) -> str:
        return f"{sum(cell is not None for row in value.values() for cell in row.values())} cells"

    def worked(self, part: Part, case: Case) -> str:
        rows = ["| | " + " | ".join(("[FeSCN²⁺]", "[Fe³⁺]", "[SCN⁻]", "Kc")) + " |", "|-|-|-|-|-|"]
        for label, row in case.expected[part.id].items():
            cells = ("–" if v is None else with_figures(v, 4) for v in row.values())
            rows.append(f"| {label} | {' | '.join(cells)} |")
        return "\n".join(rows)


def _right(done: TubeResult) -> dict[str, float | None]:
    """The row of a tube, by column."""
    return dict(zip(WORTH, (done.complex_, done.free_metal, done.free_ligand, done.Kc), strict=True))


def _worth(cells: Mapping[tuple[str, str], str]) -> int:
    return sum(WORTH[column] for (_, column), note in cells.items() if note != "wrong")


def _following(tube: Tube, row: Mapping[str, Any], column: str) -> float | None:
    """What a cell should be going on from the student's earlier cells; None where those are impossible."""
    x, m, l, _ = (row[name] for name in WORTH)
    if x is None or not 0 < x < min(tube.metal, tube.ligand):
        return None
    if column == "Fe^3+":
        return tube.metal - x
    if column == "SCN^-":
        return tube.ligand - x
    if column == "Kc" and m and l and 0 < m <= 10 * tube.metal and 0 < l <= 10 * tube.ligand:
        return x / (m * l)
    return None


# -- the slips ---------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Place:
    """Where a slip may be made: a row of the work, its tube, the line of the standards, the path."""

    line: Calibration
    tube: Tube
    row: Mapping[str, Any]
    path: float

    @property
    def x(self) -> float:
        """The student's own complex."""
        return self.row["FeSCN^2+"]

    @property
    def free(self) -> tuple[float, float]:
        """The student's own free metal and ligand."""
        return self.row["Fe^3+"], self.row["SCN^-"]

    def formed(self, absorbance: float) -> float:
        """The complex that an absorbance stands for, mol/L."""
        return (absorbance - self.line.intercept) / self.line.slope


_EXCESS = _BENCH.metal_standard * _BENCH.metal_mL / _BENCH.total_mL
_LITRES = _BENCH.total_mL / 1000.0
#: misconception, column, what it would write there: on from the student's own earlier cells of the row.
SLIPS: tuple[tuple[str, str, Callable[[Place], float]], ...] = (
    ("log_slip", "FeSCN^2+", lambda at: at.formed(10.0**-at.tube.absorbance)),
    ("log_slip", "FeSCN^2+", lambda at: at.formed(at.tube.absorbance * math.log(10.0))),
    ("path_ignored", "FeSCN^2+", lambda at: at.formed(at.tube.absorbance) * at.path),
    ("blank_kept", "FeSCN^2+", lambda at: at.tube.absorbance / at.line.slope),
    ("limiting_swapped", "FeSCN^2+", lambda at: at.tube.absorbance * _EXCESS / max(at.line.absorbances)),
    ("moles_as_conc", "FeSCN^2+", lambda at: _LITRES * at.formed(at.tube.absorbance)),
    ("initial_as_eq", "Fe^3+", lambda at: at.tube.metal),
    ("initial_as_eq", "SCN^-", lambda at: at.tube.ligand),
    ("change_sign", "Fe^3+", lambda at: at.tube.metal + at.x),
    ("change_sign", "SCN^-", lambda at: at.tube.ligand + at.x),
    ("stock_conc", "Fe^3+", lambda at: _BENCH.metal_test - at.x),
    ("stock_conc", "SCN^-", lambda at: _BENCH.ligand_test - at.x),
    ("k_inverted", "Kc", lambda at: at.free[0] * at.free[1] / at.x),
    ("sum_not_product", "Kc", lambda at: at.x / sum(at.free)),
    ("initial_as_eq", "Kc", lambda at: at.x / (at.tube.metal * at.tube.ligand)),
    ("moles_as_conc", "Kc", lambda at: at.x / (at.free[0] * at.free[1]) / _LITRES),
)


def slip_of(
    line: TubeByTube, value: Mapping[str, Any], wrong: list[tuple[str, str]], case: Case
) -> str | None:
    """The one known slip that explains most of the wrong cells, or None."""
    if not wrong:
        return None  # the others are empty
    path = _settings(case).path_cm
    tubes = {done.tube.label: done.tube for done in line.tubes}
    # What comes first explains what follows; later cells of an impossible first one match by accident.
    first = min((column for _, column in wrong), key=list(WORTH).index)
    places = [
        Place(line.line, tubes[label], value[label], path) for label, column in wrong if column == first
    ]
    tried = [
        (sum(_hits(slip, at, first) for at in places), name) for name, where, slip in SLIPS if where == first
    ]
    hits, best = max(tried, key=lambda one: one[0])
    return best if hits >= max(_FEWEST, _TELLING * len(places)) else None


def _hits(slip: Callable[[Place], float], at: Place, column: str) -> bool:
    try:
        return close(at.row[column], slip(at), CLOSE)
    except (TypeError, ZeroDivisionError, OverflowError):
        return False  # the cells this slip starts from are not filled in


# -- the readings, and what follows from them ----------------------------------------------------------------


@cache
def _planned() -> tuple[Row, ...]:
    return rows_of(_BENCH)


class Settings(NamedTuple):
    """What the simulated readings of one student are made with."""

    K: float
    seed: float
    epsilon: float
    path_cm: float


def _settings(case: Case) -> Settings:
    for part in case.parts:
        if part.ask == "readings":
            return Settings(*(value_of(getattr(part.table, key), case.numbers) for key in Settings._fields))
    raise QuestionError('this needs a part ask = "readings" before it')


def simulated(case: Case) -> str:
    """The readings of the simulated instrument for this student, as a table of text."""
    return _simulated(_settings(case))


@lru_cache(maxsize=256)
def _simulated(made: Settings) -> str:
    rows, drawn = _planned(), np.random.default_rng(int(made.seed))
    how = Instrument(fading=0.001, volume_sd=0.012, reading_sd=0.003)
    # The cell of another path is read at a wavelength that keeps the readings in range.
    epsilon = made.epsilon / made.path_cm
    read = read_tubes([r.tube for r in rows], made.K, lambda nm: epsilon, 447.0, drawn, how, made.path_cm)
    lines = ["tube; Fe / mL; SCN / mL; acid / mL; A"]
    for row, tube in zip(rows, read, strict=True):
        again = "again " if tube.role == "repeat" else ""
        lines.append(
            f"{again}{tube.label}; {row.metal_mL:.2f}; {row.ligand_mL:.2f}; "
            f"{row.water_mL:.2f}; {tube.absorbance:.3f}"
        )
    return "\n".join(lines)


def own_readings(case: Case, own: Mapping[str, Any]) -> Readings:
    """What the student read, or the simulated readings."""
    return _parsed(said_to(case, "readings", own) or simulated(case))


@lru_cache(maxsize=64)
def _parsed(table: str) -> Readings:
    return read_readings(table, stocks_of(_BENCH))


def worked_out(case: Case, own: Mapping[str, Any], all_converted: bool = True) -> TubeByTube:
    """The usual way on the student's own readings. Raises EqlibError where they give no line."""
    return _worked_out(own_readings(case, own).tubes, _settings(case).path_cm, all_converted)


@lru_cache(maxsize=64)
def _worked_out(tubes: tuple[Tube, ...], path: float, all_converted: bool) -> TubeByTube:
    return tube_by_tube(tubes, path, all_converted)


def own_constants(case: Case, own: Mapping[str, Any]) -> list[float]:
    """Kc of each tube: the student's own where the work has them, else those of the readings."""
    found = [row["Kc"] for row in (said_to(case, "work", own) or {}).values() if row["Kc"]]
    if len(found) >= _FEWEST:
        return found
    return [t.Kc for t in worked_out(case, own).tubes if t.Kc is not None]


def summary(which: str) -> Callable[[Part, Case, Path], float]:
    """A quantity of the practical: ``epsilon``, ``mean``, ``s``, or an end of the 95 % interval."""

    def value(part: Part, case: Case, path: Path) -> float:
        own = path.own
        if which == "epsilon":
            return worked_out(case, own).line.epsilon
        constants = own_constants(case, own)
        mean, s = statistics.fmean(constants), statistics.stdev(constants)
        half = student_t(len(constants) - 1) * s / math.sqrt(len(constants))
        return {"mean": mean, "s": s, "low": mean - half, "high": mean + half}[which]

    return value


def of_own_readings(ask: Ask, part: Part, case: Case, answered: Answered) -> float:
    """The right value by the student's own readings, whatever their work says; NaN where they give none."""
    given = {p.id: answered.said[p.id] for p in case.parts if p.ask == "readings" and p.id in answered.said}
    try:
        return float(ask.expected(part, case, given))
    except EqlibError:
        return math.nan


def best_runs(part: Part, case: Case) -> list[Suspect]:
    """The mean of somebody who keeps one run, or reports no spread."""
    if part.quantity == "own_mean":
        return [Suspect("single_truth", K) for K in own_constants(case, {})]
    return [Suspect("single_truth", 0.0)] if part.quantity == "own_s" else []
