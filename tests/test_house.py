"""The house holds together: layers, a quick and clean import, no generated work in the repository."""

import json
import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]

TOP_LEVEL = {"README.md", "DEVELOPERS.md", "pyproject.toml", "notebooks", "eqlib", "tests", "binder"}


def run(code):
    return subprocess.run(
        [sys.executable, "-I", "-c", code], capture_output=True, text=True, check=False, timeout=120
    )


def tracked():
    listing = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=False)
    if listing.returncode:
        pytest.skip(f"not a git checkout: {listing.stderr.strip()}")
    return listing.stdout.splitlines()


def test_imports_flow_one_way():
    done = subprocess.run(
        [str(Path(sys.executable).with_name("lint-imports"))],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr


def test_import_loads_nothing_heavy_and_prints_nothing():
    heavy = [
        "sympy",
        "matplotlib",
        "scipy",
        "IPython",
        "ipywidgets",
        "nbgrader",
        "pint",
        "molmass",
        "coloraide",
    ]
    done = run(f"import eqlib, sys; print([m for m in {heavy} if m in sys.modules])")
    assert done.stdout.strip() == "[]"
    assert done.stderr == ""


def test_every_public_name_resolves():
    done = run("import eqlib\nfor n in eqlib.__all__: getattr(eqlib, n)")
    assert done.returncode == 0, done.stderr
    assert done.stderr == ""


def test_top_level_is_the_agreed_one():
    top = {path.split("/")[0] for path in tracked()}
    assert {name for name in top if not name.startswith(".")} == TOP_LEVEL


def test_source_notebooks_carry_no_output():
    notebooks = list((ROOT / "notebooks" / "source").glob("**/*.ipynb"))
    assert notebooks
    for path in notebooks:
        for cell in json.loads(path.read_text(encoding="utf-8"))["cells"]:
            assert not cell.get("outputs"), f"{path.name}: a cell was committed with output"
            assert cell.get("execution_count") is None, (
                f"{path.name}: a cell was committed with an execution count"
            )


def test_no_machine_path_or_registry_host_in_the_tree():
    # Assembled so that this file does not find itself.
    banned = re.compile(
        "|".join(["/wor" + "k/", "/hom" + "e/[a-z]", "/roo" + "t/", "pypi" + r"\.org", "python" + "hosted"])
    )
    for name in tracked():
        path = ROOT / name
        if path.suffix in {".png", ".svg", ".db"} or not path.exists():
            continue
        for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), 1):
            assert not banned.search(line), f"{name}:{number}: {line.strip()[:100]}"


def test_modules_stay_readable():
    """A file holds one idea in up to 600 lines; past that, split it."""
    for path in (ROOT / "eqlib").rglob("*.py"):
        lines = len(path.read_text(encoding="utf-8").splitlines())
        assert lines <= 600, f"{path.relative_to(ROOT)} has {lines} lines; split it"
