"""Run a student's cells where they can do no harm; bring back what they showed and how they ended, as data.

Where bubblewrap is installed and permitted, everything of a student's sees Python, eqlib and a small scratch
disk in memory, and nothing else: no course, no home, no network, no process of anybody's. Without it the same
is taken from the system as far as it gives it; ``isolation`` says how far, ``notice`` tells the instructor
what is *not* protected, and nothing of a student's runs as root.
"""

from __future__ import annotations

import base64
import json
import os
import secrets
import select
import shutil
import socket
import subprocess
import sys
import sysconfig
import tempfile
import time
from collections.abc import Iterator
from dataclasses import asdict, dataclass, field
from functools import cache
from pathlib import Path
from typing import Any

from eqlib.grading.run import copies
from eqlib.grading.run.copies import FROM_CELL

#: Longest a cell may run, in seconds, in plain ``nbgrader autograde`` and in ``eqlib grade`` alike.
CELL_SECONDS = 20
MAX_RESTARTS = 2
#: How long an interrupted cell has to end, in seconds.
GRACE = 4.0
TIMEOUT_NAME, DEAD_NAME, NOT_RUN_NAME = "CellTimeout", "KernelDied", "NotRun"
#: Imported once, before the copies are made. Names do not leak: a cell still has to import what it uses.
PRELOADED = (
    "numpy,scipy.optimize,sympy,matplotlib.pyplot,matplotlib.backends.backend_agg,"
    "matplotlib_inline.config,eqlib,eqlib.notebook"
)
_SYSTEM_FILES = ("ld.so.cache", "localtime", "fonts", "alternatives", "ssl/openssl.cnf")  # in /etc
_SCRATCH_BYTES = 256 * 1024 * 1024


@dataclass(frozen=True)
class Limits:
    """What one submission may use: seconds, megabytes (a process, all together), kilobytes a cell prints."""

    cell_seconds: float = CELL_SECONDS
    notebook_seconds: float = 180.0
    memory_mb: int = 2560
    total_memory_mb: int = 3584
    file_mb: int = 64
    processes: int = 160
    output_kb: int = 1000
    result_mb: int = 48


@dataclass
class Executed:
    """What came back. ``finished``: cells that provably ran to their end; ``trouble``: what else happened."""

    outputs: dict[int, list] = field(default_factory=dict)
    finished: set[int] = field(default_factory=set)
    trouble: dict[int, str] = field(default_factory=dict)
    ended: str | None = None
    seconds: float = 0.0


@dataclass(frozen=True)
class Isolation:
    """How far a student's code is shut in: ``kind`` is bubblewrap, system, user, process or none."""

    kind: str
    network: bool = False


def notice(isolation: Isolation | None) -> str:
    """One line on what is *not* protected; "" when submissions are shut in by bubblewrap or none is run."""
    if isolation is None or isolation.kind == "bubblewrap":
        return ""
    missing = "bubblewrap (bwrap) is missing or not permitted here"
    if isolation.kind == "none":
        return (
            f"No code of the submissions was run, because {missing} and nothing else could shut it in; "
            'recorded answers are marked, the rest says "not run". Install bubblewrap '
            "(apt-get install bubblewrap), then mark again: it is completed."
        )
    reach, open_to = {
        "system": (
            "they run shut in by the system itself, without your home and the course in sight",
            "files elsewhere that your account may read",
        ),
        "user": (
            "they run as another, unprivileged user",
            "files that every user of this machine may read",
        ),
        "process": (
            "they run as ordinary processes of your own account",
            "your files, the gradebook among them, if a submission looks for them",
        ),
    }[isolation.kind]
    network = "" if isolation.network else ", and the network"
    return (
        f"Submissions are not in a full sandbox, because {missing}: {reach}. "
        f"Not protected: {open_to}{network}. "
        "Marks come from the recorded answers, outside those processes."
    )


@dataclass
class Door:
    """What it takes to have a notebook run: the socket on which it is asked for, and where things lie."""

    control: socket.socket
    wrapped: bool
    home: str
    cover: list[str]

    def run(
        self, cells: list[tuple[int, str, bool]], files: dict[str, bytes], limits: Limits | None = None
    ) -> Executed:
        """Run ``cells`` (number, text, graded?) in order beside ``files``; never raises for what they do.

        When one ends the program, the rest run in a new one, after those before.
        """
        limits = limits or Limits()
        done = Executed()
        started = time.monotonic()
        outputs = _Outputs()
        waiting: list = list(cells)
        ran: list = []
        for attempt in range(MAX_RESTARTS + 1):
            if not waiting or time.monotonic() - started >= limits.notebook_seconds:
                break
            try:
                with _Run(self, files, limits) as run:
                    for index, source, _ in ran if attempt else ():
                        run.cell(index, source, False, limits.cell_seconds)
                    before = set(done.finished)
                    waiting = _session(run, waiting, ran, outputs, done, limits)
                    if run.forged:
                        # Who answers for one cell may have answered for each.
                        done.finished = before
                        done.ended = "code in it answered in place of its cells: none that ran with it counts"
            except (copies.Gone, TimeoutError, OSError):
                done.ended = "its cells could not be run to the end"
                break
            if run.ended:
                done.ended = run.ended
                break
        for index, _, _ in waiting:
            done.trouble[index] = NOT_RUN_NAME
            outputs.error(index, NOT_RUN_NAME, "not run: an earlier cell ended the program")
        done.outputs = outputs.cells
        done.seconds = time.monotonic() - started
        return done


class Sandbox:
    """The warm process that runs notebooks; ``door`` is how it is asked (None: nothing can be run here)."""

    def __init__(self, cover: Any = ()) -> None:
        self.cover = [str(path) for path in cover]
        self.isolation = Isolation("none")
        self.warm: copies.Warm | None = None
        self.door: Door | None = None
        self.home = tempfile.mkdtemp(prefix=f"eqlib-run-pid{os.getpid()}-") if copies.POSSIBLE else ""
        if not copies.POSSIBLE:
            return
        os.chmod(self.home, 0o711)
        for with_bwrap in (True, False):
            if with_bwrap and shutil.which("bwrap") is None:
                continue
            self._start(with_bwrap)
            if self.isolation.kind != "none":
                return
            self.close_process()

    def _start(self, with_bwrap: bool) -> None:
        command = [os.path.abspath(sys.executable), "-I", "-m", "eqlib.grading.run.kernel", PRELOADED]
        try:
            prefix = wrapped() if with_bwrap else []
            self.warm = copies.Warm([*prefix, *command], environment("/tmp" if with_bwrap else self.home))
            self.door = Door(self.warm.control, with_bwrap, self.home, self.cover)
            got, works = _trial(self.door)
        except (OSError, copies.Gone, TimeoutError, ValueError):
            return
        if not works:
            return
        kind = "user" if got["user"] else "process"
        kind = "system" if got["processes"] and got["files"] else kind
        self.isolation = Isolation("bubblewrap" if with_bwrap else kind, got["network"])

    def close_process(self) -> None:
        if self.warm is not None:
            self.warm.close()
            self.warm = self.door = None

    def close(self) -> None:
        """End everything and remove the scratch folder."""
        self.close_process()
        if self.home:
            shutil.rmtree(self.home, ignore_errors=True)


def _trial(door: Door) -> tuple[dict, bool]:
    """One small notebook, to see whether anything runs and what keeps it in."""
    limits = Limits(cell_seconds=30, notebook_seconds=40)
    with _Run(door, {}, limits, patience=90) as run:
        outputs, status, _ = run.cell(0, "import json, zipfile, xml.dom\n6 * 7", False, 30)
    shown = [out.get("content", {}).get("data", {}).get("text/plain") for out in outputs]
    return run.sealed, status == "ok" and shown == ["42"]


class _Run:
    """One copy of the warm process, running one notebook."""

    def __init__(self, door: Door, files: dict[str, bytes], limits: Limits, patience: float = 30) -> None:
        self.limits = limits
        self.ended: str | None = None
        self.data = b""
        self.nonce = ""
        #: Has something answered twice for one cell?
        self.forged = False
        self.link = copies.open_copy(door.control)
        uid = copies.FIRST_UID + os.getpid() % 4000 if os.getuid() == 0 else None
        job = {
            "files": {name: base64.b64encode(data).decode("ascii") for name, data in files.items()},
            "limits": {**asdict(limits), "processes": _process_limit(limits, uid)},
            "uid": uid,
            "isolated": door.wrapped,
            "cover": [] if door.wrapped else [*door.cover, *homes()],
            "keep": list(python_folders()),
            "scratch": "/tmp" if door.wrapped else door.home,
        }
        copies.send(self.link, json.dumps(job).encode())
        self.link.settimeout(patience)
        self.sealed = json.loads(copies.receive(self.link)[1:])["sealed"]

    def __enter__(self) -> Any:
        return self

    def __exit__(self, *exception: Any) -> None:
        try:
            self.link.settimeout(10)
            copies.send(self.link, b"end")
            # Until the guard has ended every process it looked after.
            while copies.receive(self.link)[:1] == FROM_CELL:
                pass
        except (copies.Gone, TimeoutError):
            pass
        finally:
            self.link.close()

    def cell(self, index: int, source: str, graded: bool, seconds: float) -> tuple[list[dict], str, dict]:
        """Run one cell: its messages, how it ended (ok, error, CellTimeout, KernelDied), and the reply."""
        self.nonce = secrets.token_hex(8)
        order = {"cell": index, "source": source, "graded": graded, "nonce": self.nonce}
        messages: list[dict] = []
        try:
            copies.send(self.link, json.dumps(order).encode())
            end, stopped = time.monotonic() + seconds, False
            while True:
                reply = self._next(messages, end - time.monotonic())
                if reply is not None:
                    return messages, TIMEOUT_NAME if stopped else str(reply.get("status")), reply
                if self.ended is not None:
                    return messages, DEAD_NAME, {}
                if time.monotonic() >= end:
                    if stopped:
                        self.ended = ""
                        return messages, TIMEOUT_NAME, {}
                    stopped, end = True, time.monotonic() + GRACE
                    copies.send(self.link, b"interrupt")
        except copies.Gone:
            self.ended = self.ended or ""
            return messages, DEAD_NAME, {}

    def _next(self, messages: list, wait: float) -> dict | None:
        """Read on; the reply to the cell when it is here, None when time is up or all has ended."""
        while True:
            while (frame := self._frame()) is not None:
                said = _plain(frame)
                if "reply" in said:
                    reply = said["reply"]
                    if isinstance(reply, dict) and reply.get("nonce") == self.nonce:
                        return reply
                    self.forged = True
                elif "type" in said:
                    messages.append(said)
            if wait <= 0 or not select.select([self.link], [], [], min(wait, 3600))[0]:
                return None
            wait = max(wait, 0.01)
            frame = copies.receive(self.link)
            if frame[:1] == FROM_CELL:
                self.data += frame[1:]
            else:
                self.ended = str(_plain(frame[1:]).get("ended") or "")
                return None

    def _frame(self) -> bytes | None:
        """The next whole frame of the student's process."""
        if len(self.data) < 8:
            return None
        length = int.from_bytes(self.data[:8], "big")
        if length > self.limits.result_mb * 1024 * 1024:
            raise copies.Gone
        if len(self.data) < 8 + length:
            return None
        frame, self.data = self.data[8 : 8 + length], self.data[8 + length :]
        return frame


def _plain(frame: bytes) -> dict:
    try:
        said = json.loads(frame)
    except (ValueError, RecursionError):
        return {}
    return said if isinstance(said, dict) else {}


def _session(run: _Run, waiting: list, ran: list, outputs: _Outputs, done: Executed, limits: Limits) -> list:
    """Run what is waiting in one copy; give back what is still waiting when that copy has gone."""
    for position, (index, source, graded) in enumerate(waiting):
        messages, status, reply = run.cell(index, source, graded, limits.cell_seconds)
        outputs.take(index, messages)
        if status == "ok":
            done.finished.add(index)
        elif status == TIMEOUT_NAME:
            done.trouble[index] = TIMEOUT_NAME
            line = f"this cell ran longer than {limits.cell_seconds:g} seconds and was stopped"
            outputs.error(index, TIMEOUT_NAME, line, instead_of="KeyboardInterrupt")
        elif status == DEAD_NAME:
            done.trouble[index] = DEAD_NAME
            outputs.error(
                index, DEAD_NAME, f"this cell ended the program{': ' + run.ended if run.ended else ''}"
            )
        else:
            outputs.failed(index, reply)
        if run.ended is not None:
            lost = run.ended and "ended the program" in run.ended
            run.ended = None if lost or not run.ended else run.ended
            return waiting[position + 1 :]
        if status != TIMEOUT_NAME:
            ran.append((index, source, graded))
    # Whoever answered early for the last cell has yet to answer for it in earnest, before this one.
    if run.cell(-1, "", False, limits.cell_seconds)[1] != "ok" and waiting:
        done.finished.discard(waiting[-1][0])
    return []


class _Outputs:
    """What the cells showed, put together from their messages as nbclient does."""

    def __init__(self) -> None:
        self.cells: dict[int, list] = {}
        self.shown: dict[str, list[dict]] = {}
        self.clear: set[int] = set()

    def take(self, index: int, messages: list[dict]) -> None:
        """Add a cell's messages. One that no kernel sends is passed over."""
        outs = self.cells.setdefault(index, [])
        for message in messages:
            kind, content = message.get("type"), message.get("content")
            if not isinstance(content, dict):
                continue
            if kind == "clear_output":
                if content.get("wait"):
                    self.clear.add(index)
                else:
                    outs.clear()
                continue
            output = as_output(kind, content)
            if output is None:
                continue
            name = content.get("transient")
            name = name.get("display_id") if isinstance(name, dict) else None
            if isinstance(name, str):
                for earlier in self.shown.get(name, ()):
                    earlier["data"], earlier["metadata"] = output["data"], output["metadata"]
                self.shown.setdefault(name, [])
            if kind == "update_display_data":
                continue
            if index in self.clear:
                self.clear.discard(index)
                outs.clear()
            if isinstance(name, str):
                self.shown[name].append(output)
            last = outs[-1] if outs else {}
            if output["output_type"] == "stream" and last.get("name") == output["name"]:
                last["text"] += output["text"]
            else:
                outs.append(output)

    def error(self, index: int, name: str, line: str, instead_of: str = "") -> None:
        """Add an error of ours to a cell."""
        outs = [out for out in self.cells.get(index, []) if not instead_of or out.get("ename") != instead_of]
        outs.append({"output_type": "error", "ename": name, "evalue": line, "traceback": [f"{name}: {line}"]})
        self.cells[index] = outs

    def failed(self, index: int, reply: dict) -> None:
        """The reply says that the cell failed: what it shows must say so too, however it was silenced."""
        name = str(reply.get("ename") or "Error")[:200]
        if any(out.get("ename") == name for out in self.cells.get(index, ())):
            return
        said = str(reply.get("evalue") or "")[:2000]
        self.error(index, name, said or "the cell did not run to its end")


def writable(value: Any) -> Any:
    """``value`` (plain data) without halves of surrogate pairs, which no file holds."""
    text = json.dumps(value, ensure_ascii=False)
    try:
        text.encode()
    except UnicodeEncodeError:
        return json.loads(text.encode(errors="replace"))
    return value


def as_output(kind: Any, content: dict) -> dict | None:
    """An output of the notebook format from what claims to be one, or None if it is none."""
    content = writable(content)
    if kind == "stream":
        name, text = content.get("name"), content.get("text")
        good = name in ("stdout", "stderr") and isinstance(text, str)
        return {"output_type": "stream", "name": name, "text": text} if good else None
    if kind == "error":
        lines = content.get("traceback")
        lines = [str(line) for line in lines] if isinstance(lines, list) else []
        words = {key: str(content.get(key, "")) for key in ("ename", "evalue")}
        return {"output_type": "error", **words, "traceback": lines}
    if kind not in ("display_data", "execute_result", "update_display_data"):
        return None
    data, meta = content.get("data"), content.get("metadata")
    if not isinstance(data, dict):
        return None
    kept = {
        mime: value if mime.endswith("json") or isinstance(value, str) else str(value)
        for mime, value in data.items()
    }
    output = {"output_type": kind, "data": kept, "metadata": meta if isinstance(meta, dict) else {}}
    if kind == "execute_result":
        count = content.get("execution_count")
        output["execution_count"] = count if type(count) is int else None
    return output


def _process_limit(limits: Limits, uid: int | None) -> int:
    """Without a user id of its own a notebook's processes are counted with all of the instructor's: allow
    for those.
    """
    if uid is not None:
        return limits.processes
    import psutil  # nothing else here needs it

    ours = os.getuid()
    listed = psutil.process_iter(["uids", "num_threads"])
    mine = sum(p.info["num_threads"] or 1 for p in listed if p.info["uids"] and p.info["uids"].real == ours)
    return limits.processes + mine


# -- what the warm process is started with -----------------------------------------------------------------


def homes() -> list[str]:
    """Homes that nothing of a student's has to see."""
    home = os.path.expanduser("~")
    return [home] if os.path.isabs(home) and home != "/" and os.path.isdir(home) else []


def wrapped() -> list[str]:
    """The bubblewrap command that everything of a student's is started with."""
    binds = [folder for folder in python_folders() if not folder.startswith("/usr/")]
    system = [f"/etc/{name}" for name in _SYSTEM_FILES if os.path.exists(f"/etc/{name}")]
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
    paths = sysconfig.get_paths()
    wanted |= {paths[key] for key in ("stdlib", "platstdlib", "purelib", "platlib")}
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
