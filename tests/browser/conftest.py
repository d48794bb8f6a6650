"""JupyterLab in headless Chromium, with every folder, port and setting of its own.

Set EQLIB_SCREENSHOTS to a folder to keep a picture of every stage.
"""

import json
import os
import shutil
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from contextlib import contextmanager
from pathlib import Path
from queue import Empty

import pytest
from jupyter_client import BlockingKernelClient

COURSE = Path(__file__).resolve().parents[2] / "notebooks"
ASSIGNMENT = "04-disturbing-an-equilibrium"
FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
#: JupyterLab throws this itself when a kernel is restarted before it has answered all (a busy machine).
OF_JUPYTERLAB = "Canceled future for"
BROKEN = ("model not found", "Error displaying widget", "Traceback", "Javascript Error")
LOADING = "Loading widget"
IDLE = """() => {
  const sign = document.querySelector('.jp-NotebookPanel-toolbar .jp-Notebook-ExecutionIndicator');
  const prompts = [...document.querySelectorAll('.jp-InputPrompt')];
  return sign && sign.dataset.status === 'idle' && !prompts.some(p => p.textContent.includes('*'));
}"""
#: The folded cells of a lesson have no prompt to look at: a first output tells as well.
STARTED = """() => {
  const sign = document.querySelector('.jp-NotebookPanel-toolbar .jp-Notebook-ExecutionIndicator');
  const outputs = document.querySelector('.jp-NotebookPanel .jp-OutputArea-output');
  const prompts = [...document.querySelectorAll('.jp-InputPrompt')];
  if (outputs || prompts.some(p => /\\[[*\\d]/.test(p.textContent))) return 'ran';
  return sign && sign.dataset.status !== 'idle' ? 'busy' : 'idle';
}"""
#: Every control, picture and table of our outputs that a screen reader could not name.
NAMELESS = """() => {
  const found = [];
  const say = (element, why) => found.push(why + ': ' + element.outerHTML.slice(0, 120));
  const page = document.querySelector('.jp-Notebook');
  const fields = '.eqlib-sheet input, .eqlib-sheet select, .eqlib-sheet textarea';
  for (const field of page.querySelectorAll(fields)) {
    const label = field.closest('label') || (field.id && page.querySelector(`label[for="${field.id}"]`));
    if (!(field.getAttribute('aria-label') || (label && label.textContent.trim()))) say(field, 'no label');
  }
  for (const button of page.querySelectorAll('.eqlib-sheet button')) {
    if (!button.textContent.trim()) say(button, 'no text');
  }
  for (const picture of page.querySelectorAll('.jp-OutputArea-output img')) {
    if (!picture.alt.trim()) say(picture, 'no alternative text');
  }
  for (const table of page.querySelectorAll('.eqlib-sheet table')) {
    if (!table.querySelector('th[scope]')) say(table, 'no headers');
  }
  return found;
}"""
#: Texts of our outputs whose contrast with what is behind them is under 4.5 to 1.
FAINT = """() => {
  const parts = colour => (colour.match(/[\\d.]+/g) || [0, 0, 0, 0]).map(Number);
  const light = ([r, g, b]) => [r, g, b].map(v => v / 255).map(
    v => v <= 0.03928 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4
  ).reduce((sum, v, i) => sum + v * [0.2126, 0.7152, 0.0722][i], 0);
  const behind = element => {
    for (let at = element; at; at = at.parentElement) {
      const colour = parts(getComputedStyle(at).backgroundColor);
      if (colour.length < 4 || colour[3] > 0.5) return colour;
    }
    return [255, 255, 255];
  };
  const found = [];
  for (const element of document.querySelectorAll('.eqlib-sheet *')) {
    const own = [...element.childNodes].some(node => node.nodeType === 3 && node.textContent.trim());
    if (!own || element.tagName === 'STYLE' || element.closest('[disabled]')) continue;
    if (!element.offsetParent) continue;
    const [a, b] = [light(parts(getComputedStyle(element).color)), light(behind(element))];
    const ratio = (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05);
    if (ratio < 4.5) found.push(ratio.toFixed(2) + ': ' + element.textContent.slice(0, 60));
  }
  return found;
}"""


def chromium():
    """The browser's path; without one there is nothing to test here, and the reason is printed."""
    found = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
    if found is None:
        pytest.skip("no Chromium on this machine (apt-get install chromium), so no browser test")
    return found


@pytest.fixture(scope="session")
def playwright_driver():
    """Playwright's driver, started once."""
    api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed, so no browser test")
    with api.sync_playwright() as driver:
        yield driver


@pytest.fixture(scope="session")
def browser(playwright_driver):
    """One headless Chromium."""
    started = playwright_driver.chromium.launch(executable_path=chromium(), args=FLAGS)
    yield started
    started.close()


@pytest.fixture(scope="session")
def released(tmp_path_factory):
    """The assignment as students get it: generated by nbgrader from a copy of the course."""
    course = tmp_path_factory.mktemp("course")
    shutil.copytree(COURSE / "source" / ASSIGNMENT, course / "source" / ASSIGNMENT)
    shutil.copy(COURSE / "nbgrader_config.py", course)
    done = subprocess.run(
        [sys.executable, "-m", "nbgrader", "generate_assignment", ASSIGNMENT, "--create", "--force"],
        cwd=course,
        env=own_folders(tmp_path_factory.mktemp("release")),
        capture_output=True,
        text=True,
        check=False,
    )
    folder = course / "release" / ASSIGNMENT
    assert (folder / f"{ASSIGNMENT}.ipynb").exists(), done.stderr
    return folder


def own_folders(scratch):
    """The environment in which Jupyter keeps everything under ``scratch``."""
    environment = dict(os.environ)
    for name in ("CONFIG_DIR", "DATA_DIR", "RUNTIME_DIR"):
        environment[f"JUPYTER_{name}"] = str(scratch / name.lower())
    for name in ("SETTINGS_DIR", "WORKSPACES_DIR"):
        environment[f"JUPYTERLAB_{name}"] = str(scratch / name.lower())
    environment |= {"IPYTHONDIR": str(scratch / "ipython"), "HOME": str(scratch)}
    # nbgrader calls a command that lies beside this Python.
    environment["PATH"] = os.pathsep.join([str(Path(sys.executable).parent), environment.get("PATH", "")])
    environment.pop("JUPYTERHUB_USER", None)
    quiet = scratch / "settings_dir" / "@jupyterlab" / "apputils-extension"
    quiet.mkdir(parents=True, exist_ok=True)
    settings = {"fetchNews": "false", "checkForUpdates": False}
    (quiet / "notification.jupyterlab-settings").write_text(json.dumps(settings), "utf-8")
    return environment


@contextmanager
def lab_server(folder, scratch):
    """A JupyterLab over ``folder`` on a port of its own; gives its address."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    log = scratch / "server.log"
    with log.open("w", encoding="utf-8") as stream:
        server = subprocess.Popen(
            [
                sys.executable,
                "-m",
                "jupyterlab",
                "--no-browser",
                "--allow-root",
                f"--ServerApp.port={port}",
                "--ServerApp.port_retries=0",
                "--IdentityProvider.token=",
                "--ServerApp.disable_check_xsrf=True",
                f"--ServerApp.root_dir={folder}",
                "--LabApp.extension_manager=readonly",
            ],
            cwd=folder,
            env=own_folders(scratch),
            stdout=stream,
            stderr=subprocess.STDOUT,
        )
        address = f"http://127.0.0.1:{port}"
        try:
            wait_for(address + "/api", server, log)
            yield address
        finally:
            server.terminate()
            server.wait(30)


def wait_for(address, server, log, seconds=240):
    """Until the server answers; its own words when it does not."""
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        try:
            with urllib.request.urlopen(address, timeout=2):
                return
        except (urllib.error.URLError, OSError):
            assert server.poll() is None, log.read_text("utf-8")
            time.sleep(0.1)
    raise AssertionError(f"JupyterLab did not answer in {seconds} s: {log.read_text('utf-8')}")


def ask(server, what, data=None, method=None):
    """The server's REST interface: ``data`` is posted as JSON; the answer, or None."""
    request = urllib.request.Request(f"{server}/api/{what}", method=method)
    if data is not None:
        request.data = json.dumps(data).encode()
        request.add_header("Content-Type", "application/json")
    with urllib.request.urlopen(request, timeout=240) as answer:
        text = answer.read()
    return json.loads(text) if text else None


class Desk:
    """One notebook open in JupyterLab, worked as a person would: menus, clicks, keys. ``address``: of its
    folder.
    """

    def __init__(self, page, address, path, runtime=None):
        self.page = page
        self.path, self.runtime = Path(path), runtime
        self.address = f"{address}/{self.path.name}"
        self.shots = 0
        self.errors, self.dialogs = [], []
        page.on("pageerror", lambda error: OF_JUPYTERLAB in str(error) or self.errors.append(str(error)))
        page.set_default_timeout(120_000)

    def open(self):
        """Open the notebook; wait for its kernel."""
        self.start_kernel()
        self.page.goto(self.address + "?reset")
        self.ready("opened")

    def start_kernel(self, seconds=240):
        """Start this notebook's kernel before its page is opened.

        On a busy machine JupyterLab gives up waiting for a kernel that it started itself, and asks which one
        to take.
        """
        if self.runtime is None:
            return
        server, _, place = self.address.partition("/lab/tree/")
        wanted = {"path": place, "name": self.path.name, "type": "notebook", "kernel": {"name": "python3"}}
        kernel = ask(server, "sessions", wanted)["kernel"]["id"]
        client = BlockingKernelClient(connection_file=str(self.runtime / f"kernel-{kernel}.json"))
        client.load_connection_file()
        client.start_channels(stdin=False, hb=False)
        end = time.monotonic() + seconds
        while True:
            client.kernel_info()
            try:
                client.get_shell_msg(timeout=5)
                break
            except Empty:
                assert time.monotonic() < end, "the kernel did not answer"
        client.stop_channels()

    def ready(self, stage):
        """Wait until nothing runs, then make sure that nothing on the page looks broken."""
        self.page.wait_for_selector(".jp-Notebook .jp-Cell")
        self.page.wait_for_function(IDLE)
        self.look(stage)

    def look(self, stage):
        """No dead form, no error, at this stage; a picture if wanted."""
        for _ in range(2):  # once more a moment later: drawing one cell may start another
            self.page.wait_for_function(f"() => !document.body.textContent.includes({LOADING!r})")
            self.page.wait_for_timeout(300)
        content = self.page.locator(".jp-Notebook").first.text_content()
        for word in BROKEN:
            assert word not in content, f"{stage}: the page says {word!r}"
        folder = os.environ.get("EQLIB_SCREENSHOTS")
        if folder:
            self.shots += 1
            self.page.screenshot(path=Path(folder) / f"{self.shots:02d}-{stage.replace(' ', '-')}.png")

    def tour(self, stage):
        """Scroll through the whole notebook, because JupyterLab draws a cell only once it is scrolled to."""
        cells = self.page.locator(".jp-Notebook .jp-CodeCell")
        for number in range(cells.count()):
            cells.nth(number).scroll_into_view_if_needed()
            self.page.wait_for_function(f"() => !document.body.textContent.includes({LOADING!r})")
            content = self.page.locator(".jp-Notebook").first.text_content()
            for word in BROKEN:
                assert word not in content, f"{stage}, cell {number}: the page says {word!r}"

    def nameless(self):
        """Controls, pictures and tables on the page that a screen reader could not name."""
        return self.page.evaluate(NAMELESS)

    def faint(self):
        """Texts of our outputs with too little contrast."""
        return self.page.evaluate(FAINT)

    def answer_dialogs(self):
        """What JupyterLab itself asks on a slow machine is answered with yes, and kept in ``dialogs``."""
        dialog = self.page.locator(".jp-Dialog")
        while dialog.count():
            self.dialogs.append(dialog.first.inner_text())
            print("JupyterLab asked:", self.dialogs[-1])
            dialog.first.locator(".jp-mod-accept").click()
            self.page.wait_for_timeout(5000)

    def menu(self, *labels):
        """Choose from the menu bar."""
        self.answer_dialogs()
        self.page.locator(".lm-MenuBar-itemLabel").get_by_text(labels[0], exact=True).click()
        self.page.locator(".lm-Menu-itemLabel").get_by_text(labels[1], exact=True).click()

    def run_all(self, stage):
        """Run, Run All Cells, in a notebook without outputs; wait until its last cell shows the receipt."""
        self.menu("Run", "Run All Cells")
        if not self.started():  # JupyterLab drops the command while the page and its kernel are still meeting
            self.menu("Run", "Run All Cells")
        self.page.get_by_text("questions are answered").first.wait_for(timeout=180_000)
        self.ready(stage)

    def started(self, quiet=8, most=120):
        """Has the run begun? An output, or a number beside a cell, says so; a kernel that is busy may only be
        meeting the page; one that then stays idle for ``quiet`` seconds was never told to run.
        """
        began = idle_since = time.monotonic()
        while time.monotonic() - idle_since < quiet and time.monotonic() - began < most:
            now = self.page.evaluate(STARTED)
            if now == "ran":
                return True
            if now == "busy":
                idle_since = time.monotonic()
            self.page.wait_for_timeout(200)
        return False

    def clear(self, stage):
        """Edit, Clear Outputs of All Cells."""
        self.menu("Edit", "Clear Outputs of All Cells")
        self.look(stage)

    def restart(self, stage):
        """Kernel, Restart Kernel, and yes."""
        self.menu("Kernel", "Restart Kernel…")
        self.page.locator(".jp-Dialog .jp-mod-accept").click()
        self.page.locator(".jp-Dialog").wait_for(state="detached")
        self.page.wait_for_timeout(500)
        self.ready(stage)

    def save(self):
        """Ctrl + S, until the file on the disk is newer than it was and whole."""
        before = self.path.stat().st_mtime_ns
        self.page.keyboard.press("Control+s")
        end = time.monotonic() + 30
        while self.path.stat().st_mtime_ns == before or not self.whole():
            assert time.monotonic() < end, "the notebook was not saved"
            self.page.wait_for_timeout(100)

    def save_with(self, names):
        """Save until the file holds an answer to all these: the page may still be on its way to the last."""
        self.save_until(lambda: all(f'"question": "{n}"' in json.dumps(self.content()) for n in names))

    def save_until(self, holds):
        """Save until ``holds()``."""
        for _ in range(30):
            self.save()
            if holds():
                return
            self.page.wait_for_timeout(1000)
        raise AssertionError("what was done last did not reach the notebook")

    def changes(self, place, was, seconds=60):
        """Wait until ``place`` reads otherwise than it did."""
        end = time.monotonic() + seconds
        while place.inner_text() == was:
            assert time.monotonic() < end, f"{was!r} stayed"
            self.page.wait_for_timeout(50)

    def theme(self, name):
        """Settings, Theme: "light" or "dark"."""
        self.menu("Settings", "Theme")
        self.page.locator(".lm-Menu-itemLabel").get_by_text(
            f"JupyterLab {name.capitalize()}", exact=True
        ).click()
        self.page.wait_for_function(
            "light => document.body.dataset.jpThemeLight === light", arg=str(name == "light").lower()
        )
        self.page.wait_for_timeout(500)

    def whole(self):
        """Is the file readable? The server writes it in place, so for a moment it is not."""
        try:
            self.content()
        except json.JSONDecodeError:
            return False
        return True

    def rename(self, name):
        """File, Rename Notebook."""
        self.menu("File", "Rename Notebook…")
        self.page.locator(".jp-Dialog input").fill(name)
        self.page.keyboard.press("Enter")
        self.page.locator(".jp-Dialog").wait_for(state="detached")
        self.path = self.path.with_name(name)
        end = time.monotonic() + 60
        while not self.path.exists():
            assert time.monotonic() < end, "the notebook was not renamed"
            self.page.wait_for_timeout(100)

    def reload(self, stage):
        """Load the page again."""
        self.page.reload()
        self.ready(stage)

    def panel(self, title):
        """The cell in which the question of this title stands, its panel live or asleep, scrolled to."""
        found = self.page.locator(
            ".jp-CodeCell", has=self.page.locator(".jp-OutputArea").get_by_text(title)
        ).first
        found.scroll_into_view_if_needed()
        return found

    def shows(self, title, words, seconds=60):
        """Wait until that cell shows ``words``; it is scrolled to again, for cells above it grow."""
        end = time.monotonic() + seconds
        while True:
            output = self.panel(title).locator(".jp-OutputArea").get_by_text(words)
            if any(found.is_visible() for found in output.all()):
                return
            shown = self.panel(title).inner_text()
            assert time.monotonic() < end, f"{title} never showed {words!r}; it shows {shown!r}"
            self.page.wait_for_timeout(200)

    def choose(self, title, **values):
        """Click a choice in each of these parts (part id -> value), or type into its field."""
        panel = self.panel(title)
        for part, value in values.items():
            for field in panel.locator(f"[name$='/{part}']").all():
                if field.get_attribute("type") == "text":
                    field.fill(value)
                elif field.get_attribute("value") == value:
                    field.locator("xpath=..").click()

    def press(self, title, words):
        """Press a button of that panel."""
        self.panel(title).get_by_role("button", name=words, exact=True).click()

    def press_where_it_is_seen(self, button, meanwhile="() => {}"):
        """The mouse goes to the button's lower edge, is pressed there and released, at that very place.

        A page that is still settling moves under a resting mouse: as an eye does, follow the button until the
        press, and not after it. ``meanwhile`` is done between press and release.
        """
        button.scroll_into_view_if_needed()
        while True:
            place = button.bounding_box()
            x, y = place["x"] + 20, place["y"] + place["height"] - 3
            self.page.mouse.move(x, y)
            if button.evaluate("(it, [x, y]) => it.contains(document.elementFromPoint(x, y))", [x, y]):
                break
        self.page.mouse.down()
        self.page.evaluate(meanwhile)
        self.page.wait_for_timeout(30)
        self.page.mouse.up()

    def run(self, title, stage):
        """Click on the cell of that question and press Shift + Enter."""
        self.panel(title).locator(".jp-Cell-inputCollapser, .jp-InputPrompt, .jp-Collapser").first.click()
        self.page.keyboard.press("Shift+Enter")
        self.page.wait_for_timeout(300)
        self.ready(stage)

    def content(self):
        """The notebook as it stands on the disk."""
        return json.loads(self.path.read_text("utf-8"))


@pytest.fixture(scope="session")
def lab(tmp_path_factory):
    """(address, folder, runtime folder) of one JupyterLab; each test gets a folder of its own in it."""
    folder = tmp_path_factory.mktemp("desks")
    scratch = tmp_path_factory.mktemp("lab")
    with lab_server(folder, scratch) as address:
        yield address, folder, scratch / "runtime_dir"


@pytest.fixture
def desk(browser, released, lab, request):
    """A student's copy of the released assignment, open in JupyterLab."""
    address, root, runtime = lab
    folder = root / request.node.name
    shutil.copytree(released, folder)
    page = browser.new_page(viewport={"width": 1200, "height": 900})
    yield Desk(page, f"{address}/lab/tree/{folder.name}", folder / f"{ASSIGNMENT}.ipynb", runtime)
    page.close()
    for session in ask(address, "sessions"):
        ask(address, f"sessions/{session['id']}", method="DELETE")
