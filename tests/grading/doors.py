"""Hostile hand-ins through all three doors: what they earn, what they reach, what they leave.

``python tests/grading/doors.py [eqlib|nbgrader|button] [bare] [--only NAME ...]``: doors, all by default;
``bare`` hides bubblewrap. A script, not a test: it takes minutes. The button is clicked in Chromium.
"""

from __future__ import annotations

import json
import os
import shutil
import socket
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

import conftest
import hostile
import nbformat
import psutil
from nbformat.v4 import new_code_cell
from test_against_plain import SQUARE, TEST, answer, check, nbgrader_command, rows
from test_formgrader import browser_tests, press

from eqlib.grading.course import Course

NAME = conftest.ASSIGNMENT
WRONG = {"direction": "none", "K": "same", "reason": "q_equals_K"}
#: What an honest and right hand-in earns; the words are left to a person.
FULL = {"water": 4.0, "kc": 3.0, "test_sq": 2.0, "why": None}


class Listener:
    """Everything that may be reached over the network from this machine: it should hear nothing."""

    def __init__(self):
        self.heard = 0
        self.tcp = socket.create_server(("127.0.0.1", 0))
        self.port = self.tcp.getsockname()[1]
        self.udp = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self.udp.bind(("127.0.0.1", self.port))
        self.unix = socket.socket(socket.AF_UNIX)
        self.unix.bind("\0eqlib-doors")
        self.unix.listen()
        for wait in (self.tcp.accept, lambda: self.udp.recv(9), self.unix.accept):
            threading.Thread(target=self._listen, args=(wait,), daemon=True).start()

    def _listen(self, wait):
        while True:
            wait()
            self.heard += 1


def make_class(root, port, canary, only):
    """The tiny course with an ordinary test beside our questions; its hostile class, two honest people."""
    conftest.lay_out(root)
    path = root / "source" / NAME / f"{NAME}.ipynb"
    book = nbformat.read(path, as_version=4)
    book.cells += [answer(SQUARE), check(TEST)]
    nbformat.write(book, path)
    Course.open(root).release(NAME)
    tiny = conftest.Tiny(root)
    for student in ("a-honest", "zz-honest"):
        work = tiny.work(student)
        right = tiny.book(work)
        _fill(right, SQUARE)
        tiny.hand_in(work, right)
    wrong = {"control": "1", **hostile.cells(root, port, canary)}
    for student in [*wrong, *hostile.BOOKS]:
        if only and student not in ("control", *only):
            continue
        work = tiny.work(student, water=WRONG, code="Kc = 1.0")
        book = tiny.book(work)
        _fill(book, "def square(x):\n    return x")
        if student in wrong:
            book.cells.insert(0, new_code_cell(wrong[student]))
        tiny.hand_in(work, book)
        if student in hostile.BOOKS:
            place = tiny.folder(student) / f"{NAME}.ipynb"
            data = json.loads(place.read_text("utf-8"))
            hostile.BOOKS[student](data)
            place.write_text(json.dumps(data), "utf-8")
    for student in ["linked"] if not only or "linked" in only else []:
        tiny.folder(student).mkdir(parents=True)
        (tiny.folder(student) / f"{NAME}.ipynb").symlink_to(tiny.folder("a-honest") / f"{NAME}.ipynb")
        (tiny.folder(student) / "secret.txt").symlink_to("/etc/shadow")


def _fill(book, text):
    for cell in book.cells:
        if cell.metadata.get("nbgrader", {}).get("grade_id") == "sq":
            cell.source = text


# Doors


def by_eqlib(root):
    command = [sys.executable, "-m", "eqlib.cli", "grade", str(root), NAME, "-q"]
    done = subprocess.run(command, capture_output=True, text=True, check=False, cwd=root)
    return done.stdout + done.stderr


def by_nbgrader(root):
    done = nbgrader_command(root, "autograde", NAME)
    return done.stdout + done.stderr


def by_button(root):
    """The formgrader's own page in Chromium: its button clicked for one student after another."""
    from playwright.sync_api import sync_playwright

    lab = browser_tests()
    own_folders = lab.own_folders
    # The real home: where bubblewrap is missing, what lies in it is covered, a Python that lies there kept.
    lab.own_folders = lambda scratch: own_folders(scratch) | {"HOME": os.path.expanduser("~")}
    said = []
    with tempfile.TemporaryDirectory(prefix="doors-lab-") as scratch, sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=lab.chromium(), args=lab.FLAGS)
        with lab.lab_server(root, Path(scratch)) as address:
            page = browser.new_page()
            page.set_default_timeout(900_000)  # 20,000 cells take minutes on a busy machine
            page.goto(f"{address}/formgrader/manage_submissions/{NAME}")
            page.locator("td.autograde a").first.wait_for()
            for student in page.locator("td.student-id").all_inner_texts():
                row = page.locator("tr", has=page.locator(f"td.student-id:text-is('{student}')"))
                words = press(row, "autograde")
                if "Successfully" not in words:
                    said.append(f"{student}: {' '.join(words.split())[-400:]}")
                print(f"    {len(said)} refused, {student} done", file=sys.stderr, flush=True)
        browser.close()
    return "\n".join(said)


DOORS = {"eqlib": by_eqlib, "nbgrader": by_nbgrader, "button": by_button}


def hide_bubblewrap(folder):
    """A PATH on which everything is found but bwrap."""
    folder.mkdir()
    for place in os.environ["PATH"].split(os.pathsep):
        for program in Path(place).glob("*"):
            if program.name != "bwrap" and not (folder / program.name).is_symlink():
                (folder / program.name).symlink_to(program)
    os.environ["PATH"] = str(folder)
    assert shutil.which("bwrap") is None


# What must not be


def wrong_with(root, canary, listener, before, said):
    """A line for everything that should not have happened."""
    found = rows(root / "gradebook.db")
    scores: dict = {}
    for (table, student, _, cell), value in found.items():
        if table == "grade":
            scores.setdefault(student, {})[cell] = value[0]
    for student in ("a-honest", "zz-honest"):
        if scores.get(student) != FULL:
            yield f"{student} has {scores.get(student)}"
    for student, made in scores.items():
        for cell, score in made.items():
            most = FULL[cell] if "honest" in student else scores["control"][cell]
            if score is not None and score > (most or 0.0):
                yield f"{student} gained in {cell}: {score} instead of {most}"
    students = {path.name for path in (root / "submitted").iterdir()}
    for student in students - set(scores):
        if student not in said:
            yield f"{student}: no marks, and nothing said"
    for student in sorted(students - set(scores)):
        print(f"    not marked, and said: {student}")
    after = digest(root)
    yield from (f"changed: {name}" for name in before if before[name] != after.get(name))
    if sorted(path.name for path in canary.iterdir()) != ["read"]:
        yield "the canary's folder was written to"
    if listener.heard:
        yield f"the network was reached {listener.heard} times"
    for folder in ("/tmp", "/var/tmp", "/dev/shm", "/usr"):
        if os.path.exists(f"{folder}/eqlib-doors-trace"):
            yield f"a trace was left in {folder}"
    yield from left_over()


def left_over():
    """Processes and folders of this marking that are still there."""
    time.sleep(2)
    for process in psutil.process_iter(["cmdline", "status"]):
        line = process.info["cmdline"] or []
        own = sys.prefix in " ".join(line) and any("eqlib.grading" in part for part in line)
        own = own and process.info["status"] != psutil.STATUS_ZOMBIE and not _of_another(process)
        if line == ["sleep", hostile.SLEEP] or own:
            yield f"still running: {process.pid} {' '.join(line)[:100]}"
    for place in Path(tempfile.gettempdir()).glob("eqlib-*-pid*-*"):
        if not psutil.pid_exists(int(place.name.split("-pid")[1].split("-")[0])):
            yield f"left lying: {place}"


def _of_another(process):
    """Does it belong to a marking that is still going on? Ours has ended."""
    try:
        above = [" ".join(parent.cmdline()) for parent in process.parents()]
    except psutil.NoSuchProcess:
        return True
    return any("eqlib.cli" in line or "nbgrader" in line for line in above)


def digest(root):
    """Every file of the course that marking does not write."""
    kept = [path for step in ("source", "release", "submitted") for path in (root / step).rglob("*")]
    return {str(path): path.read_bytes() for path in kept if path.is_file() and not path.is_symlink()}


def main():
    given = sys.argv[1:]
    only = given[given.index("--only") + 1 :] if "--only" in given else []
    given = given[: len(given) - len(only) - bool(only)]
    listener = Listener()
    with tempfile.TemporaryDirectory(prefix="doors-") as scratch:
        os.chmod(scratch, 0o755)
        canary = Path(scratch) / "canary"
        canary.mkdir()
        (canary / "read").write_text("marks", "utf-8")
        canary.chmod(0o777)
        if "bare" in given:
            hide_bubblewrap(Path(scratch) / "programs")
        fresh = Path(scratch) / "course"
        make_class(fresh, listener.port, canary, only)
        kept = Path(scratch) / "kept"
        shutil.copytree(fresh, kept, symlinks=True)
        bad = 0
        for door in [name for name in DOORS if name in given] or DOORS:
            shutil.rmtree(fresh)
            shutil.copytree(kept, fresh, symlinks=True)
            before, started = digest(fresh), time.monotonic()
            said = DOORS[door](fresh)
            found = list(wrong_with(fresh, canary, listener, before, said))
            bad += len(found)
            count = len(list((fresh / "submitted").iterdir()))
            print(f"{door}: {count} hand-ins in {time.monotonic() - started:.0f} s, {len(found)} wrong")
            print(*[f"  {line}" for line in found], sep="\n", flush=True)
    sys.exit(bool(bad))


if __name__ == "__main__":
    main()
