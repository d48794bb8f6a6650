"""Make practice copies of the assignments: solutions cleared by nbgrader, answers told at once instead of
marked later.

python binder/practice.py [FOLDER]

FOLDER (default: notebooks/practice in this checkout) is made new; answers recorded there before are kept.
"""

from __future__ import annotations

import re
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
COURSE = ROOT / "notebooks"
_MODE = re.compile(r'^mode = "assessed"$', re.MULTILINE)


def main(arguments: list[str]) -> int:
    """Make the copies and say where they are. 0, or 1 with one line when that failed."""
    if len(arguments) > 1 or arguments[:1] in (["-h"], ["--help"]):
        print(__doc__.strip())
        return 0 if len(arguments) == 1 else 2
    target = Path(arguments[0]) if arguments else COURSE / "practice"
    with tempfile.TemporaryDirectory() as scratch:
        for source in sorted((COURSE / "source").iterdir()):
            if not (source / "questions.toml").is_file():
                continue
            problem = release(source.name, Path(scratch))
            if problem:
                print(f"{source.name}: {problem}", file=sys.stderr)
                return 1
            for made in copy_out(Path(scratch) / "release" / source.name, target / source.name):
                print(made)
    return 0


def release(name: str, course: Path) -> str:
    """Let nbgrader make the students' version of one assignment under ``course``. "" or what went wrong."""
    shutil.copytree(COURSE / "source" / name, course / "source" / name)
    shutil.copy(COURSE / "nbgrader_config.py", course)
    done = subprocess.run(
        [sys.executable, "-m", "nbgrader", "generate_assignment", name, "--create", "--force"],
        cwd=course,
        capture_output=True,
        text=True,
        check=False,
        env=with_commands(),
    )
    if done.returncode:
        lines = [line for line in done.stderr.splitlines() if "ERROR" in line] or ["nbgrader gave no reason"]
        return lines[-1]
    return ""


def with_commands() -> dict[str, str]:
    """The environment, with this Python's own commands first: nbgrader calls one of them by name."""
    import os

    here = str(Path(sys.executable).parent)
    return os.environ | {"PATH": os.pathsep.join([here, os.environ.get("PATH", "")])}


def copy_out(released: Path, target: Path) -> list[Path]:
    """Put the released files in ``target``, in practice mode. A notebook somebody worked in is left as it
    is.
    """
    target.mkdir(parents=True, exist_ok=True)
    made = []
    for path in sorted(released.iterdir()):
        there = target / path.name
        if path.suffix == ".ipynb" and there.exists():
            continue
        if path.name == "questions.toml":
            there.write_text(_MODE.sub('mode = "practice"', path.read_text("utf-8")), "utf-8")
        else:
            shutil.copy(path, there)
        made.append(there)
    return made


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
