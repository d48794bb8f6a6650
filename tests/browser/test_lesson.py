"""The lesson in JupyterLab: done by mouse, by keyboard alone, read by a screen reader, and nothing lost."""

import json
import re
import shutil
import time

import pytest

from eqlib.assess.records import collect
from eqlib.grading.bulk import grade
from eqlib.grading.demo import make_course

pytestmark = [pytest.mark.browser, pytest.mark.xdist_group("browser"), pytest.mark.timeout(600)]

IRON, SILVER, Q = "Drops of iron(III)", "Silver ions", "Q at the moment of adding"
SURE = {"confidence": "fairly"}
#: What one student clicks and types, question by question: (title, button, answer).
LESSON = {
    "iron": (
        IRON,
        "Add the drops",
        {"direction": "forward", "seen": "darker", "scn": "same", "fe": "higher", "reason": "two_boxes"},
    ),
    "water": (
        "Only water",
        "Add the water",
        {"direction": "none", "seen": "paler", "K": "same", "reason": "volume_ignored"},
    ),
    "warm": (
        "Into the bath",
        "Into the bath",
        {"direction": "forward", "seen": "darker", "K": "larger", "reason": "heat_is_forward"},
    ),
    "weak": (
        "As much again",
        "Pour it in",
        {
            "direction": "reverse",
            "seen": "paler",
            "beside": "paler",
            "K": "same",
            "reason": "paler_is_left",
        },
    ),
    "silver": (
        SILVER,
        "Add the drops",
        {"direction": "none", "seen": "same", "precipitate": "no", "K": "same", "reason": "not_in_equation"},
    ),
    "copper": (
        "Deep blue",
        "Add the drops",
        {"direction": "reverse", "seen": "paler", "K": "same", "reason": "binds:NH3"},
    ),
    "q": (Q, "", {"fe": "2.1e-3", "Q": "55,5", "direction": "forward"}),
    "kc": ("Your own Kc", "", {"kc": "156 L/mol"}),
}

HERE = """() => {
  const at = document.activeElement;
  const group = [...document.querySelectorAll(`input[name="${at.name}"]`)];
  const values = group.map((field) => field.value);
  return { does: at.dataset.do ?? '', name: at.name ?? '', type: at.type ?? '', values };
}"""


def recorded(desk):
    """Every answer in the notebook as it stands on the disk, by question."""
    found = collect(desk.content())
    assert found.problems == []
    return {name: record for name, record in found.items() if not name.startswith("eqlib")}


def predict(desk, name):
    """Answer one question and record it."""
    title, _, answer = LESSON[name]
    desk.choose(title, **answer, **(SURE if "reason" in answer else {}))
    desk.press(title, "Record my prediction" if "reason" in answer else "Record my answer")
    desk.shows(title, "Recorded")


def see(desk, name):
    """Do it, and skip to the end of the film."""
    title, button, _ = LESSON[name]
    desk.press(title, button)
    desk.press(title, "Skip to the end")
    desk.shows(title, "you said")


def test_the_whole_lesson_by_mouse(desk):
    desk.open()
    desk.run_all("opened")
    screens = desk.page.evaluate(
        "() => document.querySelector('.jp-WindowedPanel-outer').scrollHeight / window.innerHeight"
    )
    assert screens < 13, f"{screens:.1f} screens of 900 px"
    for name, (title, button, _) in LESSON.items():
        assert "you said" not in desk.panel(title).inner_text(), "an outcome stood open before its prediction"
        predict(desk, name)
        if button:
            see(desk, name)
    desk.save_with(LESSON)
    found = recorded(desk)
    for name, (_, _, answer) in LESSON.items():
        assert {part: found[name].answer[part] for part in answer} == answer
        assert (found[name].revealed_at is not None) == bool(LESSON[name][1])
    desk.rename("my own name.ipynb")  # what was recorded stays, and the notebook takes more
    desk.choose("Your own Kc", kc="157 L/mol")
    desk.press("Your own Kc", "Record my answer")
    desk.save_until(lambda: recorded(desk)["kc"].answer["kc"] == "157 L/mol")
    assert recorded(desk)["silver"].receipt == found["silver"].receipt
    assert desk.errors == []


def by_keys(desk, name):
    """Answer one question, record it and do it with Tab, Space, arrows, letters and Enter."""
    title, button, answer = LESSON[name]
    wanted = answer | (SURE if "reason" in answer else {})
    page, panel = desk.page, desk.panel(title)
    panel.locator("input").first.focus()
    while not (here := page.evaluate(HERE))["does"]:
        part = here["name"].removeprefix(f"{name}/")
        assert part in wanted, here
        if here["type"] == "text":
            page.keyboard.type(wanted[part])
        else:
            page.keyboard.press("Space")
            for _ in range(here["values"].index(wanted[part])):
                page.keyboard.press("ArrowDown")
        page.keyboard.press("Tab")
    assert here["does"] == "record"
    page.keyboard.press("Enter")
    desk.shows(title, "Recorded ")
    for does in ("doit", "skip", "try") if button else ():
        page.wait_for_function("does => document.activeElement?.dataset.do === does", arg=does)
        page.keyboard.press("Enter")


def test_the_whole_lesson_by_keyboard_alone(desk):
    desk.open()
    desk.run_all("for the keyboard")
    for name in LESSON:
        by_keys(desk, name)
    desk.save_with(LESSON)
    for name, (_, button, answer) in LESSON.items():
        held = recorded(desk)[name]
        assert {part: held.answer[part] for part in answer} == answer
        assert (held.revealed_at is not None) == bool(button)
    panel = desk.panel(SILVER)
    panel.locator("input[type=range]").first.focus()
    before = panel.locator("output").first.inner_text()
    for _ in range(5):
        desk.page.keyboard.press("ArrowRight")
    desk.changes(panel.locator("output").first, before)
    assert panel.locator("input[type=range]:focus").count() == 1


def squeezed(words):
    """The words without spaces, line ends and quotes inside: how a page wraps them is no matter."""
    return "".join(words.replace('\\"', "").split())


def test_every_choice_is_read_with_its_question_and_axe_finds_nothing(desk):
    axe = pytest.importorskip(
        "axe_playwright_python.sync_playwright", reason="axe-playwright-python is not installed"
    )
    desk.open()
    desk.run_all("for a screen reader")
    for title, _, answer in LESSON.values():
        panel = desk.panel(title).locator(".eqlib-sheet")
        _, *groups = re.split("-'?group\"", squeezed(panel.aria_snapshot()))
        assert "reason" not in answer or any(group.startswith('Because"') for group in groups), groups
        for part in panel.locator("fieldset").all():
            question = squeezed(part.locator("legend").text_content())
            read = next(group for group in groups if group.startswith(f'{question}"'))
            for choice in part.locator("label").all_inner_texts():
                assert f'radio"{squeezed(choice)}"' in read, (question, choice, read)
    predict(desk, "silver")
    see(desk, "silver")
    desk.press(SILVER, "Try other amounts")
    desk.shows(SILVER, "Strength of the bottle")
    predict(desk, "q")
    for theme in ("light", "dark"):
        if theme == "dark":
            desk.theme(theme)
        for title in (IRON, SILVER, Q):
            desk.panel(title)
            found = axe.Axe().run(desk.page, context=".eqlib-sheet")
            said = [
                (v["id"], [node["html"][:160] for node in v["nodes"]][:3])
                for v in found.response["violations"]
            ]
            assert not said, (theme, title, said)
        assert desk.faint() == []
    desk.theme("light")  # the next test opens the same JupyterLab
    assert desk.nameless() == []


def test_a_hundred_clicks_right_after_typing_lose_nothing(desk):
    desk.open()
    desk.run_all("for clicks")
    panel = desk.panel(Q)
    field, button = panel.locator("[name='q/fe']"), panel.get_by_role("button", name="Record my answer")
    desk.choose(Q, Q="50.1", direction="forward")
    lost = []
    for number in range(100):
        typed = f"{1.01 + number / 100:.2f}e-3"
        field.click()
        field.press("Control+a")
        field.press_sequentially(typed, delay=2)
        desk.press_where_it_is_seen(button)
        if not held_in_journal(desk, typed):
            lost.append((typed, field.input_value(), panel.locator(".state").inner_text()))
    assert lost == []


def test_a_click_counts_although_the_page_moves_under_it(desk):
    desk.open()
    desk.run_all("for a page that moves")
    panel = desk.panel(Q)
    desk.choose(Q, fe="2.1e-3", Q="50.1", direction="forward")
    button = panel.get_by_role("button", name="Record my answer")
    desk.press_where_it_is_seen(
        button,
        meanwhile="""() => {
      document.querySelector('.jp-WindowedPanel-outer').scrollBy(0, 60);
    }""",
    )
    assert held_in_journal(desk, "2.1e-3")
    desk.choose(Q, fe="2.2e-3")
    button.hover()
    desk.page.mouse.down()
    desk.page.mouse.move(5, 5)  # whoever moves off before letting go has changed their mind
    desk.page.mouse.up()
    desk.shows(Q, "Changed, not recorded yet")


def held_in_journal(desk, typed, seconds=60):
    """Does the journal come to hold this answer after the click?"""
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        for path in desk.path.parent.glob("answers-*.journal.json"):
            records = json.loads(path.read_text("utf-8"))["records"].values()
            if any(theirs["q"]["answer"]["fe"] == typed for theirs in records if "q" in theirs):
                return True
        desk.page.wait_for_timeout(25)
    return False


def test_nothing_is_lost_by_reloading_restarting_clearing_or_a_dead_kernel(desk):
    desk.open()
    desk.run_all("first")
    predict(desk, "silver")
    desk.save()
    receipt = recorded(desk)["silver"].receipt

    desk.reload("reloaded")  # the kernel lives: the panel works on, and what it records reaches the notebook
    desk.shows(SILVER, "Recorded")
    desk.choose(SILVER, seen="paler")
    desk.shows(SILVER, "Changed, not recorded yet")
    desk.press(SILVER, "Record my prediction")
    desk.shows(SILVER, "in this notebook")
    desk.save()
    assert recorded(desk)["silver"].answer["seen"] == "paler"

    desk.restart("restarted")  # between record and outcome the kernel is gone
    desk.choose(SILVER, seen="darker")  # nobody hears this: the panel steps back, the record comes forward
    desk.shows(SILVER, "Recorded ✓")
    desk.run(SILVER, "run again")
    see(desk, "silver")
    desk.save()
    again = recorded(desk)["silver"]
    assert again.answer["seen"] == "paler"
    assert again.revealed_at is not None
    assert [entry["answer"]["seen"] for entry in again.history] == ["same"]
    assert receipt != again.receipt

    desk.clear("cleared")
    desk.run_all("run after clearing")
    desk.shows(SILVER, "you said")
    desk.save()
    assert recorded(desk)["silver"].receipt == again.receipt
    assert desk.errors == []


def test_a_copy_without_its_questions_keeps_every_record(desk, lab):
    desk.open()
    desk.run_all("first")
    predict(desk, "silver")
    see(desk, "silver")
    desk.save_until(lambda: recorded(desk)["silver"].revealed_at is not None)
    held = recorded(desk)["silver"]
    other = desk.path.parent.parent / "elsewhere"
    other.mkdir(exist_ok=True)
    shutil.copy(desk.path, other / desk.path.name)
    desk.path, desk.address = other / desk.path.name, f"{lab[0]}/lab/tree/elsewhere/{desk.path.name}"
    desk.page.goto(desk.address + "?reset")
    desk.ready("opened elsewhere")
    desk.shows(SILVER, "Recorded ✓")  # a copy that came from elsewhere is not trusted: the words are there
    desk.shows(SILVER, "before: deep orange")
    picture = desk.panel(SILVER).locator("img")  # and the last picture
    assert picture.evaluate("it => it.offsetHeight > 100 && it.naturalWidth > 200")
    assert picture.get_attribute("alt").startswith("before: ")
    desk.menu("Run", "Run All Cells")
    desk.page.get_by_text("questions.toml").first.wait_for()
    desk.ready("run without questions")
    desk.save()
    assert recorded(desk)["silver"].receipt == held.receipt


def test_one_question_in_the_plain_notebook_interface_recorded_done_and_marked(desk, lab, tmp_path):
    """Notebook 7, as many hosted services show it."""
    desk.page.goto(f"{lab[0]}/notebooks/{desk.path.parent.name}/{desk.path.name}")
    desk.page.wait_for_selector(".jp-Notebook .jp-Cell")
    desk.page.wait_for_timeout(3000)
    desk.menu("Run", "Run All Cells")
    desk.page.locator(".eqlib-sheet").first.wait_for()
    desk.page.wait_for_timeout(2000)
    predict(desk, "silver")
    see(desk, "silver")
    desk.save()
    assert recorded(desk)["silver"].revealed_at is not None
    course = make_course(tmp_path / "course")
    name = desk.path.stem
    shutil.copytree(desk.path.parent, course.root / "submitted" / "n7" / name)
    (row,) = grade(course.root, name, 1, feedback=False).rows
    silver = next(question for question in row.questions if question.question == "silver")
    assert 0 < silver.points < silver.max_points / 2  # of five parts, that K stays is right
    assert silver.mistakes == ("not_in_equation",)
