"""``eqlib check``: do a course, its notebooks and its questions hold together?

A course is a folder with ``source/<assignment>/``; a folder that holds a ``questions.toml`` itself is
checked alone. A source notebook asks each question once, for its points, with nothing left in it that
students must not see.
"""

from __future__ import annotations

import json
import re
from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from eqlib.assess.check.question import check_question
from eqlib.assess.check.unearned import (
    STUDENTS,
    leaks,
    lucky,
    markdown_in,
    nbgrader_of,
    not_to_be_released,
    numbers_asked,
    numbers_shown,
    places,
    printed,
    source_of,
)
from eqlib.assess.load import load_questions
from eqlib.assess.question import QuestionSet
from eqlib.assess.records.record import MIME
from eqlib.errors import EqlibError

#: Sets of numbers tried for every question.
SAMPLES = 200
BEGIN, END = "### BEGIN SOLUTION", "### END SOLUTION"
_TELLING = re.compile(r"\.outcome\(|\.expected\b|\.working\b")

#: Something wrong: where, and a line that says what.
Fault = tuple[str, str]
#: ``progress(what, done, of)``, called before each question.
Progress = Callable[[str, int, int], None]


@dataclass(frozen=True)
class Finding:
    """Something to look at: in which file, where in it, and what to do. One line each."""

    path: str
    where: str
    message: str

    def __str__(self) -> str:
        return f"{self.path}: {self.where}: {self.message}" if self.where else f"{self.path}: {self.message}"


def check_course(path: str | Path, samples: int = SAMPLES, progress: Progress | None = None) -> list[Finding]:
    """Everything that does not hold together in the course at ``path``; an empty list means that all is well.

    ``samples`` sets of numbers are tried per question; what can be guessed or read off is measured from 200
    on.
    """
    root = Path(path)
    alone = (root / "questions.toml").is_file()
    folders = [root] if alone else sorted(file.parent for file in root.glob("source/*/questions.toml"))
    if not folders:
        return [Finding(str(root), "", "no questions.toml here or in source/*/; is this the course folder?")]
    findings, twice, asked, shown = [], [], [], []
    seen: dict[str, Path] = {}
    for folder in folders:
        file = folder / "questions.toml"
        try:
            questions = load_questions(file)
        except EqlibError as error:
            findings += [Finding(_shown(root, file), "", line) for line in _faults(file, error)]
            continue
        books = {path: read_notebook(path) for path in sorted(folder.glob("*.ipynb"))}
        findings += _check_assignment(root, folder, questions, books, samples, progress)
        if samples >= STUDENTS:
            read = [notebook for notebook, problem in books.values() if not problem]
            texts = [(f"cell {n}", source_of(cell)) for one in read for n, cell in markdown_in(one)]
            asked += numbers_asked(questions)
            shown += numbers_shown(questions, texts)
        name = questions.assignment.id
        if name in seen:
            # They would share their answers and their numbers.
            twice.append(Finding(str(folder), "[assignment]", f"id {name!r} is also used by {seen[name]}"))
        seen[name] = folder
    for assignment, question, line in printed(asked, shown):
        twice.append(
            Finding(_shown(root, seen[assignment] / "questions.toml"), f"question {question!r}", line)
        )
    return findings + twice


def _faults(file: Path, error: EqlibError) -> list[str]:
    """What is wrong with a question file, without its name; after a near name the whole list is no help."""
    named = f"{Path(*file.parts[-2:])}: "
    lines = getattr(error, "faults", (str(error),))
    return [line.removeprefix(named).split(" It may be one of: ")[0] for line in lines]


def _check_assignment(
    root: Path,
    folder: Path,
    questions: QuestionSet,
    books: dict[Path, tuple[dict, str]],
    samples: int,
    progress: Progress | None,
) -> list[Finding]:
    findings: list[Finding] = []

    def say(path: Path, *lines: Fault) -> None:
        findings.extend(Finding(_shown(root, path), where, line) for where, line in lines)

    file, name = folder / "questions.toml", questions.assignment.id
    if name != folder.name and folder != root:
        say(file, ("[assignment]", f"id is {name!r} but the folder is {folder.name!r}"))
    for number, question in enumerate(questions.values()):
        if progress is not None:
            progress(f"{name}: {question.id}", number, len(questions))
        say(file, *((f"question {question.id!r}", line) for line in check_question(question, samples)))
    if not books:
        say(file, ("", "there is no notebook beside this file"))
    say(file, *places(questions), *leaks(questions), *not_to_be_released(questions))
    if samples >= STUDENTS:
        say(file, *lucky(questions))
    for kept in sorted(folder.glob("instructor*")):
        say(
            kept,
            ("", "would be released to students with this folder; move it to the course's instructor folder"),
        )
    for kept in sorted(folder.glob("*.journal.json")):
        say(kept, ("", "holds somebody's recorded answers and would be released; remove it"))
    elsewhere: set[str] = set()
    for path, (notebook, problem) in books.items():
        if problem:
            say(path, ("", problem))
            continue
        lines, used = check_notebook(notebook, questions)
        say(path, *lines, *(found for found in leaks(questions, notebook) if found[0].startswith("cell ")))
        say(
            path, *((f"question {one!r}", "another notebook asks it too") for one in sorted(used & elsewhere))
        )
        elsewhere |= used
    for one in questions if books else ():
        if one not in elsewhere:
            say(file, (f"question {one!r}", "no notebook beside this file asks it"))
    for release in sorted((root / "release" / folder.name).glob("*.ipynb")):
        notebook, problem = read_notebook(release)
        say(release, *([("", problem)] if problem else check_release(notebook)))
    return findings


def read_notebook(path: Path) -> tuple[dict, str]:
    """The notebook's JSON, and "" or one line that says why it cannot be used."""
    try:
        data = json.loads(path.read_text("utf-8"))
    except (OSError, UnicodeDecodeError) as error:
        return {}, f"could not be read: {getattr(error, 'strerror', None) or error}"
    except (ValueError, RecursionError):
        return {}, "is not readable as JSON, so it is not a notebook; restore it from a copy"
    if not isinstance(data, dict) or not isinstance(data.get("cells"), list):
        return {}, "has no list of cells, so it is not a notebook; restore it from a copy"
    return data, ""


def _shown(root: Path, path: Path) -> str:
    return str(path.relative_to(root)) if path.is_relative_to(root) else str(path)


# -- one notebook -------------------------------------------------------------------------------------------


def check_notebook(notebook: dict[str, Any], questions: QuestionSet) -> tuple[list[Fault], set[str]]:
    """(everything wrong, ids of the questions this notebook asks)."""
    lines: list[Fault] = []
    cells = [cell if isinstance(cell, dict) else {} for cell in notebook["cells"]]
    ids: Counter[str] = Counter()
    used = set()
    for number, cell in enumerate(cells, start=1):
        meta = nbgrader_of(cell)
        name = str(meta.get("grade_id", ""))
        if name:
            ids[name] += 1
        lines += [(f"cell {number}", line) for line in (*_left_behind(cell), *_solution_marks(cell, meta))]
        if meta.get("grade"):
            used.add(name)
            lines += [(f"cell {number} ({name})", line) for line in _graded(cell, meta, name, questions)]
    for name, count in ids.items():
        if count > 1:
            line = f"stands {count} times; a grade_id must be unique, so rename or remove one"
            lines.append((f"cell {name!r}", line))
    lines += _kept_records(notebook)
    lines += _order(cells, used & set(questions))
    lines += _points(cells, questions)
    return lines, used


def _left_behind(cell: dict[str, Any]) -> Iterator[str]:
    if cell.get("cell_type") != "code":
        return
    if cell.get("outputs"):
        kept = any(MIME in output.get("data", {}) for output in cell["outputs"] if isinstance(output, dict))
        what = "a recorded answer" if kept else "an output"
        yield f"{what} is saved in it; clear all outputs before committing"
    elif cell.get("execution_count") is not None:
        yield "it carries an execution number; clear all outputs before committing"


def _solution_marks(cell: dict[str, Any], meta: dict[str, Any]) -> Iterator[str]:
    text, code = source_of(cell), cell.get("cell_type") == "code"
    begins, ends = text.count(BEGIN), text.count(END)
    outside = re.sub(f"{re.escape(BEGIN)}.*?{re.escape(END)}", "", text, flags=re.DOTALL)
    if begins != ends:
        yield (
            f"has {begins} {BEGIN!r} and {ends} {END!r}; each needs the other, or the solution is released"
        )
    elif begins and not meta.get("solution"):
        yield "holds a solution but is not a solution cell, so the solution would be released"
    elif code and meta.get("solution") and not begins and "NotImplementedError" not in text:
        yield f"is a solution cell without {BEGIN!r}; nbgrader would release or drop all of it"
    elif code and _TELLING.search(outside):
        yield ("computes an answer where students can see it; move it into a solution or out of the notebook")


def _graded(cell: dict[str, Any], meta: dict[str, Any], name: str, questions: QuestionSet) -> Iterator[str]:
    if name not in questions:
        yield "is graded, but questions.toml has no question of that id; correct one of them"
        return
    question = questions[name]
    if float(meta.get("points") or 0) != question.points:
        yield f"is worth {meta.get('points')} points, but questions.toml says {question.points:g}"
    if question.manual:
        if not meta.get("solution"):
            yield "is for a written answer, so it must be graded and a solution cell at once"
        return
    if not meta.get("locked"):
        yield "is a graded cell that students could change; set locked to true"
    if not _ends_in_check(source_of(cell), name):
        yield f'does not end in panel("{name}")'


def _ends_in_check(text: str, name: str) -> bool:
    """Is the last line the panel itself? A value that is stored, or silenced by ";", leaves no output, and
    nbgrader gives full points to a cell without output.
    """
    last = (text.rstrip().splitlines() or [""])[-1]
    return re.fullmatch(rf"""panel\((["']){re.escape(name)}\1.*\)\s*(#.*)?""", last) is not None


def _kept_records(notebook: dict[str, Any]) -> list[Fault]:
    """Recorded answers and the state of controls in the notebook's own metadata."""
    meta = notebook.get("metadata")
    meta = meta if isinstance(meta, dict) else {}
    kept = ["eqlib"] if meta.get("eqlib") else []
    saved = meta.get("widgets")
    for state in saved.values() if isinstance(saved, dict) else ():
        models = state.get("state") if isinstance(state, dict) else None
        if any(not str(name).startswith("eqlib-") for name in models or ()):  # those are empty, asleep forms
            kept.append("widgets")
    return [("metadata", f"holds {key!r}, left from a run; remove it before committing") for key in kept]


def _order(cells: list[dict[str, Any]], names: Iterable[str]) -> list[Fault]:
    """The cell that works an answer out stands before the panel that takes it."""
    place = {nbgrader_of(cell).get("grade_id"): number for number, cell in enumerate(cells, start=1)}
    return [
        (f"question {name!r}", "its panel stands before the cell of its answer; swap them")
        for name in sorted(names)
        if place.get(f"answer-{name}", 0) > place[name]
    ]


def _points(cells: list[dict[str, Any]], questions: QuestionSet) -> list[Fault]:
    """The notebook's points add up to the file's (only when it asks all of them)."""
    graded = {nbgrader_of(c).get("grade_id"): nbgrader_of(c) for c in cells if nbgrader_of(c).get("grade")}
    if not set(questions) <= set(graded):
        return []
    total = sum(float(meta.get("points") or 0) for meta in graded.values())
    if abs(total - questions.points) > 1e-9:
        return [("", f"its cells are worth {total:g} points together, questions.toml {questions.points:g}")]
    return []


def check_release(notebook: dict[str, Any]) -> list[Fault]:
    """What a released notebook must not hold: solutions, outputs, anything that computes an answer."""
    lines = []
    for number, cell in enumerate(notebook["cells"], start=1):
        cell = cell if isinstance(cell, dict) else {}
        text, where = source_of(cell), f"cell {number}"
        if BEGIN in text or END in text:
            lines.append((where, "still holds a solution; generate the release again"))
        if cell.get("cell_type") == "code" and _TELLING.search(text):
            lines.append((where, "computes an answer where students can see it"))
        lines += [(where, line) for line in _left_behind(cell)]
    return lines + _kept_records(notebook)
