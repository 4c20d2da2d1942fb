"""The application: one case on the bench, and the ways to others, to lessons and to the knowledge."""

import asyncio
import gc
import shlex
import signal
from collections.abc import Sequence
from dataclasses import replace
from functools import cached_property, partial
from pathlib import Path
from typing import TYPE_CHECKING, ClassVar

from textual import events
from textual.app import App, SystemCommand
from textual.binding import Binding, BindingType
from textual.reactive import reactive
from textual.screen import Screen
from textual.widgets import Input

from symptomtree.cases.bikes import Bike
from symptomtree.cases.files import read_case
from symptomtree.cases.model import AnyEvent, Case, Measured
from symptomtree.plain.keeper import Keeper, default_path
from symptomtree.reasoning.costs import Profile
from symptomtree.reasoning.profiles import profile_named
from symptomtree.terminal.keys import KEYS, keys_path, own_keys
from symptomtree.terminal.look import LOOKS, THEMES
from symptomtree.terminal.opening import OpeningScreen
from symptomtree.terminal.parts import Line, Palette, Sheet, clean_line

if TYPE_CHECKING:
    from symptomtree.kb.compile import KnowledgeBase

UNTITLED = "A case without a complaint yet"


class SymptomtreeApp(App[None]):
    """Opened by `symptomtree` alone."""

    TITLE = "symptomtree"
    HORIZONTAL_BREAKPOINTS = [(0, "-narrow"), (76, "-home"), (116, "-wide")]  # noqa: RUF012 - as the library has it
    VERTICAL_BREAKPOINTS = [(0, "-short"), (22, "-tall")]  # noqa: RUF012 - the same
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("ctrl+c,ctrl+q", "leave", "Leave", show=False, priority=True),
        Binding("ctrl+z", "suspend_process", show=False, priority=True),
    ]
    CSS = """
    OptionList, OptionList:focus { border: none; padding: 0; }
    Input, Input:focus { border: none; height: 1; padding: 0 1; background: $panel; }
    Input > .input--placeholder { color: $text-muted; }
    CommandPalette { background: $background 60%; }
    CommandPalette > Vertical { margin-top: 5; }
    """
    case_stops: reactive[tuple[str, ...]] = reactive(())
    """Why the bike of the case must not be ridden; every screen shows it."""
    lesson_stops: reactive[tuple[str, ...]] = reactive(())
    """Why the bike of the lesson must not be ridden."""
    stops: reactive[tuple[str, ...]] = reactive(())
    """Both."""

    def __init__(
        self,
        *,
        case: Path | None = None,
        knowledge: Path | None = None,
        profile: str = "new-mechanic",
        look: str = "dark",
        kb: "KnowledgeBase | None" = None,
    ) -> None:
        """Take what is needed.

        Args:
            case: a case file to go on with.
            knowledge: a folder (default: what ships).
            profile: whose time and money it is: the name of a preset, or a file.
            look: one of `look.THEMES`.
            kb: knowledge that is open already.

        Raises:
            BadCase, BadKeys, BadProfile, Faulty, Unreadable: an input cannot be used; the message says why.
        """
        super().__init__()
        for name, theme in THEMES.items():
            # Where NO_COLOR is set, the library would show the terminal's own colours as black on black.
            grey = self.no_color and name == "plain"
            self.register_theme(replace(THEMES["dark"], name=name) if grey else theme)
        self.theme = look
        self._folder, self._profile_name = knowledge, profile
        if kb is not None:
            self.kb = kb
        self.keeper: Keeper
        self.set_keymap(own_keys(keys_path()))
        self._first = self._open(case) if case and case.exists() else Case(symptomtree_case=1, title=UNTITLED)
        self._path = case
        self.bike: Bike | None = None
        self.learner = "me"
        self.spoilt = False  # whether the learner's file is one that must not be written over
        self.left = ""

    # What is known, opened when it is first needed

    @cached_property
    def kb(self) -> "KnowledgeBase":
        from symptomtree.kb.compile import open_knowledge

        return open_knowledge(self._folder)

    @cached_property
    def profile(self) -> Profile:
        return profile_named(self._profile_name, self.kb)

    @cached_property
    def matcher(self):  # type: ignore[no-untyped-def]
        from symptomtree.reasoning.words import Matcher

        return Matcher(self.kb)

    @cached_property
    def adviser(self):  # type: ignore[no-untyped-def]
        from symptomtree.reasoning.assess import Adviser

        adviser = Adviser(self.kb)
        gc.freeze()  # all that is there by now stays: no need to look through it for garbage in the middle of an answer
        return adviser

    @cached_property
    def tutor(self):  # type: ignore[no-untyped-def]
        from symptomtree.lessons.way import Tutor

        return Tutor(self.kb, self.profile)

    def compute_stops(self) -> tuple[str, ...]:
        return (*self.case_stops, *(f"IN THE LESSON: {stop}" for stop in self.lesson_stops))

    async def on_event(self, event: events.Event) -> None:
        """Keys typed ahead, before a screen is there, were not meant for it."""
        if not isinstance(event, events.InputEvent) or self.screen.is_mounted:
            await super().on_event(event)

    def on_mount(self) -> None:
        for sign in (signal.SIGTERM, signal.SIGHUP):  # the terminal is given back also when someone kills us
            asyncio.get_running_loop().add_signal_handler(sign, self.exit)
        self.app_resume_signal.subscribe(self, lambda _: self.refresh())  # after Ctrl-Z the terminal shows nothing
        if self._first.events:
            self.take(self._first, self._path)
        else:
            self.push_screen(OpeningScreen())
            self.call_after_refresh(lambda: self.run_worker(self._get_ready, thread=True, exit_on_error=False))

    def _get_ready(self) -> None:
        """Open what the first words need while they are typed. What goes wrong here is told to whoever needs it."""
        self.matcher, self.adviser  # noqa: B018

    def _open(self, path: Path) -> Case:
        return read_case(path, self.kb)

    # The case

    def take(self, case: Case, path: Path | None) -> None:
        """Put a case on the bench; a walkthrough is never written over."""
        self._keep(case, path)
        self.back_to_case()

    def _keep(self, case: Case, path: Path | None) -> None:
        path = default_path() if path is None or case.known else path
        self.keeper = Keeper(self.kb, case, path, self.profile, self._tell, self.adviser)

    def begin(self, events: Sequence[AnyEvent]) -> None:
        """Add what was said: to a new case, or to the one on the bench."""
        if not self.has_case:
            self._keep(Case(symptomtree_case=1, title=UNTITLED), self._path)
        self.keeper.add(*events)
        self.back_to_case()

    @property
    def has_case(self) -> bool:
        """Whether a case is on the bench."""
        return hasattr(self, "keeper")

    def new_case(self) -> None:
        """Begin a new case; the one on the bench is kept."""
        if self.has_case:
            del self.keeper
        self.case_stops, self._path = (), None
        self.hear()

    def hear(self) -> None:
        """Ask what is wrong."""
        self.switch_to(OpeningScreen())

    def back_to_case(self) -> None:
        """Show the bench again, if there is a case with anything in it."""
        from symptomtree.terminal.bench import BenchScreen

        if self.has_case and self.keeper.events:
            self.switch_to(BenchScreen())

    def switch_to(self, screen: Screen[None]) -> None:
        """Show a screen in place of all that are open."""
        while len(self.screen_stack) > 1:
            self.pop_screen()
        self.push_screen(screen)

    def _tell(self, said: str) -> None:
        self.notify(clean_line(said), severity="error", timeout=15, markup=False)

    # What every screen can do

    def action_stops(self) -> None:
        if self.stops:
            self.push_screen(Sheet("Do not ride", self.stops))

    def action_command_palette(self) -> None:
        if not isinstance(self.screen, Palette):
            self.push_screen(Palette(id="--command-palette"))

    def action_keys(self) -> None:
        """List the keys of the screen that is shown."""
        lines = []
        for binding in self.screen.active_bindings.values():
            name = binding.binding.id
            if name in KEYS:
                lines.append(f"{self.get_key_display(binding.binding):>8}  {KEYS[name][1]}: {KEYS[name][2]}")
        lines += [
            "",
            "Digits choose an answer. Arrows move, Enter chooses, Space ticks, Tab goes on, Page keys turn the page.",
            "Ctrl+P finds everything by its name.",
        ]
        lines.append(f"Your own keys: lines like  undo: b  in {keys_path()}, by these names: {', '.join(KEYS)}.")
        self.push_screen(Sheet("Keys", lines))

    def action_next_look(self) -> None:
        names = list(THEMES)
        self.theme = names[(names.index(self.theme) + 1) % len(names)] if self.theme in names else names[0]

    def action_leave(self) -> None:
        """Leave; the case is on disk already."""
        if self.has_case and self.keeper.events:
            self.left = str(self.keeper.path) if self.keeper.saved else ""
        self.exit()

    def action_cases(self) -> None:
        from symptomtree.terminal.shelf import CasesScreen

        self.push_screen(CasesScreen())

    def action_lessons(self) -> None:
        from symptomtree.terminal.lessons import LessonsScreen

        self.push_screen(LessonsScreen())

    def action_measure(self) -> None:
        from symptomtree.terminal.measure import ToolsScreen

        self.push_screen(ToolsScreen())

    def take_measured(self, found: Sequence[AnyEvent]) -> None:
        """Add what was measured to the case; the bench goes on with what it was at, or with what now comes next."""
        from symptomtree.terminal.bench import BenchScreen

        if isinstance(self.screen, BenchScreen) and len(found) > 1:  # else nothing follows, and ticks stay
            self.screen.add(*found)
            return
        self.keeper.add(*found)
        self.pop_screen()  # the list of tools
        for screen in self.screen_stack:
            if isinstance(screen, BenchScreen) and not all(isinstance(e, Measured) for e in found):
                screen.refresh_case()
        self.notify("Written down.", markup=False)

    def action_browse(self) -> None:
        """Read the knowledge; what is beneath goes on with what was taken into use there."""
        from symptomtree.terminal.browser import BrowserScreen

        before = self.kb
        self.push_screen(BrowserScreen(), lambda _: self._begin_anew() if self.kb is not before else None)

    def take_knowledge(self, kb: "KnowledgeBase") -> None:
        """Go on with other knowledge. What the case says and this does not know becomes a note, and is told.

        Raises:
            BadProfile: the profile does not fit; everything stays as it was.
        """
        from symptomtree.cases.refit import refit

        profile = profile_named(self._profile_name, kb)
        for made in ("matcher", "adviser", "tutor"):
            self.__dict__.pop(made, None)
        self.kb, self.profile = kb, profile
        if not self.has_case:
            return
        old = self.keeper
        case, strange = refit(old.case, kb)
        self._keep(case, None if strange else old.path)
        if strange:  # it goes on in a file of its own, so that the old one keeps every answer
            self._tell(
                f"{len(strange)} of what the case says is not known any more and stays as a note: {strange[0]}. "
                f"The case as it was stays in {old.path}."
            )

    def _begin_anew(self) -> None:
        """Show what was open before the knowledge changed: the words typed, or the case."""
        from symptomtree.terminal.bench import BenchScreen

        bench = next((s for s in self.screen_stack if isinstance(s, BenchScreen)), None)
        opening = next((s for s in self.screen_stack if isinstance(s, OpeningScreen)), None)
        if bench:
            bench.refresh_case()
        elif opening:
            words = opening.query_one("#words", Input).value
            self.hear()
            self.screen.call_after_refresh(lambda: setattr(self.screen.query_one("#words"), "value", words))

    def show_cause(self, cause: str) -> None:
        """Say why a cause is likely or not, what would change that, and where it stands in the knowledge."""
        from symptomtree.terminal.asking import about_cause

        self.show_text(self.kb.name_of(cause), "\n".join(about_cause(self.keeper.assessment, cause)))

    def show_text(self, title: str, body: str) -> None:
        """Show a text that can be copied and saved."""
        from symptomtree.terminal.paper import Paper

        self.push_screen(Paper(title, body))

    def copy_text(self, body: str) -> None:
        """Copy by the terminal (OSC 52); where a terminal refuses that, the text can be saved."""
        self.copy_to_clipboard(body)
        self.notify("Copied, if your terminal allows it. If not: save it.", markup=False)

    def save_text(self, body: str, name: str) -> None:
        """Ask where to, and write a text to a file."""

        def write(said: str | None) -> None:
            if not said:
                return
            path = Path(said).expanduser()
            try:
                with path.open("x", encoding="utf-8") as file:
                    file.write(body)
            except FileExistsError:
                self._tell(f"{path} is there already; name another file.")
            except OSError as error:
                self._tell(f"{path} cannot be written: {error.strerror or error}. Name another file.")
            else:
                self.notify(clean_line(f"Written to {path.absolute()}"), markup=False)

        self.push_screen(Line("Write to which file?", name), write)

    def get_system_commands(self, screen: Screen[object]):  # type: ignore[no-untyped-def]
        """Yield what the screen's own keys do, the looks, and what can be gone to from everywhere."""
        own = {b.id: b for b in screen.BINDINGS if isinstance(b, Binding) and b.id in KEYS}
        for name, binding in own.items():
            yield SystemCommand(*KEYS[name][1:], partial(self.run_action, binding.action, screen))
        for name, words in LOOKS.items():
            yield SystemCommand(f"Look: {name}", words, partial(setattr, self, "theme", name))
        everywhere = {
            "cases": self.action_cases,
            "lessons": self.action_lessons,
            "browse": self.action_browse,
            "measure": self.action_measure,
            "help": self.action_keys,
            "quit": self.action_leave,
        }
        for name, action in everywhere.items():
            if name not in own:
                yield SystemCommand(*KEYS[name][1:], action)


def open_app(case: Path | None, knowledge: Path | None, profile: str, look: str, mouse: bool) -> int:
    """Open the application. Returns the exit code.

    Raises:
        BadCase, BadKeys, BadProfile, Faulty, Unreadable: an input cannot be used; the message says why.
    """
    app = SymptomtreeApp(case=case, knowledge=knowledge, profile=profile, look=look)
    app.run(mouse=mouse)
    if app.left:
        print(f"The case is saved. To go on with it: symptomtree --case {shlex.quote(clean_line(app.left))}")
    return app.return_code or 0
