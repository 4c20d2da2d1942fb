"""The learner's mode on the screen: choose a lesson, work it, see beside the adviser's way how good it was."""

from collections.abc import Callable
from datetime import date
from typing import ClassVar

import numpy as np
from textual import on
from textual.app import ComposeResult
from textual.binding import BindingType
from textual.containers import Horizontal, Vertical, VerticalScroll
from textual.widgets import Input, OptionList, Static
from textual.widgets.option_list import Option

from symptomtree.cases.files import BadCase
from symptomtree.kb.nodes import nearest
from symptomtree.lessons.choices import Choice, choices
from symptomtree.lessons.debrief import debrief
from symptomtree.lessons.generate import generated
from symptomtree.lessons.lesson import Action, Lesson, NoLesson, can_be
from symptomtree.lessons.library import library
from symptomtree.lessons.progress import (
    BadProgress,
    Progress,
    learner_path,
    next_lesson,
    read_progress,
    weak_areas,
    with_lesson,
    write_progress,
)
from symptomtree.lessons.way import Way, give_up, hint, name_cause, take
from symptomtree.plain import lessons as lines
from symptomtree.plain import show
from symptomtree.plain.answers import Option as Named
from symptomtree.plain.answers import matching
from symptomtree.plain.text import clean
from symptomtree.terminal.parts import Base, KeyLine, Line, Sheet, StopLine, key, still_there, text

DRAWN, FITTING = "a bike drawn from the knowledge", "the one that fits you best now"
NONE_FITS = f"There is no lesson to choose from: none that ships fits this knowledge. Choose: {DRAWN}."


class LessonsScreen(Base):
    """Lists the lessons, with what is weak so far."""

    BINDINGS: ClassVar[list[BindingType]] = [
        key("help", "app.keys"),
        key("learner"),
        key("back", "app.pop_screen"),
        key("stops", "app.stops", show=False),
        key("quit", "app.leave"),
    ]
    DEFAULT_CSS = """
    LessonsScreen #head { padding: 0 1; text-style: bold; color: $primary; }
    LessonsScreen #stand { padding: 0 1; }
    LessonsScreen OptionList { height: 1fr; border: none; }
    """

    def compose(self) -> ComposeResult:
        yield StopLine()
        yield Static("Lessons: a bike whose fault is known. Choose one.", id="head", markup=False)
        yield Static(id="stand", markup=False)
        yield OptionList()
        yield KeyLine()

    def on_mount(self) -> None:
        self._show()

    def _show(self) -> None:
        app = self.ours
        path = learner_path(app.learner)
        try:
            self.progress = read_progress(path, app.learner)
        except BadProgress as error:
            self.progress = Progress(symptomtree_learner=1, name=app.learner)
            app.spoilt = True  # what cannot be read is not written over
            app.show_text("What was learnt cannot be read", str(error))
        stand = [f"Learner: {app.learner}.", *lines.standing(app.kb, self.progress)]
        try:
            self._lessons = library(app.kb)
        except (BadCase, NoLesson):  # one's own knowledge need not have what the lessons that ship are about
            self._lessons = ()
            stand.append("The lessons that ship do not fit this knowledge; a bike can be drawn from it.")
        self.query_one("#stand", Static).update(text(*stand))
        box = self.query_one(OptionList)
        box.clear_options()
        box.add_options(Option(text(f"* {x}")) for x in (FITTING, DRAWN))
        listed = zip(self._lessons, lines.listed(app.kb, self._lessons, self.progress), strict=True)
        # without the name, which may tell the fault
        box.add_options(Option(text(line.removeprefix(f"{x.name}: "))) for x, line in listed)
        box.highlighted = 0
        box.focus()

    @on(OptionList.OptionSelected)
    def _chosen(self, event: OptionList.OptionSelected) -> None:
        if not still_there(event):
            return
        random = np.random.default_rng()
        if event.option_index == 0:
            fitting = next_lesson(self.progress, self._lessons, random)
            if fitting is None:
                self.notify(NONE_FITS, severity="warning", markup=False)
                return
            lesson = fitting
        elif event.option_index == 1:
            weak = next(iter(weak_areas(self.progress)), None)
            number = int(random.integers(1_000_000))
            try:
                lesson = generated(self.ours.tutor, number, weak if number % 2 else None)
            except NoLesson as error:
                self.notify(clean(str(error)), severity="error", markup=False)
                return
        else:
            lesson = self._lessons[event.option_index - 2]
        self.app.push_screen(LessonScreen(lesson, self.progress), lambda _: self._show())

    def action_learner(self) -> None:
        def named(name: str | None) -> None:
            if not name:
                return
            try:
                learner_path(name)
            except BadProgress as error:
                self.notify(clean(str(error)), severity="error", markup=False)
                return
            self.ours.learner = name
            self._show()

        self.app.push_screen(Line("Who is learning? Progress is kept by name.", self.ours.learner), named)


class LessonScreen(Base):
    """Works one lesson: what was told and done on one side, what can be done on the other."""

    BINDINGS: ClassVar[list[BindingType]] = [
        key("help", "app.keys"),
        key("find"),
        key("hint"),
        key("verdict"),
        key("hand-over"),
        key("give-up"),
        key("back", "back"),
        key("stops", "app.stops", show=False),
        key("quit", "app.leave"),
    ]
    DEFAULT_CSS = """
    LessonScreen Horizontal { height: 1fr; }
    LessonScreen #log { width: 1fr; padding: 0 1; scrollbar-size-vertical: 1; }
    LessonScreen #can { width: 1fr; border-left: solid $primary; }
    LessonScreen #find { border: none; height: 1; background: $panel; }
    LessonScreen OptionList { height: 1fr; border: none; padding: 0; background: $background; }
    LessonScreen.-narrow Horizontal { layout: vertical; }
    LessonScreen.-narrow #can { border-left: none; border-top: solid $primary; width: 100%; height: 1fr; }
    LessonScreen.-narrow #log { width: 100%; height: 1fr; }
    """

    def __init__(self, lesson: Lesson, progress: Progress) -> None:
        super().__init__()
        self.way, self._progress = Way(lesson), progress
        self._told: list[str] = []
        self._shown: list[Choice] = []

    def compose(self) -> ComposeResult:
        yield StopLine()
        with Horizontal():
            with VerticalScroll(id="log", can_focus=False):
                yield Static(id="told", markup=False)
            with Vertical(id="can"):
                yield Input(placeholder="what do you do next? type to find it", id="find", max_length=100)
                yield OptionList()
        yield KeyLine()

    def on_mount(self) -> None:
        self._tell(*lines.opening(self.ours.kb, self.way.lesson))
        self._choices()
        self.query_one(OptionList).focus()

    def on_unmount(self) -> None:
        self.ours.lesson_stops = ()

    # Showing

    def _tell(self, *said: str) -> None:
        self._told += [*said, ""]
        self.query_one("#told", Static).update(text(*self._told))
        self.call_after_refresh(self.query_one("#log", VerticalScroll).scroll_end, animate=False)

    def _choices(self) -> None:
        """Show what can be done, or what of it fits the words typed."""
        a = self.ours.tutor.assess(self.way.events)
        self.ours.lesson_stops = tuple(show.stops(a.knowledge, a.standing_stops))
        every = choices(a, self.way.lesson)
        words = clean(self.query_one("#find", Input).value).casefold().split()
        self._shown = [
            c for c in every if all(w in f"{lines.choice(c)} {c.part} {c.action.name}".casefold() for w in words)
        ]
        if words and not self._shown:
            by_name = {c.action.name: c for c in every}
            named = [Named(name, c.words, (c.part,)) for name, c in by_name.items()]
            self._shown = [by_name[o.value] for o in matching(" ".join(words), named)]
        box = self.query_one(OptionList)
        box.clear_options()
        box.add_options(Option(text(f"{c.part}: {lines.choice(c)}")) for c in self._shown)
        if not self._shown:
            box.add_option(Option("Nothing that can be done here is like that.", disabled=True))
        box.highlighted = 0 if self._shown else None

    # Doing

    @on(Input.Changed, "#find")
    def _typed(self) -> None:
        self._choices()

    @on(Input.Submitted, "#find")
    def _found(self) -> None:
        self.query_one(OptionList).focus()

    @on(OptionList.OptionSelected)
    def _chosen(self, event: OptionList.OptionSelected) -> None:
        if still_there(event):
            self._do(self._shown[event.option_index].action)

    def _do(self, action: Action) -> None:
        tutor, kb = self.ours.tutor, self.ours.kb
        self.way = take(tutor, self.way, action)
        money = show.money(tutor.assess(self.way.events))
        self._tell(lines.action(kb, action), *lines.outcome(kb, self.way, money))
        with self.prevent(Input.Changed):
            self.query_one("#find", Input).value = ""
        self._choices()
        if self.way.ended:
            self._end()

    def action_find(self) -> None:
        self.query_one("#find").focus()

    def action_hint(self) -> None:
        """Take a hint; each costs a little."""
        tutor = self.ours.tutor
        a = tutor.assess(self.way.events)
        given, self.way = hint(tutor, self.way)
        self._tell("Hint:", *lines.hint(a, given))

    def action_verdict(self) -> None:
        """Say what is wrong; near names are offered, never taken."""

        def said(words: str | None) -> None:
            if not words:
                return
            kb, facts = self.ours.kb, self.way.lesson.bike.facts
            fit = [c for c in kb.cause_ids if can_be(kb, facts, c)]
            found = matching(words, [Named(c, kb.name_of(c)) for c in fit])
            if not found:
                near = nearest(words, [kb.name_of(c) for c in fit])
                self._tell(f"No cause that fits this bike is called '{clean(words)[:40]}'{near}.")
                return
            self.app.push_screen(
                Sheet("Which of these is it? That ends the lesson.", self._unproven(), [o.words for o in found]),
                lambda n: self._conclude(found[n].value) if n is not None else None,
            )

        self.app.push_screen(Line("What is wrong with it? Say it in a few words."), said)

    def _unproven(self) -> list[str]:
        open_ = lines.still_open(self.ours.tutor.assess(self.way.events))
        return [f"The bike is not proven to be in order yet: {open_}. Esc goes on with the lesson."] if open_ else []

    def _conclude(self, cause: str) -> None:
        self.way = name_cause(self.way, cause)
        self._end()

    def action_hand_over(self) -> None:
        self._sure("Hand the bike over? That ends the lesson.", lambda: self._do(Action("hand-over")))

    def action_give_up(self) -> None:
        def up() -> None:
            self.way = give_up(self.way)
            self._end()

        self._sure("Give up, and see the answer? That ends the lesson.", up)

    def _sure(self, title: str, do: Callable[[], None]) -> None:
        """Ask first: one wrong key would end the lesson, and it counts."""
        self.app.push_screen(
            Sheet(title, ["Esc goes back to the lesson."], ["yes"]), lambda n: do() if n is not None else None
        )

    def action_back(self) -> None:
        """Leave the words for the list, and the list for the lessons; what is not ended is not counted."""
        if self.query_one("#find").has_focus:
            self.query_one(OptionList).focus()
        else:
            self.dismiss(None)

    def _end(self) -> None:
        app = self.ours
        ended = debrief(app.tutor, self.way)
        money = show.money(app.tutor.assess(self.way.events))
        progress = with_lesson(self._progress, ended, date.today())
        said = [*lines.debrief(app.kb, ended, money), "", *lines.standing(app.kb, progress)]
        if not app.spoilt:
            try:
                write_progress(learner_path(app.learner), progress)
            except OSError as error:
                said.append(f"This could not be written down: {error.strerror or error}.")
        self.dismiss(None)
        app.show_text("Debrief", "\n".join(said))
