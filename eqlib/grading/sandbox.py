"""Run a student's notebook where it can do no harm, and bring back only what its cells showed, as data.

Each notebook gets a process of its own. Where bubblewrap is installed and permitted that process sees Python,
eqlib and a small scratch disk in memory, and nothing else: no course, no home, no network, no other process.
Started by root, it becomes an unprivileged user before anything of a student's runs (the limit on processes
does not bind root). Otherwise it is an ordinary separate process, under the same limits. ``watch`` keeps
time,
memory and output from outside.
"""

from __future__ import annotations

import base64
import json
import os
import shutil
import subprocess
import sys
import sysconfig
import tempfile
from dataclasses import asdict
from functools import cache
from pathlib import Path

from eqlib.grading.watch import Executed, Limits, Watch

#: First of the user ids taken by notebooks when root marks; each worker has its own, so limits do not mix.
FIRST_UID = 61_100
_SYSTEM_FILES = (
    "/etc/ld.so.cache",
    "/etc/localtime",
    "/etc/fonts",
    "/etc/alternatives",
    "/etc/ssl/openssl.cnf",
)
_SCRATCH_BYTES = 256 * 1024 * 1024


_TRIAL = (
    "import eqlib.grading.inside as i, importlib; i.shed_privileges(61099); "
    "[importlib.import_module(name) for name in ('IPython', 'ipykernel', 'zmq', 'jupyter_client')]"
)


@cache
def isolation() -> str:
    """``"bubblewrap"`` where it works, else ``"process"``, else ``"none"``. Tried once, by starting each.

    ``"none"``: marking as root, with a Python that no other user can read; no student code is run then.
    """
    if shutil.which("bwrap") is not None and _works(_wrapped()):
        return "bubblewrap"
    return "process" if _works([]) else "none"


def _works(prefix: list[str]) -> bool:
    """Can a program be started behind ``prefix``, shed its privileges and still find what it needs?"""
    command = [*prefix, sys.executable, "-I", "-c", _TRIAL]
    with tempfile.TemporaryDirectory(prefix="eqlib-trial-") as home:
        os.chmod(home, 0o777)
        environment = _environment("/tmp" if prefix else home)
        try:
            trial = subprocess.run(
                command, capture_output=True, timeout=60, check=False, env=environment, cwd="/"
            )
        except (OSError, subprocess.TimeoutExpired):
            return False
    return trial.returncode == 0


def notice() -> str | None:
    """One line for the instructor when submissions run without bubblewrap; None when they are isolated."""
    if isolation() == "bubblewrap":
        return None
    missing = "bubblewrap (bwrap) is missing or not permitted here"
    if isolation() == "process":
        return (
            f"Submissions run as ordinary separate processes, because {missing}; "
            "marks are safe all the same, but mark only files you would open yourself."
        )
    return (
        f"No code of the submissions was run, because {missing} and root must not run it; "
        "recorded answers are marked. "
        "To run the code too, install bubblewrap or mark as an ordinary user."
    )


def _wrapped() -> list[str]:
    """The bubblewrap command that everything of a student's is started with."""
    binds = [folder for folder in _python_folders() if not folder.startswith("/usr/")]
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
    course = Path(__file__).parents[1] / "course"
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
    if os.getuid() == 0:
        return [*command, "--cap-add", "CAP_SETUID", "--cap-add", "CAP_SETGID"]
    return (
        [*command, "--unshare-user", "--disable-userns"]
        if _can_disable_userns()
        else [*command, "--unshare-user"]
    )


def _scratch(mode: str, folder: str) -> list[str]:
    """A small disk in memory."""
    return ["--size", str(_SCRATCH_BYTES), "--perms", mode, "--tmpfs", folder]


@cache
def _can_disable_userns() -> bool:
    """Newer bubblewraps can forbid further namespaces inside."""
    told = subprocess.run(["bwrap", "--help"], capture_output=True, text=True, check=False)
    return "--disable-userns" in told.stdout + told.stderr


@cache
def _python_folders() -> tuple[str, ...]:
    """Every folder the interpreter, its libraries and eqlib are read from."""
    package = Path(__file__).resolve().parents[1]
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


def _links(path: Path):
    """The chain of links from a virtual environment's interpreter to the real one."""
    while path.is_symlink():
        yield path
        path = path.parent / os.readlink(path)
    yield path


def _parents(folders) -> list[str]:
    """The folders above ``folders``, topmost first: made readable, because bubblewrap makes them private."""
    found = {str(parent) for folder in folders for parent in Path(folder).parents if str(parent) != "/"}
    return sorted(found - set(folders))


@cache
def font_list() -> str | None:
    """A folder with matplotlib's list of fonts, made once; None if matplotlib cannot make one."""
    folder = Path(tempfile.gettempdir()) / f"eqlib-fonts-{os.getuid()}"
    try:
        folder.mkdir(mode=0o755, exist_ok=True)
        if folder.stat().st_uid != os.getuid():
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


def _environment(home: str) -> dict[str, str]:
    """Nothing of the instructor's own environment reaches a student's code."""
    threads = dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"), "1")
    return {
        "HOME": home,
        "TMPDIR": home,
        "MPLCONFIGDIR": f"{home}/matplotlib",
        "IPYTHONDIR": f"{home}/ipython",
        "JUPYTER_RUNTIME_DIR": f"{home}/run",
        "JUPYTER_CONFIG_DIR": f"{home}/jupyter",
        "JUPYTER_DATA_DIR": f"{home}/data",
        "PATH": f"{os.path.dirname(sys.executable)}:/usr/bin:/bin",
        "LANG": "C.UTF-8",
        "LC_ALL": "C.UTF-8",
        "MALLOC_ARENA_MAX": "2",
        "PYTHONDONTWRITEBYTECODE": "1",
        "NBGRADER_EXECUTION": "autograde",
        "USER": "student",
        "PYDEVD_DISABLE_FILE_VALIDATION": "1",
        **threads,
    }


def run_notebook(
    notebook: dict,
    files: dict[str, bytes],
    limits: Limits | None = None,
    worker: int = 0,
    only: set[int] | None = None,
) -> Executed:
    """Run the code cells of ``notebook`` (plain data) beside ``files``; never raises for anything the
    notebook does.

    ``only``: the numbers of the cells to run; None runs all.
    """
    limits = limits or Limits()
    if isolation() == "none":
        return Executed()
    with tempfile.TemporaryDirectory(prefix="eqlib-run-") as scratch:
        wrapped = isolation() == "bubblewrap"
        home = "/tmp" if wrapped else scratch
        uid = FIRST_UID + worker % 1000 if os.getuid() == 0 else None
        if not wrapped and uid is not None:
            os.chown(scratch, uid, uid)
        job = {
            "notebook": notebook,
            "uid": uid,
            "fonts": font_list(),
            "only": None if only is None else sorted(only),
            "files": {name: base64.b64encode(data).decode("ascii") for name, data in files.items()},
            "limits": {**asdict(limits), "processes": _process_limit(limits, wrapped)},
        }
        command = [*(_wrapped() if wrapped else []), sys.executable, "-I", "-m", "eqlib.grading.inside"]
        return Watch(
            command, _environment(home), json.dumps(job).encode(), limits, uid if not wrapped else None, home
        ).run()


def _process_limit(limits: Limits, wrapped: bool) -> int:
    """Without a user id of its own a notebook's processes are counted with all of the instructor's: allow
    for those.
    """
    if os.getuid() == 0 or wrapped:
        return limits.processes
    import psutil

    ours = os.getuid()
    mine = sum(
        p.info["num_threads"] or 1
        for p in psutil.process_iter(["uids", "num_threads"])
        if p.info["uids"] and p.info["uids"].real == ours
    )
    return limits.processes + mine
