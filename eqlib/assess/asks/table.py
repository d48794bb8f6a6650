"""The ICE table: initial, change and equilibrium, in numbers or in x, place by place."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace
from typing import TYPE_CHECKING, Any, Literal

from eqlib.assess import feedback
from eqlib.assess.asks.base import (
    ICE_ROWS,
    Answered,
    Ask,
    Part,
    PartTable,
    Verdict,
    close,
    in_unicode,
)
from eqlib.assess.asks.carry import can_be, own_paths
from eqlib.assess.asks.number import scale_of
from eqlib.assess.asks.slips import in_K, slips_of_reading, stock_starts
from eqlib.assess.reading.plain import Reading
from eqlib.assess.reading.tables import Linear, read_cell, read_table
from eqlib.assess.tables import Number, QuestionError
from eqlib.chem.species import species as species_of

if TYPE_CHECKING:
    from eqlib.assess.question import Case, Policy
    from eqlib.chem.reactions import Reaction

_NEAR = 0.01
Rows = Mapping[str, Mapping[str, Any]]
Cells = Mapping[str, Mapping[str, Linear]]


class IceTable(PartTable):
    ask: Literal["ice"]
    unit: str = "mol/L"
    tolerance: Number | None = None


class Ice(Ask):
    """Rows initial, change, equilibrium; one column a species; mol/L. Columns come from the reaction."""

    kind = "table"
    Table = IceTable
    label = "Fill in the table, row by row (mol/L)"
    help = "Loss is negative in the change row."
    keys = ("unit",)

    def finished(self, part: Part, table: IceTable) -> Part:
        tolerance = None if table.tolerance is None else float(table.tolerance)
        return super().finished(replace(part, tolerance=tolerance), table)

    def of_reaction(self, part: Part, reaction: Reaction) -> Part:
        names = (name for name in reaction.coefficients if species_of(name).phase in ("aq", "g"))
        return replace(part, columns=tuple(names))

    def read(self, part: Part, raw: Any, species: tuple[str, ...]) -> Reading:
        return read_table(raw, part.columns, part.rows, part.unit or "mol/L", part.units)

    def expected(self, part: Part, case: Case, own: Mapping[str, Any]) -> dict[str, dict[str, float]]:
        rows: dict[str, dict[str, float]] = {"initial": {}, "change": {}, "equilibrium": {}}
        if case.extent is None:
            raise QuestionError(
                "an ICE table needs one reaction, or a reading from which x can be worked out"
            )
        for name in part.columns:
            start, change = case.mixed.get(name, 0.0), float(case.reaction.coefficients[name]) * case.extent
            rows["initial"][name], rows["change"][name] = start, change
            rows["equilibrium"][name] = start + change
        return rows

    def judge(self, part: Part, case: Case, reading: Reading, answered: Answered, policy: Policy) -> Verdict:
        """Each place counts alike, places in x too. What follows from the student's own numbers counts as
        right, so that one slip costs its places in the row in which it is made, and nothing after it.
        """
        sheet = _Sheet(part, case, reading.value, part.tolerance or policy.tolerance)
        right = sheet.count()
        own = answered.earlier if policy.carry_forward else None
        best = right if own is None else max(right, sheet.carried(own))
        if best == sheet.zeros():
            best = 0  # a table of zeros was not worked out
        places = len(sheet.places)
        if best == places:
            return Verdict(1.0, "right" if right == places else "carried")
        mistake = "unit_prefix" if sheet.thousandfold() else table_mistake(case, sheet.rows)
        said = feedback.of_places(best, places, mistake)
        return Verdict(best / places, "partly" if best else "wrong", mistake, said)

    def words(self, part: Part, case: Case, value: Any) -> str:
        return "; ".join(
            f"{row}: "
            + ", ".join(f"{in_unicode(name)} {_short(cell)}" for name, cell in value.get(row, {}).items())
            for row in ICE_ROWS
        )

    def worked(self, part: Part, case: Case) -> str:
        return ""  # the table stands in the working itself


class _Sheet:
    """A filled-in table beside the right one."""

    def __init__(self, part: Part, case: Case, value: Rows, tolerance: float):
        self.part, self.case, self.tolerance = part, case, tolerance
        self.nu = {name: float(case.reaction.coefficients[name]) for name in part.columns}
        self.right = case.expected[part.id]
        self.rows = filled_in(value, part.columns)
        self.places = [(row, name) for row in ICE_ROWS for name in part.columns]
        self.mixed = {name: self._start(name) for name in part.columns}

    def number(self, row: str, name: str) -> float | None:
        """The number in a place; None where it is empty or holds an x."""
        cell = self.rows[row].get(name)
        return None if cell is None or cell.multiple else cell.constant

    def _start(self, name: str) -> float:
        """The starting concentration as the student has it, where it can be."""
        right, own = self.case.mixed.get(name, 0.0), self.number("initial", name)
        if own is None or not right:
            return right
        known = [start.get(name) for _, start in stock_starts(self.case, self.nu)]
        slip = any(value is not None and _near(own, value) for value in known)
        return own if slip or can_be(self.case, "mixed", name, own, right) else right

    def is_right(self, row: str, name: str) -> bool:
        """Is a place right, in numbers or in x?"""
        cell = self.rows[row].get(name)
        if cell is None:
            return False
        if not cell.multiple:
            return close(cell.constant, self.right[row][name], self.tolerance)
        start = 0.0 if row == "change" else self.case.mixed.get(name, 0.0)
        slope = 0.0 if row == "initial" else self.nu[name]
        return close(cell.constant, start, self.tolerance) and close(cell.multiple, slope, self.tolerance)

    def zeros(self) -> int:
        """Right places in which nothing stands or moves."""
        return sum(not self.right[row][name] and self.is_right(row, name) for row, name in self.places)

    def count(self, x: float | None = None, earlier: bool = False) -> int:
        """Places that are right, or follow from ``x`` (mol/L); the change row only where ``x`` is of an
        ``earlier`` part, and paid for there. A nought, known without any work, counts beside a place of
        its row that was worked out.
        """
        good = {
            (row, name)
            for row, name in self.places
            if self.is_right(row, name) or (x is not None and self._goes_on(row, name, x, earlier))
        }
        worked = {row for row, name in good if self.right[row][name]}
        worked |= {row for row in ICE_ROWS if not any(self.right[row].values())}
        return sum(row in worked for row, _ in good)

    def _goes_on(self, row: str, name: str, x: float, earlier: bool) -> bool:
        own = self.number(row, name)
        if row == "change":
            return earlier and own is not None and close(own, self.nu[name] * x, self.tolerance)
        if row == "initial" or (own is not None and own <= 0):
            return False
        return self._adds_up(name) or (
            own is not None and close(own, self.mixed[name] + self.nu[name] * x, self.tolerance)
        )

    def _adds_up(self, name: str) -> bool:
        """Is E = I + C, with the student's own I and C, from a start and a change that can be?"""
        start, change, end = (self.rows[row].get(name) for row in ICE_ROWS)
        if start is None or change is None or end is None:
            return False
        slip = bool(change.constant) and any(_change(self.case, self.rows))
        possible = change.multiple or slip or self._can_change(abs(change.constant / self.nu[name]))
        if not possible or start.multiple or not close(start.constant, self.mixed[name], self.tolerance):
            return False
        total = start.constant + change.constant
        return (
            close(end.constant, total, self.tolerance)
            and close(end.multiple, change.multiple, self.tolerance)
            and end.constant >= 0
        )

    def _can_change(self, x: float) -> bool:
        return can_be(self.case, "x", "", x, self.case.extent or 0.0, {"mixed": self.mixed})

    def carried(self, own: Mapping[str, Any]) -> int:
        """The most places that are right or follow, from x as given earlier or as in this table."""
        if self.thousandfold():
            return len(self.places) - len(self.part.columns)  # a slip in every row is paid for in one
        starts = self.rows["initial"].items()
        if not all(close(cell.constant, self.mixed[name], self.tolerance) for name, cell in starts):
            return 0  # from such a start there is no way on
        scale = {part.id: scale_of(part) for part in self.case.parts if part.kind == "number"}
        ways = [(self.case.extent or 0.0, False)]
        ways += [(p.x, True) for p in own_paths(self.case, own, self.part.id, scale) if p.x is not None]
        for name in self.part.columns:
            change = self.number("change", name)
            if change is not None and self._can_change(change / self.nu[name]):
                ways.append((change / self.nu[name], False))
        return max(self.count(x, earlier) for x, earlier in ways)

    def thousandfold(self) -> bool:
        """Is the whole table right, but in another unit?"""
        pairs = [(self.number(row, name), self.right[row][name]) for row, name in self.places]
        return any(
            all(own is not None and close(own, right * f, self.tolerance) for own, right in pairs if right)
            for f in (1e3, 1e-3)
        )


# -- which mistakes a table is consistent with ------------------------------------------------------------


def table_mistake(case: Case, rows: Cells) -> str | None:
    """The id of the mistake that the filled-in cells of an ICE table show, most telling first; or None."""
    tests = (_initial, _reading, _change, _equilibrium)
    return next((mistake for test in tests for mistake in test(case, rows)), None)


def filled_in(value: Rows, names: Iterable[str]) -> dict[str, dict[str, Linear]]:
    """{row: {species: Linear}} of the cells that are filled in."""
    read = {row: {n: read_cell(value.get(row, {}).get(n)) for n in names} for row in ICE_ROWS}
    return {row: {n: c for n, c in cells.items() if c is not None} for row, cells in read.items()}


def _near(a: float, b: float) -> bool:
    return math.isclose(a, b, rel_tol=_NEAR, abs_tol=1e-12)


def _coefficients(case: Case) -> dict[str, float]:
    return {name: float(nu) for name, nu in case.reaction.coefficients.items()}


def _numbers(rows: Cells, row: str) -> dict[str, float]:
    """The cells of a row in which a number stands."""
    return {n: c.constant for n, c in rows[row].items() if not c.multiple}


def _reading(case: Case, rows: Cells) -> Iterator[str]:
    """A whole change row that follows from a slip in the reading of the instrument."""
    given, coefficients = _numbers(rows, "change"), _coefficients(case)
    nu = coefficients.get(case.observed)
    if not given or not nu:
        return
    for mistake, amount in slips_of_reading(case):
        x = (amount - case.mixed.get(case.observed, 0.0)) / nu
        if all(_near(abs(v), abs(coefficients[n] * x)) for n, v in given.items()):
            yield mistake


def _initial(case: Case, rows: Cells) -> Iterator[str]:
    given, right = _numbers(rows, "initial"), case.mixed
    if all(_near(v, right.get(n, 0.0)) for n, v in given.items()):
        return
    for mistake, start in stock_starts(case, _coefficients(case)):
        if all(_near(v, start.get(n, 0.0)) for n, v in given.items()):
            yield mistake
    if case.volume > 0 and all(_near(v, right.get(n, 0.0) * case.volume) for n, v in given.items()):
        yield "moles_as_conc"


def _change(case: Case, rows: Cells) -> Iterator[str]:
    coefficients = _coefficients(case)
    given = {n: c.multiple or c.constant for n, c in rows["change"].items() if c.multiple or c.constant}
    if len(given) < 2:
        return
    reactants = [v for n, v in given.items() if coefficients[n] < 0]
    products = [v for n, v in given.items() if coefficients[n] > 0]
    if reactants and products and all(v * products[0] > 0 for v in (*reactants, *products)):
        yield "change_sign"
    sizes = [abs(v) for v in given.values()]
    unequal = len({abs(coefficients[n]) for n in given}) > 1
    if unequal and all(_near(size, sizes[0]) for size in sizes):
        yield "change_coeff"


def _equilibrium(case: Case, rows: Cells) -> Iterator[str]:
    given, start, powers = _numbers(rows, "equilibrium"), case.mixed, in_K(_coefficients(case))
    reactants = [n for n in given if n in powers and powers[n] < 0]
    if any(given[n] == 0 and start.get(n, 0.0) > 0 for n in reactants):
        yield "goes_complete"
    same = [n for n in reactants if start.get(n, 0.0) and math.isclose(given[n], start[n], rel_tol=1e-6)]
    if reactants and len(same) == len(reactants) and any(given[n] > start.get(n, 0.0) for n in given):
        yield "initial_as_eq"
    shares = [given[n] / abs(powers[n]) for n in given if n in powers]
    if len(shares) == len(powers) > 1 and shares[0] > 0:
        values = [given[n] for n in given if n in powers]
        alike = any(all(_near(v, group[0]) for v in group) for group in (shares, values))
        right = case.equilibrium
        if alike and not all(_near(given[n], right.get(n, 0.0)) for n in given):
            yield "equal_amounts"


def _short(cell: Any) -> Any:
    """A number of a table without the last digits of its arithmetic; an expression in x as it is."""
    return f"{cell:.4g}" if isinstance(cell, float) else cell
