"""One submission marked: from its files and the paper to grades, comments, the marked notebook and its page.

A pure task: it touches no gradebook and no course, and whoever runs it bounds its time and memory. The marks
of our questions come from the recorded answers; an ordinary test cell counts only when it provably ran to its
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
from eqlib.assess.question import Question, normal_id
from eqlib.assess.records import MIME, Collected, Record, code_answers, collect, no_answers, oddities
from eqlib.assess.records.journal import UNREAD
from eqlib.grading.course import Book, Paper, meta_of
from eqlib.grading.intake import (
    JOURNAL,
    MOST_KEPT,
    OURS,
    HandedIn,
    Mended,
    as_notebook,
    read_submission,
    whole,
    words_elsewhere,
)
from eqlib.grading.page import clean_notebook
from eqlib.grading.run.sandbox import Executed

TO_READ, NOT_RUN, NOT_FOUND = "to read", "not run", "not found"
#: ``run(cells, files)``: see ``Sandbox.run``; None where nothing can be run.
Run = Callable[[list, dict], Executed] | None
#: How many lines about one student an instructor is shown.
MOST_NOTES = 3
_UNREADABLE = ("SyntaxError", "IndentationError", "TabError")
#: What comes first, where there are more: words of a line, the gravest first.
_GRAVE = (
    *("not marked", "not run", "no answers found", "nothing was answered", "memory", "ran longer"),
    *("ended the program", "ran too long", "only while marking", "check cells showed", "there twice"),
    *("syntax error", "late", "put back"),
)


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
    ids = {name: set(book.wanted) for name, book in paper.books.items()}
    read = read_submission(given, ids, dict(paper.others), lambda book: len(collect(book)))
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
    result.notes = gravest_first(result.notes)
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
        self.kept = answers_in(self.plain, self.files, self.paper.own_id)
        mended = whole(self.plain, self.book)
        self.free_text = words_elsewhere(self.plain, self.book)
        self.spoiled = any(UNREAD in line for line in self.kept.problems)
        if self.questions:
            self.unanswered = no_answers(self.kept, self.paper.questions, self.paper.own_id)
        self.lost = self._lost() if self.unanswered else ""
        self.ran, self.asked = self._execute(self.plain["cells"])
        self.records, ignored = self._records()
        nb = as_notebook(self.plain)
        nb.metadata["kernelspec"] = dict(self.book.kernelspec)
        self._show(nb)
        done = MarkedBook(None)
        for index, cell in enumerate(nb.cells):
            if is_grade(cell):
                grade = self._grade(cell, index)
                done.grades[grade.name] = grade
        for cell in nb.cells:
            if is_solution(cell) or is_task(cell):
                done.comments[cell.metadata.nbgrader["grade_id"]] = self._comment(cell)
        self._finish(nb)
        done.notebook = json.dumps(nb, ensure_ascii=False).encode(errors="replace") + b"\n"
        self.result.books[self.book.name] = done
        self._say(ignored, mended, done)

    # Running

    def _execute(self, cells: list[dict]) -> tuple[Executed, list[int] | None]:
        """Run what has to be run. The numbers of those cells; None where nothing had to be, or could be."""
        if self.no_book or self.paper.from_data(self.book):
            return Executed(), []
        if self.run is None:
            return Executed(), None
        chosen = self.paper.to_run(self.book, cells)
        order = [(-1, restoring(self.kept, self.student), False)] if self.questions else []
        order += [(i, cells[i]["source"], bool(meta_of(cells[i]).get("grade"))) for i in chosen]
        beside = {n: d for n, d in (self.files | dict(self.paper.files)).items() if not JOURNAL.fullmatch(n)}
        ran = self.run(order, beside)
        self.result.seconds += ran.seconds
        ran.outputs.pop(-1, None)
        return ran, chosen

    def _records(self) -> tuple[dict[str, Record], list[str]]:
        """The answers that count: recorded before marking, except where one is worked out in code."""
        if not self.paper.questions:
            return {}, []
        shown = {"cells": [{"outputs": outputs} for _, outputs in sorted(self.ran.outputs.items())]}
        return code_answers(self.kept, collect(shown, None, self.paper.own_id), self.paper.questions)

    def _show(self, nb: NotebookNode) -> None:
        """What stands under each code cell: what the run showed, or what was saved where none was needed."""
        count = 0
        for index, cell in enumerate(nb.cells):
            if cell.cell_type != "code":
                continue
            if self.asked is None or index not in self.asked:
                saved = [out for out in cell.outputs if out.output_type != "error"]
                saved = saved if len(str(saved)) <= MOST_KEPT else []
                cell.outputs = saved or self._recorded(str(meta_of(cell).get("grade_id", "")))
                continue
            count += 1
            cell.execution_count = count
            cell.outputs = [from_dict(out) for out in self.ran.outputs.get(index, [])]

    def _recorded(self, name: str) -> list:
        if name not in self.records or name not in self.questions:
            return []
        return [_shows(plain_bundle(self.questions[name], self.records[name]))]

    # Marks

    def _grade(self, cell: NotebookNode, index: int) -> Grade:
        name = cell.metadata.nbgrader["grade_id"]
        most, question = self.book.points(name), self.questions.get(name)
        if (
            self.no_book
            and name not in self.records
            and (question is None or question.manual or question.code)
        ):
            return Grade(name, None, most, NOT_FOUND)
        if question is not None:
            return self._question(cell, question, most)
        if is_solution(cell) or cell.cell_type != "code":
            auto = determine_grade(cell)[0]
            if self.free_text and cell.cell_type != "code":
                auto = None
            return Grade(name, auto, most, TO_READ if auto is None else "")
        if self.asked is None:
            cell.outputs = [_notice("Not run: the code of this submission could not be run here.")]
            return Grade(name, None, most, NOT_RUN)
        return self._test_cell(cell, name, most, index)

    def _test_cell(self, cell: NotebookNode, name: str, most: float, index: int) -> Grade:
        """An ordinary test cell: as nbgrader scores it, but only if it provably ran to its end."""
        for step in (IgnorePattern, LimitOutput):
            cell, _ = step(config=self.paper.config).preprocess_cell(cell, {}, index)
        if index not in self.ran.finished:
            reasons = {"CellTimeout": "it ran too long", "KernelDied": "it ended the program"}
            if not any(out.output_type == "error" for out in cell.outputs):
                cell.outputs.append(_error("NotFinished", "this cell did not run to its end"))
            return Grade(name, 0.0, most, reason=reasons.get(self.ran.trouble.get(index, ""), ""))
        last = next((o for o in cell.outputs if o.output_type == "execute_result"), None)
        value = _as_number(last.data.get("text/plain", "")) if last is not None else None
        if value is not None and (not math.isfinite(value) or not 0 <= value <= most):
            why = f"its test cell gave {value:g} of {most:g} points"
            return Grade(name, None, most, TO_READ, why)
        theirs = determine_grade_of(cell, most)
        if value is not None and value != theirs:
            why = f"{value:g}, where nbgrader reads no number and gives full marks"
            return Grade(name, value, most, reason=why)
        return Grade(name, theirs, most)

    def _question(self, cell: NotebookNode, question: Question, most: float) -> Grade:
        """One of our questions: from its recorded answer, whatever the cell itself showed."""
        name, record = question.id, self.records.get(question.id)
        shown_to = self.kept.student or (None if self.kept else self.student)
        made = mark(question, record, student=None if record is not None else shown_to, released=True)
        if question.manual:
            untouched = determine_grade(cell)[0] is not None and not self.free_text
            written = record is not None and any(str(value).strip() for value in record.answer.values())
            self._keep(question, made, record)
            if untouched and not written:
                return Grade(name, 0.0, most)
            return Grade(name, None, most, TO_READ)
        if question.code and self.asked is None and record is None:
            cell.outputs = [
                _notice("Not run: this answer is worked out in code, which could not be run here.")
            ]
            return Grade(name, None, most, NOT_RUN)
        if record is None and self._to_ask_for():
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
            from_dict(
                {
                    **_notice(repr(points)),
                    "output_type": "execute_result",
                    "execution_count": cell.execution_count,
                }
            ),
        ]
        return Grade(name, points, most)

    def _keep(self, question: Question, made: Mark, record: Record | None) -> None:
        self.marks[question.id] = made
        mistakes = tuple(dict.fromkeys(part.mistake for part in made.parts if part.mistake))
        answer = None
        if record is not None:
            answer = {"answer": dict(record.answer), "at": record.at, "student": record.student}
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
            name = meta_of(nb.cells[index]).get("grade_id")
            if name in self.questions and (rubric := rubric_of(self.questions[name])):
                nb.cells.insert(index, _markdown(rubric, f"rubric-{index}"))
        clean_notebook(nb)

    def _lost(self) -> str:
        """The line where no record is found in a notebook that somebody worked in; "" else."""
        was = {self.book.key(cell) for cell in self.book.released}
        untouched = not self.kept.student and all(
            self.book.key(cell) in was
            for cell in self.plain["cells"]
            if cell["cell_type"] == "code" or meta_of(cell).get("solution")
        )
        return "" if untouched and not self.spoiled else self.unanswered

    def _to_ask_for(self) -> bool:
        """Is an answer that is missing to be asked for? Where a record does not count, it scores 0."""
        refused = any(not line.startswith("the journal ") for line in self.kept.problems)
        return self.spoiled or (bool(self.lost) and not refused)

    def _say(self, ignored: list[str], mended: Mended, done: MarkedBook) -> None:
        say = self.result.notes
        if self.lost:
            say.append(self.lost)
        elif self.unanswered:
            say.append("nothing was answered")
        say += self.kept.problems + ignored
        changed = [name for name in mended.changed if name not in self.claimed]
        say += _of_cells(self.plain["cells"], self.ran, replace(mended, changed=changed))
        say += _of_ids(self.student, self.records)
        say += [f"{grade.name}: {grade.reason}" for grade in done.grades.values() if grade.reason]
        missing = [grade.name for grade in done.grades.values() if grade.state == NOT_RUN]
        if missing:
            say.append(f"not run: {', '.join(missing)}; the rest is marked")
        if self.free_text:
            say.append("words stand in a cell of their own where the explanation was left as it was: to read")
        if self.claimed:
            ours = {name: self.marks[name].points for name in self.claimed}
            say.append(_claims(self.claimed, ours))
        if self.questions:
            say += oddities(self.kept, self.plain, self.due)


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


def _claimed(cell: NotebookNode) -> float | None:
    """The score that the student's own process showed, if it showed a number."""
    for output in cell.outputs:
        if output.output_type == "execute_result":
            return _as_number(output.get("data", {}).get("text/plain", ""))
    return None


def plain_bundle(question: Question, record: Record) -> dict:
    """A recorded answer as data and in plain words."""
    said = ", ".join(
        f"{part.label}: {record.answer[part.id]}" for part in question.parts if part.id in record.answer
    )
    return {"text/plain": f"Recorded {record.at}, receipt {record.receipt}. {said}", MIME: record.to_dict()}


def _markdown(text: str, name: str) -> NotebookNode:
    mark = {OURS: {"rubric": True}}
    return from_dict({"cell_type": "markdown", "id": name, "source": text, "metadata": mark})


def _shows(data: dict) -> NotebookNode:
    return from_dict({"output_type": "display_data", "data": data, "metadata": {}})


def _error(name: str, line: str) -> NotebookNode:
    return from_dict(
        {"output_type": "error", "ename": name, "evalue": line, "traceback": [f"{name}: {line}"]}
    )


def _notice(line: str) -> NotebookNode:
    return _shows({"text/plain": line})


# -- the lines an instructor reads: one plain sentence for each thing, never an accusation -----------------


def gravest_first(lines: Any) -> list[str]:
    """At most three lines, the gravest first; the others are counted."""
    once = list(dict.fromkeys(lines))
    ranked = sorted(
        once, key=lambda line: next((i for i, word in enumerate(_GRAVE) if word in line), len(_GRAVE))
    )
    if len(ranked) <= MOST_NOTES:
        return ranked
    return [
        *ranked[: MOST_NOTES - 1],
        f"{ranked[MOST_NOTES - 1]} (and {len(ranked) - MOST_NOTES} more to look at in the notebook)",
    ]


def _of_ids(student: str, records: dict) -> list[str]:
    """A line where answers were recorded under another id."""
    others = sorted(
        {r.student for r in records.values() if r.student and normal_id(r.student) != normal_id(student)}
    )
    if not others:
        return []
    return [f"answers were recorded under the id {', '.join(others)}; marked by the numbers shown there"]


def _of_cells(cells: list[dict], ran: Executed, mended: Mended) -> list[str]:
    """A line for each cell that could not be read as Python, had to be stopped or ended the program, and for
    those that were copied, deleted or changed where they are the course's own.
    """
    lines = []
    if ran.ended:
        lines.append(f"{ran.ended}; recorded answers are marked all the same")
    for index, cell in enumerate(cells):
        name = meta_of(cell).get("grade_id")
        where = f"cell {index} ({name})" if name else f"cell {index}"
        trouble = ran.trouble.get(index)
        if trouble == "CellTimeout":
            lines.append(f"{where} ran too long and was stopped; the other cells ran")
        elif trouble == "KernelDied":
            lines.append(f"{where} ended the program; the cells after it ran in a new one")
        elif any(output.get("ename") in _UNREADABLE for output in ran.outputs.get(index, ())):
            lines.append(f"{where} cannot be read as Python (a syntax error); the other cells ran")
    lines += [
        f"cell {name} is there twice; the one that was changed last is marked" for name in mended.doubled
    ]
    if mended.put_back:
        lines.append(f"deleted cells were put back: {', '.join(mended.put_back)}")
    if mended.changed:
        lines.append(
            f"the course's own text was put back where it had been changed: {', '.join(mended.changed)}"
        )
    return lines


def _claims(claimed: dict[str, float], ours: dict[str, float]) -> str:
    """The line where a submission's own check cells showed other points than its answers earn."""
    named, shown, earned = ", ".join(sorted(claimed)), sum(claimed.values()), sum(ours.values())
    return (
        f"in {named} its own check cells showed {shown:g} points where the recorded answers earn {earned:g}; "
        "the recorded answers count"
    )


def could_not(error: BaseException) -> str:
    """One line for a failure inside marking itself."""
    said = " ".join(str(error).split())[:200]
    return f"could not be marked ({type(error).__name__}: {said}); please open the notebook and look"
