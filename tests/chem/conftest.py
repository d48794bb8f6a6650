"""Worked examples from published texts, one test each.

``tests/reference/worked_examples.json`` holds 104 exercises: kind, source (book, section and module),
reactions, givens, the printed answer, its tolerance and a note. ``from_memory`` marks those recalled and
not seen in print; ``answer_origin`` says whether the answer is printed or was worked out by hand where the
book has none. A test module that defines ``HOW`` (kind -> function of the example) gets each example of
its kinds as ``example``.
"""

import importlib.util
import json
from pathlib import Path

import pytest

EXAMPLES = json.loads((Path(__file__).parents[1] / "reference" / "worked_examples.json").read_text("utf-8"))


def pytest_generate_tests(metafunc):
    how = getattr(metafunc.module, "HOW", None)
    if "example" in metafunc.fixturenames and how:
        chosen = [e for e in EXAMPLES if e["kind"] in how]
        metafunc.parametrize("example", chosen, ids=[e["id"] for e in chosen])


@pytest.fixture
def examples():
    """Every worked example."""
    return EXAMPLES


@pytest.fixture
def compare():
    """Compare computed answers with the printed ones, each within the example's own tolerance."""

    def compared(example, computed):
        printed = example["answer"]
        assert set(printed) <= set(computed), f"{example['id']}: {set(printed) - set(computed)} not computed"
        for key, wanted in printed.items():
            got = computed[key]
            where = f"{example['id']} ({example['source']}): {key}"
            if isinstance(wanted, str):
                assert got == wanted, f"{where}: {got!r}, printed {wanted!r}"
            elif key in example.get("abs_tol", {}):
                assert got == pytest.approx(wanted, abs=example["abs_tol"][key], rel=0), where
            else:
                assert got == pytest.approx(wanted, rel=example["rel_tol"], abs=0), where

    return compared


@pytest.fixture(scope="session")
def random_mixtures():
    """The module of random mixtures that the tests share with the long runs."""
    path = Path(__file__).parents[1] / "benchmarks" / "random_mixtures.py"
    spec = importlib.util.spec_from_file_location("random_mixtures", path)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module
