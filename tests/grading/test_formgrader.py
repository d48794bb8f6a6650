"""The formgrader in Chromium: a mark typed beside its rubric is kept; nothing of a student's runs."""

import importlib.util
import sqlite3
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from nbformat.v4 import new_code_cell, new_markdown_cell, new_output

from eqlib.grading import bulk

pytestmark = [
    pytest.mark.slow,
    pytest.mark.browser,
    pytest.mark.xdist_group("browser"),
    pytest.mark.timeout(600),
]
#: Each would leave a sign if it ran.
SIGN = "window.RAN = 1; document.title = 'RAN'"
SCRIPTS = [
    f"<script>{SIGN}</script>",
    f'<img src="x" onerror="{SIGN}">',
    f'<svg onload="{SIGN}"><script>{SIGN}</script></svg>',
    f'<iframe srcdoc="<script>parent.{SIGN}</script>"></iframe>',
    f'<details open ontoggle="{SIGN}">x</details>',
]


def browser_tests():
    """How the browser tests start JupyterLab and Chromium."""
    place = Path(__file__).parents[1] / "browser" / "conftest.py"
    spec = importlib.util.spec_from_file_location("browser_tests", place)
    made = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(made)
    return made


def hand_in_with_scripts(tiny):
    work = tiny.work("s01", words=f"Because of Q. {' '.join(SCRIPTS)}")
    book = tiny.book(work)
    outputs = [new_output("display_data", data={"text/html": text}) for text in SCRIPTS]
    outputs.append(new_output("display_data", data={"application/javascript": SIGN}))
    book.cells += [new_code_cell("1", outputs=outputs), *map(new_markdown_cell, SCRIPTS)]
    tiny.hand_in(work, book)


def by_hand(root):
    """The mark that a person gave to "why", and the comment beside it."""
    with sqlite3.connect(root / "gradebook.db") as book:
        (mark,) = book.execute(
            "select manual_score from grade g join base_cell c on c.id = g.cell_id where c.name = 'why'"
        ).fetchone()
        (words,) = book.execute(
            "select manual_comment from comment g join base_cell c on c.id = g.cell_id where c.name = 'why'"
        ).fetchone()
    return mark, words


def press(row, column):
    """Click the sign in this column of a submission's row; what the box says that tells how it went."""
    row.locator(f"td.{column} a").click()
    box = row.page.locator("#success-modal, #error-modal")
    box.wait_for()
    said = box.inner_text()
    box.locator(".modal-footer button").click()
    box.wait_for(state="detached")
    return said


def ran(page):
    page.wait_for_timeout(500)
    return page.evaluate("window.RAN") == 1 or page.title() == "RAN"


def type_in(page, score, comment):
    """The mark and the comment of the explanation, each sent as its field is left."""
    page.locator("input#why").fill(score)
    with page.expect_response(lambda answer: "/api/grade/" in answer.url):
        page.locator("textarea.comment").last.fill(comment)
    with page.expect_response(lambda answer: "/api/comment/" in answer.url):
        page.locator("input#why").focus()


def test_a_mark_typed_beside_its_rubric_is_kept_and_no_script_runs(tiny, tmp_path):
    """In a thread of its own: the browser tests that came before may still hold this one's driver."""
    with ThreadPoolExecutor(1) as thread:
        thread.submit(in_the_formgrader, tiny, tmp_path).result()


def in_the_formgrader(tiny, tmp_path):
    lab = browser_tests()
    chromium = lab.chromium()
    api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed, so no browser test")
    hand_in_with_scripts(tiny)
    bulk.grade(tiny.root, "tiny")
    with sqlite3.connect(tiny.root / "gradebook.db") as book:
        (notebook,) = book.execute("select id from submitted_notebook").fetchone()
    pages = (tiny.root / "feedback" / "s01" / "tiny" / "tiny.html").as_uri()
    typed = (1.5, "Say which way Q moves.")
    with api.sync_playwright() as driver, lab.lab_server(tiny.root, tmp_path) as address:
        browser = driver.chromium.launch(executable_path=chromium, args=lab.FLAGS)
        page = browser.new_page()
        page.set_default_timeout(120_000)
        # Each of them does run on a page that was not made safe.
        for script in SCRIPTS:
            page.set_content(script)
            assert ran(page), script
            page.goto("about:blank")

        page.goto(f"{address}/formgrader/submissions/{notebook}")
        page.locator("input#why").wait_for()
        text = page.locator("body").inner_text()
        assert text.index("For the marker") < text.index("says why") < text.index("Because of Q.")
        assert not ran(page)
        type_in(page, *map(str, typed))
        assert by_hand(tiny.root) == typed

        page.goto(f"{address}/formgrader/manage_submissions/tiny")
        row = page.locator("tr", has=page.locator("td.student-id:text-is('s01')"))
        assert "Successfully" in press(row, "autograde")
        assert by_hand(tiny.root) == typed
        bulk.grade(tiny.root, "tiny", force=True)
        assert by_hand(tiny.root) == typed

        for made_by in ("eqlib grade", "the button"):
            if made_by == "the button":
                assert "Successfully" in press(row, "generate-feedback")
            sheet = browser.new_page()
            sheet.goto(pages)
            assert not ran(sheet), made_by
            shown = sheet.locator("body").inner_text()
            assert "Say which way Q moves." in shown, made_by
            assert "1.5" in shown, made_by
        browser.close()
