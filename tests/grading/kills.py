"""Kill a marking by SIGKILL at random moments, go on, and compare with a marking that nobody disturbed.

``python tests/grading/kills.py [20]``: how many rounds. A script, not a test: it takes minutes.
"""

from __future__ import annotations

import os
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from test_against_plain import rows

from eqlib.grading.demo import ASSIGNMENT, hand_everything_in, make_course


def grade(root: Path, log: Path) -> subprocess.Popen:
    command = [sys.executable, "-m", "eqlib.cli", "grade", str(root), ASSIGNMENT, "-q", "--log", str(log)]
    return subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)


def left_over(root: Path) -> list[str]:
    """Half-written folders in the course, and work folders of markings that are gone."""
    halves = [str(p) for step in ("autograded", "feedback") for p in (root / step).glob("*/.*")]
    spare = [str(p) for p in Path(tempfile.gettempdir()).glob("eqlib-*-pid*-*")]
    alive = [p for p in spare if not Path(f"/proc/{p.split('-pid')[1].split('-')[0]}").exists()]
    return halves + alive


def main() -> None:
    rounds = int(sys.argv[1]) if len(sys.argv) > 1 else 20
    chance = random.Random(7)
    with tempfile.TemporaryDirectory(prefix="kills-") as folder:
        first = make_course(Path(folder) / "undisturbed")
        first.release(ASSIGNMENT)
        hand_everything_in(first, ASSIGNMENT)
        fresh = Path(folder) / "fresh"
        shutil.copytree(first.root, fresh)
        started = time.monotonic()
        grade(first.root, Path(folder) / "first.log").wait()
        whole = time.monotonic() - started
        wanted = rows(first.root / "gradebook.db")
        files = sorted(str(p.relative_to(first.root)) for p in first.root.glob("autograded/**/*.ipynb"))
        same = done = twice = 0
        for number in range(rounds):
            root = Path(folder) / f"round-{number}"
            shutil.copytree(fresh, root)
            log = Path(folder) / f"{number}.log"
            running = grade(root, log)
            time.sleep(chance.uniform(0.2, 1.0) * whole)
            os.kill(running.pid, signal.SIGKILL)
            running.wait()
            grade(root, log).wait()
            marked = [line for line in log.read_text("utf-8").splitlines() if '"marked"' in line]
            done += len(wanted and {line.split('"student": "')[1].split('"')[0] for line in marked})
            twice += len(marked) - len({line.split('"student": "')[1].split('"')[0] for line in marked})
            again = sorted(str(p.relative_to(root)) for p in root.glob("autograded/**/*.ipynb"))
            equal = rows(root / "gradebook.db") == wanted and again == files and not left_over(root)
            same += equal
            print(
                f"round {number}: {'equal' if equal else 'DIFFERENT'}, {len(marked)} marked",
                left_over(root),
                flush=True,
            )
            shutil.rmtree(root)
        print(f"{same} of {rounds} equal; {twice} of {done} submissions marked twice")


if __name__ == "__main__":
    main()
