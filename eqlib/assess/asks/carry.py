"""What a student had on the way to a result: their own numbers in place of the right ones, as far as these
can be.

A determination runs along one path: concentrations after mixing, the reading, x, concentrations at
equilibrium, then K; or on to a change, and Q. A slip is counted where it is made; what follows from it is
judged from there. Only a value that can be is carried: finite, above zero, leaving something of every
reactant, no more of anything than was poured in (or what a known mistake would give). And what is carried
must still have to be worked out: a value that only repeats another one earns nothing.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from eqlib.assess.asks import slips
from eqlib.assess.asks.base import Part, close
from eqlib.assess.mistakes import name_mistake

if TYPE_CHECKING:
    from eqlib.assess.question import Case

Own = Mapping[str, Any]
Conc = Mapping[str, float]
#: Material may be off by this factor at most where no known mistake explains it.
_BALANCE = 2.0
#: A constant or quotient may be.
_FAR = 100.0
#: A value this close to the right one is no slip (the usual tolerance).
_RIGHT = 0.02


@dataclass(frozen=True)
class Path:
    """Concentrations (mol/L) at each moment, x (mol/L) and K, as somebody has them.

    ``own`` holds their answers by part id, for a value that is worked out from these and nothing else.
    """

    mixed: Conc
    before: Conc
    at_once: Conc
    after: Conc
    x: float | None = None
    K: float | None = None
    own: Own = field(default_factory=dict)

    def at(self, when: str) -> Conc:
        """The concentrations at one moment."""
        return getattr(self, when)


def right_path(case: Case, own: Own | None = None) -> Path:
    """As the chemistry has it."""
    return Path(case.mixed, case.equilibrium, case.at_once, case.after, case.extent, own=own or {})


def own_paths(case: Case, own: Own, skip: str, scale: Mapping[str, float]) -> Iterator[Path]:
    """The ways on from the student's own earlier values (part id -> value), likeliest first.

    ``skip`` is the part that is judged; ``scale`` the factor from mol/L to each part's unit. Where they gave
    another concentration than the right one, what else there is may have been worked out from it, or not.
    """
    given = _usable(case, own, skip, scale)
    if not given:
        return
    mixed = {**case.mixed, **given.get("mixed", {})}
    rows = given.get("before", {})
    ways: list[float | None] = [given["x"][""]] if "x" in given else []
    for name, nu in case.reaction.quotient_species.items():
        if name in rows and not close(rows[name], case.equilibrium.get(name, 0.0), _RIGHT):
            ways.append((rows[name] - mixed.get(name, 0.0)) / float(nu))
    if case.extent is not None:
        ways.append(case.extent)
    for x in ways or [None]:
        before = moved(case, mixed, x) if x is not None else dict(case.equilibrium)
        before |= rows
        at_once = {**_at_once(case, before), **given.get("at_once", {})}
        after = {**case.after, **given.get("after", {})}
        yield Path(mixed, before, at_once, after, x, given.get("K", {}).get(""))


def _usable(case: Case, own: Own, skip: str, scale: Mapping[str, float]) -> dict[str, dict[str, float]]:
    """The student's numbers that can be, by moment (or "x", "K") and species."""
    found: dict[str, dict[str, float]] = {}
    for part in case.parts:
        if part.id not in own or part.id == skip:
            continue
        if part.ask == "ice":
            for row, when in (("initial", "mixed"), ("equilibrium", "before")):
                for name, cell in (own[part.id].get(row) or {}).items():
                    if type(cell) in (int, float) and _cell_can_be(case, when, name, float(cell), found):
                        found.setdefault(when, {})[name] = float(cell)
        elif part.kind == "number" and type(own[part.id]) in (int, float):
            _add(case, part, float(own[part.id]), scale[part.id], found)
    return found


def _cell_can_be(case: Case, when: str, name: str, value: float, found: Mapping[str, Conc]) -> bool:
    """Can a place of a table be gone on from: by itself, or as what a known mistake gives there?"""
    right = (case.mixed if when == "mixed" else case.equilibrium).get(name, 0.0)
    if can_be(case, when, name, value, right, found):
        return True
    asked = Part("cell", "number", "number", "", quantity="concentration", species=name, when=when)
    return known_slip(asked, case, value)


def _add(case: Case, part: Part, value: float, scale: float, found: dict[str, dict[str, float]]) -> None:
    key = {"concentration": part.when, "extent": "x", "K": "K"}.get(part.quantity)
    right = case.expected.get(part.id)
    if key is None or not isinstance(right, (int, float)):
        return
    name = part.species if part.quantity == "concentration" else ""
    if can_be(case, key, name, value / scale, right / scale, found) or known_slip(part, case, value, scale):
        found.setdefault(key, {})[name] = value / scale


def known_slip(part: Part, case: Case, value: float, scale: float = 1.0) -> bool:
    """Is ``value`` what a known mistake gives, and above zero?"""
    return math.isfinite(value) and value > 0 and slip_in(part, case, value, scale) is not None


def slip_in(part: Part, case: Case, value: float, scale: float = 1.0) -> str | None:
    """The known mistake that gives ``value``, if it is wrong and one does."""
    return name_mistake(value, slips.number_suspects(part, case, scale), case.expected.get(part.id))


def can_be(
    case: Case, key: str, name: str, value: float, right: float, found: Mapping[str, Conc] | None = None
) -> bool:
    """Can somebody go on from this value? mol/L; ``key`` is a moment, "x" or "K"; ``found`` what they had."""
    if value == right:
        return True
    if not math.isfinite(value) or value <= 0:
        return False
    if key != "K" and any(close(value, right * factor, _RIGHT) for factor in (1e3, 1e-3)):
        return right > 0  # the unit, all along
    if key == "K":
        return value != 1.0 and right > 0 and 1 / _FAR < value / right < _FAR
    found = found or {}
    mixed = {**case.mixed, **found.get("mixed", {})}
    if key == "mixed":
        strongest = max((p.concentrations.get(name, 0.0) for p in case.portions), default=0.0)
        return right / _BALANCE <= value <= max(strongest, _BALANCE * right) * 1.02
    if key in ("x", "before"):
        if right > 0 and not 1 / _FAR < value / right < _FAR:
            return False
        if key == "before" and right > 0 and all(nu > 0 for nu in case.reaction.quotient_species.values()):
            return 1 / _BALANCE <= value / right <= _BALANCE  # ions over their solid: any amount may be left
        return _in_balance(case, mixed, key, name, value, found)
    return right / _BALANCE <= value <= right * _BALANCE


def _in_balance(
    case: Case, mixed: Conc, key: str, name: str, value: float, found: Mapping[str, Conc]
) -> bool:
    """Something is left of every reactant, and each with what was made of it is about what was put in."""
    coefficients = {n: float(nu) for n, nu in case.reaction.quotient_species.items()}
    nu = coefficients.get(name, 0.0)
    if key == "x" or nu > 0:
        x = value if key == "x" else (value - mixed.get(name, 0.0)) / nu
        return x > 0 and all(mixed.get(n, 0.0) + c * x > 0 for n, c in coefficients.items() if c < 0)
    if not nu or not mixed.get(name):
        return False
    x = found.get("x", {}).get("", case.extent or 0.0)
    for product, made in found.get("before", {}).items():
        if coefficients.get(product, 0.0) > 0:
            x = (made - mixed.get(product, 0.0)) / coefficients[product]
    return 1 / _BALANCE <= (value - nu * x) / mixed[name] <= _BALANCE


def moved(case: Case, mixed: Conc, x: float) -> dict[str, float]:
    """Concentrations after the first reaction has gone ``x`` mol/L from ``mixed``."""
    wanted = case.reaction.quotient_species
    return {name: mixed.get(name, 0.0) + float(nu) * x for name, nu in wanted.items()}


def _at_once(case: Case, before: Conc) -> dict[str, float]:
    """What they had before the change, carried into it, diluted."""
    found = dict(case.at_once)
    if case.disturbance is not None:
        share = case.disturbance.before.volume / case.disturbance.at_once.volume
        for name in case.reaction.quotient_species:
            if before.get(name) != case.equilibrium.get(name):
                found[name] = found.get(name, 0.0) + share * (before[name] - case.equilibrium[name])
    return found


def left_by_K(species: str, case: Case, row: Conc) -> float:
    """What K leaves of ``species`` beside the others of this row, mol/L; 0 where that says nothing."""
    powers = {name: float(power) for name, power in case.reaction.quotient_species.items()}
    own = powers.pop(species, 0.0)
    if not own or not case.reaction.has_K or not all(row.get(name, 0.0) > 0 for name in powers):
        return 0.0
    others = math.prod(row[name] ** power for name, power in powers.items())
    return float((case.reaction.require_K() / others) ** (1 / own))


def repeats(value: float, right: float, case: Case, own: Own, tolerance: float = 1e-6) -> bool:
    """Is ``value`` no step on: 0, 1, a starting concentration or one of their own earlier numbers, where the
    right value is none of these?
    """
    known = [0.0, 1.0, *case.mixed.values()]
    known += [c for portion in case.portions for c in portion.concentrations.values()]
    earlier = [n for n in own.values() if type(n) in (int, float)]
    earlier += [
        cell
        for table in own.values()
        if isinstance(table, dict)
        for row in table.values()
        if isinstance(row, dict)
        for cell in row.values()
        if type(cell) in (int, float)
    ]
    rights = [n for n in case.expected.values() if type(n) in (int, float) and n != right]
    same = any(close(value, n, tolerance) if n else value == 0 for n in (*known, *earlier))
    return same and not any(close(right, n, tolerance) for n in (*known, *rights))
