"""Read and complete nbgrader's gradebook. Marks and comments given by hand are never touched."""

from __future__ import annotations

from nbgrader.api import MissingEntry

from eqlib.assess.question import QuestionSet
from eqlib.assess.reading import read_part
from eqlib.grading.course import Course
from eqlib.grading.marks import Judged, Marked
from eqlib.grading.summary import QuestionRow, StudentRow


def add_comments(course: Course, assignment: str, student: str, judged: Judged) -> None:
    """Our feedback as the automatic comment of the code cell it belongs to; nbgrader keeps none for check
    cells.
    """
    with course.gradebook() as gradebook:
        submission = gradebook.find_submission(assignment, student)
        for book in submission.notebooks:
            for comment in book.comments:
                name = comment.name.removeprefix("answer-")
                if comment.name != name and name in judged.marked and comment.auto_comment is None:
                    comment.auto_comment = judged.marked[name].mark.feedback
        gradebook.db.commit()


def forget_submission(course: Course, assignment: str, student: str) -> None:
    """Take back the empty scores of a submission that turned out not to be markable; an unmarked 0 would
    mislead.
    """
    with course.gradebook() as gradebook:
        gradebook.update_or_create_student(student)
        try:
            gradebook.remove_submission(assignment, student)
        except MissingEntry:
            return


def scores(
    course: Course, assignment: str, student: str, questions: QuestionSet, judged: Judged
) -> StudentRow:
    """A student's row as the gradebook now has it; without points if it has no submission."""
    with course.gradebook() as gradebook:
        try:
            submission = gradebook.find_submission(assignment, student)
        except MissingEntry:
            return StudentRow(student, None, float(gradebook.find_assignment(assignment).max_score))
        penalty = sum(book.late_submission_penalty or 0.0 for book in submission.notebooks)
        rows, to_read = [], 0
        for book in submission.notebooks:
            for grade in sorted(book.grades, key=lambda g: _place(questions, g.name)):
                unread = grade.auto_score is None and grade.manual_score is None
                to_read += bool(unread)
                points = None if unread else float(grade.score)
                rows.append(
                    question_row(
                        grade.name, points, float(grade.max_score), judged.marked.get(grade.name), questions
                    )
                )
        return StudentRow(
            student,
            round(float(submission.score) - penalty, 6),
            float(submission.max_score),
            tuple(rows),
            float(penalty),
            to_read,
        )


def _place(questions: QuestionSet, name: str) -> tuple:
    order = list(questions)
    return (order.index(name), "") if name in questions else (len(order), name)


def question_row(
    name: str, points: float | None, most: float, marked: Marked | None, questions: QuestionSet
) -> QuestionRow:
    """A question's row, with what the class report needs to know about the answer."""
    if marked is None:
        return QuestionRow(name, points, most)
    mistakes = tuple(dict.fromkeys(part.mistake for part in marked.mark.parts if part.mistake))
    answer = None
    if marked.record is not None:
        answer = {
            "answer": dict(marked.record.answer),
            "at": marked.record.at,
            "student": marked.record.student,
        }
    return QuestionRow(
        name, points, most, mistakes, answer, _unexplained(marked, questions[name]), marked.mark.audit
    )


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
