"""What a hostile cell meets. Each costs at most its own cell; nothing reaches the machine that marks."""

import os
import signal
import time

import pytest
from nbformat.v4 import new_code_cell, new_notebook

from eqlib.grading import sandbox
from eqlib.grading.sandbox import run_notebook
from eqlib.grading.watch import Limits, read_lines

pytestmark = pytest.mark.slow
LIMITS = Limits(cell_seconds=6, notebook_seconds=100)
needs_bubblewrap = pytest.mark.skipif(
    sandbox.isolation() != "bubblewrap", reason="bubblewrap is not installed or not permitted here"
)


def ran(*cells, files=None, limits=LIMITS):
    return run_notebook(new_notebook(cells=[new_code_cell(source) for source in cells]), files or {}, limits)


def said(done, index):
    """What a cell showed: the text of its results, and the names of its errors."""
    words = []
    for output in done.outputs.get(index, []):
        if output["output_type"] == "error":
            words.append(output["ename"])
        elif output["output_type"] == "stream":
            words.append(output["text"])
        else:
            words.append(output["data"].get("text/plain", ""))
    return " ".join(words)


def test_errors_loops_and_exits_cost_only_their_own_cell():
    done = ran(
        "x = 3",
        "while True: pass",
        "x + 1",
        "x +",
        "1 / 0",
        "import os; os._exit(0)",
        "x + 2",
        "import ctypes; ctypes.string_at(0)",
        "x + 3",
    )
    assert said(done, 1) == "CellTimeout"
    assert done.trouble[1] == "CellTimeout"
    assert said(done, 2) == "4"
    assert said(done, 3) == "SyntaxError"
    assert said(done, 4) == "ZeroDivisionError"
    assert said(done, 5) == "KernelDied"
    assert said(done, 6) == "5"
    assert said(done, 7) == "KernelDied"
    assert said(done, 8) == "6"
    assert done.ended is None


def test_a_loop_that_will_not_be_interrupted_is_ended():
    loop = "import time\nwhile True:\n  try:\n    time.sleep(0.01)\n  except KeyboardInterrupt:\n    pass"
    done = ran(loop, "'after'")
    assert "CellTimeout" in said(done, 0)
    assert said(done, 1) == "'after'"


def test_memory_and_floods_are_capped_and_the_notebook_goes_on():
    done = ran(
        "kept = []\nwhile True: kept.append(bytearray(10**8))",
        "del kept; 'after memory'",
        "for _ in range(3000): print('y' * 1000)",
        "open('big', 'wb').write(b'0' * 10**9)",
        "'after'",
        limits=Limits(cell_seconds=30, notebook_seconds=150),
    )
    assert said(done, 0) == "MemoryError"
    assert said(done, 1) == "'after memory'"
    assert len(str(done.outputs[2])) < 2_000_000
    assert "cut here" in said(done, 2)
    assert said(done, 3) == "OSError"
    assert said(done, 4) == "'after'"


def test_a_fork_bomb_stops_at_its_limit():
    bomb = """import os, time
n = 0
while True:
    try:
        child = os.fork()
    except OSError:
        break
    if child == 0:
        time.sleep(60)
        os._exit(0)
    n += 1
n < 1000"""
    started = time.monotonic()
    done = ran(bomb, limits=Limits(cell_seconds=20, notebook_seconds=40, processes=60))
    assert said(done, 0) == "True" or done.ended
    assert time.monotonic() - started < 60


@needs_bubblewrap
def test_nothing_of_the_machine_is_in_sight(tmp_path, monkeypatch):
    monkeypatch.setenv("EQLIB_TEST_SECRET", "instructor")
    secret = tmp_path / "gradebook.db"
    secret.write_text("marks", encoding="utf-8")
    done = ran(
        f"open({str(secret)!r}).read()",
        "open('/etc/passwd').read()",
        "import socket; socket.create_connection(('192.0.2.1', 80), timeout=3)",
        "import os; 'EQLIB_TEST_SECRET' in os.environ",
        "os.getuid() != 0 and len([p for p in os.listdir('/proc') if p.isdigit()]) < 12",
        "open('/proc/1/environ').read()",
        "os.setuid(0)",
        f"os.kill({os.getpid()}, 9)",
        "os.path.exists('/usr/left') or open('/usr/left', 'w')",
    )
    errors = {0: "FileNotFoundError", 2: "OSError", 7: "ProcessLookupError", 8: "OSError"}
    for index, name in errors.items():
        assert said(done, index) == name, index
    assert said(done, 1) in ("FileNotFoundError", "PermissionError")
    assert said(done, 3) == "False"
    assert said(done, 4) == "True"
    assert said(done, 5) in ("PermissionError", "FileNotFoundError")
    assert said(done, 6) == "PermissionError"


def test_files_beside_the_notebook_are_there_and_the_next_one_finds_nothing_left():
    first = ran("open('data.csv').read()", "open('left.txt', 'w').write('x')", files={"data.csv": b"1,2"})
    second = ran("import os, tempfile; os.listdir('.').count('left.txt')")
    assert said(first, 0) == "'1,2'"
    assert said(first, 1) == "1"
    assert said(second, 0) == "0"


def test_ending_the_program_around_it_ends_that_notebook_only():
    done = ran("import os, signal; os.kill(os.getppid(), signal.SIGKILL)", "'after'")
    assert done.ended
    assert said(ran("'next'"), 0) == "'next'"


def test_where_nothing_can_be_run_safely_nothing_is_run(monkeypatch):
    monkeypatch.setattr(sandbox, "isolation", lambda: "none")
    assert ran("1 + 1").outputs == {}
    assert "No code of the submissions was run" in sandbox.notice()


@pytest.mark.skipif(not sandbox._works([]), reason="this Python cannot be read by an unprivileged user")
def test_without_bubblewrap_an_ordinary_process_does_and_nothing_is_left_running(monkeypatch):
    monkeypatch.setattr(sandbox, "isolation", lambda: "process")
    daemon = "import subprocess\nd = subprocess.Popen(['sleep', '300'], start_new_session=True)\nd.pid"
    done = ran(daemon, "import os; os.getuid()")
    pid = int(said(done, 0))
    assert "bubblewrap" in sandbox.notice()
    if os.getuid() == 0:
        assert int(said(done, 1)) >= sandbox.FIRST_UID
        deadline = time.monotonic() + 5
        while time.monotonic() < deadline and _runs(pid):
            time.sleep(0.1)
        assert not _runs(pid)
    elif _runs(pid):
        os.kill(pid, signal.SIGKILL)


def _runs(pid):
    try:
        with open(f"/proc/{pid}/stat", encoding="ascii") as stat:
            return stat.read().rsplit(")", 1)[1].split()[0] != "Z"
    except OSError:
        return False


def test_lines_that_no_runner_writes_are_passed_over():
    good = (
        b'{"cell": 0, "status": null, "outputs": [{"output_type": "stream", "name": "stdout", "text": "x"}]}'
    )
    forged = [
        b"garbage\xff",
        b'{"cell": "0", "status": null, "outputs": []}',
        b'{"cell": 1, "status": null, "outputs": [{"output_type": "execute_result"}, 5]}',
        b"[" * 50_000,
    ]
    outputs, trouble = read_lines([*forged, good])
    assert outputs == {1: [], 0: [{"output_type": "stream", "name": "stdout", "text": "x"}]}
    assert trouble == {}
