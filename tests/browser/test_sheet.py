"""A sheet's page by itself, without JupyterLab: nothing typed, chosen or clicked is lost, whatever is drawn
meanwhile. The other end is played by the test: it sees every message, and answers when it likes.
"""

from pathlib import Path

import pytest

import eqlib.notebook

pytestmark = [pytest.mark.browser, pytest.mark.xdist_group("browser"), pytest.mark.timeout(120)]
HERE = Path(eqlib.notebook.__file__).parent
FORM = """<form onsubmit="return false"><input type="text" name="q/fe">
<label><input type="radio" name="q/way" value="left">left</label></form>"""
GO = '<button type="button" data-do="record">Record</button><span data-say="state"></span>'
STAND_IN = """page => {
  const heard = {};
  window.sent = [];
  window.model = {
    page, get: () => window.model.page, off() {}, send: (message) => window.sent.push(message),
    on: (what, call) => { heard[what] = call; },
    put: (sections) => {
      window.model.page = { ...window.model.page, sections };
      heard['change:page']();
    },
    hear: (number) => heard['msg:custom']({ heard: number }),
  };
}"""


@pytest.fixture
def page(browser):
    made = browser.new_page()
    made.set_content("<body><div style='height:40px' id=above></div><div id=sheet></div></body>")
    made.evaluate(STAND_IN, {"sections": [["form", FORM], ["go", GO]], "say": {}, "off": []})
    script = (
        (HERE / "sheet.js")
        .read_text("utf-8")
        .replace("export default { render };", "window.render = render;")
    )
    made.add_script_tag(content=script)
    made.evaluate("() => { render({ model, el: document.querySelector('#sheet') }); }")
    yield made
    made.close()


def records(page):
    return page.evaluate("() => sent.filter((m) => m.what === 'record')")


def test_what_is_typed_stands_though_the_form_is_drawn_anew(page):
    field = page.locator("[name='q/fe']")
    field.click()
    page.keyboard.type("2.1e")
    page.evaluate(
        "f => model.put([['form', f + ' '], ['go', '']])", FORM
    )  # overtaken: Python knows nothing of it yet
    page.keyboard.type("-3")
    assert field.input_value() == "2.1e-3"
    page.wait_for_function("() => sent.some((m) => m.values['q/fe'] === '2.1e-3')")
    last = page.evaluate("() => sent.at(-1).number")
    page.evaluate("n => model.hear(n)", last)
    page.evaluate("f => model.put([['form', f], ['go', '']])", FORM.replace("<input", '<input value="7"', 1))
    assert field.input_value() == "7"  # now Python has listened, and what it draws is so


def test_a_click_counts_though_the_page_moves_between_press_and_release(page):
    box = page.locator("[data-do=record]").bounding_box()
    page.mouse.move(box["x"] + 5, box["y"] + 5)
    page.mouse.down()
    page.evaluate("() => { document.querySelector('#above').style.height = '200px'; }")
    page.mouse.up()
    page.wait_for_function("() => sent.some((m) => m.what === 'record')")
    assert len(records(page)) == 1


def test_a_pointer_that_moves_off_has_changed_its_mind_and_a_plain_click_counts_once(page):
    box = page.locator("[data-do=record]").bounding_box()
    page.mouse.move(box["x"] + 5, box["y"] + 5)
    page.mouse.down()
    page.mouse.move(600, 300)
    page.mouse.up()
    page.wait_for_timeout(50)
    assert records(page) == []
    page.locator("[data-do=record]").click()
    page.wait_for_timeout(50)
    assert len(records(page)) == 1


def test_nothing_is_drawn_while_the_pointer_is_down(page):
    box = page.locator("[data-do=record]").bounding_box()
    page.mouse.move(box["x"] + 5, box["y"] + 5)
    page.mouse.down()
    page.evaluate("f => model.put([['form', '<p>new</p>' + f], ['go', '']])", FORM)
    assert page.locator("[data-do=record]").count() == 1
    page.mouse.up()
    page.wait_for_function("() => !document.querySelector('[data-do=record]')")
    assert len(records(page)) == 1


def test_enter_in_a_field_records_what_stands_there(page):
    page.locator("[name='q/fe']").click()
    page.keyboard.type("1,5e2")
    page.keyboard.press("Enter")
    assert records(page)[0]["values"]["q/fe"] == "1,5e2"


def test_a_message_after_the_kernel_is_gone_makes_the_sheet_step_back(page):
    page.evaluate("() => { model.send = () => { throw new Error('comm closed'); }; }")
    page.locator("[data-do=record]").click()
    assert page.evaluate("() => document.querySelector('#sheet').classList.contains('eqlib-silent')")
    page.evaluate("() => model.hear(1)")
    assert not page.evaluate("() => document.querySelector('#sheet').classList.contains('eqlib-silent')")


def test_who_has_gone_on_typing_is_not_taken_elsewhere_by_an_answer_that_comes_late(page):
    # The focus goes to the next button after a record, but not from a field in which somebody types already.
    page.locator("[data-do=record]").click()
    field = page.locator("[name='q/fe']")
    field.click()
    page.keyboard.type("2.")
    page.evaluate(
        "() => { model.page.focus = { id: 'a', on: '[data-do=record]' }; model.put(model.page.sections); }"
    )
    page.keyboard.type("00e-3")
    assert field.input_value() == "2.00e-3"
    page.locator("[data-do=record]").focus()
    page.evaluate(
        "() => { model.page.focus = { id: 'b', on: '[type=radio]' }; model.put(model.page.sections); }"
    )
    assert page.evaluate("() => document.activeElement.type") == "radio"


def test_what_is_selected_stays_selected(page):
    field = page.locator("[name='q/fe']")
    field.fill("1.95e-3")
    field.press("Control+a")
    page.evaluate("f => model.put([['form', f + ' '], ['go', '']])", FORM)
    page.keyboard.type("1.96e-3")
    assert field.input_value() == "1.96e-3"
