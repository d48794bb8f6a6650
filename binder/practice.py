"""Make practice copies of the notebooks: solutions cleared by nbgrader, answers told at once, no word of a
class.

python binder/practice.py [FOLDER]

FOLDER (default: notebooks/practice in this checkout) gets one folder an assignment and ``start.ipynb``, the
page
that shows the path. Notebooks that somebody worked in, and answers recorded there, are left as they are.
"""

from __future__ import annotations

import json
import re
import shutil
import sys
import tempfile
import tomllib
from pathlib import Path

import nbformat
from nbformat.v4 import new_code_cell, new_markdown_cell, new_notebook

ROOT = Path(__file__).resolve().parents[1]
COURSE = ROOT / "notebooks"
_MODE = re.compile(r'^mode = "assessed"$', re.MULTILINE)
#: Cells that speak of a class, of marks or of handing in carry this tag, or have one of these ids.
CLASS_TAG = "class"
CLASS_ONLY = {"student", "form-student", "marks", "hand-in"}
#: Sentences that do, in the cells and prompts that stay: pattern -> what stands there instead.
CLASS_WORDS = {
    r"\n*(Then type your id|Your id decides)[^\n]*(\n[^\n]+)*": "",
    r"Before you hand in": "Before you leave",
    r"A person reads your answer\.[^:]*:": "Read your answer once more. Is this in it:",
    r"Nothing here is marked\.": "Nothing here is recorded.",
}
KEEP = "# Take home, bring back\nfrom eqlib.notebook.keep import keep\n\nkeep()"
BEFORE_KEEP = (
    "This server forgets you when you have been away for a while. Click on the line below and press "
    "**Shift + Enter**: two buttons appear. **Take home what I did** puts your "
    "notebooks and everything recorded into one "
    "file. Another day, choose that file under **Bring it back**, and go on where you were."
)


def main(arguments: list[str]) -> int:
    """Make the copies and say where they are. 0, or 1 with one line when that failed."""
    if len(arguments) > 1 or arguments[:1] in (["-h"], ["--help"]):
        print(__doc__.strip())
        return 0 if len(arguments) == 1 else 2
    target = Path(arguments[0]) if arguments else COURSE / "practice"
    names = sorted(file.parent.name for file in (COURSE / "source").glob("*/questions.toml"))
    with tempfile.TemporaryDirectory() as scratch:
        problem = release(names, Path(scratch))
        if problem:
            print(problem, file=sys.stderr)
            return 1
        for name in names:
            for made in copy_out(Path(scratch) / "release" / name, target / name):
                print(made)
    print(landing(names, target))
    return 0


def release(names: list[str], course: Path) -> str:
    """Let nbgrader make the students' version of these under ``course``. "" or what went wrong."""
    import logging
    import os

    from nbgrader.apps import NbGraderAPI
    from traitlets.config import PyFileConfigLoader

    shutil.copytree(COURSE / "source", course / "source")
    shutil.copy(COURSE / "nbgrader_config.py", course)
    config = PyFileConfigLoader("nbgrader_config.py", path=str(course)).load_config()
    config.CourseDirectory.root = str(course)
    # nbgrader calls a command of this Python's by name.
    os.environ["PATH"] = os.pathsep.join([str(Path(sys.executable).parent), os.environ.get("PATH", "")])
    api = NbGraderAPI(config=config)
    api.log.setLevel(logging.ERROR)
    for name in names:
        done = api.generate_assignment(name, force=True, create=True)
        if not done["success"]:
            lines = [line for line in done.get("log", "").splitlines() if "ERROR" in line]
            return f"{name}: {lines[-1] if lines else 'nbgrader gave no reason'}"
    return ""


def copy_out(released: Path, target: Path) -> list[Path]:
    """Put the released files in ``target``, for practice. A notebook somebody worked in is left as it is."""
    target.mkdir(parents=True, exist_ok=True)
    made = []
    for path in sorted(released.iterdir()):
        there = target / path.name
        if path.suffix == ".ipynb":
            if there.exists():
                continue
            nbformat.write(for_practice(nbformat.read(path, as_version=4)), there)
        elif path.name == "questions.toml":
            there.write_text(questions_for_practice(path.read_text("utf-8"), target.name), "utf-8")
        else:
            shutil.copy(path, there)
        made.append(there)
    return made


def for_practice(book):
    """The notebook without what only a class needs, and with the two buttons that keep it."""
    cells = [
        cell
        for cell in book.cells
        if cell.id not in CLASS_ONLY and CLASS_TAG not in cell.metadata.get("tags", ())
    ]
    for cell in cells:
        if cell.cell_type == "markdown":
            cell.source = without_class(cell.source)
    place = next((n + 1 for n, cell in enumerate(cells) if cell.id == "receipt"), len(cells))
    cells[place:place] = keep_cells()
    book.cells = cells
    return book


def keep_cells() -> list:
    """The words, and the cell with the two buttons."""
    code = new_code_cell(KEEP, id="keep", metadata={"jupyter": {"source_hidden": True}})
    return [new_markdown_cell(BEFORE_KEEP, id="keep-words"), code]


def without_class(text: str) -> str:
    """``text`` without the sentences that only a class needs."""
    for pattern, instead in CLASS_WORDS.items():
        text = re.sub(pattern, instead, text, flags=re.DOTALL)
    return text


def questions_for_practice(text: str, name: str) -> str:
    """The question file in practice mode, with the hints that the instructor's folder keeps."""
    text = without_class(_MODE.sub('mode = "practice"', re.sub(r"^#.*\n", "", text, flags=re.MULTILINE)))
    beside = COURSE / "instructor" / f"{name}.toml"
    kept = tomllib.loads(beside.read_text("utf-8")) if beside.is_file() else {}
    for question, more in kept.items():
        if isinstance(more, dict) and more.get("hints"):
            line = f"hints = {json.dumps(more['hints'], ensure_ascii=False)}"
            text = re.sub(
                rf'^id = "{re.escape(question)}"$',
                lambda found, line=line: f"{found[0]}\n{line}",
                text,
                count=1,
                flags=re.MULTILINE,
            )
    return text


def landing(names: list[str], target: Path) -> Path:
    """Write ``start.ipynb``: the path, and the two buttons."""
    from eqlib.grading.guide import path_table

    words = (
        "# Chemical equilibrium, step by step\n\n"
        "Predict, do, see, explain: each notebook opens with a puzzle, and you commit yourself before "
        "you look. The chemistry is computed from real constants. "
        "Nobody programs, and there is no account. Begin at the top, or where you like.\n\n"
        + path_table(COURSE, names, link="{0}/{0}.ipynb")
    )
    cells = [new_markdown_cell(words, id="path"), *keep_cells()]
    book = new_notebook(cells=cells)
    book.metadata["kernelspec"] = {
        "display_name": "Python 3 (ipykernel)",
        "language": "python",
        "name": "python3",
    }
    there = target / "start.ipynb"
    nbformat.write(book, there)
    return there


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
