"""The ICE table: initial, change and equilibrium, in numbers or in x, place by place."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import TYPE_CHECKING, Any, Literal

from eqlib.assess import feedback
from eqlib.assess.asks.base import (
    ICE_ROWS,
    Answered,
    Ask,
    Control,
    Part,
    PartTable,
    Verdict,
    close,
    in_unicode,
)
from eqlib.assess.asks.slips import in_K, stock_starts
from eqlib.assess.reading.tables import Linear, linear
from eqlib.assess.tables import Number, QuestionError

if TYPE_CHECKING:
    from eqlib.assess.case import Case
    from eqlib.assess.policy import Policy

_NEAR = 0.01
Rows = Mapping[str, Mapping[str, Any]]


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

    def control(self, part: Part) -> Control:
        columns = tuple((name, in_unicode(name)) for name in part.columns)
        return Control("table", part.label, part.help, unit=part.unit, columns=columns, rows=ICE_ROWS)

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

    def judge(self, part: Part, case: Case, reading: Any, answered: Answered, policy: Policy) -> Verdict:
        """Each place counts alike. The E row may follow from the student's own I and C rows; places in x
        count too.
        """
        tolerance, value = part.tolerance or policy.tolerance, reading.value
        right = carried = 0
        for name in part.columns:
            own = {row: linear(value.get(row, {}).get(name)) for row in ICE_ROWS}
            nu = float(case.reaction.coefficients[name])
            for row, cell in own.items():
                if cell is None:
                    continue
                number = case.expected[part.id][row][name]
                if _same_place(cell, number, _in_x(case, row, name, nu), tolerance):
                    right += 1
                elif row == "equilibrium" and None not in own.values() and policy.carry_forward:
                    carried += _follows(own, tolerance)
        places = len(ICE_ROWS) * len(part.columns)
        if right + carried == places:
            return Verdict(1.0, "carried" if carried else "right")
        mistake = table_mistake(case, value)
        said = feedback.HALFWAY.format(right=right + carried, all=places)
        if mistake:
            said += " " + feedback.wrong_part(mistake).removeprefix(feedback.NOT_YET).strip()
        share = (right + carried) / places
        return Verdict(share, "partly" if share else "wrong", mistake, said)

    def words(self, part: Part, case: Case, value: Any) -> str:
        return "; ".join(
            f"{row}: " + ", ".join(f"{in_unicode(name)} {cell}" for name, cell in value.get(row, {}).items())
            for row in ICE_ROWS
        )

    def worked(self, part: Part, case: Case) -> str:
        return ""  # the table stands in the working itself


def _in_x(case: Case, row: str, name: str, nu: float) -> tuple[float, float]:
    """What the place is before x is known: (constant, multiple of x)."""
    constant = 0.0 if row == "change" else case.mixed.get(name, 0.0)
    return constant, 0.0 if row == "initial" else nu


def _same_place(cell: Linear, number: float, in_x: tuple[float, float], tolerance: float) -> bool:
    if cell.multiple:
        return close(cell.constant, in_x[0], tolerance) and close(cell.multiple, in_x[1], tolerance)
    return close(cell.constant, number, tolerance)


def _follows(own: Mapping[str, Any], tolerance: float) -> bool:
    """Is E = I + C, with the student's own I and C, and nothing below zero?"""
    constant = own["initial"].constant + own["change"].constant
    multiple = own["initial"].multiple + own["change"].multiple
    end = own["equilibrium"]
    return (
        close(end.constant, constant, tolerance)
        and close(end.multiple, multiple, tolerance)
        and end.constant >= 0
    )


# -- which mistakes a table is consistent with ------------------------------------------------------------


def table_mistake(case: Case, value: Rows) -> str | None:
    """The id of the mistake an ICE table (as read) is consistent with, most telling first; or None."""
    coefficients = {n: float(c) for n, c in case.reaction.coefficients.items()}
    rows = {row: _cells(value, row, coefficients) for row in ICE_ROWS}
    for test in (_initial, _change, _equilibrium):
        for mistake in test(case, coefficients, rows):
            return mistake
    return None


def _cells(value: Rows, row: str, coefficients: Mapping[str, float]) -> dict[str, Linear]:
    """{species: Linear} of the cells of one row that are filled in."""
    cells = value.get(row, {}) if isinstance(value, dict) else {}
    read = {n: linear(cells.get(n)) for n in coefficients}
    return {n: c for n, c in read.items() if c is not None}


def _near(a: float, b: float) -> bool:
    return math.isclose(a, b, rel_tol=_NEAR, abs_tol=1e-12)


_Cells = Mapping[str, Mapping[str, Linear]]


def _initial(case: Case, coefficients: Mapping[str, float], rows: _Cells) -> Iterator[str]:
    given = {n: c.constant for n, c in rows["initial"].items() if not c.multiple}
    right = case.mixed
    if all(_near(v, right.get(n, 0.0)) for n, v in given.items()):
        return
    for mistake, start, _ in stock_starts(case, coefficients):
        if all(_near(v, start.get(n, 0.0)) for n, v in given.items()):
            yield mistake
    if case.volume > 0 and all(_near(v, right.get(n, 0.0) * case.volume) for n, v in given.items()):
        yield "moles_as_conc"


def _change(case: Case, coefficients: Mapping[str, float], rows: _Cells) -> Iterator[str]:
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


def _equilibrium(case: Case, coefficients: Mapping[str, float], rows: _Cells) -> Iterator[str]:
    given = {n: c.constant for n, c in rows["equilibrium"].items() if not c.multiple}
    powers = in_K(coefficients)
    reactants = [n for n in given if n in powers and powers[n] < 0]
    start = case.mixed
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
