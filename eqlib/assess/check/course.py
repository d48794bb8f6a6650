"""``eqlib check``: do a course, its notebooks and its questions hold together?

A course is a folder with ``source/<assignment>/``; a folder that holds a ``questions.toml`` itself is
checked alone.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path

from eqlib.assess.check.guesses import (
    STUDENTS,
    Asked,
    Shown,
    lucky,
    numbers_asked,
    numbers_shown,
    places,
    printed,
    texts_of,
)
from eqlib.assess.check.leaks import leaks, not_to_be_released
from eqlib.assess.check.notebook import check_notebook, check_release
from eqlib.assess.check.question import check_question
from eqlib.assess.load import load_questions
from eqlib.errors import EqlibError

#: Sets of numbers tried for every question.
SAMPLES = 200


@dataclass(frozen=True)
class Finding:
    """Something to look at: in which file, where in it, and what to do. One line each."""

    path: str
    where: str
    message: str

    def __str__(self) -> str:
        return f"{self.path}: {self.where}: {self.message}" if self.where else f"{self.path}: {self.message}"


def check_course(
    path: str | Path, samples: int = SAMPLES, progress: Callable[[str, int, int], None] | None = None
) -> list[Finding]:
    """Everything that does not hold together in the course at ``path``; an empty list means that all is well.

    ``samples`` sets of numbers are tried per question; what can be guessed or read off is measured from 200
    on. ``progress(what, done, of)`` is called before each question.
    """
    root = Path(path)
    folders = _assignments(root)
    if not folders:
        return [Finding(str(root), "", "no questions.toml here or in source/*/; is this the course folder?")]
    findings: list[Finding] = []
    asked: list[Asked] = []
    shown: list[Shown] = []
    files: dict[str, str] = {}
    for folder in folders:
        findings += _check_assignment(root, folder, samples, progress)
        files |= _gather(root, folder, samples, asked, shown)
    findings += _check_twice(folders)
    findings += [
        Finding(files[assignment], f"question {question!r}", line)
        for assignment, question, line in printed(asked, shown)
    ]
    return findings


def _gather(root: Path, folder: Path, samples: int, asked: list, shown: list) -> dict[str, str]:
    """Add what the assignment asks and shows to the two lists; its id and file. One that cannot be loaded is
    reported elsewhere.
    """
    try:
        questions = load_questions(folder)
    except EqlibError:
        return {}
    texts: list[tuple[str, str]] = []
    for path in sorted(folder.glob("*.ipynb")):
        notebook, problem = read_notebook(path)
        texts += [] if problem else texts_of(notebook)
    if samples >= STUDENTS:
        asked += numbers_asked(questions)
        shown += numbers_shown(questions, texts)
    return {questions.assignment.id: _shown(root, folder / "questions.toml")}


def _assignments(root: Path) -> list[Path]:
    if (root / "questions.toml").is_file():
        return [root]
    return sorted(file.parent for file in root.glob("source/*/questions.toml"))


def _check_assignment(
    root: Path, folder: Path, samples: int, progress: Callable[[str, int, int], None] | None
) -> list[Finding]:
    file = folder / "questions.toml"
    shown = _shown(root, file)
    try:
        questions = load_questions(file)
    except EqlibError as error:
        # Each names its file itself; after a near name the whole list is no help.
        named = f"{Path(*file.parts[-2:])}: "
        faults = [line.removeprefix(named) for line in getattr(error, "faults", (str(error),))]
        return [Finding(shown, "", line.split(" It may be one of: ")[0]) for line in faults]
    findings = []
    if questions.assignment.id != folder.name and folder != root:
        findings.append(
            Finding(
                shown, "[assignment]", f"id is {questions.assignment.id!r} but the folder is {folder.name!r}"
            )
        )
    for number, question in enumerate(questions.values()):
        if progress is not None:
            progress(f"{questions.assignment.id}: {question.id}", number, len(questions))
        findings += [
            Finding(shown, f"question {question.id!r}", line) for line in check_question(question, samples)
        ]
    notebooks = sorted(folder.glob("*.ipynb"))
    if not notebooks:
        findings.append(Finding(shown, "", "there is no notebook beside this file"))
    given_away = [*places(questions), *leaks(questions), *not_to_be_released(questions)]
    if samples >= STUDENTS:
        given_away += lucky(questions)
    findings += [Finding(shown, where, line) for where, line in given_away]
    for kept in sorted(folder.glob("instructor*")):
        line = "would be released to students with this folder; move it to the course's instructor folder"
        findings.append(Finding(_shown(root, kept), "", line))
    for kept in sorted(folder.glob("*.journal.json")):
        line = "holds somebody's recorded answers and would be released; remove it"
        findings.append(Finding(_shown(root, kept), "", line))
    elsewhere: set[str] = set()
    for notebook in notebooks:
        data, problem = read_notebook(notebook)
        if problem:
            findings.append(Finding(_shown(root, notebook), "", problem))
            continue
        lines, used = check_notebook(data, questions)
        lines += [(where, line) for where, line in leaks(questions, data) if where.startswith("cell ")]
        lines += [(f"question {name!r}", "another notebook asks it too") for name in sorted(used & elsewhere)]
        findings += [Finding(_shown(root, notebook), where, line) for where, line in lines]
        elsewhere |= used
    if notebooks:
        for name in questions:
            if name not in elsewhere:
                findings.append(Finding(shown, f"question {name!r}", "no notebook beside this file asks it"))
    for release in sorted((root / "release" / folder.name).glob("*.ipynb")):
        data, problem = read_notebook(release)
        lines = [("", problem)] if problem else check_release(data, questions)
        findings += [Finding(_shown(root, release), where, line) for where, line in lines]
    return findings


def _check_twice(folders: Iterable[Path]) -> list[Finding]:
    """Two assignments with one id would share their answers and their numbers."""
    seen: dict[str, Path] = {}
    findings = []
    for folder in folders:
        try:
            name = load_questions(folder).assignment.id
        except EqlibError:
            continue  # already reported by _check_assignment
        if name in seen:
            findings.append(Finding(str(folder), "[assignment]", f"id {name!r} is also used by {seen[name]}"))
        seen[name] = folder
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
