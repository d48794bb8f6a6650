"""``check_course``: what is wrong with a course is found, and a sound course is left in peace."""

import json
import shutil
from pathlib import Path

import pytest

from eqlib.assess.check.course import check_course

COURSE = Path(__file__).parents[3] / "notebooks"
ASSIGNMENT = "04-disturbing-an-equilibrium"

HEADER = """
[assignment]
id = "05-test"
title = "T"
course = "c1"
"""
WELL = """
[[question]]
id = "well"
kind = "prediction"
points = 2
title = "t"
prompt = "{drop} mL"
system = "iron-thiocyanate"
use = [0]
[question.numbers]
drop = [0.10, 0.20, 0.05]
[question.start]
portions = [{ of_mM = { "Fe(NO3)3" = 5.0 }, mL = 1.0 }, { of_mM = { KSCN = 2.0 }, mL = 1.0 }]
[question.stress]
kind = "add_solution"
of_mM = { KSCN = 100 }
mL = "drop"
[[question.part]]
ask = "direction"
[[question.part]]
ask = "seen"
[[question.part]]
ask = "reason"
options = ["q_below_K", "q_above_K", "two_boxes"]
"""
KC = """
[[question]]
id = "kc"
kind = "number"
points = 3
title = "t"
prompt = "{absorbance}"
system = "iron-thiocyanate"
use = [0]
K = "k"
numbers = { k = 140 }
[question.start]
portions = [
  { of_mM = { "Fe(NO3)3" = 2.5 }, mL = 5.0 },
  { of_mM = { KSCN = 2.0 }, mL = 3.0 },
  { to_mL = 10.0 },
]
[question.measured]
reading = "absorbance"
species = "FeSCN^2+"
epsilon = "catalogue"
nm = 447
path_cm = 2.0
blank = 0.05
[[question.part]]
ask = "number"
id = "kc"
quantity = "K"
code = true
"""


def cell(grade_id, source="", kind="code", **nbgrader):
    made = {"cell_type": kind, "source": source, "metadata": {"nbgrader": {"grade_id": grade_id, **nbgrader}}}
    return {**made, "outputs": [], "execution_count": None} if kind == "code" else made


def bench():
    return cell("bench", 'bench("iron-thiocyanate")', locked=True, grade=False, solution=False)


def check_cell(name, points, source=None):
    return cell(name, source or f'panel("{name}")', locked=True, grade=True, solution=False, points=points)


def code_answer(text="### BEGIN SOLUTION\nKc = 1 + 1\n### END SOLUTION\n"):
    return cell("answer-kc", text, locked=False, grade=False, solution=True)


def good_cells():
    return [bench(), check_cell("well", 2), code_answer(), check_cell("kc", 3, 'panel("kc", Kc)')]


def course(tmp_path, text=HEADER + WELL + KC, cells=None, name="05-test"):
    folder = tmp_path / "source" / name
    folder.mkdir(parents=True)
    (folder / "questions.toml").write_text(text)
    if cells != []:
        book = {"cells": cells or good_cells(), "metadata": {}, "nbformat": 4, "nbformat_minor": 5}
        (folder / f"{name}.ipynb").write_text(json.dumps(book))
    return tmp_path


def findings(root):
    return [str(f) for f in check_course(root, samples=8)]


def test_the_shipped_course_is_sound():
    assert [str(f) for f in check_course(COURSE, samples=25)] == []


def test_a_small_sound_course_is_left_in_peace(tmp_path):
    assert findings(course(tmp_path)) == []


POSED = {
    "a shift too small to be sure of": (
        "of_mM = { KSCN = 100 }",
        "of_mM = { KSCN = 0.6 }",
        "smaller than 3 %|not clear",
    ),
    "a colour at the edge": ("of_mM = { KSCN = 100 }", "of_mM = { KSCN = 6 }", "edge of what an eye can see"),
    "no reason that is right": (
        '"q_below_K", "q_above_K"',
        '"k_rises", "q_above_K"',
        "no reason on offer is right",
    ),
    "K from a reading of a few thousandths": (
        'epsilon = "catalogue"',
        "epsilon = 100\n",
        "hangs on the last figure",
    ),
    "a start that cannot be": ("{ to_mL = 10.0 }", "{ to_mL = 7.0 }", "already pass"),
    "a reading of something else": (
        'species = "FeSCN^2+"',
        'species = "K^+"',
        "is not in Fe|spectrum in the catalogue",
    ),
    "two mistakes that coincide": (
        'of_mM = { "Fe(NO3)3" = 2.5 }, mL = 5.0',
        'of_mM = { "Fe(NO3)3" = 2.0 }, mL = 4.0',
        None,
    ),
}


@pytest.mark.parametrize("fault", [name for name in POSED if POSED[name][2]])
def test_a_question_that_is_not_well_posed_is_found(tmp_path, fault):
    before, after, says = POSED[fault]
    text = HEADER + WELL + KC
    assert before in text
    import re

    found = findings(course(tmp_path, text.replace(before, after)))
    assert any(re.search(says, line) for line in found), found
    assert all("\n" not in line and "questions.toml" in line for line in found)


def test_several_right_reasons_at_once_are_found(tmp_path):
    """So much weak silver nitrate that its dilution alone takes Q to three times K (4 mL into 2
    mL, by hand), and the SCN- it binds: either would do.
    """
    text = (HEADER + WELL).replace("iron-thiocyanate", "iron-thiocyanate-silver").replace("use = [0]\n", "")
    text = text.replace("KSCN = 100", "AgNO3 = 1").replace('"q_below_K", ', '"binds:SCN^-", ')
    text = text.replace("drop = [0.10, 0.20, 0.05]", "drop = [4.0, 5.0, 0.5]")
    found = findings(course(tmp_path, text, [bench(), check_cell("well", 2)]))
    assert any("several reasons are right" in line for line in found), found


def test_equal_stocks_let_two_mistakes_coincide(tmp_path):
    """With equal concentrations and equal volumes a forgotten dilution of one or of the other is the same
    slip twice; with a blank of 10.8 % of the reading, keeping it gives what taking starting values gives.
    """
    text = (HEADER + KC).replace("blank = 0.05", "blank = 0.0")
    text = text.replace("path_cm = 2.0", "path_cm = 2.303")  # path ignored = natural logarithm
    found = findings(course(tmp_path, text, good_cells()[2:]))
    assert any("log_slip and path_ignored" in line for line in found), found


LEAKS = {
    "a prompt that tells what is seen": (
        'prompt = "{absorbance}"',
        'prompt = "{absorbance} The red fades when silver nitrate is dripped in."',
        "'kc', prompt: says 'fades' of what question 'well' asks",
    ),
    "a rubric that would be released": (
        '[[question]]\nid = "kc"',
        '[[question]]\nid = "words"\nkind = "explanation"\npoints = 1\ntitle = "t"\nprompt = "why"\n'
        '[[question.part]]\nask = "explain"\nrubric = ["AgSCN is there"]\n[[question]]\nid = "kc"',
        "'words': rubric would be released with this file; move it to .words. of instructor/05-test.toml",
    ),
    "hints that would be released": (
        'title = "t"\nprompt = "{drop} mL"',
        'title = "t"\nhints = ["Ag⁺ moves it to the left."]\nprompt = "{drop} mL"',
        "'well': hints would be released with this file; move it to .well. of instructor/05-test.toml",
    ),
    "a typed K": (
        'system = "iron-thiocyanate"\nuse = [0]\nK = "k"',
        'reactions = [{ text = "Fe^3+ + SCN^- <=> FeSCN^2+", K = 139 }]',
        "K = 139 is typed",
    ),
    "a typed absorptivity": ('epsilon = "catalogue"', "epsilon = 4700", "epsilon = 4700 is typed"),
}


@pytest.mark.parametrize("fault", LEAKS)
def test_what_gives_an_answer_away_or_is_typed_is_found(tmp_path, fault):
    import re

    before, after, says = LEAKS[fault]
    silver = WELL.replace('"iron-thiocyanate"\nuse = [0]', '"iron-thiocyanate-silver"')
    text = HEADER + silver.replace("KSCN = 100", "AgNO3 = 100") + KC
    text = text.replace('"q_below_K", "q_above_K", "two_boxes"', '"binds:SCN^-", "binds:Fe^3+", "two_boxes"')
    assert findings(course(tmp_path / "sound", text)) == []
    assert before in text
    found = findings(course(tmp_path / "leak", text.replace(before, after, 1)))
    assert any(re.search(says, line) for line in found), found


def test_what_is_for_the_instructor_must_not_lie_where_it_is_released(tmp_path):
    root = course(tmp_path)
    (root / "instructor").mkdir()
    assert findings(root) == []
    (root / "source" / "05-test" / "instructor.md").write_text("AgSCN forms.")
    assert any("instructor.md: would be released" in line for line in findings(root))


def test_a_page_that_tells_is_found(tmp_path):
    silver = WELL.replace('"iron-thiocyanate"\nuse = [0]', '"iron-thiocyanate-silver"')
    text = HEADER + silver.replace("KSCN = 100", "AgNO3 = 100") + KC
    cells = [cell("words", "Silver ions make a precipitate, AgSCN.", kind="markdown"), *good_cells()]
    found = findings(course(tmp_path, text, cells))
    assert any("cell 1 (words): names AgSCN" in line for line in found), found


CELLS = {
    "a question nobody asks": (lambda c: c[2:], "'well'.*no notebook beside this file asks it"),
    "a check cell twice": (lambda c: [*c, c[1]], "'well'.*stands 2 times"),
    "an answer worked out after its panel": (
        lambda c: [c[0], c[1], c[3], c[2]],
        "'kc'.*before the cell of its answer",
    ),
    "points that differ": (lambda c: [c[0], check_cell("well", 5), *c[2:]], "worth 5 points.*says 2"),
    "a question that is in no file": (lambda c: [*c, check_cell("wel", 1)], "wel.*no question of that id"),
    "an unlocked check": (
        lambda c: [c[0], cell("well", 'panel("well")', grade=True, points=2), *c[2:]],
        "locked",
    ),
    "a check that does not check": (
        lambda c: [c[0], check_cell("well", 2, "1 + 1"), *c[2:]],
        "does not end in",
    ),
    "a check whose value is stored": (  # no output at all: nbgrader would give full points
        lambda c: [c[0], check_cell("well", 2, 'mark = panel("well")'), *c[2:]],
        "does not end in",
    ),
    "a check that is silenced": (
        lambda c: [c[0], check_cell("well", 2, 'panel("well");'), *c[2:]],
        "does not end in",
    ),
    "a check that is only remarked": (
        lambda c: [c[0], check_cell("well", 2, '# panel("well")'), *c[2:]],
        "does not end in",
    ),
    "an output left in": (
        lambda c: [{**c[0], "outputs": [{"output_type": "stream", "text": "x"}]}, *c[1:]],
        "an output is saved",
    ),
    "an answer left in": (
        lambda c: [{**c[0], "outputs": [{"data": {"application/vnd.eqlib.answer+json": {}}}]}, *c[1:]],
        "a recorded answer is saved",
    ),
    "an execution number left in": (lambda c: [{**c[0], "execution_count": 3}, *c[1:]], "execution number"),
    "a solution without its end": (
        lambda c: [*c[:2], code_answer("### BEGIN SOLUTION\nKc = 140\n"), c[3]],
        "each needs the other",
    ),
    "a solution outside a solution cell": (
        lambda c: [*c, cell("extra", "### BEGIN SOLUTION\n1\n### END SOLUTION")],
        "would be released",
    ),
    "an answer computed in the open": (
        lambda c: [*c, cell("extra", 'lesson.questions["kc"].outcome("s01")')],
        "where students can see it",
    ),
}


@pytest.mark.parametrize("fault", CELLS)
def test_a_notebook_that_does_not_fit_its_questions_is_found(tmp_path, fault):
    import re

    change, says = CELLS[fault]
    found = findings(course(tmp_path, cells=change(good_cells())))
    assert any(re.search(says, line) for line in found), found


@pytest.mark.parametrize(
    ("kept", "found_as"),
    [
        ({"eqlib": {"records": {"well": {}}}}, "metadata: holds 'eqlib'"),
        ({"widgets": {"application/vnd.jupyter.widget-state+json": {"state": {"a": {}}}}}, "holds 'widgets'"),
    ],
)
def test_what_a_run_left_in_the_notebook_is_found(tmp_path, kept, found_as):
    root = course(tmp_path)
    path = root / "source" / "05-test" / "05-test.ipynb"
    notebook = json.loads(path.read_text("utf-8"))
    path.write_text(json.dumps({**notebook, "metadata": kept}), "utf-8")
    assert any(found_as in line for line in findings(root)), findings(root)


def test_a_journal_beside_the_questions_is_found(tmp_path):
    root = course(tmp_path)
    (root / "source" / "05-test" / "answers-05-test.journal.json").write_text("{}")
    assert any("journal.json: holds somebody's recorded answers" in line for line in findings(root))


def test_a_question_asked_in_two_notebooks_is_found(tmp_path):
    root = course(tmp_path)
    folder = root / "source" / "05-test"
    shutil.copy(folder / "05-test.ipynb", folder / "another.ipynb")
    assert any("'kc': another notebook asks it too" in line for line in findings(root))


def test_a_release_that_leaks_is_found(tmp_path):
    root = course(tmp_path)
    release = root / "release" / "05-test"
    release.mkdir(parents=True)
    shutil.copy(root / "source" / "05-test" / "05-test.ipynb", release)
    assert any("release" in line and "still holds a solution" in line for line in findings(root))


def test_files_that_cannot_be_used_are_one_line_each(tmp_path):
    assert "is this the course folder" in findings(tmp_path / "nothing")[0]
    root = course(tmp_path, HEADER + WELL.replace("points = 2", "points = two"))
    assert len(findings(root)) == 1
    root = course(tmp_path / "b")
    (root / "source" / "05-test" / "05-test.ipynb").write_text("{")
    assert any("is not a notebook" in line for line in findings(root))
    root = course(tmp_path / "c", cells=[])
    assert any("no notebook beside this file" in line for line in findings(root))


def test_a_folder_that_is_not_named_after_its_assignment_is_found(tmp_path):
    assert any("but the folder is '06-other'" in line for line in findings(course(tmp_path, name="06-other")))


COBALT = """
[[question]]
id = "cobalt"
kind = "mixed"
points = 1
title = "t"
prompt = "?"
system = "cobalt-chloride"
stress = "{stress}"
[[question.part]]
ask = "seen"
"""


@pytest.mark.parametrize("kind", ["fair", "not fair"])
def test_a_colour_on_which_observers_disagree_is_not_asked(tmp_path, kind):
    """Violet that turns intense blue is paler to a meter and deeper to an eye (common practice)."""
    text = HEADER + COBALT.replace("{stress}", "acid")
    if kind == "fair":
        text = HEADER + COBALT.replace("cobalt-chloride", "iron-thiocyanate").replace("{stress}", "iron")
    cells = [bench(), check_cell("cobalt", 1)]
    lines = findings(course(tmp_path, text, cells))
    told = [line for line in lines if "no fair question" in line]
    assert len(told) == (kind == "not fair"), lines
    assert all("violet" in line and "blue" in line for line in told)


@pytest.mark.parametrize("content", ["[]", "{}", '{"cells": 3}', '"text"'])
def test_json_that_is_no_notebook_is_one_line(tmp_path, content):
    root = course(tmp_path)
    (root / "source" / "05-test" / "05-test.ipynb").write_text(content)
    assert any("has no list of cells" in line for line in findings(root))


TOLD = {
    "a title": (
        'title = "t"',
        'title = "More thiocyanate: on to products"',
        ("'well', title: says 'to products', which part 'direction' asks"),
    ),
    "a prompt": (
        "{drop} mL",
        "{drop} mL make the well darker.",
        "'well', prompt: says 'darker', which part 'seen' asks",
    ),
    "a prompt that asks after telling": (
        "{drop} mL",
        "{drop} mL. Watch it deepen: what will you see?",
        "'well', prompt: says 'deepen', which part 'seen' asks",
    ),
    "the reason itself": (
        "{drop} mL",
        ("{drop} mL. Right after the change Q is smaller than K, so more product has to form."),
        "'well', prompt: says 'Right after the change",
    ),
    "a way in words": (
        "{drop} mL",
        "{drop} mL drive it towards the products.",
        "'well', prompt: says 'towards the products'",
    ),
}
OPEN = [
    "Will it be darker, paler or the same?",
    "Does it go to products?",
    "Say whether it goes to products.",
    "To products (→) and to reactants (←) are the two ways.",
]


@pytest.mark.parametrize("fault", TOLD)
def test_an_answer_told_over_its_own_question_is_found(tmp_path, fault):
    before, after, says = TOLD[fault]
    found = findings(course(tmp_path, HEADER + WELL.replace(before, after), [bench(), check_cell("well", 2)]))
    assert any(says in line for line in found), found


def test_an_answer_told_right_above_its_question_is_found(tmp_path):
    def told(words, apart=()):
        cells = [bench(), cell("words", words, kind="markdown"), *apart, check_cell("well", 2)]
        return findings(course(tmp_path / str(len(list(tmp_path.iterdir()))), HEADER + WELL, cells))

    assert any(
        "cell 2: says 'darker', which part 'seen' asks" in line for line in told("Here it gets darker.")
    )
    assert told("Here it gets darker.", [bench() | {"metadata": {}}]) == []  # over something else
    for words in OPEN:
        assert told(words) == [], words


@pytest.mark.parametrize("words", OPEN)
def test_what_asks_or_names_both_ways_tells_nothing(tmp_path, words):
    text = HEADER + WELL.replace("{drop} mL", f"{{drop}} mL. {words}")
    assert findings(course(tmp_path, text, [bench(), check_cell("well", 2)])) == []


BATH = WELL.replace(
    'kind = "add_solution"\nof_mM = { KSCN = 100 }\nmL = "drop"', 'kind = "heat_to"\ncelsius = 75'
)
DILUTED = WELL.replace(
    'kind = "add_solution"\nof_mM = { KSCN = 100 }\nmL = "drop"', 'kind = "dilute"\nmL = 2'
)


@pytest.mark.parametrize(
    ("well", "words", "told"),
    [
        (BATH, "Hot water fades it.", "fades"),
        (BATH, "Heating it makes it paler.", "paler"),
        (BATH, "When you warm it, it becomes lighter.", "lighter"),
        (BATH, "At 75 °C it is paler.", "paler"),
        (BATH, "Silver makes it paler.", ""),
        (DILUTED, "Water makes it paler.", "paler"),
        (DILUTED, "Diluting it drives it to the left.", "to the left"),
        (DILUTED, "A bath makes it paler.", ""),
        (DILUTED, "Water makes it darker.", ""),
    ],
)
def test_a_page_that_says_what_heat_or_water_does_is_found(tmp_path, well, words, told):
    """Far from the question: then what is done must be named with what is seen."""
    cells = [cell("words", words, kind="markdown"), bench(), check_cell("well", 2)]
    text = HEADER + well.replace("{drop} mL", "What happens?").replace('"q_below_K"', '"k_falls"')
    found = [line for line in findings(course(tmp_path, text, cells)) if "says" in line]
    assert len(found) == (1 if told else 0), found
    assert all(f"cell 1 (words): says {told!r}" in line for line in found)
