"""Numbers: every quantity that can be asked for, its right value, its unit, and how close is close enough.

The right value comes from ``eqlib.chem`` and the student's own numbers. ``own`` carries the student's earlier
values forward: a later number is worked from what the student had, so that one slip is penalised once.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Callable, Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass, replace
from functools import cache
from typing import TYPE_CHECKING, Any, Literal

from pydantic import Field, field_validator, model_validator

from eqlib.assess import feedback
from eqlib.assess.asks import data, practical, slips
from eqlib.assess.asks.base import MOMENTS, Answered, Ask, Part, PartTable, Verdict, close, in_unicode
from eqlib.assess.asks.carry import Path, left_by_K, own_paths, repeats, right_path, slip_in
from eqlib.assess.mistakes import Suspect, name_mistake
from eqlib.assess.reading.numbers import read_number
from eqlib.assess.reading.plain import Reading, Unreadable
from eqlib.assess.reading.units import is_power_of_concentration, parse_unit, standard_size
from eqlib.assess.setting import read_amount
from eqlib.assess.tables import Formula, Number, QuestionError
from eqlib.chem.reactions import Reaction
from eqlib.chem.thermo import R_BAR
from eqlib.errors import EqlibError
from eqlib.lab.practical.analysis import epsilon_from_reading
from eqlib.writing import adding_up, as_given, pretty_unit, raised, read_back, with_figures

if TYPE_CHECKING:
    from eqlib.assess.question import Case, Policy

Own = Mapping[str, Any]

# -- right values -----------------------------------------------------------------------------------------


def worked_extent(case: Case) -> float:
    """x (mol/L) from the reading: Beer-Lambert for an absorbance, then the observed species' coefficient."""
    nu = case.reaction.coefficients.get(case.observed)
    if nu is None:
        raise QuestionError(
            f"measured: {case.observed} is not in {case.reaction}; observe one of its species"
        )
    return (read_amount(case.measured) - case.mixed.get(case.observed, 0.0)) / float(nu)


def quotient(case: Case, concentrations: Mapping[str, float]) -> float:
    """Q; gases in bar when the reaction's K is a Kp, as its own temperature says."""
    reaction = case.reaction
    if reaction.basis == "p":
        T = case.temperature
        return reaction.as_basis("c", T).quotient(concentrations) * reaction.kp(T) / reaction.kc(T)
    return reaction.quotient(concentrations)


def _K(part: Part, case: Case, path: Path) -> float:
    return quotient(case, path.before)


def _Q(part: Part, case: Case, path: Path) -> float:
    return quotient(case, path.at(part.when))


def _concentration(part: Part, case: Case, path: Path) -> float:
    return path.at(part.when).get(part.species, 0.0)


def _extent(part: Part, case: Case, path: Path) -> float:
    if path.x is None:
        raise QuestionError(f"part {part.id!r}: x needs one reaction, or a reading to work it out from")
    return path.x


def _absorbance(part: Part, case: Case, path: Path) -> float:
    if "epsilon" not in case.measured:
        raise QuestionError(
            f"part {part.id!r}: an absorbance needs epsilon and path_cm under [question.measured]"
        )
    species = part.species or case.observed
    return case.measured["epsilon"] * case.measured["path"] * getattr(case, part.when).get(species, 0.0)


def _Kp(part: Part, case: Case, path: Path) -> float:
    reaction, T = case.reaction, case.temperature
    if not case.measured:
        return reaction.kp(T)
    kc = path.K if path.K is not None else quotient(case, path.before)
    return kc if reaction.basis == "p" else reaction.as_basis("c", T).with_K(kc).kp(T)


def limiting(case: Case) -> tuple[str, float]:
    """The reactant of the mixed solution that runs out first, and its concentration in mol/L."""
    most = {
        name: case.mixed.get(name, 0.0) / -float(nu)
        for name, nu in case.reaction.quotient_species.items()
        if nu < 0
    }
    scarce = min(most, key=lambda name: most[name], default=None)
    if scarce is None or most[scarce] <= 0:
        raise QuestionError("epsilon needs reactants that were poured together")
    return scarce, most[scarce]


def _epsilon(part: Part, case: Case, path: Path) -> float:
    """Beer-Lambert for a standard in which all of the limiting reactant is taken as complex."""
    m = case.measured
    if case.reaction.coefficients.get(case.observed) != 1:
        raise QuestionError("epsilon needs an observed species that is formed one by one (coefficient 1)")
    return epsilon_from_reading(m["absorbance"], limiting(case)[1], m["path"], m["blank"])


# -- the last step of the working, with the student's numbers -----------------------------------------------


Digits = Callable[[str, float], str]


def digits(case: Case) -> Digits:
    """How this working writes a concentration: one decimal place for each species, at which what was put in
    and what reacted add up to what is left, and with which K and Q come out as they are printed.
    """
    candidates = (_digits(case, figures) for figures in (3, 4, 5))
    tried = [(found, all(_comes_out(case, row, found) for row in _rows(case))) for found in candidates]
    return next((found for found, right in tried if right), tried[1][0])


def _rows(case: Case) -> list[Mapping[str, float]]:
    """The rows whose quotient is worked out on the page."""
    asked = {part.quantity for part in case.parts}
    rows = [case.equilibrium] if {"K", "Kp"} & asked or (case.observed and "Q" in asked) else []
    return rows + [getattr(case, part.when) for part in case.parts if part.quantity == "Q"]


def _digits(case: Case, figures: int) -> Digits:
    places = {}
    for name, end in case.equilibrium.items():
        start = case.mixed.get(name, 0.0)
        places[name] = adding_up(start, end - start, figures=figures)

    def shown(name: str, value: float) -> str:
        place = places.get(name)
        if not value or place is None:
            return with_figures(value, figures)
        most = max(figures, place + 1 + math.floor(math.log10(abs(value)) + 1e-12))
        return as_given(float(f"{value:.{most}g}"), most)

    return shown


def _comes_out(case: Case, row: Mapping[str, float], shown: Digits) -> bool:
    """Does the quotient of the printed numbers, to three figures, equal that of the real ones?"""
    terms = [(n, row.get(n, 0.0), float(power)) for n, power in case.reaction.quotient_species.items()]
    if not all(value > 0 for _, value, _ in terms):
        return True
    exact = math.prod(value**power for _, value, power in terms)
    printed = math.prod(read_back(shown(n, value)) ** power for n, value, power in terms)
    return f"{printed:.3g}" == f"{exact:.3g}"


def quotient_step(case: Case, conc: Mapping[str, float]) -> str:
    """The quotient with its numbers; pressures where the constant is a Kp."""
    reaction, shown = case.reaction, digits(case)
    per_bar = R_BAR * case.temperature if reaction.basis == "p" else 1.0
    terms: list[tuple[str, float]] = []
    for name, power in reaction.quotient_species.items():
        value = conc.get(name, 0.0)
        if not value:
            return ""
        in_bar = reaction.basis == "p" and name.endswith("(g)")
        terms.append((with_figures(value * per_bar, 4) if in_bar else shown(name, value), float(power)))
    return over(terms)


def over(terms: list[tuple[str, float]]) -> str:
    """A fraction of (text, power) terms."""
    lines = {
        up: " × ".join(_to_power(text, abs(power)) for text, power in terms if (power > 0) is up)
        for up in (True, False)
    }
    single = sum(power < 0 for _, power in terms) == 1 and lines[False].startswith("(")
    below = f"({lines[False]})" if "×" in lines[False] and not single else lines[False]
    return (lines[True] or "1") + (f" / {below}" if below else "")


def _to_power(shown: str, power: float) -> str:
    bare = shown if shown.startswith("(") else f"({shown})"
    return shown if power == 1 else f"{bare}{raised(f'{power:g}')}"


def _Kp_step(part: Part, case: Case) -> str:
    """Kp from a Kc: every gas brings a factor RT."""
    reaction = case.reaction
    if reaction.basis != "c":
        return ""
    kc = case.reaction.quotient(case.equilibrium) if case.measured else reaction.require_K()
    change = int(reaction.dn_gas)
    RT = f"({R_BAR:.5f} × {case.temperature:.2f})"
    power = raised(change)
    return f"Kc (R T){power} = {with_figures(kc, 4)} × {RT}{power}" if change else f"Kc = {with_figures(kc)}"


def _absorbance_step(part: Part, case: Case) -> str:
    m, name = case.measured, part.species or case.observed
    conc = getattr(case, part.when).get(name, 0.0)
    return f"ε l [{in_unicode(name)}] = {m['epsilon']:g} × {m['path']:g} × {with_figures(conc)}"


def _no_step(part: Part, case: Case) -> str:
    return ""


# -- the quantities ---------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Quantity:
    """One number that can be asked for. ``unit``: the usual one. ``reading``: what it is worked out from."""

    label: str
    value: Callable[[Part, Case, Path], float]
    unit: str = ""
    when: str = ""
    of_species: str = ""  # "needed", "may be" or ""
    reading: str = ""
    step: Callable[[Part, Case], str] = _no_step
    figures: tuple[int, int] | None = None
    as_given: bool = False  # in the unit of the data it comes from, whatever that is
    checked: str | None = ""  # the unit it is checked against; None: the reaction's, or that of the data


QUANTITIES = {
    "K": Quantity("K", _K, step=lambda p, c: quotient_step(c, c.equilibrium), checked=None),
    "Kp": Quantity("Kp", _Kp, step=_Kp_step, checked=None),
    "Q": Quantity(
        "The reaction quotient Q",
        _Q,
        when="at_once",
        step=lambda p, c: quotient_step(c, getattr(c, p.when)),
        checked=None,
    ),
    "concentration": Quantity(
        "", _concentration, "mol/L", when="before", of_species="needed", checked="mol/L"
    ),
    "extent": Quantity("x, the concentration that has reacted", _extent, "mol/L", checked="mol/L"),
    "absorbance": Quantity(
        "The absorbance",
        _absorbance,
        when="before",
        of_species="may be",
        step=_absorbance_step,
        as_given=True,
    ),
    "dH": Quantity(
        "The reaction enthalpy ΔH",
        data.dH,
        "kJ/mol",
        reading="temperatures",
        step=data.dH_step,
        checked="kJ/mol",
    ),
    "epsilon": Quantity(
        "The molar absorptivity ε", _epsilon, "L/(mol cm)", reading="absorbance", checked="L/(mol cm)"
    ),
    "mean": Quantity("The mean", data.mean, reading="runs", as_given=True, checked=None),
    "s": Quantity(
        "Their standard deviation, s",
        data.deviation,
        reading="runs",
        figures=(1, 4),
        as_given=True,
        checked=None,
    ),
    "pKa": Quantity("pKa", data.pKa, reading="indicator", as_given=True, step=data.pKa_step),
    "n": Quantity(
        "The number of results, n",
        data.count,
        reading="runs",
        figures=(1, 3),
        as_given=True,
    ),
}
QUANTITIES |= {
    f"own_{which}": Quantity(label, practical.summary(which), unit, figures=figures, checked=unit)
    for which, label, unit, figures in (
        ("epsilon", "Molar absorptivity, from your line", "L/(mol cm)", None),
        ("mean", "Mean of Kc", "L/mol", (2, 4)),
        ("s", "Standard deviation of one Kc", "L/mol", (1, 4)),
        ("low", "95 % interval of the mean, lower end", "L/mol", (2, 4)),
        ("high", "95 % interval of the mean, upper end", "L/mol", (2, 4)),
    )
}
#: Numbers that need no reaction.
OF_DATA = ("dH", "mean", "s", "n", "pKa", *(name for name in QUANTITIES if name.startswith("own_")))
#: Numbers for which nothing is poured together: the general advice is about the data.
_FROM_DATA = ("Kp", "absorbance", "dH", "mean", "s", "n")
_TIMES = {
    "mixed": "just after mixing, before any reaction",
    "at_once": "at once, before any shift",
    "before": "at equilibrium",
    "after": "at the new equilibrium",
}
_ABSORPTIVITY = (2, 0, 0, -1, 0)


def scale_of(part: Part) -> float:
    """The factor from mol/L (J/mol, L/(mol cm), or no unit) to the unit ``part`` is asked in."""
    quantity = QUANTITIES.get(part.quantity)
    return 1.0 if quantity is not None and quantity.as_given else unit_scale(part.unit)


@cache
def unit_scale(unit: str) -> float:
    """The factor from mol/L and its powers, J/mol or L/(mol cm) to ``unit``."""
    found = parse_unit(unit)
    if found.dims == _ABSORPTIVITY:  # the path is in cm
        return float(parse_unit("L/(mol cm)").size / found.size)
    return float(1 / (standard_size(found) if is_power_of_concentration(found) else found.size))


class NumberTable(PartTable):
    """ask = "number": the ``quantity``, perhaps of a ``species`` ``when``, in a ``unit``."""

    ask: Literal["number"]
    quantity: Literal[tuple(QUANTITIES)]  # type: ignore[valid-type]  # made as the module loads
    unit: str | None = None
    species: Formula | None = None
    when: Literal[MOMENTS] | None = None  # type: ignore[valid-type]  # likewise
    tolerance: Number | None = None
    figures: tuple[int, int] | None = None
    code: bool = Field(default=False, strict=True)

    @field_validator("tolerance")
    @classmethod
    def _a_fraction(cls, given: Number | None) -> Number | None:
        if given is not None and not 0 < given <= 0.5:
            raise ValueError(f"is {float(given):g}; write a fraction up to 0.5, such as 0.02 for 2 %")
        return given

    @field_validator("figures", mode="before")
    @classmethod
    def _a_pair(cls, given: Any) -> Any:
        pair = isinstance(given, (list, tuple)) and len(given) == 2 and {type(n) for n in given} == {int}
        if given is not None and not (pair and 1 <= given[0] <= given[1]):
            raise ValueError(f"is {given!r}; write [fewest, most], such as [2, 4]")
        return given

    @model_validator(mode="after")
    def _fits(self) -> NumberTable:
        wanted = QUANTITIES[self.quantity]
        if wanted.of_species == "needed" and self.species is None:
            raise ValueError("species is missing; say whose concentration is asked")
        if not wanted.of_species and self.species is not None:
            raise ValueError("species does nothing here; remove it")
        if not wanted.when and self.when is not None:
            raise ValueError("when does nothing here; remove it")
        return self


#: What multiplies every concentration by the same factor at once, and so Q by a factor that any K takes.
_ALL_ALIKE = ("dilute", "change_volume")


class NumberAsked(Ask):
    """The number named by ``quantity``."""

    kind = "number"
    Table = NumberTable
    help = "Type a number, for example 0.0025 or 2.5e-3; a unit may follow."
    keys = ("quantity", "code")

    def default_id(self, table: NumberTable) -> str:
        return table.quantity

    def finished(self, part: Part, table: NumberTable) -> Part:
        wanted = QUANTITIES[table.quantity]
        part = replace(
            part,
            unit=wanted.unit if table.unit is None else table.unit,
            species=table.species or "",
            when=table.when or wanted.when,
            tolerance=None if table.tolerance is None else float(table.tolerance),
            figures=table.figures or wanted.figures,
        )
        return super().finished(part, table)

    def label_of(self, part: Part) -> str:
        if part.quantity == "concentration":
            return f"Concentration of {in_unicode(part.species)} {_TIMES[part.when]}"
        return QUANTITIES[part.quantity].label

    def needs_stress(self, part: Part) -> bool:
        return part.when in ("at_once", "after")

    def needs_reaction(self, part: Part) -> bool:
        return part.quantity not in OF_DATA

    def needs_reading(self, part: Part) -> str:
        return QUANTITIES[part.quantity].reading

    def of_reaction(self, part: Part, reaction: Reaction) -> Part:
        kc = part.quantity in ("K", "Q") and reaction.basis == "c"
        return replace(part, own_unit=_unit_of_K(reaction)) if kc else part

    def unit_fault(self, part: Part, reaction: Reaction | None) -> str:
        if not part.unit:
            return ""
        try:
            given = parse_unit(part.unit)
        except Unreadable as error:
            return f"unit: {error}"
        usual = QUANTITIES[part.quantity].checked
        if part.quantity in ("K", "Q", "Kp"):
            if reaction is None or (is_power_of_concentration(given) and _suits(given, part, reaction)):
                return ""
            usual = _unit_of_K(reaction) if reaction.basis == "c" and part.quantity != "Kp" else ""
        if usual is None or parse_unit(usual).dims == given.dims:
            return ""
        mend = f"write one like {pretty_unit(usual)}" if usual else "leave it out"
        return f"unit is {part.unit!r}, which this number does not have; {mend}"

    def read(self, part: Part, raw: Any, species: tuple[str, ...]) -> Reading:
        return read_number(raw, part.unit, logarithm=part.quantity == "pKa", own_unit=part.own_unit)

    def expected(self, part: Part, case: Case, own: Own) -> float:
        """In the part's unit. Raises QuestionError when it cannot be worked out."""
        if part.when in ("at_once", "after") and case.disturbance is None:
            raise QuestionError(f"part {part.id!r}: nothing is done to the mixture; add [question.stress]")
        return self._value(part, case, right_path(case, own))

    def _value(self, part: Part, case: Case, path: Path) -> float:
        value = QUANTITIES[part.quantity].value(part, case, path)
        if not math.isfinite(value):
            raise QuestionError(f"part {part.id!r} has no finite value with these numbers")
        return value * scale_of(part)

    def judge(self, part: Part, case: Case, reading: Reading, answered: Answered, policy: Policy) -> Verdict:
        value, right = float(reading.value), case.expected[part.id]
        if part.quantity.startswith("own_"):
            right = practical.of_own_readings(self, part, case, answered)
        if _is_right(value, right, reading, part, policy):
            return _with_figures(part, reading, policy, answered.figures_spent, "right")
        tolerance = part.tolerance or policy.tolerance
        for carried in self._carried(part, case, answered.earlier):
            worked = part.quantity.startswith("own_") or not repeats(value, right, case, answered.earlier)
            if worked and _is_right(value, carried, reading, part, policy):
                return _with_figures(part, reading, policy, answered.figures_spent, "carried")
        found = name_mistake(
            value, self.suspects(part, case, answered.said), right, tolerance, policy.window, reading.figures
        )
        before = found and _made_before(found, part, case, answered.earlier)
        if before and not repeats(value, right, case, answered.earlier):
            return _with_figures(part, reading, policy, answered.figures_spent, "carried")
        said = "" if found else _slip_in_words(part, case, value)
        return Verdict(0.0, "wrong", found, said)

    def _carried(self, part: Part, case: Case, own: Own) -> Iterator[float]:
        """What this part can be, going on from the student's own earlier values."""
        if part.quantity.startswith("own_") and own:
            with suppress(EqlibError, statistics.StatisticsError):
                yield self.expected(part, case, own)
        if not own or not case.reactions:
            return
        scale = {other.id: scale_of(other) for other in case.parts if other.kind == "number"}
        for path in own_paths(case, own, part.id, scale):
            try:
                value = self._value(part, case, path)
            except (EqlibError, ZeroDivisionError, OverflowError):
                continue
            if value > 0:
                yield value
            if part.quantity == "concentration" and part.when == "before" and not case.observed:
                yield left_by_K(part.species, case, path.before) * scale_of(part)
            if part.quantity == "Q" and path.K and getattr(case.stress, "kind", "") in _ALL_ALIKE:
                yield case.expected[part.id] * path.K / case.change.before.K(case.reaction)

    def suspects(self, part: Part, case: Case, said: Mapping[str, Any]) -> list[Suspect]:
        if part.quantity.startswith("own_"):
            return practical.best_runs(part, case)
        return slips.number_suspects(part, case, scale_of(part))

    def not_yet(self, part: Part) -> str:
        return feedback.NOT_YET_RESULT if part.quantity in _FROM_DATA else super().not_yet(part)

    def words(self, part: Part, case: Case, value: Any) -> str:
        if not isinstance(value, (int, float)):
            return str(value)
        shown = with_figures(value) if part.quantity != "n" else f"{value:g}"
        return f"{shown} {pretty_unit(part.unit)}".strip()

    def worked(self, part: Part, case: Case) -> str:
        step = QUANTITIES[part.quantity].step(part, case)
        if not step:
            return super().worked(part, case)
        said = self.words(part, case, case.expected[part.id])
        return f"{part.label.rstrip('?:. ')} = {step} = **{said}**"


def _made_before(mistake: str, part: Part, case: Case, earlier: Own) -> bool:
    """Is an earlier number of the same kind wrong by the same slip? It is counted there."""
    return any(
        other.quantity == part.quantity
        and other.id in earlier
        and slip_in(other, case, float(earlier[other.id]), scale_of(other)) == mistake
        for other in case.parts
        if other.kind == "number" and other.id != part.id
    )


def _is_right(value: float, expected: float, reading: Reading, part: Part, policy: Policy) -> bool:
    """Within the tolerance, or the right value properly rounded to the figures typed (not fewer than
    allowed).
    """
    if close(value, expected, part.tolerance or policy.tolerance):
        return True
    fewest, figures = (part.figures or policy.figures)[0], reading.figures
    if not figures or figures[1] < fewest or not math.isfinite(expected) or expected == 0:
        return False
    return any(
        close(value, float(f"{expected:.{count - 1}e}"), 1e-9)
        for count in range(max(figures[0], fewest), figures[1] + 1)
    )


def _with_figures(part: Part, reading: Reading, policy: Policy, spent: bool, note: str) -> Verdict:
    """One deduction for figures in a question, stated. Values from code have no typed figures to count."""
    figures, allowed = reading.figures, part.figures or policy.figures
    if not figures or part.code or spent or not policy.figures_deduction:
        return Verdict(1.0, note)
    share = 1.0 - policy.figures_deduction
    if figures[0] > allowed[1]:
        return Verdict(share, note, "excess_digits", feedback.TOO_MANY_FIGURES, True)
    if figures[1] < allowed[0]:
        return Verdict(share, note, None, feedback.TOO_FEW_FIGURES, True)
    return Verdict(1.0, note)


_NEVER_BELOW_0 = ("concentration", "extent", "K", "Kp", "Q", "epsilon")


def _slip_in_words(part: Part, case: Case, value: float) -> str:
    """A plain sentence for a slip that is no misconception; where nothing was poured together and none gives
    ``value``, the general advice about data; else "".
    """
    if value < 0 < case.expected[part.id] and part.quantity in _NEVER_BELOW_0:
        return feedback.NEGATIVE
    return next(
        (
            said
            for known, said in _plain_slips(part, case)
            if known and abs(value / known - 1) < (0.02 if part.quantity == "concentration" else 0.01)
        ),
        feedback.NOT_YET_RESULT if len(case.portions) < 2 else "",
    )


def _plain_slips(part: Part, case: Case) -> Iterator[tuple[float, str]]:
    if part.quantity in data.SLIPS:
        yield from data.plain_slips(part, case)
    if part.quantity == "concentration" and part.when == "at_once" and case.disturbance is not None:
        before = scale_of(part) * case.before.get(part.species, 0.0)
        share = case.disturbance.before.volume / case.disturbance.at_once.volume
        if case.done.kind in ("change_volume", "dilute") and share != 1:
            yield before, feedback.AS_BEFORE_THE_MOVE
            yield before / share, feedback.VOLUMES_SWAPPED


# -- units ------------------------------------------------------------------------------------------------


def _suits(given: Any, part: Part, reaction: Reaction) -> bool:
    """The right power of a concentration for a Kc; a Kp, with gases in bar, is looked at less closely."""
    if reaction.basis != "c" or part.quantity == "Kp":
        return True
    usual = _unit_of_K(reaction)
    return bool(usual) and parse_unit(usual).dims == given.dims


def _unit_of_K(reaction: Reaction) -> str:
    """The unit of a Kc: mol/L to the power of the coefficients that stand in it, added up."""
    power = sum(reaction.quotient_species.values())
    size = "" if abs(power) == 1 else f"^{abs(power):g}"
    return "" if not power else f"mol{size}/L{size}" if power > 0 else f"L{size}/mol{size}"
