"""Every TOML example in a docstring, the README or DEVELOPERS.md can be read: people copy them."""

import ast
import re
import textwrap
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
_TABLE = re.compile(r"^\s*\[\[?[A-Za-z]", re.MULTILINE)


def _docstrings(path):
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef):
            found = ast.get_docstring(node, clean=True)
            if found:
                yield found


def _blocks(text):
    """The indented blocks after a line that ends in "::"."""
    block, opened = [], False
    for line in [*text.splitlines(), "."]:
        if opened and (line.startswith("    ") or not line.strip()):
            block.append(line)
            continue
        if opened and block:
            yield textwrap.dedent("\n".join(block))
        block, opened = [], line.rstrip().endswith("::")


def examples():
    """(where, text) of everything documented that has a TOML table in it."""
    for path in sorted((ROOT / "eqlib").rglob("*.py")):
        for docstring in _docstrings(path):
            for block in _blocks(docstring):
                if _TABLE.search(block):
                    yield str(path.relative_to(ROOT)), block
    for name in ("README.md", "DEVELOPERS.md"):
        for block in re.findall(r"```toml\n(.*?)```", (ROOT / name).read_text("utf-8"), re.DOTALL):
            yield name, block


EXAMPLES = list(examples())


def test_the_two_file_formats_are_documented_by_an_example():
    homes = {where for where, _ in EXAMPLES}
    assert any(home.startswith("eqlib/assess/") for home in homes), "the question file"
    assert any(home.startswith("eqlib/chem/catalogue/") for home in homes), "a system of the catalogue"


@pytest.mark.parametrize(("where", "text"), EXAMPLES, ids=[where for where, _ in EXAMPLES])
def test_a_documented_example_is_valid_toml(where, text):
    tomllib.loads(text)
