"""Does a parsed catalogue file have the right keys with the right kinds of value? First fault raises, in
one line.

What the keys *mean* (do equations balance, do stresses name what is there) is looked at in ``rules``.
"""

from eqlib.chem.catalogue.errors import complaint, near, suggestion
from eqlib.chem.catalogue.fields import fits
from eqlib.chem.catalogue.shape import DOES, SHAPES, STRESS_KINDS

# Tables inside tables: where found, under which key, which shape, one table or many.
_INSIDE = {
    "file": (
        ("reaction", "reaction", True),
        ("reagent", "reagent", True),
        ("stock", "stock", True),
        ("recipe", "recipe", False),
        ("stress", "stress", True),
        ("spectrum", "spectrum", True),
        ("solid", "solid", True),
    ),
    "reaction": (("constant", "constant", True), ("heat", "heat", False)),
    "stock": (("from", "from", True),),
    "recipe": (("portions", "portion", True),),
    "spectrum": (("bands", "band", True),),
}


def check_shape(path, doc):
    """Raise CatalogueError at the first key of ``doc`` that is missing, unknown or of the wrong kind."""
    _check_table(path, "", "file", doc)


def place(shape, number, table):
    """How a table is named in a complaint: by its key or species, else by its number."""
    name = table.get("key") or table.get("species") or table.get("stock") or table.get("reagent")
    return f"{shape} {name!r}" if isinstance(name, str) else f"{shape} number {number}"


def _check_table(path, where, shape, table):
    _check_keys(path, where, SHAPES[shape], table)
    for key, inner, many in _INSIDE.get(shape, ()):
        inside = table.get(key, [] if many else None)
        if many:
            for number, entry in enumerate(inside, 1):
                _check_table(path, _join(where, place(inner, number, entry)), inner, entry)
                if inner == "stress":
                    _check_does(path, place(inner, number, entry), entry["does"])
        elif inside is not None:
            _check_table(path, _join(where, key), inner, inside)


def _check_keys(path, where, fields, table):
    for key in table:
        if key not in fields:
            closest = near(key, fields)
            mend = f"did you mean {closest!r}?" if closest else "take it out"
            raise complaint(
                path, _join(where, key), "this key is not known here", f"{mend} Known: {', '.join(fields)}"
            )
    for key, field in fields.items():
        if key not in table:
            if field.needed:
                wanted = f"one of: {', '.join(field.words)}" if field.words else _wanted(field)
                raise complaint(path, _join(where, key), "this key is missing", f"add {key} = {wanted}")
            continue
        wanted = fits(field, table[key])
        if wanted:
            raise complaint(path, _join(where, key), f"is {_show(table[key])}", f"write {wanted}")


def _check_does(path, where, does):
    where = _join(where, "does")
    if "kind" not in does:
        raise complaint(
            path, _join(where, "kind"), "this key is missing", f"add one of: {', '.join(STRESS_KINDS)}"
        )
    kind = does["kind"]
    if kind not in DOES:
        raise complaint(
            path, _join(where, "kind"), f"{kind!r} is not a known stress", suggestion(kind, STRESS_KINDS)
        )
    _check_keys(path, where, DOES[kind], {k: v for k, v in does.items() if k != "kind"})


def _wanted(field):
    from eqlib.chem.catalogue.fields import KINDS

    return KINDS[field.kind][1]


def _join(*parts):
    return ", ".join(p for p in parts if p)


def _show(value):
    text = repr(value)
    return text if len(text) <= 60 else text[:57] + "..."
