"""A warm process has imported everything and forks a copy of itself for every job; a copy that runs a
student's cells is shut in, watched and ended (``supervise``).

The one who asks holds one end of a pair of sockets (``open_copy``) and speaks with the copy through it in
frames, each its length and then its bytes. The copy is gone when its job is done, and nothing it did is left
to the next. Shutting in takes what the system permits and tells what it got; ``sandbox`` decides whether that
is enough, and says so. It is there on Linux only; elsewhere there is nothing of it, and that is said too.
"""

from __future__ import annotations

import base64
import contextlib
import ctypes
import json
import os
import select
import signal
import socket
import struct
import subprocess
import sys
import tempfile
import time
import traceback
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

_LENGTH = struct.Struct("!Q")
#: Longest frame that is read, in bytes.
MOST = 512 * 1024 * 1024
POSSIBLE = hasattr(os, "fork") and hasattr(socket, "send_fds") and sys.platform != "win32"
#: Frames from the student's process begin with the one, the supervisor's own with the other.
FROM_CELL, FROM_GUARD = b"S", b"G"
_POLL = 0.1
# Linux's own numbers: of namespaces, of mounts, of a process's switches.
_NEWNS, _NEWIPC, _NEWUSER, _NEWPID, _NEWNET = 0x20000, 0x8000000, 0x10000000, 0x20000000, 0x40000000
_MS_RDONLY, _MS_NOSUID, _MS_NODEV, _MS_REMOUNT = 1, 2, 4, 32
_MS_BIND, _MS_REC, _MS_PRIVATE = 4096, 16384, 1 << 18
_NO_NEW_PRIVS, _DUMPABLE, _SUBREAPER, _DEATH = 38, 4, 36, 1
_MB = 1024 * 1024
SCRATCH = "size=256m,nr_inodes=65536"
#: First of the user ids taken by submissions when root marks; each has its own, so that limits do not mix.
FIRST_UID = 61_100


class Gone(Exception):
    """The other end of a connection has gone."""


def send(link: socket.socket, data: bytes) -> None:
    """Send one frame. Raises Gone."""
    try:
        link.sendall(_LENGTH.pack(len(data)) + data)
    except OSError:
        raise Gone from None


def receive(link: socket.socket) -> bytes:
    """The next frame. Raises Gone when none comes any more, or when it is longer than ``MOST`` bytes."""
    (length,) = _LENGTH.unpack(_exactly(link, _LENGTH.size))
    if length > MOST:
        raise Gone
    return _exactly(link, length)


def _exactly(link: socket.socket, count: int) -> bytes:
    parts = []
    while count:
        try:
            part = link.recv(min(count, 1 << 20))
        except TimeoutError:
            raise
        except OSError:
            raise Gone from None
        if not part:
            raise Gone
        parts.append(part)
        count -= len(part)
    return b"".join(parts)


class Warm:
    """A warm process, started by ``command``; its standard input is the socket on which it is asked."""

    def __init__(self, command: list[str], environment: dict[str, str]) -> None:
        ours, theirs = socket.socketpair()
        self.control = ours
        self.process = subprocess.Popen(
            command,
            stdin=theirs.fileno(),
            stdout=subprocess.DEVNULL,
            stderr=None if os.environ.get("EQLIB_DEBUG") else subprocess.DEVNULL,
            env=environment,
            cwd="/",
            start_new_session=True,
        )
        theirs.close()

    def close(self) -> None:
        """End the process and every copy in its session."""
        self.control.close()
        try:
            os.killpg(self.process.pid, signal.SIGKILL)
        except (ProcessLookupError, PermissionError):
            self.process.kill()
        self.process.wait()


def open_copy(control: socket.socket, *beside: socket.socket) -> socket.socket:
    """Ask the warm process at the other end of ``control`` for a fresh copy. Raises Gone."""
    ours, theirs = socket.socketpair()
    try:
        socket.send_fds(control, [b"+"], [theirs.fileno(), *(other.fileno() for other in beside)])
    except OSError:
        ours.close()
        raise Gone from None
    finally:
        theirs.close()
    return ours


def serve(work: Callable[..., None]) -> None:
    """Fork a copy that does ``work`` with its connections, for every one asked for on standard input."""
    control = socket.socket(fileno=os.dup(0))
    quiet = os.open(os.devnull, os.O_RDWR)
    os.dup2(quiet, 0)
    os.close(quiet)
    # Copies are not waited for: the system takes them away when they end.
    signal.signal(signal.SIGCHLD, signal.SIG_IGN)
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    while True:
        try:
            said, handed, _, _ = socket.recv_fds(control, 1, 4)
        except OSError:
            return
        if not said:
            return
        if not handed:
            continue
        links = [socket.socket(fileno=number) for number in handed]
        if os.fork() == 0:
            _copy(control, links, work)
        for link in links:
            link.close()


def _copy(control: socket.socket, links: list[socket.socket], work: Any) -> None:
    status = 1
    try:
        control.close()
        signal.signal(signal.SIGCHLD, signal.SIG_DFL)
        work(*links)
        status = 0
    except Gone:
        status = 0
    except BaseException:  # noqa: BLE001 - a copy ends here, whatever happened in it
        if os.environ.get("EQLIB_DEBUG"):
            traceback.print_exc()
    finally:
        os._exit(status)


# -- a copy that is watched --------------------------------------------------------------------------------


def supervise(link: socket.socket, run: Callable[[socket.socket, dict], None]) -> None:
    """Shut one notebook in, pass its cells and outputs on, and end it when it takes too much.

    ``run(link, limits)`` runs the cells asked for through its link, in the process that is shut in.
    """
    job = json.loads(receive(link))
    limits = job["limits"]
    # Whatever a copy leaves behind becomes this process's child, so that it can be ended.
    _prctl(_SUBREAPER, 1)
    got = _unshare(job["isolated"])
    if got.files:
        got.files = _private_files(job["cover"], job["keep"])
        job["scratch"] = "/tmp"
    ours, theirs = socket.socketpair()
    first = os.fork()
    if first == 0:
        ours.close()
        link.close()
        _first_process(theirs, job, got, run)
    theirs.close()
    sealed = {**vars(got), "user": job["uid"] is not None and os.getuid() == 0}
    send(link, FROM_GUARD + json.dumps({"sealed": sealed}).encode())
    try:
        reason = _Guard(link, ours, first, limits).watch()
    finally:
        end_family(first)
    send(link, FROM_GUARD + json.dumps({"ended": reason}).encode())


class _Guard:
    """Between the marker and the student's process: passes on, counts, interrupts, ends."""

    def __init__(self, link: Any, inner: Any, first: int, limits: dict) -> None:
        self.link, self.inner, self.first, self.limits = link, inner, first, limits
        self.room = limits["result_mb"] * 1024 * 1024

    def watch(self) -> str:
        """Until the end: why it ended, or "" when all was asked for and answered."""
        end = time.monotonic() + self.limits["notebook_seconds"]
        look = 0.0
        while True:
            now = time.monotonic()
            if now > end:
                return (
                    f"it ran longer than {self.limits['notebook_seconds']:g} seconds in all and was stopped"
                )
            if now > look:
                look = now + _POLL
                if reason := self._too_much():
                    return reason
            ready, _, _ = select.select([self.link, self.inner], [], [], _POLL)
            if self.link in ready and not self._order():
                return ""
            if self.inner in ready:
                data = self.inner.recv(1 << 16)
                if not data:
                    return "one of its cells ended the program that was running it"
                self.room -= len(data)
                if self.room < 0:
                    return "it showed more than can be kept and was stopped"
                send(self.link, FROM_CELL + data)

    def _order(self) -> bool:
        """Do what the marker asks; False when it asks for the end."""
        try:
            order = receive(self.link)
        except Gone:
            return False
        if order == b"interrupt":
            for pid in family(self.first)[1:2] or [self.first]:
                _signal(pid, signal.SIGINT)
        elif order == b"end":
            return False
        else:
            with contextlib.suppress(Gone):
                send(self.inner, order)
        return True

    def _too_much(self) -> str:
        allowed = self.limits["total_memory_mb"] * 1024 * 1024
        pids = family(self.first)
        # Forks share most of what they seem to hold: count exactly, which is slow, only when the rough sum
        # is too much.
        if memory(pids) > allowed and memory(pids, exact=True) > allowed:
            return f"it used more than {self.limits['total_memory_mb']} MB of memory and was stopped"
        return ""


def family(pid: int) -> list[int]:
    """A process and everything under it, as /proc tells; only the process where there is no /proc."""
    found = [pid]
    for member in found:
        with contextlib.suppress(OSError, ValueError):
            for thread in os.listdir(f"/proc/{member}/task"):
                text = Path(f"/proc/{member}/task/{thread}/children").read_text("ascii")
                found += [int(child) for child in text.split() if int(child) not in found]
        if len(found) > 5000:
            break
    return found


def memory(pids: list[int], exact: bool = False) -> int:
    """Memory of these processes together, in bytes; 0 where there is no /proc."""
    total = 0
    for pid in pids:
        with contextlib.suppress(OSError, ValueError, IndexError):
            if exact:
                text = Path(f"/proc/{pid}/smaps_rollup").read_text("ascii")
                total += 1024 * int(text.split("Pss:", 1)[1].split()[0])
            else:
                total += 4096 * int(Path(f"/proc/{pid}/statm").read_text("ascii").split()[1])
    return total


def end_family(first: int) -> None:
    """Leave nothing behind: the first process of a namespace takes all others with it; orphans are ours."""
    for _ in range(100):
        pids = family(os.getpid())[1:]
        for pid in pids or [first]:
            _signal(pid, signal.SIGKILL)
        with contextlib.suppress(ChildProcessError):
            while os.waitpid(-1, os.WNOHANG)[0]:
                pass
            time.sleep(0.002)
            continue
        return


def _signal(pid: int, which: int) -> None:
    with contextlib.suppress(ProcessLookupError, PermissionError):
        os.kill(pid, which)


def _first_process(link: socket.socket, job: dict, got: Sealed, run: Callable) -> None:
    """The first of the new namespace: waits for the student's process; it runs nothing of theirs."""
    status = 1
    try:
        _prctl(_DEATH, signal.SIGKILL)
        os.setsid()
        if got.processes and got.files:
            _own_proc()
        _lay_out(job)
        _shed(job["uid"])
        child = os.fork()
        if child == 0:
            _prctl(_DEATH, signal.SIGKILL)
            _set_limits(job["limits"])
            try:
                run(link, job["limits"])
            except Gone:
                os._exit(0)
            finally:
                os._exit(1)
        link.close()
        signal.signal(signal.SIGINT, signal.SIG_IGN)
        while True:
            pid, _ = os.wait()
            if pid == child:
                break
        status = 0
    finally:
        os._exit(status)


def _lay_out(job: dict) -> None:
    """A folder of the notebook's own, with the files that lie beside it."""
    folder = Path(tempfile.mkdtemp(prefix="work-", dir=job["scratch"]))
    home = folder / ".home"
    home.mkdir()
    for name, text in job["files"].items():
        target = folder / name
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes(base64.b64decode(text))
    if job["uid"] is not None and os.getuid() == 0:
        for path in (folder, *folder.rglob("*")):
            os.chown(path, job["uid"], job["uid"], follow_symlinks=False)
    os.chdir(folder)
    os.environ.update(HOME=str(home), TMPDIR="/tmp" if os.access("/tmp", os.W_OK) else str(home))
    tempfile.tempdir = None


# -- and shut in -------------------------------------------------------------------------------------------


@dataclass
class Sealed:
    """What shutting in achieved: own processes, own files, no network, own user."""

    processes: bool = False
    files: bool = False
    network: bool = False
    user: bool = False


def _libc() -> Any:
    return ctypes.CDLL(None, use_errno=True)


def _prctl(option: int, value: int) -> None:
    """One of Linux's switches of a process; nothing elsewhere."""
    libc = _libc()
    if hasattr(libc, "prctl"):
        libc.prctl(option, value, 0, 0, 0)


def _unshare(isolated: bool) -> Sealed:
    """Take namespaces of our own, as many as may be had. ``isolated``: the network is cut off already."""
    got = Sealed(network=isolated)
    libc = _libc()
    if not sys.platform.startswith("linux") or not hasattr(libc, "unshare"):
        return got
    uid, gid = os.getuid(), os.getgid()
    if uid != 0:
        if libc.unshare(_NEWUSER | _NEWNS | _NEWPID | _NEWIPC | (0 if isolated else _NEWNET)) != 0:
            return got
        for name, text in (
            ("setgroups", "deny"),
            ("uid_map", f"{uid} {uid} 1"),
            ("gid_map", f"{gid} {gid} 1"),
        ):
            Path(f"/proc/self/{name}").write_text(text, "ascii")
        return Sealed(True, True, True, False)
    got.files = libc.unshare(_NEWNS) == 0
    got.processes = libc.unshare(_NEWPID | _NEWIPC) == 0
    got.network = isolated or libc.unshare(_NEWNET) == 0
    return got


def _private_files(cover: list[str], keep: list[str]) -> bool:
    """Scratch disks of our own, and empty ones over the folders to ``cover``, in which only ``keep`` is seen.

    True if all of it was done.
    """
    done = _mount("none", "/", None, _MS_REC | _MS_PRIVATE)
    held = [(path, os.open(path, os.O_PATH | os.O_DIRECTORY)) for path in keep if os.path.isdir(path)]
    scratch = dict.fromkeys(("/tmp", "/var/tmp", "/dev/shm"), f"{SCRATCH},mode=1777")
    for folder, how in {**dict.fromkeys(cover, "size=4m,mode=0755"), **scratch}.items():
        if not os.path.isdir(folder):
            continue
        done &= _mount("tmpfs", folder, "tmpfs", _MS_NOSUID | _MS_NODEV, how)
        for path, handle in held:
            if path.startswith(folder.rstrip("/") + "/"):
                os.makedirs(path, mode=0o755, exist_ok=True)
                done &= _mount(f"/proc/self/fd/{handle}", path, None, _MS_BIND | _MS_REC)
                _mount("none", path, None, _MS_REMOUNT | _MS_BIND | _MS_RDONLY)
    for _, handle in held:
        os.close(handle)
    return done


def _mount(source: str, target: str, kind: str | None, flags: int, data: str | None = None) -> bool:
    def coded(text: Any) -> Any:
        return None if text is None else os.fsencode(text)

    return _libc().mount(coded(source), coded(target), coded(kind), flags, coded(data)) == 0


def _own_proc() -> bool:
    """Let ``/proc`` show our own processes only. Called by the first process of the new namespace.

    In files of its own once more: the supervisor still has to see who is who from outside.
    """
    if _libc().unshare(_NEWNS) != 0:
        return False
    _mount("none", "/", None, _MS_REC | _MS_PRIVATE)
    return _mount("proc", "/proc", "proc", _MS_NOSUID | _MS_NODEV)


def _shed(uid: int | None) -> None:
    """Become the unprivileged ``uid`` for good (None: stay), and never gain anything by running a file."""
    if uid is not None and os.getuid() == 0:
        os.setgroups([])
        os.setresgid(uid, uid, uid)
        os.setresuid(uid, uid, uid)
    libc = _libc()
    if hasattr(libc, "capset"):
        # With what a user namespace of our own gave, what was covered could be uncovered.
        version_3 = 0x20080522
        libc.capset((ctypes.c_uint32 * 2)(version_3, 0), (ctypes.c_uint32 * 6)())
    _prctl(_NO_NEW_PRIVS, 1)
    _prctl(_DUMPABLE, 0)


def _set_limits(limits: dict) -> None:
    """Limits of each process; the sum over all of them is watched by the supervisor."""
    import resource  # of Unix only

    wanted = {
        "RLIMIT_AS": limits["memory_mb"] * _MB,
        "RLIMIT_FSIZE": limits["file_mb"] * _MB,
        "RLIMIT_CORE": 0,
        "RLIMIT_NOFILE": 512,
        "RLIMIT_NPROC": limits["processes"],
    }
    for name, value in wanted.items():
        which = getattr(resource, name, None)
        if which is None:
            continue
        _, hard = resource.getrlimit(which)
        if hard != resource.RLIM_INFINITY:
            value = min(value, hard)
        # macOS refuses some of them.
        with contextlib.suppress(ValueError, OSError):
            resource.setrlimit(which, (value, value))
