"""Run one notebook: the program that runs *inside* the sandbox; see ``sandbox.py`` for what starts it.

It reads one JSON job on its standard input and writes one JSON line to its standard output as each cell ends.
What it writes is data from a process a student's code may have taken over: the reader treats it so.
"""

from __future__ import annotations

import asyncio
import base64
import json
import os
import resource
import subprocess
import sys
import tempfile
from pathlib import Path

#: How often a kernel that died is started again, so that one bad cell does not cost the cells after it.
MAX_RESTARTS = 2
#: How long an interrupted kernel has to show that it is listening again, in seconds.
GRACE = 4.0
TIMEOUT_NAME = "CellTimeout"
DEAD_NAME = "KernelDied"
NOT_RUN_NAME = "NotRun"
_MB = 1024 * 1024


def main() -> None:
    """Read the job, shed every privilege, run the cells."""
    # jsonschema builds a grammar of web addresses as it is imported, which takes longer than all the rest and
    # serves no notebook; without this module it leaves that out.
    sys.modules.setdefault("rfc3987_syntax", None)
    job = json.load(sys.stdin.buffer)
    sink = os.fdopen(os.dup(1), "w", encoding="utf-8")
    os.dup2(2, 1)
    shed_privileges(job["uid"])
    set_limits(job["limits"])
    folder = Path(tempfile.mkdtemp(prefix="work-"))
    os.chdir(folder)
    for name, text in job["files"].items():
        target = folder / name
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes(base64.b64decode(text))
    _copy_font_list(job.get("fonts"))
    asyncio.run(Runner(job, sink).run())


def shed_privileges(uid: int | None) -> None:
    """Become the unprivileged ``uid`` for good (None: stay who we are), and never gain anything by running a
    file.
    """
    if uid is not None and os.getuid() == 0:
        os.setgroups([])
        os.setresgid(uid, uid, uid)
        os.setresuid(uid, uid, uid)
    import ctypes

    no_new_privs, not_dumpable = 38, 4
    libc = ctypes.CDLL(None, use_errno=True)
    if hasattr(libc, "prctl"):
        libc.prctl(no_new_privs, 1, 0, 0, 0)
        libc.prctl(not_dumpable, 0, 0, 0, 0)


def set_limits(limits: dict) -> None:
    """Limits of each process; the sum over all of them is watched from outside."""
    wanted = {
        resource.RLIMIT_AS: limits["memory_mb"] * _MB,
        resource.RLIMIT_FSIZE: limits["file_mb"] * _MB,
        resource.RLIMIT_CORE: 0,
        resource.RLIMIT_NOFILE: 512,
        resource.RLIMIT_NPROC: limits["processes"],
    }
    for which, value in wanted.items():
        _, hard = resource.getrlimit(which)
        if hard != resource.RLIM_INFINITY:
            value = min(value, hard)
        resource.setrlimit(which, (value, value))


def _copy_font_list(folder: str | None) -> None:
    """matplotlib spends seconds listing fonts in a fresh home; a list made beforehand spares that."""
    target = Path(os.environ["MPLCONFIGDIR"])
    target.mkdir(parents=True, exist_ok=True)
    for source in sorted(Path(folder).glob("fontlist*.json")) if folder else ():
        (target / source.name).write_bytes(source.read_bytes())


class Runner:
    """One notebook's cells, run in order in one kernel."""

    def __init__(self, job: dict, sink):
        import nbformat

        self.notebook = nbformat.from_dict(job["notebook"])
        self.limits = job["limits"]
        self.only = None if job["only"] is None else set(job["only"])
        self.sink = sink
        #: Cells that came to their own end: run again after a restart, for what they define.
        self.ran: list[int] = []
        self.shown: list[int] = []
        self.restarts = 0

    async def run(self) -> None:
        """Run every code cell, starting the kernel anew when a cell killed it."""
        waiting = [
            index
            for index, cell in enumerate(self.notebook.cells)
            if cell.cell_type == "code" and cell.source.strip() and (self.only is None or index in self.only)
        ]
        while waiting:
            waiting = await self._session(waiting)
            if waiting and self.restarts >= MAX_RESTARTS:
                break
            self.restarts += 1
        for index in waiting:
            self._tell(
                index, NOT_RUN_NAME, [_error(NOT_RUN_NAME, "not run: an earlier cell ended the program")]
            )
        # Once more, because a later cell may have changed what an earlier one shows.
        for index in self.shown:
            self._tell(index, None, self.notebook.cells[index].outputs)

    async def _session(self, waiting: list[int]) -> list[int]:
        """Run what is ``waiting`` in a fresh kernel; give back what is still waiting when that kernel is
        gone.
        """
        client = make_client(self.notebook, self.limits)
        async with client.async_setup_kernel(stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL):
            for index in self.ran if self.restarts else ():
                await self._again(client, index)
            for position, index in enumerate(waiting):
                status = await self._one(client, index)
                self._tell(index, status, self.notebook.cells[index].outputs)
                self.shown.append(index)
                if status == DEAD_NAME:
                    return waiting[position + 1 :]
                if status is None:
                    self.ran.append(index)
        return []

    async def _one(self, client, index: int) -> str | None:
        """Run one cell: None if its end was ordinary (an error of its own included), else what went wrong."""
        from nbclient.exceptions import DeadKernelError

        cell = self.notebook.cells[index]
        client.begin()
        try:
            await client.async_execute_cell(cell, index)
        except (DeadKernelError, RuntimeError, OSError) as error:
            cell.outputs.append(_error(DEAD_NAME, f"this cell ended the program ({type(error).__name__})"))
            return DEAD_NAME
        if not client.timed_out:
            return None
        seconds = self.limits["cell_seconds"]
        line = f"this cell ran longer than {seconds:g} seconds and was stopped"
        cell.outputs = [o for o in cell.outputs if o.get("ename") != "KeyboardInterrupt"]
        cell.outputs.append(_error(TIMEOUT_NAME, line))
        if await client.listening(GRACE):
            return TIMEOUT_NAME
        await client.km.shutdown_kernel(now=True)
        return DEAD_NAME

    async def _again(self, client, index: int) -> None:
        """Run a cell once more after a restart, for what it defines; what it shows is already kept."""
        import copy

        original = self.notebook.cells[index]
        client.begin()
        await client.async_execute_cell(copy.deepcopy(original), index)
        # nbclient put its copy in the notebook.
        self.notebook.cells[index] = original

    def _tell(self, index: int, status: str | None, outputs: list) -> None:
        self.sink.write(json.dumps({"cell": index, "status": status, "outputs": outputs}) + "\n")
        self.sink.flush()


def _error(name: str, line: str) -> dict:
    import nbformat

    return nbformat.v4.new_output("error", ename=name, evalue=line, traceback=[f"{name}: {line}"])


def _client_class(limits: dict):
    """An nbclient client that keeps outputs small and notices a cell that had to be stopped."""
    from nbclient import NotebookClient
    from nbformat.v4 import new_output

    class CappedClient(NotebookClient):
        """Keeps at most ``limits['output_kb']`` of what one cell shows."""

        def begin(self) -> None:
            self.room = limits["output_kb"] * 1024
            self.timed_out = self.cut = False

        def output(self, outs, msg, display_id, cell_index):
            self.room -= len(json.dumps(msg["content"], default=str))
            if self.room >= 0:
                return super().output(outs, msg, display_id, cell_index)
            if not self.cut:
                self.cut = True
                outs.append(new_output("stream", name="stdout", text="\n[more than can be kept; cut here]\n"))
            return None

        def on_reply(self, **kwargs) -> None:
            self.timed_out = kwargs["execute_reply"]["content"].get("ename") == TIMEOUT_NAME

        async def listening(self, seconds: float) -> bool:
            request = self.kc.kernel_info()
            try:
                while True:
                    reply = await asyncio.wait_for(self.kc.get_shell_msg(timeout=None), seconds)
                    if reply["parent_header"].get("msg_id") == request:
                        return True
            except TimeoutError:
                return False

    return CappedClient


def make_client(notebook, limits: dict):
    """An nbclient client with our limits, its kernel not yet started."""
    from jupyter_client.manager import AsyncKernelManager

    client = _client_class(limits)(
        notebook,
        timeout=limits["cell_seconds"],
        interrupt_on_timeout=True,
        error_on_timeout={"ename": TIMEOUT_NAME, "evalue": "", "traceback": []},
        allow_errors=True,
        raise_on_iopub_timeout=False,
        iopub_timeout=4,
        startup_timeout=60,
        record_timing=False,
        kernel_name="python3",
        kernel_manager_class=AsyncKernelManager,
        extra_arguments=["--HistoryManager.hist_file=:memory:"],
        resources={"metadata": {"path": os.getcwd()}},
        shutdown_kernel="immediate",
    )
    client.config.KernelManager.transport = "ipc"
    client.on_cell_executed = client.on_reply
    client.begin()
    return client


if __name__ == "__main__":
    main()
