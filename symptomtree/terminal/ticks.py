"""A list to tick off, whose marks are signs and not colours."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import ClassVar, cast

from textual.binding import Binding, BindingType
from textual.geometry import Region
from textual.message import Message
from textual.widget import Widget
from textual.widgets import OptionList
from textual.widgets.option_list import Option

from symptomtree.terminal.parts import still_there, text


class Ticks(OptionList):
    """Lines with [ ] or [x] before them. Space, Enter and a click tick or untick.

    A caution is a line of its own before the line that it belongs to: it cannot be ticked, and is scrolled to with it.
    """

    BINDINGS: ClassVar[list[BindingType]] = [Binding("space", "select", show=False)]
    DEFAULT_CSS = "Ticks > .option-list--option-disabled { color: $foreground; }"

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

    def fill(
        self, lines: Sequence[str], on: frozenset[int] = frozenset(), before: Sequence[Sequence[str]] = ()
    ) -> None:
        """Show these lines, some of them ticked, with the cautions before each, if any."""
        self._texts, self._on, self._before = list(lines), set(on), list(before) or [()] * len(lines)
        self.clear_options()
        self.add_options(self._options_of(lines))

    def _options_of(self, lines: Sequence[str]) -> Iterator[Option]:
        for n in range(len(lines)):
            yield from (Option(text(f"Caution: {caution}"), disabled=True) for caution in self._before[n])
            yield Option(self._marked(n), id=str(n))

    def set_tick(self, index: int, on: bool) -> None:
        """Tick or untick a line."""
        if on:
            self._on.add(index)
        else:
            self._on.discard(index)
        self.replace_option_prompt(str(index), self._marked(index))

    def scroll_to_highlight(self, top: bool = False) -> None:
        """Scroll to the line that is lit, with the cautions before it; where there is no room for all, to these."""
        super().scroll_to_highlight(top)
        if self.highlighted is None or self.highlighted not in self._index_to_line:
            return
        option = self.get_option_at_index(self.highlighted)
        first = self.highlighted - len(self._before[int(str(option.id))])
        y, last = self._index_to_line[first], self._index_to_line[self.highlighted] + self._heights[self.highlighted]
        lit = Region(0, y, self.scrollable_content_region.width, last - y)
        self.scroll_to_region(lit, force=True, animate=False, top=lit.height > self.size.height, immediate=True)
        around = cast("Widget", self.parent)  # the list may be higher than what is seen of it
        lit = lit.translate(self.virtual_region.offset - self.scroll_offset)
        around.scroll_to_region(lit, animate=False, top=lit.height > around.size.height, immediate=True)

    def _marked(self, n: int):  # type: ignore[no-untyped-def]
        return text(f"[{'x' if n in self._on else ' '}] {self._texts[n]}")

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        event.stop()
        if not still_there(event):
            return
        index = int(str(event.option.id))
        on = index not in self._on
        self.set_tick(index, on)
        self.post_message(self.Toggled(self, index, on))
