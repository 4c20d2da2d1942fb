"""A list to tick off, whose marks are signs and not colours."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import ClassVar

from textual.binding import Binding, BindingType
from textual.message import Message
from textual.widgets import OptionList
from textual.widgets.option_list import Option

from symptomtree.terminal.parts import still_there, text


class Ticks(OptionList):
    """Lines with [ ] or [x] before them. Space, Enter and a click tick or untick."""

    BINDINGS: ClassVar[list[BindingType]] = [Binding("space", "select", show=False)]

    @dataclass
    class Toggled(Message):
        """A line was ticked or unticked."""

        ticks: "Ticks"
        index: int
        on: bool

        @property
        def control(self) -> "Ticks":
            return self.ticks

    def action_select(self) -> None:
        """Tick the line that is lit; the first while none is, so that the key never does nothing."""
        if self.highlighted is None:
            self.action_first()
        super().action_select()

    def fill(self, lines: Sequence[str], on: frozenset[int] = frozenset()) -> None:
        """Show these lines, some of them ticked."""
        self._texts, self._on = list(lines), set(on)
        self.clear_options()
        self.add_options(Option(self._marked(n)) for n in range(len(lines)))

    def set_tick(self, index: int, on: bool) -> None:
        """Tick or untick a line."""
        if on:
            self._on.add(index)
        else:
            self._on.discard(index)
        self.replace_option_prompt_at_index(index, self._marked(index))

    def _marked(self, n: int):  # type: ignore[no-untyped-def]
        return text(f"[{'x' if n in self._on else ' '}] {self._texts[n]}")

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        event.stop()
        if not still_there(event):
            return
        on = event.option_index not in self._on
        self.set_tick(event.option_index, on)
        self.post_message(self.Toggled(self, event.option_index, on))
