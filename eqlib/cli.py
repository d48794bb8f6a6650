"""The ``eqlib`` command: demo, new, grade, report, export, prep, practical, check, guide.

Exit status: 0 all well; 1 something to look at; 2 used in a way that cannot work. Errors are one plain line.
"""

from __future__ import annotations

import contextlib
import functools
import importlib
import json
import os
import shlex
import shutil
import sys
import time
import warnings
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated, Any

import typer
import typer.core

from eqlib import __version__
from eqlib.errors import EqlibError
from eqlib.writing import write_atomically

LOOK, USAGE = 1, 2
DEFAULT_DEMO = Path("demo-course")
#: Columns of a table when nobody's terminal says how wide it is.
WIDE = 150

_SHELL_PATH = os.environ.get("PATH", "")

app = typer.Typer(
    add_completion=False,
    no_args_is_help=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    help="Teaching chemical equilibrium: prepare the bench, check a course, mark a class, see what to teach.",
)


class UsageError(EqlibError):
    """Something on the command line that cannot work; the message says what and how to mend it."""


def main(arguments: list[str] | None = None) -> None:
    """Run the command; ends the program with its exit status."""
    sys.exit(run(arguments))


def run(arguments: list[str] | None = None) -> int:
    """Run the command and give its exit status. Prints at most one line for an error."""
    # Libraries warn about each other; what matters to an instructor is said by the commands themselves.
    warnings.simplefilter("ignore")
    try:
        status = app(args=arguments, standalone_mode=False, prog_name="eqlib")
        sys.stdout.flush()
        return status if isinstance(status, int) else 0
    except typer.Exit as leaving:
        return leaving.exit_code
    except (typer.Abort, KeyboardInterrupt):
        return _complain("stopped; what was finished is kept, and the command can be run again", LOOK)
    except BrokenPipeError:
        # The reader of our output (head, less) has gone; nothing more can be said to it.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return LOOK
    except EqlibError as error:
        return _complain(str(error), USAGE if _is_usage(error) else LOOK)
    except Exception as error:
        if hasattr(error, "format_message"):
            # Typer's own complaints about the arguments; their class differs between its versions. Where a
            # command of a group is missing, it is the group's help.
            said = error.format_message()
            if said.startswith("Usage:"):
                print(said)
                return USAGE
            return _complain(f"{said.rstrip('.')}; `eqlib --help` shows how it is used", USAGE)
        if os.environ.get("EQLIB_DEBUG"):
            raise
        said = " ".join(str(error).split())[:300]
        return _complain(f"unexpected {type(error).__name__}: {said}; EQLIB_DEBUG=1 shows where", LOOK)


def _complain(line: str, status: int) -> int:
    print(f"eqlib: {' '.join(line.split())}", file=sys.stderr)
    return status


def _is_usage(error: EqlibError) -> bool:
    return type(error).__name__ in ("UsageError", "CourseError", "DemoError", "PrepError", "ClusterError")


def _room(module: str, extra: str = "grading") -> Any:
    """A module of the library, or one beside it, loaded where its command is given.

    All of them take two seconds to load, and `eqlib --help` a third of one. Raises UsageError naming the pip
    command that brings what is missing: ``extra`` is the optional part that has it.
    """
    try:
        return importlib.import_module(module)
    except ModuleNotFoundError as error:
        if (error.name or "").split(".")[0] == "eqlib":
            raise
        raise UsageError(
            f"this needs {error.name}, which is not installed; in the folder of eqlib's files run: "
            f"pip install '.[{extra}]'"
        ) from None


def _console() -> Any:
    # Loaded here: a fifth of a second that the help does not need.
    from rich.console import Console

    console = Console(highlight=False, markup=False, emoji=False)
    return console if console.is_terminal else Console(highlight=False, markup=False, emoji=False, width=WIDE)


@contextlib.contextmanager
def _progress(console: Any, what: str, plain: bool = False) -> Iterator[Any]:
    """``report(done, of, name)``: a bar on a terminal; elsewhere nothing, or (``plain``) a line a quarter."""
    if not console.is_terminal:

        def quarter(done: Any, of: Any, name: Any = "") -> None:
            if plain and done * 4 // of > (done - 1) * 4 // of:
                _line(console, f"  {done} of {of}")
                sys.stdout.flush()

        yield quarter
        return
    # Loaded here, as the console is.
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn
    from rich.progress import TimeRemainingColumn as Left

    rate = TextColumn("{task.fields[rate]}")
    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeElapsedColumn(), rate)
    with Progress(*columns, Left(), console=console, transient=True) as bar:
        task = bar.add_task(what, total=None, rate="")
        started = time.monotonic()

        def tell(done: Any, of: Any, name: Any = "") -> None:
            rate = f"{done / max(time.monotonic() - started, 0.1):.1f}/s, left"
            bar.update(task, completed=done, total=of, description=f"{what} {name}".strip(), rate=rate)

        yield tell


def _line(console: Any, text: str = "") -> None:
    """One line that is never broken in two, whatever the width."""
    console.print(text, soft_wrap=True)


def _version(wanted: bool) -> None:
    if wanted:
        print(f"eqlib {__version__}")
        raise typer.Exit


@app.callback(invoke_without_command=True)
def start(
    context: typer.Context,
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Show the version.")
    ] = False,
) -> None:
    """Show the help when no command is given."""
    if context.invoked_subcommand is None:
        print(context.get_help())


Jobs = Annotated[
    int | None,
    typer.Option("--jobs", "-j", min=1, max=256, help="How many to run at once [one a processor]."),
]


@app.command(short_help="See the whole path once, on an invented class.")
def demo(
    folder: Annotated[Path, typer.Argument(help="A new folder for the course.")] = DEFAULT_DEMO,
    jobs: Jobs = None,
) -> None:
    """See the whole path once: an assignment released, answered by an invented class, and marked."""
    made = _room("eqlib.grading.demo")
    summary = _room("eqlib.grading.summary")
    record = _room("eqlib.notebook.record")
    console = _console()
    with _progress(console, "Marking", plain=True) as progress:
        say = functools.partial(_line, console)
        done = made.demo(folder, jobs, record.kept_bundle, say=say, progress=progress)
    console.print(summary.terminal_table(done.marking, "Marks of an invented class (nobody real)"))
    _say_problems(console, done.marking)
    _line(console)
    _line(console, "The two commonest misconceptions (answers were consistent with them):")
    for line in done.report.mistakes[:2]:
        _line(console, f"  {line.id}: {line.title} ({line.count} students, in {', '.join(line.questions)})")
    _line(console)
    shown = _shown(done.folder)
    _line(console, f"Marks (CSV):  {_shown(done.marking.marks_csv)}")
    _line(console, f"Class report: {_shown(done.report.folder / 'class.html')}")
    _line(console, f"Feedback:     {shown}/feedback/<id>/{done.marking.assignment}/")
    _line(console, f"Notebooks:    {shown}/submitted/<id>/ as handed in, {shown}/autograded/<id>/ marked")
    _line(console, f"Open the assignment:  {_jupyter()} lab {shlex.quote(_shown(done.notebook))}")


@app.command(short_help="Mark every submission of an assignment.")
def grade(
    course: Annotated[Path, typer.Argument(help="The course folder, with nbgrader_config.py and source/.")],
    assignment: Annotated[str, typer.Argument(help="The assignment, as its folder in source/ is called.")],
    jobs: Jobs = None,
    feedback: Annotated[bool, typer.Option(help="Also write the feedback pages.")] = True,
    force: Annotated[bool, typer.Option("--force", help="Mark again what has not changed.")] = False,
    only: Annotated[
        list[str] | None, typer.Option("--only", help="Mark this student only (repeatable).")
    ] = None,
    require_sandbox: Annotated[
        bool, typer.Option("--require-sandbox", help="Stop rather than run code outside bubblewrap.")
    ] = False,
    quiet: Annotated[bool, typer.Option("--quiet", "-q", help="Say only what needs a look.")] = False,
    log: Annotated[
        Path | None, typer.Option("--log", help="A file for one line of JSON a submission.")
    ] = None,
    dask: Annotated[
        str | None, typer.Option("--dask", help="The address of a Dask cluster to mark on.")
    ] = None,
) -> int:
    """Mark the submissions of an assignment: those that are new, changed or not finished.

    Marks and comments given by hand are kept. A marking that was stopped goes on where it was.
    """
    bulk = _room("eqlib.grading.bulk")
    more = {"force": force, "only": only or (), "require_sandbox": require_sandbox}
    if dask is not None:
        _room("distributed", "dask")
        more["desk_for"] = _room("eqlib.grading.desk", "dask").desk_at(dask)
    console = _console()
    with contextlib.ExitStack() as open_things:
        progress = None if quiet else open_things.enter_context(_progress(console, "Marking"))
        if log is not None:
            more["log"] = open_things.enter_context(_json_log(log))
        made = bulk.grade(course, assignment, jobs=jobs, progress=progress, feedback=feedback, **more)
    if not quiet:
        console.print(bulk.summary.terminal_table(made, f"{assignment}: marks"))
    for line in made.notices:
        _line(console, line)
    _say_problems(console, made)
    if made.absent:
        _line(console, f"Nothing handed in ({len(made.absent)}): {', '.join(made.absent)}")
    kept = f", {made.kept} of them before and unchanged" if made.kept else ""
    _line(
        console,
        f"{len(made.marked)} of {len(made.rows)} marked{kept}, in {made.seconds:.0f} s. Marks: "
        f"{_shown(made.marks_csv)}",
    )
    if made.stopped:
        _line(
            console,
            "What is in the table above is safe in the gradebook; the rest was not begun or not saved.",
        )
        raise EqlibError(f"stopped: {made.stopped}")
    return LOOK if made.problems else 0


@contextlib.contextmanager
def _json_log(path: Path) -> Iterator[Any]:
    """``record(event, **facts)``: one line of JSON each, with the time, in a file of the owner's only."""
    handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600)
    with os.fdopen(handle, "a", encoding="utf-8") as stream:

        def record(event: str, **facts: Any) -> None:
            line = {"at": datetime.now(UTC).isoformat(timespec="milliseconds"), "event": event, **facts}
            stream.write(json.dumps(line, ensure_ascii=False) + "\n")
            stream.flush()

        yield record


@app.command(short_help="Write the marks for a learning platform.")
def export(
    course: Annotated[Path, typer.Argument(help="The course folder.")],
    assignment: Annotated[str, typer.Argument(help="An assignment that has been marked.")],
    columns: Annotated[
        str | None, typer.Option(help="Which columns, with commas between; --columns help lists them.")
    ] = None,
    out: Annotated[Path | None, typer.Option("--out", "-o", help="The file to write.")] = None,
) -> None:
    """Write the marks as CSV for a learning platform, those given by hand included."""
    made = _room("eqlib.grading.summary")
    if columns == "help":
        _line(_console(), ", ".join(made.COLUMNS))
        return
    wanted = (
        made.USUAL if columns is None else tuple(name.strip() for name in columns.split(",") if name.strip())
    )
    path, count = made.export(course, assignment, wanted, out)
    _line(_console(), f"{count} students written to {_shown(path.resolve())}")


class _New(typer.core.TyperGroup):
    """``eqlib new``: says how it is written where something else follows."""

    def resolve_command(self, ctx: Any, args: Any) -> Any:
        if args and args[0] not in self.commands:
            raise UsageError(f"new {args[0]}: write `eqlib new course FOLDER`, with the folder to be made")
        return super().resolve_command(ctx, args)


new = typer.Typer(cls=_New, help="Lay out something new.", no_args_is_help=True, rich_markup_mode=None)
app.add_typer(new, name="new", short_help="Lay out a new course.")


@new.command("course", short_help="A course folder that nbgrader and eqlib both accept.")
def new_course(folder: Annotated[Path, typer.Argument(help="A new folder for the course.")]) -> None:
    """Lay out a course: assignments, instructor's notes, settings. nbgrader and eqlib both accept it."""
    made = _room("eqlib.grading.demo").make_course(folder.resolve())
    console, shown = _console(), shlex.quote(_shown(made.root))
    _line(console, f"A course with {len(made.assignments())} assignments is in {shown}. Next, there:")
    for name in made.assignments()[:1]:
        _line(console, f"  nbgrader generate_assignment {name}    makes release/{name}, which students get")
    _line(console, "  put what they hand in under submitted/<student id>/<assignment>/")
    _line(console, "  eqlib grade . <assignment>    marks it")


@app.command(short_help="Show the class at a glance.")
def report(
    course: Annotated[Path, typer.Argument(help="The course folder.")],
    assignment: Annotated[str, typer.Argument(help="An assignment that has been marked.")],
) -> None:
    """Show the class at a glance: marks by question, misconceptions, and what to demonstrate next."""
    reports = _room("eqlib.grading.report")
    made = reports.report(course, assignment)
    console = _console()
    console.print(reports.questions_table(made))
    if made.mistakes:
        console.print(reports.mistakes_table(made))
        _line(console, "For the next lesson:")
        for number, line in enumerate(made.top, start=1):
            _line(console, f"  {number}. {line.title} ({line.count}). {line.remedy}")
    if made.odd:
        _line(console, "Wrong answers that fit no known mistake:")
        for odd in made.odd[:12]:
            _line(console, f"  {odd.question}, {odd.part}: {odd.answer} ({', '.join(odd.students)})")
    written = ", ".join(_shown(made.folder / f"class.{form}") for form in ("html", "md", "csv"))
    _line(console, f"Written to {written} (the page has the drawings)")


@app.command(short_help="Print the prep sheet of a system.")
def prep(
    system: Annotated[
        str,
        typer.Argument(help="A system of the catalogue, such as iron-thiocyanate, or your own TOML file."),
    ],
    groups: Annotated[int, typer.Option(min=1, max=10_000, help="How many groups work at once.")] = 10,
    reserve: Annotated[
        float, typer.Option(min=0.0, max=10.0, help="Spare, as a fraction of what is needed.")
    ] = 0.2,
    markdown: Annotated[bool, typer.Option("--markdown", help="As Markdown, to keep or to print.")] = False,
    html: Annotated[
        Path | None, typer.Option(help="Also write it as a page, with the vessels drawn as they should look.")
    ] = None,
) -> None:
    """Print the prep sheet of a system: stocks, labels, hazards, waste."""
    try:
        sheet = _room("eqlib.lab.prep").prep_sheet(system, groups=groups, reserve=reserve)
    except EqlibError as error:
        if system in _room("eqlib.chem.catalogue").systems() or Path(system).exists():
            raise
        raise UsageError(str(error)) from None
    print(sheet.to_markdown() if markdown else sheet.to_text(), end="")
    if html is not None:
        _write_page(html, sheet.to_html())


practical = typer.Typer(help="The Kc practical.", no_args_is_help=True, rich_markup_mode=None)
app.add_typer(practical, name="practical", short_help="Plan the Kc practical; see a class's values of Kc.")


@practical.command("plan", short_help="Which tubes to mix, what they will read, how good Kc will be.")
def practical_plan(
    iron: Annotated[float, typer.Option(help="Iron(III) stock of the standards, mol/L.")] = 0.200,
    thiocyanate: Annotated[float, typer.Option(help="Thiocyanate stock of the standards, mol/L.")] = 4.0e-4,
    test_iron: Annotated[float, typer.Option(help="Iron(III) stock of the tests, mol/L.")] = 2.0e-3,
    test_thiocyanate: Annotated[float, typer.Option(help="Thiocyanate stock of the tests, mol/L.")] = 2.0e-3,
    path: Annotated[float, typer.Option(help="Path of the cell, cm.")] = 1.0,
    groups: Annotated[int, typer.Option(min=1, max=10_000, help="How many groups work at once.")] = 1,
    html: Annotated[Path | None, typer.Option(help="Also write it as a page to print.")] = None,
) -> None:
    """Print the dilution table, with what to expect of it and what to take care of."""
    plans = _room("eqlib.lab.practical.plan")
    made = plans.plan(
        plans.Bench(iron, thiocyanate, test_iron, test_thiocyanate, path_cm=path, groups=groups)
    )
    print(plans.plan_text(made), end="")
    if html is not None:
        _write_page(html, plans.plan_page(made))


@practical.command("class", short_help="Kc of each group from the tables they handed in.")
def practical_class(
    folder: Annotated[Path, typer.Argument(help="A folder with one .csv for each group, or the course.")],
    assignment: Annotated[str | None, typer.Argument(help="Of a course: whose readings.")] = None,
    html: Annotated[Path | None, typer.Option(help="Also write it as a page with a dot diagram.")] = None,
) -> int:
    """Work out every group's Kc, name what looks wrong with its table, and say which values stand apart.

    Of a course and an assignment the tables are those recorded in what was handed in.
    """
    if not folder.is_dir():
        raise UsageError(f"{folder}: there is no such folder; write the folder with one .csv for each group")
    faults = _room("eqlib.lab.practical.faults")
    if assignment is None:
        found = faults.class_in(folder)
    else:
        found, on_simulated = _room("eqlib.grading.report").class_handed_in(folder, assignment)
        if on_simulated:
            print(f"{on_simulated} worked on the simulated instrument, each with another Kc: left out.")
    if found:
        print(faults.class_text(found), end="")
    if html is not None:
        _write_page(html, faults.class_page(found))
    return LOOK if any(group.faults or group.apart for group in found) else 0


@app.command(short_help="Does a course hold together?")
def check(
    course: Annotated[Path, typer.Argument(help="The course folder, or one assignment's folder.")],
    samples: Annotated[
        int, typer.Option(min=1, max=100_000, help="Sets of numbers tried for each question.")
    ] = 200,
) -> int:
    """Do this course, its notebooks and its questions hold together? Prints what does not, a line each."""
    _must_be_there(course)
    console = _console()
    if any(course.glob("source/*/*.ipynb")) and not any(course.glob("source/*/questions.toml")):
        opened = _room("eqlib.grading.course").Course.open(course)
        names = ", ".join(opened.assignments())
        _line(
            console, f"{course}: no questions of eqlib's to check in {names}; eqlib grade marks their cells."
        )
        if opened.lacks:
            _line(console, opened.lacks)
        return LOOK if opened.lacks else 0
    with _progress(console, "Checking") as progress:
        checks = _room("eqlib.assess.check.course")
        findings = checks.check_course(course, samples, lambda what, done, of: progress(done, of, what))
    for finding in findings:
        _line(console, str(finding))
    if findings:
        _line(console, f"{len(findings)} to look at in {course}.")
        return LOOK
    _line(console, f"{course}: all holds together.")
    return 0


@app.command(short_help="Write the instructor's pages of a course.")
def guide(course: Annotated[Path, typer.Argument(help="The course folder.")]) -> None:
    """Write one page an assignment for the instructor, the table of misconceptions, and the path."""
    _must_be_there(course)
    written = _room("eqlib.grading.guide").write_guide(course)
    for path in written:
        _line(_console(), _shown(path))


def _must_be_there(course: Path) -> None:
    if not course.is_dir():
        raise UsageError(f"{course}: there is no such folder; write the folder of the course")


def _write_page(path: Path, page: str) -> None:
    write_atomically(path, page)
    _line(_console(), f"Written to {_shown(path)}")


def _say_problems(console: Any, made: Any) -> None:
    if made.problems:
        _line(console, "To look at:")
    for line in made.problems:
        _line(console, f"  {line}")


def _shown(path: Path) -> str:
    """A path as short as it can be written from here."""
    here = Path.cwd()
    return str(path.relative_to(here)) if path.is_relative_to(here) else str(path)


def _jupyter() -> str:
    """The command that starts the JupyterLab of this installation."""
    ours = Path(sys.executable).with_name("jupyter")
    # As the person's own shell would look for it: marking adds this installation's commands to our PATH.
    found = shutil.which("jupyter", path=_SHELL_PATH)
    if found and Path(found).resolve() == ours.resolve():
        return "jupyter"
    return shlex.quote(_shown(ours)) if ours.exists() else "jupyter"


if __name__ == "__main__":
    main()
