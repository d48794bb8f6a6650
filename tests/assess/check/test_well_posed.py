"""Where a question becomes unsafe: every limit of the check held from both sides, by numbers worked by hand.

Most of them stand on two isomers, cyanic acid A (HOCN) and isocyanic acid B (HNCO), with an invented K = 4:
of 1 mol there are 0.2 mol A and 0.8 mol B at equilibrium, and of s mol A added four fifths turn into B.
"""

import pytest
from one_question import part, question

from eqlib.assess.check.question import check_question, doubtful_shifts

ISOMERS = 'reactions = [{ text = "HOCN <=> HNCO", K = "k" }]\nnumbers = { k = 4 }\n'


def lines(made, samples=4):
    return check_question(made, samples)


def isomers(*rest, a=1.0, b=0.0):
    return question(
        ISOMERS, f"[question.start]\ntotals = {{ HOCN = {a}, HNCO = {b} }}\nvolume_L = 1\n", *rest
    )


def more_A(mmol):
    return f'[question.stress]\nkind = "add"\nspecies = "HOCN"\nmmol = {mmol}\n'


DIRECTION = part('ask = "direction"')


@pytest.mark.parametrize(("mmol", "clear"), [(7.0, False), (9.0, True)])
def test_a_shift_of_less_than_three_per_cent_is_refused(mmol, clear):
    """A falls by 0.8 s from 0.2 + s: 2.7 % for 7 mmol, 3.4 % for 9 mmol."""
    found = lines(isomers(more_A(mmol), DIRECTION))
    expected = (
        [] if clear else ["the shift is smaller than 3 %; make the change larger (in 1 of 1 sets of numbers)"]
    )
    assert found == expected


@pytest.mark.parametrize(
    ("Q", "clear"), [(4 * 0.88, True), (4 * 0.93, False), (4 * 1.07, False), (4 * 1.12, True)]
)
def test_a_fresh_mixture_must_stand_a_tenth_off_K(Q, clear):
    made = isomers(DIRECTION, a=0.1, b=0.1 * Q)
    expected = "Q of the mixture is too close to K; choose other numbers (in 1 of 1 sets of numbers)"
    assert lines(made) == ([] if clear else [expected])


@pytest.mark.parametrize(
    ("mmol", "says"),
    [
        (20, ["the concentration of HNCO changes by less than 3 %; make the change larger"]),  # 2/102
        (40, []),  # 4/104 = 3.8 %
    ],
)
def test_a_concentration_must_change_by_three_per_cent(mmol, says):
    """B grows in the share in which the whole does."""
    found = lines(isomers(more_A(mmol), part('ask = "change"\nspecies = "HNCO"')))
    assert [line.partition(" (in ")[0] for line in found] == says


def test_what_stays_the_same_may_be_asked_about():
    dilution = '[question.stress]\nkind = "catalyse"\n'
    assert lines(isomers(dilution, part('ask = "change"\nspecies = "HNCO"'))) == []


def test_a_species_that_is_not_there_is_not_asked_about():
    both = ISOMERS.replace('k" }]', 'k" }, { text = "HCN <=> H^+ + CN^-", K = 6e-10 }]')
    made = question(both, START, more_A(40), part('ask = "change"\nspecies = "CN^-"'))
    assert [line.partition(" (in ")[0] for line in lines(made)] == ["CN^- is not there at all"]


# -- thousands more, all at once ---------------------------------------------------------------------------


def poured(a, b):
    """0.1 L of a solution of A and B (mol/L) into 1 L."""
    return f'[question.stress]\nkind = "add_solution"\nof = {{ HOCN = {a}, HNCO = {b} }}\nmL = 100\n'


def with_range(span, stress):
    text = ISOMERS + f"[question.numbers]\na = {span}\n"
    return question(text.replace("numbers = { k = 4 }\n", "").replace('"k"', "4"), START, stress, DIRECTION)


START = "[question.start]\ntotals = { HOCN = 1.0 }\nvolume_L = 1\n"


def test_a_shift_that_goes_both_ways_is_refused():
    """With 1 mol/L B, a solution of 0.1 mol/L A holds too little A for K = 4, one of 0.9 too much."""
    found = doubtful_shifts(with_range("[0.1, 0.9, 0.8]", poured('"a"', 1.0)), 40, 1e-4)
    assert found == [
        "the shift goes one way for some students and the other way for others; narrow the ranges"
    ]
    assert doubtful_shifts(with_range("[0.5, 0.9, 0.4]", poured('"a"', 1.0)), 40, 1e-4) == []


@pytest.mark.parametrize(("clear", "bad"), [(0.04, 2), (0.02, 1), (0.005, 0)])
def test_how_many_shifts_are_not_clear_is_counted(clear, bad):
    """Of 0.1 L with 0.1 or 0.4 mol/L A, four fifths turn into B: 8 and 32 mmol beside 0.8 mol: 1 %, 3.8 %."""
    found = doubtful_shifts(with_range("[0.1, 0.4, 0.3]", poured('"a"', 0.0)), 40, clear)
    says = f"the shift is not clear in {bad} of 2 further sets of numbers; change the amounts"
    assert found == ([says] if bad else [])


def test_beside_acid_that_is_added_the_solid_tells_the_shift():
    """1 mmol/L Bi in 0.1 M HCl: [Bi3+] = 0.1²/(1e4 × 0.1) = 1e-5, so 99 % is BiOCl. As much 6 M acid again:
    [Bi3+] = 3²/(1e4 × 3) = 3e-4 of 5e-4: more than half dissolves, beside 3 mol/L of H+ that notice nothing.
    """
    made = question(
        'reactions = [{ text = "Bi^3+ + Cl^- + H2O <=> BiOCl(s) + 2 H^+", K = 1e4 }]\n',
        '[question.start]\ntotals = { "Bi^3+" = 1e-3, "Cl^-" = 0.1, "H^+" = 0.1 }\nvolume_L = 0.001\n',
        '[question.stress]\nkind = "add_solution"\nof_mM = { HCl = 6000 }\nmL = 1.0\n',
        part('ask = "direction"'),
    )
    assert doubtful_shifts(made, 40, 0.03) == []
