"""Small rules of marking, checking and telling, each with a case on either side, worked by hand."""

import math
from pathlib import Path
from types import SimpleNamespace

import pytest

import eqlib as eq
from eqlib.assess import feedback
from eqlib.assess.asks import suspects
from eqlib.assess.asks.number import limiting
from eqlib.assess.check.question import check_question
from eqlib.assess.load import load_questions, read_questions
from eqlib.assess.mark import mark
from eqlib.assess.mistakes import MISTAKES
from eqlib.assess.reading.species import match_species
from eqlib.assess.reading.units import parse_unit
from eqlib.assess.records import record_answer
from eqlib.assess.tables import QuestionError
from eqlib.assess.working import worked
from eqlib.chem.explain import _drawn

COURSE = Path(__file__).parents[2] / "notebooks" / "source"

HEAD = """
[assignment]
id = "edges"
title = "E"
course = "evening-class"
[[question]]
id = "q"
kind = "mixed"
points = 4
title = "Q"
prompt = "A question."
"""
IRON = 'reactions = [{ text = "Fe^3+ + SCN^- <=> FeSCN^2+", K = 140, dH_kJ = -6 }]\n'
TUBE = '[question.start]\ntotals = { "Fe^3+" = 2e-3, "SCN^-" = 1e-3 }\nvolume_L = 0.01\n'
DIOXIDE = 'reactions = [{ text = "2 NO2(g) <=> N2O4(g)", K = 170, dH_kJ = -57.2 }]\n'
BULB = '[question.start]\ntotals = { "NO2(g)" = 0.04 }\nvolume_L = 0.1\n'


def question(*text):
    return read_questions(HEAD + "".join(text))["q"]


def part(text):
    return f"[[question.part]]\n{text}\n"


def stress(text):
    return f"[question.stress]\n{text}\n"


def test_a_pressure_is_an_energy_in_a_volume_and_a_force_on_an_area():
    """1 Pa = 1 J/m^3 = 1 kg m^-1 s^-2 (SI brochure)."""
    assert parse_unit("Pa").dims == parse_unit("J/m^3").dims == parse_unit("kg m^-1 s^-2").dims
    assert parse_unit("J").dims == parse_unit("kg m^2 s^-2").dims
    assert parse_unit("Pa").size == parse_unit("J/m^3").size


def test_a_part_of_weight_0_is_never_scored():
    more = stress('kind = "add"\nspecies = "SCN^-"\nmmol = 0.02')
    made = question(IRON, TUBE, more, part('ask = "direction"'),
                    part('ask = "K"\nweight = 0'))  # fmt: skip
    found = mark(made, {"direction": "forward"}, "s01")
    assert found.points == 4
    assert "K: no answer" not in found.audit
    assert "direction: no answer, 0 of 4" in mark(made, {"K": "same"}, "s01").audit
    wrong = mark(made, {"direction": "forward", "K": "larger"}, "s01")
    assert wrong.points == 4
    assert [p.max_points for p in wrong.parts] == [4, 0]
    assert (wrong.parts[1].note, wrong.parts[1].feedback) == ("", "")


DIGITS_HEAD = HEAD.replace("[[question]]", "[assignment.policy]\nfigures = FIGURES\n[[question]]", 1)


@pytest.mark.parametrize("figures", ["[2, 4]", "[1, 3]"])
def test_the_figures_of_a_policy_are_a_pair(figures):
    text = part('ask = "number"\nquantity = "extent"')
    assert read_questions(DIGITS_HEAD.replace("FIGURES", figures) + IRON + TUBE + text)["q"]


@pytest.mark.parametrize("figures", ["[2]", "2", '["2", "4"]', "[2, 3, 4]"])
def test_other_figures_are_refused(figures):
    text = part('ask = "number"\nquantity = "extent"')
    with pytest.raises(QuestionError, match=r"such as \[2, 4\]"):
        read_questions(DIGITS_HEAD.replace("FIGURES", figures) + IRON + TUBE + text)


def test_a_slip_in_a_change_of_two_is_carried_as_far_as_there_is_anything_to_change():
    """2 NO2 <=> N2O4 from 0.0400: a change of -0.0300 is x = 0.0150, which leaves 0.0100 and 0.0150."""
    made = question(DIOXIDE, BULB, part('ask = "ice"'))
    table = {
        "initial": {"NO2(g)": "0.0400", "N2O4(g)": "0"},
        "change": {"NO2(g)": "-0.0300", "N2O4(g)": "0.0150"},
        "equilibrium": {"NO2(g)": "0.0100", "N2O4(g)": "0.0150"},
    }
    (found,) = mark(made, {"ice": table}, "s01").parts
    # x by K = 170: 4 x^2 ... is 0.0152: other tables are wrong in one place, and what follows is right.
    assert found.points > 0
    table["change"]["NO2(g)"], table["equilibrium"]["NO2(g)"] = "-0.0390", "0.0010"
    table["change"]["N2O4(g)"] = table["equilibrium"]["N2O4(g)"] = "0.0195"
    (carried,) = mark(made, {"ice": table}, "s01").parts
    assert carried.points == pytest.approx(4 * 5 / 6, abs=0.01), carried.audit


def test_a_concentration_in_mmol_per_litre_is_carried_on_in_mol_per_litre():
    """[FeSCN] 0.15 mM in place of 0.2: K from it is 0.00015/(0.00185 x 0.00085) = 95.4."""
    measured = '[question.measured]\nreading = "concentration"\nspecies = "FeSCN^2+"\nfigures = 3\n'
    made = question(
        IRON,
        TUBE,
        measured,
        part('ask = "number"\nid = "x"\nquantity = "extent"\nunit = "mmol/L"'),
        part('ask = "number"\nid = "K"\nquantity = "K"'),
    )
    right = made.case("s01").expected["x"]
    own = 0.75 * right
    K = 1e-3 * own / ((2e-3 - 1e-3 * own) * (1e-3 - 1e-3 * own))
    found = mark(made, {"x": f"{own:.4g}", "K": f"{K:.4g}"}, "s01")
    assert [p.note for p in found.parts] == ["wrong", "carried"], found.audit


def test_a_thousandth_and_a_thousandfold_are_a_wrong_unit():
    made = question(IRON, TUBE, part('ask = "number"\nquantity = "extent"'))
    right = made.case("s01").expected["extent"]
    for factor in (1000, 1 / 1000):
        assert mark(made, f"{right * factor:.4g}", "s01").mistake == "unit_prefix"


def test_who_goes_by_paleness_alone_is_named_though_no_colour_was_said():
    made = question(IRON, TUBE, stress('kind = "dilute"\nmL = 10.0'), part('ask = "direction"'),
                    part('ask = "K"'))  # fmt: skip
    silver = load_questions(COURSE / "04-disturbing-an-equilibrium")["weak"]
    found = [
        s.mistake for s in suspects(silver.part("direction"), silver.case("s01"), {}) if s.value == "reverse"
    ]
    assert "paler_is_left" in found
    # Where no colour is asked about, nobody goes by it.
    found = [s.mistake for s in suspects(made.part("direction"), made.case("s01"), {})]
    assert "paler_is_left" not in found


@pytest.mark.parametrize(("mmol", "said"), [("0.0003", "smaller than 3 %"), ("0.02", "")])
def test_a_shift_that_hardly_moves_anything_is_refused_and_a_clear_one_is_not(mmol, said):
    """0.3 µmol of thiocyanate beside 10 µmol moves the complex by less than 3 %; 20 µmol by a third."""
    made = question(
        IRON, TUBE, stress(f'kind = "add"\nspecies = "SCN^-"\nmmol = {mmol}'), part('ask = "direction"')
    )
    lines = list(check_question(made, 3))
    assert any("smaller than" in line for line in lines) is bool(said), lines


def test_a_shift_of_a_tenth_is_clear_enough():
    """4 µmol of thiocyanate beside 10: the complex grows by about a tenth to a third, well beyond 3 %."""
    made = question(
        IRON, TUBE, stress('kind = "add"\nspecies = "SCN^-"\nmmol = 0.002'), part('ask = "direction"')
    )
    d = made.case("s01").disturbance
    grown = d.after.amounts["FeSCN^2+"] / d.at_once.amounts["FeSCN^2+"] - 1
    assert 0.03 < grown < 0.3
    assert not [line for line in check_question(made, 3) if "smaller than" in line]


def test_the_rule_that_heat_always_helps_is_met_with_the_case_it_fails_in():
    made = load_questions(COURSE / "04-disturbing-an-equilibrium")["rule"]
    (found,) = (p for p in mark(made, {"rule": "heat_forward"}, "s01").parts if p.max_points)
    assert not found.right
    assert "into a bath at 70 °C" in found.feedback


def test_the_rates_are_in_the_working_of_a_question_about_them():
    speed = load_questions(COURSE / "01-dynamic-equilibrium")
    asked = [q for q in speed.values() if any(p.ask == "rate" for p in q.parts)]
    assert asked
    assert all("**Rates.**" in worked(q, q.case("s01")) for q in asked)


def test_two_things_that_the_stress_itself_changed_are_both_told():
    """Iron(III) as strong as in the mixture stays; the thiocyanate that comes with it rises."""
    m = eq.Mixture(
        {"Fe^3+": 1e-3, "SCN^-": 1e-3}, [eq.Reaction("Fe^3+ + SCN^- <=> FeSCN^2+", K=140)], volume=0.01
    )
    free = m.equilibrate()["Fe^3+"]
    text = eq.disturb(m, eq.Stress.add_solution({"Fe^3+": free, "SCN^-": 0.05}, volume=0.002)).explanation
    assert "[Fe^3+] stays" in text
    assert "[SCN^-] rises" in text


def test_the_ionic_strength_is_told_only_where_it_moves():
    salt = {"K^+": 0.05, "NO3^-": 0.05}
    m = eq.Mixture({"Fe^3+": 1e-3, "SCN^-": 1e-3, "NO3^-": 3e-3, "K^+": 1e-3} | {"Na^+": 0.1, "Cl^-": 0.1},
                   [eq.Reaction("Fe^3+ + SCN^- <=> FeSCN^2+", K=140, dH=-6000.0)], volume=0.01)  # fmt: skip
    told = eq.disturb(m, eq.Stress.add_solution(salt, volume=0.01), activity="davies").explanation
    assert "The ionic strength" in told
    assert "The ionic strength" not in eq.disturb(m, eq.Stress.heat_to(310.0), activity="davies").explanation


def test_twice_the_usual_equation_is_right_and_told_so():
    made = question(part('ask = "equation"\nskeleton = "H2(g) + O2(g) -> H2O(l)"'))
    (once,) = mark(made, "2 H2 + O2 -> 2 H2O", "s01").parts
    (twice,) = mark(made, "4 H2 + 2 O2 -> 4 H2O", "s01").parts
    assert once.points == twice.points == 4
    assert once.feedback == feedback.RIGHT
    assert twice.feedback == feedback.MULTIPLE


@pytest.mark.parametrize(("decimals", "fits"), [(9, True), (10, False)])
def test_a_reading_has_nine_decimals_at_most(decimals, fits):
    measured = (
        '[question.measured]\nreading = "absorbance"\nspecies = "FeSCN^2+"\nepsilon = 4700\npath_cm = 1.0\n'
    )
    measured += f"decimals = {decimals}\n"
    text = part('ask = "number"\nquantity = "K"')
    if fits:
        assert question(IRON, TUBE, measured, text)
    else:
        with pytest.raises(QuestionError, match="decimals"):
            question(IRON, TUBE, measured, text)


def test_the_reactant_that_runs_out_first_is_found_by_its_coefficient():
    """2 NO2 from 0.04 mol/L: it is used up at x = 0.02, not at 0.04 or 0.08."""
    made = question(DIOXIDE, BULB, part('ask = "number"\nquantity = "extent"'))
    assert limiting(made.case("s01")) == ("NO2(g)", pytest.approx(0.02, rel=1e-9))


def tried(mode, *attempts, shown_after):
    """A record of ``attempts`` a minute apart, its outcome shown after so many of them."""
    made = None
    for minute, direction in enumerate(attempts):
        made = record_answer(
            "edges", "q", {"direction": direction}, "s01", at=f"2026-01-31T18:0{minute}:00Z", previous=made
        )
        if minute + 1 == shown_after:
            made = made.revealed(made.at)
    text = HEAD.replace('title = "E"', f'title = "E"\nmode = "{mode}"')
    more = stress('kind = "add"\nspecies = "SCN^-"\nmmol = 0.02') + part('ask = "direction"')
    return mark(read_questions(text + IRON + TUBE + more)["q"], made, "s01")


def test_assessed_work_counts_as_it_stood_when_its_outcome_was_shown():
    """More thiocyanate: to products. What is said after looking earns nothing, and costs nothing."""
    assert tried("assessed", "reverse", "forward", shown_after=1).points == 0
    kept = tried("assessed", "forward", "reverse", shown_after=1)
    assert kept.points == 4
    assert "attempt 1 of 2 counts, 1 made after the outcome was shown left aside" in kept.audit
    assert "last of 2 attempts counts" in tried("assessed", "reverse", "forward", shown_after=2).audit


def test_practice_counts_as_it_was_left():
    made = tried("practice", "reverse", "forward", shown_after=1)
    assert made.points == 4
    assert "last of 2 attempts counts" in made.audit


def test_the_rows_of_a_table_in_the_working_stand_on_lines_of_their_own():
    silver = load_questions(COURSE / "04-disturbing-an-equilibrium")["silver"]
    lines = worked(silver, silver.case("s01")).splitlines()
    rows = [line.split("|")[1].strip() for line in lines if line.startswith("| ")]
    assert rows[-4:] == ["mol/L", "Before", "At once", "After"]


def test_no_shift_goes_with_q_equal_to_k_and_with_everything_as_it_was():
    """A crystal of potassium nitrate: {none, same, q_equals_K} is one right answer."""
    more = stress('kind = "add_solid"\nformula = "KNO3(s)"\nmmol = 0.02')
    made = question(
        IRON, TUBE, more, part('ask = "direction"'), part('ask = "change"\nspecies = "SCN^-"'),
        part('ask = "reason"\noptions = ["q_equals_K", "q_below_K", "spectator_acts"]'),
    )  # fmt: skip
    right = {"direction": "none", "SCN^-": "same", "reason": "q_equals_K"}
    ids = [p.id for p in made.parts]
    given = dict(zip(ids, right.values(), strict=True))
    assert mark(made, given, "s01").points == 4
    found = mark(made, {**given, ids[0]: "forward", ids[1]: "lower"}, "s01")
    assert found.points < 4


def test_who_lets_a_binder_do_nothing_says_that_the_ion_stays():
    """Silver binds thiocyanate: "stays the same" is what somebody says who looks into the equation only."""
    silver = load_questions(COURSE / "05-strangers")["phosphate"]
    found = [(s.mistake, s.value) for s in suspects(silver.part("scn"), silver.case("s01"), {})]
    assert ("not_in_equation", "same") in found
    assert ("wrong_target", "lower") in found  # phosphate binds the iron, so thiocyanate is set free


def test_every_hint_is_a_question():
    for name, mistake in MISTAKES.items():
        assert mistake.hint.endswith("?"), name


def test_less_of_a_solid_is_told_as_less():
    """Ksp of AgCl 1.8e-10 (OpenStax Chemistry 2e, Appendix J): taking solid out moves nothing."""
    dissolving = eq.Reaction("AgCl(s) <=> Ag^+ + Cl^-", K=1.8e-10)
    m = eq.Mixture({"AgCl(s)": 1e-3}, [dissolving], volume=1.0)
    taken = eq.disturb(m, eq.Stress.remove("AgCl(s)", 5e-4)).explanation
    assert "less of it changes no concentration" in taken
    more = eq.disturb(m, eq.Stress.add_solid("AgCl", 5e-4)).explanation
    assert "more of it changes no concentration" in more


def test_the_working_of_an_indicator_holds_the_students_three_readings():
    """pKa = pH - log10((A - A_acid) / (A_base - A))."""
    question = load_questions(COURSE / "07-measuring-kc")["indicator"]
    for student in ("s01", "s02", "s03"):
        m = question.case(student).measured
        working = worked(question, question.case(student))
        pKa = m["pH"] - math.log10((m["between"] - m["acid"]) / (m["base"] - m["between"]))
        assert f"({m['between']:.3f} − {m['acid']:.3f}) / ({m['base']:.3f} − {m['between']:.3f})" in working
        assert f"**{pKa:.2f}**" in working


def test_help_in_practice_stands_in_paragraphs():
    question = load_questions(COURSE / "05-strangers")["phosphate"]
    given = mark(question, {"direction": "forward", "seen": "darker", "bound": "K^+", "scn": "same"}, "s01")
    said = feedback.ladder(question, given, 3).split("\n\n")
    assert said[0] == "0 of 4 parts are right so far."
    assert len(said) > 2
    assert all(line == line.strip() for line in said)


@pytest.mark.parametrize(
    ("name", "formula"),
    [
        ("tetrachloridocobaltate", "CoCl4^2-"),
        ("thiocyanatoiron", "FeSCN^2+"),
        ("ammonia", "NH3"),
        ("silver", "Ag^+"),
        ("thiocyanate", "SCN^-"),
    ],
)
def test_a_species_may_be_called_by_its_name(name, formula):
    """Systematic names (IUPAC Red Book 2005) and names of ions, where one of those asked about fits."""
    assert match_species(name, [formula, "K^+", "NO3^-"])[0] == formula


@pytest.mark.parametrize(("left", "drawn"), [(0.05, "C2O4^2-"), (0.15, ""), (0.5, "")])
def test_what_is_used_up_as_it_forms_is_said_only_where_less_than_a_tenth_is_left(left, drawn):
    """HC2O4- gives 1 mmol of oxalate; a twentieth of it is still there, or a seventh, or half."""
    gives = eq.Reaction("HC2O4^- <=> H^+ + C2O4^2-", K=5.4e-5)
    start = SimpleNamespace(amounts={"HC2O4^-": 2e-3, "H^+": 0.0, "C2O4^2-": 0.0})
    end = SimpleNamespace(amounts={"HC2O4^-": 1e-3, "H^+": 1e-3, "C2O4^2-": left * 1e-3})
    assert _drawn(gives, 1e-3, start, end) == drawn
