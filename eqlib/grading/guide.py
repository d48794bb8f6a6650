"""Pages made from the course itself: the path through its notebooks, and the instructor's page of each.

Nothing is typed twice: puzzle, aims and time stand in the first cell of a notebook, points and prompts in its
question file, rubrics in the instructor's folder, and answers are computed.
"""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

from eqlib.assess.asks import ASKS
from eqlib.assess.asks.base import Part
from eqlib.assess.load import load_questions
from eqlib.assess.mistakes import MISTAKES
from eqlib.assess.question import Case, Question, QuestionSet
from eqlib.errors import EqlibError
from eqlib.writing import with_figures, write_atomically

_MINUTES = {
    "fifteen": 15, "twenty": 20, "twenty-five": 25, "thirty": 30, "thirty-five": 35, "forty": 40,
    "forty-five": 45, "fifty": 50, "fifty-five": 55, "sixty": 60,
}  # fmt: skip
_TAKES = re.compile(r"It takes about ([a-z-]+) minutes")


@dataclass(frozen=True)
class Opening:
    """What the first cell of a notebook says: title, puzzle, aims and minutes."""

    title: str
    puzzle: str
    aims: tuple[str, ...]
    minutes: int


def opening_of(path: Path) -> Opening:
    """The Opening of the notebook at ``path``. Raises EqlibError naming what its first cell lacks."""
    cell = json.loads(path.read_text("utf-8"))["cells"][0]
    text = "".join(cell["source"])
    title = re.search(r"^# (.+)$", text, re.MULTILINE)
    before, _, after = text.partition("When you are through, you can")
    puzzles = re.findall(r"\*\*(.+?)\*\*", before, re.DOTALL)
    takes = _TAKES.search(text)
    aims = re.findall(r"^- (.+?)[;.]?$", after, re.MULTILINE)
    for found, what in (
        (title, "a heading '# ...'"),
        (puzzles, "a puzzle in bold"),
        (aims, "'When you are through, you can' with a list"),
        (takes and takes[1] in _MINUTES, "'It takes about ... minutes'"),
    ):
        if not found:
            raise EqlibError(
                f"{path.name}: its first cell has no {what}; add it, or the path cannot be shown"
            )
    assert title is not None
    assert takes is not None
    return Opening(title[1], _puzzle(before, puzzles[-1]), tuple(aims), _MINUTES[takes[1]])


def _puzzle(text: str, bold: str) -> str:
    """The words in bold; when they are too few to stand alone, with the sentence in front of them."""
    if len(bold.split()) > 4:
        words = " ".join(bold.split())
        return words[0].upper() + words[1:]
    ahead = text[: text.rindex(f"**{bold}**")].strip()
    sentence = re.split(r"(?<=[.?!:])\s", ahead)[-1]
    return " ".join(f"{sentence} {bold}".split())


def path_table(course: Path, names: Sequence[str], link: str = "source/{0}/{0}.ipynb") -> str:
    """A markdown table of the notebooks ``names``, in order: title with its link, puzzle, minutes."""
    rows = ["| | Notebook | The puzzle | Minutes |", "|-|-|-|-|"]
    for name in names:
        opening = opening_of(course / "source" / name / f"{name}.ipynb")
        number = name.split("-")[0]
        rows.append(
            f"| {number} | [{opening.title}]({link.format(name)}) | {opening.puzzle} | {opening.minutes} |"
        )
    return "\n".join(rows) + "\n"


# -- the instructor's pages -----------------------------------------------------------------------------


def write_guide(course: Path) -> list[Path]:
    """Write ``instructor/<assignment>.md`` for every assignment of ``course``, ``notebooks.md`` and
    ``misconceptions.md``; the path into ``README.md`` of the course. Returns what was written. Raises
    EqlibError.
    """
    names = sorted(file.parent.name for file in (course / "source").glob("*/questions.toml"))
    if not names:
        raise EqlibError(f"{course}: no questions.toml in source/*/; is this the course folder?")
    home = course / "instructor"
    home.mkdir(exist_ok=True)
    pages = {home / f"{name}.md": assignment_page(course, name) for name in names}
    pages[home / "misconceptions.md"] = misconceptions_page(course, names)
    pages[home / "notebooks.md"] = notebooks_page(course, names)
    pages[course / "README.md"] = path_page(course, names)
    for path, page in pages.items():
        write_atomically(path, page)
    return list(pages)


def path_page(course: Path, names: Sequence[str]) -> str:
    """The landing page of the course folder."""
    return (
        "# The path\n\nOne notebook an evening, in this order; each takes up what the one before has "
        "asked. Made by `eqlib guide`: change the "
        "notebooks, not this page.\n\n"
        + path_table(course, names)
        + "\nFor instructors: [one page for each notebook](instructor), [how long and how heavy each "
        "is](instructor/notebooks.md), and [which question shows which "
        "misconception](instructor/misconceptions.md).\n"
    )


def notebooks_page(course: Path, names: Sequence[str]) -> str:
    """How long and how heavy each notebook is: minutes, screens, questions, points, systems."""
    rows, totals, used = [], [0, 0, 0.0], set()
    for name in names:
        opening = opening_of(course / "source" / name / f"{name}.ipynb")
        questions = load_questions(course / "source" / name)
        read = sum(question.manual for question in questions.values())
        systems = {q.setting.system for q in questions.values() if q.setting.system}
        systems |= {one for q in questions.values() for one in q.setting.cautions_from}
        others = {_reaction(q) for q in questions.values() if not q.manual and not q.setting.system} - {""}
        screens = _notes(course).get(name, {}).get("screens")
        counts = (len(questions) - read, read, questions.points)
        totals = [a + b for a, b in zip(totals, counts, strict=True)]
        used |= systems
        cells = (opening.title, opening.minutes, f"{screens:g}" if screens else "not measured", *counts[:2])
        rows.append(
            f"| {name.split('-')[0]} | {' | '.join(map(str, cells))} | {questions.points:g} | "
            f"{', '.join(sorted(systems))}{'; ' if others else ''}{'; '.join(sorted(others))} |"
        )
    return (
        "# The notebooks in numbers\n\nMade by `eqlib guide`; not released. A screen is the height of a "
        "window of 1280 × 800, measured in Chromium with nothing answered yet "
        "(`python tests/browser/screens.py`; `screens` in `pages.toml`).\n\n"
        "| | Notebook | Minutes | Screens | Marked questions | Read by a person | Points | Systems of the "
        "catalogue; reactions beside them |\n|-|-|-|-|-|-|-|-|\n"
        + "\n".join(rows)
        + f"\n| | all | | | {totals[0]} | {totals[1]} | {totals[2]:g} | {len(used)} |\n"
    )


def _reaction(question: Question) -> str:
    """The first reaction of a question that has reactions of its own, or ""."""
    case = question.case(None)
    return case.reaction.unicode if case.reactions else ""


def assignment_page(course: Path, name: str) -> str:
    """One assignment: aims, time, mid-range answers, the written answer, what goes wrong, what to do."""
    questions = load_questions(course / "source" / name)
    opening = opening_of(course / "source" / name / f"{name}.ipynb")
    notes = _notes(course).get(name, {})
    marked = [question for question in questions.values() if not question.manual]
    named = [(q.setting.system, *q.setting.cautions_from) for q in questions.values()]
    systems = sorted({one for names in named for one in names if one})
    parts = [
        f"# {opening.title}: for the instructor",
        "Made by `eqlib guide`; not released. Change the notebook, its question file or `pages.toml`, "
        "not this page.",
        f"*{opening.puzzle}*",
        f"{len(marked)} questions that are marked by themselves and {len(questions) - len(marked)} read "
        f"by a person, {questions.points:g} points, "
        f"about {opening.minutes} minutes." + (f" Systems: {', '.join(systems)}." if systems else ""),
        "## Aims\n\n" + "\n".join(f"- {aim}" for aim in opening.aims),
        "## Beside it\n\n" + notes.get("beside", "Nothing special."),
        "## What usually goes wrong\n\n" + "\n".join(f"- {line}" for line in notes.get("watch", ())),
        "## Answers for the mid-range numbers\n\nNo student with an id has exactly these; the working "
        "is the same.\n\n" + "\n\n".join(_answers(question) for question in marked),
        *(_written(question, notes) for question in questions.values() if question.manual),
        "## Wrong ideas that can show\n\n" + _ideas(questions),
    ]
    return "\n\n".join(parts) + "\n"


def _notes(course: Path) -> dict[str, Any]:
    path = course / "instructor" / "pages.toml"
    try:
        return tomllib.loads(path.read_text("utf-8")) if path.is_file() else {}
    except tomllib.TOMLDecodeError as error:
        raise EqlibError(f"instructor/pages.toml: not readable as TOML: {error}") from None


def _answers(question: Question) -> str:
    """The prompt with the mid-range numbers, and the right value of each part."""
    case = question.case(None)
    prompt = " ".join(question.prompt_for(None).split())
    rows = ["| Asked | Answer |", "|-|-|"]
    for part in question.parts:
        if part.id in case.expected:
            said = ASKS[part.ask].words(part, case, case.expected[part.id])
            rows.append(f"| {_cell(part.label)} | {_cell(_printed(said, part))} |")
    title = f"### {question.title} (`{question.id}`, {question.points:g} point{'s' * (question.points != 1)})"
    return f"{title}\n\n{prompt}\n\n" + "\n".join(rows)


def _printed(said: str, part: Part) -> str:
    try:
        value = float(said)
    except (TypeError, ValueError):
        return str(said)
    return f"{with_figures(value)} {part.unit}".strip()


def _cell(text: str) -> str:
    return " ".join(text.split()).replace("|", "\\|")


def _written(question: Question, notes: Mapping[str, str]) -> str:
    """How to read a written answer."""
    rubric = "\n".join(f"- {line}" for part in question.parts for line in part.rubric)
    prompt = " ".join(question.prompt_for(None).split())
    how = notes.get("reading", "").strip()
    return f"## Reading “{question.title}”\n\n{prompt}\n\n{rubric}\n\n{how}".rstrip()


def _ideas(questions: QuestionSet) -> str:
    rows = ["| Idea | Shown by | Ask |", "|-|-|-|"]
    shown: dict[str, list[str]] = {}
    for question in questions.values():
        for idea in ideas_of(question):
            shown.setdefault(idea, []).append(question.id)
    for idea in sorted(shown):
        rows.append(
            f"| {MISTAKES[idea].title} (`{idea}`) | {', '.join(shown[idea])} | {MISTAKES[idea].hint} |"
        )
    return "\n".join(rows)


#: Ideas that are recognised in the whole of an answer, not by one value: those of a table, an expression ...
_JUDGED = {
    "ice": (
        *("stock_conc", "moles_as_conc", "change_sign", "change_coeff", "goes_complete"),
        *("initial_as_eq", "equal_amounts"),
    ),
    "expression": ("k_inverted", "powers_missing", "solid_in_k"),
    "speed": ("rate_is_extent",),
    "number": ("excess_digits",),
}


def _impossible(case: Case) -> set[str]:
    """Ideas that the reaction of this question leaves no room for."""
    nothing: set[str] = set()
    if not case.reactions:
        return nothing
    sizes = {abs(float(nu)) for nu in case.reaction.coefficients.values()}
    if not any(name.endswith(("(s)", "(l)")) for name in case.reaction.coefficients):
        nothing.add("solid_in_k")
    return nothing | {"change_coeff", "powers_missing"} if sizes == {1.0} else nothing


@lru_cache(maxsize=512)
def ideas_of(question: Question) -> frozenset[str]:
    """Misconceptions that a wrong answer to ``question`` can be consistent with, for the mid-range numbers
    or one of a few students'.
    """
    found = set()
    for student in () if question.manual else (None, "s01", "s02", "s03", "s04"):
        case = question.case(student)
        for part in question.parts:
            if not part.scored:
                continue
            right = case.expected.get(part.id)
            found |= {s.mistake for s in ASKS[part.ask].suspects(part, case, {}) if s.value != right}
            found |= set(_JUDGED.get(part.ask, ()))
            found -= _impossible(case)
    return frozenset(found & set(MISTAKES))


def misconceptions_page(course: Path, names: Sequence[str]) -> str:
    """Every misconception, and the questions that can show it."""
    where: dict[str, list[str]] = {idea: [] for idea in MISTAKES}
    for name in names:
        for question in load_questions(course / "source" / name).values():
            for idea in ideas_of(question):
                where[idea].append(f"{name.split('-')[0]} {question.id}")
    rows = [
        f"| {MISTAKES[idea].title} (`{idea}`) | {', '.join(found) or '**none**'} | {MISTAKES[idea].remedy} |"
        for idea, found in where.items()
    ]
    return (
        "# Which question can show which misconception\n\nMade by `eqlib guide`; not released. A "
        "question is listed where a wrong answer to it is "
        "consistent with the idea, for the mid-range numbers or for one of four students'.\n\n"
        "| Idea | Notebook and question | A demonstration that shows the contrast |\n|-|-|-|\n"
        + "\n".join(rows)
        + "\n"
    )
