"""One question, one panel: the vessel as it stands, predict, do it, you said and it did, why, other amounts.

``panel("iron")`` is a whole cell: it shows the panel to a student, and where notebooks are marked it ends in
the points, a built-in float from 0 to the question's points.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from functools import cached_property
from typing import Any

from markdown_it import MarkdownIt

from eqlib.assess import feedback
from eqlib.assess.mark import RETRY, Mark, mark, read_part
from eqlib.assess.question import Case, Question
from eqlib.assess.records import Record, blank, kept_parts, same_answer, standing
from eqlib.assess.scene import kind_of, scene_of
from eqlib.assess.working import worked
from eqlib.errors import EqlibError
from eqlib.lab.cautions import Caution, cautions_for
from eqlib.lab.colour import colour_of
from eqlib.lab.drawing import SHAPES, said_of, shelf, vessel_of
from eqlib.lab.scene import NOUNS, Scene, is_closed
from eqlib.notebook.form import form_html, is_list, legend_of, raw_of, readings
from eqlib.notebook.outcome import Told, Trying, told_html
from eqlib.notebook.output import text
from eqlib.notebook.record import has_outcome, kept_bundle, time_of, what_counts
from eqlib.notebook.sheet import Sheet, form_id, live
from eqlib.notebook.store import Store

#: Where in this kernel each caution was said first.
_said_at: dict[str, str] = {}
_MARKDOWN = MarkdownIt("commonmark", {"html": False}).enable("table")


class Panel(Sheet):
    """The panel of one question. ``stage``: "predict", "doing" (the film runs) or "done" (outcome seen)."""

    def __init__(self, question: Question, store: Store) -> None:
        super().__init__(form_id(store.assignment, question.id))
        self.question, self.store, self.key, self.forms = question, store, question.id, 0
        self.open_up()

    def open_up(self) -> None:
        """Begin from what is recorded: at the start, and after another id was given."""
        record = self.record
        self.retry = set_of(record.answer) if record is not None else 0
        self.answer = dict(record.answer) if record is not None else {}
        self.values: dict[str, Any] | None = None
        self.news, self.working = "", False
        self.stage = (
            "done"
            if self.has_outcome and self.store.seen(self.question.id) and record is not None
            else "predict"
        )
        self.trying: Trying | None = None
        self.forget()

    def make_form_anew(self) -> None:
        """The form with ``answer`` in it, also where the page holds another text in the same form."""
        self.forms += 1
        self.__dict__.pop("form", None)

    def forget(self, *names: str) -> None:
        """These (other numbers: all that is computed from them) are made anew."""
        if not names:
            self.forms += 1
        for name in names or ("case", "scene", "form", "prompt", "picture", "told", "outcome"):
            self.__dict__.pop(name, None)

    # -- what is known --------------------

    @property
    def record(self) -> Record | None:
        """The recorded answer, or None."""
        return self.store.record_of(self.question.id)

    @property
    def own(self) -> Record | None:
        """The recorded answer if it is to the present numbers, or None."""
        record = self.record
        return record if record is not None and set_of(record.answer) == self.retry else None

    @property
    def practice(self) -> bool:
        """Is it told at once how it went?"""
        return self.question.mode == "practice"

    @property
    def locked(self) -> bool:
        """Does the recorded prediction stand?"""
        return self.store.locked(self.question)

    @cached_property
    def case(self) -> Case:
        """What the chemistry says about this student's copy."""
        return self.question.case(self.store.student, self.retry)

    @cached_property
    def scene(self) -> Scene | None:
        """What there is to see, where something is done to a mixture."""
        nobody = any("recorded data" in c.words for c in cautions_of(self.question, self.case))
        return scene_of(self.question, self.case, recorded=nobody)

    @property
    def watched(self) -> Scene:
        """The scene, for what is reached only where there is one (``has_outcome``)."""
        assert self.scene is not None
        return self.scene

    @property
    def has_outcome(self) -> bool:
        """Is there something to watch, and may it be seen?"""
        return has_outcome(self.question)

    # -- how it looks --------------------

    def sections(self) -> list[tuple[str, str]]:
        made = [("head", self.head())]
        if self.stage == "predict" or (self.practice and self.stage == "done" and not self.has_outcome):
            made.append(("prompt", self.prompt))
            made.append(("ask", self.halves))
        if self.stage == "doing":
            film = f"{self.watched.film_picture()}{self.watched.line_svg(moving=True)}"
            made.append(("film", f"<div data-film>{film}</div>"))
        if self.stage == "done" and self.has_outcome:
            if self.trying is not None:
                made.append(("tried", self.trying.picture()))
                made.append(("try", self.trying.html()))
            made.append(("outcome", self.outcome if self.trying is None else self.outcome_folded))
        if self.help:
            made.append(("help", f'<div class="try">{self.help}</div>'))
        made.append(("go", self.buttons()))
        return made

    def head(self) -> str:
        """Title, points, whose numbers."""
        points = f"{self.question.points:g} point{'s' if self.question.points != 1 else ''}"
        mine = f" · numbers for {self.store.student}" if self.store.student and self.question.ranges else ""
        practice = "practice · " if self.practice else ""
        return f'<div class="head"><h3>{text(self.question.title)}</h3><small>{practice}{points}{text(mine)}</small></div>'

    @cached_property
    def prompt(self) -> str:
        """The question with this student's numbers."""
        return _MARKDOWN.render(self.question.prompt_for(self.store.student, self.retry).strip())

    @cached_property
    def form(self) -> str:
        """The form, as it is first shown; what is filled in afterwards lives in the page."""
        return f"<form data-form=\"{self.forms}\" onsubmit='return false'>{form_html(self.question, self.store.student, self.answer, self.key)}</form>"

    @cached_property
    def picture(self) -> str:
        """The vessel as it stands, or ""."""
        if self.scene is not None:
            return self.scene.standing()
        return standing_alone(self.question, self.case) if "before" in self.case.states else ""

    @property
    def halves(self) -> str:
        """The picture beside the form, and what to take care of under the shorter of the two."""
        left, right = self.picture, self.form
        tall = any(part.kind == "table" or is_list(part) for part in self.question.parts)
        if left and not tall:
            right += self.care()
        else:
            left += self.care()
        right = f"<div>{right}</div>"
        return f'<div class="two"><div>{left}</div>{right}</div>' if left else right

    def care(self) -> str:
        """What is grave and was not said before in this notebook, by the bench or another panel."""
        cautions = cautions_of(self.question, self.case)
        new = [c for c in cautions if c.gravity <= 2 and first_said(c.key, self.question.id)]
        lines = "".join(f"<p>{text(caution.words)}</p>" for caution in new[:2])
        return f'<div class="care">{lines}</div>' if lines else ""

    @cached_property
    def told(self) -> Told:
        """What was said beside what happened, and why, in pieces."""
        return told_html(self.question, self.case, self.record.answer if self.record else {}, self.watched)

    @cached_property
    def outcome(self) -> str:
        """The vessels, Q beside K, what was said beside what happened, and why."""
        return f"{self.told.picture}{self.watched.line_svg()}{self.told.words}"

    @property
    def outcome_folded(self) -> str:
        """The same without its picture, out of the way of the sliders."""
        return f"<details><summary>You said, it did, and why</summary>{self.told.words}</details>"

    @property
    def help(self) -> str:
        """In practice: how it went, with a little more help each time, and the working when it may be seen."""
        if not self.practice or (made := self.marked()) is None:
            return ""
        words = feedback.ladder(self.question, made, self.tries())
        if self.working and self.may_work:
            words += f"\n\n**The working**\n\n{worked(self.question, self.case)}"
        return _MARKDOWN.render(words)

    def buttons(self) -> str:
        """What can be done now, and what is recorded."""
        noun = "prediction" if self.question.kind == "prediction" else "answer"
        made = []
        if self.stage == "doing":
            made.append(_button("Skip to the end", "skip"))
        elif self.stage == "predict" or (self.practice and not self.has_outcome):
            made.append(_button(f"Record my {noun}", "record"))
            if self.has_outcome:
                made.append(_button(self.watched.verb, "doit"))
        else:
            if self.trying is None:
                made.append(_button("Try other amounts", "try"))
            made.append(_button("See it again", "replay", quiet=True))
            if not self.locked:
                made.append(_button("Change my prediction", "change", quiet=True))
        if self.practice:
            made.append(_button("Show the working", "work", quiet=True))
            if any(span.choices > 1 for span in self.question.ranges.values()):
                made.append(_button("New numbers", "fresh", quiet=True))
        return (
            f'<div class="go">{"".join(made)}<span class="state" role="status" data-say="state"></span></div>'
        )

    def state(self) -> str:
        """One line: is what is on the screen what is recorded?"""
        record = self.own
        if self.news:
            return self.news
        if record is None:
            return f"Not recorded yet{': press the button when you are sure' if self.given else ''}."
        if self.stage == "predict" and not self.unchanged:
            return "Changed, not recorded yet."
        when = f"Recorded {time_of(record).rsplit(', ', 1)[1]}"
        if blanks := [legend_of(self.question.part(n)) for n in standing(self.question, record).missing]:
            when = f"Still blank: {', '.join(blanks)}. {when}"
        if self.loaded_again:
            return f"{when}, in the file beside this notebook. Run this cell again (Shift + Enter) to have it in the notebook too."
        if self.practice:
            return f"{when}."
        rule = what_counts(self.question, self.locked)
        return (
            f"{when}, in this notebook and in a file beside it. {rule} It will be marked after you hand in."
        )

    def draw(self, **more: Any) -> None:
        say = {"state": self.state(), **readings(self.question, self.on_screen, self.key)}
        if self.trying is not None:
            say |= self.trying.say()
        off = [] if self.unchanged else ["doit"]
        off += ["work"] if not self.may_work or self.working else []
        self.put(say=say, off=off, **more)

    # -- what is filled in --------------------

    @property
    def on_screen(self) -> dict[str, Any]:
        """The values of the controls, by name."""
        return (
            self.values if self.values is not None else recorded_values(self.question, self.answer, self.key)
        )

    @property
    def given(self) -> dict[str, Any]:
        """What is filled in, by part."""
        found = {part.id: raw_of(part, self.on_screen, self.key) for part in self.question.parts}
        return {name: raw for name, raw in found.items() if raw is not None}

    @property
    def unchanged(self) -> bool:
        """Is what is on the screen what is recorded, for the present numbers?"""
        record = self.own
        if record is None:
            return False
        kept = {RETRY: record.answer[RETRY]} if RETRY in record.answer else {}
        return same_answer(record, {**self.given, **kept})

    # -- what a person does --------------------

    def on_set(self, values: dict[str, Any], name: str) -> None:
        """Something was chosen or typed."""
        self.values, self.news = values, ""
        self.draw()

    def on_record(self, values: dict[str, Any], name: str) -> None:
        """Keep what is filled in, or say what is still needed."""
        self.values = values or self.values
        if self.unchanged:
            self.news = "This is recorded already."
            return self.draw()
        try:
            answer = self.answer_given()
            kept = self.said_of_kept(answer)
            saved = self.store.save(self.question.id, answer)
        except EqlibError as error:
            now = (
                "Not recorded: what you recorded before stands." if self.own else "Nothing was recorded yet."
            )
            self.news = f"{now} {error}"
            return self.draw()
        self.news, self.working = saved.problem or kept, False
        self.answer, self.values = dict(saved.record.answer), None if kept else self.values
        if kept:
            self.make_form_anew()
        self.keep()
        for sheet in live():
            sheet.on_recorded()
        on = "[data-do=doit]" if self.has_outcome else ""
        more = {"rerun": saved.record.receipt} if self.loaded_again else {}
        return self.draw(focus={"id": saved.record.receipt, "on": on}, **more)

    def said_of_kept(self, answer: Mapping[str, Any]) -> str:
        """A line about the fields that were emptied: a recorded answer can be replaced, not taken back."""
        names = [legend_of(self.question.part(n)) for n in kept_parts(answer, self.record) if n != RETRY]
        if not names:
            return ""
        stand = "stands" if len(names) == 1 else "stand"
        return (
            f"An answer can be replaced, but not taken back: {', '.join(names)} {stand} as recorded before."
        )

    def answer_given(self) -> dict[str, Any]:
        """What is filled in, ready to be recorded. Raises EqlibError naming what is missing or unreadable."""
        given, held = self.given, self.own.answer if self.own else {}
        empty = [p for p in self.question.parts if p.scored and p.id not in given]
        missing = [p for p in empty if blank(held.get(p.id))]
        needed = [p for p in missing if p.kind == "choice"] or (missing if not (given or held) else [])
        if needed:
            names = [f"“{legend_of(part)}”" for part in needed]
            raise EqlibError(
                f"Please answer this too: {', '.join(names[:-1])}{' and ' if names[:-1] else ''}{names[-1]}."
            )
        for part in self.question.parts:
            if part.id in given and not (found := read_part(part, given[part.id])).ok:
                raise EqlibError(f"{legend_of(part)}: {found.message}")
        return {**given, RETRY: self.retry} if self.practice else given

    def on_doit(self, values: dict[str, Any], name: str) -> None:
        """What was predicted about is done: the film."""
        record = self.record
        if record is None or not (self.has_outcome and self.unchanged):
            return
        self.store.note_seen(self.question.id)
        self.answer, self.stage, self.news = dict(record.answer), "doing", ""
        self.forget("told", "outcome")
        self.keep()
        self.draw(
            film={"play": True, "frames": self.watched.frames()},
            focus={"id": f"film{self.films}", "on": "[data-do=skip]"},
        )

    def on_over(self, values: dict[str, Any], name: str) -> None:
        """The film is over."""
        if self.stage == "doing":
            self.stage = "done"
            self.keep()
            self.draw(focus={"id": f"over{self.films}", "on": "[data-do=try]"})

    on_skip = on_over

    def on_replay(self, values: dict[str, Any], name: str) -> None:
        """The film once more."""
        self.stage, self.trying = "doing", None
        self.draw(
            film={"play": True, "frames": self.watched.frames()},
            focus={"id": f"film{self.films}", "on": "[data-do=skip]"},
        )

    def on_change(self, values: dict[str, Any], name: str) -> None:
        """Back to the form, where the policy or practice allows it."""
        record = self.record
        if record is not None and not self.locked:
            self.answer, self.values = dict(record.answer), None
            self.stage, self.trying = "predict", None
            self.make_form_anew()
            self.draw()

    def on_try(self, values: dict[str, Any], name: str) -> None:
        """Open the sliders."""
        self.trying = Trying(self.watched, self.key)
        self.draw(focus={"id": f"try{self.films}", "on": "input[type=range]"})

    def on_slide(self, values: dict[str, Any], name: str) -> None:
        """A slider or a switch was moved."""
        if self.trying is not None:
            self.trying.move(values)
            self.redraw(self.trying.say(), tried=self.trying.picture())

    def on_undo(self, values: dict[str, Any], name: str) -> None:
        """One move back."""
        if self.trying is not None:
            self.trying.undo()
            self.draw()

    def on_reset(self, values: dict[str, Any], name: str) -> None:
        """The amounts of the question again."""
        if self.trying is not None:
            self.trying.reset()
            self.draw()

    # -- practice --------------------

    def marked(self) -> Mark | None:
        """The mark of what is recorded for the present numbers, or None."""
        record = self.own
        if record is None:
            return None
        return mark(self.question, {**record.answer, RETRY: self.retry}, record.student, retry=self.retry)

    def tries(self) -> int:
        """How often the present numbers were answered."""
        record = self.record
        return 0 if record is None else sum(set_of(attempt) == self.retry for attempt in record.attempts)

    @property
    def may_work(self) -> bool:
        """May the worked solution be seen?"""
        if not self.practice or (made := self.marked()) is None or not self.question.policy.working:
            return False
        return made.points >= made.max_points or self.tries() >= self.question.policy.working_after

    def on_work(self, values: dict[str, Any], name: str) -> None:
        """The worked solution."""
        self.working = self.may_work
        self.draw()

    def on_fresh(self, values: dict[str, Any], name: str) -> None:
        """The same question with other numbers."""
        self.retry += 1
        self.answer, self.values, self.stage, self.trying = {}, None, "predict", None
        self.news, self.working = "These are new numbers. What you recorded before is kept.", False
        self.forget()
        self.draw()

    # -- what the notebook keeps --------------------

    def kept_data(self) -> dict[str, Any]:
        """The record, and the last picture."""
        note = ""
        if self.record is None and self.store.answered_for_others(self.question.id):
            note = "You answered this before you gave your id, for other numbers. Please answer again."
        picture = words = ""
        if self.scene is not None and self.stage != "predict":
            d = self.case.change
            cast = self.scene.vessel(d.before, "before"), self.scene.vessel(d.after, "after")
            words = said_of(cast)
            before, after = (replace(v, name="", lines=()) for v in cast)
            picture = shelf([before, "→", after], f"{self.question.title}: before and after")
        return kept_bundle(
            self.question, self.record, picture=picture, words=words, note=note, locked=self.locked
        )

    def on_loaded_again(self) -> None:
        """What was filled in stands there again; the cell has to run before the notebook keeps anything new."""
        self.answer = self.given
        self.make_form_anew()
        self.draw()


def _button(words: str, do: str, quiet: bool = False) -> str:
    tone = ' class="quiet"' if quiet else ""
    return f'<button type="button"{tone} data-do="{do}">{words}</button>'


def set_of(answer: Mapping[str, Any]) -> int:
    """Which set of numbers an answer belongs to (practice)."""
    value = answer.get(RETRY, 0)
    return value if type(value) is int and value >= 0 else 0


def recorded_values(question: Question, answer: Mapping[str, Any], key: str) -> dict[str, Any]:
    """What the controls hold when the form is first drawn with ``answer``."""
    values: dict[str, Any] = {}
    for part in question.parts:
        name, value = f"{key}/{part.id}", answer.get(part.id)
        if part.kind == "table" and isinstance(value, dict):
            values |= {f"{name}/{row}/{c}": v for row, cells in value.items() for c, v in cells.items()}
        elif part.kind == "order" and isinstance(value, list):
            values |= {f"{name}/{n}": v for n, v in enumerate(value)}
        elif value is not None:
            values[name] = value
    return values


def standing_alone(question: Question, case: Case) -> str:
    """The vessel of a question in which nothing is done to the mixture."""
    fresh = about_mixing(question)
    state, measured = case.states["mixed" if fresh else "before"], case.measured
    kind = kind_of(question, state)
    lines = [*(["just mixed"] if fresh else []), colour_of(state, SHAPES[kind].width_cm, cloudy=False).words]
    if "absorbance" in measured:
        at = f" at {measured['nm']:.0f} nm" if "nm" in measured else ""
        lines += [f"A = {measured['absorbance']:.3f}{at}", f"path {measured['path']:.2f} cm"]
    vessel = vessel_of(state, f"your {NOUNS.get(kind, kind)}", kind, lines=lines)
    vessel = replace(vessel, closed=is_closed(question.prompt))
    if kind == "flask":  # one is taken that the mixture fills
        vessel = replace(vessel, level=0.85)
    return shelf([vessel], f"{question.title}: the mixture", ", ".join(lines))


def about_mixing(question: Question) -> bool:
    """Is everything asked about the way from the instant of mixing, when nothing has reacted yet?"""
    asked = [part for part in question.parts if part.scored]
    return question.setting.measured is None and all(
        part.when == "mixed" or part.ask in ("graph", "direction") for part in asked
    )


def cautions_of(question: Question, case: Case) -> tuple[Caution, ...]:
    """What to take care of with what is in this vessel, gravest first."""
    setting = question.setting
    systems = [s for s in (setting.found, *setting.cautions_from) if s]
    mixture = case.states["before"].mixture if "before" in case.states else None
    if not systems and mixture is None:
        return ()
    return cautions_for(systems, mixture, case.stress)


def first_said(key: str, place: str) -> bool:
    """Is ``place`` (the bench, a question) where this notebook says the caution ``key``? It does so once."""
    return _said_at.setdefault(key, place) == place
