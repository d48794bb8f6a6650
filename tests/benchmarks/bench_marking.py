"""How long marking a class takes, beside plain ``nbgrader autograde`` in the same run, on filled hand-ins.

``python tests/benchmarks/bench_marking.py [30 300 1000]``: the sizes of the classes. Half of the students
hold a wrong idea. The first set is the demonstration's assignment (every answer is data); the second a course
of ordinary test cells, which have to run. Plain is measured on eight hand-ins, alone and in two shards.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import sysconfig
import tempfile
import threading
import time
from pathlib import Path

import nbformat
import psutil
from nbformat.v4 import new_code_cell, new_notebook

from eqlib.grading import bulk
from eqlib.grading.course import Course
from eqlib.grading.demo import ASSIGNMENT, Work, answer_of, fill, hand_in, make_course
from eqlib.notebook.record import kept_bundle

PLAIN = 8
SIZES = [int(size) for size in sys.argv[1:]] or [30, 300]
IDEAS = [("not_in_equation",), ("volume_ignored",), ("two_boxes",), ("path_ignored", "heat_is_forward")]
CODE = """import numpy as np
import sympy as sp

def quotient(product, *reactants):
    return product / np.prod(reactants)"""
TESTS = ["assert abs(quotient(2.0, 4.0, 1.0) - 0.5) < 1e-9", "assert quotient(0.0, 1.0) == 0"]


class Peak:
    """The most memory that this process and those under it held, in MB (shared pages counted once)."""

    def __enter__(self):
        self.most, self.on = 0.0, True
        self.thread = threading.Thread(target=self._look)
        self.thread.start()
        return self

    def _look(self):
        me = psutil.Process()
        while self.on:
            total = 0
            for process in [me, *me.children(recursive=True)]:
                try:
                    total += process.memory_full_info().pss
                except psutil.Error:
                    continue
            self.most = max(self.most, total / 1e6)
            time.sleep(0.5)

    def __exit__(self, *exception):
        self.on = False
        self.thread.join()


def data_class(root: Path, size: int) -> Path:
    """The demonstration's assignment, answered by ``size`` invented students."""
    course = make_course(root)
    course.release(ASSIGNMENT)
    questions = course.questions(ASSIGNMENT)
    (name, released), *_ = course.released_notebooks(ASSIGNMENT).items()
    made: dict[int, tuple] = {}
    for number in range(size):
        student = f"b{number:04d}"
        # Filling in is slow and is not what is measured: forty different hand-ins, then copies.
        if number < 40:
            ideas = IDEAS[number // 2 % len(IDEAS)] if number % 2 else ()
            asked = [q for q in questions.values() if not q.manual]
            answers = {q.id: answer_of(q, student, ideas) for q in asked}
            words = {
                q.id: "Because Q is larger than K, it goes back." for q in questions.values() if q.manual
            }
            work = Work(student, answers, {}, words)
            made[number] = fill(released, work, questions, kept_bundle), work
        book, work = made[number % 40]
        folder = course.root / "submitted" / student / ASSIGNMENT
        hand_in(folder, name, book, work, questions)
        shutil.copy(course.source(ASSIGNMENT) / "questions.toml", folder)
    return course.root


def code_class(root: Path, size: int) -> Path:
    """Ordinary cells of code and ordinary test cells; half of the answers are wrong."""

    def cell(source, name, **meta):
        plain = {"grade": False, "solution": False, "locked": False, "task": False, "schema_version": 3}
        return new_code_cell(source, metadata={"nbgrader": {"grade_id": name, **plain, **meta}})

    cells = [cell("import matplotlib.pyplot as plt", "setup", locked=True)]
    cells += [cell(f"### BEGIN SOLUTION\n{CODE}\n### END SOLUTION", "work", solution=True)]
    cells += [cell(text, f"t{n}", grade=True, locked=True, points=2) for n, text in enumerate(TESTS * 4)]
    folder = root / "source" / "ps1"
    folder.mkdir(parents=True)
    kernel = {"name": "python3", "display_name": "Python 3", "language": "python"}
    nbformat.write(new_notebook(cells=cells, metadata={"kernelspec": kernel}), folder / "ps1.ipynb")
    course = Course.open(root)
    released = nbformat.read(course.release("ps1") / "ps1.ipynb", as_version=4)
    for number in range(size):
        target = root / "submitted" / f"b{number:04d}" / "ps1"
        target.mkdir(parents=True)
        released.cells[1].source = CODE if number % 2 else CODE.replace("product /", "1 + product /")
        nbformat.write(released, target / "ps1.ipynb")
    return root


def as_plain(root: Path, assignment: str) -> None:
    (root / "nbgrader_config.py").write_text("c = get_config()\n", encoding="utf-8")
    shutil.rmtree(root / "autograded", ignore_errors=True)
    (root / "gradebook.db").unlink(missing_ok=True)
    scripts = sysconfig.get_path("scripts")
    env = {**os.environ, "PATH": os.pathsep.join([scripts, os.environ["PATH"]])}
    command = [f"{scripts}/nbgrader", "generate_assignment", assignment, "--force"]
    subprocess.run(command, cwd=root, env=env, capture_output=True, check=True)


def plain_class(root: Path, assignment: str) -> float:
    """Seconds a submission of plain ``nbgrader autograde``, one command for all."""
    scripts = sysconfig.get_path("scripts")
    env = {**os.environ, "PATH": os.pathsep.join([scripts, os.environ["PATH"]])}
    count = len(list((root / "submitted").iterdir()))
    started = time.monotonic()
    command = [f"{scripts}/nbgrader", "autograde", assignment]
    subprocess.run(command, cwd=root, env=env, capture_output=True, check=False)
    return (time.monotonic() - started) / count


def shards(root: Path, assignment: str) -> float:
    """The same as two commands side by side on two halves, each with a copy of the course."""
    copies = []
    for half in (0, 1):
        copy = root.with_name(f"{root.name}-{half}")
        shutil.copytree(root, copy)
        for folder in sorted((copy / "submitted").iterdir())[half::2]:
            shutil.rmtree(folder)
        shutil.rmtree(copy / "autograded", ignore_errors=True)
        copies.append(copy)
    times: list[float] = []
    threads = [threading.Thread(target=lambda c=c: times.append(plain_class(c, assignment))) for c in copies]
    started = time.monotonic()
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return (time.monotonic() - started) / PLAIN


def ours(root: Path, assignment: str, feedback: bool) -> tuple[float, float, float]:
    """Seconds in all, seconds a submission once the first is done, and the peak of memory in MB."""
    shutil.rmtree(root / "autograded", ignore_errors=True)
    shutil.rmtree(root / "reports", ignore_errors=True)
    marks: list[float] = []
    with Peak() as peak:
        started = time.monotonic()
        bulk.grade(root, assignment, feedback=feedback, progress=lambda *_: marks.append(time.monotonic()))
        whole = time.monotonic() - started
    steady = (marks[-1] - marks[0]) / max(1, len(marks) - 1)
    return whole, steady, peak.most


def main() -> None:
    for what, make, assignment in (("data", data_class, ASSIGNMENT), ("code", code_class, "ps1")):
        with tempfile.TemporaryDirectory(prefix="bench-") as folder:
            small = make(Path(folder) / "plain", PLAIN)
            as_plain(small, assignment)
            one, two = plain_class(small, assignment), shards(small, assignment)
            print(f"{what}: plain {one:.2f} s a submission, two shards by hand {two:.2f} s")
            for size in SIZES:
                root = make(Path(folder) / f"ours-{size}", size)
                for feedback in (False, True):
                    whole, steady, peak = ours(root, assignment, feedback)
                    print(
                        f"{what}, {size} hand-ins, {'with' if feedback else 'without'} pages: {whole:.1f} s, "
                        f"{1000 * steady:.0f} ms each, {one / steady:.0f} times plain, {peak:.0f} MB",
                        flush=True,
                    )
                shutil.rmtree(root)


if __name__ == "__main__":
    main()
