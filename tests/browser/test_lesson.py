"""The lesson in JupyterLab: done by mouse, by keyboard alone, read by a screen reader, and nothing lost."""

import json
import shutil
import time

import pytest

from eqlib.assess.records import collect

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
        {"direction": "reverse", "seen": "paler", "K": "same", "reason": "paler_is_left"},
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
    for _ in range(
        10
    ):  # the page may still be on its way to the last answer when the notebook is first saved
        desk.save()
        found = recorded(desk)
        if set(LESSON) <= set(found):
            break
        desk.page.wait_for_timeout(1000)
    for name, (_, _, answer) in LESSON.items():
        assert {part: found[name].answer[part] for part in answer} == answer
        assert (found[name].revealed_at is not None) == bool(LESSON[name][1])
    assert desk.errors == []


def test_the_keyboard_alone_is_enough(desk):
    desk.open()
    desk.run_all("for the keyboard")
    page, panel = desk.page, desk.panel(SILVER)
    panel.locator("input[type=radio]").first.focus()
    steps = {"direction": 0, "seen": 2, "precipitate": 1, "K": 1, "reason": 3, "confidence": 2}
    for part, downs in steps.items():
        here = panel.locator("input:focus")
        assert here.get_attribute("name") == f"silver/{part}"
        page.keyboard.press("Space")
        for _ in range(downs):
            page.keyboard.press("ArrowDown")
        assert panel.locator(f"input[name='silver/{part}']:checked").count() == 1
        page.keyboard.press("Tab")
    assert page.evaluate("() => document.activeElement.dataset.do") == "record"
    page.keyboard.press("Enter")
    panel.get_by_text("Recorded ").first.wait_for()
    page.wait_for_function("() => document.activeElement?.dataset.do === 'doit'")
    page.keyboard.press("Enter")
    page.wait_for_function("() => document.activeElement?.dataset.do === 'skip'")
    page.keyboard.press("Enter")
    page.wait_for_function("() => document.activeElement?.dataset.do === 'try'")
    page.keyboard.press("Enter")
    page.wait_for_function("() => document.activeElement?.type === 'range'")
    before = panel.locator("output").first.inner_text()
    for _ in range(5):
        page.keyboard.press("ArrowRight")
    page.wait_for_function(
        "was => document.querySelector('.eqlib-sheet output').textContent !== was", arg=before
    )
    assert panel.locator("input[type=range]:focus").count() == 1


def test_every_choice_is_read_with_its_question_and_axe_finds_nothing(desk):
    axe = pytest.importorskip(
        "axe_playwright_python.sync_playwright", reason="axe-playwright-python is not installed"
    )
    desk.open()
    desk.run_all("for a screen reader")
    tree = desk.panel(SILVER).locator(".eqlib-sheet").aria_snapshot()
    groups = [line.strip() for line in tree.splitlines() if "group " in line]
    for name in ("Shift", "Colour", "A solid", "K", "Because", "How sure"):
        assert any(f'group "{name}"' in line for line in groups), tree
    assert 'radio "paler"' in tree
    predict(desk, "silver")
    see(desk, "silver")
    desk.press(SILVER, "Try other amounts")
    desk.shows(SILVER, "Strength of the bottle")
    predict(desk, "q")
    for theme in ("light", "dark"):
        if theme == "dark":
            desk.page.evaluate("() => { document.body.dataset.jpThemeLight = 'false'; }")
        for title in (IRON, SILVER, Q):
            desk.panel(title)
            found = axe.Axe().run(desk.page, context=".eqlib-sheet")
            said = [
                (v["id"], [node["html"][:160] for node in v["nodes"]][:3])
                for v in found.response["violations"]
            ]
            assert not said, (theme, title, said)
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
    desk.save()
    held = recorded(desk)["silver"]
    other = desk.path.parent.parent / "elsewhere"
    other.mkdir(exist_ok=True)
    shutil.copy(desk.path, other / desk.path.name)
    desk.path, desk.address = other / desk.path.name, f"{lab[0]}/lab/tree/elsewhere/{desk.path.name}"
    desk.page.goto(desk.address + "?reset")
    desk.ready("opened elsewhere")
    desk.shows(SILVER, "Recorded ✓")  # a copy that came from elsewhere is not trusted; the words are there
    desk.menu("Run", "Run All Cells")
    desk.page.get_by_text("questions.toml").first.wait_for()
    desk.ready("run without questions")
    desk.save()
    assert recorded(desk)["silver"].receipt == held.receipt


def test_one_question_in_the_plain_notebook_interface(desk, lab):
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
