"""The lesson in JupyterLab, what takes minutes more: EQLIB_EVERY=1 pytest tests/browser/test_on_demand.py"""

import importlib.util
import os
from pathlib import Path

import pytest

pytestmark = [
    pytest.mark.browser,
    pytest.mark.xdist_group("browser"),
    pytest.mark.timeout(600),
    pytest.mark.skipif(
        not os.environ.get("EQLIB_EVERY"), reason="takes minutes; EQLIB_EVERY=1 runs it (see the file's head)"
    ),
]

_beside = importlib.util.spec_from_file_location("lesson", Path(__file__).with_name("test_lesson.py"))
lesson = importlib.util.module_from_spec(_beside)
_beside.loader.exec_module(lesson)
LESSON, SILVER, SURE = lesson.LESSON, lesson.SILVER, lesson.SURE

HERE = """() => {
  const at = document.activeElement;
  const group = [...document.querySelectorAll(`input[name="${at.name}"]`)];
  const values = group.map((field) => field.value);
  return { does: at.dataset.do ?? '', name: at.name ?? '', type: at.type ?? '', values };
}"""


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
        held = lesson.recorded(desk)[name]
        assert {part: held.answer[part] for part in answer} == answer
        assert (held.revealed_at is not None) == bool(button)


def test_a_renamed_notebook_keeps_its_records_and_takes_more(desk):
    desk.open()
    desk.run_all("first")
    lesson.predict(desk, "silver")
    desk.save_with(["silver"])
    receipt = lesson.recorded(desk)["silver"].receipt
    desk.rename("my own name.ipynb")
    lesson.predict(desk, "q")
    desk.save_with(["silver", "q"])
    assert lesson.recorded(desk)["silver"].receipt == receipt


def test_nothing_is_faint_in_the_dark_theme_of_jupyterlab(desk):
    axe = pytest.importorskip(
        "axe_playwright_python.sync_playwright", reason="axe-playwright-python is missing"
    )
    desk.open()
    desk.run_all("in the dark")
    lesson.predict(desk, "silver")
    lesson.see(desk, "silver")
    desk.theme("dark")
    for title in (lesson.IRON, SILVER):
        desk.panel(title)
        found = axe.Axe().run(desk.page, context=".eqlib-sheet")
        assert [v["id"] for v in found.response["violations"]] == [], title
    assert desk.faint() == []
    desk.theme("light")
