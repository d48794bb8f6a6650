"""The texts of a lesson: its introduction, the bench it stands on, and each question with the student's
numbers.
"""

from __future__ import annotations

from eqlib.chem.catalogue.ghs import CHECK_SDS
from eqlib.notebook.display import words_of
from eqlib.notebook.display_outcome import number
from eqlib.notebook.style import box, details, items, paragraph, table, text

_STEPS = {
    "assessed": (
        "Read the question, fill in the form under it, and press Record. What was read is shown back to you.",
        "Then run the next cell to see what really happens. Nothing is shown before you have predicted.",
        "Everything you record is kept in this notebook and in a second file beside it. You may close the "
        "page, restart, or clear the outputs: run the cells again and your answers are there.",
        "The last cell lists what is recorded and what is still missing. Save (Ctrl + S) before you hand in.",
    ),
    "practice": (
        "Read the question, fill in the form under it, and press Record. You are told at once how it went.",
        "Try as often as you like. Each time there is a little more help; after some tries, the working.",
        "“New numbers” asks the same again with other numbers.",
        "Everything you record is kept in this notebook and in a second file beside it.",
    ),
}


def intro_page(questions) -> str:
    """What the assignment is and how answering works."""
    header = questions.assignment
    inner = paragraph(
        f"{header.title}: {len(questions)} questions, {questions.points:g} points. "
        + (
            "Your answers are recorded now and marked after you hand in."
            if header.mode == "assessed"
            else "This is practice: nothing is handed in."
        )
    )
    inner += items(_STEPS[header.mode])
    inner += paragraph(
        "How to run a cell: click in it and press Shift + Enter. Forms work with the keyboard alone: "
        "Tab moves on, the space bar chooses and presses."
    )
    return box(inner, label=header.title)


def bench_page(name: str) -> str:
    """A system of the catalogue, without anything that would give a prediction away."""
    from eqlib.chem.catalogue import system

    found = system(name)
    reaction, chosen = _main(found)
    inner = f"<p style='margin:.25em 0'><strong>{text(found.title)}</strong></p>"
    inner += table(
        "The reaction",
        [
            ("Equation", _pretty(reaction)),
            ("K", f"{number(reaction.K)} ({chosen.conditions})" if chosen else number(reaction.K)),
            *(
                [("Source of K", chosen.source + (" (from memory)" if chosen.from_memory else ""))]
                if chosen
                else []
            ),
            ("Vessel", found.recipe.vessel),
        ],
    )
    inner += "<p style='margin:.25em 0'>What is done:</p>" + items(found.recipe.steps)
    cautions = [(hazard.reagent, _without_advice(hazard)) for hazard in found.hazards]
    inner += table("What to take care of: the bottles as bought", cautions) + paragraph(CHECK_SDS)
    inner += table(
        "At the bench",
        [
            ("Wear", "; ".join(found.ppe)),
            ("Waste", "; ".join(found.waste)),
            ("If something is spilt", "; ".join(found.spill)),
        ],
    )
    if found.data_only:
        inner += paragraph(found.data_only)
    return box(inner, label=found.title)


def _without_advice(hazard) -> str:
    """A bottle's caution; the advice to check the supplier's sheet stands once, under the table."""
    return hazard.words.removeprefix(f"{hazard.reagent}: ").removesuffix(CHECK_SDS).strip()


def _main(found):
    reaction = found.reactions[0]
    for choice in found.constants.values():
        if getattr(choice.reaction, "coefficients", None) == reaction.coefficients:
            return reaction, choice.default
    return reaction, None


def _pretty(reaction) -> str:
    """A reaction as it is written on paper."""
    from eqlib.chem.species import species

    sides = []
    for sign in (-1, 1):
        terms = []
        for name, nu in reaction.coefficients.items():
            if nu * sign > 0:
                count = abs(nu)
                terms.append((f"{count} " if count != 1 else "") + species(name).unicode)
        sides.append(" + ".join(terms))
    return " ⇌ ".join(sides)


def prompt_bundle(question, student, retry: int = 0) -> dict:
    """The question as its student meets it: title, points, numbers, and what to take care of."""
    whose = f" · numbers for {student}" if student and question.ranges else ""
    points = f"{question.points:g} point{'s' if question.points != 1 else ''}"
    body = question.prompt_for(student, retry).strip()
    words = f"### {question.title}\n\n*{points}{whose}*\n\n{body}\n"
    if question.manual:
        words += "\nWrite your answer in the cell below: double-click there, type, and press Shift + Enter.\n"
    cautions = cautions_for(question)
    if cautions:
        words += "\n" + details("Take care at the bench", items(cautions)) + "\n"
    return {"text/markdown": words, "text/plain": words_of(words)}


def cautions_for(question) -> tuple[str, ...]:
    """The few cautions for what is in this question's vessel, gravest first."""
    return tuple(question.outcome(None).cautions)


def numbers_of(question, student) -> dict[str, float]:
    """The student's numbers by name, with what was measured for them."""
    numbers = dict(question.variant(student).numbers)
    problem = question.outcome(student).problem
    asked = {part.quantity for part in question.parts}
    if problem is not None:
        numbers.update(
            {name: float(value) for name, value in problem.measured.items() if name not in {*numbers, *asked}}
        )
    return numbers
