"""The cells of one student, run in IPython's own shell, in a copy that is shut in (``supervise``).

Everything that this process sends comes from where a student's code has run, and is read as such: it can say
what its own cells showed and how they ended, nothing else.
"""

from __future__ import annotations

import base64
import builtins
import contextlib
import json
import os
import select
import signal
import socket
import sys
import time
from pathlib import Path
from typing import Any

from eqlib.grading.run import seal, warm

#: Frames from the student's process begin with the one, the supervisor's own with the other.
FROM_CELL, FROM_GUARD = b"S", b"G"
_POLL = 0.1
#: The shell, made before the copies are.
_MADE: dict[str, Any] = {}


def supervise(link: socket.socket) -> None:
    """Shut one notebook in, pass its cells and outputs on, and end it when it takes too much."""
    job = json.loads(warm.receive(link))
    limits = job["limits"]
    seal.adopt_orphans()
    got = seal.unshare(job["isolated"])
    if got.files:
        got.files = seal.private_files(job["cover"], job["keep"])
        job["scratch"] = "/tmp"
    ours, theirs = socket.socketpair()
    first = os.fork()
    if first == 0:
        ours.close()
        link.close()
        _first_process(theirs, job, got)
    theirs.close()
    link_ready = {**vars(got), "user": job["uid"] is not None and os.getuid() == 0}
    warm.send(link, FROM_GUARD + json.dumps({"sealed": link_ready}).encode())
    try:
        reason = _Guard(link, ours, first, limits).watch()
    finally:
        end_family(first)
    warm.send(link, FROM_GUARD + json.dumps({"ended": reason}).encode())


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
                warm.send(self.link, FROM_CELL + data)

    def _order(self) -> bool:
        """Do what the marker asks; False when it asks for the end."""
        try:
            order = warm.receive(self.link)
        except warm.Gone:
            return False
        if order == b"interrupt":
            for pid in family(self.first)[1:2] or [self.first]:
                _signal(pid, signal.SIGINT)
        elif order == b"end":
            return False
        else:
            with contextlib.suppress(warm.Gone):
                warm.send(self.inner, order)
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


def _first_process(link: socket.socket, job: dict, got: seal.Sealed) -> None:
    """The first of the new namespace: waits for the student's process; it runs nothing of theirs."""
    status = 1
    try:
        seal.end_with_parent()
        os.setsid()
        if got.processes and got.files:
            seal.own_proc()
        folder = _lay_out(job)
        seal.shed(job["uid"])
        child = os.fork()
        if child == 0:
            seal.end_with_parent()
            seal.set_limits(job["limits"])
            _student(link, folder, job)
        link.close()
        signal.signal(signal.SIGINT, signal.SIG_IGN)
        while True:
            pid, _ = os.wait()
            if pid == child:
                break
        status = 0
    finally:
        os._exit(status)


def _lay_out(job: dict) -> str:
    """A folder of the notebook's own, with the files that lie beside it."""
    import tempfile

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
    return str(folder)


def _student(link: socket.socket, folder: str, job: dict) -> None:
    try:
        Cells(link, job["limits"]["output_kb"] * 1024).run()
    except warm.Gone:
        os._exit(0)
    finally:
        os._exit(1)


# The shell


class _Session:
    """Stands where ipykernel has its session: what would go to a browser goes into the link."""

    def __init__(self, cells: Any) -> None:
        self.cells = cells

    def msg(self, msg_type: Any, content: Any = None, *others: Any, **more: Any) -> Any:
        return {
            "msg_type": msg_type,
            "content": content or {},
            "parent_header": {},
            "header": {},
            "metadata": {},
        }

    def send(self, stream: Any, msg_or_type: Any, content: Any = None, *others: Any, **more: Any) -> Any:
        message = msg_or_type if isinstance(msg_or_type, dict) else self.msg(msg_or_type, content)
        self.cells.tell(message["msg_type"], message["content"])
        return message


class _Stream:
    """Standard output and standard error of the cells."""

    encoding, errors = "utf-8", "replace"

    def __init__(self, name: str, cells: Any) -> None:
        self.name, self.cells = name, cells

    def write(self, text: Any) -> int:
        if not isinstance(text, str):
            raise TypeError(f"write() argument must be str, not {type(text)}")
        self.cells.printed(self.name, text)
        return len(text)

    def writelines(self, lines: Any) -> None:
        for line in lines:
            self.write(line)

    def flush(self) -> None:
        self.cells.flush()

    def isatty(self) -> bool:
        return False

    def readable(self) -> bool:
        return False

    def writable(self) -> bool:
        return True

    def fileno(self) -> int:
        return 1 if self.name == "stdout" else 2

    @property
    def buffer(self) -> Any:
        return os.fdopen(os.dup(self.fileno()), "wb", buffering=0)


def make_shell() -> Any:
    """IPython's shell as ipykernel makes it, without its sockets. Made once, before the copies are."""
    from traitlets.config import Config

    config = Config()
    config.HistoryManager.enabled = False
    config.HistoryAccessor.enabled = False
    return _shell_class().instance(config=config)


def _shell_class() -> Any:
    import traitlets
    from ipykernel.displayhook import ZMQShellDisplayHook
    from ipykernel.zmqshell import ZMQDisplayPublisher, ZMQInteractiveShell

    class Hook(ZMQShellDisplayHook):
        session = traitlets.Any()

    class Publisher(ZMQDisplayPublisher):
        session = traitlets.Any()

    class Shell(ZMQInteractiveShell):
        compiler_class = traitlets.Type(_compiler_class())
        displayhook_class = traitlets.Type(Hook)
        display_pub_class = traitlets.Type(Publisher)

        def _tee(self, channel: Any) -> Any:
            # IPython would keep all that is printed in memory.
            return contextlib.nullcontext()

        def _format_exception_for_storage(self, exception: Any, *others: Any, **more: Any) -> dict:
            # Only a magic that writes notebooks would read it; it takes as long as showing the error does.
            return {"ename": type(exception).__name__, "evalue": "", "traceback": []}

        def enable_gui(self, gui: Any = None) -> None:
            self.active_eventloop = None

        def ask_exit(self) -> None:
            os._exit(0)

        def init_sys_modules(self) -> None:
            self.user_module.__name__ = "__main__"
            sys.modules["__main__"] = self.user_module

    return Shell


def _compiler_class() -> Any:
    import inspect

    from ipykernel.compiler import XCachingCompiler

    class Compiler(XCachingCompiler):
        def get_code_name(self, *code: Any) -> str:
            name = super().get_code_name(*code)
            # No module has this file: said here, or each error looks through the files of all modules for it.
            inspect.modulesbyfile[name] = ""
            return name

    return Compiler


def _rehearse() -> None:
    """Run a cell that works and one that fails in a shell of their own, which is then forgotten.

    What the first of each loads and looks up takes half a second; done here, no copy has to do it again.
    """
    import functools
    import types

    import pygments.lexer

    # Each error is coloured by a lexer made for it, whose lists of words are the same each time.
    pygments.lexer.regex_opt = functools.cache(pygments.lexer.regex_opt)
    shell = make_shell()
    nobody = _Session(types.SimpleNamespace(tell=lambda kind, content: None))
    shell.displayhook.session = shell.display_pub.session = nobody
    shell.displayhook.pub_socket = shell.display_pub.pub_socket = "link"
    for text in ("import math\nmath.pi", "def f(x):\n    assert x > 1, 'no'\nf(0)", "f("):
        shell.run_cell(text, store_history=True)
    type(shell).clear_instance()
    for name in ("last_exc", "last_type", "last_value", "last_traceback"):
        sys.__dict__.pop(name, None)


class Cells:
    """Runs one cell after another as they are asked for."""

    def __init__(self, link: socket.socket, most: int) -> None:
        self.link, self.most, self.room = link, most, most
        self.owner = os.getpid()
        self.text: list[tuple[str, str]] = []
        self.held = 0
        self.shell = _shell_of_this_copy(self)
        self.pristine = _snapshot(self.shell)
        self.raw = _Raw()

    def run(self) -> None:
        """Until the link is closed."""
        receive, run_one = warm.receive, self._one
        while True:
            run_one(json.loads(receive(self.link)))

    def _one(self, order: dict) -> None:
        restore, send = _restore, warm.send
        self.room = self.most
        if order["graded"]:
            restore(self.shell, self.pristine)
        ended: dict = {"status": "error", "ename": "Interrupted", "evalue": "", "traceback": []}
        try:
            signal.signal(signal.SIGINT, signal.default_int_handler)
            result = self.pristine["run_cell"](self.shell, order["source"], store_history=True)
            error = result.error_before_exec or result.error_in_exec
            if (
                result.success is True
                and error is None
                and not getattr(self.shell, "_last_traceback_during_displayhook", False)
            ):
                ended = {"status": "ok"}
            else:
                ended = {
                    "status": "error",
                    "ename": type(error).__name__,
                    "evalue": str(error)[:2000],
                    "traceback": [str(line) for line in (self.shell._last_traceback or [])],
                }
        except KeyboardInterrupt:
            ended["ename"] = "KeyboardInterrupt"
        except BaseException as error:  # noqa: BLE001 - a student's cell may raise anything
            ended.update(ename=type(error).__name__, evalue=str(error)[:2000])
        finally:
            signal.signal(signal.SIGINT, signal.SIG_IGN)
        if os.getpid() != self.owner:
            os._exit(0)
        self.raw.read(self)
        self.flush()
        ended["nonce"] = order["nonce"]
        ended["count"] = self.shell.execution_count - 1
        send(self.link, json.dumps({"reply": ended}, default=str).encode())

    def printed(self, name: str, text: str) -> None:
        """Something was printed; kept until there is enough of it to send."""
        if self.room <= 0 or not text:
            return
        if len(text) > self.room:
            text = text[: self.room]
        self.room -= len(text)
        self.held += len(text)
        self.text.append((name, text))
        if self.room <= 0:
            self.text.append(("stdout", "\n[more than can be kept; cut here]\n"))
        if self.held > 1 << 16:
            self.flush()

    def flush(self) -> None:
        """Send what was printed so far."""
        text, self.text, self.held = self.text, [], 0
        if os.getpid() != self.owner:
            return
        for name in dict.fromkeys(name for name, _ in text):
            joined = "".join(part for whose, part in text if whose == name)
            self._send("stream", {"name": name, "text": joined})

    def tell(self, kind: str, content: dict) -> None:
        """Something was shown."""
        self.flush()
        if os.getpid() != self.owner or self.room <= 0:
            return
        self._send(kind, content, counted=True)

    def _send(self, kind: str, content: dict, counted: bool = False) -> None:
        data = json.dumps({"type": kind, "content": content}, default=str).encode()
        if counted:
            self.room -= len(data)
            if self.room < 0:
                note = {"name": "stdout", "text": "\n[more than can be kept; cut here]\n"}
                data = json.dumps({"type": "stream", "content": note}).encode()
        warm.send(self.link, data)


class _Raw:
    """What is written past Python, to the file descriptors themselves, is shown too."""

    def __init__(self) -> None:
        import tempfile

        self.files = []
        for name, number in (("stdout", 1), ("stderr", 2)):
            file = tempfile.TemporaryFile(dir=".")  # noqa: SIM115 - it lives as long as the process
            os.dup2(file.fileno(), number)
            self.files.append((name, number, file))

    def read(self, cells: Cells) -> None:
        """Show what came since the last time, and forget it."""
        for name, number, _file in self.files:
            with contextlib.suppress(OSError):
                size = os.fstat(number).st_size
                if size:
                    data = os.pread(number, min(size, cells.most), 0)
                    os.ftruncate(number, 0)
                    os.lseek(number, 0, os.SEEK_SET)
                    cells.printed(name, data.decode("utf-8", errors="replace"))


def _shell_of_this_copy(cells: Cells) -> Any:
    """The shell made before the copy was, given this copy's link, streams, random numbers and folder."""
    import random

    shell = _MADE.get("shell") or make_shell()
    session = _Session(cells)
    shell.displayhook.session = shell.display_pub.session = session
    shell.displayhook.pub_socket = shell.display_pub.pub_socket = "link"
    sys.stdout, sys.stderr = _Stream("stdout", cells), _Stream("stderr", cells)
    sys.displayhook = shell.displayhook
    random.seed()
    if numpy := sys.modules.get("numpy"):
        numpy.random.seed(None)
    builtins.input = _no_input  # type: ignore[assignment]  # it only raises
    import getpass

    getpass.getpass = _no_input  # type: ignore[assignment]  # likewise
    sys.argv = ["ipykernel_launcher"]
    if "" not in sys.path:
        sys.path.insert(0, "")
    return shell


def _no_input(prompt: Any = "") -> None:
    from IPython.core.error import StdinNotImplementedError

    raise StdinNotImplementedError("raw_input was called, but this frontend does not support input requests.")


def _snapshot(shell: Any) -> dict:
    """The shell as it was before any cell of the student's ran."""
    parts = {"shell": shell, "transform": shell.input_transformer_manager, "compile": shell.compile}
    classes = {kind for part in parts.values() for kind in type(part).__mro__ if kind is not object}
    return {
        "classes": [(kind, dict(vars(kind))) for kind in classes],
        "parts": parts,
        "own": {
            name: {
                key: list(value) if isinstance(value, list) else value for key, value in vars(part).items()
            }
            for name, part in parts.items()
            if name != "shell"
        },
        "builtins": dict(vars(builtins)),
        "run_cell": type(shell).run_cell,
        "shell": dict(vars(shell)),
    }


def _restore(shell: Any, was: dict) -> None:
    """Before a cell that is graded: undo what would have it run otherwise than it is written.

    Transformers of its text or tree, another way of running it, a trace over it, changed built-in names.
    """
    sys.settrace(None)
    sys.setprofile(None)
    for kind, attributes in was["classes"]:
        for name, value in attributes.items():
            if vars(kind).get(name) is not value and not name.startswith("__"):
                with contextlib.suppress(AttributeError, TypeError):
                    setattr(kind, name, value)
    for name, attributes in was["own"].items():
        part = was["parts"][name]
        for key, value in attributes.items():
            with contextlib.suppress(AttributeError, TypeError):
                setattr(part, key, list(value) if isinstance(value, list) else value)
    for name, value in list(vars(shell).items()):
        if name not in was["shell"] and hasattr(type(shell), name):
            del shell.__dict__[name]
        elif callable(value) and name in was["shell"]:
            shell.__dict__[name] = was["shell"][name]
    shell.input_transformer_manager = was["parts"]["transform"]
    shell.compile = was["parts"]["compile"]
    shell.ast_transformers = []
    shell.input_transformers_post = []
    shell.ast_node_interactivity = "last_expr"
    vars(builtins).update(was["builtins"])


def main() -> None:
    """The warm process: all that a notebook may import is imported; each that is run gets a copy."""
    import importlib
    import pkgutil

    for name in sys.argv[1].split(","):
        with contextlib.suppress(ImportError):
            importlib.import_module(name)
    # What notebooks call is imported too, by name: this room does not know that one.
    rooms = importlib.import_module("eqlib.notebook").__path__
    for found in pkgutil.walk_packages(rooms, "eqlib.notebook."):
        with contextlib.suppress(Exception):
            importlib.import_module(found.name)
    _rehearse()
    shell = _MADE["shell"] = make_shell()
    with contextlib.suppress(ImportError):
        # A kernel does this when matplotlib is first used; here it is loaded already.
        from matplotlib_inline.backend_inline import configure_inline_support

        configure_inline_support(shell, os.environ.get("MPLBACKEND"))
    import gc

    gc.freeze()
    warm.serve(supervise)


if __name__ == "__main__":
    main()
