"""Outputs: escaped, captioned, readable without any style, and the same in plain text."""

from html.parser import HTMLParser

import pytest

from eqlib.notebook import Lesson
from eqlib.notebook.display import bundle, words_of
from eqlib.notebook.display_outcome import in_print, number
from eqlib.notebook.style import box, details, items, notice, paragraph, table

NASTY = "<script>alert('1')</script>\" onload=\"x"
VOID = {"br", "img", "hr", "input"}


class Balanced(HTMLParser):
    """Collects tags and makes sure that each is closed where it should be."""

    def __init__(self, page):
        super().__init__()
        self.open, self.seen = [], []
        self.feed(page)
        self.close()
        assert self.open == []

    def handle_starttag(self, tag, attributes):
        self.seen.append((tag, dict(attributes)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag


@pytest.mark.parametrize(
    "page",
    [
        paragraph(NASTY),
        notice(NASTY, start=NASTY),
        table(NASTY, [(NASTY, NASTY)], (NASTY, NASTY)),
        items([NASTY]),
        details(NASTY, paragraph(NASTY)),
        box(paragraph(NASTY), label=NASTY, status=True),
    ],
)
def test_whatever_is_shown_is_escaped(page):
    tags = Balanced(page).seen
    assert all(tag != "script" for tag, _ in tags)
    assert all(not name.startswith("on") for _, attributes in tags for name in attributes)


def test_a_table_has_a_caption_and_headers():
    tags = Balanced(table("A caption", [("row", "cell")], ("head", "column"))).seen
    names = [tag for tag, _ in tags]
    assert "caption" in names
    assert [attributes["scope"] for tag, attributes in tags if tag == "th"] == ["col", "col", "row"]


def test_plain_text_is_what_a_reader_sees():
    page = "<style>.a{color:red}</style><p>One &amp; two</p><table><tr><th>a</th><td>b</td></tr></table>"
    assert words_of(page) == "One & two\na b"
    assert bundle(page)["text/plain"] == "One & two\na b"


@pytest.mark.parametrize(
    ("value", "shown"),
    [
        (0.0, "0"),
        (139.2, "139"),
        (0.00123, "0.00123"),
        (6.912e-5, "6.91 × 10⁻⁵"),
        (9.9999e-5, "1.00 × 10⁻⁴"),
        (-0.000069, "-6.90 × 10⁻⁵"),
        (123456.0, "1.23 × 10⁵"),
        (4700, "4700"),
        (float("inf"), "infinite"),
    ],
)
def test_computed_numbers_are_printed_to_three_figures(value, shown):
    assert number(value) == shown


def test_formulas_and_powers_are_printed_as_on_paper():
    plain = "Fe^3+ + SCN^- <=> FeSCN^2+; 2.75e-07 mol; AgSCN(s); [Ag(NH3)2^+]; pH 7; Xx^2+"
    assert in_print(plain) == "Fe³⁺ + SCN⁻ ⇌ FeSCN²⁺; 2.75 × 10⁻⁷ mol; AgSCN(s); [Ag(NH₃)₂⁺]; pH 7; Xx^2+"


def test_every_output_of_a_lesson_is_whole_html(folder, screen):
    lesson = Lesson(folder)
    lesson.store.save("iron", {"direction": "forward", "K": "same"})
    for call in (lesson.intro, lesson.student, lesson.try_it, lesson.receipt):
        call()
    for question in ("iron", "kc", "why"):
        lesson.ask(question)
    lesson.reveal("iron")
    lesson.check("iron")
    lesson.bench("iron-thiocyanate")
    pages = [
        data["text/html"]
        for data in screen.outputs.values()
        if isinstance(data, dict) and "text/html" in data
    ]
    assert len(pages) > 6
    for page in pages:
        tags = Balanced(page).seen
        assert all(attributes.get("alt") for tag, attributes in tags if tag == "img")


def test_a_title_from_a_question_file_cannot_bring_markup(folder, screen):
    path = folder / "questions.toml"
    path.write_text(path.read_text("utf-8").replace("More iron(III)", "<b onclick=x>More</b>"), "utf-8")
    lesson = Lesson(folder)
    lesson.store.save("iron", {"direction": "forward", "K": "same"})
    lesson.receipt()
    lesson.reveal("iron")
    for data in screen.outputs.values():
        if isinstance(data, dict):
            assert "<b onclick" not in data.get("text/html", "")


def test_the_receipt_lists_what_is_there_and_what_is_missing(folder, screen):
    import json

    lesson = Lesson(folder)
    record = lesson.store.save("iron", {"direction": "forward", "K": "same"}).record
    lesson.receipt()
    assert "1 of 6 questions" in screen.text
    assert "3 of 13 points" in screen.text
    assert "not yet" in screen.text
    (folder / "a.ipynb").write_text(json.dumps(notebook_holding(record)), "utf-8")
    screen.clear()
    lesson.receipt()
    assert "not yet" not in screen.text
    assert record.receipt in screen.text
    assert "In your own words" in screen.text.split("Still to do")[0]
    assert "written, 3 words" in screen.text


def notebook_holding(record):
    """A saved notebook with one answer, and a written one."""
    from eqlib.assess.records import MIME

    output = {"output_type": "display_data", "metadata": {}, "data": {MIME: record.to_dict()}}
    grading = {"grade_id": "why", "grade": True, "solution": True}
    return {
        "cells": [
            {"cell_type": "code", "source": "", "metadata": {}, "outputs": [output]},
            {"cell_type": "markdown", "source": ["Q is smaller"], "metadata": {"nbgrader": grading}},
        ],
        "metadata": {},
    }
