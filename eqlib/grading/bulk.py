"""Mark a whole class: every submission in the folder, several at once; a broken one never stops the rest.

The path of a submission: ``intake`` finds its files, a worker at the ``desk`` marks it (``submission``),
and here,
by one hand, its marks go into the gradebook and its notebook and page into their places. Last of all its
row is
kept, with a fingerprint of what it was made from: marking again does only what is new, changed or was not
finished.
"""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import time
import warnings
from collections.abc import Callable, Iterable
from concurrent.futures import FIRST_COMPLETED, Future, ThreadPoolExecutor, wait
from contextlib import suppress
from dataclasses import dataclass, replace
from importlib.metadata import version
from pathlib import Path

from eqlib.assess.reading import read_part
from eqlib.errors import EqlibError
from eqlib.grading import notes, summary
from eqlib.grading.course import Course, CourseError
from eqlib.grading.desk import Desk, Done, Task, TooMuch
from eqlib.grading.gradebook import GradebookError, Ledger, Standing, plainly, read_time
from eqlib.grading.intake import HandedIn, collect_files, printable, submitted
from eqlib.grading.run.sandbox import Limits
from eqlib.grading.run.start import notice
from eqlib.grading.submission import TO_READ, Marked, Result
from eqlib.grading.summary import GradeSummary, Kept, QuestionRow, StudentRow

#: ``progress(done, of, student)``, called as each submission is finished.
Progress = Callable[[int, int, str], None]
#: ``record(event, **facts)``: one line of the log.
Log = Callable[..., None]


class NoSandbox(EqlibError):
    """A sandbox was required and cannot be had here; the message says how to get it."""


@dataclass(frozen=True)
class How:
    """How to mark. ``only``: these students; ``force``: those marked already too; ``strict``: not without
    a sandbox.
    """

    jobs: int | None = None
    feedback: bool = True
    force: bool = False
    only: tuple[str, ...] = ()
    strict: bool = False


def grade(
    course,
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
    desk_for=Desk,
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
    how = How(jobs, feedback, force, tuple(only), require_sandbox)
    with warnings.catch_warnings():
        # nbgrader, nbformat and traitlets warn about their own and each other's past; none of it concerns a
        # class.
        warnings.simplefilter("ignore")
        opened = Course.open(course)
        with _plain_disk(opened.root), plainly(opened.db_url.removeprefix("sqlite:///")):
            return _Session(opened, assignment, limits, how, progress, log or _silent, desk_for).run()


def _silent(event: str, **facts) -> None:
    return None


class _plain_disk:
    """What the disk refuses becomes one line."""

    def __init__(self, root: Path):
        self.root = root

    def __enter__(self):
        return self

    def __exit__(self, kind, error, trace):
        if isinstance(error, OSError):
            where = error.filename or self.root
            raise CourseError(
                f"{where}: {error.strerror or error}; make room or make it writable, then mark again"
            ) from None
        return False


class _Session:
    """One marking of one class."""

    def __init__(self, course: Course, assignment: str, limits, how: How, progress, log: Log, desk_for):
        self.course, self.assignment, self.how, self.log, self.desk_for = (
            course,
            assignment,
            how,
            log,
            desk_for,
        )
        self.progress = progress or (lambda done, of, student: None)
        self.started = time.monotonic()
        course.source(assignment)
        others = [name for name in course.assignments() if name != assignment]
        self.folders = submitted(course.root, assignment, others)
        if how.only:
            missing = [name for name in how.only if name not in dict(self.folders)]
            if missing:
                raise CourseError(
                    f"{course.root / 'submitted'}: nothing handed in by {', '.join(missing)} for {assignment}"
                )
        elif not self.folders:
            raise CourseError(
                f"{course.root / 'submitted'}: no submissions of {assignment}; "
                f"they belong in submitted/<student id>/{assignment}/"
            )
        self.told = course.register(assignment)
        self.paper = course.paper(assignment, limits)
        self.kept = Kept(course.root, assignment)
        self.stopped = ""

    def run(self) -> GradeSummary:
        clear_left_over(self.course.root)
        self.ledger = Ledger(self.course, self.assignment)
        try:
            with self.desk_for(self.paper, [str(self.course.root)]) as self.desk:
                self.isolation = self.desk.isolation
                if self.how.strict and self.isolation is not None and not self.isolation.sandboxed:
                    raise NoSandbox(notice(self.isolation) or "no sandbox")
                self.base = self._fingerprint_of_course()
                rows = self._all()
        finally:
            self.ledger.close()
        rows = notes.flag_copies(rows)
        made = GradeSummary(
            self.course.root,
            self.assignment,
            tuple(rows),
            tuple(f"{row.student}: {line}" for row in rows for line in row.notes),
            self._notices(rows),
            time.monotonic() - self.started,
            self._absent(),
            self.unchanged,
            self.stopped,
        )
        summary.write(made)
        return made

    def _notices(self, rows) -> tuple[str, ...]:
        said = [notice(self.isolation)] if self.isolation is not None else []
        if self.told:
            said.append(
                f"The gradebook did not know {self.assignment} yet; its questions were entered from source/."
            )
        return tuple(line for line in said if line)

    def _absent(self) -> tuple[str, ...]:
        """Known ids without a submission: of the gradebook, and of those who handed something else in."""
        root = self.course.root / "submitted"
        there = (
            {p.name for p in root.iterdir() if p.is_dir() and not p.name.startswith(".")}
            if root.is_dir()
            else set()
        )
        return tuple(sorted((self.ledger.students | there) - set(dict(self.folders))))

    # What has to be done

    def _fingerprint_of_course(self) -> str:
        """Changes when what marks are made from changes: questions, cells, files, settings, this program,
        the sandbox.
        """
        digest = hashlib.sha256()
        for book in self.paper.books.values():
            digest.update(
                json.dumps([book.name, book.wanted, book.released], sort_keys=True, default=str).encode()
            )
        for name, data in sorted(self.paper.files.items()):
            digest.update(name.encode() + data)
        digest.update(
            repr((self.paper.config, self.paper.limits, version("eqlib"), version("nbgrader"))).encode()
        )
        digest.update(repr((self.how.feedback, self.ledger.due, _code_stamp())).encode())
        digest.update(repr(self.isolation and self.isolation.kind == "none").encode())
        return digest.hexdigest()

    def _fingerprint(self, given: HandedIn) -> str:
        digest = hashlib.sha256(self.base.encode())
        for name, data in sorted(given.files.items()):
            digest.update(f"{name}\0{len(data)}\0".encode(errors="replace") + data)
        digest.update(repr((given.notes, given.unusable)).encode())
        return digest.hexdigest()

    def _all(self) -> list[StudentRow]:
        """Keep the workers busy; save each submission here, by one hand, as it comes back."""
        rows: dict[str, StudentRow] = {}
        waiting = [(s, places) for s, places in self.folders if not self.how.only or s in self.how.only]
        jobs = max(1, min(self.how.jobs or len(_processors()), len(waiting)))
        running: dict[Future, tuple[HandedIn, str]] = {}
        self.unchanged = 0
        of = len(waiting)
        with ThreadPoolExecutor(jobs) as pool:
            try:
                while waiting or running:
                    while waiting and len(running) <= jobs:
                        student, places = waiting.pop(0)
                        given = collect_files(student, places)
                        mark_of = self._fingerprint(given)
                        row = None if self.how.force else self._as_it_was(student, mark_of)
                        if row is not None:
                            rows[student] = row
                            self.unchanged += 1
                            self.progress(len(rows), of, student)
                            continue
                        running[pool.submit(self._mark, given)] = (given, mark_of)
                    done, _ = wait(running, return_when=FIRST_COMPLETED) if running else ((), ())
                    for future in done:
                        given, mark_of = running.pop(future)
                        rows[given.student] = row = self._end(given, future, mark_of)
                        facts = {"points": row.points, "of": row.could_be, "seconds": round(row.seconds, 3)}
                        self.log("marked", student=row.student, notes=list(row.notes), **facts)
                        self.progress(len(rows), of, given.student)
            except (GradebookError, OSError) as error:
                for future in running:
                    future.cancel()
                self.stopped = self._why(error)
                self.log("stopped", why=self.stopped)
        if self.how.only:
            rows |= self._rows_before(set(rows))
        return [rows[student] for student, _ in self.folders if student in rows]

    def _why(self, error: Exception) -> str:
        if isinstance(error, OSError):
            where = error.filename or self.course.root
            return f"{where}: {error.strerror or error}; make room or make it writable, then mark again"
        return str(error)

    def _rows_before(self, done: set[str]) -> dict[str, StudentRow]:
        """With ``only``: the others as they were marked before."""
        before = summary.read(self.course.root, self.assignment) or []
        return {row.student: row for row in before if row.student not in done}

    def _as_it_was(self, student: str, mark_of: str) -> StudentRow | None:
        row = self.kept.row(student, mark_of)
        if row is None or (row.points is not None and student not in self.ledger.standing):
            return None
        if (
            row.points is not None
            and not (self.course.root / "autograded" / student / self.assignment).is_dir()
        ):
            return None
        return _with_marks_by_hand(row, self.ledger.standing.get(student, Standing()))

    # One submission

    def _mark(self, given: HandedIn) -> Done:
        """In a thread: have a worker mark it. Once more without a page if that was too much."""
        if given.unusable:
            return Done(Result(given.student, unusable=given.unusable, notes=list(given.notes)))
        standing = self.ledger.standing.get(given.student, Standing())
        when = read_time(given.files.get("timestamp.txt"))
        page = self.how.feedback and not self.ledger.seconds_late(given.student, when)
        try:
            return self.desk.mark(Task(given, standing, page))
        except TooMuch:
            if not page:
                raise
            done = self.desk.mark(Task(given, standing, page=False))
            done.result.notes.append("its feedback page took too much time or memory; it has none")
            return Done(done.result, {})

    def _end(self, given: HandedIn, future: Future, mark_of: str) -> StudentRow:
        """Save a submission that came back, and say what there is to say about it."""
        student = given.student
        try:
            done = future.result()
        except TooMuch as error:
            done = Done(Result(student, unusable=str(error)))
        except Exception as error:  # noqa: BLE001 - whatever one submission does, the others are marked
            done = Done(Result(student, unusable=notes.could_not(error)))
        result = done.result
        if result.unusable:
            row = self._unmarked(student, (result.unusable, *result.notes))
        else:
            row = self._save(given, done)
        self.kept.keep(row, mark_of)
        return row

    def _save(self, given: HandedIn, done: Done) -> StudentRow:
        student, result = given.student, done.result
        when = read_time(given.files.get("timestamp.txt"))
        self.kept.drop(student)
        standing = self.ledger.save(student, when, result.books)
        pages = done.pages
        if pages is None and self.how.feedback:
            pages = self._pages(result, standing)
        self._put("autograded", student, self._marked_files(given, result))
        if pages:
            self._put("feedback", student, {f"{name}.html": page.encode() for name, page in pages.items()})
        late = self.ledger.seconds_late(student, when)
        rows = self._question_rows(result, standing)
        penalty = sum(standing.penalties.values())
        points = round(sum(q.points for q in rows if q.points is not None) - penalty, 6)
        said = result.notes
        if late:
            said = [f"late by {_spell(late)}{f', {penalty:g} points taken off' if penalty else ''}", *said]
        most = sum(q.max_points for q in rows)
        said = tuple(printable(line) for line in notes.gravest_first(said))
        return StudentRow(student, points, most, tuple(rows), penalty, late, said, result.seconds)

    def _pages(self, result: Result, standing: Standing) -> dict[str, str]:
        try:
            return self.desk.pages(result, standing, standing.penalties)
        except TooMuch:
            result.notes.append("its feedback page took too much time or memory; it has none")
            return {}

    def _marked_files(self, given: HandedIn, result: Result) -> dict[str, bytes]:
        """The autograded folder: the files as nbgrader lays them out, and the marked notebooks."""
        files = {
            name: data for name, data in result.files.items() if name != "timestamp.txt" or read_time(data)
        }
        files |= self.paper.files
        for name, made in result.books.items():
            if made.notebook is not None:
                files[f"{name}.ipynb"] = (
                    json.dumps(made.notebook, ensure_ascii=False, indent=1) + "\n"
                ).encode()
        return files

    def _put(self, step: str, student: str, files: dict[str, bytes]) -> None:
        """Write a folder beside its place, private, and move it there when it is whole."""
        target = self.course.root / step / student / self.assignment
        fresh = target.with_name(f".{target.name}.new")
        _remove(fresh)
        fresh.mkdir(parents=True, mode=0o700)
        os.chmod(target.parent, 0o700)
        for name, data in files.items():
            path = fresh / name
            path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
            handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
            with os.fdopen(handle, "wb") as stream:
                stream.write(data)
        old = target.with_name(f".{target.name}.old")
        _remove(old)
        if target.exists():
            os.replace(target, old)
        os.replace(fresh, target)
        _remove(old)

    def _unmarked(self, student: str, lines) -> StudentRow:
        """A row without a score. If it was marked before, those marks stay in the gradebook."""
        standing = self.ledger.standing.get(student)
        stands = (
            standing is not None and (self.course.root / "autograded" / student / self.assignment).is_dir()
        )
        most = sum(book.points(name) for book in self.paper.books.values() for name in book.graded())
        if not stands:
            self.ledger.forget(student)
        said = [f"not marked: {lines[0]}" + (" (its earlier marks stand)" if stands else ""), *lines[1:]]
        before = self._earlier(student) if stands else None
        row = before or StudentRow(student, None, most)
        return replace(row, notes=tuple(printable(line) for line in notes.gravest_first(said)))

    def _earlier(self, student: str) -> StudentRow | None:
        """The row of an earlier marking whose marks stand."""
        before = {row.student: row for row in summary.read(self.course.root, self.assignment) or []}
        row = before.get(student)
        return row and _with_marks_by_hand(row, self.ledger.standing.get(student, Standing()))

    def _question_rows(self, result: Result, standing: Standing) -> list[QuestionRow]:
        rows = []
        order = list(self.paper.questions)
        for book, made in result.books.items():
            for name in self.paper.books[book].graded():
                grade = made.grades.get(name)
                points = standing.score(book, name)
                state = "" if points is not None else (grade.state if grade and grade.state else TO_READ)
                most = self.paper.books[book].points(name)
                rows.append(
                    question_row(
                        name, book, points, most, state, result.marked.get(name), self.paper.questions
                    )
                )
        return sorted(
            rows, key=lambda row: order.index(row.question) if row.question in order else len(order)
        )


def question_row(
    name: str, book: str, points, most: float, state: str, marked: Marked | None, questions
) -> QuestionRow:
    """A question's row, with what the class report needs to know about the answer."""
    if marked is None:
        return QuestionRow(name, points, most, state=state, book=book)
    mistakes = tuple(dict.fromkeys(part.mistake for part in marked.mark.parts if part.mistake))
    answer = None
    if marked.record is not None:
        answer = {
            "answer": dict(marked.record.answer),
            "at": marked.record.at,
            "student": marked.record.student,
        }
    wrong = _unexplained(marked, questions[name])
    return QuestionRow(name, points, most, mistakes, answer, wrong, marked.mark.audit, state, book)


def _unexplained(marked: Marked, question) -> dict[str, str]:
    """Wrong parts that fit no known mistake. A number is put as a multiple of the right one: students'
    numbers differ.
    """
    if marked.record is None:
        return {}
    expected = question.case(marked.record.student).expected
    wrong = {}
    for part in marked.mark.parts:
        if part.right or part.mistake or not part.max_points or not part.shown:
            continue
        found = read_part(question.part(part.id), marked.record.answer.get(part.id))
        right = expected.get(part.id)
        numbers = isinstance(right, (int, float)) and isinstance(found.value, (int, float)) and right
        wrong[part.id] = f"{found.value / right:.2g} times the right value" if numbers else part.shown
    return wrong


def _with_marks_by_hand(row: StudentRow, standing: Standing) -> StudentRow:
    """A row brought up to date: a person may have marked explanations, or changed a mark, since."""
    if row.points is None:
        return row
    questions = []
    for question in row.questions:
        points = standing.score(question.book, question.question)
        state = "" if points is not None else question.state or TO_READ
        questions.append(replace(question, points=points, state=state))
    penalty = sum(standing.penalties.values())
    points = round(sum(q.points for q in questions if q.points is not None) - penalty, 6)
    return replace(row, questions=tuple(questions), points=points, penalty=penalty)


def up_to_date(course: Course, assignment: str, rows) -> tuple[StudentRow, ...]:
    """The rows of the last marking, with the marks that the gradebook has now."""
    ledger = Ledger(course, assignment)
    try:
        return tuple(_with_marks_by_hand(row, ledger.standing.get(row.student, Standing())) for row in rows)
    finally:
        ledger.close()


def clear_left_over(root: Path) -> None:
    """Remove what a marking that was killed left behind: half-written folders here, work folders where
    those lie.
    """
    for step in ("autograded", "feedback"):
        for pattern in ("*/.*.new", "*/.*.old"):
            for folder in (root / step).glob(pattern):
                target = folder.with_name(folder.name[1:].rsplit(".", 1)[0])
                if folder.name.endswith(".old") and not target.exists():
                    os.replace(folder, target)
                else:
                    _remove(folder)
    _clear_work_folders()


def _clear_work_folders() -> None:
    """Work folders of markings whose process is gone."""
    import tempfile

    for folder in Path(tempfile.gettempdir()).glob("eqlib-*-pid*-*"):
        with suppress(OSError, ValueError):
            owner = int(folder.name.split("-pid", 1)[1].split("-", 1)[0])
            if folder.stat().st_uid == os.getuid() and not _alive(owner):
                _remove(folder)


def _alive(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    except PermissionError:
        return True
    return True


def _remove(folder: Path) -> None:
    if folder.exists():
        for path in (folder, *folder.rglob("*")):
            if path.is_dir() and not path.is_symlink():
                path.chmod(0o700)
        shutil.rmtree(folder)


def _code_stamp() -> str:
    """Changes when this program does: a mark made by other code is made again."""
    package = Path(__file__).parents[1]
    newest = max(path.stat().st_mtime_ns for path in package.rglob("*.py"))
    return str(newest)


def _processors() -> range:
    try:
        return range(len(os.sched_getaffinity(0)))
    except AttributeError:
        return range(os.cpu_count() or 1)


def _spell(seconds: float) -> str:
    minutes = int(seconds // 60)
    if minutes < 120:
        return f"{minutes} minutes"
    return f"{minutes // 60} hours" if minutes < 2880 else f"{minutes // 1440} days"
