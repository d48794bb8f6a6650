"""Warm processes: a program that has imported everything, and forks a copy of itself for every job.

The one who asks holds one end of a pair of sockets (``Warm.open``) and speaks with the copy through it in
frames, each its length and then its bytes. The copy is gone when its job is done, and nothing it did is left
to the next.
"""

from __future__ import annotations

import os
import signal
import socket
import struct
import subprocess
import sys
from collections.abc import Callable
from typing import Any

_LENGTH = struct.Struct("!Q")
#: Longest frame that is read, in bytes.
MOST = 512 * 1024 * 1024
POSSIBLE = hasattr(os, "fork") and hasattr(socket, "send_fds") and sys.platform != "win32"


class Gone(Exception):
    """The other end of a connection has gone."""


def send(link: socket.socket, data: bytes) -> None:
    """Send one frame. Raises Gone."""
    try:
        link.sendall(_LENGTH.pack(len(data)) + data)
    except OSError:
        raise Gone from None


def receive(link: socket.socket, most: int = MOST) -> bytes:
    """The next frame. Raises Gone when none comes any more, or when it is longer than ``most`` bytes."""
    (length,) = _LENGTH.unpack(_exactly(link, _LENGTH.size))
    if length > most:
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

    def __init__(self, command: list[str], environment: dict[str, str], folder: str = "/") -> None:
        ours, theirs = socket.socketpair()
        self.control = ours
        self.process = subprocess.Popen(
            command,
            stdin=theirs.fileno(),
            stdout=subprocess.DEVNULL,
            stderr=None if os.environ.get("EQLIB_DEBUG") else subprocess.DEVNULL,
            env=environment,
            cwd=folder,
            start_new_session=True,
        )
        theirs.close()

    def open(self, *beside: socket.socket) -> socket.socket:
        """A connection to a fresh copy, which is given ``beside`` too. Raises Gone."""
        return open_copy(self.control, *beside)

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
            import traceback

            traceback.print_exc()
    finally:
        os._exit(status)
