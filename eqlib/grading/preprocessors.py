"""Our steps among nbgrader's own: its command and the formgrader's button mark as ``eqlib grade`` does.

``settings`` says in which order they stand, and why.
"""

from __future__ import annotations

import atexit
import json
from functools import lru_cache
from pathlib import Path
from typing import Any

from nbgrader.api import Gradebook
from nbgrader.preprocessors import GetGrades, NbGraderPreprocessor, SaveAutoGrades
from nbgrader.utils import is_grade, is_solution, is_task
from traitlets import List

from eqlib.grading.course import Course
from eqlib.grading.desk import Desk, Task
from eqlib.grading.gradebook import Standing
from eqlib.grading.intake import HandedIn, as_notebook
from eqlib.grading.page import Unmade, clean_notebook, for_student, show_outcomes, so_far
from eqlib.grading.submission import Grade, MarkedBook

JOURNALS = "answers-*.journal.json"


@lru_cache(maxsize=1)
def _desk(root: str, assignment: str, stamp: float) -> Desk:
    """One desk for all the submissions that one command marks."""
    desk = Desk(Course.open(root).paper(assignment), cover=[root])
    atexit.register(desk.close)
    return desk


def _stamp(course: Course, assignment: str) -> float:
    """When the assignment or its release was last changed: a desk of before that is not used again."""
    folders = [course.root / step / assignment for step in ("source", "release")]
    files = [path for folder in folders if folder.is_dir() for path in folder.iterdir()]
    return max((path.stat().st_mtime for path in files), default=0.0)


class MarkSubmission(NbGraderPreprocessor):
    """Run what has to be run in the sandbox, and mark, in a worker: all of ``eqlib grade`` in one step."""

    def preprocess(self, nb: Any, resources: Any) -> Any:
        where = resources["nbgrader"]
        course = Course.at_gradebook(where["db_url"])
        folder = Path(resources.get("metadata", {}).get("path") or ".")
        name = where["notebook"]
        links = links_in(course.root / "submitted" / where["student"] / where["assignment"])
        if "" in links or f"{name}.ipynb" in links:
            raise RuntimeError("what was handed in is a link to something elsewhere; links are not followed")
        files = {
            path.name: path.read_bytes()
            for path in sorted(folder.iterdir())
            if path.is_file() and path.suffix != ".ipynb" and path.name not in links
        }
        files[f"{name}.ipynb"] = json.dumps(nb).encode()
        desk = _desk(str(course.root), where["assignment"], _stamp(course, where["assignment"]))
        done = desk.mark(Task(HandedIn(where["student"], files), Standing(), page=False))
        if done.result.unusable:
            raise RuntimeError(done.result.unusable)
        for line in done.result.notes:
            self.log.warning("%s, %s: %s", where["student"], name, line)
        made = done.result.books[name]
        marked = as_notebook(json.loads(made.notebook or b"{}"))
        marked.metadata["kernelspec"] = dict(desk.paper.books[name].kernelspec)
        resources["eqlib"] = made
        return marked, resources


class SaveMarks(SaveAutoGrades):
    """nbgrader's saving of scores, with ours: what was not worked out is left to a person, not scored 0."""

    def preprocess(self, nb: Any, resources: Any) -> Any:
        self.made: MarkedBook = resources["eqlib"]
        where = resources["nbgrader"]
        self.of = (where["notebook"], where["assignment"], where["student"])
        with Gradebook(where["db_url"]) as self.gradebook:
            for index, cell in enumerate(nb.cells):
                self.preprocess_cell(cell, resources, index)
            # One commit for the notebook, where nbgrader makes one for each cell.
            self.gradebook.db.commit()
        return nb, resources

    def _add_score(self, cell: Any, resources: Any) -> None:
        name = cell.metadata["nbgrader"]["grade_id"]
        grade = self.gradebook.find_grade(name, *self.of)
        grade.auto_score = self.made.grades.get(name, Grade(name, None, 0.0)).auto
        grade.needs_manual_grade = grade.auto_score is None or grade.manual_score is not None

    def _add_comment(self, cell: Any, resources: Any) -> None:
        name = cell.metadata["nbgrader"]["grade_id"]
        self.gradebook.find_comment(name, *self.of).auto_comment = self.made.comments.get(name)

    def preprocess_cell(self, cell: Any, resources: Any, cell_index: Any) -> Any:
        if is_grade(cell):
            self._add_score(cell, resources)
        if is_solution(cell) or is_task(cell):
            self._add_comment(cell, resources)
        return cell, resources


class GetMarks(GetGrades):
    """nbgrader's scores for a feedback page; what a person has still to read is not a score of 0."""

    def preprocess(self, nb: Any, resources: Any) -> Any:
        nb, resources = super().preprocess(nb, resources)
        made = [cell.metadata.nbgrader for cell in nb.cells if "score" in cell.metadata.get("nbgrader", {})]
        most = sum(m["points"] for m in made if not isinstance(m["score"], Unmade))
        resources["nbgrader"]["max_score"] = so_far(most, sum(m["points"] for m in made) - most)
        return nb, resources

    def _get_score(self, cell: Any, resources: Any) -> None:
        super()._get_score(cell, resources)
        name = cell.metadata["nbgrader"]["grade_id"]
        grade = self.gradebook.find_grade(name, self.notebook_id, self.assignment_id, self.student_id)
        if grade.auto_score is None and grade.manual_score is None:
            cell.metadata.nbgrader["score"] = Unmade("to read")


class MakeSafe(NbGraderPreprocessor):
    """Take out of a page whatever could run in a reader's browser, and what was true only before marking."""

    # The HTML exporter sets this for every step; a step that does not take it makes nbgrader warn.
    display_data_priority: List = List(help="Kept for the exporter; nothing is chosen here.").tag(config=True)

    def preprocess(self, nb: Any, resources: Any) -> Any:
        where = resources["nbgrader"]
        course = Course.at_gradebook(where["db_url"])
        for_student(nb)
        if course.has_questions(where["assignment"]):
            show_outcomes(nb, course.questions(where["assignment"]))
        clean_notebook(nb, page=True)
        return nb, resources


def links_in(place: Path) -> set[str]:
    """Names in a submission's folder that are links ("": the folder); nbgrader copies what they lead to."""
    if place.is_symlink() or place.parent.is_symlink():
        return {""}
    return {path.name for path in place.iterdir() if path.is_symlink()} if place.is_dir() else set()


def drop_journals(assignment: str, student: str, notebooks: Any) -> None:
    """After a release is made: no journal of somebody trying the assignment out reaches a student."""
    for folder in Path("release").glob(f"**/{assignment}"):
        for journal in folder.glob(JOURNALS):
            journal.unlink()
