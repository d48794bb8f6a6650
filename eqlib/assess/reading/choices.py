"""A choice, and an order of options: by their value, or in the words they are shown with."""

from __future__ import annotations

from collections.abc import Sequence

from eqlib.assess.reading.plain import Reading, Unreadable, plain, quote, tidy

#: An option: its value and its label.
Pair = tuple[str, str]


def read_choice(raw: object, options: Sequence[Pair], name: str = "This answer") -> Reading:
    """Read a choice among ``options``. The Reading's value is that of an option. Errors: Unreadable, listing
    what would do.
    """
    value = plain(raw)
    shown = "; ".join(label.rstrip(".") for _, label in options[:12]) + ("; …" if len(options) > 12 else "")
    if value is None or (isinstance(value, str) and not value.strip()):
        raise Unreadable(f"{name} is still empty. Please choose one of: {shown}.")
    if not isinstance(value, str):
        raise Unreadable(f"{name} wants one choice. Please choose one of: {shown}.")
    exact = [option for option in options if value in option]
    found = exact or [option for option in options if _folded(value) in map(_folded, option)]
    if len({chosen for chosen, _ in found}) != 1:
        raise Unreadable(
            f"{quote(value)} could not be matched to one of the choices. Please choose one of: {shown}."
        )
    return Reading(True, found[0][0], f"read as {quote(found[0][1], 200)}")


def _folded(text: str) -> str:
    """Lower case, one blank between words, no full stop: for comparing with the options themselves."""
    return tidy(text).casefold().strip(" .!\"'()")


def read_order(raw: object, options: Sequence[Pair]) -> Reading:
    """Read an order of ``options``: a list of them. The Reading's value is the list of their values. Errors:
    Unreadable.
    """
    value = plain(raw)
    if not isinstance(value, list) or not value:
        listed = ", ".join(option for option, _ in options)
        raise Unreadable(f"The order is still empty, or no list. Please put these in order: {listed}.")
    chosen = [read_choice(place, options, "One of the places").value for place in value]
    twice = next((place for place in chosen if chosen.count(place) > 1), None)
    if twice is not None:
        raise Unreadable(f"{quote(twice)} stands in more than one place. Please use each of them once.")
    left = [label for option, label in options if option not in chosen]
    if left:
        raise Unreadable(f"Not yet in the order: {', '.join(left)[:120]}. Please give each of them a place.")
    return Reading(True, chosen, f"read as {', '.join(dict(options)[place] for place in chosen)}")
