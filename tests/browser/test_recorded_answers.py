"""What is clicked in JupyterLab stays: through saving, reloading, restarting, clearing and running again."""

import re

import pytest

from eqlib.assess.records import collect

pytestmark = [pytest.mark.browser, pytest.mark.xdist_group("browser"), pytest.mark.timeout(300)]

ASK, REVEAL, CHECK = 'lesson.ask("iron")', 'lesson.reveal("iron")', 'lesson.check("iron")'
CHOICES = (
    "towards the products",
    "darker",
    "lower",
    "K stays the same",
    "Right after the change Q is smaller than K",
)


def recorded(content):
    """Every answer in a notebook's content, by question."""
    found = collect(content)
    assert found.problems == []
    return found


def predict(desk):
    """Fill in the form of the first prediction, record it, and give its receipt."""
    cell = desk.cell(ASK)
    for words in CHOICES:
        cell.locator(".widget-radio-box label").get_by_text(words).first.click()
    cell.get_by_role("button", name="Record my prediction").click()
    cell.get_by_text("Recorded ✓").wait_for()
    return cell.locator(".eqlib-record code").first.inner_text()


def test_a_recorded_prediction_cannot_be_lost(desk):
    desk.open()
    desk.run_all("run for the first time")
    desk.shows(REVEAL, "Record your prediction")
    receipt = predict(desk)
    desk.shows(CHECK, receipt)
    desk.run(REVEAL, "revealed")
    desk.shows(REVEAL, "It shifts towards the products")
    desk.save()
    assert recorded(desk.content())["iron"].receipt == receipt

    desk.reload("reloaded")
    desk.shows(ASK, receipt)
    desk.tour("reloaded")
    desk.restart("restarted")
    desk.shows(ASK, receipt)
    desk.save()
    desk.reload("reloaded after the restart")
    desk.shows(ASK, receipt)
    desk.tour("reloaded after the restart")
    assert recorded(desk.content())["iron"].receipt == receipt

    desk.clear("cleared")
    desk.run_all("run again")
    desk.shows(ASK, receipt)
    desk.shows(REVEAL, "It shifts towards the products")
    desk.save()
    assert recorded(desk.content())["iron"].receipt == receipt
    assert desk.errors == []


def test_an_open_form_that_was_never_answered_sleeps_and_wakes(desk):
    desk.open()
    desk.run_all("opened forms")
    desk.cell(ASK).get_by_role("button", name="Record my prediction").wait_for()
    desk.save()
    desk.reload("reloaded with open forms")
    desk.tour("reloaded with open forms")
    desk.shows(ASK, "To open the form")
    assert desk.cell(ASK).get_by_role("button", name="Record my prediction").count() == 0
    desk.restart("restarted with open forms")
    desk.shows(ASK, "To open the form")
    desk.run("lesson = Lesson()", "lesson again")
    desk.run(ASK, "form again")
    receipt = predict(desk)
    desk.save()
    assert recorded(desk.content())["iron"].receipt == receipt


def test_the_keyboard_alone_is_enough_and_everything_has_a_name(desk):
    desk.open()
    desk.run_all("for the keyboard")
    cell = desk.cell(ASK)
    groups = cell.locator(".widget-radio")
    groups.first.wait_for()
    groups.first.locator("input").first.focus()
    for number in range(len(CHOICES)):
        wanted = groups.nth(number).locator("label", has_text=CHOICES[number]).locator("input").first
        for _ in range(30):
            if wanted.evaluate("field => field === document.activeElement"):
                break
            desk.page.keyboard.press("Tab")
        assert wanted.evaluate("field => field === document.activeElement"), CHOICES[number]
        outline = wanted.evaluate("field => getComputedStyle(field).outlineStyle")
        assert outline != "none"
        desk.page.keyboard.press("Space")
    button = cell.get_by_role("button", name="Record my prediction")
    for _ in range(30):
        if button.evaluate("field => field === document.activeElement"):
            break
        desk.page.keyboard.press("Tab")
    desk.page.keyboard.press("Space")
    cell.get_by_text("Recorded ✓").wait_for()
    status = cell.locator("[role=status]").all_inner_texts()
    assert any(re.search("Recorded", words) for words in status)
    desk.run(REVEAL, "revealed by keyboard")
    desk.shows(REVEAL, "Concentrations")
    assert desk.nameless() == []
    assert desk.faint() == []
