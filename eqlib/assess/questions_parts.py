"""One [[question.part]] of a question file, checked and completed with plain wording."""

from __future__ import annotations

from decimal import Decimal

from eqlib.assess.kinds import ASKS, MOMENTS, QUANTITIES, Part
from eqlib.assess.kinds_reasons import SAID, SOUND, known_reason, reason_label, shuffled
from eqlib.assess.questions_schema import ID, ITEM, PART, QuestionError, check_keys, need, one_of
from eqlib.errors import EqlibError

CHOICES = {
    "direction": (
        ("forward", "towards the products (to the right, →)"),
        ("reverse", "towards the reactants (to the left, ←)"),
        ("none", "no shift"),
    ),
    "seen": (("darker", "darker"), ("paler", "paler"), ("same", "the same")),
    "precipitate": (("yes", "yes, a solid forms"), ("no", "no, it stays clear")),
    "K": (("larger", "K becomes larger"), ("smaller", "K becomes smaller"), ("same", "K stays the same")),
    "change": (("higher", "higher"), ("lower", "lower"), ("same", "the same")),
    "rate": (
        ("up", "faster than before"),
        ("down", "slower than before"),
        ("same", "as fast as before"),
        ("zero", "it stands still"),
    ),
    "graph": (
        ("falls", "It starts high, falls, and stays level above zero."),
        ("rises", "It starts low, rises, and stays level at its highest."),
        ("level", "It is level from start to end."),
        ("stops", "It falls to zero and stays there."),
    ),
    "confidence": (
        ("guess", "a guess"),
        ("unsure", "not very sure"),
        ("fairly", "fairly sure"),
        ("certain", "certain"),
    ),
}
LABELS = {
    "direction": "Which way does the equilibrium shift?",
    "seen": "Compared with before, the colour will be",
    "precipitate": "Does a solid form?",
    "K": "What happens to the equilibrium constant K?",
    "bound": "Which particle of the mixture is tied up by what was added?",
    "cause": "Which of the particles that were added makes the equilibrium shift?",
    "reason": "Which sentence explains it best?",
    "confidence": "How sure are you? (This is never marked.)",
    "ice": "Fill in the table, row by row (mol/L)",
    "equation": "Balance the equation",
    "expression": "Write the equilibrium expression K",
    "order": "Put these in order",
    "speed": "Put these in order, the fastest first",
    "explain": "Explain in your own words",
}
HELP = {
    "number": "Type a number, for example 0.0025 or 2.5e-3; a unit may follow.",
    "ice": "Loss is negative in the change row.",
    "expression": "For example [C]^2/([A]*[B]).",
    "equation": "Type the whole equation, with an arrow in the middle.",
}


def build_part(table, where: str, question: str) -> Part:
    """A Part from its table. Raises QuestionError."""
    check_keys(table, PART, where)
    need(table, ("ask",), where)
    ask = one_of(table["ask"], ASKS, where, "ask")
    where = f"{where} ({ask})"
    name = table.get("id", _default_id(ask, table))
    if not ID.fullmatch(name):
        raise QuestionError(f"{where}: id {name!r} should be letters, digits, dots, dashes and underscores")
    weight = float(table.get("weight", 0 if ask == "confidence" else 1))
    if weight < 0 or (ask == "confidence" and weight):
        raise QuestionError(
            f"{where}: weight is {weight:g}; write 0 or more (and leave it out for confidence)"
        )
    quantity = _quantity(table, ask, where)
    species = _species(table, ask, quantity, where)
    side = _side(table, ask, where)
    when = _when(table, ask, quantity, where)
    return Part(
        id=name,
        kind=ASKS[ask],
        ask=ask,
        label=table.get("label") or _label(ask, quantity, species, when, side),
        options=_options(table, ask, where, question),
        unit=table.get("unit", QUANTITIES[quantity][0] if quantity else "mol/L" if ask == "ice" else ""),
        weight=weight,
        help=table.get("help", HELP.get(ask, "")),
        quantity=quantity,
        species=species,
        when=when,
        tolerance=_tolerance(table, where),
        figures=_figures(table, where),
        rubric=texts(table, "rubric", where),
        skeleton=_skeleton(table, ask, where),
        items=tuple(table.get("items", ())),
        code=table.get("code", False),
        side=side,
    )


def _default_id(ask: str, table: dict) -> str:
    if ask == "number":
        return str(table.get("quantity", "number"))
    if ask in ("rate", "graph"):
        return f"{table.get('side', 'forward')}-{ask}"
    return ask


def _label(ask, quantity, species, when, side) -> str:
    if ask == "rate":
        moment = "right after the change" if when == "at_once" else "once the new equilibrium is reached"
        return f"The {side} reaction, {moment}, is"
    if ask == "graph":
        begin = "mixing" if when == "before" else "the change"
        return f"A graph of the rate of the {side} reaction against time, from {begin} to equilibrium and on:"
    if ask == "change":
        return f"Compared with before, the concentration of {_unicode(species)} will be"
    if ask != "number":
        return LABELS[ask]
    if quantity == "concentration":
        times = {"mixed": "just after mixing, before any reaction", "at_once": "at once, before any shift"}
        times |= {"before": "at equilibrium", "after": "at the new equilibrium"}
        return f"Concentration of {_unicode(species)} {times[when]}"
    names = {
        "K": "K",
        "Kp": "Kp",
        "Q": "The reaction quotient Q",
        "extent": "x, the concentration that has reacted",
    }
    names |= {"absorbance": "The absorbance", "dH": "The reaction enthalpy ΔH"}
    names |= {"epsilon": "The molar absorptivity ε", "mean": "The mean", "n": "The number of results, n"}
    names |= {"s": "Their standard deviation, s"}
    return names[quantity]


def _unicode(name: str) -> str:
    from eqlib.chem.species import species

    return species(name).unicode


def _quantity(table, ask, where) -> str:
    if ask != "number":
        for key in ("quantity", "code"):
            if key in table:
                raise QuestionError(f'{where}: {key} belongs to ask = "number"; remove it here')
        return ""
    need(table, ("quantity",), where)
    return one_of(table["quantity"], QUANTITIES, where, "quantity")


def _species(table, ask, quantity, where) -> str:
    wanted = ask in ("change", "order") or quantity in ("concentration", "absorbance")
    if "species" not in table:
        if ask == "change" or quantity == "concentration":
            raise QuestionError(f"{where}: species is missing; say whose concentration is asked")
        return ""
    if not wanted:
        raise QuestionError(f"{where}: species does nothing here; remove it")
    return read_species(table["species"], where)


def read_species(text: str, where: str) -> str:
    """The canonical name of a species of a question file. Raises QuestionError."""
    from eqlib.chem.species import canonical

    try:
        return canonical(text)
    except EqlibError as error:
        raise QuestionError(f"{where}: {error}") from None


def _side(table, ask, where) -> str:
    """Whose rate is asked."""
    if ask not in ("rate", "graph"):
        if "side" in table:
            raise QuestionError(f"{where}: side does nothing here; remove it")
        return ""
    return one_of(table.get("side", "forward"), ("forward", "reverse"), where, "side")


def _when(table, ask, quantity, where) -> str:
    default = {"Q": "at_once", "concentration": "before", "absorbance": "before"}.get(quantity, "")
    default = {"order": "after", "rate": "at_once", "graph": "before"}.get(ask, default)
    allowed = {"rate": ("at_once", "after"), "graph": ("before", "after")}.get(ask, MOMENTS)
    if "when" in table:
        if not default:
            raise QuestionError(f"{where}: when does nothing here; remove it")
        return one_of(table["when"], allowed, where, "when")
    return default


def _options(table, ask, where, question) -> tuple[tuple[str, str], ...]:
    if ask == "reason":
        need(table, ("options",), where)
        names = texts(table, "options", where)
        for name in names:
            if not known_reason(name):
                known = (*SOUND, *SAID, "binds:SPECIES")
                one_of(name, known, where, "an option")
        if len(set(names)) != len(names) or len(names) < 2:
            raise QuestionError(f"{where}: options needs at least two different reasons")
        names = [f"binds:{read_species(n[6:], where)}" if n.startswith("binds:") else n for n in names]
        return tuple((name, reason_label(name)) for name in shuffled(question, names))
    if ask in ("bound", "cause"):
        return _species_options(table, where, question)
    if "options" in table:
        raise QuestionError(f'{where}: options belongs to ask = "reason", "bound" or "cause"; remove it here')
    if ask in ("order", "speed"):
        return _item_options(table, ask, where)
    return CHOICES.get(ask, ())


def _species_options(table, where, question) -> tuple[tuple[str, str], ...]:
    """Species to pick from, in an order that gives nothing away."""
    need(table, ("options",), where)
    names = [read_species(name, where) for name in texts(table, "options", where)]
    if len(set(names)) != len(names) or len(names) < 2:
        raise QuestionError(f"{where}: options needs at least two different species")
    return tuple((name, _unicode(name)) for name in shuffled(question, names))


def _item_options(table, ask, where) -> tuple[tuple[str, str], ...]:
    wanted = "stress = ..." if ask == "order" else "K = ..., seconds = ..."
    items = table.get("items", ())
    for number, item in enumerate(items, start=1):
        check_keys(item, ITEM, f"{where}, item number {number}")
        if ask == "speed":
            need(item, ("label", "K", "seconds"), f"{where}, item number {number}")
    labels = [item.get("label") for item in items]
    if len(labels) < 3 or len(set(labels)) != len(labels) or None in labels:
        raise QuestionError(f"{where}: items needs at least three entries {{ label = ..., {wanted} }}")
    return tuple((label, label) for label in labels)


def _tolerance(table, where) -> float | None:
    if "tolerance" not in table:
        return None
    value = float(table["tolerance"])
    if not 0 < value <= 0.5:
        raise QuestionError(
            f"{where}: tolerance is {value:g}; write a fraction up to 0.5, such as 0.02 for 2 %"
        )
    return value


def _figures(table, where) -> tuple[int, int] | None:
    if "figures" not in table:
        return {"n": (1, 3), "s": (1, 4)}.get(table.get("quantity"))
    value = table["figures"]
    if len(value) != 2 or any(type(n) is not int for n in value) or not 1 <= value[0] <= value[1]:
        raise QuestionError(f"{where}: figures is {value!r}; write [fewest, most], such as [2, 4]")
    return tuple(value)


def texts(table, key, where) -> tuple[str, ...]:
    """The lines under ``key``, () when there are none. Raises QuestionError if one is not a text."""
    value = table.get(key, [])
    if any(not isinstance(line, str) or not line.strip() for line in value):
        raise QuestionError(f"{where}: {key} should be a list of texts")
    return tuple(value)


def _skeleton(table, ask, where) -> str:
    if ask != "equation":
        if "skeleton" in table:
            raise QuestionError(f'{where}: skeleton belongs to ask = "equation"; remove it here')
        return ""
    need(table, ("skeleton",), where)
    return table["skeleton"]


def decimal(value) -> float:
    """A TOML number as a float."""
    return float(value) if isinstance(value, (Decimal, int)) else value
