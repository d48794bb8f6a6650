"""What is clicked in JupyterLab stays: through saving, reloading, restarting, clearing and running again."""

import pytest

from eqlib.assess.answers import MIME, collect

pytestmark = [pytest.mark.browser, pytest.mark.xdist_group("browser"), pytest.mark.timeout(300)]

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


def predict(desk, question="iron"):
    """Fill in the form of a prediction and record it."""
    cell = desk.cell(f'lesson.ask("{question}")')
    for words in CHOICES:
        cell.locator(".widget-radio-box label").get_by_text(words).first.click()
    cell.get_by_role("button", name="Record my prediction").click()
    cell.get_by_text("Recorded ✓").wait_for()
    return cell


def test_a_recorded_prediction_cannot_be_lost(desk):
    desk.open()
    desk.run_all("run for the first time")
    desk.shows('lesson.reveal("iron")', "Record your prediction")
    cell = predict(desk)
    desk.look("predicted")
    receipt = cell.locator("code").first.inner_text()
    desk.run('lesson.reveal("iron")', "revealed")
    desk.save()
    assert recorded(desk.content())["iron"].receipt == receipt
    desk.reload("reloaded")
    desk.shows('lesson.ask("iron")', receipt)
    desk.restart("restarted")
    desk.shows('lesson.ask("iron")', receipt)
    desk.save()
    desk.reload("reloaded after restart")
    desk.clear("cleared")
    desk.run_all("run again")
    cell = desk.cell('lesson.ask("iron")')
    desk.shows('lesson.ask("iron")', receipt)
    assert cell.locator("input[type=radio]:checked").count() == len(CHOICES)
    desk.save()
    assert recorded(desk.content())["iron"].receipt == receipt
    assert desk.errors == []
