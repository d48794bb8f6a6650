"""Shut a copy of the warm process in before anything of a student's runs: processes, files, network, user.

``seal`` takes what the system permits and tells what it got; ``sandbox`` decides whether that is enough, and
says so. Linux only; elsewhere nothing of this is there, and that is said too.
"""

from __future__ import annotations

import contextlib
import ctypes
import os
import sys
from dataclasses import dataclass
from typing import Any

_NEWNS, _NEWIPC, _NEWUSER, _NEWPID, _NEWNET = 0x20000, 0x8000000, 0x10000000, 0x20000000, 0x40000000
_MS_BIND, _MS_REC, _MS_PRIVATE, _MS_NOSUID, _MS_NODEV, _MS_RDONLY, _MS_REMOUNT = (
    4096,
    16384,
    1 << 18,
    2,
    4,
    1,
    32,
)
_NO_NEW_PRIVS, _DUMPABLE, _SUBREAPER, _DEATH = 38, 4, 36, 1
_MB = 1024 * 1024
SCRATCH = "size=256m,nr_inodes=65536"
#: First of the user ids taken by submissions when root marks; each has its own, so that limits do not mix.
FIRST_UID = 61_100


@dataclass
class Sealed:
    """What shutting in achieved: own processes, own files, no network, own user."""

    processes: bool = False
    files: bool = False
    network: bool = False
    user: bool = False


def _libc() -> Any:
    return ctypes.CDLL(None, use_errno=True)


def prctl(option: int, value: int) -> None:
    """One of Linux's switches of a process; nothing elsewhere."""
    libc = _libc()
    if hasattr(libc, "prctl"):
        libc.prctl(option, value, 0, 0, 0)


def adopt_orphans() -> None:
    """Whatever a copy leaves behind becomes this process's child, so that it can be ended."""
    prctl(_SUBREAPER, 1)


def end_with_parent() -> None:
    """Be ended when the parent is."""
    prctl(_DEATH, 9)


def unshare(isolated: bool) -> Sealed:
    """Take namespaces of our own, as many as may be had. ``isolated``: the network is cut off already."""
    got = Sealed(network=isolated)
    libc = _libc()
    if not sys.platform.startswith("linux") or not hasattr(libc, "unshare"):
        return got
    uid, gid = os.getuid(), os.getgid()
    if uid != 0:
        if libc.unshare(_NEWUSER | _NEWNS | _NEWPID | _NEWIPC | (0 if isolated else _NEWNET)) != 0:
            return got
        _map_ids(uid, gid)
        return Sealed(True, True, True, False)
    got.files = libc.unshare(_NEWNS) == 0
    got.processes = libc.unshare(_NEWPID | _NEWIPC) == 0
    got.network = isolated or libc.unshare(_NEWNET) == 0
    return got


def _map_ids(uid: int, gid: int) -> None:
    for name, text in (("setgroups", "deny"), ("uid_map", f"{uid} {uid} 1"), ("gid_map", f"{gid} {gid} 1")):
        with open(f"/proc/self/{name}", "w", encoding="ascii") as file:
            file.write(text)


def private_files(cover: list[str], keep: list[str]) -> bool:
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


def own_proc() -> bool:
    """Let ``/proc`` show our own processes only. Called by the first process of the new namespace.

    In files of its own once more: the supervisor still has to see who is who from outside.
    """
    if _libc().unshare(_NEWNS) != 0:
        return False
    _mount("none", "/", None, _MS_REC | _MS_PRIVATE)
    return _mount("proc", "/proc", "proc", _MS_NOSUID | _MS_NODEV)


def shed(uid: int | None) -> None:
    """Become the unprivileged ``uid`` for good (None: stay), and never gain anything by running a file."""
    if uid is not None and os.getuid() == 0:
        os.setgroups([])
        os.setresgid(uid, uid, uid)
        os.setresuid(uid, uid, uid)
    _drop_capabilities()
    prctl(_NO_NEW_PRIVS, 1)
    prctl(_DUMPABLE, 0)


def _drop_capabilities() -> None:
    """Give up what a user namespace of our own gave: with it, what was covered could be uncovered."""
    libc = _libc()
    if hasattr(libc, "capset"):
        version_3 = 0x20080522
        libc.capset((ctypes.c_uint32 * 2)(version_3, 0), (ctypes.c_uint32 * 6)())


def set_limits(limits: dict) -> None:
    """Limits of each process; the sum over all of them is watched by the supervisor."""
    import resource

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
