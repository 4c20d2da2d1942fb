"""A person at the full-screen application, for tests: presses keys, pastes words, clicks, and reads the screen."""

from contextlib import asynccontextmanager
from typing import Any

from textual import events
from textual._compositor import Compositor
from textual._context import visible_screen_stack
from textual.keys import _character_to_key
from textual.widgets import OptionList

from symptomtree.cases.model import Answer, AnyEvent, Case, Complaint, Context
from symptomtree.reasoning.state import in_force
from symptomtree.terminal.app import SymptomtreeApp

MOST_ROUNDS = 200
"""So often messages may set off further messages before a key is done with."""


class Hands:
    """Works one application.

    Pilot's own `press` waits until the processor is idle, twice for each key (40 ms and more). All that a key sets off
    here are messages, so it is enough to wait for these.
    """

    def __init__(self, app: SymptomtreeApp, pilot: Any) -> None:
        self.app, self.pilot = app, pilot

    async def settle(self) -> None:
        """Wait until a screen is there and nothing is left to be done by anything on it."""
        await self.pilot.pause(0)
        for _ in range(MOST_ROUNDS):
            await self.pilot.pause(0)
            parts = (self.app, *self.app.screen.walk_children(with_self=True))
            if self.app.screen.is_mounted and not any(part.message_queue_size for part in parts):
                return
        raise AssertionError(f"messages without end: {self.app.screen}")

    def send(self, key: str) -> None:
        """Press a key and do not wait, as someone does who types ahead."""
        one = len(key) == 1
        self.app.post_message(events.Key(_character_to_key(key) if one else key, key if one else None))

    def send_click(self, x: int, y: int) -> None:
        """Press and release the mouse at a place on the screen, and do not wait."""
        for kind in (events.MouseDown, events.MouseUp):
            self.app.post_message(kind(None, x, y, 0, 0, 1, False, False, False, x, y))

    async def press(self, *keys: str) -> None:
        for key in keys:
            self.send(key)
            await self.settle()

    async def paste(self, words: str) -> None:
        self.app.post_message(events.Paste(words))
        await self.settle()

    async def click(self, where: Any, offset: tuple[int, int] = (0, 0)) -> None:
        """Click at a place within a widget."""
        region = self.app.screen.query_one(where).region
        self.send_click(region.x + offset[0], region.y + offset[1])
        await self.settle()

    async def resize(self, width: int, height: int) -> None:
        await self.pilot.resize_terminal(width, height)
        await self.settle()

    async def choose(self, words: str) -> None:
        """Go to the answer that holds these words with the arrows, and choose it with Enter."""
        box = self.app.screen.query_one("#choices", OptionList)
        box.focus()
        await self.press(*["down"] * self.lines("#choices").index(self.line("#choices", words)), "enter")

    async def choose_in_sheet(self, words: str) -> None:
        """Choose what holds these words in the sheet that is shown."""
        await self.choose_at("OptionList", words)

    async def choose_at(self, where: str, words: str) -> None:
        """Go to the line of a list that holds these words, and choose it with Enter."""
        box = self.app.screen.query_one(where, OptionList)
        box.focus()
        box.highlighted = [words in line for line in self.lines(where)].index(True)
        await self.press("enter")

    def lines(self, where: str) -> list[str]:
        """Return the lines of a list on the screen that is shown."""
        return [str(option.prompt) for option in self.app.screen.query_one(where, OptionList).options]

    def line(self, where: str, words: str) -> str:
        found = [line for line in self.lines(where) if words in line]
        assert found, (words, self.lines(where))
        return found[0]

    def rows(self) -> list[str]:
        """Return what stands on the screen, row by row, with what shines through from below it."""
        visible_screen_stack.set(self.app._background_screens)
        return [strip.text.rstrip() for strip in self.app.screen._compositor.render_strips()]

    def text(self) -> str:
        """Return what stands on the screen as running text: what is wrapped in a column is not put together."""
        return " ".join(" ".join(self.rows()).split())

    def shows_stop(self) -> bool:
        """Return whether a reason not to ride stands in words on the screen, wherever the person is."""
        return "STOP RIDING" in self.text()

    @property
    def name(self) -> str:
        return type(self.app.screen).__name__

    @property
    def events(self) -> list[AnyEvent]:
        return self.app.keeper.events

    def counts(self) -> list[AnyEvent]:
        """Return the events that still count."""
        return [e for _, e in in_force(self.events)]


def draw_less(monkeypatch: Any) -> None:
    """Draw a screen only when a test reads it."""
    monkeypatch.setattr(Compositor, "render_update", lambda *_, **__: None)


@asynccontextmanager
async def at_work(app: SymptomtreeApp, size: tuple[int, int] = (80, 24)):
    """Start an application without a terminal; yield the hands that work it."""
    async with app.run_test(size=size, notifications=True) as pilot:
        hands = Hands(app, pilot)
        await pilot.pause()
        await hands.settle()
        yield hands


TO_BAR = (
    Complaint(text="the lever comes to the bar"),
    Answer(finding="lever-travel", grade="to-bar", complaint=True),
    Context(fact="brake-type", value="hydraulic-disc"),
)
"""A brake that must not be ridden with."""
CREAK = (
    Complaint(text="a creak on every hill"),
    Context(fact="gears", value="derailleur"),
    Answer(finding="creak-pedalling", grade="yes", complaint=True),
)
"""A noise that does not stop anyone from riding."""


def case_of(*told: AnyEvent) -> Case:
    return Case(symptomtree_case=1, title="A case", events=list(told))
