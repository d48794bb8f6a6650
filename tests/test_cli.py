"""The command line: its help, its exit status, and errors of one plain line."""

import os
import re
import subprocess
import sys
import time
from pathlib import Path

import pytest

from eqlib import __version__, cli

# Kernels and notebooks are started by the demonstration: once, for all who look at it.
DEMO = pytest.mark.xdist_group("demo")


def status(capsys, *arguments):
    code = cli.run([str(argument) for argument in arguments])
    out, err = capsys.readouterr()
    return code, out, err


@pytest.mark.parametrize(
    "command", [[], ["demo"], ["new"], ["grade"], ["report"], ["export"], ["prep"], ["check"]]
)
def test_help(capsys, command):
    code, out, err = status(capsys, *command, "--help")
    assert (code, err) == (0, "")
    assert out.startswith("Usage: eqlib")


def test_no_command_shows_the_help_and_version_the_version(capsys):
    code, out, _ = status(capsys)
    assert code == 0
    for name in ("demo", "new", "grade", "report", "export", "prep", "check"):
        assert f"\n  {name}" in out
    assert status(capsys, "--version") == (0, f"eqlib {__version__}\n", "")


def test_help_is_quick_and_loads_nothing_heavy():
    code = "import sys\nfrom eqlib.cli import run\nrun(['--help'])\n"
    code += "print(sorted({'numpy', 'sympy', 'nbgrader', 'IPython', 'matplotlib'} & set(sys.modules)))"
    started = time.monotonic()
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "[]"
    assert time.monotonic() - started < 10


USAGE = [
    (["frobnicate"], "frobnicate"),
    (["grade", "only-one"], "assignment"),
    (["grade", "nowhere", "tiny"], "nowhere"),
    (["grade", ".", "tiny", "--jobs", "many"], "--jobs"),
    (["report", "nowhere", "tiny"], "nowhere"),
    (["export", "nowhere", "tiny"], "nowhere"),
    (["new", "course"], "folder"),
    (["check", "nowhere"], "nowhere"),
    (["prep", "no-such-system"], "no-such-system"),
]


@pytest.mark.parametrize(("arguments", "named"), USAGE)
def test_bad_usage_is_one_line_that_names_it_and_status_2(capsys, tmp_path, monkeypatch, arguments, named):
    monkeypatch.chdir(tmp_path)
    code, out, err = status(capsys, *arguments)
    assert (code, out) == (2, "")
    assert len(err.splitlines()) == 1
    assert named in err


def test_the_columns_of_an_export_are_listed_where_they_are_asked_for(capsys, tmp_path):
    """As the option's own help promises; no course is needed for it."""
    code, out, err = status(capsys, "export", tmp_path, "tiny", "--columns", "help")
    assert (code, err) == (0, "")
    assert {"id", "email", "percent", "questions"} <= set(out.strip().split(", "))


def test_a_folder_that_is_in_use_is_not_touched(capsys, tmp_path):
    (tmp_path / "mine.txt").write_text("mine", encoding="utf-8")
    code, _, err = status(capsys, "demo", tmp_path)
    assert code == 2
    assert "not empty" in err
    assert [path.name for path in tmp_path.iterdir()] == ["mine.txt"]


#: Everything that marks, on an installation that cannot.
MARKING = [
    *("demo d", "new course d", "grade . tiny", "report . tiny", "export . tiny", "practical class . tiny"),
    "grade . tiny --dask tcp://127.0.0.1:1",
]
WITHOUT = """import sys
sys.modules.update(dict.fromkeys(["nbformat", "nbgrader", "nbconvert", "sqlalchemy", "jsonschema"]))
from eqlib.cli import run
for line in sys.argv[1:]:
    print(run(line.split()), flush=True)
"""


def test_a_missing_extra_names_the_pip_command(tmp_path):
    """As after ``pip install .``; never the name in an index of packages, where it may be somebody else's."""
    command = [sys.executable, "-c", WITHOUT, *MARKING]
    done = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, check=False)
    assert done.stdout.split() == ["2"] * len(MARKING), done.stderr
    for line in done.stderr.splitlines():
        assert "which is not installed" in line
        assert "pip install '.[grading]'" in line
    assert len(done.stderr.splitlines()) == len(MARKING)
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize("group", ["new", "practical"])
def test_a_group_without_a_command_shows_its_help(capsys, group):
    code, out, err = status(capsys, group)
    assert (code, err) == (2, "")
    assert "Commands:" in out
    assert len(out.splitlines()) > 5


def test_an_unforeseen_error_is_one_line_too(capsys, monkeypatch):
    def broken(*_, **__):
        raise RuntimeError("first\nsecond")

    monkeypatch.delenv("EQLIB_DEBUG", raising=False)
    monkeypatch.setattr("eqlib.lab.prep.prep_sheet", broken)
    code, _, err = status(capsys, "prep", "iron-thiocyanate")
    assert code == 1
    assert err.splitlines() == ["eqlib: unexpected RuntimeError: first second; EQLIB_DEBUG=1 shows where"]


def test_prep_writes_a_page_with_the_wells(capsys, tmp_path):
    made = tmp_path / "prep.html"
    code, out, err = status(capsys, "prep", "iron-thiocyanate-silver", "--html", made)
    assert (code, err) == (0, "")
    assert "Written to" in out
    assert "white solid" in made.read_text(encoding="utf-8")


def test_prep_prints_stocks_and_the_safety_line(capsys):
    code, out, err = status(capsys, "prep", "iron-thiocyanate", "--groups", 5)
    assert (code, err) == (0, "")
    assert "5 groups" in out
    assert "local rules" in out


def test_check_says_what_does_not_hold_together(capsys, tmp_path):
    folder = tmp_path / "source" / "one"
    folder.mkdir(parents=True)
    text = '[assignment]\nid = "one"\ntitle = "x"\ncourse = "c"\ncolour = "red"\n[[question]]\nid = "q"\n'
    (folder / "questions.toml").write_text(text, encoding="utf-8")
    code, out, err = status(capsys, "check", tmp_path)
    assert (code, err) == (1, "")
    assert "questions.toml" in out
    assert "colour" in out


@pytest.fixture(scope="session")
def demonstration(tmp_path_factory):
    """The demonstration, run once as a stranger runs it: no environment activated, not on a terminal."""
    folder = tmp_path_factory.mktemp("demo") / "course"
    env = {key: value for key, value in os.environ.items() if not key.startswith("PYTEST")}
    env["PATH"] = "/usr/bin:/bin"
    started = time.monotonic()
    command = [sys.executable, "-m", "eqlib.cli", "demo", str(folder)]
    done = subprocess.run(command, capture_output=True, text=True, check=False, env=env, timeout=540)
    return folder, done, time.monotonic() - started


@DEMO
@pytest.mark.slow
def test_the_demonstration_marks_its_class(demonstration):
    folder, done, _ = demonstration
    assert done.returncode == 0, done.stderr
    assert done.stderr == ""
    assert "\x1b" not in done.stdout
    told = [line.strip() for line in done.stdout.splitlines()]
    broken = {"w21": "to read", "w22": "put back", "w23": "there twice", "w24": "recorded answers"}
    for student, words in broken.items():
        (line,) = [line for line in told if line.startswith(f"{student}:")]
        assert words in line
    assert "not_in_equation" in done.stdout
    assert "volume_ignored" in done.stdout
    marks = (folder / "reports" / "04-disturbing-an-equilibrium" / "marks.csv").read_text(encoding="utf-8")
    totals = {line.split(",")[0]: line for line in marks.splitlines()[1:]}
    assert len(totals) == 24
    assert all((folder / "feedback" / student).is_dir() for student in totals)
    assert Path(folder / "release/04-disturbing-an-equilibrium/04-disturbing-an-equilibrium.ipynb").is_file()


@DEMO
@pytest.mark.slow
def test_report_and_check_read_the_course_of_the_demonstration(demonstration, capsys):
    folder, _, _ = demonstration
    code, out, err = status(capsys, "report", folder, "04-disturbing-an-equilibrium")
    assert (code, err) == (0, "")
    assert "For the next lesson" in out
    reports = folder / "reports" / "04-disturbing-an-equilibrium"
    assert (reports / "class.md").is_file()
    page = (reports / "class.html").read_text(encoding="utf-8")
    # Six of the invented class said so of the silver drops, and the well would then have stayed orange.
    silver = page.partition("<h3>Silver ions</h3>")[2].partition("<h3>")[0]
    assert "What is not in the equation cannot do anything”: 6" in silver
    assert re.search(r'alt="[^"]*after: colourless; white solid[^"]*if that were so: [^";]*orange', silver)
    assert page.count("<img alt=") == page.count("<img") >= 12
    code, out, err = status(capsys, "check", folder, "--samples", 5)
    assert (code, err) == (0, ""), out


def test_the_command_to_open_the_assignment_works_in_the_persons_own_shell(monkeypatch):
    """Marking adds this installation's commands to PATH; the person's shell knows nothing of that."""
    import sys
    from pathlib import Path

    from eqlib import cli

    here = Path(sys.executable).parent
    monkeypatch.setenv("PATH", f"{here}:{Path('/usr/bin')}")
    monkeypatch.setattr(cli, "_SHELL_PATH", "/usr/bin")
    assert cli._jupyter().endswith("/jupyter")
    monkeypatch.setattr(cli, "_SHELL_PATH", str(here))
    assert cli._jupyter() == "jupyter"
