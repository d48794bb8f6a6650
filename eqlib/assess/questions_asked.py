"""Do the parts of a [[question]], its chemistry and its prompt fit together?"""

from __future__ import annotations

import string

from eqlib.assess.outcome_readings import computed_names
from eqlib.assess.questions_schema import KINDS, QuestionError, near, one_of

_NEEDS_STRESS = ("direction", "seen", "precipitate", "K", "change", "rate", "bound", "cause")
#: Numbers that need no reaction, with the reading each is worked out from.
_FROM_DATA = {"dH": "temperatures", "mean": "runs", "s": "runs", "n": "runs"}


def check_items(parts, ranges, where) -> None:
    """K and seconds of a speed are numbers, or names of the question's numbers."""
    for part in parts:
        for item in part.items if part.ask == "speed" else ():
            for key in ("K", "seconds"):
                if isinstance(item[key], str) and item[key] not in ranges:
                    raise QuestionError(
                        f"{where}: part {part.id!r}: {key} is {item[key]!r}, which is not one of the "
                        "question's numbers; add it under [question.numbers]"
                    )


def check_present(parts, given, reactions, mixture, stress) -> None:
    """What is read or asked about can be in the mixture: a slip in a formula would make it 0. Raises
    QuestionError.
    """
    from eqlib.chem.salts import dissolved

    if mixture is None or not reactions:
        return
    there = {name for reaction in reactions for name in reaction.coefficients} | set(mixture.totals)
    there |= set(dissolved(dict(stress.amounts))) if stress is not None else set()
    wanted = {part.species: f"part {part.id!r}" for part in parts if part.species}
    if "species" in given.get("measured", {}):
        wanted[given["measured"]["species"]] = "measured"
    for name, where in wanted.items():
        if name not in there:
            raise QuestionError(f"{where}: {name} is not in this mixture{near(name, sorted(there))}")


def check_asked(entry, parts, where) -> None:
    """The kind, the chemistry and the stress that the parts need are there. Raises QuestionError."""
    kind = one_of(entry["kind"], KINDS, where, "kind")
    asks = {part.ask for part in parts if part.scored}
    wanted = {
        "prediction": "direction",
        "number": "number",
        "ice": "ice",
        "equation": "equation",
        "expression": "expression",
        "order": "order",
        "explanation": "explain",
    }.get(kind)
    if wanted and wanted not in asks:
        raise QuestionError(
            f"{where}: kind is {kind!r} but no part asks {wanted!r}; add one or change the kind"
        )
    if asks - {"explain", "equation", "speed"} and not ("system" in entry or "reactions" in entry):
        of_data = {part.quantity for part in parts if part.ask == "number"} <= set(_FROM_DATA)
        if not of_data or asks - {"number", "explain", "equation", "speed"}:
            raise QuestionError(f"{where}: there is no chemistry; add system = ... or reactions = [...]")
    if "stress" not in entry and asks & set(_NEEDS_STRESS):
        raise QuestionError(
            f"{where}: asks what a change does, but there is no stress; add [question.stress]"
        )
    if "explain" in asks and len(asks) > 1:
        raise QuestionError(
            f"{where}: a written explanation is marked by a person; give it a question of its own"
        )
    _check_parts(entry, parts, where)


def _check_parts(entry, parts, where) -> None:
    """What single parts need beside them: a reading, a blank, a rubric."""
    for part in parts:
        wanted = _FROM_DATA.get(part.quantity)
        if wanted and entry.get("measured", {}).get("reading") != wanted:
            raise QuestionError(f'{where}: {part.quantity} needs [question.measured], reading = "{wanted}"')
        if part.quantity == "epsilon" and (part.code or "blank" not in entry.get("measured", {})):
            raise QuestionError(
                f'{where}: epsilon needs [question.measured] with reading = "absorbance" and a blank, '
                "and is answered in the form"
            )
        if part.ask == "explain" and not part.rubric:
            raise QuestionError(
                f'{where}: the explanation has no rubric; add rubric = ["what earns points", ...]'
            )


def check_prompt(prompt, ranges, given, parts, where) -> None:
    """Every name in braces is a number of the question, or one that is computed. Raises QuestionError."""
    allowed = set(ranges) | computed_names(given, parts)
    try:
        fields = list(string.Formatter().parse(prompt))
    except ValueError as error:
        raise QuestionError(
            f"{where}: prompt: {error}; write {{{{ and }}}} for braces that are meant as such"
        ) from None
    for _, name, spec, conversion in fields:
        if name is None:
            continue
        if name in allowed and (spec or conversion):
            raise QuestionError(
                f"{where}: prompt: write {{{name}}} alone; numbers are shown as they stand in the file"
            )
        if name not in allowed:
            known = near(name, allowed) if allowed else "; the question has no numbers"
            raise QuestionError(f"{where}: prompt: {{{name}}} is not one of the question's numbers{known}")
