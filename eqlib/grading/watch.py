"""Start one sandboxed program, keep it within its limits, and read what it wrote as data."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import threading
import time
from dataclasses import dataclass, field

from eqlib.grading.settings import CELL_SECONDS

_POLL = 0.1


@dataclass(frozen=True)
class Limits:
    """What one submission may use. Seconds, megabytes (per process and all together), kilobytes of output
    per cell.
    """

    cell_seconds: float = CELL_SECONDS
    notebook_seconds: float = 180.0
    memory_mb: int = 2560
    total_memory_mb: int = 3584
    file_mb: int = 64
    processes: int = 160
    output_kb: int = 1000
    result_mb: int = 48


@dataclass(frozen=True)
class Executed:
    """What came back: outputs by cell number, what went wrong with a cell by number, and how it ended as a
    whole.
    """

    outputs: dict[int, list] = field(default_factory=dict)
    trouble: dict[int, str] = field(default_factory=dict)
    ended: str | None = None
    seconds: float = 0.0


class Watch:
    """One running job: reads its lines, keeps the time and the memory, and ends it when it takes too much."""

    def __init__(self, command, environment, job: bytes, limits: Limits, uid: int | None, home: str):
        self.limits = limits
        self.uid = uid
        self.job = job
        self.lines: list[bytes] = []
        self.taken = 0
        self.overflow = False
        self.seen: dict[int, object] = {}
        self.process = subprocess.Popen(
            command,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            env=environment,
            start_new_session=True,
            cwd=home,
        )

    def run(self) -> Executed:
        """Wait for the end, whatever it is, and read what came."""
        started = time.monotonic()
        reader = threading.Thread(target=self._read, daemon=True)
        writer = threading.Thread(target=self._write, daemon=True)
        reader.start()
        writer.start()
        ended = None
        while self.process.poll() is None and ended is None:
            reader.join(_POLL)
            ended = self._too_much(time.monotonic() - started)
        self._end()
        reader.join(5)
        writer.join(5)
        self.process.stdout.close()
        outputs, trouble = read_lines(self.lines)
        if ended is None and self.process.returncode:
            ended = "one of its cells ended the program that was running it"
        return Executed(outputs, trouble, ended, time.monotonic() - started)

    def _write(self) -> None:
        try:
            self.process.stdin.write(self.job)
            self.process.stdin.close()
        except OSError:
            # The program is gone already; its exit status says so.
            return

    def _read(self) -> None:
        room = self.limits.result_mb * 1024 * 1024
        for line in iter(lambda: self.process.stdout.readline(room), b""):
            self.taken += len(line)
            if self.taken > room:
                self.overflow = True
                return
            self.lines.append(line)

    def _too_much(self, seconds: float) -> str | None:
        if self.overflow:
            return "it showed more than can be kept and was stopped"
        if seconds > self.limits.notebook_seconds:
            return f"it ran longer than {self.limits.notebook_seconds:g} seconds in all and was stopped"
        allowed = self.limits.total_memory_mb * 1024 * 1024
        # Forks share most of what they seem to hold: count exactly, which is slow, only when the rough sum
        # is too much.
        if self._memory() > allowed and self._memory(exact=True) > allowed:
            return f"it used more than {self.limits.total_memory_mb} MB of memory and was stopped"
        return None

    def _memory(self, exact: bool = False) -> int:
        """Memory of the whole tree of processes, in bytes."""
        import psutil

        total = 0
        try:
            family = psutil.Process(self.process.pid).children(recursive=True)
        except psutil.Error:
            return 0
        for member in family:
            try:
                self.seen[member.pid] = member
                total += member.memory_full_info().pss if exact else member.memory_info().rss
            except psutil.Error:
                # It ended between being listed and being looked at.
                continue
        return total

    def _end(self) -> None:
        """Leave no process behind. Inside bubblewrap ending the first ends them all."""
        import psutil

        if self.process.poll() is None:
            self._signal_group()
        for member in self.seen.values():
            try:
                if self.uid is not None or member.is_running():
                    member.kill()
            except psutil.Error:
                # It is gone already.
                continue
        if self.uid is not None:
            _end_all_of(self.uid)
        self.process.wait()

    def _signal_group(self) -> None:
        try:
            os.killpg(self.process.pid, signal.SIGKILL)
        except ProcessLookupError:
            return


def _end_all_of(uid: int) -> None:
    """End whatever a notebook left running under its own user id, daemons included."""
    import psutil

    for process in psutil.process_iter(["uids"]):
        if process.info["uids"] and process.info["uids"].real == uid:
            try:
                process.kill()
            except psutil.Error:
                # It is gone already.
                continue


def read_lines(lines: list[bytes]) -> tuple[dict[int, list], dict[int, str]]:
    """The outputs and troubles in a runner's lines. A line that no runner writes is passed over."""
    outputs: dict[int, list] = {}
    trouble: dict[int, str] = {}
    for line in lines:
        try:
            said = json.loads(line)
            index, status, shown = said["cell"], said["status"], said["outputs"]
        except (ValueError, KeyError, TypeError, RecursionError):
            continue
        if type(index) is not int or type(shown) is not list:
            continue
        outputs[index] = [output for output in shown if _is_output(output)]
        if type(status) is str:
            trouble[index] = status[:40]
    return outputs, trouble


def _is_output(output) -> bool:
    """Is this an output as the notebook format has it?"""
    import nbformat
    from nbformat.validator import isvalid

    if type(output) is not dict:
        return False
    cell = {
        "cell_type": "code",
        "id": "x",
        "metadata": {},
        "execution_count": None,
        "source": "",
        "outputs": [output],
    }
    whole = {"cells": [cell], "metadata": {}, "nbformat": 4, "nbformat_minor": 5}
    try:
        return isvalid(nbformat.from_dict(whole))
    except (AttributeError, TypeError, ValueError, RecursionError):
        return False
