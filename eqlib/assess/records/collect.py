"""Find recorded answers again: in a notebook's outputs and metadata, and in the journal beside it.

Copies of one answer may stand in several places (a form shown twice, a notebook older than its journal). They
are merged: the newest counts, and no attempt is lost. Something unreadable never hides the rest: it becomes
one line in ``problems``. ``rescue`` brings what was found to safety before the outputs that hold it are
replaced; ``oddities`` says what is odd about it.
"""

from __future__ import annotations

import ast
import json
import re
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

from eqlib.assess.question import normal_id
from eqlib.assess.records.journal import Journal, journal_name, read_journal
from eqlib.assess.records.record import MIME, SEEN, AnswerError, Record, read_time, record_answer

if TYPE_CHECKING:
    from eqlib.assess.question import Question

#: Answers to this many questions within AT_ONCE are remarked on: nobody fills in so many forms so fast.
MANY = 3
AT_ONCE = timedelta(seconds=1)
#: Clocks of students' computers differ by a little.
CLOCK = timedelta(minutes=10)
_MARKER = re.compile(
    r"\beqlib\.(?:assess|grading)\b|\bfrom\s+eqlib\s+import\b[^\n]*\b(?:mark|load_questions)\b"
)
MAX_NOTEBOOK = 60_000_000
MAX_NOTEBOOKS = 1000
#: What was read of a file already: path -> (size and time, records).
_read: dict[Path, tuple[tuple[int, int], tuple[Record, ...]]] = {}


class Collected(dict[str, Record]):
    """Records by question id, with ``problems`` (one line each) and ``student`` (the id in the notebook, or
    None). ``opened``: (student, question, when) of every outcome that was shown to whoever it was.
    """

    def __init__(self) -> None:
        super().__init__()
        self.problems: list[str] = []
        self.student: str | None = None
        self.opened: list[tuple[str, str, datetime]] = []

    def offer(self, record: Record, assignment: str | None, student: str | None) -> None:
        """Take ``record`` unless it belongs elsewhere; merge it with what is here."""
        if assignment is not None and record.assignment != assignment:
            self._say(
                f"an answer to {record.question!r} belongs to assignment {record.assignment!r}; left out"
            )
            return
        if student is not None and record.student and normal_id(record.student) != normal_id(student):
            self._say(
                f"the answer to {record.question!r} was recorded "
                f"under the id {record.student!r}, not {student!r}"
            )
        self.note_opened(record)
        held = self.get(record.question)
        if held is None:
            self[record.question] = record
        elif (held.assignment, normal_id(held.student)) == (record.assignment, normal_id(record.student)):
            self[record.question] = held.merged(record)
        else:
            self[record.question] = record if record.when > held.when else held
        self._note_reveal(record.question.removeprefix(SEEN))

    def note_opened(self, record: Record) -> None:
        """Remember whose copy of which question showed its outcome, and when."""
        at = record.since if record.question.startswith(SEEN) else record.revealed_at
        if at is not None:
            self.opened.append((record.student or "", record.question.removeprefix(SEEN), read_time(at)))

    def _note_reveal(self, question: str) -> None:
        """An outcome's own note of having been shown counts for its question's record as well."""
        record, note = self.get(question), self.get(SEEN + question)
        if record is not None and note is not None and normal_id(record.student) == normal_id(note.student):
            self[question] = record.revealed(note.since)

    def _say(self, line: str) -> None:
        if line not in self.problems:
            self.problems.append(line)


def collect(
    notebook: str | bytes | dict[str, Any] | None = None,
    journal: str | bytes | dict[str, Any] | None = None,
    assignment: str | None = None,
    student: str | None = None,
) -> Collected:
    """The records of every question, copies of one answer merged.

    ``notebook`` and ``journal`` are JSON text, bytes, parsed dicts, or None. With ``assignment``, answers of
    other assignments are left out. With ``student``, only that student's and unnamed answers are taken from
    the journal (a shared computer's journal holds several people's); without, only those of the id found in
    the notebook.
    """
    found = Collected()
    if notebook is not None:
        for record in records_in(notebook, found):
            found.offer(record, assignment, student)
        if found.student is None:
            named = {normal_id(r.student): r.student for r in found.values() if r.student}
            if len(named) == 1:
                found.student = next(iter(named.values()))
    if journal is not None:
        records, problems = read_journal(journal)
        found.problems.extend(problems)
        mine = _whose(records, found, student)
        if records and not set(records) & set(mine):
            found._say(f"the journal beside it holds only answers of {', '.join(sorted(records))}; left out")
        for who, theirs in records.items():
            for record in theirs.values():
                if who in mine:
                    found.offer(record, assignment, student)
                elif assignment in (None, record.assignment):
                    found.note_opened(record)
    return found


def _whose(
    records: Mapping[str, Mapping[str, Record]], found: Collected, student: str | None
) -> tuple[str, ...]:
    """Whose journal entries belong to this notebook; the unnamed ones belong to whoever holds it."""
    if student is None:
        student = found.student
    if student is not None:
        return ("", normal_id(student))
    return tuple(records) if len([who for who in records if who]) <= 1 else ("",)


def records_in(notebook: str | bytes | dict[str, Any], found: Collected) -> Iterator[Record]:
    """Every record in a notebook, as it stands. Problems and the notebook's id go into ``found``."""
    if isinstance(notebook, (str, bytes, bytearray)):
        try:
            notebook = json.loads(notebook)
        except (ValueError, RecursionError):
            found.problems.append("the notebook is not readable as JSON; ask for it to be handed in again")
            return
    if type(notebook) is not dict:
        found.problems.append("the notebook is not a JSON object; ask for it to be handed in again")
        return
    kept = _dict(_dict(notebook.get("metadata")).get("eqlib"))
    if type(kept.get("student")) is str:
        found.student = kept["student"]
    places = [
        (data, f"notebook metadata, {question[:40]!r}")
        for question, data in _dict(kept.get("records")).items()
    ]
    for number, cell in enumerate(_list(notebook.get("cells")), start=1):
        for output in _list(_dict(cell).get("outputs")):
            bundle = _dict(_dict(output).get("data"))
            if MIME in bundle:
                places.append((_joined(bundle[MIME]), f"cell {number}"))
    for data, where in places:
        try:
            yield Record.from_json(data)
        except AnswerError as error:
            found._say(f"{where}: {error}")


def _joined(value: object) -> object:
    """Notebook files may store text as a list of lines."""
    if type(value) is list and all(type(line) is str for line in value):
        return "".join(value)
    return value


def _dict(value: object) -> dict[str, Any]:
    return value if type(value) is dict else {}


def _list(value: object) -> list[Any]:
    return value if type(value) is list else []


def code_answers(
    kept: Collected, ran: Collected, questions: Mapping[str, Question]
) -> tuple[dict[str, Record], list[str]]:
    """(the records that count, one line for each that does not): what was recorded before marking.

    ``kept`` was handed in, ``ran`` stood in the outputs when the submission ran for marking. Only a part that
    is answered in code takes its value from the run; anything else that appears only then was not recorded by
    the student.
    """
    counts = {name: record for name, record in kept.items() if name in questions}
    lines = []
    for name, record in ran.items():
        if name not in questions or (name in counts and counts[name].receipt == record.receipt):
            continue
        held = counts.get(name)
        coded = {part.id for part in questions[name].parts if part.code}
        answer = {part: value for part, value in record.answer.items() if part in coded}
        if answer:
            before = {} if held is None else dict(held.answer)
            who = record.student if held is None else held.student
            counts[name] = record_answer(
                record.assignment, name, before | answer, who, at=record.at, previous=held
            )
        if set(record.answer) - coded and (held is None or dict(held.answer) | answer != dict(record.answer)):
            lines.append(f"an answer to {name!r} appeared only while marking; it was not counted")
    return counts, lines


def no_answers(kept: Collected, questions: Mapping[str, Question], assignment: str) -> str:
    """Empty, or the line about a submission in which nothing recorded was found although there were forms to
    fill in.

    The journal it names can be added to the submission's folder at any time; marking again then counts it.
    """
    forms = [q for q in questions.values() if not q.manual and not all(p.code for p in q.parts if p.scored)]
    if not forms or any(name in questions for name in kept):
        return ""
    return f"no answers found: ask for the file {journal_name(assignment)}"


# -- to safety ----------------------------------------------------------------------------------------------

# A saved notebook may be the only copy of an answer: handed on without its journal, renamed, reopened
# without its question file. Running a cell replaces its output. So whatever shows something in the place of
# a recorded answer calls ``rescue`` first: it needs no question file.


@dataclass(frozen=True)
class Rescued:
    """Every record found in a folder, copies merged. ``problems``: lines about journals that could not be
    written (then the outputs are the only copy).
    """

    records: tuple[Record, ...] = ()
    problems: tuple[str, ...] = ()

    def bundle(self, question: str) -> dict[str, Any]:
        """What an output in this question's place has to carry: {MIME: its newest record}, or {}."""
        theirs = [record for record in self.records if record.question == question]
        return {MIME: max(theirs, key=lambda record: record.when).to_dict()} if theirs else {}


def rescue(folder: str | Path, write: bool = True) -> Rescued:
    """Copy every record in the notebooks of ``folder`` (and their checkpoints) into its journals; return them
    all, those of the journals among them. Never raises. ``write=False`` only reads (while marking).
    """
    folder = Path(folder)
    in_notebooks = [r for path in _notebooks(folder) for r in _records_of(path, _from_notebook)]
    problems = []
    if write:
        for assignment in dict.fromkeys(record.assignment for record in in_notebooks):
            theirs = [record for record in in_notebooks if record.assignment == assignment]
            try:
                Journal(folder / journal_name(assignment)).write(*theirs)
            except AnswerError as error:
                problems.append(str(error))
    in_journals = [
        r for path in _listed(folder, "answers-*.journal.json") for r in _records_of(path, _from_journal)
    ]
    merged: dict[tuple[str, str, str], Record] = {}
    for record in (*in_notebooks, *in_journals):
        key = record.assignment, normal_id(record.student), record.question
        merged[key] = merged[key].merged(record) if key in merged else record
    return Rescued(tuple(merged.values()), tuple(problems))


def _notebooks(folder: Path) -> list[Path]:
    any_case = "*.[iI][pP][yY][nN][bB]"
    return [*_listed(folder, any_case), *_listed(folder / ".ipynb_checkpoints", any_case)]


def _listed(folder: Path, pattern: str) -> list[Path]:
    """The newest files of a folder that fit; none if it cannot be listed."""
    try:
        paths = [(path.stat().st_mtime_ns, path) for path in folder.glob(pattern) if path.is_file()]
    except OSError:
        return []
    return [path for _, path in sorted(paths, reverse=True)[:MAX_NOTEBOOKS]]


def _records_of(path: Path, read: Callable[[str], Iterable[Record]]) -> tuple[Record, ...]:
    """What ``read`` finds in a file; a file that did not change is not read again."""
    try:
        stat = path.stat()
        stamp = stat.st_size, stat.st_mtime_ns
        if path in _read and _read[path][0] == stamp:
            return _read[path][1]
        if stat.st_size > MAX_NOTEBOOK:
            return ()
        data = path.read_bytes()
        # Editors and mail may have put a mark of the encoding in front, or written another one.
        text = data.decode(json.detect_encoding(data), errors="replace")
    except OSError:
        return ()
    _read[path] = stamp, tuple(read(text))
    return _read[path][1]


def _from_notebook(text: str) -> Iterable[Record]:
    # Most notebooks of a folder hold no record: these need not be parsed.
    return records_in(text, Collected()) if json.dumps(MIME) in text or '"eqlib"' in text else ()


def _from_journal(text: str) -> list[Record]:
    return [record for theirs in read_journal(text)[0].values() for record in theirs.values()]


# -- what is odd: facts for the instructor, none of which costs a point -------------------------------------


def oddities(
    kept: Collected,
    notebook: dict[str, Any] | None = None,
    due: datetime | None = None,
    now: datetime | None = None,
) -> list[str]:
    """One neutral line for each odd thing. ``due``: until when answers were to be recorded, if that is known;
    ``now``: when it was collected (default: now).
    """
    return [
        *_all_at_once(kept),
        *_outside_time(kept, due, now or datetime.now(UTC)),
        *_opened_elsewhere(kept),
        *_uses_marker(notebook or {}),
    ]


def _attempts(kept: Collected) -> Iterator[tuple[str, datetime]]:
    """(question, when) of every attempt at a question; our own notes are left out."""
    for name, record in kept.items():
        if ":" not in name and name != "student":
            for at in (*(entry["at"] for entry in record.history), record.at):
                yield name, read_time(at)


def _all_at_once(kept: Collected) -> Iterator[str]:
    times = [when for _, when in _attempts(kept)]
    count = len({name for name, _ in _attempts(kept)})
    if count >= MANY and max(times) - min(times) <= AT_ONCE:
        yield f"all {count} answers were recorded within one second ({_said(min(times))})"


def _outside_time(kept: Collected, due: datetime | None, now: datetime) -> Iterator[str]:
    for limit, what in ((due, "after the assignment was due"), (now, "later than the time of marking")):
        found = sorted((w, n) for n, w in _attempts(kept) if limit is not None and w > limit + CLOCK)
        if found:
            when, name = found[0]
            count = f"{len(found)} recorded answer{'s carry times' if len(found) > 1 else ' carries a time'}"
            yield f"{count} {what} (the first: {name}, {_said(when)})"


def _opened_elsewhere(kept: Collected) -> Iterator[str]:
    """Outcomes shown under another id before the answer that stands was recorded."""
    for who, question, when in dict.fromkeys(kept.opened):
        record = kept.get(question)
        if record is None or normal_id(who) == normal_id(record.student) or when >= record.when:
            continue
        under = f"the id {who!r}" if who else "no id"
        yield (
            f"the outcome of {question!r} was opened under {under} at {_said(when)}, before it was answered "
            f"under {record.student!r} at {_said(record.when)}"
        )


def _uses_marker(notebook: dict[str, Any]) -> Iterator[str]:
    for number, cell in enumerate(notebook.get("cells") or (), start=1):
        if not isinstance(cell, dict) or cell.get("cell_type") != "code":
            continue
        ours = cell.get("metadata", {})
        if isinstance(ours, dict) and isinstance(ours.get("eqlib"), dict) and ours["eqlib"].get("restoring"):
            continue
        source = cell.get("source", "")
        if _imports_marker("".join(source) if isinstance(source, list) else str(source)):
            yield f"cell {number} imports the part of eqlib that marks"


def _imports_marker(source: str) -> bool:
    if "eqlib" not in source:
        return False
    try:
        tree = ast.parse(source)
    except (SyntaxError, ValueError, RecursionError, MemoryError):
        return _MARKER.search(source) is not None
    names = {"eqlib"}
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            names |= {alias.asname for alias in node.names if alias.name == "eqlib" and alias.asname}
    for node in ast.walk(tree):
        if isinstance(node, ast.Import) and any(_marks(alias.name) for alias in node.names):
            return True
        if isinstance(node, ast.ImportFrom) and node.module:
            taken = {f"{node.module}.{alias.name}" for alias in node.names}
            if _marks(node.module) or any(_marks(name) for name in taken):
                return True
        if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name):  # noqa: SIM102
            if node.value.id in names and _marks(f"eqlib.{node.attr}"):
                return True
    return False


def _marks(name: str) -> bool:
    return re.match(r"eqlib\.(assess|grading|mark|load_questions)(\.|$)", name) is not None


def _said(when: datetime) -> str:
    return f"{when.astimezone(UTC):%Y-%m-%d %H:%M:%S} UTC"
