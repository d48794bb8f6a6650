"""nbgrader's gradebook, read in bulk and written by one hand: one transaction for each submission.

Marks and comments given by hand are never touched.
"""

from __future__ import annotations

import datetime as dt
import os
import sqlite3
from collections import defaultdict
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

from nbgrader.api import (
    Assignment,
    BaseCell,
    Comment,
    Grade,
    Notebook,
    Student,
    SubmittedAssignment,
    SubmittedNotebook,
    new_uuid,
)
from nbgrader.preprocessors import AssignLatePenalties
from nbgrader.utils import parse_utc
from sqlalchemy import delete, insert, select, update
from sqlalchemy.exc import SQLAlchemyError

from eqlib.errors import EqlibError
from eqlib.grading.submission import MarkedBook

#: How many copies of the gradebook from before a marking are kept.
COPIES = 10


class GradebookError(EqlibError):
    """The gradebook cannot be read or written; the message says why and what to do."""


@contextmanager
def plainly(path: str):
    """What a database says in forty lines of SQL becomes one line."""
    try:
        yield
    except (SQLAlchemyError, sqlite3.Error) as error:
        said = str(getattr(error, "orig", None) or error).splitlines()[0]
        mend = {
            "database is locked": "another program holds it; close that, then mark again",
            "attempt to write a readonly database": "make it and its folder writable, then mark again",
            "unable to open database file": "make its folder writable, then mark again",
            "database or disk is full": "the disk is full; make room, then mark again",
            "disk I/O error": "the disk refused; look at it, then mark again",
        }
        why = next(
            (f"{words}: {what}" for words, what in mend.items() if words in said),
            f"{said}; nothing more was written",
        )
        raise GradebookError(f"{path}: {why}") from None


@dataclass
class Standing:
    """What the gradebook holds of one student's submission."""

    id: str = ""
    timestamp: dt.datetime | None = None
    extension: dt.timedelta | None = None
    notebooks: dict[str, str] = field(default_factory=dict)
    penalties: dict[str, float] = field(default_factory=dict)
    #: (notebook, cell) -> (automatic score, score by hand, extra credit)
    grades: dict[tuple[str, str], tuple] = field(default_factory=dict)
    #: (notebook, cell) -> (automatic comment, comment by hand)
    comments: dict[tuple[str, str], tuple] = field(default_factory=dict)

    def score(self, book: str, name: str) -> float | None:
        """The score that counts; None while there is none."""
        auto, manual, extra = self.grades.get((book, name), (None, None, None))
        made = manual if manual is not None else auto
        return None if made is None else float(made) + float(extra or 0.0)


class Ledger:
    """One assignment's part of the gradebook."""

    def __init__(self, course, assignment: str):
        self.course, self.assignment = course, assignment
        self.shown = course.db_url.removeprefix("sqlite:///")
        self.backed_up = False
        with plainly(self.shown):
            self.book = course.gradebook()
            self.engine = self.book.engine
            with self.engine.connect() as link:
                self._read_paper(link)
                self.standing = self._read_standing(link)
                self.students = {row.id for row in link.execute(select(Student.id))}

    def close(self) -> None:
        self.book.close()

    def _read_paper(self, link) -> None:
        row = link.execute(
            select(Assignment.id, Assignment.duedate).where(Assignment.name == self.assignment)
        ).one()
        self.id, self.due = row.id, row.duedate
        books = link.execute(
            select(Notebook.id, Notebook.name).where(Notebook.assignment_id == self.id)
        ).all()
        self.books = {row.name: row.id for row in books}
        self.graded: dict[str, dict[str, str]] = defaultdict(dict)
        self.commented: dict[str, dict[str, str]] = defaultdict(dict)
        names = {row.id: row.name for row in books}
        cells = select(BaseCell.__table__.c).where(BaseCell.__table__.c.notebook_id.in_(names))
        for cell in link.execute(cells):
            if cell.type in ("GradeCell", "TaskCell"):
                self.graded[names[cell.notebook_id]][cell.name] = cell.id
            if cell.type in ("SolutionCell", "TaskCell"):
                self.commented[names[cell.notebook_id]][cell.name] = cell.id

    def _read_standing(self, link) -> dict[str, Standing]:
        mine, book = SubmittedAssignment.__table__, SubmittedNotebook.__table__
        found: dict[str, Standing] = {}
        by_book: dict[str, tuple[Standing, str]] = {}
        names = {number: name for name, number in self.books.items()}
        for row in link.execute(select(mine).where(mine.c.assignment_id == self.id)):
            found[row.student_id] = Standing(row.id, row.timestamp, row.extension)
        owners = {standing.id: standing for standing in found.values()}
        joined = (
            select(book).join(mine, mine.c.id == book.c.assignment_id).where(mine.c.assignment_id == self.id)
        )
        for row in link.execute(joined):
            owner = owners[row.assignment_id]
            owner.notebooks[names[row.notebook_id]] = row.id
            owner.penalties[names[row.notebook_id]] = row.late_submission_penalty or 0.0
            by_book[row.id] = owner, names[row.notebook_id]
        cells = {
            i: n
            for group in (self.graded, self.commented)
            for book_ in group.values()
            for n, i in book_.items()
        }
        inside = (
            select(book.c.id)
            .join(mine, mine.c.id == book.c.assignment_id)
            .where(mine.c.assignment_id == self.id)
        )
        grade, comment = Grade.__table__, Comment.__table__
        for row in link.execute(select(grade).where(grade.c.notebook_id.in_(inside))):
            owner, name = by_book[row.notebook_id]
            owner.grades[name, cells.get(row.cell_id, "")] = (
                row.auto_score,
                row.manual_score,
                row.extra_credit,
            )
        for row in link.execute(select(comment).where(comment.c.notebook_id.in_(inside))):
            owner, name = by_book[row.notebook_id]
            owner.comments[name, cells.get(row.cell_id, "")] = (row.auto_comment, row.manual_comment)
        return found

    # Late

    def seconds_late(self, student: str, timestamp: dt.datetime | None) -> float:
        """How long after the due date (its extension counted) a submission came; 0 if in time or not
        known.
        """
        standing = self.standing.get(student, Standing())
        when = timestamp or standing.timestamp
        if when is None or self.due is None:
            return 0.0
        return max(0.0, (when - self.due - (standing.extension or dt.timedelta())).total_seconds())

    def penalty(self, student: str, score: float, seconds: float) -> float | None:
        """What the course's plugin takes off for being late; between 0 and the score. None: nothing is
        taken off.
        """
        if seconds <= 0:
            return None
        step = AssignLatePenalties(config=self.course.config)
        step.init_plugin()
        taken = step.plugin_inst.late_submission_penalty(student, score, seconds)
        return None if taken is None else min(max(float(taken), 0.0), score)

    # Writing

    def save(self, student: str, timestamp: dt.datetime | None, books: dict[str, MarkedBook]) -> Standing:
        """Write one submission's automatic marks and comments, whole or not at all. Raises GradebookError."""
        with plainly(self.shown):
            self._back_up()
            with self.engine.begin() as link:
                standing = self._submission(link, student, timestamp)
                seconds = self.seconds_late(student, timestamp)
                for name, made in books.items():
                    self._grades(link, standing, name, made)
                    self._comments(link, standing, name, made)
                    scores = [standing.score(name, cell) or 0.0 for cell in self.graded[name]]
                    taken = self.penalty(student, sum(scores), seconds) if made.notebook is not None else None
                    standing.penalties[name] = taken or 0.0
                    where = SubmittedNotebook.__table__.c.id == standing.notebooks[name]
                    values = {"late_submission_penalty": taken}
                    link.execute(update(SubmittedNotebook.__table__).where(where).values(**values))
        self.standing[student] = standing
        return standing

    def _submission(self, link, student: str, timestamp) -> Standing:
        if student not in self.students:
            link.execute(insert(Student.__table__).values(id=student))
            self.students.add(student)
        mine = SubmittedAssignment.__table__
        standing = self.standing.get(student) or Standing()
        if not standing.id:
            standing.id = new_uuid()
            values = {
                "id": standing.id,
                "assignment_id": self.id,
                "student_id": student,
                "timestamp": timestamp,
            }
            link.execute(insert(mine).values(**values))
        elif timestamp is not None and timestamp != standing.timestamp:
            link.execute(update(mine).where(mine.c.id == standing.id).values(timestamp=timestamp))
        standing.timestamp = timestamp or standing.timestamp
        for name, number in self.books.items():
            if name not in standing.notebooks:
                standing.notebooks[name] = new_uuid()
                values = {
                    "id": standing.notebooks[name],
                    "assignment_id": standing.id,
                    "notebook_id": number,
                    "flagged": False,
                }
                link.execute(insert(SubmittedNotebook.__table__).values(**values))
        return standing

    def _grades(self, link, standing: Standing, book: str, made: MarkedBook) -> None:
        grade, fresh = Grade.__table__, []
        for name, cell in self.graded[book].items():
            there = (book, name) in standing.grades
            old = standing.grades.get((book, name), (None, None, None))
            mine = made.grades.get(name)
            if mine is None:
                # nbgrader's tasks: read by a person, never touched by a run.
                values = {} if there else {"auto_score": None, "needs_manual_grade": True}
                auto = old[0]
            else:
                auto = mine.auto
                needs = made.notebook is not None and (auto is None or old[1] is not None)
                values = {"auto_score": auto, "needs_manual_grade": needs}
            standing.grades[book, name] = (auto, old[1], old[2])
            if not there:
                fresh.append(
                    {"id": new_uuid(), "cell_id": cell, "notebook_id": standing.notebooks[book], **values}
                )
            elif values:
                where = (grade.c.cell_id == cell) & (grade.c.notebook_id == standing.notebooks[book])
                link.execute(update(grade).where(where).values(**values))
        if fresh:
            link.execute(insert(grade), fresh)

    def _comments(self, link, standing: Standing, book: str, made: MarkedBook) -> None:
        comment, fresh = Comment.__table__, []
        for name, cell in self.commented[book].items():
            text = made.comments.get(name)
            there = (book, name) in standing.comments
            old = standing.comments.get((book, name), (None, None))
            standing.comments[book, name] = (text, old[1])
            if not there:
                values = {
                    "id": new_uuid(),
                    "cell_id": cell,
                    "notebook_id": standing.notebooks[book],
                    "auto_comment": text,
                }
                fresh.append(values)
            elif old[0] != text:
                where = (comment.c.cell_id == cell) & (comment.c.notebook_id == standing.notebooks[book])
                link.execute(update(comment).where(where).values(auto_comment=text))
        if fresh:
            link.execute(insert(comment), fresh)

    def forget(self, student: str) -> None:
        """Take back what stands of a submission that turned out not to be markable, unless a person marked
        in it.
        """
        standing = self.standing.get(student)
        if standing is None or any(manual is not None for _, manual, _ in standing.grades.values()):
            return
        with plainly(self.shown):
            self._back_up()
            with self.engine.begin() as link:
                ids = list(standing.notebooks.values())
                link.execute(delete(Grade.__table__).where(Grade.__table__.c.notebook_id.in_(ids)))
                link.execute(delete(Comment.__table__).where(Comment.__table__.c.notebook_id.in_(ids)))
                link.execute(
                    delete(SubmittedNotebook.__table__).where(SubmittedNotebook.__table__.c.id.in_(ids))
                )
                mine = SubmittedAssignment.__table__
                link.execute(delete(mine).where(mine.c.id == standing.id))
        del self.standing[student]

    def _back_up(self) -> None:
        """Before the first write: a copy of the gradebook as it was, private, the last few kept."""
        path = Path(self.shown)
        if self.backed_up or not self.course.db_url.startswith("sqlite:///") or not path.is_file():
            return
        folder = path.parent / "backups"
        folder.mkdir(mode=0o700, exist_ok=True)
        stamp = dt.datetime.now(dt.UTC).strftime("%Y%m%dT%H%M%S%f")
        target = folder / f"{path.stem}-{stamp}.db"
        with sqlite3.connect(path) as source, sqlite3.connect(target) as copy:
            source.backup(copy)
        copy.close()
        source.close()
        os.chmod(target, 0o600)
        for old in sorted(folder.glob(f"{path.stem}-*.db"))[:-COPIES]:
            old.unlink()
        self.backed_up = True


def read_time(data: bytes | None) -> dt.datetime | None:
    """nbgrader's ``timestamp.txt``; None if it says no time."""
    try:
        return parse_utc(data.decode("utf-8").strip()) if data else None
    except (ValueError, OverflowError):
        return None
