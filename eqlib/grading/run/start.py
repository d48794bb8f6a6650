"""How a sandbox is started: bubblewrap's command, what Python has to see, the words for what is protected."""

from __future__ import annotations

import os
import subprocess
import sys
import sysconfig
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

_SYSTEM_FILES = (
    "/etc/ld.so.cache",
    "/etc/localtime",
    "/etc/fonts",
    "/etc/alternatives",
    "/etc/ssl/openssl.cnf",
)
_SCRATCH_BYTES = 256 * 1024 * 1024


@dataclass(frozen=True)
class Isolation:
    """How far a student's code is shut in: ``kind`` is bubblewrap, system, user, process or none."""

    kind: str
    network: bool = False

    @property
    def sandboxed(self) -> bool:
        return self.kind == "bubblewrap"


def notice(isolation: Isolation) -> str | None:
    """One line on what is *not* protected; None when submissions are shut in by bubblewrap."""
    if isolation.kind == "bubblewrap":
        return None
    missing = "bubblewrap (bwrap) is missing or not permitted here"
    if isolation.kind == "none":
        return (
            f"No code of the submissions was run, because {missing} and nothing else could shut it in; "
            'recorded answers are marked, the rest says "not run". Install bubblewrap '
            "(apt-get install bubblewrap), then mark again: it is completed."
        )
    reach = {
        "system": "they run shut in by the system itself, without your home and the course in sight",
        "user": "they run as another, unprivileged user",
        "process": "they run as ordinary processes of your own account",
    }[isolation.kind]
    open_to = {
        "system": "files elsewhere that your account may read",
        "user": "files that every user of this machine may read",
        "process": "your files, the gradebook among them, if a submission looks for them",
    }[isolation.kind]
    network = "" if isolation.network else ", and the network"
    return (
        f"Submissions are not in a full sandbox, because {missing}: {reach}. "
        f"Not protected: {open_to}{network}. "
        "Marks come from the recorded answers, outside those processes."
    )


def homes() -> list[str]:
    """Homes that nothing of a student's has to see."""
    home = os.path.expanduser("~")
    return [home] if os.path.isabs(home) and home != "/" and os.path.isdir(home) else []


def wrapped() -> list[str]:
    """The bubblewrap command that everything of a student's is started with."""
    binds = [folder for folder in python_folders() if not folder.startswith("/usr/")]
    system = [path for path in _SYSTEM_FILES if os.path.exists(path)]
    command = ["bwrap", *_scratch("0755", "/"), *_scratch("1777", "/tmp")]
    # After the scratch disks, because Python itself may well live in a folder under /tmp.
    for folder in _parents([*binds, *system]):
        if folder != "/tmp":
            command += ["--perms", "0755", "--dir", folder]
    command += ["--ro-bind", "/usr", "/usr"]
    for link in ("/lib", "/lib64", "/lib32", "/bin", "/sbin"):
        if os.path.islink(link):
            command += ["--symlink", os.readlink(link), link]
        elif os.path.isdir(link):
            command += ["--ro-bind", link, link]
    for path in (*binds, *system):
        command += ["--ro-bind", path, path]
    course = Path(__file__).parents[2] / "course"
    if course.is_dir():
        command += ["--size", "4096", "--tmpfs", str(course)]
    command += ["--proc", "/proc", "--dev", "/dev", "--remount-ro", "/dev", *_scratch("1777", "/dev/shm")]
    command += ["--remount-ro", "/", "--unshare-ipc", "--unshare-pid", "--unshare-net", "--unshare-uts"]
    command += [
        "--unshare-cgroup-try",
        "--die-with-parent",
        "--new-session",
        "--chdir",
        "/tmp",
        "--cap-drop",
        "ALL",
    ]
    if os.getuid() != 0:
        return [*command, "--unshare-user"]
    # Kept by the warm process, to shut each copy in and to become its unprivileged user; given up before a
    # cell runs.
    for name in ("SYS_ADMIN", "SETUID", "SETGID", "SETPCAP", "CHOWN", "KILL", "SYS_PTRACE", "DAC_OVERRIDE"):
        command += ["--cap-add", f"CAP_{name}"]
    return command


def _scratch(mode: str, folder: str) -> list[str]:
    """A small disk in memory."""
    return ["--size", str(_SCRATCH_BYTES), "--perms", mode, "--tmpfs", folder]


@cache
def python_folders() -> tuple[str, ...]:
    """Every folder the interpreter, its libraries and eqlib are read from."""
    package = Path(__file__).resolve().parents[2]
    wanted = {sys.prefix, sys.base_prefix, str(package), os.path.dirname(os.path.realpath(sys.executable))}
    wanted |= {
        path
        for key, path in sysconfig.get_paths().items()
        if key in ("stdlib", "platstdlib", "purelib", "platlib")
    }
    wanted |= {str(Path(link).parent) for link in _links(Path(sys.executable))}
    # Only folders of libraries: another entry of the path may be the very course that is marked.
    wanted |= {path for path in sys.path if Path(path).name in ("site-packages", "dist-packages")}
    if fonts := font_list():
        wanted.add(fonts)
    folders = sorted({os.path.abspath(path) for path in wanted if os.path.isdir(path)})
    kept: list[str] = []
    for folder in folders:
        if folder not in ("/", "/usr") and not any(folder.startswith(k + "/") for k in kept):
            kept.append(folder)
    return tuple(kept)


def _links(path: Path) -> Iterator[Path]:
    """The chain of links from a virtual environment's interpreter to the real one."""
    while path.is_symlink():
        yield path
        path = path.parent / os.readlink(path)
    yield path


def _parents(folders: Any) -> list[str]:
    """The folders above ``folders``, topmost first: made readable, because bubblewrap makes them private."""
    found = {str(parent) for folder in folders for parent in Path(folder).parents if str(parent) != "/"}
    return sorted(found - set(folders))


@cache
def font_list() -> str | None:
    """A folder with matplotlib's list of fonts, made once; None if matplotlib cannot make one."""
    folder = Path(tempfile.gettempdir()) / f"eqlib-fonts-{os.getuid()}"
    try:
        folder.mkdir(mode=0o755, exist_ok=True)
        if folder.is_symlink() or folder.stat().st_uid != os.getuid():
            return None
        folder.chmod(0o755)
        if not list(folder.glob("fontlist*.json")):
            subprocess.run(
                [sys.executable, "-c", "import matplotlib.font_manager"],
                env={**os.environ, "MPLCONFIGDIR": str(folder)},
                capture_output=True,
                timeout=120,
                check=False,
            )
    except (OSError, subprocess.TimeoutExpired):
        return None
    return str(folder) if list(folder.glob("fontlist*.json")) else None


def environment(home: str) -> dict[str, str]:
    """Nothing of the instructor's own environment reaches a student's code."""
    threads = dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"), "1")
    debug = {"EQLIB_DEBUG": "1"} if os.environ.get("EQLIB_DEBUG") else {}
    return {
        "HOME": home,
        "TMPDIR": home,
        "MPLCONFIGDIR": font_list() or home,
        "IPYTHONDIR": f"{home}/ipython",
        "JUPYTER_RUNTIME_DIR": f"{home}/run",
        "JUPYTER_CONFIG_DIR": f"{home}/jupyter",
        "JUPYTER_DATA_DIR": f"{home}/data",
        "PATH": f"{os.path.dirname(os.path.abspath(sys.executable))}:/usr/bin:/bin",
        "LANG": "C.UTF-8",
        "LC_ALL": "C.UTF-8",
        "MALLOC_ARENA_MAX": "2",
        "MPLBACKEND": "module://matplotlib_inline.backend_inline",
        "PYTHONDONTWRITEBYTECODE": "1",
        "NBGRADER_EXECUTION": "autograde",
        "USER": "student",
        "PYDEVD_DISABLE_FILE_VALIDATION": "1",
        **threads,
        **debug,
    }
