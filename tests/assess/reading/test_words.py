"""Choices in the words people use for them."""

import pytest

from eqlib.assess.asks import read_part
from eqlib.assess.asks.base import Part

DIRECTION = (
    ("forward", "towards the products (to the right, →)"),
    ("reverse", "towards the reactants (to the left, ←)"),
    ("none", "no shift"),
)
SEEN = (("darker", "darker"), ("paler", "paler"), ("same", "the same"))
CONSTANT = (("larger", "K becomes larger"), ("smaller", "K becomes smaller"), ("same", "K stays the same"))
SOLID = (("yes", "yes, a solid forms"), ("no", "no, it stays clear"))
CHANGE = (("higher", "higher"), ("lower", "lower"), ("same", "the same"))
IONS = (("Fe^3+", "Fe³⁺"), ("SCN^-", "SCN⁻"), ("K^+", "K⁺"))

MEANT = [
    (DIRECTION, "forward", [
        "from left to right", "from the reactants to products", "right", "to the products", "->",
        "→", "forwards", "Forward.", "foward", "to the RIGHT",
        "shifts right", "left to right", "more products", "fewer reactants", "-->", "⟶", "fwd",
        "it will shift to the product side", "towards the products (to the right, →)"
    ]),
    (DIRECTION, "reverse", [
        "from right to left", "left", "to the left", "<-", "←", "backwards", "reverse",
        "towards reactants", "right to left",
        "fewer products", "LEFT!", "back to the reactants"
    ]),
    (DIRECTION, "none", [
        "no visible change", "none", "no change", "no shift", "nothing", "it does not shift",
        "it doesn't shift", "unchanged",
        "stays the same", "neither left nor right", "No.", "=", "⇌", "no effect",
        "nothing happens", "nothing moves", "it stays put"
    ]),
    (SEEN, "darker", [
        "more orange", "it turns more blue", "deeper red", "a deeper red", "turns darker red",
        "slightly darker", "more red",
        "darker", "deeper", "more intense", "redder", "it gets darker", "more coloured", "darkens"
    ]),
    (SEEN, "paler", [
        "less orange", "loses its colour", "it lost colour", "bleached", "less red", "goes paler",
        "pale yellow", "a bit paler",
        "paler", "lighter", "less intense", "fades", "pale", "fainter", "lighter in colour", "palerr"
    ]),
    (SEEN, "same", [
        "same", "the same", "no change", "unchanged", "stays the same", "identical", "nothing happens",
        "nothing changes", "no visible change", "stays as it was", "the colour does not change"
    ]),
    (CONSTANT, "larger", [
        "larger", "increases", "goes up", "K increases", "bigger", "↑", "rises"
    ]),
    (CONSTANT, "smaller", [
        "smaller", "decreases", "K gets smaller", "falls", "↓"
    ]),
    (CONSTANT, "same", [
        "K stays 139", "it remains at 0.02",
        "same", "unchanged", "no change", "K doesn't change", "constant", "stays the same"
    ]),
    (SOLID, "yes", [
        "yes", "y", True, "Yes!", "yes, a solid forms"
    ]),
    (SOLID, "no", [
        "no", "n", False, "none", "no, it stays clear", "nothing"
    ]),
    (CHANGE, "higher", [
        "higher", "increases", "up", "more", "rises"
    ]),
    (CHANGE, "lower", [
        "lower", "less", "decreases", "falls", "down"
    ]),
    (IONS, "Fe^3+", [
        "Fe^3+", "Fe3+", "Fe+3", "Fe³⁺", "fe3+", "Fe^{3+}", "Fe", "iron", "iron(III)", "iron (III) ions",
        "the iron ion", "ferric ions"
    ]),
    (IONS, "SCN^-", [
        "SCN-", "scn⁻", "[SCN-]", "thiocyanate", "Thiocyanate ions"
    ]),
]  # fmt: skip
CASES = [(options, value, typed) for options, value, phrases in MEANT for typed in phrases]


def part(options):
    return Part("d", "choice", "direction", "Which way?", options=options)


@pytest.mark.parametrize(("options", "value", "typed"), CASES)
def test_words_are_understood(options, value, typed):
    reading = read_part(part(options), typed)
    assert reading.ok, reading.message
    assert reading.value == value
    assert dict(options)[value] in reading.shown


ASKED_AGAIN = [
    (DIRECTION, [
        "not right", "left and right", "right then left", "less right", "away from the products",
        "maybe", "because of Le Chatelier", "darker", "12", "forward forward reverse", "", "  ", None,
        3.5, [], ["x", "y"], "right " * 100
    ]),
    (SEEN, [
        "not darker", "red", "it changes", "stays red", "brownish", "darker or paler", "cloudy"
    ]),
    (SOLID, [
        "perhaps", "dunno"
    ]),
    (IONS, [
        "Ag+", "gold", "ions", "iron and thiocyanate"
    ]),
]  # fmt: skip


@pytest.mark.parametrize(("options", "typed"), [(o, t) for o, many in ASKED_AGAIN for t in many])
def test_what_is_not_clear_is_asked_again_with_the_choices(options, typed):
    reading = read_part(part(options), typed)
    assert not reading.ok
    assert options[0][1] in reading.message
    assert "\n" not in reading.message


@pytest.mark.parametrize(("options", "value", "typed"), CASES)
def test_reading_the_value_again_changes_nothing(options, value, typed):
    assert read_part(part(options), read_part(part(options), typed).value).value == value


def test_options_that_are_sentences_are_matched_whole():
    reasons = (
        ("q_below_K", "Right after the change Q is smaller than K, so more product has to form."),
        ("two_boxes", "What is added changes only its own side; the other reactant stays as it was."),
    )
    asked = Part("r", "choice", "reason", "Why?", options=reasons)
    assert read_part(asked, "two_boxes").value == "two_boxes"
    assert read_part(asked, reasons[0][1].upper()).value == "q_below_K"
    assert not read_part(asked, "right").ok


def test_written_explanations_are_kept_as_they_are():
    asked = Part("e", "text", "explain", "Explain")
    reading = read_part(asked, "Because Q < K.\nSo more forms.")
    assert reading.value == "Because Q < K.\nSo more forms."
    assert reading.shown == "read as a text of 7 words"
    assert not read_part(asked, " ").ok
    assert not read_part(asked, 3).ok
    assert not read_part(asked, "x" * 10_001).ok


NEAR = (("Ag^+", "Ag⁺"), ("Fe^3+", "Fe³⁺"), ("FeSCN^2+", "FeSCN²⁺"), ("AgCl(s)", "AgCl"))


@pytest.mark.parametrize(
    ("typed", "value"),
    [
        ("iron(III)", "Fe^3+"),
        ("iron thiocyanate", "FeSCN^2+"),
        ("silver chloride", "AgCl(s)"),
        ("silver(I)", "Ag^+"),
        ("iron", None),
        ("silver", None),
    ],
)
def test_a_name_counts_where_only_one_answer_fits(typed, value):
    reading = read_part(part(NEAR), typed)
    assert reading.value == value


def test_an_option_may_be_meant_by_its_label_alone_and_a_list_of_one_is_that_one():
    letters = (("a", "darker"), ("b", "paler"))
    assert read_part(part(letters), "deeper").value == "a"
    assert read_part(part(DIRECTION), ["reverse"]).value == "reverse"
