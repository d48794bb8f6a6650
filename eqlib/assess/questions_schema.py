"""Which keys a question file may hold, and the errors that say so kindly."""

from __future__ import annotations

import difflib
import re
from decimal import Decimal

from eqlib.assess.policy import DEFAULT, Policy, PolicyError
from eqlib.errors import EqlibError

ID = re.compile(r"[A-Za-z0-9][A-Za-z0-9_.-]{0,59}")
KINDS = ("prediction", "number", "ice", "equation", "expression", "order", "explanation", "mixed")
REVEALS = ("after-answer", "after-marking", "never")

_ASSIGNMENT = {"id": str, "title": str, "course": str, "mode": str, "policy": dict}
QUESTION = {
    "id": str,
    "kind": str,
    "points": "number",
    "title": str,
    "prompt": str,
    "system": str,
    "reactions": list,
    "use": list,
    "K": "value",
    "basis": str,
    "numbers": dict,
    "start": dict,
    "stress": (dict, str),
    "measured": dict,
    "cautions_from": list,
    "part": list,
    "policy": dict,
    "mode": str,
    "reveal": str,
    "hints": list,
}
PART = {
    "ask": str,
    "id": str,
    "label": str,
    "help": str,
    "weight": "number",
    "options": list,
    "unit": str,
    "quantity": str,
    "species": str,
    "when": str,
    "tolerance": "number",
    "figures": list,
    "rubric": list,
    "skeleton": str,
    "items": list,
    "code": bool,
    "side": str,
}
#: One entry of ``items``: of an order (by ``stress``), or of a speed (by ``seconds``).
ITEM = {"label": str, "stress": (dict, str), "K": "value", "seconds": "value"}
START = {
    "portions": list,
    "totals": dict,
    "solids": dict,
    "volume_L": "value",
    "celsius": "value",
    "pressure_bar": "value",
    "headspace_L": "value",
}
PORTION = {"of": dict, "of_mM": dict, "mL": "value", "to_mL": "value"}
REACTION = {"text": str, "K": "value", "basis": str, "dH_kJ": "value", "celsius": "value"}
MEASURED = {
    "reading": str,
    "species": str,
    "epsilon": "value",
    "path_cm": "value",
    "blank": "value",
    "nm": "value",
    "decimals": "number",
    "figures": "number",
    "K1": "value",
    "K2": "value",
    "celsius1": "value",
    "celsius2": "value",
    "runs": list,
}
#: The keys of each stress: (needed, optional).
STRESSES = {
    "add_solution": (("mL",), ("of", "of_mM")),
    "dilute": (("mL",), ()),
    "add_solid": (("formula", "mmol"), ()),
    "add": (("species", "mmol"), ()),
    "remove": (("species", "mmol"), ()),
    "heat_to": (("celsius",), ()),
    "change_volume": ((), ("L", "mL")),
    "add_inert": (("mmol", "constant"), ()),
    "catalyse": ((), ()),
}
_STRESS_TYPES = {"of": dict, "of_mM": dict, "formula": str, "species": str, "constant": str}


class QuestionError(EqlibError):
    """A question file that cannot be used: names the file, the question, the key and the mend."""


def near(word: str, known) -> str:
    """ "; did you mean 'x'?" when one of ``known`` is close, else the list of them."""
    close = difflib.get_close_matches(str(word), [str(k) for k in known], n=1, cutoff=0.6)
    return f"; did you mean {close[0]!r}?" if close else f"; it can be {', '.join(str(k) for k in known)}"


def one_of(value, known, where: str, key: str) -> str:
    """``value`` if it is one of ``known``. Raises QuestionError with the nearest name."""
    if value not in known:
        raise QuestionError(f"{where}: {key} is {value!r}{near(value, known)}")
    return value


def check_keys(table, allowed: dict, where: str) -> None:
    """Every key of ``table`` is allowed and holds the right kind of value. Raises QuestionError."""
    if not isinstance(table, dict):
        raise QuestionError(f"{where} is {table!r}; write a table of keys and values")
    for key, value in table.items():
        if key not in allowed:
            raise QuestionError(f"{where}: there is no key {key!r}{near(key, allowed)}")
        if not _fits(value, allowed[key]):
            raise QuestionError(
                f"{where}: {key} is {value!r}; write {_WORDS.get(allowed[key], 'a table or a name')}"
            )


_WORDS = {
    str: "text in quotes",
    dict: "a table { ... }",
    list: "a list [ ... ]",
    bool: "true or false",
    "number": "a number",
    "value": "a number, or the name of one of the question's numbers",
}


def _fits(value, kind) -> bool:
    number = isinstance(value, (int, Decimal)) and not isinstance(value, bool)
    if kind == "number":
        return number
    if kind == "value":
        return number or isinstance(value, str)
    return isinstance(value, kind)


def need(table: dict, keys, where: str) -> None:
    """All of ``keys`` are in ``table``. Raises QuestionError naming the first that is missing."""
    for key in keys:
        if key not in table:
            raise QuestionError(f"{where}: {key} is missing; add a line {key} = ...")


def check_top(data: dict, name: str) -> None:
    """The file holds [assignment] and at least one [[question]]."""
    check_keys(data, {"assignment": dict, "question": list}, name)
    need(data, ("assignment",), name)
    if not data.get("question"):
        raise QuestionError(f"{name}: there is no question; add at least one [[question]]")


def check_assignment(table: dict, name: str) -> dict:
    """The settings of an Assignment."""
    where = f"{name}: [assignment]"
    check_keys(table, _ASSIGNMENT, where)
    need(table, ("id", "title", "course"), where)
    if not ID.fullmatch(table["id"]):
        raise QuestionError(
            f"{where}: id {table['id']!r} should be letters, digits, dots, dashes and underscores"
        )
    mode = one_of(table.get("mode", "assessed"), ("practice", "assessed"), where, "mode")
    policy = read_policy(table.get("policy", {}), DEFAULT, where)
    return {
        "id": table["id"],
        "title": table["title"],
        "course": table["course"],
        "mode": mode,
        "policy": policy,
    }


def read_policy(table: dict, base: Policy, where: str) -> Policy:
    """``base`` with the rules of ``table``. Raises QuestionError."""
    settings = {key: float(value) if isinstance(value, Decimal) else value for key, value in table.items()}
    try:
        return base.changed(**settings)
    except PolicyError as error:
        raise QuestionError(f"{where}: {error}") from None


def check_stress(table, where: str) -> None:
    """A stress table has a known kind and that kind's keys."""
    if isinstance(table, str):
        return
    where = f"{where}, stress"
    need(table, ("kind",), where)
    kind = one_of(table["kind"], STRESSES, where, "kind")
    needed, optional = STRESSES[kind]
    allowed = {key: _STRESS_TYPES.get(key, "value") for key in (*needed, *optional)}
    check_keys({k: v for k, v in table.items() if k != "kind"}, allowed, where)
    need(table, needed, where)
    if kind == "add_solution" and ("of" in table) == ("of_mM" in table):
        raise QuestionError(f"{where}: write what is in the solution once, as of (mol/L) or of_mM (mmol/L)")
    if kind == "change_volume" and ("L" in table) == ("mL" in table):
        raise QuestionError(f"{where}: write the new volume once, as L or as mL")
    if kind == "add_inert":
        one_of(table["constant"], ("volume", "pressure"), where, "constant")
