"""How long a person waits for a panel in JupyterLab: opening beside an empty notebook, 200 moves of a slider.

Run with the project's Python on a quiet machine (a few minutes). Prints medians and ratios; asserts nothing.
"""

import shutil
import statistics
import sys
import tempfile
import time
from pathlib import Path

import nbformat
from playwright.sync_api import sync_playwright

sys.path.insert(0, str(Path(__file__).parents[1] / "browser"))
import conftest as desks
from test_lesson import SILVER, predict, see

ROUNDS = 3
EMPTY = "print('questions are answered')"
MOVE = """async ([place, value]) => {
  const field = document.querySelectorAll('.eqlib-sheet input[type=range]')[place];
  const section = field.closest('.eqlib-sheet').querySelector('[data-section=tried]');
  const drawn = new Promise((done) => new MutationObserver(done).observe(section, { childList: true }));
  const start = performance.now();
  field.value = value;
  field.dispatchEvent(new Event('input', { bubbles: true }));
  await drawn;
  return performance.now() - start;
}"""
HEAP = "() => performance.memory.usedJSHeapSize / 1e6"


def opened(browser, address, path, usable):
    """Seconds from going to the page until all cells have run and ``usable`` is there; and the desk."""
    desk = desks.Desk(browser.new_page(viewport={"width": 1280, "height": 800}), address, path)
    start = time.perf_counter()
    desk.open()
    desk.menu("Run", "Run All Cells")
    while not desk.started(1):  # JupyterLab drops the command while the page and its kernel are still meeting
        desk.menu("Run", "Run All Cells")
    desk.page.locator(usable).first.wait_for()
    return time.perf_counter() - start, desk


def kernels():
    """MB held by each running kernel of this test."""
    found = []
    for entry in Path("/proc").glob("[0-9]*"):
        try:
            words = (entry / "cmdline").read_text()
            if "ipykernel" in words and tempfile.gettempdir() in words:
                size = next(x for x in (entry / "status").read_text().splitlines() if x.startswith("VmRSS"))
                found.append(int(size.split()[1]) / 1000)
        except (OSError, StopIteration):
            continue
    return found


def stop_kernels(server):
    """Stop what the last page left running: each opening starts a kernel of its own."""
    for session in desks.ask(server, "sessions"):
        desks.ask(server, f"sessions/{session['id']}", method="DELETE")


def main():
    """Print the figures."""
    scratch = Path(tempfile.mkdtemp())
    folder = scratch / "desk"
    shutil.copytree(desks.COURSE / "source" / desks.ASSIGNMENT, folder)
    lesson, empty = folder / f"{desks.ASSIGNMENT}.ipynb", folder / "empty.ipynb"
    same = nbformat.read(lesson, 4).metadata  # its kernel named, or JupyterLab stops to ask which one to take
    nbformat.write(nbformat.v4.new_notebook(cells=[nbformat.v4.new_code_cell(EMPTY)], metadata=same), empty)
    own = scratch / "own"
    own.mkdir()
    with desks.lab_server(scratch, own) as server, sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=desks.chromium(), args=desks.FLAGS)
        address = f"{server}/lab/tree/{folder.name}"
        opened(browser, address, empty, ".jp-OutputArea-output")[1].page.close()  # the server has warmed up
        waits = {empty: [], lesson: []}
        for number in range(ROUNDS):
            seconds, other = opened(browser, address, empty, ".jp-OutputArea-output")
            waits[empty].append(seconds)
            heap, light = other.page.evaluate(HEAP), kernels()
            other.page.close()
            stop_kernels(server)
            shutil.copy(lesson, folder / f"lesson-{number}.ipynb")
            usable = ".eqlib-sheet input[type=radio]"
            seconds, desk = opened(browser, address, folder / f"lesson-{number}.ipynb", usable)
            waits[lesson].append(seconds)
            desk.page.close()
            stop_kernels(server)
        bare, whole = (statistics.median(waits[path]) for path in (empty, lesson))
        print(
            f"first question usable {whole:.1f} s; an empty notebook {bare:.1f} s; ratio {whole / bare:.2f}"
            f" (medians of {ROUNDS}: {waits[lesson]}, {waits[empty]})"
        )
        browser.close()  # the slider as a student has it: a browser that has opened one lesson
        browser = driver.chromium.launch(executable_path=desks.chromium(), args=desks.FLAGS)
        desk = opened(browser, address, lesson, usable)[1]
        desk.page.get_by_text("questions are answered").first.wait_for()
        predict(desk, "silver")
        see(desk, "silver")
        desk.press(SILVER, "Try other amounts")
        desk.shows(SILVER, "Strength of the bottle")
        moves = []
        for number in range(200):
            moves.append(desk.page.evaluate(MOVE, [0, str(0.05 + 0.002 * (number * 37 % 200))]))
        moves.sort()
        print(f"slider {statistics.median(moves):.0f} ms median, {moves[189]:.0f} ms 95th percentile")
        print(f"page heap {desk.page.evaluate(HEAP):.0f} MB, of an empty notebook {heap:.0f} MB")
        print(f"kernel {max(kernels()):.0f} MB, of an empty notebook {min(light, default=0):.0f} MB")
        browser.close()


if __name__ == "__main__":
    main()
