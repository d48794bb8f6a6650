"""Choices and orders: what a form records, and the words that are shown with it."""

import pytest

from eqlib.assess.asks.base import Part
from eqlib.assess.mark import read_part
from eqlib.assess.reading.choices import read_choice, read_order
from eqlib.assess.reading.plain import Unreadable

DIRECTION = (
    ("forward", "towards the products (to the right, →)"),
    ("reverse", "towards the reactants (to the left, ←)"),
    ("none", "no shift"),
)
IONS = (("Fe^3+", "Fe³⁺"), ("SCN^-", "SCN⁻"), ("K^+", "K⁺"))


def part(options):
    return Part("d", "choice", "direction", "Which way?", options=options)


@pytest.mark.parametrize(
    ("options", "value", "typed"),
    [
        (DIRECTION, "forward", "forward"),
        (DIRECTION, "forward", " Forward. "),
        (DIRECTION, "forward", "towards the products (to the right, →)"),
        (DIRECTION, "none", "NO SHIFT!"),
        (IONS, "SCN^-", "SCN^-"),
        (IONS, "Fe^3+", "Fe³⁺"),
    ],
)
def test_an_option_is_meant_by_its_value_or_by_its_label(options, value, typed):
    reading = read_part(part(options), typed)
    assert reading.ok, reading.message
    assert reading.value == value
    assert dict(options)[value] in reading.shown
    assert read_part(part(options), reading.value).value == value


@pytest.mark.parametrize(
    ("options", "typed"),
    [
        *(
            (DIRECTION, typed)
            for typed in (
                *("not right", "left and right", "maybe", "darker", "12", "forward forward reverse"),
                *("", "  ", None, 3.5, [], ["x", "y"], "right " * 100),
            )
        ),
        *((IONS, typed) for typed in ("Ag+", "gold", "ions", "iron and thiocyanate")),
    ],
)
def test_what_is_not_clear_is_asked_again_with_the_choices(options, typed):
    reading = read_part(part(options), typed)
    assert not reading.ok
    assert options[0][1] in reading.message
    assert "\n" not in reading.message


def test_options_that_are_sentences_are_matched_whole():
    reasons = (
        ("q_below_K", "Right after the change Q is smaller than K, so more product has to form."),
        ("two_boxes", "What is added changes only its own side; the other reactant stays as it was."),
    )
    asked = Part("r", "choice", "reason", "Why?", options=reasons)
    assert read_part(asked, "two_boxes").value == "two_boxes"
    assert read_part(asked, reasons[0][1].upper()).value == "q_below_K"
    assert not read_part(asked, "right").ok


def test_two_options_that_look_alike_are_told_apart_by_their_capitals():
    alike = (("a", "k"), ("b", "K"))
    assert read_choice("K", alike).value == "b"
    assert read_choice("k", alike).value == "a"
    with pytest.raises(Unreadable, match="could not be matched"):
        read_choice(" k", alike)


def test_written_explanations_are_kept_as_they_are():
    asked = Part("e", "text", "explain", "Explain")
    reading = read_part(asked, "Because Q < K.\nSo more forms.")
    assert reading.value == "Because Q < K.\nSo more forms."
    assert reading.shown == "read as a text of 7 words"
    assert not read_part(asked, " ").ok
    assert not read_part(asked, 3).ok
    assert not read_part(asked, "x" * 10_001).ok


ITEMS = [("mix", "mix the two"), ("read", "read the meter"), ("wait", "wait a minute")]


@pytest.mark.parametrize("raw", [["mix", "wait", "read"], ["mix the two", "wait a minute", "read the meter"]])
def test_an_order_is_a_list_of_what_is_chosen_from(raw):
    read = read_order(raw, ITEMS)
    assert read.value == ["mix", "wait", "read"]
    assert read.shown == "read as mix the two, wait a minute, read the meter"


@pytest.mark.parametrize(
    ("raw", "says"),
    [
        ("", "still empty"),
        ([], "still empty"),
        (None, "still empty"),
        (3, "still empty"),
        ({"mix": 1}, "still empty"),
        (["mix", "wait"], "Not yet in the order: read the meter"),
        (["mix", "mix", "read"], "“mix” stands in more than one place"),
        (["mix", "wait", "stir"], "stir"),
        (["mix", "wait", "read", "mix"], "more than one place"),
        ([1, 2, 3], "One of the places wants one choice"),
    ],
)
def test_an_order_that_is_not_one(raw, says):
    with pytest.raises(Unreadable, match=says):
        read_order(raw, ITEMS)
