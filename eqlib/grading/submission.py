"""One submission marked: from its files and the paper to grades, comments, the marked notebook and its page.

A pure task: it touches no gradebook and no course, and whoever runs it bounds its time and memory. The
marks of
our questions come from the recorded answers; an ordinary test cell counts only when it provably ran to its
end; what could not be worked out is "not run" or "to read", never 0.
"""

from __future__ import annotations

import json
import math
import os
import re
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Any

from nbformat import NotebookNode, from_dict
from nbgrader.preprocessors import IgnorePattern, LimitOutput
from nbgrader.utils import compute_checksum, determine_grade, is_grade, is_solution, is_task

from eqlib.assess.mark import Mark, mark, read_part
from eqlib.assess.question import Question
from eqlib.assess.records import Collected, Record, code_answers, collect, no_answers, oddities
from eqlib.assess.records.journal import UNREAD
from eqlib.grading import notes
from eqlib.grading.class_of import plain_bundle
from eqlib.grading.intake import JOURNAL, MOST_KEPT, HandedIn, as_notebook, read_submission
from eqlib.grading.paper import Book, Paper
from eqlib.grading.run.sandbox import Executed
from eqlib.grading.safety import clean_notebook

#: Cells that we put in are marked in their metadata, under this key.
OURS = "eqlib"
TO_READ, NOT_RUN, NOT_FOUND = "to read", "not run", "not found"
#: ``run(cells, files)``: see ``Sandbox.run``; None where nothing can be run.
Run = Callable[[list, dict], Executed] | None


@dataclass
class Grade:
    """One graded cell. ``auto`` is None while it is to be read, or was not run (``state`` says which)."""

    name: str
    auto: float | None
    most: float
    state: str = ""
    reason: str = ""


@dataclass(frozen=True)
class Facts:
    """What the class report needs to know about the answer to one question of ours.

    ``answer``: as recorded, or None; ``wrong``: by part, what was answered where no known mistake fits.
    """

    mistakes: tuple[str, ...] = ()
    answer: dict | None = None
    wrong: dict[str, str] = field(default_factory=dict)
    audit: str = ""


@dataclass
class MarkedBook:
    """One notebook marked. ``notebook`` as its file's text, or None where none was handed in."""

    notebook: bytes | None
    grades: dict[str, Grade] = field(default_factory=dict)
    comments: dict[str, str | None] = field(default_factory=dict)


@dataclass
class Result:
    """What came of one submission. ``unusable``: why there is nothing to mark."""

    student: str
    books: dict[str, MarkedBook] = field(default_factory=dict)
    facts: dict[str, Facts] = field(default_factory=dict)
    files: dict[str, bytes] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)
    unusable: str | None = None
    seconds: float = 0.0


def mark_submission(paper: Paper, given: HandedIn, run: Run) -> Result:
    """Mark everything in one submission."""
    result = Result(given.student)
    read = read_submission(given, paper.expected, dict(paper.others), lambda book: len(collect(book)))
    result.notes += read.notes
    result.unusable = read.unusable or given.unusable
    if result.unusable:
        return result
    result.files = read.files
    given = replace(given, files=read.files)
    from_journal = not read.notebooks
    for name, book in paper.books.items():
        plain = read.notebooks.get(name)
        if plain is None and from_journal:
            plain = {"cells": [dict(cell) for cell in book.released], "metadata": {}}
        if plain is None:
            auto, state = (None, NOT_FOUND) if name in read.broken else (0.0, "")
            grades = {n: Grade(n, auto, book.points(n), state) for n in book.graded()}
            result.books[name] = MarkedBook(None, grades)
            continue
        _Marking(paper, book, plain, given, run, result, from_journal).mark()
    result.notes = notes.gravest_first(result.notes)
    return result


def answers_in(plain: dict, files: dict[str, bytes], assignment: str) -> Collected:
    """What was recorded in a notebook (plain data) and in the journals beside it."""
    found = collect(plain, None, assignment)
    for name in sorted(files):
        if not JOURNAL.fullmatch(os.path.basename(name)):
            continue
        more = collect(None, files[name], assignment, found.student)
        found.problems.extend(line for line in more.problems if line not in found.problems)
        for record in more.values():
            found.offer(record, assignment, None)
        found.student = found.student or more.student
    return found


class _Marking:
    """One notebook of one submission on its way."""

    def __init__(
        self, paper: Paper, book: Book, plain: dict, given: HandedIn, run: Run, result: Result, no_book: bool
    ) -> None:
        self.paper, self.book, self.plain = paper, book, plain
        self.files, self.due = given.files, given.due
        #: ``no_book``: there is no notebook that can be read, and ``plain`` is the one that was given out.
        self.run, self.result, self.no_book = run, result, no_book
        self.student = result.student
        self.questions = {name: paper.questions[name] for name in book.wanted if name in paper.questions}
        self.marks: dict[str, Mark] = {}
        self.claimed: dict[str, float] = {}
        self.free_text = False
        #: The line where no answer is found, or "".
        self.unanswered = ""
        #: The same, where they must have been lost on the way.
        self.lost = ""
        #: Could nothing be read of a journal that was handed in?
        self.spoiled = False

    def mark(self) -> None:
        kept = answers_in(self.plain, self.files, self.paper.own_id)
        mended = whole(self.plain, self.book)
        self.free_text = _words_elsewhere(self.plain, self.book)
        self.spoiled = any(UNREAD in line for line in kept.problems)
        if self.questions:
            self.unanswered = no_answers(kept, self.paper.questions, self.paper.own_id)
        self.lost = self._lost(kept) if self.unanswered else ""
        cells = self.plain["cells"]
        ran, asked = self._execute(cells, kept)
        records, ignored = self._records(kept, ran)
        nb = as_notebook(self.plain)
        nb.metadata["kernelspec"] = dict(self.book.kernelspec)
        self._show(nb, ran, asked, records)
        done = MarkedBook(None)
        for index, cell in enumerate(nb.cells):
            if is_grade(cell):
                grade = self._grade(cell, index, ran, asked, records, kept)
                done.grades[grade.name] = grade
        for cell in nb.cells:
            if is_solution(cell) or is_task(cell):
                done.comments[cell.metadata.nbgrader["grade_id"]] = self._comment(cell)
        self._finish(nb)
        done.notebook = json.dumps(nb, ensure_ascii=False).encode(errors="replace") + b"\n"
        self.result.books[self.book.name] = done
        self._say(kept, records, ignored, ran, asked, mended, done)

    # Running

    def _execute(self, cells: list[dict], kept: Collected) -> tuple[Executed, list[int] | None]:
        """Run what has to be run. The numbers of those cells; None where nothing had to be, or could be."""
        if self.no_book or self.paper.from_data(self.book):
            return Executed(), []
        if self.run is None:
            return Executed(), None
        chosen = self.paper.to_run(self.book, cells)
        order = [(-1, restoring(kept, self.student), False)] if self.questions else []
        order += [(i, cells[i]["source"], bool(_meta(cells[i]).get("grade"))) for i in chosen]
        beside = {n: d for n, d in (self.files | dict(self.paper.files)).items() if not JOURNAL.fullmatch(n)}
        ran = self.run(order, beside)
        self.result.seconds += ran.seconds
        ran.outputs.pop(-1, None)
        return ran, chosen

    def _records(self, kept: Collected, ran: Executed) -> tuple[dict[str, Record], list[str]]:
        """The answers that count: recorded before marking, except where one is worked out in code."""
        if not self.paper.questions:
            return {}, []
        shown = {"cells": [{"outputs": outputs} for _, outputs in sorted(ran.outputs.items())]}
        return code_answers(kept, collect(shown, None, self.paper.own_id), self.paper.questions)

    def _show(
        self, nb: NotebookNode, ran: Executed, asked: list[int] | None, records: dict[str, Record]
    ) -> None:
        """What stands under each code cell: what the run showed, or what was saved where none was needed."""
        count = 0
        for index, cell in enumerate(nb.cells):
            if cell.cell_type != "code":
                continue
            if asked is None or index not in asked:
                saved = [out for out in cell.outputs if out.output_type != "error"]
                saved = saved if len(str(saved)) <= MOST_KEPT else []
                cell.outputs = saved or self._recorded(cell, records)
                continue
            count += 1
            cell.execution_count = count
            cell.outputs = [from_dict(out) for out in ran.outputs.get(index, [])]

    def _recorded(self, cell: NotebookNode, records: dict[str, Record]) -> list:
        name = str(_meta(cell).get("grade_id", ""))
        if name not in records or name not in self.questions:
            return []

        return [_shows(plain_bundle(self.questions[name], records[name]))]

    # Marks

    def _grade(
        self, cell: NotebookNode, index: int, ran: Executed, asked: Any, records: Any, kept: Collected
    ) -> Grade:
        name = cell.metadata.nbgrader["grade_id"]
        most, question = self.book.points(name), self.questions.get(name)
        if self.no_book and name not in records and (question is None or question.manual or question.code):
            return Grade(name, None, most, NOT_FOUND)
        if question is not None:
            return self._question(cell, name, index, ran, asked, records, kept)
        if is_solution(cell) or cell.cell_type != "code":
            auto = determine_grade(cell)[0]
            if auto is not None and self.free_text and cell.cell_type != "code":
                auto = None
            return Grade(name, auto, most, TO_READ if auto is None else "")
        if asked is None:
            cell.outputs = [_notice("Not run: the code of this submission could not be run here.")]
            return Grade(name, None, most, NOT_RUN)
        return self._test_cell(cell, name, most, index, ran)

    def _test_cell(self, cell: NotebookNode, name: str, most: float, index: int, ran: Executed) -> Grade:
        """An ordinary test cell: as nbgrader scores it, but only if it provably ran to its end."""
        for step in (IgnorePattern, LimitOutput):
            cell, _ = step(config=self.paper.config).preprocess_cell(cell, {}, index)
        if index not in ran.finished:
            trouble = ran.trouble.get(index)
            reason = {"CellTimeout": "it ran too long", "KernelDied": "it ended the program"}.get(
                trouble or "", ""
            )
            if not any(out.output_type == "error" for out in cell.outputs):
                cell.outputs.append(_error("NotFinished", "this cell did not run to its end"))
            return Grade(name, 0.0, most, reason=reason)
        last = next((o for o in cell.outputs if o.output_type == "execute_result"), None)
        value = _as_number(last.data.get("text/plain", "")) if last is not None else None
        if value is not None and (not math.isfinite(value) or not 0 <= value <= most):
            why = f"its test cell gave {value:g} of {most:g} points"
            return Grade(name, None, most, TO_READ, why)
        if value is not None and value != determine_grade_of(cell, most):
            return Grade(
                name, value, most, reason=f"{value:g}, where nbgrader reads no number and gives full marks"
            )
        return Grade(name, determine_grade_of(cell, most), most)

    def _question(
        self,
        cell: NotebookNode,
        name: str,
        index: int,
        ran: Executed,
        asked: Any,
        records: Any,
        kept: Collected,
    ) -> Grade:
        """One of our questions: from its recorded answer, whatever the cell itself showed."""
        question, record = self.questions[name], records.get(name)
        shown_to = kept.student or (None if kept else self.student)
        made = mark(question, record, student=None if record is not None else shown_to, released=True)
        most = self.book.points(name)
        if question.manual:
            untouched = determine_grade(cell)[0] is not None and not self.free_text
            written = record is not None and any(str(value).strip() for value in record.answer.values())
            self._keep(question, made, record)
            if untouched and not written:
                return Grade(name, 0.0, most)
            return Grade(name, None, most, TO_READ)
        if question.code and asked is None and record is None:
            cell.outputs = [
                _notice("Not run: this answer is worked out in code, which could not be run here.")
            ]
            return Grade(name, None, most, NOT_RUN)
        if record is None and self._to_ask_for(kept):
            cell.outputs = [_notice(f"Not marked: {self.lost or 'no answer found in what could be read'}.")]
            return Grade(name, None, most, NOT_FOUND)
        self._keep(question, made, record)
        points = scaled(made, most)
        claimed = _claimed(cell)
        if claimed is not None and abs(claimed - points) > 1e-6:
            self.claimed[name] = claimed
        if points < most:
            # Whoever makes a page draws from these what was said beside what happened.
            said = {part: value for part, value in made.counted.items() if isinstance(value, str)}
            who = shown_to if record is None else record.student
            cell.metadata[OURS] = {"said": said, "set": made.set_of, "student": who}
        cell.outputs = [
            _shows({"text/markdown": explained(made), "text/plain": made.audit}),
            _value(repr(points), cell.execution_count),
        ]
        return Grade(name, points, most)

    def _keep(self, question: Question, made: Mark, record: Record | None) -> None:
        self.marks[question.id] = made
        mistakes = tuple(dict.fromkeys(part.mistake for part in made.parts if part.mistake))
        answer = (
            None
            if record is None
            else {"answer": dict(record.answer), "at": record.at, "student": record.student}
        )
        wrong = _unexplained(made, record, question)
        self.result.facts[question.id] = Facts(mistakes, answer, wrong, made.audit)

    def _comment(self, cell: NotebookNode) -> str | None:
        """nbgrader's remark on an untouched cell; else our feedback, where the cell belongs to a question."""
        meta = cell.metadata.nbgrader
        name = meta["grade_id"].removeprefix("answer-")
        untouched = meta.get("checksum") == compute_checksum(cell) and not is_task(cell)
        if untouched and not self.free_text and not self.no_book:
            return "No response."
        if name != meta["grade_id"] and name in self.marks:
            return self.marks[name].feedback
        return None

    # The end

    def _finish(self, nb: NotebookNode) -> None:
        """Limits on what is shown, rubrics beside what a person reads, nothing that a browser could run."""
        limit, ignore = LimitOutput(config=self.paper.config), IgnorePattern(config=self.paper.config)
        for index, cell in enumerate(nb.cells):
            ignore.preprocess_cell(cell, {}, index)
            limit.preprocess_cell(cell, {}, index)
        for index in range(len(nb.cells) - 1, -1, -1):
            name = _meta(nb.cells[index]).get("grade_id")
            if name in self.questions and (rubric := rubric_of(self.questions[name])):
                nb.cells.insert(index, _markdown(rubric, f"rubric-{index}"))
        clean_notebook(nb)

    def _lost(self, kept: Collected) -> str:
        """The line where no record is found in a notebook that somebody worked in; "" else."""
        was = {self.book.key(cell) for cell in self.book.released}
        untouched = not kept.student and all(
            self.book.key(cell) in was
            for cell in self.plain["cells"]
            if cell["cell_type"] == "code" or _meta(cell).get("solution")
        )
        return "" if untouched and not self.spoiled else self.unanswered

    def _to_ask_for(self, kept: Collected) -> bool:
        """Is an answer that is missing to be asked for? Where a record does not count, it scores 0."""
        refused = any(not line.startswith("the journal ") for line in kept.problems)
        return self.spoiled or (bool(self.lost) and not refused)

    def _say(
        self, kept: Any, records: Any, ignored: Any, ran: Any, asked: Any, mended: Any, done: MarkedBook
    ) -> None:
        say = self.result.notes
        if self.lost:
            say.append(self.lost)
        elif self.unanswered:
            say.append("nothing was answered")
        say += kept.problems + ignored
        changed = [name for name in mended.changed if name not in self.claimed]
        say += notes.of_cells(self.plain["cells"], ran, replace(mended, changed=changed))
        say += notes.of_ids(self.student, records)
        say += [
            line
            for grade in done.grades.values()
            if grade.reason
            for line in [f"{grade.name}: {grade.reason}"]
        ]
        missing = [grade.name for grade in done.grades.values() if grade.state == NOT_RUN]
        if missing:
            say.append(f"not run: {', '.join(missing)}; the rest is marked")
        if self.free_text:
            say.append("words stand in a cell of their own where the explanation was left as it was: to read")
        if self.claimed:
            ours = {name: self.marks[name].points for name in self.claimed}
            say.append(notes.claims(self.claimed, ours))
        if self.questions:
            say += oddities(kept, self.plain, self.due)


def _unexplained(made: Mark, record: Record | None, question: Question) -> dict[str, str]:
    """Wrong parts that fit no known mistake. A number is put as a multiple of the right one: students'
    numbers differ.
    """
    wrong: dict[str, str] = {}
    if record is None:
        return wrong
    for part in made.parts:
        if part.right or part.mistake or not part.max_points or not part.shown:
            continue
        found = read_part(question.part(part.id), record.answer.get(part.id)).value
        right = question.case(record.student).expected.get(part.id)
        numbers = isinstance(right, (int, float)) and isinstance(found, (int, float)) and right
        wrong[part.id] = f"{found / right:.2g} times the right value" if numbers else part.shown
    return wrong


def determine_grade_of(cell: NotebookNode, most: float) -> float:
    """What nbgrader itself gives a test cell that ran."""
    try:
        score = determine_grade(cell)[0]
    except (KeyError, ValueError):
        return most
    return most if score is None else float(score)


def _as_number(text: Any) -> float | None:
    """A test cell's last value as a number, NumPy's too; None: anything else, full marks to nbgrader."""
    text = "".join(text) if isinstance(text, list) else str(text)
    found = re.fullmatch(
        r"\s*(?:np\.\w+\()?\s*([+-]?(?:[\d.]+(?:e[+-]?\d+)?|nan|inf))\s*\)?\s*", text, re.IGNORECASE
    )
    if found is None:
        return {"False": math.nan}.get(text.strip())
    try:
        return float(found[1])
    except ValueError:
        return None


def scaled(made: Mark, worth: float) -> float:
    """The mark as nbgrader wants it: a built-in float in [0, points of the cell]."""
    if made.max_points <= 0 or worth == made.max_points:
        return min(made.points, worth)
    return min(worth, max(0.0, worth * made.points / made.max_points))


def explained(made: Mark) -> str:
    """What the student reads beside a mark."""
    return f"{made.feedback}\n\n**The working**\n\n{made.working}" if made.working else made.feedback


def rubric_of(question: Question) -> str:
    """What earns the points of a written answer, for whoever reads it; "" if there is nothing."""
    lines = [line for part in question.parts for line in part.rubric] if question.manual else []
    listed = "\n".join(f"- {line}" for line in lines)
    return f"**For the marker** ({question.points:g} points)\n\n{listed}" if lines else ""


def restoring(found: Collected, handed_in_by: str) -> str:
    """The text of the cell that runs first: it gives the notebook its recorded answers, as data only."""
    who = found.student or (None if found else handed_in_by)
    handed = {"student": who, "records": {question: record.to_dict() for question, record in found.items()}}
    text = json.dumps(handed, ensure_ascii=True, allow_nan=False)
    return f"from eqlib.notebook import restore\n\nrestore({text!r})"


def whole(plain: dict, book: Book) -> notes.Mended:
    """Give the cells back what makes them the assignment's: metadata, locked text, cells that were deleted.

    Of several copies of a cell the last one that was changed counts, else the first.
    """
    cells = [cell for cell in plain["cells"] if not _ours(cell)]
    found: dict[str, list[dict]] = {}
    for cell in cells:
        name = _meta(cell).get("grade_id")
        for ours in ("nbgrader", OURS):
            cell["metadata"].pop(ours, None)
        if isinstance(name, str) and name in book.wanted:
            found.setdefault(name, []).append(cell)
    _stripped(cells, found, book)
    doubled = [name for name, copies in found.items() if len(copies) > 1]
    mended: list[str] = []
    texts = book.texts
    for name, copies in found.items():
        given = (texts[name], book.wanted[name]["source"].strip())
        changed = [copy for copy in copies if copy["source"].strip() not in given]
        locked = _locked(book.wanted[name])
        if changed and locked:
            mended.append(name)
        _become(changed[-1] if changed and not locked else copies[0], name, book)
    plain["cells"] = cells
    return notes.Mended(_put_back(plain, found, book), doubled, mended)


def _stripped(cells: list[dict], found: dict, book: Book) -> None:
    """Cells whose metadata was lost are known by their text, where only one cell has it."""
    by_text: dict[tuple[str, str], list[str]] = {}
    for name, text in book.texts.items():
        by_text.setdefault((book.wanted[name]["cell_type"], text), []).append(name)
    for cell in cells:
        names = by_text.get((cell["cell_type"], cell["source"].strip()), ())
        if len(names) == 1 and names[0] not in found:
            found[names[0]] = [cell]


def _become(cell: dict, name: str, book: Book) -> None:
    wanted = book.wanted[name]
    cell["metadata"]["nbgrader"] = dict(wanted["nbgrader"])
    if cell["cell_type"] != wanted["cell_type"]:
        cell["cell_type"] = wanted["cell_type"]
        for key in ("outputs", "execution_count"):
            cell.pop(key, None)
        if cell["cell_type"] == "code":
            cell.update(outputs=[], execution_count=None)
        cell.pop("attachments", None)
    if _locked(wanted):
        cell["source"] = wanted["source"]


def _locked(wanted: dict) -> bool:
    meta = wanted["nbgrader"]
    return not meta["solution"] and bool(meta["grade"] or meta["locked"])


def _put_back(plain: dict, found: dict, book: Book) -> list[str]:
    """Insert the missing cells, each after the one that precedes it in the source. Returns their names."""
    order = list(book.wanted)
    missing = [name for name in order if name not in found]
    for name in missing:
        kind = book.wanted[name]["cell_type"]
        cell = {
            "cell_type": kind,
            "source": book.wanted[name]["source"],
            "metadata": {OURS: {"put_back": True}},
        }
        if kind == "code":
            cell.update(outputs=[], execution_count=None)
        _become(cell, name, book)
        names = [_meta(c).get("grade_id") for c in plain["cells"]]
        before = [i for i, there in enumerate(names) if there in order[: order.index(name)]]
        plain["cells"].insert(before[-1] + 1 if before else 0, cell)
    return missing


def _words_elsewhere(plain: dict, book: Book) -> bool:
    """Did somebody write in a cell of their own, and leave the place for an explanation as it was?"""
    places = [n for n, c in book.wanted.items() if c["nbgrader"]["grade"] and c["cell_type"] == "markdown"]
    sources = {_meta(c).get("grade_id"): c["source"].strip() for c in plain["cells"]}
    untouched = any(sources.get(name) == book.wanted[name]["source"].strip() for name in places)
    if not untouched:
        return False
    given = {cell["source"].strip() for cell in (*book.released, *book.wanted.values())}
    return any(
        cell["cell_type"] != "code"
        and not _meta(cell)
        and len(cell["source"].split()) >= 3
        and cell["source"].strip() not in given
        for cell in plain["cells"]
    )


def _meta(cell: dict) -> dict:
    meta = cell["metadata"].get("nbgrader")
    return meta if isinstance(meta, dict) else {}


def _ours(cell: dict) -> bool:
    """Was this cell put in by an earlier marking?"""
    ours = cell["metadata"].get(OURS)
    return isinstance(ours, dict) and bool(ours.get("restoring") or ours.get("rubric"))


def _claimed(cell: NotebookNode) -> float | None:
    """The score that the student's own process showed, if it showed a number."""
    for output in cell.outputs:
        if output.output_type == "execute_result":
            return _as_number(output.get("data", {}).get("text/plain", ""))
    return None


def _markdown(text: str, name: str) -> NotebookNode:
    mark = {OURS: {"rubric": True}}
    return from_dict({"cell_type": "markdown", "id": name, "source": text, "metadata": mark})


def _shows(data: dict) -> NotebookNode:
    return from_dict({"output_type": "display_data", "data": data, "metadata": {}})


def _value(text: str, count: Any) -> NotebookNode:
    data = {"text/plain": text}
    return from_dict(
        {"output_type": "execute_result", "data": data, "metadata": {}, "execution_count": count}
    )


def _error(name: str, line: str) -> NotebookNode:
    return from_dict(
        {"output_type": "error", "ename": name, "evalue": line, "traceback": [f"{name}: {line}"]}
    )


def _notice(line: str) -> NotebookNode:
    return _shows({"text/plain": line})
