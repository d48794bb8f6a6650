"""Files nobody would think of: each is marked as far as it goes or named in a line, and never crashes.

No code is run here: what is read, marked and turned into a page comes from the files alone.
"""

import copy
import json
import re
from dataclasses import replace

import pytest
from nbformat.v4 import new_code_cell, new_notebook, new_output
from nbgrader.preprocessors import ClearHiddenTests

from eqlib.assess.records import MIME
from eqlib.grading.course import Book, Paper
from eqlib.grading.desk import Desk, NotFinished, Task, do
from eqlib.grading.gradebook import Standing
from eqlib.grading.intake import HandedIn, collect_files, printable, submitted, whole
from eqlib.grading.page import for_student
from eqlib.grading.preprocessors import links_in

WRONG = {"direction": "none", "K": "same", "reason": "q_equals_K"}
#: What the tiny assignment's question of data is worth.
WORTH = 4


@pytest.fixture
def desk(tiny):
    tiny.course.register("tiny")
    paper = tiny.course.paper("tiny")

    def mark(data, student="s01", **files):
        data = data if isinstance(data, bytes) else json.dumps(data).encode()
        given = HandedIn(student, {"tiny.ipynb": data, **files})
        done = do(paper, Task(given, Standing(), page=True), None)
        # What comes back is written to disk and to the terminal as it is.
        for made in done.result.books.values():
            assert json.loads(made.notebook)["nbformat"] == 4
        assert all("\x1b" not in printable(line) for line in done.result.notes)
        return done

    return mark


def water(done):
    return done.result.books["tiny"].grades["water"].auto


def changed(tiny, change):
    """An honest notebook, right in "water", with something done to its JSON."""
    book = json.loads(json.dumps(tiny.book(tiny.work("s01"))))
    change(book)
    return book


def outputs_everywhere(output):
    def change(book):
        for cell in book["cells"]:
            if cell["cell_type"] == "code":
                cell["outputs"].append(output)

    return change


def metadata_everywhere(value):
    def change(book):
        for cell in book["cells"]:
            cell["metadata"].setdefault("extra", value)
            cell["metadata"]["tags"] = value

    return change


def shown(data):
    return {"output_type": "display_data", "data": data, "metadata": {}}


HARMLESS = {
    "half a surrogate pair printed": outputs_everywhere(
        {"output_type": "stream", "name": "stdout", "text": "\ud83d"}
    ),
    "half a surrogate pair shown": outputs_everywhere(
        shown({"text/html": "<b>\udc00</b>", "text/plain": "\ud800"})
    ),
    "outputs that are none": lambda book: [
        c.update(outputs=[*c["outputs"], 7, None, {}]) for c in book["cells"] if "outputs" in c
    ],
    "an output with a list of numbers for text": outputs_everywhere(shown({"text/plain": [1, 2, None]})),
    "metadata that is text": metadata_everywhere("words"),
    "metadata that is deep": metadata_everywhere([[[[[[[[]]]]]]]]),
    "a picture that is none": outputs_everywhere(shown({"image/png": "not base64 at all"})),
    "a drawing that never ends": outputs_everywhere(shown({"text/html": "<svg>" * 20_000})),
    "a comment that never ends": outputs_everywhere(shown({"text/html": "<!--" * 50_000})),
    "an attribute that never ends": outputs_everywhere(shown({"text/html": "<a href='" + "x" * 300_000})),
    "formulas that are none": lambda book: book["cells"].append(
        {"cell_type": "markdown", "source": "$" + "\\frac{" * 500 + "$", "metadata": {}}
    ),
    "a cell of an unknown kind": lambda book: book["cells"].append({"cell_type": "heading", "source": "x"}),
    "a cell that is a number": lambda book: book["cells"].append(5),
    "ids that are all the same": lambda book: [c.update(id="same") for c in book["cells"]],
    "an id that is a list": lambda book: [c.update(id=["x"]) for c in book["cells"]],
    "a kernel nobody has": lambda book: book["metadata"].update(kernelspec={"name": "../../x"}),
    "a format of the future": lambda book: book.update(nbformat=99, nbformat_minor=99),
    "an execution count that is text": lambda book: [c.update(execution_count="many") for c in book["cells"]],
    "sources as lists of anything": lambda book: book["cells"].append(
        {"cell_type": "code", "source": ["a", 1, None], "metadata": {}, "outputs": []}
    ),
    "control characters": lambda book: book["cells"].append(
        {"cell_type": "markdown", "source": "\x1b[2J\x07\x00", "metadata": {}}
    ),
    "a grade_id that is a list": lambda book: book["cells"].append(
        {"cell_type": "code", "source": "", "metadata": {"nbgrader": {"grade_id": ["water"]}}, "outputs": []}
    ),
    "points in the metadata": lambda book: [
        c["metadata"]["nbgrader"].update(points=1000, grade=True)
        for c in book["cells"]
        if "nbgrader" in c["metadata"]
    ],
}


@pytest.mark.parametrize("name", HARMLESS)
def test_what_is_odd_beside_a_right_answer_costs_nothing_and_gains_nothing(tiny, desk, name):
    done = desk(changed(tiny, HARMLESS[name]))
    assert done.result.unusable is None
    assert water(done) == WORTH
    assert all(
        grade.auto is None or grade.auto <= grade.most for grade in done.result.books["tiny"].grades.values()
    )
    assert all("<script" not in page.lower() and page.encode() for page in done.pages.values())


def cleared(book, keep=()):
    """The same notebook, saved without outputs except under the cells named."""
    book = json.loads(json.dumps(book))
    for cell in book["cells"]:
        if cell["cell_type"] == "code" and cell["metadata"].get("nbgrader", {}).get("grade_id") not in keep:
            cell.update(outputs=[], execution_count=None)
    return book


def handed_in(tiny, work):
    """(the notebook, the journal) of a student, as bytes."""
    path = tiny.hand_in(work)
    return path.read_bytes(), path.with_name("answers-tiny.journal.json").read_bytes()


def states(done):
    return {name: (grade.auto, grade.state) for name, grade in done.result.books["tiny"].grades.items()}


def test_what_stood_in_a_notebook_that_is_cut_off_is_asked_for_and_not_0(tiny, desk):
    """The journal holds the answers of the panels; nobody has seen the words, nor the code."""
    book, journal = handed_in(tiny, tiny.work("s01"))
    done = desk(book[: len(book) // 2], **{"answers-tiny.journal.json": journal})
    found = states(done)
    assert found == {"water": (WORTH, ""), "kc": (None, "not found"), "why": (None, "not found")}
    assert "marked from the journal" in done.result.notes[0]
    page = re.sub(r"\s+", " ", re.sub(r"<[^>]*>", " ", done.pages["tiny"]))
    assert "In words (Score: not found / 2.0)" in page
    assert "No response" not in page
    # A question without an answer in a journal that is whole was not answered.
    _, journal = handed_in(tiny, tiny.work("s02", water={}))
    assert states(desk(b"", "s02", **{"answers-tiny.journal.json": journal}))["water"] == (0, "")


def test_one_of_two_notebooks_that_is_cut_off_is_asked_for_and_not_0(tiny):
    tiny.course.register("tiny")
    paper = tiny.course.paper("tiny")
    tiny_book = paper.books["tiny"]
    second = replace(tiny_book, name="second", wanted={"other": tiny_book.wanted["water"]})
    paper = replace(paper, books={**paper.books, "second": second})
    book, journal = handed_in(tiny, tiny.work("s01"))
    files = {"tiny.ipynb": book, "answers-tiny.journal.json": journal}
    for name, data in {"cut off": {"second.ipynb": b"{"}, "not handed in": {}}.items():
        done = do(paper, Task(HandedIn("s01", files | data), Standing(), page=False), None)
        made = {(grade.auto, grade.state) for grade in done.result.books["second"].grades.values()}
        assert made == ({(None, "not found")} if name == "cut off" else {(0, "")})
        assert any("it scores 0" in line for line in done.result.notes) == (name == "not handed in")


@pytest.mark.parametrize("keep", [(), ("form-student",)])
@pytest.mark.parametrize("words", ["Because of Q.", None])
def test_answers_in_a_journal_that_is_cut_off_are_asked_for_and_not_0(tiny, desk, keep, words):
    work = tiny.work("s01", words=words)
    _, journal = handed_in(tiny, work)
    half = {"answers-tiny.journal.json": journal[: len(journal) // 2]}
    done = desk(cleared(tiny.book(work), keep), **half)
    assert states(done)["water"] == (None, "not found")
    assert "no answers found: ask for the file answers-tiny.journal.json" in done.result.notes
    # Nor are they 0 when the notebook is cut off too.
    done = desk(b"{", **half)
    assert set(states(done).values()) == {(None, "not found")}
    # What the notebook holds is marked all the same.
    assert water(desk(json.loads(json.dumps(tiny.book(work))), **half)) == WORTH


def test_the_journal_of_a_neighbour_is_named(tiny, desk):
    _, journal = handed_in(tiny, tiny.work("s02", water=WRONG))
    book = json.loads(json.dumps(tiny.book(tiny.work("s01"))))
    done = desk(book, **{"answers-tiny.journal.json": journal})
    assert water(done) == WORTH
    assert any("journal" in line and "s02" in line for line in done.result.notes)
    # A shared computer's journal holds one's own answers too.
    both = json.loads(journal)
    both["records"] |= json.loads(handed_in(tiny, tiny.work("s01"))[1])["records"]
    done = desk(book, **{"answers-tiny.journal.json": json.dumps(both).encode()})
    assert not any("s02" in line for line in done.result.notes)


@pytest.mark.parametrize("saved", ["as it was", "outputs cleared"])
def test_the_page_says_beside_each_part_what_was_answered(tiny, desk, saved):
    """Whoever reads it a week later sees the wrong answer, with or without the panel's own picture of it."""
    answer = {**WRONG, "confidence": "certain"}
    work = tiny.work("s01", water=answer)
    book, journal = handed_in(tiny, work)
    if saved == "outputs cleared":
        book = cleared(tiny.book(work))
    page = desk(book, **{"answers-tiny.journal.json": journal}).pages["tiny"]
    said = re.sub(r"\s+", " ", re.sub(r"<[^>]*>", " ", page))
    assert re.search("Which way does the equilibrium shift\\? Your answer: “no shift”", said)
    assert re.search("the equilibrium constant K\\? Your answer: “the same”. Right.", said)


def test_a_folded_call_is_no_part_of_the_page_and_a_students_code_is():
    folded, own = "# Silver ions\nfrom eqlib.notebook import panel\npanel('silver')", "# mine\nx = 1"
    book = new_notebook(cells=[new_code_cell(folded), new_code_cell(own)])
    book.cells[0].metadata["jupyter"] = {"source_hidden": True}
    for_student(book)
    assert [cell.source for cell in book.cells] == ["# Silver ions", own]


def forged(change):
    """A wrong answer whose record somebody edited by hand."""

    def edit(bundle):
        bundle = copy.deepcopy(bundle)
        change(bundle)
        return bundle

    return edit


def answers(bundle):
    for value in (bundle, *bundle.values()):
        if isinstance(value, dict) and "answer" in value:
            return value
    raise AssertionError("no answer in the record")


FORGED = {
    "points in the record": lambda b: answers(b).update(points=4, max_points=4, score=4),
    "every choice at once": lambda b: answers(b)["answer"].update(direction=["forward", "reverse", "none"]),
    "a choice with a tail": lambda b: answers(b)["answer"].update(direction="reverse none forward"),
    "true": lambda b: answers(b)["answer"].update(direction=True, K=True, reason=True),
    "not a number": lambda b: answers(b)["answer"].update(direction=float("nan")),
    "nested": lambda b: answers(b)["answer"].update(direction={"reverse": "reverse"}),
    "an answer that is text": lambda b: answers(b).update(answer="reverse"),
    "an answer that is a list": lambda b: answers(b).update(answer=["reverse", "same", "q_above_K"]),
    "very long": lambda b: answers(b)["answer"].update(reason="q_above_K" * 100_000),
    "another student's": lambda b: answers(b).update(student="\x00../../s02"),
}


@pytest.mark.parametrize("name", FORGED)
def test_a_record_edited_by_hand_earns_no_more_than_what_it_says(tiny, desk, name):
    book = json.loads(json.dumps(tiny.book(tiny.work("s01", water=WRONG))))
    before = water(desk(book))
    assert before < WORTH
    for cell in book["cells"]:
        for output in cell.get("outputs", ()):
            bundle = output.get("data", {}).get(MIME)
            if isinstance(bundle, dict) and "direction" in json.dumps(bundle):
                FORGED[name](bundle)
    done = desk(book)
    assert done.result.unusable is None
    assert water(done) <= before


@pytest.mark.parametrize("value", ["4.0", "4", "1e9", "nan", "True", "<b>4</b>"])
def test_a_score_typed_into_an_output_counts_for_nothing(tiny, desk, value):
    book = tiny.book(tiny.work("s01", water={}))
    for cell in book.cells:
        if cell.metadata.get("nbgrader", {}).get("grade"):
            cell.outputs = [new_output("execute_result", data={"text/plain": value}, execution_count=1)]
            cell.source = value
    book.cells.append(new_code_cell("get_ipython().kernel.do_shutdown(False)"))
    assert water(desk(json.loads(json.dumps(book)))) is None  # no record: its journal is asked for


def test_odd_places_are_read_or_named(tiny):
    right = json.dumps(tiny.book(tiny.work("s01"))).encode()
    root = tiny.root / "submitted"
    (root / "s01" / "tiny").mkdir(parents=True)
    (root / "s01" / "tiny" / "tiny.ipynb").write_bytes(right)
    (root / "s01" / "tiny" / "loop").symlink_to(root)
    (root / "s01" / "tiny" / "passwd").symlink_to("/etc/passwd")
    (root / "s02" / "tiny" / "tiny.ipynb").mkdir(parents=True)
    (root / "s03" / "tiny").mkdir(parents=True)
    (root / "s03" / "tiny" / "tiny (1).ipynb").write_bytes(right)
    (root / "s04\x1b[31m" / "tiny").mkdir(parents=True)
    given = {student: collect_files(student, places) for student, places in submitted(tiny.root, "tiny", [])}
    assert set(given["s01"].files) == {"tiny.ipynb"}
    # nbgrader's own command and button would copy what a link leads to.
    assert links_in(root / "s01" / "tiny") == {"loop", "passwd"}
    (root / "s05").symlink_to(root / "s01")
    assert links_in(root / "s05" / "tiny") == {""}
    assert given["s02"].files == {}
    assert set(given["s03"].files) == {"tiny (1).ipynb"}


HIDDEN = "# Checked later.\n### BEGIN HIDDEN TESTS\nassert square(3) == 9\n### END HIDDEN TESTS"


@pytest.mark.parametrize("edit", [None, "pass"])
@pytest.mark.parametrize("stripped", [False, True])
def test_a_cell_whose_tests_were_hidden_is_not_called_changed(edit, stripped):
    """What students got is made by nbgrader's own step; the gradebook has the cell with its tests."""
    about = {"grade_id": "t", "grade": True, "locked": True, "solution": False, "points": 2}
    told = new_notebook(cells=[new_code_cell(HIDDEN, metadata={"nbgrader": about})])
    released, _ = ClearHiddenTests().preprocess(copy.deepcopy(told), {})
    assert "square" not in released.cells[0].source
    wanted = {"t": {"cell_type": "code", "source": HIDDEN, "nbgrader": about}}
    book = Book("tiny", {}, wanted, tuple(json.loads(json.dumps(released.cells))))
    handed_in = json.loads(json.dumps(released))
    if stripped:
        handed_in["cells"][0]["metadata"].clear()
    if edit:
        handed_in["cells"][0]["source"] = edit
    mended = whole(handed_in, book)
    assert mended.changed == (["t"] if edit and not stripped else [])
    assert mended.put_back == (["t"] if edit and stripped else [])
    assert HIDDEN in [cell["source"] for cell in handed_in["cells"]]


def test_a_fault_of_the_worker_is_told_as_what_it_was(tiny, monkeypatch):
    tiny.course.register("tiny")
    monkeypatch.setattr(Paper, "from_data", lambda paper, book: True)  # nothing has to be run for this
    with Desk(tiny.course.paper("tiny")) as desk:
        with pytest.raises(NotFinished, match="could not be marked \\(AttributeError") as told:
            desk.mark(Task(None, Standing()))
        assert "took more than" not in str(told.value)
        # The next one is marked all the same.
        given = HandedIn("s01", {"tiny.ipynb": json.dumps(tiny.book(tiny.work("s01"))).encode()})
        assert water(desk.mark(Task(given, Standing(), page=False))) == WORTH
