"""Mark a whole class: every submission in the folder, several at once; a broken one never stops the rest.

The path of a submission: ``intake`` reads it, ``marker`` sanitises it as nbgrader does, ``sandbox`` runs its
cells, ``marks`` works out the scores from its recorded answers, ``marker`` saves them in the gradebook.
"""

from __future__ import annotations

import os
import sqlite3
import tempfile
import time
import warnings
from collections.abc import Callable
from concurrent.futures import FIRST_COMPLETED, Future, ThreadPoolExecutor, wait
from dataclasses import dataclass, replace
from pathlib import Path
from queue import SimpleQueue

from sqlalchemy.exc import SQLAlchemyError

from eqlib.grading import notes, sandbox, summary
from eqlib.grading.course import Course, CourseError
from eqlib.grading.gradebook import add_comments, forget_submission, scores
from eqlib.grading.intake import Submission, read_submission, submissions
from eqlib.grading.lean import as_saved, cells_to_run
from eqlib.grading.marker import FeedbackMaker, Marker, Stage
from eqlib.grading.marks import Judged, ReplaceScores, UseOutputs, newest
from eqlib.grading.preprocessors import student_shown
from eqlib.grading.summary import GradeSummary, StudentRow

#: ``progress(done, of, student)``, called as each submission is finished.
Progress = Callable[[int, int, str], None]


def grade(
    course,
    assignment: str,
    jobs: int | None = None,
    progress: Progress | None = None,
    limits: sandbox.Limits | None = None,
    feedback: bool = True,
) -> GradeSummary:
    """Mark every submission of ``assignment`` in the course folder, and fill nbgrader's gradebook.

    ``jobs``     how many to run at once; default, one for each processor.
    ``feedback`` also write the feedback pages.

    Marks and comments given by hand are kept. Raises CourseError or QuestionError when the course itself is
    at
    fault; whatever is wrong with a submission becomes a line in ``problems``.
    """
    with warnings.catch_warnings():
        # nbgrader, nbformat and traitlets warn about their own and each other's past; none of it concerns
        # a class.
        warnings.simplefilter("ignore")
        return _Session(Course.open(course), assignment, limits or sandbox.Limits(), feedback).run(
            jobs, progress
        )


@dataclass
class _Work:
    """A submission on its way: what was prepared, and what is running."""

    submission: Submission
    prepared: dict
    pending: dict[str, Future]


class _Session:
    """One marking of one class."""

    def __init__(self, course: Course, assignment: str, limits: sandbox.Limits, feedback: bool):
        self.course = course
        self.assignment = assignment
        self.limits = limits
        self.questions = course.questions(assignment)
        self.told = course.register(assignment)
        self.released = course.released_notebooks(assignment)
        self.cells = course.cells(assignment)
        self.expected = {name: self.released.get(name) for name in self.cells}
        self.feedback = feedback
        self.workers: SimpleQueue = SimpleQueue()

    def run(self, jobs: int | None, progress: Progress | None) -> GradeSummary:
        started = time.monotonic()
        folders = submissions(self.course.root, self.assignment)
        if not folders:
            raise CourseError(
                f"{self.course.root / 'submitted'}: no submissions of {self.assignment}; "
                f"they belong in submitted/<student id>/{self.assignment}/"
            )
        jobs = max(1, min(jobs or len(os.sched_getaffinity(0)), len(folders)))
        for number in range(jobs):
            self.workers.put(number)
        with tempfile.TemporaryDirectory(prefix="eqlib-marking-") as spare:
            self.stage = Stage(Path(spare), self.course, self.assignment)
            self.marker = Marker(self.stage)
            self.pages = FeedbackMaker(self.stage, self.questions) if self.feedback else None
            rows = self._all(folders, jobs, progress)
        rows = notes.flag_copies(rows)
        problems = tuple(f"{row.student}: {line}" for row in rows for line in row.notes)
        made = GradeSummary(
            self.course.root,
            self.assignment,
            tuple(rows),
            problems,
            self._notices(),
            time.monotonic() - started,
        )
        summary.write(made)
        return made

    def _notices(self) -> tuple[str, ...]:
        said = [sandbox.notice()]
        if self.told:
            said.append(
                f"The gradebook did not know {self.assignment} yet; its questions were entered from source/."
            )
        return tuple(line for line in said if line)

    def _all(self, folders, jobs: int, progress: Progress | None) -> list[StudentRow]:
        """Keep ``jobs`` notebooks running; save each on this thread as it ends."""
        rows: dict[str, StudentRow] = {}
        waiting = list(folders)
        running: dict[str, _Work] = {}
        with ThreadPoolExecutor(jobs) as pool:
            while waiting or running:
                while waiting and len(running) <= jobs:
                    student, folder = waiting.pop(0)
                    work = self._begin(student, folder, pool)
                    if isinstance(work, StudentRow):
                        rows[student] = work
                        _say(progress, len(rows), len(folders), student)
                    else:
                        running[student] = work
                for student in _finished(running):
                    rows[student] = self._end(running.pop(student))
                    _say(progress, len(rows), len(folders), student)
        return [rows[student] for student, _ in folders]

    def _begin(self, student: str, folder: Path, pool) -> _Work | StudentRow:
        """Read and sanitise a submission and set its cells running."""
        ids = {name: set(cells) for name, cells in self.cells.items()}
        submission = read_submission(student, folder, self.expected, ids)
        if submission.unusable:
            return self._unmarked(student, (submission.unusable, *submission.notes))
        try:
            self.stage.lay_out(submission)
            prepared = self.marker.prepare(student)
        except Exception as error:  # noqa: BLE001 - whatever one submission does, the others are marked
            self.stage.clear(student)
            return self._unmarked(student, (notes.could_not(error), *submission.notes))
        pending = {}
        for name, ready in prepared.items():
            ready["only"] = cells_to_run(ready["notebook"], self.expected.get(name), self.questions)
            if self._worth_running(name, ready):
                files = _files_beside(self.stage.path("autograded", student))
                pending[name] = pool.submit(self._run, ready["notebook"], files, ready["only"])
        return _Work(submission, prepared, pending)

    def _run(self, notebook: dict, files: dict[str, bytes], only: set[int] | None) -> sandbox.Executed:
        worker = self.workers.get()
        try:
            return sandbox.run_notebook(notebook, files, self.limits, worker, only)
        finally:
            self.workers.put(worker)

    def _worth_running(self, name: str, ready: dict) -> bool:
        """Nothing recorded and no cell changed since the release: nothing would come of running it."""
        if any(name in self.questions for name in ready["answers"]) or self.expected.get(name) is None:
            return True
        given = {cell.source.strip() for cell in self.expected[name].cells if cell.cell_type == "code"}
        cells = ready["notebook"]["cells"]
        first = 1 if cells and cells[0].get("metadata", {}).get("eqlib", {}).get("restoring") else 0
        return any(
            cell["cell_type"] == "code" and "".join(cell["source"]).strip() not in given | {""}
            for cell in cells[first:]
        )

    def _end(self, work: _Work) -> StudentRow:
        """Score a submission whose cells have run, save it, and say what there is to say about it."""
        student = work.submission.student
        lines = list(work.submission.notes)
        judged = Judged()
        seconds = 0.0
        try:
            for name, ready in work.prepared.items():
                ran = work.pending[name].result() if name in work.pending else sandbox.Executed()
                seconds += ran.seconds
                lines += self._score(student, name, ready, ran, judged)
            self.marker.close(student)
            add_comments(self.course, self.assignment, student, judged)
            if self.pages is not None:
                self.pages.make(student)
        except Exception as error:  # noqa: BLE001 - whatever one submission does, the others are marked
            return self._unmarked(student, (notes.could_not(error), *lines))
        finally:
            self.stage.clear(student)
        row = scores(self.course, self.assignment, student, self.questions, judged)
        return replace(row, notes=tuple(lines), seconds=seconds)

    def _score(
        self, student: str, name: str, ready: dict, ran: sandbox.Executed, judged: Judged
    ) -> list[str]:
        kept = ready["answers"]
        records = newest(kept, ran.outputs, self.questions.assignment.id)
        shown = student_shown(kept, student)
        skipped = ran == sandbox.Executed()
        chosen = set() if skipped else ready["only"]
        outputs = dict(ran.outputs)
        if chosen is not None:
            outputs |= as_saved(ready["notebook"], chosen, ready["saved"], records, self.questions)
        between = [
            UseOutputs(outputs, ran.trouble),
            ReplaceScores(self.questions, records, judged, shown),
        ]
        self.marker.finish(student, name, between)
        return notes.of_submission(student, ready, ran, records, judged, skipped)

    def _unmarked(self, student: str, lines) -> StudentRow:
        """A row without a score. If it was marked before, those marks stay in the gradebook."""
        kept = (self.course.root / "autograded" / student / self.assignment).is_dir()
        try:
            if not kept:
                forget_submission(self.course, self.assignment, student)
            row = scores(self.course, self.assignment, student, self.questions, Judged())
        except (SQLAlchemyError, sqlite3.Error) as error:
            return StudentRow(student, None, self.questions.points, notes=(*lines, notes.could_not(error)))
        first = f"not marked: {lines[0]}" + (" (its earlier marks stand)" if kept else "")
        return replace(row, notes=(first, *lines[1:]))


def _finished(running: dict[str, _Work]) -> list[str]:
    """Students all of whose notebooks have run; waits for the next to end when there is none."""
    while running:
        done = [s for s, work in running.items() if all(f.done() for f in work.pending.values())]
        if done:
            return done
        wait(
            [f for work in running.values() for f in work.pending.values() if not f.done()],
            return_when=FIRST_COMPLETED,
        )
    return []


def _say(progress: Progress | None, done: int, of: int, student: str) -> None:
    if progress is not None:
        progress(done, of, student)


def _files_beside(folder: Path) -> dict[str, bytes]:
    """What the cells may read: the course's files and the student's own, as nbgrader laid them out."""
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file() and path.suffix != ".ipynb" and not path.name.endswith(".journal.json")
    }
