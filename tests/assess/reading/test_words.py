"""Choices in the words people use for them."""

import pytest

from eqlib.assess.asks.base import Part
from eqlib.assess.mark import read_part
from eqlib.assess.reading.plain import Unreadable
from eqlib.assess.reading.words import read_choice

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


WAYS = [("forward", "to products →"), ("reverse", "← to reactants"), ("none", "no shift")]
LOOKS = [("darker", "darker"), ("paler", "paler"), ("same", "the same")]
SIZES = [("larger", "larger"), ("smaller", "smaller"), ("same", "the same")]
SOLID = [("yes", "yes, a solid forms"), ("no", "no, it stays clear")]
SAID = {
    "forward": (WAYS, "forward forwards right rightwards rightward product products rhs fwd → -> --> => >"),
    "reverse": (
        WAYS,
        (
            "reverse reversed left leftwards leftward back backward backwards reactant reactants lhs "
            "rev ← <- <-- <="
        ),
    ),
    "none": (WAYS, "none same unchanged nothing neither constant unaffected identical nowhere ⇌ <=> <->"),
    "darker": (LOOKS, "darker dark deeper deep stronger strong intense redder bolder darkens darken deepens"),
    "paler": (LOOKS, "paler pale lighter light fainter faint weaker weak fades faded fade lightens lighten"),
    "larger": (
        SIZES,
        (
            "larger higher increase increases increased increasing up rise rises rose bigger greater "
            "big high large more ↑ grow grows"
        ),
    ),
    "smaller": (
        SIZES,
        (
            "smaller lower decrease decreases decreased decreasing down fall falls fell less small "
            "low ↓ drop drops fewer reduced reduces shrinks"
        ),
    ),
    "yes": (SOLID, "yes y true"),
    "no": (SOLID, "no n false"),
}
PHRASES = {
    "forward": (
        WAYS,
        ("from left to right|from the reactants to the products|fewer reactants|more products|less reactant"),
    ),
    "reverse": (
        WAYS,
        ("from right to left|from products to reactants|fewer products|more reactants|lower product"),
    ),
    "none": (
        WAYS,
        (
            "no change|no net change|not affected|does not shift|neither left nor right|stays as it "
            "is|remains put|zero effect|without change|no reaction|no visible difference"
        ),
    ),
    "darker": (
        LOOKS,
        (
            "more intense|more red|more blue|more coloured|more colour|it gets more brown|it becomes "
            "much darker"
        ),
    ),
    "paler": (
        LOOKS,
        (
            "less intense|not as dark|not so red|less coloured|loses colour|losing its "
            "color|bleached|bleaching|more pale|less strong"
        ),
    ),
    "same": (
        SIZES,
        (
            "stays 140|remains at 140|it does not change|k stays the same|isn't changed|won't "
            "change|can't change|doesn't change"
        ),
    ),
    "yes": (SOLID, "a solid forms|a precipitate|white precipitate appears|solid"),
    "no": (SOLID, "no solid|no precipitate|stays clear|remains clear|no cloudiness"),
}


@pytest.mark.parametrize("value", SAID)
def test_every_word_for_an_idea(value):
    options, words = SAID[value]
    for word in words.split():
        assert read_choice(word, options).value == value, word


@pytest.mark.parametrize("value", PHRASES)
def test_every_phrase_for_an_idea(value):
    options, phrases = PHRASES[value]
    for phrase in phrases.split("|"):
        assert read_choice(phrase, options).value == value, phrase


@pytest.mark.parametrize(
    "typed", ["not forward", "never to products", "away from the products", "right and left", "banana", ""]
)
def test_what_is_denied_or_said_twice_is_asked_again(typed):
    with pytest.raises(Unreadable):
        read_choice(typed, WAYS)
