"""Mark a whole class: every submission in the folder, several at once; a broken one never stops the rest.

The path of a submission: in a thread ``intake`` finds its files, a worker at the ``desk`` marks it
(``submission``), and its notebook and page are laid ready (``places``). Then, by one hand, its marks go into
the gradebook and its folders into their  Last of all its row is kept, with a fingerprint of what it
was made from: marking again does only what is new, changed or was not finished.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import os
import time
import warnings
from collections.abc import Callable, Iterable
from concurrent.futures import FIRST_COMPLETED, Future, ThreadPoolExecutor, wait
from dataclasses import dataclass, field, replace
from importlib.metadata import version
from pathlib import Path
from typing import Any

from eqlib.errors import EqlibError
from eqlib.grading import summary
from eqlib.grading.course import Course, CourseError, clear_left_over, prepare, settle
from eqlib.grading.desk import Desk, Done, NotFinished, Task
from eqlib.grading.gradebook import GradebookError, Ledger, Standing, plainly, read_time
from eqlib.grading.intake import HandedIn, collect_files, printable, submitted
from eqlib.grading.run.sandbox import Isolation, Limits, notice
from eqlib.grading.submission import Facts, Result, could_not, gravest_first
from eqlib.grading.summary import GradeSummary, Kept, QuestionRow, StudentRow

#: What nbgrader's exchange lays beside a submission, and wants beside its feedback to hand that back.
OF_EXCHANGE = ("timestamp.txt", "submission_secret.txt")
_PROCESSORS = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
#: ``progress(done, of, student)``, called as each submission is finished.
Progress = Callable[[int, int, str], None]
#: ``record(event, **facts)``: one line of the log.
Log = Callable[..., None]


class NoSandbox(EqlibError):
    """A sandbox was required and cannot be had here; the message says how to get it."""


def grade(
    course: str | Path,
    assignment: str,
    jobs: int | None = None,
    progress: Progress | None = None,
    limits: Limits | None = None,
    feedback: bool = True,
    *,
    force: bool = False,
    only: Iterable[str] = (),
    require_sandbox: bool = False,
    log: Log | None = None,
    desk_for: Callable[..., Any] = Desk,
) -> GradeSummary:
    """Mark the submissions of ``assignment`` in the course folder, and fill nbgrader's gradebook.

    ``jobs``            how many to mark at once; default, one for each processor.
    ``feedback``        also write the feedback pages.
    ``force``, ``only`` mark again what has not changed; mark these students only.
    ``require_sandbox`` raise NoSandbox rather than run student code outside bubblewrap.
    ``desk_for``        what makes the desk: here, or on other machines.

    Marks and comments given by hand are kept. Raises CourseError or QuestionError when the course itself is
    at fault; whatever is wrong with a submission becomes a line in ``problems``.
    """
    how = How(jobs, feedback, force, tuple(dict.fromkeys(only)), require_sandbox)
    with warnings.catch_warnings():
        # nbgrader, nbformat and traitlets warn about their own and each other's past; none of it concerns a
        # class.
        warnings.simplefilter("ignore")
        opened = Course.open(course)
        try:
            with plainly(opened.db_url.removeprefix("sqlite:///")):
                session = _Session(opened, assignment, limits, how, log or (lambda event, **facts: None))
                return session.run(progress, desk_for)
        except OSError as error:
            raise CourseError(_refused(error, opened.root)) from None


def _refused(error: OSError, root: Path) -> str:
    where = error.filename or root
    return f"{where}: {error.strerror or error}; make room or make it writable, then mark again"


@dataclass(frozen=True)
class How:
    """How to mark. ``only``: these students; ``force``: marked ones too; ``strict``: only in a sandbox."""

    jobs: int | None
    feedback: bool
    force: bool
    only: tuple[str, ...]
    strict: bool


@dataclass
class _Ready:
    """One submission after its thread: ``row`` where nothing is to be saved, else what to save."""

    student: str
    stamp: str
    row: StudentRow | None = None
    unchanged: bool = False
    when: dt.datetime | None = None
    result: Result | None = None
    folders: list[Path] = field(default_factory=list)


class _Session:
    """One marking of one class."""

    def __init__(self, course: Course, assignment: str, limits: Limits | None, how: How, log: Log) -> None:
        self.course, self.assignment, self.how, self.log = course, assignment, how, log
        self.started = time.monotonic()
        course.source(assignment)
        others = [name for name in course.assignments() if name != assignment]
        self.folders = submitted(course.root, assignment, others)
        self.there = dict(self.folders)
        at = course.root / "submitted"
        missing = [name for name in how.only if name not in self.there]
        if missing:
            raise CourseError(f"{at}: nothing handed in by {', '.join(missing)} for {assignment}")
        if not self.folders:
            raise CourseError(
                f"{at}: no submissions of {assignment}; they belong in {at}/<student id>/{assignment}/"
            )
        self.told = course.register(assignment)
        self.paper = course.paper(assignment, limits)
        self.kept = Kept(course.root, assignment)
        self.before = {row.student: row for row in summary.read(course.root, assignment) or []}
        self.rows: dict[str, StudentRow] = {}
        self.unchanged = 0
        self.stopped = ""

    def run(self, progress: Progress | None, desk_for: Callable[..., Any]) -> GradeSummary:
        clear_left_over(self.course.root)
        self.ledger = Ledger(self.course, self.assignment)
        try:
            with desk_for(self.paper, [str(self.course.root)]) as self.desk:
                self.isolation: Isolation | None = self.desk.isolation
                if self.how.strict and (why := notice(self.isolation)):
                    raise NoSandbox(why)
                self.base = self._fingerprint_of_course()
                self._all(progress or (lambda done, of, student: None))
        finally:
            self.ledger.close()
        if self.how.only:
            # The others as they were marked before.
            self.rows = self.before | self.rows
        rows = summary.flag_copies([self.rows[s] for s, _ in self.folders if s in self.rows])
        made = GradeSummary(
            self.course.root,
            self.assignment,
            tuple(rows),
            tuple(f"{row.student}: {line}" for row in rows for line in row.notes),
            self._notices(),
            time.monotonic() - self.started,
            self._absent(),
            self.unchanged,
            self.stopped,
        )
        summary.write(made)
        return made

    def _notices(self) -> tuple[str, ...]:
        told = f"The gradebook did not know {self.assignment} yet; its questions were entered from source/."
        said = (notice(self.isolation), told if self.told else "", self.course.lacks)
        return tuple(line for line in said if line)

    def _absent(self) -> tuple[str, ...]:
        """Known ids without a submission: of the gradebook, and of those who handed something else in."""
        root = self.course.root / "submitted"
        listed = root.iterdir() if root.is_dir() else ()
        there = {p.name for p in listed if p.is_dir() and not p.name.startswith(".")}
        return tuple(sorted((self.ledger.students | there) - set(self.there)))

    # What has to be done

    def _fingerprint_of_course(self) -> str:
        """Changes with what marks are made from: questions, cells, files, settings, program, sandbox."""
        made = [
            json.dumps([book.name, book.wanted, book.released], sort_keys=True, default=str)
            for book in self.paper.books.values()
        ]
        # A mark made by other code is made again.
        code = max(path.stat().st_mtime_ns for path in Path(__file__).parents[1].rglob("*.py"))
        program = (code, version("eqlib"), version("nbgrader"), self.isolation == Isolation("none"))
        how = (self.paper.config, self.paper.limits, self.how.feedback, self.ledger.due)
        files = sorted(self.paper.files.items())
        return hashlib.sha256(repr((made, files, how, program)).encode(errors="replace")).hexdigest()

    def _fingerprint(self, given: HandedIn) -> str:
        digest = hashlib.sha256(self.base.encode())
        for name, data in sorted(given.files.items()):
            digest.update(f"{name}\0{len(data)}\0".encode(errors="replace") + data)
        digest.update(repr((given.notes, given.unusable)).encode())
        return digest.hexdigest()

    def _all(self, progress: Progress) -> None:
        """Keep the workers busy; save here, by one hand, whatever has come back since the last time."""
        waiting = [(s, at) for s, at in self.folders if not self.how.only or s in self.how.only]
        of = len(waiting)
        jobs = max(1, min(self.how.jobs or _PROCESSORS, of))
        running: dict[Future[_Ready], str] = {}
        # One more than there are workers reads or lays ready in the meantime.
        with ThreadPoolExecutor(jobs + 1) as pool:
            try:
                while waiting or running:
                    while waiting and len(running) < 4 * jobs:
                        student, at = waiting.pop(0)
                        running[pool.submit(self._one, student, at)] = student
                    done, _ = wait(running, return_when=FIRST_COMPLETED)
                    ready = [self._came(future, running.pop(future)) for future in done]
                    self._save([one for one in ready if one.result is not None])
                    for one in ready:
                        self._keep(one)
                        progress(len(self.rows), of, one.student)
            except (GradebookError, OSError) as error:
                for future in running:
                    future.cancel()
                self.stopped = _refused(error, self.course.root) if isinstance(error, OSError) else str(error)
                self.log("stopped", why=self.stopped)

    def _as_it_was(self, student: str, stamp: str) -> StudentRow | None:
        row = self.kept.row(student, stamp)
        if row is None or row.points is None:
            return row
        if student not in self.ledger.standing or not self._place("autograded", student).is_dir():
            return None
        return summary.with_marks_by_hand(row, self.ledger.standing[student])

    def _place(self, step: str, student: str) -> Path:
        return self.course.root / step / student / self.assignment

    # One submission, in a thread

    def _one(self, student: str, at: list[Path]) -> _Ready:
        """Read it, have a worker mark it, lay its folders ready."""
        given = collect_files(student, at)
        ready = _Ready(student, self._fingerprint(given))
        before = None if self.how.force else self._as_it_was(student, ready.stamp)
        if before is not None:
            return replace(ready, row=before, unchanged=True)
        stamp = given.files.get("timestamp.txt")
        ready.when = read_time(stamp)
        if stamp and ready.when is None and self.ledger.due is not None:
            line = "its timestamp.txt gives no time that can be read, so it is not known whether it is late"
            given = replace(given, notes=(*given.notes, line))
        done = self._mark(given, ready.when)
        if done.result.unusable:
            return replace(ready, row=self._unmarked(student, (done.result.unusable, *done.result.notes)))
        ready.result = done.result
        self._lay("autograded", ready, self._marked_files(given, done.result))
        if done.pages:
            pages = {f"{name}.html": page.encode() for name, page in done.pages.items()}
            self._lay(
                "feedback", ready, {**{n: given.files[n] for n in OF_EXCHANGE if n in given.files}, **pages}
            )
        return ready

    def _lay(self, step: str, ready: _Ready, files: dict[str, bytes]) -> None:
        target = self._place(step, ready.student)
        prepare(target, files)
        ready.folders.append(target)

    def _mark(self, given: HandedIn, when: dt.datetime | None) -> Done:
        """Have a worker mark it and make its page (late work: with what is taken off), or only mark it."""
        student = given.student
        if given.unusable:
            return Done(Result(student, unusable=given.unusable, notes=list(given.notes)))
        standing = self.ledger.standing.get(student, Standing())
        late = self.ledger.seconds_late(student, when) > 0
        due = self.ledger.due_for(student)
        if due is not None and not late:
            given = replace(given, due=due.replace(tzinfo=dt.UTC))
        try:
            done = self.desk.mark(Task(given, standing, self.how.feedback and not late))
            if self.how.feedback and late and not done.result.unusable:
                taken = self.ledger.penalties(student, when, done.result.books)
                done.pages = self.desk.pages(done.result, standing, taken)
            return done
        except NotFinished as error:
            why = str(error)
        if not self.how.feedback:
            return Done(Result(student, unusable=why))
        try:
            done = self.desk.mark(Task(given, standing, page=False))
        except NotFinished as error:
            return Done(Result(student, unusable=str(error)))
        done.result.notes.append(f"it has no feedback page: {why}")
        return done

    def _marked_files(self, given: HandedIn, result: Result) -> dict[str, bytes]:
        """The autograded folder: the files as nbgrader lays them out, and the marked notebooks."""
        files = {
            name: data for name, data in result.files.items() if name != "timestamp.txt" or read_time(data)
        }
        made = {f"{n}.ipynb": book.notebook for n, book in result.books.items() if book.notebook is not None}
        return {**files, **self.paper.files, **made}

    def _came(self, future: Future[_Ready], student: str) -> _Ready:
        """What a thread made of a submission. Raises OSError, which stops the marking."""
        try:
            return future.result()
        except (GradebookError, OSError):
            raise
        except Exception as error:  # noqa: BLE001 - whatever one submission does, the others are marked
            return _Ready(student, "", self._unmarked(student, (could_not(error),)))

    # Saving, by one hand

    def _save(self, batch: list[_Ready]) -> None:
        """Their marks into the gradebook, all or none, and then their folders into their"""
        for one in batch:
            self.kept.drop(one.student)
        books = [(one.student, one.when, one.result.books) for one in batch if one.result is not None]
        if books:
            self.ledger.save(books)
        for one in batch:
            for target in one.folders:
                settle(target)

    def _keep(self, one: _Ready) -> None:
        if one.result is not None:
            one.row = self._row(one, one.result)
        assert one.row is not None
        self.rows[one.student] = row = one.row
        if one.unchanged:
            self.unchanged += 1
            return
        if one.result is None and not self._stands(one.student):
            self.ledger.forget(one.student)
        self.kept.keep(row, one.stamp)
        facts = {"points": row.points, "of": row.could_be, "seconds": round(row.seconds, 3)}
        self.log("marked", student=row.student, notes=list(row.notes), **facts)

    def _row(self, one: _Ready, result: Result) -> StudentRow:
        late = self.ledger.seconds_late(one.student, one.when)
        rows = tuple(self._question_rows(result))
        most = sum(q.max_points for q in rows)
        row = StudentRow(one.student, 0.0, most, rows, 0.0, late, (), result.seconds)
        row = summary.with_marks_by_hand(row, self.ledger.standing[one.student])
        said = list(result.notes)
        if late:
            taken = f", {row.penalty:g} points taken off" if row.penalty else ""
            said.insert(0, f"late by {_spell(late)}{taken}")
        return replace(row, notes=tuple(printable(line) for line in gravest_first(said)))

    def _stands(self, student: str) -> bool:
        """Are there marks of an earlier marking, whose notebook is there too?"""
        return student in self.ledger.standing and self._place("autograded", student).is_dir()

    def _unmarked(self, student: str, lines: tuple[str, ...]) -> StudentRow:
        """A row without a score. If it was marked before, those marks stay in the gradebook."""
        stands = self._stands(student)
        most = sum(book.points(name) for book in self.paper.books.values() for name in book.graded())
        said = [f"not marked: {lines[0]}" + (" (its earlier marks stand)" if stands else ""), *lines[1:]]
        row = StudentRow(student, None, most)
        if stands and student in self.before:
            row = summary.with_marks_by_hand(self.before[student], self.ledger.standing[student])
        return replace(row, notes=tuple(printable(line) for line in gravest_first(said)))

    def _question_rows(self, result: Result) -> list[QuestionRow]:
        """What marking found, before the marks of the gradebook are put in."""
        rows = []
        order = list(self.paper.questions)
        for book, made in result.books.items():
            for name in self.paper.books[book].graded():
                grade, facts = made.grades.get(name), result.facts.get(name, Facts())
                about = (facts.mistakes, facts.answer, facts.wrong, facts.audit, grade.state if grade else "")
                rows.append(QuestionRow(name, None, self.paper.books[book].points(name), *about, book))
        return sorted(
            rows, key=lambda row: order.index(row.question) if row.question in order else len(order)
        )


def _spell(seconds: float) -> str:
    minutes = int(seconds // 60)
    if minutes < 120:
        return f"{minutes} minutes"
    return f"{minutes // 60} hours" if minutes < 2880 else f"{minutes // 1440} days"
