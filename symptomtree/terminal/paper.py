"""A text to read, copy or save."""

from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import BindingType
from textual.containers import VerticalScroll
from textual.widgets import Static

from symptomtree.terminal.parts import Base, KeyLine, StopLine, key, text


class Paper(Base):
    """Shows a text on the whole screen."""

    BINDINGS: ClassVar[list[BindingType]] = [
        key("back", "app.pop_screen"),
        key("copy"),
        key("save"),
        key("stops", "app.stops", show=False),
        key("quit", "app.leave"),
    ]
    DEFAULT_CSS = """
    Paper #title { text-style: bold; color: $primary; padding: 0 1; }
    Paper VerticalScroll { padding: 1; }
    """

    def __init__(self, title: str, body: str) -> None:
        super().__init__()
        self._title, self._body = title, body

    def compose(self) -> ComposeResult:
        yield StopLine()
        yield Static(text(self._title), id="title")
        with VerticalScroll():
            yield Static(text(*self._body.splitlines()))
        yield KeyLine()

    def on_mount(self) -> None:
        self.query_one(VerticalScroll).focus()

    def action_copy(self) -> None:
        self.ours.copy_text(self._body)

    def action_save(self) -> None:
        name = "-".join(w for w in self._title.lower().split() if w.isalnum()) or "text"
        self.ours.save_text(self._body, f"{name}.md")
