"""How long each notebook is: opened in JupyterLab at 1280 x 800 and run; the height of its cells in windows.

python tests/browser/screens.py     (minutes; prints one line a notebook, for ``screens`` in pages.toml)

Not a test: lengths depend on the fonts of the machine. The released copies are as long as these.
"""

import shutil
import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
import conftest as desk_of
from playwright.sync_api import sync_playwright

WIDTH, HEIGHT = 1280, 800
CELLS = "() => [...document.querySelectorAll('.jp-Notebook .jp-Cell')].map(cell => cell.offsetHeight)"


def main() -> None:
    """Print the length of every notebook of the course."""
    source = desk_of.COURSE / "source"
    with tempfile.TemporaryDirectory() as scratch:
        desks, own = Path(scratch) / "desks", Path(scratch) / "lab"
        shutil.copytree(source, desks)
        settings = desk_of.own_folders(own)["JUPYTERLAB_SETTINGS_DIR"]
        whole = Path(settings) / "@jupyterlab" / "notebook-extension"
        whole.mkdir(parents=True)
        (whole / "tracker.jupyterlab-settings").write_text('{"windowingMode": "none"}', "utf-8")
        with desk_of.lab_server(desks, own) as address, sync_playwright() as driver:
            browser = driver.chromium.launch(executable_path=desk_of.chromium(), args=desk_of.FLAGS)
            for path in sorted(desks.glob("*/*.ipynb")):
                page = browser.new_page(viewport={"width": WIDTH, "height": HEIGHT})
                desk = desk_of.Desk(page, f"{address}/doc/tree/{path.parent.name}", path)
                desk.open()
                desk.run_all("measured")
                page.wait_for_timeout(1500)
                print(f"{path.stem}: {sum(page.evaluate(CELLS)) / HEIGHT:.1f} screens", flush=True)
                page.close()


if __name__ == "__main__":
    main()
