"""Equilibrium expressions in plain notation: "[FeSCN2+]/([Fe3+][SCN-])", "K = p(N2O4)/p(NO2)^2".

Read by our own parser into a tree and named after the reaction's species; nothing is handed to an evaluator.
"""

from eqlib.assess.readers_base import Reading, Unreadable
from eqlib.assess.readers_parser import EXAMPLE, parse_expression
from eqlib.assess.readers_plain import plain
from eqlib.assess.readers_species import match_species
from eqlib.assess.readers_trees import Joined, Power, Term, pretty_expression, terms_of, write_expression


def read_expression(raw, species=()):
    """Read an equilibrium expression. The Reading's value is the expression in one plain notation.

    ``species``: names the brackets may hold (then matched loosely, so that Fe3+ means Fe^3+); without it any
    name is kept as typed. Errors: Unreadable.
    """
    text = plain(raw)
    if not isinstance(text, str):
        raise Unreadable(f"An equilibrium expression is wanted, as text. {EXAMPLE}")
    tree = parse_expression(text)
    notes = ()
    if species:
        tree, notes = resolve(tree, species)
    if _product_after_quotient(tree):
        notes = (*notes, "only what comes right after / is under the line; use brackets to put more there")
    written = write_expression(tree)
    extra = f" ({'; '.join(notes)})" if notes else ""
    return Reading(True, written, f"read as {pretty_expression(written)}{extra}", notes=tuple(notes))


def _product_after_quotient(tree):
    """Does the tree hold [C]/[A]*[B], where the [B] may have been meant to be under the line?"""
    if isinstance(tree, Power):
        return _product_after_quotient(tree.base)
    if not isinstance(tree, Joined):
        return False
    here = tree.sign == "*" and isinstance(tree.left, Joined) and tree.left.sign == "/"
    return here or _product_after_quotient(tree.left) or _product_after_quotient(tree.right)


def resolve(tree, species):
    """The tree with every name replaced by the one of ``species`` it means, and notes. Errors: Unreadable."""
    notes, known = [], {}
    for term in terms_of(tree):
        found, note = match_species(term.name, species)
        if found is None:
            raise Unreadable(_stranger(term.name, note, species))
        known[term.name] = found
        if note:
            notes.append(note)
    return _renamed(tree, known), tuple(dict.fromkeys(notes))


def _stranger(name, reason, species):
    listed = ", ".join(species)
    if reason == "more than one":
        return (
            f"[{name[:40]}] could mean more than one of {listed}. Please write it with its charge or phase."
        )
    return f"[{name[:40]}] is not one of the species here, which are {listed}. Please check its formula."


def _renamed(tree, known):
    if isinstance(tree, Term):
        return Term(known[tree.name], tree.kind)
    if isinstance(tree, Power):
        return Power(_renamed(tree.base, known), tree.power)
    if isinstance(tree, Joined):
        return Joined(tree.sign, _renamed(tree.left, known), _renamed(tree.right, known))
    return tree
