"""nbgrader's gradebook, read in bulk and written by one hand: one transaction for each submission.

Marks and comments given by hand are never touched.
"""

from __future__ import annotations

import copy
import datetime as dt
import os
import sqlite3
from collections import defaultdict
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

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
from sqlalchemy import Connection, bindparam, delete, insert, select, update
from sqlalchemy.exc import SQLAlchemyError

from eqlib.errors import EqlibError
from eqlib.grading.submission import MarkedBook

#: How many copies of the gradebook from before a marking are kept.
COPIES = 10


class GradebookError(EqlibError):
    """The gradebook cannot be read or written; the message says why and what to do."""


@contextmanager
def plainly(path: str) -> Iterator[None]:
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


@dataclass(frozen=True)
class Scores:
    """A grade as the gradebook has it: automatic, by hand, extra credit; ``needs`` a person to read."""

    id: str = ""
    auto: float | None = None
    manual: float | None = None
    extra: float | None = None
    needs: bool = False

    @property
    def counts(self) -> float | None:
        """The score that counts; None while there is none."""
        made = self.manual if self.manual is not None else self.auto
        return None if made is None else float(made) + float(self.extra or 0.0)


@dataclass(frozen=True)
class Remark:
    """A comment as the gradebook has it."""

    id: str = ""
    auto: str | None = None
    manual: str | None = None


@dataclass
class Standing:
    """What the gradebook holds of one student's submission."""

    id: str = ""
    timestamp: dt.datetime | None = None
    extension: dt.timedelta | None = None
    notebooks: dict[str, str] = field(default_factory=dict)
    penalties: dict[str, float | None] = field(default_factory=dict)
    #: By notebook and cell.
    grades: dict[tuple[str, str], Scores] = field(default_factory=dict)
    comments: dict[tuple[str, str], Remark] = field(default_factory=dict)

    @property
    def taken_off(self) -> float:
        """What is taken off for being late, in all."""
        return sum(taken or 0.0 for taken in self.penalties.values())

    def score(self, book: str, name: str) -> float | None:
        """The score that counts; None while there is none."""
        return self.grades.get((book, name), Scores()).counts


class _Writes:
    """Rows to add and to change, made together: by table and by the columns they name."""

    def __init__(self) -> None:
        self.added: dict[Any, list[dict[str, Any]]] = {}
        self.changed: dict[tuple[Any, tuple[str, ...]], list[dict[str, Any]]] = {}

    def add(self, model: Any, **values: Any) -> None:
        self.added.setdefault(model.__table__, []).append(values)

    def change(self, model: Any, row: str, **values: Any) -> None:
        key = model.__table__, tuple(values)
        self.changed.setdefault(key, []).append({"row": row, **values})

    def make(self, link: Connection) -> None:
        # In the order in which they were first named: a student comes before what the student handed in.
        for table, rows in self.added.items():
            link.execute(insert(table), rows)
        for (table, names), rows in self.changed.items():
            columns: dict[str, Any] = {name: bindparam(name) for name in names}
            link.execute(update(table).where(table.c.id == bindparam("row")).values(columns), rows)


class Ledger:
    """One assignment's part of the gradebook."""

    def __init__(self, course: Any, assignment: str) -> None:
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

    def _read_paper(self, link: Any) -> None:
        mine = select(Assignment.id, Assignment.duedate).where(Assignment.name == self.assignment)
        self.id, self.due = link.execute(mine).one()
        theirs = select(Notebook.id, Notebook.name).where(Notebook.assignment_id == self.id)
        books = link.execute(theirs).all()
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

    def _read_standing(self, link: Any) -> dict[str, Standing]:
        mine, book = SubmittedAssignment.__table__, SubmittedNotebook.__table__
        found: dict[str, Standing] = {}
        by_book: dict[str, tuple[Standing, str]] = {}
        names = {number: name for name, number in self.books.items()}
        for row in link.execute(select(mine).where(mine.c.assignment_id == self.id)):
            found[row.student_id] = Standing(row.id, row.timestamp, row.extension)
        owners = {standing.id: standing for standing in found.values()}
        joined = select(book).join(mine, mine.c.id == book.c.assignment_id)
        joined = joined.where(mine.c.assignment_id == self.id)
        for row in link.execute(joined):
            owner = owners[row.assignment_id]
            owner.notebooks[names[row.notebook_id]] = row.id
            owner.penalties[names[row.notebook_id]] = row.late_submission_penalty
            by_book[row.id] = owner, names[row.notebook_id]
        kinds = (self.graded, self.commented)
        cells = {i: n for kind in kinds for ids in kind.values() for n, i in ids.items()}
        inside = joined.with_only_columns(book.c.id)
        grade, comment = Grade.__table__, Comment.__table__
        for row in link.execute(select(grade).where(grade.c.notebook_id.in_(inside))):
            owner, name = by_book[row.notebook_id]
            scores = (row.auto_score, row.manual_score, row.extra_credit, row.needs_manual_grade)
            owner.grades[name, cells.get(row.cell_id, "")] = Scores(row.id, *scores)
        for row in link.execute(select(comment).where(comment.c.notebook_id.in_(inside))):
            owner, name = by_book[row.notebook_id]
            remark = Remark(row.id, row.auto_comment, row.manual_comment)
            owner.comments[name, cells.get(row.cell_id, "")] = remark
        return found

    # Late

    def due_for(self, student: str) -> dt.datetime | None:
        """Until when ``student`` had time, the extension counted; None if there is no due date."""
        extension = self.standing.get(student, Standing()).extension
        return None if self.due is None else self.due + (extension or dt.timedelta())

    def seconds_late(self, student: str, timestamp: dt.datetime | None) -> float:
        """How long after the due date (its extension counted) it came; 0 if in time or not known."""
        when, due = timestamp or self.standing.get(student, Standing()).timestamp, self.due_for(student)
        return 0.0 if when is None or due is None else max(0.0, (when - due).total_seconds())

    def penalty(self, student: str, score: float, seconds: float) -> float | None:
        """What the course's plugin takes off for being late; between 0 and the score. None: nothing."""
        if seconds <= 0:
            return None
        step = AssignLatePenalties(config=self.course.config)
        step.init_plugin()
        taken = step.plugin_inst.late_submission_penalty(student, score, seconds)
        return None if taken is None else min(max(float(taken), 0.0), score)

    def penalties(
        self, student: str, timestamp: dt.datetime | None, books: dict[str, MarkedBook]
    ) -> dict[str, float | None]:
        """What is taken off each notebook of a marked submission for being late."""
        standing = self.standing.get(student, Standing())
        seconds = self.seconds_late(student, timestamp)
        taken: dict[str, float | None] = dict.fromkeys(books)
        for name, made in books.items():
            if made.notebook is not None and seconds > 0:
                after = replace(standing, grades=standing.grades | self._new_grades(standing, name, made))
                scores = [after.score(name, cell) or 0.0 for cell in self.graded[name]]
                taken[name] = self.penalty(student, sum(scores), seconds)
        return taken

    # Writing

    def save(self, batch: list[tuple[str, dt.datetime | None, dict[str, MarkedBook]]]) -> None:
        """Write the automatic marks and comments of some submissions, all or none. Raises GradebookError."""
        with plainly(self.shown):
            self._back_up()
            writes = _Writes()
            saved = {}
            for student, timestamp, books in batch:
                taken = self.penalties(student, timestamp, books)
                saved[student] = standing = self._submission(writes, student, timestamp)
                for name, made in books.items():
                    self._grades(writes, standing, name, made)
                    self._comments(writes, standing, name, made)
                    if taken[name] != standing.penalties.get(name):
                        values = {"late_submission_penalty": taken[name]}
                        writes.change(SubmittedNotebook, standing.notebooks[name], **values)
                    standing.penalties[name] = taken[name]
            with self.engine.begin() as link:
                writes.make(link)
        self.standing |= saved
        self.students |= set(saved)

    def _submission(self, writes: _Writes, student: str, timestamp: dt.datetime | None) -> Standing:
        """The standing of a student, a copy, with what is missing of its submission written."""
        if student not in self.students:
            writes.add(Student, id=student)
        standing = copy.deepcopy(self.standing.get(student)) or Standing()
        if not standing.id:
            standing.id = new_uuid()
            about = {"assignment_id": self.id, "student_id": student, "timestamp": timestamp}
            writes.add(SubmittedAssignment, id=standing.id, **about)
        elif timestamp is not None and timestamp != standing.timestamp:
            writes.change(SubmittedAssignment, standing.id, timestamp=timestamp)
        standing.timestamp = timestamp or standing.timestamp
        for name, number in self.books.items():
            if name not in standing.notebooks:
                standing.notebooks[name] = new_uuid()
                about = {"assignment_id": standing.id, "notebook_id": number, "flagged": False}
                writes.add(SubmittedNotebook, id=standing.notebooks[name], **about)
        return standing

    def _new_grades(self, standing: Standing, book: str, made: MarkedBook) -> dict[tuple[str, str], Scores]:
        """The grades of a notebook as they will stand. nbgrader's tasks are read by a person."""
        grades = {}
        for name in self.graded[book]:
            old = standing.grades.get((book, name), Scores())
            mine = made.grades.get(name)
            auto = mine.auto if mine else old.auto
            reads = mine is None or (made.notebook is not None and (auto is None or old.manual is not None))
            if mine is None and old.id:
                reads = old.needs
            grades[book, name] = replace(old, auto=auto, needs=reads)
        return grades

    def _grades(self, writes: _Writes, standing: Standing, book: str, made: MarkedBook) -> None:
        for (_, name), new in self._new_grades(standing, book, made).items():
            old = standing.grades.get((book, name))
            values = {"auto_score": new.auto, "needs_manual_grade": new.needs}
            if old is None:
                new = replace(new, id=new_uuid())
                where = {"cell_id": self.graded[book][name], "notebook_id": standing.notebooks[book]}
                writes.add(Grade, id=new.id, **where, **values)
            elif new != old:
                writes.change(Grade, old.id, **values)
            standing.grades[book, name] = new

    def _comments(self, writes: _Writes, standing: Standing, book: str, made: MarkedBook) -> None:
        for name, cell in self.commented[book].items():
            text = made.comments.get(name)
            old = standing.comments.get((book, name))
            if old is None:
                old = Remark(new_uuid())
                where = {"cell_id": cell, "notebook_id": standing.notebooks[book]}
                writes.add(Comment, id=old.id, auto_comment=text, **where)
            elif old.auto != text:
                writes.change(Comment, old.id, auto_comment=text)
            standing.comments[book, name] = replace(old, auto=text)

    def forget(self, student: str) -> None:
        """Take back what stands of a submission that cannot be marked now, unless a person marked in it."""
        standing = self.standing.get(student)
        if standing is None or any(g.manual is not None for g in standing.grades.values()):
            return
        with plainly(self.shown):
            self._back_up()
            with self.engine.begin() as link:
                ids = list(standing.notebooks.values())
                for rows in (Grade.__table__, Comment.__table__):
                    link.execute(delete(rows).where(rows.c.notebook_id.in_(ids)))
                book, mine = SubmittedNotebook.__table__, SubmittedAssignment.__table__
                link.execute(delete(book).where(book.c.id.in_(ids)))
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
        with sqlite3.connect(path) as source, sqlite3.connect(target) as spare:
            source.backup(spare)
        spare.close()
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
