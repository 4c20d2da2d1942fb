"""Small pieces that every screen has: the line that says stop, lists of plain text, sheets of text over a screen."""

from collections.abc import Sequence
from contextlib import suppress
from typing import TYPE_CHECKING, Any, ClassVar, cast

from rich.style import Style
from rich.text import Text
from textual import on
from textual.app import ComposeResult
from textual.await_complete import AwaitComplete
from textual.binding import Binding, BindingType
from textual.command import CommandPalette
from textual.containers import Vertical, VerticalScroll
from textual.screen import ModalScreen, Screen
from textual.widgets import Input, OptionList, Static
from textual.widgets.option_list import Option
from textual.worker import Worker

from symptomtree.plain.text import clean
from symptomtree.terminal.keys import KEYS

if TYPE_CHECKING:
    from symptomtree.terminal.app import SymptomtreeApp


def key(name: str, action: str | None = None, *, show: bool = True) -> Binding:
    """Return the binding of a name in `KEYS`."""
    keys, label, what = KEYS[name]
    return Binding(keys, action or name.replace("-", "_"), label, id=name, tooltip=what, show=show)


def text(*lines: str, bold: bool = False) -> Text:
    """Return lines as text: nothing in them is markup, and nothing in them moves the cursor."""
    out = Text("\n".join(clean_line(line) for line in lines), style="bold" if bold else "")
    for word in ("Caution:", "STOP RIDING:"):
        out.highlight_words([word], "bold reverse")
    return out


def clean_line(line: str) -> str:
    """Return one line made harmless, its indent kept."""
    return line[: len(line) - len(line.lstrip(" "))] + clean(line)


def still_there(event: OptionList.OptionSelected) -> bool:
    """Return whether the line chosen is still shown: a second Enter in one go may find other lines, another screen."""
    box, n = event.option_list, event.option_index
    return box.screen.is_active and n < box.option_count and box.get_option_at_index(n) is event.option


class StopLine(Static):
    """Why the bike must not be ridden. It stands on every screen, above everything, and cannot be scrolled away."""

    DEFAULT_CSS = """
    StopLine { dock: top; width: 100%; max-height: 4; background: $error; color: $background; text-style: bold; }
    StopLine.-none { display: none; }
    """

    def on_mount(self) -> None:
        self.watch(self.app, "stops", self.show_stops)

    def show_stops(self, stops: tuple[str, ...]) -> None:
        """Show the reasons that stand: the first in words, and how many more."""
        self.set_class(not stops, "-none")
        first = stops[0] if stops else ""
        more = f" (and {len(stops) - 1} more: press !)" if len(stops) > 1 else ""
        room = max(20, self.app.size.width * 3 - len(more) - 4)
        if len(first) > room:
            more = more or " (all of it: press !)"
            first = first[: max(20, room - len(more))] + "..."
        self.update(Text(clean(first) + more))


class KeyLine(Static):
    """The keys of a screen in one line; a click is as good as the key.

    The library's own line makes a widget of each key, all of them anew whenever the focus moves: that took longer than
    all else that an answer draws.
    """

    DEFAULT_CSS = "KeyLine { dock: bottom; height: 1; background: $panel; text-wrap: nowrap; text-overflow: clip; }"

    def on_mount(self) -> None:
        self.show_keys()
        self.screen.bindings_updated_signal.subscribe(self, lambda _: self.show_keys())

    def on_resize(self) -> None:
        self.show_keys()

    def show_keys(self) -> None:
        """List what can be pressed now, as far as whole names have room; the key for Keys tells the rest."""
        self.update(self._keys())

    def _keys(self) -> Text:
        line = Text(no_wrap=True, end="")
        for _, binding, enabled, _ in self.screen.active_bindings.values():
            if not (binding.show and enabled):
                continue
            key, name = f" {self.app.get_key_display(binding)} ", f"{binding.description} "
            if line.cell_len + len(key) + len(name.rstrip()) > self.app.size.width:
                break
            click = Style(meta={"@click": f"app.simulate_key({binding.key!r})"})
            line.append(key, Style(bold=True) + click).append(name, click)
        return line


class Closing:
    """Makes a screen close itself only, though it is told to twice: else it would take away what lies beneath.

    It is no screen itself, for the library takes styles from the first of several bases that is.
    """

    def dismiss(self, result: Any = None) -> AwaitComplete:
        screen = cast("Screen[Any]", self)
        return Screen.dismiss(screen, result) if screen.is_active else AwaitComplete()


class Base(Closing, Screen[None]):
    """A screen with the stop line; `app` is ours."""

    @property
    def ours(self) -> "SymptomtreeApp":
        return cast("SymptomtreeApp", self.app)

    @property
    def is_open(self) -> bool:
        """Whether it is shown, or will be when what lies over it is closed; keys typed ahead may have left it."""
        return self in self.app.screen_stack

    @on(Input.Changed)
    def _make_harmless(self, event: Input.Changed) -> None:
        """Take out of what was pasted all that a terminal obeys: a field shows its text as it is."""
        if not event.value.isprintable():
            event.input.value = clean(event.value)


class Palette(Closing, CommandPalette):
    """Textual's, with the stop line, and ending nothing though keys are typed ahead of it."""

    def compose(self) -> ComposeResult:
        yield StopLine()
        yield from super().compose()

    def run_worker(self, *args: Any, **kwargs: Any) -> Worker[Any]:
        """Search; that the list may be gone before the search is through is no reason to end."""
        return super().run_worker(*args, **{**kwargs, "exit_on_error": False})

    def _action_command_list(self, action: str) -> None:
        with suppress(KeyError):  # the page of a list that holds nothing yet cannot be turned
            super()._action_command_list(action)


class Sheet(Closing, ModalScreen[int | None]):
    """A text over the screen, and under it things to choose from, if any. Returns the number chosen."""

    BINDINGS: ClassVar[list[BindingType]] = [
        key("back", "dismiss_none"),
        key("copy"),
        key("stops", "app.stops", show=False),
        Binding("j", "down", show=False),
        Binding("k", "up", show=False),
    ]
    DEFAULT_CSS = """
    Sheet { align: center middle; background: $background; }
    Sheet > Vertical { width: 92%; max-width: 100; height: auto; max-height: 82%; border: round $primary;
                       background: $surface; padding: 0 1; }
    Sheet VerticalScroll { height: auto; max-height: 1fr; scrollbar-size-vertical: 1; }
    Sheet OptionList { height: auto; max-height: 12; border: none; padding: 0; background: $surface; }
    Sheet #title { text-style: bold; padding-bottom: 1; }
    """

    def __init__(self, title: str, lines: Sequence[str], choices: Sequence[str | Text] = ()) -> None:
        super().__init__()
        self._title, self._lines, self._choices = title, tuple(lines), tuple(choices)

    def compose(self) -> ComposeResult:
        yield StopLine()
        with Vertical():
            yield Static(text(self._title), id="title")
            with VerticalScroll():
                yield Static(text(*self._lines))
            if self._choices:
                yield OptionList(*(Option(c if isinstance(c, Text) else text(c)) for c in self._choices))
        yield KeyLine()

    def on_mount(self) -> None:
        (self.query_one(OptionList) if self._choices else self.query_one(VerticalScroll)).focus()

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        self.dismiss(event.option_index)

    def action_dismiss_none(self) -> None:
        self.dismiss(None)

    def action_copy(self) -> None:
        cast("SymptomtreeApp", self.app).copy_text("\n".join((self._title, *self._lines)))

    def action_down(self) -> None:
        self.query_one(VerticalScroll).scroll_down()

    def action_up(self) -> None:
        self.query_one(VerticalScroll).scroll_up()


class Line(Closing, ModalScreen[str | None]):
    """Asks for one line of text."""

    BINDINGS: ClassVar[list[BindingType]] = [key("back", "dismiss_none")]
    DEFAULT_CSS = """
    Line { align: center middle; background: $background; }
    Line > Vertical { width: 90%; max-width: 90; height: auto; border: round $primary; background: $surface; }
    """

    def __init__(self, title: str, value: str = "") -> None:
        super().__init__()
        self._title, self._value = title, value

    def compose(self) -> ComposeResult:
        yield StopLine()
        with Vertical():
            yield Static(text(self._title), id="title")
            yield Input(self._value, max_length=1000)
        yield KeyLine()

    def on_input_submitted(self, event: Input.Submitted) -> None:
        self.dismiss(clean(event.value) or None)

    def action_dismiss_none(self) -> None:
        self.dismiss(None)
