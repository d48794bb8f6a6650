"""The cells of one student, run in IPython's own shell, in a copy of this process that is shut in.

Everything that this process sends comes from where a student's code has run, and is read as such: it can say
what its own cells showed and how they ended, nothing else. Loaded in the warm process only: what is imported
here is loaded for the copies, and a notebook still has to import what it uses.
"""

from __future__ import annotations

import builtins
import contextlib
import functools
import gc
import getpass
import importlib
import inspect
import json
import os
import pkgutil
import random
import signal
import socket
import sys
import tempfile
import types
from typing import Any

import pygments.lexer
import traitlets
from ipykernel.compiler import XCachingCompiler
from ipykernel.displayhook import ZMQShellDisplayHook
from ipykernel.zmqshell import ZMQDisplayPublisher, ZMQInteractiveShell
from IPython.core.error import StdinNotImplementedError
from traitlets.config import Config

from eqlib.grading.run import copies


class _Session:
    """Stands where ipykernel has its session: what would go to a browser goes into the link."""

    def __init__(self, cells: Any) -> None:
        self.cells = cells

    def msg(self, msg_type: Any, content: Any = None, *others: Any, **more: Any) -> Any:
        nothing: dict = {"parent_header": {}, "header": {}, "metadata": {}}
        return {"msg_type": msg_type, "content": content or {}, **nothing}

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


class _Compiler(XCachingCompiler):
    def get_code_name(self, *code: Any) -> str:
        name = super().get_code_name(*code)
        # No module has this file: said here, or each error looks through the files of all modules for it.
        inspect.modulesbyfile[name] = ""
        return name


class _Hook(ZMQShellDisplayHook):
    session = traitlets.Any()


class _Publisher(ZMQDisplayPublisher):
    session = traitlets.Any()


class _Shell(ZMQInteractiveShell):
    """IPython's shell as ipykernel makes it, without its sockets. Made once, before the copies are."""

    compiler_class = traitlets.Type(_Compiler)
    displayhook_class = traitlets.Type(_Hook)
    display_pub_class = traitlets.Type(_Publisher)

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


def _make_shell() -> Any:
    config = Config()
    config.HistoryManager.enabled = False
    config.HistoryAccessor.enabled = False
    return _Shell.instance(config=config)


def _connect(shell: Any, cells: Any) -> None:
    """What the shell would send to a browser goes to ``cells``."""
    shell.displayhook.session = shell.display_pub.session = _Session(cells)
    shell.displayhook.pub_socket = shell.display_pub.pub_socket = "link"


def _rehearse() -> None:
    """Run a cell that works and one that fails in a shell of their own, which is then forgotten.

    What the first of each loads and looks up takes half a second; done here, no copy has to do it again.
    """
    # Each error is coloured by a lexer made for it, whose lists of words are the same each time.
    pygments.lexer.regex_opt = functools.cache(pygments.lexer.regex_opt)
    shell = _make_shell()
    _connect(shell, types.SimpleNamespace(tell=lambda kind, content: None))
    for text in ("import math\nmath.pi", "def f(x):\n    assert x > 1, 'no'\nf(0)", "f("):
        shell.run_cell(text, store_history=True)
    _Shell.clear_instance()
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
        receive, run_one = copies.receive, self._one
        while True:
            run_one(json.loads(receive(self.link)))

    def _one(self, order: dict) -> None:
        restore, send = _restore, copies.send
        self.room = self.most
        if order["graded"]:
            restore(self.shell, self.pristine)
        ended: dict = {"status": "error", "ename": "Interrupted", "evalue": "", "traceback": []}
        try:
            signal.signal(signal.SIGINT, signal.default_int_handler)
            result = self.pristine["run_cell"](self.shell, order["source"], store_history=True)
            error = result.error_before_exec or result.error_in_exec
            silenced = getattr(self.shell, "_last_traceback_during_displayhook", False)
            if result.success is True and error is None and not silenced:
                ended = {"status": "ok"}
            else:
                shown = [str(line) for line in (self.shell._last_traceback or [])]
                ended.update(ename=type(error).__name__, evalue=str(error)[:2000], traceback=shown)
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
        copies.send(self.link, data)


class _Raw:
    """What is written past Python, to the file descriptors themselves, is shown too."""

    def __init__(self) -> None:
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
    shell = _Shell.instance()
    _connect(shell, cells)
    sys.stdout, sys.stderr = _Stream("stdout", cells), _Stream("stderr", cells)
    sys.displayhook = shell.displayhook
    random.seed()
    if numpy := sys.modules.get("numpy"):
        numpy.random.seed(None)
    builtins.input = _no_input  # type: ignore[assignment]  # it only raises
    getpass.getpass = _no_input  # type: ignore[assignment]  # likewise
    sys.argv = ["ipykernel_launcher"]
    if "" not in sys.path:
        sys.path.insert(0, "")
    return shell


def _no_input(prompt: Any = "") -> None:
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


def _run_cells(link: socket.socket, limits: dict) -> None:
    Cells(link, limits["output_kb"] * 1024).run()


def main() -> None:
    """The warm process: all that a notebook may import is imported; each that is run gets a copy."""
    for name in sys.argv[1].split(","):
        with contextlib.suppress(ImportError):
            importlib.import_module(name)
    # What notebooks call is imported too, by name: this room does not know that one.
    rooms = importlib.import_module("eqlib.notebook").__path__
    for found in pkgutil.walk_packages(rooms, "eqlib.notebook."):
        with contextlib.suppress(Exception):
            importlib.import_module(found.name)
    _rehearse()
    shell = _make_shell()
    with contextlib.suppress(ImportError):
        # A kernel does this when matplotlib is first used; here it is loaded already.
        from matplotlib_inline.backend_inline import configure_inline_support

        configure_inline_support(shell, os.environ.get("MPLBACKEND"))
    gc.freeze()
    copies.serve(lambda link: copies.supervise(link, _run_cells))


if __name__ == "__main__":
    main()
