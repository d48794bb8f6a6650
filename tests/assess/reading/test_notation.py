"""Equilibrium expressions in plain notation, and the small alphabet that typed text is put into."""

import pytest

from eqlib.assess.reading.equations import read_equation
from eqlib.assess.reading.expressions import (
    parse_expression,
    pretty_expression,
    read_expression,
    write_expression,
)
from eqlib.assess.reading.plain import MAX_TEXT, Unreadable, one_line, quote, tidy, too_long


@pytest.mark.parametrize(
    ("typed", "written"),
    [
        ("[C]/([A][B])", "[C]/([A]*[B])"),
        ("[C]/[A][B]", "[C]/([A]*[B])"),  # what stands side by side belongs together
        ("[C]/[A]*[B]", "[C]/[A]*[B]"),
        ("[C] : [A]", "[C]/[A]"),
        ("[A]·[B]", "[A]*[B]"),
        ("[A] x [B]", "[A]*[B]"),
        ("[A] X [B]", "[A]*[B]"),
        ("[A] times [B]", "[A]*[B]"),
        ("[A] multiplied by [B]", "[A]*[B]"),
        ("[C] over [A]", "[C]/[A]"),
        ("[C] divided by [A]", "[C]/[A]"),
        ("[A] squared", "[A]^2"),
        ("[A] cubed", "[A]^3"),
        ("[A]**2", "[A]^2"),
        ("[A]2", "[A]^2"),
        ("[A]^(1/2)", "[A]^(1/2)"),
        ("[A]^(-2)", "[A]^-2"),
        ("[A]^-1", "[A]^-1"),
        ("[A]^+2", "[A]^2"),
        ("K = [A]", "[A]"),
        ("Kc = [A]", "[A]"),
        ("K_{eq} = [A]", "[A]"),
        ("Q is [A]", "[A]"),
        ("K: [A]", "[A]"),
        ("[A] = K", "[A]"),
        ("[A]_eq/[B]_{eq}", "[A]/[B]"),
        ("c(A)/c_(B)", "[A]/[B]"),
        ("{A}/{B}", "[A]/[B]"),
        ("p(N2O4)/p(NO2)^2", "p(N2O4)/p(NO2)^2"),
        ("P_{N2O4}/pNO2^2", "p(N2O4)/p(NO2)^2"),
        ("\\frac{[C]}{[A][B]}", "[C]/([A]*[B])"),
        ("$[A] \\times [B]$", "[A]*[B]"),
        ("([A] + [B])^2", "([A] + [B])^2"),
        ("[A] - ([B] + [C])", "[A] - ([B] + [C])"),
        ("[A] - [B] + [C]", "[A] - [B] + [C]"),
        ("([A] + [B])*[C]", "([A] + [B])*[C]"),
        ("[A]*([B] + [C])", "[A]*([B] + [C])"),
        ("[A]*([B]*[C])", "[A]*([B]*[C])"),
        ("[A]/([B]/[C])", "[A]/([B]/[C])"),
        ("2[A]", "2*[A]"),
    ],
)
def test_an_expression_in_one_plain_notation(typed, written):
    tree = parse_expression(typed)
    assert write_expression(tree) == written
    assert parse_expression(written) == tree


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ("", "still empty"),
        ("[A", "opened and not closed"),
        ("[A)", "opened and not closed"),
        ("[]", "does not hold the name"),
        ("[" + "A" * 61 + "]", "does not hold the name"),
        ("2/3", "holds no concentration"),
        ("[A] = [B]", "equals sign inside"),
        ("A/B", "outside square brackets"),
        ("[A] & [B]", "The sign “&”"),
        ("[A] /", "the end comes where"),
        ("/ [A]", "/ comes where"),
        ("([A]", "the end comes where"),
        ("[A] )", "\\) comes where"),
        ("[A]^[B]", "could not be read"),
        ("[A]^(1/0)", "could not be read"),
        ("[A]^13", "larger or odder"),
        ("[A]^(1/5)", "larger or odder"),
        ("([A][B])^(1/2)", "only on one concentration"),
        ("[A]^12*[B]^12*[C]", "powers .* are larger"),
        ("(" * 21 + "[A]" + ")" * 21, "too many brackets"),
        ("[A]+" * 80, "longer than|more parts"),
        ("+".join(["[A]"] * 62), "more parts"),
    ],
)
def test_what_is_no_expression_is_asked_for_again(typed, says):
    with pytest.raises(Unreadable, match=says):
        parse_expression(typed)


def test_limits_from_below():
    assert write_expression(parse_expression("[A]^12*[B]^12")) == "[A]^12*[B]^12"
    assert write_expression(parse_expression("[A]^(1/4)")) == "[A]^(1/4)"
    assert write_expression(parse_expression("(" * 19 + "[A]" + ")" * 19)) == "[A]"
    assert write_expression(parse_expression("[" + "A" * 60 + "]")) == "[" + "A" * 60 + "]"
    assert write_expression(parse_expression("0,5 [A]")) == "(1/2)*[A]"
    with pytest.raises(Unreadable, match="longer than"):
        parse_expression("+".join(["[" + "B" * 47 + "]"] * 6 + ["[CC]", "[CC]"]))  # 303 letters


@pytest.mark.parametrize(
    ("written", "shown"),
    [
        ("[Fe^3+]*[SCN^-]", "[Fe³⁺]·[SCN⁻]"),
        ("[A]^2/[B]^-1", "[A]²/[B]⁻¹"),
        ("[SO4^2-]", "[SO4²⁻]"),
    ],
)
def test_an_expression_in_print(written, shown):
    assert pretty_expression(written) == shown


IRON = ("Fe^3+", "SCN^-", "FeSCN^2+")


@pytest.mark.parametrize(
    ("typed", "value"),
    [
        ("[FeSCN2+]/([Fe3+][SCN-])", "[FeSCN^2+]/([Fe^3+]*[SCN^-])"),
        ("[FeSCN]2+/([Fe]3+[SCN]-)", "[FeSCN^2+]/([Fe^3+]*[SCN^-])"),
        ("FeSCN2+/(Fe3+ * SCN-)", "[FeSCN^2+]/([Fe^3+]*[SCN^-])"),
        ("[fescn^2+]", "[FeSCN^2+]"),
        ("c(FeSCN2+)/c(Fe3+)", "[FeSCN^2+]/[Fe^3+]"),
    ],
)
def test_brackets_are_named_after_the_species(typed, value):
    assert read_expression(typed, IRON).value == value


def test_what_was_taken_for_granted_is_said():
    read = read_expression("[FeSCN]/[SCN]*[Fe3+]", IRON)
    assert read.value == "[FeSCN^2+]/[SCN^-]*[Fe^3+]"
    assert "the charge of FeSCN taken as meant" in read.notes
    assert "only what comes right after / is under the line; use brackets to put more there" in read.notes
    assert read.shown.startswith("read as [FeSCN²⁺]/[SCN⁻]·[Fe³⁺] (")
    assert read_expression("[FeSCN^2+]", IRON).notes == ()


@pytest.mark.parametrize(
    ("typed", "names", "says"),
    [
        ("[Cu2+]", IRON, "is not one of the species here, which are Fe.3., SCN.-, FeSCN.2."),
        ("[Fe]", ("Fe^2+", "Fe^3+"), "could mean more than one of Fe.2., Fe.3."),
        (7, IRON, "is wanted, as text"),
    ],
)
def test_a_stranger_in_an_expression(typed, names, says):
    with pytest.raises(Unreadable, match=says):
        read_expression(typed, names)


@pytest.mark.parametrize(
    ("typed", "numbers"),
    [
        ("N2(g) + 3 H2(g) -> 2 NH3(g)", {"N2(g)": -1, "H2(g)": -3, "NH3(g)": 2}),
        ("1/2 N2(g) + 3/2 H2(g) -> NH3(g)", {"N2(g)": -0.5, "H2(g)": -1.5, "NH3(g)": 1}),
    ],
)
def test_coefficients_are_whole_numbers_where_they_are_whole(typed, numbers):
    read = read_equation(typed, ["N2(g)", "H2(g)", "NH3(g)"], 2).value
    assert read == numbers
    assert {name: type(value) for name, value in read.items()} == {
        name: type(value) for name, value in numbers.items()
    }


# -- typed text -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("typed", "meant"),
    [
        ("1,4·10²", "1,4·10^2"),
        ("Fe³⁺", "Fe^3+"),
        ("6.9 × 10⁻⁵", "6.9 * 10^-5"),
        ("SO₄²⁻", "SO4^2-"),
        ("x⁽²⁾", "x^(2)"),
        ("H₂₍g₎", "H2(g)"),
        ("a^²", "a^2"),
        ("‐‑‒–—―−﹣－", "---------"),
        ("×✕✖⨯∗＊⨉", "*******"),
        ("·⋅∙•‧・", "······"),
        ("’‘ʼ′`", "'''''"),
        ("“”„«»", '"""""'),
        ("→⟶➔➜⟹⇒➡", "→→→→→→→"),
        ("←⟵⟸⇐⬅", "←←←←←"),
        ("⇌⇋⇄⇆↔⟷⟺⇔", "⇌⇌⇌⇌⇌⇌⇌⇌"),
        ("⁄∕÷", "///"),
        ("١٤٫٥", "14.5"),
        ("µm", "μm"),
        ("mℓ", "mL"),
        ("≃≅", "≈≈"),
        ("∼", "~"),
        ("a\u00a0b\tc\nd", "a b c d"),
        ("  a   b ", "a b"),
        ("a\x7fb\x1fc", "a b c"),
        ("a~b", "a~b"),
        ("a\u200bb\u0301", "ab"),
        ("ﬁ", "fi"),
        ("é", "é"),
    ],
)
def test_typed_text_in_a_small_alphabet(typed, meant):
    assert tidy(typed) == meant


def test_text_is_cut_and_quoted():
    assert one_line("a\nb\u200bc") == "a b c"
    assert one_line("x" * 400) == "x" * 400
    assert one_line("x" * 401) == "x" * 399 + "…"
    assert quote("x" * 41) == "“" + "x" * 39 + "…”"
    assert quote("x" * 40) == "“" + "x" * 40 + "”"
    assert tidy("x" * 10_001) == "x" * 10_000
    assert not too_long("x" * MAX_TEXT)
    assert too_long("x" * (MAX_TEXT + 1))
    assert too_long("é" * (MAX_TEXT // 2 + 1))
    assert not too_long("é" * (MAX_TEXT // 2))
    assert MAX_TEXT == 10_000
